mod amend;
mod kept;
mod live;
mod own;
mod prefilled;
mod supplies;
mod thermometer;

use std::time::Duration;

use axum::http::StatusCode;

use jiff::tz::TimeZone;

use super::amend::OWN_FOR;
use super::words::measured_by;
use super::{Entered, Written};
use crate::core::access::Role;
use crate::core::logbook::{Device, Judgement};
use crate::core::reader::{Language, Reader, Scale};
use crate::core::record::{Amendment, AmendmentChange, Check, CheckKind};
use crate::web::fixture::desk::SCRIPT;
use crate::web::fixture::visit::{get, post, post_as};
use crate::web::fixture::{NOW, StillKitchen};

/// SCRIPT as a form sends it.
fn hostile() -> String {
    crate::core::address::escaped(SCRIPT)
}

fn last(kitchen: &StillKitchen) -> Check {
    match kitchen.desk.entries().pop().expect("an entry").written {
        Written::Check(check) => check,
        Written::Note(note) => panic!("a check is expected: {note:?}"),
    }
}

// Own promise: what is due stands on top, each one target that leads to its form with the machine chosen.
#[tokio::test]
async fn what_is_due_leads_to_its_form() {
    let kitchen = StillKitchen::new();
    let (_, page) = get(&kitchen, "/logbook", Role::Operator, Language::English).await;
    for said in [
        "href=\"logbook/sanitizer?machine=dm2\"",
        "OVERDUE, due 11:00 UTC",
        "dm1: drain and clean",
        // Another day is named.
        "since Wed 25 Nov 2026, 20:30 UTC",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    let (_, spanish) = get(&kitchen, "/logbook", Role::Operator, Language::Spanish).await;
    for said in [
        "ATRASADO, pendiente desde las 11:00 UTC",
        "pendiente desde el mié",
        "No hay nada anotado desde medianoche.",
    ] {
        assert!(spanish.contains(said), "as alerts say it: {said}: {spanish}");
    }
    let (_, form) = get(&kitchen, "/logbook/sanitizer?machine=dm2", Role::Operator, Language::English).await;
    for said in [
        "Sanitizer · dm2",
        "type=\"hidden\" name=\"machine\" value=\"dm2\"",
        "inputmode=\"decimal\"",
        "value=\"50\"",
    ] {
        assert!(form.contains(said), "{said}: {form}");
    }
    // A hot-water machine is not offered for a strip.
    let (_, form) = get(&kitchen, "/logbook/sanitizer?machine=dm1", Role::Operator, Language::English).await;
    assert!(form.contains("value=\"dm3\"") && !form.contains("value=\"dm1\""), "{form}");
    let (_, auditor) = get(&kitchen, "/logbook", Role::Auditor, Language::English).await;
    assert!(
        !auditor.contains("href=\"logbook/sanitizer") && auditor.contains("Ask: operator, manager"),
        "{auditor}"
    );
    let (status, _) = get(&kitchen, "/logbook/nothing", Role::Operator, Language::English).await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}

// Own promise: a check that was made and found something wrong stays due, and says why until a good one.
#[tokio::test]
async fn what_is_due_after_a_failure_says_what_was_found() {
    let kitchen = StillKitchen::new();
    let found = "<span>Found at 12:00 UTC: 10 mg/L";
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=10", Role::Operator).await;
    let (_, page) = get(&kitchen, "/logbook", Role::Operator, Language::English).await;
    assert!(page.contains(found) && page.contains("then enter it again"), "{page}");
    assert!(
        page.contains("class=\"target danger\"") && page.contains("<b>✗ dm2: test the sanitizer"),
        "{page}"
    );
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=50", Role::Operator).await;
    let (_, page) = get(&kitchen, "/logbook", Role::Operator, Language::English).await;
    assert!(!page.contains("Found at") && !page.contains("target danger"), "{page}");
}

// 4-501.114: chlorine below 25 mg/L is too weak at any temperature. A failed check is a true entry.
#[tokio::test]
async fn a_strip_is_judged_at_once() {
    let kitchen = StillKitchen::new();
    let (status, to) = post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=10", Role::Operator).await;
    assert_eq!((status, to.as_str()), (StatusCode::SEE_OTHER, "entries/70"));
    let expected = Check::Sanitizer {
        at: NOW,
        mg_per_l: 10.0,
        ph: None,
        solution_c: None,
        method: Some("test strip".to_owned()),
        by: "Ana".to_owned(),
    };
    assert_eq!(last(&kitchen), expected);
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, Language::Spanish).await;
    assert!(page.contains("tira reactiva") && !page.contains("test strip"), "{page}");
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, Language::English).await;
    for said in [
        "FAILED: the sanitizer is not good.",
        "10 mg/L (at least 25 mg/L), ",
        "outcome bad",
        "✗",
        "at least 25 mg/L",
        "Stop feeding the machine.",
        "Never let chlorine meet acid",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    let (_, spanish) = get(&kitchen, "/logbook/entries/70", Role::Operator, Language::Spanish).await;
    assert!(spanish.contains("NO CUMPLE") && spanish.contains("Nunca junte cloro"), "{spanish}");
    let sent = "machine=dm2&strip=&mg_per_l=50&ph=7,5&solution=49";
    let (_, to) = post(&kitchen, "/logbook/sanitizer", sent, Role::Operator).await;
    assert_eq!(to, "entries/71");
    assert!(matches!(last(&kitchen), Check::Sanitizer { mg_per_l: 50.0, ph: Some(7.5), method: None, .. }));
    let (_, page) = get(&kitchen, "/logbook/entries/71", Role::Operator, Language::English).await;
    assert!(page.contains("outcome good") && page.contains("The sanitizer is good."), "{page}");
}

