//! Values in the words and on the scale of whoever reads.

use crate::core::alert::quantity::against;
use crate::core::alert::words::condition as condition_words;
use crate::core::alert::{Condition, Quantity};
use crate::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::verdict as verdict_word;
use crate::core::reader::{Language, Reader};
use crate::core::reading::Fault;
use crate::core::record::CheckKind;
use crate::core::time::Timestamp;
use crate::report::words::mark;

use super::words::Word;

/// Longest text of a person on paper, in characters; the whole stands in the attached account.
const TEXT_CHARS_MAX: usize = 1200;

/// Puts values into words.
#[derive(Debug)]
pub(in crate::report) struct Teller {
    pub(in crate::report) reader: Reader,
}

impl Teller {
    pub(in crate::report) const fn say(&self, word: Word) -> &'static str {
        word.say(self.reader.language)
    }

    pub(in crate::report) fn with(&self, word: Word, values: &[(&str, &str)]) -> String {
        word.with(self.reader.language, values)
    }

    fn of(&self, (english, spanish): (&'static str, &'static str)) -> &'static str {
        match self.reader.language {
            Language::English => english,
            Language::Spanish => spanish,
        }
    }

    /// Date, time and zone, «2026-11-25 14:05:12 EST»: read alike in both languages, and plain on
    /// the day the clocks change.
    pub(in crate::report) fn stamp(&self, at: Timestamp) -> String {
        self.printed(at, "%Y-%m-%d %H:%M:%S %Z")
    }

    /// The same without seconds, for what people wrote down.
    pub(super) fn minute(&self, at: Timestamp) -> String {
        self.printed(at, "%Y-%m-%d %H:%M %Z")
    }

    fn printed(&self, at: Timestamp, form: &str) -> String {
        jiff::Timestamp::from_microsecond(at.micros()).map_or_else(
            |_| at.to_string(),
            |known| known.to_zoned_datetime(self.reader.zone.clone()).strftime(form).to_string(),
        )
    }

    /// The verdict with its mark, «✗ cold».
    pub(in crate::report) fn verdict(&self, verdict: Verdict) -> String {
        format!("{} {}", mark(verdict), verdict_word(verdict, self.reader.language))
    }

    /// A value with as many digits as tell it apart from the nearest of the limits, with its unit.
    pub(super) fn beside(&self, celsius: f64, limits_c: impl Iterator<Item = f64>) -> String {
        let apart = |limit: &f64| (limit - celsius).abs();
        let nearest = limits_c.min_by(|one, other| apart(one).total_cmp(&apart(other)));
        let (shown, _) = self.reader.pair(celsius, nearest.unwrap_or(celsius));
        format!("{shown} {}", self.reader.scale.symbol())
    }

    /// Two values with as many digits as it takes to tell them apart, and no fewer than `least`: what
    /// is below its limit never looks equal to it.
    pub(super) fn apart(one: f64, other: f64, least: usize) -> (String, String) {
        let shown = |digits: usize| (format!("{one:.digits$}"), format!("{other:.digits$}"));
        if one.total_cmp(&other).is_eq() {
            return shown(least);
        }
        (least..=6).map(shown).find(|(one, other)| one != other).unwrap_or_else(|| shown(6))
    }

    /// A share of a whole in per cent, rounded down: only the whole is 100 %.
    pub(super) fn share(part: f64, whole: f64) -> String {
        if whole <= 0.0 {
            return "–".to_owned();
        }
        // Floating point may put a whole number of tenths a hair below itself.
        let tenths = (part / whole * 1000.0 + 1e-9).floor().clamp(0.0, 1000.0);
        format!("{:.1} %", tenths / 10.0)
    }

    /// A length of time, «2 h 05 min»; below two minutes in seconds.
    pub(super) fn length(seconds: f64) -> String {
        if seconds < 120.0 {
            return format!("{seconds:.0} s");
        }
        let minutes = (seconds / 60.0).round();
        let (hours, minutes) = ((minutes / 60.0).floor(), minutes % 60.0);
        if hours < 1.0 { format!("{minutes:.0} min") } else { format!("{hours:.0} h {minutes:02.0} min") }
    }

    /// A text of a person: one line, without control characters and marks that turn the direction of writing.
    pub(in crate::report) fn text(text: &str) -> String {
        let turns = |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        let breaks = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}');
        let plain: String =
            text.chars().filter(|c| !turns(*c)).map(|c| if breaks(c) { ' ' } else { c }).collect();
        let line = plain.split_whitespace().collect::<Vec<&str>>().join(" ");
        if line.chars().count() <= TEXT_CHARS_MAX {
            return line;
        }
        let mut cut: String = line.chars().take(TEXT_CHARS_MAX).collect();
        cut.push('…');
        cut
    }

    /// «71.3 °C (limit 82.2 °C)», or what there is of it.
    pub(super) fn figures(
        &self,
        condition: Condition,
        measured: Option<Quantity>,
        limit: Option<Quantity>,
    ) -> String {
        against(condition, measured, limit, &self.reader).unwrap_or_else(|| "–".to_owned())
    }

    pub(in crate::report) fn kind(&self, kind: MachineKind) -> &'static str {
        self.of(match kind {
            MachineKind::StationaryRackSingleTemperature => {
                ("stationary rack, single temperature", "de canasta fija, una temperatura")
            }
            MachineKind::StationaryRackDualTemperature => {
                ("stationary rack, dual temperature", "de canasta fija, dos temperaturas")
            }
            MachineKind::SingleTankConveyor => ("single-tank conveyor", "de transportador, un tanque"),
            MachineKind::MultitankConveyor => ("multitank conveyor", "de transportador, varios tanques"),
        })
    }

    pub(in crate::report) fn method(&self, method: Sanitizing) -> &'static str {
        self.of(match method {
            Sanitizing::HotWater => ("hot water", "agua caliente"),
            Sanitizing::Chlorine => ("chlorine", "cloro"),
            Sanitizing::Iodine => ("iodine", "yodo"),
            Sanitizing::Quat => ("quat", "amonio cuaternario"),
        })
    }

    pub(in crate::report) fn source(&self, source: LimitSource) -> &'static str {
        self.of(match source {
            LimitSource::DataPlate => ("data plate", "placa de datos"),
            LimitSource::FoodCode => ("FDA Food Code", "Código de Alimentos de la FDA"),
            LimitSource::Site => ("set by the site", "fijado por el sitio"),
            LimitSource::Concentration => (
                "FDA Food Code 4-501.114, by concentration",
                "Código de Alimentos 4-501.114, por concentración",
            ),
        })
    }

    pub(super) fn fault(&self, fault: Fault) -> &'static str {
        self.of(match fault {
            Fault::OpenCircuit => ("broken wire (open circuit)", "cable roto (circuito abierto)"),
            Fault::Short => ("short circuit", "cortocircuito"),
            Fault::Reversed => ("leads exchanged", "cables invertidos"),
            Fault::OutOfRange => ("outside its range", "fuera de su rango"),
            Fault::Stuck => ("same digits for too long", "las mismas cifras demasiado tiempo"),
            Fault::Silent => ("silent", "sin señal"),
            Fault::NoColdJunction => ("no cold-junction temperature", "sin temperatura de unión fría"),
            Fault::Reported => ("fault reported by the source", "avería comunicada por la fuente"),
        })
    }

    pub(in crate::report) fn condition(&self, condition: Condition) -> &'static str {
        condition_words(condition, self.reader.language)
    }

    pub(super) fn check(&self, kind: CheckKind) -> &'static str {
        self.say(match kind {
            CheckKind::Sanitizer => Word::CheckSanitizer,
            CheckKind::Supply => Word::CheckSupply,
            CheckKind::DrainAndClean => Word::CheckDrain,
            CheckKind::Thermometer => Word::CheckThermometer,
        })
    }

    /// The word of a kind of record.
    pub(super) fn event(&self, kind: &str) -> String {
        let known = match kind {
            "service-start" => ("service started", "servicio iniciado"),
            "service-stop" => ("service stopped", "servicio detenido"),
            "clock-step" => ("clock stepped", "salto del reloj"),
            "configuration-change" => ("configuration changed", "configuración cambiada"),
            "machine-failure" => ("judging failed", "falló la evaluación"),
            "maintenance" => ("maintenance", "mantenimiento"),
            "signing-key" => ("signing key", "clave de firma"),
            "lawful-hold" => ("lawful hold", "retención legal"),
            "pruned" => ("readings pruned", "lecturas depuradas"),
            "import" => ("readings imported", "lecturas importadas"),
            "restored" => ("restored from a backup", "restaurado de una copia"),
            "access" => ("access", "acceso"),
            "wiring-proof" => ("wiring proved", "cableado comprobado"),
            "sign-off" => ("machine signed off", "máquina firmada"),
            other => return Self::text(other),
        };
        self.of(known).to_owned()
    }
}
