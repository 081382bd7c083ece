//! The retained state of a machine at a real broker, read by Mosquitto's own client.

use std::process::Command;

use rinseward::core::record::Body;
use rinseward::ledger::Reader;
use serde_json::Value;

use super::office::{Day, Gateway, Office, Peers, until};
use crate::mqtt::broker::{Broker, program};

/// What the broker keeps under a topic; `None` where nothing is kept.
fn kept(port: u16, topic: &str) -> Option<String> {
    let port = port.to_string();
    let output = Command::new(program("mosquitto_sub"))
        .args(["-h", "127.0.0.1", "-p", &port, "-t", topic, "-C", "1", "-W", "2"])
        .output()
        .expect("mosquitto_sub is installed");
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    Some(text.trim().to_owned()).filter(|text| !text.is_empty())
}

// A retained message is given to whoever subscribes later (MQTT 5.0 §3.3.1.3).
#[test]
fn a_machine_tells_its_last_rack_and_its_alerts() {
    let (peers, broker) = (Peers::start(), Broker::start());
    let publish = format!("[publish]\nhost = \"127.0.0.1\"\nport = {}\nprefix = \"north\"", broker.port());
    let office = Office::at_the_pipe(&peers, &publish);
    let day = Day::with_a_dead_booster(&office);
    let mut gateway = Gateway::start(&office, "");
    gateway.feed(&day.between(0, day.first_cold()));
    office.until_recorded(&gateway, "an alert", |body| matches!(body, Body::AlertRaised(_)));
    let state =
        || kept(broker.port(), "north/dm1/state").and_then(|text| serde_json::from_str::<Value>(&text).ok());
    until(
        || {
            state()
                .is_some_and(|state| state["verdict"] == "cold" && state["alerts"][0]["condition"] == "cold")
        },
        || format!("{:?}: {}", state(), gateway.log()),
    );
    assert_eq!(kept(broker.port(), "north/gateway").as_deref(), Some("online"));
    // The newest signed checkpoint goes the same way, so that somebody else holds it.
    let newest = || Reader::open(&office.ledger()).ok()?.newest_checkpoint().ok()?;
    until(
        || {
            let (held, newest) = (kept(broker.port(), "north/checkpoint"), newest());
            newest.is_some_and(|newest| held.as_deref() == Some(newest.note.trim()))
        },
        || format!("{:?} {:?}: {}", kept(broker.port(), "north/checkpoint"), newest(), gateway.log()),
    );
    gateway.stop();
    assert_eq!(kept(broker.port(), "north/gateway").as_deref(), Some("stopped"));
}
