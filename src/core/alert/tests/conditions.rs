//! Each condition: what raises it, what nearly does, and what clears it.

use std::time::Duration;

use jiff::civil::date;

use super::fixture::{Play, Rack, at, hours, period, settings};
use crate::core::alert::{Alert, Condition, Health, Pattern, Quantity, Settings};
use crate::core::on_file::OnFile;
use crate::core::reading::Fault;
use crate::core::record::{Body, CalibrationDone, CheckKind, Correction, Record};

use Rack::{Brief, Cold, Gappy, Good, Hot, Minimum, Narrow, NoCheck, WashLow, WashUnproven, Weak};

/// Plays racks of `hot` a minute apart; the conditions that are open after them, worst first.
fn open_after(racks: &[Rack]) -> Vec<Condition> {
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", racks);
    let open = play.desk.alerts().filter(|alert| alert.cleared.is_none());
    open.map(|alert| alert.condition).collect()
}

#[test]
fn racks_raise_nearly_raise_and_clear() {
    let none: &[Condition] = &[];
    let open_circuit = Rack::Fault(Fault::OpenCircuit);
    for (name, racks, expected) in [
        ("all good", vec![Good, Good, Good], none),
        ("one cold", vec![Good, Cold], &[Condition::Cold]),
        ("cold, two good: not yet over", vec![Cold, Good, Good], &[Condition::Cold]),
        ("cold, three good", vec![Cold, Good, Good, Good], none),
        (
            "cold, the row broken by a brief one",
            vec![Cold, Good, Good, Brief, Good],
            &[Condition::Cold, Condition::Brief],
        ),
        (
            "cold, the row broken by one without proof",
            vec![Cold, Good, Good, Gappy, Good],
            &[Condition::Cold],
        ),
        ("narrow passes are good cycles", vec![Cold, Narrow, Narrow, Narrow], none),
        ("one brief", vec![Good, Brief], &[Condition::Brief]),
        ("brief, three good", vec![Brief, Good, Good, Good], none),
        ("one weak", vec![Weak], &[Condition::Weak]),
        ("weak, one good: the strength is right again", vec![Weak, Good], none),
        ("two without proof", vec![Gappy, Gappy], none),
        ("three without proof", vec![Gappy, Gappy, Gappy], &[Condition::Unproven]),
        ("two, one good, two", vec![Gappy, Gappy, Good, Gappy, Gappy], none),
        ("three without proof, one good", vec![Gappy, Gappy, Gappy, Good], none),
        ("three without proof, one cold: proof enough", vec![Gappy, Gappy, Gappy, Cold], &[Condition::Cold]),
        ("wash low", vec![WashLow], &[Condition::WashLow]),
        ("wash low, three good", vec![WashLow, Good, Good, Good], none),
        ("too hot", vec![Hot], &[Condition::RinseHot]),
        ("too hot, two good", vec![Hot, Good, Good], &[Condition::RinseHot]),
        ("too hot, three good", vec![Hot, Good, Good, Good], none),
        ("four narrow", vec![Narrow; 4], none),
        ("five narrow", vec![Narrow; 5], &[Condition::Narrow]),
        ("four narrow, a pass, four narrow", [vec![Narrow; 4], vec![Good], vec![Narrow; 4]].concat(), none),
        ("five narrow, three passes", [vec![Narrow; 5], vec![Good; 3]].concat(), none),
        ("a probe fault is never cold", vec![open_circuit], &[Condition::ProbeFault]),
        ("nor where some readings were cold", vec![Good, Rack::ColdWithFault], &[Condition::ProbeFault]),
        ("a silent probe", vec![Rack::Fault(Fault::Silent)], &[Condition::ProbeSilent]),
        ("a probe that is back", vec![open_circuit, Good], none),
        ("a probe that is back, with cold water", vec![open_circuit, Cold], &[Condition::Cold]),
        ("no concentration check", vec![NoCheck], &[Condition::CheckOverdue]),
    ] {
        assert_eq!(open_after(&racks), expected, "{name}");
    }
}

