//! Records of who may come in: accounts, tokens, logins, refusals.

use serde::{Deserialize, Serialize};

use crate::core::access::{Right, Role};
use crate::core::audit::Outcome;
use crate::core::counted::Noun;
use crate::core::reader::{Language, Scale};
use crate::core::time::Timestamp;

/// [`AccessEvent::by`] of the account that the first start makes.
pub const FIRST_START: &str = "first start";

/// Something happened to an account or a token, or by one. No secret ever stands here.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct AccessEvent {
    /// Account as it is typed to log in, or name of the token. Of what a stranger typed only what
    /// has the form of an account; `?` for anything else, since it may be a password.
    pub account: String,
    /// What happened.
    pub what: AccessDeed,
    /// When it happened, where that was more than a minute before the record.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at: Option<Timestamp>,
    /// Address it came from, where it came over the network.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub from: Option<String>,
    /// Who did it, where it was not whoever has the account.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub by: Option<String>,
    /// How often, where refusals are told together.
    #[serde(skip_serializing_if = "is_one", default = "one")]
    pub times: u32,
    /// Which right the role lacked, where somebody was turned away for that; absent where an earlier version wrote it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub right: Option<Right>,
}

/// What happened to an account or a token.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AccessDeed {
    /// Somebody logged in.
    LoggedIn,
    /// Somebody logged out.
    LoggedOut,
    /// Somebody was turned away.
    Refused(AccessRefusal),
    /// Somebody who may change accounts and tokens, or their own password, asked for what cannot be.
    ChangeRefused {
        /// For what.
        asked: AskedChange,
        /// Why it is as it was.
        why: Unchanged,
    },
    /// No login for a while, after too many wrong tries.
    Locked {
        /// For how long, s.
        for_s: u64,
        /// Whether only from where the tries came; else from everywhere.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        there: bool,
    },
    /// Logins are taken again before that time is over.
    Unlocked,
    /// An account was made.
    Added {
        /// Its role.
        role: Role,
        /// Name that goes on record beside what they do.
        name: String,
    },
    /// Its role changed.
    RoleChanged {
        /// From here on.
        role: Role,
        /// Until here.
        before: Role,
    },
    /// Nobody can log in with it.
    Disabled,
    /// It can be used again.
    Enabled,
    /// It got a new one-time secret in place of its password.
    SecretReset,
    /// Its owner chose a password.
    PasswordChanged,
    /// Its owner reads otherwise.
    ReaderChanged {
        /// Language.
        language: Language,
        /// Scale.
        scale: Scale,
    },
    /// It was removed.
    Removed,
    /// A token was made.
    TokenAdded {
        /// Its role.
        role: Role,
        /// Until when it can be used.
        until: Timestamp,
    },
    /// A token was revoked.
    TokenRevoked,
    /// Somebody took records away as a file.
    TookAway {
        /// Form of the file, by the word of the command.
        form: String,
        /// Since when.
        since: Timestamp,
        /// Until before when.
        until: Timestamp,
        /// Of these machines; empty means all.
        #[serde(skip_serializing_if = "Vec::is_empty", default)]
        machines: Vec<String>,
    },
    /// Somebody had the whole ledger checked.
    Checked {
        /// What it came to.
        outcome: Outcome,
        /// Number of records that were looked at.
        records: u64,
        /// Number of findings.
        findings: u64,
    },
    /// Somebody ended what another was at: a calibration, a response test or a proof of the wiring.
    EndedWork {
        /// The probe, `<machine>/<probe>`, or the machine.
        of: String,
        /// Name of whoever was at it.
        whose: String,
    },
}

/// Why somebody was turned away.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AccessRefusal {
    /// Account or password was wrong.
    Wrong,
    /// Too many wrong tries before.
    Locked,
    /// The account is disabled.
    Disabled,
    /// The one-time secret or the token has expired.
    Expired,
    /// Too many tries from this address.
    TooMany,
    /// The role does not have the right.
    NotAllowed,
    /// The form came from a page of another site.
    Foreign,
    /// The request was meant for a host by whose name the gateway is not known.
    Misdirected,
    /// The token is not known, or was revoked.
    UnknownToken,
}

/// What somebody asked to have changed of an account or a token.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AskedChange {
    /// A new account.
    Add,
    /// Another role.
    Role,
    /// That nobody can log in with it.
    Disable,
    /// That it can be used again.
    Enable,
    /// A new one-time secret.
    Reset,
    /// The end of a lock.
    Unlock,
    /// That it is removed.
    Remove,
    /// A password of one's own choice.
    Password,
    /// A new token.
    AddToken,
    /// That a token can be used no more.
    RevokeToken,
}

/// Why an account or a token is as it was.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unchanged {
    /// What was typed is no name of an account or a token.
    NoName,
    /// The shown name cannot stand in the record.
    Shown,
    /// The shown name reads like that of a program.
    ReadsAsToken,
    /// There is none of this name.
    Unknown,
    /// There is one already, or there are too many.
    Taken,
    /// Nobody would be left to make accounts.
    LastAdministrator,
    /// It is so already.
    Same,
    /// A token may not live so long, or for so short a time.
    Days,
    /// The password is not taken: too short, too common, typed in two ways.
    Password,
    /// There is no such role, or none was given.
    NoRole,
}

