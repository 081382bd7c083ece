//! What went wrong, in the one form that people see: in the terminal, in the
//! journal and on a page.
//!
//! ```text
//! error[config-value]: «[[machine]] dm1, rinse-min» does not fit
//!   where: config/gateway.toml:14, rinse-min = "82,2 °C"
//!   cause: …
//!   do:    …
//! ```
//!
//! A slug never changes its meaning and is never used again for another one;
//! all of them stand in [`SLUGS`], and the README tells what each asks of the reader.

use std::error::Error;
use std::fmt;

use crate::config::problem::{Fault, Problem};

/// How bad it is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Severity {
    /// Worth a look; the program goes on.
    Warning,
    /// What was asked could not be done.
    Error,
}

/// Whose fault it is, as the exit code tells scripts (`sysexits.h` of 4.3BSD; 1 and 2 are answers).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Exit {
    /// The command was used wrongly.
    Usage,
    /// A mistake in this program.
    Bug,
    /// A file, a device or a link failed.
    InputOutput,
    /// The configuration.
    Configuration,
    /// The answer is «not good»: what was to be verified is not whole, a machine is not ready, a session at a
    /// probe was refused. No fault of the program.
    NotWhole,
    /// What was to be verified could not be checked.
    NotChecked,
}

impl Exit {
    /// The exit code.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Usage => 64,
            Self::Bug => 70,
            Self::InputOutput => 74,
            Self::Configuration => 78,
            Self::NotWhole => 1,
            Self::NotChecked => 2,
        }
    }
}

