//! What was made last for all who look, once for those who read alike, however many they are.

use std::collections::BTreeMap;
use std::sync::{Arc, PoisonError};
use std::time::Duration;

use tokio::sync::{Mutex, OwnedMutexGuard};
use tokio::time::Instant;

use super::unmade;
use crate::core::reader::{Language, Reader, Scale};
use crate::core::time::Timestamp;
use crate::web::frame::Refusal;
use crate::web::kitchen::Kitchen;
use crate::web::now::{AtAGlance, Card, Glance, card, lead};
use crate::web::places::Places;
use crate::web::{logbook, machine};

/// Shortest time between two drawings of one trace.
const TRACE_EVERY: Duration = Duration::from_secs(4);

/// Shortest time between two looks into the logbook for pages that are open (own choice: what one enters, others see
/// two seconds later at most, a beat of the gateway aside).
const LOGBOOK_EVERY: Duration = Duration::from_secs(2);

/// Every machine at one moment, for readers who read alike.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(in crate::web) struct Moment {
    /// The beat for which it was made.
    beat: u64,
    /// What leads to the machines that need somebody; not of one machine.
    pub(in crate::web) lead: Option<Card>,
    pub(in crate::web) cards: Vec<Card>,
    /// Open alerts, those of the site among them.
    pub(in crate::web) open: usize,
    /// Of one machine: when its trace was drawn.
    drawn: Option<Timestamp>,
}

/// For whom a moment is made: how they read, and the one machine that they look at, if any.
type Key = (Language, Scale, Option<String>);

/// The logbook of the day: what is due and what was entered, and the number of open alerts where it is known.
type LogbookParts = ([Card; 2], Option<usize>);

/// What was asked of the kitchen for one beat.
#[derive(Clone, Debug)]
struct Glanced {
    beat: u64,
    seen: AtAGlance,
}

/// What was made last for those who look, by whom it is for. One is held while it is made, so that a hundred who
/// ask at once make it once; the others are not, so that a trace that comes slowly stops no other page.
#[derive(Debug)]
struct Made<Key, Thing>(std::sync::Mutex<BTreeMap<Key, Arc<Mutex<Option<Thing>>>>>);

impl<Key, Thing> Default for Made<Key, Thing> {
    fn default() -> Self {
        Self(std::sync::Mutex::default())
    }
}

impl<Key: Ord, Thing> Made<Key, Thing> {
    /// The one of this key, alone.
    async fn of(&self, key: Key) -> OwnedMutexGuard<Option<Thing>> {
        let made = {
            let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            Arc::clone(all.entry(key).or_default())
        };
        made.lock_owned().await
    }
}

/// What is shared by all who look.
#[derive(Debug, Default)]
pub(in crate::web) struct Live {
    glanced: Made<(Language, Scale), Glanced>,
    moments: Made<Key, Arc<Moment>>,
    /// By who may enter something too, and when it was made.
    logbooks: Made<(Language, Scale, bool), (Instant, LogbookParts)>,
    /// For whoever is sent something for long.
    pub(in crate::web) places: Places,
}

impl Live {
    /// Every machine at this beat, asked for once however many machines are looked at.
    async fn glanced<K: Kitchen>(&self, kitchen: &K, reader: &Reader, beat: u64) -> Result<Glanced, Refusal> {
        let mut made = self.glanced.of((reader.language, reader.scale)).await;
        if let Some(known) = made.as_ref().filter(|known| known.beat >= beat) {
            return Ok(known.clone());
        }
        let glanced = Glanced { beat, seen: kitchen.glances(reader).await? };
        *made = Some(glanced.clone());
        Ok(glanced)
    }

    /// What is due and what was entered today, for those who may enter it or not. One that is wanted `fresh`, by a page
    /// that somebody opens, is never of before: whoever entered something sees it.
    ///
    /// # Errors
    /// Why nothing can be shown.
    pub(in crate::web) async fn logbook<K: Kitchen>(
        &self,
        kitchen: &K,
        reader: &Reader,
        enters: bool,
        fresh: bool,
    ) -> Result<LogbookParts, Refusal> {
        let mut made = self.logbooks.of((reader.language, reader.scale, enters)).await;
        if let Some((_, parts)) = made.as_ref().filter(|(at, _)| !fresh && at.elapsed() < LOGBOOK_EVERY) {
            return Ok(parts.clone());
        }
        let today = kitchen.today(reader).await?;
        let parts = logbook::parts(&today, reader, kitchen.time(), enters).map_err(|error| unmade(&error))?;
        let made_now = (parts, kitchen.open().await.ok());
        *made = Some((Instant::now(), made_now.clone()));
        Ok(made_now)
    }

