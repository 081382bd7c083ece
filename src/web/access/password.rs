//! Passwords: which are taken, and how they are kept.
//!
//! By NIST SP 800-63B §5.1.1: at least 8 characters (10 here), at least 64 permitted, every
//! character, no rules of composition, no expiry; compared against what everybody tries and what
//! the site itself suggests. Kept by argon2id (RFC 9106) with 19 MiB, two passes, one lane, the
//! first choice of OWASP's Password Storage Cheat Sheet and the crate's default.
//!
//! Each hash takes 19 MiB and tens of ms. They are made one at a time on a thread of their own,
//! so that strangers at the login cost one such block of memory; a few wait, the next is told to.

use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::sync::{Mutex, PoisonError};

use argon2::{Argon2, PasswordHasher, PasswordVerifier};
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

/// Whether a password can be taken for this account.
///
/// # Errors
/// [`PasswordRefusal`] where not.
pub fn admit(password: &str, account: &AccountName, shown: &str, site: &str) -> Result<(), PasswordRefusal> {
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
            // Nobody can have chosen a longer one; hashing it would only cost time.
            let fits = password.len() <= BYTES_MAX;
            let same = fits && Argon2::default().verify_password(password.as_bytes(), hash.as_str()).is_ok();
            // Whoever asked may have gone.
            let _gone = answer.send(same && known);
        }
    }
}

/// The hash of a password, made on this very thread.
pub(super) fn make(password: &str) -> Result<String, HashError> {
    let salt = secret::random::<SALT_BYTES>()?;
    let hash = Argon2::default().hash_password_with_salt(password.as_bytes(), &salt);
    hash.map(|hash| hash.to_string()).map_err(HashError::Function)
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
