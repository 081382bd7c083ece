//! A report as a PDF file, made by the program `rinseward-report`.
//!
//! It runs as a child without any environment, in a folder of its own beside the file that is
//! wanted, within limits of time and memory. The file appears whole under its name or not at all.

mod child;

use std::ffi::OsString;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use rustix::process::{Pid, Resource, Rlimit};

use self::child::{end, listen, watch};
use super::Progress;
use crate::diagnostic::Diagnostic;
use crate::report::account::Account;
use crate::report::pdf::{ACCOUNT, Options};

/// Name of the program.
const PROGRAM: &str = "rinseward-report";

/// How often it is looked whether the report is still wanted.
const LOOK_EVERY: Duration = Duration::from_millis(200);

/// What to attach beside the account.
#[derive(Clone, Copy, Debug, Default)]
pub struct Attachments<'a> {
    /// The table of the racks, attached as `cycles.csv`.
    pub cycles: Option<&'a Path>,
    /// The records with their proof, attached as `evidence.jsonl`.
    pub evidence: Option<&'a Path>,
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub enum RenderError {
    /// The program is nowhere.
    #[error("there is no {PROGRAM} beside this program or on the search path")]
    Missing,
    /// A file of ours cannot be written or moved.
    #[error("«{}» cannot be written", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// The account has no form as JSON.
    #[error("the account cannot be written as JSON")]
    Account(#[source] serde_json::Error),
    /// The program cannot be started or watched.
    #[error("«{}» cannot be run", program.display())]
    Run {
        /// Which.
        program: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// It took longer than it may.
    #[error("it took longer than {} s", limit.as_secs())]
    TooLong {
        /// How long it may take.
        limit: Duration,
    },
    /// Whoever wanted it ended it.
    #[error("it was ended")]
    Ended,
    /// There is no room for more.
    #[error("there is no room for it")]
    Room(#[source] io::Error),
    /// It ended without a report.
    #[error("it ended without a report ({status})")]
    Failed {
        /// How it ended.
        status: ExitStatus,
        /// What it said.
        said: String,
    },
}

impl RenderError {
    /// The error in the one form for people; `out` is the file that was wanted.
    #[must_use]
    pub fn diagnose(&self, out: &Path) -> Diagnostic {
        let failed = || Diagnostic::error("report-failed", "the PDF report was not made");
        let shorter = "ask for a shorter span or fewer machines; CSV and JSON have no such limit";
        match self {
            Self::Missing => {
                Diagnostic::error("report-missing", "PDF reports need a program that is not installed")
                    .place(PROGRAM)
                    .because(self)
                    .advice("install it from the same release and put it beside rinseward")
                    .advice("or build it: cargo build --release --features pdf --bin rinseward-report")
                    .advice("CSV and JSON need no other program")
            }
            Self::TooLong { .. } => failed().place(out.display().to_string()).because(self).advice(shorter),
            Self::Failed { status, said } => {
                let diagnostic = failed().place(out.display().to_string()).because(self);
                if said.is_empty() {
                    // Without a word it was ended by a limit, or by the system for want of memory.
                    return diagnostic.advice(shorter);
                }
                let diagnostic = diagnostic.cause(said.clone());
                match status.code() {
                    // Its command line or its input was not understood: it was built of another state.
                    Some(code) if code == NOT_UNDERSTOOD || said.contains(OTHER_VERSION) => {
                        diagnostic.advice(SAME_VERSION)
                    }
                    Some(_) => diagnostic,
                    None => diagnostic.advice(shorter),
                }
            }
            Self::Ended | Self::Room(_) | Self::File { .. } | Self::Account(_) | Self::Run { .. } => {
                failed().place(out.display().to_string()).because(self)
            }
        }
    }
}

/// Exit code of a program that does not know an option (clap 4).
const NOT_UNDERSTOOD: i32 = 2;
/// What a program of another version says of its input, in every version of it.
const OTHER_VERSION: &str = "of the same version";
/// What to do then.
const SAME_VERSION: &str = "rinseward-report is of another version than rinseward: install both from one package, or \
                            build it anew: cargo build --release --features pdf --bin rinseward-report";

/// What the program may use.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Limits {
    /// Time in all.
    pub wall: Duration,
    /// Time of all processors together.
    pub processor: Duration,
    /// Address space, bytes.
    pub memory: u64,
}

impl Default for Limits {
    /// Chosen to end what hangs, not from a measurement: far more than a report should need, and
    /// less memory than a gateway has.
    fn default() -> Self {
        Self { wall: Duration::from_secs(15 * 60), processor: Duration::from_secs(15 * 60), memory: 3 << 30 }
    }
}

/// The program that makes reports, and its limits.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Typesetter {
    /// Where it is.
    pub program: PathBuf,
    /// What it may use.
    pub limits: Limits,
}

/// Makes a report with the program that is installed.
///
/// # Errors
/// [`RenderError`].
pub fn render(
    account: &Account,
    attachments: Attachments<'_>,
    options: Options,
    out: &Path,
) -> Result<(), RenderError> {
    Typesetter::find()?.render(account, attachments, options, out)
}

impl Typesetter {
    /// Looks beside this program, then on the search path.
    ///
    /// # Errors
    /// [`RenderError::Missing`].
    pub fn find() -> Result<Self, RenderError> {
        let own = std::env::current_exe().ok();
        let beside = own.as_deref().and_then(Path::parent).map(Path::to_owned);
        Self::find_in(
            beside.into_iter().chain(std::env::var_os("PATH").iter().flat_map(std::env::split_paths)),
        )
    }

    /// Looks in folders, in order; a relative one is passed over, since it means another place everywhere.
    ///
    /// # Errors
    /// [`RenderError::Missing`].
    pub fn find_in(folders: impl Iterator<Item = PathBuf>) -> Result<Self, RenderError> {
        folders
            .filter(|folder| folder.is_absolute())
            .map(|folder| folder.join(PROGRAM))
            .find(|program| program.is_file())
            .map(|program| Self { program, limits: Limits::default() })
            .ok_or(RenderError::Missing)
    }

    /// Makes a report and puts it at `out`; what is there is replaced.
    ///
    /// # Errors
    /// [`RenderError`]; `out` is then as it was.
    pub fn render(
        &self,
        account: &Account,
        attachments: Attachments<'_>,
        options: Options,
        out: &Path,
    ) -> Result<(), RenderError> {
        self.render_watched(account, attachments, options, out, &Progress::unseen())
    }

    /// As [`Typesetter::render`], while whoever watches wants it and there is room.
    ///
    /// # Errors
    /// [`RenderError`]; `out` is then as it was.
    pub(super) fn render_watched(
        &self,
        account: &Account,
        attachments: Attachments<'_>,
        options: Options,
        out: &Path,
        progress: &Progress<'_>,
    ) -> Result<(), RenderError> {
        let file = |path: &Path, source| RenderError::File { path: path.to_owned(), source };
        let out = std::path::absolute(out).map_err(|source| file(out, source))?;
        // Beside the file that is wanted, so that moving it there is one step.
        let parent = out.parent().unwrap_or(&out);
        let folder = tempfile::Builder::new()
            .prefix(".rinseward-report-")
            .tempdir_in(parent)
            .map_err(|source| file(parent, source))?;
        let (json, made) = (folder.path().join(ACCOUNT), folder.path().join("report.pdf"));
        let bytes = serde_json::to_vec(account).map_err(RenderError::Account)?;
        let written = std::fs::File::create_new(&json).and_then(|made| {
            let mut part = BufWriter::new(progress.bounded(made));
            part.write_all(&bytes).and_then(|()| part.flush())
        });
        written.map_err(|source| file(&json, source))?;
        drop(bytes);
        self.make(&json, attachments, options, &made, progress)?;
        let moved = std::fs::File::open(&made)
            .and_then(|written| written.sync_all())
            .and_then(|()| std::fs::rename(&made, &out));
        moved.map_err(|source| file(&out, source))
    }

    /// Makes the file `made` of an account that is written already, in the folder of that.
    ///
    /// # Errors
    /// [`RenderError`].
    pub(in crate::app) fn make(
        &self,
        json: &Path,
        attachments: Attachments<'_>,
        options: Options,
        made: &Path,
        progress: &Progress<'_>,
    ) -> Result<(), RenderError> {
        let mut arguments = vec![
            (OsString::from("--account"), json.as_os_str().to_owned()),
            ("--paper".into(), options.paper.as_str().into()),
            ("--scale".into(), options.scale.as_str().into()),
            ("--language".into(), options.language.code().into()),
            ("--out".into(), made.as_os_str().to_owned()),
        ];
        for (name, path) in [("--cycles", attachments.cycles), ("--evidence", attachments.evidence)] {
            if let Some(path) = path {
                let file = |source| RenderError::File { path: path.to_owned(), source };
                let path = std::path::absolute(path).map_err(file)?;
                arguments.push((name.into(), path.into_os_string()));
            }
        }
        self.run(json.parent().unwrap_or(json), arguments, progress)
    }

    fn run(
        &self,
        folder: &Path,
        arguments: Vec<(OsString, OsString)>,
        progress: &Progress<'_>,
    ) -> Result<(), RenderError> {
        let run = |source| RenderError::Run { program: self.program.clone(), source };
        let mut child = Command::new(&self.program)
            .args(arguments.into_iter().flat_map(|(name, value)| [name, value]))
            .arg("--progress")
            .env_clear()
            .current_dir(folder)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(run)?;
        let told = self.limit(&child, progress).and_then(|()| Ok((watch(&mut child)?, listen(&mut child)?)));
        let (laid, said) = told.map_err(|source| {
            end(&mut child);
            run(source)
        })?;
        // Standard error closes when the program ends: no later than that it has to be waited for.
        let mut waited = Duration::ZERO;
        let said = loop {
            if let Err(source) = progress.look() {
                end(&mut child);
                return Err(if progress.is_over() { RenderError::Ended } else { RenderError::Room(source) });
            }
            laid.tell(progress);
            let step = LOOK_EVERY.min(self.limits.wall.saturating_sub(waited));
            match said.recv_timeout(step) {
                Ok(said) => break said,
                Err(mpsc::RecvTimeoutError::Timeout) if waited + step < self.limits.wall => waited += step,
                Err(mpsc::RecvTimeoutError::Timeout | mpsc::RecvTimeoutError::Disconnected) => {
                    end(&mut child);
                    return Err(RenderError::TooLong { limit: self.limits.wall });
                }
            }
        };
        let status = child.wait().map_err(run)?;
        laid.ended().tell(progress);
        if status.success() { Ok(()) } else { Err(RenderError::Failed { status, said }) }
    }

    fn limit(&self, child: &Child, progress: &Progress<'_>) -> io::Result<()> {
        let pid = Pid::from_child(child);
        let limits = [(Resource::Cpu, self.limits.processor.as_secs()), (Resource::As, self.limits.memory)];
        // What it writes at once may be more than fits between two looks.
        let room = progress.room()?.map(|room| (Resource::Fsize, room));
        for (resource, most) in limits.into_iter().chain(room) {
            rustix::process::prlimit(
                Some(pid),
                resource,
                Rlimit { current: Some(most), maximum: Some(most) },
            )?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::fs::Permissions;
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::ExitStatusExt;
    use std::sync::Mutex;

    use super::*;
    use crate::app::export::progress::Watched;
    use crate::report::account::samples;

    /// What was told of the pictures.
    #[derive(Default)]
    struct Told(Mutex<Vec<(u64, u64)>>);

    impl Watched for Told {
        fn far(&self, _records: u64) {}

        fn typesetting(&self) {}

        fn laid(&self, laid: u64, of: u64) {
            self.0.lock().expect("nobody panics").push((laid, of));
        }

        fn is_over(&self) -> bool {
            false
        }

        fn room(&self) -> io::Result<u64> {
            Ok(1 << 40)
        }
    }

    // Own promise: whoever watches learns how many pictures are laid out; what else the program says on its standard
    // output, however long, is passed over and stops nothing.
    #[test]
    fn how_far_the_program_is_is_told() {
        let folder = tempfile::tempdir().expect("a folder");
        let program = folder.path().join("program");
        let said =
            "#!/bin/sh\necho 3 of 40; echo nonsense; echo 39 of 40\nhead -c 200000 /dev/zero\nexit 3\n";
        std::fs::write(&program, said).expect("room");
        std::fs::set_permissions(&program, Permissions::from_mode(0o755)).expect("ours");
        let told = Told::default();
        let typesetter = Typesetter { program, limits: Limits::default() };
        let out = folder.path().join("report.pdf");
        let progress = Progress::watched(&told);
        let made = typesetter.render_watched(
            &samples::span(1),
            Attachments::default(),
            Options::default(),
            &out,
            &progress,
        );
        assert!(matches!(made, Err(RenderError::Failed { .. })), "{made:?}");
        assert_eq!(told.0.lock().expect("nobody panics").last(), Some(&(39, 40)));
    }

    // Exit codes: clap 4 ends with 2 where it does not know an option; 74 is that of a report that failed. What one of
    // another version says is its own, in whatever version it was made.
    #[test]
    fn a_program_of_another_version_is_told_with_what_to_do() {
        for (code, said, is_other) in [
            (2, "error: unexpected argument '--scale' found", true),
            (
                74,
                "cause: missing field; do: install rinseward and rinseward-report of the same version",
                true,
            ),
            (74, "cause: no space left on device", false),
        ] {
            let failed =
                RenderError::Failed { status: ExitStatus::from_raw(code << 8), said: said.to_owned() };
            let told = failed.diagnose(Path::new("november.pdf")).to_string();
            let does = told.contains("cargo build --release --features pdf --bin rinseward-report")
                && told.contains("from one package");
            assert_eq!(does, is_other, "{told}");
        }
    }
}
