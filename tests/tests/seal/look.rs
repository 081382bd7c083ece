//! A site without readings, and what its ledger and key files say.

use std::fs;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::thread;
use std::time::{Duration, Instant};

use rinseward::core::checkpoint::Checkpoint;
use rinseward::core::keys::{KeyChain, Standing, key_chain};
use rinseward::core::merkle::{Frontier, Hash, leaf_hash};
use rinseward::core::note::{Note, VerifyingKey};
use rinseward::core::record::Body;
use rinseward::ledger::{Reader, StoredCheckpoint};

use crate::crash::gateway::Gateway;
use crate::crash::kitchen::{Site, rinseward, text};
use crate::ledger::fixture::records;

/// Longest wait for anything.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// A kitchen whose readings would come by standard input.
pub(super) fn kitchen() -> Site {
    let site = Site::new(1, "\n[[source]]\nname = \"pipe\"\nkind = \"replay\"\n");
    let path = site.configuration();
    let text = fs::read_to_string(&path).expect("our own file");
    fs::write(&path, format!("[site]\nname = \"North kitchen\"\n{text}")).expect("our own file");
    site
}

pub(super) fn secret(site: &Site) -> PathBuf {
    site.path("ledger.sqlite.signing-key")
}

pub(super) fn public(site: &Site) -> String {
    fs::read_to_string(site.path("ledger.sqlite.verify-key")).expect("the public key is readable")
}

/// Runs a command; gives its exit code, its answer, and what it said beside.
pub(super) fn say(site: &Site, arguments: &[&str]) -> (Option<i32>, String, String) {
    say_with(site, arguments, "")
}

pub(super) fn say_with(site: &Site, arguments: &[&str], failpoints: &str) -> (Option<i32>, String, String) {
    let configuration = site.configuration();
    let mut command = rinseward(arguments);
    let output = command.args(["--config", text(&configuration)]).env("FAILPOINTS", failpoints).output();
    let output = output.expect("the program starts");
    let words = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (output.status.code(), words(output.stdout), words(output.stderr))
}

pub(super) fn until(gateway: &Gateway, wanted: &str, holds: impl Fn() -> bool) {
    let limit = Instant::now() + WAIT_MAX;
    while !holds() {
        assert!(Instant::now() < limit, "{wanted} does not come: {}", gateway.log());
        thread::sleep(Duration::from_millis(5));
    }
}

pub(super) fn chain(site: &Site) -> KeyChain {
    let changes = Reader::open(&site.ledger()).and_then(|reader| reader.signing_keys()).expect("a ledger");
    key_chain(changes.iter().map(|(index, change)| (*index, change)))
}

pub(super) fn standings(site: &Site) -> Vec<Standing> {
    chain(site).keys.into_iter().map(|key| key.standing).collect()
}

pub(super) fn checkpoints(site: &Site) -> Vec<StoredCheckpoint> {
    Reader::open(&site.ledger()).and_then(|reader| reader.checkpoints()).unwrap_or_default()
}

pub(super) fn kinds(site: &Site) -> Vec<String> {
    records(&site.ledger()).iter().map(|record| record.body.kind().to_owned()).collect()
}

/// Every checkpoint holds: signed, with its time, by the key in force at its last record, over the
/// root of the records themselves (RFC 6962 §2.1). Gives the key in force, which is the one in the files.
pub(super) fn verify(site: &Site) -> VerifyingKey {
    let reader = Reader::open(&site.ledger()).expect("a ledger");
    let mut roots: Vec<Hash> = Vec::new();
    let mut tree = Frontier::default();
    let read = reader.records(0, |_, bytes, record| {
        assert!(!matches!(record.body, Body::MachineFailure(_)));
        tree.push(leaf_hash(bytes));
        roots.push(tree.root());
        ControlFlow::Continue(())
    });
    read.expect("whole records");
    let chain = chain(site);
    let found = reader.checkpoints().expect("readable");
    assert!(!found.is_empty(), "no checkpoint");
    for stored in found {
        let note = Note::parse(&stored.note).expect("a note");
        let key = &chain.signer_of(stored.size).expect("a key in force").key;
        let read = Checkpoint::verified(&note, key).expect("it holds");
        let last = usize::try_from(stored.size - 1).expect("few");
        assert_eq!((read.head.size, read.head.root), (stored.size, roots[last]));
        let signed = note.cosigned_at(key).expect("it holds").expect("a time");
        assert_eq!(signed.micros(), stored.at.micros().div_euclid(1_000_000) * 1_000_000);
    }
    let newest = chain.newest().expect("a key").key.clone();
    assert_eq!(public(site), format!("{newest}\n"));
    newest
}

/// The secret key is in its own file and nowhere else: not in the ledger, not in a log.
pub(super) fn assert_secret(site: &Site, said: &[&str]) {
    let line = fs::read_to_string(secret(site)).expect("our own file");
    // PRIVATE+KEY+name+id+base64, of which the last may hold a `+` itself.
    let seed = line.trim_end().splitn(5, '+').nth(4).expect("a key").to_owned();
    let ledger = fs::read(site.ledger()).expect("our own file");
    assert!(!contains(&ledger, seed.as_bytes()), "the ledger holds the secret key");
    let log = fs::read_to_string(site.path("gateway.log")).unwrap_or_default();
    for said in said.iter().copied().chain([log.as_str()]) {
        assert!(!said.contains(&seed) && !said.contains("PRIVATE"), "{said}");
    }
}

fn contains(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}
