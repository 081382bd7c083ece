//! What is to be known of an entry: amendments, corrections and comments.

use super::*;
use crate::core::alert::AlertNumber;
use crate::core::alert::did::{Deeds, Did};
use crate::web::logbook::Waits;

// Own promise: who has the right says what is to be known; the entry stays.
#[tokio::test]
async fn an_entry_is_amended_beside_itself() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=200", Role::Operator).await;
    kitchen.desk.age(OWN_FOR);
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, Language::English).await;
    assert!(!page.contains("name=\"change\"") && page.contains("Ask: manager, administrator."), "{page}");
    for (sent, fault) in [
        ("reason=&change=withdraw", "reason"),
        ("reason=wrong", "change"),
        ("reason=wrong&change=correct", "change"),
        ("reason=wrong&change=correct&mg_per_l=-5", "mg_per_l"),
        ("reason=wrong&change=correct&at=soon", "at"),
        // Values beside an answer that takes none.
        ("reason=wrong&change=comment&mg_per_l=100", "change"),
        ("reason=wrong&change=withdraw&at=2026-11-26T09:30", "change"),
        // Not made before it was entered.
        ("reason=wrong&change=correct&at=2099-01-01T12:00", "at"),
    ] {
        let (status, page) = post(&kitchen, "/logbook/entries/70", sent, Role::Manager).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{sent}");
        assert!(page.contains(&format!("id=\"{fault}-fault\"")), "{fault}: {page}");
    }
    let sent = format!("reason={}&change=withdraw", hostile());
    let (status, to) = post(&kitchen, "/logbook/entries/70", &sent, Role::Manager).await;
    assert_eq!((status, to.as_str()), (StatusCode::SEE_OTHER, "70"));
    let change = kitchen.desk.entries()[0].amendments[0].2.change.clone();
    assert_eq!(change, AmendmentChange::Withdrawn);
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Manager, Language::English).await;
    assert!(
        page.contains("WITHDRAWN") && page.contains("Withdrawn by Ana") && page.contains("200 mg/L"),
        "{page}"
    );
    assert!(!page.contains("outcome good") && !page.contains("<script>"), "{page}");
}

// Own promise: who may not amend an entry reads who may, and asks for it in a comment of their own, which changes no
// value; an auditor enters nothing.
#[tokio::test]
async fn who_may_not_amend_asks_in_a_comment() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=200", Role::Operator).await;
    kitchen.desk.age(OWN_FOR);
    let path = "/logbook/entries/70/comment";
    for (language, role, said) in [
        (Language::English, Role::Operator, ["Is something wrong with it?", "Ask: manager, administrator."]),
        (Language::Spanish, Role::Technician, ["¿Tiene algo mal?", "Pídalo a: encargado, administrador."]),
    ] {
        let (_, page) = get(&kitchen, "/logbook/entries/70", role, language).await;
        assert!(said.iter().all(|said| page.contains(said)), "{page}");
        assert!(
            page.contains("action=\"../../logbook/entries/70/comment\"") && !page.contains("name=\"change\"")
        );
    }
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Auditor, Language::English).await;
    assert!(page.contains("Ask: manager") && !page.contains("<textarea"), "{page}");
    let (status, _) = post(&kitchen, path, "reason=wrong", Role::Auditor).await;
    assert_eq!(status, StatusCode::FORBIDDEN);
    for (sent, fault) in [
        ("reason=", "id=\"reason-fault\""),
        ("reason=wrong&change=withdraw", "«change»"),
        ("reason=wrong&change=correct&mg_per_l=50", "«mg_per_l»"),
        ("reason=wrong&short-detergent=yes", "«short-detergent»"),
    ] {
        let (status, page) = post(&kitchen, path, sent, Role::Operator).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{sent}");
        assert!(
            page.contains(fault) && page.contains("action=\"../../../logbook/entries/70/comment\""),
            "{page}"
        );
    }
    let (status, to) = post(&kitchen, path, &format!("reason={}", hostile()), Role::Operator).await;
    assert_eq!((status, to.as_str()), (StatusCode::SEE_OTHER, "../70"));
    let said = kitchen.desk.entries()[0].amendments.clone();
    assert!(matches!(said.as_slice(), [(_, _, one)] if one.change == AmendmentChange::Comment), "{said:?}");
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, Language::English).await;
    assert!(page.contains("Comment by Ana") && !page.contains("<script>"), "{page}");
    let (status, _) =
        post(&kitchen, "/logbook/entries/70", "reason=wrong&change=withdraw", Role::Operator).await;
    assert_eq!(status, StatusCode::FORBIDDEN, "it is no way to what the role may not");
}

