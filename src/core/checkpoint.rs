//! Checkpoints (C2SP tlog-checkpoint): how large a ledger was, and the root over
//! all its records, signed.
//!
//! ```text
//! <origin: what the ledger is called>
//! <number of records, decimal, without leading zeros>
//! <root hash, base64>
//! ```
//!
//! Those of this program carry two signatures of one key: that of the log, and a
//! cosignature, which signs the time with it (see [`super::note`]).
//!
//! Whoever keeps an old checkpoint can later have it proved that none of the
//! records it counts was changed, dropped or moved since. A log that only its
//! own host has signed proves nothing to somebody who holds no earlier one:
//! checkpoints must leave the house.

use std::fmt;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::merkle::{HASH_LEN, Hash, TreeHead};
use super::note::{Note, NoteError, SigningKey, VerifyingKey};
use super::time::Timestamp;

/// Why a text is no checkpoint, or one that does not hold.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum CheckpointError {
    /// It is no signed note, or not signed by the key asked for.
    #[error("it is no signed note that holds")]
    Note(#[from] NoteError),
    /// A line is missing or is not what it should be.
    #[error("line {line} of the checkpoint is not its {wanted}")]
    Line {
        /// Which, from 1.
        line: usize,
        /// What should stand there.
        wanted: &'static str,
    },
    /// It speaks of another ledger.
    #[error("it is a checkpoint of «{found}», not of «{wanted}»")]
    Origin {
        /// Origin found.
        found: String,
        /// Name of the key, which is the origin.
        wanted: String,
    },
}

/// What a checkpoint says. [`fmt::Display`] gives the text that is signed.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Checkpoint {
    /// What the ledger is called; the name of its key.
    pub origin: String,
    /// Number of records and the root over them.
    pub head: TreeHead,
    /// Further lines, which this program writes none of.
    pub extensions: Vec<String>,
}

impl Checkpoint {
    /// Signs the head of a tree; the origin is the name of the key.
    #[must_use]
    pub fn sign(head: TreeHead, key: &SigningKey) -> Note {
        let checkpoint = Self { origin: key.name().to_owned(), head, extensions: Vec::new() };
        Note::sign(checkpoint.to_string(), &[key])
            .expect("a name of a key, a number and base64, each with its line feed, are the text of a note")
    }

    /// Signs the head of a tree and the time at which it was so, in whole seconds.
    #[must_use]
    pub fn sign_at(head: TreeHead, at: Timestamp, key: &SigningKey) -> Note {
        Self::sign(head, key).cosigned_by(key, at)
    }

    /// Reads a signed checkpoint of the ledger that `key` belongs to. [`Note::cosigned_at`] has
    /// the time that is signed with it, where one is.
    ///
    /// # Errors
    /// [`CheckpointError`].
    pub fn verified(note: &Note, key: &VerifyingKey) -> Result<Self, CheckpointError> {
        let checkpoint = Self::parse(note.verified(key)?)?;
        note.cosigned_at(key)?;
        if checkpoint.origin == key.name() {
            Ok(checkpoint)
        } else {
            Err(CheckpointError::Origin { found: checkpoint.origin, wanted: key.name().to_owned() })
        }
    }

    /// Reads the text of a checkpoint.
    ///
    /// # Errors
    /// [`CheckpointError::Line`].
    pub fn parse(text: &str) -> Result<Self, CheckpointError> {
        let missing = |line, wanted| CheckpointError::Line { line, wanted };
        let body = text.strip_suffix('\n').ok_or(missing(text.lines().count().max(1), "end"))?;
        let mut lines = body.split('\n');
        let origin = lines.next().filter(|line| !line.is_empty()).ok_or(missing(1, "origin"))?;
        let size = lines.next().and_then(decimal).ok_or(missing(2, "number of records"))?;
        let root = lines.next().and_then(root).ok_or(missing(3, "root hash"))?;
        let extensions: Vec<String> = lines.map(str::to_owned).collect();
        match extensions.iter().position(String::is_empty) {
            Some(empty) => Err(missing(4 + empty, "further text")),
            None => Ok(Self { origin: origin.to_owned(), head: TreeHead { size, root }, extensions }),
        }
    }
}

impl fmt::Display for Checkpoint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}\n{}\n{}", self.origin, self.head.size, STANDARD.encode(self.head.root.0))?;
        self.extensions.iter().try_for_each(|line| writeln!(f, "{line}"))
    }
}

fn decimal(line: &str) -> Option<u64> {
    let written_once = line == "0" || !line.starts_with('0');
    let digits = line.bytes().all(|byte| byte.is_ascii_digit());
    (written_once && digits).then(|| line.parse().ok()).flatten()
}

