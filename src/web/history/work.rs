//! What a record says of work on a machine.

use super::story::put;
use crate::core::reader::Reader;
use crate::core::record::{DialogWork, Maintenance};
use crate::core::technician::work::{what, who};

/// Its beginning, its end, and what of a dialog only moved its end.
pub(super) fn told(work: &Maintenance, reader: &Reader) -> String {
    let language = reader.language;
    if work.ended {
        return ended(work, reader);
    }
    let until = reader.moment(work.until);
    let somebody = put(language, ("somebody", "alguien"), &[]);
    let by = work.by.as_deref().unwrap_or(&somebody);
    let why = work.why.as_deref().map(|why| what(why, language)).unwrap_or_default();
    let pair = match (work.dialog, why.is_empty()) {
        (None, true) => ("{by} works on it until {until}", "{by} trabaja en ella hasta {until}"),
        (None, false) => (
            "{by} works on it: {why}; until {until}, and longer as long as that goes on",
            "{by} trabaja en ella: {why}; hasta {until}, y más mientras eso siga",
        ),
        (Some(DialogWork::GoesOn), _) => (
            "the work of {by} goes on: {why}; until {until}",
            "sigue el trabajo de {by}: {why}; hasta {until}",
        ),
        (Some(DialogWork::Over), _) => (
            "{by} has done with it: {why}; it counts as worked on until {until}",
            "{by} ha terminado: {why}; consta que se trabaja en ella hasta {until}",
        ),
    };
    put(language, pair, &[("by", by), ("why", &why), ("until", &until)])
}

/// Who ended it, or that its time was over; who worked there, at what, and since when.
fn ended(work: &Maintenance, reader: &Reader) -> String {
    let language = reader.language;
    let mut text = match &work.by {
        Some(by) => put(
            language,
            ("{by} said that the work is over", "{by} dijo que el trabajo terminó"),
            &[("by", by)],
        ),
        None => put(
            language,
            ("the work is over, since its time has run out", "el trabajo terminó, al cumplirse su tiempo"),
            &[],
        ),
    };
    if !work.worked.is_empty() {
        let who = who(&work.worked, language);
        let pair = (". Who worked there: {who}", ". Quién trabajó: {who}");
        text.push_str(&put(language, pair, &[("who", &who)]));
    }
    if let Some(begun) = work.begun {
        let pair = (", since {begun}", ", desde {begun}");
        text.push_str(&put(language, pair, &[("begun", &reader.moment(begun))]));
    }
    text
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::core::reader::{Language, Scale};
    use crate::core::record::Worked;
    use crate::core::time::Timestamp;

    // Own promise: who worked at what, and who ended it, is told in the language of whoever reads.
    #[test]
    fn work_says_who_and_why() {
        let reader = |language| Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        let at = |minute: i64| Timestamp::from_micros(1_795_694_400_000_000 + minute * 60_000_000);
        let (by, why) = (|| Some("Ana".to_owned()), || Some("calibration of dm1/rinse".to_owned()));
        let plain = Maintenance {
            until: at(4),
            by: by(),
            why: why(),
            ended: false,
            begun: None,
            dialog: None,
            worked: Vec::new(),
        };
        let worked = vec![Worked { by: "Ana".to_owned(), why: why() }];
        let ended = Maintenance { why: None, ended: true, begun: Some(at(0)), worked, ..plain.clone() };
        for (work, english, spanish) in [
            (
                plain.clone(),
                "Ana works on it: calibration of dm1/rinse; until",
                "Ana trabaja en ella: calibración de dm1/rinse; hasta",
            ),
            (
                Maintenance { why: None, ..plain.clone() },
                "Ana works on it until",
                "Ana trabaja en ella hasta",
            ),
            (
                Maintenance { dialog: Some(DialogWork::GoesOn), ..plain.clone() },
                "the work of Ana goes on",
                "sigue el trabajo de Ana",
            ),
            (
                Maintenance { dialog: Some(DialogWork::Over), ..plain.clone() },
                "Ana has done with it: calibration",
                "Ana ha terminado: calibración",
            ),
            (
                Maintenance { by: Some("Tom".to_owned()), ..ended.clone() },
                "Tom said that the work is over. Who worked there: Ana (calibration of dm1/rinse), since",
                "Tom dijo que el trabajo terminó. Quién trabajó: Ana (calibración de dm1/rinse), desde",
            ),
            (
                Maintenance { by: None, ..ended.clone() },
                "the work is over, since its time has run out. Who worked there: Ana (",
                "el trabajo terminó, al cumplirse su tiempo. Quién trabajó: Ana (",
            ),
            // As an earlier version wrote it.
            (
                Maintenance { by: None, begun: None, worked: Vec::new(), ..ended.clone() },
                "the work is over, since its time has run out",
                "el trabajo terminó, al cumplirse su tiempo",
            ),
        ] {
            for (language, begins) in [(Language::English, english), (Language::Spanish, spanish)] {
                let said = told(&work, &reader(language));
                assert!(said.starts_with(begins), "{said}");
            }
        }
    }
}
