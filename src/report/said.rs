//! Every kind of record in one sentence of English, for lists and for the story of a record.

use super::alerts;
use super::sheet::duration;
use super::words;
use crate::core::counted::Noun;
use crate::core::cycle::words::verdict;
use crate::core::logbook::{Judgement, Missed, words as logbook};
use crate::core::reader::{Language, Reader, Scale};
use crate::core::reading::Fault;
use crate::core::record::{
    Amendment, AmendmentChange, Body, CalibrationDone, CalibrationPoint, Check, Clock, Gap, KeyChange,
    Maintenance, Note, ProvenProbe, SigningKeyChange, StopCause,
};
use crate::core::technician::work::who;

/// What a record says, without what a terminal would obey.
#[must_use]
pub fn said(body: &Body) -> String {
    let text = match body {
        Body::Cycle(cycle) => format!("cycle: {}", verdict(cycle.verdict, Language::English)),
        Body::Gap(gap) => of_gap(gap),
        Body::Check(check) => by(&of_check(check), check),
        Body::ServiceStart(start) if start.is_first() => {
            let what = if start.from_file {
                "a file was replayed into a new ledger"
            } else {
                "the service started for the first time"
            };
            format!("{what} (version {})", start.version)
        }
        Body::ServiceStart(start) => {
            let after = if start.after_clean_stop { "an orderly end" } else { "an end without order" };
            let what = if start.from_file { "a file was replayed" } else { "the service started" };
            format!("{what} (version {}) after {after}", start.version)
        }
        Body::ServiceStop(stop) => match stop.cause {
            StopCause::Signal => "the service was stopped".to_owned(),
            StopCause::EndOfInput => "the service ended with its input".to_owned(),
        },
        Body::ClockStep(step) => {
            let whose = match step.clock {
                Clock::Gateway => "the gateway's clock",
                Clock::Source => "the clock of a source",
            };
            format!("{whose} was set from {} to {}", step.from, step.to)
        }
        Body::ConfigurationChange(change) => {
            format!("a configuration came into force (SHA-256 {}…)", change.sha256.get(..12).unwrap_or("?"))
        }
        Body::MachineFailure(failure) => format!("the judging of the machine failed: {}", failure.cause),
        Body::Maintenance(window) if window.ended => of_end_of_work(window),
        Body::Maintenance(window) => {
            let why = window.why.as_ref().map_or_else(String::new, |why| format!(" ({why})"));
            format!("{} works on it until {}{why}", window.by.as_deref().unwrap_or("somebody"), window.until)
        }
        Body::Note(Note { text, by, .. }) => format!("«{text}» ({by})"),
        Body::Amendment(amendment) => of_amendment(amendment),
        Body::SigningKey(change) => of_key(change),
        Body::LawfulHold(hold) => {
            let what = if hold.on { "nothing may be pruned" } else { "pruning is allowed again" };
            format!("{what}: «{}» ({})", hold.reason, hold.by)
        }
        Body::Pruned(pruned) => {
            format!(
                "pruned by age: {} that arrived before {}",
                Noun::Readings.of(pruned.readings, Language::English),
                pruned.before
            )
        }
        Body::Import(import) => {
            format!(
                "{} took over {} of «{}»",
                import.by,
                Noun::Readings.of(import.readings, Language::English),
                import.file
            )
        }
        Body::Restored(restored) => {
            format!(
                "the ledger goes on from a backup of {} ({})",
                Noun::Records.of(restored.records, Language::English),
                restored.by
            )
        }
        Body::Calibration(done) => of_calibration(done),
        Body::Response(done) => {
            format!("{} answers with a time constant of {:.2} s ({})", done.probe, done.tau_s, done.by)
        }
        Body::WiringProof(done) => {
            let found: Vec<String> = done.probes.iter().map(proven).collect();
            format!("the wiring was proved: {} ({})", found.join("; "), done.by)
        }
        Body::SignOff(signed) => match signed.open_points.len() as u64 {
            0 => format!("signed off by {}", signed.by),
            open => {
                format!("signed off by {} with {}", signed.by, Noun::OpenPoints.of(open, Language::English))
            }
        },
        Body::Access(access) => access.sentence(),
        Body::AlertRaised(_)
        | Body::AlertChanged(_)
        | Body::AlertAcknowledged(_)
        | Body::AlertCleared(_)
        | Body::AlertClosed(_)
        | Body::CorrectiveAction(_)
        | Body::Notification(_) => alerts::said(body, &plain()).unwrap_or_default(),
    };
    text.replace(char::is_control, " ")
}

