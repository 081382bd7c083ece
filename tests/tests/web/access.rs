//! From the first start to the last logout.

use rinseward::core::access::{Right, Role};
use rinseward::core::record::{AccessDeed, AccessRefusal, AskedChange, Unchanged};

use super::gateway::{Gateway, PASSWORD, Site, choose, first_secret, holds, member};

// What the issue promises of the first start: one account, a secret that is shown once, and nothing
// else before a password is chosen. No secret is found anywhere afterwards.
#[tokio::test(flavor = "multi_thread")]
async fn a_first_start_ends_in_a_password_of_ones_own() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let log = gateway.log();
    let secret = first_secret(&log);
    assert_eq!(log.matches(&secret).count(), 1, "{log}");
    let mut browser = gateway.browser();
    let answer = browser.get("/accounts").await;
    assert_eq!((answer.status, answer.location()), (303, "./login?to=accounts"));

    let answer = browser.login("Administrator ", &secret).await;
    assert_eq!((answer.status, answer.location()), (303, "./account"), "{}", answer.body);
    let answer = browser.get("/accounts").await;
    assert_eq!((answer.status, answer.location()), (303, "./account"), "nothing before a password");
    let form =
        [("account", "ana"), ("name", "Ana"), ("role", "manager"), ("language", "en"), ("scale", "celsius")];
    assert_eq!(browser.post("/accounts", &form).await.status, 403);

    for (new, again, field) in [
        ("short", "short", "new-error"),
        ("password123", "password123", "new-error"),
        ("administrator 1", "administrator 1", "new-error"),
        (PASSWORD, "kettle rain eight", "again-error"),
        (secret.as_str(), secret.as_str(), "new-error"),
    ] {
        let form = [("deed", "password"), ("new", new), ("again", again)];
        let answer = browser.post("/account", &form).await;
        assert_eq!((answer.status, answer.body.contains(field)), (422, true), "{new}: {}", answer.body);
    }
    let before = browser.cookie.clone();
    let answer = choose(&mut browser, "", PASSWORD).await;
    assert_eq!((answer.status, answer.location()), (303, "./account"), "{}", answer.body);
    let claim = "You are logged out everywhere else";
    for (path, status, said) in
        [("/account", 200, true), ("/account", 200, false), ("/account?changed=1", 422, false)]
    {
        let page = browser.get(path).await;
        assert_eq!((page.status, page.body.contains(claim)), (status, said), "{path}: {}", page.body);
    }
    assert_ne!(browser.cookie, before, "the secret of the browser changes with the rights");
    assert_eq!(browser.get("/accounts").await.status, 200);
    let after = std::mem::replace(&mut browser.cookie, before);
    assert_eq!(browser.get("/accounts").await.status, 303, "the one before is void");

    let mut other = gateway.browser();
    assert_eq!(other.login("administrator", &secret).await.status, 422);
    assert_eq!(other.login("administrator", PASSWORD).await.status, 303);
    browser.cookie = after;
    let answer = browser.post("/logout", &[]).await;
    assert_eq!((answer.status, answer.location()), (303, "./login"));
    assert!(browser.cookie.is_none());
    gateway.stop();

    let told: Vec<_> = site.events().into_iter().map(|event| event.what).collect();
    let added = AccessDeed::Added { role: Role::Administrator, name: "Administrator".to_owned() };
    let refused = AccessDeed::Refused(AccessRefusal::Wrong);
    let logged_in = AccessDeed::LoggedIn;
    let not_taken = AccessDeed::ChangeRefused { asked: AskedChange::Password, why: Unchanged::Password };
    let expected = [
        added,
        logged_in.clone(),
        not_taken.clone(),
        AccessDeed::PasswordChanged,
        refused,
        logged_in,
        AccessDeed::LoggedOut,
        not_taken,
    ];
    assert_eq!(told, expected);
    let times: u32 = site
        .events()
        .iter()
        .filter(|event| matches!(event.what, AccessDeed::ChangeRefused { .. }))
        .map(|event| event.times)
        .sum();
    assert_eq!(times, 5, "each password that was not taken is counted");
    assert!(site.events().iter().skip(1).all(|event| event.from.as_deref() == Some("127.0.0.1")));

    // Another start prints no other secret.
    let gateway = Gateway::start(&site);
    assert_eq!(gateway.log().matches("one-time secret:").count(), 1);
    let mut last = gateway.browser();
    assert_eq!(last.login("administrator", PASSWORD).await.status, 303);
    let cookie = last.cookie.clone().expect("a session");
    let value = cookie.split_once('=').expect("a pair").1;
    gateway.stop();
    let folder = site.path(".");
    assert_eq!(
        holds(&folder, value),
        Vec::<std::path::PathBuf>::new(),
        "the browser's secret is kept as a hash"
    );
    assert_eq!(holds(&folder, PASSWORD), Vec::<std::path::PathBuf>::new());
    assert_eq!(holds(&folder, &secret), [site.path("./gateway.log")], "on the console alone");
}

