use std::time::Duration;

use axum::body::Body;
use axum::extract::Request;
use axum::http::{StatusCode, header};
use axum::response::Response;
use futures_util::StreamExt;
use tower::ServiceExt;

use super::*;
use crate::core::access::Role;
use crate::core::cycle::fixture::at;
use crate::core::reader::Language;
use crate::core::technician::Value;
use crate::core::technician::attempt::Attempt;
use crate::core::technician::calibrating::Calibrating;
use crate::core::technician::proving::Proving;
use crate::core::units::Celsius;
use crate::web::fixture::visit::get;
use crate::web::fixture::{NOW, StillKitchen, person};
use crate::web::router::site;

const PATH: &str = "/calibrate/dm1/rinse";

async fn ask(kitchen: &StillKitchen, role: Role, path: &str, form: Option<&str>) -> Response {
    let mut request = match form {
        Some(form) => Request::post(path)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(form.to_owned())),
        None => Request::get(path).body(Body::empty()),
    }
    .expect("a request");
    request.extensions_mut().insert(person(role, Language::English));
    site(kitchen.pages()).oneshot(request).await.expect("it never fails")
}

async fn text(response: Response) -> String {
    let bytes = axum::body::to_bytes(response.into_body(), 1 << 20).await.expect("a body");
    String::from_utf8(bytes.to_vec()).expect("text")
}

// Own promise: who tries the demo is told what can be tried there, and what to take for the rest.
#[tokio::test]
async fn a_demo_says_what_nobody_can_do_in_it() {
    let kitchen = StillKitchen::new();
    for simulated in [true, false] {
        let named = frame::Site::new("Harbour canteen".to_owned(), simulated, || NOW);
        let pages = Pages::new(kitchen.clone(), named, tokio_util::sync::CancellationToken::new());
        for path in [PATH, "/prove/dm1", "/respond/dm1/rinse"] {
            let mut request = Request::get(path).body(Body::empty()).expect("a request");
            request.extensions_mut().insert(person(Role::Technician, Language::English));
            let page = text(site(pages.clone()).oneshot(request).await.expect("it never fails")).await;
            assert_eq!(page.contains("rinseward-simulator bench"), simulated, "{path}: {page}");
        }
    }
}

// Own promise: an end on another day is told with its day.
#[test]
fn an_end_of_tomorrow_is_no_end_of_today() {
    let reader = person(Role::Technician, Language::English).reader;
    let later = |hours: u64| NOW.plus(Duration::from_secs(3_600 * hours));
    assert_eq!(ends(later(1), NOW, &reader), reader.clock_and_zone(later(1)));
    assert_eq!(ends(later(30), NOW, &reader), reader.moment(later(30)));
    // «Las» goes before a clock time alone.
    assert!(words(Language::Spanish).ends.ends_with("antes de:"));
}

/// A calibration of Ana's in ice: watched for `seconds`, at 0.4 °C.
pub(in crate::web) fn under(seconds: u32) -> Under {
    let tau = Some(Duration::from_secs(1));
    let work = Calibrating::new(Bath::ice(), tau, Calibration::None, Celsius(82.2));
    let mut attempt = Attempt::Calibration("dm1/rinse".to_owned(), Box::new(work));
    if seconds > 0 {
        attempt.press(Press::Go, Duration::ZERO);
    }
    for quarter in 0..seconds * 4 {
        let measured = Some(Celsius(0.4));
        let value = Value { at: at(f64::from(quarter) / 4.0), measured, fault: None };
        attempt.hear("dm1/rinse", value);
    }
    Under {
        kind: Kind::Calibration,
        by: "Ana".to_owned(),
        account: "ana".to_owned(),
        begun: NOW,
        ends: NOW,
        judged: None,
        correction: Calibration::None,
        announced: true,
        stands: attempt.stands(Duration::from_secs(u64::from(seconds))),
        problem: None,
    }
}

fn at_it(seconds: u32) -> StillKitchen {
    let kitchen = StillKitchen::new();
    kitchen.under.send_replace(Some(("dm1/rinse".to_owned(), under(seconds))));
    kitchen
}

