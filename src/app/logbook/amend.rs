//! Amendments on their way to the record: withdrawn, corrected, or commented on only.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use super::{
    Change, Correction, Prepared, Way, id_of, impossible, judged, position, refused, technician, unread,
};
use crate::app::order::Problem;
use crate::config::resolve::Configuration;
use crate::core::cycle::judge::Concentration;
use crate::core::logbook;
use crate::core::record::{Amendment, AmendmentChange, Body, Check, Record};
use crate::core::site::Entered;
use crate::core::time::Timestamp;
use crate::ledger::{LedgerError, Reader};

/// How far before an amended check others are looked for that stand in its place, in records
/// (own choice: a day of a hundred busy machines; a concentration stands for a shift).
const LOOK_BACK: u64 = 100_000;
/// Most concentrations that can matter to cycles: the newest and the one before it.
const STANDING_MAX: usize = 2;

/// An amendment that somebody asks for.
pub(super) struct Asked {
    pub(super) of: u64,
    pub(super) reason: String,
    pub(super) by: String,
    pub(super) change: Change,
}

impl Asked {
    /// Looks at it, and says how it goes on record.
    pub(super) fn prepared(
        self,
        reader: &Reader,
        configuration: &Configuration,
        now: Timestamp,
    ) -> Result<Prepared, Problem> {
        let (of, machines) = (self.of, &configuration.machines);
        let record = record_at(reader, of)?;
        let machine = record.machine.clone();
        let place = machine.as_deref().and_then(|name| position(name, machines));
        let past = Past::read(reader, of).map_err(|error| unread(&error))?;
        let (change, corrected) = match (self.change, &record.body) {
            (Change::Comment, _) => (AmendmentChange::Comment, None),
            (
                _,
                Body::Check(_)
                | Body::Note(_)
                | Body::Calibration(_)
                | Body::Response(_)
                | Body::WiringProof(_),
            ) if past.withdrawn => {
                let summary = format!("record {of} was withdrawn before");
                return Err(refused(&summary, "enter or make it anew"));
            }
            (
                Change::Withdraw,
                Body::Check(_)
                | Body::Note(_)
                | Body::Calibration(_)
                | Body::Response(_)
                | Body::WiringProof(_),
            ) => (AmendmentChange::Withdrawn, None),
            (Change::Correct(correction), Body::Check(check)) => {
                let was = past.corrected.as_ref().unwrap_or(check);
                let mut check = was.clone();
                correction.applied(&mut check, of)?;
                // It was made before it was entered, whenever it is corrected.
                let sanitizing = place.map(|place| machines[place].sanitizing);
                logbook::admit_correction(was, &check, sanitizing, record.recorded).map_err(impossible)?;
                (AmendmentChange::Corrected(check.clone()), Some(check))
            }
            (Change::Withdraw | Change::Correct(_), body) => return Err(only_commented(of, body)),
        };
        let judged = corrected.as_ref().map(|check| judged(check, place.map(|place| &machines[place])));
        let is_comment = change == AmendmentChange::Comment;
        let amendment = Box::new(Amendment { of, reason: self.reason, by: self.by, change });
        let was = if let Body::Check(check) = &record.body {
            Concentration::of(past.corrected.as_ref().unwrap_or(check)).filter(|_| !is_comment)
        } else {
            None
        };
        let put = Record::new(now, machine.clone(), Body::Amendment(amendment.clone()));
        if !is_comment && let Some(way) = technician::withdrawal(&record.body, &put, configuration, reader)? {
            return Ok(Prepared { machine, way, judged: None, recorded: None, late_s: None });
        }
        let way = match (place, was) {
            (Some(place), Some(was)) => {
                let standing =
                    standing(reader, &machines[place].name, &amendment).map_err(|error| unread(&error))?;
                Way::Core(id_of(place), Entered::Amended { amendment, was, standing })
            }
            (_, _) => Way::Ledger(Box::new(put)),
        };
        Ok(Prepared { machine, way, judged, recorded: None, late_s: None })
    }
}

