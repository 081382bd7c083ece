//! What was in force at a moment: configuration, limits, key, and whether the service ran.

use std::ops::ControlFlow;
use std::sync::Arc;

use super::cycles::{CycleFilter, Found, Order};
use super::error::{LedgerError, Part};
use super::events::RecordFilter;
use super::reader::{Reader, index_of};
use crate::core::on_file::OnFile;
use crate::core::record::{Body, Cycle, Record};
use crate::core::time::Timestamp;

/// What was in force at a moment, each with the index of the record that says so.
#[derive(Clone, PartialEq, Debug)]
pub struct InForce {
    /// The moment.
    pub at: Timestamp,
    /// The newest configuration on record by then; limits, probes and configured calibrations stand in it.
    pub configuration: Option<(u64, Record)>,
    /// The newest record of a signing key by then.
    pub key: Option<(u64, Record)>,
    /// The newest start or stop of the service by then.
    pub service: Option<(u64, Record)>,
    /// The calibrations and response tests on record, some of them later than the moment.
    pub file: Arc<OnFile>,
    /// For each machine that had washed by then the limits that its last cycle was judged by.
    pub limits: Vec<LimitsInForce>,
}

/// The limits a machine was judged by.
#[derive(Clone, PartialEq, Debug)]
pub struct LimitsInForce {
    /// Name of the machine.
    pub machine: String,
    /// Index of the cycle that says so: the last one by then.
    pub index: u64,
    /// The cycle.
    pub cycle: Cycle,
}

impl Reader {
    /// What was in force at a moment, by the gateway's clock. Takes time for the machines and
    /// for the calibrations and amendments on record, not for the cycles.
    ///
    /// # Errors
    /// [`LedgerError`] where the database fails, and where the very record that would say it is
    /// damaged: an older one must not stand in for it.
    pub fn in_force(&self, at: Timestamp) -> Result<InForce, LedgerError> {
        let _one_state = self.one_state()?;
        let mut file = OnFile::default();
        if let Some(index) = self.read_on_file(&mut file)?.first().copied() {
            return Err(LedgerError::Damaged(Part::Record { index }));
        }
        self.in_force_by(at, Arc::new(file))
    }

    /// As [`Reader::in_force`] for whoever has read the calibrations and response tests on record, all of
    /// them undamaged. Takes time for the machines only.
    ///
    /// # Errors
    /// As there.
    pub fn in_force_by(&self, at: Timestamp, file: Arc<OnFile>) -> Result<InForce, LedgerError> {
        let _one_state = self.one_state()?;
        let to = Some(Timestamp::from_micros(at.micros().saturating_add(1)));
        let mut limits = Vec::new();
        for machine in self.machines()? {
            let filter =
                CycleFilter { machine: Some(machine.clone()), to, limit: Some(1), ..CycleFilter::default() };
            let last = self.first(|each| self.cycles_found(Order::NewestFirst, &filter, each))?;
            if let Some((index, Record { body: Body::Cycle(cycle), .. })) = last {
                limits.push(LimitsInForce { machine, index, cycle: *cycle });
            }
        }
        let newest = |kinds: &[&str]| {
            let words: Vec<String> = kinds.iter().map(|kind| (*kind).to_owned()).collect();
            let filter = RecordFilter { kinds: words.clone(), to, limit: Some(1), ..RecordFilter::default() };
            let newest = self.first(|each| self.events(Order::NewestFirst, &filter, each))?;
            self.nothing_between(&words, newest.as_ref().map(|(index, _)| *index), at)?;
            Ok(newest)
        };
        Ok(InForce {
            at,
            file,
            configuration: newest(&["configuration-change"])?,
            key: newest(&["signing-key"])?,
            service: newest(&["service-start", "service-stop"])?,
            limits,
        })
    }

    /// Refuses where a record of these kinds follows the one at `newest` and stands nowhere in time: it
    /// was damaged before the table of times was made, and may be the one that was in force at `at`.
    fn nothing_between(
        &self,
        kinds: &[String],
        newest: Option<u64>,
        at: Timestamp,
    ) -> Result<(), LedgerError> {
        let kinds: Vec<&str> = kinds.iter().map(String::as_str).collect();
        let mut nowhere = Ok(());
        self.records_found(&kinds, newest.map_or(0, |newest| newest + 1), |index, found| match found {
            // Records are in order of time, but for clocks that were set.
            Ok((_, record)) if record.recorded > at => ControlFlow::Break(()),
            Ok(_) => ControlFlow::Continue(()),
            Err(error) => match self.stands(&kinds, index) {
                Ok(true) => ControlFlow::Continue(()),
                Ok(false) => {
                    nowhere = Err(error);
                    ControlFlow::Break(())
                }
                Err(error) => {
                    nowhere = Err(error);
                    ControlFlow::Break(())
                }
            },
        })?;
        nowhere
    }

    /// Whether the table of times has this record under one of these kinds.
    fn stands(&self, kinds: &[&str], index: u64) -> Result<bool, LedgerError> {
        let failed = |source| self.failed("looking up a record", source);
        let mut statement = self
            .connection
            .prepare_cached("SELECT 1 FROM event WHERE kind = ?1 AND idx = ?2")
            .map_err(failed)?;
        for kind in kinds {
            if statement.exists(rusqlite::params![kind, index_of(index)]).map_err(failed)? {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// The first record that a query gives.
    fn first(
        &self,
        query: impl FnOnce(&mut dyn FnMut(u64, Found) -> ControlFlow<()>) -> Result<(), LedgerError>,
    ) -> Result<Option<(u64, Record)>, LedgerError> {
        let mut first = None;
        query(&mut |index, found| {
            first = Some(found.map(|(_, record)| (index, record)));
            ControlFlow::Break(())
        })?;
        first.transpose()
    }
}
