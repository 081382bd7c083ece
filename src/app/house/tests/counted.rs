//! Which alerts a rack leads to, from a ledger on the disk.

use super::{in_doubt, linked, of};
use crate::app::fixture::{CONFIGURATION, at, ledger, opening};
use crate::core::alert::{AlertNumber, ByProbe, Condition, Earlier, Rack, Racks};
use crate::core::channel::Place;
use crate::core::cycle::verdict::{Reason, Verdict};
use crate::core::reading::Fault;
use crate::core::record::{
    AlertChanged, AlertCleared, AlertClosed, AlertRaised, Amendment, AmendmentChange, Body, Change, Check,
    Clearing, Gap,
};
use crate::ledger::{NewRecord, Reader};
use crate::report::row::samples::cycle;
use crate::web::cycle::InDoubt;

/// A ledger under way.
struct Kitchen {
    directory: tempfile::TempDir,
    records: Vec<NewRecord>,
}

impl Kitchen {
    fn new() -> Self {
        let directory = tempfile::tempdir().expect("a directory");
        Self { directory, records: opening(CONFIGURATION) }
    }

    /// Puts down a record of that minute; gives its index.
    fn put(&mut self, minute: u64, body: Body) -> u64 {
        self.records.push(of("dm1", at(minute), body));
        u64::try_from(self.records.len()).expect("few") - 1
    }

    fn rack(&mut self, minute: u64, verdict: Verdict, reasons: Vec<Reason>) -> u64 {
        self.put(minute, Body::Cycle(Box::new(cycle(minute * 60, verdict, 83.0, reasons))))
    }

    /// A rack that passed by so much above its limit, K.
    fn passed(&mut self, minute: u64, above_k: f64) -> u64 {
        let mut cycle = cycle(minute * 60, Verdict::Pass, 83.0, Vec::new());
        cycle.rinse_min_c = Some(cycle.limit_c + above_k);
        self.put(minute, Body::Cycle(Box::new(cycle)))
    }

    fn raised(&mut self, minute: u64, number: u64, condition: Condition, cause: u64) -> u64 {
        let raised = AlertRaised {
            cause: Some(cause),
            ..AlertRaised::new(AlertNumber(number), condition, at(minute))
        };
        self.put(minute, Body::AlertRaised(Box::new(raised)))
    }

    fn over(&mut self, minute: u64, number: u64) {
        let alert = AlertNumber(number);
        let cleared = AlertCleared {
            alert,
            clearing: Clearing::Recovered,
            racks: 1,
            worst: None,
            limit: None,
            cause: None,
        };
        self.put(minute, Body::AlertCleared(cleared));
        self.put(minute, Body::AlertClosed(AlertClosed { alert, racks: 1, needed_action: false }));
    }

    fn reader(&mut self) -> Reader {
        let path = self.directory.path().join("ledger.sqlite");
        ledger(&path, std::mem::take(&mut self.records)).close().expect("it closes");
        Reader::open(&path).expect("a reader")
    }
}

// The rule of `core::alert`: five narrow passes in a row raise a warning that counts all five; one without proof
// neither adds to the row nor breaks it, a plain pass does. Own promise: each of the five leads to it.
#[test]
fn every_rack_of_a_narrow_row_leads_to_its_alert() {
    let mut kitchen = Kitchen::new();
    let before = kitchen.rack(1, Verdict::Narrow, Vec::new());
    kitchen.rack(2, Verdict::Pass, Vec::new());
    let mut row = vec![kitchen.rack(3, Verdict::Narrow, Vec::new())];
    let doubted = kitchen.rack(4, Verdict::Unproven, Vec::new());
    row.extend((5..9).map(|minute| kitchen.rack(minute, Verdict::Narrow, Vec::new())));
    kitchen.raised(9, 1, Condition::Narrow, row[4]);
    let open = kitchen.rack(10, Verdict::Narrow, Vec::new());
    let good = kitchen.rack(11, Verdict::Pass, Vec::new());
    kitchen.over(12, 1);
    // Opened again by a row of five more.
    let again: Vec<u64> = (13..18).map(|minute| kitchen.rack(minute, Verdict::Narrow, Vec::new())).collect();
    let returned = AlertChanged {
        racks: 11,
        cause: again.last().copied(),
        ..AlertChanged::new(AlertNumber(1), Change::Returned)
    };
    kitchen.put(18, Body::AlertChanged(returned));
    let reader = kitchen.reader();
    for rack in row.iter().chain(&again).chain([&open]) {
        assert_eq!(linked(&reader, *rack), [1], "{rack}");
    }
    for other in [before, doubted, good] {
        assert_eq!(linked(&reader, other), [0_u64; 0], "{other}");
    }
}

