//! The command line of accounts and tokens.

use clap::{Args, Subcommand};

use super::ConfigArgs;
use crate::core::access::Role;
use crate::core::reader::{Language, Scale};

/// Arguments of `accounts`.
#[derive(Args, Debug)]
pub struct AccountsArgs {
    /// What to do.
    #[command(subcommand)]
    pub command: AccountsCommand,
}

/// What to do with accounts.
#[derive(Subcommand, Debug)]
pub enum AccountsCommand {
    /// List the accounts.
    List(AccountsOutput),
    /// Make an account, and print its one-time secret.
    Add(AccountAddArgs),
    /// Give an account another role; whoever is logged in with it is logged out.
    Role(AccountRoleArgs),
    /// Let nobody log in with an account; whoever is logged in with it is logged out.
    Disable(AccountArgs),
    /// Let its owner log in again.
    Enable(AccountArgs),
    /// Put a one-time secret in the place of a password, and print it.
    Reset(AccountArgs),
    /// End a lock after too many wrong tries.
    Unlock(AccountArgs),
    /// Remove an account; what was done with it stays on record.
    Remove(AccountArgs),
    /// Tokens, by which programs come in.
    Tokens(TokensArgs),
}

/// Arguments of `accounts tokens`.
#[derive(Args, Debug)]
pub struct TokensArgs {
    /// What to do.
    #[command(subcommand)]
    pub command: TokensCommand,
}

/// What to do with tokens.
#[derive(Subcommand, Debug)]
pub enum TokensCommand {
    /// List the tokens.
    List(AccountsOutput),
    /// Make a token, and print it.
    Add(TokenAddArgs),
    /// Revoke a token.
    Revoke(TokenArgs),
}

/// Which gateway, and how to print.
#[derive(Args, Debug)]
pub struct AccountsOutput {
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// One JSON object: every account and token as they are then.
    #[arg(long)]
    pub json: bool,
}

/// Who changes it.
#[derive(Args, Debug)]
pub struct AccountsBy {
    /// Who asks for it.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Which gateway, and how to print.
    #[command(flatten)]
    pub output: AccountsOutput,
}

/// Which account.
#[derive(Args, Debug)]
pub struct AccountArgs {
    /// The account.
    #[arg(value_name = "ACCOUNT")]
    pub account: String,
    /// Who changes it.
    #[command(flatten)]
    pub by: AccountsBy,
}

/// Arguments of `accounts add`.
#[derive(Args, Debug)]
pub struct AccountAddArgs {
    /// What is typed to log in: small letters, digits, `.`, `_`, `-`.
    #[arg(value_name = "ACCOUNT")]
    pub account: String,
    /// Name that goes on record beside what they do.
    #[arg(long, value_name = "NAME")]
    pub name: String,
    /// auditor, operator, manager, technician or administrator.
    #[arg(long, value_name = "ROLE")]
    pub role: Role,
    /// Their language: en or es.
    #[arg(long, value_name = "LANGUAGE", default_value = "en")]
    pub language: Language,
    /// Their scale: celsius or fahrenheit.
    #[arg(long, value_name = "UNITS", default_value = "celsius")]
    pub units: Scale,
    /// Who makes it.
    #[command(flatten)]
    pub by: AccountsBy,
}

/// Arguments of `accounts role`.
#[derive(Args, Debug)]
pub struct AccountRoleArgs {
    /// The account.
    #[arg(value_name = "ACCOUNT")]
    pub account: String,
    /// auditor, operator, manager, technician or administrator.
    #[arg(value_name = "ROLE")]
    pub role: Role,
    /// Who changes it.
    #[command(flatten)]
    pub by: AccountsBy,
}

/// Which token.
#[derive(Args, Debug)]
pub struct TokenArgs {
    /// The token.
    #[arg(value_name = "TOKEN")]
    pub token: String,
    /// Who changes it.
    #[command(flatten)]
    pub by: AccountsBy,
}

/// Arguments of `accounts tokens add`.
#[derive(Args, Debug)]
pub struct TokenAddArgs {
    /// Its name, which goes on record beside what the program does.
    #[arg(value_name = "TOKEN")]
    pub token: String,
    /// auditor, operator, manager, technician or administrator.
    #[arg(long, value_name = "ROLE")]
    pub role: Role,
    /// How long it can be used, in days.
    #[arg(long, value_name = "N", default_value_t = 90)]
    pub days: u32,
    /// Who makes it.
    #[command(flatten)]
    pub by: AccountsBy,
}
