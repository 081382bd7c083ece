//! The seal of an export across a change of keys.

use std::path::Path;

use rinseward::core::keys::endorsement;
use rinseward::core::note::SigningKey;
use rinseward::core::record::{Body, KeyChange, Record, SigningKeyChange};
use rinseward::ledger::Commit;
use rinseward::report::account::Account;

use super::{Site, key, rinseward, said};
use crate::ledger::fixture::{at, commit, open, plain};

/// A new key came after the newest checkpoint: the key before it signed that one, and it still seals.
/// The secret key is elsewhere, so that no new checkpoint can be made.
#[test]
fn a_checkpoint_from_before_a_new_key_still_seals() {
    let site = Site::new();
    let ledger = site.path("ledger.sqlite");
    let next = SigningKey::from_seed("north-kitchen", &[5; 32]).expect("a name");
    let change = SigningKeyChange {
        key: next.verifying().to_string(),
        change: KeyChange::Rotated,
        before: Some(key().verifying().to_string()),
        endorsed: Some(endorsement(&next.verifying(), &key()).to_string()),
        by: None,
    };
    let record = Record::new(at(200_000.0), None, Body::SigningKey(Box::new(change)));
    let (writer, _) = open(&ledger);
    commit(&writer, Commit { records: vec![plain(record)], ..Commit::default() }).expect("a commit");
    drop(writer);
    std::fs::remove_file(site.path("ledger.sqlite.signing-key")).expect("it is there");

    let out = site.path("after.json");
    let arguments = ["export", "--form", "json", "--day", "2026-01-01", "--out"];
    let done = rinseward(&arguments, &[&out, Path::new("--ledger"), &ledger]);
    assert!(done.status.success(), "{}", said(&done));
    let account: Account = serde_json::from_slice(&site.read("after.json")).expect("an account");
    let seal = account.seal.expect("the checkpoint holds under the key that made it");
    assert_eq!(seal.key, key().verifying().to_string());
    assert!(seal.size < account.records.to, "the new key is not counted yet");
}
