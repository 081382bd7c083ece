//! The signed link of a message.
//!
//! A token is, in base64url without padding (RFC 4648 §5):
//!
//! | bytes | what |
//! |---|---|
//! | 1 | version, 1 |
//! | 8 | number of the alert, big-endian |
//! | 8 | when it expires, seconds since the epoch, big-endian |
//! | n | name of the contact, UTF-8, at most [`CONTACT_BYTES_MAX`] |
//! | 16 | HMAC-SHA256 over all bytes before (RFC 2104), cut to its leftmost 128 bits as §5 there permits |
//!
//! The key is 32 random bytes in a file of mode 0600 beside the ledger. A new
//! key makes every link of before void; nothing else depends on it.

use std::fmt;
use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

use crate::core::time::Timestamp;

/// Longest name of a contact in a link, in bytes.
pub const CONTACT_BYTES_MAX: usize = 64;
/// Length of a key, in bytes: that of the hash, as RFC 2104 §3 advises.
const KEY_BYTES: usize = 32;
/// Length of the code, in bytes.
const CODE_BYTES: usize = 16;
/// Version of the token.
const VERSION: u8 = 1;
/// Bytes before the name.
const HEAD_BYTES: usize = 17;
/// Longest token, in characters: four for every three bytes.
pub(super) const TOKEN_CHARS_MAX: usize = (HEAD_BYTES + CONTACT_BYTES_MAX + CODE_BYTES).div_ceil(3) * 4;

/// What a link stands for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Link {
    /// Number of the alert.
    pub alert: u64,
    /// Name of the contact it was sent to.
    pub contact: String,
    /// When it expires; whole seconds.
    pub expires: Timestamp,
}

/// Why a link is not followed.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum LinkError {
    /// It was not made with this key, or was changed.
    #[error("this link was not made here")]
    Forged,
    /// It is too old.
    #[error("this link has expired")]
    Expired,
}

/// Why there is no key.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// The file cannot be read.
    #[error("cannot read the key of the links «{}»", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// The file cannot be made.
    #[error("cannot make the key of the links «{}»", path.display())]
    Make {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// The system gives no random bytes.
    #[error("the system gives no random bytes")]
    Random(#[source] getrandom::Error),
    /// The file holds something else.
    #[error("«{}» holds no key: it has {found} bytes in place of 32", path.display())]
    Shape {
        /// The file.
        path: PathBuf,
        /// Its length.
        found: usize,
    },
    /// Others may read the file.
    #[error("the key of the links «{}» is open to others (mode {mode:03o}); chmod 600 it", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Its mode.
        mode: u32,
    },
}

/// The key that links are signed with.
#[derive(Clone)]
pub struct LinkKey(Hmac<Sha256>);

impl fmt::Debug for LinkKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("LinkKey")
    }
}

impl LinkKey {
    /// Reads the key at `path`; makes one there where there is none.
    ///
    /// # Errors
    /// [`KeyError`] where there is none in the end.
    pub fn load_or_make(path: &Path) -> Result<Self, KeyError> {
        match fs::read(path) {
            Ok(bytes) => Self::checked(path, &bytes),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Self::make(path),
            Err(source) => Err(KeyError::Read { path: path.to_owned(), source }),
        }
    }

    fn checked(path: &Path, bytes: &[u8]) -> Result<Self, KeyError> {
        let failed = |source| KeyError::Read { path: path.to_owned(), source };
        let mode = fs::metadata(path).map_err(failed)?.permissions().mode() & 0o777;
        if mode & 0o077 != 0 {
            return Err(KeyError::Open { path: path.to_owned(), mode });
        }
        let shape = |_| KeyError::Shape { path: path.to_owned(), found: bytes.len() };
        Ok(Self::of(bytes.try_into().map_err(shape)?))
    }