// Own rule: a row counts whole, however few of it are named.
#[test]
fn a_long_row_counts_whole() {
    for (rack, condition) in [(Narrow, Condition::Narrow), (Gappy, Condition::Unproven)] {
        let mut settings = settings();
        (settings.rules.narrow, settings.rules.unproven) = (30, 30);
        let mut play = Play::new(settings);
        play.racks(0.0, "hot", &[rack; 31]);
        let alert = play.open(condition).expect("a row of thirty, and one more");
        let named: Vec<u64> = alert.racks.named.iter().map(|rack| rack.index).collect();
        let ends: Vec<u64> = (0..10).chain(21..31).collect();
        assert_eq!((alert.racks.count, named), (31, ends), "{condition}");
    }
}

#[test]
fn a_cold_first_rack_is_told_apart_from_a_failed_booster() {
    for (name, start, racks, expected) in [
        ("the first rack of all", 0.0, vec![Cold], Pattern::FirstAfterIdle),
        ("in the middle of work", 0.0, vec![Good, Good, Cold], Pattern::Single),
        ("the first of two", 0.0, vec![Cold, Cold], Pattern::Repeated),
        ("two with a good one between", 0.0, vec![Cold, Good, Cold], Pattern::Single),
        ("two in a row later on", 0.0, vec![Cold, Good, Cold, Cold], Pattern::Repeated),
    ] {
        let mut play = Play::new(settings());
        play.racks(start, "hot", &racks);
        let alert = play.open(Condition::Cold).expect("an alert");
        assert_eq!(alert.pattern, Some(expected), "{name}");
    }
    // A wash that nothing was seen of says neither.
    for (between, expected) in [(WashUnproven, Pattern::Repeated), (Good, Pattern::Single)] {
        let mut play = Play::new(settings());
        play.racks(0.0, "hot", &[Good, Good, WashLow, between, WashLow]);
        let alert = play.open(Condition::WashLow).expect("an alert");
        assert_eq!(alert.pattern, Some(expected), "{between:?} between two low ones");
    }
    // Nineteen minutes of rest are work, twenty are idle.
    for (rest, expected) in [(19.0, Pattern::Single), (21.0, Pattern::FirstAfterIdle)] {
        let mut play = Play::new(settings());
        play.rack(0.0, "hot", Good);
        play.rack(rest, "hot", Cold);
        assert_eq!(play.open(Condition::Cold).expect("an alert").pattern, Some(expected), "after {rest} min");
    }
}

#[test]
fn an_alert_tells_what_was_measured_and_since_when() {
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[Good, Good, Gappy, Cold, Cold]);
    let alert = play.open(Condition::Cold).expect("an alert");
    assert_eq!(alert.measured, Some(Quantity::Celsius(71.0)));
    assert_eq!(alert.limit, Some(Quantity::Celsius(82.2)));
    assert_eq!((alert.racks.count, alert.since), (2, at(3.0)));
    assert_eq!(alert.last_good.map(|rack| (rack.index, rack.at)), Some((1, at(1.0))));
}

