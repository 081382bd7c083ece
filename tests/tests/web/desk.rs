//! The auditor's desk: exports that are made on the page and verified elsewhere, a check that finds what was
//! changed, and who may have neither.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use rinseward::core::audit::Outcome;
use rinseward::core::record::AccessDeed;
use rusqlite::Connection;

use super::browser::Browser;
use super::gateway::{Gateway, Site, member};

/// Longest wait for a job.
const WAIT_MAX: Duration = Duration::from_secs(60);

/// Days that hold whatever this test records.
const DAYS: [(&str, &str); 2] = [("from", "2020-01-01"), ("to", "2099-12-31")];

/// Begins an export of whatever a test records; the page of the job.
pub(crate) async fn begin(browser: &mut Browser, form: &[(&str, &str)]) -> String {
    let begun = browser.post("/history/exports", &[&DAYS, form].concat()).await;
    assert_eq!(begun.status, 303, "{}", begun.body);
    format!("/history/{}", begun.location())
}

/// Reloads a page until it says this.
async fn until(browser: &mut Browser, path: &str, said: &str) -> String {
    let limit = Instant::now() + WAIT_MAX;
    loop {
        let page = browser.get(path).await.body;
        if page.contains(said) {
            return page;
        }
        assert!(Instant::now() < limit && !page.contains("NOT MADE"), "«{said}» is not in {page}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// The file of an export, put beside the ledger under the name that the answer gives it.
pub(crate) async fn fetched(site: &Site, browser: &mut Browser, job: &str) -> PathBuf {
    until(browser, job, "Ready").await;
    let answer = browser.bytes(&format!("{job}/file")).await;
    let named = answer.0.header("content-disposition");
    let name = named.strip_prefix("attachment; filename=\"").and_then(|name| name.strip_suffix('"'));
    let name = name.expect("a name").to_owned();
    assert!(name.starts_with("north-kitchen_2020-01-01_2099-12-31."), "{name}");
    let path = site.path(&name);
    fs::write(&path, answer.1).expect("our own folder");
    path
}

fn verify(file: &Path, further: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rinseward"));
    command.arg("verify").arg(file).args(further).output().expect("the program starts")
}

fn whole(output: &Output) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{} {said}", String::from_utf8_lossy(&output.stdout));
}

// Own promises: each form is made from a page, the file verifies with nothing but the key that the page hands
// out, who took it is on record and in the evidence itself, and what one has may be ended.
#[tokio::test(flavor = "multi_thread")]
async fn every_export_verifies_with_the_key_of_the_page() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut browser = member(&site, &gateway, "eva", "auditor").await;
    let mut tables = Vec::new();
    for form in ["csv", "jsonl"] {
        let job = begin(&mut browser, &[("form", form)]).await;
        tables.push(fetched(&site, &mut browser, &job).await);
        assert_eq!(browser.post(&format!("{job}/end"), &[]).await.location(), "../../exports");
        assert_eq!(browser.get(&job).await.status, 404);
    }
    let evidence = begin(&mut browser, &[("form", "evidence")]).await;
    let evidence = fetched(&site, &mut browser, &evidence).await;
    let key = browser.get("/history/key").await;
    assert_eq!(key.header("content-disposition"), "attachment; filename=\"site.verify-key\"");
    let placed = fs::read_to_string(site.path("ledger.sqlite.verify-key")).expect("the key lies there");
    assert_eq!(key.body, placed);
    fs::write(site.path("site.verify-key"), &key.body).expect("our own folder");
    let key = site.path("site.verify-key").display().to_string();
    whole(&verify(&evidence, &["--key", &key]));
    // The checkpoint that was kept elsewhere is one of the ledger.
    let kept = site.path("site.checkpoint");
    fs::write(&kept, browser.get("/history/checkpoint").await.body).expect("our own folder");
    let kept = kept.display().to_string();
    whole(&verify(&site.path("ledger.sqlite"), &["--key", &key, "--checkpoint", &kept]));
    let taken = fs::read_to_string(&evidence).expect("text");
    assert!(taken.contains("took-away") && taken.contains("\\\"form\\\":\\\"evidence"), "{taken}");

    for table in tables {
        whole(&verify(&table, &["--with", &evidence.display().to_string(), "--key", &key]));
    }
    let job = begin(&mut browser, &[("form", "json")]).await;
    let account = fs::read_to_string(fetched(&site, &mut browser, &job).await).expect("text");
    let account: serde_json::Value = serde_json::from_str(&account).expect("one object");
    assert_eq!(account["site"], "North kitchen");

    let pdf = [("form", "pdf"), ("paper", "letter"), ("scale", "fahrenheit"), ("language", "es")];
    if Path::new(env!("CARGO_BIN_EXE_rinseward")).with_file_name("rinseward-report").exists() {
        let job = begin(&mut browser, &pdf).await;
        let report = fetched(&site, &mut browser, &job).await;
        whole(&verify(&report, &["--key", &key]));
    } else {
        let refused = browser.post("/history/exports", &[&DAYS[..], &pdf].concat()).await;
        assert_eq!(refused.status, 422);
        assert!(refused.body.contains("not installed at the gateway"), "{}", refused.body);
    }
    let forms: Vec<String> = site
        .events()
        .into_iter()
        .filter(|event| event.account == "eva")
        .filter_map(
            |event| if let AccessDeed::TookAway { form, .. } = event.what { Some(form) } else { None },
        )
        .collect();
    assert_eq!(forms.get(..4), Some(["csv", "jsonl", "evidence", "json"].map(str::to_owned).as_slice()));
    gateway.stop();
}

/// Changes a file.
fn rewrite(path: &Path, from: &str, to: &str) {
    let text = fs::read_to_string(path).expect("text");
    assert!(text.contains(from), "«{from}» is not in {text}");
    fs::write(path, text.replacen(from, to, 1)).expect("our own folder");
}

// Own promise: the proof that a page hands out verifies with nothing but the key that a page hands out, says what it
// proves and what not, and what was changed in it is named, by the codes of every verification.
#[tokio::test(flavor = "multi_thread")]
async fn a_proof_of_one_record_verifies_with_the_key_of_the_page() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut eva = member(&site, &gateway, "eva", "auditor").await;
    // Evidence makes a checkpoint.
    let job = begin(&mut eva, &[("form", "evidence")]).await;
    until(&mut eva, &job, "Ready").await;
    let (key, path) = (site.path("site.verify-key"), site.path("proof.json"));
    fs::write(&key, eva.get("/history/key").await.body).expect("our own folder");
    let key = ["--key", &key.display().to_string()].map(str::to_owned);
    let key: Vec<&str> = key.iter().map(String::as_str).collect();
    let proof = eva.get("/cycles/1/proof").await;
    assert_eq!(proof.status, 200, "{}", proof.body);
    fs::write(&path, &proof.body).expect("our own folder");
    let output = verify(&path, &key);
    whole(&output);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    for part in [
        "whole: proof of one record",
        "record 1, of ",
        "that the checkpoint seals",
        "the checkpoint was sealed at ",
        "it proves this one record and no other",
    ] {
        assert!(said.contains(part), "«{part}» is not in {said}");
    }
    let told = verify(&path, &[&key[..], &["--json"]].concat());
    let told: serde_json::Value = serde_json::from_slice(&told.stdout).expect("JSON");
    assert_eq!((&told["outcome"], &told["record"]), (&"whole".into(), &1.into()), "{told}");

    for (from, to, code, said) in [
        ("\"record\":1,", "\"record\":2,", 1, "does not lead to «root_sha256»"),
        ("recorded", "Recorded", 1, "the record was changed"),
        ("\"tree_size\":", "\"tree_size\":1", 1, "«tree_size» is not what the checkpoint says"),
        ("north-kitchen", "south-kitchen", 1, "the checkpoint is not sealed by the key given"),
        ("inclusion-1", "inclusion-2", 2, "could not be checked"),
        ("\"format\":", "\"format\": ", 1, "not written as a gateway writes it"),
    ] {
        fs::write(&path, &proof.body).expect("our own folder");
        rewrite(&path, from, to);
        let output = verify(&path, &key);
        let words = String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned();
        assert_eq!(output.status.code(), Some(code), "{from}: {words}");
        assert!(words.contains(said), "«{said}» is not in {words}");
    }
    gateway.stop();
}

