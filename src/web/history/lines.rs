//! Lines of the history in words.

use super::asked::address;
use super::story::{amended, judged as sentence, lasting, put};
use super::words::kind_word;
use super::{DayLine, Doubted, GapLine, HistoryLine, Later, Question, View};
use crate::core::counted::Noun;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::{of_these_in_doubt, rack as rack_word, verdicts};
use crate::core::daily::DayNumbers;
use crate::core::late::{late_by, stands_at};
use crate::core::logbook::Missed;
use crate::core::monitored::Monitored;
use crate::core::reader::{Language, Reader};
use crate::core::record::{AmendmentChange, Body, Record};
use crate::core::time::Timestamp;
use crate::web::alerts::words::racks as affected;
use crate::web::frame::said;
use crate::web::machine::DayRack;
use crate::web::machine::words::fault_word;

/// A line in words.
pub(super) enum Told {
    Rack(RackTold),
    Record(RecordTold),
    Damaged(u64),
}

/// A rack in words.
pub(super) struct RackTold {
    pub(super) record: u64,
    pub(super) verdict: Verdict,
    pub(super) word: String,
    /// Alerts that put it in doubt.
    pub(super) doubts: Vec<u64>,
    pub(super) when: String,
    pub(super) machine: String,
    pub(super) figures: String,
    pub(super) beside: String,
}

/// Any other record in words.
pub(super) struct RecordTold {
    pub(super) kind: &'static str,
    pub(super) when: String,
    pub(super) machine: String,
    pub(super) said: String,
    /// Whether a check was good, with its word.
    pub(super) judged: Option<(bool, &'static str)>,
    /// Where it leads, from the top of the site.
    pub(super) to: String,
    /// What is to be known beside it.
    pub(super) beside: Vec<String>,
}

/// A day in words.
pub(super) struct DayTold {
    pub(super) machine: String,
    /// As an address has it.
    pub(super) day: String,
    /// As its reader has it.
    pub(super) date: String,
    pub(super) racks: String,
    /// Racks by verdict, each with the address of their list.
    pub(super) counts: Vec<(Count, String)>,
    /// Missed checks, with the address of their list.
    pub(super) missed: Option<(u64, String)>,
    /// Racks in doubt, with the address of their list.
    pub(super) doubted: Option<(String, String)>,
    pub(super) damaged: u64,
    pub(super) passed: String,
    pub(super) lowest: String,
    pub(super) median: String,
    pub(super) watched: String,
}

/// Racks of one verdict.
pub(super) struct Count {
    pub(super) verdict: Verdict,
    pub(super) count: u64,
    pub(super) word: &'static str,
}

/// A gap in words.
pub(super) struct GapTold {
    pub(super) index: u64,
    pub(super) what: String,
    pub(super) when: String,
    pub(super) lasted: String,
    pub(super) beside: String,
}

pub(super) fn told(line: &HistoryLine, reader: &Reader) -> Told {
    match line {
        HistoryLine::Rack { rack, machine, late, amended } => {
            Told::Rack(of_rack(rack, machine, (*late, *amended), reader))
        }
        HistoryLine::Record { index, record, missed, good, amendments, closed, counted } => {
            let stands = (*missed, *good, *closed, *counted);
            Told::Record(of_record(*index, record, stands, amendments, reader))
        }
        HistoryLine::Damaged(record) => Told::Damaged(*record),
    }
}

fn of_rack(rack: &DayRack, machine: &str, (late, amended): (bool, bool), reader: &Reader) -> RackTold {
    let language = reader.language;
    let mut beside = Vec::new();
    beside.extend(late.then_some(said(language, "recorded late", "registrada tarde")));
    beside.extend(amended.then_some(said(language, "amended", "enmendada")));
    RackTold {
        record: rack.record,
        verdict: rack.verdict,
        word: rack_word(rack.verdict, !rack.in_doubt_by.is_empty(), language),
        doubts: rack.in_doubt_by.clone(),
        when: reader.moment(rack.at),
        machine: machine.to_owned(),
        figures: rack.told(reader),
        beside: beside.join(", "),
    }
}

fn of_record(
    index: u64,
    record: &Record,
    (missed, good, closed, counted): (Missed, Option<bool>, Option<Timestamp>, Option<u64>),
    amendments: &[Later],
    reader: &Reader,
) -> RecordTold {
    let language = reader.language;
    let changes = amendments.iter().filter_map(|later| later.said.as_ref().map(|said| &said.change));
    let mut beside: Vec<String> =
        amendments.iter().map(|later| amended(later.index, later.said.as_ref(), reader)).collect();
    if late_by(record).is_some() {
        beside.push(said(language, "recorded late", "registrado tarde").to_owned());
    }
    if let Body::AlertRaised(_) = &record.body {
        // What it says of itself is how it began.
        let counted = counted.filter(|racks| *racks > 0);
        beside.extend(counted.map(|racks| {
            let is_over = ("{racks} in the end", "al final {racks}");
            let pair = if closed.is_some() { is_over } else { ("{racks} so far", "hasta ahora {racks}") };
            put(language, pair, &[("racks", &affected(racks, language))])
        }));
        beside.push(closed.map_or_else(
            || said(language, "not closed", "sin cerrar").to_owned(),
            |at| put(language, ("closed {at}", "cerrada {at}"), &[("at", &reader.moment(at))]),
        ));
    }
    RecordTold {
        kind: kind_word(record.body.kind(), language),
        when: reader.moment(stands_at(record)),
        machine: record.machine.clone().unwrap_or_else(|| said(language, "site", "sitio").to_owned()),
        said: sentence(&record.body, missed, reader),
        judged: good.map(|good| (good, judged_word(good, is_corrected(changes), language))),
        to: leads_to(index, &record.body),
        beside,
    }
}

/// Whether a check counts as it was corrected, and not as it was entered, by all that was said of it in order.
pub(super) fn is_corrected<'a>(mut said: impl DoubleEndedIterator<Item = &'a AmendmentChange>) -> bool {
    let newest = said.rfind(|change| **change != AmendmentChange::Comment);
    matches!(newest, Some(AmendmentChange::Corrected(_)))
}