#[test]
fn a_drift_is_told_before_it_is_cold() {
    // Fifty minima around 85 °C with a mean moving range of 0.3 K, sigma 0.27 K.
    let usual_c = |rack: usize| 85.0 + [0.0, 0.3, -0.1, 0.2, -0.2, 0.1][rack % 6];
    let usual = |rack: usize| Minimum(usual_c(rack));
    let learn: Vec<Rack> = (0..52).map(usual).collect();
    for (name, shift, expected) in [
        ("no shift", 0.0, false),
        ("a shift of 0.4 K, too small to matter", -0.4, false),
        ("a shift of 1 K", -1.0, true),
        ("a shift of 1 K up: a probe that reads high hides cold water", 1.0, true),
    ] {
        let mut play = Play::new(settings());
        play.racks(0.0, "hot", &learn);
        let shifted: Vec<Rack> = (0..15).map(|rack| Minimum(usual_c(rack) + shift)).collect();
        play.racks(60.0, "hot", &shifted);
        assert_eq!(play.open(Condition::Drifting).is_some(), expected, "{name}");
        play.racks(80.0, "hot", &(0..30).map(usual).collect::<Vec<_>>());
        let still = play.open(Condition::Drifting).is_some_and(|alert| alert.cleared.is_none());
        assert!(!still, "{name}: it is back");
    }
    // The first two racks after each rest are colder: the charts leave them out.
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &learn);
    for rest in 0..12 {
        play.racks(100.0 + 30.0 * f64::from(rest), "hot", &[Minimum(83.0), Minimum(84.0), Good]);
    }
    assert_eq!(play.open(Condition::Drifting), None, "first racks after idle");
}

// Own rule: what is worst lies on the side of its limit; of a drift no rack is counted, so its records tell the worst once it
// is over, for pages and lists that know no more.
#[test]
fn a_drift_to_the_other_side_is_measured_on_that_side() {
    let usual_c = |rack: usize| 85.0 + [0.0, 0.3, -0.1, 0.2, -0.2, 0.1][rack % 6];
    let row =
        |racks: usize, shift: f64| (0..racks).map(|rack| Minimum(usual_c(rack) + shift)).collect::<Vec<_>>();
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &row(52, 0.0));
    let mut worsts: Vec<f64> = Vec::new();
    for (start, shift, is_below) in [(60.0, -2.0, true), (90.0, 1.5, false), (120.0, -1.2, true)] {
        play.racks(start, "hot", &row(15, shift));
        let alert = play.open(Condition::Drifting).expect("it drifts").clone();
        assert!(alert.since >= at(start), "of this stretch: {alert:?}");
        let other = alert.other_side.map(|(worst, _)| worst.number());
        assert_eq!(other, worsts.last().copied(), "the worst on the other side");
        let (Some(Quantity::Celsius(worst)), Some(Quantity::Celsius(limit))) = (alert.worst, alert.limit)
        else {
            panic!("no temperatures: {alert:?}");
        };
        assert_eq!((worst < limit, alert.cleared), (is_below, None), "{alert:?}");
        // Once more below, and not as far as before.
        let furthest = if start > 100.0 { -2.0 } else { shift };
        assert!((worst - 85.0 - furthest).abs() < 0.3, "near the shifted mean: {alert:?}");
        worsts.push(worst);
        play.racks(start + 15.0, "hot", &row(14, 0.0));
        let over = play.open(Condition::Drifting).expect("settling").clone();
        assert!(over.cleared.is_some(), "{over:?}");
        let mut stories = std::collections::BTreeMap::new();
        play.effects.records.iter().for_each(|record| crate::core::alert::story::note(&mut stories, record));
        let told = &stories[&over.number].alert;
        let figures = |alert: &Alert| (alert.worst, alert.limit, alert.other_side, alert.since);
        assert_eq!(figures(told), figures(&over), "told from its records");
    }
}

