//! A small ledger in memory, its evidence, and every way of tampering with it.

use std::time::Duration;

use proptest::prelude::*;

use super::examine::{Examined, Examiner, Kept, SealedBy, Trust};
use super::findings::Flaw;
use super::span::{Companions, Span};
use super::*;
use crate::core::checkpoint::Checkpoint;
use crate::core::keys::endorsement;
use crate::core::merkle::{TreeHead, inclusion_proof, leaf_hash, range_proof, root};
use crate::core::note::SigningKey;
use crate::core::record::{
    Amendment, AmendmentChange, Body, Check, KeyChange, Note, Record, SigningKeyChange,
};

fn key(seed: u8) -> SigningKey {
    SigningKey::from_seed("kitchen", &[seed; 32]).expect("a name")
}

fn at(minute: u64) -> Timestamp {
    Timestamp::from_micros(1_767_225_600_000_000).plus(Duration::from_secs(60 * minute))
}

fn note(minute: u64) -> Record {
    let note = Note { at: None, text: format!("«note» \"{minute}\""), by: "Ana".to_owned() };
    Record::new(at(minute), Some("dm1".to_owned()), Body::Note(note))
}

fn change(minute: u64, new: &SigningKey, before: Option<&SigningKey>, how: KeyChange) -> Record {
    let endorsed = before.filter(|_| how == KeyChange::Rotated);
    let change = SigningKeyChange {
        key: new.verifying().to_string(),
        change: how,
        before: before.map(|key| key.verifying().to_string()),
        endorsed: endorsed.map(|before| endorsement(&new.verifying(), before).to_string()),
        by: None,
    };
    Record::new(at(minute), None, Body::SigningKey(Box::new(change)))
}

/// 40 records, one a minute; the key changes at record 0 and, as `how` says, at record 5.
struct Ledger {
    records: Vec<Vec<u8>>,
    leaves: Vec<Hash>,
}

impl Ledger {
    fn new(how: KeyChange) -> Self {
        let records = (0..40).map(|minute| match minute {
            0 => change(0, &key(1), None, KeyChange::First),
            5 => change(5, &key(2), Some(&key(1)), how),
            _ => note(minute),
        });
        let records: Vec<Vec<u8>> = records.map(|record| record.to_bytes()).collect();
        let leaves = records.iter().map(|bytes| leaf_hash(bytes)).collect();
        Self { records, leaves }
    }

    fn head(&self, size: u64) -> TreeHead {
        TreeHead { size, root: root(self.leaves.as_slice(), size).expect("inside the tree") }
    }

    /// Lines of the file: records 11 to 30 of 37, of minutes 12 to 30, and the two changes of the key.
    fn lines(&self, signer: &SigningKey) -> Vec<String> {
        self.lines_of(signer, (11, 31, 37))
    }

    /// Lines of the file: records `first` up to `end` of `size`, and the changes of the key by then.
    fn lines_of(&self, signer: &SigningKey, (first, end, size): (u64, u64, u64)) -> Vec<String> {
        let proof = range_proof(self.leaves.as_slice(), first, end, size).expect("inside the tree");
        let hexes = |hashes: &[Hash]| hashes.iter().copied().map(Hex).collect();
        let header = Header {
            rinseward: Form::Evidence,
            v: EVIDENCE_FORMAT,
            program: "0.1.0".to_owned(),
            made: at(60),
            site: "Kitchen".to_owned(),
            zone: "UTC".to_owned(),
            from: at(12),
            to: at(30),
            machines: Vec::new(),
            first,
            end,
            size,
            checkpoint: Checkpoint::sign_at(self.head(size), at(50), signer).to_string(),
            key: signer.verifying().to_string(),
            before: hexes(&proof.before),
            after: hexes(&proof.after),
        };
        let mut lines = vec![serde_json::to_string(&header).expect("JSON")];
        let changes = [0, 5].into_iter().filter(|index| *index < first);
        for index in changes.clone().chain(first..end) {
            let place = usize::try_from(index).expect("small");
            let proof = || inclusion_proof(self.leaves.as_slice(), index, size).expect("inside");
            let entry = Entry {
                index,
                leaf: Hex(self.leaves[place]),
                record: String::from_utf8_lossy(&self.records[place]),
                proof: (index < first).then(|| hexes(&proof())),
                trace: None,
            };
            lines.push(serde_json::to_string(&entry).expect("JSON"));
        }
        let trailer = Trailer { records: end - first, apart: changes.count() as u64, traces: 0 };
        lines.push(serde_json::to_string(&trailer).expect("JSON"));
        lines
    }
}

