use super::super::fixture::{at, chemical, door, probe, sampled};
use super::super::plate::Sanitizing;
use super::*;
use crate::core::channel::Place;

/// Table of FDA Food Code 4-501.114(A) and 4-703.11(C), one row for each cell.
const CHLORINE: &str = include_str!("../../../../tests/data/chlorine_check.csv");

/// Evidence of one cycle whose rinse begins at 100 s; the parts that a row changes are public.
struct Case {
    profile: Profile,
    probe: Probe,
    rinse_s: f64,
    readings: Vec<TraceReading>,
    fault: Option<Fault>,
    end_seen: bool,
    wash: Wash,
    ware: Vec<TraceReading>,
    concentration: Option<Concentration>,
    clock_stepped: bool,
}

/// A wash of so many °C throughout.
fn washed(celsius: f64) -> Wash {
    Wash { readings: sampled(50.0, 95.0, |_| celsius), ..Wash::default() }
}

impl Case {
    /// A whole rinse in which the probe shows `celsius(t)`, t in s from the start of the flow.
    fn of(profile: Profile, celsius: impl Fn(f64) -> f64) -> Self {
        let rinse_s = profile.times.rinse.as_secs_f64();
        let wash_c = profile.wash_min.at.0 + 2.0;
        Self {
            readings: sampled(98.0, 100.0 + rinse_s + 4.0, |t| celsius(t - 100.0)),
            probe: probe(Place::FinalRinse, Some(1.0)),
            profile,
            rinse_s,
            fault: None,
            end_seen: true,
            wash: washed(wash_c),
            ware: Vec::new(),
            concentration: None,
            clock_stepped: false,
        }
    }

    /// A door machine whose water has `celsius` throughout.
    fn steady(celsius: f64) -> Self {
        Self::of(door(), |_| celsius)
    }

    /// A chemical machine with a check on file and water of `celsius`.
    fn dosed(sanitizing: Sanitizing, mg_per_l: f64, ph: Option<f64>, celsius: f64) -> Self {
        let concentration = Some(Concentration { at: at(10.0), mg_per_l, ph });
        Self { concentration, ..Self::of(chemical(sanitizing), |_| celsius) }
    }

    fn dwell(mut self, seconds: f64) -> Self {
        self.profile.dwell_min = Duration::from_secs_f64(seconds);
        self
    }

    fn broken_off(mut self, seconds: f64) -> Self {
        self.rinse_s = seconds;
        self
    }

    fn tau(mut self, seconds: Option<f64>) -> Self {
        self.probe.tau = seconds.map(Duration::from_secs_f64);
        self
    }

    /// Readings between the two, in s from the start of the flow, did not come.
    fn without(mut self, from: f64, to: f64) -> Self {
        self.readings.retain(|r| r.at <= at(100.0 + from) || r.at >= at(100.0 + to));
        self
    }

    /// One reading every `seconds`, the first at the start of the flow.
    fn every(mut self, seconds: f64) -> Self {
        let celsius = self.readings[0].celsius;
        let times = (0..20).map(|i| 100.0 + f64::from(i) * seconds);
        self.readings = times.map(|t| TraceReading { at: at(t), celsius }).collect();
        self
    }

    fn judged(&self) -> Cycle {
        let evidence = Evidence {
            profile: &self.profile,
            probe: &self.probe,
            started: at(50.0),
            rinse: Rinse {
                start: at(100.0),
                end: at(100.0 + self.rinse_s),
                from: WindowFrom::Trace,
                readings: &self.readings,
                spikes: 0,
                fault: self.fault,
                end_seen: self.end_seen,
            },
            wash: self.wash.clone(),
            ware: self.ware.clone(),
            concentration: self.concentration,
            clock_stepped: self.clock_stepped,
            received: at(120.0),
        };
        judge(&evidence).0
    }
}

/// The words of the reasons, in order, as they stand in a record.
fn words(cycle: &Cycle) -> Vec<String> {
    let word = |reason: &Reason| {
        let value = serde_json::to_value(reason).expect("a reason has a JSON form");
        value["reason"].as_str().expect("a tag").to_owned()
    };
    cycle.reasons.iter().map(word).collect()
}

fn check(name: &str, case: &Case, verdict: Verdict, reasons: &[&str]) {
    let cycle = case.judged();
    assert_eq!(
        (cycle.verdict, words(&cycle)),
        (verdict, reasons.iter().map(|r| (*r).to_owned()).collect()),
        "{name}"
    );
}