#[test]
fn gaps_of_a_probe_raise_and_clear() {
    let mut play = Play::new(settings());
    play.gap(0.0, "hot/rinse", Fault::Silent, false);
    assert!(play.open(Condition::ProbeSilent).is_some());
    play.gap(1.0, "hot/rinse", Fault::OpenCircuit, false);
    assert!(play.open(Condition::ProbeSilent).expect("settling").cleared.is_some(), "it is heard again");
    let fault = play.open(Condition::ProbeFault).expect("with a fault");
    assert!(!fault.needs_action, "no rack was washed");
    play.gap(1.5, "hot/wash", Fault::OpenCircuit, false);
    play.rack(2.0, "hot", Rack::Fault(Fault::OpenCircuit));
    let fault = play.open(Condition::ProbeFault).expect("with a fault");
    assert_eq!((fault.racks.count, fault.needs_action), (1, true), "a rack was washed without proof");
    assert_eq!(fault.about, ["hot/rinse", "hot/wash"]);
    play.gap(3.0, "hot/rinse", Fault::OpenCircuit, true);
    assert_eq!(play.open(Condition::ProbeFault).expect("one is left").about, ["hot/wash"]);
    play.gap(4.0, "hot/wash", Fault::OpenCircuit, true);
    assert!(play.open(Condition::ProbeFault).expect("it wants an action").cleared.is_some());
    // One that is filled again before anybody is told leaves no trace here: the record says so.
    let mut play = Play::new(settings());
    play.gap(0.0, "hot/rinse", Fault::Silent, true);
    assert_eq!(play.desk.alerts().count(), 0, "a gap that is over raises nothing");
}

/// Noon is inside the shift and the meal; the desk begins a minute before noon,
/// so the first ones it knows are the next.
fn site_with_hours() -> Settings {
    Settings {
        shifts: vec![period("late", &["mon-sun 14:00-22:00"])],
        meal_periods: vec![period("lunch", &["mon-sun 12:30-14:00"])],
        open: Some(hours(&["mon-sun 13:00-22:00"])),
        ..settings()
    }
}

#[test]
fn checks_are_missed_only_by_a_machine_in_use() {
    let missing = |play: &Play| play.open(Condition::CheckOverdue).map(|alert| alert.about.clone());
    // Two hours after noon the shift begins; its grace ends half an hour later.
    let mut play = Play::new(site_with_hours());
    play.until(300.0);
    assert_eq!(missing(&play), None, "a machine that stands still");
    play.rack(301.0, "chem", Good);
    assert_eq!(missing(&play), Some(vec!["sanitizer".to_owned(), "supply".to_owned()]), "it is used");
    play.check(302.0, "chem", CheckKind::Supply);
    assert_eq!(missing(&play), Some(vec!["sanitizer".to_owned()]));
    play.check(303.0, "chem", CheckKind::Sanitizer);
    assert!(play.open(Condition::CheckOverdue).expect("settling").cleared.is_some());

    let mut play = Play::new(site_with_hours());
    play.check(110.0, "chem", CheckKind::Sanitizer);
    play.check(111.0, "chem", CheckKind::Supply);
    play.rack(125.0, "chem", Good);
    play.until(300.0);
    assert_eq!(missing(&play), None, "made before the shift");

    let mut play = Play::new(site_with_hours());
    play.check(112.0, "hot", CheckKind::Supply);
    play.rack(100.0, "hot", Good);
    play.rack(125.0, "hot", Good);
    play.until(149.0);
    assert_eq!(missing(&play), None, "hot water needs no strip, and the meal's grace still runs");
    play.until(151.0);
    assert_eq!(missing(&play), Some(vec!["drain-and-clean".to_owned()]), "half an hour after the meal");
    play.check(155.0, "hot", CheckKind::DrainAndClean);
    assert!(play.open(Condition::CheckOverdue).expect("settling").cleared.is_some());
}

#[test]
fn a_tank_is_asked_for_at_opening() {
    // Opening is an hour after noon, the grace a quarter of an hour.
    let asked = |play: &Play| play.effects.ask_tank.clone();
    let mut play = Play::new(site_with_hours());
    play.until(74.0);
    assert!(asked(&play).is_empty());
    play.until(75.0);
    assert_eq!(asked(&play), ["chem", "hot"]);
    play.tank(75.1, "chem", Some(66.0));
    play.tank(75.1, "hot", None);
    assert_eq!(play.open(Condition::TankCold), None, "warm, or not known");
    play.until(81.0);
    assert_eq!(asked(&play), ["chem", "hot", "hot"], "what is not known is asked for again");
    play.tank(81.1, "hot", Some(55.0));
    let alert = play.open(Condition::TankCold).expect("a cold tank");
    assert_eq!((alert.measured, alert.since), (Some(Quantity::Celsius(55.0)), at(60.0)));
    play.tank(86.0, "hot", Some(65.7));
    assert!(play.open(Condition::TankCold).expect("settling").cleared.is_some());
    play.until(600.0);
    assert_eq!(asked(&play).len(), 4, "nobody asks again today: {:?}", asked(&play));
}

