//! What a person sees of `watch`, on terminals of two sizes and in lines.

use rustix::process::Signal;

use super::kitchen::Kitchen;
use super::port::Port;
use super::terminal::Terminal;

/// Half a minute of a rinse probe that rises by 1 °C a second to 82.5 °C, with the times of its
/// readings before the arrival of the pack, and a wash probe whose wire has come off.
fn print_minute(port: &mut Port) {
    let rinse: Vec<String> = (0..30)
        .map(|i| {
            format!("{{\"n\":\"dm1/rinse\",\"u\":\"Cel\",\"t\":{},\"v\":{}}}", i - 29, 53.5 + f64::from(i))
        })
        .collect();
    port.print("\n");
    port.print(&format!("[{},{{\"n\":\"dm1/wash\",\"vs\":\"open-circuit\"}}]\n", rinse.join(",")));
    port.print("[{\"n\":\"dm1/running\",\"vb\":true}]\n[{\"n\":\"dm7/rinse\",\"u\":\"Cel\",\"v\":60}]\n");
}

fn kitchen() -> (Kitchen, Port) {
    let kitchen = Kitchen::new("name = \"port1\"\nkind = \"serial\"\ndevice = \"device\"\n");
    let port = Port::plugged(&kitchen.path("device"));
    (kitchen, port)
}

// The offset of −0.5 K is the kitchen's; 82.0 °C are 179.6 °F. Trend and strip follow from 1 °C/s.
#[test]
fn each_probe_has_a_line_that_tells_value_trend_minute_and_fault() {
    let (kitchen, mut port) = kitchen();
    let mut terminal = Terminal::start(&mut kitchen.program(&["watch"]), 80, 24);
    terminal.until("nothing heard");
    terminal.until("from the ports: no service runs");
    print_minute(&mut port);
    let rinse = terminal.row("dm1/rinse", |row| row.contains("82.0 °C"));
    assert!(rinse.contains("⇑ rising fast") && rinse.contains("▁") && rinse.contains("█"), "{rinse}");
    assert!(rinse.starts_with("  dm1/rinse"), "{rinse}");
    let wash = terminal.row("dm1/wash", |row| row.contains("BROKEN WIRE: a lead is off"));
    assert!(wash.starts_with("! dm1/wash"), "{wash}");
    terminal.row("dm1/running", |row| row.contains("ON"));
    terminal.row("dm1/terminals", |row| row.contains("nothing heard for"));
    terminal.until("! 1 × «dm7/rinse»");
    terminal.until("is not taken: no probe of that name is");
    terminal.until("Hot water and steam scald at once.");
    port.unplug();
    terminal.until("! source «port1» is down: ");
    terminal.press("q");
    assert!(terminal.ended().success());
}

#[test]
fn a_small_terminal_shows_the_same_in_fewer_words() {
    let (kitchen, mut port) = kitchen();
    let mut terminal = Terminal::start(&mut kitchen.program(&["watch", "--scale", "f"]), 40, 12);
    terminal.until("nothing heard");
    print_minute(&mut port);
    terminal.row("dm1/rinse", |row| row.contains("179.6 °F  ⇑ rising"));
    terminal.row("dm1/wash", |row| row.starts_with("! ") && row.contains("BROKEN WIRE: a lead"));
    terminal.until("Hot water scalds at once.");
    terminal.until("q quits");
    assert_eq!(terminal.seen().lines().count(), 12, "{}", terminal.seen());
    terminal.signal(Signal::TERM);
    assert!(terminal.ended().success());
}

// Ctrl-C is 0x03 (ASCII ETX): on a screen a key, in lines a signal of the terminal.
#[test]
fn control_c_ends_it() {
    let (kitchen, _port) = kitchen();
    let mut terminal = Terminal::start(&mut kitchen.program(&["watch"]), 80, 24);
    terminal.until("nothing heard");
    terminal.press("\u{3}");
    assert!(terminal.ended().success());
}

#[test]
fn lines_tell_it_where_there_is_no_screen() {
    let (kitchen, mut port) = kitchen();
    let mut terminal =
        Terminal::start(&mut kitchen.program(&["watch", "--plain", "--seconds", "20"]), 100, 40);
    terminal.until("from the ports: no service");
    terminal.until("Never reach into a running machine");
    print_minute(&mut port);
    terminal.until("dm1/rinse            82.0 °C  ⇑ rising fast");
    terminal.until("! dm1/wash");
    terminal.until("! 1 × «dm7/rinse» from «port1» is not taken");
    terminal.signal(Signal::INT);
    assert!(terminal.ended().success());
}

#[test]
fn through_the_service_it_says_so_and_whether_the_files_are_in_force() {
    let (kitchen, mut port) = kitchen();
    let service = kitchen.service(&["source is up"]);
    let mut terminal = Terminal::start(&mut kitchen.program(&["watch", "--machine", "dm1"]), 80, 24);
    terminal.until("through the running service");
    print_minute(&mut port);
    terminal.row("dm1/rinse", |row| row.contains("82.0 °C"));
    terminal.press("Q");
    assert!(terminal.ended().success());

    kitchen.append(
        "[[machine]]\nname = \"dm2\"\nkind = \"stationary-rack-dual-temperature\"\n\
        wash-time = \"45s\"\nrinse-time = \"10s\"\nprobes = [\"rinse\"]\n",
    );
    let mut terminal = Terminal::start(&mut kitchen.program(&["watch"]), 80, 24);
    terminal.until("ANOTHER configuration");
    service.stop();
    terminal.until("source-lost");
    assert_eq!(terminal.ended().code(), Some(74));
}
