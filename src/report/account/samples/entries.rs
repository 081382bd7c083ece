//! What people entered in the made-up kitchen, and what happened to the program.

use super::{
    ActionAccount, AlertAccount, AmendmentChange, CalibrationAccount, Chart, Check, CheckAccount, Checkpoint,
    Condition, Date, DriftAccount, DriftSignal, Duration, Fault, GapAccount, HOSTILE, Hash, MachineAccount,
    OverdueCheck, Quantity, Remark, Seal, ServiceEvent, SigningKey, Timestamp, TreeHead,
};
use crate::core::alert::Returns;
use crate::core::cycle::plate::Sanitizing;
use crate::core::logbook::{Missed, judge};
use crate::core::sanitizer::Rules;

/// Minutes after an instant.
fn after(from: Timestamp, minutes: u64) -> Timestamp {
    from.plus(Duration::from_secs(minutes * 60))
}

pub(super) fn gaps(day: Timestamp) -> Vec<GapAccount> {
    let gap = |probe: Option<&str>, fault, from: u64, to: Option<u64>, filled| GapAccount {
        probe: probe.map(str::to_owned),
        fault,
        from: after(day, from),
        to: to.map(|to| after(day, to)),
        filled,
    };
    vec![
        gap(Some("Dish room/rinse"), Some(Fault::OpenCircuit), 750, Some(790), false),
        gap(None, None, 4000, Some(4003), false),
        gap(Some("Dish room/rinse"), Some(Fault::Silent), 6600, Some(6720), true),
        gap(Some("Dish room/wash"), Some(Fault::Stuck), 39_000, None, false),
    ]
}

pub(super) fn drift(from: Timestamp) -> DriftAccount {
    let signal = |at: u64, chart, shift_c, since: Option<u64>| DriftSignal {
        at: after(from, at),
        chart,
        shift_c,
        since: since.map(|since| after(from, since)),
    };
    DriftAccount {
        usual_c: Some(85.6),
        sigma_c: Some(0.82),
        learning: None,
        signals: vec![
            signal(33_000, Chart::Cusum, -1.4, Some(30_500)),
            signal(33_400, Chart::Ewma, -0.9, None),
        ],
        cold_first_racks: 1,
        recovery_first_s: Some(78.0),
        recovery_last_s: Some(97.0),
    }
}

pub(super) fn alerts(machines: &[MachineAccount], day: Timestamp) -> Vec<AlertAccount> {
    let hot = machines.first().map(|machine| machine.machine.clone());
    let bar = machines.get(1).map(|machine| machine.machine.clone());
    let alert = |number, condition, machine: &Option<String>, since: u64| AlertAccount {
        number,
        condition,
        machine: machine.clone(),
        about: Vec::new(),
        since: after(day, since),
        raised: after(day, since + 1),
        later: false,
        measured: None,
        limit: None,
        other_side: None,
        racks: 1,
        racks_outside: 0,
        doubted: 0,
        doubted_outside: 0,
        needs_action: condition.needs_action(),
        acknowledged: None,
        released: Vec::new(),
        actions: Vec::new(),
        returns: Returns::default(),
        cleared: None,
        closed: None,
        delivered: 2,
        given_up: 0,
    };
    let action = |index, at: u64, covers, racks: &str, done: &str| ActionAccount {
        index,
        at: after(day, at),
        by: "Ana Ortiz".to_owned(),
        racks: racks.to_owned(),
        done: done.to_owned(),
        covers: Some(covers),
    };
    let mut cold = alert(1, Condition::Cold, &hot, 545);
    cold.measured = Some(Quantity::Celsius(82.2022));
    cold.limit = Some(Quantity::Celsius(82.222_222));
    cold.racks = 5;
    cold.acknowledged = Some(("Ana Ortiz".to_owned(), after(day, 549)));
    cold.actions = vec![
        action(2009, 560, 4, "set aside, none served.", "Machine stopped, service company called."),
        action(
            2010,
            575,
            5,
            "held, washed again.",
            "Booster element replaced by the service company; two racks at 85 °C after it.",
        ),
    ];
    (cold.cleared, cold.closed) = (Some(after(day, 570)), Some(after(day, 575)));
    let mut brief = alert(2, Condition::Brief, &hot, 10_700);
    (brief.measured, brief.limit) = (Some(Quantity::Seconds(3.25)), Some(Quantity::Seconds(5.0)));
    brief.acknowledged = Some(("Luis".to_owned(), after(day, 10_702)));
    brief.actions = vec![action(2011, 10_730, 1, HOSTILE, "Staff told not to open the door before the end.")];
    (brief.cleared, brief.closed) = (Some(after(day, 10_720)), Some(after(day, 10_730)));
    let mut weak = alert(3, Condition::Weak, &bar, 6_500);
    (weak.measured, weak.limit) = (Some(Quantity::MgPerL(20.0)), Some(Quantity::MgPerL(50.0)));
    weak.racks = 4;
    weak.released = vec![("Luis".to_owned(), after(day, 6_600), after(day, 6_700))];
    weak.cleared = Some(after(day, 6_800));
    weak.given_up = 1;
    let mut unproven = alert(4, Condition::Unproven, &hot, 2_200);
    unproven.racks = 2;
    let mut check = alert(5, Condition::CheckOverdue, &bar, 9_000);
    check.racks = 0;
    (check.cleared, check.closed) = (Some(after(day, 9_100)), Some(after(day, 9_160)));
    let disk = alert(6, Condition::DiskFilling, &None, 30_000);
    let disk = AlertAccount {
        measured: Some(Quantity::Fraction(0.91)),
        limit: Some(Quantity::Fraction(0.9)),
        racks: 0,
        ..disk
    };
    vec![cold, brief, weak, unproven, check, disk]
}

