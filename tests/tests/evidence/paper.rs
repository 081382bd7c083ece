//! The report as the command makes it, from the ledger to the paper and back: what `verify` says of
//! it, and of it with one thing changed. qpdf and poppler (both of Debian) take it apart.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;
use rinseward::core::note::SigningKey;
use rinseward::report::account::Account;

use super::{Site, key, rinseward, said, verify, verify_bytes};

/// A report and what is attached to it.
struct Report {
    directory: tempfile::TempDir,
}

impl Report {
    fn shared() -> &'static Self {
        static REPORT: OnceLock<Report> = OnceLock::new();
        REPORT.get_or_init(|| {
            let report = Self { directory: tempfile::tempdir().expect("room for a directory") };
            let words = ["--day", "2026-01-01", "--paper", "letter", "--scale", "f", "--language", "es"];
            let arguments = [&["export", "--form", "pdf"], &words[..], &["--out"]].concat();
            let ledger = Site::shared().path("ledger.sqlite");
            let out = report.path("report.pdf");
            let done = rinseward(&arguments, &[&out, Path::new("--ledger"), &ledger]);
            assert!(done.status.success(), "{}", said(&done));
            let told = said(&done);
            let lines: Vec<&str> = told.lines().collect();
            assert!(
                lines.len() == 2 && lines[0].starts_with("Exported, "),
                "nothing but what was written: {told}"
            );
            let detached = Command::new("pdfdetach")
                .args(["-saveall", "-o"])
                .args([report.directory.path(), &out])
                .output()
                .expect("poppler is needed, see tests/all");
            assert!(detached.status.success(), "{}", said(&detached));
            report
        })
    }

    fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    fn read(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path(name)).expect("it is there")
    }

    /// The report with another file in place of an attached one.
    fn with(&self, name: &str, bytes: &[u8]) -> Vec<u8> {
        let directory = tempfile::tempdir().expect("room for a directory");
        let (changed, out) = (directory.path().join(name), directory.path().join("report.pdf"));
        std::fs::write(&changed, bytes).expect("written");
        let output = Command::new("qpdf")
            .arg(self.path("report.pdf"))
            .arg(format!("--remove-attachment={name}"))
            .args([Path::new("--add-attachment"), &changed, Path::new("--"), &out])
            .output()
            .expect("qpdf is needed, see tests/all");
        assert!(output.status.success(), "{}", said(&output));
        std::fs::read(&out).expect("qpdf wrote it")
    }
}

/// `bytes` with the first `from` of them made `to`.
fn replaced(bytes: &[u8], from: &str, to: &str) -> Vec<u8> {
    let text = std::str::from_utf8(bytes).expect("text");
    let changed = text.replacen(from, to, 1);
    assert_ne!(text, changed, "it has «{from}»");
    changed.into_bytes()
}

#[test]
fn a_report_is_whole_and_proves_its_table() {
    let report = Report::shared();
    let pdf = report.path("report.pdf");
    for (path, with) in [(pdf.clone(), None), (report.path("cycles.csv"), Some(pdf.as_path()))] {
        let output = verify(&path, with, &key());
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        assert!(said(&output).contains("whole: «north kitchen»"), "{}", said(&output));
        let made_again = said(&output).contains("the file is the same to the byte");
        assert_eq!(made_again, with.is_none(), "{}", said(&output));
    }
}

/// The report as qpdf writes it with these choices.
fn saved_anew(choices: &[&str]) -> Vec<u8> {
    let directory = tempfile::tempdir().expect("room for a directory");
    let out = directory.path().join("report.pdf");
    let output =
        Command::new("qpdf").args(choices).arg(Report::shared().path("report.pdf")).arg(&out).output();
    let output = output.expect("qpdf is needed, see tests/all");
    assert!(output.status.success(), "{}", said(&output));
    std::fs::read(&out).expect("qpdf wrote it")
}

