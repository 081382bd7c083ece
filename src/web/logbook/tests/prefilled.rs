//! The form that amends an entry shows what counts.

use axum::http::StatusCode;

use crate::core::access::Role;
use crate::core::reader::Language;
use crate::core::record::{AmendmentChange, Check};
use crate::web::fixture::StillKitchen;
use crate::web::fixture::visit::{get, post, post_as};
use crate::web::logbook::Written;
use crate::web::logbook::amend::OWN_FOR;

const OWN: &str = "/logbook/entries/70/own";
/// What a browser sends of a form of a strip of 50 mg/L in which nothing was changed.
const UNCHANGED: &str = "mg_per_l=&ph=7.2&solution=49.5&method=test+strip&at=2026-11-26T12:00";

// Own promise: whoever corrects an entry sees what counts and changes what is wrong, a strip by the buttons it was entered
// by; what stands there unchanged is no correction.
#[tokio::test]
async fn a_correction_begins_with_what_counts() {
    let kitchen = StillKitchen::new();
    for (path, sent) in [
        ("/logbook/sanitizer", "machine=dm2&strip=50&ph=7.2&solution=49.5"),
        ("/logbook/sanitizer", "machine=dm2&mg_per_l=33"),
        ("/logbook/thermometer", "what=dm1/rinse&shown=82.5&right=83&reference=no.+7"),
        ("/logbook/supply", "machine=dm2&enough=no&short-detergent=yes&note=half"),
    ] {
        post(&kitchen, path, sent, Role::Operator).await;
    }
    let at = "value=\"2026-11-26T12:00\"";
    for (record, expected) in [
        (
            70,
            vec![
                "name=\"strip\" value=\"50\" checked",
                "value=\"7.2\"",
                "value=\"49.5\"",
                "Machine: dm2.",
                at,
            ],
        ),
        (71, vec!["name=\"mg_per_l\" value=\"33\"", at]),
        (72, vec!["value=\"82.5\"", "value=\"83\"", at]),
        (73, vec!["value=\"no\" selected", "short-detergent\" value=\"yes\" checked", "value=\"half\"", at]),
    ] {
        let path = format!("/logbook/entries/{record}");
        let (_, page) = get(&kitchen, &path, Role::Manager, Language::English).await;
        for one in expected {
            assert!(page.contains(one), "{one} of {record}: {page}");
        }
        assert_eq!(page.contains("name=\"strip\""), record == 70, "{page}");
    }
    let path = "/logbook/entries/70";
    let sent = format!("reason=misread&change=correct&strip=50&{UNCHANGED}");
    let (status, page) = post(&kitchen, path, &sent, Role::Manager).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains("id=\"change-fault\""), "{page}");
    let sent =
        format!("reason=misread&change=correct&strip=100&{UNCHANGED}").replace("mg_per_l=", "mg_per_l=25");
    let (_, page) = post(&kitchen, path, &sent, Role::Manager).await;
    assert!(page.contains("You tapped 100 and typed 25"), "{page}");
    let sent = format!("reason=misread&change=correct&strip=100&{UNCHANGED}");
    let (status, _) = post(&kitchen, path, &sent, Role::Manager).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let (_, page) = get(&kitchen, path, Role::Manager, Language::English).await;
    assert!(page.contains("name=\"strip\" value=\"100\" checked"), "what counts by now: {page}");
    let sent = format!("reason=wrong+machine&change=withdraw&strip=100&{UNCHANGED}");
    let (status, _) = post(&kitchen, path, &sent, Role::Manager).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "what was shown does not stand in the way");
}