// Own promise: whoever reads no English finds their language before they log in and on the page for their first password.
// That of an account changes by its owner's choice alone, never by what was chosen at a phone that others use too.
#[tokio::test(flavor = "multi_thread")]
async fn both_languages_are_offered_before_the_first_password() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let secret = site.add("rosa", "operator");
    let mut browser = gateway.browser();
    let page = browser.get("/login?to=logbook").await;
    assert!(page.body.contains("href=\"login?language=es&#38;to=logbook\""), "{}", page.body);
    let page = browser.get("/login?language=es&to=logbook").await;
    assert!(page.body.contains("<html lang=\"es\">") && page.body.contains("Contraseña"), "{}", page.body);
    let set = page.headers.get("set-cookie").and_then(|set| set.to_str().ok()).unwrap_or_default();
    assert!(set.starts_with("rinseward-language=es;") && set.contains("HttpOnly; SameSite=Strict"), "{set}");
    let page = browser.get("/login").await;
    assert!(page.body.contains("<html lang=\"es\">"), "the browser keeps it: {}", page.body);
    assert_eq!(browser.get("/login?language=tlh").await.status, 422);

    assert_eq!(browser.login("rosa", &secret).await.status, 303);
    let page = browser.get("/account").await;
    for said in [
        "<html lang=\"en\"",
        "name=\"language\" value=\"en\" lang=\"en\" aria-current=\"true\">English</button>",
        "name=\"language\" value=\"es\" lang=\"es\">Español</button>",
    ] {
        assert!(page.body.contains(said), "{said}: {}", page.body);
    }
    let spanish = [("deed", "reader"), ("scale", "celsius"), ("language", "es")];
    let answer = browser.post("/account", &spanish).await;
    assert_eq!((answer.status, answer.location()), (303, "./account"), "{}", answer.body);
    let page = browser.get("/account").await;
    assert!(page.body.contains("<html lang=\"es\"") && page.body.contains("id=\"new\""), "{}", page.body);
    assert_eq!(browser.get("/logbook").await.location(), "./account", "nothing else before a password");
    assert_eq!(choose(&mut browser, "", PASSWORD).await.status, 303);
    let page = browser.get("/logbook").await;
    assert!(page.body.contains("<html lang=\"es\""), "{}", page.body);
    let mut other = gateway.browser();
    let kept = other.get("/login?language=en").await.status;
    assert_eq!((kept, other.login("rosa", PASSWORD).await.status), (200, 303));
    assert!(other.get("/logbook").await.body.contains("<html lang=\"es\""));
    gateway.stop();
}

// Own promise: whoever asks for a role that there is not is told which there are; nothing changes.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_role_is_answered_with_those_there_are() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    member(&site, &gateway, "ann", "auditor").await;
    let mut boss = member(&site, &gateway, "boss", "administrator").await;
    let new = [("account", "rex"), ("name", "Rex"), ("language", "en"), ("scale", "celsius")];
    for (path, form) in [
        ("/accounts", &[&new[..], &[("role", "king")]].concat()),
        ("/accounts/ann", &vec![("deed", "role"), ("role", "king")]),
        ("/accounts/ann", &vec![("deed", "role")]),
        ("/tokens", &vec![("token", "till"), ("role", "king"), ("days", "1")]),
    ] {
        let answer = boss.post(path, form).await;
        assert_eq!(answer.status, 422, "{path}: {}", answer.body);
        for role in Role::ALL {
            assert!(answer.body.contains(role.as_str()), "{path}: {role}: {}", answer.body);
        }
    }
    gateway.stop();
    let changed = site.events().into_iter().map(|event| event.what).find(|what| {
        let added = matches!(what, AccessDeed::Added { name, .. } if name == "Rex");
        added || matches!(what, AccessDeed::RoleChanged { .. } | AccessDeed::TokenAdded { .. })
    });
    assert_eq!(changed, None, "nothing changed");
}

