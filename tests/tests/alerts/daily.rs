//! What comes without anything being wrong: the digest at its hour, and signs of life.

use std::fs;

use rinseward::core::checkpoint::Checkpoint;
use rinseward::core::keys::key_chain;
use rinseward::core::note::Note;
use rinseward::ledger::Reader;
use rinseward::runtime::clock::Clock;
use serde_json::Value;

use super::office::{Gateway, Office, Peers, until};
use crate::alert::peer::Peer;

/// A zone in which it is between 12:00 and 13:00 now, so that no midnight comes in between; the
/// signs of these names are those of POSIX (IANA time zone database, file `etcetera`).
fn zone_at_noon() -> String {
    let hour = Clock::system().now().micros() / 3_600_000_000 % 24;
    format!("Etc/GMT{:+}", hour - 12).replace("GMT+0", "GMT")
}

fn digest_at(office: &Office, before: &str, hour: &str) {
    let path = office.configuration();
    let text = fs::read_to_string(&path).expect("our own file");
    let zone = zone_at_noon();
    let text = text.replace(before, hour).replace("America/New_York", &zone);
    fs::write(&path, text.replace("name = \"ana\"", "name = \"ana\"\ndigest = \"daily\""))
        .expect("our own file");
}

fn bookmark(office: &Office, name: &str) -> Option<Vec<u8>> {
    Reader::open(&office.ledger()).and_then(|reader| reader.bookmark(name)).ok().flatten()
}

// Own promise: a digest comes once for its day, at its hour or at the first start after it,
// and no start makes it come again.
#[test]
fn the_digest_comes_once_over_restarts() {
    let peers = Peers::start();
    let office = Office::at_the_pipe(&peers, "digest-at = \"23:30\"");
    digest_at(&office, "never there", "");
    let gateway = Gateway::start(&office, "");
    until(|| bookmark(&office, "digest").is_some(), || gateway.log());
    let yesterday = bookmark(&office, "digest");
    gateway.stop();
    assert!(peers.mail.heard().is_none(), "its hour has not come");

    let path = office.configuration();
    let text = fs::read_to_string(&path).expect("our own file").replace("23:30", "06:30");
    fs::write(&path, text).expect("our own file");
    let gateway = Gateway::start(&office, "");
    let mail = peers.mail.next("the digest");
    assert!(
        mail["to"].to_string().contains("ana@example.org") || mail.to_string().contains("ana@example.org")
    );
    let event = peers.webhook.next("the digest as an event");
    assert_eq!(event["event"]["type"], "dev.rinseward.digest.day", "{event}");
    let data = &event["event"]["data"];
    let summary = data["summary"].as_str().unwrap_or_default();
    assert!(summary.starts_with("Yesterday, ") && data["language"] == "en", "{event}");
    gateway.stop();
    check_checkpoint(&office, &mail, &event);
    assert_ne!(bookmark(&office, "digest"), yesterday);
    for _ in 0..2 {
        let gateway = Gateway::start(&office, "");
        until(|| gateway.log().contains("control socket"), || gateway.log());
        gateway.stop();
    }
    assert_eq!((peers.mail.heard(), peers.webhook.heard()), (None, None), "not again");
}

/// Mail and event carry the same signed checkpoint, and it is one of the ledger's own.
fn check_checkpoint(office: &Office, mail: &Value, event: &Value) {
    let said = &event["event"]["data"]["checkpoint"];
    let note = said["note"].as_str().expect("a signed note");
    let reader = Reader::open(&office.ledger()).expect("a reader");
    let changes = reader.signing_keys().expect("readable");
    let chain = key_chain(changes.iter().map(|(index, change)| (*index, change)));
    let size = said["records"].as_u64().expect("a number");
    let signed = Note::parse(note).expect("a note");
    let key = &chain.signer_of(size).expect("a key in force").key;
    assert_eq!(Checkpoint::verified(&signed, key).expect("it holds").head.size, size);
    assert!(signed.cosigned_at(key).expect("it holds").is_some(), "{note}");
    let stored = reader.checkpoints().expect("readable");
    assert!(stored.iter().any(|stored| stored.note == note), "{note}");
    let plain = mail["texts"]["plain"].as_str().expect("a text").replace('\r', "");
    assert!(plain.contains(note.trim_end()), "{plain}");
}

// Own promise: a sign of life leaves only after the ledger has taken something for it.
#[test]
fn a_heartbeat_proves_that_the_ledger_takes_something() {
    let (peers, watcher) = (Peers::start(), Peer::start("webhook.py", &[]));
    let port = watcher.port();
    let office = Office::at_the_pipe(
        &peers,
        &format!("[heartbeat]\nurl = \"http://127.0.0.1:{port}/beat\"\nmethod = \"get\"\nevery = \"10s\""),
    );
    let gateway = Gateway::start(&office, "");
    assert_eq!(watcher.next("a beat")["path"], "/beat", "{}", gateway.log());
    assert!(bookmark(&office, "heartbeat").is_some(), "the proof is in the ledger: {}", gateway.log());
    gateway.stop();
}
