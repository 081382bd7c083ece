use proptest::prelude::*;

use super::*;

const NOON: Timestamp = Timestamp::from_micros(1_767_268_800_000_000);

fn at(seconds: u64) -> Timestamp {
    NOON.plus(Duration::from_secs(seconds))
}

fn heads(inputs: u64, records: u64) -> Heads {
    Heads { inputs, records }
}

fn place(input: u64) -> Place {
    Place { input, block: 0 }
}

// The limits are the project's own, no outside source.
#[test]
fn live_is_cut_where_it_is_far_behind_or_old() {
    for (waiting, seconds, cut) in [
        (0, 0, false),
        (5_000, 3_600, false),
        (5_001, 30, false),
        (5_001, 31, true),
        (50_000, 30, false),
        (50_001, 0, true),
    ] {
        let mut track = Track::new(NOON);
        track.cut(heads(waiting, 0), at(seconds));
        let expected = if cut { (place(waiting), 1) } else { (place(0), 0) };
        assert_eq!((track.live, track.readings.len()), expected, "{waiting} inputs, {seconds} s");
    }
}

#[test]
fn a_month_away_is_one_stretch_and_live_goes_on_from_the_newest() {
    let mut track = Track::new(NOON);
    track.live_taken(place(1_000), heads(1_000, 0), None, NOON);
    // Every minute somebody looks whether the server is back.
    for minute in 1..=30 * 24 * 60_u64 {
        track.cut(heads(1_000 + minute * 3_840, minute * 5), at(minute * 60));
    }
    let all = heads(1_000 + 30 * 24 * 60 * 3_840, 30 * 24 * 60 * 5);
    assert!(track.live.input + 50_000 >= all.inputs);
    assert_eq!(track.readings.len(), 1);
    assert_eq!(track.records.len(), 1);
    assert_eq!(track.inputs_behind(all), all.inputs - 1_000);
    assert_eq!(track.records_behind(all), all.records);
    assert_eq!(track.oldest(all), Some(NOON));
    assert!(track.to_bytes().len() < 1_000);
}

#[test]
fn a_stretch_is_through_at_its_end_or_where_nothing_is_left() {
    // In the middle of a round of blocks nothing is known of the inputs before its end.
    let within = Place { input: 60_001, block: 7 };
    for (next, left) in [(place(700), 1), (place(60_000), 0), (place(60_001), 0), (place(0), 0), (within, 1)]
    {
        let mut track = Track::new(NOON);
        track.cut(heads(60_000, 0), at(60));
        track.stretch_taken(place(0), next, Some(at(9)));
        assert_eq!(track.readings.len(), left, "{next:?}");
        if let Some(stretch) = track.readings.first() {
            assert_eq!((stretch.at, stretch.since), (next, at(9)));
        }
        let unknown = track.clone();
        track.stretch_taken(place(123), place(456), None);
        assert_eq!(track, unknown, "a stretch that is not there");
    }
}

#[test]
fn records_are_through_from_the_newest_down() {
    let mut track = Track::new(NOON);
    track.cut(heads(0, 1_200), NOON);
    track.records_taken(1_200, 700);
    assert_eq!(track.records, [Run { from: 0, to: 700 }]);
    assert_eq!(track.alerts, [Run { from: 0, to: 1_200 }]);
    track.cut(heads(0, 2_000), NOON);
    assert_eq!(track.records, [Run { from: 0, to: 700 }, Run { from: 1_200, to: 2_000 }]);
    track.records_taken(2_000, 1_200);
    track.records_taken(700, 0);
    assert_eq!(track.records, []);
}

#[test]
fn only_so_many_spans_wait() {
    let mut track = Track::new(NOON);
    for _ in 0..SPANS_MAX {
        track.send_again(NOON, at(60), heads(0, 7), NOON).expect("room");
    }
    assert_eq!(track.send_again(NOON, at(60), heads(0, 7), NOON), Err(TooManySpans));
    let mut reached = track.spans[0].clone();
    reached.at = at(60);
    track.span_taken(&reached);
    assert_eq!(track.spans.len(), SPANS_MAX, "its records are still to come");
    reached.records.to = 0;
    track.span_taken(&reached);
    assert_eq!(track.spans.len(), SPANS_MAX - 1);
}

