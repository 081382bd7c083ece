//! The alerts as the pages show them: open ones from the desk, the others as the ledger tells them.

use std::collections::BTreeSet;
use std::ops::ControlFlow;
use std::sync::Arc;

use super::House;
use super::failed::late_tests;
use crate::alert::message::{self, Beside, Content};
use crate::app::alerts::entered::with_tests;
use crate::app::alerts::past::Raised;
use crate::app::alerts::{pages, story};
use crate::core::alert::doubts::Doubts;
use crate::core::alert::story::{held_by, missing, returned};
use crate::core::alert::{Alert, AlertNumber, Rack};
use crate::core::merkle::leaf_hash;
use crate::core::reader::Reader;
use crate::core::record::{Body, Cycle, Outcome, Record};
use crate::core::time::Timestamp;
use crate::ledger::{self, LedgerError, Order, RecordFilter, Subject};
use crate::web::alerts::{AlertBook, Headed, Listing, Said, Whole};
use crate::web::frame::Refusal;
use crate::web::sheet::{Decided, Deed, Refused};

/// Closed alerts of one page (own choice: a few screens of a phone).
const CLOSED_MAX: usize = 20;

/// Characters of a hash that tell one state of a page from the next (own choice: it protects nothing).
const STATE_CHARS: usize = 16;

/// What the ledger tells of one alert.
#[derive(Default)]
struct OnRecord {
    trail: Vec<(u64, Record)>,
    damaged: usize,
}

impl OnRecord {
    fn read(ledger: &ledger::Reader, number: AlertNumber) -> Result<Self, LedgerError> {
        let mut own = Self::default();
        for (index, found) in ledger.records_about(Subject::Alert(number.0))? {
            match found {
                Ok((_, record)) => own.trail.push((index, record)),
                Err(_) => own.damaged += 1,
            }
        }
        Ok(own)
    }
}

/// The story of an alert with what was said later of the entries that it rests on, in order.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn with_amendments(
    ledger: &ledger::Reader,
    mut trail: Vec<(u64, Record)>,
) -> Result<Vec<(u64, Record)>, LedgerError> {
    let causes: BTreeSet<u64> = trail.iter().filter_map(|(index, record)| held_by(*index, record)).collect();
    for cause in causes {
        for (index, found) in ledger.records_about(Subject::Record(cause))? {
            // One that cannot be read is told where the entry is shown.
            if let Ok((_, record)) = found
                && matches!(record.body, Body::Amendment(_))
            {
                trail.push((index, record));
            }
        }
    }
    trail.sort_by_key(|(index, _)| *index);
    trail.dedup_by_key(|(index, _)| *index);
    Ok(trail)
}

/// The latest closed alerts before the record with an index, whether older ones follow, and how many records
/// cannot be read.
pub(super) struct Closed {
    pub(super) alerts: Vec<(Alert, Timestamp)>,
    pub(super) older: Option<u64>,
    pub(super) damaged: usize,
}

impl Closed {
    /// `None` where no alert closed with the record that they are to be before.
    pub(super) fn read(ledger: &ledger::Reader, before: Option<u64>) -> Result<Option<Self>, LedgerError> {
        if let Some(index) = before {
            let known = index < ledger.size()?
                && matches!(ledger.record(index)?, Ok((_, Record { body: Body::AlertClosed(_), .. })));
            if !known {
                return Ok(None);
            }
        }
        let filter = RecordFilter {
            kinds: vec!["alert-closed".to_owned()],
            limit: Some(CLOSED_MAX + 1),
            after_index: before,
            ..RecordFilter::default()
        };
        let (mut found, mut damaged) = (Vec::new(), 0);
        ledger.events(Order::NewestFirst, &filter, |index, record| {
            match record.map(|(_, record)| record.body.alert()) {
                Ok(number) => found.extend(number.map(|number| (index, number))),
                Err(_) => damaged += 1,
            }
            ControlFlow::Continue(())
        })?;
        let more = found.len() + damaged > CLOSED_MAX;
        found.truncate(CLOSED_MAX);
        let older = found.last().map(|(index, _)| *index).filter(|_| more);
        let (mut alerts, mut raised) = (Vec::new(), Raised::of(ledger));
        for (_, number) in found {
            let own = OnRecord::read(ledger, number)?;
            damaged += own.damaged;
            let told =
                story::told_among(&mut raised, &own.trail)?.and_then(|told| Some((told.alert, told.closed?)));
            alerts.extend(told);
        }
        Ok(Some(Self { alerts, older, damaged }))
    }
}

