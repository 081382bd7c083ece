//! Contacts, shifts and the rules of alerts: what is read, refused and warned of.

use std::time::Duration;

use super::{MACHINE, RINSE, good, load, problems};
use crate::config::problem::Problem;
use crate::core::alert::{Condition, Route, Rules};
use crate::core::reader::{Language, Scale};
use crate::core::record::CheckKind;
use crate::diagnostic::Diagnostic;

const MAIL: &str = "[mail]\nhost = \"mail.example.org\"\nfrom = \"gateway@example.org\"\n";

fn with(text: &str) -> String {
    format!("{MACHINE}{RINSE}{MAIL}{text}")
}

#[test]
fn without_a_word_the_rules_are_those_of_the_desk() {
    let configuration = good(&[&format!("{MACHINE}{RINSE}")]);
    assert_eq!(configuration.alerts.rules, Rules::default());
    assert!(configuration.alerts.contacts.is_empty());
    let loaded = load(&[&format!("{MACHINE}{RINSE}")], &[]).expect("a legal configuration");
    assert!(loaded.warnings.is_empty(), "nobody asked for messages: {:?}", loaded.warnings);
}

#[test]
fn contacts_are_read() {
    let text = with(
        "[[contact]]\nname = \"ana\"\nrole = \"kitchen manager\"\nroutes = [\"email:ana@example.org\"]\n\
         hours = [\"mon-fri 07:00-15:30\"]\nlanguage = \"es\"\nunits = \"celsius\"\ndigest = \"both\"\n\
         [[contact]]\nname = \"eve\"\nlast-resort = true\nroutes = [\"text:1555@sms.example.net\"]\n\
         [site]\ntime-zone = \"America/New_York\"\ncall = \"555-0100\"\nopen = [\"mon-sat 11:00-23:00\"]\n\
         [[shift]]\nname = \"early\"\nhours = [\"mon-sun 06:00-14:00\"]\n\
         [alert]\noff = [\"drifting\"]\nchecks = [\"supply\"]\nescalate-after = \"5min\"\ndigest-at = \"06:30\"\n",
    );
    let loaded = load(&[&text], &[]).expect("a legal configuration");
    let alerts = &loaded.configuration.alerts;
    let [ana, eve] = alerts.contacts.as_slice() else { panic!("two contacts: {alerts:?}") };
    assert_eq!(
        (ana.step, ana.last_resort, ana.language, ana.units),
        (1, false, Language::Spanish, Scale::Celsius)
    );
    assert_eq!(ana.routes, [Route::Email("ana@example.org".to_owned())]);
    assert_eq!(
        (eve.step, eve.last_resort, eve.language, eve.units),
        (0, true, Language::English, Scale::Fahrenheit)
    );
    assert_eq!(alerts.zone.iana_name(), Some("America/New_York"));
    assert!(alerts.rules.off.contains(&Condition::Drifting));
    assert_eq!(alerts.rules.checks.iter().copied().collect::<Vec<_>>(), [CheckKind::Supply]);
    assert_eq!(alerts.rules.escalate_after, Duration::from_secs(300));
    assert_eq!((alerts.shifts.len(), alerts.open.is_some()), (1, true));
    let machine = &alerts.machines["dm1"];
    assert_eq!((machine.rinse_probe.as_deref(), machine.tank_min), (Some("dm1/rinse"), None));
    let digest = &loaded.configuration.digest;
    assert_eq!(
        (digest.daily.as_slice(), digest.weekly.as_slice()),
        (["ana".to_owned()].as_slice(), ["ana".to_owned()].as_slice())
    );
    assert_eq!((digest.at.hour(), digest.at.minute()), (6, 30));
    assert!(loaded.warnings.is_empty(), "{:?}", loaded.warnings);
    let again = load(&[loaded.to_toml()], &[]).expect("its own canonical form");
    assert_eq!(again.configuration.alerts, *alerts);
    assert_eq!(again.to_toml(), loaded.to_toml());
}

