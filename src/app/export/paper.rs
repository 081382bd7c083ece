//! Exports as PDF: the account on paper, with the cycles, the account and the evidence attached.
//!
//! All of it reaches as far as the checkpoint and no further, so that `verify` with the file and
//! the key alone can follow each record it tells of.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use super::evidence::Traces;
use super::gather::{self, Reach};
use super::pdf::{Attachments, Typesetter};
use super::progress::Bounded;
use super::{Failure, Progress, seal, tables};
use crate::app::ledger;
use crate::cli::ExportArgs;
use crate::core::reader::{Language, Scale};
use crate::core::record::Record;
use crate::diagnostic::Diagnostic;
use crate::ledger::Reader;
use crate::report::account::Seal;
use crate::report::account::build::Question;
use crate::report::csv::{cycle_header, write_cells};
use crate::report::pdf::{CYCLES, EVIDENCE, Options, Paper};

/// A part that is being written.
type Part<'p> = BufWriter<Bounded<'p, File>>;

/// How a report is to be, and by what it is made.
#[derive(Debug)]
pub(in crate::app) struct Sheet {
    typesetter: Typesetter,
    options: Options,
    /// The name that was asked for.
    out: PathBuf,
}

impl Sheet {
    /// As the command asks for it.
    ///
    /// # Errors
    /// Where the program is not installed.
    pub(super) fn asked(arguments: &ExportArgs) -> Result<Self, Failure> {
        let paper = arguments.paper.unwrap_or(Paper::A4);
        let scale = arguments.scale.unwrap_or(Scale::Celsius);
        let language = arguments.language.unwrap_or(Language::English);
        Self::find(Options { paper, scale, language }, arguments.out.clone())
    }

    /// Looks for the program; `out` is the name of the file that is wanted.
    ///
    /// # Errors
    /// Where it is not installed.
    pub(in crate::app) fn find(options: Options, out: PathBuf) -> Result<Self, Failure> {
        let typesetter = Typesetter::find().map_err(|error| error.diagnose(&out))?;
        Ok(Self { typesetter, options, out })
    }

    /// Makes the report and writes it; gives the records that cannot be read.
    ///
    /// # Errors
    /// Where the ledger is not as it was sealed or cannot be read, or the report cannot be made or written.
    pub(super) fn write(
        &self,
        (reader, path): (&Reader, &Path),
        question: Question,
        traces: Traces,
        sealed: Option<Seal>,
        out: &mut dyn Write,
        progress: &mut Progress<'_>,
    ) -> Result<Vec<u64>, Failure> {
        let unread = |error| Failure::from(ledger::diagnose(&error, path));
        let folder = self.folder()?;
        let (cycles, evidence, made) =
            (folder.path().join(CYCLES), folder.path().join(EVIDENCE), folder.path().join("report.pdf"));
        let mut proof = None;
        let reach = match sealed {
            None => Reach::all(reader, None).map_err(unread)?,
            Some(sealed) => {
                let mut file = self.create(&evidence, progress)?;
                seal::evidence((reader, path), &question, traces, Some(&sealed), &mut file, progress)?;
                self.end(file)?;
                proof = Some(evidence.as_path());
                Reach::of(reader, sealed).map_err(unread)?
            }
        };
        let asked = question.clone();
        progress.another_pass();
        let mut file = self.create(&cycles, progress)?;
        write_cells(&mut file, &cycle_header()).map_err(|error| self.failed(&error))?;
        let doubts = reach.doubts(reader).map_err(unread)?;
        let mut cycle =
            |index, _: &[u8], record: &Record| tables::write_cycle(index, record, &asked, &doubts, &mut file);
        let account = gather::account(reader, path, question, reach, &mut cycle, progress)?;
        self.end(file)?;
        let attachments = Attachments { cycles: Some(&cycles), evidence: proof };
        progress.typesetting();
        self.typesetter
            .render_watched(&account, attachments, self.options, &made, progress)
            .map_err(|error| error.diagnose(&self.out))?;
        let mut made = File::open(&made).map_err(|error| self.failed(&error))?;
        io::copy(&mut made, out).map_err(Failure::output)?;
        Ok(account.damaged)
    }

