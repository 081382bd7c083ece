//! The probes, and what a technician does at them.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::{Arc, Mutex, PoisonError};

use jiff::ToSpan;
use jiff::civil::Date;
use tokio::sync::watch;

use super::at_work::keep_at_work;
use super::bench::{Came, Facts};
use super::{House, compared};
use crate::app::alerts::Reception;
use crate::app::live::LiveEvent;
use crate::app::logbook::Entry;
use crate::app::order::{Order, Problem};
use crate::app::technician::holds_until;
use crate::core::alert::{Alert, Condition, DialogStands};
use crate::core::calibration::Calibration;
use crate::core::channel::{Channel, Probe, Role};
use crate::core::on_file::OnFile;
use crate::core::record::{AccessDeed, Body, CalibrationDone, ResponseDone, WiringProofDone};
use crate::core::signoff::DUE_SOON_DAYS;
use crate::core::technician::attempt::{Attempt, Press};
use crate::core::technician::calibrating::Calibrating;
use crate::core::technician::gauge::Gauge;
use crate::core::technician::proving::Proving;
use crate::core::technician::responding::Responding;
use crate::core::time::Timestamp;
use crate::core::wall_clock::local_date;
use crate::ledger::Known;
use crate::web::attempt::{Begin, Ended, NotDone, OpenAt, Said, Under, What};
use crate::web::frame::Refusal;
use crate::web::person::Person;
use crate::web::probes::solution::SolutionSeen;
use crate::web::probes::{Due, Filed, FiledProof, InForce, Made, Probes, Seen};
use crate::web::sign_off::{Commissioning, Shown, Stood};

/// Calibrations and response tests on record. Copies are the same.
#[derive(Clone, Debug, Default)]
pub(super) struct Standing {
    pub(super) file: Known<OnFile>,
    last: Arc<Mutex<Option<LastRead>>>,
}

/// At which beat and after how many entries they were read, and what was read then.
type LastRead = ((u64, u64), Arc<OnFile>);

