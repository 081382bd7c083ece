//! What is said of the racks of an alert elsewhere: by a test that came late, and by other alerts.

use super::{Late, Whole};
use crate::core::counted::Noun;
use crate::core::reader::{Language, Reader, filled, said};
use crate::core::time::Timestamp;

/// That a good test came late, and what it says of racks that are in doubt.
pub(super) fn late(late: Late, reader: &Reader, now: Timestamp) -> String {
    let phrase = said(
        reader.language,
        "A good test (made {made}) was entered later ({entered}): racks of before it were counted by then and stay in doubt. Whoever writes the corrective action may go by it.",
        "Una prueba correcta (hecha: {made}) se anotó más tarde ({entered}): las canastas de antes de ella ya estaban contadas y siguen en duda. Quien escriba la acción correctiva puede guiarse por ella.",
    );
    let [made, entered] = [late.made, late.entered].map(|at| reader.near(at, now));
    filled(phrase, &[("made", &made), ("entered", &entered)])
}

/// That other alerts put racks in doubt which this one names: the last good one, and its own.
pub(super) fn told(whole: &Whole, language: Language) -> Vec<String> {
    let mut lines = Vec::new();
    if !whole.good_in_doubt.is_empty() {
        let phrase = said(
            language,
            "The rack that is named as the last good one is in doubt since, by alert {alerts}: hold what that one names too.",
            "La canasta que se nombra como última correcta está en duda desde entonces, por la alerta {alerts}: aparte también lo que nombra esa.",
        );
        lines.push(filled(phrase, &[("alerts", &numbers(&whole.good_in_doubt))]));
    }
    let (count, alerts) = &whole.also_in_doubt;
    if *count > 0 {
        let phrase = said(
            language,
            "Of the racks named below another alert puts in doubt: {racks} (alert {alerts}). What that one says counts for them.",
            "De las canastas que se nombran abajo otra alerta pone en duda: {racks} (alerta {alerts}). Para ellas vale lo que dice esa.",
        );
        let racks = Noun::Racks.of(*count as u64, language);
        lines.push(filled(phrase, &[("racks", &racks), ("alerts", &numbers(alerts))]));
    }
    lines
}

fn numbers(alerts: &[u64]) -> String {
    alerts.iter().map(u64::to_string).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::core::alert::Alert;
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
        };
        for (language, came, good, own) in [
            (
                Language::English,
                "A good test (made 13:30 UTC) was entered later (16:18 UTC)",
                "last good one is in doubt since, by alert 7:",
                "another alert puts in doubt: 3 racks (alert 7, 9)",
            ),
            (
                Language::Spanish,
                "Una prueba correcta (hecha: 13:30 UTC) se anotó más tarde (16:18 UTC)",
                "última correcta está en duda desde entonces, por la alerta 7:",
                "otra alerta pone en duda: 3 canastas (alerta 7, 9)",
            ),
        ] {
            let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
            let said = late(Late { record: 4, made, entered }, &reader, now);
            assert!(said.starts_with(came), "{said}");
            let lines = told(&whole(vec![7], (3, vec![7, 9])), language);
            assert!(
                matches!(lines.as_slice(), [one, two] if one.contains(good) && two.contains(own)),
                "{lines:?}"
            );
            assert!(told(&whole(Vec::new(), (0, Vec::new())), language).is_empty());
        }
    }
}