// Limit 82 °C: Food Code 4-501.112. Simple acceptance and the guard band of U = 0.8246 °C:
// JCGM 106:2012, worked example of a type T class 1 probe. Dwell, gaps and counts: own choices,
// as the constants say.
#[test]
fn every_verdict_has_its_row_and_its_near_miss() {
    use Verdict::{Brief, Cold, Narrow, Pass, Unproven};
    let rises = |t: f64| if t < 2.8 { 70.0 } else { 85.0 };
    let dips = |t: f64| if (6.0..=7.0).contains(&t) { 81.0 } else { 85.0 };
    let early_dip = |t: f64| if (1.0..=2.0).contains(&t) { 81.0 } else { 85.0 };
    for (name, case, verdict, reasons) in [
        ("far above", Case::steady(85.0), Pass, &[] as &[&str]),
        ("just outside U", Case::steady(82.83), Pass, &[]),
        ("just inside U", Case::steady(82.82), Narrow, &["inside-uncertainty"]),
        ("at the limit", Case::steady(82.0), Narrow, &["inside-uncertainty"]),
        ("just below", Case::steady(81.99), Cold, &["rinse-below-limit", "dwell-too-short"]),
        ("a dip once settled", Case::of(door(), dips), Cold, &["rinse-below-limit"]),
        ("a dip before it settled", Case::of(door(), early_dip), Pass, &[]),
        ("7.2 s of 8", Case::of(door(), rises).dwell(8.0), Brief, &["dwell-too-short"]),
        ("7.2 s of 7", Case::of(door(), rises).dwell(7.0), Pass, &[]),
        ("broken off", Case::steady(85.0).broken_off(4.0), Brief, &["rinse-aborted", "dwell-too-short"]),
        ("broken off late enough", Case::steady(85.0).broken_off(5.5), Pass, &[]),
        ("no minimum", Case::steady(85.0).broken_off(2.0).dwell(1.0), Unproven, &["too-few-readings"]),
        ("a gap of 2.25 s", Case::steady(85.0).without(5.0, 7.25), Unproven, &["gap-in-rinse"]),
        ("a gap of 2 s", Case::steady(85.0).without(5.0, 7.0), Pass, &[]),
        ("2 settled readings", Case::steady(85.0).tau(Some(6.0)).every(2.0), Unproven, &["too-few-readings"]),
        ("3 settled readings", Case::steady(85.0).tau(Some(6.0)).every(1.9), Pass, &[]),
        (
            "a fault",
            Case { fault: Some(Fault::OpenCircuit), ..Case::steady(85.0) },
            Unproven,
            &["rinse-probe"],
        ),
        ("a clock step", Case { clock_stepped: true, ..Case::steady(85.0) }, Unproven, &["clock-step"]),
        ("no end", Case { end_seen: false, ..Case::steady(85.0) }, Unproven, &["end-not-seen"]),
        (
            "cut, not broken off",
            Case { end_seen: false, ..Case::steady(85.0).broken_off(4.0) },
            Unproven,
            &["end-not-seen"],
        ),
    ] {
        check(name, &case, verdict, reasons);
    }
}

// Where the flow began is guessed from the readings before the gap (simulator, probe-loose: hot
// rinses judged 0.2 to 1.8 °C below the limit by it).
#[test]
fn a_start_that_was_not_seen_makes_no_rinse_cold_that_was_hot_later() {
    use Verdict::{Cold, Unproven};
    let arrives = |t: f64| if t < 7.3 { 80.0 } else { 85.0 };
    let dips = |t: f64| if t < 8.0 { 85.0 } else { 80.0 };
    let was_hot = |t: f64| if t < 0.0 { 85.0 } else { 80.0 };
    let unseen = |celsius: &dyn Fn(f64) -> f64| Case::of(door(), celsius).without(-0.5, 6.0);
    for (name, case, verdict, reasons) in [
        ("hot later", unseen(&arrives), Unproven, &["gap-in-rinse"] as &[&str]),
        (
            "hot later, a loose wire",
            Case { fault: Some(Fault::OpenCircuit), ..unseen(&arrives) },
            Unproven,
            &["rinse-probe", "gap-in-rinse"],
        ),
        ("never hot", unseen(&|_| 80.0), Cold, &["rinse-below-limit", "gap-in-rinse"]),
        ("hot at rest only", unseen(&was_hot), Cold, &["rinse-below-limit", "gap-in-rinse"]),
        (
            "hot later, and cold at last",
            Case::of(door(), dips).without(-0.5, 3.0),
            Cold,
            &["rinse-below-limit", "gap-in-rinse"],
        ),
        (
            "the start seen",
            Case::of(door(), dips).without(4.0, 7.0),
            Cold,
            &["rinse-below-limit", "gap-in-rinse"],
        ),
    ] {
        check(name, &case, verdict, reasons);
    }
}