// Own promise: each step says what to do, only its buttons are there, and the record has one of its own.
#[tokio::test]
async fn each_step_of_a_calibration_has_its_buttons() {
    let begun = text(ask(&StillKitchen::new(), Role::Technician, PATH, None).await).await;
    assert!(begun.contains("value=\"begin\"") && begun.contains("name=\"announced\""), "{begun}");
    assert!(!begun.contains("value=\"record\"") && !begun.contains("value=\"end\""), "{begun}");
    let placing = text(ask(&at_it(0), Role::Technician, PATH, None).await).await;
    assert!(placing.contains("Point 1: ice and water") && placing.contains("The probe is in it now"));
    assert!(placing.contains("Crushed ice") && !placing.contains("value=\"record\""), "{placing}");
    let watching = text(ask(&at_it(10), Role::Technician, PATH, None).await).await;
    assert!(
        watching.contains("0.40 °C") && watching.contains("<progress value=\"10\" max=\"20\""),
        "{watching}"
    );
    assert!(watching.contains("../../live/attempt/dm1/rinse?shape=watching-0-false"), "{watching}");
    let taken = text(ask(&at_it(30), Role::Technician, PATH, None).await).await;
    for said in [
        "The point is taken",
        "-0.40 °C from here on",
        "off by +0.40 °C as found",
        "value=\"record\"",
        "value=\"bath\"",
        "name=\"note\"",
    ] {
        assert!(taken.contains(said), "{said}: {taken}");
    }
    // Regression: without scripts the page came anew by itself, and took away what was being typed into it.
    let comes_anew = |page: &str| page.contains("?renew=5");
    assert_eq!(
        [&begun, &placing, &watching, &taken].map(|page| comes_anew(page)),
        [false, true, true, false]
    );
}

// Own promise: an attempt is its person's; others may look on and end it, and no more.
#[tokio::test]
async fn nobody_goes_on_with_what_another_began() {
    let kitchen = at_it(30);
    kitchen.under.send_modify(|under| {
        under.as_mut().expect("it is under way").1.account = "eli".to_owned();
    });
    let page = text(ask(&kitchen, Role::Technician, PATH, None).await).await;
    assert!(page.contains("Somebody else is at it") && page.contains("value=\"end\""), "{page}");
    assert!(!page.contains("value=\"record\"") && !page.contains("value=\"bath\""), "{page}");
}

// Own promise: what is pressed is done once and the page asked for anew; the record carries the person's name.
#[tokio::test]
async fn what_is_pressed_is_done() {
    let kitchen = at_it(30);
    for (form, to, deed) in [
        ("act=go", "./rinse", "dm1/rinse Go"),
        ("act=back", "./rinse", "dm1/rinse Back"),
        ("act=bath&kind=ice", "./rinse", "against: Ice"),
        ("act=bath&kind=altitude&altitude=5000&altitude_unit=ft", "./rinse", "altitude_m: 1524"),
        ("act=bath&kind=pressure&pressure=29,92&pressure_unit=inhg", "./rinse", "station_hpa: 1013.2"),
        ("act=bath&kind=thermometer&named=T7&shows=80.5&sure=0.2", "./rinse", "\"T7\""),
        ("act=end", "./rinse", "dm1/rinse given up by Ana"),
        ("act=record&note=new+tip", "../../probes/dm1/rinse?recorded=99", "put by Ana: Some(\"new tip\")"),
        ("act=begin&kind=ice&announced=yes", "./rinse", "announced: true"),
    ] {
        let answer = ask(&kitchen, Role::Technician, PATH, Some(form)).await;
        assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{form}");
        assert_eq!(answer.headers()[header::LOCATION], to, "{form}");
        let last = kitchen.deeds.borrow().last().cloned().unwrap_or_default();
        assert!(last.contains(deed), "{form}: {last}");
    }
    let answer = ask(&kitchen, Role::Technician, "/prove/dm1", Some("act=begin&water=")).await;
    assert_eq!(answer.headers()[header::LOCATION], "./dm1");
}