fn examine<L: AsRef<[u8]>>(lines: &[L], trust: Trust) -> Option<Examined> {
    let (first, rest) = lines.split_first()?;
    let mut examiner = Examiner::start(first.as_ref(), trust).ok()?;
    for line in rest {
        examiner.line(line.as_ref());
    }
    Some(examiner.finish())
}

fn by(key: &SigningKey) -> Trust {
    Trust { keys: vec![key.verifying()], kept: Vec::new() }
}

fn codes(examined: &Examined) -> Vec<(&'static str, Option<u64>)> {
    examined.findings.told.iter().map(|finding| (finding.flaw.code(), finding.record)).collect()
}

#[test]
fn holds_by_the_key_and_by_the_one_before_it() {
    let lines = Ledger::new(KeyChange::Rotated).lines(&key(2));
    for (trusted, since) in [(key(2), Some(5)), (key(1), Some(5))] {
        let examined = examine(&lines, by(&trusted)).expect("evidence");
        assert!(examined.findings.is_empty(), "{:?}", examined.findings);
        let sealed_by = SealedBy { key: key(2).verifying().to_string(), since, at: Some(at(50)) };
        assert_eq!(examined.sealed_by, Some(sealed_by));
        assert_eq!(examined.counted, Trailer { records: 20, apart: 2, traces: 0 });
        assert_eq!(examined.recorded, Some((at(11), at(30))));
    }
}

#[test]
fn no_other_key_will_do() {
    let ledger = Ledger::new(KeyChange::Rotated);
    let lines = ledger.lines(&key(2));
    let stranger = examine(&lines, by(&key(9))).expect("evidence");
    assert_eq!(codes(&stranger), [("key-not-vouched", None)]);
    // The file is sealed by a key that no record names.
    let forged = examine(&ledger.lines(&key(9)), by(&key(1))).expect("evidence");
    assert_eq!(codes(&forged), [("signature", None)]);
    // A key that was replaced seals nothing any more, whoever has it.
    let stale = examine(&ledger.lines(&key(1)), by(&key(1))).expect("evidence");
    assert_eq!(codes(&stale), [("key-replaced", None)]);
}

// Own promise: whoever holds another key of the ledger than the one that sealed is told which of them is the later.
#[test]
fn a_key_that_does_not_fit_is_told_as_earlier_or_later() {
    let told = |how, signer: &SigningKey, part, trusted: &SigningKey| {
        let examined = examine(&Ledger::new(how).lines_of(signer, part), by(trusted)).expect("evidence");
        let told = examined.findings.told.iter().map(|finding| finding.flaw.to_string());
        told.collect::<Vec<_>>().join("; ")
    };
    let (earlier, later) = (key(1).verifying().to_string(), key(2).verifying().to_string());
    for how in [KeyChange::Rotated, KeyChange::Lost] {
        let before = told(how, &key(1), (1, 4, 4), &key(2));
        let said =
            format!("sealed by «{earlier}», in force from record 0 on, and the key given was not on record");
        assert!(
            before.contains(&said) && !before.contains("a later key of the ledger, in force"),
            "{before}"
        );
        assert!(before.ends_with("if you got it by other means, never from this file"), "{before}");
    }
    let after = told(KeyChange::Lost, &key(2), (11, 31, 37), &key(1));
    assert!(
        after.contains(&format!("sealed by «{later}», a later key of the ledger, in force from record 5")),
        "{after}"
    );
    assert!(after.contains("the key before it was lost; give it with --key"), "{after}");
}

#[test]
fn nobody_vouches_for_a_key_after_a_loss() {
    let lines = Ledger::new(KeyChange::Lost).lines(&key(2));
    assert_eq!(codes(&examine(&lines, by(&key(1))).expect("evidence")), [("key-not-vouched", None)]);
    assert!(examine(&lines, by(&key(2))).expect("evidence").findings.is_empty());
}