/// What other alerts say of the racks that an alert names.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Others {
    /// Those that put its last good rack in doubt.
    pub(super) good: Vec<u64>,
    /// Whether it does itself.
    pub(super) good_by_itself: bool,
    /// How many of its own racks they put in doubt, and those.
    pub(super) own: (usize, Vec<u64>),
}

impl Others {
    /// `racks` are those that the alert names.
    pub(super) fn read(
        ledger: &ledger::Reader,
        doubts: &Doubts,
        alert: &Alert,
        racks: &[pages::NamedRack<'_>],
    ) -> Result<Self, LedgerError> {
        let Some(machine) = &alert.machine else { return Ok(Self::default()) };
        let doubting = |rack: &Rack, cycle: Option<&Cycle>| -> Vec<u64> {
            let by = cycle.map(|cycle| doubts.by(machine, rack.index, cycle)).unwrap_or_default();
            by.into_iter().map(|by| by.0).collect()
        };
        let own = alert.number.0;
        let mut good = match &alert.last_good {
            Some(rack) => match ledger.record(rack.index)? {
                Ok((_, Record { body: Body::Cycle(cycle), .. })) => doubting(rack, Some(&cycle)),
                Ok(_) | Err(_) => Vec::new(),
            },
            None => Vec::new(),
        };
        let good_by_itself = good.contains(&own);
        good.retain(|other| *other != own);
        let (mut count, mut all) = (0, BTreeSet::new());
        for (rack, cycle) in racks {
            let mut by = doubting(rack, cycle.as_deref());
            by.retain(|other| *other != own);
            count += usize::from(!by.is_empty());
            all.extend(by);
        }
        Ok(Self { good, good_by_itself, own: (count, all.into_iter().collect()) })
    }
}

/// Whether a record of an alert changes what its page is looked at for; `None` is one that cannot be read. That a message
/// came through follows most of what people do there, and is no news to whoever did it; that nobody could be told is one
/// while it is open.
pub(super) fn is_news(record: Option<&Record>, is_open: bool) -> bool {
    match record.map(|record| &record.body) {
        Some(Body::Notification(told)) => is_open && told.outcome == Outcome::GivenUp,
        Some(_) | None => true,
    }
}

impl House {
    /// What is said of an alert to this reader.
    pub(super) fn said(&self, alert: Alert, closed: Option<Timestamp>, reader: &Reader) -> Said {
        Self::of_content(self.content(alert, closed, reader), reader)
    }

    fn content(&self, alert: Alert, closed: Option<Timestamp>, reader: &Reader) -> Content {
        let notice = pages::standing(alert, closed, reader.language, reader.scale);
        self.composer.words(&notice, self.clock.now(), None).content
    }

    fn of_content(content: Content, reader: &Reader) -> Said {
        Said {
            facts: content.facts(reader),
            headline: content.headline,
            why: content.why,
            steps: content.steps,
            asks_for_action: content.asks_for_action,
            by_hand: content.by_hand,
            cautions: content.cautions,
        }
    }

    fn headed(&self, alert: Alert, closed: Option<Timestamp>, reader: &Reader) -> Headed {
        let headline = self.said(alert.clone(), closed, reader).headline;
        Headed { headline, alert, closed }
    }

    /// The alert while it is open.
    async fn open_alert(&self, number: AlertNumber) -> Result<Option<Alert>, Refusal> {
        let (open, _) = self.reception.open().await.map_err(|_| Refusal::NotNow)?;
        Ok(open.into_iter().find(|alert| alert.number == number))
    }

    /// The alert as it is, when it closed, and what is on record of it.
    async fn found(&self, number: AlertNumber) -> Result<(Alert, Option<Timestamp>, OnRecord), Refusal> {
        // Asked before the ledger: what the desk has is there by then.
        let open = self.open_alert(number).await?;
        let known = open.is_some();
        let read = self.readers.ask(move |ledger| {
            let own = OnRecord::read(ledger, number)?;
            let told = if known { None } else { story::told(ledger, &own.trail)? };
            Ok((own, told))
        });
        let (own, told) = read.await?;
        match (open, told) {
            (Some(alert), _) => Ok((alert, None, own)),
            (None, Some(told)) => Ok((told.alert, told.closed, own)),
            // The record that raised it cannot be read.
            (None, None) if own.damaged > 0 => Err(Refusal::NotNow),
            (None, None) => Err(Refusal::Unknown),
        }
    }
}

impl AlertBook for House {
    async fn open(&self) -> Result<usize, Refusal> {
        let (open, _) = self.reception.open().await.map_err(|_| Refusal::NotNow)?;
        Ok(open.len())
    }

