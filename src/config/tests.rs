//! The configuration from outside: files in, a configuration or every problem out.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::load::Loaded;
use super::problem::{Fault, Problem};
use super::resolve::Configuration;
use super::source::{Payload, SourceKind};
use crate::core::calibration::Calibration;
use crate::core::channel::{Place, Role, Signal};
use crate::core::cycle::plate::{LimitSource, MachineKind, RinseFrom};
use crate::core::thermocouple::ThermocoupleType;
use crate::core::uncertainty::Sensor;
use crate::diagnostic::Diagnostic;
use crate::wire::directory::WireUnit;

mod alert;
mod delivery;
mod mistakes;
mod modbus;
mod series;

const MACHINE: &str = "[[machine]]\nname = \"dm1\"\nkind = \"stationary-rack-dual-temperature\"\n";
const RINSE: &str = "[[probe]]\nname = \"dm1/rinse\"\n";

/// Loads layers of text, in order.
fn load(layers: &[&str], variables: &[(&str, &str)]) -> Result<Loaded, Vec<Problem>> {
    let directory = tempfile::tempdir().expect("the system has a directory for temporary files");
    let paths: Vec<PathBuf> = (0..layers.len()).map(|n| directory.path().join(format!("{n}.toml"))).collect();
    for (path, text) in paths.iter().zip(layers) {
        std::fs::write(path, text).expect("the directory was just made");
    }
    let variables = variables.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned()));
    Configuration::load(&paths, variables)
}

fn good(layers: &[&str]) -> Configuration {
    load(layers, &[]).expect("this row is a legal configuration").configuration
}

/// The problems as `slug line key`, in order.
fn problems(layers: &[&str], variables: &[(&str, &str)]) -> Vec<String> {
    let problems = load(layers, variables).expect_err("this row holds a mistake");
    problems.iter().map(|problem| format!("{} {}", problem.slug(), problem.key)).collect()
}

fn repository() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Compares with a golden file, or writes it where `UPDATE_GOLDEN=1`.
fn golden(path: &Path, text: &str) {
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(path, text).expect("the repository is writable where golden files are renewed");
    }
    let kept = std::fs::read_to_string(path).unwrap_or_default();
    assert!(kept == text, "{} differs; UPDATE_GOLDEN=1 renews it. Program says:\n{text}", path.display());
}

#[test]
fn the_reference_is_printed_from_the_keys() {
    golden(&repository().join("config/reference.toml"), &super::reference::render());
}

// Each line of the reference must be right by itself; what it lacks beside it is another matter.
#[test]
fn every_line_of_the_reference_is_legal_when_its_mark_is_taken_off() {
    let reference = super::reference::render();
    let lines: Vec<&str> = reference.lines().collect();
    let mut count = 0;
    for (index, line) in lines.iter().enumerate() {
        let Some((key, _)) = line.strip_prefix("# ").and_then(|line| line.split_once(" = ")) else {
            continue;
        };
        if !key.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || "-.".contains(c)) {
            continue;
        }
        count += 1;
        let mut text = lines.clone();
        text[index] = &line[2..];
        for problem in load(&[&text.join("\n")], &[]).err().unwrap_or_default() {
            let said = format!("{line}: {problem}");
            let fault = problem.fault;
            assert!(!matches!(fault, Fault::UnknownKey { .. } | Fault::Syntax { .. }), "{said}");
            if let Fault::Value { wanted, why } = fault {
                assert!(why.is_none() && !wanted.contains("a whole number"), "{said}: {wanted}");
                assert!(!wanted.starts_with("one of \""), "{said}: {wanted}");
            }
        }
    }
    assert!(count >= 60, "{count} lines");
}

#[test]
fn every_shipped_file_loads_and_its_canonical_form_reads_back() {
    let files =
        ["config", "deploy/container"].iter().flat_map(|folder| std::fs::read_dir(repository().join(folder)));
    let files = files.flatten().flatten().map(|entry| entry.path());
    let mut count = 0;
    for path in files.filter(|path| path.extension().is_some_and(|extension| extension == "toml")) {
        count += 1;
        let loaded = Configuration::load(std::slice::from_ref(&path), [])
            .unwrap_or_else(|problems| panic!("{}: {problems:#?}", path.display()));
        let again = load(&[loaded.to_toml()], &[])
            .unwrap_or_else(|problems| panic!("{}\n{}\n{problems:#?}", path.display(), loaded.to_toml()));
        assert_eq!(again.to_toml(), loaded.to_toml(), "{}", path.display());
        assert_eq!(again.sha256(), loaded.sha256());
        let shown = |loaded: &Loaded| format!("{:#?}", loaded.configuration);
        assert_eq!(shown(&again), shown(&loaded), "{}", path.display());
    }
    assert!(count >= 9, "the examples are missing: {count} files");
}

