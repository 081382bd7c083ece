//! The ways to the desk, with nobody or somebody at it.

use super::*;
use crate::core::record::Note;

fn reception(directory: &Path, desk: mpsc::Sender<Ask>) -> Reception {
    let path = directory.join("gateway.toml");
    let text =
        "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\"]\n";
    std::fs::write(&path, text).expect("a temporary file");
    let configuration = Configuration::load(&[path], []).expect("a sound configuration").configuration;
    Reception {
        desk,
        checks: mpsc::channel(1).0,
        tap: Tap::new(&configuration, &configuration.channels),
        configuration: Arc::new(configuration),
        entering: Arc::default(),
        ended: Arc::default(),
        looked: watch::channel(0).1,
        ledger: directory.join("ledger.sqlite").into(),
        clock: Clock::system(),
    }
}

// Own promise: an entry is ended once it is begun, so that the next one is judged by what it left. The
// first caller goes while the desk is writing, as with Ctrl-C at the command.
#[tokio::test]
async fn an_entry_is_ended_although_nobody_waits_for_it() {
    let directory = tempfile::tempdir().expect("a directory");
    let (desk, mut asked) = mpsc::channel(1);
    let reception = reception(directory.path(), desk);
    let note = Note { at: None, text: "the booster hums".to_owned(), by: "ana".to_owned() };
    let order = Order::Entry { entry: Entry::Note { machine: None, note, late: false } };
    let ask = tokio::select! {
        done = reception.perform(order) => panic!("nobody has put it on record: {done:?}"),
        ask = asked.recv() => ask,
    };
    assert!(reception.entering.try_lock().is_err(), "the next entry waits for it");
    let Some(Ask::Record(_, answer)) = ask else { panic!("a record is asked for: {ask:?}") };
    assert!(answer.send(Some(7)).is_ok(), "it waits for its answer");
    drop(reception.entering.lock().await);
}

// Own promise: whoever entered something waits for the desk, and for one that does not come no longer than a second.
#[tokio::test(start_paused = true)]
async fn an_entry_waits_for_the_desk_and_not_for_ever() {
    let directory = tempfile::tempdir().expect("a directory");
    let (desk, looked) = watch::channel(7);
    let reception = Reception { looked, ..reception(directory.path(), mpsc::channel(1).0) };
    let begun = Instant::now();
    reception.looked_at(6).await;
    assert_eq!(begun.elapsed(), Duration::ZERO, "it was looked at before");
    let mut waiting = Box::pin(reception.looked_at(7));
    assert!(tokio::time::timeout(LOOK_MAX / 2, &mut waiting).await.is_err(), "nobody looked at it");
    desk.send_replace(8);
    waiting.await;
    assert!(begun.elapsed() < LOOK_MAX);
    let begun = Instant::now();
    reception.looked_at(8).await;
    assert_eq!(begun.elapsed(), LOOK_MAX, "a desk that stands still");
    drop(desk);
    reception.looked_at(8).await;
    assert_eq!(begun.elapsed(), LOOK_MAX, "a desk that is gone");
}
