//! Passwords: which are taken, and how they are kept.
//!
//! By NIST SP 800-63B §5.1.1: at least 8 characters (10 here), at least 64 permitted, every
//! character, no rules of composition, no expiry; compared against what everybody tries and what
//! the site itself suggests. Two keyboards may send one letter in two ways: what is typed is first
//! brought into one form, as OpaqueString of RFC 8265 §4.2.2 has it (any space is a plain one, NFC),
//! which NIST's §5.1.1.2 asks for too, if by NFKC. Kept by argon2id (RFC 9106) with 19 MiB, two passes, one lane, the
//! first choice of OWASP's Password Storage Cheat Sheet and the crate's default.
//!
//! Each hash takes 19 MiB and tens of ms. They are made one at a time on a thread of their own,
//! so that strangers at the login cost one such block of memory; a few wait, the next is told to. The
//! block goes back to the system after each, so that a login an hour ago takes no room.

use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::sync::{Mutex, PoisonError};

use argon2::password_hash::phc::{Output, ParamsString, PasswordHash, Salt};
use argon2::{Algorithm, Argon2, Block, Params, Version};
use icu_normalizer::ComposingNormalizerBorrowed;
use tokio::sync::oneshot;

use super::name::AccountName;
use super::secret;

/// Shortest password, in characters.
pub const CHARS_MIN: usize = 10;
/// Longest password, in characters: twice what NIST asks to permit.
pub const CHARS_MAX: usize = 128;
/// Longest password, in bytes: each character has up to four.
const BYTES_MAX: usize = CHARS_MAX * 4;
/// Length of the salt, in bytes (RFC 9106 §3.1 advises 16).
const SALT_BYTES: usize = 16;
/// Hashes that wait (own choice: half a second of work on a small computer).
const WAITING_MAX: usize = 8;

/// Passwords of ten characters and more that everybody tries, from memory of published lists.
/// A longer list is of no use here: each account takes ten tries in a quarter of an hour.
const COMMON: [&str; 24] = [
    "0123456789",
    "1234567890",
    "12345678910",
    "123456789a",
    "1q2w3e4r5t",
    "1qaz2wsx3edc",
    "9876543210",
    "administrador",
    "administrator",
    "changeme123",
    "contraseña",
    "contrasena",
    "dishwasher",
    "iloveyou123",
    "letmein123",
    "lavavajillas",
    "password12",
    "password123",
    "password1234",
    "passwordpassword",
    "q1w2e3r4t5",
    "qwerty12345",
    "qwertyuiop",
    "welcome123",
];

/// Why a password is not taken.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum PasswordRefusal {
    /// Too short.
    #[error("the password needs at least {CHARS_MIN} characters")]
    TooShort,
    /// Too long.
    #[error("the password has more than {CHARS_MAX} characters")]
    TooLong,
    /// It holds the name of the account, or of this program or site.
    #[error("the password holds the name of the account or of this place")]
    Guessable,
    /// Everybody tries it.
    #[error("the password is one that everybody tries")]
    Common,
    /// The two fields differ.
    #[error("the two passwords differ")]
    Differ,
    /// It is the one before.
    #[error("the password is the one before")]
    Same,
}

/// What was typed in the one form in which passwords are counted, compared and hashed.
pub(super) fn in_one_form(typed: &str) -> String {
    // General category Zs: the blanks of `is_whitespace` that are no control characters or separators of lines.
    let is_space = |c: char| c.is_whitespace() && !c.is_control() && !matches!(c, '\u{2028}' | '\u{2029}');
    let spaced: String = typed.chars().map(|c| if is_space(c) { ' ' } else { c }).collect();
    ComposingNormalizerBorrowed::new_nfc().normalize(&spaced).into_owned()
}

/// Whether a password can be taken for this account.
///
/// # Errors
/// [`PasswordRefusal`] where not.
pub fn admit(password: &str, account: &AccountName, shown: &str, site: &str) -> Result<(), PasswordRefusal> {
    let password = in_one_form(password);
    let chars = password.chars().count();
    if chars < CHARS_MIN {
        return Err(PasswordRefusal::TooShort);
    }
    if chars > CHARS_MAX {
        return Err(PasswordRefusal::TooLong);
    }
    let folded = password.to_lowercase();
    let one_letter = folded.chars().all(|c| folded.starts_with(c));
    if one_letter || COMMON.contains(&folded.as_str()) {
        return Err(PasswordRefusal::Common);
    }
    // A word of the place with a digit or two behind it is the first thing a neighbour tries.
    let bare: String = folded.chars().filter(|c| c.is_alphabetic()).collect();
    let is_word = |word: &str| {
        let word: String = word.to_lowercase().chars().filter(|c| c.is_alphabetic()).collect();
        !word.is_empty() && bare == word
    };
    let holds_account = account.as_str().len() >= 4 && folded.contains(account.as_str());
    if holds_account || [account.as_str(), shown, site, "rinseward"].into_iter().any(is_word) {
        return Err(PasswordRefusal::Guessable);
    }
    Ok(())
}

