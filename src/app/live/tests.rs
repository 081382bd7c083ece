//! A listener that is too slow, and the end of the answer.

use std::pin::{Pin, pin};

use axum::body::BodyDataStream;
use futures_util::StreamExt;

use super::event::SourceSeen;
use super::*;
use crate::core::id::{ChannelId, SourceId};
use crate::core::reading::{Sample, Value};
use crate::core::time::Timestamp;
use crate::probe::{Delivery, FromSource, SourceState};

const KITCHEN: &str = "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\n\
    wash-time = \"45s\"\nrinse-time = \"10s\"\nprobes = [\"rinse\"]\n\
    [[source]]\nname = \"port1\"\nkind = \"serial\"\ndevice = \"/dev/null\"\n";

fn tap() -> Tap {
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    std::fs::write(file.path(), KITCHEN).expect("a temporary file");
    let loaded = Configuration::load(&[file.path().to_owned()], []).expect("a sound configuration");
    Tap::new(&loaded.configuration, &loaded.configuration.channels)
}

fn delivery(number: u64, celsius: f64) -> FromSource {
    let at = Timestamp::from_micros(1_700_000_000_000_000);
    FromSource::Delivery(Delivery {
        source: SourceId(0),
        number,
        received: at,
        messages: 1,
        samples: vec![Sample { channel: ChannelId(0), at, value: Value::Number(celsius) }],
        refusals: Vec::new(),
    })
}

fn begun() -> Begun {
    Begun { version: "1".to_owned(), configuration: "2".to_owned(), simulated: false }
}

/// The events of the next part of an answer.
async fn next(parts: &mut Pin<&mut BodyDataStream>) -> Option<Vec<LiveEvent>> {
    let part = parts.next().await?.expect("it cannot fail");
    let lines = part.split(|byte| *byte == b'\n').filter(|line| !line.is_empty());
    Some(lines.map(|line| serde_json::from_slice(line).expect("an event a line")).collect())
}

fn value(event: &LiveEvent) -> Option<f64> {
    let LiveEvent::Reading(reading) = event else { return None };
    reading.corrected.map(|celsius| celsius.0)
}

// The limit is this program's own: 100 values more than it holds are told while nobody takes any.
#[tokio::test]
async fn a_slow_listener_loses_the_oldest_and_is_told_how_many() {
    let tap = tap();
    tap.hear(&FromSource::State { source: SourceId(0), state: SourceState::Up });
    let stop = CancellationToken::new();
    let body = answer(begun(), tap.listen(), stop.clone());
    let all = WAITING_MAX as u64 + 100;
    for number in 1..=all {
        tap.hear(&delivery(number, if number == all { 99.0 } else { 20.0 }));
    }
    let mut parts = pin!(body.into_data_stream());
    let mut told = Vec::new();
    while told.last().and_then(value) != Some(99.0) {
        told.extend(next(&mut parts).await.expect("it goes on"));
    }
    let up = SourceSeen { source: "port1".to_owned(), up: true, cause: None };
    let first = [LiveEvent::Begun(begun()), LiveEvent::Source(up), LiveEvent::Lost { events: 100 }];
    assert_eq!(told[..3], first);
    assert_eq!(told.iter().filter_map(value).count(), WAITING_MAX);

    stop.cancel();
    let last = next(&mut parts).await.expect("it says why it ends");
    assert!(matches!(last.as_slice(), [LiveEvent::Ended { .. }]), "{last:?}");
    assert!(next(&mut parts).await.is_none());
}

// Regression: a proof threw away only what waited already when Enter was pressed, and took the readings that were on
// their way then for what the probe shows at rest.
#[test]
fn what_is_on_its_way_as_a_key_is_pressed_is_passed_over() {
    // Its time goes on by itself where nothing else is left to do.
    let runtime = Builder::new_current_thread().enable_time().start_paused(true).build().expect("a runtime");
    let (sender, events) = broadcast::channel(8);
    let _sending = runtime.spawn(async move {
        for (wait_ms, events) in [(0, 2), (50, 3), (1_000, 4)] {
            tokio::time::sleep(Duration::from_millis(wait_ms)).await;
            sender.send(Arc::new(LiveEvent::Lost { events })).expect("somebody listens");
        }
    });
    let mut live = Live {
        runtime,
        through: Through::OwnSources,
        channels: Vec::new(),
        wanted: BTreeSet::new(),
        known: VecDeque::from([LiveEvent::Lost { events: 1 }]),
        events,
        ended: None,
        _stop: CancellationToken::new().drop_guard(),
    };
    let mut passed = Vec::new();
    let took = |event: &LiveEvent| {
        let LiveEvent::Lost { events } = event else { panic!("{event:?}") };
        passed.push(*events);
        Ok(())
    };
    assert!(live.pass_over(&Clock::system(), took).is_ok());
    assert_eq!(passed, [1, 2, 3]);
    let next = live.next(Duration::from_secs(5));
    assert!(matches!(next, Some(LiveEvent::Lost { events: 4 })), "{next:?}");
}
