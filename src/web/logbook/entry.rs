//! One entry: what it came to in big words, why, what to do now; and what was said of it later.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::amend::NotOwn;
use super::check::{Choice, steps_of, strip_of, supplies_of};
use super::correcting::Correcting;
use super::words::{Words, amended, between, by, heading, no_more_own, words};
use super::{Entered, GoodSince, Held, Ran, Waits, Written};
use crate::core::access::Right;
use crate::core::address::escaped;
use crate::core::counted::Noun;
use crate::core::cycle::plate::Sanitizing;
use crate::core::logbook::words::{Told, late, tell};
use crate::core::logbook::{Lacking, lateness};
use crate::core::reader::{Reader, filled, said};
use crate::core::record::{Amendment, AmendmentChange, Check, CheckKind};
use crate::core::time::Timestamp;
use crate::web::form::clock;
use crate::web::frame::{self, Frame, Refusal, Tab};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;
use crate::web::who;

/// How many steps an entry lies below the top of the site.
pub(super) const DEEP: usize = 2;

#[derive(Template)]
#[template(path = "web/logbook/entry.html", config = ".askama.toml")]
struct EntryPage<'a> {
    frame: Frame<'a>,
    words: &'static Words,
    record: u64,
    heading: &'static str,
    machine: String,
    made: String,
    recorded: String,
    by: String,
    /// What counts.
    found: String,
    /// Alerts that it set off or ended, each with what it did.
    alerts: Vec<(u64, String)>,
    /// Which of them wait for somebody, of one that was put right since.
    waiting: Vec<String>,
    /// That racks of before it stay in doubt, since it came late.
    came_late: Vec<String>,
    /// What counted before it was corrected, the newest first.
    was: Vec<String>,
    /// The two times that the one which was typed may be.
    twice: Vec<clock::Which>,
    good: Option<bool>,
    /// Whether something that was said of it cannot be read.
    damaged: bool,
    withdrawn: bool,
    told: Option<Told>,
    late: Option<String>,
    /// That a rack was washed meanwhile, and its record.
    ran: Option<(String, u64)>,
    /// That one may still be under way.
    running: Option<String>,
    amendments: Vec<String>,
    /// Where one more of its kind is entered.
    again: Option<String>,
    /// Until when whoever looks may amend it as their own.
    own: Option<String>,
    /// Who may amend it, for those who may not.
    ask: Option<String>,
    /// Whether they may comment on it all the same.
    comments: bool,
    /// The colours of its strip, where it was read from one.
    steps: Vec<Choice>,
    /// What to tap where the strip lies between two colours.
    between: String,
    fields: Correcting,
    /// Record by which it counts as the form shows it.
    counts: u64,
    /// What it can have been short of.
    supplies: Vec<Choice>,
    /// The word of its kind; `note` for one.
    kind: &'static str,
    symbol: &'static str,
    zone: String,
}

/// Shows an entry.
pub(in crate::web) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(record): Path<String>,
    person: Person,
) -> Response {
    let Ok(record) = record.parse() else { return frame::refuse(Refusal::Unknown, &person, &pages.site, 2) };
    answer(&pages, &person, (record, DEEP), Correcting::fresh(pages.kitchen.time()), StatusCode::OK).await
}