// JCGM 106:2012: conformance probability Φ((y − TL)/u) with u = 0.4123 °C.
#[test]
fn the_record_holds_the_uncertainty_and_the_probability() {
    for (measured, probability) in [(82.0, 0.500), (82.3, 0.767), (82.6, 0.927), (82.9, 0.986), (83.0, 0.992)]
    {
        let cycle = Case::steady(measured).judged();
        assert!((cycle.uncertainty_c - 0.8246).abs() < 1e-4, "{}", cycle.uncertainty_c);
        let found = cycle.conformance.expect("a minimum was measured");
        assert!((found - probability).abs() < 1e-3, "{measured} °C: {found}");
        assert_eq!(cycle.rule, Rule::SimpleAcceptance);
    }
}

// A first-order lag has a closed solution; the water is 84 °C throughout.
#[test]
fn a_known_response_is_corrected_and_an_unknown_one_is_doubted() {
    let lagging = |tau: f64, water: f64| {
        move |t: f64| if t < 0.0 { 40.0 } else { water + (40.0 - water) * (-t / tau).exp() }
    };
    let corrected = Case::of(door(), lagging(2.0, 84.0)).tau(Some(2.0)).judged();
    assert_eq!((corrected.basis, corrected.verdict), (Basis::LagCorrected, Verdict::Pass), "{corrected:?}");
    let (raw, water) = (corrected.rinse_min_raw_c, corrected.rinse_min_corrected_c);
    assert!(raw.is_some_and(|raw| raw < 82.0), "the probe itself had not arrived: {raw:?}");
    assert!(water.is_some_and(|water| (water - 84.0).abs() < 0.3), "{water:?}");
    assert_eq!(corrected.rinse_min_c, water);
    for (name, case, verdict, reasons) in [
        (
            "slow, water hot",
            Case::of(door(), lagging(4.0, 90.0)),
            Verdict::Unproven,
            &["probe-too-slow"] as &[&str],
        ),
        (
            "slow, water cold",
            Case::of(door(), lagging(4.0, 81.0)),
            Verdict::Cold,
            &["rinse-below-limit", "dwell-too-short"],
        ),
        ("steady and cold", Case::steady(81.0), Verdict::Cold, &["rinse-below-limit", "dwell-too-short"]),
    ] {
        let case = case.tau(None);
        check(name, &case, verdict, reasons);
        assert_eq!(case.judged().basis, Basis::Raw, "{name}");
    }
    // The slope at the minimum widens the uncertainty where the response was never measured.
    let unknown = Case::of(door(), lagging(2.0, 90.0)).tau(None).judged();
    assert!(unknown.uncertainty_c > 1.0, "{}", unknown.uncertainty_c);
}

// FDA Food Code 4-501.114(A), every cell; 1 °C above passes, 0.1 °C below is cold.
#[test]
fn chlorine_is_judged_at_the_temperature_its_concentration_needs() {
    for line in CHLORINE.lines().skip(1) {
        let fields: Vec<f64> =
            line.split(',').take(6).map(|field| field.parse().unwrap_or(f64::NAN)).collect();
        let (mg_per_l, ph, least) = (fields[0], fields[2], fields[3]);
        for (celsius, verdict) in
            [(least + 1.0, Verdict::Pass), (least + 0.1, Verdict::Narrow), (least - 0.1, Verdict::Cold)]
        {
            let cycle = Case::dosed(Sanitizing::Chlorine, mg_per_l, Some(ph), celsius).judged();
            assert_eq!(cycle.verdict, verdict, "{line}: {celsius} °C");
            assert!((cycle.limit_c - least).abs() < 1e-9, "{line}: {}", cycle.limit_c);
            let above_plate = least > 13.0;
            let expected = if above_plate { LimitSource::Concentration } else { LimitSource::FoodCode };
            assert_eq!(cycle.limit_source, expected, "{line}");
            assert!((cycle.dwell_required_s - fields[5].max(5.0)).abs() < 1e-9, "{line}");
        }
    }
}

