//! `accounts` by command: the same with the service and without it.

use rinseward::core::record::{AccessDeed, AskedChange, Unchanged};
use serde_json::Value;

use super::gateway::{Gateway, PASSWORD, Site, member};

fn names(listed: &Value, what: &str) -> Vec<String> {
    let rows = listed[what].as_array().expect("a list");
    rows.iter().map(|row| row["name"].as_str().expect("a name").to_owned()).collect()
}

/// Every kind of change, as typed.
fn change_everything(site: &Site) {
    let by = ["--by", "Tom"];
    let run = |words: &[&str]| site.json(&[words, &by].concat());
    run(&["accounts", "add", "ana", "--name", "Ana", "--role", "operator", "--language", "es"]);
    run(&["accounts", "add", "boss", "--name", "Boss", "--role", "administrator"]);
    run(&["accounts", "role", "ana", "manager"]);
    run(&["accounts", "disable", "ana"]);
    run(&["accounts", "enable", "ana"]);
    let reset = run(&["accounts", "reset", "ana"]);
    assert!(reset["secret"].is_string() && reset["until"].is_string(), "{reset}");
    let token = run(&["accounts", "tokens", "add", "export", "--role", "auditor", "--days", "7"]);
    assert!(token["secret"].as_str().is_some_and(|secret| secret.starts_with("rinseward_")), "{token}");
    run(&["accounts", "tokens", "revoke", "export"]);
    let listed = run(&["accounts", "remove", "ana"]);
    assert!(!names(&listed, "accounts").contains(&"ana".to_owned()), "{listed}");
    assert_eq!(names(&listed, "tokens"), ["export"]);
    assert!(listed.get("secret").is_none() && !listed.to_string().contains("argon2"), "{listed}");
}

fn deeds(site: &Site) -> Vec<String> {
    let events = site.events().into_iter().filter(|event| event.by.as_deref() != Some("first start"));
    let named = |by: Option<String>| by.is_some_and(|by| by.starts_with("Tom (user "));
    let told = |what: AccessDeed| serde_json::to_value(what).expect("JSON").to_string();
    events
        .map(|event| {
            assert!(named(event.by.clone()), "{event:?}");
            let told = told(event.what);
            // The day of a token differs from run to run.
            format!("{} {}", event.account, told.split("\"until\"").next().unwrap_or(&told))
        })
        .collect()
}

#[test]
fn accounts_are_changed_alike_with_a_service_and_without_one() {
    let with = Site::new("");
    let gateway = Gateway::start(&with);
    change_everything(&with);
    gateway.stop();

    let without = Site::new("");
    Gateway::start(&without).stop();
    change_everything(&without);
    assert_eq!(deeds(&with), deeds(&without));
    assert_eq!(deeds(&with).len(), 9, "{:#?}", deeds(&with));

    // Before the first start there is no ledger: what was done waits for it.
    let before = Site::new("");
    change_everything(&before);
    assert!(!before.path("ledger.sqlite").exists());
    let gateway = Gateway::start(&before);
    assert!(!gateway.log().contains("one-time secret"), "there is an account already");
    gateway.stop();
    assert_eq!(deeds(&with), deeds(&before));
}