// Own promise: what cannot be is told beside its field, and what was entered stays.
#[tokio::test]
async fn what_is_wrong_stands_beside_its_field() {
    for (path, form, field) in [
        (PATH, "act=begin&kind=pressure&pressure=29.92&pressure_unit=hpa", "pressure-fault"),
        (PATH, "act=begin&kind=pressure&pressure=often", "pressure-fault"),
        (PATH, "act=begin&kind=altitude&altitude=9000", "altitude-fault"),
        // 1,600 ft or 1.6 ft: nobody can say which is meant.
        (PATH, "act=begin&kind=altitude&altitude=1,600&altitude_unit=ft", "altitude-fault"),
        (PATH, "act=begin&kind=pressure&pressure=1,013&pressure_unit=hpa", "pressure-fault"),
        (PATH, "act=begin&kind=thermometer&named=&shows=80&sure=0.2", "named-fault"),
        (PATH, "act=begin&kind=thermometer&named=%3Cb%3E&shows=180&sure=0.2", "shows-fault"),
        (PATH, "act=begin&kind=thermometer&named=T7&shows=80&sure=0", "sure-fault"),
        ("/prove/dm1", "act=begin&water=80", "water-fault"),
    ] {
        let kitchen = StillKitchen::new();
        let answer = ask(&kitchen, Role::Technician, path, Some(form)).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{form}");
        let page = text(answer).await;
        assert!(page.contains(&format!("id=\"{field}\"")) && !page.contains("<b>\""), "{form}: {page}");
        // The page is read from its top, far above the field.
        let top = format!("role=\"alert\">Not taken: <a href=\"#{}\">", field.trim_end_matches("-fault"));
        assert!(page.contains(&top) && page.matches(" autofocus").count() == 1, "{form}: {page}");
        assert!(kitchen.deeds.borrow().is_empty(), "{form}");
    }
    let page = text(ask(&StillKitchen::new(), Role::Technician, PATH, Some("act=go")).await).await;
    assert!(page.contains("Nothing was done"), "{page}");
}

// Own promise: who may not measure can press nothing here either.
#[tokio::test]
async fn only_those_who_measure_may_press() {
    for role in [Role::Auditor, Role::Operator, Role::Manager] {
        for path in [PATH, "/respond/dm1/rinse", "/prove/dm1", "/sign-off/dm1"] {
            let kitchen = at_it(30);
            for form in [None, Some("act=record&compared=yes&known=yes&open=1")] {
                let answer = ask(&kitchen, role, path, form).await;
                assert_eq!(answer.status(), StatusCode::FORBIDDEN, "{role} {path} {form:?}");
            }
            assert!(kitchen.deeds.borrow().is_empty());
        }
    }
}

// Own promise: an open page is told when its step is over, and then asks anew.
#[tokio::test]
async fn an_open_page_is_told_that_its_step_is_over() {
    let kitchen = at_it(10);
    let path = "/live/attempt/dm1/rinse?shape=watching-0-false";
    let answer = ask(&kitchen, Role::Technician, path, None).await;
    let mut body = answer.into_body().into_data_stream();
    let mut heard = String::new();
    while !heard.contains("event: end") {
        let more = body.next().await.expect("the stream goes on").expect("no failure");
        heard.push_str(std::str::from_utf8(&more).expect("text"));
        if heard.contains("0.40 °C") {
            kitchen.under.send_replace(Some(("dm1/rinse".to_owned(), under(30))));
            kitchen.beat.send_modify(|beat| *beat += 1);
        }
    }
    assert!(heard.contains("0.40 °C") && body.next().await.is_none(), "{heard}");
}

