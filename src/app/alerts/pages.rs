//! What the page behind a link shows, in the words of the contact whose link it is.

use std::sync::{Arc, Mutex, PoisonError};

use super::compose::Composer;
use super::{Reception, doubts, story};
use crate::alert::message;
use crate::alert::message::phrases::Phrase;
use crate::app::order::Order;
use crate::core::alert::doubts::{Doubts, can_doubt};
use crate::core::alert::words::{by_link_of, who};
use crate::core::alert::{Alert, AlertNumber, Condition, Notice, Occasion, Rack};
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::rack;
use crate::core::reader::{Language, Scale};
use crate::core::record::{Body, Cycle, Record};
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Reader};
use crate::web::alerts::{Affected, Judged};
use crate::web::link::Link;
use crate::web::sheet::{Action, Alerts, Decided, Deed, LeftOut, Refused, Sheet, Standing};

/// The alerts as the pages see them.
#[derive(Clone, Debug)]
pub(super) struct Shown {
    reception: Reception,
    composer: Arc<Composer>,
    /// For alerts that are closed, which the desk has forgotten.
    reader: Arc<Mutex<Reader>>,
}

/// An alert as it was found.
struct Found {
    alert: Alert,
    /// When it closed.
    closed: Option<Timestamp>,
    /// Records of alerts that cannot be read: more may have happened to this one.
    damaged: usize,
}

impl Shown {
    pub(super) fn new(reception: Reception, composer: Arc<Composer>, reader: Reader) -> Self {
        Self { reception, composer, reader: Arc::new(Mutex::new(reader)) }
    }

    /// The alert.
    async fn find(&self, number: AlertNumber) -> Result<Found, Refused> {
        let (open, _) = self.reception.open().await.map_err(|_| Refused::NotNow)?;
        if let Some(alert) = open.into_iter().find(|alert| alert.number == number) {
            return Ok(Found { alert, closed: None, damaged: 0 });
        }
        let reader = Arc::clone(&self.reader);
        let read = move || {
            let reader = reader.lock().unwrap_or_else(PoisonError::into_inner);
            let (records, damaged) = story::records(&reader, number)?;
            Ok::<_, LedgerError>((story::told(&reader, &records)?, damaged))
        };
        // It looks through every alert on record, which the tasks of the gateway must not wait for.
        let (told, damaged) = match tokio::task::spawn_blocking(read).await {
            Ok(read) => read.map_err(|error| {
                tracing::warn!(%error, "the story of an alert cannot be read");
                Refused::NotNow
            })?,
            // It panicked, and was told of there.
            Err(_) => return Err(Refused::NotNow),
        };
        let damaged = damaged.len();
        let Some(told) = told else {
            // The record that raised it may be among those that cannot be read.
            return Err(if damaged > 0 { Refused::NotNow } else { Refused::Unknown });
        };
        Ok(Found { alert: told.alert, closed: told.closed, damaged })
    }

    /// The racks that an alert names; none where the ledger cannot be read.
    async fn judged(&self, alert: &Alert) -> Vec<Affected> {
        let (alert, reader) = (alert.clone(), Arc::clone(&self.reader));
        let read = move || {
            let reader = reader.lock().unwrap_or_else(PoisonError::into_inner);
            cycles(&reader, &alert).map(|cycles| affected(&cycles))
        };
        match tokio::task::spawn_blocking(read).await {
            Ok(read) => read
                .inspect_err(|error| tracing::warn!(%error, "the racks of an alert cannot be read"))
                .unwrap_or_default(),
            // It panicked, and was told of there.
            Err(_) => Vec::new(),
        }
    }

    fn sheet(&self, link: &Link, found: Found, judged: &[Affected]) -> Result<Sheet, Refused> {
        let Found { alert, closed, damaged } = found;
        // A contact that is no longer configured holds links that lead nowhere.
        let contact = self.composer.contact(&link.contact).ok_or(Refused::Unknown)?;
        let notice = Notice {
            contact: contact.name.clone(),
            step: contact.step,
            ..standing(alert, closed, contact.language, contact.units)
        };
        let words = self.composer.words(&notice, self.composer.now(), None);
        let reader = self.composer.reading(contact.language, contact.units);
        let mut content = words.content;
        // The page shows it whole, in a part of its own.
        content.rows.retain(|(row, _)| !matches!(row, Phrase::RowActionRacks | Phrase::RowAction));
        let mut facts = content.facts(&reader);
        if damaged > 0 {
            facts.push(message::damaged(contact.language, damaged));
        }
        let alert = notice.alert;
        let at = |instant| reader.moment(instant);
        let standing = match (closed, &alert.acknowledged) {
            (Some(closed), _) => Standing::Closed { at: at(closed) },
            (None, Some(taken)) => {
                let by = who(&taken.by, contact.language).into_owned();
                Standing::Acknowledged { by, at: at(taken.at) }
            }
            (None, None) if alert.wants_somebody() => Standing::Waiting,
            (None, None) => Standing::Recovered,
        };
        Ok(Sheet {
            language: contact.language,
            site: self.composer.site().to_owned(),
            number: alert.number.0,
            headline: content.headline,
            facts,
            steps: content.steps,
            cautions: content.cautions,
            standing,
            needs_action: closed.is_none() && alert.needs_action,
            listed: judged
                .iter()
                .map(|own| {
                    let in_doubt = |judged: Verdict| can_doubt(alert.condition) && judged.is_good();
                    let word =
                        own.judged.map(|own| rack(own.verdict, in_doubt(own.verdict), contact.language));
                    (
                        at(own.judged.map_or(own.rinsed, |judged| judged.rinsed)),
                        word.unwrap_or_else(|| "?".to_owned()),
                    )
                })
                .collect(),
            racks: alert.racks.count,
            left_out: alert
                .left_out()
                .map(|(count, last)| LeftOut { count, last: last.map(|rack| at(rack.rinsed())) }),
            action: alert.action.map(|action| Action {
                by: who(&action.by, contact.language).into_owned(),
                racks: action.racks,
                done: action.done,
            }),
            reader: contact.name.clone(),
        })
    }
}

