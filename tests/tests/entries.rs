//! What people enter, by the real program: with a service, and on the ledger itself.

#![expect(clippy::wildcard_enum_match_arm, reason = "each test looks at the records it is about")]

#[path = "entries/kitchen.rs"]
mod kitchen;

use std::fs;
use std::process::Command;

use jiff::{Timestamp, ToSpan};
use rinseward::core::alert::Condition;
use rinseward::core::record::{AmendmentChange, Body, Check, Record};
use rinseward::ledger::{Commit, NewRecord};
use rinseward_simulator::scenario::Scenario;
use rinseward_simulator::world::World;

use self::kitchen::{Kitchen, Service};

fn now() -> Timestamp {
    Timestamp::now()
}

// Regression: the clock went back while no service ran, and what was put on record then looked for ever
// like something put in (`verify` 1), since nothing said that it had.
#[test]
fn a_clock_that_went_back_while_nothing_ran_is_on_record_first() {
    let orders: [&[&str]; 5] = [
        &["enter", "supply", "dm1", "--by", "AB"],
        &["enter", "note", "The door seal leaks.", "--by", "AB"],
        &["hold", "on", "--reason", "a complaint", "--by", "AB"],
        &["key", "rotate", "--by", "AB"],
        &["checkpoint", "make"],
    ];
    for order in orders {
        let kitchen = Kitchen::new().opened();
        let path = kitchen.path("ledger.sqlite");
        let (code, said) = kitchen.say(&["checkpoint", "make"]);
        assert_eq!(code, Some(0), "{said}");
        let (code, key) = kitchen.say(&["key", "show"]);
        assert_eq!(code, Some(0), "{key}");
        let key = key.split_whitespace().find(|word| word.contains('+')).expect("a public key").to_owned();
        let ahead = rinseward::core::time::Timestamp::from_micros(now().as_microsecond() + 3_600_000_000);
        let (writer, _) = crate::ledger::fixture::open(&path);
        let supply =
            Check::Supply { at: ahead, enough: true, short: Vec::new(), note: None, by: "AB".to_owned() };
        let note = rinseward::core::record::Note { at: None, text: "Late.".to_owned(), by: "AB".to_owned() };
        let records = [Body::Check(supply), Body::Note(note)]
            .map(|body| NewRecord { record: Record::new(ahead, None, body), trace: None });
        let commit = Commit { records: records.into(), ..Commit::default() };
        crate::ledger::fixture::commit(&writer, commit).expect("stored");
        writer.close().expect("an orderly end");
        let before = kitchen.records().len();

        let (code, said) = kitchen.say(order);
        assert_eq!(code, Some(0), "{order:?}: {said}");
        let records = kitchen.records();
        let Some(Body::ClockStep(step)) = records.get(before).map(|record| &record.body) else {
            panic!("{order:?}: no step of the clock: {records:?}");
        };
        assert!(step.from == ahead && step.to < ahead, "{step:?}");
        let (code, said) = kitchen.say(&["checkpoint", "make"]);
        assert_eq!(code, Some(0), "{said}");
        let mut verify = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        let verify = verify.arg("verify").arg(&path).args(["--key", &key]).output().expect("a start");
        assert_eq!(verify.status.code(), Some(0), "{order:?} {key}: {verify:?}");
    }
}

