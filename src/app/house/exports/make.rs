//! Makes the file of an export, away from all who wait for answers.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio::runtime::Handle;

use super::{Desk, Known, ROOM_MIN, Watch};
use crate::app::Failure;
use crate::app::export::gather::Site;
use crate::app::export::paper::Sheet;
use crate::app::export::{self, Order, Progress, Watched, seal};
use crate::app::house::House;
use crate::cli::ExportForm;
use crate::core::causes::chain;
use crate::core::time::Timestamp;
use crate::diagnostic::Diagnostic;
use crate::ledger::Reader;
use crate::report::account::Seal;
use crate::report::account::build::Question;
use crate::report::pdf::{Options, Paper as Size};
use crate::web::history::exports::{Form, Paper, Stage, Wanted};

/// Bytes between two looks at the room on the device.
const LOOK_EVERY: u64 = 16 << 20;

const fn form(form: Form) -> ExportForm {
    match form {
        Form::Pdf => ExportForm::Pdf,
        Form::Evidence => ExportForm::Evidence,
        Form::Csv => ExportForm::Csv,
        Form::JsonLines => ExportForm::Jsonl,
        Form::Json => ExportForm::Json,
    }
}

impl House {
    /// Begins to make it; what it comes to is told to the desk.
    pub(super) async fn make(
        &self,
        number: u64,
        wanted: Wanted,
        (from, to): (Timestamp, Timestamp),
        known: Known,
        watch: Arc<Watch>,
    ) {
        let now = self.clock.now();
        let has_seal = matches!(wanted.form, Form::Pdf | Form::Evidence | Form::Json);
        if has_seal
            && let Some(seal) = self.seal()
            && let Err(error) = seal.checkpoint(now).await
        {
            tracing::warn!(error = chain(&error), "no checkpoint could be made for an export");
        }
        let Known { site, of, .. } = known;
        let Site { name, zone_name, zone } = site;
        let program = env!("CARGO_PKG_VERSION").to_owned();
        let only = wanted.machine.iter().cloned().collect();
        let question = Question { program, made: now, site: name, zone_name, zone, from, to, only };
        let work = Work {
            desk: self.desk.clone(),
            path: self.path.to_path_buf(),
            number,
            wanted,
            question,
            has_seal,
            watch,
        };
        let (places, handle) = (Arc::clone(&self.exports), Handle::current());
        // Its end is told to the desk.
        drop(tokio::task::spawn_blocking(move || {
            let over = work.watch.over.clone();
            let place = handle.block_on(over.run_until_cancelled(places.acquire_owned()));
            let Some(Ok(_place)) = place else { return };
            work.desk.put(work.number, Stage::Reading { far: 0, of });
            let (desk, number, watch) = (work.desk.clone(), work.number, Arc::clone(&work.watch));
            let stage = work.done().unwrap_or_else(|failure| Stage::Failed { said: failure.to_string() });
            desk.put(number, stage);
            if watch.is_over() {
                desk.remove(number);
            }
        }));
    }
}

/// A file that is being made.
struct Work {
    desk: Desk,
    path: PathBuf,
    number: u64,
    wanted: Wanted,
    question: Question,
    has_seal: bool,
    watch: Arc<Watch>,
}

impl Work {
    fn done(self) -> Result<Stage, Failure> {
        let file = self.desk.file(self.number);
        let no_room = |error: &io::Error| Failure::from(no_file(&file, error));
        self.desk.ready().map_err(|error| no_room(&error))?;
        let reader =
            Reader::open(&self.path).map_err(|error| crate::app::ledger::diagnose(&error, &self.path))?;
        let seal = self.seal(&reader)?;
        let sheet = (self.wanted.form == Form::Pdf).then(|| self.sheet(&file)).transpose()?;
        let sealed = self.has_seal.then_some(seal.is_some());
        let lines = self.wanted.form == Form::Evidence;
        let order = Order {
            form: form(self.wanted.form),
            question: self.question.clone(),
            all_traces: self.wanted.all_traces,
            seal,
            sheet,
        };
        let made = File::create(&file).map_err(|error| no_room(&error))?;
        let mut out = BufWriter::new(Bounded::new(made, &self.desk.folder, &self.watch, lines));
        let written =
            export::into(order, (&reader, &self.path), &mut out, &mut Progress::watched(&*self.watch));
        let written = written.and_then(|damaged| out.flush().map(|()| damaged).map_err(Failure::output));
        let bytes = out.get_ref().written;
        drop(out);
        written
            .map(|damaged| Stage::Done { bytes, damaged, sealed })
            .inspect_err(|_| self.desk.remove(self.number))
    }

    fn seal(&self, reader: &Reader) -> Result<Option<Seal>, Failure> {
        if !self.has_seal {
            return Ok(None);
        }
        seal::newest(reader).map_err(|error| crate::app::ledger::diagnose(&error, &self.path).into())
    }

    fn sheet(&self, file: &Path) -> Result<Sheet, Failure> {
        let paper = match self.wanted.paper {
            Paper::Letter => Size::Letter,
            Paper::A4 => Size::A4,
        };
        let Wanted { scale, language, .. } = self.wanted;
        Sheet::find(Options { paper, scale, language }, file.to_owned())
    }
}

fn no_file(file: &Path, error: &io::Error) -> Diagnostic {
    Diagnostic::error("output", "the export cannot be written")
        .place(file.display().to_string())
        .because(error)
        .advice("see that the gateway has room beside its ledger and may write there; then begin it again")
}

/// Writes while somebody wants it and there is room.
struct Bounded<'w> {
    file: File,
    folder: &'w Path,
    watch: &'w Watch,
    written: u64,
    looked: u64,
    /// Whether each line is a record that is told of.
    lines: Option<u64>,
}

impl<'w> Bounded<'w> {
    fn new(file: File, folder: &'w Path, watch: &'w Watch, lines: bool) -> Self {
        Self { file, folder, watch, written: 0, looked: 0, lines: lines.then_some(0) }
    }
}

impl Write for Bounded<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.watch.is_over() {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        if self.written >= self.looked {
            self.looked = self.written + LOOK_EVERY;
            let disk = rustix::fs::statvfs(self.folder)?;
            if disk.f_bavail.saturating_mul(disk.f_frsize) < ROOM_MIN {
                return Err(io::Error::new(
                    io::ErrorKind::StorageFull,
                    "the device is nearly full, and what is left is for recording",
                ));
            }
        }
        let written = self.file.write(bytes)?;
        self.written += written as u64;
        if let Some(lines) = &mut self.lines {
            *lines += bytes[..written].iter().filter(|byte| **byte == b'\n').count() as u64;
            self.watch.far(*lines);
        }
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}
