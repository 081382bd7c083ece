use axum::body::Body;
use axum::extract::Request;
use axum::http::{StatusCode, header};
use futures_util::StreamExt;
use tower::ServiceExt;

use crate::core::access::Role;
use crate::core::reader::Language;
use crate::web::fixture::{NOW, StillKitchen, person, visit};
use crate::web::router::site;
use crate::web::sign_off::Stood;

async fn get(path: &str, role: Role, language: Language) -> (StatusCode, String) {
    let mut request = Request::get(path).body(Body::empty()).expect("a request");
    request.extensions_mut().insert(person(role, language));
    let answer = site(StillKitchen::new().pages()).oneshot(request).await.expect("it never fails");
    let status = answer.status();
    let bytes = axum::body::to_bytes(answer.into_body(), 1 << 20).await.expect("a body");
    (status, String::from_utf8(bytes.to_vec()).expect("text"))
}

// Own promise: every probe shows its value before and after its calibration, what is in force and until when,
// and what is wrong with it; whoever may not measure is offered nothing that measures.
#[tokio::test]
async fn each_probe_says_how_it_is() {
    let (_, page) = get("/probes", Role::Technician, Language::English).await;
    for said in [
        "79.8 °C",
        "79.4 °C before calibration",
        "↑ rising",
        "✓</span> well",
        "✗</span> silent",
        "Uncertainty of what it shows, all in all (k = 2): ±",
        "4.0/s",
        "+0.40 °C [record 17], holds until 2027-03-01",
        "1.50 s [record 18]",
        "SILENT: this was its last value<span class=\"age\">, 10 min ago</span>",
        "«port&#60;1&#62;»: no such device",
        "NEVER CALIBRATED",
        "prove/dm1",
        "sign-off/dm1",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    let (_, page) = get("/probes/dm1/rinse", Role::Auditor, Language::Spanish).await;
    for said in ["↑ sube", "✗ cambiada con otra", "Eli &#60;b&#62;", "lang=\"es\""] {
        assert!(page.contains(said), "{said}: {page}");
    }
    assert!(!page.contains("calibrate/") && !page.contains("respond/"), "{page}");
    let (_, page) = get("/probes/dm1/rinse", Role::Technician, Language::English).await;
    assert!(page.contains("../../calibrate/dm1/rinse") && page.contains("../../respond/dm1/rinse"), "{page}");
    for path in ["/probes/dm9", "/probes/dm1/rinse9", "/calibrate/dm1/nothing", "/prove/dm9", "/sign-off/dm9"]
    {
        let (status, _) = get(path, Role::Technician, Language::English).await;
        assert_eq!(status, StatusCode::NOT_FOUND, "{path}");
    }
}

// Own promise: the list of all probes says of each machine that is worked on for how long, and by whom, in either
// language; of the others nothing of it.
#[tokio::test]
async fn the_list_says_which_machine_is_worked_on() {
    use crate::core::record::Worked;
    let kitchen = StillKitchen::new();
    let list = async |language| {
        let path = "/probes";
        let mut request = Request::get(path).body(Body::empty()).expect("a request");
        request.extensions_mut().insert(person(Role::Auditor, language));
        let answer = site(kitchen.pages()).oneshot(request).await.expect("it never fails");
        let bytes = axum::body::to_bytes(answer.into_body(), 1 << 20).await.expect("a body");
        String::from_utf8(bytes.to_vec()).expect("text")
    };
    assert!(!list(Language::English).await.contains("Marked as worked on"));
    kitchen.glances.send_modify(|glances| {
        let dm1 = glances.iter_mut().find(|glance| glance.machine == "dm1").expect("a machine");
        dm1.work_until = Some(NOW.plus(std::time::Duration::from_secs(600)));
        let why = Some("calibration of dm1/rinse".to_owned());
        dm1.worked = vec![Worked { by: "Ana <b>".to_owned(), why }];
    });
    for (language, said) in [
        (
            Language::English,
            "Marked as worked on until 12:10 UTC: its racks are unproven. Who works there: Ana &#60;b&#62; (calibration of dm1/rinse).",
        ),
        (
            Language::Spanish,
            "Consta como en trabajo hasta las 12:10 UTC: sus canastas quedan sin comprobar. Quién trabaja: Ana &#60;b&#62; (calibración de dm1/rinse).",
        ),
    ] {
        let page = list(language).await;
        assert_eq!(page.matches(said).count(), 1, "{page}");
    }
}

// Own rule, see the head of `web::query`.
#[tokio::test]
async fn an_address_that_is_not_understood_is_refused() {
    for (path, said) in [
        (
            "/probes?recorded=7",
            "The address gives «recorded», which this page does not know; the names that it knows: renew.",
        ),
        ("/probes/dm1?recorded=x", "recorded: «x» was read; expected is the number of a record."),
        (
            "/probes/dm1?record=7",
            "The address gives «record», which this page does not know; the names that it knows: recorded, renew.",
        ),
        ("/probes/dm1/rinse?recorded=-7", "recorded: «-7» was read; expected is the number of a record."),
        ("/probes/dm1/sheet?record=zz", "record: «zz» was read; expected is the number of a record."),
        ("/sign-off/dm1?recorded=zz", "recorded: «zz» was read; expected is the number of a record."),
    ] {
        let (status, page) = get(path, Role::Technician, Language::English).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path}");
        assert!(page.contains(said), "{path}: {page}");
    }
}

