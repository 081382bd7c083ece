use super::super::fixture::{Flow, at, conveyor, door, line, probe, sampled};
use super::super::verdict::{Finding, Reason, Verdict};
use super::*;

/// Plays rinse readings, with the wash tank at `wash_c(t)`, through a tracker; gives its cycles.
fn play(profile: &Profile, tau_s: f64, rinse: &[TraceReading], wash_c: impl Fn(f64) -> f64) -> Vec<Cycle> {
    let probe = probe(Place::FinalRinse, Some(tau_s));
    let setup = Setup { profile, rinse: &probe };
    let mut tracker = Tracker::new(profile.rinse_from);
    let last = rinse.last().map_or(0.0, |last| last.at.seconds());
    let wash = sampled(0.0, last, wash_c);
    let mut readings: Vec<_> = wash.iter().map(|r| (r, Place::WashTank)).collect();
    readings.extend(rinse.iter().map(|r| (r, Place::FinalRinse)));
    readings.sort_by_key(|(reading, place)| (reading.at, *place));
    let mut judged = Vec::new();
    for (reading, place) in readings {
        judged.extend(tracker.advance(setup, reading.at, reading.at));
        judged.extend(tracker.reading(setup, place, reading.at, Ok(reading.celsius), reading.at));
    }
    judged.extend(tracker.finish(setup, at(last), false));
    judged.into_iter().map(|judged| judged.cycle).collect()
}

fn flow(from: f64, seconds: f64, celsius: f64) -> Flow {
    Flow { from, to: from + seconds, celsius }
}

// The physics of the fixture: Newton's cooling at rest, first-order purge and probe. The limit of
// 82 °C is that of Food Code 4-501.112; the machine's times are its fixture's.
#[test]
fn a_rinse_is_found_in_every_line_and_judged() {
    use Verdict::{Cold, Pass, Unproven};
    for (name, start_c, tau_s, flows, expected) in [
        ("a cool line", 55.0, 1.0, vec![flow(60.0, 10.0, 85.0)], vec![Pass]),
        ("two racks", 55.0, 1.0, vec![flow(60.0, 10.0, 85.0), flow(130.0, 10.0, 84.5)], vec![Pass, Pass]),
        ("a heat-soaked line", 76.0, 1.0, vec![flow(60.0, 10.0, 85.0)], vec![Pass]),
        ("heat-soaked, just below", 78.0, 1.0, vec![flow(60.0, 10.0, 81.0)], vec![Cold]),
        ("a dead booster: the step goes down", 70.0, 1.0, vec![flow(60.0, 10.0, 55.0)], vec![Cold]),
        ("a slow probe", 50.0, 6.0, vec![flow(60.0, 10.0, 87.0)], vec![Pass]),
        ("broken off, or run down", 50.0, 1.0, vec![flow(60.0, 4.0, 86.0)], vec![Unproven]),
        ("the same, and cold", 50.0, 1.0, vec![flow(60.0, 4.0, 81.0)], vec![Cold]),
        ("a quiet night", 84.0, 1.0, vec![], vec![]),
        ("a valve's hiccup", 40.0, 1.0, vec![flow(60.0, 0.3, 60.0)], vec![]),
    ] {
        let cycles = play(&door(), tau_s, &line(300.0, start_c, tau_s, &flows), |_| 68.0);
        let verdicts: Vec<_> = cycles.iter().map(|cycle| cycle.verdict).collect();
        assert_eq!(verdicts, expected, "{name}: {cycles:#?}");
        for (cycle, flow) in cycles.iter().zip(&flows) {
            let off_s = cycle.rinse_started.seconds() - flow.from;
            assert!(off_s.abs() < 1.0, "{name}: found {off_s} s off");
            let off_c = cycle.rinse_min_c.map_or(0.0, |min| min - flow.celsius);
            // A local line through a curve is a little low: by the curve, which grows with the step.
            let most_c = 0.3_f64.max(0.025 * (flow.celsius - start_c).abs());
            assert!(off_c.abs() < most_c, "{name}: minimum {off_c} °C off");
        }
    }
}

// A drained tank falls to the air and its heater is off; a hose on the line is no rinse
// (common practice, no source).
#[test]
fn water_that_runs_with_the_tank_empty_is_no_cycle() {
    let hose = line(600.0, 50.0, 1.0, &[flow(200.0, 40.0, 60.0), flow(300.0, 15.0, 60.0)]);
    let drained = |t: f64| if t < 120.0 { 68.0 } else { 30.0 + 38.0 * (-(t - 120.0) / 20.0).exp() };
    assert_eq!(play(&door(), 1.0, &hose, drained), [], "drained");
    let filling = |t: f64| if t < 250.0 { 20.0 } else { 50.0_f64.min(20.0 + (t - 250.0) * 0.3) };
    assert_eq!(play(&door(), 1.0, &hose, filling), [], "the first fill of the morning");
    assert_eq!(play(&door(), 1.0, &hose, |_| 68.0).len(), 2, "the same water with the tank hot");
}