/// Every slug with its exit code and what it means, in the order of the README.
pub const SLUGS: [(&str, Exit, &str); 70] = [
    ("usage", Exit::Usage, "the command line is not understood"),
    (
        "bug",
        Exit::Bug,
        "a mistake in rinseward itself; one in the judging of a machine is put on record and stops no other",
    ),
    ("config-file", Exit::Configuration, "a configuration file cannot be read"),
    ("config-syntax", Exit::Configuration, "a configuration file is not TOML"),
    ("config-key", Exit::Configuration, "a key does not exist"),
    ("config-missing", Exit::Configuration, "a key must be given"),
    ("config-value", Exit::Configuration, "a value does not fit its key"),
    ("config-twice", Exit::Configuration, "a name, a device or a place is taken twice"),
    ("config-name", Exit::Configuration, "a name of something that is not configured"),
    ("config-machine", Exit::Configuration, "a machine has no probe for its final rinse"),
    ("config-secret", Exit::Configuration, "a secret is open to others, or not there"),
    ("config-doubt", Exit::Configuration, "a value is legal but probably not meant"),
    ("config-source", Exit::Configuration, "no source is configured, so that nothing can arrive"),
    ("source-open", Exit::InputOutput, "a port, a broker or a file cannot be opened; it is tried again"),
    ("source-lost", Exit::InputOutput, "a port or a broker went away; it is tried again"),
    ("input-refused", Exit::InputOutput, "something arrived that is no reading; it is counted"),
    (
        "modbus-late",
        Exit::InputOutput,
        "a Modbus unit answers after its time-out, so that nothing is read of it: raise `time-out` of the unit",
    ),
    (
        "modbus-silent",
        Exit::InputOutput,
        "a Modbus unit does not answer; it is asked again, and the others go on",
    ),
    ("modbus-exception", Exit::InputOutput, "a Modbus unit refuses a request; its probe gives a fault"),
    ("modbus-garbled", Exit::InputOutput, "what a Modbus unit answers cannot be read"),
    ("scan-none", Exit::NotWhole, "nothing was found at a port or an address that could be proposed"),
    ("trace-open", Exit::InputOutput, "the file to replay cannot be opened"),
    ("trace-read", Exit::InputOutput, "the file to replay cannot be read to its end"),
    ("ledger-open", Exit::InputOutput, "the ledger cannot be opened"),
    ("ledger-locked", Exit::InputOutput, "another process has the ledger open"),
    ("ledger-read-only", Exit::InputOutput, "the ledger may not be written"),
    ("ledger-full", Exit::InputOutput, "the disk is full"),
    ("ledger-damaged", Exit::InputOutput, "a page of the ledger is damaged"),
    ("ledger-version", Exit::InputOutput, "the ledger comes from a later version"),
    ("ledger-write", Exit::InputOutput, "a commit failed"),
    (
        "signing-key",
        Exit::InputOutput,
        "the key that signs checkpoints cannot be read, made or used; recording goes on",
    ),
    ("signing-key-lost", Exit::InputOutput, "the secret signing key was gone, and a new one was made"),
    ("checkpoint-none", Exit::InputOutput, "the ledger holds no signed checkpoint, or names no key"),
    ("series-off", Exit::Configuration, "no time series are configured"),
    ("series-unreachable", Exit::InputOutput, "the series server is not reached; it is tried again"),
    ("series-tls", Exit::InputOutput, "no encrypted connection to the series server; it is tried again"),
    ("series-denied", Exit::Configuration, "the series server does not accept the token; it is tried again"),
    ("series-bucket", Exit::Configuration, "the bucket or the organisation is not on the series server"),
    ("series-api", Exit::Configuration, "what answers is not the write API of InfluxDB 2"),
    ("series-busy", Exit::InputOutput, "the series server asks to wait; it is tried again"),
    ("series-refused", Exit::InputOutput, "the series server will not have some points; they are set aside"),
    ("series-unread", Exit::InputOutput, "the series server took a point and does not give it back"),
    ("keeping-refused", Exit::Usage, "a hold, a backup, a restore or an import cannot be done as asked"),
    ("backup-failed", Exit::InputOutput, "a backup could not be made, or is not whole"),
    ("clock-step", Exit::InputOutput, "the clock of the gateway jumped"),
    (
        "alert-refused",
        Exit::Usage,
        "what was asked of an alert, a check or a maintenance window cannot be done",
    ),
    ("entry-refused", Exit::Usage, "what was entered cannot be true, or is not what the record is about"),
    (
        "sign-off-open",
        Exit::NotWhole,
        "a machine is not signed off, since points are open that nobody has accepted",
    ),
    ("wiring-not-good", Exit::NotWhole, "a probe is not wired as it is configured, or that was not proved"),
    ("calibration-refused", Exit::NotWhole, "a calibration was refused, for a reason that it names"),
    (
        "response-refused",
        Exit::NotWhole,
        "what was measured is no step that a time constant could be taken from",
    ),
    ("alert-test", Exit::InputOutput, "a test message did not get through"),
    ("service-socket", Exit::InputOutput, "the control socket cannot be made or used"),
    ("web-listen", Exit::InputOutput, "the pages cannot be served at their address; it is tried again"),
    (
        "web-key",
        Exit::InputOutput,
        "the key that signs links cannot be read or made, so that no page is served",
    ),
    ("api-request", Exit::Usage, "a program asked for what there is not, or for what cannot be"),
    ("api-access", Exit::Usage, "a program showed no token, or one whose role does not reach that far"),
    ("api-busy", Exit::InputOutput, "a program is to ask again later"),
    ("web-tls", Exit::InputOutput, "certificate or key of the pages cannot be used; it is tried again"),
    (
        "access-store",
        Exit::InputOutput,
        "the accounts cannot be opened or written, so that nobody can log in",
    ),
    ("access-refused", Exit::Usage, "what was asked of an account or a token cannot be done"),
    (
        "account-name",
        Exit::Usage,
        "an account is called as programs are on record; make another in its place",
    ),
    ("verify-not-whole", Exit::NotWhole, "what was verified was changed, cut back or damaged"),
    ("verify-unchecked", Exit::NotChecked, "it could not be verified, so that nothing is said of it"),
    ("export-ahead", Exit::InputOutput, "an export is asked for of a time that has not begun"),
    ("export-before", Exit::InputOutput, "an export is asked for of a time before the ledger begins"),
    ("export-unsealed", Exit::InputOutput, "there is no checkpoint to prove an export by"),
    ("report-missing", Exit::InputOutput, "the program that makes PDF reports is not installed"),
    ("report-failed", Exit::InputOutput, "a PDF report was not made"),
    ("output", Exit::InputOutput, "the answer cannot be written"),
];

