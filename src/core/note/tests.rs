//! Known answers of the specification and of RFC 8032, and what must be refused.

use proptest::prelude::*;

use super::*;

/// The example of C2SP signed-note.
const EXAMPLE_KEY: &str = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k";
/// Its note.
const EXAMPLE: &str = "This is an example message.\n\n\u{2014} example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=\n";

fn example_key() -> VerifyingKey {
    EXAMPLE_KEY.parse().expect("the key of the specification")
}

fn bytes<const N: usize>(hex: &str) -> [u8; N] {
    let mut bytes = [0; N];
    for (byte, at) in bytes.iter_mut().zip((0..hex.len()).step_by(2)) {
        *byte = u8::from_str_radix(&hex[at..at + 2], 16).expect("hexadecimal");
    }
    bytes
}

#[test]
fn the_example_of_the_specification_holds() {
    let note = Note::parse(EXAMPLE).expect("a note");
    assert_eq!(note.verified(&example_key()), Ok("This is an example message.\n"));
    assert_eq!(note.to_string(), EXAMPLE);
    assert_eq!(example_key().to_string(), EXAMPLE_KEY);
}

/// RFC 8032 §7.1: secret, message, signature.
#[test]
fn signatures_are_those_of_rfc_8032() {
    for (secret, message, signature) in [
        (
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
            &[][..],
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
        ),
        (
            "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
            &[0x72][..],
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        ),
        (
            "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
            &[0xaf, 0x82][..],
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
        ),
    ] {
        let key = SigningKey::from_seed("k", &bytes(secret)).expect("a name");
        assert_eq!(key.sign(message), bytes::<64>(signature));
        assert!(key.verifying().verifies(message, &bytes::<64>(signature)));
    }
}

/// S + L is the same number to a careless verifier (RFC 8032 §5.1.7 demands S below L).
#[test]
fn a_signature_with_s_past_the_order_is_refused() {
    const ORDER: &str = "edd3f55c1a631258d69cf7a2def9de1400000000000000000000000000000010";
    let key = SigningKey::from_seed("k", &[7; 32]).expect("a name");
    let mut signature = key.sign(b"text\n");
    let mut carry = 0_u16;
    for (byte, add) in signature[32..].iter_mut().zip(bytes::<32>(ORDER)) {
        let sum = u16::from(*byte) + u16::from(add) + carry;
        *byte = sum.to_le_bytes()[0];
        carry = sum >> 8;
    }
    assert!(!key.verifying().verifies(b"text\n", &signature));
}

/// A key of small order (the neutral element) verifies nothing.
#[test]
fn a_key_of_small_order_verifies_nothing() {
    let mut neutral = [0; 32];
    neutral[0] = 1;
    let key = ed25519_dalek::VerifyingKey::from_bytes(&neutral).expect("a point of the curve");
    let mut signature = [0; 64];
    signature[0] = 1;
    assert!(key.verify_strict(b"anything", &ed25519_dalek::Signature::from_bytes(&signature)).is_err());
}

#[test]
fn unknown_signatures_are_passed_over_and_a_false_one_is_not() {
    let (a, b) = (SigningKey::from_seed("a", &[1; 32]), SigningKey::from_seed("b", &[2; 32]));
    let (a, b) = (a.expect("a name"), b.expect("a name"));
    let note = Note::sign("text\n", &[&a, &b]).expect("a text");
    assert!(note.verified(&a.verifying()).is_ok());
    assert!(note.verified(&b.verifying()).is_ok());
    let stranger = SigningKey::from_seed("a", &[3; 32]).expect("a name");
    assert_eq!(note.verified(&stranger.verifying()), Err(NoteError::NotSigned { name: "a".to_owned() }));
    let forged = Note::parse(&note.to_string().replace("text", "next")).expect("a note");
    assert_eq!(forged.verified(&a.verifying()), Err(NoteError::Forged { name: "a".to_owned() }));
}