// Every role at every route of access; the table is the project's own (`core::access`).
#[tokio::test(flavor = "multi_thread")]
async fn each_role_sees_what_it_may() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let routes = [
        ("GET", "/login", true),
        ("GET", "/account", true),
        ("GET", "/accounts", false),
        ("GET", "/accounts/ann", false),
        ("POST", "/accounts", false),
        ("POST", "/accounts/ann", false),
        ("POST", "/tokens", false),
        ("POST", "/tokens/none", false),
    ];
    member(&site, &gateway, "ann", "auditor").await;
    for role in Role::ALL {
        let account = format!("a-{role}");
        let mut browser = member(&site, &gateway, &account, role.as_str()).await;
        for (method, path, everybody) in routes {
            let answer =
                if method == "GET" { browser.get(path).await } else { browser.post(path, &[]).await };
            let turned_away = answer.status == 403;
            let may = everybody || role == Role::Administrator;
            assert_eq!(turned_away, !may, "{role} {method} {path}: {}", answer.status);
        }
        if role != Role::Administrator {
            let event = site.until_told(&account, &AccessDeed::Refused(AccessRefusal::NotAllowed));
            assert_eq!(event.from.as_deref(), Some("127.0.0.1"));
            assert_eq!(event.right, Some(Right::Accounts), "{role}");
        }
    }
    let mut stranger = gateway.browser();
    for (method, path, _) in routes.into_iter().filter(|(_, path, _)| *path != "/login") {
        let answer = if method == "GET" { stranger.get(path).await } else { stranger.post(path, &[]).await };
        let expected = if method == "GET" { 303 } else { 401 };
        assert_eq!(answer.status, expected, "{method} {path}");
    }
}

// The administrator's day at the page: an account is made, used, changed and removed, and each
// change is on record with who asked for it. Whoever is logged in is out at once.
#[tokio::test(flavor = "multi_thread")]
async fn an_administrator_keeps_accounts_at_the_page() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut boss = gateway.browser();
    boss.login("administrator", &first_secret(&gateway.log())).await;
    assert_eq!(boss.get("/account?mistyped=1").await.status, 422, "also before a password is chosen");
    choose(&mut boss, "", PASSWORD).await;
    let form = |account: &'static str, name: &'static str| {
        [
            ("account", account),
            ("name", name),
            ("role", "operator"),
            ("language", "es"),
            ("scale", "fahrenheit"),
        ]
    };
    let answer = boss.post("/accounts", &form("luz", "Luz <b>Prado")).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    let secret = answer.body.split("class=\"secret\">").nth(1).and_then(|rest| rest.split('<').next());
    let secret = secret.expect("a secret is shown").to_owned();
    let answer = boss.post("/accounts", &form("luz", "Luz")).await;
    assert_eq!((answer.status, answer.body.contains("account-error")), (422, true), "{}", answer.body);
    let answer = boss.post("/accounts", &form("l/uz", "Luz")).await;
    assert_eq!((answer.status, answer.body.contains("account-error")), (422, true), "{}", answer.body);
    let answer = boss.post("/accounts", &form("ben", " ")).await;
    assert_eq!((answer.status, answer.body.contains("name-error")), (422, true), "{}", answer.body);
    let answer = boss.get("/accounts").await;
    assert!(
        answer.body.contains("Luz &#60;b&#62;Prado") && !answer.body.contains("<b>Prado"),
        "{}",
        answer.body
    );
    assert!(!answer.body.contains(&secret), "it was shown once");

    let mut luz = gateway.browser();
    assert_eq!(luz.login("luz", &secret).await.location(), "./account");
    assert!(luz.get("/account").await.body.contains("lang=\"es\""), "in her language");
    assert_eq!(choose(&mut luz, "", "lluvia de enero").await.status, 303);
    for (deed, role, told) in [
        ("role", "manager", AccessDeed::RoleChanged { role: Role::Manager, before: Role::Operator }),
        ("disable", "", AccessDeed::Disabled),
        ("enable", "", AccessDeed::Enabled),
        ("reset", "", AccessDeed::SecretReset),
        ("remove", "", AccessDeed::Removed),
    ] {
        if deed == "disable" || deed == "reset" {
            assert_eq!(luz.login("luz", "lluvia de enero").await.status, 303, "before {deed}");
        }
        let form = [("deed", deed), ("role", role)];
        let form = if role.is_empty() { &form[..1] } else { &form[..] };
        if ["disable", "remove"].contains(&deed) {
            let page = boss.get("/accounts/luz").await.body;
            let behind = page
                .find(&format!("value=\"{deed}\""))
                .map(|at| page[..at].rfind("<details>") > page[..at].rfind("</details>"));
            assert_eq!(behind, Some(true), "{deed} takes a second tap: {page}");
        }
        let answer = boss.post("/accounts/luz", form).await;
        assert!([200, 303].contains(&answer.status), "{deed}: {}", answer.body);
        if answer.status == 303 {
            let page = if deed == "remove" { "/accounts" } else { "/accounts/luz" };
            let told = |body: &str| body.contains("role=\"status\"");
            assert!(told(&boss.get(page).await.body), "{deed}: it is said that it is done");
            assert!(!told(&boss.get(page).await.body), "{deed}: once");
        } else {
            assert!(answer.body.contains("into the field «Password»"), "{}", answer.body);
        }
        let event = site.until_told("luz", &told);
        assert_eq!((event.by.as_deref(), event.from.as_deref()), (Some("administrator"), Some("127.0.0.1")));
        let answer = luz.get("/account").await;
        assert_eq!((answer.status, answer.location()), (303, "./login?to=account"), "after {deed}");
    }
    assert_eq!(boss.get("/accounts/luz").await.status, 404);
    for deed in ["disable", "remove"] {
        let answer = boss.post("/accounts/administrator", &[("deed", deed)]).await;
        assert_eq!((answer.status, answer.body.contains("role=\"alert\"")), (422, true), "{}", answer.body);
    }
    let answer =
        boss.post("/account", &[("deed", "reader"), ("language", "es"), ("scale", "fahrenheit")]).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    assert!(boss.get("/account").await.body.contains("Su cuenta"));
}

