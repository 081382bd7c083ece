//! What the service does by itself.

use std::fs;
use std::os::unix::fs::PermissionsExt;

use rinseward::core::keys::Standing;
use rinseward::ledger::Reader;
use rustix::process::Signal;

use super::look::{
    assert_secret, checkpoints, kinds, kitchen, public, say, secret, standings, until, verify,
};
use crate::crash::gateway::Gateway;
use crate::crash::kitchen::Site;

fn mode(path: &std::path::Path) -> u32 {
    fs::metadata(path).expect("it is there").permissions().mode() & 0o777
}

fn stop(gateway: Gateway) {
    let log = gateway.log();
    let (status, _) = gateway.stop(Signal::TERM);
    assert!(status.success(), "{status}: {log}");
}

/// Runs the service until it has signed something new, and ends it in order.
fn run_once(site: &Site) -> String {
    let before = checkpoints(site).len();
    let gateway = Gateway::start(site, "");
    until(&gateway, "a checkpoint", || checkpoints(site).len() > before);
    let log = gateway.log();
    stop(gateway);
    log
}

// Own promises: the key of a new ledger follows the record of the start; a checkpoint comes soon after the start,
// and the last one counts every record; the modes are those of the design.
#[test]
fn a_new_ledger_gets_a_key_and_is_sealed_to_its_end() {
    let site = kitchen();
    run_once(&site);
    assert_eq!((mode(&secret(&site)), mode(&site.path("ledger.sqlite.verify-key"))), (0o600, 0o644));
    assert!(public(&site).starts_with("rinseward/north-kitchen+"), "{}", public(&site));
    let kinds = kinds(&site);
    assert_eq!(kinds, ["service-start", "configuration-change", "signing-key", "service-stop"]);
    let size = |site: &Site| Reader::open(&site.ledger()).and_then(|reader| reader.size()).expect("a ledger");
    assert_eq!(checkpoints(&site).last().expect("sealed").size, size(&site));
    let key = verify(&site);

    run_once(&site);
    assert_eq!(verify(&site), key, "the same over a restart");
    assert_eq!(standings(&site), [Standing::First]);
    assert_eq!(checkpoints(&site).last().expect("sealed").size, size(&site));
    assert_secret(&site, &[]);
}

// Own promise: nobody vouches for a key that came after a loss, and that is told aloud.
#[test]
fn a_lost_key_is_told_and_put_on_record() {
    let site = kitchen();
    run_once(&site);
    let old = verify(&site);
    fs::remove_file(secret(&site)).expect("our own file");
    let log = run_once(&site);
    assert!(log.contains("signing-key-lost") && log.contains(&old.to_string()), "{log}");
    assert_eq!(standings(&site), [Standing::First, Standing::Lost]);
    assert_ne!(verify(&site), old);
    assert_secret(&site, &[]);
}

// Own promise: what is wrong with a key is told with what to type, and stops no recording.
#[test]
fn a_key_that_others_may_read_is_not_used() {
    let site = kitchen();
    run_once(&site);
    let key = verify(&site);
    fs::set_permissions(secret(&site), fs::Permissions::from_mode(0o644)).expect("our own file");
    let sealed = checkpoints(&site).len();
    let gateway = Gateway::start(&site, "");
    let wanted = format!("chmod 600 {}", secret(&site).display());
    until(&gateway, "what to type", || gateway.log().contains(&wanted));
    until(&gateway, "the control socket", || gateway.log().contains("control socket"));
    let (code, _, said) = say(&site, &["checkpoint", "make"]);
    assert_eq!((code, said.contains("error[signing-key]")), (Some(74), true), "{said}");
    assert_eq!(checkpoints(&site).len(), sealed);
    until(&gateway, "the record of the start", || {
        kinds(&site).iter().filter(|kind| *kind == "service-start").count() == 2
    });
    // Mended, it signs again at once, without a restart.
    fs::set_permissions(secret(&site), fs::Permissions::from_mode(0o600)).expect("our own file");
    let (code, note, said) = say(&site, &["checkpoint", "make"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(note.starts_with("rinseward/north-kitchen\n"), "{note}");
    stop(gateway);
    assert_eq!(verify(&site), key);
    assert_secret(&site, &[&said, &note]);
}

// Own promise: a key that belongs to another ledger is neither used nor thrown away.
#[test]
fn the_key_of_another_ledger_is_not_used() {
    let (site, other) = (kitchen(), kitchen());
    run_once(&site);
    run_once(&other);
    fs::copy(secret(&other), secret(&site)).expect("our own files");
    let gateway = Gateway::start(&site, "");
    until(&gateway, "the refusal", || gateway.log().contains("is not the key that this ledger names"));
    stop(gateway);
    assert_eq!(standings(&site), [Standing::First]);
    assert_eq!(
        fs::read_to_string(secret(&site)).expect("our own file"),
        fs::read_to_string(secret(&other)).expect("our own file")
    );
}