// Own promise: a right value that the strip cannot show is told beside its field, in the reader's language.
#[tokio::test]
async fn a_correction_to_no_colour_is_asked_again() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=50", Role::Operator).await;
    for (language, said) in [
        (Language::English, "no colour for 33: it has 0, 10, 25, 50, 100, 200"),
        (Language::Spanish, "no tiene color para 33: tiene 0, 10, 25, 50, 100, 200"),
    ] {
        let sent = "reason=misread&change=correct&mg_per_l=33";
        let (status, page) = post_as(&kitchen, "/logbook/entries/70", sent, Role::Manager, language).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(page.contains("id=\"mg_per_l-fault\"") && page.contains(said), "{page}");
        assert!(!page.contains("--method"), "{page}");
    }
    for sent in ["mg_per_l=33&method=Titration", "mg_per_l=100", "at=2026-11-26T09:30"] {
        let sent = format!("reason=misread&change=correct&{sent}");
        let (status, _) = post(&kitchen, "/logbook/entries/70", &sent, Role::Manager).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{sent}");
    }
}

// Own promise: the value in force stands out, and the one that it replaces is struck out.
#[test]
fn a_corrected_entry_shows_the_value_in_force() {
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
    let strip = |mg_per_l| Check::Sanitizer {
        at: NOW,
        mg_per_l,
        ph: None,
        solution_c: None,
        method: None,
        by: "Ana".to_owned(),
    };
    let said =
        |change| (71, NOW, Amendment { of: 70, reason: "misread".to_owned(), by: "Bo".to_owned(), change });
    let mut entered = Entered {
        record: 70,
        machine: Some("dm2".to_owned()),
        recorded: NOW,
        written: Written::Check(strip(10.0)),
        judgement: None,
        amendments: vec![said(AmendmentChange::Corrected(strip(50.0))), said(AmendmentChange::Comment)],
        did: Deeds::new(),
        waiting: Vec::new(),
        is_damaged: false,
        failed_since: None,
        came_after: Vec::new(),
        held: None,
        ran: None,
        running: None,
    };
    assert_eq!(entered.told(&reader), ("50 mg/L".to_owned(), vec!["10 mg/L".to_owned()]));
    entered.amendments.push(said(AmendmentChange::Corrected(strip(100.0))));
    let was = vec!["50 mg/L".to_owned(), "10 mg/L".to_owned()];
    assert_eq!(entered.told(&reader), ("100 mg/L".to_owned(), was));
}

// Own promise: a press that arrives twice is one comment; the same words from another page are another.
#[tokio::test]
async fn a_comment_that_arrives_twice_is_one() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/supply", "machine=dm2&enough=yes", Role::Operator).await;
    for (role, path, sent) in [
        (Role::Operator, "/logbook/entries/70/comment", "reason=by+daylight"),
        (Role::Manager, "/logbook/entries/70", "reason=by+lamp&change=comment"),
    ] {
        let (_, page) = get(&kitchen, "/logbook/entries/70", role, Language::English).await;
        assert!(page.contains("name=\"once\" value=\"1"), "{page}");
        let told = || kitchen.desk.entries()[0].amendments.len();
        let before = told();
        for (once, expected) in [("7", 1), ("7", 1), ("8", 2)] {
            let (status, _) = post(&kitchen, path, &format!("{sent}&once={once}"), role).await;
            assert_eq!((status, told() - before), (StatusCode::SEE_OTHER, expected), "{path} {once}");
        }
    }
}

// Own promise: an amendment closes no alert, so whoever looks at what was amended reads that it waits, and finds it.
#[tokio::test]
async fn an_amended_entry_says_that_its_alert_waits() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=10", Role::Operator).await;
    kitchen.desk.alarm(70, 3);
    let (english, spanish) = ("Alert 3 is still open: it waits for action", "La alerta 3 sigue abierta");
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, Language::English).await;
    assert!(page.contains("href=\"../../alerts/3\"") && !page.contains(english), "{page}");
    let sent = "reason=misread&change=withdraw";
    let (status, _) = post(&kitchen, "/logbook/entries/70", sent, Role::Manager).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    for (language, said) in [(Language::English, english), (Language::Spanish, spanish)] {
        let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, language).await;
        assert!(page.contains(said) && page.contains("href=\"../../alerts/3\""), "{page}");
    }
}

// Regression: an entry whose alert recovered by what was said of it told people to wait for an action, where the page of the
// alert said that nothing more was to be done.
#[tokio::test]
async fn an_amended_entry_says_that_its_alert_recovered() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=100", Role::Operator).await;
    post(&kitchen, "/logbook/entries/70", "reason=misread&change=withdraw", Role::Manager).await;
    for (waits, language, said) in [
        (Waits::RecoveredByIt, Language::English, "Alert 4 has recovered by it, and closes by itself"),
        (Waits::Recovered, Language::English, "Alert 4 has recovered, and closes by itself"),
        (Waits::RecoveredByIt, Language::Spanish, "La alerta 4 se ha recuperado con ello, y se cierra sola"),
        (Waits::Recovered, Language::Spanish, "La alerta 4 se ha recuperado, y se cierra sola"),
    ] {
        kitchen.desk.change(|entered| entered.waiting = vec![(4, waits)]);
        let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, language).await;
        assert!(page.contains(said) && !page.contains("still open"), "{said}: {page}");
    }
}

