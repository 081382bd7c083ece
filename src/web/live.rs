//! What changes on a page while it is open, as server-sent events (HTML standard, «Server-sent events»).
//!
//! The cards are made once for all who read in the same language and on the same scale, however
//! many look; so are those of one machine, with the trace of its probes, which is drawn anew every
//! few seconds, and the logbook of the day; those of probes and of what a technician is at are made for each. A stream sends a
//! card when it has changed and a sign of life between; it ends after
//! [`STREAM_MAX`], and the browser asks again, so that whoever was logged out meanwhile sees no more.

mod made;

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, Uri, header};
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream::{self, Stream};
use tokio::sync::watch;
use tokio::time::Instant;

pub(super) use self::made::Live;
use super::alerts::news;
use super::attempt;
use super::frame::{self, Refusal};
use super::history::{exports, integrity};
use super::kitchen::{Kitchen, Pages};
use super::now::Card;
use super::places::{Full, Looker, Place};
use super::probes::{cards, solution};
use super::query::{self, Given};
use crate::core::access::Right;
use crate::core::reader::Reader;

/// Longest life of a stream.
const STREAM_MAX: Duration = Duration::from_secs(60);
/// Longest time without a sign of life.
const SILENT_MAX: Duration = Duration::from_secs(5);
/// When one that found no place may come again, s.
const AGAIN_S: &str = "30";

/// Says that a part could not be made.
pub(super) fn unmade(error: &askama::Error) -> Refusal {
    tracing::error!(%error, "a part of a page could not be made");
    Refusal::NotNow
}

/// What a stream tells of.
#[derive(Clone, Debug)]
enum Look {
    /// The line of the site and the card of each machine, or the card of one with the trace of its probes.
    Cards(Option<String>),
    /// The part of each probe, of one machine or of one probe; the last leads from the page to the top of the site.
    Probes { machine: Option<String>, probe: Option<String>, up: &'static str },
    /// What somebody is at, and the step of the page.
    Attempt { name: String, shape: String },
    /// How far an export of this account is.
    Export { number: u64, account: String },
    /// How far a check of the ledger is.
    Check,
    /// What is due and was entered today, for those who may enter it or not.
    Logbook { enters: bool },
    /// Whether the list of alerts, or one of them, is still as it was seen.
    Alerts { number: Option<u64>, seen: String },
}

/// Streams what changes at the machines.
pub(super) async fn events<K: Kitchen>(State(pages): State<Pages<K>>, looker: Looker) -> Response {
    let beat = pages.kitchen.beat();
    std::future::ready(stream(pages, looker, beat, Look::Cards(None))).await
}

/// Streams what changes of one machine.
pub(super) async fn of_machine<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(name): Path<String>,
    looker: Looker,
) -> Response {
    // Asked before a place is taken: a stream without end for what does not exist would hold one.
    if let Err(refused) = pages.live.moment(&pages.kitchen, &looker.person.reader, Some(&name)).await {
        return frame::refuse(refused, &looker.person, &pages.site, 2);
    }
    let beat = pages.kitchen.beat();
    stream(pages, looker, beat, Look::Cards(Some(name)))
}

/// Streams what every probe shows.
pub(super) async fn probes<K: Kitchen>(State(pages): State<Pages<K>>, looker: Looker) -> Response {
    let look = Look::Probes { machine: None, probe: None, up: "./" };
    std::future::ready(glimpsed(pages, looker, look)).await
}

/// Streams what the probes of one machine show.
pub(super) async fn machine<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(machine): Path<String>,
    looker: Looker,
) -> Response {
    let look = Look::Probes { machine: Some(machine), probe: None, up: "../" };
    std::future::ready(glimpsed(pages, looker, look)).await
}

/// Streams what one probe shows.
pub(super) async fn probe<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path((machine, probe)): Path<(String, String)>,
    looker: Looker,
) -> Response {
    let look = Look::Probes { machine: Some(machine), probe: Some(probe), up: "../../" };
    std::future::ready(glimpsed(pages, looker, look)).await
}

/// At which step the page is that asks.
fn shape(uri: &Uri) -> Result<String, Given> {
    let given = Given::read(uri, &["shape"]);
    if given.is_refused() { Err(given) } else { Ok(given.text("shape").to_owned()) }
}

/// Streams where a proof of the wiring stands.
pub(super) async fn proof<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(name): Path<String>,
    uri: Uri,
    looker: Looker,
) -> Response {
    std::future::ready(attempted(pages, looker, name, &uri)).await
}

/// Streams where a calibration or a response test stands.
pub(super) async fn attempt<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path((machine, probe)): Path<(String, String)>,
    uri: Uri,
    looker: Looker,
) -> Response {
    std::future::ready(attempted(pages, looker, format!("{machine}/{probe}"), &uri)).await
}