impl AskedChange {
    /// In a few words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Add => "a new account",
            Self::Role => "another role",
            Self::Disable => "disabling the account",
            Self::Enable => "enabling the account",
            Self::Reset => "a new one-time secret",
            Self::Unlock => "unlocking the account",
            Self::Remove => "removing the account",
            Self::Password => "another password",
            Self::AddToken => "a new token",
            Self::RevokeToken => "revoking the token",
        }
    }
}

impl Unchanged {
    /// In a few words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoName => "what was typed is no name of an account or a token",
            Self::Shown => "the shown name cannot stand in the record",
            Self::ReadsAsToken => "the shown name reads like that of a program",
            Self::Unknown => "there is none of this name",
            Self::Taken => "there is one of this name already, or there are too many",
            Self::LastAdministrator => "it is the last administrator who can log in",
            Self::Same => "it is so already",
            Self::Days => "no token lives that many days",
            Self::Password => "the password does not meet the rules",
            Self::NoRole => "there is no such role",
        }
    }
}

impl AccessRefusal {
    /// In a few words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Wrong => "account or password was wrong",
            Self::Locked => "too many wrong tries before",
            Self::Disabled => "the account is disabled",
            Self::Expired => "the secret has expired",
            Self::TooMany => "too many tries from one address",
            Self::NotAllowed => "the role does not have the right",
            Self::Foreign => "the form came from another site",
            Self::Misdirected => "the request was meant for another host",
            Self::UnknownToken => "the token is not known or was revoked",
        }
    }
}

impl AccessDeed {
    /// Whether it changes who may come in, rather than telling of who came.
    #[must_use]
    pub const fn is_change(&self) -> bool {
        match self {
            Self::LoggedIn
            | Self::LoggedOut
            | Self::Refused(_)
            | Self::ChangeRefused { .. }
            | Self::ReaderChanged { .. }
            | Self::TookAway { .. }
            | Self::Checked { .. }
            | Self::EndedWork { .. } => false,
            Self::Locked { .. }
            | Self::Unlocked
            | Self::Added { .. }
            | Self::RoleChanged { .. }
            | Self::Disabled
            | Self::Enabled
            | Self::SecretReset
            | Self::PasswordChanged
            | Self::Removed
            | Self::TokenAdded { .. }
            | Self::TokenRevoked => true,
        }
    }
}

impl AccessEvent {
    /// What happened, in a sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        let account = &self.account;
        let what = match &self.what {
            AccessDeed::LoggedIn => format!("{account} logged in"),
            AccessDeed::LoggedOut => format!("{account} logged out"),
            AccessDeed::Refused(why) => {
                let right = self.right.map(|right| format!(" {}", right.words(Language::English)));
                format!("{account} was refused: {}{}", why.words(), right.unwrap_or_default())
            }
            AccessDeed::ChangeRefused { asked, why } => {
                format!("{account}: {} was refused: {}", asked.words(), why.words())
            }
            AccessDeed::Locked { for_s, there } => {
                let there = if *there { " from there" } else { "" };
                format!("{account} is locked{there} for {} min", for_s.div_ceil(60))
            }
            AccessDeed::Unlocked => format!("{account} is unlocked"),
            AccessDeed::Added { role, name } => format!("account {account} for {name}, {role}"),
            AccessDeed::RoleChanged { role, before } => format!("{account} is {role}, was {before}"),
            AccessDeed::Disabled => format!("account {account} disabled"),
            AccessDeed::Enabled => format!("account {account} enabled"),
            AccessDeed::SecretReset => format!("account {account} got a new one-time secret"),
            AccessDeed::PasswordChanged => format!("{account} chose a password"),
            AccessDeed::ReaderChanged { language, scale } => {
                format!("{account} reads in {language} and {scale}")
            }
            AccessDeed::Removed => format!("account {account} removed"),
            AccessDeed::TokenAdded { role, until } => format!("token {account}, {role}, until {until}"),
            AccessDeed::TokenRevoked => format!("token {account} revoked"),
            AccessDeed::TookAway { form, since, until, machines } => {
                let of = if machines.is_empty() { "all machines".to_owned() } else { machines.join(", ") };
                format!("{account} took records away as {form}: {of}, {since} to {until}")
            }
            AccessDeed::Checked { outcome, records, findings } => {
                let outcome = match outcome {
                    Outcome::Whole => "whole",
                    Outcome::NotWhole => "NOT whole",
                    Outcome::NotChecked => "could not be checked",
                };
                let of = |what: Noun, count| what.of(count, Language::English);
                let (records, findings) = (of(Noun::Records, *records), of(Noun::Findings, *findings));
                format!("{account} had {records} checked: {outcome}, {findings}")
            }
            AccessDeed::EndedWork { of, whose } => {
                format!("{account} ended what {whose} was at, at {of}: nothing of it is on record")
            }
        };
        let times = if self.times > 1 { format!(", {} times", self.times) } else { String::new() };
        let from = self.from.as_ref().map_or_else(String::new, |from| format!(", from {from}"));
        let by = self.by.as_ref().map_or_else(String::new, |by| format!(" ({by})"));
        format!("{what}{times}{from}{by}")
    }
}

const fn one() -> u32 {
    1
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde calls it by reference")]
const fn is_one(times: &u32) -> bool {
    *times == 1
}