    /// A folder beside the file that is wanted, where there is room for it; nobody else may look into it.
    fn folder(&self) -> Result<tempfile::TempDir, Failure> {
        let mut builder = tempfile::Builder::new();
        builder.prefix(".rinseward-report-");
        let made = if self.out == Path::new("-") {
            builder.tempdir()
        } else {
            let parent = self.out.parent().filter(|parent| !parent.as_os_str().is_empty());
            builder.tempdir_in(parent.unwrap_or(Path::new(".")))
        };
        made.map_err(|error| self.failed(&error))
    }

    /// A part of the report, written while it is wanted and there is room.
    fn create<'p>(&self, path: &Path, progress: &Progress<'p>) -> Result<Part<'p>, Failure> {
        let file = File::create_new(path).map_err(|error| self.failed(&error))?;
        Ok(BufWriter::new(progress.bounded(file)))
    }

    fn end(&self, mut file: Part<'_>) -> Result<(), Failure> {
        file.flush().map_err(|error| self.failed(&error))
    }

    fn failed(&self, error: &io::Error) -> Failure {
        Diagnostic::error("output", "the export cannot be written")
            .place(self.out.display().to_string())
            .because(error)
            .advice("give --out a place that can be written; nothing was left there")
            .into()
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::AtomicU64;

    use jiff::tz::TimeZone;

    use super::*;
    use crate::app::export::pdf::Limits;
    use crate::app::export::progress::tests::Filling;
    use crate::app::fixture::{self, CONFIGURATION, at, key, opening, plain, rack};
    use crate::core::checkpoint::Checkpoint;
    use crate::core::record::Body;

    // Own promise: no part of a report is written, and no program runs on, where the room is gone; nothing of it is
    // left. The parts in order: evidence, table, account, the bound of the program, the program at work.
    #[test]
    fn no_part_of_a_report_fills_the_device() {
        let directory = tempfile::tempdir().expect("a directory");
        let (path, folder) = (directory.path().join("ledger.sqlite"), directory.path().join("made"));
        std::fs::create_dir(&folder).expect("room");
        let mut records = opening(CONFIGURATION);
        let (machine, cycle) = rack(0);
        records.push(plain(2, Some(machine), Body::Cycle(Box::new(cycle))));
        fixture::ledger(&path, records).close().expect("it closes");
        let reader = Reader::open(&path).expect("a reader");
        let head = reader.tree(3, |_, _| {}).expect("a tree").head();
        let seal = Seal {
            checkpoint: Checkpoint::sign(head, &key()).to_string(),
            key: key().verifying().to_string(),
            size: 3,
            root: head.root.to_string(),
        };
        let question = Question {
            program: "test".to_owned(),
            made: at(10),
            site: "north kitchen".to_owned(),
            zone_name: "UTC".to_owned(),
            zone: TimeZone::UTC,
            from: at(0),
            to: at(9),
            only: Vec::new(),
            ends: None,
        };
        for rooms in 0..5 {
            let filling = Filling(AtomicU64::new(rooms));
            let typesetter = Typesetter { program: "/bin/cat".into(), limits: Limits::default() };
            let options = Options { paper: Paper::A4, scale: Scale::Celsius, language: Language::English };
            let sheet = Sheet { typesetter, options, out: folder.join("1") };
            let made = sheet.write(
                (&reader, &path),
                question.clone(),
                Traces::All,
                Some(seal.clone()),
                &mut Vec::new(),
                &mut Progress::watched(&filling),
            );
            let said = made.expect_err("no room").to_string();
            assert!(said.contains("nearly full"), "{rooms}: {said}");
            assert_eq!(std::fs::read_dir(&folder).expect("ours").count(), 0, "{rooms}");
        }
    }
}