// Own promise: an address makes nothing so; what is said of a record is what it is.
#[tokio::test]
async fn an_address_claims_no_deed() {
    let (probe, machine, wiring) = ("/probes/dm1/rinse", "/probes/dm1", "/sign-off/dm1");
    for (path, record, said) in [
        (probe, 17, Some("It is on record and in force: record 17.")),
        (probe, 18, Some("It is on record and in force: record 18.")),
        (probe, 15, Some("It is on record, but it is not what is in force: record 15.")),
        (probe, 16, None),
        (probe, 9999, None),
        (machine, 42, Some("It is signed off and on record: record 42.")),
        (machine, 16, None),
        (machine, 9999, None),
        (wiring, 16, Some("What was found of the wiring is on record: record 16.")),
        (wiring, 42, None),
        (wiring, 9999, None),
    ] {
        let asked = format!("{path}?recorded={record}");
        let (status, page) = get(&asked, Role::Technician, Language::English).await;
        assert_eq!(status, StatusCode::OK, "{asked}");
        assert_eq!(page.contains("class=\"done\" role=\"status\""), said.is_some(), "{asked}: {page}");
        assert!(said.is_none_or(|said| page.contains(said)), "{asked}: {page}");
    }
}

// Own promise: an open page of one probe is told of that probe, and of no other.
#[tokio::test]
async fn an_open_page_is_told_of_its_own_probe() {
    let mut request = Request::get("/live/probes/dm1/rinse").body(Body::empty()).expect("a request");
    request.extensions_mut().insert(person(Role::Auditor, Language::English));
    let answer = site(StillKitchen::new().pages()).oneshot(request).await.expect("it never fails");
    let mut body = answer.into_body().into_data_stream();
    let mut heard = String::new();
    while !heard.contains("</article>") {
        let more = body.next().await.expect("the stream goes on").expect("no failure");
        heard.push_str(std::str::from_utf8(&more).expect("text"));
    }
    assert!(heard.contains("probe-1") && !heard.contains("probe-0"), "{heard}");
    assert!(heard.contains("../../probes/dm1/rinse"), "{heard}");
}

// Own promise: the sheet is for everybody who may look, and brings the one policy that lets its style be seen.
#[tokio::test]
async fn the_sheet_is_a_page_of_its_own() {
    let mut request = Request::get("/probes/dm1/sheet").body(Body::empty()).expect("a request");
    request.extensions_mut().insert(person(Role::Auditor, Language::English));
    let answer = site(StillKitchen::new().pages()).oneshot(request).await.expect("it never fails");
    let policy = answer.headers()[header::CONTENT_SECURITY_POLICY].to_str().expect("text").to_owned();
    // SHA-256 of `p { margin: 0 }` by sha256sum.
    assert!(policy.starts_with("default-src 'none'; style-src 'sha256-"), "{policy}");
    assert!(
        policy.contains("7IWhgxoOGTB5NQzjGk9OPt0FwhVeBvZGoWgF9xLLh8c=") && !policy.contains("script"),
        "{policy}"
    );
}

