//! Where an export goes: written under another name and moved when it is whole.

use std::fs::Permissions;
use std::io::{BufWriter, Write};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::written::{Hashed, Written};
use crate::app::Failure;
use crate::cli::ExportForm;
use crate::diagnostic::Diagnostic;

/// Who may read an export, before the mask of the process.
const MODE: u32 = 0o644;

/// Where an export goes.
#[derive(Debug)]
pub(in crate::app) enum Place {
    /// Standard output.
    Standard,
    /// A file.
    File(Staged),
    /// A directory for many.
    Directory(Folder),
}

impl Place {
    /// Looks at the place, and makes the directory where one is needed and its parent is there.
    ///
    /// # Errors
    /// Where something is there and must not be written over, or nothing can be written.
    pub(in crate::app) fn new(out: &Path, form: ExportForm, force: bool) -> Result<Self, Failure> {
        if out == Path::new("-") {
            return Ok(Self::Standard);
        }
        let csv = out.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("csv"));
        if form == ExportForm::Csv && (out.is_dir() || !csv) {
            return Folder::new(out, force).map(Self::Directory);
        }
        Staged::new(out, force).map(Self::File)
    }
}

/// A file under another name beside its place; gone where it is not kept.
#[derive(Debug)]
pub(in crate::app) struct Staged {
    file: Hashed<BufWriter<NamedTempFile>>,
    place: PathBuf,
    force: bool,
}

impl Staged {
    /// Begins a file that is to stand at `place`.
    ///
    /// # Errors
    /// Where something stands there and may not be written over, or its directory takes no file.
    pub(in crate::app) fn new(place: &Path, force: bool) -> Result<Self, Failure> {
        if place.is_dir() {
            let wanted = "name a file, or `--form csv` for a directory of tables";
            return Err(refused(place, "it is a directory").advice(wanted).into());
        }
        if !force && place.exists() {
            return Err(taken(place).into());
        }
        let directory = place.parent().filter(|parent| !parent.as_os_str().is_empty());
        let file = tempfile::Builder::new()
            .prefix(".export-")
            .permissions(Permissions::from_mode(MODE))
            .tempfile_in(directory.unwrap_or(Path::new(".")))
            .map_err(|error| failed(place, &error))?;
        let file = Hashed::new(BufWriter::new(file));
        Ok(Self { file, place: place.to_owned(), force })
    }

    /// Where to write.
    pub(in crate::app) fn writer(&mut self) -> &mut dyn Write {
        &mut self.file
    }

    /// Moves the whole file to its place, once it is on the device, and gives what was written.
    ///
    /// # Errors
    /// Where it cannot be written to its end, or something has come to stand there meanwhile.
    pub(in crate::app) fn keep(self) -> Result<Written, Failure> {
        let Self { file, place, force } = self;
        let (file, written) = file.ended(place.display().to_string());
        let file = file.into_inner().map_err(|error| failed(&place, error.error()))?;
        file.as_file().sync_all().map_err(|error| failed(&place, &error))?;
        let moved = if force { file.persist(&place) } else { file.persist_noclobber(&place) };
        match moved {
            Ok(_) => Ok(written),
            Err(error) if error.error.kind() == std::io::ErrorKind::AlreadyExists => {
                Err(taken(&place).into())
            }
            Err(error) => Err(failed(&place, &error.error).into()),
        }
    }
}

/// A directory whose files are moved to their places together.
#[derive(Debug)]
pub(in crate::app) struct Folder {
    path: PathBuf,
    force: bool,
    files: Vec<Staged>,
    /// Records that could not be read.
    pub(in crate::app) damaged: Vec<u64>,
}

impl Folder {
    fn new(path: &Path, force: bool) -> Result<Self, Failure> {
        if path.exists() && !path.is_dir() {
            let advice = "end the name in .csv for the cycles alone, or name a directory";
            return Err(refused(path, "it is no directory").advice(advice).into());
        }
        if !path.exists() {
            std::fs::create_dir(path).map_err(|error| failed(path, &error))?;
        }
        Ok(Self { path: path.to_owned(), force, files: Vec::new(), damaged: Vec::new() })
    }

    /// Begins a file in it.
    ///
    /// # Errors
    /// As for [`Staged::new`].
    pub(in crate::app) fn file(&self, name: &str) -> Result<Staged, Failure> {
        Staged::new(&self.path.join(name), self.force)
    }

    /// Takes a written file, to be moved with the others.
    pub(in crate::app) fn put(&mut self, file: Staged) {
        self.files.push(file);
    }

    /// Moves all of them, and gives what was written.
    ///
    /// # Errors
    /// At the first that cannot be moved; those before it are there, whole.
    pub(in crate::app) fn keep(self) -> Result<Vec<Written>, Failure> {
        self.files.into_iter().map(Staged::keep).collect()
    }
}

fn taken(place: &Path) -> Diagnostic {
    refused(place, "something is there already")
        .advice("add --force to write over it, or choose another --out")
}

fn failed(place: &Path, error: &std::io::Error) -> Diagnostic {
    Diagnostic::error("output", "the export cannot be written")
        .place(place.display().to_string())
        .because(error)
        .advice("give --out a place that can be written; nothing was left there")
}

fn refused(place: &Path, why: &str) -> Diagnostic {
    Diagnostic::error("output", "the export is not written").place(place.display().to_string()).cause(why)
}
