//! Histories that are whole in themselves and not what they were: written anew, or cut back.

use rinseward::core::audit::{KeptAnswer, KeptSeal, Outcome, Remark};
use rinseward::core::checkpoint::Checkpoint;
use rinseward::core::merkle::{Hash, TreeHead};
use rinseward::core::note::SigningKey;
use rinseward::core::record::KeyChange;
use rinseward::ledger::walk::Extent;
use rinseward::ledger::{Commit, NewRecord, Writer};

use super::made::{RECORDS, ROTATED, key, key_record, made, seal, seconds, traced};
use super::{look, said, try_look};
use crate::ledger::fixture::{at, commit, open, place, plain, start};

/// Writes records 0 up to before `end`, with a checkpoint every ten; `change` says what is at a
/// place in place of the cycle, and which key signs from there on.
fn write(
    writer: &Writer,
    end: u64,
    change: impl Fn(u64) -> Option<NewRecord>,
    signer: impl Fn(u64) -> SigningKey,
) {
    for end in (10..=end).step_by(10) {
        let records = (end - 10..end)
            .map(|n| match (n, change(n)) {
                (_, Some(changed)) => changed,
                (0, None) => plain(start(0.0)),
                (1, None) => plain(key_record(1.0, &key(1), None, KeyChange::First)),
                (n, None) => traced(n),
            })
            .collect();
        let done = commit(writer, Commit { records, ..Commit::default() }).expect("a commit");
        seal(writer, &done, seconds(end), &signer(end));
    }
}

/// Somebody without the old secret writes all from record 20 on anew, with a key of their own.
fn from_record_20_by(change: KeyChange) -> (tempfile::TempDir, std::path::PathBuf) {
    let (directory, path) = place();
    let (writer, _) = open(&path);
    let other = |n| (n == 20).then(|| plain(key_record(seconds(20), &key(9), Some(&key(1)), change)));
    // An endorsement by the new key itself is none by the old one.
    let forged = |n| {
        other(n).map(|mut new| {
            if let rinseward::core::record::Body::SigningKey(body) = &mut new.record.body
                && change == KeyChange::Rotated
            {
                let by_itself = rinseward::core::keys::endorsement(&key(9).verifying(), &key(9));
                body.endorsed = Some(by_itself.to_string());
            }
            new
        })
    };
    write(&writer, 60, forged, |end| key(if end <= 20 { 1 } else { 9 }));
    writer.close().expect("an orderly end");
    (directory, path)
}

#[test]
fn a_history_written_anew_with_another_key_is_found_by_the_old_key() {
    for (change, says) in [
        (KeyChange::Lost, "the secret key before it is said to be lost"),
        (KeyChange::Rotated, "the key before it did not sign for it"),
    ] {
        let (_directory, path) = from_record_20_by(change);
        let report = look(&path, &key(1).verifying());
        let said = said(&report);
        assert_eq!(report.outcome, Outcome::NotWhole, "{said}");
        assert!(said.contains("from record 20 on «rinseward/test-kitchen+") && said.contains(says), "{said}");
        assert_eq!(report.sealed.expect("the old part holds").size, 20);
    }
}

#[test]
fn a_history_written_anew_is_found_by_a_checkpoint_that_was_kept() {
    let (_directory, path) = from_record_20_by(KeyChange::Lost);
    let given = [key(9).verifying()];
    let alone = try_look(&path, &given, Vec::new()).expect("a ledger").report;
    assert_eq!(alone.outcome, Outcome::Whole, "whoever was handed only the forger's key sees no more");
    assert!(matches!(alone.remarks[..], [Remark::KeyLost { record: 20, .. }]), "but is told of the loss");
    for (n, answer) in [(1, KeptAnswer::Fits), (2, KeptAnswer::Differs), (5, KeptAnswer::Differs)] {
        let report = try_look(&path, &given, vec![made().kept(n)]).expect("a ledger").report;
        assert_eq!(report.kept[0].answer, answer, "checkpoint {n}");
        let whole = if answer == KeptAnswer::Fits { Outcome::Whole } else { Outcome::NotWhole };
        assert_eq!(report.outcome, whole, "{}", said(&report));
    }
}

#[test]
fn a_key_that_was_lost_is_told_of_and_both_keys_prove_all() {
    let (_directory, path) = from_record_20_by(KeyChange::Lost);
    let both = [key(1).verifying(), key(9).verifying()];
    let report = try_look(&path, &both, Vec::new()).expect("a ledger").report;
    assert_eq!((report.outcome, report.checkpoints_hold), (Outcome::Whole, 6));
    let [Remark::KeyLost { record: 20, key }] = &report.remarks[..] else { panic!("{:?}", report.remarks) };
    assert!(key.starts_with("rinseward/test-kitchen+"));
}