/// The page of an entry so many steps below the top of the site, with what was typed into the form below it.
pub(super) async fn answer<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    (record, deep): (u64, usize),
    fields: Correcting,
    status: StatusCode,
) -> Response {
    let entered = match pages.kitchen.entry(record).await {
        Ok(entered) => entered,
        Err(refused) => return frame::refuse(refused, person, &pages.site, deep),
    };
    let reader = &person.reader;
    let open = pages.open().await;
    let words = words(reader.language);
    let (kind, at) = match &entered.written {
        Written::Check(check) => (Some(check.kind()), check.at()),
        Written::Note(note) => (None, note.at.unwrap_or(entered.recorded)),
    };
    let heading = heading(kind, reader.language);
    let withdrawn = entered.is_withdrawn();
    let late_by = lateness(at, entered.recorded);
    let known = pages.kitchen.machines();
    let own = known.iter().find(|one| Some(&one.name) == entered.machine.as_ref());
    let sanitizing = own.map(|one| one.sanitizing);
    let fields = fields.filled(entered.counting(), sanitizing, reader);
    let told = outcome(pages, &entered, (at, kind), sanitizing, reader).await;
    let (found, was) = entered.told(reader);
    let (steps, too_strong) = strip_of(own.into_iter().filter(|_| !fields.strip.is_empty()));
    let steps = steps_of(steps, &fields.strip);
    let now = pages.kitchen.time();
    let own_until = entered.own_until(person, now).map(|until| reader.with_article(reader.near(until, now)));
    let page = EntryPage {
        frame: Frame::new(&pages.site, person, Tab::Logbook, deep, heading).with_open(open),
        words,
        record,
        heading,
        machine: entered.machine.clone().unwrap_or_else(|| words.site.to_owned()),
        made: reader.moment(entered.counting().map_or(at, Check::at)),
        recorded: reader.moment(entered.recorded),
        by: by(&entered, reader.language),
        found,
        alerts: entered
            .did
            .iter()
            .map(|(alert, did)| (alert.0, did.told(alert.0, reader.language)))
            .collect(),
        waiting: waiting(&entered, reader),
        came_late: came_late(&entered, reader),
        was,
        twice: fields.twice(reader),
        supplies: supplies_of(sanitizing, &fields.short, reader.language),
        good: entered.good(),
        damaged: entered.is_damaged,
        withdrawn,
        told,
        late: late_by.map(|by| late(by.as_secs_f64(), reader.language)),
        ran: entered.ran.filter(|_| !withdrawn).map(|ran| (while_it_ran(ran, reader), ran.record)),
        running: entered.running.filter(|_| !withdrawn).map(|since| while_it_runs(since, reader)),
        amendments: entered.amendments.iter().map(|(_, at, one)| told_when(*at, one, reader)).collect(),
        again: person.may(Right::Enter).then(|| again(&entered, kind)),
        ask: ask(&entered, person, now).filter(|_| own_until.is_none()),
        own: own_until.map(|until| filled(words.own_hint, &[("until", &until)])),
        comments: person.may(Right::Enter),
        steps,
        between: between(too_strong, reader.language),
        counts: entered.counts_by(),
        fields,
        kind: kind.map_or("note", CheckKind::as_str),
        symbol: reader.scale.symbol(),
        zone: reader.zone.iana_name().map_or_else(String::new, str::to_owned),
    };
    frame::page(status, page.render())
}

/// What a check came to, and what to do then.
async fn outcome<K: Kitchen>(
    pages: &Pages<K>,
    entered: &Entered,
    (at, kind): (Timestamp, Option<CheckKind>),
    sanitizing: Option<Sanitizing>,
    reader: &Reader,
) -> Option<Told> {
    let (kind, judged) = (kind?, entered.judgement.as_ref().filter(|_| !entered.is_withdrawn())?);
    let is_short = kind == CheckKind::Supply && judged.good == Some(false);
    // Where that cannot be read, nothing is promised.
    let alerted = is_short && pages.kitchen.tells_of_look(entered.record).await.unwrap_or(false);
    let lacking = entered.counting().map(|check| Lacking { alerted, ..Lacking::of(check, sanitizing) });
    let mut told = tell(judged, kind, lacking.unwrap_or_default(), reader);
    let holds = entered.held.map(|held| self::held(held, pages.kitchen.time(), reader));
    if let Some((stop, holds)) = told.steps.first_mut().zip(holds) {
        stop.push_str(&format!(" {holds}"));
    }
    if let Some(later) = entered.failed_since {
        let own = entered.counting().map_or(at, Check::at);
        told.verdict = good_then(&told.verdict, (own, later), pages.kitchen.time(), reader);
    }
    Some(told)
}

/// Since when racks are to be held for a test that failed, and how many of them passed.
fn held(Held { since, passed }: Held, now: Timestamp, reader: &Reader) -> String {
    let (phrase, at) = match since {
        GoodSince::Test(at) => (
            said(
                reader.language,
                "The last good check before this one: {at}; {racks} passed since then, until this one went on record.",
                "El último control correcto antes de este: {at}; desde entonces, y hasta que este constó, {racks} con resultado correcto.",
            ),
            at,
        ),
        GoodSince::Never(at) => (
            said(
                reader.language,
                "No good check is on record before this one, since {at}; {racks} passed until this one went on record.",
                "No consta ningún control correcto antes de este, desde {at}; hasta que este constó, {racks} con resultado correcto.",
            ),
            at,
        ),
    };
    let at = reader.near(at, now);
    let at = if matches!(since, GoodSince::Never(_)) { reader.with_article(at) } else { at };
    filled(phrase, &[("at", &at), ("racks", &Noun::Racks.of(passed, reader.language))])
}

/// Whom to ask that it is amended, for those who may not: of a check that failed whoever made it reads why.
fn ask(entered: &Entered, person: &Person, now: Timestamp) -> Option<String> {
    let language = person.reader.language;
    let words = words(language);
    let instead = who::instead(person, Right::Amend, words.amend)?;
    let why = entered.not_own(person, now).filter(|why| person.may(Right::Enter) && *why != NotOwn::Others);
    let Some(why) = why else { return Some(instead) };
    let phrase = if entered.good() == Some(false) { words.own_failed } else { words.own_no_more };
    let values = [("why", no_more_own(why, language)), ("roles", &who::having(Right::Amend, language))];
    Some(filled(phrase, &values))
}