fn attempted<K: Kitchen>(pages: Pages<K>, looker: Looker, name: String, uri: &Uri) -> Response {
    match shape(uri) {
        Ok(shape) => glimpsed(pages, looker, Look::Attempt { name, shape }),
        Err(given) => query::refused(&given, &looker.person, &pages.site, frame::depth(uri.path())),
    }
}

/// Streams how far an export is.
pub(super) async fn export<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(number): Path<u64>,
    looker: Looker,
) -> Response {
    let stir = pages.kitchen.stir();
    let look = Look::Export { number, account: looker.person.account.clone() };
    std::future::ready(stream(pages, looker, stir, look)).await
}

/// Streams how far a check of the ledger is.
pub(super) async fn check<K: Kitchen>(State(pages): State<Pages<K>>, looker: Looker) -> Response {
    let stir = pages.kitchen.check_stirs();
    std::future::ready(stream(pages, looker, stir, Look::Check)).await
}

/// Streams what is due, and what was entered today.
pub(super) async fn logbook<K: Kitchen>(State(pages): State<Pages<K>>, looker: Looker) -> Response {
    let beat = pages.kitchen.beat();
    let look = Look::Logbook { enters: looker.person.may(Right::Enter) };
    std::future::ready(stream(pages, looker, beat, look)).await
}

/// Tells whether the list of alerts is another one by now.
pub(super) async fn alerts<K: Kitchen>(State(pages): State<Pages<K>>, uri: Uri, looker: Looker) -> Response {
    std::future::ready(alerted(pages, looker, None, &uri)).await
}

/// Tells whether one alert is another one by now.
pub(super) async fn alert<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(number): Path<u64>,
    uri: Uri,
    looker: Looker,
) -> Response {
    // As with a machine: asked before a place is taken.
    if let Err(refused) = pages.kitchen.alert(&looker.person.reader, number).await {
        return frame::refuse(refused, &looker.person, &pages.site, 2);
    }
    alerted(pages, looker, Some(number), &uri)
}

fn alerted<K: Kitchen>(pages: Pages<K>, looker: Looker, number: Option<u64>, uri: &Uri) -> Response {
    let given = Given::read(uri, &["seen"]);
    if given.is_refused() {
        return query::refused(&given, &looker.person, &pages.site, frame::depth(uri.path()));
    }
    let beat = pages.kitchen.beat();
    stream(pages, looker, beat, Look::Alerts { number, seen: given.text("seen").to_owned() })
}

fn glimpsed<K: Kitchen>(pages: Pages<K>, looker: Looker, look: Look) -> Response {
    let beat = pages.kitchen.glimpses();
    stream(pages, looker, beat, look)
}

fn stream<K: Kitchen>(pages: Pages<K>, looker: Looker, beat: watch::Receiver<u64>, look: Look) -> Response {
    let Looker { person, address } = looker;
    let place = match pages.live.places.take(&person.account, address) {
        Ok(place) => place,
        Err(full) => return later(full),
    };
    let reader = person.reader;
    let stop = pages.stop.clone();
    let told = Told {
        pages,
        reader,
        beat,
        look,
        end: Instant::now() + STREAM_MAX,
        sent: Vec::new(),
        counted: None,
        begun: false,
        over: false,
        _place: place,
    };
    let told = told.stream();
    Sse::new(futures_util::StreamExt::take_until(told, stop.cancelled_owned())).into_response()
}

/// Says that there is no place, and when to come again. The page says so in words, see its script.
fn later(full: Full) -> Response {
    let status = match full {
        Full::Share => StatusCode::TOO_MANY_REQUESTS,
        Full::All => StatusCode::SERVICE_UNAVAILABLE,
    };
    // Its connection would go on holding a place that somebody else could have.
    let again = [
        (header::RETRY_AFTER, HeaderValue::from_static(AGAIN_S)),
        (header::CONNECTION, HeaderValue::from_static("close")),
    ];
    (status, again).into_response()
}

/// In which words and on which scale somebody reads. Where a stream says another than the page does, the account has
/// been changed since, and the page is asked for anew.
pub(super) fn reads(reader: &Reader) -> String {
    format!("{} {}", reader.language, reader.scale.as_str())
}

/// An event that says all by its name. It has data nevertheless: a browser gives none without any to the page
/// (HTML standard, «Interpreting an event stream»).
fn sign(name: &str) -> Event {
    Event::default().event(name).data(name)
}

/// One stream, and what it has told.
struct Told<K: Kitchen> {
    pages: Pages<K>,
    reader: Reader,
    beat: watch::Receiver<u64>,
    look: Look,
    end: Instant,
    /// The parts as they were last sent.
    sent: Vec<Card>,
    /// The number of open alerts as it was last sent.
    counted: Option<usize>,
    begun: bool,
    /// Whether the page was told to ask anew.
    over: bool,
    _place: Place,
}

