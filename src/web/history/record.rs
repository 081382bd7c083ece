//! One record: what it says, what speaks of it, its bytes, and the proof that it stands.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::lines::{judged_word, leads_to};
use super::story::{amended, judged as sentence, put, told};
use super::words::kind_word;
use crate::core::access::Right;
use crate::core::alert::entered::EnteredChecks;
use crate::core::counted::Noun;
use crate::core::late::{late_by, stands_at};
use crate::core::logbook::Missed;
use crate::core::reader::{Language, Reader};
use crate::core::record::{Body, Check, CheckKind, Record};
use crate::web::alerts::trail;
use crate::web::cycle::Sealing;
use crate::web::frame::{self, Frame, Refusal, Tab, said};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;
use crate::web::who::instead;

/// What stands at the place of a record.
#[derive(Clone, PartialEq, Debug)]
pub enum Stands {
    /// A record.
    Whole(Box<One>),
    /// One that is not as it was made, or cannot be read.
    Damaged(Sealing),
}

/// A record with all that concerns it.
#[derive(Clone, PartialEq, Debug)]
pub struct One {
    /// What is on record.
    pub record: Record,
    /// The limits that a check missed.
    pub missed: Missed,
    /// Whether a check is good as it counts by now; absent of any other record, and where nothing is said of it.
    pub good: Option<bool>,
    /// What counts of a check that was corrected.
    pub counts: Option<Counts>,
    /// By which checks alerts were eased, of the records that speak of it.
    pub eased: Eased,
    /// Its bytes as they are hashed: one JSON object.
    pub bytes: String,
    /// Records that speak of it; `None` stands for one that cannot be read.
    pub about: Vec<(u64, Option<Record>)>,
    /// How it is sealed.
    pub sealing: Sealing,
}

/// A check as it was corrected.
#[derive(Clone, PartialEq, Debug)]
pub struct Counts {
    /// The record that says so.
    pub by: u64,
    /// What counts.
    pub check: Check,
    /// The limits that it missed.
    pub missed: Missed,
}

/// By which checks alerts were eased.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Eased {
    /// Kinds that were made, by the record that says so.
    pub made: BTreeMap<u64, Vec<CheckKind>>,
    /// The checks themselves, and what each came to.
    pub entered: EnteredChecks,
}

/// A record that speaks of it.
struct About {
    to: String,
    text: String,
}

#[derive(Template)]
#[template(path = "web/history/record.html", config = ".askama.toml")]
struct RecordPage<'a> {
    frame: Frame<'a>,
    sealing: &'a Sealing,
    counted: String,
    /// Absent for a damaged one.
    one: Option<Told>,
}

/// A record in words.
struct Told {
    kind: &'static str,
    machine: String,
    at: String,
    recorded: String,
    late: bool,
    said: String,
    /// What counts of a check that was corrected.
    counts: Option<String>,
    /// Whether a check is good as it counts, with its word.
    judged: Option<(bool, &'static str)>,
    to: Option<String>,
    /// Probe and machine that it belongs to, as far as they are configured, and the sheet of a sign-off: where each
    /// leads, and its words.
    ways: Vec<(String, String)>,
    about: Vec<About>,
    /// Absent for those who may not see them.
    bytes: Option<String>,
    /// Who may see them, for those who may not.
    instead: Option<String>,
}

/// Shows a record.
pub(in crate::web) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(index): Path<String>,
    person: Person,
) -> Response {
    let reader = &person.reader;
    let Ok(index) = index.parse() else { return frame::refuse(Refusal::Unknown, &person, &pages.site, 2) };
    let stands = match pages.kitchen.record(index).await {
        Ok(stands) => stands,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 2),
    };
    let (sealing, one) = match stands {
        Stands::Damaged(sealing) => (sealing, None),
        Stands::Whole(one) => {
            if let Body::Cycle(_) = &one.record.body {
                return frame::go(&format!("../../cycles/{index}"));
            }
            let ways = ways(&pages, index, &one.record, reader.language).await;
            (one.sealing.clone(), Some(Told { ways, ..of(index, *one, &person) }))
        }
    };
    let language = reader.language;
    let title = format!("{} {index}", said(language, "Record", "Asiento"));
    let page = RecordPage {
        frame: Frame::new(&pages.site, &person, Tab::History, 2, &title).with_open(pages.open().await),
        counted: match sealing.checkpoint {
            Some((size, at)) if index < size => {
                format!("{}, {}", Noun::Records.of(size, language), reader.moment(at))
            }
            Some(_) | None => String::new(),
        },
        sealing: &sealing,
        one,
    };
    frame::page(StatusCode::OK, page.render())
}

