//! What is sent by a page of the technician.

use serde::Deserialize;

use crate::core::boiling::Kilopascals;
use crate::core::reader::{Language, Reader, Scale};
use crate::core::technician::bath::Bath;
use crate::core::units::Celsius;
use crate::core::wiring::{self, Warmth};
use crate::web::form;
use crate::web::frame::said;

/// One inch of mercury, kPa (NIST SP 811, appendix B.8: conventional inch of mercury, 3.386 389 kPa).
const INCH_OF_MERCURY_KPA: f64 = 3.386_389;
/// One foot, m (NIST SP 811, appendix B.8: exact).
const FOOT_M: f64 = 0.304_8;
/// Longest name of a thermometer, in characters (own choice: that of a person).
const NAMED_CHARS_MAX: usize = 100;
/// Greatest uncertainty of a reference, °C (own choice: twice the 1.1 °C that Food Code 4-203.11 grants a
/// thermometer for food).
const SURE_MAX_C: f64 = 2.2;
/// What a thermometer beside the probe may show, °C.
const BESIDE_C: std::ops::RangeInclusive<f64> = 0.0..=105.0;

/// Every field; which are there depends on the form.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct WorkForm {
    /// What is to be done.
    pub(super) act: String,
    /// What else is under way at this probe or machine, and is to end.
    pub(super) of: String,
    /// `ice`, `pressure`, `altitude`, `thermometer`.
    pub(super) kind: String,
    pub(super) pressure: String,
    pub(super) pressure_unit: String,
    pub(super) altitude: String,
    pub(super) altitude_unit: String,
    pub(super) named: String,
    pub(super) shows: String,
    pub(super) sure: String,
    pub(super) water: String,
    pub(super) announced: Option<String>,
    pub(super) note: String,
}

/// What is wrong with one field.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Fault {
    pub(super) field: &'static str,
    pub(super) text: &'static str,
}

impl WorkForm {
    /// The bath that was chosen.
    pub(super) fn bath(&self, reader: &Reader) -> Result<Bath, Fault> {
        let language = reader.language;
        match self.kind.as_str() {
            "ice" => Ok(Bath::ice()),
            "pressure" => {
                // 101.325 kPa and 29.921 inHg are no thousands; 1,013 hPa may be.
                let is_small = matches!(self.pressure_unit.as_str(), "inhg" | "kpa");
                let read = if is_small { form::decimal } else { form::number };
                let number = there("pressure", read(&self.pressure), language)?;
                let kpa = match self.pressure_unit.as_str() {
                    "inhg" => number * INCH_OF_MERCURY_KPA,
                    "kpa" => number,
                    _ => number / 10.0,
                };
                Bath::boiling(Kilopascals(kpa), None).map_err(|_| Fault {
                    field: "pressure",
                    text: said(
                        language,
                        "No kitchen has that air pressure; 500 to 1120 hPa are possible.",
                        "Ninguna cocina tiene esa presión; son posibles de 500 a 1120 hPa.",
                    ),
                })
            }
            "altitude" => {
                let number = number("altitude", &self.altitude, language)?;
                let metres = if self.altitude_unit == "ft" { number * FOOT_M } else { number };
                Bath::boiling_at_altitude(metres).map_err(|_| Fault {
                    field: "altitude",
                    text: said(
                        language,
                        "An altitude is between -430 and 5000 m.",
                        "Una altitud está entre -430 y 5000 m.",
                    ),
                })
            }
            "thermometer" => self.beside(reader),
            _ => Err(Fault { field: "bath", text: said(language, "Choose a bath.", "Elija un baño.") }),
        }
    }

    fn beside(&self, reader: &Reader) -> Result<Bath, Fault> {
        let language = reader.language;
        let named = self.named.trim();
        if named.is_empty() || named.chars().count() > NAMED_CHARS_MAX || named.chars().any(char::is_control)
        {
            let text = said(
                language,
                "Which thermometer? Its name or number, in one line.",
                "¿Qué termómetro? Su nombre o número, en una línea.",
            );
            return Err(Fault { field: "named", text });
        }
        let shows = number("shows", &self.shows, language)?;
        let celsius = celsius(shows, reader.scale);
        if !BESIDE_C.contains(&celsius.0) {
            let text = said(
                language,
                "That is no water: 0 to 105 °C (32 to 221 °F).",
                "Eso no es agua: de 0 a 105 °C (32 a 221 °F).",
            );
            return Err(Fault { field: "shows", text });
        }
        let expanded_c = number("sure", &self.sure, language)? / reader.scale.difference(1.0);
        if !(expanded_c > 0.0 && expanded_c <= SURE_MAX_C) {
            let text = said(
                language,
                "Its certificate says how sure it is: more than 0, at most 2.2 °C (4 °F).",
                "Su certificado dice su incertidumbre: más de 0, como máximo 2.2 °C (4 °F).",
            );
            return Err(Fault { field: "sure", text });
        }
        Ok(Bath::beside_thermometer(celsius, named.to_owned(), expanded_c))
    }

    /// With what probes are warmed.
    pub(super) fn warmth(&self, reader: &Reader) -> Result<Warmth, Fault> {
        if self.water.trim().is_empty() {
            return Ok(Warmth::Hand);
        }
        let celsius = celsius(number("water", &self.water, reader.language)?, reader.scale);
        let fault = Fault { field: "water", text: wiring::water_for_hands(reader.language) };
        Warmth::of_water(celsius).ok_or(fault)
    }

    pub(super) fn note(&self) -> Option<String> {
        Some(self.note.trim().to_owned()).filter(|note| !note.is_empty())
    }
}

/// What was typed on the reader's scale.
fn celsius(typed: f64, scale: Scale) -> Celsius {
    match scale {
        Scale::Celsius => Celsius(typed),
        Scale::Fahrenheit => Celsius::from_fahrenheit(typed),
    }
}

/// A number that must be there, by the rules of every form.
fn number(field: &'static str, typed: &str, language: Language) -> Result<f64, Fault> {
    there(field, form::number(typed), language)
}

fn there(
    field: &'static str,
    found: Result<Option<f64>, form::Fault>,
    language: Language,
) -> Result<f64, Fault> {
    let is_unclear = found == Err(form::Fault::Thousands);
    found.ok().flatten().ok_or_else(|| {
        let text = if is_unclear {
            said(
                language,
                "Is that a thousand or decimals? Write 1600 for a thousand, 1.6 for decimals.",
                "¿Son miles o decimales? Escriba 1600 para miles, 1.6 para decimales.",
            )
        } else {
            said(
                language,
                "A number is needed here. Write it like 1600 or 7.5.",
                "Aquí hace falta un número. Escríbalo como 1600 o 7.5.",
            )
        };
        Fault { field, text }
    })
}
