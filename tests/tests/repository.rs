//! The shape of the repository: what the compiler does not check, and what the
//! DEVELOPERS page promises. All rules are the project's own, no outside source.
//!
//! Shipped code is looked at without its comments and its test modules.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Names at the top, beside those that begin with a dot.
const TOP: [&str; 10] = [
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "config",
    "deploy",
    "simulator",
    "src",
    "tests",
];

/// Parts that meet in `app` only.
const EDGES: [&str; 6] = ["alert", "ledger", "probe", "report", "series", "web"];

/// Longest file of code, in lines.
const LINES_MAX: usize = 600;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Every file below a folder, in order; build output and what git ignores left out.
fn files(folder: &str) -> Vec<PathBuf> {
    let ignored = std::fs::read_to_string(root().join(".gitignore")).expect("the repository ignores target");
    let ignored: Vec<PathBuf> = ignored
        .lines()
        .map(|line| root().join(line.trim_start_matches('/')))
        .chain([root().join(".git")])
        .collect();
    let mut found = BTreeSet::new();
    let mut open = vec![root().join(folder)];
    while let Some(path) = open.pop() {
        if ignored.contains(&path) {
            continue;
        }
        if path.is_dir() {
            let entries = std::fs::read_dir(&path).expect("a folder of the repository is readable");
            open.extend(entries.map(|entry| entry.expect("a folder entry is readable").path()));
        } else if path.is_file() {
            found.insert(path);
        }
    }
    found.into_iter().collect()
}

fn rust_files(folder: &str) -> Vec<PathBuf> {
    files(folder).into_iter().filter(|path| path.extension().is_some_and(|end| end == "rs")).collect()
}

fn text(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_default()
}

fn shown(path: &Path) -> String {
    path.strip_prefix(root()).unwrap_or(path).display().to_string()
}

fn is_test(path: &Path) -> bool {
    let within = path.strip_prefix(root().join("src")).unwrap_or(path);
    path.ends_with("tests.rs") || within.components().any(|part| part.as_os_str() == "tests")
}

/// Code without line comments and without an inline test module at its end.
fn code(text: &str) -> String {
    let shipped = match text.find("#[cfg(test)]\nmod tests {") {
        Some(start) => &text[..start],
        None => text,
    };
    let without_comment = |line: &str| match line.find("//") {
        Some(start) if line[..start].matches('"').count().is_multiple_of(2) => line[..start].to_owned(),
        _ => line.to_owned(),
    };
    shipped.lines().map(without_comment).collect::<Vec<String>>().join("\n")
}

/// What follows `head` in paths: for `crate::`, the names in `crate::core::…`
/// and in `crate::{core, wire::…}`.
fn names_after(code: &str, head: &str) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for (start, _) in code.match_indices(head) {
        // «my_std::» is not «std::».
        if code[..start].ends_with(|c: char| c.is_alphanumeric() || c == '_') {
            continue;
        }
        let rest = &code[start + head.len()..];
        let mut depth = 0_usize;
        let mut name = String::new();
        let mut at_start = true;
        for character in rest.chars() {
            match character {
                '{' => depth += 1,
                '}' => depth = depth.saturating_sub(1),
                c if (c.is_alphanumeric() || c == '_') && at_start => name.push(c),
                _ => {}
            }
            if !(character.is_alphanumeric() || character == '_') {
                if !name.is_empty() {
                    names.insert(std::mem::take(&mut name));
                    at_start = false;
                }
                at_start |= depth == 1 && matches!(character, ',' | '{');
                if depth == 0 {
                    break;
                }
            }
        }
        names.extend((!name.is_empty()).then_some(name));
    }
    names
}

#[test]
fn paths_are_found_in_every_form() {
    for (code, expected) in [
        ("use crate::core::id::X;", vec!["core"]),
        ("use crate::{core::id::{X, Y}, wire, ledger::Z};", vec!["core", "ledger", "wire"]),
        ("fn f() { crate::probe::open() }", vec!["probe"]),
        ("use super::X;", vec![]),
    ] {
        let names = names_after(code, "crate::");
        assert_eq!(names.into_iter().collect::<Vec<String>>(), expected, "{code}");
    }
}

/// How many modules deep a file of `src` is: 1 for `probe/mod.rs`, 2 for `probe/serial.rs`.
fn depth(path: &Path) -> usize {
    let within = path.strip_prefix(root().join("src")).expect("a file of src");
    within.components().count() - usize::from(path.ends_with("mod.rs"))
}