// Own promise: nobody signs limits that were not compared, nor points that were not known; each point leads
// to what mends it.
#[tokio::test]
async fn a_sign_off_wants_its_boxes_ticked() {
    let kitchen = StillKitchen::new();
    let page = text(ask(&kitchen, Role::Technician, "/sign-off/dm1", None).await).await;
    for said in [
        "never calibrated",
        "../calibrate/dm1/wash",
        "82.2 °C (data plate)",
        "name=\"compared\"",
        "record=42",
        "name=\"mark\" value=\"4f1c\"",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    for form in ["open=1&known=yes", "open=1&compared=yes", ""] {
        let answer = ask(&kitchen, Role::Technician, "/sign-off/dm1", Some(form)).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{form}");
    }
    assert!(kitchen.deeds.borrow().is_empty());
    // A fault of the note keeps what was ticked, and is told in the language of the reader.
    let form = "open=1&mark=4f1c&compared=yes&known=yes&note=bell%07";
    let answer = ask(&kitchen, Role::Technician, "/sign-off/dm1", Some(form)).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let page = text(answer).await;
    assert_eq!(page.matches(" checked").count(), 2, "{page}");
    assert!(kitchen.deeds.borrow().is_empty());
    let form = "open=1&mark=4f1c&compared=yes&known=yes&note=plate+read%0D%0Atwice";
    let answer = ask(&kitchen, Role::Technician, "/sign-off/dm1", Some(form)).await;
    assert_eq!(answer.headers()[header::LOCATION], "../probes/dm1?recorded=98");
    assert_eq!(
        *kitchen.deeds.borrow(),
        ["dm1 signed by Ana with 1 open (4f1c, rack None): Some(\"plate read\\ntwice\")"]
    );
}

// Own promise: whoever signs sees which rack goes on record, with its time and the way to it, takes another of the last
// ones, and signs with the one that was shown.
#[tokio::test]
async fn a_sign_off_shows_and_lets_choose_its_rack() {
    let kitchen = StillKitchen::new();
    let page = text(ask(&kitchen, Role::Technician, "/sign-off/dm1", None).await).await;
    let (before, after) = page.split_once("<details>").expect("others");
    for said in [
        "This rack goes on record",
        "../cycles/48\">Thu 26 Nov 2026, 12:00 UTC</a>",
        "COLD",
        "82.19 °C (limit 82.20 °C)",
    ] {
        assert!(before.contains(said), "{said}: {before}");
    }
    for said in [
        "Take another of the last racks",
        "../sign-off/dm1?rack=47\">",
        "../sign-off/dm1?rack=46\">",
        "11:59 UTC",
    ] {
        assert!(after.contains(said), "{said}: {after}");
    }
    assert!(after.contains("name=\"rack\" value=\"48\"") && !after.contains("?rack=48\""), "{after}");
    let page = text(ask(&kitchen, Role::Technician, "/sign-off/dm1?rack=47", None).await).await;
    assert!(page.contains("name=\"rack\" value=\"47\"") && page.contains("dm1?rack=48\""), "{page}");
    assert!(page.contains("record=0&#38;rack=47\""), "the sheet is of the same rack: {page}");
    for (path, status) in [
        ("/sign-off/dm1?rack=x", StatusCode::UNPROCESSABLE_ENTITY),
        ("/sign-off/dm1?rack=7", StatusCode::NOT_FOUND),
    ] {
        assert_eq!(ask(&kitchen, Role::Technician, path, None).await.status(), status, "{path}");
    }
    let answer = ask(&kitchen, Role::Technician, "/sign-off/dm1", Some("open=1&rack=47&mark=4f1c")).await;
    let page = text(answer).await;
    assert!(page.contains("name=\"rack\" value=\"47\""), "what was chosen stays: {page}");
    let form = "open=1&rack=47&mark=4f1c&compared=yes&known=yes";
    ask(&kitchen, Role::Technician, "/sign-off/dm1", Some(form)).await;
    assert_eq!(*kitchen.deeds.borrow(), ["dm1 signed by Ana with 1 open (4f1c, rack Some(47)): None"]);
}

// Own promise: whoever comes back to work that somebody else ended reads who that was, and when.
#[tokio::test]
async fn work_that_somebody_else_ended_says_who() {
    let kitchen = StillKitchen::new();
    let (by, whose) = (Some("Ana <b>Díaz".to_owned()), "Tom".to_owned());
    let begun = NOW.minus(Duration::from_secs(3_600));
    let ended = crate::web::attempt::Ended { by, whose, kind: Kind::Calibration, begun, at: NOW };
    kitchen.ended.send_replace(Some(("dm1/rinse".to_owned(), ended)));
    for (path, language, told) in [
        (
            "/calibrate/dm1/rinse",
            Language::English,
            Some("Ana &#60;b&#62;Díaz ended what Tom was at here, at 12:00 UTC"),
        ),
        (
            "/calibrate/dm1/rinse",
            Language::Spanish,
            Some("Ana &#60;b&#62;Díaz terminó aquí lo que hacía Tom"),
        ),
        ("/respond/dm1/rinse", Language::English, None),
        ("/calibrate/dm1/wash", Language::English, None),
    ] {
        let (_, page) = get(&kitchen, path, Role::Technician, language).await;
        assert_eq!(page.contains("Díaz"), told.is_some(), "{path}: {page}");
        assert!(told.is_none_or(|told| page.contains(told)), "{path}: {page}");
    }
}

// Own promise: whoever is in their own way is told so, and ends it from here; others read who it is.
#[tokio::test]
async fn what_is_in_the_way_is_named_and_can_be_ended_from_here() {
    let kitchen = StillKitchen::new();
    for (account, told, go) in [
        ("ana", "You are at something else here yourself: Response test, dm1/rinse.", "Go on with it"),
        ("tom", "Tom &#60;b&#62; is at this probe or machine: Response test, dm1/rinse.", "Look at it"),
    ] {
        let (by, account) = ("Tom <b>".to_owned(), account.to_owned());
        let taken = Taken { by, account, kind: Kind::Response, of: "dm1/rinse".to_owned() };
        kitchen.taken.send_replace(Some(taken));
        let answer = ask(&kitchen, Role::Technician, "/prove/dm1", Some("act=begin&water=")).await;
        assert_eq!(answer.status(), StatusCode::CONFLICT);
        let page = text(answer).await;
        for said in [told, go, "href=\"../respond/dm1/rinse\"", "name=\"of\" value=\"dm1/rinse\""] {
            assert!(page.contains(said), "{said}: {page}");
        }
    }
    for (form, ended) in [
        ("act=end&of=dm1%2Frinse", "dm1/rinse given up by Ana"),
        // Nothing of another machine ends from here.
        ("act=end&of=dm2%2Frinse", "dm1 given up by Ana"),
    ] {
        let answer = ask(&kitchen, Role::Technician, "/prove/dm1", Some(form)).await;
        assert_eq!(answer.headers()[header::LOCATION], "./dm1", "{form}");
        assert_eq!(kitchen.deeds.borrow().last().map(String::as_str), Some(ended), "{form}");
    }
}

// Own promise: whoever works at a probe reads what its machine is marked as meanwhile.
#[tokio::test]
async fn work_says_what_its_machine_is_marked_as() {
    let kitchen = at_it(10);
    let page = text(ask(&kitchen, Role::Technician, PATH, None).await).await;
    assert!(page.contains("was said to be over while this was open"), "{page}");
    kitchen.under.send_modify(|under| under.as_mut().expect("it is under way").1.announced = false);
    let page = text(ask(&kitchen, Role::Technician, PATH, None).await).await;
    assert!(page.contains("Nobody has said that this machine is worked on"), "{page}");
    kitchen.glances.send_modify(|glances| glances[0].work_until = Some(NOW.plus(Duration::from_secs(600))));
    for (announced, told) in [
        (
            true,
            "dm1 is marked as worked on: its racks are unproven, and messages about it are held, for as long as the calibration is open, and 3 min after it. It goes on where you close or leave this page; it ends when it is put on record or given up, and by itself where nothing is pressed before",
        ),
        (false, "held, until 12:10 UTC."),
    ] {
        kitchen.under.send_modify(|under| {
            under.as_mut().expect("it is under way").1.announced = announced;
        });
        kitchen.glances.send_modify(|glances| {
            glances[0].kept_by = announced.then(|| "calibration of dm1/rinse".to_owned());
        });
        let page = text(ask(&kitchen, Role::Technician, PATH, None).await).await;
        assert!(page.contains(told) && !page.contains("Nobody has said"), "{page}");
        let maintenance = page.contains("href=\"../../maintenance#work-dm1\">End the work on it</a>");
        let here = page.contains("href=\"#give-up\">To end it, put it on record or give it up: below</a>");
        assert_eq!((maintenance, here), (!announced, announced), "{page}");
        assert!(page.contains("<form method=\"post\" id=\"give-up\">"), "{page}");
    }
}

// Own promise: where a dialog has led to, and before one begins, it is said until when the machine stays marked, with
// the button that ends it and leads back there; what is open is not ended from where it is not shown.
#[tokio::test]
async fn where_work_leads_it_can_be_ended() {
    let kitchen = StillKitchen::new();
    let (button, until) = ("Work is over: dm1", "dm1 is marked as worked on until 12:10 UTC");
    let paths = [
        (PATH, "probes"),
        ("/probes/dm1/rinse", "probes"),
        ("/probes/dm1", "probes"),
        ("/sign-off/dm1", "sign-off"),
    ];
    for (path, _) in paths {
        let page = text(ask(&kitchen, Role::Technician, path, None).await).await;
        assert!(!page.contains(button) && !page.contains("is marked as worked on until"), "{path}: {page}");
    }
    kitchen.glances.send_modify(|glances| glances[0].work_until = Some(NOW.plus(Duration::from_secs(600))));
    for (path, back) in paths {
        let page = text(ask(&kitchen, Role::Technician, path, None).await).await;
        let back = format!("name=\"back\" value=\"{back}\"");
        assert!(page.contains(button) && page.contains(until) && page.contains(&back), "{path}: {page}");
    }
    let page = text(ask(&kitchen, Role::Auditor, "/probes/dm1", None).await).await;
    assert!(page.contains(until) && !page.contains(button), "{page}");
    // What needs the mark begins with what to do, and leads to the end of the work last.
    let page = text(ask(&kitchen, Role::Technician, PATH, None).await).await;
    assert!(page.contains("Choose the first bath below. dm1 is marked as worked on until"), "{page}");
    assert!(!page.contains("End the work first") && page.find("Ice bath") < page.find(button), "{page}");
    for (back, way) in [("sign-off", "sign-off/dm1"), ("probes", "probes/dm1")] {
        let form = format!("machine=dm1&minutes=0&shown=&back={back}");
        let answer = ask(&kitchen, Role::Technician, "/maintenance", Some(&form)).await;
        assert_eq!(answer.headers()[header::LOCATION], way);
    }
    // What has found something has to come to its own end.
    kitchen.under.send_replace(Some(("dm1/rinse".to_owned(), under(30))));
    let page = text(ask(&kitchen, Role::Technician, "/sign-off/dm1", None).await).await;
    assert!(page.contains("href=\"../calibrate/dm1/rinse\">Look at it") && !page.contains(button), "{page}");
}

// Own promise: before it begins a page shows what the probe shows, and nobody reads two scales.
#[tokio::test]
async fn a_page_begins_with_what_the_probe_shows() {
    let page = text(ask(&StillKitchen::new(), Role::Technician, PATH, None).await).await;
    assert!(page.contains("79.8 °C") && page.contains("data-live=\"../../live/probes/dm1/rinse\""), "{page}");
    let page = text(ask(&at_it(10), Role::Technician, PATH, None).await).await;
    assert!(!page.contains("live/probes"), "{page}");
    for path in ["/respond/dm1/rinse", "/prove/dm1"] {
        let page = text(ask(&StillKitchen::new(), Role::Technician, path, None).await).await;
        assert!(!page.contains("°F"), "{path}: {page}");
    }
}

// Own promise: whoever comes to work that ended by itself reads that it did, whose it was, and that nothing of it counts.
#[tokio::test]
async fn work_that_was_forgotten_says_so() {
    let kitchen = StillKitchen::new();
    let begun = NOW.minus(Duration::from_secs(3_600));
    let ended = Ended { by: None, whose: "Tom".to_owned(), kind: Kind::Proof, begun, at: NOW };
    kitchen.ended.send_replace(Some(("dm1".to_owned(), ended)));
    for (language, told) in [
        (
            Language::English,
            "Proof of the wiring, dm1: what Tom began at 11:00 UTC ended by itself at 12:00 UTC, since nothing was pressed any more. It was not finished, and nothing of it is on record: begin it anew.",
        ),
        (Language::Spanish, "dm1: lo que Tom empezó a las 11:00 UTC terminó solo a las 12:00 UTC"),
    ] {
        let (_, page) = get(&kitchen, "/prove/dm1", Role::Technician, language).await;
        assert!(page.contains(told) && page.contains("value=\"begin\""), "{page}");
    }
}

// Own promise: whoever ended what another was at reads what that was and whose, also where they came for something
// else at that machine; nobody else does there.
#[tokio::test]
async fn whoever_ended_it_is_told_what_and_whose() {
    let kitchen = StillKitchen::new();
    let ended = |by: &str| {
        let (by, whose) = (Some(by.to_owned()), "Tom <b>".to_owned());
        crate::web::attempt::Ended { by, whose, kind: Kind::Proof, begun: NOW, at: NOW }
    };
    let mine = person(Role::Technician, Language::English).name;
    for (by, told) in [(mine.as_str(), true), ("Eli", false)] {
        kitchen.ended.send_replace(Some(("dm1".to_owned(), ended(by))));
        let page = text(ask(&kitchen, Role::Technician, PATH, None).await).await;
        let said = "ended what Tom &#60;b&#62; was at here, at 12:00 UTC: Proof of the wiring, dm1.";
        assert_eq!(page.contains(said), told, "{page}");
        assert_eq!(page.contains("<p class=\"done\" role=\"status\">"), told, "{page}");
    }
}

mod asked;
