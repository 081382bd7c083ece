//! What is said of the racks of an alert elsewhere: by a test that came late, and by other alerts.

use super::{Late, Whole};
use crate::core::alert::Alert;
use crate::core::alert::words::numbered;
use crate::core::counted::Noun;
use crate::core::reader::{Language, Reader, filled, said};
use crate::core::time::Timestamp;

/// That a good test came late, and what it says of racks that are in doubt.
pub(super) fn late(late: Late, alert: &Alert, reader: &Reader, now: Timestamp) -> String {
    let phrase = said(
        reader.language,
        "A good test (made {made}) was entered later ({entered}): racks of before it were counted by then and stay in doubt.",
        "Una prueba correcta (hecha: {made}) se anotó más tarde ({entered}): las canastas de antes de ella ya estaban contadas y siguen en duda.",
    );
    let [made, entered] = [late.made, late.entered].map(|at| reader.near(at, now));
    let told = filled(phrase, &[("made", &made), ("entered", &entered)]);
    if !alert.action_missing() {
        return told;
    }
    let more = said(
        reader.language,
        "Whoever writes the corrective action may go by it.",
        "Quien escriba la acción correctiva puede guiarse por ella.",
    );
    format!("{told} {more}")
}

/// That other alerts put racks in doubt which this one names: the last good one, and its own.
pub(super) fn told(whole: &Whole, language: Language) -> Vec<String> {
    let mut lines = Vec::new();
    if !whole.good_in_doubt.is_empty() {
        let phrase = said(
            language,
            "The rack that is named as the last good one is in doubt since, by {alerts}",
            "La canasta que se nombra como última correcta está en duda desde entonces, por {alerts}",
        );
        let told = filled(phrase, &[("alerts", &numbered(&whole.good_in_doubt, language))]);
        // What is over holds no rack, and neither does what counts none: an early warning.
        let holds = whole.closed.is_none() && whole.alert.racks.count > 0;
        let hold =
            said(language, ": hold what is named there too.", ": aparte también lo que se nombra ahí.");
        lines.push(told + if holds { hold } else { "." });
    }
    let (count, alerts) = &whole.also_in_doubt;
    if *count > 0 {
        let phrase = said(
            language,
            "Of the racks named below in doubt by {alerts}: {racks}. What is said there counts for them.",
            "De las canastas que se nombran abajo, en duda por {alerts}: {racks}. Para ellas vale lo que se dice ahí.",
        );
        let racks = Noun::Racks.of(*count as u64, language);
        lines.push(filled(phrase, &[("racks", &racks), ("alerts", &numbered(alerts, language))]));
    }
    lines
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::core::alert::entered::EnteredChecks;
    use crate::core::reader::Scale;
    use crate::web::alerts::Said;

    // Own promise: whoever reads an alert learns what a test that came late says of its racks, and which other alerts speak
    // of them, in either language; where there is nothing, nothing is said.
    #[test]
    fn what_stands_elsewhere_is_told() {
        let at = |text: &str| text.parse::<Timestamp>().expect("an instant");
        let now = at("2026-11-28T17:00:00Z");
        let (made, entered) = (at("2026-11-28T13:30:00Z"), at("2026-11-28T16:18:00Z"));
        let whole = |good_in_doubt, also_in_doubt| Whole {
            alert: Alert::trial(now),
            closed: None,
            foreseen: None,
            said: Said::default(),
            racks: Vec::new(),
            late: Vec::new(),
            good_in_doubt,
            also_in_doubt,
            trail: Vec::new(),
            entered: EnteredChecks::default(),
        };
        for (language, came, good, own) in [
            (
                Language::English,
                "A good test (made 13:30 UTC) was entered later (16:18 UTC)",
                ("last good one is in doubt since, by alert 7", ": hold what is named there too."),
                "in doubt by alerts 7, 9: 3 racks.",
            ),
            (
                Language::Spanish,
                "Una prueba correcta (hecha: 13:30 UTC) se anotó más tarde (16:18 UTC)",
                (
                    "última correcta está en duda desde entonces, por la alerta 7",
                    ": aparte también lo que se nombra ahí.",
                ),
                "en duda por las alertas 7, 9: 3 canastas.",
            ),
        ] {
            let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
            let late_of = |alert: &Alert| late(Late { record: 4, made, entered }, alert, &reader, now);
            let mut alert = Alert::trial(now);
            let asks = late_of(&alert);
            // Once the action is written, nobody is told what to write.
            alert.needs_action = false;
            let said = late_of(&alert);
            assert!(said.starts_with(came) && asks.starts_with(&said) && asks.len() > said.len(), "{asks}");
            let mut whole_of = whole(vec![7], (3, vec![7, 9]));
            let lines = told(&whole_of, language);
            let first = format!("{}{}", good.0, good.1);
            assert!(
                matches!(lines.as_slice(), [one, two] if one.ends_with(&first) && two.contains(own)),
                "{lines:?}"
            );
            // An early warning holds no rack, so that none is held «too».
            let racks = std::mem::take(&mut whole_of.alert.racks);
            let lines = told(&whole_of, language);
            assert!(lines.first().is_some_and(|one| one.ends_with(&format!("{}.", good.0))), "{lines:?}");
            (whole_of.alert.racks, whole_of.closed) = (racks, Some(now));
            let lines = told(&whole_of, language);
            assert!(lines.first().is_some_and(|one| one.ends_with(&format!("{}.", good.0))), "{lines:?}");
            assert!(told(&whole(Vec::new(), (0, Vec::new())), language).is_empty());
        }
    }
}
