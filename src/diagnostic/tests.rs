//! The form, the slugs and what must never happen to a message.

use std::collections::BTreeSet;
use std::io;

use super::*;

// The form is the project's own; exit codes are those of sysexits.h (4.3BSD).
#[test]
fn prints_where_cause_and_do() {
    let error = io::Error::from_raw_os_error(13);
    let diagnostic = Diagnostic::error("source-open", "cannot open source «port1»")
        .place("config/gateway.toml:21")
        .place("device = \"/dev/ttyUSB0\"")
        .because(&error)
        .advice("add the service user to group «dialout»")
        .advice("restart the service");
    assert_eq!(
        diagnostic.to_string(),
        "error[source-open]: cannot open source «port1»\n  \
         where: config/gateway.toml:21, device = \"/dev/ttyUSB0\"\n  \
         cause: Permission denied (os error 13)\n  \
         do:    add the service user to group «dialout»; restart the service"
    );
    assert_eq!(diagnostic.exit_code(), 74);
    assert_eq!(Diagnostic::warning("usage", "x").to_string(), "warning[usage]: x");
}

#[test]
fn text_from_outside_cannot_fake_a_line_or_drive_a_terminal() {
    let said = Diagnostic::error("usage", "a\nerror[bug]: b\u{1b}[31m").to_string();
    assert_eq!(said, "error[usage]: a error[bug]: b [31m");
}

#[test]
fn slugs_are_unique_and_an_unknown_one_is_a_bug() {
    let slugs: BTreeSet<&str> = SLUGS.iter().map(|(slug, _, _)| *slug).collect();
    assert_eq!(slugs.len(), SLUGS.len());
    let kebab = |slug: &&str| slug.chars().all(|c| c.is_ascii_lowercase() || c == '-');
    assert!(slugs.iter().all(kebab), "{slugs:?}");
    assert_eq!(Diagnostic::error("no-such-slug", "x").exit_code(), 70);
}

#[test]
fn the_readme_lists_every_slug() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/README.md");
    let readme = std::fs::read_to_string(path).expect("the repository has a README");
    for (slug, exit, meaning) in SLUGS {
        let row = format!("| `{slug}` | {} | {meaning} |", exit.code());
        assert!(readme.contains(&row), "README.md, «Messages» lacks:\n{row}");
    }
}
