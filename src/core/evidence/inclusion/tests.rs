//! A small sealed ledger in memory, one proof of it, and every way of changing that.

use proptest::prelude::*;

use super::*;
use crate::core::merkle::{inclusion_proof, root};
use crate::core::note::SigningKey;
use crate::core::record::{Body, Note as Noted};

const RECORDS: u64 = 37;
const OF: u64 = 11;

fn key(seed: u8) -> SigningKey {
    SigningKey::from_seed("kitchen", &[seed; 32]).expect("a name")
}

fn at(second: u64) -> Timestamp {
    Timestamp::from_micros(1_767_225_600_000_000).plus(std::time::Duration::from_secs(second))
}

fn leaves() -> (Vec<Vec<u8>>, Vec<Hash>) {
    let note = |second: u64| {
        let note = Noted { at: None, text: format!("«note» \"{second}\""), by: "Ana".to_owned() };
        Record::new(at(second), Some("dm1".to_owned()), Body::Note(note)).to_bytes()
    };
    let records: Vec<Vec<u8>> = (0..RECORDS + 3).map(note).collect();
    let leaves = records.iter().map(|bytes| leaf_hash(bytes)).collect();
    (records, leaves)
}

fn head(size: u64) -> TreeHead {
    TreeHead { size, root: root(leaves().1.as_slice(), size).expect("inside the tree") }
}

/// The proof of record 11 of 37, sealed by this key.
fn proof(signer: &SigningKey) -> Inclusion {
    let (records, leaves) = leaves();
    let bytes = records[usize::try_from(OF).expect("small")].clone();
    let path = inclusion_proof(leaves.as_slice(), OF, RECORDS).expect("inside the tree");
    Inclusion {
        format: FORMAT.to_owned(),
        record: OF,
        leaf_sha256: leaf_hash(&bytes).to_string(),
        bytes: String::from_utf8(bytes).expect("JSON is text"),
        tree_size: RECORDS,
        root_sha256: head(RECORDS).root.to_string(),
        inclusion_path: path.iter().map(Hash::to_string).collect(),
        checkpoint: Checkpoint::sign_at(head(RECORDS), at(60), signer).to_string(),
        key: signer.verifying().to_string(),
    }
}

fn trust(key: &SigningKey) -> Trust {
    Trust { keys: vec![key.verifying()], kept: Vec::new() }
}

fn codes(checked: &Checked) -> Vec<&'static str> {
    checked.broken.iter().map(Broken::code).collect()
}

// Own promise: what the gateway writes holds by the key, and says which record, and when it was sealed.
#[test]
fn a_proof_holds_by_the_key() {
    let file = proof(&key(1)).to_json();
    assert!(file.starts_with(BEGINS) && is_inclusion(&file.as_bytes()[..64]), "{file}");
    for end in ["", "\n"] {
        let checked = check(format!("{file}{end}").as_bytes(), &trust(&key(1)));
        assert!(checked.broken.is_empty(), "{:?}", checked.broken);
        let record = checked.record.expect("a record");
        assert_eq!((checked.index, record.machine.as_deref(), record.recorded), (OF, Some("dm1"), at(11)));
        assert_eq!(checked.sealed.expect("sealed").head.size, RECORDS);
        assert_eq!((checked.key, checked.at), (Some(key(1).verifying()), Some(at(60))));
    }
    assert!(!is_inclusion(b"{\"index\":1") && is_inclusion(b"{ \"format\": \"rinseward-inclusion-1\",\n"));
}