// Food Code 4-501.114(A) to (C), 4-703.11(C); an unknown pH read as 10: own choice; 200 to
// 400 mg/L quat: common practice, no source.
#[test]
fn a_concentration_on_file_decides_on_a_chemical_machine() {
    use Sanitizing::{Chlorine, Iodine, Quat};
    use Verdict::{Cold, Pass, Unproven, Weak};
    let cold: &[&str] = &["rinse-below-limit", "dwell-too-short"];
    for (name, case, verdict, reasons) in [
        ("unknown pH, 39 °C", Case::dosed(Chlorine, 50.0, None, 39.0), Pass, &[] as &[&str]),
        ("unknown pH, 30 °C", Case::dosed(Chlorine, 50.0, None, 30.0), Cold, cold),
        ("pH 8, 30 °C", Case::dosed(Chlorine, 50.0, Some(8.0), 30.0), Pass, &[]),
        ("24 mg/L", Case::dosed(Chlorine, 24.0, Some(7.0), 55.0), Weak, &["concentration"]),
        ("201 mg/L", Case::dosed(Chlorine, 201.0, Some(7.0), 55.0), Weak, &["concentration"]),
        ("pH 10.1", Case::dosed(Chlorine, 100.0, Some(10.1), 55.0), Weak, &["concentration"]),
        ("no measurement", Case::dosed(Chlorine, -1.0, Some(7.0), 55.0), Unproven, &["concentration"]),
        ("iodine", Case::dosed(Iodine, 12.5, Some(5.0), 21.0), Pass, &[]),
        ("iodine, cold", Case::dosed(Iodine, 12.5, Some(5.0), 19.9), Cold, cold),
        ("iodine, alkaline", Case::dosed(Iodine, 12.5, Some(5.1), 21.0), Weak, &["concentration"]),
        ("quat", Case::dosed(Quat, 200.0, None, 25.0), Pass, &[]),
        ("quat, weak", Case::dosed(Quat, 199.0, None, 25.0), Weak, &["concentration"]),
        ("quat, cold", Case::dosed(Quat, 200.0, None, 23.9), Cold, cold),
        ("none on file", Case::of(chemical(Quat), |_| 25.0), Unproven, &["no-concentration-check"]),
    ] {
        check(name, &case, verdict, reasons);
    }
    let contact =
        |sanitizing, mg_per_l| Case::dosed(sanitizing, mg_per_l, None, 25.0).judged().dwell_required_s;
    assert!((contact(Iodine, 20.0) - 30.0).abs() < 1e-9, "4-703.11(C)(3)");
    assert!((contact(Quat, 300.0) - 30.0).abs() < 1e-9, "4-703.11(C)(3)");
}

#[test]
fn every_reason_is_kept_the_worst_first() {
    let bad = Case {
        end_seen: false,
        clock_stepped: true,
        ..Case::dosed(Sanitizing::Chlorine, 10.0, Some(7.0), 12.0)
    };
    check(
        "all at once",
        &bad,
        Verdict::Cold,
        &["rinse-below-limit", "concentration", "clock-step", "end-not-seen"],
    );
    let narrow = Case { end_seen: false, ..Case::steady(82.1) };
    check("unproven before narrow", &narrow, Verdict::Unproven, &["end-not-seen", "inside-uncertainty"]);
}

// A probe at fault measures nothing, however cold, short or hot its readings look. A fault in the
// rinse is missing evidence: own rule; limits: Food Code 4-501.112 and 4-501.114.
#[test]
fn a_fault_of_the_probe_comes_before_whatever_it_showed() {
    let faulty = |case: Case| Case { fault: Some(Fault::Stuck), ..case };
    let weak = Case::dosed(Sanitizing::Chlorine, 10.0, Some(7.0), 12.0);
    let early = |t: f64| if t < 2.8 { 70.0 } else { 85.0 };
    for (name, case, reasons) in [
        ("hot", Case::steady(85.0), &["rinse-probe"] as &[&str]),
        ("cold", Case::steady(81.0), &["rinse-probe", "rinse-below-limit"]),
        ("narrow", Case::steady(82.1), &["rinse-probe", "inside-uncertainty"]),
        ("weak and cold", weak, &["rinse-probe", "rinse-below-limit", "concentration"]),
        ("held too short", Case::of(door(), early).dwell(8.0), &["rinse-probe"]),
        (
            "broken off",
            Case::steady(85.0).broken_off(4.0),
            &["rinse-probe", "rinse-aborted", "dwell-too-short"],
        ),
        ("never settled", Case::steady(85.0).broken_off(2.0).dwell(1.0), &["rinse-probe"]),
        (
            "cold, with a clock step",
            Case { clock_stepped: true, ..Case::steady(81.0) },
            &["rinse-probe", "rinse-below-limit", "clock-step"],
        ),
    ] {
        let case = faulty(case);
        check(name, &case, Verdict::Unproven, reasons);
        let cycle = case.judged();
        assert_eq!((cycle.rinse_min_c, cycle.conformance), (None, None), "{name}: measured by nobody");
    }
    // What it showed stays on record.
    let cold = faulty(Case::steady(81.0)).judged();
    let shown = [cold.rinse_min_raw_c, cold.rinse_min_corrected_c];
    assert!(shown.iter().all(|shown| shown.is_some_and(|c| (c - 81.0).abs() < 1e-6)), "{shown:?}");
}