impl<K: Kitchen> Told<K> {
    fn stream(self) -> impl Stream<Item = Result<Event, Infallible>> {
        let batches = stream::unfold(self, |mut told| async move {
            let events = told.next().await?;
            Some((stream::iter(events.into_iter().map(Ok)), told))
        });
        futures_util::StreamExt::flatten(batches)
    }

    /// The events of the next beat; `None` at the end of the stream.
    async fn next(&mut self) -> Option<Vec<Event>> {
        if self.over {
            return None;
        }
        if self.begun {
            // Closed where the gateway stops; without news a sign of life all the same.
            let until = self.end.min(Instant::now() + SILENT_MAX);
            match tokio::time::timeout_at(until, self.beat.changed()).await {
                Ok(changed) => changed.ok()?,
                Err(_) if Instant::now() >= self.end => return None,
                Err(_) => {}
            }
        }
        let mut events = Vec::new();
        if !self.begun {
            events.push(Event::default().event("reader").data(reads(&self.reader)));
        }
        self.begun = true;
        self.beat.borrow_and_update();
        // When it was, by the clock of the site: that of a phone may stand anywhere.
        let when = self.reader.moment(self.pages.kitchen.time());
        let alive = Event::default().event("alive").data(when);
        match self.parts().await {
            Ok(Some((parts, open))) => {
                events.push(alive);
                if let Some(open) = open.filter(|_| self.counted != open) {
                    events.push(Event::default().event("count").data(open.to_string()));
                    self.counted = Some(open);
                }
                for (place, card) in parts.iter().enumerate() {
                    if self.sent.get(place) != Some(card) {
                        events.push(Event::default().event("part").data(&card.html));
                    }
                }
                self.sent = parts;
            }
            Ok(None) => {
                self.over = true;
                events.extend([alive, sign("end")]);
            }
            // Nobody is told that what stands there is of now; the connection lives all the same.
            Err(_) => events.push(Event::default().comment("not now")),
        }
        Some(events)
    }

    /// What is to be seen, with the number of open alerts where it is known; `None` where the page is another one
    /// by now.
    async fn parts(&self) -> Result<Option<(Vec<Card>, Option<usize>)>, Refusal> {
        let kitchen = &self.pages.kitchen;
        let made = match &self.look {
            Look::Cards(of) => {
                let moment = self.pages.live.moment(kitchen, &self.reader, of.as_deref()).await?;
                let parts = moment.lead.iter().chain(&moment.cards).cloned().collect();
                return Ok(Some((parts, Some(moment.open))));
            }
            Look::Probes { machine, probe, up } => {
                let seen = kitchen.probes().await?;
                let wanted = seen.iter().filter(|seen| {
                    machine.as_ref().is_none_or(|machine| *machine == seen.machine)
                        && probe.as_ref().is_none_or(|probe| *probe == seen.probe)
                });
                let mut made = cards(wanted, &self.reader, up);
                // Those of a solution stand in lists alone.
                if probe.is_none()
                    && let Ok(made) = &mut made
                {
                    let solutions = kitchen.solutions().await?;
                    let wanted =
                        solutions.iter().filter(|seen| machine.as_ref().is_none_or(|of| *of == seen.machine));
                    made.extend(solution::parts(wanted, &self.reader).map_err(|error| unmade(&error))?);
                }
                made
            }
            Look::Attempt { name, shape } => {
                let under = kitchen.under(name);
                if attempt::shape(under.as_ref()) != *shape {
                    return Ok(None);
                }
                match &under {
                    Some(under) => {
                        attempt::live(kitchen, (name, under), &self.reader).await.map(|part| vec![part])
                    }
                    None => Ok(Vec::new()),
                }
            }
            Look::Export { number, account } => {
                let Some(job) = kitchen.exports(account).into_iter().find(|job| job.number == *number) else {
                    return Ok(None);
                };
                exports::part(&job, &self.reader).map(|part| vec![part])
            }
            Look::Alerts { number, seen } => {
                let changed = kitchen.state(*number).await? != *seen;
                let open = kitchen.open().await.ok();
                let part = news(*number, changed, &self.reader).map_err(|error| unmade(&error))?;
                return Ok(Some((vec![part], open)));
            }
            Look::Logbook { enters } => {
                let (parts, open) = self.pages.live.logbook(kitchen, &self.reader, *enters, false).await?;
                return Ok(Some((parts.into(), open)));
            }
            Look::Check => {
                let (standing, sealed) = (kitchen.standing().await?, kitchen.sealed().await?);
                integrity::parts(&standing, &sealed, &self.reader).map(Vec::from)
            }
        };
        made.map(|cards| Some((cards, None))).map_err(|error| unmade(&error))
    }
}
