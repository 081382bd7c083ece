//! What was just done to an account or a token, told once to the session that did it.
//!
//! It is kept here and not in an address: an address could say so to anybody. At most [`KEPT_MAX`] wait to be told;
//! the oldest is forgotten.

use std::sync::PoisonError;

use super::{Access, secret};
use crate::core::reader::{Language, filled};

/// Most that waits to be told (own choice: each is told within a second, or never).
const KEPT_MAX: usize = 64;

/// What was done.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Done {
    /// The session's own password was chosen.
    Password,
    /// An account has another role.
    Role,
    /// An account is disabled.
    Disabled,
    /// An account can be used again.
    Enabled,
    /// A lock is ended.
    Unlocked,
    /// An account is removed.
    Removed,
    /// A token is revoked.
    Revoked,
}

/// Something that was done and not told yet.
#[derive(Debug)]
pub(super) struct Untold {
    /// The hash of the secret of the session.
    session: [u8; 32],
    done: Done,
    /// To which account or token.
    of: String,
}

impl Access {
    /// Keeps what a session did until it is told so; `session` is the hash of its secret.
    pub(super) fn keep_done(&self, session: [u8; 32], done: Done, of: &str) {
        let mut untold = self.untold.lock().unwrap_or_else(PoisonError::into_inner);
        untold.truncate(KEPT_MAX - 1);
        untold.push_front(Untold { session, done, of: of.to_owned() });
    }

    /// What this session just did, of what is told `here`; it is told so now.
    pub(super) fn take_done(
        &self,
        session: &str,
        here: impl Fn(Done, &str) -> bool,
    ) -> Option<(Done, String)> {
        let hash = secret::hash(session);
        let mut untold = self.untold.lock().unwrap_or_else(PoisonError::into_inner);
        let place =
            untold.iter().position(|waiting| waiting.session == hash && here(waiting.done, &waiting.of));
        place.and_then(|place| untold.remove(place)).map(|told| (told.done, told.of))
    }
}

/// That it is done, in words.
pub(super) fn told((done, of): &(Done, String), language: Language) -> String {
    let (english, spanish) = match done {
        Done::Password => ("The password is changed.", "La contraseña está cambiada."),
        Done::Role => ("Done: the role of {of} is changed.", "Hecho: la función de {of} está cambiada."),
        Done::Disabled => (
            "Done: {of} is disabled. Nobody can log in with it.",
            "Hecho: {of} está desactivada. Nadie puede entrar con ella.",
        ),
        Done::Enabled => ("Done: {of} can log in again.", "Hecho: se puede volver a entrar con {of}."),
        Done::Unlocked => ("Done: {of} is not locked.", "Hecho: {of} no está bloqueada."),
        Done::Removed => (
            "Done: the account {of} is removed. What they did stays on record.",
            "Hecho: la cuenta {of} está quitada. Lo que hizo queda registrado.",
        ),
        Done::Revoked => (
            "Done: the token {of} is revoked. No program gets in with it.",
            "Hecho: la ficha {of} está revocada. Ningún programa entra con ella.",
        ),
    };
    let phrase = match language {
        Language::English => english,
        Language::Spanish => spanish,
    };
    filled(phrase, &[("of", of)])
}