/// The report with the first page unpacked by other settings: its bytes stay, and it shows nothing.
fn garbled(qdf: &[u8]) -> Vec<u8> {
    let after = |from: usize, wanted: &[u8]| {
        let found = qdf[from..].windows(wanted.len()).position(|part| part == wanted);
        from + found.expect("qpdf writes it so") + wanted.len()
    };
    let number = after(0, b"/Contents ");
    let number: Vec<u8> = qdf[number..].iter().copied().take_while(u8::is_ascii_digit).collect();
    let place = after(0, &[b"\n", number.as_slice(), b" 0 obj\n<<\n"].concat());
    let settings = b"  /DecodeParms <<\n    /Columns 40\n    /Predictor 12\n  >>\n";
    let changed = [&qdf[..place], settings, &qdf[place..]].concat();
    let directory = tempfile::tempdir().expect("room for a directory");
    let file = directory.path().join("report.pdf");
    std::fs::write(&file, changed).expect("written");
    let output = Command::new("fix-qdf").arg(&file).output().expect("qpdf is needed, see tests/all");
    assert!(output.status.success(), "{}", said(&output));
    output.stdout
}

// Regression: a report with other pages was whole. One that a program only packed otherwise is.
#[test]
fn pages_that_were_changed_are_seen() {
    for choices in [
        &["--linearize"][..],
        &["--qdf", "--normalize-content=n"],
        &["--object-streams=disable", "--recompress-flate"],
    ] {
        let (code, text) = verify_bytes("report.pdf", &saved_anew(choices), None);
        assert_eq!(code, Some(0), "{choices:?}: {text}");
        assert!(text.contains("another program saved it anew"), "{choices:?}: {text}");
    }
    let plain = saved_anew(&["--qdf", "--normalize-content=n"]);
    let mut moved = plain.clone();
    let text = moved.windows(4).position(|part| part == b" Tm[").expect("it shows text");
    let digit = (0..text).rev().find(|at| moved[*at].is_ascii_digit()).expect("it stands somewhere");
    moved[digit] = if moved[digit] == b'9' { b'8' } else { moved[digit] + 1 };
    let garbled = garbled(&saved_anew(&["--qdf", "--normalize-content=n", "--stream-data=preserve"]));
    let fewer = saved_anew(&["--pages", ".", "1-r2", "--"]);
    let turned = saved_anew(&["--rotate=180:1"]);
    for (what, changed) in [("moved", moved), ("garbled", garbled), ("fewer", fewer), ("turned", turned)] {
        let (code, text) = verify_bytes("report.pdf", &changed, None);
        assert_eq!(code, Some(1), "{what}: {text}");
        assert!(text.contains("its printed pages are not those that rinseward-report"), "{what}: {text}");
    }
}

// Own promise: where the pages cannot be made again that is said first, and nothing else fails.
#[test]
fn pages_that_are_not_compared_are_not_called_whole() {
    let report = Report::shared().path("report.pdf");
    let alone = tempfile::tempdir().expect("room for a directory");
    let program = alone.path().join("rinseward");
    std::fs::copy(env!("CARGO_BIN_EXE_rinseward"), &program).expect("room for the program");
    for (program, choices, why) in [
        (program.as_path(), &[][..], "there is no rinseward-report"),
        (Path::new(env!("CARGO_BIN_EXE_rinseward")), &["--records-only"], "that was asked for"),
    ] {
        let mut command = Command::new(program);
        command.args(["verify", "--key", &key().verifying().to_string()]).args(choices).arg(&report);
        let output = command.env("PATH", alone.path()).output().expect("the command runs");
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        let first = said(&output).lines().next().expect("an answer").to_owned();
        assert!(first.contains("report.pdf: whole, its printed pages not compared: "), "{first}");
        assert!(said(&output).contains(&format!("were not compared ({why}")), "{}", said(&output));
    }
}

#[test]
fn it_is_on_the_paper_on_the_scale_and_in_the_language_that_were_asked_for() {
    let report = Report::shared();
    let output = Command::new("pdftotext").arg("-raw").arg(report.path("report.pdf")).arg("-").output();
    let output = output.expect("poppler is needed, see tests/all");
    let text = String::from_utf8(output.stdout).expect("text in UTF-8");
    let text = text.split_whitespace().collect::<Vec<&str>>().join(" ");
    // 71.3 °C = 160.34 °F against 180 °F.
    for wanted in ["Informe de lavado de vajilla", "160.3 °F frente a 180.0 °F", "punto de control sobre"] {
        assert!(text.contains(wanted), "«{wanted}»: {text}");
    }
    let info = Command::new("pdfinfo").arg(report.path("report.pdf")).output();
    let info = info.expect("poppler is needed, see tests/all");
    assert!(said(&info).contains("612 x 792 pts (letter)"), "{}", said(&info));
}

