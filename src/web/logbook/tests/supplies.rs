//! What is short: entered by ticks, told until it is put right.

use axum::http::StatusCode;

use super::last;
use crate::core::access::Role;
use crate::core::reader::Language;
use crate::core::record::{Check, Supply};
use crate::web::fixture::visit::{get, post, post_as};
use crate::web::fixture::{NOW, StillKitchen};

// Own promise: what is short stands above all that is due, however the look itself counts for the shift, until a
// later look finds everything there: what, where, since when and by whom, with its entry and its alert.
#[tokio::test]
async fn what_is_short_stays_due_until_it_is_put_right() {
    let kitchen = StillKitchen::new();
    let sent = "enough=no&short-detergent=yes&short-rinse-additive=yes";
    post(&kitchen, "/logbook/supply", &format!("machine=dm1&{sent}"), Role::Operator).await;
    post(&kitchen, "/logbook/supply", "machine=all&enough=no&note=gloves", Role::Operator).await;
    for (language, said) in [
        (
            Language::English,
            [
                "✗ dm1: SHORT: detergent, rinse additive",
                "since 12:00 UTC, entered by Ana: ",
                "SHORT: something, see the note",
                "then enter that everything is there",
                ">Alert 3<",
            ],
        ),
        (
            Language::Spanish,
            [
                "✗ dm1: FALTA: detergente, abrillantador",
                "desde las 12:00 UTC, anotado por Ana: ",
                "toda la cocina: FALTA: algo, vea la nota",
                "anote que está todo",
                ">Alerta 3<",
            ],
        ),
    ] {
        let (_, page) = get(&kitchen, "/logbook", Role::Operator, language).await;
        assert!(said.iter().all(|said| page.contains(said)), "{page}");
        for to in
            ["logbook/supply?machine=dm1", "logbook/supply?machine=all", "logbook/entries/70", "alerts/3"]
        {
            assert!(page.contains(&format!("href=\"{to}\"")), "{to}: {page}");
        }
        assert!(
            page.find("dm1: ").is_some_and(|short| Some(short) < page.find("logbook/sanitizer?machine=dm2")),
            "{page}"
        );
        assert!(!page.contains("<script>"), "{page}");
    }
    let (_, auditor) = get(&kitchen, "/logbook", Role::Auditor, Language::English).await;
    assert!(auditor.contains("SHORT: detergent") && !auditor.contains("href=\"logbook/supply"), "{auditor}");
    post(&kitchen, "/logbook/supply", "machine=dm1&enough=yes", Role::Operator).await;
    let (_, page) = get(&kitchen, "/logbook", Role::Operator, Language::English).await;
    assert!(!page.contains("dm1: SHORT") && page.contains("the whole site: SHORT"), "{page}");
}

// Own promise: who found something short is told what to do now, and that somebody hears of it.
#[tokio::test]
async fn short_supplies_say_what_to_do_and_who_is_told() {
    let kitchen = StillKitchen::new();
    let (_, to) =
        post(&kitchen, "/logbook/supply", "machine=dm1&enough=no&short-detergent=yes", Role::Operator).await;
    for (language, expected) in [
        (
            Language::English,
            [
                "Detergent: fill it up or change",
                "Look again and enter it",
                "on duty for alerts is told",
                "acid",
            ],
        ),
        (
            Language::Spanish,
            ["Detergente: rellénelo", "Revise otra vez", "Se avisa a quien esté de turno", "ácido"],
        ),
    ] {
        let (_, page) = get(&kitchen, &format!("/logbook/{to}"), Role::Operator, language).await;
        assert!(expected.iter().all(|text| page.contains(text)), "{page}");
    }
    let (_, page) = get(&kitchen, &format!("/logbook/{to}"), Role::Operator, Language::English).await;
    assert!(page.contains("href=\"../../logbook/supply?machine=dm1\""), "and leads to the next look: {page}");
    assert!(!page.contains("anitizer"), "it sanitizes with hot water: {page}");
    // Of this one the desk tells nobody.
    let (_, to) =
        post(&kitchen, "/logbook/supply", "machine=dm2&enough=no&short-sanitizer=yes", Role::Operator).await;
    let (_, page) = get(&kitchen, &format!("/logbook/{to}"), Role::Operator, Language::English).await;
    assert!(page.contains("Tell the person in charge.") && !page.contains("on duty"), "{page}");
}

