use super::super::fixture::{at, chemical, sampled};
use super::super::plate::{PlateTimes, RinseFrom, Sanitizing};
use super::*;

fn profile() -> Profile {
    let times = PlateTimes {
        wash: Duration::from_secs(60),
        pause: Duration::from_secs(15),
        rinse: Duration::from_secs(25),
    };
    Profile { times, rinse_from: RinseFrom::Sump, ..chemical(Sanitizing::Chlorine) }
}

fn play(seconds: f64, celsius: impl Fn(f64) -> f64) -> (Vec<Candidate>, Sump) {
    let mut sump = Sump::new();
    let profile = profile();
    let readings = sampled(0.0, seconds, |t| celsius(t) + 0.03 * (t * 9.1).sin());
    let found =
        readings.into_iter().filter_map(|reading| sump.push(Filtered { reading, spike: false }, &profile));
    (found.collect(), sump)
}

/// Retained water of `before`, dumped at 160 s, refilled with `after` from 166 s within 6 s.
fn cycle(before: f64, after: f64) -> impl Fn(f64) -> f64 {
    move |t| {
        let (cooled, air) = (before - 0.002 * t, before - 8.0);
        if t < 160.0 {
            cooled
        } else if t < 166.0 {
            air + (cooled - air) * (-(t - 160.0) / 2.0).exp()
        } else {
            let dumped = air + (cooled - air) * (-3.0_f64).exp();
            (after + (dumped - after) * (-(t - 166.0) / 2.0).exp()) - 0.002 * (t - 166.0)
        }
    }
}

// A dump leaves the probe in air for seconds, the refill brings the fresh water (common practice, no source).
#[test]
fn a_dump_and_refill_is_a_rinse_and_cooling_is_none() {
    for (name, before, after) in
        [("hot", 52.0, 55.0), ("the supply runs cold", 52.0, 35.0), ("alike", 54.0, 54.0)]
    {
        let (found, sump) = play(260.0, cycle(before, after));
        assert_eq!(found.len(), 1, "{name}: {found:?}");
        let start_s = found[0].start.seconds();
        assert!((166.0..178.0).contains(&start_s), "{name}: {start_s}");
        assert!(found[0].end_seen && found[0].end > found[0].start, "{name}");
        assert!(sump.is_quiet(), "{name}");
    }
    let (found, _) = play(3_600.0, |t| 20.0 + 35.0 * (-t / 3_000.0).exp());
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn a_disturbance_without_end_is_cut() {
    let (_, sump) = play(7_200.0, |t| if t < 100.0 { 50.0 } else { 45.0 + 6.0 * (t * 0.7).sin() });
    let held = sump.disturbed.map_or(0, |disturbed| disturbed.readings.len());
    assert!(held <= 3_700, "{held} readings at 4 Hz are more than 15 minutes");
}

#[test]
fn a_rinse_whose_readings_stop_is_handed_out_as_unseen() {
    let (found, mut sump) = play(178.0, cycle(52.0, 55.0));
    assert!(found.is_empty());
    let candidate = sump.finish(&profile()).expect("the refill was seen");
    assert!(!candidate.end_seen);
    assert!(candidate.end > at(180.0), "the machine's timer ends it: {}", candidate.end.seconds());
}
