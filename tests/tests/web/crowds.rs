//! Too many, and too slow: what keeps places without need must neither stop pages nor racks.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpSocket, TcpStream};
use tokio::task::JoinSet;

use super::chromium::{Chromium, Wish};
use super::gateway::{Gateway, Site, member};
use super::kitchen::Kitchen;

/// Streams that are served at a time, as the gateway promises.
const STREAMS_MAX: usize = 400;
/// Those of one account.
const OF_ACCOUNT_MAX: usize = 40;
/// Streams that one account tries to open.
const TRIED: usize = 2_000;
/// Tried at a time, so that this process has files enough where it may have 1,024.
const AT_ONCE: usize = 100;
/// How long a stream is served, as the gateway promises; the browser asks again then.
const STREAM_MAX: Duration = Duration::from_secs(60);
/// Longest wait for an answer.
const ANSWER_MAX: Duration = Duration::from_secs(60);

/// Asks for a stream from an address of this computer, as whoever the header says; what comes first, and the
/// connection.
async fn stream(port: u16, from: u8, who: String) -> (String, TcpStream) {
    let socket = TcpSocket::new_v4().expect("a socket");
    socket.bind(SocketAddr::from(([127, 0, 0, from], 0))).expect("all of 127/8 is this computer");
    let mut connection = socket.connect(SocketAddr::from(([127, 0, 0, 1], port))).await.expect("it listens");
    let request = format!("GET /live HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\n{who}\r\n\r\n");
    connection.write_all(request.as_bytes()).await.expect("it reads");
    let mut head = Vec::new();
    let read = async {
        while !head.windows(4).any(|four| four == b"\r\n\r\n") {
            if connection.read_buf(&mut head).await.unwrap_or(0) == 0 {
                break;
            }
        }
    };
    tokio::time::timeout(ANSWER_MAX, read).await.expect("an answer");
    (String::from_utf8_lossy(&head).into_owned(), connection)
}

/// Asks for so many streams at once.
async fn streams(port: u16, from: u8, who: &str, count: usize) -> Vec<(String, TcpStream)> {
    let mut asked = JoinSet::new();
    for _ in 0..count {
        asked.spawn(stream(port, from, who.to_owned()));
    }
    asked.join_all().await
}

fn is_served(head: &str) -> bool {
    head.starts_with("HTTP/1.1 200") && head.contains("text/event-stream")
}

/// How many streams there can have been since then, of so many at a time: whoever lets go of none gives a place
/// back only when its stream has come to its end.
fn most(at_a_time: usize, began: Instant) -> usize {
    let turns = began.elapsed().as_secs() / STREAM_MAX.as_secs() + 1;
    at_a_time * usize::try_from(turns).expect("few")
}