/// One message to a person.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Diagnostic {
    severity: Severity,
    slug: &'static str,
    exit: Exit,
    summary: String,
    places: Vec<String>,
    causes: Vec<String>,
    advice: Vec<String>,
}

impl Diagnostic {
    /// Starts an error. A slug that is not in [`SLUGS`] becomes `bug`.
    #[must_use]
    pub fn error(slug: &str, summary: impl Into<String>) -> Self {
        Self::new(Severity::Error, slug, summary.into())
    }

    /// Starts a warning. A slug that is not in [`SLUGS`] becomes `bug`.
    #[must_use]
    pub fn warning(slug: &str, summary: impl Into<String>) -> Self {
        Self::new(Severity::Warning, slug, summary.into())
    }

    fn new(severity: Severity, slug: &str, summary: String) -> Self {
        let known = SLUGS.iter().find(|(known, _, _)| *known == slug);
        let (slug, exit) = known.map_or(("bug", Exit::Bug), |(slug, exit, _)| (*slug, *exit));
        Self { severity, slug, exit, summary, places: Vec::new(), causes: Vec::new(), advice: Vec::new() }
    }

    /// Says where: a file with its line, a key, a device, a machine.
    #[must_use]
    pub fn place(mut self, place: impl Into<String>) -> Self {
        self.places.push(place.into());
        self
    }

    /// Says why, in words.
    #[must_use]
    pub fn cause(mut self, cause: impl Into<String>) -> Self {
        self.causes.push(cause.into());
        self
    }

    /// Says why, by an error and all that is behind it.
    #[must_use]
    pub fn because(mut self, error: &(dyn Error + 'static)) -> Self {
        let mut next = Some(error);
        while let Some(error) = next {
            self.causes.push(error.to_string());
            next = error.source();
        }
        self
    }

    /// Says what to do.
    #[must_use]
    pub fn advice(mut self, advice: impl Into<String>) -> Self {
        self.advice.push(advice.into());
        self
    }

    /// How bad it is.
    #[must_use]
    pub const fn severity(&self) -> Severity {
        self.severity
    }

    /// Its stable short name.
    #[must_use]
    pub const fn slug(&self) -> &'static str {
        self.slug
    }

    /// The code to end the program with where this ends it.
    #[must_use]
    pub const fn exit_code(&self) -> u8 {
        self.exit.code()
    }
}

impl fmt::Display for Diagnostic {
    /// Prints the form of the module's head, without a line end after the last line.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let severity = match self.severity {
            Severity::Warning => "warning",
            Severity::Error => "error",
        };
        write!(f, "{severity}[{}]: {}", self.slug, printable(&self.summary))?;
        line(f, "where: ", &self.places, ", ")?;
        line(f, "cause: ", &self.causes, ": ")?;
        line(f, "do:    ", &self.advice, "; ")
    }
}

fn line(f: &mut fmt::Formatter<'_>, head: &str, parts: &[String], between: &str) -> fmt::Result {
    if parts.is_empty() { Ok(()) } else { write!(f, "\n  {head}{}", printable(&parts.join(between))) }
}

/// The text on one line: what comes from outside must not fake a line of ours,
/// or drive a terminal.
fn printable(text: &str) -> String {
    let shown = |character: char| if character.is_control() { ' ' } else { character };
    text.trim_end().chars().map(shown).collect()
}

