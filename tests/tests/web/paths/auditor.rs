//! The auditor's desk: records taken away and proved elsewhere, with nothing but the site's public key.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use rinseward::core::record::Body;

use super::chromium::{Chromium, Wish};
use super::gateway::{PASSWORD, member};
use super::kitchen::Kitchen;
use super::sheets::SMALL;

/// Longest wait for a download.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// Waits for a whole file whose name ends like this.
async fn downloaded(folder: &Path, end: &str) -> PathBuf {
    let limit = Instant::now() + WAIT_MAX;
    loop {
        let files = std::fs::read_dir(folder).expect("our own folder").flatten();
        // Chromium gives a file its name when it is whole.
        let mut whole = files.map(|file| file.path()).filter(|path| path.to_string_lossy().ends_with(end));
        if let Some(path) = whole.next() {
            return path;
        }
        assert!(Instant::now() < limit, "nothing ends in {end}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// What a verification on another computer says.
fn verified(file: &Path, further: &[&str]) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    let output = command.arg("verify").arg(file).args(further).output().expect("the program starts");
    let said = String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned();
    assert!(output.status.success(), "{said}");
    said
}

// Own promise: from the history to a file that proves itself, by what stands on the pages. The report needs its
// program beside the gateway's, as packages have it and the feature `pdf` builds it.
#[tokio::test(flavor = "multi_thread")]
async fn an_auditor_takes_records_away_and_verifies_them() {
    let mut kitchen = Kitchen::open(0.1);
    member(&kitchen.site, &kitchen.gateway, "eva", "auditor").await;
    kitchen.until_cold();
    kitchen.until(|kitchen| kitchen.racks() > 3);
    let downloads = tempfile::tempdir().expect("a temporary folder");
    let wish = Wish { downloads: Some(downloads.path()), ..Wish::default() };
    let phone = Chromium::open(kitchen.site.port, wish).await;
    phone.log_in("eva", PASSWORD).await;
    phone.press("History").await;
    phone.until_shown("Take these records away").await;
    let mut forms = vec![("Evidence", ".evidence.jsonl"), ("CSV", ".csv")];
    if cfg!(feature = "pdf") {
        forms.push(("PDF", ".pdf"));
    }
    let mut files = Vec::new();
    for (form, end) in forms {
        phone.press("History").await;
        phone.press("Take these records away").await;
        phone.press(form).await;
        phone.press("Make the file").await;
        phone.press("Download").await;
        files.push((end, downloaded(downloads.path(), end).await));
    }
    phone.press("Public key of the site").await;
    let key = downloaded(downloads.path(), ".verify-key").await.display().to_string();
    let evidence = files[0].1.display().to_string();
    for (end, file) in &files {
        let further =
            if *end == ".csv" { vec!["--with", &evidence, "--key", &key] } else { vec!["--key", &key] };
        verified(file, &further);
    }
    kitchen.gateway.stop();
}

// Own promise: the same by plain links and forms on a small phone: what is looked for is found by a filter, its record
// opened, and a file made of which nobody need believe the page.
#[tokio::test(flavor = "multi_thread")]
async fn an_auditor_finds_a_record_and_takes_it_away_without_scripts() {
    let mut kitchen = Kitchen::open(0.1);
    member(&kitchen.site, &kitchen.gateway, "eva", "auditor").await;
    kitchen.until_cold();
    let is_raised = |kitchen: &Kitchen| {
        let raised = kitchen.site.bodies(&["alert-raised"]);
        raised
            .iter()
            .any(|body| matches!(body, Body::AlertRaised(raised) if raised.condition.as_str() == "cold"))
    };
    kitchen.until(is_raised);
    let downloads = tempfile::tempdir().expect("a temporary folder");
    let wish = Wish { downloads: Some(downloads.path()), without_script: true };
    let phone = Chromium::open(kitchen.site.port, wish).await;
    phone.resize(SMALL).await;
    phone.log_in("eva", PASSWORD).await;
    phone.press("History").await;
    let all = phone.until_shown("Take these records away").await;
    assert!(all.contains("bar · "), "racks of both machines: {all}");
    phone.press("More filters").await;
    phone.choose("Machine", "dm1").await;
    phone.choose("Verdict", "cold").await;
    phone.press("Show").await;
    phone.until(|| async { phone.place().await.contains("verdict=cold") }).await;
    let cold = phone.until_shown("dm1 · ").await;
    assert!(cold.contains("1 rack.") && !cold.contains("bar · "), "{cold}");
    let (before, measured) = cold.split_once("dm1 · ").expect("it is shown");
    phone.press(before.trim_end().lines().last().expect("when it was washed")).await;
    phone.until(|| async { phone.place().await.contains("/cycles/") }).await;
    phone.until_shown(measured.split(" (").next().expect("what was measured")).await;
    phone.press("History").await;
    phone.press("All other records").await;
    phone.press("More filters").await;
    phone.choose("Kind", "configuration").await;
    phone.press("Show").await;
    phone.press("configuration · ").await;
    phone.until_shown("Place in the record").await;
    let (form, end) = if cfg!(feature = "pdf") { ("PDF", ".pdf") } else { ("Evidence", ".evidence.jsonl") };
    phone.press("History").await;
    phone.press("Take these records away").await;
    phone.press(form).await;
    phone.press("Make the file").await;
    phone.press("Download").await;
    let report = downloaded(downloads.path(), end).await;
    phone.press("Public key of the site").await;
    let key = downloaded(downloads.path(), ".verify-key").await.display().to_string();
    verified(&report, &["--key", &key]);
    kitchen.gateway.stop();
}