#[tokio::test]
async fn the_other_checks_are_entered() {
    let kitchen = StillKitchen::new();
    for (path, sent, kind) in [
        ("/logbook/supply", "machine=dm1&enough=no&note=rinse+aid", CheckKind::Supply),
        ("/logbook/drain-and-clean", "machine=dm1", CheckKind::DrainAndClean),
        (
            "/logbook/thermometer",
            "what=dm1/rinse&shown=82.5&right=83&reference=no.+7",
            CheckKind::Thermometer,
        ),
        (
            "/logbook/thermometer",
            "other=dial&device=water&shown=0.2&right=0&reference=ice",
            CheckKind::Thermometer,
        ),
    ] {
        let (status, to) = post(&kitchen, path, sent, Role::Operator).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{path}: {to}");
        assert_eq!(last(&kitchen).kind(), kind);
    }
    // The reference of the newest comparison stands in the form, and need not be typed again.
    let form = "/logbook/thermometer?what=dm1%2Frinse";
    let (_, page) = get(&kitchen, form, Role::Operator, Language::English).await;
    assert!(page.contains("name=\"reference\"") && page.contains("value=\"ice\""), "{page}");
    let machines: Vec<Option<String>> = kitchen.desk.entries().into_iter().map(|one| one.machine).collect();
    let dm1 = || Some("dm1".to_owned());
    assert_eq!(machines, [dm1(), dm1(), dm1(), None]);
    let (status, _) =
        post(&kitchen, "/logbook/note", "note=the+booster+hums&machine=all", Role::Operator).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let (_, page) = get(&kitchen, "/logbook", Role::Operator, Language::English).await;
    assert!(page.contains("the booster hums") && page.contains("✗ FAILED"), "{page}");
}

// Own promise: every entry that is good bears one mark, and one that is not judged none.
#[tokio::test]
async fn every_good_entry_has_the_same_mark() {
    let kitchen = StillKitchen::new();
    for (path, sent, mark) in [
        ("/logbook/supply", "machine=dm1&enough=yes", "✓"),
        ("/logbook/drain-and-clean", "machine=dm1", ""),
        ("/logbook/sanitizer", "machine=dm2&strip=50", "✓"),
        ("/logbook/sanitizer", "machine=dm2&strip=10", "✗"),
        ("/logbook/note", "machine=all&note=it+hums", ""),
    ] {
        let (_, to) = post(&kitchen, path, sent, Role::Operator).await;
        let (_, page) = get(&kitchen, "/logbook", Role::Operator, Language::English).await;
        let lines = page.split("<li class=\"entry").nth(1).expect("the newest entry");
        for sign in ["✓", "✗"] {
            assert_eq!(
                lines.split("</li>").next().is_some_and(|own| own.contains(sign)),
                sign == mark,
                "{page}"
            );
        }
        let (_, page) = get(&kitchen, &format!("/logbook/{to}"), Role::Operator, Language::English).await;
        let outcome = page.split("class=\"outcome").nth(1).and_then(|rest| rest.split("</p>").next());
        let outcome = outcome.expect("what it came to");
        assert!(outcome.contains(mark) && (!mark.is_empty() || !outcome.contains("✓")), "{outcome}");
    }
}

