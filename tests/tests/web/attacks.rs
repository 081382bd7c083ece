//! What somebody may try who should not be in.

use std::io::{Read, Write};
use std::net::TcpStream;

use rinseward::core::record::{AccessDeed, AccessRefusal};

use super::browser::Answer;
use super::gateway::{Gateway, PASSWORD, Site, choose, first_secret, member};

// OWASP, Session Fixation (from memory): the secret of a session is made at the login, whatever the
// browser brings along, and the session that it had before ends.
#[tokio::test(flavor = "multi_thread")]
async fn a_session_is_never_what_the_browser_brings() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut browser = member(&site, &gateway, "ana", "manager").await;
    let own = browser.cookie.clone().expect("a session");
    let planted = &format!("rinseward-{}=AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA", site.port);
    let mut victim = gateway.browser();
    victim.cookie = Some(planted.clone());
    let answer = victim.login("ana", PASSWORD).await;
    let set = answer.header("set-cookie");
    assert!(set.ends_with("; Path=/; HttpOnly; SameSite=Strict"), "{set}");
    assert_ne!(victim.cookie.as_ref(), Some(planted));
    let mut thief = gateway.browser();
    thief.cookie = Some(planted.clone());
    assert_eq!(thief.get("/account").await.location(), "./login?to=account");

    browser.login("ana", PASSWORD).await;
    assert_ne!(browser.cookie.as_ref(), Some(&own));
    thief.cookie = Some(own);
    assert_eq!(thief.get("/account").await.location(), "./login?to=account", "it ended at the next login");
    // Out means out, also for whoever copied the cookie.
    thief.cookie = browser.cookie.clone();
    browser.post("/logout", &[]).await;
    assert_eq!(thief.get("/account").await.location(), "./login?to=account");
}

// W3C Fetch Metadata §2.3, Fetch standard §3.2: a form of another site does nothing, one that says
// nothing of where it comes from neither, and that it came is on record.
#[tokio::test(flavor = "multi_thread")]
async fn a_form_of_another_site_does_nothing() {
    let site = Site::new("public-url = \"https://kitchen.example.org/dish\"\n");
    let gateway = Gateway::start(&site);
    let mut browser = member(&site, &gateway, "ana", "manager").await;
    let own = format!("http://127.0.0.1:{}", site.port);
    let rows: [(&[(&str, &str)], bool); 9] = [
        (&[("sec-fetch-site", "same-origin")], true),
        (&[("sec-fetch-site", "cross-site")], false),
        (&[("sec-fetch-site", "same-site")], false),
        (&[("sec-fetch-site", "none")], false),
        (&[("sec-fetch-site", "cross-site"), ("origin", &own)], false),
        (&[("origin", &own)], true),
        (&[("origin", "https://kitchen.example.org")], true),
        (&[("origin", "null")], false),
        (&[], false),
    ];
    for (headers, taken) in rows {
        let form = [("deed", "reader"), ("language", "es"), ("scale", "celsius")];
        let answer = browser.post_with("/account", &form, headers).await;
        assert_eq!(answer.status, if taken { 303 } else { 403 }, "{headers:?}");
        for path in ["/login", "/logout"] {
            let mut stranger = gateway.browser();
            let answer = stranger.post_with(path, &[("account", "x"), ("password", "y")], headers).await;
            assert_eq!(answer.status == 403, !taken, "{path} {headers:?}");
        }
    }
    // Whose browser sent it is told too, where it is somebody's.
    for account in ["?", "ana"] {
        site.until_told(account, &AccessDeed::Refused(AccessRefusal::Foreign));
    }
}

/// Tries a wrong password so often, from this address.
async fn wrong(gateway: &Gateway, account: &str, times: u32, from: &str) -> Vec<Answer> {
    let mut browser = gateway.browser();
    browser.also.push(("x-forwarded-for", format!("198.51.100.7, {from}")));
    let mut answers = Vec::new();
    for _ in 0..times {
        answers.push(browser.login(account, "not the password").await);
    }
    answers
}

