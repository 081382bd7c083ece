//! What a page says round the step of an attempt: whose it is, what is in its way, what its machine is marked as.

use std::time::Duration;

use super::marked::page_of;
use super::{Ended, NotDone, Spot, Taken, Under};
use crate::core::reader::{Language, Reader, filled};
use crate::core::time::Timestamp;
use crate::core::wiring::WATER_C;
use crate::web::frame::{self, said};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;
use crate::web::probes::{Seen, cards, kind};

/// Why nothing was done, in the words of whoever asked.
pub(in crate::web) fn not_taken(why: &NotDone, person: &Person) -> String {
    let language = person.reader.language;
    match why {
        NotDone::TakenBy(Taken { by, account, kind: what, of }) => {
            let phrase = if *account == person.account {
                said(
                    language,
                    "You are at something else here yourself: {what}, {of}. Go on with it, or end it first.",
                    "Usted ya está aquí con otra cosa: {what}, {of}. Siga con ello, o termínelo primero.",
                )
            } else {
                said(
                    language,
                    "{by} is at this probe or machine: {what}, {of}. Ask them, or end it.",
                    "{by} está con esta sonda o máquina: {what}, {of}. Pregúntele, o termínelo.",
                )
            };
            filled(phrase, &[("by", by), ("what", kind(*what, language)), ("of", of)])
        }
        NotDone::Refused(said) => {
            let advice = said.advice.iter().map(|advice| format!(": {advice}"));
            format!("{}{}", said.summary, advice.collect::<String>())
        }
        NotDone::Unknown | NotDone::NotSoFar => said(
            language,
            "Nothing was done: it is not at that step any more. What is so is shown here.",
            "No se hizo nada: ya no está en ese paso. Aquí se ve lo que hay.",
        )
        .to_owned(),
    }
}

/// What is under way at the same probe or machine.
pub(super) struct InTheWay {
    pub(super) of: String,
    /// Its page, from the top.
    pub(super) way: String,
    pub(super) own: bool,
}

impl InTheWay {
    pub(super) fn new(taken: Taken, person: &Person) -> Self {
        let Taken { by: _, account, kind, of } = taken;
        Self { way: page_of(kind, &of), of, own: account == person.account }
    }
}

/// That the machine is marked as worked on while this is under way, for how long, and what does not end it; `None`
/// where it is not.
pub(super) async fn at_work<K: Kitchen>(
    pages: &Pages<K>,
    reader: &Reader,
    spot: &Spot,
    under: &Under,
) -> Option<String> {
    let glances = pages.kitchen.glances(reader).await.ok()?.machines;
    let glance = glances.iter().find(|glance| glance.machine == spot.machine)?;
    let now = pages.kitchen.time();
    let held = glance.worked_on(glance.work_until?, now, reader);
    let phrase = if under.announced {
        said(
            reader.language,
            "{machine} is marked as worked on: its racks are unproven, and messages about it are held, {held}. It goes on where you close or leave this page; it ends when it is put on record or given up, and by itself where nothing is pressed before {ends}.",
            "Consta que se trabaja en {machine}: sus canastas quedan sin comprobar y sus mensajes se retienen, {held}. Sigue aunque cierre o deje esta página; termina al registrarlo o abandonarlo, y solo, si no se pulsa nada antes de: {ends}.",
        )
    } else {
        said(
            reader.language,
            "{machine} is marked as worked on: its racks are unproven, and messages about it are held, {held}.",
            "Consta que se trabaja en {machine}: sus canastas quedan sin comprobar y sus mensajes se retienen, {held}.",
        )
    };
    let ends = ends(under.ends, now, reader);
    let values = [("machine", spot.machine.as_str()), ("held", &held), ("ends", &ends)];
    Some(filled(phrase, &values))
}

/// What the probe shows just now, or each of the machine, as on their own page.
pub(super) async fn shown_now<K: Kitchen>(pages: &Pages<K>, reader: &Reader, spot: &Spot) -> Option<String> {
    let seen = pages.kitchen.probes().await.ok()?;
    let is_its = |seen: &&Seen| {
        seen.machine == spot.machine && spot.probe.as_ref().is_none_or(|probe| *probe == seen.probe)
    };
    let up = frame::up(spot.deep());
    Some(cards(seen.iter().filter(is_its), reader, up).ok()?.into_iter().map(|card| card.html).collect())
}

