//! The forms: one for each check and one for notes. A press of the button puts it on record.

use askama::Template;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use serde::Serialize;

use super::forms::{Fields, NOTE_CHARS_MAX, Sent};
use super::supplies::{self, Looked};
use super::words::{Words, between, caution, heading, not_tested, unknown_fields, words};
use super::{Going, Known, NotPut, Written, thermometer};
use crate::core::cycle::plate::Sanitizing;
use crate::core::logbook::words::supply;
use crate::core::merkle::{Hash, leaf_hash};
use crate::core::reader::{Language, Reader};
use crate::core::record::{Check, CheckKind, Note, Supply, TEST_STRIP};
use crate::core::sanitizer::strip_colours;
use crate::core::time::Timestamp;
use crate::web::form::clock;
use crate::web::form::{Fault, Field, text};
use crate::web::frame::{self, Frame, Refusal, Tab};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;
use crate::web::query::{self, Given};

/// What names the whole site in place of a machine, as at the command.
pub(super) const SITE: &str = "all";

/// Which form.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Which {
    Check(CheckKind),
    Note,
}

/// The comparison of a thermometer, whose form is a little different, see [`thermometer`].
pub(super) const THERMOMETER: Which = Which::Check(CheckKind::Thermometer);

impl Which {
    fn of(word: &str) -> Option<Self> {
        let check = CheckKind::named(word).map(Self::Check);
        check.or((word == "note").then_some(Self::Note))
    }

    const fn kind(self) -> Option<CheckKind> {
        match self {
            Self::Check(kind) => Some(kind),
            Self::Note => None,
        }
    }

    fn word(self) -> &'static str {
        self.kind().map_or("note", CheckKind::as_str)
    }

    /// The machines that it can be about, and whether it can be about the whole site.
    fn subjects(self, machines: &[Known]) -> (Vec<String>, bool) {
        let only_chemical = self == Self::Check(CheckKind::Sanitizer);
        let fitting = machines.iter().filter(|one| !only_chemical || one.sanitizing.is_chemical());
        (fitting.map(|one| one.name.clone()).collect(), !only_chemical)
    }
}

/// Something to choose from.
pub(super) struct Choice {
    pub(super) value: String,
    pub(super) shown: String,
    pub(super) chosen: bool,
}

#[derive(Template)]
#[template(path = "web/logbook/form.html", config = ".askama.toml")]
struct FormPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    kind: &'static str,
    heading: String,
    /// The one machine that is meant; empty where one is to be chosen.
    machine: String,
    /// Whether there are others than the one that is meant.
    has_others: bool,
    machines: Vec<Choice>,
    steps: Vec<Choice>,
    /// What can be short.
    supplies: Vec<Choice>,
    /// What to tap where the strip lies between two colours.
    between: String,
    devices: Vec<Choice>,
    /// The probe that was compared; empty where it was another thermometer.
    probe: String,
    /// Whether it is to be said first which thermometer is meant.
    is_asked: bool,
    /// The probes that could be meant.
    probes: Vec<String>,
    symbol: &'static str,
    zone: String,
    caution: Option<&'static str>,
    /// The two times that the one which was typed may be.
    twice: Vec<clock::Which>,
    fields: Fields,
}