// Own promise: what is told of a new account or token is what is stored, whatever was typed; and an account with a name
// of before such names were refused is used as ever.
#[tokio::test(flavor = "multi_thread")]
async fn a_new_account_is_told_as_it_is_stored() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let told = |words: &[&str]| {
        let output = site.rinseward(&[&["accounts"], words, &["--by", "Tom"]].concat());
        assert_eq!(output.status.code(), Some(0), "{words:?}");
        String::from_utf8(output.stdout).expect("text")
    };
    for (words, stored) in [
        (&["add", " UPPER", "--name", "Upper Case", "--role", "auditor"][..], "The account «upper» is made."),
        (&["reset", "Upper"], "One-time secret of «upper»"),
        (&["tokens", "add", "EXPORT", "--role", "auditor"], "Token «export»"),
    ] {
        let told = told(words);
        assert!(told.contains(stored), "{words:?}: {told}");
    }
    let mut boss = member(&site, &gateway, "boss", "administrator").await;
    let add = [
        ("account", "LOUD"),
        ("name", "Lou Díaz"),
        ("role", "operator"),
        ("language", "en"),
        ("scale", "celsius"),
    ];
    let made = boss.post("/accounts", &add).await;
    assert!(made.status == 200 && made.body.contains("loud</h1>"), "{}", made.body);
    let token = boss.post("/tokens", &[("token", "TILL"), ("role", "auditor"), ("days", "9")]).await;
    assert!(token.status == 200 && token.body.contains("till</h1>"), "{}", token.body);
    for (shown, said) in [
        ("LOU DÍAZ", "The name reads like that of the account loud"),
        // The first letter of the second word is Cyrillic.
        ("Lou Мartin", "A word of the name mixes letters of several alphabets"),
    ] {
        let alike = add.map(|(name, value)| match name {
            "account" => (name, "other"),
            "name" => (name, shown),
            _ => (name, value),
        });
        let refused = boss.post("/accounts", &alike).await;
        assert_eq!(refused.status, 422, "{shown}");
        let said = format!(r#"id="name-error" role="alert">{said}"#);
        assert!(refused.body.contains(&said), "{shown}: {}", refused.body);
    }
    gateway.stop();
    let store = rusqlite::Connection::open(site.store()).expect("our own file");
    let changed =
        store.execute("UPDATE account SET shown = 'dm2/sanitizer' WHERE name IN ('boss', 'loud')", []);
    assert_eq!(changed.expect("SQL"), 2);
    drop(store);
    let gateway = Gateway::start(&site);
    let mut boss = gateway.browser();
    assert_eq!(boss.login("boss", PASSWORD).await.status, 303);
    assert!(boss.get("/accounts").await.body.contains("dm2/sanitizer"));
    gateway.stop();
}

/// Changes that cannot be, as typed, and what stands on record of each.
const REFUSED: [(&[&str], &str, AskedChange, Unchanged); 18] = [
    (&["add", "a b", "--name", "A", "--role", "auditor"], "?", AskedChange::Add, Unchanged::NoName),
    (&["add", "ana", "--name", " ", "--role", "auditor"], "ana", AskedChange::Add, Unchanged::Shown),
    (
        &["add", "ana", "--name", "Token export", "--role", "auditor"],
        "ana",
        AskedChange::Add,
        Unchanged::ReadsAsToken,
    ),
    (
        &["add", "bo", "--name", "dm2/sanitizer", "--role", "auditor"],
        "bo",
        AskedChange::Add,
        Unchanged::Shown,
    ),
    (
        &["add", "cy", "--name", "Ana\u{202e}zaíD", "--role", "auditor"],
        "cy",
        AskedChange::Add,
        Unchanged::Shown,
    ),
    (
        &["add", "di", "--name", "Ana\u{200b}Díaz", "--role", "auditor"],
        "di",
        AskedChange::Add,
        Unchanged::Shown,
    ),
    (&["add", "ed", "--name", "Ana ", "--role", "auditor"], "ed", AskedChange::Add, Unchanged::Shown),
    (
        &["add", "flo", "--name", "ａdministrator", "--role", "auditor"],
        "flo",
        AskedChange::Add,
        Unchanged::Taken,
    ),
    (
        &["add", "guy", "--name", "ADMINISTRATOR", "--role", "auditor"],
        "guy",
        AskedChange::Add,
        Unchanged::Taken,
    ),
    (
        &["add", "administrator", "--name", "A", "--role", "auditor"],
        "administrator",
        AskedChange::Add,
        Unchanged::Taken,
    ),
    (&["role", "administrator", "auditor"], "administrator", AskedChange::Role, Unchanged::LastAdministrator),
    (&["role", "administrator", "administrator"], "administrator", AskedChange::Role, Unchanged::Same),
    (&["disable", "nobody"], "nobody", AskedChange::Disable, Unchanged::Unknown),
    (&["enable", "administrator"], "administrator", AskedChange::Enable, Unchanged::Same),
    (&["reset", "nobody"], "nobody", AskedChange::Reset, Unchanged::Unknown),
    (&["unlock", "administrator"], "administrator", AskedChange::Unlock, Unchanged::Same),
    (&["remove", "administrator"], "administrator", AskedChange::Remove, Unchanged::LastAdministrator),
    (&["tokens", "revoke", "export"], "export", AskedChange::RevokeToken, Unchanged::Unknown),
];