// Own promise: an impossible input is shown again as it was typed, its fault beside the field; nothing goes on record.
#[tokio::test]
async fn what_cannot_be_is_asked_again() {
    let kitchen = StillKitchen::new();
    for (path, sent, faults) in [
        ("/logbook/sanitizer", "machine=dm2", vec!["mg_per_l"]),
        ("/logbook/sanitizer", "machine=dm2&mg_per_l=9000&ph=15", vec!["mg_per_l", "ph"]),
        ("/logbook/sanitizer", "machine=dm1&strip=50", vec!["machine"]),
        ("/logbook/sanitizer", "machine=dm2&mg_per_l=1,000", vec!["mg_per_l"]),
        ("/logbook/sanitizer", "machine=dm2&strip=10&mg_per_l=50", vec!["mg_per_l"]),
        ("/logbook/sanitizer", "machine=dm2&strip=often&mg_per_l=50", vec!["mg_per_l"]),
        ("/logbook/sanitizer", "machine=dm2&strip=33", vec!["mg_per_l"]),
        ("/logbook/sanitizer", "machine=dm2&strip=150&mg_per_l=150", vec!["mg_per_l"]),
        ("/logbook/sanitizer", "machine=dm2&strip=50&at=2027-01-01T10:00", vec!["at"]),
        ("/logbook/sanitizer", "machine=dm2&strip=50&at=2025-11-26T10:00", vec!["at"]),
        ("/logbook/supply", "machine=dm1&enough=maybe", vec!["enough"]),
        ("/logbook/supply", "machine=dm1&enough=no", vec!["note"]),
        ("/logbook/supply", "machine=dm1&enough=yes&short-detergent=yes", vec!["enough"]),
        ("/logbook/drain-and-clean", "machine=", vec!["machine"]),
        (
            "/logbook/thermometer",
            "what=&shown=hot&right=&reference=",
            vec!["other", "device", "shown", "right", "reference"],
        ),
        // A probe that was chosen is not dropped for a name that was typed.
        (
            "/logbook/thermometer",
            "what=dm1/rinse&other=dial&device=food&shown=1&right=1&reference=ice",
            vec!["other"],
        ),
        // What another one measures decides what it may be off by: nothing is chosen for whoever does not say it.
        ("/logbook/thermometer", "other=dial&shown=1&right=1&reference=ice", vec!["device"]),
        (
            "/logbook/thermometer",
            "machine=dm9&other=d&device=food&shown=1&right=1&reference=i",
            vec!["machine"],
        ),
        ("/logbook/sanitizer", "machine=dm2&mg_per_l=1.000", vec!["mg_per_l"]),
        ("/logbook/note", "machine=all&note=", vec!["note"]),
    ] {
        let (status, page) = post(&kitchen, path, sent, Role::Operator).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path} {sent}");
        for fault in &faults {
            assert!(page.contains(&format!("id=\"{fault}-fault\"")), "{fault} of {sent}: {page}");
        }
        assert_eq!(page.matches("class=\"fault\"").count(), faults.len(), "{sent}: {page}");
    }
    let (_, page) =
        post(&kitchen, "/logbook/sanitizer", "machine=dm2&mg_per_l=9000&ph=7", Role::Operator).await;
    assert!(page.contains("value=\"9000\"") && page.contains("value=\"7\""), "{page}");
    assert!(kitchen.desk.entries().is_empty());
}

// Own promise: of a colour and a number that differ neither wins; two that agree are the strip's.
#[tokio::test]
async fn a_number_does_not_win_over_a_colour() {
    let kitchen = StillKitchen::new();
    let sent = "machine=dm2&strip=10&mg_per_l=50";
    let (status, page) = post(&kitchen, "/logbook/sanitizer", sent, Role::Operator).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    for said in ["You tapped 10 and typed 50", "name=\"strip\" value=\"10\" checked", "value=\"\">no strip"] {
        assert!(page.contains(said), "{said}: {page}");
    }
    assert!(kitchen.desk.entries().is_empty());
    let sent = "machine=dm2&strip=50&mg_per_l=50.0";
    let (status, _) = post(&kitchen, "/logbook/sanitizer", sent, Role::Operator).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let strip = Some("test strip".to_owned());
    assert!(matches!(last(&kitchen), Check::Sanitizer { mg_per_l: 50.0, method, .. } if method == strip));
}