// Own design, no outside source: one file with a mistake of every kind.
#[test]
fn every_problem_is_told_in_one_run() {
    let folder = repository().join("tests/golden/config");
    let problems = Configuration::load(&[folder.join("problems.toml")], []).expect_err("it is full of them");
    let mut text = String::new();
    for problem in &problems {
        text.push_str(&Diagnostic::from(problem).to_string());
        text.push_str("\n\n");
    }
    let text = text.replace(&format!("{}/", folder.display()), "");
    golden(&folder.join("problems.txt"), &text);
}

#[test]
fn syntax_errors_of_all_files_are_told_together() {
    let told = problems(&["[site\nname = 1 2\n", "x = = 3\n"], &[]);
    assert!(told.iter().filter(|told| told.starts_with("config-syntax")).count() >= 2, "{told:?}");
}

// Regression: a second [site], pasted below the first, was «not TOML: duplicate key».
#[test]
fn a_section_that_stands_twice_is_named() {
    for (text, line) in [
        ("[site]\nname = \"a\"\n[site]\nopen = []\n", "«[site]»"),
        ("[site]\nname = \"a\"\n  name = \"b\"\n", "«name = \"b\"»"),
    ] {
        let directory = tempfile::tempdir().expect("a directory");
        let file = directory.path().join("twice.toml");
        std::fs::write(&file, text).expect("it takes files");
        let problems = Configuration::load(&[file], []).expect_err("it stands twice");
        let told: Vec<String> =
            problems.iter().map(|problem| Diagnostic::from(problem).to_string()).collect();
        let found = told.iter().any(|told| told.starts_with("error[config-twice]") && told.contains(line));
        assert!(found, "{told:?}");
    }
}

#[test]
fn the_least_configuration_is_eleven_lines() {
    let text = std::fs::read_to_string(repository().join("config/replay.toml")).expect("it is shipped");
    let lines = text.lines().filter(|line| !line.is_empty() && !line.starts_with('#')).count();
    assert!(lines <= 12, "{lines} lines");
    let configuration = good(&[&text]);
    let find = |name| configuration.directory().find(name).map(|(_, unit)| unit);
    assert_eq!(find("dm1/wash"), Some(WireUnit::Celsius));
    assert_eq!(find("dm1/rinse"), Some(WireUnit::Celsius));
    assert_eq!(find("dm1/running"), Some(WireUnit::Flag));
    assert_eq!(find("dm1/other"), None);
}

// Limits: FDA Food Code 4-501.110, 4-501.112 and 4-501.114, the stricter half of each pair.
#[test]
fn limits_follow_kind_and_sanitizer() {
    for (kind, sanitizing, wash, rinse) in [
        ("stationary-rack-single-temperature", "hot-water", 74.0, 74.0),
        ("stationary-rack-dual-temperature", "hot-water", 66.0, 82.222),
        ("single-tank-conveyor", "hot-water", 71.111, 82.222),
        ("multitank-conveyor", "hot-water", 66.0, 82.222),
        ("stationary-rack-single-temperature", "chlorine", 49.0, 13.0),
        ("stationary-rack-single-temperature", "iodine", 49.0, 20.0),
        ("stationary-rack-single-temperature", "quat", 49.0, 24.0),
    ] {
        let text = format!(
            "[[machine]]\nname = \"m\"\nkind = \"{kind}\"\nsanitizing = \"{sanitizing}\"\nprobes = [\"rinse\"]"
        );
        let profile = &good(&[&text]).machines[0];
        assert!((profile.wash_min.at.0 - wash).abs() < 1e-3, "{kind} {sanitizing}: {:?}", profile.wash_min);
        assert!(
            (profile.rinse_min.at.0 - rinse).abs() < 1e-3,
            "{kind} {sanitizing}: {:?}",
            profile.rinse_min
        );
        assert_eq!(profile.rinse_min.source, LimitSource::FoodCode);
    }
}