// What `enter` answers and what `history` says later come of one function.
#[test]
fn history_says_whether_a_check_was_good() {
    let kitchen = Kitchen::new().opened();
    let entries: [(&[&str], Option<bool>); 5] = [
        // Food Code 2022 4-501.114(A): no solution of chlorine is below 25 mg/L.
        (&["sanitizer", "dm2", "--by", "AB", "--mg-per-l", "10", "--ph", "7"], Some(false)),
        (&["supply", "dm1", "--by", "AB"], Some(true)),
        (&["supply", "dm1", "--by", "AB", "--short"], Some(false)),
        (&["supply", "dm1", "--by", "AB", "--short=detergent,test-strips"], Some(false)),
        (&["drain-and-clean", "dm1", "--by", "AB"], None),
    ];
    for (entry, expected) in entries {
        let (code, said) = kitchen.say(&[&["enter"], entry, &["--json"]].concat());
        assert_eq!(code, Some(0), "{said}");
        let done: serde_json::Value = serde_json::from_str(&said).expect("JSON");
        assert_eq!(done["judged"]["good"].as_bool(), expected, "{entry:?}: {said}");
        let (code, said) = kitchen.say(&["history", "--show", "checks", "--json"]);
        assert_eq!(code, Some(0), "{said}");
        let last = said.lines().rfind(|line| line.starts_with('{')).expect("a check");
        let told: serde_json::Value = serde_json::from_str(last).expect("JSON");
        assert_eq!((&told["index"], told["good"].as_bool()), (&done["record"], expected), "{said}");
    }
    let (_, said) = kitchen.say(&["history", "--show", "checks", "--csv"]);
    assert!(said.lines().next().is_some_and(|heads| heads.ends_with(",good")), "{said}");
}

// The site is at UTC; the computer on which it is typed is put to Tokyo, nine hours ahead.
#[test]
fn a_time_that_is_typed_is_one_of_the_site() {
    let kitchen = Kitchen::new().opened();
    let at = now().checked_sub(1.hour()).expect("a near time");
    let typed = jiff::tz::TimeZone::UTC.to_datetime(at).strftime("%Y-%m-%dT%H:%M:%S").to_string();
    let entered = |arguments: &[&str]| {
        let made = ["--by", "AB", "--at", &typed];
        let output =
            kitchen.command(&[&["enter"], arguments, &made].concat()).env("TZ", "Asia/Tokyo").output();
        let output = output.expect("the program starts");
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        kitchen.records().pop().expect("a record").body
    };
    let supply = entered(&["supply", "dm1"]);
    let note = entered(&["note", "dm1", "The door seal leaks."]);
    let (Body::Check(supply), Body::Note(note)) = (supply, note) else { panic!("a check and a note") };
    for made in [Some(supply.at()), note.at] {
        assert_eq!(made.map(|made| made.micros()), Some(at.as_second() * 1_000_000));
    }
}

// The whole answer is in the language of who asks, and a doubt of the configuration (a limit below
// the Food Code's) is none of it.
#[test]
fn an_answer_is_in_one_language() {
    let kitchen = Kitchen::new();
    let doubtful = "[[machine]]\nname = \"dm3\"\nkind = \"stationary-rack-dual-temperature\"\n\
                    wash-time = \"50s\"\nrinse-time = \"25s\"\nrinse-min = \"70 °C\"\nprobes = [\"rinse\"]\n";
    let text = fs::read_to_string(kitchen.path("gateway.toml")).expect("the configuration");
    fs::write(kitchen.path("gateway.toml"), text + doubtful).expect("a temporary file");
    let (code, said) = kitchen.say(&["run"]);
    assert!(code == Some(0) && said.contains("warning[config-doubt]"), "a doubt to be silent about: {said}");
    let entry = ["enter", "supply", "dm1", "--by", "AB", "--language", "es"];
    let (code, said) = kitchen.say(&entry);
    assert_eq!(code, Some(0), "{said}");
    let first = said.lines().next().unwrap_or_default();
    assert!(first.starts_with("El control «suministros» de dm1 consta en el registro [asiento "), "{said}");
    let note = ["enter", "note", "dm1", "gotea", "--by", "AB", "--language", "es"];
    let (_, said) = kitchen.say(&note);
    assert!(
        said.starts_with("La nota consta en el registro [asiento ") && said.lines().count() == 1,
        "{said}"
    );
}

/// A strip at dm2 with these values.
fn with<'a>(values: &[&'a str]) -> Vec<&'a str> {
    [&["enter", "sanitizer", "dm2", "--by", "AB", "--mg-per-l"], values].concat()
}

