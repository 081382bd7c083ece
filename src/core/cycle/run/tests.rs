use super::super::fixture::{at, conveyor, door, sampled};
use super::*;

/// Plays a signal that is on from 0 s to `on_s`, heard over `seconds`; gives the windows in s.
fn play(profile: &Profile, on_s: f64, seconds: f64) -> (Vec<(f64, f64, f64)>, Run) {
    let mut run = Run::new();
    let mut windows = Vec::new();
    run.signal(at(0.0), true);
    for reading in sampled(0.0, seconds, |_| 84.0) {
        if reading.at >= at(on_s) {
            run.signal(at(on_s), false);
        }
        run.reading(Filtered { reading, spike: false });
        windows.extend(run.finished(reading.at, profile));
    }
    let seconds = |w: &RunWindow| (w.started.seconds(), w.rinse_started.seconds(), w.ended.seconds());
    (windows.iter().map(seconds).collect(), run)
}

// The plate says 45 s wash, 5 s pause, 10 s rinse: the windows follow from it by arithmetic.
#[test]
fn the_rinse_is_placed_by_the_plate() {
    for (name, on_s, expected) in [
        ("whole", 60.0, vec![(0.0, 50.0, 60.0)]),
        ("a little short", 57.0, vec![(0.0, 47.0, 57.0)]),
        ("a little long", 64.0, vec![(0.0, 54.0, 64.0)]),
        ("broken off in the rinse", 54.0, vec![(0.0, 50.0, 54.0)]),
        ("just after it began", 50.5, vec![]),
        ("broken off in the wash", 30.0, vec![]),
        ("on at once and off", 0.0, vec![]),
    ] {
        let (windows, run) = play(&door(), on_s, 80.0);
        assert_eq!(windows, expected, "{name}");
        assert!(run.is_idle() && run.decides(), "{name}");
    }
}

#[test]
fn a_signal_that_hangs_decides_nothing_and_holds_nothing() {
    let (windows, mut run) = play(&door(), 1e6, 7_200.0);
    assert_eq!(windows, []);
    assert!(!run.decides(), "it has been on for two hours");
    assert!(run.is_idle() && run.readings.is_empty());
    run.signal(at(7_300.0), true);
    assert!(!run.decides(), "it still is");
    run.signal(at(7_400.0), false);
    assert!(run.decides(), "it went off");
}

#[test]
fn a_conveyor_is_taken_in_pieces() {
    let (windows, run) = play(&conveyor(), 1_000.0, 1_010.0);
    let pieces: Vec<_> = windows.iter().map(|(from, _, to)| (*from, *to)).collect();
    assert_eq!(pieces, [(0.0, 540.0), (540.0, 1_000.0)], "nothing missing, nothing twice");
    assert!(windows.iter().all(|(started, rinse, _)| started.to_bits() == rinse.to_bits()));
    assert!(run.is_idle());
}