fn of(index: u64, one: One, person: &Person) -> Told {
    let One { ref record, missed, good, ref counts, ref eased, bytes, ref about, sealing: _ } = one;
    let reader = &person.reader;
    let language = reader.language;
    // A change of the configuration holds all of it, which the settings keep from those without that right.
    let what = said(language, "Its bytes", "Sus bytes");
    let is_settings = matches!(record.body, Body::ConfigurationChange(_));
    let instead = if is_settings { instead(person, Right::Settings, what) } else { None };
    let speaks = |(other, found): &(u64, Option<Record>)| match found {
        Some(Record { body: Body::Amendment(amendment), .. }) => {
            About { to: format!("history/records/{other}"), text: amended(*other, Some(amendment), reader) }
        }
        Some(found) => About {
            to: leads_to(*other, &found.body),
            text: format!(
                "{} {other}: {}: {}",
                said(language, "Record", "Asiento"),
                kind_word(found.body.kind(), language),
                of_other(*other, &found.body, eased, reader)
            ),
        },
        None => About { to: format!("history/records/{other}"), text: amended(*other, None, reader) },
    };
    let beyond = match &record.body {
        Body::Check(_) | Body::Note(_) => Some(format!("logbook/entries/{index}")),
        Body::Amendment(amendment) => Some(format!("history/records/{}", amendment.of)),
        Body::Cycle(_)
        | Body::Gap(_)
        | Body::ServiceStart(_)
        | Body::ServiceStop(_)
        | Body::ClockStep(_)
        | Body::ConfigurationChange(_)
        | Body::MachineFailure(_)
        | Body::AlertRaised(_)
        | Body::AlertChanged(_)
        | Body::AlertAcknowledged(_)
        | Body::AlertCleared(_)
        | Body::AlertClosed(_)
        | Body::CorrectiveAction(_)
        | Body::Notification(_)
        | Body::Maintenance(_)
        | Body::SigningKey(_)
        | Body::LawfulHold(_)
        | Body::Pruned(_)
        | Body::Import(_)
        | Body::Restored(_)
        | Body::Calibration(_)
        | Body::Response(_)
        | Body::WiringProof(_)
        | Body::SignOff(_)
        | Body::Access(_) => record.body.alert().map(|alert| format!("alerts/{alert}")),
    };
    Told {
        kind: kind_word(record.body.kind(), language),
        machine: record.machine.clone().unwrap_or_else(|| said(language, "site", "sitio").to_owned()),
        at: reader.moment(stands_at(record)),
        recorded: reader.moment(record.recorded),
        late: late_by(record).is_some(),
        said: entered(&record.body, missed, counts.is_some(), reader),
        counts: counts.as_ref().map(|counts| counting(counts, reader)),
        judged: good.map(|good| (good, judged_word(good, false, language))),
        to: beyond,
        ways: Vec::new(),
        about: about.iter().map(speaks).collect(),
        bytes: Some(bytes).filter(|_| instead.is_none()),
        instead,
    }
}

/// What it says; of a check that counts otherwise by now that it was entered so first.
fn entered(body: &Body, missed: Missed, is_corrected: bool, reader: &Reader) -> String {
    let said = sentence(body, missed, reader);
    if !is_corrected {
        return said;
    }
    put(reader.language, ("Entered first: {said}", "Anotado primero: {said}"), &[("said", &said)])
}

/// What counts of a check that was corrected, and by which record.
fn counting(counts: &Counts, reader: &Reader) -> String {
    let what = sentence(&Body::Check(counts.check.clone()), counts.missed, reader);
    let pair = ("Counts by record {by}: {what}", "Vale por el asiento {by}: {what}");
    put(reader.language, pair, &[("by", &counts.by.to_string()), ("what", &what)])
}