pub(super) fn checks(day: Timestamp) -> Vec<CheckAccount> {
    let entry = |index, machine: &str, check: Check, good, amended_by| CheckAccount {
        index,
        recorded: check.at().plus(Duration::from_secs(40)),
        machine: Some(machine.to_owned()),
        missed: Missed::of(&judge(&check, Sanitizing::Chlorine, &Rules::default())),
        check,
        good,
        amended_by,
        corrects: None,
    };
    let strip = |at: u64, mg_per_l, ph, solution_c, method: Option<&str>| Check::Sanitizer {
        at: after(day, at),
        mg_per_l,
        ph,
        solution_c,
        method: method.map(str::to_owned),
        by: "AO".to_owned(),
    };
    let supply = |at: u64, enough, note: Option<&str>| Check::Supply {
        at: after(day, at),
        enough,
        short: Vec::new(),
        note: note.map(str::to_owned),
        by: "LM".to_owned(),
    };
    let drain =
        Check::DrainAndClean { at: after(day, 1300), note: Some(HOSTILE.to_owned()), by: "LM".to_owned() };
    let thermometer = |at: u64, shown_c, reference_c| Check::Thermometer {
        at: after(day, at),
        what: "Dish room/rinse".to_owned(),
        shown_c,
        reference_c,
        tolerance_c: 1.0,
        reference: "thermometer 4711".to_owned(),
        by: "J. Reyes".to_owned(),
    };
    let (hot, bar) = ("Dish room", "Bar glasswasher");
    vec![
        entry(2000, bar, strip(545, 50.0, Some(8.5), Some(41.0), Some("test strip")), Some(true), None),
        entry(2001, bar, strip(1000, 20.0, None, None, Some("test strip")), Some(false), None),
        entry(2003, bar, strip(1001, 500.0, None, None, None), Some(false), Some(2004)),
        entry(2005, hot, supply(1100, true, None), Some(true), None),
        entry(
            2006,
            hot,
            supply(1200, false, Some("rinse additive short, refilled at 15:10")),
            Some(false),
            None,
        ),
        entry(2007, hot, drain, None, None),
        entry(2008, hot, thermometer(1350, 83.1, 82.9), Some(true), None),
        entry(2009, hot, thermometer(2900, 84.4, 82.9), Some(false), Some(2012)),
    ]
}

pub(super) fn overdue(day: Timestamp) -> Vec<OverdueCheck> {
    let check = |machine: &str, check: &str, since: u64, made: Option<u64>| OverdueCheck {
        machine: Some(machine.to_owned()),
        check: check.to_owned(),
        since: after(day, since),
        made: made.map(|made| after(day, made)),
        good: made.map(|_| false),
    };
    vec![
        check("Bar glasswasher", "sanitizer", 660, Some(735)),
        check("Dish room", "drain-and-clean", 1400, None),
    ]
}