/// Why there is no hash, or no answer.
#[derive(Debug, thiserror::Error)]
pub enum HashError {
    /// Too many wait.
    #[error("too many logins at a time")]
    Busy,
    /// The system gives no random bytes.
    #[error("the system gives no random bytes")]
    Random(#[from] getrandom::Error),
    /// The function itself refuses, such as a hash that is damaged.
    #[error("the password cannot be hashed")]
    Function(#[source] argon2::password_hash::Error),
    /// The thread is gone.
    #[error("the thread that hashes is gone")]
    Gone,
}

enum Job {
    Make(String, oneshot::Sender<Result<String, HashError>>),
    /// `None` is an account that is not there: it costs the same.
    Compare(String, Option<String>, oneshot::Sender<bool>),
}

/// Where passwords are hashed, one at a time.
#[derive(Default)]
pub struct Hasher {
    /// The thread begins with the first password.
    queue: Mutex<Option<SyncSender<Job>>>,
}

impl Hasher {
    fn ask(&self, job: Job) -> Result<(), HashError> {
        let mut queue = self.queue.lock().unwrap_or_else(PoisonError::into_inner);
        let sender = if let Some(sender) = &*queue {
            sender
        } else {
            let (sender, jobs) = sync_channel(WAITING_MAX);
            let work = move || jobs.iter().for_each(work);
            let begun = std::thread::Builder::new().name("passwords".to_owned()).spawn(work);
            begun.map_err(|_| HashError::Gone)?;
            queue.insert(sender)
        };
        sender.try_send(job).map_err(|refused| match refused {
            TrySendError::Full(_) => HashError::Busy,
            TrySendError::Disconnected(_) => HashError::Gone,
        })
    }

    /// The hash of a password, with a salt of its own.
    ///
    /// # Errors
    /// [`HashError`] where there is none.
    pub async fn make(&self, password: String) -> Result<String, HashError> {
        let (answer, made) = oneshot::channel();
        self.ask(Job::Make(password, answer))?;
        made.await.map_err(|_| HashError::Gone)?
    }

    /// Whether a password belongs to this hash. Where there is none the answer is no, and takes
    /// as long.
    ///
    /// # Errors
    /// [`HashError`] where it cannot be said.
    pub async fn compare(&self, password: String, hash: Option<String>) -> Result<bool, HashError> {
        let (answer, compared) = oneshot::channel();
        self.ask(Job::Compare(password, hash, answer))?;
        compared.await.map_err(|_| HashError::Gone)
    }
}

fn work(job: Job) {
    match job {
        Job::Make(password, answer) => drop(answer.send(make(&password))),
        Job::Compare(password, hash, answer) => {
            let known = hash.is_some();
            let hash = hash.unwrap_or_else(|| NOBODY.to_owned());
            let password = in_one_form(&password);
            // Nobody can have chosen a longer one; hashing it would only cost time.
            let fits = password.len() <= BYTES_MAX;
            let same = fits && proves(&password, &hash).unwrap_or(false);
            // Whoever asked may have gone.
            let _gone = answer.send(same && known);
        }
    }
}

/// The hash of a password, made on this very thread.
pub(super) fn make(password: &str) -> Result<String, HashError> {
    let salt = secret::random::<SALT_BYTES>()?;
    let hash = Salt::new(&salt).map_err(argon2::password_hash::Error::from);
    let hash = hash.and_then(|salt| derive(&in_one_form(password), Params::default(), salt));
    hash.map(|hash| hash.to_string()).map_err(HashError::Function)
}

/// Whether a password is that of a hash; takes as long where it is not.
fn proves(password: &str, hash: &str) -> argon2::password_hash::Result<bool> {
    let known = PasswordHash::new(hash)?;
    let salt = known.salt.ok_or(argon2::password_hash::Error::SaltInvalid)?;
    let found = derive(password, Params::try_from(&known)?, salt)?;
    // The outputs are compared in constant time (`phc::Output`).
    Ok((found.algorithm, found.version) == (known.algorithm, known.version) && found.hash == known.hash)
}

/// Blocks of 1 KiB that are asked of the system for one hash. Below 32 MiB glibc may keep what is given
/// back for later (mallopt(3), `M_MMAP_THRESHOLD`), some 20 MB for each thread; blocks that are not
/// touched take no memory.
const ROOM_BLOCKS: usize = 33 * 1_024;

/// The hash of what is in one form already.
fn derive(password: &str, params: Params, salt: Salt) -> argon2::password_hash::Result<PasswordHash> {
    let (algorithm, version) = (Algorithm::Argon2id, Version::V0x13);
    let written = ParamsString::try_from(&params)?;
    let blocks = params.block_count();
    let mut memory = Vec::with_capacity(blocks.max(ROOM_BLOCKS));
    memory.resize(blocks, Block::default());
    let mut output = [0; Params::DEFAULT_OUTPUT_LEN];
    let argon2 = Argon2::new(algorithm, version, params);
    argon2.hash_password_into_with_memory(password.as_bytes(), &salt, &mut output, &mut memory)?;
    Ok(PasswordHash {
        algorithm: algorithm.ident(),
        version: Some(version.into()),
        params: written,
        salt: Some(salt),
        hash: Some(Output::new(&output)?),
    })
}

/// The hash that stands for an account that is not there, of random bytes that nobody kept.
const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$AAECAwQFBgcICQoLDA0ODw$\
                      AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

#[cfg(test)]
mod tests {
    use argon2::Params;

    use super::*;

    // The rules of the module's head.
    #[test]
    fn what_is_short_or_guessable_is_not_taken() {
        let account: AccountName = "ana.diaz".parse().expect("a name");
        let long = format!("o{}", "ñ".repeat(CHARS_MAX - 1));
        for (password, expected) in [
            ("kettle rain seven", Ok(())),
            ("ñandú-al-sol", Ok(())),
            (long.as_str(), Ok(())),
            ("short 999", Err(PasswordRefusal::TooShort)),
            (&format!("{long}n"), Err(PasswordRefusal::TooLong)),
            ("Password123", Err(PasswordRefusal::Common)),
            ("aaaaaaaaaaaa", Err(PasswordRefusal::Common)),
            ("my ana.diaz word", Err(PasswordRefusal::Guessable)),
            ("NorthKitchen2026!", Err(PasswordRefusal::Guessable)),
            ("Rinseward-1", Err(PasswordRefusal::Guessable)),
        ] {
            assert_eq!(admit(password, &account, "Ana Díaz", "North kitchen"), expected, "{password}");
        }
    }

    // RFC 9106: a hash proves its password and no other; equal passwords have unequal hashes.
    #[tokio::test]
    async fn a_hash_belongs_to_its_password() {
        let hasher = Hasher::default();
        let hash = hasher.make("kettle rain seven".to_owned()).await.expect("a hash");
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        assert_ne!(hasher.make("kettle rain seven".to_owned()).await.expect("a hash"), hash);
        for (password, of, expected) in [
            ("kettle rain seven", Some(hash.clone()), true),
            ("kettle rain Seven", Some(hash.clone()), false),
            ("", Some(hash), false),
            ("kettle rain seven", None, false),
        ] {
            let same = hasher.compare(password.to_owned(), of).await.expect("an answer");
            assert_eq!(same, expected, "{password}");
        }
    }

    // RFC 8265 §4.2.2 (any space is U+0020, NFC, nothing folded), with the letters of Unicode Standard Annex 15, table 4.
    #[tokio::test]
    async fn the_same_letters_are_the_same_password() {
        let hasher = Hasher::default();
        let hash = hasher.make("mañana \u{c5}ngström".to_owned()).await.expect("a hash");
        for (typed, expected) in [
            ("man\u{303}ana A\u{30a}ngstro\u{308}m", true),
            ("mañana\u{a0}\u{212b}ngström", true),
            ("mañana\u{3000}\u{c5}ngström", true),
            ("manana \u{c5}ngström", false),
            ("mañana \u{c5}ngstrom", false),
            ("MAÑANA \u{c5}ngström", false),
            ("mañana\t\u{c5}ngström", false),
        ] {
            let same = hasher.compare(typed.to_owned(), Some(hash.clone())).await.expect("an answer");
            assert_eq!(same, expected, "{typed:?}");
        }
        // Full width stays as it is: only NFKC would fold it.
        assert_eq!(in_one_form("\u{ff41}\u{fb01}"), "\u{ff41}\u{fb01}");
        // Nine letters are nine, in however many characters they were typed.
        let account: AccountName = "ana.diaz".parse().expect("a name");
        let nine = "e\u{301}a\u{301}".repeat(4) + "x";
        assert_eq!(admit(&nine, &account, "Ana", "North"), Err(PasswordRefusal::TooShort));
    }

    // The work for nobody is that for somebody: the same function with the same parameters.
    #[test]
    fn nobody_costs_as_much_as_somebody() {
        let somebody = make("kettle rain seven").expect("a hash");
        let head = |hash: &str| hash.rsplitn(3, '$').nth(2).map(str::to_owned);
        assert_eq!(head(NOBODY), head(&somebody));
        assert_eq!(Params::default().m_cost(), 19_456);
        let parsed = argon2::password_hash::phc::PasswordHash::new(NOBODY).expect("a PHC string");
        assert_eq!(parsed.hash.map(|hash| hash.as_bytes().len()), Some(32));
    }
}
