//! Drift by the handbook's worked series, cold first racks, recovery in the rush.

use super::*;
use crate::core::cycle::plate::{LimitSource, MachineKind};
use crate::core::cycle::verdict::Reason;
use crate::core::reading::Fault;
use crate::core::record::{Basis, DoseBasis, Rule, WindowFrom};

/// Four values with mean 84.0 and moving ranges of 0.564 = 0.5 · 1.128, so that the charts
/// stand on the mean and the standard deviation of the worked series (NIST/SEMATECH e-Handbook
/// §6.3.2.2: σ = mean moving range / 1.128).
const USUAL: [f64; 4] = [84.282, 83.718, 84.282, 83.718];
/// The worked series of `trend`: the average leaves its limits at the eighth, the sum with
/// h = 5 at the eighth; it has been above zero since the fourth.
const SERIES: [f64; 10] = [84.1, 83.8, 84.3, 83.6, 83.2, 82.9, 83.1, 82.6, 82.4, 82.5];

const RULES: Rules = Rules { baseline: 4, min_k: 0.5, idle: Duration::from_secs(1_200), repeated: 2 };

fn at(seconds: f64) -> Timestamp {
    Timestamp::from_seconds(1_767_225_600.0 + seconds).expect("a time of this century")
}

/// A rinse of 12 s that reached its limit after 3 s.
fn cycle(seconds: f64, verdict: Verdict, rinse_min_c: f64) -> Cycle {
    Cycle {
        started: at(seconds - 45.0),
        rinse_started: at(seconds),
        rinse_ended: at(seconds + 12.0),
        received: at(seconds + 12.5),
        machine_kind: MachineKind::StationaryRackDualTemperature,
        sanitizing: Sanitizing::HotWater,
        window_from: WindowFrom::Trace,
        verdict,
        reasons: Vec::new(),
        findings: Vec::new(),
        rinse_min_c: Some(rinse_min_c),
        rinse_min_raw_c: Some(rinse_min_c),
        rinse_min_corrected_c: None,
        basis: Basis::Raw,
        limit_c: 82.2,
        limit_source: LimitSource::FoodCode,
        rinse_peak_c: Some(rinse_min_c + 1.0),
        settled_after_s: (verdict != Verdict::Cold).then_some(3.0),
        dwell_s: 9.0,
        dwell_required_s: 5.0,
        area_below_c_s: 0.0,
        wash_min_c: None,
        wash_limit_c: 65.6,
        a0: 1.0,
        hue: 1.0,
        dose_basis: DoseBasis::WaterSideEstimate,
        uncertainty_c: 1.0,
        conformance: None,
        rule: Rule::SimpleAcceptance,
        concentration_mg_per_l: None,
        ph: None,
        rinse_readings: 48,
        spikes: 0,
        trace_sha256: None,
    }
}

/// A watch that has settled after idle and learnt [`USUAL`]; the next cycle comes at 12 min.
fn taught() -> Watch {
    let mut watch = Watch::new(RULES);
    for (place, settled_c) in [70.0, 99.0].into_iter().chain(USUAL).enumerate() {
        let seen = watch.take(&cycle(120.0 * place as f64, Verdict::Pass, settled_c));
        assert_eq!(seen.began, None);
    }
    watch
}

// The first two after idle, 70 and 99 °C here, are not learnt from.
#[test]
fn what_is_usual_is_learnt_in_the_middle_of_work() {
    let usual = taught().usual().expect("four cycles were learnt");
    assert!((usual.mean - 84.0).abs() < 1e-9 && (usual.sigma - 0.5).abs() < 1e-9, "{usual:?}");
}