impl Correction {
    /// Puts the values into a check of record `of`.
    fn applied(&self, check: &mut Check, of: u64) -> Result<(), Problem> {
        let Self { at: when, mg_per_l, ph, solution_c, method, enough, short, note, shown_c, reference_c } =
            self;
        let (strip, supply) = (
            mg_per_l.is_some() || ph.is_some() || solution_c.is_some() || method.is_some(),
            enough.is_some() || short.is_some(),
        );
        let (noted, compared) = (note.is_some(), shown_c.is_some() || reference_c.is_some());
        let foreign = match check {
            Check::Sanitizer { .. } => supply || noted || compared,
            Check::Supply { .. } => strip || compared,
            Check::DrainAndClean { .. } => strip || supply || compared,
            Check::Thermometer { .. } => strip || supply || noted,
        };
        if foreign {
            let summary = format!("record {of} is a check «{}» without such a value", check.kind().as_str());
            return Err(refused(&summary, "give what it has, or withdraw it and enter the right check"));
        }
        if *self == Self::default() {
            return Err(refused("nothing is corrected", "give the right values, or --withdraw, or neither"));
        }
        let set = |value: &mut f64, new: &Option<f64>| *value = new.unwrap_or(*value);
        match check {
            Check::Sanitizer {
                at, mg_per_l: old, ph: old_ph, solution_c: old_c, method: old_method, ..
            } => {
                set(old, mg_per_l);
                (*at, *old_ph, *old_c) = (when.unwrap_or(*at), ph.or(*old_ph), solution_c.or(*old_c));
                *old_method = method.clone().or_else(|| old_method.take());
            }
            Check::Supply { at, enough: old, short: old_short, note: old_note, .. } => {
                (*at, *old) = (when.unwrap_or(*at), enough.unwrap_or(*old && short.is_none()));
                // Where everything is there, what was said to be short is not.
                *old_short = match short {
                    Some(short) => short.clone(),
                    None if *old => Vec::new(),
                    None => std::mem::take(old_short),
                };
                *old_note = note.clone().or_else(|| old_note.take());
            }
            Check::DrainAndClean { at, note: old_note, .. } => {
                *at = when.unwrap_or(*at);
                *old_note = note.clone().or_else(|| old_note.take());
            }
            Check::Thermometer { at, shown_c: old, reference_c: old_reference, .. } => {
                *at = when.unwrap_or(*at);
                set(old, shown_c);
                set(old_reference, reference_c);
            }
        }
        Ok(())
    }
}

/// What became of a record since.
#[derive(Default)]
struct Past {
    withdrawn: bool,
    corrected: Option<Check>,
}

impl Past {
    fn read(reader: &Reader, of: u64) -> Result<Self, LedgerError> {
        let mut past = Self::default();
        reader.records_of(&["amendment"], of, |_, _, record| {
            if let Body::Amendment(amendment) = record.body
                && amendment.of == of
            {
                match amendment.change {
                    AmendmentChange::Comment => {}
                    AmendmentChange::Withdrawn => past.withdrawn = true,
                    AmendmentChange::Corrected(check) => past.corrected = Some(check),
                }
            }
            ControlFlow::Continue(())
        })?;
        Ok(past)
    }
}

/// The newest concentrations of a machine that count once this amendment is on record.
fn standing(
    reader: &Reader,
    machine: &str,
    amendment: &Amendment,
) -> Result<Vec<Concentration>, LedgerError> {
    let mut checks: BTreeMap<u64, Option<Check>> = BTreeMap::new();
    let from = amendment.of.saturating_sub(LOOK_BACK);
    reader.records_of(&["check", "amendment"], from, |index, _, record| {
        let own = record.machine.as_deref() == Some(machine);
        if let Body::Amendment(amendment) = &record.body {
            apply(&mut checks, amendment);
        } else if let Body::Check(check) = record.body
            && own
        {
            checks.insert(index, Some(check));
        }
        ControlFlow::Continue(())
    })?;
    apply(&mut checks, amendment);
    let mut standing: Vec<Concentration> = checks.values().flatten().filter_map(Concentration::of).collect();
    standing.sort_by_key(|check| check.at);
    Ok(standing.split_off(standing.len().saturating_sub(STANDING_MAX)))
}

/// The newest amendment of a check counts, also where two came at one instant.
fn apply(checks: &mut BTreeMap<u64, Option<Check>>, amendment: &Amendment) {
    let Some(check) = checks.get_mut(&amendment.of) else { return };
    match &amendment.change {
        AmendmentChange::Comment => {}
        AmendmentChange::Withdrawn => *check = None,
        AmendmentChange::Corrected(corrected) => *check = Some(corrected.clone()),
    }
}

fn record_at(reader: &Reader, of: u64) -> Result<Record, Problem> {
    let mut found = None;
    let read = reader.records(of, |index, _, record| {
        found = (index == of).then_some(record);
        ControlFlow::Break(())
    });
    read.map_err(|error| unread(&error))?;
    let advice = "history, alerts show and the answers of enter name the numbers of records";
    found.ok_or_else(|| refused(&format!("no record has the number {of}"), advice))
}

fn only_commented(of: u64, body: &Body) -> Problem {
    let what = if matches!(body, Body::Note(_)) {
        "a note can be withdrawn, not corrected"
    } else if matches!(body, Body::Calibration(_) | Body::Response(_) | Body::WiringProof(_)) {
        "it can be withdrawn and made anew, not corrected"
    } else {
        "what was judged and recorded stays as it is"
    };
    let advice = "leave --withdraw and the values out: the reason is then read beside it as a comment";
    refused(&format!("record {of} is of the kind «{}»: {what}", body.kind()), advice)
}
