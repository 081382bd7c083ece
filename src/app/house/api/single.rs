//! One thing at a time.

use std::sync::Arc;

use serde_json::json;

use super::super::House;
use super::rows::{line, of_glance};
use super::{failed, rows};
use crate::app::alerts::story;
use crate::app::export::seal;
use crate::app::history::{self, Asked as Question};
use crate::cli::{FormArgs, HistoryArgs};
use crate::config::resolve::Configuration;
use crate::core::merkle::{ProofError, inclusion_proof, leaf_hash};
use crate::core::record::Body;
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Reader, Subject};
use crate::report::account::Seal;
use crate::report::{alerts as told, json as report};
use crate::web::api::{One, Single, Trouble};
use crate::web::now::Glances;

/// What is asked of the ledger: the inner answer is about the question, the outer one about the ledger.
type Found = Result<Result<String, Trouble>, LedgerError>;

impl House {
    pub(super) async fn one(&self, asked: Single) -> Result<One, Trouble> {
        if let Single::Machine(name) = &asked {
            let glances = self.glances(&self.eyes()).await?;
            let own = glances.iter().find(|glance| glance.machine == *name);
            let own = own.ok_or_else(|| Trouble::Unknown(format!("no machine is called «{name}»")))?;
            return Ok(One { json: of_glance(own).to_string(), size: None });
        }
        let (loaded, path, now) = (Arc::clone(&self.loaded), self.path.clone(), self.clock.now());
        let found = self.readers.ask(move |ledger| {
            ledger.in_one_state(|size| {
                let json = match asked {
                    Single::Machine(_) => Ok(Err(Trouble::NotNow)),
                    Single::Cycle(index) => cycle(ledger, index, size),
                    Single::Trace(index) => trace(ledger, index, size),
                    Single::Proof(index) => proof(ledger, index, size),
                    Single::Alert(number) => alert(ledger, number),
                    Single::Record(index) => {
                        Ok(record(ledger, &path, &loaded.configuration, index, size, now))
                    }
                    Single::Checkpoint => checkpoint(ledger),
                }?;
                let by_the_record = matches!(
                    asked,
                    Single::Cycle(_) | Single::Trace(_) | Single::Alert(_) | Single::Record(_)
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
    Trouble::Unknown(format!("no alert has the number {number}"))
}

fn no_record(index: u64) -> Trouble {
    Trouble::Unknown(format!("the ledger has no record {index}"))
}

fn damaged(index: u64) -> Trouble {
    Trouble::Refused {
        slug: "ledger-damaged".to_owned(),
        detail: format!("record {index} is damaged"),
        advice: Some("`rinseward verify` says what holds".to_owned()),
    }
}

fn cycle(ledger: &Reader, index: u64, size: u64) -> Found {
    if index >= size {
        return Ok(Err(no_record(index)));
    }
    let record = match ledger.record(index)? {
        Ok((_, record)) => record,
        Err(_) => return Ok(Err(damaged(index))),
    };
    let row = history::cycle_row(ledger, index, &record)?;
    Ok(match row {
        Some(row) => line(|out| report::write_row(out, &row)),
        None => Err(Trouble::Unknown(format!("record {index} is no cycle"))),
    })
}

fn trace(ledger: &Reader, index: u64, size: u64) -> Found {
    if index >= size {
        return Ok(Err(no_record(index)));
    }
    match ledger.trace(index) {
        Ok(Some(trace)) => Ok(serde_json::to_string(&trace).map_err(|_| Trouble::NotNow)),
        Ok(None) => Ok(Err(Trouble::Unknown(format!("no readings are kept with record {index}")))),
        Err(LedgerError::Damaged(_)) => Ok(Err(damaged(index))),
        Err(error) => Err(error),
    }
}

fn proof(ledger: &Reader, index: u64, size: u64) -> Found {
    if index >= size {
        return Ok(Err(no_record(index)));
    }
    let Some(Seal { checkpoint, key, size, .. }) = seal::newest(ledger)?.filter(|seal| index < seal.size)
    else {
        let detail = format!("no checkpoint seals record {index} yet: one is made each hour");
        return Ok(Err(Trouble::Unknown(detail)));
    };
    let (bytes, record) = match ledger.record(index)? {
        Ok(found) => found,
        Err(_) => return Ok(Err(damaged(index))),
    };
    if !matches!(record.body, Body::Cycle(_)) {
        return Ok(Err(Trouble::Unknown(format!("record {index} is no cycle"))));
    }
    let tree = ledger.tree(size, |_, _| {})?;
    let hashes = match inclusion_proof(&tree, index, size) {
        Ok(hashes) => hashes,
        Err(ProofError::Source(error)) => return Err(error),
        Err(ProofError::OutsideTree { .. }) => return Ok(Err(no_record(index))),
    };
    let answer = json!({
        "index": index,
        "leaf": leaf_hash(&bytes).to_string(),
        "record": String::from_utf8_lossy(&bytes),
        "proof": hashes.iter().map(ToString::to_string).collect::<Vec<String>>(),
        "size": size,
        "checkpoint": checkpoint,
        "key": key,
    });
    Ok(Ok(answer.to_string()))
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

fn record(
    ledger: &Reader,
    path: &std::path::Path,
    configuration: &Configuration,
    index: u64,
    size: u64,
    now: Timestamp,
) -> Result<String, Trouble> {
    if index >= size {
        return Err(no_record(index));
    }
    match ledger.record(index) {
        Ok(Ok(_)) => {}
        Ok(Err(_)) => return Err(damaged(index)),
        Err(_) => return Err(Trouble::NotNow),
    }
    let form = FormArgs { json: true, csv: false };
    let arguments = HistoryArgs { record: Some(index), form, ..HistoryArgs::default() };
    let question = Question { arguments: &arguments, from: None, to: None, now };
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
        None => Err(Trouble::Unknown("no checkpoint was made yet: one is made each hour".to_owned())),
    })
}
