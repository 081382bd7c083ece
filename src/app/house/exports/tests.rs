//! Jobs of exports: their names, bounds and files, and that none stays under way.

use jiff::civil::date;

use super::*;
use crate::core::reader::{Language, Scale};
use crate::web::history::exports::Paper;

fn wanted(machine: Option<&str>) -> Wanted {
    Wanted {
        form: Form::Evidence,
        from: date(2026, 11, 1),
        to: date(2026, 11, 26),
        machine: machine.map(str::to_owned),
        all_traces: false,
        paper: Paper::A4,
        scale: Scale::Celsius,
        language: Language::English,
    }
}

// Own rule: letters, digits, points, hyphens and low lines, whatever the site is called.
#[test]
fn a_name_is_safe_in_a_header_and_on_a_disk() {
    for (site, machine, expected) in [
        ("North kitchen", None, "north-kitchen_2026-11-01_2026-11-26.evidence.jsonl"),
        (
            "../\"\r\nSet-Cookie: é",
            Some("dm/1"),
            "set-cookie_2026-11-01_2026-11-26_only-dm-1-3483a2b4.evidence.jsonl",
        ),
        ("Кухня", None, "2026-11-01_2026-11-26.evidence.jsonl"),
        ("Кухня", Some("Бар"), "2026-11-01_2026-11-26_only-1-machine-f99f85c5.evidence.jsonl"),
    ] {
        assert_eq!(name(site, &wanted(machine)), expected);
    }
    assert!(name(&"x".repeat(500), &wanted(None)).len() < 100);
}

// Own promise: jobs are bounded for one account and in all, and each is gone after an hour.
#[test]
fn jobs_are_bounded_and_go() {
    let directory = tempfile::tempdir().expect("a directory");
    let desk = Desk::new(&directory.path().join("ledger.sqlite"), CancellationToken::new());
    let reserve = |account: &str| desk.reserve(wanted(None), account, "x", (Timestamp::from_micros(0), 0));
    let (first, watch) = reserve("ana").expect("a place");
    // After a restart nothing is known of before, but that each job left a record.
    let later = Desk::new(&directory.path().join("later.sqlite"), CancellationToken::new());
    for expected in [44, 45] {
        let begun = later.reserve(wanted(None), "ana", "x", (Timestamp::from_micros(0), 44));
        assert_eq!(begun.map(|(number, _)| number), Ok(expected));
    }
    for _ in 1..OWN_MAX {
        reserve("ana").expect("a place");
    }
    assert_eq!(reserve("ana").map(|_| ()), Err(NotBegun::Many));
    for other in OWN_MAX..JOBS_MAX {
        reserve(&format!("other {other}")).expect("a place");
    }
    assert_eq!(reserve("one more").map(|_| ()), Err(NotBegun::Busy));
    desk.create(first).expect("room");
    desk.put(first, Stage::Done { bytes: 3, damaged: Vec::new(), sealed: None, begins: None });
    let now = Instant::now();
    desk.tidy(now);
    assert!(desk.file(first).exists());
    desk.tidy(now + KEPT);
    assert!(!desk.file(first).exists() && !watch.is_over());
    let (next, watch) = reserve("ana").expect("a place again");
    desk.drop(next);
    assert!(watch.is_over(), "whoever makes it is told");
}

// Own promise: a job whose maker panics ends, is told of, and leaves no file; one whose beginning was given up
// holds no place.
#[test]
fn no_job_stays_under_way() {
    let directory = tempfile::tempdir().expect("a directory");
    let desk = Desk::new(&directory.path().join("ledger.sqlite"), CancellationToken::new());
    let begun = || {
        let reserved = desk.reserve(wanted(None), "ana", "x", (Timestamp::from_micros(0), 0));
        let (number, watch) = reserved.expect("a place");
        UnderWay { desk: desk.clone(), number, watch, stage: None }
    };
    let under_way = begun();
    let number = under_way.number;
    desk.create(number).expect("room");
    let made = std::thread::spawn(move || {
        let _under_way = under_way;
        panic!("a mistake in the making of an export");
    });
    assert!(made.join().is_err());
    let stage = desk.jobs().held.get(&number).map(|held| held.job.stage.clone());
    assert!(matches!(stage, Some(Stage::Failed { said }) if said.contains("error[bug]")));
    assert!(!desk.file(number).exists());
    drop(begun());
    assert_eq!(desk.jobs().held.len(), 1);
}

// Own promise: what somebody takes away is nobody else's to read, whatever lay there before.
#[test]
fn nobody_else_may_look_into_an_export() {
    let directory = tempfile::tempdir().expect("a directory");
    let desk = Desk::new(&directory.path().join("ledger.sqlite"), CancellationToken::new());
    std::fs::create_dir(&*desk.folder).expect("room");
    std::fs::set_permissions(&*desk.folder, Permissions::from_mode(0o755)).expect("ours");
    let mode = |path: &Path| std::fs::metadata(path).expect("there").permissions().mode() & 0o777;
    let made = desk.create(1).expect("room");
    assert_eq!((mode(&desk.folder), mode(&desk.file(1))), (0o700, 0o600));
    drop(made);
    let again = desk.create(1).map(drop).map_err(|error| error.kind());
    assert_eq!(again, Err(std::io::ErrorKind::AlreadyExists));
    std::fs::remove_dir_all(&*desk.folder).expect("ours");
    std::os::unix::fs::symlink(directory.path(), &*desk.folder).expect("room");
    assert!(desk.create(1).is_err(), "a link leads elsewhere");
}
