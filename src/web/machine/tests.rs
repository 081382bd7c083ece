use axum::body::Body;
use axum::extract::Request;
use axum::http::{StatusCode, header};
use futures_util::StreamExt;
use tower::ServiceExt;

use crate::core::access::Role;
use crate::core::reader::Language;
use crate::core::sanitizer::bound::Bound;
use crate::web::fixture::{StillKitchen, person};
use crate::web::router::site;

async fn get(path: &str, language: Language) -> (StatusCode, String) {
    let mut request =
        Request::get(path).header(header::ACCEPT, "text/html").body(Body::empty()).expect("a request");
    request.extensions_mut().insert(person(Role::Operator, language));
    let answer = site(StillKitchen::new().pages()).oneshot(request).await.expect("it never fails");
    let status = answer.status();
    let bytes = axum::body::to_bytes(answer.into_body(), 1 << 20).await.expect("a body");
    (status, String::from_utf8(bytes.to_vec()).expect("text"))
}

// Own promises: verdicts in words beside their signs, what is missing or damaged said, a value below its
// limit never equal to it, links that lead on from a page one step deep.
#[tokio::test]
async fn the_page_of_a_machine_says_what_its_day_was() {
    let (status, page) = get("/machines/dm1", Language::English).await;
    assert_eq!(status, StatusCode::OK);
    for said in [
        "href=\"../cycles/48\"",
        "href=\"../alerts/3\"",
        "82.19",
        "82.20",
        "cold",
        "DAMAGED",
        "dm1/rinse: silent, 12:00 – it lasts",
        "wire broken",
        "60.0 – 84.5 °C",
        "66.4 °C (12:00 UTC<span class=\"age\">, 20 s ago</span>)",
        "OLD: 66.4 °C (12:00 UTC<span class=\"age\">, 10 min ago</span>)",
        "?day=2026-11-25",
        "<p>3 racks: 1 cold, 2 pass; of these in doubt: 1.</p>",
        "pass, in doubt (<a href=\"../alerts/7\">alert 7</a>)",
        "<td colspan=\"4\" class=\"is-narrow\">judged by 100 mg/L; next test 10 mg/L at ",
        // What paper has: the chart, and the worst in place of the table of all.
        "<figure class=\"plot both\">",
        "<details class=\"screen\">",
        "<ul class=\"paper\"><li>",
        " cold: 82.19 °C (limit 82.20 °C)</li><li>",
        " pass, in doubt (alert 7): ",
        "data-live=\"dm1/live\"",
        "Hot water and steam scald",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    let (_, spanish) = get("/machines/dm1?day=2026-11-20", Language::Spanish).await;
    for said in ["fría", "ANTIGUA: 66.4 °C", "DAÑADO", "cable roto", "vie 20 nov 2026", "sin señal"] {
        assert!(spanish.contains(said), "{said}: {spanish}");
    }
}

// Own promise: a machine that does not exist has no page and no stream.
#[tokio::test]
async fn what_does_not_exist_is_told() {
    for path in ["/machines/dm9", "/machines/dm9/live", "/machines/..%2fdm1", "/machines/%00"] {
        assert_eq!(get(path, Language::English).await.0, StatusCode::NOT_FOUND, "{path}");
    }
}

// Own promise: a day that is none, or has not come, is told beside its field in the reader's language, and no other
// day is shown in its stead; how the machine is just now stays on the page.
#[tokio::test]
async fn a_day_that_cannot_be_is_told_and_no_other_is_shown() {
    for (query, said) in [
        ("day=%3Cscript%3E", "Día: se leyó «&#60;script&#62;»; se espera un día como 2026-11-26."),
        ("day=2026-11-27", "se espera un día no posterior a 2026-11-26."),
        ("day=2026-02-30", "«2026-02-30»"),
        ("day=2026-11-20T10:00", "«2026-11-20T10:00»"),
    ] {
        let (status, page) = get(&format!("/machines/dm1?{query}"), Language::Spanish).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{query}");
        for wanted in
            [said, "id=\"day-fault\"", "aria-describedby=\"day-fault\"", "machine-0", "no se buscó nada"]
        {
            assert!(page.contains(wanted), "{wanted}: {page}");
        }
        assert!(!page.contains("<script>") && !page.contains("Cada canasta en una tabla"), "{page}");
    }
    for (query, said) in [
        (
            "date=2026-11-20",
            "The address gives «date», which this page does not know; the names that it knows: day, renew.",
        ),
        ("day=2026-11-20&day=2026-11-21", "Day: «2026-11-21» was read; expected is that it is given once."),
    ] {
        let (status, page) = get(&format!("/machines/dm1?{query}"), Language::English).await;
        assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains(said), "{said}: {page}");
    }
    let (status, page) = get("/machines/dm1?day=", Language::English).await;
    assert!(status == StatusCode::OK && page.contains("Thu 26 Nov 2026"), "{page}");
}

