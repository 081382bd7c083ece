//! The demo on a terminal, beside its pages.

use std::net::{SocketAddr, TcpStream};
use std::process::Command;

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
        let row = terminal.row("pages:", |row| row.contains("administrator"));
        let words: Vec<&str> = row.split_whitespace().collect();
        let ["pages:", login, "administrator", secret] = words[..] else {
            panic!("where, as whom, by what: {row}")
        };
        if is_used {
            let address: SocketAddr =
                login.trim_start_matches("http://").trim_end_matches("/login").parse().expect(login);
            terminal.holds("pages", || TcpStream::connect(address).is_ok());
            let mut browser = Browser::new(login.trim_end_matches("/login"));
            assert_eq!(browser.login("administrator", secret).await.status, 303);
            assert!(terminal.seen().contains(secret), "until a password is chosen it can be typed again");
            let answer = choose(&mut browser, "", PASSWORD).await;
            assert_eq!(answer.status, 303, "{}", answer.body);
            let row = terminal.row("pages:", |row| !row.contains("administrator"));
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