impl House {
    /// The calibrations and response tests on record.
    async fn standing(&self) -> Result<Arc<OnFile>, Refusal> {
        // The beat comes a little after a commit: whoever was told that an entry is on record waits for none.
        let now = (*self.beat.borrow(), self.reception.ended());
        let last = || self.standing.last.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, file)) = last().as_ref().filter(|(then, _)| *then == now) {
            return Ok(Arc::clone(file));
        }
        let known = self.standing.file.clone();
        let file = self.readers.ask(move |ledger| known.fresh(ledger)).await?;
        *last() = Some((now, Arc::clone(&file)));
        Ok(file)
    }

    /// A temperature probe with what is on record laid over it.
    fn in_force_of(&self, channel: &Channel, probe: &Probe, file: &OnFile) -> Probe {
        let configured = self.loaded.configuration.calibrated_on(&channel.name);
        file.in_force(channel.name.as_str(), configured, Timestamp::MAX).laid_over(probe)
    }

    fn in_force(&self, channel: &Channel, probe: &Probe, file: &OnFile) -> InForce {
        let configuration = &self.loaded.configuration;
        let (name, machine) = (channel.name.as_str(), channel.name.machine());
        let configured = configuration.calibrated_on(&channel.name);
        let filed = file.in_force(name, configured, Timestamp::MAX);
        let standing = filed.laid_over(probe);
        let until = match filed.calibration {
            Some(filed) => filed.done.until.clone(),
            None if filed.doubted.is_some() => None,
            None => configuration
                .alerts
                .machines
                .get(machine)
                .and_then(|machine| machine.calibrated_until.get(name))
                .map(ToString::to_string),
        };
        let correction = (standing.calibration != Calibration::None).then(|| standing.calibration.into());
        let known = correction.is_some() || filed.calibration.is_some() || configured.is_some();
        let near = configuration.limit(channel.machine, probe.place);
        InForce {
            correction,
            calibration: filed.calibration.map(|filed| filed.index),
            due: if filed.doubted.is_some() { Due::Doubted } else { self.due(known, until.as_deref()) },
            until,
            tau_s: standing.tau.map(|tau| tau.as_secs_f64()),
            response: filed.response.map(|filed| filed.index),
            expanded_c: near
                .map_or((f64::NAN, f64::NAN), |near| (standing.budget.combined(near).expanded, near.0)),
        }
    }

    fn due(&self, known: bool, until: Option<&str>) -> Due {
        if !known {
            return Due::Never;
        }
        let today = local_date(&self.loaded.configuration.alerts.zone, self.clock.now());
        match (until.and_then(|until| until.parse::<Date>().ok()), today) {
            (Some(until), Some(today)) if until < today => Due::Over,
            (Some(until), Some(today)) if until < today.saturating_add(DUE_SOON_DAYS.days()) => Due::Soon,
            (Some(_) | None, _) => Due::Holds,
        }
    }

    /// Sources that are down, with why.
    pub(super) fn down(&self) -> BTreeMap<String, String> {
        let down = self.tap.listen().known.into_iter().filter_map(|event| match event {
            LiveEvent::Source(seen) if !seen.up => Some((seen.source, seen.cause.unwrap_or_default())),
            LiveEvent::Source(_)
            | LiveEvent::Unit(_)
            | LiveEvent::Begun(_)
            | LiveEvent::Reading(_)
            | LiveEvent::Refused { .. }
            | LiveEvent::Lost { .. }
            | LiveEvent::Ended { .. } => None,
        });
        down.collect()
    }

    /// Puts the machine of an attempt under work as long as the attempt lasts, as the commands do, see
    /// [`crate::core::alert::dialog`].
    async fn announce(&self, of: String, what: &str, person: &Person) -> Result<(), NotDone> {
        let machine = of.rsplit_once('/').map_or(of.as_str(), |(machine, _)| machine).to_owned();
        let (why, by) = (format!("{what} of {of}"), person.name.clone());
        let order = move |stands| Order::Dialog {
            machine: machine.clone(),
            stands,
            by: by.clone(),
            why: why.clone(),
        };
        let begun = self.reception.perform(order(DialogStands::Begins)).await;
        let begun = begun.map_err(|problem| NotDone::Refused(said(problem)))?;
        let since = begun.heard.unwrap_or_else(|| self.clock.now());
        let (bench, reception, clock) = (self.bench.clone(), self.reception.clone(), self.clock.clone());
        let over = bench.over(&of);
        #[expect(
            clippy::disallowed_methods,
            reason = "it ends with the attempt, and what it says is forgotten by itself"
        )]
        drop(tokio::spawn(async move {
            let say = |stands| {
                let (reception, order) = (reception.clone(), order(stands));
                async move { reception.perform(order).await }
            };
            keep_at_work(&clock, since, &over, say).await;
            // It is not over because the gateway stops, which takes the bench away.
            drop(bench);
        }));
        Ok(())
    }

    fn attempt(&self, what: What, file: &OnFile) -> Option<(String, Attempt, Facts)> {
        let configuration = &self.loaded.configuration;
        let facts = |channel: &Channel, probe: &Probe| {
            let machine = configuration.machines.get(usize::from(channel.machine.0));
            let judged = machine.map(|machine| (probe.place, machine.times.rinse));
            Facts { judged, correction: self.in_force_of(channel, probe, file).calibration, announced: false }
        };
        match what {
            What::Calibration { probe: name, bath } => {
                let (channel, probe) = configuration.probe(&name)?;
                let near = configuration.limit(channel.machine, probe.place)?;
                let standing = self.in_force_of(channel, probe, file);
                let work = Calibrating::new(bath, standing.tau, standing.calibration, near);
                Some((name.clone(), Attempt::Calibration(name, Box::new(work)), facts(channel, probe)))
            }
            What::Response(name) => {
                let (channel, probe) = configuration.probe(&name)?;
                Some((name.clone(), Attempt::Response(name, Responding::default()), facts(channel, probe)))
            }
            What::Proof { machine, warmth } => {
                let probes = || {
                    configuration.channels.iter().filter_map(|channel| match &channel.role {
                        Role::Probe(probe) => Some((channel, probe.place)),
                        Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
                    })
                };
                let own = probes().filter(|(channel, _)| channel.name.machine() == machine);
                let order: Vec<_> = own.map(|(channel, place)| (channel.name.to_string(), place)).collect();
                if order.is_empty() {
                    return None;
                }
                let site = probes().map(|(channel, _)| channel.name.to_string());
                let work = Proving::new(order, site, warmth);
                let facts = Facts { judged: None, correction: Calibration::None, announced: false };
                Some((machine, Attempt::Proof(Box::new(work)), facts))
            }
        }
    }

    /// What goes on record of what an attempt came to.
    fn entry(&self, of: String, came: Came, note: Option<String>, by: String) -> Entry {
        let at = self.clock.now();
        match came {
            Came::Calibration(points, fitted, found) => {
                let done = Box::new(CalibrationDone {
                    at,
                    points,
                    found: found.into(),
                    left: fitted.left.into(),
                    expanded_c: fitted.expanded_c,
                    until: holds_until(&self.loaded.configuration, &of, None, at),
                    note,
                    by,
                    probe: of,
                });
                Entry::Calibration { done }
            }
            Came::Response(found) => {
                let done = Box::new(ResponseDone {
                    probe: of,
                    at,
                    tau_s: found.tau_s,
                    expanded_s: found.expanded_s,
                    residual_c: found.residual_c,
                    from_c: found.from.0,
                    to_c: found.to.0,
                    readings: found.readings,
                    // Worked out where it is entered.
                    fast_enough: None,
                    by,
                });
                Entry::Response { done }
            }
            Came::Proof(probes) => {
                let good = probes.iter().all(|probe| probe.good);
                let done = Box::new(WiringProofDone { at, probes, good, by });
                Entry::WiringProof { machine: of, done }
            }
        }
    }
}