// Exit codes of sysexits.h (4.3BSD); figures of Food Code 4-501.114 and 4-203.12; the rest is this
// project's own. A failed check is a true entry: it ends well and says loudly what it came to.
#[test]
fn what_is_entered_is_judged_at_once() {
    let hour_ago = now().checked_sub(1.hour()).expect("a near time");
    let by_the_wall = hour_ago.strftime("%Y-%m-%d %H:%M:%S").to_string();
    let hour_ago = hour_ago.to_string();
    let year_ago = now().checked_sub((366 * 24).hours()).expect("a near time").to_string();
    let compare =
        ["enter", "thermometer", "dm1", "--what", "dm1/rinse", "--reference", "ice bath", "--by", "AB"];
    let rows: Vec<(Vec<&str>, i32, &[&str])> = vec![
        (
            with(&["100", "--ph", "7", "--solution", "120F", "--method", "strip"]),
            0,
            &["✓ The sanitizer is good."],
        ),
        (
            with(&["10"]),
            0,
            &["✗ FAILED", "Too weak: 10 mg/L", "1. Stop feeding", "! Never let chlorine meet acid"],
        ),
        (with(&["300", "--language", "es"]), 0, &["✗ NO CUMPLE", "Demasiado fuerte: 300 mg/L"]),
        (
            with(&["50", "--ph", "8", "--solution", "20C", "--scale", "f"]),
            0,
            &["Too cold: 68.0 °F", "75.2 °F"],
        ),
        (with(&["100", "--at", &hour_ago]), 0, &["Entered 60 min after it was made", "late"]),
        (with(&["100", "--at", &by_the_wall]), 0, &["Entered 60 min after it was made", "late"]),
        (with(&["100", "--at", "2099-01-01"]), 64, &["entry-refused", "has not come yet"]),
        (with(&["100", "--at", &year_ago]), 64, &["more than 31 days ago", "--late"]),
        (with(&["100", "--at", &year_ago, "--late"]), 0, &["✓", "Entered 8784.0 h after it was made"]),
        (
            with(&["33", "--method", "strip"]),
            64,
            &[
                "entry-refused",
                "no colour of this machine's test strip stands for 33 mg/L",
                "0, 10, 25, 50, 100, 200",
            ],
        ),
        (with(&["33", "--method", "titration"]), 0, &["✓ The sanitizer is good."]),
        (with(&["-1"]), 64, &["a concentration in mg/L of -1 cannot be: it lies from 0 to 2000"]),
        (with(&["NaN"]), 64, &["a number such as 100"]),
        (with(&["100", "--ph", "15"]), 64, &["a pH of 15 cannot be: it lies from 0 to 14"]),
        (with(&["100", "--solution", "300C"]), 64, &["of 300 cannot be: it lies from 0 to 100"]),
        (
            vec!["enter", "sanitizer", "dm1", "--by", "AB", "--mg-per-l", "100"],
            64,
            &["sanitizes by hot water"],
        ),
        (
            vec!["enter", "sanitizer", "dm9", "--by", "AB", "--mg-per-l", "100"],
            64,
            &["no machine is called «dm9»"],
        ),
        (vec!["enter", "supply", "dm1", "--by", " "], 64, &["the name is missing"]),
        (
            vec!["enter", "supply", "dm1", "--by", "AB", "--short", "--note", "rinse aid"],
            0,
            &["✗ FAILED", "short"],
        ),
        (vec!["enter", "drain-and-clean", "dm1", "--by", "AB"], 0, &["· Drained and cleaned."]),
        (
            [&compare[..], &["--shown", "1.6C", "--should", "0C"]].concat(),
            0,
            &["✗ FAILED", "1.6 °C too much", "±1.5 °C"],
        ),
        ([&compare[..], &["--shown", "34F", "--should", "32F"]].concat(), 0, &["✓ The thermometer is good."]),
        (
            [&compare[..], &["--shown", "300C", "--should", "0C"]].concat(),
            64,
            &["cannot be: it lies from -40 to 150"],
        ),
        (
            vec!["enter", "note", "dm1", "The door seal leaks.", "--by", "AB"],
            0,
            &["The note is on record [record"],
        ),
        (vec!["enter", "note", "The hood was cleaned.", "--by", "AB"], 0, &["The note is on record"]),
        (
            vec!["enter", "note", "dm1", "The hood was cleaned.", "--by", "AB", "--at", &hour_ago],
            0,
            &["The note is on record", "Entered 60 min after it was made"],
        ),
        // Regression: a note did not say so to programs.
        (
            vec!["enter", "note", "dm1", "The hood was cleaned.", "--by", "AB", "--at", &hour_ago, "--json"],
            0,
            &["\"late_s\":36"],
        ),
        (with(&["100", "--at", &hour_ago, "--json"]), 0, &["},\"late_s\":36"]),
        (vec!["enter", "note", "dm9", "It is gone.", "--by", "AB"], 64, &["no machine is called «dm9»"]),
    ];
    let kitchen = Kitchen::new().opened();
    for with_service in [false, true] {
        let service = with_service.then(|| Service::start(&kitchen));
        let before = kitchen.records().len();
        for (arguments, code, parts) in &rows {
            let (found, said) = kitchen.say(arguments);
            assert_eq!(found, Some(*code), "{with_service} {arguments:?}: {said}");
            let missing: Vec<_> = parts.iter().filter(|part| !said.contains(**part)).collect();
            assert!(missing.is_empty(), "{with_service} {arguments:?} misses {missing:?}: {said}");
            assert!(said.matches("late_s").count() <= 1, "{arguments:?} says twice how late: {said}");
        }
        if let Some(service) = service {
            assert!(service.log().contains("a check that was entered failed"), "{}", service.log());
            service.stop();
        }
        let taken = rows.iter().filter(|(_, code, _)| *code == 0).count();
        let people = |record: &&Record| matches!(record.body, Body::Check(_) | Body::Note(_));
        let entered = kitchen.records()[before..].iter().filter(people).count();
        assert_eq!(entered, taken, "nothing that was refused is on record");
    }
    check_as_entered(&kitchen);
}