impl Alerts for Shown {
    async fn show(&self, link: Link) -> Result<Sheet, Refused> {
        let found = self.find(AlertNumber(link.alert)).await?;
        let judged = self.judged(&found.alert).await;
        self.sheet(&link, found, &judged)
    }

    async fn act(&self, link: Link, deed: Deed) -> Result<(), Refused> {
        let number = AlertNumber(link.alert);
        let Found { alert, closed, .. } = self.find(number).await?;
        let signed = |by: String| {
            let same = by.eq_ignore_ascii_case(&link.contact);
            if same { by } else { by_link_of(&by, &link.contact) }
        };
        // The page behind a link shows the action that stands.
        decide(&self.reception, (&alert, closed), deed, "link", signed).await.map(drop)
    }
}

/// A rack that an alert names, with its record where that can be read.
pub(in crate::app) type NamedRack<'a> = (&'a Rack, Option<Box<Cycle>>);

/// The racks that an alert names, each with its record; without one where that cannot be read.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn cycles<'a>(
    reader: &Reader,
    alert: &'a Alert,
) -> Result<Vec<NamedRack<'a>>, LedgerError> {
    let read = |rack: &'a Rack| {
        Ok(match reader.record(rack.index)? {
            Ok((_, Record { body: Body::Cycle(cycle), .. })) => (rack, Some(cycle)),
            Ok(_) | Err(_) => (rack, None),
        })
    };
    alert.racks.named.iter().map(read).collect()
}

/// Racks as they stand on record.
pub(in crate::app) fn affected(cycles: &[NamedRack<'_>]) -> Vec<Affected> {
    let affected = |(rack, cycle): &NamedRack<'_>| Affected {
        record: rack.index,
        rinsed: rack.rinsed(),
        judged: cycle.as_deref().map(Judged::of),
    };
    cycles.iter().map(affected).collect()
}

/// The racks of an alert of the sanitizer, those in doubt with what they passed by and what was found.
///
/// # Errors
/// The ledger's, but for damage of single records.
pub(in crate::app) fn overtaken(
    reader: &Reader,
    known: &Doubts,
    alert: &Alert,
    cycles: &[NamedRack<'_>],
) -> Result<Vec<Affected>, LedgerError> {
    let mut all = affected(cycles);
    if alert.condition != Condition::Weak {
        return Ok(all);
    }
    let machine = alert.machine.as_deref().unwrap_or_default();
    for (affected, (rack, cycle)) in all.iter_mut().zip(cycles) {
        if let (Some(judged), Some(cycle)) = (&mut affected.judged, cycle) {
            judged.overtaken = doubts::overtaken(reader, known, (machine, rack.index), cycle)?;
        }
    }
    Ok(all)
}

/// An alert as a page tells of it: what it says now, or said when it closed, to nobody in particular.
pub(in crate::app) fn standing(
    alert: Alert,
    closed: Option<Timestamp>,
    language: Language,
    units: Scale,
) -> Notice {
    let occasion = match (closed, alert.cleared) {
        (Some(_), _) => Occasion::Closed,
        (None, Some(_)) if alert.action_missing() => Occasion::ActionMissing,
        (None, Some(_)) => Occasion::Cleared,
        (None, None) => Occasion::Raised,
    };
    let (key, contact, routes) = (String::new(), String::new(), Vec::new());
    Notice { key, contact, language, units, routes, step: 0, round: 0, occasion, rested_s: 0, alert }
}

/// Does what somebody decided about an alert as they saw it, `via` a page or a link. Pressed twice it
/// is done once; whoever comes second with an action of their own is told.
pub(in crate::app) async fn decide(
    reception: &Reception,
    (alert, closed): (&Alert, Option<Timestamp>),
    deed: Deed,
    via: &str,
    signed: impl Fn(String) -> String,
) -> Result<Decided, Refused> {
    let number = alert.number;
    let acts = matches!(deed, Deed::Act { .. });
    let order = match deed {
        // Pressed twice, or by a second person at the same time: the page says who takes care.
        Deed::Acknowledge { .. } if closed.is_some() || alert.acknowledged.is_some() => {
            return Ok(Decided::Done);
        }
        Deed::Acknowledge { by, note } => {
            let (by, note) = (signed(by), Some(note).filter(|note| !note.is_empty()));
            Order::Acknowledge { alert: number, by, via: via.to_owned(), note }
        }
        Deed::Act { .. } if closed.is_some() => return Ok(Decided::Late),
        Deed::Act { by, racks, done, covers } => {
            let by = signed(by);
            // A page never shows more racks than there are.
            let covers = covers.map(|covers| covers.min(alert.racks.count));
            let shown = covers.unwrap_or(alert.racks.count);
            let written = alert.action.as_ref().filter(|action| action.covers >= shown);
            if written.is_some_and(|action| action.by == by && action.racks == racks && action.done == done) {
                return Ok(Decided::Done);
            }
            Order::Act { alert: number, by, racks, done, covers }
        }
    };
    match reception.perform(order).await {
        Ok(_) => Ok(Decided::Done),
        // In between somebody else did it, or it closed; the page shows what is so.
        Err(problem) if problem.slug == "alert-refused" => {
            Ok(if acts { Decided::Late } else { Decided::Done })
        }
        Err(_) => Err(Refused::NotNow),
    }
}