    async fn alerts(&self, reader: &Reader, before: Option<u64>) -> Result<Option<Listing>, Refusal> {
        let (mut open, _) = self.reception.open().await.map_err(|_| Refusal::NotNow)?;
        Alert::most_pressing_first(&mut open);
        let closed = self.readers.ask(move |ledger| Closed::read(ledger, before)).await?;
        Ok(closed.map(|closed| Listing {
            open: open.into_iter().map(|alert| self.headed(alert, None, reader)).collect(),
            closed: closed
                .alerts
                .into_iter()
                .map(|(alert, at)| self.headed(alert, Some(at), reader))
                .collect(),
            older: closed.older,
            damaged: closed.damaged,
        }))
    }

    async fn alert(&self, reader: &Reader, number: u64) -> Result<Whole, Refusal> {
        let (mut alert, closed, own) = self.found(AlertNumber(number)).await?;
        let foreseen = match closed {
            Some(_) => None,
            None => self.reception.foreseen(alert.number).await.map_err(|_| Refusal::NotNow)?,
        };
        let (asked, OnRecord { trail, damaged }) = (alert.clone(), own);
        let (loaded, doubts) = (Arc::clone(&self.loaded), self.doubts.clone());
        let sites = self.kept.sites.clone();
        let told = self.readers.ask(move |ledger| {
            let machines = &loaded.configuration.machines;
            let late = late_tests(ledger, machines, &asked, &trail)?;
            let (trail, entered) = with_tests(ledger, &*sites.fresh(ledger)?, (&asked, closed), trail)?;
            let racks = pages::cycles(ledger, &asked)?;
            let doubts = doubts.fresh(ledger)?;
            let others = Others::read(ledger, &doubts, &asked, &racks)?;
            Ok((
                pages::overtaken(ledger, &doubts, &asked, &racks)?,
                (with_amendments(ledger, trail)?, entered),
                late,
                others,
            ))
        });
        let (racks, (trail, entered), late, others) = told.await?;
        // The desk knows of none that an earlier version put on record.
        alert.returns = returned(&trail);
        let mut content = self.content(alert.clone(), closed, reader);
        let beside = Beside {
            doubted_by_itself: others.good_by_itself,
            doubted_by: &others.good,
            missed: &missing(&alert, &trail),
        };
        content.say_beside(&alert, &beside, reader);
        let names_last_good = content.names_last_good();
        let mut said = Self::of_content(content, reader);
        if damaged > 0 {
            said.facts.push(message::damaged(reader.language, damaged));
        }
        let Others { good, own: also_in_doubt, .. } = others;
        // Of a rack that is named nowhere nothing is said.
        let good_in_doubt = if names_last_good { good } else { Vec::new() };
        Ok(Whole { alert, closed, foreseen, said, racks, late, good_in_doubt, also_in_doubt, trail, entered })
    }

    async fn state(&self, number: Option<u64>) -> Result<String, Refusal> {
        let (mut open, _) = self.reception.open().await.map_err(|_| Refusal::NotNow)?;
        open.retain(|alert| number.is_none_or(|number| alert.number.0 == number));
        let told = match number {
            // What happened to it is on record alone.
            Some(number) => {
                let is_open = !open.is_empty();
                let told = self.readers.ask(move |ledger| ledger.records_about(Subject::Alert(number)));
                let record = |found: &Result<(Vec<u8>, Record), LedgerError>| {
                    is_news(found.as_ref().ok().map(|(_, record)| record), is_open)
                };
                told.await?.iter().filter(|(_, found)| record(found)).count()
            }
            None => 0,
        };
        // Every alert has a JSON form.
        let bytes = serde_json::to_vec(&(&open, told)).map_err(|_| Refusal::NotNow)?;
        let mut name = leaf_hash(&bytes).to_string();
        name.truncate(STATE_CHARS);
        Ok(name)
    }

    async fn decide(&self, number: u64, deed: Deed) -> Result<Decided, Refusal> {
        let (alert, closed, _) = self.found(AlertNumber(number)).await?;
        let done = pages::decide(&self.reception, (&alert, closed), deed, "page", |by| by).await;
        done.map_err(|refused| match refused {
            Refused::Unknown => Refusal::Unknown,
            Refused::NotNow => Refusal::NotNow,
        })
    }
}
