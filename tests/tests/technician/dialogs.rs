//! What a person at a terminal sees of `calibrate` and `respond`, and what their keys do.

use super::{Kitchen, Running, Service};
use crate::live::terminal::Terminal;

/// A calibration at ice on a terminal of 80 columns.
fn calibrating(kitchen: &Kitchen) -> Terminal {
    Terminal::start(&mut kitchen.command(&["calibrate", "dm1/rinse", "--ice", "--by", "Eli"]), 80, 60)
}

// Own promise: only what is typed after a question answers it, an Enter is no answer to a yes or no, and
// what is typed too early skips no step.
#[test]
fn keys_that_were_typed_too_early_answer_nothing() {
    let mut kitchen = Kitchen::new();
    Service::start(&kitchen).stop();
    let mut terminal = calibrating(&kitchen);
    terminal.until("Press Enter when the probe is in it.");
    terminal.press("\r");
    terminal.until("watching until it is steady");
    terminal.press("y\r\ry\r");
    kitchen.measure(0.0, 60.0, |_| 0.0);
    terminal.until("in force? [y/n]");
    assert_eq!(kitchen.calibrations(), 0, "nobody has answered");
    terminal.press("\r");
    terminal.until("Type y and Enter");
    assert_eq!(kitchen.calibrations(), 0, "an empty line is no answer");
    terminal.press("n\r");
    terminal.until("Nothing was recorded");
    assert!(terminal.ended().success());
    assert_eq!(kitchen.calibrations(), 0, "{}", terminal.seen());
}

// Own promise: an Enter of the first point does not stand for that of the second, whose probe is still on its way.
#[test]
fn an_early_enter_does_not_begin_the_next_point() {
    let mut kitchen = Kitchen::new();
    Service::start(&kitchen).stop();
    let against =
        ["--against", "82C", "--against", "40C", "--reference", "T7", "--reference-uncertainty", "0.3C"];
    let arguments = [&["calibrate", "dm1/rinse", "--by", "Eli"][..], &against].concat();
    let mut terminal = Terminal::start(&mut kitchen.command(&arguments), 100, 60);
    terminal.until("Press Enter when the probe is in it.");
    terminal.press("\r");
    terminal.until("watching until it is steady");
    terminal.press("\r\r");
    kitchen.measure(0.0, 60.0, |_| 82.0);
    terminal.until("Point 2 of 2");
    kitchen.measure(70.0, 60.0, |_| 39.0);
    terminal.press("\r");
    let watching = || terminal.seen().matches("watching until it is steady").count() == 2;
    terminal.holds("the second point is watched", watching);
    kitchen.measure(140.0, 60.0, |_| 40.0);
    terminal.until("in force? [y/n]");
    let seen = terminal.seen();
    assert!(seen.contains("steady: 40.6") && !seen.contains("steady: 39.6"), "{seen}");
}

// Own promise: 80 and 100 columns are what terminals have, and no word is broken on them; what is told there is
// what is told to a program.
#[test]
fn no_word_is_broken_at_the_edge_of_a_terminal() {
    let kitchen = Kitchen::new();
    Service::start(&kitchen).stop();
    for (command, last) in [
        (&["calibrate", "dm1/rinse", "--boiling", "--altitude", "340m"][..], "watching"),
        (&["respond", "dm1/rinse"], "hold it still"),
    ] {
        let arguments = [command, &["--by", "Eli", "--yes"]].concat();
        let mut piped = Running::start(&kitchen, &arguments);
        piped.until(last);
        let told: Vec<String> =
            piped.heard.iter().flat_map(|line| line.split_whitespace()).map(str::to_owned).collect();
        let lines = piped.heard.len();
        // The port serves one program at a time.
        drop(piped);
        for columns in [80, 100] {
            let terminal = Terminal::start(&mut kitchen.command(&arguments), columns, 60);
            terminal.until(last);
            terminal.holds("the last line", || terminal.seen().split_whitespace().count() >= told.len());
            let seen = terminal.seen();
            assert!(
                seen.split_whitespace().eq(told.iter().map(String::as_str)),
                "{columns}: {seen}\n{told:?}"
            );
            assert!(seen.lines().count() > lines, "some lines are broken: {seen}");
        }
    }
}

// 20 s and five time constants of 8 s are the rules of `core::steady`.
#[test]
fn how_long_a_bath_takes_is_told_before() {
    let kitchen = Kitchen::new();
    Service::start(&kitchen).stop();
    let file = kitchen.path("gateway.toml");
    let text = std::fs::read_to_string(&file).expect("our own file");
    for (tau, told) in [
        ("tau = \"1.2s\"\n", "wait at least 20 s after immersion (time constant on file: 1.20 s)"),
        ("tau = \"6s\"\n", "wait at least 30 s after immersion (time constant on file: 6.00 s)"),
        ("", "wait at least 40 s after immersion, no time constant on file yet"),
    ] {
        std::fs::write(&file, text.replace("tau = \"1.2s\"\n", tau)).expect("our own file");
        let mut running =
            Running::start(&kitchen, &["calibrate", "dm1/rinse", "--ice", "--by", "Eli", "--yes"]);
        running.until(told);
    }
}

// The answer of 2 s has its steepest part in the hole. 21.0 °C are 69.8 °F; the probe shows 0.6 °C too much until
// it is calibrated, and then what is told is what is told everywhere.
#[test]
fn a_response_test_shows_what_others_show_and_draws_no_curve_over_a_hole() {
    let mut kitchen = Kitchen::new();
    Service::start(&kitchen).stop();
    let mut calibrating =
        Running::start(&kitchen, &["calibrate", "dm1/rinse", "--ice", "--by", "Eli", "--yes"]);
    calibrating.until("Point 1");
    kitchen.measure(0.0, 60.0, |_| 0.0);
    assert_eq!(calibrating.ended().0, Some(0));

    let arguments = ["respond", "dm1/rinse", "--by", "Eli", "--scale", "f", "--language", "es"];
    let mut terminal = Terminal::start(&mut kitchen.command(&arguments), 100, 60);
    terminal.until("Tenga a mano: un termo");
    terminal.until("a unos 176 °F");
    terminal.until("un escalón de al menos 36 °F");
    terminal.until("Pulse Intro cuando todo esté a mano.");
    terminal.press("\r");
    terminal.until("quieta en el aire");
    kitchen.measure(100.0, 8.0, |_| 21.0);
    terminal.until("estable a 69.");
    kitchen.measure(111.0, 30.0, |t| 82.0 - 61.0 * (-(t + 2.0) / 2.0_f64).exp());
    terminal.until("faltan lecturas");
    terminal.until("error[response-refused]");
    assert_eq!(terminal.ended().code(), Some(1), "{}", terminal.seen());
    let words = terminal.seen().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("no se registró nada.") && words.contains("nothing was recorded"), "{words}");
    assert_eq!(kitchen.calibrations(), 1, "the calibration alone");
}