// Own promise: an entry that failed by its correction says which alert is open for it. 4-501.114: chlorine below 25 mg/L
// is too weak.
#[tokio::test]
async fn a_correction_that_failed_names_its_alert() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=100", Role::Operator).await;
    let sent = "reason=misread&change=correct&mg_per_l=10";
    let (status, page) = post(&kitchen, "/logbook/entries/70", sent, Role::Manager).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    kitchen.desk.alarm(70, 3);
    let failed = Judgement { good: Some(false), ..Judgement::default() };
    kitchen.desk.change(|entered| entered.judgement = Some(failed));
    for (language, said) in [
        (Language::English, "this entry FAILED: alert 3 is open for it, and waits for action"),
        (Language::Spanish, "esta anotación NO CUMPLIÓ: la alerta 3 está abierta por ella"),
    ] {
        let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, language).await;
        assert!(page.contains(said) && page.contains("href=\"../../alerts/3\""), "{page}");
    }
}

// Regression: an entry named its alerts by number alone, and the one by which an alert recovered none. Own promise: it says
// which it raised, which it belongs to and which recovered by it.
#[tokio::test]
async fn an_entry_says_what_it_did_to_its_alerts() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&mg_per_l=50", Role::Operator).await;
    let all = [Did::Raised, Did::Joined, Did::Ended, Did::Eased];
    let did: Deeds = (3..).map(AlertNumber).zip(all).collect();
    kitchen.desk.change(|entered| entered.did.clone_from(&did));
    for (language, words) in [
        (
            Language::English,
            ["Raised alert 3", "Belongs to alert 4", "Alert 5 recovered by it", "Eased alert 6"],
        ),
        (
            Language::Spanish,
            [
                "Causó la alerta 3",
                "Es parte de la alerta 4",
                "Con ella se recuperó la alerta 5",
                "Alivió la alerta 6",
            ],
        ),
    ] {
        let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, language).await;
        for (alert, said) in (3..).zip(words) {
            let link = format!("href=\"../../alerts/{alert}\">{said}</a>");
            assert!(page.contains(&link), "{link}: {page}");
        }
    }
}

// Own promise: what a probe put on record is not read as a person's.
#[tokio::test]
async fn an_entry_by_a_probe_says_so() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&mg_per_l=50", Role::Operator).await;
    for (by, language, line, fact) in [
        (
            "dm2/sanitizer",
            Language::English,
            "By the probe dm2/sanitizer<",
            "<dt>By</dt><dd>the probe dm2/sanitizer</dd>",
        ),
        (
            "dm2/sanitizer",
            Language::Spanish,
            "Por la sonda dm2/sanitizer<",
            "<dt>Por</dt><dd>la sonda dm2/sanitizer</dd>",
        ),
        ("Ana", Language::English, "By Ana<", "<dt>By</dt><dd>Ana</dd>"),
    ] {
        kitchen.desk.change(|one| {
            if let Written::Check(check) = &mut one.written {
                by.clone_into(check.by_mut());
            }
        });
        for (path, said) in [("/logbook", line), ("/logbook/entries/70", fact)] {
            let (_, page) = get(&kitchen, path, Role::Operator, language).await;
            assert!(page.contains(said), "{said}: {page}");
        }
    }
}

// Own promise: whoever says that a tank was drained while a rack was washed reads so at once, and how to put it right.
#[test]
fn a_tank_drained_while_a_rack_was_washed_says_so() {
    let ran = crate::web::logbook::Ran { record: 7, from: NOW, to: NOW.plus(Duration::from_secs(75)) };
    for (language, told) in [
        (
            Language::English,
            "A rack was washed at that time, from 12:00 to 12:01 UTC: if the time of this entry is wrong, correct it below.",
        ),
        (Language::Spanish, "A esa hora se lavaba una canasta, de 12:00 a 12:01 UTC"),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        assert!(crate::web::logbook::entry::while_it_ran(ran, &reader).starts_with(told));
    }
}

// Own promise: whoever says that a tank was drained while a rack runs reads at once that it does, and what becomes of it;
// of an entry that was withdrawn nothing is said.
#[tokio::test]
async fn a_tank_drained_while_a_rack_runs_says_so() {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/drain-and-clean", "machine=dm1", Role::Operator).await;
    kitchen.desk.change(|entered| entered.running = Some(NOW));
    let said = [
        (
            Language::English,
            "This machine seems to run just now, since 12:00 UTC. If a rack is in it, hold that rack: its verdict follows",
        ),
        (
            Language::Spanish,
            "Esta máquina parece estar en marcha ahora mismo, desde las 12:00 UTC. Si hay una canasta dentro, apártela:",
        ),
    ];
    for (language, told) in said {
        let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, language).await;
        assert!(page.contains(told), "{page}");
    }
    post(&kitchen, "/logbook/entries/70", "reason=misread&change=withdraw", Role::Manager).await;
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, Language::English).await;
    assert!(!page.contains("run just now"), "{page}");
}