// Food Code 4-703.11(B): 71 °C (160 °F) at the surface of the utensils, by an irreversible indicator. Own promise: a
// machine that was named never becomes another, whether the form or its address names it.
#[tokio::test]
async fn a_hot_water_machine_stays_what_it_is() {
    let kitchen = StillKitchen::new();
    for (machine, said) in
        [("dm1", "«dm1» sanitizes with hot water"), ("dm9", "No machine here is called «dm9»")]
    {
        let path = format!("/logbook/sanitizer?machine={machine}");
        let asked = get(&kitchen, &path, Role::Operator, Language::English).await;
        let sent = format!("machine={machine}&strip=50");
        let sent = post(&kitchen, "/logbook/sanitizer", &sent, Role::Operator).await;
        for (status, page) in [asked, sent] {
            assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{machine}");
            for said in [said, "id=\"machine-fault\"", "type=\"radio\" name=\"machine\" value=\"dm2\""] {
                assert!(page.contains(said), "{said}: {page}");
            }
            assert!(!page.contains("type=\"hidden\" name=\"machine\""), "{page}");
        }
    }
    assert!(kitchen.desk.entries().is_empty());
    let path = "/logbook/sanitizer?machine=dm1";
    let (_, spanish) = get(&kitchen, path, Role::Operator, Language::Spanish).await;
    assert!(spanish.contains("desinfecta con agua caliente") && spanish.contains("71.1 °C"), "{spanish}");
}

// 1.5 K and 1 K are 2.7 and 1.8 °F of difference (NIST SP 811, B.8); the figures are those of 4-203.12 and 4-203.11.
#[test]
fn a_tolerance_is_a_difference() {
    let reader = |scale| Reader { language: Language::English, scale, zone: TimeZone::UTC };
    for (device, scale, said) in [
        (Device::Water, Scale::Celsius, "(±1.5 °C,"),
        (Device::Water, Scale::Fahrenheit, "(±2.7 °F,"),
        (Device::Food, Scale::Celsius, "(±1.0 °C,"),
        (Device::Food, Scale::Fahrenheit, "(±1.8 °F,"),
    ] {
        let told = measured_by(device, &reader(scale));
        assert!(told.contains(said), "{told}");
    }
}

// Own promise: an entry of earlier carries the time of the site's clock at which it was made.
#[tokio::test]
async fn an_entry_may_have_been_made_earlier() {
    let kitchen = StillKitchen::new();
    let sent = "machine=dm1&at=2026-11-26T09:30";
    post(&kitchen, "/logbook/drain-and-clean", sent, Role::Operator).await;
    assert_eq!(last(&kitchen).at().to_string(), "2026-11-26T09:30:00Z");
    let sent = "machine=dm1&at=2025-11-26T09:30&late=yes";
    let (status, _) = post(&kitchen, "/logbook/drain-and-clean", sent, Role::Operator).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, Language::English).await;
    assert!(page.contains("Entered 2.5 h after it was made"), "{page}");
}

// Own promise: what people wrote is text on every page, whatever stands in it.
#[tokio::test]
async fn what_people_wrote_is_only_text() {
    let kitchen = StillKitchen::new();
    let script = hostile();
    for (path, sent) in [
        ("/logbook/note", format!("machine=all&note={script}")),
        ("/logbook/supply", format!("machine=dm1&enough=yes&note={script}")),
        ("/logbook/drain-and-clean", format!("machine=dm1&note={script}")),
        (
            "/logbook/thermometer",
            format!("what=&other={script}&device=food&shown=1&right=1&reference={script}"),
        ),
        (
            "/logbook/sanitizer",
            format!("machine={script}&strip={script}&ph={script}&at={script}&once={script}"),
        ),
        ("/logbook/thermometer", format!("what={script}&other={script}&shown={script}&device={script}")),
        ("/logbook/supply", format!("machine={script}&enough={script}&note={script}")),
    ] {
        let (status, page) = post(&kitchen, path, &sent, Role::Operator).await;
        assert!(!page.contains("<script>") && !page.contains("<img"), "{status}: {page}");
    }
    assert_eq!(kitchen.desk.entries().len(), 4);
    for path in [
        "/logbook",
        "/logbook/entries/70",
        "/logbook/entries/71",
        "/logbook/entries/72",
        "/logbook/entries/73",
    ] {
        let (_, page) = get(&kitchen, path, Role::Manager, Language::Spanish).await;
        assert!(
            !page.contains("<script>") && !page.contains("<img") && page.contains("&#60;script&#62;"),
            "{page}"
        );
    }
    let path = format!("/logbook/supply?machine={script}");
    let (_, page) = get(&kitchen, &path, Role::Manager, Language::English).await;
    assert!(!page.contains("<script>"), "{page}");
}