// NIST SP 800-63B §5.2.2 asks for a bound on wrong tries; the numbers are the project's own. A name
// that is nobody's is treated the same to the letter.
#[tokio::test(flavor = "multi_thread")]
async fn ten_wrong_tries_lock_an_account_that_may_not_exist() {
    let site = Site::new("behind-proxy = true\n");
    let gateway = Gateway::start(&site);
    let mut ana = member(&site, &gateway, "ana", "manager").await;
    let mut said = Vec::new();
    for (account, from) in [("ana", "192.0.2.1"), ("nobody", "192.0.2.2")] {
        let answers = wrong(&gateway, account, 11, from).await;
        let told: Vec<(u16, String)> =
            answers.into_iter().map(|answer| (answer.status, answer.body.replace(account, "…"))).collect();
        let codes: Vec<u16> = told.iter().map(|(status, _)| *status).collect();
        assert_eq!(codes, [[422; 10].as_slice(), &[429]].concat(), "{account}");
        said.push(told);
        let event = site.until_told(account, &AccessDeed::Locked { for_s: 900, there: true });
        assert_eq!(event.from.as_deref(), Some(format!("{from} by 127.0.0.1").as_str()));
    }
    assert_eq!(said[0], said[1]);
    // RFC 9110 §10.2.3: the header is the very time that the page says.
    let last = wrong(&gateway, "ana", 1, "192.0.2.1").await.remove(0);
    assert_eq!((last.status, last.header("retry-after")), (429, "900"));
    assert!(last.body.contains("Wait 15 min,"), "{}", last.body);
    let mut browser = gateway.browser();
    browser.also.push(("x-forwarded-for", "192.0.2.1".to_owned()));
    assert_eq!(browser.login("ana", PASSWORD).await.status, 429, "the right password neither");
    assert_eq!(ana.get("/account").await.status, 200, "whoever is in stays in");
    // Regression: whoever knew a name kept its owner out, wherever they came from.
    let mut own = gateway.browser();
    own.also.push(("x-forwarded-for", "192.0.2.3".to_owned()));
    assert_eq!(own.login("ana", PASSWORD).await.status, 303, "the owner comes in from elsewhere");
    assert_eq!(browser.login("ana", PASSWORD).await.status, 429, "and opens the door to nobody");
    let locked = AccessDeed::Refused(AccessRefusal::Locked);
    site.until_told("ana", &locked);
    site.json(&["accounts", "unlock", "ana", "--by", "Tom"]);
    site.until_told("ana", &AccessDeed::Unlocked);
    assert_eq!(browser.login("ana", PASSWORD).await.status, 303);
}

// Own promises: one address has twenty tries and then one every six seconds; what it tried is
// counted on record in a few lines, whatever it typed; a password typed as the name is not written
// down; without a proxy nobody is believed who says they come from elsewhere.
#[tokio::test(flavor = "multi_thread")]
async fn many_tries_from_one_address_are_few_records() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut codes = Vec::new();
    for number in 0..40 {
        let mut browser = gateway.browser();
        browser.also.push(("x-forwarded-for", format!("192.0.2.{number}")));
        let answer = browser.login("My own: kettle rain seven", "x").await;
        assert!(!answer.body.contains("kettle"), "{}", answer.body);
        if answer.status == 429 {
            assert_eq!(answer.header("retry-after"), "6");
            assert!(answer.body.contains("Wait 6 s."), "{}", answer.body);
        }
        codes.push(answer.status);
    }
    assert!(codes[..20].iter().all(|code| *code == 422), "{codes:?}");
    assert!(codes.iter().filter(|code| **code == 429).count() >= 10, "{codes:?}");
    gateway.stop();
    let refusals: Vec<_> =
        site.events().into_iter().filter(|event| matches!(event.what, AccessDeed::Refused(_))).collect();
    assert_eq!(refusals.iter().map(|event| event.times).sum::<u32>(), 40, "{refusals:#?}");
    assert!(refusals.len() <= 4, "{refusals:#?}");
    assert!(refusals.iter().all(|event| event.account == "?" && event.from.as_deref() == Some("127.0.0.1")));
    assert!(!site.lines().iter().any(|line| line.contains("kettle")));
}