// Own promise: whatever is short is ticked and goes on record as one entry, by one press; the note stands above its
// button; a tick that contradicts what was pressed stays ticked, and is asked about.
#[tokio::test]
async fn several_shortages_are_one_entry() {
    let kitchen = StillKitchen::new();
    let path = "/logbook/supply?machine=dm2";
    let (_, form) = get(&kitchen, path, Role::Operator, Language::English).await;
    for name in ["short-detergent", "short-rinse-additive", "short-sanitizer", "short-test-strips"] {
        assert!(
            form.contains(&format!("type=\"checkbox\" name=\"{name}\" value=\"yes\">")),
            "{name}: {form}"
        );
    }
    let place = |said: &str| form.find(said).unwrap_or_else(|| panic!("{said}: {form}"));
    assert!(place("id=\"note\"") < place("Put on record what is SHORT"), "{form}");
    // The key that sends a form presses its first button: never one that says that all is there.
    assert!(place("value=\"no\" hidden") < place("value=\"yes\">✓"), "{form}");
    let (_, drain) =
        get(&kitchen, "/logbook/drain-and-clean?machine=dm1", Role::Operator, Language::Spanish).await;
    assert!(drain.find("id=\"note\"") < drain.find("✓ Vaciada y limpia"), "{drain}");

    let sent = "machine=dm2&enough=no&short-detergent=yes&short-test-strips=yes&note=one+gasket";
    let (status, to) = post(&kitchen, "/logbook/supply", sent, Role::Operator).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{to}");
    let expected = Check::Supply {
        at: NOW,
        enough: false,
        short: vec![Supply::Detergent, Supply::TestStrips],
        note: Some("one gasket".to_owned()),
        by: "Ana".to_owned(),
    };
    assert_eq!((last(&kitchen), kitchen.desk.entries().len()), (expected, 1));

    let sent = "machine=dm2&enough=yes&short-sanitizer=yes";
    let (_, page) = post_as(&kitchen, "/logbook/supply", sent, Role::Operator, Language::Spanish).await;
    assert!(page.contains("name=\"short-sanitizer\" value=\"yes\" checked"), "{page}");
    assert!(page.contains("Marcó algo que falta y dijo que está todo"), "{page}");
    let (status, page) =
        post(&kitchen, "/logbook/drain-and-clean", "machine=dm1&short-detergent=yes", Role::Operator).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("«short-detergent»"), "no tick is passed over: {page}");
}

// Own promise: a correction takes ticks too; of ticks beside «everything is there» neither wins.
#[tokio::test]
async fn what_was_short_is_corrected_by_ticks() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/supply", "machine=dm2&enough=yes", Role::Operator).await;
    let change = "reason=misread&change=correct";
    for (sent, status, fault) in [
        ("&enough=yes&short-detergent=yes", StatusCode::UNPROCESSABLE_ENTITY, "id=\"enough-fault\""),
        ("&enough=no&short-detergent=yes&short-sanitizer=yes", StatusCode::SEE_OTHER, "70"),
        ("&short-detergent=yes", StatusCode::SEE_OTHER, "70"),
    ] {
        let (found, page) =
            post(&kitchen, "/logbook/entries/70", &format!("{change}{sent}"), Role::Manager).await;
        assert!(found == status && page.contains(fault), "{sent}: {page}");
    }
    let sent = "reason=misread&change=comment&short-detergent=yes";
    let (_, page) = post(&kitchen, "/logbook/entries/70", sent, Role::Manager).await;
    assert!(page.contains("id=\"change-fault\""), "{page}");
    assert!(page.contains("name=\"short-detergent\" value=\"yes\" checked"), "{page}");
}