/// A probe and what was found of it: `dm1/wash answers`, `dm1/rinse swapped (dm1/wash answered)`.
#[must_use]
pub fn proven(probe: &ProvenProbe) -> String {
    let instead = probe.instead.as_deref().map(|other| format!(" ({other} answered)")).unwrap_or_default();
    format!("{} {}{instead}", probe.probe, probe.finding)
}

fn of_calibration(done: &CalibrationDone) -> String {
    let worst = |error: fn(&CalibrationPoint) -> f64| {
        done.points.iter().map(error).max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or_default()
    };
    let (found, left) = (worst(|point| point.found_error_c), worst(|point| point.left_error_c));
    format!(
        "{} was calibrated at {}: {found:+.2} °C from the reference as found, {left:+.2} °C as left ({})",
        done.probe,
        Noun::Points.of(done.points.len() as u64, Language::English),
        done.by
    )
}

/// What became of a check after it was entered.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Since {
    /// It counts no more.
    Withdrawn,
    /// It counts as it was corrected.
    Corrected,
    /// Nobody knows: something that was said of it cannot be read.
    Damaged,
}

/// What a record says, and of a check that failed so as well, with the limit that it missed: it must not read like a good
/// one. One that was withdrawn or corrected since is marked as such: it must not read like one that counts as it stands.
#[must_use]
pub fn judged(body: &Body, judgement: &Judgement, since: Option<Since>) -> String {
    let Body::Check(check) = body else { return said(body) };
    let told = by(&found(check, &Missed::of(judgement)), check);
    let mark = match (judgement.good == Some(false), since) {
        (false, None) => "",
        (false, Some(Since::Withdrawn)) => "withdrawn since: ",
        (false, Some(Since::Corrected)) => "corrected since: ",
        (false, Some(Since::Damaged)) => "an amendment of it is damaged: ",
        (true, None) => "FAILED: ",
        (true, Some(Since::Withdrawn)) => "FAILED, withdrawn since: ",
        (true, Some(Since::Corrected)) => "FAILED, corrected since: ",
        (true, Some(Since::Damaged)) => "FAILED, an amendment of it is damaged: ",
    };
    format!("{mark}{told}").replace(char::is_control, " ")
}

fn by(found: &str, check: &Check) -> String {
    format!("{found} by {}", check.by())
}

/// English in °C, as records have it; none of its times is of a zone.
fn plain() -> Reader {
    Reader { language: Language::English, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC }
}

/// The amendment of a record, as it stands below it; `None` for one that cannot be read.
#[must_use]
pub fn amended(index: u64, amendment: Option<&Amendment>) -> String {
    let Some(amendment) = amendment else { return format!("Record {index} speaks of it and is damaged.") };
    let change = match &amendment.change {
        AmendmentChange::Comment => String::new(),
        AmendmentChange::Withdrawn => "withdrawn: ".to_owned(),
        AmendmentChange::Corrected(check) => format!("corrected to {}: ", of_check(check)),
    };
    let text = format!("Amended by record {index}: {change}«{}» ({}).", amendment.reason, amendment.by);
    text.replace(char::is_control, " ")
}

/// Who ended work, and who had worked at what since when.
fn of_end_of_work(work: &Maintenance) -> String {
    let by = work.by.as_ref().map_or_else(String::new, |by| format!(" by {by}"));
    let who = who(&work.worked, Language::English);
    let who = if who.is_empty() { who } else { format!(": {who}") };
    let begun = work.begun.map_or_else(String::new, |begun| format!(", since {begun}"));
    format!("maintenance ended{by}{who}{begun}")
}

fn of_gap(gap: &Gap) -> String {
    let lasting = match gap.to {
        Some(to) => format!("for {}", duration(to.seconds_since(gap.from))),
        None => "from here on".to_owned(),
    };
    let filled = if gap.filled { "; its readings came after all" } else { "" };
    format!("{} {} {lasting}{filled}", gap.probe, fault(gap.fault))
}

/// What a probe did.
#[must_use]
pub const fn fault(fault: Fault) -> &'static str {
    words::fault_words(fault)
}

/// What a check found, without who made it.
#[must_use]
pub fn of_check(check: &Check) -> String {
    found(check, &Missed::default())
}

