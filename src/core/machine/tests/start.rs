//! A start of the service after a time without it, for sources whose clocks are not the gateway's.

use super::*;

/// When the service starts, s of the gateway's clock; it stopped an hour before.
const START_S: f64 = 7_200.0;
const STOP_S: f64 = START_S - 3_600.0;
/// How much later than the gateway's clock that of the source is, s, which is also how far it is from it at most.
const CLOCKS_S: [f64; 4] = [-600.0, -5.0, 0.0, 600.0];

/// What both probes say from one second of the gateway's clock to another, by a clock that is `ahead_s` of it.
fn said(from_s: f64, to_s: f64, ahead_s: f64, rinse: Value) -> Vec<Arrival> {
    let seconds = (0..).map(|second| from_s + f64::from(second)).take_while(|now| *now < to_s);
    let of =
        |channel, value, now| (now, Sample { channel: ChannelId(channel), at: at(now + ahead_s), value });
    // One that moves a little, as water does.
    let celsius = |now: f64| Value::Number(68.0 + 0.1 * (now % 7.0));
    seconds
        .flat_map(|now| {
            let rinse = if rinse == WELL { celsius(now) } else { rinse };
            [of(WASH, celsius(now), now), of(RINSE, rinse, now)]
        })
        .collect()
}

const WELL: Value = Value::Number(0.0);
const OPEN: Value = Value::Fault(Fault::OpenCircuit);

/// A machine that was heard well until the service stopped, and the service has started again.
fn resumed(ahead_s: f64) -> Machine {
    let mut machine = machine();
    play_on(&mut machine, &said(STOP_S - 60.0, STOP_S, ahead_s, WELL), false);
    machine.resume(at(START_S), &mut Effects::new());
    machine
}

/// The gaps of the final rinse's probe that are put on record from the start on, each with when it was recorded.
fn gaps_of(machine: &mut Machine, arrivals: &[Arrival]) -> Vec<(f64, Gap)> {
    let records = play_on(machine, arrivals, false).0;
    let of = |record: &Record| {
        let Body::Gap(gap) = &record.body else { return None };
        (gap.probe == "dm1/rinse").then(|| (record.recorded.seconds(), gap.clone()))
    };
    records.iter().filter_map(of).collect()
}

// Own promise: a fault that lasts is on record within seconds of the start, whatever the clock of the source
// shows, and from the start on at the earliest.
#[test]
fn a_fault_after_the_start_is_seen_by_any_clock() {
    for ahead_s in CLOCKS_S {
        let found = gaps_of(&mut resumed(ahead_s), &said(START_S + 1.0, START_S + 60.0, ahead_s, OPEN));
        let [(recorded_s, gap)] = found.as_slice() else { panic!("{ahead_s} s ahead: {found:?}") };
        assert!((START_S + 10.0..START_S + 40.0).contains(recorded_s), "{ahead_s} s ahead: {recorded_s}");
        let after_s = gap.from.seconds() - ahead_s - START_S;
        assert!((-0.01..1.5).contains(&after_s), "{ahead_s} s ahead: from {after_s} s after the start");
        assert_eq!((gap.fault, gap.to), (Fault::OpenCircuit, None), "{ahead_s} s ahead");
    }
}

// Own promise: of the time without the service no probe is blamed, whatever the clock of its source shows.
#[test]
fn a_probe_that_is_well_after_the_start_has_no_gap() {
    for ahead_s in CLOCKS_S {
        let found = gaps_of(&mut resumed(ahead_s), &said(START_S + 1.0, START_S + 60.0, ahead_s, WELL));
        assert!(found.is_empty(), "{ahead_s} s ahead: {found:?}");
    }
}

// Own promise: a silence after the start is on record with as long as it was.
#[test]
fn a_silence_after_the_start_is_as_long_as_it_was() {
    for ahead_s in CLOCKS_S {
        // From the start on, and from later.
        for heard_s in [0.0, 60.0] {
            let mut arrivals = said(START_S, START_S + heard_s, ahead_s, WELL);
            arrivals.extend(said(START_S + heard_s + 120.0, START_S + heard_s + 180.0, ahead_s, WELL));
            let found = gaps_of(&mut resumed(ahead_s), &arrivals);
            let [(_, opened), (_, closed)] = found.as_slice() else { panic!("{ahead_s} s ahead: {found:?}") };
            assert_eq!((opened.fault, opened.to), (Fault::Silent, None), "{ahead_s} s ahead");
            let to = closed.to.expect("heard again");
            let length_s = to.seconds_since(closed.from);
            assert!((length_s - 120.0).abs() < 1.5, "{ahead_s} s ahead: {length_s} s of silence");
            assert!(!closed.filled, "nothing of it came");
        }
    }
}

// Own promise: a source that lost its clock with the power, and counts anew from anywhere, is believed from then on.
#[test]
fn a_clock_that_starts_anew_hides_no_fault() {
    let ahead_s = 100.0 - START_S;
    let found = gaps_of(&mut resumed(0.0), &said(START_S + 1.0, START_S + 120.0, ahead_s, OPEN));
    let open = found.iter().find(|(_, gap)| gap.fault == Fault::OpenCircuit);
    assert!(open.is_some_and(|(recorded_s, _)| *recorded_s < START_S + 60.0), "{found:?}");
}

// Own promise: what a source kept from the time without the service and sends after it is no gap, though some of it
// was lost; nor does one time that is far ahead hide a fault.
#[test]
fn neither_what_was_kept_nor_one_wrong_time_misleads() {
    let mut kept: Vec<Arrival> = said(STOP_S + 1_800.0, START_S, 0.0, WELL);
    for (arrival, turn) in kept.iter_mut().zip(0_u32..) {
        arrival.0 = START_S + 1.0 + f64::from(turn) / 2_000.0;
    }
    kept.extend(said(START_S + 5.0, START_S + 60.0, 0.0, WELL));
    assert_eq!(gaps_of(&mut resumed(0.0), &kept), Vec::new());
    let mut wrong = said(START_S + 1.0, START_S + 60.0, 0.0, OPEN);
    wrong[5].1.at = at(START_S + 90_000.0);
    let found = gaps_of(&mut resumed(0.0), &wrong);
    assert!(found.iter().any(|(_, gap)| gap.fault == Fault::OpenCircuit), "{found:?}");
}