    /// The whole key appears under its name at once, so that a kill leaves none or all of it.
    fn make(path: &Path) -> Result<Self, KeyError> {
        let failed = |source| KeyError::Make { path: path.to_owned(), source };
        let mut bytes = [0; KEY_BYTES];
        getrandom::fill(&mut bytes).map_err(KeyError::Random)?;
        let mut name = path.as_os_str().to_owned();
        name.push(".new");
        let new = PathBuf::from(name);
        // Whatever lies there is no file of ours: one of another mode, or a link to elsewhere.
        match fs::remove_file(&new) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(failed(error)),
            Ok(()) | Err(_) => {}
        }
        let mut file =
            OpenOptions::new().write(true).create_new(true).mode(0o600).open(&new).map_err(failed)?;
        file.write_all(&bytes).and_then(|()| file.sync_all()).map_err(failed)?;
        fs::rename(&new, path).map_err(failed)?;
        Ok(Self::of(&bytes))
    }

    fn of(bytes: &[u8; KEY_BYTES]) -> Self {
        Self(Hmac::new_from_slice(bytes).expect("HMAC takes a key of any length (RFC 2104 §3)"))
    }

    /// The token for a link. A name longer than [`CONTACT_BYTES_MAX`] is cut.
    #[must_use]
    pub fn token(&self, link: &Link) -> String {
        let mut bytes = Vec::with_capacity(HEAD_BYTES + link.contact.len() + CODE_BYTES);
        bytes.push(VERSION);
        bytes.extend(link.alert.to_be_bytes());
        bytes.extend(link.expires.micros().div_euclid(1_000_000).to_be_bytes());
        let end = link.contact.floor_char_boundary(CONTACT_BYTES_MAX);
        bytes.extend(&link.contact.as_bytes()[..end]);
        let code = self.0.clone().chain_update(&bytes).finalize().into_bytes();
        bytes.extend(&code[..CODE_BYTES]);
        URL_SAFE_NO_PAD.encode(bytes)
    }

    /// What a token stands for, at `now`. The code is compared in constant time, before
    /// anything in the token is looked at.
    ///
    /// # Errors
    /// [`LinkError`] where it is not to be followed.
    pub fn open(&self, token: &str, now: Timestamp) -> Result<Link, LinkError> {
        if token.len() > TOKEN_CHARS_MAX {
            return Err(LinkError::Forged);
        }
        let bytes = URL_SAFE_NO_PAD.decode(token).map_err(|_| LinkError::Forged)?;
        let (said, code) =
            bytes.len().checked_sub(CODE_BYTES).map(|end| bytes.split_at(end)).ok_or(LinkError::Forged)?;
        self.0.clone().chain_update(said).verify_truncated_left(code).map_err(|_| LinkError::Forged)?;
        let link = read(said).ok_or(LinkError::Forged)?;
        if now >= link.expires { Err(LinkError::Expired) } else { Ok(link) }
    }
}