// Own promise: a value that was emptied on purpose is not dropped in silence: nothing is put on record, and its field says
// that it stays, whatever else was changed. The form of another kind, which has no such field, empties nothing.
#[tokio::test]
async fn what_was_emptied_is_not_dropped_in_silence() {
    let path = "/logbook/entries/70";
    for (language, said) in
        [(Language::English, "Emptied, it stays on record"), (Language::Spanish, "Aunque lo vacíe, queda")]
    {
        let kitchen = StillKitchen::new();
        let entered = "machine=dm2&strip=50&ph=7.2&solution=49.5";
        post(&kitchen, "/logbook/sanitizer", entered, Role::Operator).await;
        for (change, strip) in [("correct", "100"), ("correct", "50"), ("comment", "50")] {
            let sent = format!("reason=misread&change={change}&strip={strip}&{UNCHANGED}");
            let sent = sent.replace("ph=7.2", "ph=+");
            let (status, page) = post_as(&kitchen, path, &sent, Role::Manager, language).await;
            assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{change} {strip}");
            assert_eq!(page.matches(said).count(), 1, "at the field of the pH alone: {page}");
            assert!(page.contains("id=\"ph\" name=\"ph\" value=\"7.2\""), "{page}");
        }
        assert!(kitchen.desk.entries()[0].amendments.is_empty());
        let sent = "reason=misread&change=correct&strip=100";
        let (status, _) = post_as(&kitchen, path, sent, Role::Manager, language).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "no field, nothing emptied");
    }
}

// Own promise: a press that comes again says that it is on record, within the time and after it; one that comes too late
// says so, and who can, and keeps all that was typed for them.
#[tokio::test]
async fn a_repeated_press_is_told_what_became_of_it() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=50&ph=7.2&solution=49.5", Role::Operator).await;
    let sent = format!("reason=misread&change=correct&strip=100&once=7&{UNCHANGED}");
    for _ in 0..2 {
        let (status, to) = post(&kitchen, OWN, &sent, Role::Operator).await;
        assert_eq!((status, to.as_str()), (StatusCode::SEE_OTHER, "../70"));
    }
    kitchen.desk.age(OWN_FOR);
    let (status, page) = post(&kitchen, OWN, &sent, Role::Operator).await;
    assert!(status == StatusCode::OK && page.contains("It is on record"), "{page}");
    assert!(!page.contains("Nothing was put on record"), "{page}");
    let other = sent.replace("strip=100", "strip=25").replace("ph=7.2", "ph=8");
    let (status, page) = post(&kitchen, OWN, &other, Role::Operator).await;
    assert_eq!(status, StatusCode::FORBIDDEN);
    for said in [
        "the 10 minutes in which you can put right your own entry are over. A manager or an administrator still can",
        "misread (Concentration, mg/L (ppm): 25; pH (may stay empty): 8)</textarea>",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    let changes: Vec<_> =
        kitchen.desk.entries().remove(0).amendments.into_iter().map(|(_, _, one)| one.change).collect();
    assert!(matches!(changes.as_slice(), [AmendmentChange::Corrected(_)]), "{changes:?}");
}

/// The record by which a page's form says that the entry counts.
fn counts(page: &str) -> String {
    let (_, rest) = page.split_once("name=\"counts\" value=\"").expect("it says by what it counts");
    rest.split('"').next().unwrap_or_default().to_owned()
}