// RFC 6750 and the issue: a token comes in by its role until it ends, and a browser's protection
// against foreign forms does not stand in its way.
#[tokio::test(flavor = "multi_thread")]
async fn a_token_ends_by_its_day_and_when_it_is_revoked() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let (good, weak, old) = (
        site.token("export", "administrator"),
        site.token("look", "auditor"),
        site.token("old", "administrator"),
    );
    let bearer = |secret: &str| {
        let mut program = gateway.browser();
        program.also.push(("authorization", format!("Bearer {secret}")));
        program
    };
    assert_eq!(bearer(&good).get("/accounts").await.status, 200);
    assert_eq!(bearer(&good).post_with("/tokens/none", &[], &[]).await.status, 404);
    assert_eq!(bearer(&weak).get("/accounts").await.status, 403);
    let answer = bearer("rinseward_forged").get("/accounts").await;
    assert_eq!((answer.status, answer.header("www-authenticate")), (401, "Bearer error=\"invalid_token\""));
    site.until_told("?", &AccessDeed::Refused(AccessRefusal::UnknownToken));
    site.json(&["accounts", "tokens", "revoke", "export", "--by", "Tom"]);
    assert_eq!(bearer(&good).get("/accounts").await.status, 401);
    let event = site.until_told("export", &AccessDeed::TokenRevoked);
    assert!(event.by.is_some_and(|by| by.starts_with("Tom (user ")));
    site.until_told("token export", &AccessDeed::Refused(AccessRefusal::UnknownToken));
    gateway.stop();

    // Its day comes.
    let store = rusqlite::Connection::open(site.store()).expect("our own file");
    assert_eq!(store.execute("UPDATE token SET until = 1 WHERE name = 'old'", []).expect("SQL"), 1);
    drop(store);
    let gateway = Gateway::start(&site);
    let mut program = gateway.browser();
    program.also.push(("authorization", format!("Bearer {old}")));
    assert_eq!(program.get("/accounts").await.status, 401);
    site.until_told("token old", &AccessDeed::Refused(AccessRefusal::Expired));
    gateway.stop();
    for secret in [good, weak, old] {
        assert_eq!(holds(&site.path("."), &secret), Vec::<std::path::PathBuf>::new());
    }
}

