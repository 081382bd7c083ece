//! `rinseward series test` as a person meets it.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use super::influx::{Influx, Reply};
use super::secret;
use super::victoria::Victoria;

const SITE: &str = "[site]\nname = \"Main St, 1\"\n[[machine]]\nname = \"dm1\"\n\
                    kind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\"]\n";

fn configuration(directory: &Path, series: &str) -> PathBuf {
    let path = directory.join("gateway.toml");
    std::fs::write(&path, format!("{SITE}{series}")).expect("our own directory");
    path
}

fn section(url: &str) -> String {
    format!("[series]\nurl = \"{url}\"\norganisation = \"kitchens\"\nbucket = \"rinseward\"\n")
}

/// Runs the command beside the servers of the test.
async fn test(path: &Path, more: &'static [&'static str]) -> (String, String, i32) {
    let path = path.to_owned();
    let run = move || {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
        command.args(["series", "test", "--config"]).arg(&path).args(more).output().expect("the program runs")
    };
    let Output { status, stdout, stderr } = tokio::task::spawn_blocking(run).await.expect("it ends");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (text(stdout), text(stderr), status.code().expect("an exit code"))
}

#[tokio::test]
async fn the_real_server_gives_the_point_back() {
    let server = Victoria::start();
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = configuration(directory.path(), &section(&server.url()));
    let (out, err, code) = test(&path, &[]).await;
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    let url = server.url();
    assert_eq!(
        out,
        format!(
            "prepare  ok: certificates and settings for {url} are sound\n\
             bucket   ok: the server answers and has no list of buckets\n\
             write    ok: the server took one point\n\
             read     ok: the export gave the same value back\n"
        )
    );
    let (out, _, code) = test(&path, &["--json"]).await;
    let answer: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(
        (code, &answer["ok"], &answer["steps"][3]["step"]),
        (0, &true.into(), &"read".into()),
        "{out}"
    );
}

#[tokio::test]
async fn influx_gives_the_point_back() {
    let server = Influx::start().await;
    server.behaviour().token = Some("right".to_owned());
    let directory = tempfile::tempdir().expect("a temporary directory");
    secret(&directory.path().join("token"), "right\n");
    let series = format!("{}token-file = \"token\"\n", section(&server.url()));
    let (out, err, code) = test(&configuration(directory.path(), &series), &[]).await;
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(
        out.contains("bucket   ok: influxdb 2.7.1 has the bucket «rinseward» and keeps its points for 960 h"),
        "{out}"
    );
    assert!(out.ends_with("read     ok: a Flux query gave the same value back\n"), "{out}");
}

/// Exit codes are those of sysexits.h, as for every command: 74 a link, 78 the configuration.
#[tokio::test]
async fn each_step_that_fails_is_named() {
    let server = Influx::start().await;
    let directory = tempfile::tempdir().expect("a temporary directory");
    let file = |name: &str| directory.path().join(name);
    secret(&file("wrong"), "wrong");
    let good = section(&server.url());
    let other = |key: &str, from: &str, to: &str| {
        good.replace(&format!("{key} = \"{from}\""), &format!("{key} = \"{to}\""))
    };
    let encrypted = section("https://influx.invalid:8086");
    let nowhere = section("http://influx.invalid:8086");
    for (name, series, token, script, last, slug, expected) in [
        ("no section", String::new(), None, None, "", "series-off", 78),
        ("no such host", nowhere, None, None, "bucket   failed: ", "series-unreachable", 74),
        (
            "no such bucket",
            other("bucket", "rinseward", "x"),
            None,
            None,
            "write    failed: ",
            "series-bucket",
            78,
        ),
        (
            "no such organisation",
            other("organisation", "kitchens", "x"),
            None,
            None,
            "write    failed: ",
            "series-bucket",
            78,
        ),
        ("no token", good.clone(), Some("right"), None, "write    failed: ", "series-denied", 78),
        (
            "a wrong token",
            format!("{good}token-file = \"wrong\"\n"),
            Some("right"),
            None,
            "write    failed: ",
            "series-denied",
            78,
        ),
        (
            "no file with it",
            format!("{good}token-file = \"gone\"\n"),
            None,
            None,
            "bucket   failed: ",
            "series-denied",
            78,
        ),
        (
            "no certificates",
            format!("{encrypted}ca-file = \"gone\"\n"),
            None,
            None,
            "prepare  failed: ",
            "series-tls",
            74,
        ),
        (
            "refused",
            good.clone(),
            None,
            Some(Reply::error(400, "invalid", "unable to parse")),
            "write    failed: ",
            "series-refused",
            74,
        ),
        ("overloaded", good.clone(), None, Some(Reply::status(503)), "write    failed: ", "series-busy", 74),
    ] {
        server.behaviour().token = token.map(str::to_owned);
        server.behaviour().script = script.into_iter().collect();
        let path = configuration(directory.path(), &series);
        let (out, err, code) = test(&path, &[]).await;
        assert_eq!(code, expected, "{name}\n{out}{err}");
        assert!(err.contains(&format!("error[{slug}]: ")), "{name}\n{err}");
        let line = out.lines().last().unwrap_or_default();
        assert!(line.starts_with(last), "{name}\n{out}");
    }
}

/// A server that says «taken» and has nothing: the silence is told of.
#[tokio::test]
async fn a_point_that_does_not_come_back_is_told_of() {
    let server = Influx::start().await;
    server.script([Reply::status(204)]);
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = configuration(directory.path(), &section(&server.url()));
    let (out, err, code) = test(&path, &["--json"]).await;
    assert_eq!(code, 74, "{out}{err}");
    assert!(
        err.contains("error[series-unread]: the server took the point and does not give it back"),
        "{err}"
    );
    let answer: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(answer["steps"][3]["slug"], "series-unread", "{out}");
}