// Own promise: an open page of a machine gets its card and its trace, and nothing of another machine.
#[tokio::test]
async fn an_open_page_is_told_of_its_machine_alone() {
    let mut request = Request::get("/machines/dm2/live").body(Body::empty()).expect("a request");
    request.extensions_mut().insert(person(Role::Auditor, Language::English));
    let answer = site(StillKitchen::new().pages()).oneshot(request).await.expect("it never fails");
    let mut body = answer.into_body().into_data_stream();
    let mut heard = String::new();
    while heard.matches("event: part").count() < 2 {
        let more = body.next().await.expect("the stream goes on").expect("no failure");
        heard.push_str(std::str::from_utf8(&more).expect("text"));
    }
    assert!(heard.contains("machine-1") && heard.contains("id=\"trace\""), "{heard}");
    assert!(!heard.contains("machine-0") && heard.contains("dm2/rinse"), "{heard}");
}

// Own promise: a weak rack is told by its sanitizer, with its temperature, which may be fine, behind that; one that was
// cold at once by both. 25 mg/L: FDA Food Code 4-501.114(A).
#[test]
fn a_weak_rack_is_told_by_its_sanitizer() {
    use crate::core::cycle::figures::Figures;
    use crate::core::cycle::plate::Sanitizing;
    use crate::core::cycle::strength::OffRange;
    use crate::core::cycle::verdict::{Reason, Verdict};
    use crate::core::sanitizer::Refusal;
    let mut cycle = crate::web::fixture::rack::cycle();
    cycle.sanitizing = Sanitizing::Chlorine;
    cycle.reasons =
        vec![Reason::Concentration { refusal: Refusal::TooWeak, mg_per_l: 10.0, limit: Some(25.0) }];
    for (language, verdict, said, cell) in [
        (
            Language::English,
            Verdict::Weak,
            " off-range: sanitizer 10 mg/L (at least 25 mg/L); 58.6 °C (limit 49.0 °C)",
            "sanitizer 10 mg/L (at least 25 mg/L)",
        ),
        (
            Language::Spanish,
            Verdict::Cold,
            " fría: desinfectante 10 mg/L (al menos 25 mg/L); 58.6 °C (límite 49.0 °C)",
            "desinfectante 10 mg/L (al menos 25 mg/L)",
        ),
    ] {
        let reader = crate::core::reader::Reader {
            language,
            scale: crate::core::reader::Scale::Celsius,
            zone: jiff::tz::TimeZone::UTC,
        };
        let rack = super::DayRack {
            record: 1234,
            at: crate::web::fixture::NOW,
            verdict,
            figures: Figures {
                settled_c: Some(58.6),
                unjudged: None,
                limit_c: 49.0,
                off_range: OffRange::of(&cycle),
            },
            wash_c: None,
            in_doubt_by: Vec::new(),
            overtaken: None,
        };
        assert_eq!(super::rack_row(&rack, &reader).off_range.as_deref(), Some(cell));
        let worst = super::worst(&[rack], &reader);
        assert!(worst.first().is_some_and(|line| line.ends_with(said)), "{worst:?}");
    }
}

// Regression: a rack in doubt stood in the lists with its temperature alone, which is fine. 25 mg/L: FDA Food Code
// 4-501.114(A).
#[test]
fn a_rack_in_doubt_says_what_it_passed_by() {
    use crate::core::cycle::figures::{Figures, Overtaken};
    use crate::core::cycle::plate::Sanitizing;
    use crate::core::cycle::verdict::Verdict;
    use crate::core::reader::{Language, Reader, Scale};
    let at = |text: &str| text.parse::<crate::core::time::Timestamp>().expect("an instant");
    let mut cycle = crate::web::fixture::rack::cycle();
    (cycle.sanitizing, cycle.concentration_mg_per_l) = (Sanitizing::Chlorine, Some(100.0));
    cycle.rinse_started = at("2026-11-21T11:17:00Z");
    let overtaken =
        Overtaken::new(&cycle, at("2026-11-21T13:37:00Z"), (10.0, None), Some(Bound::AtLeast(25.0)));
    let rack = super::DayRack {
        record: 47,
        at: cycle.rinse_started,
        verdict: Verdict::Pass,
        figures: Figures { settled_c: Some(58.1), unjudged: None, limit_c: 49.0, off_range: None },
        wash_c: None,
        in_doubt_by: vec![2],
        overtaken,
    };
    for (language, told) in [
        (Language::English, "judged by 100 mg/L; next test 10 mg/L at 13:37 UTC, at least 25 mg/L"),
        (Language::Spanish, "juzgada por 100 mg/L; prueba siguiente 10 mg/L, 13:37 UTC, al menos 25 mg/L"),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: jiff::tz::TimeZone::UTC };
        assert_eq!(super::rack_row(&rack, &reader).overtaken.as_deref(), Some(told));
        assert!(rack.told(&reader).starts_with(&format!("{told}; 58.1 °C (")), "{}", rack.told(&reader));
        let worst = super::worst(std::slice::from_ref(&rack), &reader);
        assert!(worst.first().is_some_and(|line| line.contains(told)), "{worst:?}");
    }
}