#[test]
fn missing_readings_make_a_cycle_unproven_and_never_hold_it() {
    let whole = line(300.0, 50.0, 1.0, &[flow(60.0, 10.0, 85.0)]);
    for (name, from, to) in
        [("a dropout", 64.0, 68.0), ("silence from then on", 64.0, 1e9), ("an hour", 64.0, 200.0)]
    {
        let heard: Vec<_> =
            whole.iter().filter(|r| r.at < at(from) || r.at.seconds() > to).copied().collect();
        // The wash probe goes on, and with it the machine's time.
        let probe = probe(Place::FinalRinse, Some(1.0));
        let profile = door();
        let setup = Setup { profile: &profile, rinse: &probe };
        let mut tracker = Tracker::new(profile.rinse_from);
        let mut judged = Vec::new();
        for wash in sampled(0.0, 300.0, |_| 68.0) {
            judged.extend(tracker.advance(setup, wash.at, wash.at));
            judged.extend(tracker.reading(setup, Place::WashTank, wash.at, Ok(wash.celsius), wash.at));
            if let Ok(place) = heard.binary_search_by_key(&wash.at, |r| r.at) {
                let celsius = heard[place].celsius;
                judged.extend(tracker.reading(setup, Place::FinalRinse, wash.at, Ok(celsius), wash.at));
            }
        }
        assert_eq!(judged.len(), 1, "{name}");
        let cycle = &judged[0].cycle;
        assert_eq!(cycle.verdict, Verdict::Unproven, "{name}: {cycle:?}");
        assert!(cycle.received.seconds() < 110.0, "{name}: judged at {}", cycle.received.seconds());
    }
}

#[test]
fn faults_in_the_rinse_make_it_unproven() {
    let probe = probe(Place::FinalRinse, Some(1.0));
    let profile = door();
    let setup = Setup { profile: &profile, rinse: &probe };
    let mut tracker = Tracker::new(profile.rinse_from);
    let mut judged = Vec::new();
    for reading in line(150.0, 50.0, 1.0, &[flow(60.0, 10.0, 85.0)]) {
        let open = (64.0..=66.0).contains(&reading.at.seconds());
        let value = if open { Err(Fault::OpenCircuit) } else { Ok(reading.celsius) };
        judged.extend(tracker.advance(setup, reading.at, reading.at));
        judged.extend(tracker.reading(setup, Place::FinalRinse, reading.at, value, reading.at));
    }
    assert_eq!(judged.len(), 1);
    assert_eq!(judged[0].cycle.verdict, Verdict::Unproven);
    let open = Reason::RinseProbe { fault: Fault::OpenCircuit };
    assert_eq!(judged[0].cycle.reasons.first(), Some(&open), "{:?}", judged[0].cycle.reasons);
}

// The machine of the fixture washes from 10 s to 55 s, limit 66 °C. Own rule: a fault of the wash probe counts where it
// lies in the wash, for a second or longer, and nowhere else.
#[test]
fn a_fault_in_the_wash_voids_a_good_one_and_hides_no_low_one() {
    let probe = probe(Place::FinalRinse, Some(1.0));
    let profile = door();
    let setup = Setup { profile: &profile, rinse: &probe };
    let open = Some(Fault::OpenCircuit);
    for (name, wash_c, from, to, minimum, fault) in [
        ("in a good wash", 68.0, 30.0, 33.0, None, open),
        ("in a low wash", 60.0, 30.0, 33.0, Some(60.0), None),
        ("from before it into a good one", 68.0, 2.0, 14.0, None, open),
        ("from before it into a low one", 60.0, 2.0, 14.0, Some(60.0), None),
        ("all but what is too near to it", 60.0, 13.0, 52.0, None, open),
        ("one reading of it", 60.0, 30.0, 30.1, Some(60.0), None),
        ("before it", 60.0, 2.0, 6.0, Some(60.0), None),
        ("after it, and when it is judged", 60.0, 62.0, 150.0, Some(60.0), None),
        ("all along", 60.0, 0.0, 150.0, None, open),
    ] {
        let mut tracker = Tracker::new(profile.rinse_from);
        let mut judged = Vec::new();
        for reading in line(150.0, 50.0, 1.0, &[flow(60.0, 10.0, 85.0)]) {
            let at_fault = (from..=to).contains(&reading.at.seconds());
            let wash = if at_fault { Err(Fault::OpenCircuit) } else { Ok(Celsius(wash_c)) };
            judged.extend(tracker.reading(setup, Place::WashTank, reading.at, wash, reading.at));
            let rinse = Ok(reading.celsius);
            judged.extend(tracker.reading(setup, Place::FinalRinse, reading.at, rinse, reading.at));
        }
        assert_eq!(judged.len(), 1, "{name}");
        let cycle = &judged[0].cycle;
        assert_eq!(cycle.wash_min_c, minimum, "{name}");
        let told = match minimum {
            Some(measured_c) => Finding::WashLow { measured_c, limit_c: 66.0 },
            None => Finding::WashUnproven { fault },
        };
        assert_eq!(cycle.findings, [told], "{name}");
    }
}

