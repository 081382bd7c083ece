//! A disk that is full, with the real service on a small device: the alert is on record and on its
//! way, nothing is acknowledged that is not committed, and recording goes on once there is room.

use std::fs;
use std::io::Write;
use std::path::Path;

use rinseward::core::alert::Condition;
use rinseward::core::record::Body;
use rinseward::ledger::{RESERVE_BYTES, Reader};

use super::device::Tmpfs;
use super::{beside, records, whole};
use crate::alerts::office::{Day, Gateway, Office, Peers, until};

/// The office with its ledger on the device, and the disk watched.
fn move_ledger(office: &Office, ledger: &Path) {
    let text = fs::read_to_string(office.configuration()).expect("our own file");
    let text = text.replace("path = \"ledger.sqlite\"", &format!("path = \"{}\"", ledger.display()));
    let text = text.replace("\"clock-unsynchronised\", \"disk-filling\"", "\"clock-unsynchronised\"");
    fs::write(office.configuration(), text).expect("our own file");
}

/// Takes all the room there is.
fn fill(path: &Path) {
    let mut ballast = fs::File::create(path).expect("a file");
    while ballast.write_all(&[7; 65_536]).is_ok() {}
    while ballast.write_all(&[7; 512]).is_ok() {}
}

fn size(ledger: &Path) -> u64 {
    Reader::open(ledger).and_then(|reader| reader.size()).unwrap_or(0)
}

#[test]
fn a_full_disk_is_told_by_mail_and_loses_nothing() {
    let device = Tmpfs::mount("64m");
    let ledger = device.path().join("ledger.sqlite");
    let (peers, ballast) = (Peers::start(), device.path().join("ballast"));
    let office = Office::at_the_pipe(&peers, "");
    move_ledger(&office, &ledger);
    let day = Day::with_a_dead_booster(&office);
    let mut gateway = Gateway::start(&office, "");
    until(|| gateway.log().contains("control socket"), || gateway.log());
    let reserve = beside(&ledger, ".reserve");
    assert_eq!(fs::metadata(&reserve).expect("it is made at the start").len(), RESERVE_BYTES);

    // Before the first look at the disk, which comes 10 s after the start.
    let (start, hour) = (day.lines[0].0, 3_600_000_000);
    gateway.feed(&day.between(start, start + hour / 6));
    until(|| size(&ledger) > 1, || gateway.log());
    fill(&ballast);
    gateway.feed(&day.between(start + hour / 6, day.first_cold()));
    until(|| gateway.log().contains("ledger-full"), || gateway.log());
    let at_full = size(&ledger);
    let mail = peers.mail.next("the mail about the disk");
    let text = mail["texts"]["plain"].as_str().expect("a text").to_lowercase();
    assert!(text.contains("disk"), "{mail}");
    let raised = || {
        let own = records(&ledger).into_iter().filter_map(|record| match record.body {
            Body::AlertRaised(raised) => Some(raised.condition),
            _ => None,
        });
        own.collect::<Vec<_>>()
    };
    assert_eq!(raised(), [Condition::DiskFilling], "on record although the disk is full");
    until(
        || records(&ledger).iter().any(|record| matches!(record.body, Body::Notification(_))),
        || format!("that it was delivered is not on record\n{}", gateway.log()),
    );
    assert!(!reserve.exists(), "its room was used");
    let cycles = |bodies: &[rinseward::core::record::Record]| {
        bodies.iter().filter(|record| matches!(record.body, Body::Cycle(_))).count()
    };
    let kept = records(&ledger);
    assert_eq!(
        cycles(&kept),
        cycles(&kept[..usize::try_from(at_full).expect("few")]),
        "no reading takes that room"
    );

    fs::remove_file(&ballast).expect("our own file");
    let judged = day.racks.iter().filter(|(at, _)| *at < day.first_cold()).count();
    until(
        || cycles(&records(&ledger)) >= judged - 1,
        || format!("{} of {judged} racks\n{}", cycles(&records(&ledger)), gateway.log()),
    );
    until(|| reserve.exists(), || gateway.log());
    let log = gateway.log();
    assert_eq!(log.matches("commits wait, nothing is acknowledged").count(), 1, "told once: {log}");
    assert!(log.contains("takes commits again"), "{log}");
    gateway.stop();
    assert_eq!(whole(&ledger).records, size(&ledger));
}
