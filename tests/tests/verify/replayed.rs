//! A ledger that was filled from a file is as whole as any other: its readings lie in the past,
//! and the program that recorded them does not. Real processes; no outside source.

use std::fs;
use std::path::Path;

use rinseward::core::audit::Outcome;
use rinseward::core::note::VerifyingKey;

use super::{look, said};
use crate::crash::kitchen::{Site, Stream, text};
use crate::keeping::{kept, say};

fn seal(site: &Site) {
    let (code, said) = say(&["checkpoint", "make", "--config", text(&site.configuration())]);
    assert_eq!(code, Some(0), "{said}");
}

fn is_whole(ledger: &Path) {
    let key =
        fs::read_to_string(super::super::ledger::beside(ledger, ".verify-key")).expect("the public key");
    let key: VerifyingKey = key.trim().parse().expect("a key");
    let report = look(ledger, &key);
    assert_eq!((report.outcome, said(&report)), (Outcome::Whole, String::new()));
    assert_eq!(report.remarks, []);
}

#[test]
fn a_replayed_ledger_is_whole_and_so_is_one_with_an_import_after_it() {
    let site = Site::new(1, "\n[[source]]\nname = \"pipe\"\nkind = \"replay\"\n");
    kept(&site, 0.5);
    let ledger = site.ledger();
    seal(&site);
    is_whole(&ledger);
    // The same file again adds nothing but that it was tried.
    let (configuration, trace) = (site.configuration(), site.path("kept.senml"));
    let again = ["replay", "--config", text(&configuration), "--ledger", text(&ledger), text(&trace)];
    assert_eq!(say(&again).0, Some(0));
    // Another file as history.
    let stream = Stream::of(1, 1.0, 21);
    let lines: Vec<&str> = stream.packs.iter().map(|pack| pack.payload.as_str()).collect();
    let file = site.path("past.senml");
    fs::write(&file, lines.join("\n")).expect("a temporary file");
    let (code, told) = say(&["import", text(&file), "--by", "Ana", "--config", text(&configuration)]);
    assert_eq!(code, Some(0), "{told}");
    seal(&site);
    is_whole(&ledger);
}