// Own promise: a kill loses no event and doubles none.
#[tokio::test(flavor = "multi_thread")]
async fn a_kill_loses_no_login() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let secret = site.add("ana", "manager");
    for _ in 0..5 {
        assert_eq!(gateway.browser().login("ana", &secret).await.status, 303);
    }
    gateway.kill();
    let gateway = Gateway::start(&site);
    gateway.stop();
    let logins = site.events().into_iter().filter(|event| event.what == AccessDeed::LoggedIn).count();
    assert_eq!(logins, 5);
}

// OWASP, Unvalidated Redirects and Forwards (from memory): a login leads to a page of this site.
#[tokio::test(flavor = "multi_thread")]
async fn a_login_leads_to_no_other_site() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    member(&site, &gateway, "ana", "administrator").await;
    for (wanted, place) in [
        ("accounts/ana", "./accounts/ana"),
        ("", "./"),
        ("//evil.example", "./"),
        ("https://evil.example", "./"),
        ("\\\\evil.example", "./"),
        ("/\\evil.example", "./"),
        ("../x", "./"),
        ("a\r\nset-cookie: x=y", "./"),
        ("javascript:alert(1)", "./"),
    ] {
        let mut browser = gateway.browser();
        let form = [("account", "ana"), ("password", PASSWORD), ("to", wanted)];
        let answer = browser.post("/login", &form).await;
        assert_eq!((answer.status, answer.location()), (303, place), "{wanted}");
        assert_eq!(answer.headers.get_all("set-cookie").iter().count(), 1, "{wanted}");
        let page = gateway.browser().get("/login?to=%3Cscript%3E").await;
        assert!(page.status == 422 && !page.body.contains("<script>"), "{}: {}", page.status, page.body);
    }
}

// RFC 9110 §15.5.14 for what is too large; a path that climbs finds nothing.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_too_large_or_climbs_is_refused() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut browser = gateway.browser();
    browser.login("administrator", &first_secret(&gateway.log())).await;
    choose(&mut browser, "", PASSWORD).await;
    let large = "x".repeat(100_000);
    for path in ["/login", "/account", "/accounts", "/tokens"] {
        let answer = browser.post(path, &[("account", &large), ("password", "y"), ("token", &large)]).await;
        assert_eq!(answer.status, 413, "{path}");
    }
    // A program reads that its request is at fault, and not its token (RFC 9457: one type, one meaning).
    let answer = browser.post("/api/v1/checks", &[("account", &large)]).await;
    assert!(answer.status == 413 && answer.body.contains("api-request"), "{}", answer.body);
    for path in
        ["/accounts/..%2f..%2fetc%2fpasswd", "/accounts/%2e%2e%2f%2e%2e%2fledger.sqlite", "/tokens/%00"]
    {
        let answer = browser.post(path, &[("deed", "reset")]).await;
        assert_eq!(answer.status, 404, "{path}");
    }
    let answer = browser.post("/accounts/a%0d%0aset-cookie:%20x=y", &[("deed", "disable")]).await;
    assert_eq!((answer.status, answer.headers.get("set-cookie")), (404, None));
    let page = browser.get("/login").await;
    for (name, part) in [
        ("content-security-policy", "default-src 'none'"),
        ("content-security-policy", "frame-ancestors 'none'"),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "same-origin"),
        ("cache-control", "no-store"),
    ] {
        assert!(page.header(name).contains(part), "{name}: {}", page.header(name));
    }
    assert_eq!(page.headers.get("strict-transport-security"), None, "not without TLS");
}

/// One request as bytes, and what comes back.
fn raw(site: &Site, request: &str) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", site.port)).expect("it listens");
    stream.write_all(request.as_bytes()).expect("it reads");
    let mut answer = Vec::new();
    // An answer that is cut off by the end of the connection is looked at as it came.
    drop(stream.read_to_end(&mut answer));
    String::from_utf8_lossy(&answer).into_owned()
}