/// What another record says that speaks of it, in the words of the page of an alert.
fn of_other(index: u64, body: &Body, eased: &Eased, reader: &Reader) -> String {
    let kinds = eased.made.get(&index).filter(|kinds| !kinds.is_empty());
    if let (Body::AlertChanged(changed), Some(kinds)) = (body, kinds) {
        return trail::eased(changed, kinds, &eased.entered, reader);
    }
    told(body, reader)
}

/// The probe and the machine that a technician's record belongs to, as far as they are configured, and the sheet of a
/// sign-off.
async fn ways<K: Kitchen>(
    pages: &Pages<K>,
    index: u64,
    record: &Record,
    language: Language,
) -> Vec<(String, String)> {
    let probe = if let Body::Calibration(done) = &record.body {
        Some(&done.probe)
    } else if let Body::Response(done) = &record.body {
        Some(&done.probe)
    } else {
        None
    };
    let sheet = matches!(record.body, Body::SignOff(_));
    if probe.is_none() && !sheet && !matches!(record.body, Body::WiringProof(_)) {
        return Vec::new();
    }
    let Ok(known) = pages.kitchen.probes().await else { return Vec::new() };
    let mut ways = Vec::new();
    if let Some(probe) = probe
        && known.iter().any(|seen| format!("{}/{}", seen.machine, seen.probe) == *probe)
    {
        ways.push((format!("probes/{probe}"), format!("{} {probe}", said(language, "Probe", "Sonda"))));
    }
    if let Some(machine) = &record.machine
        && known.iter().any(|seen| seen.machine == *machine)
    {
        let word = said(language, "Probes and sign-off of", "Sondas y firma de");
        ways.push((format!("probes/{machine}"), format!("{word} {machine}")));
        if sheet {
            let word = said(language, "Sheet of the sign-off", "Hoja de la firma");
            ways.push((format!("probes/{machine}/sheet?record={index}"), word.to_owned()));
        }
    }
    ways
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::access::Role;
    use crate::core::alert::{AlertNumber, Condition};
    use crate::core::logbook::Judgement;
    use crate::core::record::{AlertChanged, Change};
    use crate::web::fixture::{NOW, person};

    // Regression: a check that failed and was corrected had the mark of what counts beside the figure that failed. Own promise:
    // the mark stands at what counts, and an alert that it eased is told as on its page.
    #[test]
    fn the_mark_stands_at_what_counts() {
        let strip = |mg_per_l| {
            let (ph, solution_c, method, by) = (None, None, None, "Ana".to_owned());
            Check::Sanitizer { at: NOW, mg_per_l, ph, solution_c, method, by }
        };
        let changed = AlertChanged {
            condition: Some(Condition::CheckOverdue),
            about: vec!["supply".to_owned()],
            cause: Some(5),
            ..AlertChanged::new(AlertNumber(6), Change::Eased)
        };
        let record = |body| Record::new(NOW, Some("dm1".to_owned()), body);
        let mut eased = Eased { made: BTreeMap::from([(7, vec![CheckKind::Sanitizer])]), ..Eased::default() };
        eased.entered.take(5, strip(10.0), Judgement { good: Some(false), ..Judgement::default() });
        let one = One {
            record: record(Body::Check(strip(10.0))),
            missed: Missed::default(),
            good: Some(true),
            counts: Some(Counts { by: 6, check: strip(100.0), missed: Missed::default() }),
            eased,
            bytes: String::new(),
            about: vec![(7, Some(record(Body::AlertChanged(changed))))],
            sealing: Sealing { record: 5, leaf: None, checkpoint: None },
        };
        for (language, entered, counts, word, failed) in [
            (
                Language::English,
                "Entered first: 10 mg/L",
                "Counts by record 6: 100 mg/L",
                "good",
                "and FAILED",
            ),
            (
                Language::Spanish,
                "Anotado primero: 10 mg/L",
                "Vale por el asiento 6: 100 mg/L",
                "bien",
                "NO CUMPLIÓ",
            ),
        ] {
            let told = of(5, one.clone(), &person(Role::Auditor, language));
            assert!(told.said.starts_with(entered), "{}", told.said);
            assert!(told.counts.as_ref().is_some_and(|told| told.starts_with(counts)), "{:?}", told.counts);
            assert_eq!(told.judged, Some((true, word)));
            assert!(told.about[0].text.contains(failed), "{}", told.about[0].text);
        }
    }
}