// Wash 66 °C: Food Code 4-501.110; rinse at most 90 °C: 4-501.112.
#[test]
fn findings_stand_beside_the_verdict() {
    let washed = |celsius: f64| Case { wash: washed(celsius), ..Case::steady(85.0) };
    let silent = |fault| Case { wash: Wash { fault, ..Wash::default() }, ..Case::steady(85.0) };
    for (name, case, expected) in [
        ("wash at its limit", washed(66.0), vec![]),
        ("wash low", washed(65.9), vec![Finding::WashLow { measured_c: 65.9, limit_c: 66.0 }]),
        ("no wash", silent(None), vec![Finding::WashUnproven { fault: None }]),
        (
            "wash probe open",
            silent(Some(Fault::OpenCircuit)),
            vec![Finding::WashUnproven { fault: Some(Fault::OpenCircuit) }],
        ),
        ("at the maximum", Case::steady(90.0), vec![]),
        ("too hot", Case::steady(90.25), vec![Finding::RinseTooHot { measured_c: 90.25, limit_c: 90.0 }]),
    ] {
        let cycle = case.judged();
        assert_eq!(cycle.verdict, Verdict::Pass, "{name}");
        let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
        let same = |found: &Finding, expected: &Finding| match (found, expected) {
            (Finding::WashLow { measured_c: a, .. }, Finding::WashLow { measured_c: b, .. })
            | (Finding::RinseTooHot { measured_c: a, .. }, Finding::RinseTooHot { measured_c: b, .. }) => {
                near(*a, *b)
            }
            (found, expected) => found == expected,
        };
        let all = cycle.findings.len() == expected.len();
        assert!(
            all && cycle.findings.iter().zip(&expected).all(|(f, e)| same(f, e)),
            "{name}: {:?}",
            cycle.findings
        );
    }
}

// Limits as above. Own rule: nothing that a probe showed while it was at fault is believed, be it too hot or too
// cold; what it showed stays on record, but for a minimum that would be taken for the wash. What it showed well
// clear of the fault makes a wash low, never good, and three readings at the least are needed for it.
#[test]
fn what_a_probe_at_fault_showed_is_no_finding() {
    let hot = Case::steady(92.0).judged();
    assert!(matches!(hot.findings[..], [Finding::RinseTooHot { .. }]), "{:?}", hot.findings);
    let hot = Case { fault: Some(Fault::Stuck), ..Case::steady(92.0) }.judged();
    assert_eq!(hot.findings, []);
    assert!(hot.rinse_peak_c.is_some_and(|peak| (peak - 92.0).abs() < 1e-6), "{:?}", hot.rinse_peak_c);
    let fault = Some(Fault::OpenCircuit);
    let low = Finding::WashLow { measured_c: 60.0, limit_c: 66.0 };
    let unproven = Finding::WashUnproven { fault };
    for (celsius, spared, minimum, found) in [
        (60.0, 0, None, unproven.clone()),
        (60.0, 2, None, unproven.clone()),
        (60.0, 3, Some(60.0), low),
        (65.9, 30, Some(65.9), Finding::WashLow { measured_c: 65.9, limit_c: 66.0 }),
        (66.0, 30, None, unproven.clone()),
        (68.0, 30, None, unproven),
    ] {
        let Wash { readings, .. } = washed(celsius);
        let wash = Wash { spared: readings[..spared].to_vec(), readings, fault };
        let cycle = Case { wash, ..Case::steady(85.0) }.judged();
        let rounded = cycle.wash_min_c.map(|min| (min * 1e6).round() / 1e6);
        assert_eq!(cycle.findings, [found], "{celsius} °C, {spared} readings");
        assert_eq!((rounded, cycle.verdict), (minimum, Verdict::Pass), "{celsius} °C, {spared} readings");
    }
}

// EN ISO 15883-1: A0 counts seconds at 80 °C; 60 s at 80 °C are 60.
#[test]
fn a_ware_probe_gives_the_dose_of_the_ware() {
    let water = Case::steady(85.0).judged();
    assert_eq!(water.dose_basis, DoseBasis::WaterSideEstimate);
    let ware = Case { ware: sampled(50.0, 110.0, |_| 80.0), ..Case::steady(85.0) }.judged();
    assert_eq!(ware.dose_basis, DoseBasis::WareSurface);
    assert!((ware.a0 - 60.0).abs() < 1e-6, "{}", ware.a0);
}
