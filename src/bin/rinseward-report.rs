//! Puts an account on paper: a PDF/A-3 file with the account and its proof attached.
//!
//! A program of its own, so that the gateway stays free of the typesetter, its build time and its
//! memory; `rinseward export --form pdf` runs it as a child with limits. It reads the files it is
//! given, writes the one it is asked for, and nothing else: the template and the fonts are built
//! in, and the typesetter sees only what is put before it, neither the disk nor a network.
//!
//! Equal input gives an equal file, byte for byte: the time in it is that of the account.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::{Mutex, PoisonError};

use clap::Parser;
use rinseward::core::reader::{Language, Scale};
use rinseward::diagnostic::Diagnostic;
use rinseward::report::account::{ACCOUNT_FORMAT, Account, Form};
use rinseward::report::pdf::{self, ACCOUNT, Attached, CYCLES, EVIDENCE, Options, Paper, Sheet, TEMPLATE};
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

/// Puts an account on paper, with the account and its proof attached (PDF/A-3).
#[derive(Parser, Debug)]
#[command(name = "rinseward-report", version)]
struct Arguments {
    /// The account as JSON; `-` is standard input.
    #[arg(long, value_name = "FILE", default_value = "-")]
    account: PathBuf,
    /// Table of the racks, to be attached as cycles.csv.
    #[arg(long, value_name = "FILE")]
    cycles: Option<PathBuf>,
    /// Records with their proof, to be attached as evidence.jsonl.
    #[arg(long, value_name = "FILE")]
    evidence: Option<PathBuf>,
    /// Paper: letter or a4.
    #[arg(long, default_value_t)]
    paper: Paper,
    /// Scale of temperatures: celsius or fahrenheit.
    #[arg(long, default_value_t)]
    scale: Scale,
    /// Language: en or es.
    #[arg(long, default_value_t)]
    language: Language,
    /// Say on standard output how many of the pictures are laid out, a line such as `3 of 40` for each.
    #[arg(long)]
    progress: bool,
    /// The file to write.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
}

fn main() -> ExitCode {
    match made(&Arguments::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(diagnostic) => {
            // Where standard error is gone, the exit code still tells.
            drop(writeln!(io::stderr(), "{diagnostic}"));
            ExitCode::from(diagnostic.exit_code())
        }
    }
}

fn made(arguments: &Arguments) -> Result<(), Diagnostic> {
    let json = read(&arguments.account)?;
    let account = parsed(&json, &arguments.account)?;
    let mut files = BTreeMap::new();
    for (name, path) in [(CYCLES, &arguments.cycles), (EVIDENCE, &arguments.evidence)] {
        if let Some(path) = path {
            files.insert(name, read(path)?);
        }
    }
    files.insert(ACCOUNT, json);
    // In the order in which somebody would open them.
    let order = [CYCLES, EVIDENCE, ACCOUNT];
    let attached: Vec<Attached<'_>> = order
        .into_iter()
        .filter_map(|name| Some(Attached { name, bytes: files.get(name)?.len() as u64 }))
        .collect();
    let options = Options { paper: arguments.paper, scale: arguments.scale, language: arguments.language };
    let sheet = pdf::sheet(&account, options, &attached).map_err(|error| failed().because(&error))?;
    let bytes = typeset(sheet, files, &account, arguments.progress)?;
    std::fs::write(&arguments.out, bytes).map_err(|error| {
        let place = arguments.out.display().to_string();
        Diagnostic::error("output", "the report cannot be written").place(place).because(&error)
    })
}

fn failed() -> Diagnostic {
    Diagnostic::error("report-failed", "the report was not made")
}

fn read(path: &Path) -> Result<Vec<u8>, Diagnostic> {
    let mut bytes = Vec::new();
    let read = if path == Path::new("-") {
        io::stdin().lock().read_to_end(&mut bytes).map(drop)
    } else {
        std::fs::read(path).map(|found| bytes = found)
    };
    read.map_err(|error| failed().place(path.display().to_string()).because(&error))?;
    Ok(bytes)
}

fn parsed(json: &[u8], path: &Path) -> Result<Account, Diagnostic> {
    let same = "install rinseward and rinseward-report of the same version";
    let unread = |error| failed().place(path.display().to_string()).because(&error).advice(same);
    let Form { v } = serde_json::from_slice(json).map_err(unread)?;
    if v != ACCOUNT_FORMAT {
        let cause = format!("the account is of form {v}, this program shows form {ACCOUNT_FORMAT}");
        return Err(failed().cause(cause).advice(same));
    }
    serde_json::from_slice(json).map_err(unread)
}