#[test]
fn what_is_no_note_is_refused() {
    let sixty_five = "\u{2014} k AAAAAAA=\n".repeat(65);
    for (note, why) in [
        ("text\n", NoteError::NotSplit),
        ("text\n\n\u{2014} k AAAAAAA=", NoteError::NotSplit),
        ("te\u{0}xt\n\n\u{2014} k AAAAAAA=\n", NoteError::Control { at: 2 }),
        ("text\r\n\n\u{2014} k AAAAAAA=\n", NoteError::Control { at: 4 }),
        ("text\n\n- k AAAAAAA=\n", NoteError::SignatureLine { line: 1 }),
        ("text\n\n\u{2014} k+k AAAAAAA=\n", NoteError::SignatureLine { line: 1 }),
        ("text\n\n\u{2014} k AAAA\n", NoteError::SignatureLine { line: 1 }),
        ("text\n\n\u{2014} k AAAAAAA=\n\u{2014} k AAAA=A=\n", NoteError::SignatureLine { line: 2 }),
        (&format!("text\n\n{sixty_five}"), NoteError::TooManySignatures { found: 65 }),
    ] {
        assert_eq!(Note::parse(note), Err(why), "{note:?}");
    }
    let key = SigningKey::from_seed("k", &[1; 32]).expect("a name");
    assert_eq!(Note::sign("no end", &[&key]), Err(NoteError::NotSplit));
    assert_eq!(Note::sign("bell\u{7}\n", &[&key]), Err(NoteError::Control { at: 4 }));
}

#[test]
fn what_is_no_key_is_refused() {
    for (key, why) in [
        ("example.com/foo", KeyError::Form),
        ("+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k", KeyError::Name),
        ("example.com/foo+530d903b+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k", KeyError::Id),
        ("example.com/fox+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k", KeyError::Id),
        (
            "example.com/foo+530d903a+AukyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k",
            KeyError::Type { found: 2 },
        ),
        ("example.com/foo+530d903a+Aeky", KeyError::Form),
        ("example.com/foo+530d903a+", KeyError::Form),
    ] {
        assert_eq!(key.parse::<VerifyingKey>(), Err(why), "{key}");
    }
}

/// A text that begins as a cosignature could be handed on as one.
#[test]
fn what_looks_cosigned_is_not_signed() {
    let key = SigningKey::from_seed("k", &[1; 32]).expect("a name");
    assert_eq!(Note::sign("cosignature/v1\ntime 1\no\n", &[&key]), Err(NoteError::LooksCosigned));
    assert_eq!(SigningKey::from_seed("cosignature/v1", &[1; 32]).err(), Some(KeyError::Name));
}

/// Of several times the earliest is told: the text was so already then. One that was changed, or
/// cut short, refuses the note.
#[test]
fn times_of_cosignatures() {
    let at = |seconds: i64| Timestamp::from_micros(seconds * 1_000_000);
    let (key, other) = (SigningKey::from_seed("k", &[1; 32]), SigningKey::from_seed("k", &[2; 32]));
    let (key, other) = (key.expect("a name"), other.expect("a name"));
    let note = Note::sign("text\n", &[&key]).expect("a text");
    let twice = note.clone().cosigned_by(&key, at(9)).cosigned_by(&key, at(7)).cosigned_by(&other, at(3));
    assert_eq!(twice.cosigned_at(&key.verifying()), Ok(Some(at(7))));
    assert_eq!(note.clone().cosigned_by(&key, at(-5)).cosigned_at(&key.verifying()), Ok(Some(at(0))));
    let forged = Err(NoteError::Forged { name: "k".to_owned() });
    for change in [|bytes: &mut Vec<u8>| bytes[7] ^= 1, |bytes: &mut Vec<u8>| bytes.truncate(5)] {
        let mut changed = note.clone().cosigned_by(&key, at(9));
        change(&mut changed.signatures[1].bytes);
        assert_eq!(changed.cosigned_at(&key.verifying()), forged);
    }
}

#[test]
fn a_secret_key_is_read_back_and_not_shown() {
    let key = SigningKey::from_seed("site", &[9; 32]).expect("a name");
    let text = key.secret_text();
    let read = SigningKey::from_secret_text(&format!("{text}\n")).expect("what was written");
    assert_eq!(read.verifying(), key.verifying());
    assert_eq!(format!("{key:?}"), "SigningKey { name: \"site\", .. }");
    assert_eq!(SigningKey::from_secret_text(&key.verifying().to_string()).err(), Some(KeyError::Form));
}

proptest! {
    #[test]
    fn what_is_signed_is_read_back(text in "([^\\x00-\\x1f\\x7f]{0,40}\n){1,6}", seed: [u8; 32]) {
        let key = SigningKey::from_seed("k", &seed).expect("a name");
        let note = Note::sign(text.clone(), &[&key]).expect("lines without control characters");
        let read = Note::parse(&note.to_string()).expect("what was written");
        prop_assert_eq!(read.verified(&key.verifying()), Ok(text.as_str()));
    }
}