// Own rule: a tank that was cold until the site closed did not recover; its records say so too.
#[test]
fn a_tank_that_is_cold_to_the_end_is_not_good_again() {
    for (warm, lapsed) in [(true, false), (false, true)] {
        let mut play = Play::new(site_with_hours());
        play.tank(75.1, "hot", Some(55.0));
        if warm {
            play.until(599.0);
            play.tank(599.5, "hot", Some(66.0));
        }
        play.until(601.0);
        let alert = play.open(Condition::TankCold).expect("settling");
        assert_eq!((alert.cleared.is_some(), alert.lapsed), (true, lapsed));
        let mut stories = std::collections::BTreeMap::new();
        play.effects.records.iter().for_each(|record| crate::core::alert::story::note(&mut stories, record));
        assert_eq!(stories[&alert.number].alert.lapsed, lapsed, "told from its records");
    }
}

// Own rule: a probe at fault shows no tank, however fresh its last value; a fault of another probe is no matter.
#[test]
fn a_tank_whose_probe_is_at_fault_is_not_known() {
    for (probe, fault, known) in [
        ("hot/wash", Fault::Stuck, false),
        ("hot/wash", Fault::Silent, false),
        ("hot/rinse", Fault::Stuck, true),
        ("chem/wash", Fault::Stuck, true),
    ] {
        let mut play = Play::new(site_with_hours());
        play.gap(60.0, probe, fault, false);
        play.tank(75.1, "hot", Some(55.0));
        assert_eq!(play.open(Condition::TankCold).is_some(), known, "{probe} {fault:?}");
        play.gap(80.0, probe, fault, true);
        play.tank(81.0, "hot", Some(55.0));
        let alert = play.open(Condition::TankCold).expect("it is read again");
        assert_eq!(alert.since, at(60.0), "{probe} {fault:?}");
        // Nor does it show one that is up to temperature.
        play.gap(82.0, probe, fault, false);
        play.tank(86.5, "hot", Some(66.0));
        let cleared = play.open(Condition::TankCold).is_none_or(|alert| alert.cleared.is_some());
        assert_eq!(cleared, known, "{probe} {fault:?}");
    }
}

#[test]
fn a_calibration_runs_out_with_its_day() {
    let until = |date: &str| {
        let mut settings = settings();
        let machine = settings.machines.get_mut("hot").expect("a machine");
        machine.calibrated_until.insert("hot/rinse".to_owned(), date.parse().expect("a date"));
        settings
    };
    let mut play = Play::new(until("2026-11-23"));
    play.until(11.9 * 60.0);
    assert_eq!(play.open(Condition::CalibrationOverdue), None, "the day itself still counts");
    play.until(12.1 * 60.0);
    assert_eq!(play.open(Condition::CalibrationOverdue).expect("overdue").about, ["hot/rinse"]);
    play.settings = until("2027-11-23");
    play.restores = true;
    play.until(40.0 * 60.0);
    assert_eq!(play.open(Condition::CalibrationOverdue), None, "calibrated anew");
}