// Own promise: what was refused is on record as well, with who asked for it, also where no service runs and before the
// first start.
#[test]
fn refused_changes_are_on_record() {
    let refuse_all = |site: &Site| {
        for (words, ..) in REFUSED {
            let output = site.rinseward(&[&["accounts"], words, &["--by", "Tom"]].concat());
            assert_eq!(output.status.code(), Some(64), "{words:?}");
        }
        let long =
            ["accounts", "tokens", "add", "export", "--role", "auditor", "--days", "400", "--by", "Tom"];
        assert_eq!(site.rinseward(&long).status.code(), Some(64));
    };
    let on_record = |site: &Site| {
        let refused = site.events().into_iter().filter_map(|event| {
            let AccessDeed::ChangeRefused { asked, why } = event.what else { return None };
            assert!(event.by.as_deref().is_some_and(|by| by.starts_with("Tom (user ")), "{event:?}");
            Some((event.account, asked, why))
        });
        refused.collect::<Vec<_>>()
    };
    let rows = REFUSED.iter().map(|(_, account, asked, why)| ((*account).to_owned(), *asked, *why));
    let too_long = ("export".to_owned(), AskedChange::AddToken, Unchanged::Days);
    let expected: Vec<_> = rows.chain([too_long]).collect();

    let with = Site::new("");
    let gateway = Gateway::start(&with);
    refuse_all(&with);
    gateway.stop();
    assert_eq!(on_record(&with), expected);

    let without = Site::new("");
    Gateway::start(&without).stop();
    refuse_all(&without);
    assert_eq!(on_record(&without), expected, "at once, though no service runs");

    let before = Site::new("");
    before.json(&[
        "accounts",
        "add",
        "administrator",
        "--name",
        "A",
        "--role",
        "administrator",
        "--by",
        "Tom",
    ]);
    refuse_all(&before);
    Gateway::start(&before).stop();
    assert_eq!(on_record(&before), expected);
}

// Exit codes of sysexits.h (4.3BSD).
#[test]
fn what_cannot_be_is_refused_by_command() {
    let site = Site::new("");
    Gateway::start(&site).stop();
    let rows: [(&[&str], i32, &str); 9] = [
        (
            &["accounts", "add", "ana", "--name", "token x", "--role", "auditor", "--by", "Tom"],
            64,
            "do:    give the name as people call them",
        ),
        (&["accounts", "disable", "nobody", "--by", "Tom"], 64, "none of this name"),
        (&["accounts", "remove", "administrator", "--by", "Tom"], 64, "last administrator"),
        (&["accounts", "role", "administrator", "auditor", "--by", "Tom"], 64, "last administrator"),
        (
            &["accounts", "add", "a b", "--name", "A", "--role", "auditor", "--by", "Tom"],
            64,
            "a name has 1 to 32",
        ),
        (&["accounts", "add", "ana", "--name", " ", "--role", "auditor", "--by", "Tom"], 64, "missing"),
        (&["accounts", "add", "ana", "--name", "A", "--role", "chef", "--by", "Tom"], 64, "a role is one of"),
        (&["accounts", "reset", "administrator", "--by", " "], 64, "--by"),
        (
            &["accounts", "tokens", "add", "x", "--role", "auditor", "--days", "400", "--by", "Tom"],
            64,
            "366 days",
        ),
    ];
    for (arguments, code, part) in rows {
        let output = site.rinseward(arguments);
        let said = String::from_utf8([output.stdout, output.stderr].concat()).expect("UTF-8");
        assert_eq!((output.status.code(), said.contains(part)), (Some(code), true), "{arguments:?}: {said}");
    }
    let output = site.rinseward(&["accounts", "list"]);
    let said = String::from_utf8(output.stdout).expect("UTF-8");
    assert!(said.contains("administrator") && said.contains("one-time secret"), "{said}");
}
