//! Events, states and the last will at a real Mosquitto, heard by its own client.

use std::fs;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use rinseward::alert::answer::{Answer, Step};
use rinseward::alert::publish::{MachineState, OpenAlert, Publisher, Standing, prepare};
use rinseward::config::delivery::PublishSettings;
use rinseward::config::source::{MqttLogin, MqttTls, MqttVersion};
use rinseward::core::alert::trial::Fact;
use rinseward::core::alert::{AlertNumber, Condition, Severity};
use rinseward::core::cycle::verdict::Verdict;
use serde_json::{Value, json};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use super::peer::{AT, Identity, PACE, Peer};
use super::webhook::event;
use crate::mqtt::broker::{Broker, program};

const VERSIONS: [MqttVersion; 2] = [MqttVersion::V5, MqttVersion::V311];

fn settings(port: u16, version: MqttVersion) -> PublishSettings {
    PublishSettings {
        host: "127.0.0.1".to_owned(),
        port,
        version,
        client_id: "rinseward-publish-north".to_owned(),
        prefix: "rinseward/north".to_owned(),
        keep_alive: Duration::from_secs(5),
        login: None,
        tls: None,
        pace: PACE,
    }
}

/// Mosquitto's own client: `topic retained payload`.
fn listener(port: u16, more: &[&str]) -> Peer {
    let mut command = Command::new(program("mosquitto_sub"));
    command.args(["-h", "127.0.0.1", "-p", &port.to_string(), "-q", "1", "-F", "%t %r %p"]);
    command.args(["-t", "rinseward/#"]).args(more);
    Peer::listen(command)
}

/// Waits for a message of this topic and gives what follows it; others may come between.
fn until(listener: &Peer, topic: &str, retained: bool, wanted: impl Fn(&str) -> bool) -> String {
    loop {
        let line = listener.line(topic);
        let head = format!("{topic} {} ", u8::from(retained));
        if let Some(payload) = line.strip_prefix(&head).filter(|payload| wanted(payload)) {
            return payload.to_owned();
        }
    }
}

/// The same, retained or not.
fn until_any(listener: &Peer, topic: &str, wanted: impl Fn(&str) -> bool) {
    loop {
        let line = listener.line(topic);
        let mut words = line.splitn(3, ' ');
        if words.next() == Some(topic) && words.nth(1).is_some_and(&wanted) {
            return;
        }
    }
}

struct Running {
    publisher: Publisher,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

impl Running {
    fn start(settings: PublishSettings) -> Self {
        let (publisher, broker) = prepare(settings).expect("legal settings");
        let stop = CancellationToken::new();
        let task = tokio::spawn(broker.run(stop.clone()));
        Self { publisher, stop, task }
    }

