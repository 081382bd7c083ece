//! One thing at a time.

use std::sync::{Arc, Mutex};

use super::super::House;
use super::super::racks::{self, Proof};
use super::rows::{line, of_glance};
use super::{failed, rows};
use crate::app::alerts::story;
use crate::app::history::{self, Asked as Question, Kept};
use crate::cli::{FormArgs, HistoryArgs};
use crate::config::resolve::Configuration;
use crate::core::access::Right;
use crate::core::alert::doubts::Doubts;
use crate::core::record::Body;
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Reader, Subject, WholeChunks};
use crate::report::{alerts as told, json as report};
use crate::web::api::{One, Single, Trouble};
use crate::web::now::Glances;

/// What is asked of the ledger: the inner answer is about the question, the outer one about the ledger.
type Found = Result<Result<String, Trouble>, LedgerError>;

impl House {
    pub(super) async fn one(&self, asked: Single) -> Result<One, Trouble> {
        if let Single::Machine(name) = &asked {
            let glances = self.glances(&self.eyes()).await?.machines;
            let own = glances.iter().find(|glance| glance.machine == *name);
            let known: Vec<String> = glances.iter().map(|glance| glance.machine.to_string()).collect();
            let own = own.ok_or_else(|| Trouble::no_machine(name, known))?;
            return Ok(One { json: of_glance(own).to_string(), size: None });
        }
        let (loaded, path, now) = (Arc::clone(&self.loaded), self.path.clone(), self.clock.now());
        let (chunks, doubts) = (Arc::clone(&self.chunks), self.doubts.clone());
        let found = self.readers.ask(move |ledger| {
            ledger.in_one_state(|size| {
                let doubts = doubts.fresh(ledger)?;
                let json = match asked {
                    Single::Machine(_) => Ok(Err(Trouble::NotNow)),
                    Single::Cycle(index) => cycle(ledger, index, size, &doubts),
                    Single::Trace(index) => trace(ledger, index, size),
                    Single::Proof(index) => proof(ledger, index, size, &chunks),
                    Single::Alert(number) => alert(ledger, number),
                    Single::Record { index, settings } => match guarded(ledger, index, settings)? {
                        Some(right) => Ok(Err(Trouble::NotYours(right))),
                        None => Ok(record(ledger, &path, &loaded.configuration, index, size, now, doubts)),
                    },
                    Single::Checkpoint => checkpoint(ledger),
                }?;
                let by_the_record = matches!(
                    asked,
                    Single::Cycle(_) | Single::Trace(_) | Single::Alert(_) | Single::Record { .. }
                );
                Ok::<_, LedgerError>(json.map(|json| One { json, size: by_the_record.then_some(size) }))
            })
        });
        found.await?
    }

    /// Whether there ever was an alert of this number.
    pub(super) async fn known(&self, number: u64) -> Result<(), Trouble> {
        let about = move |ledger: &Reader| ledger.about(Subject::Alert(number));
        if i64::try_from(number).is_err() || self.readers.ask(about).await?.is_empty() {
            return Err(no_alert(number));
        }
        Ok(())
    }
}

fn no_alert(number: u64) -> Trouble {
    Trouble::Unknown {
        detail: format!("no alert has the number {number}"),
        advice: "see /api/v1/alerts for those that there are".to_owned(),
    }
}

fn no_record(index: u64, size: u64) -> Trouble {
    let advice = match size.checked_sub(1) {
        Some(newest) => {
            format!("its records are numbered from 0 to {newest}; see /api/v1/cycles and /api/v1/records")
        }
        None => "it has none yet".to_owned(),
    };
    Trouble::Unknown { detail: format!("the ledger has no record {index}"), advice }
}

fn no_cycle(index: u64) -> Trouble {
    Trouble::Unknown {
        detail: format!("record {index} is no cycle"),
        advice: format!("see /api/v1/cycles for those that are; /api/v1/records/{index} tells what it is"),
    }
}

fn no_checkpoint(detail: String) -> Trouble {
    let advice = "one is made each hour, where the gateway has its key: come again then".to_owned();
    Trouble::Unknown { detail, advice }
}

fn damaged(index: u64) -> Trouble {
    damage(format!("record {index} is damaged"))
}

fn not_as_sealed(index: u64) -> Trouble {
    damage(format!(
        "record {index}, or one near it, is damaged: the ledger is not as its newest checkpoint sealed it"
    ))
}

fn damage(detail: String) -> Trouble {
    let advice = Some("`rinseward verify` says what holds".to_owned());
    Trouble::Refused { slug: "ledger-damaged".to_owned(), detail, advice, pointer: None }
}