fn root(line: &str) -> Option<Hash> {
    let bytes: [u8; HASH_LEN] = STANDARD.decode(line).ok()?.try_into().ok()?;
    Some(Hash(bytes))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Secret key of test 1 of RFC 8032 §7.1: public, for tests alone.
    const SECRET: [u8; 32] = [
        0x9d, 0x61, 0xb1, 0x9d, 0xef, 0xfd, 0x5a, 0x60, 0xba, 0x84, 0x4a, 0xf4, 0x92, 0xec, 0x2c, 0xc4, 0x44,
        0x49, 0xc5, 0x69, 0x7b, 0x32, 0x69, 0x19, 0x70, 0x3b, 0xac, 0x03, 0x1c, 0xae, 0x7f, 0x60,
    ];
    /// Root over the 8 leaves of the known-answer tests of RFC 6962 implementations.
    const ROOT_OF_8: &str = "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328";
    /// A checkpoint of that tree under that key, computed by a program that shares nothing with this one.
    const GOLDEN: &str = "example.com/warewash\n8\nXcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=\n\n\u{2014} example.com/warewash 8lTjzT3eGYPlHt/epNRF+uYzaSoySFlwND1l3XfENawtEPeyCwZWDEgyK0w0XQKSS98dYWsWTuZclppmRXjesnBCGQM=\n";
    const VERIFYING: &str = "example.com/warewash+f254e3cd+AddamAGCsQq31Uv+08lkBzoO4XLz2qYjJa8CGmj3B1Ea";

    /// The same with a cosignature at 2025-11-26T14:00:00Z, computed with Python's `cryptography`
    /// 50 from the words of C2SP tlog-cosignature; it gives the two lines of `GOLDEN` too.
    const COSIGNATURE: &str = "\u{2014} example.com/warewash xT0RHgAAAABpJwfgTnx8vZXtw5pGUybIqp0QTI/uHJ35HEcmjBN7bNUmHWOw6l3TqpwDu+TZYOXEcOTWHf5Ntjlyil52NQejHWrFCQ==\n";
    const COSIGNED_AT: &str = "2025-11-26T14:00:00Z";

    fn key() -> SigningKey {
        SigningKey::from_seed("example.com/warewash", &SECRET).expect("a fine name")
    }

    fn head() -> TreeHead {
        TreeHead { size: 8, root: ROOT_OF_8.parse().expect("64 digits") }
    }

    #[test]
    fn a_checkpoint_is_the_bytes_another_program_made() {
        let note = Checkpoint::sign(head(), &key());
        assert_eq!(note.to_string(), GOLDEN);
        assert_eq!(key().verifying().to_string(), VERIFYING);
    }

    #[test]
    fn a_signed_time_is_the_bytes_another_program_made() {
        let at: Timestamp = COSIGNED_AT.parse().expect("an instant");
        let note = Checkpoint::sign_at(head(), at.plus(std::time::Duration::from_millis(999)), &key());
        assert_eq!(note.to_string(), format!("{GOLDEN}{COSIGNATURE}"));
        let key = key().verifying();
        assert_eq!(Checkpoint::verified(&note, &key).map(|read| read.head), Ok(head()));
        assert_eq!(note.cosigned_at(&key), Ok(Some(at)));
        let without = Note::parse(GOLDEN).expect("the note above");
        assert_eq!(without.cosigned_at(&key), Ok(None));
    }

    #[test]
    fn a_checkpoint_is_read_back() {
        let key: VerifyingKey = VERIFYING.parse().expect("the key above");
        let note = Note::parse(GOLDEN).expect("the note above");
        let read = Checkpoint::verified(&note, &key).expect("it holds");
        assert_eq!(read, Checkpoint { origin: key.name().to_owned(), head: head(), extensions: Vec::new() });
    }

    #[test]
    fn a_checkpoint_of_another_ledger_is_told() {
        let signed = Note::sign(
            GOLDEN.split("\n\n").next().expect("a text").replace("warewash", "bakery") + "\n",
            &[&key()],
        )
        .expect("a fine text");
        assert_eq!(
            Checkpoint::verified(&signed, &key().verifying()),
            Err(CheckpointError::Origin {
                found: "example.com/bakery".to_owned(),
                wanted: "example.com/warewash".to_owned()
            })
        );
    }

    /// Texts that are no checkpoints by C2SP tlog-checkpoint, and the line that is wrong.
    #[test]
    fn what_is_no_checkpoint_is_refused() {
        const ROOT: &str = "XcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=";
        for (text, line) in [
            (String::new(), 1),
            ("\n".to_owned(), 1),
            ("o\n".to_owned(), 2),
            (format!("o\n08\n{ROOT}\n"), 2),
            (format!("o\n+8\n{ROOT}\n"), 2),
            (format!("o\n-1\n{ROOT}\n"), 2),
            (format!("o\n\n{ROOT}\n"), 2),
            (format!("o\n18446744073709551616\n{ROOT}\n"), 2),
            ("o\n8\n".to_owned(), 3),
            ("o\n8\nXcna\n".to_owned(), 3),
            (format!("o\n8\n{ROOT}"), 3),
            (format!("o\n8\n{ROOT}\n\n"), 4),
        ] {
            let found = Checkpoint::parse(&text);
            assert!(
                matches!(found, Err(CheckpointError::Line { line: at, .. }) if at == line),
                "{text:?}: {found:?}"
            );
        }
    }

    proptest! {
        #[test]
        fn a_changed_bit_is_found(at in 0..GOLDEN.len(), bit in 0..8_u8) {
            let mut bytes = GOLDEN.as_bytes().to_vec();
            bytes[at] ^= 1 << bit;
            let holds = String::from_utf8(bytes)
                .ok()
                .and_then(|text| Note::parse(&text).ok())
                .is_some_and(|note| Checkpoint::verified(&note, &key().verifying()).is_ok());
            prop_assert!(!holds);
        }

        // A changed id or name makes a line that of an unknown key, which is passed over: the time
        // is then not signed any more, and never another one.
        #[test]
        fn a_changed_time_is_found(at in 0..COSIGNATURE.len(), bit in 0..8_u8) {
            let mut bytes = COSIGNATURE.as_bytes().to_vec();
            bytes[at] ^= 1 << bit;
            let key = key().verifying();
            let signed = String::from_utf8(bytes)
                .ok()
                .and_then(|line| Note::parse(&format!("{GOLDEN}{line}")).ok())
                .filter(|note| Checkpoint::verified(note, &key).is_ok())
                .and_then(|note| note.cosigned_at(&key).ok().flatten());
            prop_assert_eq!(signed, None);
        }
    }
}