// Own promises: nobody sees or fetches the export of another, one account has few at a time, and a role that may
// not take records away neither begins one nor has the ledger checked; that it tried is on record.
#[tokio::test(flavor = "multi_thread")]
async fn exports_are_for_those_who_may_and_for_nobody_else() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut eva = member(&site, &gateway, "eva", "auditor").await;
    let job = begin(&mut eva, &[("form", "csv")]).await;
    until(&mut eva, &job, "Ready").await;
    let mut max = member(&site, &gateway, "max", "manager").await;
    for path in [job.clone(), format!("{job}/file")] {
        assert_eq!(max.get(&path).await.status, 404, "{path}");
    }
    max.post(&format!("{job}/end"), &[]).await;
    assert_eq!(eva.get(&format!("{job}/file")).await.status, 200, "it is not max's to end");
    for _ in 0..2 {
        begin(&mut eva, &[("form", "csv")]).await;
    }
    let many = eva.post("/history/exports", &[&DAYS[..], &[("form", "csv")]].concat()).await;
    assert!(many.status == 422 && many.body.contains("as many exports"), "{}", many.body);
    for (wrong, said) in [
        ([("form", "csv"), ("machine", "dm9")], "No machine of this name"),
        ([("form", "csv"), ("machine", "../dm1")], "No machine of this name"),
    ] {
        let refused = max.post("/history/exports", &[&DAYS[..], &wrong].concat()).await;
        assert!(refused.status == 422 && refused.body.contains(said), "{}", refused.body);
    }
    let mut tim = member(&site, &gateway, "tim", "technician").await;
    for path in ["/history/exports", job.as_str()] {
        assert_eq!(tim.get(path).await.status, 403, "{path}");
    }
    assert_eq!(tim.post("/history/exports", &[&DAYS[..], &[("form", "csv")]].concat()).await.status, 403);
    assert_eq!(tim.post("/history/integrity", &[]).await.status, 403);
    let mut stranger = gateway.browser();
    assert_eq!(stranger.get("/history/integrity").await.status, 303);
    gateway.stop();
    // What a run before left is removed at the start of the next.
    let folder = site.path("ledger.sqlite.exports");
    let number = job.rsplit('/').next().expect("the number of the job");
    assert!(folder.join(number).exists());
    let gateway = Gateway::start(&site);
    let left = std::fs::read_dir(&folder).map_or(0, Iterator::count);
    assert_eq!(left, 0, "nothing of before is kept");
    gateway.kill();
}