// Own promise: the page of a machine says for good whether it is signed off, since when and by whom, or why not, and
// leads to what was signed.
#[tokio::test]
async fn a_machine_says_whether_it_is_signed_off() {
    let kitchen = StillKitchen::new();
    let shown = async |language| visit::get(&kitchen, "/probes/dm1", Role::Auditor, language).await.1;
    let page = shown(Language::English).await;
    assert!(page.contains("✗ It was never signed off.") && !page.contains("sheet?record"), "{page}");
    let stood = |accepted, withdrawn, lapsed: &[&str]| {
        let lapsed = lapsed.iter().map(|one| (*one).to_owned()).collect();
        Stood { record: 42, at: NOW, by: "Eli <b>".to_owned(), accepted, withdrawn, lapsed }
    };
    let since = "Thu 26 Nov 2026, 12:00 UTC";
    for (now, english, spanish) in [
        (
            stood(0, false, &[]),
            vec![format!("✓ It has been signed off since {since}, by Eli &#60;b&#62;.")],
            "✓ Está firmada desde",
        ),
        (stood(2, false, &[]), vec!["Accepted with it: 2 open points.".to_owned()], "Aceptados con ella: 2"),
        (
            stood(0, false, &["dm1/rinse has another calibration."]),
            vec![
                format!("✗ It was signed off on {since} by"),
                "✗ dm1/rinse has another calibration.".to_owned(),
            ],
            "Ya no vale",
        ),
        (
            stood(0, true, &["dm1/rinse has another calibration."]),
            vec!["✗ It is not signed off: the sign-off of".to_owned()],
            "No está firmada: la firma de",
        ),
    ] {
        kitchen.stood.send_replace(Some(now));
        let page = shown(Language::English).await;
        for said in english {
            assert!(page.contains(&said), "{said}: {page}");
        }
        for way in ["../probes/dm1/sheet?record=42", "../history/records/42"] {
            assert!(page.contains(way), "{way}: {page}");
        }
        let page = shown(Language::Spanish).await;
        assert!(page.contains(spanish), "{spanish}: {page}");
    }
}

// Own promise: how the newest comparison of a probe came out stands on its page, with its record.
#[tokio::test]
async fn the_newest_comparison_stands_on_the_page() {
    for (language, said) in [
        (
            Language::English,
            [
                "Latest comparison",
                "12:00 UTC · Ana &#60;u&#62;",
                "✗ FAILED: the thermometer is off.",
                "1.6 °C too much",
            ],
        ),
        (
            Language::Spanish,
            ["Última comparación", "12:00 UTC · Ana &#60;u&#62;", "✗ NO CUMPLE", "1.6 °C de más"],
        ),
    ] {
        let (_, page) = get("/probes/dm1/rinse", Role::Auditor, language).await;
        for said in said {
            assert!(page.contains(said), "{said}: {page}");
        }
        assert!(page.contains("href=\"../../history/records/40\""), "{page}");
    }
}

// Own promise: the list of all probes says of each machine whether it is signed off, since when and by whom.
#[tokio::test]
async fn the_list_says_which_machines_are_signed_off() {
    let kitchen = StillKitchen::new();
    let (_, page) = visit::get(&kitchen, "/probes", Role::Auditor, Language::English).await;
    assert!(page.contains("✗ It was never signed off.") && !page.contains("id=\"stood\""), "{page}");
    let stood = Stood {
        record: 42,
        at: NOW,
        by: "Eli <b>".to_owned(),
        accepted: 0,
        withdrawn: false,
        lapsed: Vec::new(),
    };
    kitchen.stood.send_replace(Some(stood));
    for (language, said) in [
        (Language::English, "✓ It has been signed off since Thu 26 Nov 2026, 12:00 UTC, by Eli &#60;b&#62;."),
        (Language::Spanish, "✓ Está firmada desde jue 26 nov 2026, 12:00 UTC, por Eli &#60;b&#62;."),
    ] {
        let (_, page) = visit::get(&kitchen, "/probes", Role::Auditor, language).await;
        assert!(page.contains(said), "{page}");
    }
}

// Own promise: what a technician does at a temperature probe is offered at its entry of the list, to whoever may; at a
// channel of the sanitizer, which stands there too, nothing is.
#[tokio::test]
async fn the_list_leads_to_calibration_and_response() {
    for (path, up) in [("/probes", "./"), ("/probes/dm1", "../")] {
        let (_, page) = get(path, Role::Technician, Language::English).await;
        for probe in ["rinse", "wash"] {
            for way in ["calibrate", "respond"] {
                assert!(page.contains(&format!("href=\"{up}{way}/dm1/{probe}\"")), "{way} {probe}: {page}");
            }
        }
        for said in ["sanitizer, mg/L", "100 mg/L", "measured by the probe dm1/sanitizer", "pH 7.5"] {
            assert!(page.contains(said), "{said}: {page}");
        }
        assert!(!page.contains("/dm1/sanitizer") && !page.contains("/dm1/ph"), "{page}");
        let (_, page) = get(path, Role::Auditor, Language::English).await;
        assert!(page.contains("100 mg/L") && !page.contains("calibrate/"), "{page}");
    }
}