fn cycle(ledger: &Reader, index: u64, size: u64, doubts: &Doubts) -> Found {
    if index >= size {
        return Ok(Err(no_record(index, size)));
    }
    let record = match ledger.record(index)? {
        Ok((_, record)) => record,
        Err(_) => return Ok(Err(damaged(index))),
    };
    let row = history::cycle_row(ledger, index, &record, doubts)?;
    Ok(match row {
        Some(row) => line(|out| report::write_row(out, &row)),
        None => Err(no_cycle(index)),
    })
}

fn trace(ledger: &Reader, index: u64, size: u64) -> Found {
    if index >= size {
        return Ok(Err(no_record(index, size)));
    }
    match ledger.trace(index) {
        Ok(Some(trace)) => Ok(serde_json::to_string(&trace).map_err(|_| Trouble::NotNow)),
        Ok(None) => Ok(Err(Trouble::Unknown {
            detail: format!("no readings are kept with record {index}"),
            advice: format!("readings are kept with cycles alone; /api/v1/records/{index} tells what it is"),
        })),
        Err(LedgerError::Damaged(_)) => Ok(Err(damaged(index))),
        Err(error) => Err(error),
    }
}

fn proof(ledger: &Reader, index: u64, size: u64, chunks: &Mutex<WholeChunks>) -> Found {
    if index >= size {
        return Ok(Err(no_record(index, size)));
    }
    match ledger.record(index)? {
        Ok((_, record)) if !matches!(record.body, Body::Cycle(_)) => {
            return Ok(Err(no_cycle(index)));
        }
        Ok(_) => {}
        Err(_) => return Ok(Err(damaged(index))),
    }
    Ok(match racks::prove(ledger, index, chunks)? {
        Proof::Holds(proof) => Ok(proof),
        Proof::NotSealed => Err(no_checkpoint(format!("no checkpoint seals record {index} yet"))),
        Proof::Damaged => Err(not_as_sealed(index)),
    })
}

fn alert(ledger: &Reader, number: u64) -> Found {
    if i64::try_from(number).is_err() {
        return Ok(Err(no_alert(number)));
    }
    let (mut records, mut broken) = (Vec::new(), Vec::new());
    for index in ledger.about(Subject::Alert(number))? {
        match ledger.record(index)? {
            Ok((_, record)) => records.push((index, record)),
            Err(_) => broken.push(index.to_string()),
        }
    }
    let Some(story) = story::told(ledger, &records)? else { return Ok(Err(no_alert(number))) };
    let answer = || -> Result<String, Trouble> {
        let alert = line(|out| told::json(out, &story.alert, story.closed))?;
        let trail: Vec<String> = records
            .iter()
            .map(|(index, record)| line(|out| told::record_json(out, *index, record)))
            .collect::<Result<_, _>>()?;
        let (trail, broken) = (trail.join(","), broken.join(","));
        Ok(format!("{{\"alert\":{alert},\"trail\":[{trail}],\"damaged\":[{broken}]}}"))
    };
    Ok(answer())
}

/// The right that a record takes of those who have it not, as at the page of that record: a change of the
/// configuration holds all of it.
fn guarded(ledger: &Reader, index: u64, settings: bool) -> Result<Option<Right>, LedgerError> {
    if settings || index >= ledger.size()? {
        return Ok(None);
    }
    let found = ledger.record(index)?;
    let is_settings = found.is_ok_and(|(_, record)| matches!(record.body, Body::ConfigurationChange(_)));
    Ok(is_settings.then_some(Right::Settings))
}

fn record(
    ledger: &Reader,
    path: &std::path::Path,
    configuration: &Configuration,
    index: u64,
    size: u64,
    now: Timestamp,
    doubts: Arc<Doubts>,
) -> Result<String, Trouble> {
    if index >= size {
        return Err(no_record(index, size));
    }
    match ledger.record(index) {
        Ok(Ok(_)) => {}
        Ok(Err(_)) => return Err(damaged(index)),
        Err(_) => return Err(Trouble::NotNow),
    }
    let form = FormArgs { json: true, csv: false };
    let arguments = HistoryArgs { record: Some(index), form, ..HistoryArgs::default() };
    let kept = Kept::default();
    let question = Question { arguments: &arguments, from: None, to: None, now, doubts, kept };
    let told = history::told(ledger, path, &configuration.alerts, &question);
    let (bytes, _) = told.map_err(|failure| failed(&failure))?;
    rows::line(|out| {
        out.extend_from_slice(&bytes);
        Ok(())
    })
}

fn checkpoint(ledger: &Reader) -> Found {
    Ok(match ledger.newest_checkpoint()? {
        Some(stored) => serde_json::to_string(&stored).map_err(|_| Trouble::NotNow),
        None => Err(no_checkpoint("no checkpoint was made yet".to_owned())),
    })
}