// Own promise: who may change accounts may not do so unseen, whatever it came to; equal refusals are told together.
#[tokio::test(flavor = "multi_thread")]
async fn what_a_page_refuses_an_administrator_is_on_record() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut browser = member(&site, &gateway, "boss", "administrator").await;
    let token = [("token", "export"), ("role", "auditor"), ("days", "900")];
    for _ in 0..3 {
        assert_eq!(browser.post("/tokens", &token).await.status, 422);
    }
    assert_eq!(browser.post("/tokens/none", &[]).await.status, 404);
    let add = [
        ("account", "ana"),
        ("name", "token export"),
        ("role", "manager"),
        ("language", "en"),
        ("scale", "celsius"),
    ];
    assert_eq!(browser.post("/accounts", &add).await.status, 422);
    assert_eq!(browser.post("/accounts/boss", &[("deed", "enable")]).await.status, 422);
    let no_role = |name: &'static str, value| [(name, value), ("role", "chef"), ("days", "9")];
    assert_eq!(browser.post("/tokens", &no_role("token", "till")).await.status, 422);
    assert_eq!(browser.post("/accounts/boss", &no_role("deed", "role")).await.status, 422);
    assert_eq!(browser.post("/accounts/boss", &[("deed", "role")]).await.status, 422);
    let add = add.map(|(name, value)| (name, if name == "role" { "chef" } else { value }));
    assert_eq!(browser.post("/accounts", &add).await.status, 422);
    gateway.stop();
    let told = site.events().into_iter().filter_map(|event| {
        let AccessDeed::ChangeRefused { asked, why } = event.what else { return None };
        assert_eq!((event.by.as_deref(), event.from.as_deref()), (Some("boss"), Some("127.0.0.1")));
        Some((event.account, asked, why, event.times))
    });
    let row = |account: &str, asked, why, times| (account.to_owned(), asked, why, times);
    let expected = [
        row("export", AskedChange::AddToken, Unchanged::Days, 1),
        row("none", AskedChange::RevokeToken, Unchanged::Unknown, 1),
        row("ana", AskedChange::Add, Unchanged::ReadsAsToken, 1),
        row("boss", AskedChange::Enable, Unchanged::Same, 1),
        row("till", AskedChange::AddToken, Unchanged::NoRole, 1),
        row("boss", AskedChange::Role, Unchanged::NoRole, 1),
        row("ana", AskedChange::Add, Unchanged::NoRole, 1),
        row("boss", AskedChange::Role, Unchanged::NoRole, 1),
        row("export", AskedChange::AddToken, Unchanged::Days, 2),
    ];
    assert_eq!(told.collect::<Vec<_>>(), expected);
}

// Own promise: whoever may change accounts cannot hide behind their own junk, nor behind that of strangers, also where
// the gateway is killed at once.
#[tokio::test(flavor = "multi_thread")]
async fn behind_many_refusals_a_person_is_still_named() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut browser = member(&site, &gateway, "boss", "administrator").await;
    for number in 0..70 {
        assert_eq!(browser.post(&format!("/tokens/junk-{number}"), &[]).await.status, 404);
    }
    assert_eq!(browser.post("/accounts/boss", &[("deed", "enable")]).await.status, 422);
    gateway.kill();
    Gateway::start(&site).stop();
    let told = site.events().into_iter().filter_map(|event| {
        let AccessDeed::ChangeRefused { asked, .. } = event.what else { return None };
        assert_eq!(event.by.as_deref(), Some("boss"), "{event:?}");
        Some((event.account, asked))
    });
    let told: Vec<_> = told.collect();
    let beyond = [AskedChange::RevokeToken, AskedChange::Enable].map(|asked| ("?".to_owned(), asked));
    assert_eq!((told.len(), &told[60..]), (62, &beyond[..]));
}

// Own promise: nobody's deeds are taken for those of a program unsaid. Such a name is refused since the rule was made;
// an account of before is told of at each start.
#[test]
fn an_account_that_is_called_like_a_program_is_told_of_at_the_start() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    site.add("ana", "manager");
    gateway.stop();
    let gateway = Gateway::start(&site);
    assert!(!gateway.log().contains("account-name"), "{}", gateway.log());
    gateway.stop();
    let store = rusqlite::Connection::open(site.store()).expect("our own file");
    let changed = store.execute("UPDATE account SET shown = 'Token export' WHERE name = 'ana'", []);
    assert_eq!(changed.expect("SQL"), 1);
    drop(store);
    let gateway = Gateway::start(&site);
    let log = gateway.log();
    for part in [
        "warning[account-name]: the account «ana» is called «Token export», as programs are on record",
        "cause: ",
        "do:    give its owner another one: rinseward accounts add OTHER",
        "rinseward accounts remove ana",
    ] {
        assert!(log.contains(part), "{part}: {log}");
    }
    gateway.stop();
}

// A one-time secret lives for a day.
#[tokio::test(flavor = "multi_thread")]
async fn a_one_time_secret_expires() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let secret = site.add("ana", "manager");
    gateway.stop();
    let store = rusqlite::Connection::open(site.store()).expect("our own file");
    assert_eq!(store.execute("UPDATE account SET secret_until = 1 WHERE name = 'ana'", []).expect("SQL"), 1);
    drop(store);
    let gateway = Gateway::start(&site);
    let answer = gateway.browser().login("ana", &secret).await;
    assert_eq!((answer.status, answer.body.contains("has expired")), (422, true), "{}", answer.body);
    assert!(
        !gateway.browser().login("ana", "something else").await.body.contains("expired"),
        "no stranger's business"
    );
    site.until_told("ana", &AccessDeed::Refused(AccessRefusal::Expired));
}