// A conveyor's rinse runs as long as racks come: its end is where the line comes to rest.
#[test]
fn a_conveyor_is_judged_by_its_flow() {
    for (name, flows, tank, expected) in [
        ("a run of two minutes", vec![flow(100.0, 120.0, 85.0)], 72.0, vec![120.0]),
        ("two runs", vec![flow(100.0, 60.0, 85.0), flow(300.0, 90.0, 85.0)], 72.0, vec![60.0, 90.0]),
        ("no run", vec![], 72.0, vec![]),
    ] {
        let cycles = play(&conveyor(), 1.0, &line(600.0, 50.0, 1.0, &flows), |_| tank);
        assert_eq!(cycles.len(), expected.len(), "{name}: {cycles:#?}");
        for (cycle, seconds) in cycles.iter().zip(expected) {
            let length_s = cycle.rinse_ended.seconds_since(cycle.rinse_started);
            assert!((length_s - seconds).abs() < 5.0, "{name}: {length_s} s");
            assert_eq!(cycle.verdict, Verdict::Pass, "{name}: {cycle:?}");
        }
    }
}

// Longer than a piece: the rest is never too short to be judged, whenever the flow ends.
#[test]
fn a_long_run_is_recorded_in_pieces_without_a_false_alarm() {
    for seconds in [590.0, 601.0, 605.0, 620.0, 1_300.0] {
        let cycles =
            play(&conveyor(), 1.0, &line(seconds + 400.0, 50.0, 1.0, &[flow(100.0, seconds, 85.0)]), |_| {
                72.0
            });
        assert!(cycles.iter().all(|cycle| cycle.verdict == Verdict::Pass), "{seconds} s: {cycles:#?}");
        let whole: f64 =
            cycles.iter().map(|cycle| cycle.rinse_ended.seconds_since(cycle.rinse_started)).sum();
        assert!((whole - seconds).abs() < 6.0, "{seconds} s: {whole} s on record");
        assert!(
            cycles.windows(2).all(|pair| pair[0].rinse_ended <= pair[1].rinse_started),
            "{seconds} s overlap"
        );
        assert!(
            cycles.iter().all(|cycle| cycle.rinse_readings <= 4 * 601),
            "{seconds} s: a piece is bounded"
        );
    }
}

/// Plays a run signal of `(s, on)` beside one rinse from 60 s; gives the cycles.
fn with_signal(signal: &[(f64, bool)]) -> Vec<Cycle> {
    let probe = probe(Place::FinalRinse, Some(1.0));
    let profile = door();
    let setup = Setup { profile: &profile, rinse: &probe };
    let mut tracker = Tracker::new(profile.rinse_from);
    let mut judged = Vec::new();
    let mut signal = signal.iter().peekable();
    for reading in line(4_000.0, 50.0, 1.0, &[flow(60.0, 10.0, 85.0), flow(1_060.0, 10.0, 85.0)]) {
        while let Some((t, on)) = signal.next_if(|(t, _)| at(*t) <= reading.at) {
            judged.extend(tracker.running(setup, at(*t), *on, reading.at));
        }
        judged.extend(tracker.advance(setup, reading.at, reading.at));
        judged.extend(tracker.reading(setup, Place::FinalRinse, reading.at, Ok(reading.celsius), reading.at));
    }
    judged.extend(tracker.finish(setup, at(4_000.0), false));
    judged.into_iter().map(|judged| judged.cycle).collect()
}