/// What was entered stands in the record as it was entered, with the user who did.
fn check_as_entered(kitchen: &Kitchen) {
    let strips = kitchen.records().into_iter().filter_map(|record| match record.body {
        Body::Check(Check::Sanitizer { mg_per_l, ph, solution_c, method, by, .. }) => {
            Some((mg_per_l, ph, solution_c.map(|c| (c * 10.0).round() / 10.0), method, by))
        }
        _ => None,
    });
    let (mg_per_l, ph, solution_c, method, by) = strips.into_iter().next().expect("a check");
    assert_eq!((mg_per_l, ph, solution_c), (100.0, Some(7.0), Some(48.9)));
    assert_eq!(method.as_deref(), Some("strip"));
    assert!(by.starts_with("AB (user "), "{by}");
}

// Own promise: supplies that are short are told of by an alert, over a restart, until a look finds everything there.
#[test]
fn short_supplies_raise_an_alert_until_they_are_there() {
    let kitchen = Kitchen::new().opened();
    let service = Service::start(&kitchen);
    let (code, said) =
        kitchen.say(&["enter", "supply", "dm2", "--by", "AB", "--short", "--note", "sanitizer"]);
    assert_eq!((code, said.contains("Whoever is on duty for alerts is told")), (Some(0), true), "{said}");
    let raised = || {
        kitchen.records().into_iter().find_map(|record| match record.body {
            Body::AlertRaised(raised) if raised.condition == Condition::SuppliesShort => Some(raised.about),
            _ => None,
        })
    };
    service.until(|| raised().is_some());
    let about = raised().unwrap_or_default().concat();
    assert!(about.starts_with("AB (user ") && about.ends_with("): sanitizer"), "{about}");
    service.stop();
    let service = Service::start(&kitchen);
    let (code, said) = kitchen.say(&["alerts", "list", "--open"]);
    assert_eq!((code, said.contains("supplies-short")), (Some(0), true), "{said}");
    kitchen.enter(&["supply", "dm2", "--by", "AB"]);
    service.until(|| kitchen.records().iter().any(|record| matches!(record.body, Body::AlertCleared(_))));
    service.stop();
}

