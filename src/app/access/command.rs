//! `accounts`: who may come in, by command; through the service where it runs, else on the store.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::{Keeper, open};
use crate::app::door::Peer;
use crate::app::door::client::{self, CallError};
use crate::app::order::Problem;
use crate::app::people::unanswered;
use crate::app::{Failure, Streams, configuration, ledger};
use crate::cli::{AccountsCommand, AccountsOutput, TokensCommand};
use crate::config::load::Loaded;
use crate::core::causes::chain;
use crate::core::logbook;
use crate::diagnostic::Diagnostic;
use crate::report::local::minute_and_zone;
use crate::runtime::clock::Clock;
use crate::web::access::store::{Account, StoreError, Token};
use crate::web::access::{Access, Change, ChangeError, ChangeRefusal, Changed};

/// Route of the control socket.
pub(in crate::app) const ACCOUNTS: &str = "/accounts";
/// Slug of what cannot be.
const REFUSED: &str = "access-refused";
/// Slug of a store that fails.
const STORE: &str = "access-store";

/// What is asked of the accounts.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub(in crate::app) struct AccessOrder {
    /// The change; `None` lists them.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(in crate::app) change: Option<Change>,
    /// Who.
    pub(in crate::app) by: String,
}

/// What it came to: every account and token as they are afterwards.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub(in crate::app) struct AccessDone {
    /// What a change made.
    #[serde(flatten)]
    pub(in crate::app) changed: Changed,
    /// Every account.
    pub(in crate::app) accounts: Vec<Account>,
    /// Every token.
    pub(in crate::app) tokens: Vec<Token>,
}

impl AccessOrder {
    /// That of somebody at this computer.
    ///
    /// # Errors
    /// [`Problem`] where a change names nobody.
    pub(in crate::app) fn signed(self, peer: &Peer) -> Result<Self, Problem> {
        if self.change.is_none() {
            return Ok(self);
        }
        logbook::name(logbook::Field::By, &self.by).map_err(|error| {
            Problem::new("usage", format!("{error} (--by)"), "say who it is, in one line")
        })?;
        Ok(Self { by: format!("{} ({peer})", self.by.trim()), ..self })
    }
}

/// Does it at the store, and puts it on record.
///
/// # Errors
/// [`Problem`] where it cannot be.
pub(in crate::app) async fn perform(keeper: &Keeper, order: AccessOrder) -> Result<AccessDone, Problem> {
    let access = &keeper.access;
    let changed = match order.change {
        Some(change) => access.change(change, &order.by, None).await,
        None => Ok(Changed::default()),
    };
    // A refusal goes on record as well.
    if let Err(error) = keeper.drain().await {
        let error = chain(&error);
        tracing::warn!(error, "what was asked of the accounts waits to be put on record");
    }
    listed(access, changed.map_err(|error| problem(&error))?).await
}

async fn listed(access: &std::sync::Arc<Access>, changed: Changed) -> Result<AccessDone, Problem> {
    let failed = |error| failed(&error);
    let (accounts, tokens) =
        (access.accounts().await.map_err(failed)?, access.tokens().await.map_err(failed)?);
    Ok(AccessDone { changed, accounts, tokens })
}