#[test]
fn a_run_signal_decides_until_it_hangs() {
    use WindowFrom::{RunSignal, Trace};
    for (name, signal, expected) in [
        (
            "both runs",
            vec![(10.0, true), (70.0, false), (1_010.0, true), (1_070.0, false)],
            vec![RunSignal, RunSignal],
        ),
        ("repeated", vec![(10.0, true), (40.0, true), (70.0, false), (80.0, false)], vec![RunSignal]),
        ("a flow without a run", vec![(5.0, true), (6.0, false)], vec![]),
        ("on for hours", vec![(10.0, true)], vec![Trace, Trace]),
        ("its end was lost", vec![(10.0, true), (1_070.0, false)], vec![Trace, Trace]),
        (
            "it comes back",
            vec![(10.0, true), (900.0, false), (1_010.0, true), (1_070.0, false)],
            vec![Trace, RunSignal],
        ),
        ("at once again", vec![(10.0, true), (70.0, false), (71.0, true), (75.0, false)], vec![RunSignal]),
    ] {
        let cycles = with_signal(&signal);
        let windows: Vec<_> = cycles.iter().map(|cycle| cycle.window_from).collect();
        assert_eq!(windows, expected, "{name}: {cycles:#?}");
        let passes = |cycle: &Cycle| matches!(cycle.verdict, Verdict::Pass | Verdict::Narrow);
        assert!(cycles.iter().all(passes), "{name}: {cycles:#?}");
    }
}

// A rack was rinsed, whether or not the node lived to say that the machine went off.
#[test]
fn a_run_whose_end_is_lost_is_judged_by_the_trace() {
    let whole = line(200.0, 50.0, 1.0, &[flow(60.0, 10.0, 70.0)]);
    let again = line(4_000.0, 50.0, 1.0, &[]);
    let probe = probe(Place::FinalRinse, Some(1.0));
    let profile = door();
    let setup = Setup { profile: &profile, rinse: &probe };
    for (name, goes_on, clock_stepped) in [
        ("the input ends", false, false),
        ("the clock steps", false, true),
        ("an hour is missing", true, false),
    ] {
        let mut tracker = Tracker::new(profile.rinse_from);
        let mut judged = tracker.running(setup, at(0.0), false, at(0.0));
        judged.extend(tracker.running(setup, at(10.0), true, at(10.0)));
        let later = again.iter().filter(|r| goes_on && r.at > at(3_700.0));
        for reading in whole.iter().filter(|r| r.at < at(66.0)).chain(later) {
            judged.extend(tracker.advance(setup, reading.at, reading.at));
            let celsius = Ok(reading.celsius);
            judged.extend(tracker.reading(setup, Place::FinalRinse, reading.at, celsius, reading.at));
        }
        judged.extend(tracker.finish(setup, at(4_000.0), clock_stepped));
        assert_eq!(judged.len(), 1, "{name}: {judged:#?}");
        let cycle = &judged[0].cycle;
        assert!(matches!(cycle.verdict, Verdict::Cold | Verdict::Unproven), "{name}: {cycle:?}");
    }
}

// The node tells changes of the signal only: after a step in mid-wash it says no more than off.
#[test]
fn a_run_across_a_step_of_the_clock_is_judged_by_the_trace() {
    let whole = line(200.0, 50.0, 1.0, &[flow(60.0, 10.0, 85.0)]);
    let probe = probe(Place::FinalRinse, Some(1.0));
    let profile = door();
    let setup = Setup { profile: &profile, rinse: &probe };
    let mut tracker = Tracker::new(profile.rinse_from);
    let mut judged = tracker.running(setup, at(1_000.0), false, at(1_000.0));
    judged.extend(tracker.running(setup, at(1_010.0), true, at(1_010.0)));
    judged.extend(tracker.finish(setup, at(1_020.0), true));
    tracker.restart(profile.rinse_from, Duration::from_secs(1_020));
    for reading in whole {
        if reading.at == at(70.0) {
            judged.extend(tracker.running(setup, at(70.0), false, at(70.0)));
        }
        judged.extend(tracker.advance(setup, reading.at, reading.at));
        judged.extend(tracker.reading(setup, Place::FinalRinse, reading.at, Ok(reading.celsius), reading.at));
    }
    judged.extend(tracker.finish(setup, at(200.0), false));
    assert_eq!(judged.len(), 1, "{judged:#?}");
}

/// Readings every `dt` s of a line that stands at each temperature for its time, with a probe of time constant
/// `tau_s`, in digits of 0.1 °C.
fn stands(steps: &[(f64, f64)], tau_s: f64, dt: f64) -> Vec<TraceReading> {
    let (mut t, mut shown) = (0.0, steps[0].1);
    let mut readings = Vec::new();
    for (seconds, celsius) in steps {
        let end = t + seconds;
        while t < end {
            shown = celsius + (shown - celsius) * (-dt / tau_s).exp();
            let dither = 0.06 * (t * 6.8).sin();
            let value = Celsius(((shown + dither) * 10.0).round() / 10.0);
            readings.push(TraceReading { at: at(t), celsius: value });
            t += dt;
        }
    }
    readings
}

