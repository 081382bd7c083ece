//! The demo on a terminal, beside its pages.

use std::io::{BufRead, BufReader};
use std::net::{SocketAddr, TcpStream};
use std::process::{Command, Stdio};

use tempfile::TempDir;

use crate::live::terminal::Terminal;
use crate::web::browser::Browser;
use crate::web::gateway::{PASSWORD, choose};

// Own promise: a secret is shown as long as it opens something. It is told in the picture, which is gone with the
// demo; once a password is chosen it opens nothing.
#[tokio::test(flavor = "multi_thread")]
async fn the_one_time_secret_is_shown_as_long_as_it_can_be_used() {
    for is_used in [true, false] {
        let directory = TempDir::new().expect("a temporary directory");
        let mut demo = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        demo.args(["demo", "--ledger"]).arg(directory.path()).env_remove("RUST_LOG");
        let mut terminal = Terminal::start(&mut demo, 100, 40);
        let row = terminal.row("account:", |row| row.contains("administrator"));
        let words: Vec<&str> = row.split_whitespace().collect();
        let ["account:", "administrator", "one-time", "secret:", secret] = words[..] else {
            panic!("as whom, by what: {row}")
        };
        let row = terminal.row("pages:", |row| row.contains("log in"));
        let login = row.split_whitespace().nth(1).expect("where");
        if is_used {
            let address: SocketAddr =
                login.trim_start_matches("http://").trim_end_matches("/login").parse().expect(login);
            terminal.holds("pages", || TcpStream::connect(address).is_ok());
            let mut browser = Browser::new(login.trim_end_matches("/login"));
            assert_eq!(browser.login("administrator", secret).await.status, 303);
            assert!(terminal.seen().contains(secret), "until a password is chosen it can be typed again");
            let answer = choose(&mut browser, "", PASSWORD).await;
            assert_eq!(answer.status, 303, "{}", answer.body);
            let row = terminal.row("pages:", |row| !row.contains("log in,"));
            assert_eq!(row.trim(), format!("pages: {login}"), "where the pages are is told on");
            assert!(!terminal.seen().contains(secret));
        }
        terminal.press("q");
        assert!(terminal.ended().success());
        terminal.until("demo over");
        let seen = terminal.seen();
        assert!(!seen.contains(secret) && !seen.contains("one-time secret"), "used: {is_used}: {seen}");
    }
}

// Own promise: what is done at the machines of a demo never looks like work at real ones. The first thing that a
// command for a technician says there is that nobody holds those probes; its answer for programs stays as it is.
#[test]
fn commands_at_the_probes_say_that_they_are_simulated() {
    let directory = TempDir::new().expect("a temporary directory");
    let mut demo = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    demo.args(["demo", "--ledger"]).arg(directory.path()).env_remove("RUST_LOG");
    let mut terminal = Terminal::start(&mut demo, 100, 40);
    terminal.row("kept in:", |row| row.contains(&*directory.path().to_string_lossy()));
    let socket = directory.path().join("ledger.sqlite.socket");
    terminal.holds("the control socket", || std::os::unix::net::UnixStream::connect(&socket).is_ok());
    for (words, said) in [
        (vec!["prove", "dm1", "--yes"], "! SIMULATED: these machines do not exist"),
        (vec!["respond", "dm1/rinse", "--yes", "--language", "es"], "! SIMULADO: estas máquinas no existen"),
        (vec!["watch", "--plain"], "SIMULATED machines, through the running service"),
    ] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command
            .args(&words)
            .arg("--config")
            .arg(directory.path().join("gateway.toml"))
            .env_remove("RUST_LOG");
        if words[0] != "watch" {
            command.args(["--by", "EL"]);
        }
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("it starts");
        let mut first = String::new();
        BufReader::new(child.stdout.take().expect("a pipe")).read_line(&mut first).expect("its first line");
        child.kill().and_then(|()| child.wait()).expect("it ends");
        assert!(first.starts_with(said), "{words:?}: {first}");
    }
    // Regression: another one begun there was refused, after it had written its own configuration over that of the first.
    let gateway = directory.path().join("gateway.toml");
    let before = std::fs::read(&gateway).expect("its configuration");
    let mut second = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    second.args(["demo", "--plain", "--ledger"]).arg(directory.path()).env_remove("RUST_LOG");
    let second = second.output().expect("it starts");
    assert_eq!(second.status.code(), Some(74));
    assert!(String::from_utf8_lossy(&second.stderr).contains("ledger-locked"));
    assert_eq!(std::fs::read(&gateway).expect("it is there"), before);
    terminal.press("q");
    assert!(terminal.ended().success());
}
