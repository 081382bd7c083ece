//! A ledger of years, up to a minute ago: cycles, and what people and the gateway put beside them.

use std::path::Path;
use std::time::Duration;

use jiff::tz::TimeZone;
use rinseward::core::alert::{AlertNumber, ByProbe, Condition, Earlier, Rack, Racks};
use rinseward::core::channel::Place;
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::reading::Fault;
use rinseward::core::record::{
    Against, AlertClosed, AlertRaised, Amendment, AmendmentChange, Body, CalibrationDone, CalibrationPoint,
    Check, CheckKind, ConfigurationChange, Correction, CorrectiveAction, Gap, MissedDue, Record,
};
use rinseward::core::time::Timestamp;
use rinseward::ledger::{Append, Commit, Names, NewRecord, Reader, Writer};

use crate::fixture::{NEW_YEAR, at, commit, cycle, options, plain, start, trace};

/// Machines that wash all the time.
pub(crate) const MACHINES: u32 = 5;
/// One that was given away in the first year: little is on record of it, and all of that lies far back.
pub(crate) const GONE: &str = "old";
/// Seconds between two cycles of one machine: 297 a day.
const EVERY_S: f64 = 291.0;
/// Cycles with a trace of their own, beside those that did not plainly pass.
const TRACES_EVERY: u32 = 50;
/// The zone of the site.
pub(crate) const ZONE: &str = "America/New_York";

/// The years that a ledger holds.
#[derive(Clone, Copy)]
pub(crate) struct Years {
    pub(crate) cycles: u32,
    /// Of the first cycle, s after [`NEW_YEAR`].
    begun_s: f64,
}

impl Years {
    /// So many cycles, of which the last ended before `now`.
    pub(crate) fn until(now: Timestamp, cycles: u32) -> Self {
        let begun_s = now.seconds() - NEW_YEAR.seconds() - f64::from(cycles / MACHINES) * EVERY_S - 120.0;
        Self { cycles, begun_s }
    }

    fn seconds(self, n: u32) -> f64 {
        self.begun_s + f64::from(n / MACHINES) * EVERY_S + f64::from(n % MACHINES)
    }

    /// When the cycle of this number was rinsed.
    pub(crate) fn at(self, n: u32) -> Timestamp {
        at(self.seconds(n))
    }

    /// Writes them, and the days in numbers as the service keeps them.
    pub(crate) fn fill(self, path: &Path, configuration: &str) {
        let mut machines: Vec<String> = (0..MACHINES).map(machine).collect();
        machines.push(GONE.to_owned());
        let names = Names { machines: &machines, channels: &[] };
        let writer = Writer::open(&options(path), names, self.at(0)).expect("the ledger opens").0;
        let first = vec![plain(start(self.begun_s - 100.0)), plain(self.configured(0, configuration))];
        let mut index = u64::try_from(first.len()).expect("two");
        commit(&writer, Commit { records: first, ..Commit::default() }).expect("a commit");
        let mut next = 0;
        while next < self.cycles {
            let end = (next + 1_000).min(self.cycles);
            let mut records = Vec::new();
            for n in next..end {
                self.add(n, index + records.len() as u64, configuration, &mut records);
            }
            index += records.len() as u64;
            commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
            next = end;
        }
        self.keep_days(path, &writer);
    }

    fn keep_days(self, path: &Path, writer: &Writer) {
        let (zone, reader) = (TimeZone::get(ZONE).expect("built in"), Reader::open(path).expect("a reader"));
        let now = self.at(self.cycles).plus(Duration::from_secs(60));
        while let Some((days, bookmark)) = reader.days_to_keep(&zone, now).expect("a part") {
            let (done, wait) = std::sync::mpsc::channel();
            let append = Append { days: Some(days), bookmarks: vec![bookmark], ..Append::default() };
            writer.append(append, Box::new(move |result| done.send(result.is_ok()).expect("we wait")));
            assert!(wait.recv().expect("an answer"), "an append");
        }
    }

    fn configured(self, n: u32, toml: &str) -> Record {
        let change = ConfigurationChange { sha256: format!("{n:064x}"), toml: toml.to_owned() };
        Record::new(at(self.seconds(n) - 90.0), None, Body::ConfigurationChange(change))
    }

