use super::super::fixture::{at, sampled};
use super::*;

const WASH_MIN: f64 = 66.0;
const KEEP: Duration = Duration::from_secs(120);

/// What the tank is after `seconds` at which its water followed `celsius`.
fn after(seconds: f64, celsius: impl Fn(f64) -> f64) -> Operation {
    let mut tank = Tank::new();
    for reading in sampled(0.0, seconds, celsius) {
        tank.push(reading, WASH_MIN, KEEP);
    }
    assert!(tank.recent.len() <= 481 && tank.peaks.len() <= 181, "what is kept is bounded");
    tank.operation()
}

// Limit 66 °C: Food Code 4-501.110. Drains, fills and heaters: common practice, no source.
#[test]
fn a_tank_in_operation_is_told_from_an_empty_one() {
    use Operation::{Doubtful, In, Out, Unseen};
    let drained = |t: f64| if t < 100.0 { 68.0 } else { 68.0 - 6.1_f64.min((t - 100.0) * 0.5) };
    let taken = |t: f64| if t < 100.0 { 68.0 } else { 68.0 - 5.9_f64.min((t - 100.0) * 0.5) };
    let emptied = |t: f64| if t < 100.0 { 68.0 } else { 30.0 + 38.0 * (-(t - 100.0) / 30.0).exp() };
    let refilled = move |t: f64| if t < 600.0 { emptied(t) } else { 60.0_f64.min(30.0 + (t - 600.0)) };
    let hot_again =
        move |t: f64| if t < 700.0 { refilled(t) } else { 67.0_f64.min(60.0 + (t - 700.0) * 0.02) };
    let filled_cold = |t: f64| if t < 600.0 { 22.0 } else { 57.0_f64.min(22.0 + (t - 600.0)) };
    let racks_in_it = move |t: f64| filled_cold(t) - 2.5 * (t / 30.0).sin().max(0.0);
    let drained_again = move |t: f64| {
        if t < 1_500.0 { racks_in_it(t) } else { 47.0 + 10.0 * (-(t - 1_500.0) / 15.0).exp() }
    };
    // What the simulator's hose does to a tank that was just drained.
    let hosed = |t: f64| {
        let drained = |t: f64| if t < 100.0 { 68.0 } else { 48.0 + 20.0 * (-(t - 100.0) / 20.0).exp() };
        drained(t) + ((t - 250.0) / 8.0).clamp(0.0, 4.8)
    };
    // A probe with a time constant of 3 s: in a hand of 35 °C, and in the air of the kitchen, where it takes 40 s.
    let in_hand = |t: f64| if t < 100.0 { 68.0 } else { 35.0 + 33.0 * (-(t - 100.0) / 3.0).exp() };
    let in_air = |t: f64| if t < 100.0 { 68.0 } else { 22.0 + 46.0 * (-(t - 100.0) / 40.0).exp() };
    let put_back =
        move |t: f64| if t < 300.0 { in_hand(t) } else { 68.0 - 33.0 * (-(t - 300.0) / 3.0).exp() };
    for (name, seconds, celsius, expected) in [
        ("hot", 300.0, &(|_| 68.0) as &dyn Fn(f64) -> f64, In),
        ("a heater that died an hour ago", 3_600.0, &|t| 68.0 - t / 400.0, In),
        ("cold ware", 130.0, &taken, In),
        ("a drain", 130.0, &drained, Out),
        ("taken out into a hand", 200.0, &in_hand, Unseen),
        ("and put back", 330.0, &put_back, Unseen),
        ("and put back long ago", 600.0, &put_back, In),
        ("taken out and forgotten", 3_600.0, &in_hand, Out),
        ("into still air, which is as a drain", 200.0, &in_air, Out),
        ("an empty one", 500.0, &emptied, Out),
        ("a cold night", 3_600.0, &|_| 22.0, Out),
        ("being filled", 625.0, &refilled, Out),
        ("filled, heating", 900.0, &hot_again, Doubtful),
        ("filled and hot", 1_100.0, &hot_again, In),
        ("filled, its heater dead", 1_100.0, &refilled, Doubtful),
        ("filled cold in the morning, and racks washed in it", 1_450.0, &racks_in_it, Doubtful),
        ("drained and hosed", 500.0, &hosed, Out),
        ("filled cold and drained", 1_700.0, &drained_again, Out),
    ] {
        assert_eq!(after(seconds, celsius), expected, "{name}");
    }
}

#[test]
fn a_fault_speaks_for_no_side() {
    let mut tank = Tank::new();
    tank.push(sampled(0.0, 0.0, |_| 20.0)[0], WASH_MIN, KEEP);
    assert_eq!(tank.operation(), Operation::Out);
    tank.push_fault(at(1.0), Fault::OpenCircuit);
    assert_eq!(tank.operation(), Operation::In, "the doubt is in favour of a cycle");
    let wash = |tank: &Tank, from, to| {
        let Wash { readings, fault, spared: _ } = tank.between(at(from), at(to));
        (readings.len(), fault)
    };
    assert_eq!(wash(&tank, 0.0, 10.0), (1, None), "too short to count of itself");
    assert_eq!(wash(&tank, 5.0, 10.0), (0, Some(Fault::OpenCircuit)), "what came in place of a reading");
    tank.push_fault(at(2.0), Fault::OpenCircuit);
    assert_eq!(wash(&tank, 0.0, 10.0), (1, Some(Fault::OpenCircuit)));
    assert_eq!(wash(&tank, 0.0, 0.5), (1, None), "before it");
}