/// What a check found, with the limits that it missed.
#[must_use]
pub fn found(check: &Check, missed: &Missed) -> String {
    let noted = |note: &Option<String>| note.as_ref().map_or_else(String::new, |note| format!(" («{note}»)"));
    match check {
        Check::Sanitizer { mg_per_l, ph, solution_c, method, .. } => {
            let reader = plain();
            let strength = missed.strength(*mg_per_l, reader.language);
            let ph = ph.map_or_else(String::new, |ph| format!(", {}", missed.ph(ph, reader.language)));
            let solution = solution_c
                .map_or_else(String::new, |celsius| format!(", at {}", missed.solution(celsius, &reader)));
            let method = method.as_ref().map_or_else(String::new, |method| format!(", by {method}"));
            format!("sanitizer {strength}{ph}{solution}{method}")
        }
        Check::Supply { enough: true, note, .. } => format!("supplies are there{}", noted(note)),
        Check::Supply { enough: false, short, note, .. } => {
            let named = logbook::short(short, None, Language::English);
            let named = named.map_or_else(String::new, |named| format!(": {named}"));
            format!("supplies are short{named}{}", noted(note))
        }
        Check::DrainAndClean { note, .. } => format!("drained and cleaned{}", noted(note)),
        Check::Thermometer { what, shown_c, reference_c, tolerance_c, reference, .. } => {
            let difference_c = shown_c - reference_c;
            let good = if difference_c.abs() <= *tolerance_c { "within" } else { "outside" };
            format!(
                "{what} showed {shown_c:.2} °C where {reference} showed {reference_c:.2} °C: {good} {tolerance_c:.2} °C"
            )
        }
    }
}

fn of_amendment(amendment: &Amendment) -> String {
    let change = match &amendment.change {
        AmendmentChange::Comment => "is commented on".to_owned(),
        AmendmentChange::Withdrawn => "is withdrawn".to_owned(),
        AmendmentChange::Corrected(check) => format!("is corrected to {}", of_check(check)),
    };
    format!("record {} {change}: «{}» ({})", amendment.of, amendment.reason, amendment.by)
}

fn of_key(change: &SigningKeyChange) -> String {
    let how = match change.change {
        KeyChange::First => "the first key of this ledger",
        KeyChange::Rotated => "a new key, endorsed by the one before",
        KeyChange::Lost => "a new key: the secret one before it was gone",
    };
    format!("signing key {}: {how}", change.key)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::record::ServiceStart;
    use crate::core::time::Timestamp;

    // Own promise: a first start follows no end, of the service or of a replay.
    #[test]
    fn a_first_start_follows_nothing() {
        let start = |last_record, from_file| {
            let version = "0.1.0".to_owned();
            let (after_clean_stop, replayed) = (true, 0);
            said(&Body::ServiceStart(ServiceStart {
                version,
                last_record,
                after_clean_stop,
                from_file,
                replayed,
            }))
        };
        let before = Some(Timestamp::from_micros(0));
        for (last_record, from_file, expected) in [
            (None, false, "the service started for the first time (version 0.1.0)"),
            (None, true, "a file was replayed into a new ledger (version 0.1.0)"),
            (before, false, "the service started (version 0.1.0) after an orderly end"),
            (before, true, "a file was replayed (version 0.1.0) after an orderly end"),
        ] {
            assert_eq!(start(last_record, from_file), expected);
        }
    }

    // Wording of our own.
    #[test]
    fn a_record_is_told_in_a_sentence() {
        let at = Timestamp::from_micros(0);
        let later = at.plus(std::time::Duration::from_secs(75));
        let gap =
            |to, filled| Gap { probe: "dm1/rinse".to_owned(), fault: Fault::Silent, from: at, to, filled };
        let dial = |shown_c| Check::Thermometer {
            at,
            what: "dial".to_owned(),
            shown_c,
            reference_c: 0.0,
            tolerance_c: 1.0,
            reference: "an ice bath".to_owned(),
            by: "Ana".to_owned(),
        };
        for (body, expected) in [
            (Body::Gap(gap(None, false)), "dm1/rinse sent nothing from here on"),
            (
                Body::Gap(gap(Some(later), true)),
                "dm1/rinse sent nothing for 1 min 15 s; its readings came after all",
            ),
            (
                Body::Check(dial(-1.0)),
                "dial showed -1.00 °C where an ice bath showed 0.00 °C: within 1.00 °C by Ana",
            ),
            (
                Body::Check(dial(1.5)),
                "dial showed 1.50 °C where an ice bath showed 0.00 °C: outside 1.00 °C by Ana",
            ),
            (
                Body::Note(Note { at: None, text: "new\nboiler".to_owned(), by: "Ana".to_owned() }),
                "«new boiler» (Ana)",
            ),
        ] {
            assert_eq!(said(&body), expected);
        }
    }
}