// Own promise: an alert that stays open is found behind however many others came and went, and one that had
// recovered is not.
#[test]
fn an_open_alert_is_found_behind_many_others() {
    let mut kitchen = Kitchen::new();
    let first = kitchen.rack(1, Verdict::Brief, Vec::new());
    kitchen.raised(2, 1, Condition::Brief, first);
    for number in 2..102 {
        kitchen.raised(number * 2, number, Condition::TankCold, 0);
        kitchen.over(number * 2 + 1, number);
    }
    let later = kitchen.rack(300, Verdict::Brief, Vec::new());
    kitchen.over(301, 1);
    let last = kitchen.rack(302, Verdict::Brief, Vec::new());
    let reader = kitchen.reader();
    assert_eq!(linked(&reader, later), [1]);
    assert_eq!(linked(&reader, last), [0_u64; 0]);
}

// Own promise: the desk's order counts: a gap in the middle of a rinse raises the alert, and the rack that is
// judged after it is counted, though the alert went on record only after its rinse.
#[test]
fn a_rack_judged_after_its_probe_fell_silent_leads_to_the_alert() {
    let mut kitchen = Kitchen::new();
    let gap =
        Gap { probe: "dm1/rinse".to_owned(), fault: Fault::Silent, from: at(1), to: None, filled: false };
    let gap = kitchen.put(2, Body::Gap(gap));
    let silent = vec![Reason::RinseProbe { fault: Fault::Silent }];
    let rack = kitchen.rack(1, Verdict::Unproven, silent);
    kitchen.raised(3, 7, Condition::ProbeSilent, gap);
    assert_eq!(linked(&kitchen.reader(), rack), [7]);
}

// Own promise: a rack that passed leads to what put it in doubt, found wrong after it or known to be off while it was
// washed. The limit of the samples is 82.2 °C; the probe shows up to 2 K too much.
#[test]
fn a_rack_in_doubt_leads_to_what_was_found_wrong() {
    let mut kitchen = Kitchen::new();
    let before = kitchen.passed(1, 1.0);
    let racks = [kitchen.passed(2, 1.0), kitchen.passed(3, 1.5)];
    let hot = kitchen.passed(4, 4.0);
    let by_probe = ByProbe { probe: "dm1/rinse".to_owned(), place: Place::FinalRinse, within_k: Some(2.0) };
    let named = racks.map(|index| Rack { index, at: at(index), began: None }).to_vec();
    let earlier =
        Earlier { racks: Racks { count: 2, named }, by_probe: Some(by_probe), beside: Racks::default() };
    let compared = Check::Thermometer {
        at: at(5),
        what: "dm1/rinse".to_owned(),
        shown_c: 2.0,
        reference_c: 0.0,
        tolerance_c: 1.0,
        reference: "ice bath".to_owned(),
        by: "AB".to_owned(),
    };
    let entry = kitchen.put(5, Body::Check(compared));
    let raised = AlertRaised {
        cause: Some(entry),
        about: vec!["dm1/rinse".to_owned()],
        earlier: Some(earlier),
        ..AlertRaised::new(AlertNumber(1), Condition::ThermometerOff, at(5))
    };
    kitchen.put(5, Body::AlertRaised(Box::new(raised)));
    let meanwhile = kitchen.passed(6, 1.0);
    let hot_meanwhile = kitchen.passed(7, 2.0);
    let said = Amendment {
        of: entry,
        reason: "misread".to_owned(),
        by: "AB".to_owned(),
        change: AmendmentChange::Withdrawn,
    };
    kitchen.put(7, Body::Amendment(Box::new(said)));
    kitchen.over(8, 1);
    let after = kitchen.passed(9, 1.0);
    let reader = kitchen.reader();
    for rack in racks.iter().chain([&meanwhile]) {
        assert_eq!(linked(&reader, *rack), [1], "{rack}");
        // What it says of why: the entry, and that it was withdrawn since.
        let doubts = in_doubt(&reader, *rack);
        let [InDoubt { alert: 1, condition: Some(Condition::ThermometerOff), entry: by, later, .. }] =
            doubts.as_slice()
        else {
            panic!("{doubts:?}")
        };
        assert_eq!((*by, later.len()), (Some(entry), 1), "{rack}");
    }
    for other in [before, hot, hot_meanwhile, after] {
        assert_eq!(linked(&reader, other), [0_u64; 0], "{other}");
    }
}