// Own promise: it is told which part does not hold.
#[test]
fn what_was_changed_is_named() {
    type Deed = fn(&mut Inclusion);
    let signer = key(1);
    let rows: [(&str, Deed, &[&str]); 11] = [
        ("record", |proof| proof.bytes = proof.bytes.replace("11", "12"), &["changed", "path"]),
        ("leaf", |proof| proof.leaf_sha256 = "0".repeat(64), &["changed"]),
        ("index", |proof| proof.record += 1, &["path"]),
        ("size", |proof| proof.tree_size -= 1, &["sealed"]),
        ("root", |proof| proof.root_sha256 = "1".repeat(64), &["path", "sealed"]),
        ("hash", |proof| proof.inclusion_path[0] = "x".to_owned(), &["no-hash"]),
        ("case", |proof| proof.inclusion_path[0].make_ascii_uppercase(), &["no-hash"]),
        ("path", |proof| proof.inclusion_path.swap(0, 1), &["path"]),
        ("key", |proof| proof.key = key(2).verifying().to_string(), &["key"]),
        ("cut", |proof| proof.checkpoint.truncate(20), &["checkpoint"]),
        (
            "untimed",
            |proof| proof.checkpoint = Checkpoint::sign(head(RECORDS), &key(1)).to_string(),
            &["no-time"],
        ),
    ];
    for (what, deed, expected) in rows {
        let mut changed = proof(&signer);
        deed(&mut changed);
        let checked = check(changed.to_json().as_bytes(), &trust(&signer));
        assert!(expected.iter().all(|code| codes(&checked).contains(code)), "{what}: {:?}", checked.broken);
    }
    let whole = proof(&signer);
    let pretty = serde_json::to_vec_pretty(&whole).expect("JSON");
    assert_eq!(codes(&check(&pretty, &trust(&signer))), ["written"]);
    let shouted = Inclusion { leaf_sha256: whole.leaf_sha256.to_uppercase(), ..whole.clone() };
    assert_eq!(codes(&check(shouted.to_json().as_bytes(), &trust(&signer))), ["changed"]);
    assert_eq!(codes(&check(whole.to_json().as_bytes(), &trust(&key(2)))), ["signature"]);
    // A whole proof made anew by somebody who has another key.
    assert_eq!(codes(&check(proof(&key(3)).to_json().as_bytes(), &trust(&signer))), ["signature"]);
}

// Own promise: a kept checkpoint speaks where it counts as many records, and only of its own ledger.
#[test]
fn a_kept_checkpoint_is_compared() {
    let signer = key(1);
    let kept = |origin: &str, head| Checkpoint { origin: origin.to_owned(), head, extensions: Vec::new() };
    let forked = TreeHead { size: RECORDS, root: head(RECORDS - 1).root };
    for (checkpoint, answer, broken) in [
        (kept("kitchen", head(RECORDS)), Kept::Holds, vec![]),
        (kept("kitchen", forked), Kept::Contradicts, vec!["kept"]),
        (kept("kitchen", head(RECORDS - 1)), Kept::Outside, vec![]),
        (kept("bar", head(RECORDS)), Kept::OtherLedger, vec![]),
    ] {
        let size = checkpoint.head.size;
        let trust = Trust { kept: vec![checkpoint], ..trust(&signer) };
        let checked = check(proof(&signer).to_json().as_bytes(), &trust);
        assert_eq!((codes(&checked), checked.kept), (broken, vec![(size, answer)]));
    }
}

// Own promise: a letter is one of the two cases that it has, everywhere.
#[test]
fn a_letter_in_the_other_case_is_found() {
    let file = proof(&key(1)).to_json().into_bytes();
    for place in (0..file.len()).filter(|place| file[*place].is_ascii_alphabetic()) {
        let mut file = file.clone();
        file[place] ^= 0x20;
        let checked = check(&file, &trust(&key(1)));
        assert!(!checked.broken.is_empty(), "byte {place} of {}", String::from_utf8_lossy(&file));
    }
}

proptest! {
    // Own promise: one changed byte, anywhere, is found.
    #[test]
    fn any_changed_byte_is_found(place in any::<prop::sample::Index>(), flip in 1..=u8::MAX) {
        let mut file = proof(&key(1)).to_json().into_bytes();
        let place = place.index(file.len());
        file[place] ^= flip;
        let checked = check(&file, &trust(&key(1)));
        prop_assert!(!checked.broken.is_empty(), "byte {} of {}", place, String::from_utf8_lossy(&file));
    }
}