/// Whether a file climbs by `super::` to the root of the crate, past the rules on `crate::`.
fn climbs_out(path: &Path, code: &str) -> bool {
    code.contains(&"super::".repeat(depth(path)))
}

/// Files of a folder of `src` whose code names something outside `allowed`.
fn strays(folder: &str, allowed: &[&str]) -> Vec<String> {
    let mut strays = Vec::new();
    for path in rust_files(&format!("src/{folder}")).iter().filter(|path| !is_test(path)) {
        let code = code(&text(path));
        if climbs_out(path, &code) {
            strays.push(format!("{} climbs out by super::", shown(path)));
        }
        for name in names_after(&code, "crate::") {
            if !allowed.contains(&name.as_str()) {
                strays.push(format!("{} names crate::{name}", shown(path)));
            }
        }
    }
    strays
}

#[test]
fn arrows_point_inward() {
    let mut all = strays("core", &["core"]);
    all.extend(strays("wire", &["core", "wire"]));
    all.extend(strays("config", &["core", "wire", "config"]));
    all.extend(strays("transport", &["core", "wire", "config", "transport"]));
    // It drives the core between the shapes of two edges; which ones it runs, `app` decides.
    all.extend(strays("runtime", &["core", "wire", "ledger", "probe", "runtime"]));
    assert!(all.is_empty(), "{all:#?}");
}

#[test]
fn edges_do_not_know_each_other() {
    let mut all = Vec::new();
    for edge in EDGES.into_iter().filter(|edge| root().join("src").join(edge).is_dir()) {
        all.extend(strays(edge, &["core", "wire", "config", "transport", edge]));
    }
    assert!(all.is_empty(), "{all:#?}");
}

#[test]
fn core_and_wire_are_pure() {
    let banned_std = ["fs", "net", "thread", "env", "process", "os"];
    let banned_crates =
        ["tokio", "rand", "rand_chacha", "rusqlite", "rumqttc", "serialport", "tracing", "config"];
    let banned_words =
        ["::now()", "SystemTime", "std::time::Instant", "File::", "println!", "HashMap", "HashSet"];
    let mut impure = Vec::new();
    for path in ["src/core", "src/wire"].into_iter().flat_map(rust_files).filter(|path| !is_test(path)) {
        let code = code(&text(&path));
        let from_std = names_after(&code, "std::");
        impure.extend(
            banned_std
                .iter()
                .filter(|name| from_std.contains(**name))
                .map(|name| format!("{}: std::{name}", shown(&path))),
        );
        let named = |name: &str| {
            !names_after(&code, &format!("{name}::")).is_empty() && {
                // A module of our own may bear the name of a crate.
                code.contains(&format!("use {name}::")) || code.contains(&format!(" {name}::"))
            }
        };
        impure.extend(
            banned_crates.iter().filter(|name| named(name)).map(|name| format!("{}: {name}", shown(&path))),
        );
        impure.extend(
            banned_words
                .iter()
                .filter(|word| code.contains(**word))
                .map(|word| format!("{}: {word}", shown(&path))),
        );
    }
    assert!(impure.is_empty(), "{impure:#?}");
}

#[test]
fn the_simulator_shares_no_code_with_the_gateway() {
    let manifest = text(&root().join("simulator/Cargo.toml"));
    let depends = |line: &str| line.trim_start().starts_with("rinseward ") || line.contains("path = \"..");
    assert!(!manifest.lines().any(depends), "simulator/Cargo.toml depends on the gateway");
    for path in rust_files("simulator") {
        let code = code(&text(&path)).replace("rinseward_simulator", "").replace("rinseward-simulator", "");
        assert!(!code.contains("rinseward"), "{} names the gateway", shown(&path));
    }
}

#[test]
fn the_top_holds_the_agreed_names_only() {
    let ignored = text(&root().join(".gitignore"));
    for entry in std::fs::read_dir(root()).expect("the repository is readable") {
        let name = entry.expect("a folder entry is readable").file_name().to_string_lossy().into_owned();
        let is_ignored = ignored.lines().any(|line| line.trim_matches('/') == name);
        assert!(name.starts_with('.') || is_ignored || TOP.contains(&name.as_str()), "{name} at the top");
    }
}