/// Shows a form, with the machine of the link chosen.
pub(in crate::web) async fn ask<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(check): Path<String>,
    uri: Uri,
    person: Person,
) -> Response {
    let Some(which) = Which::of(&check) else {
        return frame::refuse(Refusal::Unknown, &person, &pages.site, 1);
    };
    // Which machine a link means, and which of its thermometers.
    let meant = Given::read(&uri, &["machine", "what", "other"]);
    if meant.is_refused() {
        return query::refused(&meant, &person, &pages.site, 1);
    }
    let mut fields = Fields {
        machine: Field::with(meant.text("machine")),
        once: pages.kitchen.time().micros().to_string(),
        ..Fields::default()
    };
    if which == THERMOMETER {
        fields.is_other = meant.has("other");
        thermometer::name(meant.text("what"), &mut fields, &pages.kitchen.machines());
        // Most kitchens have one reference: its name need not be typed again.
        if let Ok(Some(reference)) = pages.kitchen.last_reference().await {
            fields.reference = Field::with(reference);
        }
    }
    // A machine that this cannot be about is told of at once, and never becomes another.
    let fits = fields.machine.value.is_empty()
        || subject(which, &mut fields, &pages.kitchen.machines(), &person.reader).is_some();
    let status = if fits { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    answer(&pages, &person, which, fields, status).await
}

async fn answer<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    which: Which,
    fields: Fields,
    status: StatusCode,
) -> Response {
    let reader = &person.reader;
    let words = words(reader.language);
    let known = pages.kitchen.machines();
    let (names, or_site) = which.subjects(&known);
    let wanted = fields.machine.value.as_str();
    let meant = match names.as_slice() {
        // A thermometer is of a machine where it is one of its probes.
        _ if which == THERMOMETER => String::new(),
        _ if names.iter().any(|name| name == wanted) => wanted.to_owned(),
        [one] if wanted.is_empty() => one.clone(),
        _ => String::new(),
    };
    let choice = |value: &str, shown: &str| Choice {
        value: value.to_owned(),
        shown: shown.to_owned(),
        chosen: value == wanted,
    };
    let mut machines: Vec<Choice> = names.iter().map(|name| choice(name, name)).collect();
    if or_site {
        machines.push(choice(SITE, words.site));
    }
    if which == Which::Note && wanted.is_empty() {
        machines.iter_mut().for_each(|one| one.chosen = one.value == SITE);
    }
    let own = known.iter().filter(|one| meant.is_empty() || one.name == meant);
    let (colours, too_strong) = strip_of(own);
    let sanitizing = known.iter().find(|one| one.name == meant).map(|one| one.sanitizing);
    let supplies = supplies_of(sanitizing, &fields.short, reader.language);
    let title = heading(which.kind(), reader.language);
    let probe = Some(&fields.what.value).filter(|what| thermometer::is_probe(what, &known));
    let probe = probe.cloned().unwrap_or_default();
    let probes = thermometer::probes(wanted, &known);
    let open = pages.open().await;
    let page = FormPage {
        frame: Frame::new(&pages.site, person, Tab::Logbook, 1, title).with_open(open),
        words,
        kind: which.word(),
        heading: [title, &meant, &probe]
            .into_iter()
            .filter(|part| !part.is_empty())
            .collect::<Vec<_>>()
            .join(" · "),
        has_others: names.len() > 1,
        machine: meant,
        steps: steps_of(colours, &fields.strip),
        supplies,
        between: between(too_strong, reader.language),
        devices: thermometer::devices(&fields, reader),
        is_asked: which == THERMOMETER && probe.is_empty() && !fields.is_asked_for() && !probes.is_empty(),
        probes,
        probe,
        symbol: reader.scale.symbol(),
        zone: reader.zone.iana_name().map_or_else(String::new, str::to_owned),
        caution: which.kind().map(|kind| caution(kind, reader.language)),
        machines,
        twice: fields.twice(reader),
        fields,
    };
    frame::page(status, page.render())
}

/// The colours of a strip and between which of them it counts as the stronger one, mg/L.
pub(super) type Strip = (&'static [f64], Option<(f64, f64)>);

/// The colours of a strip as buttons, with the one that was tapped.
pub(super) fn steps_of(colours: &[f64], tapped: &str) -> Vec<Choice> {
    let choice = |step: &f64| {
        let shown = step.to_string();
        Choice { chosen: shown == tapped, value: shown.clone(), shown }
    };
    colours.iter().map(choice).collect()
}

/// The ticks of what a machine can run short of, each by its name, with those that were set.
pub(super) fn supplies_of(
    sanitizing: Option<Sanitizing>,
    ticked: &[Supply],
    language: Language,
) -> Vec<Choice> {
    let choice = |one: Supply| Choice {
        value: supplies::tick(one),
        shown: supply(one, language).to_owned(),
        chosen: ticked.contains(&one),
    };
    supplies::of(sanitizing).map(choice).collect()
}

/// What the strip of these machines can show; no colours where they have different strips, or are too strong by
/// different ones, so that the machine is to be known first.
pub(super) fn strip_of<'k>(machines: impl Iterator<Item = &'k Known>) -> Strip {
    let chemical = machines.filter(|one| one.sanitizing.is_chemical());
    let mut strips = chemical.map(|one| (strip_colours(one.sanitizing), one.too_strong_between));
    let first: Strip = strips.next().unwrap_or_default();
    if strips.all(|strip| strip == first) { first } else { Strip::default() }
}

