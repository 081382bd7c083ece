//! The time series: the task of the gateway, and the command `series` for a person.

mod again;
pub(super) mod follow;
mod status;
mod stock;

pub use again::Again;
pub use stock::{Keeper, LedgerStock};

use std::io::Write;

use super::{Failure, Streams, configuration, run};
use crate::cli::{SeriesArgs, SeriesCommand, SeriesTestArgs};
use crate::config::series::SeriesOptions;
use crate::diagnostic::Diagnostic;
use crate::runtime::clock::Clock;
use crate::series::explain::Explanation;
use crate::series::trial::{self, Done};

pub(super) fn series(arguments: &SeriesArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    match &arguments.command {
        SeriesCommand::Test(arguments) => test(arguments, streams),
        SeriesCommand::Status(arguments) => status::status(arguments, streams),
        SeriesCommand::Resend(arguments) => again::resend(arguments, streams),
    }
}

fn test(arguments: &SeriesTestArgs, streams: &mut Streams<'_>) -> Result<(), Failure> {
    let loaded = configuration::load(&arguments.config.files)?;
    let configuration = &loaded.configuration;
    let options = configuration.series.as_ref().ok_or_else(not_configured)?;
    let done = run::runtime()?.block_on(trial::run(options, &configuration.site, Clock::system().now()));
    let written = if arguments.json { json(&done, options, streams.out) } else { text(&done, streams.out) };
    let answer = match done.into_iter().find_map(|done| done.result.err()) {
        Some(explanation) => Err(Failure::from(diagnose(&explanation, options))),
        None => Ok(()),
    };
    Failure::decided(answer, written)
}

fn text(done: &[Done], out: &mut dyn Write) -> std::io::Result<()> {
    for done in done {
        match &done.result {
            Ok(seen) => writeln!(out, "{:<8} ok: {seen}", done.step)?,
            Err(why) => writeln!(out, "{:<8} failed: {}", done.step, why.summary)?,
        }
    }
    out.flush()
}

fn json(done: &[Done], options: &SeriesOptions, out: &mut dyn Write) -> std::io::Result<()> {
    let steps: Vec<serde_json::Value> = done
        .iter()
        .map(|done| match &done.result {
            Ok(seen) => serde_json::json!({ "step": done.step, "ok": true, "seen": seen }),
            Err(why) => serde_json::json!({
                "step": done.step, "ok": false, "slug": why.slug, "problem": why.summary, "cause": why.cause,
                "do": why.advice,
            }),
        })
        .collect();
    let good = done.iter().all(|done| done.result.is_ok());
    let answer = serde_json::json!({
        "url": options.url.as_str(), "organisation": options.organisation, "bucket": options.bucket, "ok": good,
        "steps": steps,
    });
    writeln!(out, "{answer}")?;
    out.flush()
}

/// The section is not there.
fn not_configured() -> Failure {
    Failure::from(Diagnostic::error("series-off", "no time series are configured").place("[series]").advice(
        "add the section [series] with url, organisation and bucket; config/reference.toml has every key",
    ))
}

/// What the series says, in the form for people.
pub(super) fn diagnose(explanation: &Explanation, options: &SeriesOptions) -> Diagnostic {
    let diagnostic = Diagnostic::error(explanation.slug, explanation.summary.clone())
        .place(format!("[series] url = \"{}\"", options.url));
    let diagnostic = match &explanation.cause {
        Some(cause) => diagnostic.cause(cause.clone()),
        None => diagnostic,
    };
    diagnostic.advice(explanation.advice.clone())
}