fn read(said: &[u8]) -> Option<Link> {
    let (version, rest) = said.split_first()?;
    let (alert, rest) = rest.split_first_chunk()?;
    let (expires, contact) = rest.split_first_chunk()?;
    (*version == VERSION).then_some(())?;
    let expires = i64::from_be_bytes(*expires).checked_mul(1_000_000)?;
    Some(Link {
        alert: u64::from_be_bytes(*alert),
        contact: String::from_utf8(contact.to_vec()).ok()?,
        expires: Timestamp::from_micros(expires),
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const NOW: Timestamp = Timestamp::from_micros(1_700_000_000_000_000);

    fn key(byte: u8) -> LinkKey {
        LinkKey::of(&[byte; KEY_BYTES])
    }

    fn link() -> Link {
        let expires = Timestamp::from_micros(NOW.micros() + 3_600_000_000);
        Link { alert: 12, contact: "María".to_owned(), expires }
    }

    // HMAC-SHA-256 of RFC 4231 §4.4 (test case 3: key of 0xaa × 20, data of 0xdd × 50), cut as
    // its test case 5 is: the code in use here is that one.
    #[test]
    fn signs_by_rfc_4231() {
        let mac = Hmac::<Sha256>::new_from_slice(&[0xaa; 20]).expect("a key of any length");
        let expected =
            [0x77, 0x3e, 0xa9, 0x1e, 0x36, 0x80, 0x0e, 0x46, 0x85, 0x4d, 0xb8, 0xeb, 0xd0, 0x91, 0x81, 0xa7];
        mac.chain_update([0xdd; 50]).verify_truncated_left(&expected).expect("the code of the RFC");
    }

    // A link is followed by the key that made it until the second it expires; own choice.
    #[test]
    fn opens_what_it_made_until_it_expires() {
        let token = key(1).token(&link());
        assert!(token.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_'), "{token}");
        let before = Timestamp::from_micros(link().expires.micros() - 1);
        for (key, now, expected) in [
            (key(1), NOW, Ok(link())),
            (key(1), before, Ok(link())),
            (key(1), link().expires, Err(LinkError::Expired)),
            (key(2), NOW, Err(LinkError::Forged)),
        ] {
            assert_eq!(key.open(&token, now), expected, "{now}");
        }
        for token in ["", "AAAA", "not base64!", &"A".repeat(500)] {
            assert_eq!(key(1).open(token, NOW), Err(LinkError::Forged), "{token}");
        }
    }

    proptest! {
        #[test]
        fn any_changed_bit_is_found(bit in 0_usize..(HEAD_BYTES + 6 + CODE_BYTES) * 8) {
            let mut bytes = URL_SAFE_NO_PAD.decode(key(1).token(&link())).expect("base64url");
            bytes[bit / 8] ^= 1 << (bit % 8);
            prop_assert_eq!(key(1).open(&URL_SAFE_NO_PAD.encode(bytes), NOW), Err(LinkError::Forged));
        }

        #[test]
        fn whatever_is_signed_comes_back(alert: u64, seconds in 0_i64..4_000_000_000, contact in "\\PC{0,16}") {
            let expires = Timestamp::from_micros(seconds * 1_000_000);
            let link = Link { alert, contact, expires };
            let past = Timestamp::from_micros(expires.micros() - 1);
            prop_assert_eq!(key(7).open(&key(7).token(&link), past), Ok(link));
        }
    }

    // Mode 0600 (POSIX): nobody but the owner; the key outlives the process and is whole.
    #[test]
    fn the_key_is_made_once_and_kept_from_others() {
        let directory = tempfile::tempdir().expect("a temporary directory");
        let path = directory.path().join("ledger.link-key");
        let token = LinkKey::load_or_make(&path).expect("made").token(&link());
        let mode = fs::metadata(&path).expect("it is there").permissions().mode() & 0o777;
        assert_eq!((mode, fs::read(&path).expect("readable").len()), (0o600, KEY_BYTES));
        assert!(LinkKey::load_or_make(&path).expect("found").open(&token, NOW).is_ok());
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).expect("our own file");
        assert!(matches!(LinkKey::load_or_make(&path), Err(KeyError::Open { mode: 0o644, .. })));
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).expect("our own file");
        fs::write(&path, "short").expect("our own file");
        assert!(matches!(LinkKey::load_or_make(&path), Err(KeyError::Shape { found: 5, .. })));

        // A link that somebody laid where the key is written first takes it nowhere.
        fs::remove_file(&path).expect("our own file");
        let elsewhere = directory.path().join("elsewhere");
        fs::write(&elsewhere, "").expect("a file");
        std::os::unix::fs::symlink(&elsewhere, directory.path().join("ledger.link-key.new")).expect("a link");
        assert!(LinkKey::load_or_make(&path).is_ok());
        assert!(fs::symlink_metadata(&path).expect("it is there").is_file());
        assert_eq!(fs::read(&elsewhere).expect("readable"), b"");
    }
}