pub(super) fn calibrations(from: Timestamp) -> Vec<CalibrationAccount> {
    let made = Some(Date::constant(2026, 9, 14));
    let rinse = CalibrationAccount {
        probe: "Dish room/rinse".to_owned(),
        since: from,
        until: None,
        made,
        points: vec![(0.0, 0.21), (99.6, 99.14)],
        offset_c: None,
        uncertainty_c: Some(0.9),
        tau_s: Some(1.8),
        record: None,
        doubted: false,
        response_doubted: false,
    };
    let wash = CalibrationAccount {
        probe: "Dish room/wash".to_owned(),
        made: None,
        points: Vec::new(),
        uncertainty_c: None,
        tau_s: None,
        ..rinse.clone()
    };
    vec![rinse, wash]
}

pub(super) fn remarks(day: Timestamp) -> Vec<Remark> {
    let remark = |index, minutes: u64, text: &str, amends| Remark {
        index,
        recorded: after(day, minutes),
        machine: Some("Bar glasswasher".to_owned()),
        by: "Ana Ortiz".to_owned(),
        text: text.to_owned(),
        amends,
        withdrawn_by: None,
    };
    let corrected = Check::Thermometer {
        at: after(day, 10),
        what: "Dish room/rinse".to_owned(),
        shown_c: 83.4,
        reference_c: 82.9,
        tolerance_c: 1.0,
        reference: "thermometer 4711".to_owned(),
        by: "J. Reyes".to_owned(),
    };
    vec![
        remark(2013, 5, "Closed for the holiday from Thursday on.", None),
        Remark { withdrawn_by: Some(2016), ..remark(2014, 6, HOSTILE, None) },
        remark(
            2002,
            700,
            "Drum was empty; nobody was on the bar that day.",
            Some((1810, AmendmentChange::Comment)),
        ),
        remark(2004, 710, "Typed 500 for 50.", Some((2003, AmendmentChange::Withdrawn))),
        remark(
            2012,
            720,
            "Read the wrong line of the sheet.",
            Some((2009, AmendmentChange::Corrected(corrected))),
        ),
        remark(2016, 730, "Not our kitchen.", Some((2014, AmendmentChange::Withdrawn))),
    ]
}

pub(super) fn service(from: Timestamp) -> Vec<ServiceEvent> {
    let event = |index, minutes: u64, kind: &str, text: &str| ServiceEvent {
        index,
        at: after(from, minutes),
        machine: None,
        kind: kind.to_owned(),
        text: text.to_owned(),
    };
    vec![
        event(1201, 10, "signing-key", "first key of this ledger"),
        event(1890, 6_880, "service-stop", "stopped by a signal"),
        event(1891, 6_883, "service-start", "version 0.1.0, after a clean stop, 12 inputs applied again"),
        event(1892, 6_883, "configuration-change", "sha256 9f2c4be1…"),
        event(1999, 20_000, "clock-step", "gateway clock stepped by 2.4 s"),
        event(2100, 30_000, "lawful-hold", "on: asked for by the county (A. Ortiz)"),
    ]
}

/// A real signature under the public test key of RFC 8032 §7.1, test 1; the root is made up.
pub(super) fn seal(size: u64) -> Seal {
    const SECRET: [u8; 32] = [
        0x9d, 0x61, 0xb1, 0x9d, 0xef, 0xfd, 0x5a, 0x60, 0xba, 0x84, 0x4a, 0xf4, 0x92, 0xec, 0x2c, 0xc4, 0x44,
        0x49, 0xc5, 0x69, 0x7b, 0x32, 0x69, 0x19, 0x70, 0x3b, 0xac, 0x03, 0x1c, 0xae, 0x7f, 0x60,
    ];
    let key = SigningKey::from_seed("riverside.example/warewash", &SECRET).expect("a fine name");
    let root = Hash([0x5d; 32]);
    Seal {
        checkpoint: Checkpoint::sign(TreeHead { size, root }, &key).to_string(),
        key: key.verifying().to_string(),
        size,
        root: root.to_string(),
    }
}
