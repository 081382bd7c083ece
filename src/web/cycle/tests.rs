use axum::body::Body;
use axum::extract::Request;
use axum::http::{StatusCode, header};
use axum::response::Response;
use tower::ServiceExt;

use crate::core::access::Role;
use crate::core::reader::{Language, Reader, Scale};
use crate::core::sanitizer::bound::Bound;
use crate::core::time::Timestamp;
use crate::web::fixture::rack::cycle;
use crate::web::fixture::{StillKitchen, person};
use crate::web::router::site;

async fn answer(path: &str, language: Language) -> Response {
    let mut request =
        Request::get(path).header(header::ACCEPT, "text/html").body(Body::empty()).expect("a request");
    request.extensions_mut().insert(person(Role::Auditor, language));
    site(StillKitchen::new().pages()).oneshot(request).await.expect("it never fails")
}

async fn get(path: &str, language: Language) -> (StatusCode, String) {
    let answer = answer(path, language).await;
    let status = answer.status();
    let bytes = axum::body::to_bytes(answer.into_body(), 1 << 20).await.expect("a body");
    (status, String::from_utf8(bytes.to_vec()).expect("text"))
}

// Own promises: verdict with its sign, reasons and findings, what just missed its limit never equal to it,
// what people wrote is text, the missing calibration said, the record's place and hash, the way to the proof.
#[tokio::test]
async fn a_rack_says_why_it_got_its_verdict() {
    let (status, page) = get("/cycles/47", Language::English).await;
    assert_eq!(status, StatusCode::OK);
    for said in [
        "COLD",
        "sign is-cold",
        "82.19 °C · limit 82.20 °C",
        "Too cold.",
        "Wash low.",
        "Work on the machine at that time: Ana &#60;b&#62; (calibration of dm1/rinse), since Thu 26 Nov 2026, ",
        "href=\"../history/records/43\">record 43</a>",
        "4.98 s (required 5.00 s)",
        "data plate",
        "49.9 %",
        "water-side estimate",
        "NO CALIBRATION on file",
        "&#60;b&#62;washed again",
        "href=\"../logbook/entries/12\"",
        "That reading was changed later; the verdict stays as it was judged. Withdrawn by Ana",
        "Record 61: it speaks of this rack and is damaged",
        "href=\"../alerts/3\">Belongs to alert 3</a>",
        "href=\"../alerts/9\">Alert 9 recovered by it</a>",
        "href=\"../alerts/7\">Alert 7</a>: A test found the sanitizer outside its range",
        "href=\"../logbook/entries/33\">entry, record 33</a>.<br><b>That entry was changed since.</b> Withdrawn by Ana",
        "record 47",
        "48 records, Thu 26 Nov 2026",
        "href=\"47/proof\"",
        "rinseward verify",
        "--key site.verify-key",
        "history?show=racks&#38;machine=dm1&#38;from=2026-11-26&#38;to=2026-11-26\"",
        "history\" aria-current=\"page\"",
        "class=\"pending\">Corrective action, alert 3, does NOT cover this rack: it is not among those of then: «rewashed»; racks: «&#60;b&#62;held&#60;/b&#62;» (Eva, Thu 26 Nov 2026",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    // One that had passed is not shown as good once it is in doubt.
    for (language, word) in [(Language::English, "PASS, in doubt"), (Language::Spanish, "CORRECTA, en duda")]
    {
        let (_, page) = get("/cycles/48", language).await;
        assert!(page.contains(&format!("<span class=\"word is-narrow\">{word}</span>")), "{page}");
        assert!(!page.contains("sign is-pass") && !page.contains("word is-pass"), "{page}");
    }
    let (_, spanish) = get("/cycles/47", Language::Spanish).await;
    for said in [
        "FRÍA",
        "Trabajo en la máquina a esa hora: Ana &#60;b&#62; (calibración de dm1/rinse), desde",
        "Esa lectura se cambió después",
        "Una prueba halló el desinfectante fuera de su rango",
        "Esa anotación se cambió después",
        "Enmendado",
        "SIN CALIBRACIÓN",
        "tanque de lavado",
        "exigido 5.00 s",
    ] {
        assert!(spanish.to_lowercase().contains(&said.to_lowercase()), "{said}: {spanish}");
    }
}

// Own promise: a record that no checkpoint counts yet has no proof, and the page says so.
#[tokio::test]
async fn what_is_not_sealed_yet_is_told() {
    let (_, page) = get("/cycles/48", Language::English).await;
    assert!(page.contains("does not count this record yet") && !page.contains("48/proof"), "{page}");
    assert_eq!(get("/cycles/48/proof", Language::English).await.0, StatusCode::NOT_FOUND);
    let proof = answer("/cycles/47/proof", Language::English).await;
    assert_eq!(proof.headers()[header::CONTENT_DISPOSITION], "attachment; filename=\"record-47-proof.json\"");
    assert_eq!(proof.headers()[header::CONTENT_TYPE], "application/json");
}

// Own promise: damage is said plainly and shows no verdict; what is no rack is unknown.
#[tokio::test]
async fn a_damaged_record_is_no_rack_and_no_pass() {
    let (status, page) = get("/cycles/46", Language::English).await;
    assert!(status == StatusCode::OK && page.contains("DAMAGED") && !page.contains("class=\"sign"), "{page}");
    for path in ["/cycles/5", "/cycles/-1", "/cycles/x", "/cycles/99999999999999999999", "/cycles/5/proof/x"]
    {
        assert_eq!(get(path, Language::English).await.0, StatusCode::NOT_FOUND, "{path}");
    }
}

// Own promise: what is on record as settled minimum of a rack that was not judged is told with that, also where it is
// the only one.
#[test]
fn a_minimum_that_was_not_judged_is_told_with_that() {
    use crate::core::cycle::verdict::Reason;
    let reader = crate::core::reader::Reader {
        language: Language::English,
        scale: crate::core::reader::Scale::Celsius,
        zone: jiff::tz::TimeZone::UTC,
    };
    let fault = crate::core::reading::Fault::OpenCircuit;
    for (corrected, reason, told) in [
        (Some(62.611), Reason::WorkedOn, "62.6 °C, not judged (worked on) · limit"),
        (None, Reason::RinseProbe { fault }, "63.0 °C, not judged (probe at fault) · limit"),
        (None, Reason::TankUnseen, "63.0 °C, not judged (in doubt) · limit"),
    ] {
        let mut cycle = crate::web::fixture::rack::cycle();
        (cycle.rinse_min_raw_c, cycle.rinse_min_corrected_c) = (Some(63.0), corrected);
        cycle.put_in_doubt(reason);
        assert!(super::figures(&cycle, &reader).starts_with(told), "{}", super::figures(&cycle, &reader));
        cycle.rinse_min_raw_c = None;
        cycle.rinse_min_corrected_c = None;
        assert!(super::figures(&cycle, &reader).starts_with("no settled minimum · limit"));
    }
}

// Own promise: what is on file stands against its limits, directly behind it, as each temperature does. 25 mg/L, pH 10: FDA
// Food Code 4-501.114(A); 200 mg/L: 40 CFR 180.940; what a label asks of quat is on no record of a rack that it does not
// speak against. Regression: the limit of the strength stood behind the pH.
#[test]
fn the_strength_on_file_stands_against_its_limit() {
    use crate::core::cycle::plate::Sanitizing;
    use crate::core::cycle::strength::on_file;
    use crate::core::cycle::verdict::Reason;
    use crate::core::sanitizer::{Refusal, Rules};
    let (mut cycle, rules) = (cycle(), Rules::default());
    let known = Some(&rules);
    for (sanitizing, mg_per_l, ph, reason_of, rules, told) in [
        (
            Sanitizing::Chlorine,
            100.0,
            Some(7.8),
            None,
            known,
            "100 mg/L (25 to 200 mg/L), pH 7.8 (pH at most 10)",
        ),
        (Sanitizing::Chlorine, 100.0, Some(7.8), None, None, "100 mg/L (at least 25 mg/L), pH 7.8"),
        (Sanitizing::Chlorine, 100.0, None, None, known, "100 mg/L (25 to 200 mg/L)"),
        // The record knows better than the configuration.
        (
            Sanitizing::Chlorine,
            150.0,
            None,
            Some((Refusal::TooStrong, 100.0)),
            known,
            "150 mg/L (at most 100 mg/L)",
        ),
        (
            Sanitizing::Chlorine,
            100.0,
            Some(10.5),
            Some((Refusal::PhTooHigh, 10.0)),
            known,
            "100 mg/L (25 to 200 mg/L), pH 10.5 (pH at most 10)",
        ),
        (Sanitizing::Quat, 300.0, Some(7.0), None, known, "300 mg/L (200 to 400 mg/L), pH 7"),
        (Sanitizing::Quat, 300.0, None, None, None, "300 mg/L"),
        (
            Sanitizing::Quat,
            100.0,
            None,
            Some((Refusal::TooWeak, 200.0)),
            None,
            "100 mg/L (at least 200 mg/L)",
        ),
    ] {
        (cycle.sanitizing, cycle.concentration_mg_per_l, cycle.ph) = (sanitizing, Some(mg_per_l), ph);
        let reason = |(refusal, limit)| Reason::Concentration { refusal, mg_per_l, limit: Some(limit) };
        cycle.reasons = reason_of.map(reason).into_iter().collect();
        assert_eq!(on_file(&cycle, rules, Language::English).as_deref(), Some(told));
    }
    cycle.reasons = Vec::new();
    cycle.sanitizing = Sanitizing::Chlorine;
    let spanish = on_file(&cycle, known, Language::Spanish);
    assert_eq!(spanish.as_deref(), Some("100 mg/L (de 25 a 200 mg/L)"));
}

// Own promise: a rack in doubt says what it passed by and what the test found that speaks against it, with the limit.
// 25 mg/L: FDA Food Code 4-501.114(A); 200 mg/L: 40 CFR 180.940.
#[test]
fn a_rack_in_doubt_says_what_the_later_test_found() {
    use crate::core::cycle::figures::Overtaken;
    use crate::core::cycle::plate::Sanitizing;
    let at = |text: &str| text.parse::<Timestamp>().expect("an instant");
    let mut cycle = cycle();
    (cycle.sanitizing, cycle.rinse_started) = (Sanitizing::Chlorine, at("2026-11-21T11:17:00Z"));
    (cycle.concentration_mg_per_l, cycle.ph) = (Some(100.0), None);
    let (noon, next_day) = (at("2026-11-21T13:37:00Z"), at("2026-11-22T00:12:00Z"));
    let (en, es) = (Language::English, Language::Spanish);
    for (language, at, test, limit, told) in [
        (
            en,
            noon,
            (10.0, None),
            Some(Bound::AtLeast(25.0)),
            "judged by 100 mg/L; next test 10 mg/L at 13:37 UTC, at least 25 mg/L",
        ),
        (
            en,
            noon,
            (10.0, None),
            None,
            "judged by 100 mg/L; next test 10 mg/L at 13:37 UTC, at least 25 mg/L",
        ),
        (
            es,
            noon,
            (300.0, None),
            Some(Bound::AtMost(200.0)),
            "juzgada por 100 mg/L; prueba siguiente 300 mg/L, 13:37 UTC, como máximo 200 mg/L",
        ),
        (
            en,
            next_day,
            (50.0, Some(10.5)),
            None,
            "judged by 100 mg/L; next test 50 mg/L, pH 10.5 at Sun 22 Nov 2026, 00:12 UTC",
        ),
        (
            en,
            noon,
            (50.0, Some(10.5)),
            Some(Bound::PhAtMost(10.0)),
            "judged by 100 mg/L; next test 50 mg/L, pH 10.5 at 13:37 UTC, pH at most 10",
        ),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        let overtaken = Overtaken::new(&cycle, at, test, limit).expect("it was judged by a test");
        assert_eq!(overtaken.told(&reader), told);
    }
    cycle.concentration_mg_per_l = None;
    assert_eq!(Overtaken::new(&cycle, noon, (10.0, None), None), None);
}
