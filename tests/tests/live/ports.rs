//! `ports`, with a pseudo-terminal looked at beside what is there.

use std::process::Stdio;

use serde_json::Value;

use super::kitchen::Kitchen;
use super::terminal::Terminal;

fn ports(kitchen: &Kitchen, arguments: &[&str]) -> (Option<i32>, String) {
    let output = kitchen.program(&[&["ports"], arguments].concat()).stdin(Stdio::null()).output();
    let output = output.expect("the program starts");
    (output.status.code(), String::from_utf8([output.stdout, output.stderr].concat()).expect("UTF-8"))
}

// What holds a port is what this test has started. Codes are those of sysexits.h (4.3BSD).
#[test]
fn a_port_is_told_with_its_names_its_source_and_who_holds_it() {
    let (kitchen, port) = Kitchen::on_a_port();
    let link = kitchen.path("device").display().to_string();
    let device = std::fs::canonicalize(&link).expect("it is plugged in").display().to_string();
    let told = |said: &str| {
        let answer: Value = serde_json::from_str(said).unwrap_or_else(|error| panic!("{error}: {said}"));
        let ports = answer["ports"].as_array().expect("a list").clone();
        (ports.into_iter().find(|port| port["device"] == device.as_str()).expect("it is listed"), answer)
    };

    let (code, said) = ports(&kitchen, &["--also", &link, "--json"]);
    assert_eq!(code, Some(0), "{said}");
    let (free, answer) = told(&said);
    assert_eq!(free["kind"], "pseudo-terminal", "{free}");
    assert_eq!((&free["names"][0], &free["write"]), (&link.as_str().into(), &link.as_str().into()), "{free}");
    assert_eq!((&free["used_by"][0], &free["you"]), (&"port1".into(), &true.into()), "{free}");
    assert_eq!(free["held_by"].as_array().map(Vec::len), Some(0), "{free}");
    assert_eq!(answer["missing"].as_array().map(Vec::len), Some(0), "{answer}");

    let mut terminal = Terminal::start(&mut kitchen.program(&["watch"]), 80, 24);
    terminal.until("nothing heard");
    let held = loop {
        let (_, said) = ports(&kitchen, &["--also", &link, "--json"]);
        let (held, _) = told(&said);
        if held["held_by"].as_array().is_some_and(|holders| !holders.is_empty()) {
            break held;
        }
    };
    let holder = (&held["held_by"][0]["command"], &held["held_by"][0]["pid"]);
    assert_eq!(holder, (&"rinseward".into(), &terminal.pid().into()), "{held}");
    let (_, said) = ports(&kitchen, &["--also", &link]);
    for line in [
        format!("{device}  pseudo-terminal"),
        format!("    write     device = \"{link}\""),
        "    used by   source «port1»".to_owned(),
        format!("    open in   rinseward, process {}", terminal.pid()),
        "yes".to_owned(),
    ] {
        assert!(said.contains(&line), "{line}\n{said}");
    }
    let (code, said) = ports(&kitchen, &["--also", &link, "--language", "es"]);
    assert_eq!(code, Some(0), "{said}");
    for line in
        [format!("    escriba     device = \"{link}\""), "    lo usa      la fuente «port1»".to_owned()]
    {
        assert!(said.contains(&line), "{line}\n{said}");
    }
    terminal.press("q");
    assert!(terminal.ended().success());

    port.unplug();
    let (code, said) = ports(&kitchen, &[]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains(&format!("! source «port1» wants {link}, which is not there")), "{said}");
    // What is not there is told beside the others, by its own line and by the code.
    let (code, said) = ports(&kitchen, &["--also", &link, "--also", "/dev/null"]);
    assert_eq!(code, Some(74), "{said}");
    for part in
        ["error[source-open]", &format!("! {link}: it is not there"), "! /dev/null: it is no serial port"]
    {
        assert!(said.contains(part), "{part}\n{said}");
    }
    assert!(!said.contains("/dev/null  "), "{said}");
}
