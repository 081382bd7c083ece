//! Fields of forms: what somebody typed, and what is wrong with it, in the words of the reader.
//!
//! A form that cannot be taken is shown again with what was typed kept, and each fault beside its field.

pub(super) mod clock;

use jiff::civil::Time;

use crate::core::alert::{LETTERS_MIN, TEXT_BYTES_MAX, says_something};
use crate::core::logbook::listed;
use crate::core::reader::Language;
use crate::core::wall_clock::minute;

/// A field as it is shown.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Field {
    /// What stands in it.
    pub(super) value: String,
    /// What is wrong with it.
    pub(super) fault: Option<String>,
}

impl Field {
    /// A field with this in it, and nothing wrong.
    pub(super) fn with(value: impl Into<String>) -> Self {
        Self { value: value.into(), fault: None }
    }

    /// What it comes to; a fault stays beside it.
    pub(super) fn take<T>(&mut self, found: Result<T, Fault>, language: Language) -> Option<T> {
        found.inspect_err(|fault| self.fault = Some(fault.say(language))).ok()
    }
}

/// What is wrong with a field.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) enum Fault {
    /// Nothing stands in it.
    Missing,
    /// It has fewer letters and digits than a part of a corrective action.
    SaysNothing,
    /// Nothing of what is offered was chosen.
    NoChoice,
    /// Something is short, and it is said of nothing what.
    NothingShort,
    /// Something was ticked that is short, and everything is said to be there.
    ShortAndEnough,
    /// More characters than these.
    TooLong(usize),
    /// It is no number.
    NotANumber,
    /// It can be read as a number with decimals and as one of thousands.
    Thousands,
    /// The strip says the first, mg/L, and what was typed the second.
    NotTheStrip(f64, f64),
    /// No colour of the strip stands for the first, mg/L: they stand for the others.
    NoColour(f64, &'static [f64]),
    /// The same of the right value of an entry, which has a field for its method.
    NoColourEntered(f64, &'static [f64]),
    /// The number lies outside of these two, with their digits behind the point.
    Outside(f64, f64),
    /// It is no time of the site's clock, such as 2026-11-26T12:40.
    NotATime,
    /// The clocks skipped this time: they showed the first, and then the second.
    Skipped(Time, Time),
    /// The clocks showed this time twice.
    Twice,
    /// The time has not come.
    Future,
    /// The time lies after the entry that it belongs to.
    AfterEntry,
    /// The time lies more than a month back.
    TooOld,
    /// It was emptied, and what is on record is not taken away.
    Emptied,
    /// It holds characters that no hand writes.
    Control,
}

impl Fault {
    pub(super) fn say(self, language: Language) -> String {
        let (english, spanish) = match self {
            Self::Missing => ("Fill this in.", "Rellene este campo."),
            Self::SaysNothing => {
                return match language {
                    Language::English => format!(
                        "This says too little, and is what stays on record: write it in a few words, of at least {LETTERS_MIN} letters or digits."
                    ),
                    Language::Spanish => format!(
                        "Esto dice demasiado poco, y es lo que queda registrado: escríbalo en pocas palabras, con {LETTERS_MIN} letras o cifras como mínimo."
                    ),
                };
            }
            Self::NoChoice => ("Choose one.", "Elija una opción."),
            Self::NothingShort => (
                "Tick above what is short, or write it here.",
                "Marque arriba lo que falta, o escríbalo aquí.",
            ),
            Self::ShortAndEnough => (
                "You ticked something as short, and said that everything is there: which is right? Take the ticks away, or put on record what is short.",
                "Marcó algo que falta y dijo que está todo: ¿qué vale? Quite las marcas, o registre lo que falta.",
            ),
            Self::TooLong(max) => {
                return match language {
                    Language::English => format!("Too long: at most {max} characters."),
                    Language::Spanish => format!("Demasiado largo: {max} caracteres como máximo."),
                };
            }
            Self::NotANumber => {
                ("Not a number. Write it like 100 or 7.5.", "No es un número. Escríbalo como 100 o 7.5.")
            }
            Self::Thousands => (
                "One, or a thousand? Write 1000 for a thousand and 1.0 for one: without a sign for thousands.",
                "¿Uno o mil? Escriba 1000 si son mil y 1.0 si es uno: sin signo de miles.",
            ),
            Self::NotTheStrip(strip, typed) => {
                return match language {
                    Language::English => format!(
                        "You tapped {strip} and typed {typed}: which is right? Tap the right colour or «no strip» above, or empty this field."
                    ),
                    Language::Spanish => format!(
                        "Tocó {strip} y escribió {typed}: ¿cuál vale? Toque el color que vale o «sin tira» arriba, o vacíe este campo."
                    ),
                };
            }
            Self::NoColour(mg_per_l, colours) => {
                let then = (
                    "Tap one above; what another kit shows goes into this field.",
                    "Toque uno arriba; lo que marca otro método va en este campo.",
                );
                return no_colour(mg_per_l, colours, then, language);
            }
            Self::NoColourEntered(mg_per_l, colours) => {
                let then = (
                    "Give one of these, or say below by which other kit it was measured.",
                    "Ponga uno de ellos, o diga abajo con qué otro método se midió.",
                );
                return no_colour(mg_per_l, colours, then, language);
            }
            Self::Outside(from, to) => {
                let (from, to) = (plain(from), plain(to));
                return match language {
                    Language::English => format!(
                        "This cannot be: it lies from {from} to {to}. Look at the number and its unit."
                    ),
                    Language::Spanish => {
                        format!("No puede ser: está entre {from} y {to}. Revise el número y su unidad.")
                    }
                };
            }
            Self::NotATime => ("Not a time. Choose day and time.", "No es una hora. Elija el día y la hora."),
            Self::Skipped(last, next) => {
                let (last, next) = (minute(last), minute(next));
                return match language {
                    Language::English => format!(
                        "The clocks went forward that night: this time did not happen. Nearest are {last} and {next}."
                    ),
                    Language::Spanish => format!(
                        "Esa noche se adelantaron los relojes: esa hora no existió. Las más cercanas son {last} y {next}."
                    ),
                };
            }
            Self::Twice => (
                "The clocks went back that night: this time came twice. Choose below which one it was.",
                "Esa noche se atrasaron los relojes: esa hora se repitió. Elija abajo cuál fue.",
            ),
            Self::Future => ("This time has not come yet.", "Esa hora todavía no ha llegado."),
            Self::AfterEntry => (
                "This is after the entry was put on record. Check the time.",
                "Es posterior al registro de la anotación. Revise la hora.",
            ),
            Self::TooOld => (
                "This is more than a month ago. Check month and year, or confirm below that it is meant.",
                "Fue hace más de un mes. Revise el mes y el año, o confirme abajo que es así.",
            ),
            Self::Emptied => (
                "Emptied, it stays on record as it stands here again. Where it was not measured or not meant, withdraw the entry and enter it anew without it.",
                "Aunque lo vacíe, queda registrado como vuelve a estar aquí. Si no se midió o no se quiso anotar, retire la anotación y anótela de nuevo sin ello.",
            ),
            Self::Control => ("Write it in plain letters.", "Escríbalo con letras normales."),
        };
        match language {
            Language::English => english,
            Language::Spanish => spanish,
        }
        .to_owned()
    }
}

/// That the strip has no such colour, mg/L, which it has, and what to do then.
fn no_colour(mg_per_l: f64, colours: &[f64], then: (&str, &str), language: Language) -> String {
    let colours = listed(colours);
    match language {
        Language::English => {
            format!("The strip of this machine has no colour for {mg_per_l}: it has {colours}. {}", then.0)
        }
        Language::Spanish => {
            format!("La tira de esta máquina no tiene color para {mg_per_l}: tiene {colours}. {}", then.1)
        }
    }
}

/// A number without digits that say nothing.
pub(super) fn plain(number: f64) -> String {
    let text = format!("{number:.1}");
    text.strip_suffix(".0").map_or_else(|| text.clone(), str::to_owned)
}

/// A text that must be there, without the blanks around it.
pub(super) fn text(typed: &str, chars_max: usize) -> Result<String, Fault> {
    optional(typed, chars_max)?.ok_or(Fault::Missing)
}

/// Longest part of a corrective action, in characters.
const ACTION_CHARS_MAX: usize = 2_000;

/// A part of a corrective action, which must say something.
pub(super) fn action(typed: &str) -> Result<String, Fault> {
    let text = text(typed, ACTION_CHARS_MAX)?;
    if says_something(&text) { Ok(text) } else { Err(Fault::SaysNothing) }
}

/// A text that may be left out, without the blanks around it; browsers send lines with CR LF.
pub(super) fn optional(typed: &str, chars_max: usize) -> Result<Option<String>, Fault> {
    let text = typed.trim().replace("\r\n", "\n");
    if text.chars().count() > chars_max || text.len() > TEXT_BYTES_MAX {
        return Err(Fault::TooLong(chars_max));
    }
    if text.contains(|c: char| c.is_control() && c != '\n' && c != '\t') {
        return Err(Fault::Control);
    }
    Ok(Some(text).filter(|text| !text.is_empty()))
}

/// A number, with a point or a comma for its decimals; `None` where nothing stands there.
///
/// Half of the Americas writes 1.000 for a thousand and the other half 1,000; so does each of them for one, to three
/// decimals. A sign with exactly three digits behind it and one to three before it is therefore asked for again,
/// but behind a lone zero, which nobody groups. Two signs are always a grouping.
pub(super) fn number(typed: &str) -> Result<Option<f64>, Fault> {
    let typed = typed.trim();
    if typed.is_empty() {
        return Ok(None);
    }
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    let unsigned = typed.strip_prefix(['+', '-']).unwrap_or(typed);
    let parts: Vec<&str> = unsigned.split(['.', ',']).collect();
    if !parts.iter().all(|part| digits(part)) {
        return Err(Fault::NotANumber);
    }
    match parts.as_slice() {
        [_] => {}
        [whole, behind] if behind.len() == 3 && (1..=3).contains(&whole.len()) && *whole != "0" => {
            return Err(Fault::Thousands);
        }
        [_, _] => {}
        [_, groups @ ..] if groups.iter().rev().skip(1).all(|group| group.len() == 3) => {
            return Err(Fault::Thousands);
        }
        _ => return Err(Fault::NotANumber),
    }
    parsed(typed)
}

/// As [`number`], where no thousands can be meant: a lone sign is that of decimals.
pub(super) fn decimal(typed: &str) -> Result<Option<f64>, Fault> {
    let lone = typed.matches(['.', ',']).count() == 1;
    match number(typed) {
        Err(Fault::Thousands) if lone => parsed(typed.trim()),
        found => found,
    }
}

fn parsed(typed: &str) -> Result<Option<f64>, Fault> {
    let number: Option<f64> = typed.replace(',', ".").parse().ok();
    number.filter(|number| number.is_finite()).map(Some).ok_or(Fault::NotANumber)
}

#[cfg(test)]
mod tests {
    use super::*;

    // The standard atmosphere is 101.325 kPa (CGPM 1954, resolution 4).
    #[test]
    fn where_no_thousands_are_meant_a_lone_sign_is_that_of_decimals() {
        for (typed, expected) in [
            ("101.325", Ok(Some(101.325))),
            ("101,325", Ok(Some(101.325))),
            ("1013", Ok(Some(1013.0))),
            ("1.000.000", Err(Fault::Thousands)),
            ("1.000,5", Err(Fault::Thousands)),
            ("soon", Err(Fault::NotANumber)),
            ("", Ok(None)),
        ] {
            assert_eq!(decimal(typed), expected, "{typed}");
        }
    }

    // Own rules: a comma is a decimal sign in half of the Americas, and a sign of thousands in the other.
    #[test]
    fn numbers_are_what_they_look_like() {
        for (typed, expected) in [
            ("100", Ok(Some(100.0))),
            (" 7.5 ", Ok(Some(7.5))),
            ("7,5", Ok(Some(7.5))),
            ("-3", Ok(Some(-3.0))),
            ("", Ok(None)),
            ("82,25", Ok(Some(82.25))),
            ("0.125", Ok(Some(0.125))),
            ("0,125", Ok(Some(0.125))),
            (".5", Ok(Some(0.5))),
            ("1000", Ok(Some(1000.0))),
            ("1000.125", Ok(Some(1000.125))),
            ("1,000", Err(Fault::Thousands)),
            ("1.000", Err(Fault::Thousands)),
            ("-1.000", Err(Fault::Thousands)),
            ("123.456", Err(Fault::Thousands)),
            ("1.000,5", Err(Fault::Thousands)),
            ("1,000.50", Err(Fault::Thousands)),
            ("1.000.000", Err(Fault::Thousands)),
            ("1,2,3", Err(Fault::NotANumber)),
            ("1.2,3", Err(Fault::NotANumber)),
            (".", Err(Fault::NotANumber)),
            ("--1", Err(Fault::NotANumber)),
            ("inf", Err(Fault::NotANumber)),
            ("NaN", Err(Fault::NotANumber)),
            ("1e9", Err(Fault::NotANumber)),
            ("100 ppm", Err(Fault::NotANumber)),
            (&"9".repeat(400), Err(Fault::NotANumber)),
        ] {
            assert_eq!(number(typed), expected, "{typed}");
        }
    }

    #[test]
    fn texts_are_trimmed_and_bounded() {
        assert_eq!(text("  two\r\nlines ", 20), Ok("two\nlines".to_owned()));
        assert_eq!(text(" \n ", 20), Err(Fault::Missing));
        assert_eq!(text("abcdef", 5), Err(Fault::TooLong(5)));
        assert_eq!(optional("", 5), Ok(None));
        assert_eq!(text("a\u{1b}[2J", 20), Err(Fault::Control));
    }
}
