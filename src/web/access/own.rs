//! What somebody changes of their own account.

use std::sync::Arc;

use super::done::Done;
use super::login::{From, Turned};
use super::name::AccountName;
use super::password::{self, HashError, PasswordRefusal};
use super::store::Stored;
use super::tally::Whose;
use super::{Access, AccessError, event, secret};
use crate::core::reader::{Language, Scale};
use crate::core::record::{AccessDeed, AccessRefusal, AskedChange, Unchanged};

/// The three fields of a new password.
pub(super) struct NewPassword {
    /// The one in force; not asked for where it is a one-time secret that was just typed.
    pub(super) current: String,
    pub(super) new: String,
    pub(super) again: String,
}

/// Why a password stays.
#[derive(Debug, thiserror::Error)]
pub(super) enum OwnError {
    /// The new one is not taken.
    #[error(transparent)]
    Password(#[from] PasswordRefusal),
    /// The one in force was typed wrongly.
    #[error("{}", .0.why.words())]
    Refused(Turned),
    /// It cannot be hashed.
    #[error(transparent)]
    Hash(#[from] HashError),
    /// The store fails.
    #[error(transparent)]
    Access(#[from] AccessError),
}

impl Access {
    /// Puts a password of one's own choice in force. Every other session of the account ends, and
    /// this one goes on under another secret, which is given back.
    pub(super) async fn choose_password(
        self: &Arc<Self>,
        name: &AccountName,
        session: &str,
        asked: NewPassword,
        from: &From,
    ) -> Result<String, OwnError> {
        let chosen = self.try_password(name, session, asked, from).await;
        match &chosen {
            Err(OwnError::Password(_)) => {
                let refused = (AskedChange::Password, Unchanged::Password);
                self.change_refused(name.as_str(), refused, (Some(&from.told), Whose::Own)).await;
            }
            Err(OwnError::Refused(turned)) => {
                self.refused(name.as_str(), turned.why, (&from.told, Whose::Own)).await;
            }
            Ok(_) | Err(OwnError::Hash(_) | OwnError::Access(_)) => {}
        }
        chosen
    }

    async fn try_password(
        self: &Arc<Self>,
        name: &AccountName,
        session: &str,
        asked: NewPassword,
        from: &From,
    ) -> Result<String, OwnError> {
        let NewPassword { current, new, again } = asked;
        let (sought, address) = (name.clone(), from.address);
        let now = self.now();
        let stored = self
            .at_store(move |store| {
                if let Some(until) = store.locked(now, &sought, address).map_err(AccessError::from)? {
                    return Err(OwnError::Refused(Turned::locked(now, until)));
                }
                let stored = store.account(&sought).map_err(AccessError::from)?;
                stored.ok_or(OwnError::Refused(AccessRefusal::Wrong.into()))
            })
            .await?;
        if !stored.account.must_change && !self.hasher.compare(current, Some(stored.hash.clone())).await? {
            // It counts as one at the login: a phone that lies about is no place to guess either.
            self.count_wrong(Some(name.clone()), from).await?;
            return Err(OwnError::Refused(AccessRefusal::Wrong.into()));
        }
        password::admit(&new, name, &stored.account.shown, &self.options.site)?;
        if password::in_one_form(&new) != password::in_one_form(&again) {
            return Err(PasswordRefusal::Differ.into());
        }
        if self.hasher.compare(new.clone(), Some(stored.hash.clone())).await? {
            return Err(PasswordRefusal::Same.into());
        }
        let hash = self.hasher.make(new).await?;
        let fresh = secret::fresh().map_err(|error| AccessError::Store(error.into()))?;
        let (before, after) = (secret::hash(session), secret::hash(&fresh));
        let event = event(name.as_str(), AccessDeed::PasswordChanged, Some(&from.told), None);
        let (now, name) = (self.now(), name.clone());
        self.at_store(move |store| {
            let failed = AccessError::from;
            let known = store.account(&name).map_err(failed)?;
            // Somebody may have reset it meanwhile.
            let Some(Stored { mut account, .. }) = known.filter(|known| known.hash == stored.hash) else {
                return Err(OwnError::Refused(AccessRefusal::Wrong.into()));
            };
            (account.must_change, account.secret_until) = (false, None);
            store.put(now, &Stored { account, hash }, Some(&before), &event).map_err(failed)?;
            store.cycle(now, &before, &after).map_err(failed)?;
            Ok(())
        })
        .await?;
        self.keep_done(after, Done::Password, "");
        Ok(fresh)
    }

    /// Puts language and scale of one's own choice in force.
    pub(super) async fn choose_reader(
        self: &Arc<Self>,
        name: &AccountName,
        language: Language,
        scale: Scale,
        from: &From,
    ) -> Result<(), AccessError> {
        let deed = AccessDeed::ReaderChanged { language, scale };
        let event = event(name.as_str(), deed, Some(&from.told), None);
        let (now, name) = (self.now(), name.clone());
        self.at_store(move |store| {
            let Some(mut stored) = store.account(&name)? else { return Ok(()) };
            if (stored.account.language, stored.account.scale) == (language, scale) {
                return Ok(());
            }
            (stored.account.language, stored.account.scale) = (language, scale);
            store.put(now, &stored, None, &event).map(drop).map_err(AccessError::from)
        })
        .await
    }
}