// Own promise: what another corrected while a form lay open is not taken back by what stands in that form unchanged.
#[tokio::test]
async fn a_form_of_before_a_correction_takes_nothing_back() {
    let path = "/logbook/entries/70";
    for (language, said) in [
        (
            Language::English,
            "By now it counts as 100 mg/L, pH 7.2, 49.5 °C, test strip (Thu 26 Nov 2026, 12:00",
        ),
        (
            Language::Spanish,
            "Ahora vale como 100 mg/L, pH 7.2, 49.5 °C, tira reactiva (jue 26 nov 2026, 12:00",
        ),
    ] {
        let kitchen = StillKitchen::new();
        post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=50&ph=7.2&solution=49.5", Role::Operator)
            .await;
        let (_, page) = get(&kitchen, path, Role::Manager, language).await;
        let before = counts(&page);
        let unchanged = UNCHANGED.replace(
            "test+strip",
            if language == Language::English { "test+strip" } else { "tira+reactiva" },
        );
        let first = format!("reason=misread&change=correct&strip=100&once=7&counts={before}&{unchanged}");
        let (status, _) = post_as(&kitchen, path, &first, Role::Manager, language).await;
        assert_eq!(status, StatusCode::SEE_OTHER);
        let (status, _) = post_as(&kitchen, path, &first, Role::Manager, language).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "the same press once more");

        let second = format!("reason=the+meter&change=correct&strip=50&counts={before}&{unchanged}");
        let second = second.replace("ph=7.2", "ph=8,5").replace("solution=49.5", "solution=49,5");
        let told = || kitchen.desk.entries().remove(0).amendments.len();
        let (status, page) = post_as(&kitchen, path, &second, Role::Manager, language).await;
        assert_eq!((status, told()), (StatusCode::CONFLICT, 1));
        for said in
            [said, "value=\"8,5\"", "value=\"49.5\"", "value=\"correct\" checked", ">the meter</textarea>"]
        {
            assert!(page.contains(said), "{said}: {page}");
        }
        assert!(page.contains("name=\"strip\" value=\"100\" checked"), "what counts: {page}");
        let now = counts(&page);
        let looked_over = second
            .replace("strip=50", "strip=100")
            .replace(&format!("counts={before}"), &format!("counts={now}"));
        let (status, _) = post_as(&kitchen, path, &looked_over, Role::Manager, language).await;
        assert_eq!((status, told()), (StatusCode::SEE_OTHER, 2));

        let comment = format!("reason=by+lamp&change=comment&strip=50&counts={before}&{unchanged}");
        let (status, _) = post_as(&kitchen, path, &comment, Role::Manager, language).await;
        assert_eq!((status, told()), (StatusCode::SEE_OTHER, 3), "a comment takes nothing back");
        let now = counts(&get(&kitchen, path, Role::Manager, language).await.1);
        let withdrawn = format!("reason=wrong+machine&change=withdraw&counts={now}");
        let (status, _) = post_as(&kitchen, path, &withdrawn, Role::Manager, language).await;
        assert_eq!((status, told()), (StatusCode::SEE_OTHER, 4));
        let late = format!("reason=once+more&change=correct&strip=25&counts={now}&{unchanged}");
        let (status, page) = post_as(&kitchen, path, &late, Role::Manager, language).await;
        assert_eq!((status, told()), (StatusCode::CONFLICT, 4));
        assert!(page.contains("once more (") && page.contains(": 25"), "what was typed stays: {page}");
    }
}

// Own promise: whoever is asked in a comment to put right a temperature reads it on the scale on which it was typed.
#[tokio::test]
async fn a_temperature_is_asked_for_with_its_unit() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=50&solution=49.5", Role::Operator).await;
    let good = "what=dm1/rinse&shown=82.5&right=83&reference=no.+7";
    post(&kitchen, "/logbook/thermometer", good, Role::Operator).await;
    kitchen.desk.age(OWN_FOR);
    for (record, sent, said) in [
        (70, "solution=48.5", "Temperature of the solution (may stay empty): 48.5 °C)</textarea>"),
        (71, "shown=82&right=82.4", "It shows: 82 °C; The reference shows: 82.4 °C)</textarea>"),
    ] {
        let own = format!("/logbook/entries/{record}/own");
        let sent = format!("reason=misread&change=correct&{sent}");
        let (status, page) = post(&kitchen, &own, &sent, Role::Operator).await;
        assert!(status == StatusCode::FORBIDDEN && page.contains(said), "{said}: {page}");
    }
}

// Own promise: what stands as read from a strip that has no such colour is shown as a number, for there is no button.
#[tokio::test]
async fn what_is_no_colour_is_shown_as_a_number() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=50", Role::Operator).await;
    for (of, method, shown, buttons) in [
        (33.0, "test strip", "name=\"mg_per_l\" value=\"33\"", false),
        (50.0, "Strip", "name=\"strip\" value=\"50\" checked", true),
        (50.0, "titration", "name=\"mg_per_l\" value=\"50\"", false),
    ] {
        kitchen.desk.change(|one| {
            if let Written::Check(Check::Sanitizer { mg_per_l, method: by, .. }) = &mut one.written {
                (*mg_per_l, *by) = (of, Some(method.to_owned()));
            }
        });
        let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Manager, Language::English).await;
        assert!(page.contains(shown), "{shown}: {page}");
        assert_eq!(page.contains("name=\"strip\""), buttons, "{method}: {page}");
    }
}