// Own promise: a calibration on record says the day, unless the configuration names a later one.
#[test]
fn a_calibration_on_record_is_due_by_its_own_day() {
    let mut configured = settings();
    let machine = configured.machines.get_mut("hot").expect("a machine");
    machine.calibrated_until.insert("hot/rinse".to_owned(), date(2026, 11, 23));
    let done = CalibrationDone {
        probe: "hot/rinse".to_owned(),
        at: at(60.0),
        points: Vec::new(),
        found: Correction { gain: 1.0, offset_c: 0.0 },
        left: Correction { gain: 1.0, offset_c: -0.6 },
        expanded_c: 0.3,
        until: Some("2027-11-23".to_owned()),
        note: None,
        by: "Eli".to_owned(),
    };
    let mut file = OnFile::default();
    file.take(0, &Record::new(at(60.0), Some("hot".to_owned()), Body::Calibration(Box::new(done))));
    for (on, expected) in [(None, 2027), (Some(at(59.0)), 2027), (Some(at(61.0)), 2026)] {
        let mut configured = configured.clone();
        let machine = configured.machines.get_mut("hot").expect("a machine");
        machine.calibrated_on.insert("hot/rinse".to_owned(), on);
        let until = configured.with_on_file(&file).machines["hot"].calibrated_until["hot/rinse"];
        assert_eq!(until, date(expected, 11, 23), "configured at {on:?}");
    }
    let mut play = Play::new(configured.clone());
    play.until(12.1 * 60.0);
    assert!(play.open(Condition::CalibrationOverdue).is_some(), "overdue as configured");
    let machine = configured.machines.get_mut("hot").expect("a machine");
    machine.calibrated_on.insert("hot/rinse".to_owned(), None);
    play.desk.go_on_under(at(12.2 * 60.0), configured.with_on_file(&file));
    play.settings = configured.with_on_file(&file);
    play.until(13.0 * 60.0);
    assert_eq!(play.open(Condition::CalibrationOverdue), None, "calibrated anew, and told at once");
}

#[test]
fn the_gateway_complains_of_itself() {
    let disk = |free| Health { disk_free: Some(free), ..Health::default() };
    let series =
        |minutes: u64| Health { series_behind: Some(Duration::from_secs(minutes * 60)), ..Health::default() };
    let clock = |good| Health { clock_synchronised: Some(good), ..Health::default() };
    for (name, condition, nearly, raises, room, clears) in [
        ("disk", Condition::DiskFilling, disk(0.1), disk(0.09), disk(0.14), disk(0.16)),
        ("series", Condition::SeriesBacklog, series(60), series(61), series(31), series(30)),
    ] {
        let mut play = Play::new(settings());
        play.health(0.0, nearly);
        assert_eq!(play.open(condition), None, "{name}: nearly");
        play.health(1.0, raises);
        assert!(play.open(condition).is_some(), "{name}");
        play.health(2.0, room);
        assert_eq!(play.open(condition).and_then(|alert| alert.cleared), None, "{name}: not yet");
        play.health(2.5, Health::default());
        assert_eq!(play.open(condition).and_then(|alert| alert.cleared), None, "{name}: not known");
        play.health(3.0, clears);
        assert!(play.open(condition).expect("settling").cleared.is_some(), "{name}: over");
        play.until(60.0);
        assert_eq!(play.open(condition), None, "{name}: closed without anybody");
    }
    let mut play = Play::new(settings());
    play.health(0.0, clock(false));
    play.until(59.0);
    assert_eq!(play.open(Condition::ClockUnsynchronised), None, "an hour of grace");
    play.until(60.0);
    assert!(play.open(Condition::ClockUnsynchronised).is_some(), "by the clock alone");
    play.health(61.0, clock(true));
    assert!(play.open(Condition::ClockUnsynchronised).expect("settling").cleared.is_some());
}

#[test]
fn what_is_switched_off_or_gone_clears() {
    let mut play = Play::new(settings());
    play.racks(0.0, "hot", &[Hot, Cold]);
    play.settings.rules.off.insert(Condition::RinseHot);
    play.settings.machines.remove("hot");
    play.restores = true;
    play.until(120.0);
    assert_eq!(play.open(Condition::RinseHot), None);
    assert!(play.open(Condition::Cold).expect("its racks are still unaccounted for").cleared.is_some());
}