/// Why an order was refused, as the record says it.
pub(super) fn said(problem: Problem) -> Said {
    Said { summary: problem.summary, advice: problem.advice }
}

/// Puts an entry on record; gives the number of its record.
pub(super) async fn entered(reception: &Reception, entry: Entry) -> Result<u64, Said> {
    let done = reception.perform(Order::Entry { entry }).await.map_err(said)?;
    done.record.ok_or_else(|| Said { summary: "no record came back".to_owned(), advice: None })
}

impl Probes for House {
    fn glimpses(&self) -> watch::Receiver<u64> {
        self.bench.beat()
    }

    async fn probes(&self) -> Result<Arc<[Seen]>, Refusal> {
        self.bench.look();
        let file = self.standing().await?;
        let (open, _) = self.reception.open().await.map_err(|_| Refusal::NotNow)?;
        let found_off = |name: &str| {
            let is_off =
                |alert: &&Alert| alert.condition == Condition::ThermometerOff && alert.lasts_about(name);
            open.iter().find(is_off).map(|alert| alert.number)
        };
        let (newest, gauges, busy) = (self.tap.newest(), self.bench.gauges(), self.bench.busy());
        let (now, down) = (self.clock.now(), self.down());
        let sources = &self.loaded.configuration.sources;
        let seen = self.loaded.configuration.channels.iter().filter_map(|channel| {
            let Role::Probe(probe) = &channel.role else { return None };
            let name = channel.name.as_str();
            let newest = newest.get(&channel.id);
            let shown = newest.map(|newest| newest.shown);
            let gauge = gauges.get(name);
            let could = sources.iter().filter(|source| source.directory.find(name).is_some());
            let down =
                could.filter_map(|source| Some((source.name.clone(), down.get(&source.name)?.clone())));
            let work = busy.get(name).or_else(|| busy.get(channel.name.machine()));
            Some(Seen {
                number: channel.id.0,
                machine: channel.name.machine().to_owned(),
                probe: channel.name.probe().to_owned(),
                place: probe.place,
                shown_c: shown.and_then(|shown| Some((shown.measured?.0, shown.corrected?.0))),
                fault: shown.and_then(|shown| shown.fault),
                recency: newest.map(|newest| newest.recency(now, probe.silent_after)),
                trend: gauge.and_then(Gauge::trend),
                per_s: gauge.and_then(Gauge::per_s),
                minute: gauge.map(Gauge::minute).unwrap_or_default(),
                down: down.collect(),
                off: found_off(name),
                in_force: self.in_force(channel, probe, &file),
                work: work.cloned(),
            })
        });
        Ok(seen.collect())
    }

    async fn solutions(&self) -> Result<Arc<[SolutionSeen]>, Refusal> {
        self.solutions_seen().await
    }