/// The cycles of a rinse at 85 °C that comes `n` s after what stood in the line at rest, and the one that
/// overlaps the rinse.
fn rinse_after(
    before: &[(f64, f64)],
    rest_c: f64,
    n: f64,
    tau_s: f64,
    dt: f64,
) -> (Vec<Cycle>, Option<Cycle>) {
    let mut steps = vec![(120.0, 45.0)];
    steps.extend(before);
    let start: f64 = steps.iter().map(|(seconds, _)| seconds).sum::<f64>() + n;
    steps.extend([(n, rest_c), (10.0, 85.0), (60.0, rest_c)]);
    let cycles = play(&door(), tau_s, &stands(&steps, tau_s, dt), |_| 68.0);
    let overlaps =
        |c: &&Cycle| c.rinse_started.seconds() < start + 9.0 && c.rinse_ended.seconds() > start + 1.0;
    let found = cycles.iter().find(overlaps).cloned();
    (cycles, found)
}

// A probe that was in a pot, or in ice, and is back: the rack after it is judged, however soon it comes.
#[test]
fn a_rack_after_what_was_no_rinse_is_judged() {
    for (name, before, judged_from_s) in [
        ("a pot", vec![(20.0, 80.0)], 12.0),
        ("boiling water", vec![(20.0, 98.0)], 12.0),
        ("a short plunge", vec![(6.0, 80.0)], 12.0),
        ("ice", vec![(30.0, 5.0)], 12.0),
        // After this time the way back may be a rinse of cold water, with a wash before it.
        ("a long one", vec![(60.0, 70.0)], 48.0),
    ] {
        for (tau_s, dt) in [(0.5, 0.25), (1.0, 0.25), (1.0, 1.0), (2.0, 0.25)] {
            for n in (1..15).map(|n| f64::from(n) * 12.0).filter(|n| *n >= judged_from_s) {
                let (cycles, found) = rinse_after(&before, 45.0, n, tau_s, dt);
                // At one reading a second the start is known to two of them, and the minimum with it.
                let passed = found.as_ref().is_some_and(|c| dt > 0.5 || c.verdict != Verdict::Cold);
                assert!(passed, "{name}, {tau_s} s, every {dt} s, {n} s after it: {cycles:#?}");
            }
            for n in (3..14).map(|n| f64::from(n) * 4.0) {
                let (cycles, found) = rinse_after(&before, 45.0, n, tau_s, dt);
                assert!(found.is_some(), "{name}, {tau_s} s, every {dt} s, {n} s after it: {cycles:#?}");
            }
        }
    }
}

// Hot water that was run through by hand stays in the line. Too soon after it nothing tells which was the rinse.
#[test]
fn a_rack_soon_after_hot_water_is_on_record_and_no_pass() {
    for n in (3..40).map(|n| f64::from(n) * 4.0) {
        let (cycles, found) = rinse_after(&[(8.0, 60.0)], 60.0, n, 1.0, 0.25);
        let found = found.unwrap_or_else(|| panic!("{n} s after it: {cycles:#?}"));
        let too_soon = matches!(found.reasons.first(), Some(Reason::TooSoon { .. }));
        // The end of what came first is 2 s after the water came; a wash and its pause take 50 s, six tenths of it 30 s.
        assert!(too_soon == (n < 32.0) || (n - 32.0).abs() < 1.0, "{n} s after it: {found:#?}");
        assert!(!too_soon || found.verdict == Verdict::Unproven && found.rinse_min_c.is_none(), "{found:#?}");
    }
}

#[test]
fn a_line_long_at_rest_that_cools_a_little_is_no_cold_rack() {
    for (name, step_c, expected) in [
        ("a little", -1.0, Verdict::Unproven),
        ("a cold supply", -5.0, Verdict::Cold),
        ("warmer", 5.0, Verdict::Cold),
    ] {
        let readings = stands(&[(900.0, 45.0), (60.0, 45.0 + step_c)], 1.0, 0.25);
        let cycles = play(&door(), 1.0, &readings, |_| 68.0);
        let verdicts: Vec<_> = cycles.iter().map(|cycle| cycle.verdict).collect();
        assert_eq!(verdicts, [expected], "{name}: {cycles:#?}");
    }
}
