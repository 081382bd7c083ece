//! Ended between the steps of a change of keys, the next start finds the right word.

use std::time::Duration;

use rinseward::core::keys::Standing;
use rustix::process::Signal;

use super::look::{assert_secret, checkpoints, kitchen, say, say_with, standings, until, verify};
use crate::crash::gateway::Gateway;
use crate::crash::kitchen::Site;

/// The steps of a rotation by command in their order, and whether the new key is in force after
/// each: its record decides. The first append asks the writer to catch up and stores nothing; since
/// the end of the run before has signed all, the next is the record.
const STEPS: [(&str, bool); 5] = [
    ("key-written=return", false),
    ("before-append-commit=1*off->return", false),
    ("after-append-commit=1*off->return", true),
    ("key-recorded=return", true),
    ("key-half-placed=return", true),
];
/// The steps that only a key passes: the service appends more than that at its start.
const KEY_STEPS: [&str; 3] = ["key-written", "key-recorded", "key-half-placed"];
/// Longest wait for a step to be reached.
const REACHED_WITHIN: Duration = Duration::from_secs(30);

/// Starts the service, lets it sign, and ends it in order; then every checkpoint holds.
fn goes_on(site: &Site, step: &str) {
    let before = checkpoints(site).len();
    let gateway = Gateway::start(site, "");
    until(&gateway, "a checkpoint", || checkpoints(site).len() > before);
    assert!(gateway.stop(Signal::TERM).0.success(), "{step}");
    verify(site);
    for left in ["ledger.sqlite.signing-key.next", "ledger.sqlite.verify-key.next"] {
        assert!(!site.path(left).exists(), "{step}: {left} is left");
    }
}

#[test]
fn the_first_key_is_whole_or_made_again() {
    for step in KEY_STEPS {
        let site = kitchen();
        let gateway = Gateway::start(&site, &format!("ledger::{step}=return"));
        if let Err(gateway) = gateway.aborted(REACHED_WITHIN) {
            panic!("{step} is not reached: {}", gateway.log());
        }
        goes_on(&site, step);
        assert_eq!(standings(&site), [Standing::First], "{step}");
    }
}

#[test]
fn a_new_key_is_in_force_with_its_record() {
    let site = kitchen();
    goes_on(&site, "start");
    let mut expected = vec![Standing::First];
    for (step, in_force) in STEPS {
        let old = verify(&site);
        let armed = format!("ledger::{step}");
        let (code, _, said) = say_with(&site, &["key", "rotate", "--by", "Ana"], &armed);
        assert_eq!(code, None, "{step}: ended by a signal: {said}");
        if in_force {
            expected.push(Standing::Endorsed);
        }
        goes_on(&site, step);
        assert_eq!(standings(&site), expected, "{step}");
        assert_eq!(verify(&site) != old, in_force, "{step}");
        assert_secret(&site, &[&said]);
    }
    let (code, _, said) = say(&site, &["key", "rotate", "--by", "Ana"]);
    assert_eq!(code, Some(0), "{said}");
}

#[test]
fn a_lost_key_is_replaced_once() {
    for step in KEY_STEPS {
        let site = kitchen();
        goes_on(&site, "start");
        std::fs::remove_file(site.path("ledger.sqlite.signing-key")).expect("our own file");
        let gateway = Gateway::start(&site, &format!("ledger::{step}=return"));
        if let Err(gateway) = gateway.aborted(REACHED_WITHIN) {
            panic!("{step} is not reached: {}", gateway.log());
        }
        goes_on(&site, step);
        assert_eq!(standings(&site), [Standing::First, Standing::Lost], "{step}");
    }
}