// Own promise: beside the colours stands what to tap between two of them; limits of `Rules`.
#[tokio::test]
async fn between_two_colours_the_form_says_which() {
    for (too_strong, language, said) in [
        (None, Language::English, "Between two colours, tap the weaker one."),
        (
            Some((25.0, 50.0)),
            Language::English,
            "Between two colours, tap the weaker one. Only between 25 and 50 tap 50: it may be too strong.",
        ),
        (
            Some((12.5, 25.0)),
            Language::Spanish,
            "Entre dos colores, toque el más débil. Solo entre 12.5 y 25 toque 25: puede ser demasiado fuerte.",
        ),
    ] {
        assert_eq!(super::words::between(too_strong, language), said);
    }
    let kitchen = StillKitchen::new();
    let (_, page) = get(&kitchen, "/logbook/sanitizer?machine=dm2", Role::Operator, Language::English).await;
    assert!(page.contains("Between two colours, tap the weaker one.</p>"), "{page}");
}

// Own promise: nothing is preselected that could go on record by mistake, and no part of a form is passed over.
#[tokio::test]
async fn a_form_takes_what_it_asks_for_and_nothing_else() {
    let kitchen = StillKitchen::new();
    let (_, form) = get(&kitchen, "/logbook/sanitizer?machine=dm2", Role::Operator, Language::English).await;
    let strips = form.split("name=\"strip\"").skip(1).map(|rest| rest.split('>').next().unwrap_or_default());
    assert!(strips.into_iter().all(|strip| !strip.contains("checked")), "{form}");
    for path in ["/logbook/supply", "/logbook/entries/70"] {
        post(&kitchen, "/logbook/supply", "machine=dm1&enough=yes", Role::Operator).await;
        let sent = "enough=yes&colour=red&note=half+a+can&reason=misread";
        let (status, page) = post(&kitchen, path, sent, Role::Manager).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path}");
        assert!(page.contains("«colour»") && page.contains("half a can"), "what was typed stays: {page}");
    }
    assert_eq!(kitchen.desk.entries().len(), 2);
}

// Own promise: a good test that is entered late does not read as what is so where a later one failed.
#[test]
fn a_late_good_test_names_the_later_one_that_failed() {
    let (at, later) = (NOW.minus(Duration::from_secs(7_200)), NOW.minus(Duration::from_secs(600)));
    for (language, expected) in [
        (Language::English, "Good: so it was (10:00 UTC); the latest test (11:50 UTC) FAILED"),
        (Language::Spanish, "Good: así era (10:00 UTC); la última prueba (11:50 UTC) NO CUMPLIÓ"),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        assert_eq!(super::entry::good_then("Good.", (at, later), NOW, &reader), expected);
    }
}

// Own promise: what failed is asked for again among what is due, with its entry, in both languages.
#[tokio::test]
async fn what_failed_is_due_again() {
    let kitchen = StillKitchen::new();
    let strip = "machine=dm3&mg_per_l=5";
    post(&kitchen, "/logbook/sanitizer", strip, Role::Operator).await;
    let off = "machine=dm1&what=dm1/rinse&shown=5&right=0&reference=ice";
    post(&kitchen, "/logbook/thermometer", off, Role::Operator).await;
    for (language, said) in [
        (
            Language::English,
            ["dm3: test the sanitizer again", "FAILED (12:00 UTC): 5 mg/L", "compare dm1/rinse again"],
        ),
        (
            Language::Spanish,
            [
                "dm3: medir otra vez el desinfectante",
                "NO CUMPLIÓ (12:00 UTC): 5 mg/L",
                "comparar otra vez dm1/rinse",
            ],
        ),
    ] {
        let (_, page) = get(&kitchen, "/logbook", Role::Operator, language).await;
        assert!(said.iter().all(|said| page.contains(said)), "{page}");
        assert!(page.contains("href=\"logbook/entries/70\""), "{page}");
        assert!(page.contains(">12:00 UTC · dm3 · "), "times bear their zone: {page}");
    }
}
