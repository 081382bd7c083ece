//! Chains of keys that hold, and every way in which one does not.

use super::*;
use crate::core::checkpoint::Checkpoint;

fn key(seed: u8) -> SigningKey {
    SigningKey::from_seed("kitchen", &[seed; 32]).expect("a name")
}

fn first(key: &SigningKey) -> SigningKeyChange {
    SigningKeyChange::first(&key.verifying())
}

fn lost(next: &SigningKey, before: &SigningKey) -> SigningKeyChange {
    let before = Some(before.verifying().to_string());
    SigningKeyChange { change: KeyChange::Lost, before, ..first(next) }
}

fn rotated(next: &SigningKey, before: &SigningKey) -> SigningKeyChange {
    let endorsed = endorsement(&next.verifying(), before).to_string();
    SigningKeyChange { change: KeyChange::Rotated, endorsed: Some(endorsed), ..lost(next, before) }
}

fn chain(changes: &[(u64, SigningKeyChange)]) -> KeyChain {
    key_chain(changes.iter().map(|(at, change)| (*at, change)))
}

fn standings(changes: &[(u64, SigningKeyChange)]) -> Vec<Standing> {
    chain(changes).keys.into_iter().map(|key| key.standing).collect()
}

#[test]
fn each_key_is_in_force_from_its_record_on() {
    let (a, b, c) = (key(1), key(2), key(3));
    let chain = chain(&[(0, first(&a)), (10, rotated(&b, &a)), (20, rotated(&c, &b))]);
    for (size, signer) in
        [(0, None), (1, Some(&a)), (10, Some(&a)), (11, Some(&b)), (20, Some(&b)), (21, Some(&c))]
    {
        let found = chain.signer_of(size).map(|key| &key.key);
        assert_eq!(found, signer.map(SigningKey::verifying).as_ref(), "{size} records");
    }
    let standings: Vec<_> = chain.keys.iter().map(|key| &key.standing).collect();
    assert_eq!(standings, [&Standing::First, &Standing::Endorsed, &Standing::Endorsed]);
    assert_eq!(chain.trusted_from(&a.verifying()).len(), 3);
    assert_eq!(chain.trusted_from(&c.verifying()).len(), 1);
    assert!(chain.trusted_from(&key(9).verifying()).is_empty());
}

#[test]
fn trust_ends_where_a_key_was_lost() {
    let (a, b, c) = (key(1), key(2), key(3));
    let chain = chain(&[(0, first(&a)), (10, lost(&b, &a)), (20, rotated(&c, &b))]);
    assert_eq!(chain.keys[1].standing, Standing::Lost);
    assert_eq!(chain.trusted_from(&a.verifying()).len(), 1);
    assert_eq!(chain.trusted_from(&b.verifying()).len(), 2);
}

#[test]
fn what_does_not_follow_is_told() {
    let (a, b, c) = (key(1), key(2), key(3));
    let unsigned = SigningKeyChange { endorsed: None, ..rotated(&b, &a) };
    let by_stranger = SigningKeyChange { endorsed: rotated(&b, &c).endorsed, ..rotated(&b, &a) };
    let for_another = SigningKeyChange { endorsed: rotated(&c, &a).endorsed, ..rotated(&b, &a) };
    let no_note = SigningKeyChange { endorsed: Some("yes".to_owned()), ..rotated(&b, &a) };
    let not_named = SigningKeyChange { before: None, ..lost(&b, &a) };
    let other = SigningKey::from_seed("bakery", &[2; 32]).expect("a name");
    for (change, why) in [
        (first(&b), Break::SecondFirst),
        (rotated(&b, &c), Break::OtherBefore),
        (lost(&b, &c), Break::OtherBefore),
        (not_named, Break::OtherBefore),
        (unsigned, Break::NotEndorsed),
        (by_stranger, Break::Endorsement(NoteError::NotSigned { name: "kitchen".to_owned() })),
        (for_another, Break::EndorsesAnother),
        (no_note, Break::Endorsement(NoteError::NotSplit)),
        (rotated(&other, &a), Break::Renamed { found: "bakery".to_owned(), wanted: "kitchen".to_owned() }),
    ] {
        let found = standings(&[(0, first(&a)), (7, change)]);
        assert_eq!(found, [Standing::First, Standing::Broken(why)]);
    }
    assert_eq!(standings(&[(0, lost(&b, &a))]), [Standing::Broken(Break::NothingBefore)]);
    assert_eq!(standings(&[(0, rotated(&b, &a))]), [Standing::Broken(Break::NothingBefore)]);
}

/// A change that names no key changes none.
#[test]
fn what_is_no_key_is_told_and_changes_none() {
    let a = key(1);
    let unreadable = SigningKeyChange { key: "kitchen".to_owned(), ..rotated(&key(2), &a) };
    let chain = chain(&[(0, first(&a)), (7, unreadable)]);
    assert_eq!(chain.unreadable, [Unreadable { at: 7, error: KeyError::Form }]);
    assert_eq!(chain.signer_of(8).map(|key| &key.key), Some(&a.verifying()));
}

/// No signature for a key can be handed on as a checkpoint.
#[test]
fn an_endorsement_is_no_checkpoint() {
    let (a, b) = (key(1), key(2));
    let note = endorsement(&b.verifying(), &a);
    assert!(note.verified(&a.verifying()).is_ok());
    assert!(Checkpoint::verified(&note, &a.verifying()).is_err());
}

/// Own rule; a name of C2SP signed-note has neither spaces nor `+`.
#[test]
fn a_key_is_called_as_its_site() {
    for (site, name) in [
        ("North kitchen", "rinseward/north-kitchen"),
        (" Café  №1 + Bar\u{2003}", "rinseward/café-1-bar"),
        ("厨房", "rinseward/厨房"),
        ("+\n", "rinseward/site"),
        (&"x".repeat(100), &format!("rinseward/{}", "x".repeat(64))),
    ] {
        assert_eq!(name_of_key(site), name);
        assert!(SigningKey::from_seed(name, &[1; 32]).is_ok());
    }
}
