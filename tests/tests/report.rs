//! The report as a file, seen by programs of other hands: qpdf and poppler (both of Debian).
//!
//! Shows that the file is sound, for keeping (PDF/A-3 as far as it says so itself; no validator
//! was to be had), holds its attachments byte for byte, and says what it should on its pages.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::time::Duration;

use rinseward::app::export::pdf::{Attachments, Limits, RenderError, Typesetter};
use rinseward::core::reader::{Language, Scale};
use rinseward::report::account::{Account, samples};
use rinseward::report::pdf::{Options, Paper};

/// A table with quotes, line ends and bytes that are not UTF-8: attached as it is.
const CYCLES: &[u8] = b"machine,verdict\r\n\"Dish \"\"1\"\"\",cold\r\n\xff\xfe\x00\r\n";
const EVIDENCE: &[u8] = b"{\"checkpoint\":\"x\"}\n{\"record\":1}\n";

fn typesetter() -> Typesetter {
    Typesetter { program: PathBuf::from(env!("CARGO_BIN_EXE_rinseward-report")), limits: Limits::default() }
}

/// A report with its folder, which holds the attached files too.
struct Made {
    folder: tempfile::TempDir,
}

impl Made {
    fn new(options: Options) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let (cycles, evidence) = (folder.path().join("table"), folder.path().join("proof"));
        std::fs::write(&cycles, CYCLES).expect("the folder is writable");
        std::fs::write(&evidence, EVIDENCE).expect("the folder is writable");
        let attachments = Attachments { cycles: Some(&cycles), evidence: Some(&evidence) };
        let made = Self { folder };
        typesetter().render(&samples::month(), attachments, options, &made.file()).expect("a report");
        made
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("report.pdf")
    }

    /// What a program says of the file; it must succeed.
    fn said(&self, program: &str, arguments: &[&str]) -> String {
        let output = Command::new(program)
            .args(arguments)
            .arg(self.file())
            .output()
            .unwrap_or_else(|error| panic!("{program} is needed, see tests/all: {error}"));
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        let complaint = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{program}: {said}{complaint}");
        said
    }

    /// The text of its pages in the order it was set, in one line with single spaces.
    fn text(&self) -> String {
        let output = Command::new("pdftotext").arg("-raw").arg(self.file()).arg("-").output();
        let output = output.expect("poppler is needed, see tests/all");
        assert!(output.status.success());
        let text = String::from_utf8(output.stdout).expect("text in UTF-8");
        text.split_whitespace().collect::<Vec<&str>>().join(" ")
    }
}

const LETTER: Options = Options { paper: Paper::Letter, scale: Scale::Celsius, language: Language::English };
const A4: Options = Options { paper: Paper::A4, scale: Scale::Fahrenheit, language: Language::Spanish };

/// The two reports that most tests look at, made once.
fn english() -> &'static Made {
    static MADE: OnceLock<Made> = OnceLock::new();
    MADE.get_or_init(|| Made::new(LETTER))
}

fn spanish() -> &'static Made {
    static MADE: OnceLock<Made> = OnceLock::new();
    MADE.get_or_init(|| Made::new(A4))
}

#[test]
fn the_file_is_sound_for_other_programs() {
    for made in [english(), spanish()] {
        let said = made.said("qpdf", &["--check"]);
        assert!(said.contains("No syntax or stream encoding errors found"), "{said}");
    }
}

// ISO 19005-3: part 3; level A with tags; the sizes are those of ANSI Y14.1 and ISO 216 in points.
#[test]
fn it_says_what_it_is() {
    for (made, size, title, language) in [
        (english(), "612 x 792 pts (letter)", "Warewashing report · Riverside School Kitchen", "en"),
        (spanish(), "(A4)", "Informe de lavado de vajilla · Riverside School Kitchen", "es"),
    ] {
        let said = made.said("pdfinfo", &[]);
        assert!(said.contains(size) && said.contains(title), "{said}");
        let tagged = said.lines().find(|line| line.starts_with("Tagged:")).expect("a line on tags");
        assert!(tagged.ends_with("yes"), "{tagged}");
        // The time of the account, not that of the clock at the wall.
        assert!(said.contains("2026"), "{said}");
        let meta = made.said("pdfinfo", &["-meta"]);
        for wanted in ["<pdfaid:part>3</pdfaid:part>", "<pdfaid:conformance>A</pdfaid:conformance>"] {
            assert!(meta.contains(wanted), "{wanted}: {meta}");
        }
        assert!(meta.contains("2026-12-01T12:00:00"), "{meta}");
        let catalogue = made.said("qpdf", &["--json", "--json-key=qpdf"]);
        assert!(catalogue.contains(&format!("\"/Lang\": \"u:{language}\"")), "its language");
        assert_eq!(catalogue.matches("\"/AFRelationship\": \"/Data\"").count(), 3);
    }
}

#[test]
fn attachments_come_out_byte_for_byte() {
    let made = english();
    let list = made.said("pdfdetach", &["-list"]);
    assert!(list.starts_with("3 embedded files"), "{list}");
    let out = tempfile::tempdir().expect("a temporary folder");
    let folder = out.path().to_str().expect("a plain path");
    made.said("pdfdetach", &["-saveall", "-o", folder]);
    let kept = |name: &str| std::fs::read(out.path().join(name)).expect("it is attached");
    assert_eq!(kept("cycles.csv"), CYCLES);
    assert_eq!(kept("evidence.jsonl"), EVIDENCE);
    assert_eq!(kept("account.json"), serde_json::to_vec(&samples::month()).expect("JSON"));
}