// Own promise: an entered record is never changed; what is withdrawn or corrected is said beside
// it, and cycles can only be commented on.
#[test]
fn amendments_stand_beside_what_they_are_about() {
    for with_service in [false, true] {
        let kitchen = Kitchen::new().opened();
        let service = with_service.then(|| Service::start(&kitchen));
        let strip =
            kitchen.enter(&["sanitizer", "dm2", "--by", "AB", "--mg-per-l", "10", "--ph", "7"]).to_string();
        let supply = kitchen.enter(&["supply", "dm2", "--by", "AB"]).to_string();
        let note = kitchen.enter(&["note", "dm2", "leaks", "--by", "AB"]).to_string();
        let amend = |record: &str, more: &[&str]| {
            let head = ["enter", "amendment", record, "--reason", "misread", "--by", "Cy"];
            kitchen.say(&[&head[..], more].concat())
        };
        for (record, more, code, part) in [
            ("9999", &["--withdraw"] as &[&str], 64, "no record has the number 9999"),
            ("0", &["--withdraw"], 64, "what was judged and recorded stays as it is"),
            ("0", &["--mg-per-l", "100"], 64, "stays as it is"),
            ("0", &[], 0, "Record 0 has a comment"),
            (&strip, &[], 0, "has a comment"),
            (&strip, &["--enough", "true"], 64, "without such a value"),
            (&strip, &["--mg-per-l", "-5"], 64, "cannot be"),
            (&strip, &["--at", "2099-01-01"], 64, "has not come yet"),
            (&strip, &["--mg-per-l", "100"], 0, "✓ The sanitizer is good."),
            (&strip, &["--mg-per-l", "20"], 0, "✗ FAILED"),
            (&strip, &["--withdraw"], 0, "is withdrawn; it stays as it was entered"),
            (&strip, &["--withdraw"], 64, "was withdrawn before"),
            (&strip, &["--mg-per-l", "100"], 64, "was withdrawn before"),
            (&supply, &["--enough", "false", "--note", "no detergent"], 0, "✗ FAILED"),
            (&supply, &["--ph", "7"], 64, "a check «supply» without such a value"),
            (&note, &["--note", "drips"], 64, "a note can be withdrawn, not corrected"),
            (&note, &["--withdraw"], 0, "is withdrawn"),
        ] {
            let (found, said) = amend(record, more);
            assert_eq!((found, said.contains(part)), (Some(code), true), "{record} {more:?}: {said}");
        }
        // Regression: in the list of all records one that failed read as if it still did.
        let (_, listed) = kitchen.say(&["history", "--show", "records", "--kind", "check", "--json"]);
        let said: Vec<(String, String)> = listed
            .lines()
            .map(|line| serde_json::from_str::<serde_json::Value>(line).expect("JSON"))
            .map(|row| (row["index"].to_string(), row["said"].as_str().unwrap_or_default().to_owned()))
            .collect();
        for (record, mark) in
            [(&strip, "FAILED, withdrawn since: sanitizer"), (&supply, "corrected since: supplies")]
        {
            let line = said.iter().find(|(index, _)| index == record).map(|(_, said)| said.as_str());
            assert!(line.is_some_and(|said| said.starts_with(mark)), "{mark}: {listed}");
        }
        if let Some(service) = service {
            service.stop();
        }
        let records = kitchen.records();
        let as_entered = records.iter().find_map(|record| match &record.body {
            Body::Check(Check::Sanitizer { mg_per_l, .. }) => Some(*mg_per_l),
            _ => None,
        });
        assert_eq!(as_entered, Some(10.0), "as it was entered");
        let changes = records.iter().filter_map(|record| match &record.body {
            Body::Amendment(amendment) => Some((record.machine.as_deref(), &amendment.change)),
            _ => None,
        });
        let changes: Vec<_> = changes.collect();
        assert_eq!(changes.len(), 7, "{changes:?}");
        let corrected = changes.iter().find_map(|(machine, change)| match change {
            AmendmentChange::Corrected(Check::Sanitizer { mg_per_l, ph, by, .. }) => {
                Some((*machine, *mg_per_l, *ph, by.starts_with("AB (user ")))
            }
            _ => None,
        });
        assert_eq!(
            corrected,
            Some((Some("dm2"), 100.0, Some(7.0), true)),
            "what was not named stayed, and who made it"
        );
    }
}