/// Puts what was typed on record.
pub(in crate::web) async fn enter<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(check): Path<String>,
    person: Person,
    sent: Result<Form<Sent>, FormRejection>,
) -> Response {
    let Some(which) = Which::of(&check) else {
        return frame::refuse(Refusal::Unknown, &person, &pages.site, 1);
    };
    let sent = match sent {
        Ok(Form(mut sent)) => {
            if which == Which::Check(CheckKind::Supply) {
                sent.take_ticks();
            }
            sent
        }
        Err(rejection) => {
            tracing::debug!(why = rejection.body_text(), "a form that cannot be read");
            let why = words(person.reader.language).garbled.to_owned();
            let fields = Fields { refused: Some(why), is_sent: true, ..Fields::default() };
            return answer(&pages, &person, which, fields, rejection.status()).await;
        }
    };
    let mut fields = Fields::from(&sent);
    if let Some(unknown) = unknown_fields(&sent.unknown, person.reader.language) {
        fields.refused = Some(unknown);
        return answer(&pages, &person, which, fields, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    let now = pages.kitchen.time();
    let once = once(&sent.once, which.word(), &sent, &person);
    let Some(going) = read(which, &mut fields, &pages.kitchen.machines(), &person, (now, once)) else {
        return answer(&pages, &person, which, fields, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let (refused, status) = match pages.kitchen.put(going).await {
        Ok(Some(record)) => return frame::go(&format!("entries/{record}")),
        Ok(None) => return frame::go("../logbook"),
        Err(NotPut::Refused(why)) => (why, StatusCode::UNPROCESSABLE_ENTITY),
        Err(NotPut::NotNow) => {
            (words(person.reader.language).not_now.to_owned(), StatusCode::SERVICE_UNAVAILABLE)
        }
    };
    fields.refused = Some(refused);
    answer(&pages, &person, which, fields, status).await
}

/// Names a press of the button, by what the form says of it and at what it is sent. What was typed is part of it: somebody who goes back to a form, changes a value and
/// sends it again means another entry.
pub(super) fn once(named: &str, what: &str, sent: &impl Serialize, person: &Person) -> Option<Hash> {
    if named.is_empty() {
        return None;
    }
    // Texts always fit into JSON.
    let typed = serde_json::to_vec(&(&person.account, what, sent)).ok()?;
    Some(leaf_hash(&typed))
}

/// What was typed, where all of it can be; else each fault stands beside its field.
fn read(
    which: Which,
    fields: &mut Fields,
    known: &[Known],
    person: &Person,
    (now, once): (Timestamp, Option<Hash>),
) -> Option<Going> {
    let reader = &person.reader;
    let made = fields.made(reader, now);
    let by = person.name.clone();
    let (machine, written) = match which {
        THERMOMETER => {
            let (machine, check) = thermometer::read(fields, known, reader, made, by);
            (machine, check.map(Written::Check))
        }
        Which::Check(kind) => {
            let machine = subject(which, fields, known, reader);
            let of =
                machine.as_ref().and_then(|name| known.iter().find(|one| Some(&one.name) == name.as_ref()));
            let check = simple(kind, fields, of.map(|one| one.sanitizing), reader, (made, by));
            (machine, check.map(Written::Check))
        }
        Which::Note => {
            let found = text(&fields.note.value, NOTE_CHARS_MAX);
            let text = fields.note.take(found, reader.language);
            let at = made.filter(|at| *at != now);
            let note = text.map(|text| Written::Note(Note { at, text, by }));
            (subject(which, fields, known, reader), note.filter(|_| made.is_some()))
        }
    };
    Some(Going { machine: machine?, written: written?, late: fields.late, once })
}

/// The machine that was chosen, the only one there is, or the whole site; `None` where it is none of these. One
/// that was named and does not fit is told by its name.
pub(super) fn subject(
    which: Which,
    fields: &mut Fields,
    known: &[Known],
    reader: &Reader,
) -> Option<Option<String>> {
    let (names, or_site) = which.subjects(known);
    let chosen = fields.machine.value.as_str();
    let found = match names.as_slice() {
        _ if or_site && chosen == SITE => Ok(None),
        _ if names.iter().any(|name| name == chosen) => Ok(Some(chosen.to_owned())),
        [one] if chosen.is_empty() => Ok(Some(one.clone())),
        _ => Err(Fault::NoChoice),
    };
    if found.is_err() && !chosen.is_empty() {
        let is_known = known.iter().any(|one| one.name == chosen);
        fields.machine.fault = Some(not_tested(chosen, is_known, reader));
        return None;
    }
    fields.machine.take(found, reader.language)
}

fn simple(
    kind: CheckKind,
    fields: &mut Fields,
    of: Option<Sanitizing>,
    reader: &Reader,
    (made, by): (Option<Timestamp>, String),
) -> Option<Check> {
    match kind {
        CheckKind::Sanitizer => {
            let (strength, ph, solution_c) =
                (fields.strength(reader, of), fields.ph(reader), fields.solution(reader));
            let (mg_per_l, by_strip) = strength?;
            let method = by_strip.then(|| TEST_STRIP.to_owned());
            Some(Check::Sanitizer { at: made?, mg_per_l, ph: ph?, solution_c: solution_c?, method, by })
        }
        CheckKind::Supply => {
            let note = fields.note(reader)?;
            let Looked { enough, short, note } = fields.looked(note, reader.language)?;
            Some(Check::Supply { at: made?, enough, short, note, by })
        }
        CheckKind::DrainAndClean => {
            let note = fields.note(reader);
            Some(Check::DrainAndClean { at: made?, note: note?, by })
        }
        // It has a form of its own, see [`thermometer::read`].
        CheckKind::Thermometer => None,
    }
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::core::reader::{Language, Scale};
    use crate::core::sanitizer::{Rules, too_strong_between};

    // Own promise: where one machine alone could be meant, it is only meant where none is named.
    #[test]
    fn a_machine_that_is_named_becomes_no_other() {
        let known = |name: &str, sanitizing| Known {
            name: name.to_owned(),
            sanitizing,
            too_strong_between: too_strong_between(sanitizing, &Rules::default()),
            probes: Vec::new(),
        };
        let two = [known("hot", Sanitizing::HotWater), known("strong", Sanitizing::Chlorine)];
        let which = Which::Check(CheckKind::Sanitizer);
        let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
        for (of, first, above) in [
            (vec![Sanitizing::HotWater, Sanitizing::Quat], Some(100.0), Some((400.0, 500.0))),
            (vec![Sanitizing::Iodine, Sanitizing::Iodine], Some(12.5), Some((25.0, 50.0))),
            (vec![Sanitizing::Chlorine, Sanitizing::Quat], None, None),
            (vec![Sanitizing::HotWater], None, None),
        ] {
            let machines: Vec<Known> = of.iter().map(|one| known("dm", *one)).collect();
            let (colours, too_strong) = strip_of(machines.iter());
            assert_eq!((colours.get(1).copied(), too_strong), (first, above), "{of:?}");
        }
        let labels = [None, Some((300.0, 400.0))];
        let two_labels =
            labels.map(|label| Known { too_strong_between: label, ..known("dm", Sanitizing::Quat) });
        assert_eq!(strip_of(two_labels.iter()), Strip::default(), "each by its own label");
        for (named, expected) in [
            ("hot", None),
            ("other", None),
            ("", Some(Some("strong".to_owned()))),
            ("strong", Some(Some("strong".to_owned()))),
        ] {
            let mut fields = Fields { machine: Field::with(named), ..Fields::default() };
            assert_eq!(subject(which, &mut fields, &two, &reader), expected, "{named}");
            assert_eq!(fields.machine.fault.is_some(), expected.is_none(), "{named}");
        }
    }
}