#[test]
fn every_section_is_on_its_pages() {
    for (made, wanted) in [
        (
            english(),
            [
                "What this report is about",
                "Machines and their limits",
                "FDA Food Code",
                "Summary",
                "Day by day",
                "Racks that did not plainly pass",
                "✗ cold · Dish room, 2026-11-02 09:00:52 EST",
                "82.20 °C against 82.22 °C ± 0.9 °C",
                "Booster element replaced by the service company",
                "Alerts and their answers",
                "Missed checks",
                "withdrawn by",
                "Calibrations in force",
                "Gaps",
                "the service did not run",
                "Early warnings",
                "Remarks and amendments",
                "The program and the record",
                "rinseward verify report.pdf --key site.verify-key",
                "rinseward checkpoint > kept.txt",
                "pdfdetach -saveall report.pdf",
                "riverside.example/warewash+",
                "Cautions",
                "page 1 of",
                "checkpoint over 4800 records",
            ],
        ),
        (
            spanish(),
            [
                "De qué trata este informe",
                "Máquinas y sus límites",
                "Código de Alimentos de la FDA",
                "Resumen",
                "Día a día",
                "Canastas que no pasaron con holgura",
                "✗ fría · Dish room, 2026-11-02 09:00:52 EST",
                "179.96 °F frente a 180.00 °F ± 1.6 °F",
                "Booster element replaced by the service company",
                "Alertas y sus respuestas",
                "Controles omitidos",
                "retirado por",
                "Calibraciones vigentes",
                "Huecos",
                "el servicio no funcionaba",
                "Avisos tempranos",
                "Observaciones y enmiendas",
                "El programa y el registro",
                "rinseward verify report.pdf --key site.verify-key",
                "rinseward checkpoint > kept.txt",
                "pdfdetach -saveall report.pdf",
                "riverside.example/warewash+",
                "Precauciones",
                "página 1 de",
                "punto de control sobre 4800 asientos",
            ],
        ),
    ] {
        let text = made.text();
        for wanted in wanted {
            assert!(text.contains(wanted), "«{wanted}» is nowhere");
        }
    }
}

/// Text of people that is markup to the typesetter, to a page, or to nobody's fonts.
#[test]
fn text_of_people_is_set_as_it_is() {
    let text = english().text();
    for wanted in ["#import \"x\" *bold* _i_ $x$", "=1+1 \\ `raw` @ref // □ □ abc"] {
        assert!(text.contains(wanted), "«{wanted}» is nowhere");
    }
}

#[test]
fn equal_input_gives_an_equal_file() {
    let again = Made::new(LETTER);
    let read = |made: &Made| std::fs::read(made.file()).expect("the report");
    assert!(read(english()) == read(&again), "the files differ");
}

fn left_in(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("the folder is readable");
    let mut names: Vec<String> =
        entries.map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// Limits, a refused account and a missing program: the file that was there stays, nothing else is left.
#[test]
fn without_a_report_nothing_changes() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("report.pdf");
    std::fs::write(&out, "before").expect("the folder is writable");
    let tried = |account, limits| {
        let typesetter = Typesetter { limits, ..typesetter() };
        typesetter.render(account, Attachments::default(), LETTER, &out).expect_err("no report")
    };
    let month = samples::month();
    let plenty = Limits::default();

    let error = tried(&month, Limits { wall: Duration::ZERO, ..plenty });
    assert!(matches!(error, RenderError::TooLong { .. }), "{error:?}");
    let error = tried(&month, Limits { memory: 40 << 20, ..plenty });
    assert!(matches!(error, RenderError::Failed { .. }), "{error:?}");
    assert!(error.diagnose(&out).to_string().contains("shorter span"), "{}", error.diagnose(&out));

    let newer = Account { v: 99, ..samples::month() };
    let told = tried(&newer, plenty).diagnose(&out).to_string();
    assert!(told.starts_with("error[report-failed]") && told.contains("of the same version"), "{told}");

    assert_eq!(left_in(folder.path()), ["report.pdf"]);
    assert_eq!(std::fs::read_to_string(&out).expect("it is there"), "before");

    let nowhere = Typesetter::find_in([folder.path().to_owned(), PathBuf::from(".")].into_iter());
    let told = nowhere.expect_err("not there").diagnose(&out).to_string();
    assert!(told.starts_with("error[report-missing]") && told.contains("--features pdf"), "{told}");
}

/// It tells picture by picture how far it is, in the order of the pages, and only where it is asked.
#[test]
fn it_says_how_many_pictures_are_laid_out() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let account = folder.path().join("account");
    let json = serde_json::to_vec(&samples::month()).expect("it has a JSON form");
    std::fs::write(&account, json).expect("the folder is writable");
    let run = |more: &[&str]| {
        let out = folder.path().join("made.pdf");
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward-report"));
        let output = command.arg("--account").arg(&account).arg("--out").arg(out).args(more).output();
        let output = output.expect("it runs");
        assert!(output.status.success());
        String::from_utf8(output.stdout).expect("text")
    };
    let told = run(&["--progress"]);
    let told: Vec<&str> = told.lines().collect();
    let count = told.len();
    assert!(count > 5, "{told:?}");
    let wanted: Vec<String> = (1..=count).map(|laid| format!("{laid} of {count}")).collect();
    assert_eq!(told, wanted);
    assert_eq!(run(&[]), "");
}

/// It is found where it is installed beside this program, in the order of the search path otherwise.
#[test]
fn the_program_is_found_where_it_is() {
    let program = PathBuf::from(env!("CARGO_BIN_EXE_rinseward-report"));
    let beside = program.parent().expect("a folder").to_owned();
    let found = Typesetter::find_in([PathBuf::from("/nowhere"), beside].into_iter()).expect("it is there");
    assert_eq!(found.program, program);
}