#[test]
fn a_kept_checkpoint_is_compared_where_it_can_be() {
    let ledger = Ledger::new(KeyChange::Rotated);
    let other = Ledger::new(KeyChange::Lost);
    let lines = ledger.lines(&key(2));
    for (head, expected) in [
        (ledger.head(20), Kept::Holds),
        (ledger.head(37), Kept::Holds),
        (ledger.head(2), Kept::OtherLedger),
        (ledger.head(3), Kept::Outside),
        (ledger.head(35), Kept::Outside),
        (other.head(20), Kept::Contradicts),
        (other.head(37), Kept::Contradicts),
    ] {
        let origin = if expected == Kept::OtherLedger { "bakery" } else { "kitchen" };
        let kept = Checkpoint { origin: origin.to_owned(), head, extensions: Vec::new() };
        let examined = examine(&lines, Trust { kept: vec![kept], ..by(&key(2)) }).expect("evidence");
        assert_eq!(examined.kept, [(head.size, expected)]);
        assert_eq!(!examined.findings.is_empty(), expected == Kept::Contradicts, "{head:?}");
    }
}

/// What is done to the lines, and what must be told of which record.
type Tampering = (&'static str, fn(&mut Vec<String>), &'static [(&'static str, Option<u64>)]);

// Lines: 0 the header, 1 and 2 records 0 and 5, 3 to 22 records 11 to 30, 23 the last line.
const TAMPERINGS: [Tampering; 15] = [
    ("a record is changed", |lines| lines[7] = lines[7].replace("note", "vote"), &[("changed", Some(15))]),
    (
        "a record is changed with its leaf",
        |lines| {
            let mut entry: Entry<'_> = serde_json::from_str(&lines[7]).expect("an entry");
            entry.record = entry.record.replace("note", "vote").into();
            entry.leaf = Hex(leaf_hash(entry.record.as_bytes()));
            let changed = serde_json::to_string(&entry).expect("JSON");
            lines[7] = changed;
        },
        &[("not-sealed", None)],
    ),
    ("a record is dropped", |lines| drop(lines.remove(7)), &[("missing", None), ("count", None)]),
    ("the last record is dropped", |lines| drop(lines.remove(22)), &[("count", None), ("missing", None)]),
    ("two records change places", |lines| lines.swap(7, 8), &[("missing", None), ("out-of-order", Some(15))]),
    ("a record is doubled", |lines| lines.insert(7, lines[7].clone()), &[("out-of-order", Some(15))]),
    (
        "a record takes the place of another",
        |lines| lines[7] = lines[8].replace("\"index\":16", "\"index\":15"),
        &[("not-sealed", None)],
    ),
    (
        "one apart is changed",
        |lines| lines[2] = lines[2].replace("rotated", "first"),
        &[("changed", Some(5))],
    ),
    (
        "one apart is another",
        |lines| lines[2] = lines[2].replace("\"index\":5", "\"index\":6"),
        &[("not-sealed-apart", Some(6))],
    ),
    (
        "one apart has no proof",
        |lines| {
            let mut entry: Entry<'_> = serde_json::from_str(&lines[2]).expect("an entry");
            entry.proof = None;
            let changed = serde_json::to_string(&entry).expect("JSON");
            lines[2] = changed;
        },
        &[("place", Some(5))],
    ),
    ("the end is cut off", |lines| lines.truncate(20), &[("cut-short", None), ("missing", None)]),
    ("the last line is cut off", |lines| drop(lines.pop()), &[("cut-short", None)]),
    ("something follows", |lines| lines.push(lines[7].clone()), &[("after-end", None)]),
    (
        "the span is said to be longer",
        |lines| lines[0] = lines[0].replace("\"from\":\"2026-01-01T00:12", "\"from\":\"2026-01-01T00:10"),
        &[("begins-late", None)],
    ),
    (
        "the span is said to end later",
        |lines| lines[0] = lines[0].replace("\"to\":\"2026-01-01T00:30", "\"to\":\"2026-01-01T00:45"),
        &[("ends-early", None)],
    ),
];

#[test]
fn every_tampering_is_told_with_its_place() {
    let ledger = Ledger::new(KeyChange::Rotated);
    for (what, tamper, expected) in TAMPERINGS {
        let mut lines = ledger.lines(&key(2));
        tamper(&mut lines);
        let found = codes(&examine(&lines, by(&key(2))).expect("evidence"));
        for wanted in expected {
            assert!(found.contains(wanted), "{what}: {wanted:?} not in {found:?}");
        }
    }
}

#[test]
fn what_is_no_evidence_is_refused() {
    for line in ["", "{}", "machine,started", r#"{"v":2,"rinseward":"evidence"}"#, r#"{"v":1}"#] {
        assert!(Examiner::start(line.as_bytes(), by(&key(1))).is_err(), "{line}");
    }
}

#[test]
fn a_record_that_is_sealed_and_unreadable_is_told() {
    let mut ledger = Ledger::new(KeyChange::Rotated);
    ledger.records[15] = b"{\"v\":99}".to_vec();
    ledger.leaves[15] = leaf_hash(&ledger.records[15]);
    let found = examine(&ledger.lines(&key(2)), by(&key(2))).expect("evidence");
    assert_eq!(codes(&found), [("unreadable", Some(15))]);
}

#[test]
fn a_span_has_its_first_instant_and_not_its_last() {
    let span = Span { from: at(1), to: at(2) };
    assert_eq!([at(0), at(1), at(2)].map(|instant| span.has(instant)), [false, true, false]);
}

// A check is of the span where it says so, or where a later record corrects it to lie there.
#[test]
fn a_correction_that_moves_a_check_into_the_span_belongs_to_it() {
    let span = Span { from: at(10), to: at(20) };
    let supply = |minute| Check::Supply {
        at: at(minute),
        enough: true,
        short: Vec::new(),
        note: None,
        by: "Ana".to_owned(),
    };
    let correction = |of, minute| {
        let change = AmendmentChange::Corrected(supply(minute));
        let body = Amendment { of, reason: "the wrong day".to_owned(), by: "Ana".to_owned(), change };
        Record::new(at(40), None, Body::Amendment(Box::new(body)))
    };
    let mut companions = Companions::new(span, 5, 8, []);
    companions.take(1, &Record::new(at(1), None, Body::Check(supply(1))));
    companions.take(2, &Record::new(at(2), None, Body::Check(supply(2))));
    companions.take(3, &correction(2, 12));
    companions.take(9, &correction(1, 15));
    companions.take(10, &correction(1, 30));
    // The last one amends what is in the file.
    assert_eq!(companions.finish().into_iter().collect::<Vec<_>>(), [1, 2, 3, 9, 10]);
}

proptest! {
    /// Any flipped bit of any line but those words of the header that nothing proves.
    #[test]
    fn any_flipped_bit_is_found(line in 1..24_usize, place in any::<prop::sample::Index>(), bit in 0..8_u8) {
        let lines = Ledger::new(KeyChange::Rotated).lines(&key(2));
        let mut lines: Vec<Vec<u8>> = lines.into_iter().map(String::into_bytes).collect();
        let at = place.index(lines[line].len());
        lines[line][at] ^= 1 << bit;
        let examined = examine(&lines, by(&key(2))).expect("evidence");
        prop_assert!(!examined.findings.is_empty(), "line {line}, byte {at}");
    }

    #[test]
    fn any_flipped_bit_of_the_seal_is_found(place in any::<prop::sample::Index>(), bit in 0..8_u8) {
        let mut lines = Ledger::new(KeyChange::Rotated).lines(&key(2));
        let header = lines[0].clone();
        let from = header.find("\"first\":").expect("a key");
        let to = header.find("\"key\":").expect("a key");
        let proof = header.find("\"before\":").expect("a key");
        let proved: Vec<usize> = (from..to).chain(proof..header.len()).collect();
        let mut bytes = header.into_bytes();
        bytes[proved[place.index(proved.len())]] ^= 1 << bit;
        let Ok(changed) = String::from_utf8(bytes) else { return Ok(()) };
        lines[0] = changed;
        // A header that is none any more cannot be checked, which is not «whole» either; where only
        // the signature of the time was hit, it is that of nobody known, and no time is told.
        let whole = examine(&lines, by(&key(2))).is_some_and(|examined| {
            examined.findings.is_empty() && examined.sealed_by.is_some_and(|sealed| sealed.at.is_some())
        });
        prop_assert!(!whole);
    }

    #[test]
    fn no_bytes_end_the_examiner(lines in prop::collection::vec("\\PC{0,80}", 0..6)) {
        let header = Ledger::new(KeyChange::Rotated).lines(&key(2)).swap_remove(0);
        let mut all = vec![header];
        all.extend(lines);
        let examined = examine(&all, by(&key(2))).expect("evidence");
        let cut = |flaw: &Flaw| matches!(flaw, Flaw::Cut | Flaw::Missing { .. });
        prop_assert!(examined.findings.told.iter().any(|finding| cut(&finding.flaw)));
    }
}