    /// One cycle. Every 100th brings a check, every 1,000th a gap and an amendment, every 2,000th an alert of
    /// three records, every 5,000th an alert of a missed check, every 10,000th a calibration, every 20,000th
    /// a thermometer that is off, every 50,000th a configuration.
    fn add(self, n: u32, index: u64, configuration: &str, records: &mut Vec<NewRecord>) {
        let verdict = match n % 1_009 {
            0 => Verdict::Cold,
            1 => Verdict::Brief,
            2..20 => Verdict::Unproven,
            20..60 => Verdict::Narrow,
            _ => Verdict::Pass,
        };
        let s = self.seconds(n);
        let given_away = n < 5_000 && n.is_multiple_of(1_000);
        let name = if given_away { GONE.to_owned() } else { machine(n) };
        let mut record = cycle(&name, s, verdict);
        if let Body::Cycle(cycle) = &mut record.body {
            cycle.rinse_min_c = cycle.rinse_min_c.map(|min_c| min_c + f64::from(n % 17) * 0.05);
        }
        let kept = n.is_multiple_of(TRACES_EVERY) || verdict != Verdict::Pass;
        records.push(NewRecord { record, trace: kept.then(|| trace(s)) });
        let mut add = |body| records.push(plain(Record::new(at(s + 20.0), Some(name.clone()), body)));
        let by = || "Ana".to_owned();
        if n.is_multiple_of(100) {
            add(Body::Check(Check::Supply {
                at: at(s),
                enough: true,
                short: Vec::new(),
                note: None,
                by: by(),
            }));
        }
        if n.is_multiple_of(1_000) {
            let (probe, from, to) = (format!("{name}/rinse"), at(s - 60.0), Some(at(s)));
            add(Body::Gap(Gap { probe, fault: Fault::Silent, from, to, filled: false }));
            let (reason, change) = ("the boiler was being serviced".to_owned(), AmendmentChange::Comment);
            add(Body::Amendment(Box::new(Amendment { of: index, reason, by: by(), change })));
        }
        if n.is_multiple_of(2_000) {
            let alert = AlertNumber(u64::from(n / 2_000));
            let (racks, done) = ("washed again".to_owned(), "boiler reset".to_owned());
            add(raised(alert, at(s)));
            let (last_good, covers) = (None, None);
            add(Body::CorrectiveAction(CorrectiveAction { alert, by: by(), racks, done, last_good, covers }));
            add(Body::AlertClosed(AlertClosed { alert, racks: 1, needed_action: true }));
        }
        if n % 5_000 == 50 {
            let (alert, due) = (AlertNumber(u64::from(1_000_000 + n / 5_000)), at(s - 1_800.0));
            let missed = Some(MissedDue { check: CheckKind::Supply, due, counts_from: due });
            let raised = AlertRaised::new(alert, Condition::CheckOverdue, due);
            add(Body::AlertRaised(Box::new(AlertRaised { missed, ..raised })));
        }
        if n % 5_000 == 150 {
            let alert = AlertNumber(u64::from(1_000_000 + n / 5_000));
            add(Body::AlertClosed(AlertClosed { alert, racks: 0, needed_action: false }));
        }
        // In doubt are what passed by less than half a kelvin among hundreds of racks before, and among those until it closes.
        if n % 20_000 == 5_060 {
            let probe = format!("{name}/rinse");
            let rack = |index, seconds| Rack { index, at: at(seconds), began: None };
            let racks =
                Racks { count: 50, named: vec![rack(index - 5_000, s - 300_000.0), rack(index - 1, s)] };
            let by_probe = Some(ByProbe { probe, place: Place::FinalRinse, within_k: Some(0.5) });
            let alert = AlertNumber(u64::from(2_000_000 + n / 20_000));
            let raised = AlertRaised::new(alert, Condition::ThermometerOff, at(s));
            let earlier = Some(Earlier { racks, by_probe, beside: Racks::default() });
            add(Body::AlertRaised(Box::new(AlertRaised { earlier, ..raised })));
        }
        if n % 20_000 == 6_060 {
            let alert = AlertNumber(u64::from(2_000_000 + n / 20_000));
            add(Body::AlertClosed(AlertClosed { alert, racks: 60, needed_action: true }));
        }
        if n.is_multiple_of(10_000) {
            add(Body::Calibration(Box::new(calibration(&machine(n / 10_000), at(s)))));
        }
        if n.is_multiple_of(50_000) && n > 0 {
            records.push(plain(self.configured(n, configuration)));
        }
    }
}

/// The machine of a cycle.
pub(crate) fn machine(n: u32) -> String {
    format!("dm{}", n % MACHINES)
}

fn raised(alert: AlertNumber, since: Timestamp) -> Body {
    Body::AlertRaised(Box::new(AlertRaised::new(alert, Condition::Cold, since)))
}

fn calibration(machine: &str, at: Timestamp) -> CalibrationDone {
    let point = |against, reference_c: f64| CalibrationPoint {
        against,
        reference_c,
        reference_expanded_c: 0.1,
        indicated_c: reference_c + 0.2,
        spread_c: 0.02,
        readings: 120,
        lasted_s: 60.0,
        found_error_c: 0.2,
        left_error_c: 0.0,
    };
    CalibrationDone {
        probe: format!("{machine}/rinse"),
        at,
        points: vec![point(Against::Ice, 0.0), point(Against::BoilingAtAltitude { altitude_m: 120.0 }, 99.6)],
        found: Correction { gain: 1.0, offset_c: 0.0 },
        left: Correction { gain: 1.0, offset_c: -0.2 },
        expanded_c: 0.6,
        until: None,
        note: None,
        by: "Tom".to_owned(),
    }
}