// Own promises: a check from the page says whole of a whole ledger and puts that on record; after one byte of a
// record was changed the next one says which, in words, and the page of that record says that it is damaged.
#[tokio::test(flavor = "multi_thread")]
async fn a_check_finds_a_changed_ledger() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut browser = member(&site, &gateway, "eva", "auditor").await;
    let job = begin(&mut browser, &[("form", "evidence")]).await;
    until(&mut browser, &job, "Ready").await;
    assert_eq!(browser.post("/history/integrity", &[]).await.location(), "integrity");
    let page = until(&mut browser, "/history/integrity", "WHOLE").await;
    assert!(!page.contains("NOT WHOLE") && page.contains("eva"), "{page}");
    let told = site.events();
    let found = told.iter().find_map(|event| {
        if let AccessDeed::Checked { outcome, .. } = &event.what {
            Some((&event.account, *outcome))
        } else {
            None
        }
    });
    assert_eq!(found, Some((&"eva".to_owned(), Outcome::Whole)));
    gateway.stop();

    let changed = change(&site.path("ledger.sqlite"));
    let gateway = Gateway::start(&site);
    let mut browser = gateway.browser();
    browser.login("eva", super::gateway::PASSWORD).await;
    let before = browser.get("/history/integrity").await.body;
    assert!(
        before.contains("WHOLE") && !before.contains("NOT WHOLE"),
        "what is on record of the last: {before}"
    );
    browser.post("/history/integrity", &[]).await;
    let page = until(&mut browser, "/history/integrity", "NOT WHOLE").await;
    assert!(page.contains("A record was CHANGED") && page.contains(&format!("records/{changed}")), "{page}");
    let record = browser.get(&format!("/history/records/{changed}")).await.body;
    assert!(record.contains("DAMAGED: this record"), "{record}");
    gateway.kill();
}

/// Changes the name of an account in the record that it was made by; gives its index.
fn change(ledger: &Path) -> u64 {
    let connection = Connection::open(ledger).expect("a ledger");
    connection.execute_batch("DROP TRIGGER record_stays;").expect("somebody with the file may do so");
    let find = "SELECT idx FROM record WHERE kind = 'access' AND CAST(bytes AS TEXT) LIKE '%\"added\"%' ORDER BY idx DESC";
    let index: i64 = connection.query_row(find, [], |row| row.get(0)).expect("an account was made");
    let update =
        "UPDATE record SET bytes = CAST(REPLACE(CAST(bytes AS TEXT), 'eva', 'evi') AS BLOB) WHERE idx = ?1";
    assert_eq!(connection.execute(update, [index]).expect("a ledger"), 1);
    u64::try_from(index).expect("an index")
}