// 4-703.11(C): chlorine 10 s, others 30 s; half the rinse for hot water is an own choice.
#[test]
fn dwell_follows_the_sanitizer() {
    for (sanitizing, seconds) in [("hot-water", 6), ("chlorine", 10), ("iodine", 30), ("quat", 30)] {
        let text = format!("{MACHINE}rinse-time = \"12s\"\nsanitizing = \"{sanitizing}\"\n{RINSE}");
        let loaded = load(&[&text], &[]).expect("legal");
        assert_eq!(loaded.configuration.machines[0].dwell_min, Duration::from_secs(seconds), "{sanitizing}");
        // A rinse shorter than the contact time is worth a warning.
        assert_eq!(loaded.warnings.len(), usize::from(seconds > 12), "{sanitizing}");
    }
}

#[test]
fn the_data_plate_wins_and_is_named() {
    let text = format!("{MACHINE}rinse-min = \"185 °F\"\nwash-min = \"155F\"\n{RINSE}");
    let profile = &good(&[&text]).machines[0];
    assert_eq!(profile.rinse_min.source, LimitSource::DataPlate);
    assert!((profile.rinse_min.at.0 - 85.0).abs() < 1e-9);
    let site = good(&[&format!("{MACHINE}limits-from = \"site\"\nrinse-min = \"185F\"\n{RINSE}")]);
    assert_eq!(site.machines[0].rinse_min.source, LimitSource::Site);
    let lax = load(&[&format!("{MACHINE}rinse-min = \"160F\"\n{RINSE}")], &[]).expect("legal, but doubtful");
    assert_eq!(lax.warnings[0].slug(), "config-doubt");
}

#[test]
fn later_layers_change_single_keys_by_name() {
    let base = format!("{MACHINE}wash-time = \"40s\"\n{RINSE}tau = \"1s\"\n");
    let over = "[[machine]]\nname = \"dm1\"\nwash-time = \"50s\"\n[[probe]]\nname = \"dm1/wash\"\n";
    let loaded = load(
        &[&base, over],
        &[
            ("RINSEWARD__PROBE__DM1_RINSE__TAU", "2s"),
            ("RINSEWARD__LEDGER__COMMIT_INTERVAL", "2s"),
            ("RINSEWARD__MACHINE__DM1__SANITIZING", "chlorine"),
            ("RINSEWARD__MACHINE__DM1__CHLORINE_MAX_MG_PER_L", "150"),
            ("RINSEWARD_LOG", "debug"),
            ("HOME", "elsewhere"),
        ],
    );
    let configuration = loaded.expect("every layer is legal").configuration;
    assert_eq!(configuration.machines[0].times.wash, Duration::from_secs(50));
    assert_eq!(configuration.machines[0].kind, MachineKind::StationaryRackDualTemperature);
    assert!((configuration.machines[0].sanitizer.chlorine_max_mg_per_l - 150.0).abs() < 1e-9);
    assert_eq!(configuration.ledger.commit_interval, Duration::from_secs(2));
    let names: Vec<&str> = configuration.channels.iter().map(|channel| channel.name.as_str()).collect();
    assert_eq!(names, ["dm1/rinse", "dm1/wash"], "in order of appearance");
    let Role::Probe(probe) = &configuration.channels[0].role else { panic!("a temperature") };
    assert_eq!(probe.tau, Some(Duration::from_secs(2)));
}

#[test]
fn thermocouples_find_their_cold_junction() {
    let text = std::fs::read_to_string(repository().join("config/dual-temperature.toml")).expect("shipped");
    let configuration = good(&[&text]);
    let Role::Probe(rinse) = &configuration.channels[1].role else { panic!("a temperature") };
    let junction = configuration.channels[2].id;
    assert_eq!(rinse.place, Place::FinalRinse);
    assert_eq!(rinse.signal, Signal::Thermocouple { kind: ThermocoupleType::T, cold_junction: junction });
    let Calibration::TwoPoint { .. } = rinse.calibration else { panic!("two points were given") };
    assert_eq!(configuration.directory().find("dm1/rinse").map(|(_, unit)| unit), Some(WireUnit::Volt));
    // A channel that is no cold junction cannot serve as one.
    let wrong = text.replace("cold-junction = \"dm1/cold-junction\"", "cold-junction = \"dm1/running\"");
    assert!(problems(&[&wrong], &[]).iter().any(|told| told.contains("cold-junction")));
}