#[test]
fn the_worked_series_drifts_at_its_eighth_value_since_its_fourth() {
    let mut watch = taught();
    let mut began = Vec::new();
    for (place, settled_c) in SERIES.into_iter().enumerate() {
        let seen = watch.take(&cycle(720.0 + 120.0 * place as f64, Verdict::Pass, settled_c));
        began.extend(seen.began.into_iter().flatten());
    }
    let eighth = at(720.0 + 120.0 * 7.0);
    let shift_c = began.first().map_or(f64::NAN, |signal| signal.shift_c);
    // 83.333881344 − 84, from the worked series.
    assert!((shift_c + 0.666_118_656).abs() < 1e-6, "{shift_c}");
    let expected = [
        Signal { at: eighth, chart: Chart::Ewma, shift_c, since: None },
        Signal { at: eighth, chart: Chart::Cusum, shift_c, since: Some(at(720.0 + 120.0 * 3.0)) },
    ];
    assert_eq!(began, expected);
}

// The same series, with a site that calls only 1 K drifting: the average ends 0.98 K below.
#[test]
fn a_small_shift_is_not_told() {
    let mut watch = Watch { rules: Rules { min_k: 1.0, ..RULES }, ..taught() };
    for (place, settled_c) in SERIES.into_iter().enumerate() {
        let seen = watch.take(&cycle(720.0 + 120.0 * place as f64, Verdict::Pass, settled_c));
        assert_eq!(seen.began, None, "value {}", place + 1);
    }
}

#[test]
fn drift_is_told_once_until_it_has_recovered_and_anew_after_work() {
    let mut watch = taught();
    let take = |watch: &mut Watch, place: u32, settled_c| {
        watch.take(&cycle(720.0 + 120.0 * f64::from(place), Verdict::Pass, settled_c)).began.is_some()
    };
    let told = (0..20).filter(|place| take(&mut watch, *place, 82.5)).count();
    assert_eq!(told, 1, "a lasting drift is told once");
    assert!((20..60).all(|place| !take(&mut watch, place, 84.0)), "recovering tells nothing");
    assert!((60..80).any(|place| take(&mut watch, place, 82.5)), "a second drift is told");
    watch.learn_anew(at(0.0));
    assert_eq!(watch.usual(), None);
    assert_eq!(watch.learning(), Some(Learning { since: Some(at(0.0)), racks: 0, of: 4 }));
    assert!((80..100).all(|place| !take(&mut watch, place, 82.5)), "82.5 °C is usual from here on");
}

// place after idle (min since the last rinse), verdict before, expected; the desk's pattern.
#[test]
fn a_cold_first_rack_is_told_apart() {
    for (pause_s, before, expected) in [
        (1_300.0, Verdict::Pass, true),
        (120.0, Verdict::Pass, false),
        // Two cold ones in a row are no matter of a cooled line.
        (1_300.0, Verdict::Cold, false),
    ] {
        let mut watch = taught();
        watch.take(&cycle(720.0, before, 84.0));
        let seen = watch.take(&cycle(732.0 + pause_s, Verdict::Cold, 75.0));
        assert_eq!(seen.cold_first, expected, "{pause_s} s after {before}");
    }
}

#[test]
fn recovery_is_asked_of_racks_of_the_rush() {
    let last = Some(at(0.0));
    let pass = |seconds| cycle(seconds, Verdict::Pass, 84.0);
    let chlorine = Cycle { sanitizing: Sanitizing::Chlorine, ..pass(60.0) };
    let mut faulty = pass(60.0);
    faulty.put_in_doubt(Reason::RinseProbe { fault: Fault::Stuck });
    for (what, last, cycle, expected) in [
        ("within three minutes", last, pass(180.0), Some(3.0)),
        ("later", last, pass(181.0), None),
        ("the first of all", None, pass(60.0), None),
        ("one that never got there: all of its 12 s", last, cycle(60.0, Verdict::Cold, 75.0), Some(12.0)),
        ("a chemical machine", last, chlorine, None),
        ("a faulty probe", last, faulty, None),
        ("one that overlaps the one before", last, pass(-5.0), None),
    ] {
        assert_eq!(recovery_s(last, &cycle), expected, "{what}");
    }
}