// The secret key itself was used: nothing in the ledger can show it, what left the house can.
#[test]
fn a_history_written_anew_with_the_same_key_is_found_by_a_checkpoint_that_was_kept() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let warm = |n| (n == 24).then(|| traced(1_000)).map(|_| traced(22));
    write(&writer, 30, warm, |_| key(1));
    writer.close().expect("an orderly end");
    let report = look(&path, &key(1).verifying());
    assert_eq!(report.outcome, Outcome::NotWhole, "the time of a copied cycle runs back");
    let report = try_look(&path, &[key(1).verifying()], vec![made().kept(2)]).expect("a ledger").report;
    let said = said(&report);
    assert_eq!(report.kept[0].answer, KeptAnswer::Differs);
    assert!(
        said.contains(
            "the checkpoint of 30 records in «kept.txt», signed 2026-01-01T01:00:00Z, does not fit"
        ),
        "{said}"
    );
}

#[test]
fn a_ledger_cut_back_to_an_older_checkpoint_is_found_by_a_newer_one_that_was_kept() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    write(&writer, 30, |_| None, |_| key(1));
    writer.close().expect("an orderly end");
    let given = [key(1).verifying()];
    assert_eq!(look(&path, &given[0]).outcome, Outcome::Whole, "alone it looks like a young ledger");
    let report = try_look(&path, &given, vec![made().kept(5)]).expect("a ledger").report;
    assert_eq!((report.outcome, report.kept[0].answer), (Outcome::NotWhole, KeptAnswer::CutBack));
    let said = said(&report);
    assert!(
        said.contains("cut back: it holds 30 records, and the checkpoint of 60 records in «kept.txt»"),
        "{said}"
    );
}

// Anybody can sign a checkpoint of a ledger with a key of their own and have it kept.
#[test]
fn a_kept_checkpoint_by_an_unknown_key_shows_changes_and_proves_nothing() {
    let (_directory, path) = place();
    let (writer, _) = open(&path);
    let records = (0..10).map(|n| if n == 0 { plain(start(0.0)) } else { traced(n) }).collect();
    let done = commit(&writer, Commit { records, ..Commit::default() }).expect("a commit");
    writer.close().expect("an orderly end");
    let (true_root, other_root) = (Hash(done.root), Hash([7; 32]));
    for (signer, root, outcome) in [
        (1, true_root, Outcome::Whole),
        (7, true_root, Outcome::NotChecked),
        (7, other_root, Outcome::NotWhole),
    ] {
        let note = Checkpoint::sign_at(TreeHead { size: done.tree_size, root }, at(0.0), &key(signer));
        let kept = KeptSeal::read("kept.txt", &note.to_string()).expect("a checkpoint");
        let report = try_look(&path, &[key(1).verifying()], vec![kept]).expect("a ledger").report;
        assert_eq!(report.outcome, outcome, "{}", said(&report));
        assert_eq!(report.sealed.is_some(), outcome == Outcome::Whole);
        // What contradicts may be of another house of the same name: the finding says so itself.
        let of_another = said(&report).contains("it may be of another ledger of this name");
        assert_eq!(of_another, outcome == Outcome::NotWhole, "{}", said(&report));
    }
}

#[test]
fn another_key_than_that_of_the_ledger_proves_nothing() {
    let (_directory, path) = made().copy();
    let report = look(&path, &key(7).verifying());
    let said = said(&report);
    assert_eq!((report.outcome, report.sealed), (Outcome::NotWhole, None), "{said}");
    assert!(said.contains("the key given, is not a key of this ledger: its records name «"), "{said}");
}

// What is left out is said: here a trace that was changed.
#[test]
fn records_only_looks_at_neither_traces_nor_readings() {
    let (_directory, path) = made().copy();
    let connection = super::tampered::without_guards(&path);
    connection.execute_batch("UPDATE trace SET bytes = x'00' WHERE idx = 17").expect("no failure");
    connection.close().expect("the deed is done");
    let given = [made().second.clone()];
    let report =
        rinseward::ledger::walk::audit(&path, &given, Vec::new(), Extent::Records).expect("a ledger").report;
    assert_eq!((report.outcome, report.records, report.traces), (Outcome::Whole, RECORDS, 0));
    const { assert!(ROTATED < RECORDS) };
}