#[test]
fn accuracy_becomes_a_budget() {
    for (accuracy, expected) in [
        ("{ sensor = \"0.9 °F\" }", Sensor::Within { half_width_c: 0.5 }),
        ("{ calibrated = \"0.3 K\" }", Sensor::Calibrated { expanded_c: 0.3 }),
        ("{ installation = \"2 K\" }", Sensor::Within { half_width_c: 1.5 }),
    ] {
        let configuration = good(&[&format!("{MACHINE}{RINSE}accuracy = {accuracy}\n")]);
        let Role::Probe(probe) = &configuration.channels[0].role else { panic!("a temperature") };
        assert_eq!(probe.budget.sensor, expected, "{accuracy}");
        assert_eq!(probe.budget.check(), Ok(()));
    }
}

#[test]
fn a_sump_probe_serves_where_the_machine_dumps_and_refills() {
    let text = format!("{MACHINE}rinse-from = \"sump\"\nprobes = [\"wash\"]\n");
    assert_eq!(good(&[&text]).machines[0].rinse_from, RinseFrom::Sump);
    assert_eq!(problems(&[&text.replace("sump", "fresh-line")], &[]), ["config-machine [[machine]] dm1"]);
}

// Modes by POSIX: the last octal digit is everybody else.
#[test]
fn an_open_secret_is_refused_with_the_command_to_type() {
    let directory = tempfile::tempdir().expect("the system has a directory for temporary files");
    let secret = directory.path().join("pass word");
    std::fs::write(&secret, "x").expect("the directory was just made");
    let text = format!(
        "{MACHINE}{RINSE}[[source]]\nname = \"b\"\nkind = \"mqtt\"\nhost = \"localhost\"\nuser = \"u\"\n\
         password-file = \"{}\"\n[[source.subscription]]\nfilter = \"#\"\n",
        secret.display()
    );
    for (mode, open) in [(0o644, true), (0o604, true), (0o640, false), (0o600, false)] {
        std::fs::set_permissions(&secret, std::fs::Permissions::from_mode(mode)).expect("the file is ours");
        match load(&[&text], &[]) {
            Ok(loaded) => {
                assert!(!open, "{mode:o}");
                assert!(loaded.warnings.is_empty(), "{:?}", loaded.warnings);
                let SourceKind::Mqtt(mqtt) = &loaded.configuration.sources[0].kind else {
                    panic!("a broker")
                };
                assert!(matches!(mqtt.subscriptions[0].payload, Payload::Senml));
                assert_eq!((mqtt.port, mqtt.client_id.as_str()), (1883, "rinseward-b"));
            }
            Err(problems) => {
                assert!(open, "{mode:o}: {problems:?}");
                let said = Diagnostic::from(&problems[0]).to_string();
                assert!(said.contains(&format!("chmod o= '{}'", secret.display())), "{said}");
            }
        }
    }
    std::fs::remove_file(&secret).expect("the file is ours");
    let loaded = load(&[&text], &[]).expect("a secret that is not on this computer is only warned of");
    assert_eq!(loaded.warnings[0].slug(), "config-secret");
}