// RFC 9112 §5 and own tries: what a client library would not even send.
#[tokio::test(flavor = "multi_thread")]
async fn bytes_that_are_no_request_open_nothing() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let empty = format!(
        "POST /login HTTP/1.1\r\nhost: 127.0.0.1\r\ncookie: rinseward-{}=\r\nconnection: close\r\n\r\n",
        site.port
    );
    let rows = [
        ("GET /../../etc/passwd HTTP/1.1\r\nhost: 127.0.0.1\r\nconnection: close\r\n\r\n", "401"),
        (
            "GET //evil.example/accounts HTTP/1.1\r\nhost: 127.0.0.1\r\naccept: text/html\r\nconnection: close\r\n\r\n",
            "303",
        ),
        (empty.as_str(), "403"),
        (
            "GET /accounts HTTP/1.1\r\nhost: 127.0.0.1\r\nauthorization: Bearer \r\nconnection: close\r\n\r\n",
            "401",
        ),
        (
            "GET /accounts HTTP/1.1\r\nhost: 127.0.0.1\r\nauthorization: Basic YTpi\r\nconnection: close\r\n\r\n",
            "401",
        ),
    ];
    for (request, status) in rows {
        let answer = raw(&site, request);
        assert!(answer.starts_with(&format!("HTTP/1.1 {status}")), "{request}: {answer}");
        assert!(!answer.contains("evil.example/") || !answer.contains("location: //"), "{answer}");
    }
    assert_eq!(gateway.browser().get("/login").await.status, 200);
}

// DNS rebinding: a name of somebody else that leads here opens nothing, neither a page nor the figures that this
// very computer may have (RFC 9110 §15.5.20); a program with its token, and whoever looks whether the gateway
// lives, may call it as their network does.
#[tokio::test(flavor = "multi_thread")]
async fn a_name_of_others_that_leads_here_opens_nothing() {
    let site = Site::new("public-url = \"https://kitchen.example.org/dish\"\n");
    let _gateway = Gateway::start(&site);
    let bearer = format!("authorization: Bearer {}\r\n", site.token("watch", "auditor"));
    let ask = |path: &str, host: &str, also: &str| {
        let accept = "accept: text/html\r\naccept-language: es\r\n";
        raw(&site, &format!("GET {path} HTTP/1.1\r\nhost: {host}\r\n{accept}{also}connection: close\r\n\r\n"))
    };
    for (path, host, also, status) in [
        ("/login", "127.0.0.1", "", "200"),
        ("/login", "localhost", "", "200"),
        ("/login", "192.0.2.7:8480", "", "200"),
        ("/login", "Kitchen.example.org", "", "200"),
        ("/metrics", "localhost", "", "401"),
        ("/metrics", "kitchen.example.org", "", "401"),
        ("/metrics", "192.0.2.7", "", "401"),
        ("/health", "gateway:8480", "", "200"),
        // It is known by that name, and has heard no reading.
        ("/ready", "gateway", "", "503"),
        ("/metrics", "gateway:8480", bearer.as_str(), "200"),
        ("/api/v1/whoami", "gateway", bearer.as_str(), "200"),
        ("/login", "evil.example", "", "421"),
        ("/metrics", "evil.example", "", "421"),
        ("/metrics", "evil.example", "authorization: Bearer x\r\n", "401"),
        ("/api/v1/whoami", "evil.example", "", "421"),
        ("/alert/AAAA", "evil.example", "", "421"),
        ("/assets/x/rinseward.js", "evil.example", "", "421"),
    ] {
        let answer = ask(path, host, also);
        assert!(answer.starts_with(&format!("HTTP/1.1 {status}")), "{path} as {host}: {answer}");
        assert!(answer.contains("content-security-policy"), "{answer}");
        if status == "421" && path.starts_with("/api") {
            assert!(answer.contains("application/problem+json") && answer.contains("public-url"), "{answer}");
        } else if status == "421" && path == "/login" {
            assert!(answer.contains("Este equipo no conoce") && answer.contains("public-url"), "{answer}");
        }
    }
    let told = site.until_told("?", &AccessDeed::Refused(AccessRefusal::Misdirected));
    assert_eq!(told.from.as_deref(), Some("127.0.0.1"));
}