// Food Code 4-501.114: racks are proven only by a concentration that stands. Own promise: what is
// withdrawn or corrected counts so for the racks after it; what was judged stays.
#[test]
fn racks_are_judged_by_what_stands() {
    let kitchen = Kitchen::new();
    let mut plan = Scenario::Demo.plan();
    plan.hours = 0.75;
    let start = now().as_microsecond() - 2_700_000_000;
    let world = World::starting_at(&plan, 1, start).filter(|emission| {
        let line = emission.line();
        line.contains("\"dm2/\"") && line.contains("\"rinse\"")
    });
    let lines: Vec<(i64, String)> = world.map(|emission| (emission.time_micros, emission.line())).collect();
    let first = lines[0].0;
    let part = |third: i64| {
        let own = |at: i64| (at - first) / 900_000_000 == third;
        lines.iter().filter(|(at, _)| own(*at)).map(|(_, line)| line.clone()).collect::<Vec<_>>()
    };
    let judged = |by: Option<f64>| {
        let fits = |record: &&Record| matches!(&record.body, Body::Cycle(cycle) if cycle.concentration_mg_per_l == by);
        kitchen.records().iter().filter(fits).count()
    };
    let at = Timestamp::from_microsecond(first).expect("a near time").to_string();
    let mut service = Service::start(&kitchen);
    let strip =
        kitchen.enter(&["sanitizer", "dm2", "--by", "AB", "--mg-per-l", "60", "--ph", "7", "--at", &at]);
    let strip = strip.to_string();
    service.feed(&part(0));
    service.until(|| judged(Some(60.0)) >= 2);
    let amend = ["amendment", strip.as_str(), "--reason", "misread", "--by", "Cy"];
    kitchen.enter(&[&amend[..], &["--mg-per-l", "90"]].concat());
    let by_60 = judged(Some(60.0));
    service.feed(&part(1));
    service.until(|| judged(Some(90.0)) >= 2);
    assert_eq!(judged(Some(60.0)), by_60, "what was judged stays, and nothing more is judged by it");
    kitchen.enter(&[&amend[..], &["--withdraw"]].concat());
    service.feed(&part(2));
    service.until(|| judged(None) >= 2);
    service.stop();
}

// Own promise: what is due is told as the desk of the alerts sees it, and a withdrawn check is due again.
#[test]
fn what_is_due_is_listed() {
    let kitchen = Kitchen::new().opened();
    let due = || kitchen.say(&["enter", "due"]).1;
    let said = due();
    assert_eq!(said.lines().count(), 3, "{said}");
    assert!(said.contains("dm2           test the sanitizer        due since "), "{said}");
    let service = Service::start(&kitchen);
    let strip = kitchen.enter(&["sanitizer", "dm2", "--by", "AB", "--mg-per-l", "100"]).to_string();
    kitchen.enter(&["supply", "dm1", "--by", "AB"]);
    let spanish = ["enter", "due", "dm1", "--language", "es"];
    assert_eq!(kitchen.say(&spanish), (Some(0), "No hay controles pendientes.\n".to_owned()));
    let only = kitchen.say(&["enter", "due", "dm1"]);
    assert_eq!(only, (Some(0), "No check is due.\n".to_owned()));
    assert_eq!(due().lines().count(), 1, "{}", due());
    kitchen.enter(&["amendment", &strip, "--withdraw", "--reason", "wrong machine", "--by", "AB"]);
    service.stop();
    let (_, said) = kitchen.say(&["enter", "due", "dm2", "--json"]);
    let checks: Vec<serde_json::Value> =
        said.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    assert_eq!(checks.len(), 2, "{said}");
    assert_eq!((&checks[0]["check"], &checks[0]["overdue"]), (&"sanitizer".into(), &false.into()), "{said}");
    let (code, said) = kitchen.say(&["enter", "due", "dm9"]);
    assert_eq!((code, said.contains("no machine is called «dm9»")), (Some(64), true), "{said}");
}