#[test]
fn what_is_legal_but_odd_is_warned_of() {
    let base = format!("{MACHINE}probes = [\"rinse\", \"wash\"]\n");
    let broker = "[[source]]\nname = \"b\"\nkind = \"mqtt\"\nhost = \"h\"\nuser = \"u\"\npassword-file = \"none\"\n\
                  [[source.subscription]]\nfilter = \"#\"\n";
    let source = "[[source]]\nname = \"s\"\nkind = \"replay\"\n";
    let named = "public-url = \"https://kitchen.example.org\"\n";
    let of_url = |proxy: &str, url: &str| {
        format!("[web]\nenabled = true\nbehind-proxy = {proxy}\npublic-url = \"{url}\"\n{source}")
    };
    for (text, expected) in [
        ("[[source]]\nname = \"s\"\nkind = \"replay\"\nprobes = [\"dm1/rinse\"]\n", vec!["config-doubt"]),
        ("[[source]]\nname = \"s\"\nkind = \"replay\"\n", vec![]),
        (broker, vec!["config-secret", "config-doubt"]),
        (&format!("[web]\nenabled = true\n{named}{source}"), vec!["config-doubt"]),
        (&format!("[web]\nenabled = true\nbehind-proxy = true\n{named}{source}"), vec![]),
        // Own rules: without a proxy nothing is below a folder, and a page of the service is no folder of a proxy.
        (&of_url("false", "http://127.0.0.1:8480/rinseward"), vec!["config-doubt"]),
        (&of_url("true", "https://kitchen.example.org/rinseward/"), vec![]),
        (&of_url("true", "https://kitchen.example.org/rinseward/login"), vec!["config-doubt"]),
        (&of_url("true", "https://kitchen.example.org/login"), vec!["config-doubt"]),
        (&of_url("false", "http://127.0.0.1:8480/"), vec![]),
    ] {
        let loaded = load(&[&base, text], &[]).expect("every row is legal");
        let told: Vec<&str> = loaded.warnings.iter().map(Problem::slug).collect();
        assert_eq!(told, expected, "{text}");
    }
}

// Own choice: a central kitchen of 200 machines and 1,000 probes is to be read at once.
#[test]
fn a_central_kitchen_loads() {
    let mut text = String::new();
    for machine in 0..200 {
        text.push_str(&format!(
            "[[machine]]\nname = \"m{machine}\"\nkind = \"multitank-conveyor\"\nprobes = [\"rinse\", \"wash\"]\n"
        ));
        for probe in 0..3 {
            text.push_str(&format!("[[probe]]\nname = \"m{machine}/p{probe}\"\nplace = \"other\"\n"));
        }
    }
    let configuration = good(&[&text]);
    assert_eq!((configuration.machines.len(), configuration.channels.len()), (200, 1_000));
    for (index, channel) in configuration.channels.iter().enumerate() {
        assert_eq!(usize::from(channel.id.0), index);
        let machine = &configuration.machines[usize::from(channel.machine.0)];
        assert_eq!(machine.name, channel.name.machine());
    }
}

#[test]
fn relative_paths_count_from_their_file() {
    let directory = tempfile::tempdir().expect("the system has a directory for temporary files");
    let file = directory.path().join("gateway.toml");
    std::fs::write(&file, format!("{MACHINE}{RINSE}[ledger]\npath = \"ledger.sqlite\"\n"))
        .expect("just made");
    let loaded = Configuration::load(&[file], []).expect("legal");
    assert_eq!(loaded.configuration.ledger.path, directory.path().join("ledger.sqlite"));
}

// Own promise: a file means the same from wherever it is named, to the last letter of what is compared and
// recorded: else a service and a command beside it would differ, and a wiring count as changed.
#[test]
fn a_file_means_the_same_from_wherever_it_is_named() {
    let directory = tempfile::tempdir().expect("the system has a directory for temporary files");
    let file = directory.path().join("gateway.toml");
    let source = "[[source]]\nname = \"port1\"\nkind = \"serial\"\ndevice = \"./dev/port\"\n";
    std::fs::write(&file, format!("{MACHINE}{RINSE}{source}[ledger]\npath = \"ledger.sqlite\"\n"))
        .expect("just made");
    std::fs::create_dir(directory.path().join("elsewhere")).expect("just made");
    let here = std::env::current_dir().expect("tests run somewhere");
    let up = "../".repeat(here.components().count() - 1);
    let relative = format!("{up}{}", file.strip_prefix("/").expect("a full path").display());
    let loaded = Configuration::load(std::slice::from_ref(&file), []).expect("legal");
    assert!(loaded.to_toml().contains(&format!("\"{}/dev/port\"", directory.path().display())));
    for named in [PathBuf::from(relative), directory.path().join("elsewhere/../gateway.toml")] {
        let again = Configuration::load(std::slice::from_ref(&named), []).expect("legal");
        assert_eq!(again.to_toml(), loaded.to_toml(), "{}", named.display());
    }
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]
    #[test]
    fn no_text_breaks_the_loader(text in "(\\[\\[?(machine|probe|source|site)\\]?\\]|name = \"a\"|[a-z-]{1,8} = (1|\"x\"|\\[\\]|\\{\\})|\\PC{0,12}|\n){0,20}") {
        drop(load(&[&text], &[]));
    }
}