/// Whether a check is good, in a word; what stands beside the word of a corrected one is what was entered.
pub(super) const fn judged_word(good: bool, corrected: bool, language: Language) -> &'static str {
    match (good, corrected) {
        (true, false) => said(language, "good", "bien"),
        (false, false) => said(language, "FAILED", "NO CUMPLE"),
        (true, true) => said(language, "good as corrected", "bien tras corregirla"),
        (false, true) => said(language, "FAILED as corrected", "NO CUMPLE tras corregirla"),
    }
}

/// The page of a record.
pub(super) fn leads_to(index: u64, body: &Body) -> String {
    match (body, body.alert()) {
        (_, Some(alert)) => format!("alerts/{alert}"),
        (Body::Cycle(_), None) => format!("cycles/{index}"),
        (_, None) => format!("history/records/{index}"),
    }
}

/// Racks by verdict, those that there are.
pub(super) fn counts(numbers: &DayNumbers, language: Language) -> Vec<Count> {
    let counts = Verdict::ALL.into_iter().map(|verdict| (verdict, numbers.of(verdict)));
    counts
        .filter(|(_, count)| *count > 0)
        .map(|(verdict, count)| Count { verdict, count, word: verdicts(verdict, count, language) })
        .collect()
}

/// A share to a tenth of a percent; what is not all is never rounded up to all.
pub(super) fn share(share: Option<f64>) -> String {
    let Some(share) = share else { return "–".to_owned() };
    let tenths = (share * 1000.0).floor();
    let shown = if share < 1.0 { tenths.min(999.0) } else { 1000.0 };
    format!("{:.1} %", shown / 10.0)
}

/// How much of the open time was watched.
pub(super) fn watched(watched: &Monitored, reader: &Reader) -> String {
    let missing_s = watched.operating_s - watched.monitored_s;
    let all = share(watched.share());
    if missing_s < 1.0 {
        return all;
    }
    let pair = ("{share}; {missing} missing", "{share}; faltan {missing}");
    put(reader.language, pair, &[("share", &all), ("missing", &lasting(missing_s))])
}

pub(super) fn day_told(line: &DayLine, reader: &Reader) -> DayTold {
    let numbers = &line.numbers;
    let shown = |celsius: Option<f64>| celsius.map_or("–".to_owned(), |value| reader.temperature(value));
    DayTold {
        machine: line.machine.clone(),
        day: line.day.to_string(),
        date: reader.date(line.day),
        racks: Noun::Racks.of(numbers.cycles(), reader.language),
        counts: counts(numbers, reader.language)
            .into_iter()
            .map(|count| {
                let to = address(&Question { verdict: Some(count.verdict), ..of_day(line, View::Racks) });
                (count, to)
            })
            .collect(),
        missed: (line.missed > 0).then(|| (line.missed, address(&of_day(line, View::Missed)))),
        doubted: doubted(line.doubted, reader.language)
            .map(|told| (told, address(&Question { in_doubt: true, ..of_day(line, View::Racks) }))),
        damaged: numbers.damaged,
        passed: share(numbers.pass_rate()),
        lowest: shown(numbers.rinse_min_c),
        median: shown(numbers.rinse_median_c),
        watched: watched(&line.watched, reader),
    }
}

/// How many racks are in doubt, in words; `None` where none is.
pub(super) fn doubted(doubted: Doubted, language: Language) -> Option<String> {
    let Doubted { count, more } = doubted;
    let what = of_these_in_doubt(language);
    match (count, more) {
        (0, false) => None,
        (count, false) => Some(format!("{what}: {count}")),
        (0, true) => Some(
            said(
                language,
                "some may be in doubt, not counted here",
                "puede haber canastas en duda que aquí no se cuentan",
            )
            .to_owned(),
        ),
        (count, true) => Some(format!("{what}: {count} {}", said(language, "or more", "o más"))),
    }
}

