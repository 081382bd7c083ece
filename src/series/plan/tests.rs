use super::*;

const NOON: Timestamp = Timestamp::from_micros(1_767_268_800_000_000);

/// A server that takes `readings` inputs and 100 records at a request of `request` each, a ledger that grows by
/// `rate` inputs a second: what is sent when, and how late what is new is at worst.
struct Run30 {
    order: Vec<char>,
    worst: Duration,
    drained: Option<Duration>,
}

fn drain(mut track: Track, mut heads: Heads, rate: u64, request: Duration, limit: Duration) -> Run30 {
    let mut turns = Turns::default();
    let (mut elapsed, mut worst, mut order, mut drained) = (Duration::ZERO, Duration::ZERO, Vec::new(), None);
    let mut fresh_at = Duration::ZERO;
    let begun = heads.inputs;
    while elapsed < limit {
        heads.inputs = begun + u64::try_from(elapsed.as_millis()).expect("a short run") * rate / 1_000;
        track.cut(heads, NOON.plus(elapsed));
        match turns.next(&track, heads, elapsed) {
            Ok(turn) => {
                elapsed += request;
                let reached = match &turn {
                    Turn::Fresh { alerts, records, readings, heads } => {
                        worst = worst.max(elapsed.saturating_sub(fresh_at));
                        fresh_at = elapsed;
                        order.push(if alerts.is_some() { 'a' } else { 'l' });
                        let input = heads.inputs.min(readings.input + LIVE_INPUTS_MANY);
                        Reached::Fresh {
                            alerts_down_to: alerts.map_or(0, |run| run.to.saturating_sub(1_000)),
                            records: records.to,
                            readings: Place { input, block: 0 },
                            last: None,
                            thinning: Thinning::default(),
                        }
                    }
                    Turn::Behind(Behind::Records(run)) => {
                        order.push('c');
                        Reached::Records(run.to.saturating_sub(100))
                    }
                    Turn::Behind(Behind::Span(span)) => {
                        order.push('s');
                        let mut span = span.clone();
                        (span.at, span.records.to) = (span.to, 0);
                        Reached::Span(span)
                    }
                    Turn::Behind(Behind::Readings(from)) => {
                        order.push('r');
                        let next = Place { input: from.input + LIVE_INPUTS_MANY, block: 0 };
                        Reached::Readings { next, last: None, thinning: Thinning::default() }
                    }
                };
                taken(&mut track, &turn, &reached, NOON.plus(elapsed));
            }
            Err(wait) => elapsed += wait.unwrap_or(FRESH_EVERY).max(Duration::from_millis(1)),
        }
        if behind(&track).is_none() {
            drained.get_or_insert(elapsed);
        }
    }
    Run30 { order, worst, drained }
}

fn away(inputs: u64, records: u64) -> (Track, Heads) {
    let heads = Heads { inputs, records };
    let mut track = Track::new(NOON.minus(Duration::from_secs(30 * 86_400)));
    track.cut(heads, NOON);
    (track, heads)
}

// The rule at the head of the module; own choice.
#[test]
fn alerts_come_first_then_live_then_records_then_spans_then_readings() {
    let (mut track, heads) = away(1_000_000, 1_000);
    track.send_again(NOON, NOON.plus(Duration::from_secs(60)), heads, NOON).expect("room");
    let run = drain(track, heads, 64, Duration::from_millis(10), Duration::from_secs(10));
    let order: String = run.order.iter().collect();
    assert!(order.starts_with("ac"), "{order}");
    let first = |letter| order.find(letter).unwrap_or_else(|| panic!("no {letter} in {order}"));
    assert!(first('a') < first('c') && first('c') < first('s') && first('s') < first('r'), "{order}");
    assert_eq!(order.rfind('c').expect("records") + 1, first('s'), "{order}");
}

#[test]
fn what_is_new_arrives_within_seconds_while_a_month_drains() {
    for (inputs, rate, request_ms, worst_ms) in [
        // A small site, a fast server: each second.
        (10_000_000, 64, 10, 1_100),
        // A thousand probes at 10 Hz: as fast as requests go, each second one behind.
        (10_000_000, 10_000, 20, 1_100),
        // A server that needs four seconds for a request: every other one.
        (10_000_000, 64, 4_000, 8_100),
    ] {
        let (track, heads) = away(inputs, 0);
        let request = Duration::from_millis(request_ms);
        let run = drain(track, heads, rate, request, Duration::from_secs(60));
        let behind = run.order.iter().filter(|letter| **letter == 'r').count();
        assert!(run.worst <= Duration::from_millis(worst_ms), "{rate}/s: {:?}", run.worst);
        assert!(behind * 5 >= run.order.len() * 2, "{rate}/s: {behind} of {} behind", run.order.len());
    }
}

#[test]
fn a_backlog_ends() {
    let (track, heads) = away(1_000_000, 30_000);
    let run = drain(track, heads, 64, Duration::from_millis(10), Duration::from_secs(30));
    // 300 requests for the records, 200 for the readings, one a second for what is new.
    assert!(run.drained.expect("an end") < Duration::from_secs(6), "{:?}", run.drained);
}

#[test]
fn nothing_new_and_nothing_behind_is_no_turn() {
    let track = Track::new(NOON);
    assert_eq!(Turns::default().next(&track, Heads::default(), Duration::ZERO), Err(None));
    let mut turns = Turns::default();
    let heads = Heads { inputs: 10, records: 0 };
    assert!(turns.next(&track, heads, Duration::ZERO).is_ok());
    let wait = turns.next(&track, heads, Duration::from_millis(300));
    assert_eq!(wait, Err(Some(Duration::from_millis(700))), "the second is not over");
}