    /// The cards as they are now: of all machines, or of one with the trace of its probes behind it.
    ///
    /// # Errors
    /// Why nothing can be shown; [`Refusal::Unknown`] where there is no such machine.
    pub(in crate::web) async fn moment<K: Kitchen>(
        &self,
        kitchen: &K,
        reader: &Reader,
        of: Option<&str>,
    ) -> Result<Arc<Moment>, Refusal> {
        let asked = *kitchen.beat().borrow();
        let Glanced { beat, seen: AtAGlance { machines: glances, open, others } } =
            self.glanced(kitchen, reader, asked).await?;
        // Nothing is kept of machines that there are not.
        if of.is_some_and(|name| glances.iter().all(|glance| glance.machine != name)) {
            return Err(Refusal::Unknown);
        }
        let mut made = self.moments.of((reader.language, reader.scale, of.map(str::to_owned))).await;
        if let Some(made) = made.as_ref().filter(|moment| moment.beat >= beat) {
            return Ok(Arc::clone(made));
        }
        let now = kitchen.time();
        let wanted = |glance: &&Glance| of.is_none_or(|name| glance.machine == name);
        let up = if of.is_some() { "../" } else { "" };
        let cards = glances.iter().filter(wanted).map(|glance| card(glance, reader, now, up));
        let mut cards =
            cards.collect::<Result<Vec<Card>, askama::Error>>().map_err(|error| unmade(&error))?;
        let (mut drawn, mut leading) = (None, None);
        if of.is_none() && !glances.is_empty() {
            leading = Some(lead(&glances, open, &others, reader, now).map_err(|error| unmade(&error))?);
        }
        if let Some(name) = of {
            let before = made.as_ref().and_then(|before| Some((before.drawn?, before.cards.get(1)?)));
            let kept = before.filter(|(at, _)| *at <= now && now.since(*at) < TRACE_EVERY);
            let (at, trace) = match kept {
                Some((at, trace)) => (at, trace.clone()),
                None => (now, machine::trace_part(kitchen, name, reader).await?),
            };
            cards.push(trace);
            drawn = Some(at);
        }
        let moment = Arc::new(Moment { beat, lead: leading, cards, open, drawn });
        *made = Some(Arc::clone(&moment));
        Ok(moment)
    }
}

#[cfg(test)]
mod tests {
    use std::future::Future;
    use std::pin::pin;
    use std::task::{Context, Waker};

    use super::*;
    use crate::core::access::Role;
    use crate::web::fixture::{StillKitchen, person};

    // Own promise: a trace that comes slowly holds nobody but those who look at it.
    #[tokio::test]
    async fn a_slow_trace_stops_no_other_page() {
        let (kitchen, live) = (StillKitchen::new(), Live::default());
        let reader = person(Role::Operator, Language::English).reader;
        let slow = kitchen.traces.write().await;
        let mut first = pin!(live.moment(&kitchen, &reader, Some("dm1")));
        let mut second = pin!(live.moment(&kitchen, &reader, Some("dm1")));
        let mut context = Context::from_waker(Waker::noop());
        assert!(first.as_mut().poll(&mut context).is_pending());
        assert!(second.as_mut().poll(&mut context).is_pending());
        let mut all = pin!(live.moment(&kitchen, &reader, None));
        assert!(all.as_mut().poll(&mut context).is_ready(), "the cards wait for no trace");
        let mut unknown = pin!(live.moment(&kitchen, &reader, Some("dm9")));
        assert!(unknown.as_mut().poll(&mut context).is_ready(), "nor does what is not there");
        drop(slow);
        let (first, second) = (first.await.expect("a moment"), second.await.expect("a moment"));
        assert!(Arc::ptr_eq(&first, &second), "made once");
    }
}
