//! The command `rinseward`.

use std::io::{self, BufWriter, Write};
use std::process::ExitCode;

use clap::Parser;
use clap::error::ErrorKind;
use rinseward::app::{self, Failure, Streams};
use rinseward::cli::Cli;
use rinseward::diagnostic::Diagnostic;

fn main() -> ExitCode {
    // The crash tests end the ledger's writer at named points.
    #[cfg(feature = "failpoints")]
    let _armed = fail::FailScenario::setup();
    // An error says that a provider is installed already, which is as good.
    drop(rustls::crypto::ring::default_provider().install_default());
    let mut out = BufWriter::new(io::stdout().lock());
    let mut err = io::stderr();
    let result = match Cli::try_parse() {
        Ok(cli) => {
            app::execute(&cli, &mut Streams { out: &mut out, err: &mut err }).and_then(|()| flush(&mut out))
        }
        Err(error) => answer(&error, &mut out).and_then(|()| flush(&mut out)),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            // Where standard error is gone, the exit code still tells.
            drop(write!(err, "{}", app::fitted_to_errors(&failure.to_string())));
            ExitCode::from(failure.exit_code())
        }
    }
}

fn flush(out: &mut dyn Write) -> Result<(), Failure> {
    out.flush().map_err(Failure::output).or_else(Failure::unless_closed)
}

/// Help and version are answers; anything else is a command line that is not understood.
fn answer(error: &clap::Error, out: &mut dyn Write) -> Result<(), Failure> {
    if error.use_stderr() {
        return Err(Failure::from(usage(error)));
    }
    write!(out, "{}", error.render()).map_err(Failure::output)
}

fn usage(error: &clap::Error) -> Diagnostic {
    if error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        return Diagnostic::error("usage", "what is to be done?")
            .advice("rinseward demo shows it at work")
            .advice("rinseward --help lists every command");
    }
    let text = error.render().to_string();
    let mut parts = text.split("\n\n").map(|part| part.split_whitespace().collect::<Vec<_>>().join(" "));
    let first = parts.next().unwrap_or_default();
    let mut diagnostic = Diagnostic::error("usage", first.trim_start_matches("error: "));
    for part in parts.filter(|part| !part.is_empty()) {
        diagnostic = match part.strip_prefix("Usage: ") {
            Some(usage) => diagnostic.advice(usage),
            None if part.starts_with("tip: ") => diagnostic.advice(part.trim_start_matches("tip: ")),
            None => diagnostic,
        };
    }
    if text.contains("--key <KEY_OR_FILE>") {
        diagnostic = diagnostic
            .advice("on the gateway the public key is <ledger>.verify-key")
            .advice("rinseward key export --out site.verify-key makes the file that the site gives away");
    }
    diagnostic.advice("rinseward --help lists every command")
}
