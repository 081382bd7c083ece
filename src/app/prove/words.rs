//! Every sentence of `prove` in English and Spanish, but for what was seen of a probe.

use super::OnFile;
use crate::core::channel::Place;
use crate::core::reader::Language;
use crate::core::reader::said as say;
use crate::core::wiring;

const fn sits(language: Language, place: Place) -> &'static str {
    match place {
        Place::WashTank => say(language, ", in the wash tank", ", en el tanque de lavado"),
        Place::FinalRinse => say(language, ", in the final-rinse line", ", en la línea del enjuague final"),
        Place::Ware => say(language, ", at a ware", ", en una pieza de vajilla"),
        Place::Other => "",
    }
}

/// Whose turn it is.
pub(super) fn turn(language: Language, (place, all): (usize, usize), name: &str, at: Place) -> String {
    let sits = sits(language, at);
    // Before the first one all of them are to be at rest.
    let with_others = place == 1 && all > 1;
    match language {
        Language::English => {
            let free = if with_others { "Let its tip and those of the others" } else { "Let its tip" };
            format!("{place} of {all}: {name}{sits}. {free} hang free; touch nothing yet.")
        }
        Language::Spanish => {
            let free =
                if with_others { "Deje su punta y las de las demás libres" } else { "Deje su punta libre" };
            format!("{place} de {all}: {name}{sits}. {free}; no toque nada todavía.")
        }
    }
}

pub(super) const fn press_enter(language: Language) -> &'static str {
    say(language, "Press Enter when that is so.", "Pulse Intro cuando sea así.")
}

pub(super) const fn waiting(language: Language) -> &'static str {
    say(language, "Waiting until it is at rest …", "Esperando a que esté en reposo …")
}

/// That the tip is to be warmed, by a hand or in the water.
pub(super) fn warm(language: Language, name: &str, water: bool) -> String {
    let with = match (language, water) {
        (Language::English, true) => "a cup of the warm water",
        (Language::English, false) => "a dry hand",
        (Language::Spanish, true) => "un vaso del agua tibia",
        (Language::Spanish, false) => "la mano seca",
    };
    match language {
        Language::English => {
            format!("NOW warm the tip of {name}: hold it in {with} until something is found.")
        }
        Language::Spanish => {
            format!("AHORA caliente la punta de {name}: téngala en {with} hasta que se halle algo.")
        }
    }
}

/// What was found of a probe, in a line.
pub(super) fn found(language: Language, name: &str, good: bool, finding: &str, seen: &str) -> String {
    let mark = if good { '✓' } else { '✗' };
    let word = wiring::finding(finding, language);
    format!("{mark} {name} {word}: {seen}.")
}

/// What is proved by now and what is not, of every probe of the machine.
pub(super) fn result(language: Language, machine: &str, record: Option<u64>, file: &OnFile) -> Vec<String> {
    let OnFile { proved, before, not_good, not_proved } = file;
    let number = |record: u64| match language {
        Language::English => format!("record {record}"),
        Language::Spanish => format!("asiento {record}"),
    };
    let recorded = record.map(|record| format!(" [{}]", number(record))).unwrap_or_default();
    let mut lines = Vec::new();
    if not_good.is_empty() && not_proved.is_empty() {
        let all: Vec<&str> =
            proved.iter().map(String::as_str).chain(before.iter().map(|(name, _)| name.as_str())).collect();
        let all = all.join(", ");
        lines.push(match language {
            Language::English => format!("The wiring of {machine} is proved: {all}{recorded}."),
            Language::Spanish => format!("El cableado de {machine} está comprobado: {all}{recorded}."),
        });
    } else if proved.is_empty() {
        lines.push(match language {
            Language::English => format!("What was found is on record{recorded}; this run proved no probe."),
            Language::Spanish => {
                format!("Lo hallado está registrado{recorded}; no se comprobó ninguna sonda.")
            }
        });
    } else {
        let proved = proved.join(", ");
        lines.push(match language {
            Language::English => format!("Proved in this run{recorded}: {proved}."),
            Language::Spanish => format!("Comprobadas ahora{recorded}: {proved}."),
        });
    }
    if !before.is_empty() {
        let each: Vec<String> =
            before.iter().map(|(name, record)| format!("{name} ({})", number(*record))).collect();
        let each = each.join(", ");
        lines.push(match language {
            Language::English => format!("Proved before, and still on file: {each}."),
            Language::Spanish => format!("Comprobadas antes, y siguen constando: {each}."),
        });
    }
    if !not_good.is_empty() {
        let each = not_good.join(", ");
        lines.push(match language {
            Language::English => format!("NOT wired as configured, or not proved: {each}."),
            Language::Spanish => format!("NO cableadas según la configuración, o sin comprobar: {each}."),
        });
    }
    if !not_proved.is_empty() {
        let each = not_proved.join(", ");
        let names = not_proved.iter().map(|name| name.rsplit('/').next().unwrap_or(name));
        let order = names.collect::<Vec<&str>>().join(",");
        lines.push(match language {
            Language::English => {
                format!("Not yet proved: {each}. Go on with rinseward prove {machine} --order {order} --by …")
            }
            Language::Spanish => {
                format!(
                    "Aún sin comprobar: {each}. Siga con rinseward prove {machine} --order {order} --by …"
                )
            }
        });
    }
    lines
}