impl From<&Problem> for Diagnostic {
    fn from(problem: &Problem) -> Self {
        let key = &problem.key;
        let doubtful = matches!(problem.fault, Fault::Doubtful { .. } | Fault::SecretUnseen { .. });
        let severity = if doubtful { Severity::Warning } else { Severity::Error };
        let (summary, advice) = words(problem);
        let mut diagnostic = Self::new(severity, problem.slug(), summary);
        if let Some(place) = &problem.place {
            diagnostic = diagnostic.place(place.to_string());
        }
        // A problem of the whole file has no key to name.
        if !matches!(problem.fault, Fault::File(_) | Fault::Syntax { .. } | Fault::Repeated { .. }) {
            diagnostic = diagnostic.place(match &problem.seen {
                Some(seen) => format!("{key} = {seen}"),
                None => key.clone(),
            });
        }
        diagnostic = match &problem.fault {
            Fault::File(error) => diagnostic.because(error.as_ref()),
            Fault::SecretUnseen { source, .. } => diagnostic.because(source.as_ref()),
            Fault::Syntax { message } => diagnostic.cause(message.clone()),
            Fault::Doubtful { why, .. } => diagnostic.cause(why.clone()),
            Fault::Twice { first: Some(first) } => diagnostic.cause(format!("first used at {first}")),
            Fault::SecretReadable { mode, .. } => {
                diagnostic.cause(format!("its mode is {mode:03o}: everybody on this computer may open it"))
            }
            Fault::Value { why: Some(why), .. } => diagnostic.cause(format!("it {why}")),
            Fault::UnknownKey { legal, .. } => diagnostic.cause(format!("legal here are {legal}")),
            Fault::Missing { .. }
            | Fault::Repeated { .. }
            | Fault::Value { why: None, .. }
            | Fault::Twice { first: None }
            | Fault::UnknownName { .. }
            | Fault::NoRinseProbe { .. } => diagnostic,
        };
        diagnostic.advice(advice)
    }
}

impl From<Problem> for Diagnostic {
    fn from(problem: Problem) -> Self {
        Self::from(&problem)
    }
}

/// The first line and the advice for a problem of the configuration.
fn words(problem: &Problem) -> (String, String) {
    let name = problem.key.rsplit(", ").next().unwrap_or_default();
    match &problem.fault {
        Fault::File(_) => (
            "cannot read the configuration".to_owned(),
            "check the path and who may read it; config/gateway.toml is an example to copy".to_owned(),
        ),
        Fault::Syntax { .. } => (
            "the configuration is not TOML".to_owned(),
            "mend this line; config/gateway.toml is an example to copy".to_owned(),
        ),
        Fault::Repeated { line } => (
            format!("«{line}» stands twice in this file"),
            "move what is below it to where it stood first; or keep it in a file of its own and give both: \
             --config A --config B"
                .to_owned(),
        ),
        Fault::UnknownKey { nearest, .. } => {
            let advice = match nearest {
                Some(nearest) => format!("write {nearest}, or remove the line"),
                None => "remove the line; config/reference.toml has every key".to_owned(),
            };
            (format!("there is no key «{name}» here"), advice)
        }
        Fault::Missing { wanted } => (format!("«{name}» is missing"), format!("add it: {wanted}")),
        Fault::Value { wanted, .. } => {
            (format!("the value of «{name}» does not fit"), format!("write {wanted}"))
        }
        Fault::Twice { .. } => {
            (format!("«{name}» is used twice"), "choose another, or remove one of the two".to_owned())
        }
        Fault::UnknownName { wanted, nearest } => {
            let advice = match nearest {
                Some(nearest) => format!("write {nearest}, or add {wanted}"),
                None => format!("add {wanted}, or correct the name"),
            };
            (format!("«{name}» names nothing that is configured"), advice)
        }
        Fault::NoRinseProbe { machine } => (
            format!("no probe measures the final rinse of «{machine}»"),
            format!(
                "add [[probe]] name = \"{machine}/rinse\"; without it no cycle can be judged. On a machine that \
                 dumps and refills the probe in the sump serves, with rinse-from = \"sump\""
            ),
        ),
        Fault::SecretReadable { path, .. } => {
            (format!("the secret of «{name}» is open to everybody"), format!("chmod o= {}", shell_word(path)))
        }
        Fault::SecretUnseen { path, .. } => (
            format!("the secret of «{name}» cannot be looked at from here"),
            format!("on the gateway: create {}, chmod 600, owned by the service user", path.display()),
        ),
        Fault::Doubtful { advice, .. } => {
            (format!("the value of «{name}» is probably not meant"), advice.clone())
        }
    }
}

/// A path as one word of a POSIX shell.
fn shell_word(path: &std::path::Path) -> String {
    let text = path.to_string_lossy();
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-+:@%".contains(c);
    if text.chars().all(plain) { text.into_owned() } else { format!("'{}'", text.replace('\'', r"'\''")) }
}

#[cfg(test)]
mod tests;