/// Sets the sheet and gives the file.
fn typeset(
    mut sheet: Sheet,
    files: BTreeMap<&str, Vec<u8>>,
    account: &Account,
    tells: bool,
) -> Result<Vec<u8>, Diagnostic> {
    let fonts: Vec<Font> = typst_assets::fonts().flat_map(|data| Font::iter(Bytes::new(data))).collect();
    // A file for keeping may hold no character that its fonts cannot show.
    sheet.replace_characters(|character| {
        let shown = |font: &Font| font.info().coverage.contains(u32::from(character));
        let line_end = character == '\n';
        if line_end || is_kept(character) && fonts.iter().any(shown) { character } else { MISSING }
    });
    let table = Table::new(&sheet, files, fonts, tells)?;
    let document: PagedDocument = typst::compile(&table).output.map_err(|errors| told(&errors))?;
    let standards = PdfStandards::new(&[PdfStandard::A_3a, PdfStandard::Ua_1])
        .map_err(|error| failed().cause(error.message().to_string()))?;
    let options = PdfOptions {
        creator: Smart::Custom(Some(format!("rinseward {}", account.program))),
        timestamp: stamp(account),
        standards,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&document, &options).map_err(|errors| told(&errors))
}

/// What stands for a character that no font has.
const MISSING: char = '\u{25a1}';

/// Whether a character may stand in a file for keeping: none of private use, which says nothing
/// to anybody else, and none that marks bytes or turns the direction of writing.
fn is_kept(character: char) -> bool {
    !matches!(character,
        '\u{e000}'..='\u{f8ff}' | '\u{feff}' | '\u{fff0}'..='\u{ffff}' | '\u{200b}'..='\u{200f}'
        | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{fe00}'..='\u{fe0f}' | '\u{f0000}'..)
}

fn told(errors: &[SourceDiagnostic]) -> Diagnostic {
    let causes = errors.iter().take(3).map(|error| {
        let hints: Vec<&str> = error.hints.iter().map(|hint| hint.v.as_str()).collect();
        if hints.is_empty() {
            error.message.to_string()
        } else {
            format!("{} ({})", error.message, hints.join("; "))
        }
    });
    causes
        .fold(failed(), Diagnostic::cause)
        .advice("keep the account and report this: it is a mistake in the program")
}

/// When the account was made: the only time that the file tells.
fn stamp(account: &Account) -> Option<Timestamp> {
    let made = jiff::Timestamp::from_microsecond(account.made.micros()).ok()?;
    let made = jiff::tz::TimeZone::UTC.to_datetime(made);
    let part = |value: i8| u8::try_from(value).ok();
    let datetime = Datetime::from_ymd_hms(
        i32::from(made.year()),
        part(made.month())?,
        part(made.day())?,
        part(made.hour())?,
        part(made.minute())?,
        part(made.second())?,
    )?;
    Some(Timestamp::new_utc(datetime))
}

/// Where the pictures are.
const PLOTS: &str = "plot/";

/// All that the typesetter sees.
struct Table {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
    template: Source,
    files: BTreeMap<String, Bytes>,
    laid: Option<Laid>,
}

/// Which pictures the typesetter has asked for: it does so where it lays them out, and may do it again.
struct Laid {
    asked: Mutex<BTreeSet<String>>,
    of: usize,
}

impl Laid {
    fn take(&self, picture: &str) {
        let mut asked = self.asked.lock().unwrap_or_else(PoisonError::into_inner);
        if asked.insert(picture.to_owned()) {
            // Where nobody reads it, the report is made all the same.
            drop(writeln!(io::stdout(), "{} of {}", asked.len(), self.of));
        }
    }
}

impl Table {
    fn new(
        sheet: &Sheet,
        attached: BTreeMap<&str, Vec<u8>>,
        fonts: Vec<Font>,
        tells: bool,
    ) -> Result<Self, Diagnostic> {
        let mut files: BTreeMap<String, Bytes> =
            attached.into_iter().map(|(name, bytes)| (name.to_owned(), Bytes::new(bytes))).collect();
        let json = serde_json::to_vec(sheet).map_err(|error| failed().because(&error))?;
        files.insert("sheet.json".to_owned(), Bytes::new(json));
        for (number, plot) in sheet.plots.iter().enumerate() {
            files.insert(format!("{PLOTS}{number}.svg"), Bytes::from_string(plot.clone()));
        }
        let path = VirtualPath::new("report.typ").map_err(|error| failed().cause(error.to_string()))?;
        let id = RootedPath::new(VirtualRoot::Project, path).intern();
        Ok(Self {
            library: LazyHash::new(Library::default()),
            book: LazyHash::new(FontBook::from_fonts(&fonts)),
            fonts,
            template: Source::new(id, TEMPLATE.to_owned()),
            files,
            laid: tells.then(|| Laid { asked: Mutex::default(), of: sheet.plots.len() }),
        })
    }
}

impl World for Table {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.book
    }

    fn main(&self) -> FileId {
        self.template.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.template.id() { Ok(self.template.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let name = id.vpath().get_without_slash();
        if let Some(laid) = self.laid.as_ref().filter(|_| name.starts_with(PLOTS)) {
            laid.take(name);
        }
        self.files.get(name).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.fonts.get(index).cloned()
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        None
    }
}
