//! One word for one thing, wherever people and programs read it.

use std::path::Path;
use std::process::Command;

use jiff::tz::TimeZone;
use rinseward::alert::digest::{Facts, Span, Standing, Tally, compose};
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::monitored::Monitored;
use rinseward::core::reader::{Language, Reader, Scale};
use rinseward::core::record::Record;
use rinseward::ledger::{Commit, NewRecord};
use rinseward::report::account::Account;
use rinseward::report::pdf::{self, Options, Paper};

use crate::ledger::fixture::{at, commit, cycle, open, place, plain};

/// The words of the trade for what came of a rack: own choice for both languages, once for all.
const WORDS: [(Verdict, &str, &str); 6] = [
    (Verdict::Cold, "cold", "fría"),
    (Verdict::Brief, "brief", "corta"),
    (Verdict::Weak, "off-range", "fuera de rango"),
    (Verdict::Unproven, "unproven", "sin comprobar"),
    (Verdict::Narrow, "narrow", "justa"),
    (Verdict::Pass, "pass", "correcta"),
];

/// A rack of each verdict, minutes apart.
fn racks() -> Vec<Record> {
    let rack = |(place, (verdict, ..)): (usize, (Verdict, _, _))| cycle("dm1", 600.0 * place as f64, verdict);
    WORDS.into_iter().enumerate().map(rack).collect()
}

fn said(ledger: &Path, arguments: &[&str]) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    let output = command.args(arguments).arg("--ledger").arg(ledger).output().expect("the program starts");
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("UTF-8")
}

// Terminal, CSV, JSON, paper and mail name a rack's verdict by the same word, from one ledger; and so does each
// sentence that tells of unproven racks, on pages, in messages and on paper.
#[test]
fn a_verdict_has_one_word_everywhere() {
    let (directory, path) = place();
    let (writer, _) = open(&path);
    let records: Vec<NewRecord> = racks().into_iter().map(plain).collect();
    commit(&writer, Commit { records, ..Commit::default() }).expect("the ledger takes them");
    drop(writer);

    let table = said(&path, &["history"]);
    let json = said(&path, &["history", "--json"]);
    let csv = said(&path, &["history", "--csv"]);
    let days = said(&path, &["history", "--show", "days", "--csv"]);
    let account = directory.path().join("account.json");
    let out = account.to_str().expect("a plain name");
    said(&path, &["export", "--form", "json", "--from", "2026-01-01", "--to", "2026-01-01", "--out", out]);
    let account = std::fs::read(&account).expect("an account");
    let account: Account = serde_json::from_slice(&account).expect("an account");
    for (verdict, english, spanish) in WORDS {
        // Programs read the word of the record; people another one where that does not hold for all that it stands for.
        let code = verdict.as_str();
        assert!(code == english || verdict == Verdict::Weak, "{code}");
        assert!(table.contains(&format!(" {english} ")), "{english}: {table}");
        assert!(json.contains(&format!("\"verdict\":\"{code}\"")), "{code}: {json}");
        assert!(csv.contains(&format!(",{code},")), "{code}: {csv}");
        assert!(days.lines().next().is_some_and(|head| head.contains(code)), "{code}: {days}");
        for (language, word) in [(Language::English, english), (Language::Spanish, spanish)] {
            let options = Options { paper: Paper::A4, scale: Scale::Celsius, language };
            let sheet = pdf::sheet(&account, options, &[]).expect("the zone is known");
            let sheet = serde_json::to_string(&sheet).expect("a sheet");
            assert!(sheet.contains(&format!(" {word}\"")), "{word}: on paper");
            let mail = digest(language);
            assert!(mail.contains(&format!("{word}: 1")), "{word}: {mail}");
        }
    }
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for file in SENTENCES {
        let text = std::fs::read_to_string(source.join(file)).expect("a file of the source");
        let sentences = sentences(&text);
        assert!(!sentences.is_empty(), "{file} has none");
        for (english, spanish) in sentences {
            assert!(spanish.to_lowercase().contains("sin comprobar"), "{file}: «{english}» and «{spanish}»");
        }
    }
}

/// Where sentences tell of unproven racks.
const SENTENCES: [&str; 8] = [
    "alert/message/phrases.rs",
    "core/technician/words.rs",
    "report/pdf/words.rs",
    "web/attempt/words.rs",
    "web/history/summary.html",
    "web/history/sums.rs",
    "web/now/card.rs",
    "web/settings/words.rs",
];

/// The sentences of a file that tell in English of what is unproven, each with the Spanish one beside it.
fn sentences(text: &str) -> Vec<(String, String)> {
    let texts = literals(&text.replace("'\"'", "' '"));
    let pairs = texts.windows(2).filter(|pair| {
        let between = pair[1].before.trim();
        between == "," || between.len() < 120 && between.contains("Language::Spanish")
    });
    let told = pairs.filter(|pair| pair[0].text.to_lowercase().contains("unproven"));
    told.map(|pair| (pair[0].text.clone(), pair[1].text.clone())).collect()
}

/// A text between quotation marks, and what stands before it.
struct Literal {
    before: String,
    text: String,
}

fn literals(source: &str) -> Vec<Literal> {
    let mut found = Vec::new();
    let (mut before, mut rest) = (String::new(), source.chars());
    while let Some(next) = rest.next() {
        if next != '"' {
            before.push(next);
            continue;
        }
        let mut text = String::new();
        while let Some(inside) = rest.next().filter(|inside| *inside != '"') {
            text.push(inside);
            // What is escaped ends nothing.
            if inside == '\\' {
                text.extend(rest.next());
            }
        }
        found.push(Literal { before: std::mem::take(&mut before), text });
    }
    found
}

fn digest(language: Language) -> String {
    let zone = TimeZone::UTC;
    let (from, to) = (at(0.0), at(86_400.0));
    let mut tally = Tally::new(Span::Day, from, to, zone.clone(), ["dm1".to_owned()]);
    for (index, record) in (0..).zip(racks()) {
        tally.take(index, &record);
    }
    let reader = Reader { language, scale: Scale::Celsius, zone };
    compose(
        &tally.finish(Standing::default(), |_| Monitored::default()),
        &Facts { site: "kitchen", reader, link: None },
        None,
    )
    .text
}
