//! Makes the file of an export, away from all who wait for answers.

use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio::runtime::Handle;

use super::{Desk, Known, Watch};
use crate::app::Failure;
use crate::app::export::gather::Site;
use crate::app::export::paper::Sheet;
use crate::app::export::progress::Watched;
use crate::app::export::{self, Order, Progress, seal};
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
        under_way: UnderWay,
        wanted: Wanted,
        (from, to): (Timestamp, Timestamp),
        known: Known,
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
        let question =
            Question { program, made: now, site: name, zone_name, zone, from, to, only, ends: None };
        let work = Work {
            desk: self.desk.clone(),
            path: self.path.to_path_buf(),
            number: under_way.number,
            wanted,
            question,
            has_seal,
            watch: Arc::clone(&under_way.watch),
        };
        let (places, handle) = (Arc::clone(&self.exports), Handle::current());
        // Its end is told to the desk.
        drop(tokio::task::spawn_blocking(move || {
            let over = work.watch.over.clone();
            let place = handle.block_on(over.run_until_cancelled(places.acquire_owned()));
            let Some(Ok(_place)) = place else { return };
            work.desk.put(work.number, Stage::Reading { far: 0, of });
            let stage = work.done().unwrap_or_else(|failure| Stage::Failed { said: failure.to_string() });
            under_way.end(stage);
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
        let reader =
            Reader::open(&self.path).map_err(|error| crate::app::ledger::diagnose(&error, &self.path))?;
        let begins = export::begins_after(&self.question, &reader)
            .map_err(|error| crate::app::ledger::diagnose(&error, &self.path))?;
        let seal = self.seal(&reader)?;
        let sheet = (self.wanted.form == Form::Pdf).then(|| self.sheet(&file)).transpose()?;
        let sealed = self.has_seal.then_some(seal.is_some());
        let order = Order {
            form: form(self.wanted.form),
            question: self.question.clone(),
            all_traces: self.wanted.all_traces,
            seal,
            sheet,
        };
        let made = self.desk.create(self.number).map_err(|error| no_room(&error))?;
        let mut progress = Progress::watched(&*self.watch);
        let mut out = BufWriter::new(progress.bounded(made));
        let written = export::into(order, (&reader, &self.path), &mut out, &mut progress);
        let written = written.and_then(|damaged| out.flush().map(|()| damaged).map_err(Failure::output));
        let bytes = out.get_ref().written();
        drop(out);
        written
            .map(|damaged| Stage::Done { bytes, damaged, sealed, begins })
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

/// A job under way: what it comes to is told to the desk. A panic leaves no job under way, and one whose beginning
/// was given up is gone.
pub(super) struct UnderWay {
    pub(super) desk: Desk,
    pub(super) number: u64,
    pub(super) watch: Arc<Watch>,
    /// What it came to.
    pub(super) stage: Option<Stage>,
}

impl UnderWay {
    fn end(mut self, stage: Stage) {
        self.stage = Some(stage);
    }
}

impl Drop for UnderWay {
    fn drop(&mut self) {
        let stage = match self.stage.take() {
            Some(stage) => stage,
            None if std::thread::panicking() => {
                self.desk.remove(self.number);
                let said = Diagnostic::error("bug", "the export ended by a mistake in rinseward")
                    .place(self.desk.file(self.number).display().to_string())
                    .advice("see the log of the gateway, and tell whoever made it; then begin it again");
                Stage::Failed { said: said.to_string() }
            }
            None => return self.desk.drop(self.number),
        };
        self.desk.put(self.number, stage);
        if self.watch.is_over() {
            self.desk.remove(self.number);
        }
    }
}
