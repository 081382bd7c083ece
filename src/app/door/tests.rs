//! The socket from both ends.

use std::sync::{Arc, Mutex};

use super::super::order::Step;
use super::client::CallError;
use super::*;
use crate::core::alert::AlertNumber;
use crate::core::alert::trial::Told;
use crate::core::time::Timestamp;

/// Keeps the orders it was given.
#[derive(Clone, Default)]
struct Noted(Arc<Mutex<Vec<Order>>>);

impl Service for Noted {
    async fn health(&self) -> Result<Health, Problem> {
        std::future::ready(Ok(Health { records: 7, ..Health::default() })).await
    }

    fn time(&self) -> Time {
        Time { now: Timestamp::from_micros(7), rate: 60.0 }
    }

    async fn alerts(&self, number: Option<u64>) -> Result<Vec<serde_json::Value>, Problem> {
        std::future::ready(Ok(vec![number.into()])).await
    }

    fn readings(&self) -> (Begun, Listening) {
        let begun = Begun { version: "1".to_owned(), configuration: "2".to_owned(), simulated: false };
        (begun, Listening { known: Vec::new(), events: tokio::sync::broadcast::channel(1).1 })
    }

    async fn perform(&self, order: Order) -> Result<Done, Problem> {
        let refused = matches!(order, Order::Act { .. });
        self.0.lock().expect("no holder panics").push(order);
        let problem = || Problem::new("alert-refused", "no such alert", "list them");
        std::future::ready(if refused { Err(problem()) } else { Ok(Done::default()) }).await
    }

    async fn test(&self, contact: String, asked: TestOrder) -> Result<Trial, Problem> {
        let step = Step {
            route: contact,
            what: "connect".to_owned(),
            good: true,
            told: Told::words(&*asked.configuration),
            said: asked.configuration,
        };
        std::future::ready(Ok(Trial { steps: vec![step] })).await
    }

    async fn resend(&self, again: Again) -> Result<Again, Problem> {
        std::future::ready(Ok(again)).await
    }

    async fn checkpoint(&self) -> Result<StoredCheckpoint, Problem> {
        std::future::ready(Err(Problem::new("signing-key", "no key", "make one"))).await
    }

    async fn accounts(&self, order: AccessOrder) -> Result<AccessDone, Problem> {
        let problem = Problem::new("access-refused", order.by, "");
        std::future::ready(Err(problem)).await
    }

    async fn rotate(&self, rotation: KeyRotation) -> Result<Rotated, Problem> {
        std::future::ready(Ok(Rotated { key: rotation.by })).await
    }
}

fn acknowledge() -> Order {
    let (by, via) = ("Ana".to_owned(), "claimed".to_owned());
    Order::Acknowledge { alert: AlertNumber(3), by, via, note: None }
}

// SO_PEERCRED (unix(7)) says who connected; the mode is the project's own.
#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn orders_pass_signed_with_the_user_who_gave_them() {
    // An error says that a provider is installed already.
    drop(rustls::crypto::ring::default_provider().install_default());
    let directory = tempfile::tempdir().expect("a temporary directory");
    let socket = directory.path().join("control.socket");
    let (service, stop) = (Noted::default(), CancellationToken::new());
    let door = Door::open(&socket).expect("it opens");
    let mode = std::fs::metadata(&socket).expect("it is there").permissions().mode() & 0o777;
    assert_eq!(mode, 0o660);
    let mut tasks = tokio::task::JoinSet::new();
    tasks.spawn(door.serve(service.clone(), stop.clone()));
    assert!(matches!(Door::open(&socket), Err(DoorError::Taken { .. })));

    let path = socket.clone();
    let calls = move || {
        let done: Done = client::post(&path, "/orders", &acknowledge())?;
        let trial: Trial = client::post(&path, "/tests/ana", &TestOrder { configuration: "ok".to_owned() })?;
        let (by, racks, done_text) = ("Ana".to_owned(), "held".to_owned(), "reset".to_owned());
        let act = Order::Act { alert: AlertNumber(3), by, racks, done: done_text, covers: None };
        let refused = client::post::<Done>(&path, "/orders", &act);
        let at = |seconds: i64| crate::core::time::Timestamp::from_micros(seconds * 1_000_000);
        let again = Again { from: at(1), to: at(2) };
        assert_eq!(client::post::<Again>(&path, "/series/resend", &again)?, again);
        Ok::<_, CallError>((done, trial, refused))
    };
    let (done, trial, refused) =
        tokio::task::spawn_blocking(calls).await.expect("no panic").expect("the service answers");
    assert_eq!((done, trial.steps.len()), (Done::default(), 1));
    assert!(matches!(refused, Err(CallError::Refused(problem)) if problem.slug == "alert-refused"));
    let Some(Order::Acknowledge { by, via, .. }) = service.0.lock().expect("no panic").first().cloned()
    else {
        panic!("an acknowledgement comes first");
    };
    assert_eq!((by, via), (format!("Ana ({})", Peer::own()), "command".to_owned()));

    stop.cancel();
    tasks.join_next().await.expect("one task").expect("no panic").expect("it ends well");
    assert!(!socket.exists());
    assert!(matches!(client::knock(&socket), Err(CallError::NotRunning)));
}

