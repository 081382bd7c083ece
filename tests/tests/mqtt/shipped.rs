//! The shipped settings for a broker that nodes reach over the network, with Mosquitto's own
//! programs as nodes. The certificate is made by the very commands that the file gives.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};

use super::broker::{Broker, program};

const NODES: &str = include_str!("../../../deploy/mosquitto/tls/nodes.conf");
const LIST: &str = include_str!("../../../deploy/mosquitto/tls/rinseward.acl");
/// Longest wait of a subscriber, s.
const WAIT_S: &str = "20";

/// The broker, with its users and certificates; `127.0.0.1` is its name.
fn broker() -> Broker {
    Broker::start_with(|directory| {
        certificates(directory);
        for (first, user) in ["gateway", "dm1", "dm2"].into_iter().enumerate() {
            let mut make = Command::new(program("mosquitto_passwd"));
            make.arg("-b").args((first == 0).then_some("-c")).arg(directory.join("rinseward.passwd"));
            assert!(make.args([user, "right horse"]).status().expect("mosquitto_passwd runs").success());
        }
        fs::write(directory.join("rinseward.acl"), LIST).expect("our own directory");
        let here = |text: &str| text.replace("/etc/mosquitto", &directory.display().to_string());
        let mut settings = String::new();
        // The listener stands in the fixture's own settings, on a free port.
        for line in NODES.lines().filter(|line| !line.starts_with('#') && !line.starts_with("listener")) {
            writeln!(settings, "{}", here(line)).expect("text");
        }
        settings
    })
}

/// Types the commands of the file's head, with the broker's address in place of its name.
fn certificates(directory: &Path) {
    let commands: Vec<String> = NODES
        .lines()
        .filter_map(|line| line.strip_prefix("#   "))
        .filter(|line| line.starts_with("openssl") || line.starts_with("printf"))
        .map(|line| line.replace("DNS:broker.kitchen.example", "IP:127.0.0.1"))
        .collect();
    assert_eq!(commands.len(), 4, "an authority, a request, its extensions, a certificate");
    for command in &commands {
        let done = Command::new("sh").args(["-c", command]).current_dir(directory).output().expect("a shell");
        assert!(done.status.success(), "{command}: {}", String::from_utf8_lossy(&done.stderr));
    }
    let certs = directory.join("certs");
    fs::create_dir(&certs).expect("our own directory");
    for name in ["broker.pem", "broker.key"] {
        fs::copy(directory.join(name), certs.join(name)).expect("openssl wrote it");
    }
}

/// One of Mosquitto's clients, by TLS as this user.
fn client(broker: &Broker, name: &str, user: &str, topic: &str) -> Command {
    let mut client = Command::new(program(name));
    client.args(["-h", "127.0.0.1", "-p", &broker.port().to_string(), "-q", "1", "-t", topic]);
    client.args(["-u", user, "-P", "right horse"]).arg("--cafile").arg(broker.path("ca.pem"));
    client.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    client
}

fn publish(broker: &Broker, user: &str, topic: &str, text: &str) -> Output {
    client(broker, "mosquitto_pub", user, topic).args(["-m", text]).output().expect("mosquitto_pub runs")
}

/// Waits for one message of its topics.
fn subscribe(broker: &Broker, user: &str, topic: &str, seconds: &str) -> Child {
    let mut client = client(broker, "mosquitto_sub", user, topic);
    // A session that stays: what comes before it is back is kept for it.
    client.args(["-C", "1", "-W", seconds, "-v"]).spawn().expect("mosquitto_sub runs")
}

#[test]
fn a_node_speaks_for_itself_and_the_gateway_reads() {
    let broker = broker();
    let kept = ["-i", "gateway", "-c", "-E"];
    let session = client(&broker, "mosquitto_sub", "gateway", "probes/#").args(kept).status();
    assert!(session.expect("mosquitto_sub runs").success());
    for (user, topic, text) in [
        ("dm2", "probes/dm1/senml", "forged"),
        ("dm1", "rinseward/dm1/state", "forged"),
        ("dm1", "probes/dm1/senml", "true"),
    ] {
        publish(&broker, user, topic, text);
    }
    let gateway = client(&broker, "mosquitto_sub", "gateway", "probes/#")
        .args(["-i", "gateway", "-c", "-C", "1", "-W", WAIT_S, "-v"])
        .output()
        .expect("mosquitto_sub runs");
    assert_eq!(String::from_utf8_lossy(&gateway.stdout), "probes/dm1/senml true\n");

    let node = subscribe(&broker, "dm2", "probes/#", "2");
    publish(&broker, "dm1", "probes/dm1/senml", "again");
    let node = node.wait_with_output().expect("it ends");
    assert_eq!(String::from_utf8_lossy(&node.stdout), "", "a node may not read");
}

#[test]
fn nobody_comes_in_without_password_and_certificate() {
    let broker = broker();
    let wrong = client(&broker, "mosquitto_pub", "dm1", "probes/dm1/senml")
        .args(["-P", "wrong horse", "-m", "x"])
        .output()
        .expect("mosquitto_pub runs");
    assert!(!wrong.status.success());
    let plain = Command::new(program("mosquitto_pub"))
        .args(["-h", "127.0.0.1", "-p", &broker.port().to_string(), "-t", "probes/dm1/senml", "-m", "x"])
        .args(["-u", "dm1", "-P", "right horse"])
        .output()
        .expect("mosquitto_pub runs");
    assert!(!plain.status.success());
    assert!(publish(&broker, "dm1", "probes/dm1/senml", "x").status.success());
}