/// How warm the water for a proof of the wiring may be, on the scale of the reader.
pub(super) fn water(reader: &Reader) -> String {
    let (least, most) =
        (reader.scale.temperature(*WATER_C.start()), reader.scale.temperature(*WATER_C.end()));
    let symbol = reader.scale.symbol();
    match reader.language {
        Language::English => format!("{least:.0} to {most:.0} {symbol},"),
        Language::Spanish => format!("De {least:.0} a {most:.0} {symbol},"),
    }
}

/// How long whoever ended what another was at is told so on the other pages of its machine (own choice: until it was
/// read).
const CONFIRMED_FOR: Duration = Duration::from_secs(120);

/// That what somebody was at here ended by itself, or was ended by another; to whoever just did it also what else at this machine that was, and
/// whether it was them.
pub(super) async fn ended_here<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    spot: &Spot,
) -> Option<(String, bool)> {
    let (kitchen, now, name) = (&pages.kitchen, pages.kitchen.time(), spot.name());
    let is_own = |ended: &Ended| ended.by.as_ref() == Some(&person.name);
    let in_words = |of: &str, ended: &Ended| (ended_in_words(of, ended, now, &person.reader), is_own(ended));
    if let Some(ended) = kitchen.ended(&name).filter(|ended| ended.kind == spot.kind) {
        return Some(in_words(&name, &ended));
    }
    let probes = kitchen.probes().await.ok()?;
    let own = probes.iter().filter(|seen| seen.machine == spot.machine);
    let others = own.map(|seen| format!("{}/{}", seen.machine, seen.probe)).chain([spot.machine.clone()]);
    let just_so = |ended: &Ended| is_own(ended) && now.since(ended.at) < CONFIRMED_FOR;
    let ended = others.filter_map(|of| Some((kitchen.ended(&of).filter(just_so)?, of)));
    ended.max_by_key(|(ended, _)| ended.at).map(|(ended, of)| in_words(&of, &ended))
}

/// Who ended whose work, what it was, and at what.
fn ended_in_words(of: &str, ended: &Ended, now: Timestamp, reader: &Reader) -> String {
    let Ended { by, whose, kind: what, begun: _, at } = ended;
    let Some(by) = by else { return forgotten(of, ended, now, reader) };
    let phrase = said(
        reader.language,
        "{by} ended what {whose} was at here, at {at}: {what}, {of}. Nothing of it is on record.",
        "{by} terminó aquí lo que hacía {whose}, a {at}: {what}, {of}. Nada de ello consta en el registro.",
    );
    let (at, what) = (reader.with_article(reader.clock_and_zone(*at)), kind(*what, reader.language));
    filled(phrase, &[("by", by), ("whose", whose), ("at", &at), ("what", what), ("of", of)])
}

/// That nobody went on with it.
fn forgotten(of: &str, ended: &Ended, now: Timestamp, reader: &Reader) -> String {
    let phrase = said(
        reader.language,
        "{what}, {of}: what {whose} began at {begun} ended by itself at {at}, since nothing was pressed any more. It was not finished, and nothing of it is on record: begin it anew.",
        "{what}, {of}: lo que {whose} empezó a {begun} terminó solo a {at}, porque no se pulsó nada más. No se acabó, y nada de ello consta en el registro: empiécelo de nuevo.",
    );
    let time = |at: Timestamp| reader.with_article(reader.near(at, now));
    let (begun, at, what) = (time(ended.begun), time(ended.at), kind(ended.kind, reader.language));
    filled(phrase, &[("what", what), ("of", of), ("whose", &ended.whose), ("begun", &begun), ("at", &at)])
}

/// When it ends by itself; with the day where that is another one, as it soon is in a demo.
pub(super) fn ends(at: Timestamp, now: Timestamp, reader: &Reader) -> String {
    reader.near(at, now)
}