// A command of before sends no number of racks: its action covers all that the alert counts, as it did.
#[test]
fn an_order_to_act_of_before_says_no_number_of_racks() {
    let before = r#"{"order":"act","alert":3,"by":"Ana","racks":"held","done":"reset"}"#;
    let order: Order = serde_json::from_str(before).expect("an order");
    assert!(matches!(order, Order::Act { covers: None, .. }), "{order:?}");
    assert_eq!(serde_json::to_string(&order).expect("JSON"), before, "a service of before takes it");
    let with: Order = serde_json::from_str(&before.replace('}', r#","covers":2}"#)).expect("an order");
    let with = with.signed(&Peer::own());
    assert!(matches!(with, Order::Act { covers: Some(2), .. }), "{with:?}");
}

// A killed process leaves its socket behind (unix(7): unlink is the maker's duty).
#[tokio::test]
async fn a_socket_left_behind_is_replaced_and_no_other_file() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let socket = directory.path().join("control.socket");
    drop(std::os::unix::net::UnixListener::bind(&socket).expect("a socket"));
    assert!(socket.exists());
    Door::open(&socket).expect("it replaces the dead one");
    std::fs::write(&socket, "a file of somebody").expect("writable");
    assert!(matches!(Door::open(&socket), Err(DoorError::Make { .. })));
    std::future::ready(()).await;
}

// Own promise: a command goes by the service's clock where one answers in time, and else by the computer's.
#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_command_goes_by_the_clock_of_a_service_that_answers() {
    // An error says that a provider is installed already.
    drop(rustls::crypto::ring::default_provider().install_default());
    let directory = tempfile::tempdir().expect("a temporary directory");
    let socket = directory.path().join("control.socket");
    let stop = CancellationToken::new();
    let mut tasks = tokio::task::JoinSet::new();
    tasks.spawn(Door::open(&socket).expect("it opens").serve(Noted::default(), stop.clone()));
    let asked = |socket: std::path::PathBuf| async {
        let asked = tokio::task::spawn_blocking(move || {
            let clock = time::clock(&socket);
            (clock.now(), clock.rate())
        });
        asked.await.expect("no panic")
    };
    // 1970 is the hour of the service above, 2026 that of whoever wrote this.
    let this_year = Timestamp::from_micros(1_767_225_600_000_000);
    let (now, rate) = asked(socket.clone()).await;
    assert!(now < this_year && (59.0..61.0).contains(&rate), "{now}, {rate} times as fast");
    stop.cancel();
    tasks.join_next().await.expect("one task").expect("no panic").expect("it ends well");
    let (now, rate) = asked(socket.clone()).await;
    assert!(now > this_year && (0.9..1.1).contains(&rate), "{now}, {rate} times as fast");
    // One that stands still takes a call and gives no answer.
    let _still = std::os::unix::net::UnixListener::bind(&socket).expect("a socket");
    assert!(asked(socket).await.0 > this_year);
}

/// The mask of file modes, which is one for all threads of a process (umask(2), proc(5)).
fn mask() -> String {
    let status = std::fs::read_to_string("/proc/self/status").expect("of this process");
    let line = status.lines().find(|line| line.starts_with("Umask:"));
    line.expect("Linux 4.7 and later have it").to_owned()
}

// Whatever another thread makes at that instant keeps its own mode.
#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn opening_leaves_the_mask_of_the_process_alone() {
    let (directory, before) = (tempfile::tempdir().expect("a temporary directory"), mask());
    let opened = CancellationToken::new();
    let watch = std::thread::spawn({
        let opened = opened.clone();
        move || {
            let mut seen = std::collections::BTreeSet::new();
            while !opened.is_cancelled() {
                seen.insert(mask());
            }
            seen.insert(mask());
            seen
        }
    });
    for number in 0..500 {
        Door::open(&directory.path().join(number.to_string())).expect("it opens");
    }
    opened.cancel();
    assert_eq!(watch.join().expect("no panic"), std::iter::once(before).collect());
}

// The mode it has between bind(2) and the one that is asked for.
#[tokio::test]
async fn nobody_else_may_connect_at_any_instant() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path().join("control.socket");
    let _listener = bound(&path).expect("it is bound");
    let mode = std::fs::metadata(&path).expect("it is there").permissions().mode() & 0o777;
    assert_eq!(mode & !MODE, 0, "{mode:o}");
}