// Own promise: one account that opens thousands of pages that stay live has its share, is told when to come again
// with the others (RFC 6585 §4), and takes nothing from anybody; nor do many accounts together take pages or racks
// (RFC 9110 §15.6.4).
#[tokio::test(flavor = "multi_thread")]
async fn thousands_of_streams_take_nothing_from_others() {
    let mut kitchen = Kitchen::open(0.1);
    let mut browser = member(&kitchen.site, &kitchen.gateway, "ana", "manager").await;
    let port = kitchen.site.port;
    let ana = format!("cookie: {}", browser.cookie.clone().expect("logged in"));
    let began = Instant::now();
    let mut held = Vec::new();
    for _ in 0..TRIED / AT_ONCE {
        for (head, connection) in streams(port, 1, &ana, AT_ONCE).await {
            if is_served(&head) {
                held.push(connection);
            } else {
                assert!(head.starts_with("HTTP/1.1 429") && head.contains("retry-after: 30"), "{head}");
            }
        }
    }
    assert!((OF_ACCOUNT_MAX..=most(OF_ACCOUNT_MAX, began)).contains(&held.len()), "{} served", held.len());
    let crew: Vec<String> = (0..12_u8)
        .map(|number| kitchen.site.token(&format!("screen-{number}"), "auditor"))
        .map(|secret| format!("authorization: Bearer {secret}"))
        .collect();
    assert!(is_served(&stream(port, 1, crew[0].clone()).await.0), "others are served at the same address");

    let (began, mut all_full) = (Instant::now(), 0);
    drop(std::mem::take(&mut held));
    for (number, who) in (2_u8..).zip(&crew) {
        for (head, connection) in streams(port, number, who, OF_ACCOUNT_MAX).await {
            if is_served(&head) {
                held.push(connection);
            } else if head.starts_with("HTTP/1.1 503") && head.contains("retry-after: 30") {
                all_full += 1;
            } else {
                assert!(head.starts_with("HTTP/1.1 429"), "{head}");
            }
        }
    }
    assert!(all_full > 0 && held.len() <= most(STREAMS_MAX, began), "{} served", held.len());
    for page in ["/", "/alerts", "/history", "/logbook"] {
        assert_eq!(browser.get(page).await.status, 200, "{page}");
    }
    kitchen.until_cold();
    kitchen.until(|kitchen| kitchen.racks() > 5);
    drop(held);
    let limit = tokio::time::Instant::now() + ANSWER_MAX;
    while !is_served(&stream(port, 1, ana.clone()).await.0) {
        assert!(tokio::time::Instant::now() < limit, "no place is given back");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    kitchen.gateway.stop();
}

// Own promise: a page that finds no place says that live updates are full, not that the gateway is gone, and is
// live again by itself once there is one.
#[tokio::test(flavor = "multi_thread")]
async fn a_page_without_a_place_says_so() {
    let kitchen = Kitchen::idle();
    let browser = member(&kitchen.site, &kitchen.gateway, "ana", "manager").await;
    let who = format!("cookie: {}", browser.cookie.clone().expect("logged in"));
    let held = streams(kitchen.site.port, 1, &who, OF_ACCOUNT_MAX).await;
    assert!(held.iter().all(|(head, _)| is_served(head)));
    let screen = Chromium::open(kitchen.site.port, Wish::default()).await;
    screen.enter_as(&browser).await;
    screen.go("/").await;
    let shown = screen.until_shown("Live updates are full").await;
    assert!(shown.contains("when this page was opened") && !shown.contains("No connection"), "{shown}");
    drop(held);
    let full = "return document.querySelector('.unconnected').hidden";
    let limit = Instant::now() + ANSWER_MAX + STREAM_MAX;
    while screen.ask(full).await != true {
        assert!(Instant::now() < limit, "{}", screen.text().await);
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    // By the clock of the site, whatever that of the phone is.
    let heard = "return document.querySelector('.unconnected').dataset.heard";
    let heard = screen.ask(heard).await;
    assert!(heard.as_str().is_some_and(|heard| heard.ends_with("EST") || heard.ends_with("EDT")), "{heard}");
}

/// How long ago something was, as the pages say it.
const AGES: [&str; 2] = [" ago", "just now"];
/// How what a probe shows moves, as the pages say it.
const MOVES: [&str; 3] = ["steady", "rising", "falling"];

// Own promise: a page that lost the gateway says so, and shows nothing as if it were of now: not how long ago it was,
// nor the colour of a verdict.
#[tokio::test(flavor = "multi_thread")]
async fn a_page_that_lost_the_gateway_shows_nothing_as_new() {
    let mut kitchen = Kitchen::open(0.15);
    let browser = member(&kitchen.site, &kitchen.gateway, "ana", "manager").await;
    kitchen.until_cold();
    let looks = "const ages = [...document.querySelectorAll('main .age')], live = document.querySelector('[data-live]');
        return [ages.some((age) => age.checkVisibility()), getComputedStyle(live).filter,
            document.querySelector('[data-made]').textContent]";
    let mut screens = Vec::new();
    for page in ["/", "/machines/dm1", "/probes", "/probes/dm1/rinse"] {
        let screen = Chromium::open(kitchen.site.port, Wish::default()).await;
        screen.enter_as(&browser).await;
        screen.go(page).await;
        let before = screen.ask(looks).await;
        assert!(before[0] == true && before[1] == "none", "{page}: {before}");
        assert!(
            before[2].as_str().is_some_and(|made| made.contains(", ") && made.contains(':')),
            "{page}: {before}"
        );
        let shown = screen.text().await;
        assert!(AGES.iter().any(|age| shown.contains(age)), "{page}: {shown}");
        screens.push((page, screen));
    }
    kitchen.gateway.stop();
    for (page, screen) in screens {
        screen.until_shown("No connection to the gateway: what you see is old.").await;
        let after = screen.ask(looks).await;
        assert!(after[0] == false && after[1] == "grayscale(1)", "{page}: {after}");
        let shown = screen.text().await;
        for now in AGES.iter().chain(&MOVES) {
            assert!(!shown.contains(now), "{page}, {now}: {shown}");
        }
    }
}

/// Waits until the page shows these words, however long a stream is served.
async fn until_followed(screen: &Chromium, words: &str) -> String {
    let limit = Instant::now() + ANSWER_MAX + STREAM_MAX;
    loop {
        let shown = screen.text().await;
        if shown.contains(words) {
            return shown;
        }
        assert!(Instant::now() < limit, "{shown}");
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}

// Own promise: what changes by itself is never in another language or on another scale than what stands beside it. A
// page on which something is typed loses none of it: it says that it does not follow.
#[tokio::test(flavor = "multi_thread")]
async fn an_open_page_follows_its_account() {
    let mut kitchen = Kitchen::idle();
    kitchen.shows("dm1/rinse", 83.0);
    let mut browser = member(&kitchen.site, &kitchen.gateway, "ana", "technician").await;
    let screen = Chromium::open(kitchen.site.port, Wish::default()).await;
    screen.enter_as(&browser).await;
    screen.go("/probes").await;
    let shown = screen.until_shown("You are ana").await;
    assert!(shown.contains("°C") && !shown.contains("°F"), "{shown}");
    let typing = Chromium::open(kitchen.site.port, Wish::default()).await;
    typing.enter_as(&browser).await;
    typing.go("/prove/dm1").await;
    typing.fill("water", "71.5").await;
    let looks = "const field = document.querySelector('main input:not([type=hidden])');
        return [field.value, document.querySelector('[data-live]').outerHTML]";
    let opened = typing.ask(looks).await;
    assert!(opened[0] == "71.5" && opened[1].as_str().is_some_and(|live| live.contains("°C")), "{opened}");

    let wish = [("deed", "reader"), ("language", "es"), ("scale", "fahrenheit")];
    assert_eq!(browser.post("/account", &wish).await.status, 303);
    let shown = until_followed(&screen, "Usted es ana").await;
    assert!(shown.contains("°F") && !shown.contains("°C"), "{shown}");
    let shown = until_followed(&typing, "load this page again to follow").await;
    assert!(shown.contains("You are ana") && !shown.contains("°F"), "{shown}");
    // What is sent from here on is not for this page.
    let before = typing.ask(looks).await;
    kitchen.shows("dm1/rinse", 45.0);
    until_followed(&screen, "113.0 °F").await;
    let after = typing.ask(looks).await;
    assert_eq!((&after[0], &after[1]), (&before[0], &before[1]));

    // Who goes back to what the page is made for has it live again.
    let wish = [("deed", "reader"), ("language", "en"), ("scale", "celsius")];
    assert_eq!(browser.post("/account", &wish).await.status, 303);
    until_followed(&typing, "45.0 °C").await;
    assert!(!typing.text().await.contains("load this page again"), "{}", typing.text().await);
    assert_eq!(typing.ask(looks).await[0], "71.5");
    kitchen.gateway.stop();
}

// Slowloris (from memory): requests that never end hold a place for half a minute, and others are served beside
// them.
#[tokio::test(flavor = "multi_thread")]
async fn requests_that_never_end_stop_nobody() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut slow = Vec::new();
    for number in 0..600 {
        let mut connection = TcpStream::connect(("127.0.0.1", site.port)).await.expect("it listens");
        let begun = match number % 3 {
            0 => "GET /login HTTP/1.1\r\nhost: 127.0.0.1\r\nx-slow: ",
            1 => {
                "POST /login HTTP/1.1\r\nhost: 127.0.0.1\r\nsec-fetch-site: same-origin\r\ncontent-length: 40\r\n\r\nacc"
            }
            _ => "P",
        };
        connection.write_all(begun.as_bytes()).await.expect("it reads");
        slow.push(connection);
    }
    assert_eq!(gateway.browser().get("/login").await.status, 200, "beside them");
    let mut ends = JoinSet::new();
    for mut connection in slow {
        ends.spawn(async move {
            let mut said = Vec::new();
            // However it is ended: closed, or reset with what was not read.
            tokio::time::timeout(ANSWER_MAX, connection.read_to_end(&mut said)).await.is_ok()
        });
    }
    assert!(ends.join_all().await.into_iter().all(|ended| ended), "each is ended");
    assert_eq!(gateway.browser().get("/login").await.status, 200, "after them");
    gateway.stop();
}
