//! The commands, with a service and without one.

use std::fs;

use rinseward::core::keys::Standing;
use rinseward::ledger::{KeyFiles, Pair};
use rustix::process::Signal;

use super::look::{
    assert_secret, chain, checkpoints, kitchen, public, say, secret, standings, until, verify,
};
use crate::crash::gateway::Gateway;
use crate::crash::kitchen::{Site, rinseward, text};

fn good(site: &Site, arguments: &[&str]) -> String {
    let (code, answer, said) = say(site, arguments);
    assert_eq!(code, Some(0), "{arguments:?}: {said}");
    assert_secret(site, &[&answer, &said]);
    answer
}

/// Until commands are taken and the key of a new ledger is in its place.
fn until_open(gateway: &Gateway, site: &Site) {
    until(gateway, "the control socket", || gateway.log().contains("control socket"));
    until(gateway, "a checkpoint", || !checkpoints(site).is_empty());
}

// Exit codes of sysexits.h (4.3BSD); what is said is this project's own.
#[test]
fn what_is_asked_for_too_early_or_wrongly_is_told() {
    let site = kitchen();
    for arguments in
        [&["key", "show"][..], &["checkpoint"], &["checkpoint", "make"], &["key", "rotate", "--by", "Ana"]]
    {
        let (code, _, said) = say(&site, arguments);
        assert_eq!((code, said.contains("there is no ledger")), (Some(74), true), "{arguments:?}: {said}");
    }
    let gateway = Gateway::start(&site, "");
    until_open(&gateway, &site);
    let (code, _, said) = say(&site, &["key", "rotate", "--by", " "]);
    assert_eq!((code, said.contains("say who it is")), (Some(64), true), "{said}");
    drop(gateway);
    let (code, _, said) = say(&site, &["key", "rotate", "--by", " "]);
    assert_eq!((code, said.contains("say who it is")), (Some(64), true), "{said}");
    assert_eq!(standings(&site), [Standing::First]);

    // A ledger that a replay made has no key, and says so.
    let (trace, ledger) = (site.path("empty.senml"), site.path("replayed.sqlite"));
    fs::write(&trace, "").expect("a temporary file");
    let configuration = site.configuration();
    let arguments = ["replay", "--config", text(&configuration), "--ledger", text(&ledger), text(&trace)];
    assert!(rinseward(&arguments).output().expect("the program starts").status.success());
    for arguments in [["key", "show"], ["checkpoint", "show"]] {
        let output = rinseward(&arguments).args(["--ledger", text(&ledger)]).output();
        let output = output.expect("the program starts");
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!((output.status.code(), said.contains("checkpoint-none")), (Some(74), true), "{said}");
    }
}

#[test]
fn a_checkpoint_is_made_and_shown() {
    let site = kitchen();
    let gateway = Gateway::start(&site, "");
    until_open(&gateway, &site);
    let made = good(&site, &["checkpoint", "make"]);
    assert_eq!(good(&site, &["checkpoint"]), made);
    assert!(gateway.stop(Signal::TERM).0.success());
    let last = good(&site, &["checkpoint", "show"]);
    assert_ne!(last, made, "the end added a record");
    assert_eq!(good(&site, &["checkpoint", "make"]), last, "nothing was added since");
    let all = good(&site, &["checkpoint", "show", "--all"]);
    let notes: Vec<String> = checkpoints(&site).into_iter().map(|stored| stored.note).collect();
    assert!(notes.len() >= 2, "{notes:?}");
    assert_eq!(all, notes.join("\n"));
    good(&site, &["enter", "supply", "dm1", "--by", "Cy"]);
    let next = good(&site, &["checkpoint", "make"]);
    assert_eq!(checkpoints(&site).last().map(|stored| stored.note.clone()), Some(next.clone()));
    assert_ne!(next, last);
    verify(&site);
}

#[test]
fn a_key_is_shown_handed_out_and_replaced() {
    let site = kitchen();
    let gateway = Gateway::start(&site, "");
    until_open(&gateway, &site);
    let first = public(&site);
    let shown = good(&site, &["key", "show"]);
    let id = first.split('+').nth(1).expect("an id");
    for part in [first.trim_end(), &format!("id          {id}"), "record 2: the first", "beside the ledger"] {
        assert!(shown.contains(part), "{part}: {shown}");
    }
    let out = site.path("handed-out.txt");
    assert_eq!(good(&site, &["key", "export", "--out", text(&out)]), first);
    assert_eq!(fs::read_to_string(&out).expect("readable"), first);
    let before = fs::read_to_string(secret(&site)).expect("our own file");
    let (code, _, said) = say(&site, &["key", "export", "--out", text(&secret(&site))]);
    assert_eq!((code, said.contains("error[output]")), (Some(74), true), "{said}");
    assert_eq!(fs::read_to_string(secret(&site)).expect("our own file"), before);

    let said = good(&site, &["key", "rotate", "--by", "Ana"]);
    let second = public(&site);
    assert!(second != first && said.contains(second.trim_end()), "{said}");
    assert!(good(&site, &["key", "show"]).contains("signed by the one before"));
    assert!(gateway.stop(Signal::TERM).0.success());
    good(&site, &["key", "rotate", "--by", "Ben"]);
    assert_eq!(standings(&site), [Standing::First, Standing::Endorsed, Standing::Endorsed]);
    let newest = verify(&site);
    assert_eq!(chain(&site).trusted_from(&first.trim().parse().expect("a key")).len(), 3);
    assert_eq!(newest.name(), "rinseward/north-kitchen");
    let shown: serde_json::Value =
        serde_json::from_str(&good(&site, &["key", "show", "--json"])).expect("JSON");
    assert_eq!((shown["key"].as_str(), shown["secret"].as_str()), (Some(&*newest.to_string()), Some("here")));
    // Each change has a checkpoint of the key before it over all that came before it.
    let chain = chain(&site);
    for key in &chain.keys[1..] {
        assert!(checkpoints(&site).iter().any(|stored| stored.size == key.from), "{}", key.from);
    }
    check_copy(&site);
}

/// A copy of the ledger without its secret key shows what it holds, and cannot be signed for.
fn check_copy(site: &Site) {
    let copy = kitchen();
    fs::copy(site.ledger(), copy.ledger()).expect("a closed ledger is one file");
    let shown = say(&copy, &["key", "show"]).1;
    assert!(shown.contains("not here"), "{shown}");
    assert_eq!(say(&copy, &["checkpoint"]).1, say(site, &["checkpoint"]).1);
    let (code, _, said) = say(&copy, &["checkpoint", "make"]);
    assert_eq!((code, said.contains("error[signing-key]")), (Some(74), true), "{said}");
    assert!(KeyFiles::of(&copy.ledger()).load(Pair::Placed).expect("no failure").is_none());
    assert_eq!(standings(&copy), standings(site));
}