fn failed(error: &(dyn std::error::Error + 'static)) -> Problem {
    Problem::new(STORE, chain(error), "look at the file beside the ledger that ends in .access")
}

fn problem(error: &ChangeError) -> Problem {
    match error {
        ChangeError::Refused(refusal) => {
            let advice = match refusal {
                ChangeRefusal::ReadsAsToken => {
                    "give the name as people call them, such as --name \"Ana Díaz\", that begins otherwise"
                }
                ChangeRefusal::ReadsAlike(_) => {
                    "add what tells them apart, such as a second surname: --name \"Ana Díaz Mora\""
                }
                ChangeRefusal::Shown(_) => {
                    "type the name as people call them, such as --name \"Ana Díaz\", rather than copying it"
                }
                ChangeRefusal::NoName(_)
                | ChangeRefusal::Unknown
                | ChangeRefusal::Taken
                | ChangeRefusal::LastAdministrator
                | ChangeRefusal::Same
                | ChangeRefusal::Days => "rinseward accounts list has those that are there",
            };
            Problem::new(REFUSED, refusal.to_string(), advice)
        }
        ChangeError::Access(_) | ChangeError::Hash(_) => failed(error),
    }
}

/// The service has no pages, and so no accounts.
pub(in crate::app) fn off() -> Problem {
    let summary = "the pages are not enabled, so that there are no accounts";
    Problem::new(REFUSED, summary, "[web] enabled = true, then restart the service")
}

/// `accounts …`.
pub(in crate::app) fn accounts(command: &AccountsCommand, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let (change, by, output) = parts(command);
    let loaded = configuration::load(&output.config.files)?;
    let done = done(&loaded, AccessOrder { change, by })?;
    let written = if output.json {
        serde_json::to_writer(&mut *streams.out, &done)
            .map_err(std::io::Error::from)
            .and_then(|()| writeln!(streams.out))
    } else {
        tell(command, &done, &loaded, streams)
    };
    written.map_err(Failure::output)
}

fn parts(command: &AccountsCommand) -> (Option<Change>, String, &AccountsOutput) {
    let of = |account: &str, change: fn(String) -> Change| Some(change(account.to_owned()));
    match command {
        AccountsCommand::List(output) => (None, String::new(), output),
        AccountsCommand::Add(add) => {
            let change = Change::Add {
                account: add.account.clone(),
                name: add.name.clone(),
                role: add.role,
                language: add.language,
                scale: add.units,
            };
            (Some(change), add.by.by.clone(), &add.by.output)
        }
        AccountsCommand::Role(role) => {
            let change = Change::Role { account: role.account.clone(), role: role.role };
            (Some(change), role.by.by.clone(), &role.by.output)
        }
        AccountsCommand::Disable(one) => {
            (of(&one.account, |account| Change::Disable { account }), one.by.by.clone(), &one.by.output)
        }
        AccountsCommand::Enable(one) => {
            (of(&one.account, |account| Change::Enable { account }), one.by.by.clone(), &one.by.output)
        }
        AccountsCommand::Reset(one) => {
            (of(&one.account, |account| Change::Reset { account }), one.by.by.clone(), &one.by.output)
        }
        AccountsCommand::Unlock(one) => {
            (of(&one.account, |account| Change::Unlock { account }), one.by.by.clone(), &one.by.output)
        }
        AccountsCommand::Remove(one) => {
            (of(&one.account, |account| Change::Remove { account }), one.by.by.clone(), &one.by.output)
        }
        AccountsCommand::Tokens(tokens) => match &tokens.command {
            TokensCommand::List(output) => (None, String::new(), output),
            TokensCommand::Add(add) => {
                let change = Change::AddToken { token: add.token.clone(), role: add.role, days: add.days };
                (Some(change), add.by.by.clone(), &add.by.output)
            }
            TokensCommand::Revoke(one) => {
                let change = Change::RevokeToken { token: one.token.clone() };
                (Some(change), one.by.by.clone(), &one.by.output)
            }
        },
    }
}

fn done(loaded: &Loaded, order: AccessOrder) -> Result<AccessDone, Failure> {
    let socket = &loaded.configuration.socket;
    match client::post(socket, ACCOUNTS, &order) {
        Ok(done) => Ok(done),
        Err(CallError::NotRunning) => alone(loaded, order),
        Err(error) => Err(unanswered(error, socket)),
    }
}

/// Where no service runs: on the store itself, and on the ledger where there is one already. Before
/// the first start there is none; what was done waits in the store until then.
fn alone(loaded: &Loaded, order: AccessOrder) -> Result<AccessDone, Failure> {
    let configuration = &loaded.configuration;
    let Some(web) = &configuration.web else { return Err(off().into()) };
    let order = order.signed(&Peer::own())?;
    let path = &configuration.ledger.path;
    let handle =
        if path.exists() { Some(ledger::open_alone(loaded, path, Clock::system().now())?.0) } else { None };
    let access = open(configuration, web, path).map_err(|error| unopened(&error, path))?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()
        .map_err(|error| crate::app::run::bug("cannot start the runtime", &error))?;
    let done = runtime.block_on(async {
        let Some(handle) = handle.clone() else {
            let changed = match order.change {
                Some(change) => {
                    access.change(change, &order.by, None).await.map_err(|error| problem(&error))?
                }
                None => Changed::default(),
            };
            return listed(&access, changed).await;
        };
        let keeper = Keeper::open(access, handle, Clock::system()).await.map_err(|error| failed(&error))?;
        perform(&keeper, order).await
    });
    let closed =
        handle.map_or(Ok(()), |handle| handle.close().map_err(|error| ledger::diagnose(&error, path)));
    let done = done?;
    closed?;
    Ok(done)
}

fn unopened(error: &StoreError, ledger: &Path) -> Failure {
    Diagnostic::error(STORE, error.to_string())
        .place(super::path(ledger).display().to_string())
        .because(error)
        .advice("run it as the service user, such as by sudo -u rinseward")
        .into()
}

fn tell(
    command: &AccountsCommand,
    done: &AccessDone,
    loaded: &Loaded,
    streams: &mut Streams<'_>,
) -> std::io::Result<()> {
    let zone = &loaded.configuration.alerts.zone;
    let until = done.changed.until.map(|until| minute_and_zone(until, zone)).unwrap_or_default();
    let secret = done.changed.secret.as_deref().unwrap_or_default();
    // As it is stored, and not as it was typed.
    let made = done.changed.name.as_deref().unwrap_or_default();
    let out = &mut streams.out;
    match command {
        AccountsCommand::List(_) => {
            for account in &done.accounts {
                let last = account.last_login.map(|at| minute_and_zone(at, zone));
                let state = match (account.disabled, account.must_change) {
                    (true, _) => "disabled",
                    (false, true) => "one-time secret",
                    (false, false) => "",
                };
                let last = last.unwrap_or_else(|| "never logged in".to_owned());
                let line = format!(
                    "{:<20} {:<14} {:<24} {last:<24} {state}",
                    account.name, account.role, account.shown
                );
                writeln!(out, "{}", line.trim_end())?;
            }
            Ok(())
        }
        AccountsCommand::Tokens(tokens) => match &tokens.command {
            TokensCommand::List(_) => {
                let now = Clock::system().now();
                for token in &done.tokens {
                    let state = if token.revoked || token.until <= now { "ended" } else { "" };
                    let until = minute_and_zone(token.until, zone);
                    let line = format!("{:<20} {:<14} until {until} {state}", token.name, token.role);
                    writeln!(out, "{}", line.trim_end())?;
                }
                Ok(())
            }
            TokensCommand::Add(_) => {
                writeln!(out, "Token «{made}», to be shown as «Authorization: Bearer …» until {until}:")?;
                writeln!(out, "{secret}\nIt is shown this once.")
            }
            TokensCommand::Revoke(one) => writeln!(out, "The token «{}» is revoked.", one.token),
        },
        AccountsCommand::Add(_) => {
            writeln!(out, "The account «{made}» is made. One-time secret: {secret}")?;
            writeln!(out, "It is shown this once and can be used until {until}; a password is chosen then.")
        }
        AccountsCommand::Reset(_) => {
            writeln!(out, "One-time secret of «{made}»: {secret}")?;
            writeln!(out, "It is shown this once and can be used until {until}; a password is chosen then.")
        }
        AccountsCommand::Role(role) => writeln!(out, "The account «{}» is {}.", role.account, role.role),
        AccountsCommand::Disable(one) => writeln!(out, "Nobody can log in with «{}».", one.account),
        AccountsCommand::Enable(one) => writeln!(out, "«{}» can be used again.", one.account),
        AccountsCommand::Unlock(one) => writeln!(out, "«{}» is unlocked.", one.account),
        AccountsCommand::Remove(one) => writeln!(out, "The account «{}» is removed.", one.account),
    }
}