/// The account counts no more records than the checkpoint, and the table is that of the command alone.
#[test]
fn its_parts_are_those_of_the_other_exports() {
    let report = Report::shared();
    let account: Account = serde_json::from_slice(&report.read("account.json")).expect("an account");
    let seal = account.seal.expect("it is sealed");
    assert_eq!(account.records.to, seal.size);
    assert_eq!(seal.key, key().verifying().to_string());
    assert_eq!(report.read("cycles.csv"), Site::shared().read("cycles.csv"));
}

#[test]
fn a_changed_cell_of_its_table_is_named() {
    let report = Report::shared();
    let changed = replaced(&report.read("cycles.csv"), ",cold,", ",pass,");
    let (code, text) = verify_bytes("cycles.csv", &changed, Some(&report.path("report.pdf")));
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("column «verdict» says «pass», and record"), "{text}");
}

#[test]
fn another_key_ends_with_1() {
    let stranger = SigningKey::from_seed("north-kitchen", &[4; 32]).expect("a name");
    let output = verify(&Report::shared().path("report.pdf"), None, &stranger);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("not whole"), "{}", said(&output));
}

/// Another program puts changed files into the report; the first row, unchanged, shows that the
/// program itself is not what makes it fail.
#[test]
fn what_is_attached_cannot_be_exchanged() {
    let report = Report::shared();
    let whole = report.with("evidence.jsonl", &report.read("evidence.jsonl"));
    let (code, text) = verify_bytes("report.pdf", &whole, None);
    assert_eq!(code, Some(0), "{text}");
    for (name, from, to, expected) in [
        ("evidence.jsonl", "84.6", "84.7", "the record was changed"),
        ("cycles.csv", ",cold,", ",pass,", "column «verdict»"),
        ("account.json", "\"counts\":{\"cold\":", "\"counts\":{\"cold\":1", "account.json counts"),
    ] {
        let changed = report.with(name, &replaced(&report.read(name), from, to));
        let (code, text) = verify_bytes("report.pdf", &changed, None);
        assert_eq!(code, Some(1), "{name}: {text}");
        assert!(text.contains(expected), "{name}, «{expected}»: {text}");
    }
}

/// Where the packed evidence lies in the file.
fn evidence_in(pdf: &[u8]) -> std::ops::Range<usize> {
    let find = |from: usize, wanted: &[u8]| {
        pdf[from..].windows(wanted.len()).position(|window| window == wanted).map(|at| from + at)
    };
    let mut from = 0;
    while let Some(begins) = find(from, b"stream\n").map(|at| at + b"stream\n".len()) {
        let mut decoder = ZlibDecoder::new(&pdf[begins..]);
        let mut text = Vec::new();
        if decoder.read_to_end(&mut text).is_ok() && text.starts_with(b"{\"rinseward\":\"evidence\"") {
            let length = usize::try_from(decoder.total_in()).expect("it lies in the file");
            return begins..begins + length;
        }
        from = begins;
    }
    panic!("the evidence is nowhere in the report")
}

/// A byte of the packed evidence is changed where it lies: it cannot be unpacked, or not to the same.
#[test]
fn one_changed_byte_of_its_evidence_is_seen() {
    let pdf = Report::shared().read("report.pdf");
    let packed = evidence_in(&pdf);
    for share in [3, 5, 8] {
        let mut changed = pdf.clone();
        changed[packed.start + packed.len() * share / 10] ^= 0x10;
        let (code, text) = verify_bytes("report.pdf", &changed, None);
        assert!(matches!(code, Some(1 | 2)), "{code:?} {text}");
        assert!(text.contains("evidence.jsonl") || text.contains("record"), "{text}");
        assert!(!text.contains("report.pdf: whole"), "{text}");
    }
}

/// Packed again with one letter changed and as long as before, so that all else of the PDF stays.
#[test]
fn evidence_that_is_packed_again_is_seen() {
    let pdf = Report::shared().read("report.pdf");
    let packed = evidence_in(&pdf);
    let changed = replaced(&Report::shared().read("evidence.jsonl"), "84.6", "94.6");
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(&changed).expect("written to memory");
    let again = encoder.finish().expect("written to memory");
    assert!(again.len() <= packed.len(), "{} of {}", again.len(), packed.len());
    let mut whole = pdf.clone();
    whole[packed.clone()].fill(0);
    whole[packed.start..packed.start + again.len()].copy_from_slice(&again);
    let (code, text) = verify_bytes("report.pdf", &whole, None);
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("the record was changed"), "{text}");
}
