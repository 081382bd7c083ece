//! The list of the probes, of all machines or of one, and behind them what is known of the sanitizing solution.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::Response;

use super::solution::{self, SolutionSeen};
use super::{Made, Seen, asked, cards, made, signed, words};
use crate::core::access::Right;
use crate::core::cautions;
use crate::web::attempt::{Marked, worked_on};
use crate::web::frame::{self, Frame, Refusal, Tab};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::now::Card;
use crate::web::person::Person;
use crate::web::query;
use crate::web::renew::{self, Renewal};

#[derive(Template)]
#[template(path = "web/probes/probes.html", config = ".askama.toml")]
struct ProbesPage<'a> {
    frame: Frame<'a>,
    words: &'static words::Words,
    /// Of all machines, or of one.
    machine: Option<&'a str>,
    /// Each machine with the parts of its channels.
    machines: Vec<Listed<'a>>,
    live: String,
    cautions: [&'static str; 3],
    may_measure: bool,
    signed: Option<u64>,
    /// How its sign-off stands, of one machine.
    stood: Option<signed::Told>,
    none: bool,
    /// That this machine is marked as worked on.
    marked: Option<Marked>,
    /// Where the end of the work leads back to.
    back: &'static str,
}

/// The part of a channel, and its name where it is a probe that can be calibrated.
struct Part<'a> {
    html: &'a str,
    probe: Option<&'a str>,
}

/// A machine with its channels.
struct Listed<'a> {
    name: &'a str,
    parts: Vec<Part<'a>>,
    /// In the list of all how its sign-off stands.
    stood: Option<signed::Told>,
    /// There as well that it is marked as worked on, and by whom.
    work: Option<String>,
}

/// Most machines of which the list of all says how their sign-off stands (own choice: a large kitchen; it is found out
/// for each by itself). Of further ones their own page says it.
const SIGNED_MAX: usize = 24;

/// Shows every probe.
pub(in crate::web) async fn show<K: Kitchen>(
    State(pages): State<Pages<K>>,
    uri: Uri,
    person: Person,
) -> Response {
    let renewal = match Renewal::alone(&uri, renew::AT_ONCE_S) {
        Ok(renewal) => renewal,
        Err(given) => return query::refused(&given, &person, &pages.site, 0),
    };
    let words = words::words(person.reader.language);
    listed(&pages, &person, None, words.title.to_owned(), (None, renewal)).await
}

/// Shows the probes of one machine.
pub(in crate::web) async fn machine<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(machine): Path<String>,
    uri: Uri,
    person: Person,
) -> Response {
    let (signed, renewal) = match asked(&uri) {
        Ok(asked) => asked,
        Err(given) => return query::refused(&given, &person, &pages.site, 1),
    };
    let words = words::words(person.reader.language);
    let title = format!("{}: {machine}", words.title);
    let signed = made(&pages, &machine, Made::SignOff, signed).await;
    listed(&pages, &person, Some(&machine), title, (signed, renewal)).await
}

async fn listed<K: Kitchen>(
    pages: &Pages<K>,
    person: &Person,
    machine: Option<&str>,
    title: String,
    (signed, renewal): (Option<u64>, Renewal),
) -> Response {
    let deep = usize::from(machine.is_some());
    let seen = match pages.kitchen.probes().await {
        Ok(seen) => seen,
        Err(refused) => return frame::refuse(refused, person, &pages.site, deep),
    };
    let solutions = match pages.kitchen.solutions().await {
        Ok(solutions) => solutions,
        Err(refused) => return frame::refuse(refused, person, &pages.site, deep),
    };
    let wanted = |of: &String| machine.is_none_or(|machine| of == machine);
    let seen: Vec<&Seen> = seen.iter().filter(|seen| wanted(&seen.machine)).collect();
    let solutions: Vec<&SolutionSeen> = solutions.iter().filter(|seen| wanted(&seen.machine)).collect();
    if machine.is_some() && seen.is_empty() && solutions.is_empty() {
        return frame::refuse(Refusal::Unknown, person, &pages.site, deep);
    }
    let frame = Frame::new(&pages.site, person, Tab::Probes, deep, &title)
        .with_open(pages.open().await)
        .renewing(renewal);
    let reader = &person.reader;
    let made = cards(seen.iter().copied(), reader, frame.up)
        .and_then(|made| Ok((made, solution::parts(solutions.iter().copied(), reader)?)));
    let (made, told) = match made {
        Ok(made) => made,
        Err(error) => return frame::page(StatusCode::OK, Err(error)),
    };
    let machines = by_machine(seen.iter().copied().zip(&made), solutions.iter().copied().zip(&told));
    let marked = match machine {
        // Its own page says more of it, with the way to end it.
        Some(_) => Vec::new(),
        None => worked_on(pages, person).await,
    };
    let mut listed = Vec::new();
    for (place, (name, parts)) in machines.into_iter().enumerate() {
        let is_told = machine.is_none() && place < SIGNED_MAX;
        let stood = if is_told { Some(signed::told(pages, person, name).await) } else { None };
        let work = marked.iter().find(|(marked, _)| marked == name).map(|(_, told)| told.clone());
        listed.push(Listed { name, parts, stood, work });
    }
    let machines = listed;
    let page = ProbesPage {
        words: words::words(person.reader.language),
        machine,
        none: machines.is_empty(),
        machines,
        live: match machine {
            Some(machine) => format!("{}live/probes/{machine}", frame.up),
            None => format!("{}live/probes", frame.up),
        },
        cautions: cautions::before_work(person.reader.language),
        may_measure: person.may(Right::Measure),
        signed,
        stood: match machine {
            Some(machine) => Some(signed::told(pages, person, machine).await),
            None => None,
        },
        marked: match machine {
            Some(machine) => Marked::of(pages, person, machine).await,
            None => None,
        },
        back: "probes",
        frame,
    };
    frame::page(StatusCode::OK, page.render())
}

/// The parts of each machine: of its probes, and behind them of its sanitizing solution.
fn by_machine<'a>(
    probes: impl Iterator<Item = (&'a Seen, &'a Card)>,
    solutions: impl Iterator<Item = (&'a SolutionSeen, &'a Card)>,
) -> Vec<(&'a str, Vec<Part<'a>>)> {
    let probes = probes.map(|(seen, card)| (&seen.machine, &card.html, Some(seen.probe.as_str())));
    let solutions = solutions.map(|(seen, card)| (&seen.machine, &card.html, None));
    let mut machines: Vec<(&str, Vec<Part<'_>>)> = Vec::new();
    for (machine, html, probe) in probes.chain(solutions) {
        let part = Part { html, probe };
        match machines.iter_mut().find(|(known, _)| known == machine) {
            Some((_, parts)) => parts.push(part),
            None => machines.push((machine, vec![part])),
        }
    }
    machines
}
