//! One record: what it says, what speaks of it, its bytes, and the proof that it stands.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::lines::{is_corrected, judged_word, leads_to};
use super::story::{amended, judged as sentence, told};
use super::words::kind_word;
use crate::core::access::Right;
use crate::core::counted::Noun;
use crate::core::late::{late_by, stands_at};
use crate::core::logbook::Missed;
use crate::core::reader::Language;
use crate::core::record::{Body, Record};
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
    /// Its bytes as they are hashed: one JSON object.
    pub bytes: String,
    /// Records that speak of it; `None` stands for one that cannot be read.
    pub about: Vec<(u64, Option<Record>)>,
    /// How it is sealed.
    pub sealing: Sealing,
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
    /// Whether a check is good, with its word.
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
    let One { ref record, missed, good, bytes, ref about, sealing: _ } = one;
    let reader = &person.reader;
    let language = reader.language;
    // A change of the configuration holds all of it, which the settings keep from those without that right.
    let what = said(language, "Its bytes", "Sus bytes");
    let is_settings = matches!(record.body, Body::ConfigurationChange(_));
    let instead = if is_settings { instead(person, Right::Settings, what) } else { None };
    let changes = about.iter().filter_map(|(_, found)| match found {
        Some(Record { body: Body::Amendment(said), .. }) => Some(&said.change),
        Some(_) | None => None,
    });
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
                told(&found.body, reader)
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
        said: sentence(&record.body, missed, reader),
        judged: good.map(|good| (good, judged_word(good, is_corrected(changes), language))),
        to: beyond,
        ways: Vec::new(),
        about: about.iter().map(speaks).collect(),
        bytes: Some(bytes).filter(|_| instead.is_none()),
        instead,
    }
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
