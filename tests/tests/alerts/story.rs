//! The booster dies in the rush: from the first cold rack to the written corrective action.

use std::time::{Duration, Instant};

use rinseward::core::record::{Body, Change};
use serde_json::Value;

use super::office::{Day, Gateway, Office, Peers, until};

/// The address of the page in a mail.
fn link(mail: &Value, office: &Office) -> String {
    let text = mail["texts"]["plain"].as_str().expect("a text");
    let head = format!("http://127.0.0.1:{}/alert/", office.port);
    let start = text.find(&head).unwrap_or_else(|| panic!("no link in {text}"));
    text[start..].split_whitespace().next().expect("an address").to_owned()
}

fn recipients(mail: &Value) -> Vec<&str> {
    mail["recipients"].as_array().expect("a list").iter().filter_map(Value::as_str).collect()
}

fn client() -> reqwest::Client {
    let client = reqwest::Client::builder().no_proxy().redirect(reqwest::redirect::Policy::none()).build();
    client.expect("a client")
}

fn ask(request: reqwest::RequestBuilder) -> (u16, String) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let response = request.send().await.expect("an answer");
        (response.status().as_u16(), response.text().await.expect("text"))
    })
}

fn form(client: &reqwest::Client, url: &str, body: &str) -> (u16, String) {
    let request = client.post(url).header("content-type", "application/x-www-form-urlencoded");
    ask(request.body(body.to_owned()))
}

/// A gateway before a day on which the booster dies, with these settings of its alerts.
fn dead_booster(alerts: &str) -> (Peers, Office, Day, Gateway) {
    // An error says that a provider is installed already.
    drop(rustls::crypto::ring::default_provider().install_default());
    let peers = Peers::start();
    let office = Office::at_the_pipe(&peers, alerts);
    let day = Day::with_a_dead_booster(&office);
    let gateway = Gateway::start(&office, "");
    (peers, office, day, gateway)
}

// What each must see and do is this project's own promise; the signature is checked by the
// standardwebhooks library, the event by cloudevents, the mail by Python's email library.
#[test]
fn a_dead_booster_is_told_answered_and_closed() {
    let (peers, office, day, mut gateway) = dead_booster("escalate-after = \"3s\"\nsettle = \"1s\"");
    let after_first = day.first_cold();

    let began = Instant::now();
    gateway.feed(&day.between(0, after_first));
    // One clear mail to the right person, one signed event.
    let mail = peers.mail.next("a mail");
    let took = began.elapsed();
    assert_eq!(recipients(&mail), ["ana@example.org"]);
    let text = mail["texts"]["plain"].as_str().expect("a text");
    for part in ["dm1", "°C", "82.2", "North kitchen"] {
        assert!(text.contains(part), "«{part}» in {text}");
    }
    let event = peers.webhook.next("an event");
    assert_eq!(event["verified"], serde_json::json!([true]), "{event}");
    assert_eq!(event["event"]["type"], "dev.rinseward.alert.raised", "{event}");
    assert!(took < Duration::from_secs(30), "{took:?}");

    // Nobody answers: the second contact, in her language.
    let second = peers.mail.next("a mail to the second contact");
    assert_eq!(recipients(&second), ["ben@example.org"]);

    // A mail scanner opens the link, which is nobody's answer.
    let (client, link) = (client(), link(&mail, &office));
    let (status, page) = ask(client.get(&link));
    assert_eq!(status, 200);
    assert!(
        page.contains("82.2") && page.contains("<b>ana</b>") && !page.contains("value=\"ana\""),
        "{page}"
    );
    let acknowledged = |body: &Body| matches!(body, Body::AlertAcknowledged(_));
    assert!(!office.records().iter().any(|record| acknowledged(&record.body)), "by opening it");
    // The button is one.
    let (status, _) = form(&client, &format!("{link}/acknowledge"), "name=Ana+Diaz&note=on+my+way");
    assert_eq!(status, 303);
    office.until_recorded(&gateway, "the acknowledgement", acknowledged);

    // The booster is reset, racks are good again; it closes only with the corrective action.
    gateway.feed(&day.between(after_first, day.recovered()));
    office.until_recorded(&gateway, "the recovery", |body| matches!(body, Body::AlertCleared(_)));
    let covers = carried(&ask(client.get(&link)).1);
    let racks = format!("racks=rewashed+since+12%3A40&done=booster+reset&name=Ana+Diaz&covers={covers}");
    assert_eq!(form(&client, &format!("{link}/act"), &racks).0, 303);
    office.until_recorded(&gateway, "the end", |body| matches!(body, Body::AlertClosed(_)));
    let (status, page) = ask(client.get(&link));
    assert!(status == 200 && page.contains("rewashed since 12:40"), "{page}");
    until(|| delivered(&office) >= 4, || gateway.log());
    gateway.stop();
    check_story(&office);
}