#[test]
fn nothing_ignored_is_tracked() {
    // Outside a checkout (a package of the sources) there is nothing to ask.
    if !root().join(".git").exists() {
        return;
    }
    let listed = std::process::Command::new("git")
        .args(["ls-files", "--cached", "--ignored", "--exclude-standard"])
        .current_dir(root())
        .output()
        .expect("git is there, as the checkout is");
    assert!(listed.status.success(), "{}", String::from_utf8_lossy(&listed.stderr));
    assert_eq!(String::from_utf8_lossy(&listed.stdout), "", "tracked although ignored");
}

#[test]
fn every_file_is_on_the_map() {
    let map = text(&root().join("DEVELOPERS.md"));
    for folder in ["src", "simulator/src"] {
        let section = map.split(&format!("### `{folder}/`")).nth(1).expect("its part of the map");
        let rows = section.split("```").nth(1).expect("a row for each file");
        let mut rows: Vec<&str> = rows.lines().filter_map(|row| row.split(' ').next()).collect();
        rows.retain(|row| !row.is_empty());
        rows.sort_unstable();
        let mut present: Vec<String> = Vec::new();
        for path in rust_files(folder).iter().filter(|path| !is_test(path)) {
            let within = path.strip_prefix(root().join(folder)).expect("a file of this folder");
            present.push(within.display().to_string());
        }
        present.sort_unstable();
        assert_eq!(rows, present, "the map of {folder} in DEVELOPERS.md beside its files");
    }
}

#[test]
fn files_stay_short() {
    for path in ["src", "tests", "simulator"].into_iter().flat_map(rust_files) {
        let lines = text(&path).lines().count();
        assert!(lines <= LINES_MAX, "{}: {lines} lines; look for the second concept", shown(&path));
    }
}

/// Spanish for one record is «asiento»; «registro» is the whole ledger (and a register of Modbus). A number, a pair
/// with «record», or «un» before it says that one record is meant.
#[test]
fn one_record_is_called_asiento_in_spanish() {
    let one = [
        "\"record\", \"registro\"",
        "[registro {",
        "(registro {",
        "\"registro {record}",
        ": registro\"",
        "un registro",
    ];
    let shipped = files("src").into_iter().filter(|path| {
        !is_test(path)
            && path.extension().is_some_and(|end| ["rs", "html", "typ"].iter().any(|own| end == *own))
    });
    let wrong: Vec<String> = shipped
        .flat_map(|path| {
            let shown = shown(&path);
            let lines = text(&path).lines().map(str::to_owned).collect::<Vec<_>>();
            lines.into_iter().enumerate().filter_map(move |(at, line)| {
                one.iter().any(|said| line.contains(said)).then(|| format!("{shown}:{}: {line}", at + 1))
            })
        })
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn nothing_is_left_for_later() {
    let words = [concat!("TO", "DO"), concat!("FIX", "ME")];
    for path in files(".").into_iter().filter(|path| !path.ends_with("Cargo.lock")) {
        let text = text(&path);
        for word in words {
            assert!(!text.contains(word), "{} holds {word}", shown(&path));
        }
    }
}

#[test]
fn every_exception_to_a_lint_says_why() {
    for path in ["src", "tests", "simulator"].into_iter().flat_map(rust_files) {
        let code = code(&text(&path).replace("#[cfg(test)]\nmod tests {", "mod tests {"));
        for open in [concat!("#[", "allow("), concat!("#![", "allow(")] {
            assert!(
                !code.contains(open),
                "{}: {open}…)] never ends; write expect with a reason",
                shown(&path)
            );
        }
        for open in [concat!("#[", "expect("), concat!("#![", "expect(")] {
            for (start, _) in code.match_indices(open) {
                let rest = &code[start..];
                let attribute = &rest[..rest.find(")]").unwrap_or(rest.len())];
                let line = code[..start].lines().count();
                assert!(attribute.contains("reason ="), "{}:{line}: no reason", shown(&path));
            }
        }
    }
}

#[test]
fn nothing_names_a_persons_computer() {
    let places = [concat!("/ho", "me/"), concat!("/ro", "ot/"), concat!("/Us", "ers/")];
    for path in files(".") {
        let text = text(&path);
        for place in places {
            assert!(!text.contains(place), "{} names {place}…", shown(&path));
        }
    }
}

// Own promise: the top level stays clean, also where a property test fails.
#[test]
fn failures_of_property_tests_leave_no_folder() {
    assert!(proptest::test_runner::Config::default().failure_persistence.is_none());
}