/// What is looked at of a machine on a day.
fn of_day(line: &DayLine, view: View) -> Question {
    Question {
        machine: Some(line.machine.clone()),
        from: Some(line.day),
        to: Some(line.day),
        ..Question::all(view)
    }
}

pub(super) fn gap_told(GapLine { blank, open_s }: &GapLine, reader: &Reader, now: Timestamp) -> GapTold {
    let language = reader.language;
    let what = match (&blank.probe, blank.fault) {
        (Some(probe), Some(fault)) => format!("{probe}: {}", fault_word(fault, language)),
        (_, _) => said(language, "The service was down", "El servicio estaba parado").to_owned(),
    };
    let when = match blank.to {
        Some(to) => format!("{} – {}", reader.moment(blank.from), reader.moment(to)),
        None => format!("{} – …", reader.moment(blank.from)),
    };
    let open = ("{open} of it in open time", "{open} en horas de apertura");
    let mut beside = vec![put(language, open, &[("open", &lasting(*open_s))])];
    if blank.to.is_none() {
        beside.push(said(language, "it lasts", "sigue").to_owned());
    }
    if blank.filled {
        let late = "its readings came after all, late";
        beside.push(said(language, late, "sus lecturas llegaron al fin, tarde").to_owned());
    }
    let lasted = lasting(blank.to.unwrap_or(now).seconds_since(blank.from));
    GapTold { index: blank.index, what, when, lasted, beside: beside.join("; ") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::cycle::plate::Sanitizing;
    use crate::core::logbook::judge;
    use crate::core::reader::Scale;
    use crate::core::record::{Amendment, Check};
    use crate::core::sanitizer::Rules;

    // Own rule: a share that is not all never looks like all, nor one that is not nothing worse than it is.
    #[test]
    fn a_share_is_never_rounded_up() {
        for (given, shown) in [
            (Some(1.0), "100.0 %"),
            (Some(0.999_99), "99.9 %"),
            (Some(0.95), "95.0 %"),
            (Some(0.0), "0.0 %"),
            (None, "–"),
        ] {
            assert_eq!(share(given), shown);
        }
    }

    // Own promise: the word beside a value that was entered says where it is of the value that it was corrected to; a
    // comment takes nothing of that back, a withdrawal does.
    #[test]
    fn a_corrected_check_is_judged_as_corrected() {
        let strip = |mg_per_l| {
            let (at, by) = (Timestamp::from_micros(0), "Ana".to_owned());
            Check::Sanitizer { at, mg_per_l, ph: None, solution_c: None, method: None, by }
        };
        let later = |change| {
            let (reason, by) = ("misread".to_owned(), "Bo".to_owned());
            Later { index: 71, said: Some(Amendment { of: 70, reason, by, change }) }
        };
        let corrected = || later(AmendmentChange::Corrected(strip(50.0)));
        let reader =
            Reader { language: Language::English, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let record =
            Record::new(Timestamp::from_micros(0), Some("dm2".to_owned()), Body::Check(strip(500.0)));
        let word = |amendments: &[Later], good| {
            of_record(70, &record, (Missed::default(), good, None, None), amendments, &reader)
                .judged
                .map(|(_, word)| word)
        };
        let (good, failed) = (Some(true), Some(false));
        assert_eq!(word(&[], failed), Some("FAILED"));
        assert_eq!(word(&[later(AmendmentChange::Comment)], failed), Some("FAILED"));
        assert_eq!(word(&[corrected()], good), Some("good as corrected"));
        assert_eq!(word(&[corrected()], failed), Some("FAILED as corrected"));
        assert_eq!(word(&[corrected(), later(AmendmentChange::Comment)], good), Some("good as corrected"));
        assert_eq!(word(&[corrected(), later(AmendmentChange::Withdrawn)], None), None, "it counts no more");
    }

    // Regression: a check that failed did not say which limit it missed. 25 mg/L: FDA Food Code 4-501.114(A).
    #[test]
    fn a_failed_check_names_the_limit_that_it_missed() {
        let (at, by) = (Timestamp::from_micros(0), "Ana".to_owned());
        let check =
            Check::Sanitizer { at, mg_per_l: 10.0, ph: Some(7.8), solution_c: None, method: None, by };
        let missed = Missed::of(&judge(&check, Sanitizing::Chlorine, &Rules::default()));
        let record = Record::new(at, Some("dm1".to_owned()), Body::Check(check));
        for (language, expected) in [
            (Language::English, "10 mg/L (at least 25 mg/L), pH 7.8 (Ana)"),
            (Language::Spanish, "10 mg/L (al menos 25 mg/L), pH 7.8 (Ana)"),
        ] {
            let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
            let stands = (missed, Some(false), None, None);
            assert_eq!(of_record(7, &record, stands, &[], &reader).said, expected);
        }
    }
}
