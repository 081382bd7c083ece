//! What an administrator can ask to be changed, what it comes to, and why it is refused.

use serde::{Deserialize, Serialize};

use super::AccessError;
use super::name::{AccountName, NoName, NoShown};
use super::password::HashError;
use super::store::StoreError;
use crate::core::access::Role;
use crate::core::reader::{Language, Scale};
use crate::core::record::{AskedChange, Unchanged};
use crate::core::time::Timestamp;

/// Longest life of a token, in days (own choice: a year and a day).
pub const TOKEN_DAYS_MAX: u32 = 366;

/// What is to be changed.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(tag = "change", rename_all = "kebab-case")]
pub enum Change {
    /// Makes an account, with a one-time secret.
    Add {
        /// Name to log in with.
        account: String,
        /// Name that goes on record.
        name: String,
        /// What they may do.
        role: Role,
        /// Their language.
        language: Language,
        /// Their scale.
        scale: Scale,
    },
    /// Gives an account another role.
    Role {
        /// Which.
        account: String,
        /// The role.
        role: Role,
    },
    /// Lets nobody log in with an account.
    Disable {
        /// Which.
        account: String,
    },
    /// Lets its owner log in again.
    Enable {
        /// Which.
        account: String,
    },
    /// Gives an account a one-time secret in place of its password.
    Reset {
        /// Which.
        account: String,
    },
    /// Ends a lock after wrong tries.
    Unlock {
        /// Which.
        account: String,
    },
    /// Removes an account.
    Remove {
        /// Which.
        account: String,
    },
    /// Makes a token.
    AddToken {
        /// Its name.
        token: String,
        /// What it may do.
        role: Role,
        /// How long it can be used, in days.
        days: u32,
    },
    /// Revokes a token.
    RevokeToken {
        /// Which.
        token: String,
    },
}

/// What a change came to.
#[derive(Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Changed {
    /// Name of the account or token that was made, as it is stored: in small letters.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub name: Option<String>,
    /// The secret that was made, which is shown this once.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub secret: Option<String>,
    /// Until when it can be used.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub until: Option<Timestamp>,
}

impl std::fmt::Debug for Changed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Changed").field("until", &self.until).finish_non_exhaustive()
    }
}

/// Why nothing is changed.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum ChangeRefusal {
    /// What was typed is no name of an account or token.
    #[error(transparent)]
    NoName(#[from] NoName),
    /// The shown name cannot be one.
    #[error(transparent)]
    Shown(#[from] NoShown),
    /// Somebody else is called so, or logs in so.
    #[error(
        "the name reads like that of the account «{0}», so that their deeds would be taken for one another's"
    )]
    ReadsAlike(AccountName),
    /// The shown name reads like what stands on record for a program.
    #[error("a name does not begin with «token»: so it is written on record of a program")]
    ReadsAsToken,
    /// There is no such account, or no such token that can be used.
    #[error("there is none of this name")]
    Unknown,
    /// There is one already.
    #[error("there is one of this name already, or there are too many")]
    Taken,
    /// Nobody would be left to make accounts.
    #[error("it is the last administrator who can log in")]
    LastAdministrator,
    /// It is so already.
    #[error("it is so already")]
    Same,
    /// A token lives from a day to [`TOKEN_DAYS_MAX`].
    #[error("a token lives from 1 to {TOKEN_DAYS_MAX} days")]
    Days,
}

impl ChangeRefusal {
    /// As it goes on record.
    pub(super) const fn on_record(&self) -> Unchanged {
        match self {
            Self::NoName(_) => Unchanged::NoName,
            Self::Shown(_) => Unchanged::Shown,
            Self::ReadsAsToken => Unchanged::ReadsAsToken,
            Self::Unknown => Unchanged::Unknown,
            Self::ReadsAlike(_) | Self::Taken => Unchanged::Taken,
            Self::LastAdministrator => Unchanged::LastAdministrator,
            Self::Same => Unchanged::Same,
            Self::Days => Unchanged::Days,
        }
    }
}

impl Change {
    /// What is asked for, and the name that was typed for it.
    pub(super) fn asked(&self) -> (AskedChange, &str) {
        match self {
            Self::Add { account, .. } => (AskedChange::Add, account),
            Self::Role { account, .. } => (AskedChange::Role, account),
            Self::Disable { account } => (AskedChange::Disable, account),
            Self::Enable { account } => (AskedChange::Enable, account),
            Self::Reset { account } => (AskedChange::Reset, account),
            Self::Unlock { account } => (AskedChange::Unlock, account),
            Self::Remove { account } => (AskedChange::Remove, account),
            Self::AddToken { token, .. } => (AskedChange::AddToken, token),
            Self::RevokeToken { token } => (AskedChange::RevokeToken, token),
        }
    }
}

/// Why a change was not made.
#[derive(Debug, thiserror::Error)]
pub enum ChangeError {
    /// It cannot be.
    #[error(transparent)]
    Refused(#[from] ChangeRefusal),
    /// The store fails.
    #[error(transparent)]
    Access(#[from] AccessError),
    /// There is no hash.
    #[error(transparent)]
    Hash(#[from] HashError),
}

impl From<StoreError> for ChangeError {
    fn from(error: StoreError) -> Self {
        Self::Access(error.into())
    }
}

impl From<NoName> for ChangeError {
    fn from(error: NoName) -> Self {
        Self::Refused(error.into())
    }
}