/// That it was good when it was made and is no more what the latest test found.
pub(super) fn good_then(
    verdict: &str,
    (at, later): (Timestamp, Timestamp),
    now: Timestamp,
    reader: &Reader,
) -> String {
    let phrase = said(
        reader.language,
        "{verdict}: so it was ({at}); the latest test ({later}) FAILED",
        "{verdict}: así era ({at}); la última prueba ({later}) NO CUMPLIÓ",
    );
    let (at, later) = (reader.near(at, now), reader.near(later, now));
    filled(phrase, &[("verdict", verdict.trim_end_matches('.')), ("at", &at), ("later", &later)])
}

/// Which of its alerts are open though what set them off does not count as it did: an amendment closes none.
fn waiting(entered: &Entered, reader: &Reader) -> Vec<String> {
    let is_change = |one: &Amendment| one.change != AmendmentChange::Comment;
    if !entered.amendments.iter().any(|(_, _, one)| is_change(one)) {
        return Vec::new();
    }
    let lasts = if entered.good() == Some(false) {
        said(
            reader.language,
            "As it was corrected, this entry FAILED: alert {alert} is open for it, and waits for action.",
            "Tal como se corrigió, esta anotación NO CUMPLIÓ: la alerta {alert} está abierta por ella y espera una acción.",
        )
    } else {
        said(
            reader.language,
            "Alert {alert} is still open: it waits for action, whatever this entry counts as by now.",
            "La alerta {alert} sigue abierta: espera una acción, valga lo que valga ahora esta anotación.",
        )
    };
    let told = |(alert, waits): &(u64, Waits)| {
        let phrase = match waits {
            Waits::Lasts => lasts,
            Waits::RecoveredByIt => said(
                reader.language,
                "Alert {alert} has recovered by it, and closes by itself once it stays so.",
                "La alerta {alert} se ha recuperado con ello, y se cierra sola si sigue así.",
            ),
            Waits::Recovered => said(
                reader.language,
                "Alert {alert} has recovered, and closes by itself once it stays so.",
                "La alerta {alert} se ha recuperado, y se cierra sola si sigue así.",
            ),
        };
        filled(phrase, &[("alert", &alert.to_string())])
    };
    entered.waiting.iter().map(told).collect()
}

/// That it was good, and racks of before it stay in doubt all the same.
fn came_late(entered: &Entered, reader: &Reader) -> Vec<String> {
    let phrase = said(
        reader.language,
        "This test came late: alert {alert} had counted racks of before it by then, and they stay in doubt there, since what is on record is not taken back. Whoever writes the corrective action decides about them, and may go by this test.",
        "Esta prueba llegó tarde: la alerta {alert} ya había contado canastas de antes de ella, y ahí siguen en duda, porque lo registrado no se retira. Quien escriba la acción correctiva decide sobre ellas, y puede guiarse por esta prueba.",
    );
    let told = |alert: &u64| filled(phrase, &[("alert", &alert.to_string())]);
    entered.came_after.iter().map(told).collect()
}

/// That a rack was washed while the tank is said to have been drained: the time may be wrong.
pub(super) fn while_it_ran(Ran { from, to, .. }: Ran, reader: &Reader) -> String {
    let phrase = said(
        reader.language,
        "A rack was washed at that time, from {from} to {to}: if the time of this entry is wrong, correct it below.",
        "A esa hora se lavaba una canasta, de {from} a {to}: si la hora de esta anotación es errónea, corríjala abajo.",
    );
    filled(phrase, &[("from", &reader.clock(from)), ("to", &reader.clock_and_zone(to))])
}

/// That a rack may still be under way that was so while the tank is said to have been drained, and what that means.
pub(super) fn while_it_runs(since: Timestamp, reader: &Reader) -> String {
    let phrase = said(
        reader.language,
        "This machine seems to run just now, since {since}. If a rack is in it, hold that rack: its verdict follows when it ends, and this page names it then. If the time of this entry is wrong, correct it below.",
        "Esta máquina parece estar en marcha ahora mismo, desde {since}. Si hay una canasta dentro, apártela: su veredicto llega cuando termine, y entonces esta página la nombra. Si la hora de esta anotación es errónea, corríjala abajo.",
    );
    filled(phrase, &[("since", &reader.with_article(reader.clock_and_zone(since)))])
}

/// What was said of it, and when.
fn told_when(at: Timestamp, amendment: &Amendment, reader: &Reader) -> String {
    format!("{} · {}", reader.moment(at), amended(amendment, reader))
}

fn again(entered: &Entered, kind: Option<CheckKind>) -> String {
    let form = kind.map_or("note", CheckKind::as_str);
    match &entered.machine {
        Some(machine) => format!("logbook/{form}?machine={}", escaped(machine)),
        None => format!("logbook/{form}"),
    }
}