#[test]
fn what_is_no_track_of_this_version_is_refused() {
    let later = br#"{"v":2,"live":7}"#;
    assert!(matches!(Track::from_bytes(later), Err(TrackError::Version { found: 2 })));
    assert!(matches!(Track::from_bytes(b"{}"), Err(TrackError::Shape(_))));
}

/// What may happen to a track: the ledger grows, and part of live, of a stretch or of a run is taken.
#[derive(Clone, Copy, Debug)]
enum Happening {
    Grow { inputs: u64, records: u64 },
    Live(u64),
    Stretch(usize, u64),
    Records(usize, u64),
}

fn happening() -> impl Strategy<Value = Happening> {
    prop_oneof![
        (0..200_000_u64, 0..2_000_u64).prop_map(|(inputs, records)| Happening::Grow { inputs, records }),
        (1..20_000_u64).prop_map(Happening::Live),
        (0..STRETCHES_MAX, 1..60_000_u64).prop_map(|(index, inputs)| Happening::Stretch(index, inputs)),
        (0..STRETCHES_MAX, 1..900_u64).prop_map(|(index, records)| Happening::Records(index, records)),
    ]
}

proptest! {
    // The promise of the module: whatever happens, an input or record is sent or still named,
    // and the state stays small.
    #[test]
    fn nothing_is_left_out(happenings in prop::collection::vec(happening(), 1..300)) {
        let mut track = Track::new(NOON);
        let mut head = heads(0, 0);
        let (mut sent, mut sent_records) = (Ranges::default(), Ranges::default());
        for (second, happening) in (0..).zip(happenings) {
            match happening {
                Happening::Grow { inputs, records } => {
                    head.inputs += inputs;
                    head.records += records;
                    track.cut(head, at(second));
                }
                Happening::Live(inputs) => {
                    let next = (track.live.input + inputs).min(head.inputs);
                    sent.add(track.live.input, next);
                    track.live_taken(place(next), head, None, at(second));
                    sent_records.add(track.live_records, head.records);
                    track.live_records_taken(head.records);
                }
                Happening::Stretch(index, inputs) => {
                    let Some(stretch) = track.readings.get(index).copied() else { continue };
                    let next = (stretch.at.input + inputs).min(head.inputs);
                    sent.add(stretch.at.input, next);
                    track.stretch_taken(stretch.at, place(next), None);
                }
                Happening::Records(index, records) => {
                    let Some(run) = track.records.get(index).copied() else { continue };
                    let down_to = run.to.saturating_sub(records).max(run.from);
                    sent_records.add(down_to, run.to);
                    track.records_taken(run.to, down_to);
                }
            }
            let mut named = sent.clone();
            track.readings.iter().for_each(|stretch| named.add(stretch.at.input, stretch.end));
            named.add(track.live.input, head.inputs);
            prop_assert!(named.cover(head.inputs), "{track:?}");
            let mut named = sent_records.clone();
            track.records.iter().for_each(|run| named.add(run.from, run.to));
            named.add(track.live_records, head.records);
            prop_assert!(named.cover(head.records), "{track:?}");
            prop_assert!(track.readings.len() <= STRETCHES_MAX && track.records.len() <= STRETCHES_MAX);
            prop_assert!(track.to_bytes().len() < 16_384);
        }
        prop_assert_eq!(Track::from_bytes(&track.to_bytes()).expect("its own bytes"), track);
    }
}

/// Half-open ranges that were sent.
#[derive(Clone, Default)]
struct Ranges(Vec<(u64, u64)>);

impl Ranges {
    fn add(&mut self, from: u64, to: u64) {
        self.0.push((from, to));
    }

    fn cover(&mut self, end: u64) -> bool {
        self.0.sort_unstable();
        let mut reached = 0;
        for (from, to) in &self.0 {
            if *from > reached {
                return false;
            }
            reached = reached.max(*to);
        }
        reached >= end
    }
}