    async fn stop(self) {
        self.stop.cancel();
        self.task.await.expect("it ends by itself");
    }
}

fn state(settled: f64) -> MachineState {
    MachineState {
        time: AT,
        machine: "dm1".to_owned(),
        last_cycle: Some(AT),
        verdict: Some(Verdict::Cold),
        settled_minimum_c: Some(settled),
        limit_c: Some(82.222),
        tank_c: None,
        alerts: vec![OpenAlert {
            number: AlertNumber(17),
            condition: Condition::Cold,
            severity: Severity::Critical,
            raised: AT,
            acknowledged: false,
        }],
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn events_states_and_the_gateway() {
    for version in VERSIONS {
        let broker = Broker::start();
        let running = Running::start(settings(broker.port(), version));
        let early = listener(broker.port(), &[]);
        // What is retained comes only once the subscription stands.
        until_any(&early, "rinseward/north/gateway", |payload| payload == "online");

        running.publisher.state(&state(71.3));
        assert_eq!(running.publisher.publish(&event()).await, Answer::Taken, "{version:?}");

        let seen: Value =
            serde_json::from_str(&until(&early, "rinseward/north/dm1/alert", false, |_| true)).expect("JSON");
        assert_eq!(seen["id"], "17-1-ana-webhook:facility");
        assert_eq!(seen["specversion"], "1.0");
        running.publisher.state(&state(71.9));
        until(&early, "rinseward/north/dm1/state", false, |payload| payload.contains("71.9"));

        // Whoever comes later sees how things are, and no event of the past.
        let late = listener(broker.port(), &[]);
        let mut retained = [late.line("a state"), late.line("a state")];
        retained.sort();
        let state: Value = serde_json::from_str(
            retained[0].strip_prefix("rinseward/north/dm1/state 1 ").expect("the state of the machine"),
        )
        .expect("JSON");
        assert_eq!(retained[1], "rinseward/north/gateway 1 online");
        assert_eq!(
            state,
            json!({
                "time": "2023-11-14T22:13:20Z", "machine": "dm1", "last-cycle": "2023-11-14T22:13:20Z",
                "verdict": "cold", "settled-minimum-c": 71.9, "limit-c": 82.222, "tank-c": null,
                "alerts": [{
                    "number": 17, "condition": "cold", "severity": "critical",
                    "raised": "2023-11-14T22:13:20Z", "acknowledged": false
                }]
            })
        );

        running.stop().await;
        until(&late, "rinseward/north/gateway", false, |payload| payload == "stopped");
        let later = listener(broker.port(), &["-t", "x"]);
        until(&later, "rinseward/north/gateway", true, |payload| payload == "stopped");
    }
}

// MQTT 5.0 §3.3.2.3.9: the media type travels with the message.
#[tokio::test(flavor = "multi_thread")]
async fn says_what_it_publishes() {
    let broker = Broker::start();
    let mut command = Command::new(program("mosquitto_sub"));
    command.args([
        "-V",
        "5",
        "-p",
        &broker.port().to_string(),
        "-q",
        "1",
        "-F",
        "%t %C",
        "-t",
        "rinseward/#",
    ]);
    let listener = Peer::listen(command);
    // Its subscription stands once it hears of the gateway, retained or not.
    let running = Running::start(settings(broker.port(), MqttVersion::V5));
    assert_eq!(listener.line("the gateway"), "rinseward/north/gateway text/plain");
    assert_eq!(running.publisher.publish(&event()).await, Answer::Taken);
    assert_eq!(listener.line("an event"), "rinseward/north/dm1/alert application/cloudevents+json");
    running.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_restarts_and_forgets() {
    let mut broker = Broker::start();
    let running = Running::start(settings(broker.port(), MqttVersion::V5));
    running.publisher.state(&state(71.3));
    assert_eq!(running.publisher.publish(&event()).await, Answer::Taken);

    broker.kill();
    let meanwhile = running.publisher.publish(&event()).await;
    assert!(matches!(meanwhile, Answer::Later { .. }), "without a PUBACK it is not delivered: {meanwhile:?}");
    assert!(meanwhile.error().is_some(), "{meanwhile:?}");
    if broker.path("mosquitto.db").exists() {
        broker.wipe();
    }
    broker.restart();

    // As the courier would: again, until it is taken.
    let deadline = tokio::time::Instant::now() + Duration::from_secs(20);
    while running.publisher.publish(&event()).await != Answer::Taken {
        assert!(tokio::time::Instant::now() < deadline, "the broker is back");
    }
    let late = listener(broker.port(), &[]);
    let mut retained = [late.line("a state"), late.line("a state")];
    retained.sort();
    assert!(retained[0].starts_with("rinseward/north/dm1/state 1 "), "{retained:?}");
    assert_eq!(retained[1], "rinseward/north/gateway 1 online");
    running.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_hangs_acknowledges_nothing() {
    let broker = Broker::start();
    let running = Running::start(settings(broker.port(), MqttVersion::V5));
    assert_eq!(running.publisher.publish(&event()).await, Answer::Taken);
    broker.freeze();
    let answer = running.publisher.publish(&event()).await;
    assert!(matches!(answer, Answer::Later { .. }), "{answer:?}");
    broker.thaw();
    let deadline = tokio::time::Instant::now() + Duration::from_secs(20);
    while running.publisher.publish(&event()).await != Answer::Taken {
        assert!(tokio::time::Instant::now() < deadline, "the broker is back");
    }
    running.stop().await;
}

// MQTT 5.0 §3.4.2.1: 0x87 says that the access list forbids it; 3.1.1 has no word for it.
#[tokio::test(flavor = "multi_thread")]
async fn topics_that_the_broker_forbids() {
    let broker = Broker::start_with(|directory| {
        let file = directory.join("acl");
        fs::write(&file, "topic readwrite rinseward/north/gateway\n").expect("our own directory");
        format!("allow_anonymous true\nacl_file {}\n", file.display())
    });
    let running = Running::start(settings(broker.port(), MqttVersion::V5));
    let answer = running.publisher.publish(&event()).await;
    assert_eq!(answer, Answer::later(Fact::TopicForbidden {}));
    running.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn passwords_and_certificates() {
    let identity = Identity::of("127.0.0.1");
    let broker = Broker::start_with(|directory| {
        let file = directory.join("passwd");
        let made = Command::new(program("mosquitto_passwd"))
            .args(["-b", "-c"])
            .arg(&file)
            .args(["gateway", "right horse"])
            .status()
            .expect("mosquitto_passwd runs");
        assert!(made.success());
        let [_, chain, _, key] = identity.args();
        format!("allow_anonymous false\npassword_file {}\ncertfile {chain}\nkeyfile {key}\n", file.display())
    });
    for (password, expected) in [
        ("right horse", None),
        (
            "wrong horse",
            Some("the broker refuses the connection: not authorized: user name, password or access list"),
        ),
    ] {
        let mut settings = settings(broker.port(), MqttVersion::V5);
        let password_file = identity.secret("password", password);
        settings.login = Some(MqttLogin { user: "gateway".to_owned(), password_file });
        settings.tls = Some(MqttTls { ca_file: Some(identity.ca()), client: None });
        let running = Running::start(settings);
        let answer = running.publisher.publish(&event()).await;
        assert_eq!(answer.error().map(ToString::to_string).as_deref(), expected);
        running.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_trial_tells_each_step_and_says_nothing_about_the_gateway() {
    let broker = Broker::start();
    let service = Running::start(settings(broker.port(), MqttVersion::V5));
    let listener = listener(broker.port(), &[]);
    until_any(&listener, "rinseward/north/gateway", |payload| payload == "online");
    let (publisher, beside) = prepare(settings(broker.port(), MqttVersion::V5)).expect("legal settings");
    let stop = CancellationToken::new();
    let task = tokio::spawn(beside.beside_the_service().run(stop.clone()));
    let mut steps: Vec<Step> = Vec::new();

    let answer = publisher.trial(&event(), &mut |step| steps.push(step)).await;

    assert_eq!(answer, Answer::Taken);
    let told: Vec<(&str, bool)> = steps.iter().map(|step| (step.what, step.outcome.is_ok())).collect();
    assert_eq!(told, [("connection", true), ("message", true)]);
    stop.cancel();
    task.await.expect("it ends by itself");
    // The service was not pushed out by it, and whoever watches the gateway saw nothing of it.
    assert_eq!(service.publisher.publish(&event()).await, Answer::Taken);
    for _ in 0..2 {
        assert!(listener.line("an event").starts_with("rinseward/north/dm1/alert 0 "));
    }
    assert_eq!(*service.publisher.standing().borrow(), Standing::Up);
    service.stop().await;

    broker_is_gone(broker).await;
}

async fn broker_is_gone(mut broker: Broker) {
    broker.kill();
    let (publisher, beside) = prepare(settings(broker.port(), MqttVersion::V5)).expect("legal settings");
    let stop = CancellationToken::new();
    let task = tokio::spawn(beside.beside_the_service().run(stop.clone()));
    let mut steps: Vec<Step> = Vec::new();
    publisher.trial(&event(), &mut |step| steps.push(step)).await;
    let [Step { what: "connection", outcome: Err(error) }] = &steps[..] else { panic!("{steps:?}") };
    assert!(error.to_string().starts_with("cannot connect to 127.0.0.1:"), "{error}");
    stop.cancel();
    task.await.expect("it ends by itself");
}

/// Where the child finds the broker.
const CHILD: &str = "RINSEWARD_TEST_PUBLISH_PORT";

// Not a test of its own: the gateway that the test below kills.
#[tokio::test(flavor = "multi_thread")]
async fn child() {
    let Some(port) = std::env::var(CHILD).ok().and_then(|port| port.parse().ok()) else { return };
    let running = Running::start(settings(port, MqttVersion::V5));
    let answer = running.publisher.publish(&event()).await;
    assert_eq!(answer, Answer::Taken);
    std::io::Write::write_all(&mut std::io::stderr(), b"published\n").expect("the parent listens");
    running.task.await.expect("it runs until it is killed");
}

fn gateway(port: u16) -> Child {
    let mut child = Command::new(std::env::current_exe().expect("this program"))
        .args(["--exact", "alert::publish::child", "--nocapture"])
        .env(CHILD, port.to_string())
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("this program starts again");
    let lines = BufReader::new(child.stderr.take().expect("it is piped"));
    let published = lines.lines().map_while(Result::ok).any(|line| line == "published");
    assert!(published, "the child publishes");
    child
}

// A dead gateway cannot complain; the broker does it (MQTT 5.0 §3.1.2.5).
#[tokio::test(flavor = "multi_thread")]
async fn a_killed_gateway_leaves_its_last_will() {
    let broker = Broker::start();
    let mut child = gateway(broker.port());
    let listener = listener(broker.port(), &[]);
    until(&listener, "rinseward/north/gateway", true, |payload| payload == "online");

    child.kill().expect("our own child");
    child.wait().expect("our own child");

    until(&listener, "rinseward/north/gateway", false, |payload| payload == "offline");
    let mut again = gateway(broker.port());
    until(&listener, "rinseward/north/gateway", false, |payload| payload == "online");
    again.kill().expect("our own child");
    again.wait().expect("our own child");
}