    async fn filed(&self, probe: String) -> Result<Filed, Refusal> {
        let file = self.standing().await?;
        let mut calibrations = file.calibrations(&probe).to_vec();
        let mut responses = file.responses(&probe).to_vec();
        calibrations.reverse();
        responses.reverse();
        let amended = self.amended.clone();
        let found = self.readers.ask(move |ledger| {
            let machine = probe.split('/').next().unwrap_or_default();
            let compared = compared::newest(ledger, machine, &[&probe], Timestamp::MAX)?.remove(&probe);
            let mut proofs = Vec::new();
            let amended = amended.fresh(ledger)?;
            ledger.records_found(&["wiring-proof"], 0, |index, found| {
                // One that is damaged is told by the history.
                if let Ok((_, record)) = found
                    && let Body::WiringProof(done) = record.body
                {
                    let (at, by) = (record.recorded, done.by);
                    let own = done.probes.into_iter().filter(|found| found.probe == probe);
                    let withdrawn = amended.is_withdrawn(index);
                    proofs.extend(own.map(|found| FiledProof {
                        index,
                        at,
                        by: by.clone(),
                        found,
                        withdrawn,
                    }));
                }
                ControlFlow::Continue(())
            })?;
            proofs.reverse();
            Ok((proofs, compared))
        });
        let (proofs, compared) = found.await?;
        Ok(Filed { calibrations, responses, proofs, compared })
    }

    fn under(&self, of: &str) -> Option<Under> {
        self.bench.under(of)
    }

    fn open_at(&self, machine: &str) -> Vec<OpenAt> {
        self.bench.open_at(machine)
    }

    async fn begin(&self, begin: Begin, person: &Person) -> Result<(), NotDone> {
        let file = self.standing().await.map_err(|_| NotDone::NotSoFar)?;
        let what = match &begin.what {
            What::Calibration { .. } => "calibration",
            What::Response(_) => "response test",
            What::Proof { .. } => "proof of the wiring",
        };
        let (of, attempt, mut facts) = self.attempt(begin.what, &file).ok_or(NotDone::Unknown)?;
        facts.announced = begin.announced;
        self.bench.begin(&of, attempt, facts, (&person.name, &person.account))?;
        if begin.announced
            && let Err(refused) = self.announce(of.clone(), what, person).await
        {
            self.bench.give_up(&of, (&person.name, &person.account));
            return Err(refused);
        }
        Ok(())
    }

    fn press(&self, of: &str, press: Press, person: &Person) -> Result<(), NotDone> {
        self.bench.press(of, press, &person.account)
    }

    async fn give_up(&self, of: &str, person: &Person) {
        if let Some(whose) = self.bench.give_up(of, (&person.name, &person.account)) {
            tracing::info!(of, by = person.account, whose, "somebody ended what another was at");
            let deed = AccessDeed::EndedWork { of: of.to_owned(), whose };
            self.note_access(&person.account, deed).await;
        }
    }

    fn ended(&self, of: &str) -> Option<Ended> {
        self.bench.ended(of)
    }

    async fn file(&self, of: String, note: Option<String>, person: &Person) -> Result<u64, NotDone> {
        let (came, leaving) = self.bench.leave(&of, &person.account, person.reader.language)?;
        let entry = self.entry(of, came, note, person.name.clone());
        let reception = self.reception.clone();
        // Ended also where whoever asked has gone meanwhile, so that nothing goes on record twice.
        #[expect(clippy::disallowed_methods, reason = "its end is waited for, by whoever asks")]
        let putting = tokio::spawn(async move {
            let put = entered(&reception, entry).await;
            match &put {
                Ok(_) => drop(leaving),
                Err(said) => leaving.refused(said.clone()),
            }
            put
        });
        match putting.await {
            Ok(put) => put.map_err(NotDone::Refused),
            // It panicked, and was told of there.
            Err(_) => Err(NotDone::Refused(Said {
                summary: "putting it on record failed half way; it may be there".to_owned(),
                advice: Some("look at what is on record of it before you do it again".to_owned()),
            })),
        }
    }

    async fn commissioning(
        &self,
        machine: String,
        rack: Option<u64>,
        person: &Person,
    ) -> Result<Commissioning, Refusal> {
        self.commission(machine, rack, person).await
    }

    async fn stood(&self, machine: String, person: &Person) -> Result<Option<Stood>, Refusal> {
        Self::stood(self, machine, person).await
    }

    async fn sign(
        &self,
        machine: String,
        note: Option<String>,
        shown: Shown,
        person: &Person,
    ) -> Result<u64, NotDone> {
        self.signed(machine, note, shown, person).await
    }

    async fn is_made(&self, machine: String, made: Made, record: u64) -> bool {
        self.was_made(machine, made, record).await
    }

    async fn sheet(
        &self,
        machine: String,
        record: Option<u64>,
        rack: Option<u64>,
        person: &Person,
    ) -> Result<String, Refusal> {
        self.paper(machine, record, rack, person).await
    }
}
