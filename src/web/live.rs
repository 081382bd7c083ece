//! What changes on a page while it is open, as server-sent events (HTML standard, «Server-sent events»).
//!
//! The cards are made once for all who read in the same language and on the same scale, however
//! many look. A stream sends a card when it has changed and a sign of life between; it ends after
//! [`STREAM_MAX`], and the browser asks again, so that whoever was logged out meanwhile sees no more.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use axum::extract::State;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream::{self, Stream};
use tokio::sync::Mutex;
use tokio::sync::watch;
use tokio::time::Instant;

use super::frame::Refusal;
use super::kitchen::{Kitchen, Pages};
use super::now::{Card, card};
use super::person::Person;
use crate::core::reader::{Language, Reader, Scale};

/// Streams at a time; one more is asked to come again (own choice: every phone and screen of a large kitchen).
const STREAMS_MAX: usize = 400;
/// Longest life of a stream.
const STREAM_MAX: Duration = Duration::from_secs(600);
/// When one that found no place may come again, s.
const AGAIN_S: &str = "30";

/// Every machine at one moment, for readers who read alike.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Moment {
    /// The beat for which it was made.
    beat: u64,
    pub(super) cards: Vec<Card>,
    /// Open alerts, those of the site among them.
    pub(super) open: usize,
}

/// What is shared by all who look.
#[derive(Debug, Default)]
pub(super) struct Live {
    moments: Mutex<BTreeMap<(Language, Scale), Arc<Moment>>>,
    streams: Arc<AtomicUsize>,
}

impl Live {
    /// The cards as they are now.
    ///
    /// # Errors
    /// Why nothing can be shown.
    pub(super) async fn moment<K: Kitchen>(
        &self,
        kitchen: &K,
        reader: &Reader,
    ) -> Result<Arc<Moment>, Refusal> {
        let beat = *kitchen.beat().borrow();
        let key = (reader.language, reader.scale);
        // Held while they are made, so that a hundred who ask at once make them once.
        let mut moments = self.moments.lock().await;
        if let Some(made) = moments.get(&key).filter(|moment| moment.beat == beat) {
            return Ok(Arc::clone(made));
        }
        let glances = kitchen.glances(reader).await?;
        let now = kitchen.time();
        let cards: Result<Vec<Card>, askama::Error> =
            glances.iter().map(|glance| card(glance, reader, now)).collect();
        let cards = cards.map_err(|error| {
            tracing::error!(%error, "a card could not be made");
            Refusal::NotNow
        })?;
        let open = kitchen.open().await?;
        let moment = Arc::new(Moment { beat, cards, open });
        moments.insert(key, Arc::clone(&moment));
        Ok(moment)
    }

    /// A place among the streams.
    fn place(&self) -> Option<Place> {
        let taken = self.streams.fetch_add(1, Ordering::Relaxed);
        let place = Place(Arc::clone(&self.streams));
        (taken < STREAMS_MAX).then_some(place)
    }
}

/// A place among the streams, given back at its end.
#[derive(Debug)]
struct Place(Arc<AtomicUsize>);

impl Drop for Place {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

/// Streams what changes.
pub(super) async fn events<K: Kitchen>(State(pages): State<Pages<K>>, person: Person) -> Response {
    let Some(place) = pages.live.place() else {
        let again = [(header::RETRY_AFTER, HeaderValue::from_static(AGAIN_S))];
        return std::future::ready((StatusCode::SERVICE_UNAVAILABLE, again).into_response()).await;
    };
    let beat = pages.kitchen.beat();
    let stop = pages.stop.clone();
    let told = Told {
        pages,
        reader: person.reader,
        beat,
        end: Instant::now() + STREAM_MAX,
        sent: Vec::new(),
        begun: false,
        _place: place,
    };
    let told = told.stream();
    Sse::new(futures_util::StreamExt::take_until(told, stop.cancelled_owned())).into_response()
}

/// One stream, and what it has told.
struct Told<K: Kitchen> {
    pages: Pages<K>,
    reader: Reader,
    beat: watch::Receiver<u64>,
    end: Instant,
    /// The cards as they were last sent.
    sent: Vec<Card>,
    begun: bool,
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
        if self.begun {
            // Closed where the gateway stops.
            tokio::time::timeout_at(self.end, self.beat.changed()).await.ok()?.ok()?;
        }
        self.begun = true;
        self.beat.borrow_and_update();
        let mut events = vec![Event::default().event("alive").data("")];
        if let Ok(moment) = self.pages.live.moment(&self.pages.kitchen, &self.reader).await {
            for (place, card) in moment.cards.iter().enumerate() {
                if self.sent.get(place) != Some(card) {
                    events.push(Event::default().event("part").data(&card.html));
                }
            }
            self.sent.clone_from(&moment.cards);
        }
        Some(events)
    }
}