/// The number of racks that the form of a page carries.
fn carried(page: &str) -> u64 {
    let field = "name=\"covers\" value=\"";
    let start = page.find(field).unwrap_or_else(|| panic!("no number of racks in {page}")) + field.len();
    let digits: String = page[start..].chars().take_while(char::is_ascii_digit).collect();
    digits.parse().expect("a number")
}

// Own promise: racks that come between the opened page and the sent form are covered by no action that was written
// on that page, and the alert stays open for them.
#[test]
fn racks_that_come_while_somebody_writes_are_left_out() {
    let (peers, office, day, mut gateway) = dead_booster("settle = \"1s\"");
    let after_first = day.first_cold();
    gateway.feed(&day.between(0, after_first));
    let (client, link) = (client(), link(&peers.mail.next("a mail"), &office));
    let (_, page) = ask(client.get(&link));
    let shown = carried(&page);
    assert_eq!(shown, 1, "{page}");
    let act = |covers: u64| {
        let written = format!("racks=rewashed&done=booster+reset&name=Ana&covers={covers}");
        form(&client, &format!("{link}/act"), &written).0
    };

    // Further racks are cold until the booster is reset.
    gateway.feed(&day.between(after_first, day.recovered()));
    office.until_recorded(&gateway, "the recovery", |body| matches!(body, Body::AlertCleared(_)));
    assert_eq!([act(shown), act(shown)], [303, 303], "pressed twice");
    let (_, page) = ask(client.get(&link));
    assert!(page.contains("does not cover"), "{page}");
    let all = carried(&page);
    assert!(all > shown, "{page}");
    let covers = || -> Vec<Option<u64>> {
        let records = office.records();
        let written = records.iter().filter_map(|record| match &record.body {
            Body::CorrectiveAction(action) => Some(action.covers),
            _ => None,
        });
        written.collect()
    };
    let closed = |body: &Body| matches!(body, Body::AlertClosed(_));
    assert_eq!(covers(), [Some(shown)]);
    assert!(!office.records().iter().any(|record| closed(&record.body)), "a rack is left out");

    assert_eq!(act(all), 303);
    office.until_recorded(&gateway, "the end", closed);
    assert_eq!(covers(), [Some(shown), Some(all)]);
    gateway.stop();
}

fn delivered(office: &Office) -> usize {
    office.records().iter().filter(|record| matches!(record.body, Body::Notification(_))).count()
}

/// The ledger alone tells the whole story, in order.
fn check_story(office: &Office) {
    let number = 1;
    let mut told = Vec::new();
    for record in office.records() {
        let word = match &record.body {
            Body::AlertRaised(raised) if raised.alert.0 == number => "raised",
            Body::AlertChanged(changed) if changed.alert.0 == number => match changed.change {
                Change::Escalated => "escalated",
                _ => continue,
            },
            Body::AlertAcknowledged(taken) if taken.alert.0 == number => {
                assert_eq!((taken.by.as_str(), taken.via.as_str()), ("Ana Diaz (link of ana)", "link"));
                assert_eq!(taken.note.as_deref(), Some("on my way"));
                "acknowledged"
            }
            Body::AlertCleared(cleared) if cleared.alert.0 == number => "cleared",
            Body::CorrectiveAction(action) if action.alert.0 == number => {
                assert_eq!(action.done, "booster reset");
                "action"
            }
            Body::AlertClosed(closed) if closed.alert.0 == number => "closed",
            _ => continue,
        };
        told.push(word);
    }
    told.dedup();
    assert_eq!(told, ["raised", "escalated", "acknowledged", "cleared", "action", "closed"]);
    let shown = office.rinseward(&["alerts", "show", "1"]);
    let shown = String::from_utf8(shown.stdout).expect("UTF-8");
    for part in
        ["raised", "ana was told by email:ana@example.org: raised", "Ana Diaz", "«booster reset»", "closed"]
    {
        assert!(shown.contains(part), "«{part}» in {shown}");
    }
    assert!(!shown.contains("Next:"), "nothing is left to do: {shown}");
}