#[test]
fn a_calibration_has_an_end() {
    for (keys, expected) in [
        ("", None),
        ("calibration-due = \"30d\"\n", None),
        ("calibrated-on = \"2026-03-01\"\n", Some("2027-03-01")),
        ("calibrated-on = 2024-01-31\ncalibration-due = \"30d\"\n", Some("2024-03-01")),
    ] {
        let configuration = good(&[&format!("{MACHINE}{RINSE}{keys}")]);
        let until = configuration.alerts.machines["dm1"].calibrated_until.get("dm1/rinse");
        assert_eq!(until.map(ToString::to_string).as_deref(), expected, "{keys}");
    }
}

#[test]
fn what_makes_no_sense_is_refused() {
    let contact = "[[contact]]\nname = \"ana\"\n";
    let ana = format!("{contact}routes = [\"email:a@example.org\"]\n");
    for (text, expected) in [
        (with(contact), vec!["config-missing [[contact]] ana, routes"]),
        (with(&format!("{contact}routes = []\n")), vec!["config-value [[contact]] ana, routes"]),
        (
            with(&format!("{contact}routes = [\"ana@example.org\"]\n")),
            vec!["config-value [[contact]] ana, routes"],
        ),
        (
            with(&format!("{contact}routes = [\"webhook:pager\"]\n")),
            vec!["config-value [[contact]] ana, routes"],
        ),
        (with(&format!("{contact}routes = [\"mqtt\"]\n")), vec!["config-value [[contact]] ana, routes"]),
        (format!("{MACHINE}{RINSE}{ana}"), vec!["config-value [[contact]] ana, routes"]),
        (with(&format!("{ana}hours = [\"mon 7-15\"]\n")), vec!["config-value [[contact]] ana, hours"]),
        (with("[[shift]]\nname = \"early\"\n"), vec!["config-missing [[shift]] early, hours"]),
        (with("[site]\ntime-zone = \"Mars/Olympus\"\n"), vec!["config-value [site], time-zone"]),
        (with("[alert]\noff = [\"could\"]\n"), vec!["config-value [alert], off"]),
        (with("[alert]\nchecks = [\"dishes\"]\n"), vec!["config-value [alert], checks"]),
        (with("[alert]\ndigest-at = \"7\"\n"), vec!["config-value [alert], digest-at"]),
        (with("[alert]\nrounds = 0\n"), vec!["config-value [alert], rounds"]),
        (
            format!("{MACHINE}{RINSE}calibrated-on = \"last week\"\n"),
            vec!["config-value [[probe]] dm1/rinse, calibrated-on"],
        ),
    ] {
        assert_eq!(problems(&[&text], &[]), expected, "{text}");
    }
    let said = load(&[&with("[alert]\noff = [\"could\"]\n")], &[]).expect_err("no such condition");
    let said = Diagnostic::from(&said[0]).to_string();
    assert!(said.contains("\"cold\" was probably meant"), "{said}");
}

#[test]
fn what_leaves_somebody_untold_is_warned_of() {
    let ana = "[[contact]]\nname = \"ana\"\nroutes = [\"email:a@example.org\"]\n";
    for (text, expected) in [
        (with(""), 1),
        (format!("{MACHINE}{RINSE}[[shift]]\nname = \"early\"\nhours = [\"mon-sun 06:00-14:00\"]\n"), 1),
        (with(ana), 0),
        (with(&format!("{ana}hours = [\"mon-fri 07:00-15:30\"]\n")), 1),
        (with(&format!("{ana}hours = [\"mon-fri 07:00-15:30\"]\nlast-resort = true\n")), 0),
        (with(&format!("{ana}[alert]\noff = [\"cold\"]\n")), 1),
        (with(&format!("{ana}[alert]\noff = [\"drifting\"]\n")), 0),
    ] {
        let warnings = load(&[&text], &[]).expect("every row is legal").warnings;
        let told: Vec<&str> = warnings.iter().map(Problem::slug).collect();
        assert_eq!(told, vec!["config-doubt"; expected], "{text}");
    }
}
