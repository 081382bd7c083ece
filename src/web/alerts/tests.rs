mod deeds;
mod racks;
mod told;

use axum::extract::Request;
use axum::http::StatusCode;
use futures_util::StreamExt;
use jiff::tz::TimeZone;
use tower::ServiceExt;

use crate::core::access::{Right, Role};
use crate::core::alert::entered::EnteredChecks;
use crate::core::alert::trial::{Fact, Told};
use crate::core::alert::{AlertNumber, Condition, Foreseen, Occasion, Route};
use crate::core::logbook::{Finding, Judgement};
use crate::core::reader::{Language, Reader, Scale};
use crate::core::record::{
    AlertChanged, AlertClosed, AlertRaised, Amendment, AmendmentChange, Body, Change, Check, CheckKind,
    MissedDue, Notification, Outcome, Record,
};
use crate::core::time::Timestamp;
use crate::web::alerts::{Headed, head, line, trail, words};
use crate::web::fixture::desk::SCRIPT;
use crate::web::fixture::visit::{get, post};
use crate::web::fixture::{StillKitchen, person};
use crate::web::router::site;
use crate::web::sheet::Deed;

// Own promise: the open ones first, with what is wrong, who takes care and what is missing; the closed ones
// page by page.
#[tokio::test]
async fn the_list_says_what_is_missing() {
    let kitchen = StillKitchen::new();
    let (status, page) = get(&kitchen, "/alerts", Role::Operator, Language::English).await;
    assert_eq!(status, StatusCode::OK);
    let places: Vec<usize> = [
        "Open (2)",
        "Headline of 3",
        "Nobody takes care of it now.",
        "Headline of 2",
        "It closes once the corrective action is written.",
        "Headline of 1",
        "alerts?before=52",
    ]
    .into_iter()
    .map(|said| page.find(said).unwrap_or_else(|| panic!("{said} is missing: {page}")))
    .collect();
    assert!(places.is_sorted(), "{places:?}");
    let (_, older) = get(&kitchen, "/alerts?before=52", Role::Auditor, Language::Spanish).await;
    assert!(older.contains("Las más recientes") && !older.contains("before="), "{older}");
}

// Own rule, see the head of `web::query`: what is not understood is refused by its name, and nothing is shown.
#[tokio::test]
async fn a_list_that_is_not_understood_is_not_shown() {
    let kitchen = StillKitchen::new();
    for (query, said) in [
        ("before=x", "before: se leyó «x»; se espera el número de un asiento."),
        ("before=51", "before: se leyó «51»; se espera el número de un asiento de esta lista."),
        ("before=52&before=52", "before: se leyó «52»; se espera una sola vez."),
        ("befroe=52", "La dirección da «befroe», que esta página no conoce; los que conoce: before."),
    ] {
        let (status, page) =
            get(&kitchen, &format!("/alerts?{query}"), Role::Auditor, Language::Spanish).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{query}");
        assert!(page.contains(said) && !page.contains("Headline of"), "{query}: {page}");
    }
}

// Own promise: what people read is in their own words, and what is a name stays as it is.
#[test]
fn a_check_that_is_overdue_is_named_in_words() {
    let told = |condition, about: &str, language| {
        let raised = AlertRaised {
            about: vec![about.to_owned()],
            ..AlertRaised::new(AlertNumber(1), condition, Timestamp::from_micros(0))
        };
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        trail::of(&Body::AlertRaised(Box::new(raised)), &reader).expect("of an alert").0
    };
    let overdue = Condition::CheckOverdue;
    assert_eq!(told(overdue, "drain-and-clean", Language::English), "Raised: Drain and clean");
    assert_eq!(told(overdue, "sanitizer", Language::Spanish), "Surge la alerta: Desinfectante");
    assert_eq!(
        told(Condition::ProbeFault, "bar/sanitizer", Language::Spanish),
        "Surge la alerta: bar/sanitizer"
    );
}

// Own promise: of an alert without racks it is said what got worse, and never that no rack is affected.
#[test]
fn what_got_worse_is_named() {
    let told = |change, racks, language| {
        let about = ["supply", "drain-and-clean"].map(str::to_owned).to_vec();
        let changed = AlertChanged { racks, about, ..AlertChanged::new(AlertNumber(1), change) };
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        trail::of(&Body::AlertChanged(changed), &reader).expect("of an alert").0
    };
    let (english, spanish) = (Language::English, Language::Spanish);
    assert_eq!(told(Change::Grew, 0, english), "It became worse (one more: Drain and clean)");
    assert_eq!(told(Change::Grew, 2, english), "It became worse (racks affected: 2)");
    assert_eq!(
        told(Change::Escalated, 0, english),
        "Nobody answered: whoever is next is told, after the last the first again"
    );
    assert!(told(Change::Grew, 0, spanish).starts_with("Empeoró (una cosa más: "));
}

// Own promise: why a message was not taken is told in the words of the reader; what the other side said, and a text
// of before facts were kept, stays as it is.
#[test]
fn why_a_message_was_given_up_is_told_to_each_reader() {
    let why = || Told::from(Fact::EndedAt { stage: "recipient".to_owned() }).because("550 no such user");
    let told = |why: Option<Told>, language| {
        let error = Some("550 as it was kept".to_owned());
        let (key, contact) = ("17-1-ana".to_owned(), "ana".to_owned());
        let route = Route::Email("ana@example.org".to_owned());
        let (alert, occasion, outcome) = (Some(AlertNumber(17)), Some(Occasion::Raised), Outcome::GivenUp);
        let told = Notification { key, alert, occasion, contact, route, outcome, attempts: 3, error, why };
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        trail::of(&Body::Notification(Box::new(told)), &reader).expect("of an alert").1
    };
    let spanish = "no siguió adelante, en el paso «destinatario»: «550 no such user»";
    assert_eq!(told(Some(why()), Language::Spanish), [("Respuesta", spanish.to_owned())]);
    let english = "it went no further, at the recipient: «550 no such user»";
    assert_eq!(told(Some(why()), Language::English), [("Answer", english.to_owned())]);
    assert_eq!(told(None, Language::Spanish), [("Respuesta", "550 as it was kept".to_owned())]);
}

// Own promise: a digest is of no alert, and its message is told as one.
#[test]
fn a_digest_is_told_as_one() {
    for (language, said) in [
        (Language::English, "ana was told by email:ana@example.org: summary of Wed 25 Nov 2026 (try 1)"),
        (
            Language::Spanish,
            "Se avisó a ana por email:ana@example.org: resumen del mié 25 nov 2026 (intento 1)",
        ),
    ] {
        let told = Notification {
            key: "digest-day-2026-11-25-ana-email:ana@example.org".to_owned(),
            alert: None,
            occasion: None,
            contact: "ana".to_owned(),
            route: Route::Email("ana@example.org".to_owned()),
            outcome: Outcome::Delivered,
            attempts: 1,
            error: None,
            why: None,
        };
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        let (what, ..) = trail::of(&Body::Notification(Box::new(told)), &reader).expect("a message");
        assert_eq!(what, said);
    }
}

// Own promise: who has been told stands above the story, each contact once, with when it was first.
#[test]
fn who_was_told_is_named() {
    let told = |minute: i64, contact: &str, occasion, outcome| {
        let notification = Notification {
            key: format!("1-{minute}"),
            alert: Some(AlertNumber(1)),
            occasion: Some(occasion),
            contact: contact.to_owned(),
            route: Route::Email("ana@example.org".to_owned()),
            outcome,
            attempts: 1,
            error: None,
            why: None,
        };
        let at = Timestamp::from_micros(minute * 60_000_000);
        (minute.unsigned_abs(), Record::new(at, None, Body::Notification(Box::new(notification))))
    };
    let records = [
        told(1, "ana", Occasion::Raised, Outcome::GivenUp),
        told(2, "ben", Occasion::Raised, Outcome::GivenUp),
        told(3, "ana", Occasion::Raised, Outcome::Delivered),
        told(4, "ana", Occasion::Raised, Outcome::GivenUp),
        told(5, "cleo", Occasion::Raised, Outcome::Delivered),
        told(9, "cleo", Occasion::Summary, Outcome::GivenUp),
    ];
    let said = |records: &[(u64, Record)], language| {
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        head::reached(records, &reader, Timestamp::from_micros(0))
    };
    let english = ["Told so far: ana (00:03 UTC), cleo (00:05 UTC)", "Could NOT be told last: ben, cleo"];
    assert_eq!(said(&records, Language::English), english);
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
    let later = Timestamp::from_micros(3 * 86_400_000_000);
    assert!(
        head::reached(&records, &reader, later)[0].starts_with("Told so far: ana (Thu 1 Jan 1970, 00:03")
    );
    let spanish = [
        "Avisados hasta ahora: ana (00:03 UTC), cleo (00:05 UTC)",
        "NO se pudo avisar la última vez a: ben, cleo",
    ];
    assert_eq!(said(&records, Language::Spanish), spanish);
    assert!(said(&[], Language::English).is_empty());
}

// Own promise: what was said later of an entry that an alert rests on stands in its story.
#[test]
fn an_amended_entry_is_told() {
    let (reason, by) = ("wrong machine".to_owned(), "Ben".to_owned());
    let amendment = Amendment { of: 12, reason, by, change: AmendmentChange::Withdrawn };
    let record = Record::new(Timestamp::from_micros(0), None, Body::Amendment(Box::new(amendment)));
    for (language, said) in [
        (Language::English, "The record it rests on, 12. Withdrawn by Ben: wrong machine"),
        (Language::Spanish, "El asiento en que se basa, 12. Retirado por Ben: wrong machine"),
    ] {
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        let told = trail::told((&[(14, record.clone())], &EnteredChecks::default()), &[], &reader);
        assert_eq!(told.first().map(|one| one.what.as_str()), Some(said));
    }
}

// Own promise: an alert without racks is not said to have affected none.
#[test]
fn no_racks_are_not_counted() {
    let closed = |racks| {
        let body = Body::AlertClosed(AlertClosed { alert: AlertNumber(1), racks, needed_action: racks > 0 });
        let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
        trail::of(&body, &reader).expect("of an alert").0
    };
    assert_eq!(
        [closed(0), closed(1), closed(2)],
        ["Closed", "Closed; 1 rack affected", "Closed; 2 racks affected"]
    );
}

// Own promise: whoever may not act sees who may, and no dead button.
#[tokio::test]
async fn a_role_sees_the_buttons_that_it_may_press() {
    let kitchen = StillKitchen::new();
    for role in Role::ALL {
        let (_, page) = get(&kitchen, "/alerts/3", role, Language::English).await;
        for (right, form) in [(Right::Acknowledge, "alerts/3/acknowledge\""), (Right::Act, "alerts/3/act\"")]
        {
            assert_eq!(page.contains(form), role.may(right), "{role}: {form}");
        }
        assert_eq!(page.contains("Ask: manager, administrator."), !role.may(Right::Act), "{role}");
        assert!(
            page.contains("cycles/48") && page.contains("COLD") && page.contains("79.4 °C (limit 82.2 °C)")
        );
    }
    let (_, closed) = get(&kitchen, "/alerts/1", Role::Manager, Language::English).await;
    assert!(!closed.contains("<textarea") && !closed.contains("acknowledge\""), "{closed}");
    let (status, _) = get(&kitchen, "/alerts/99", Role::Manager, Language::English).await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}

// Own promise: what people wrote is text on every page, whatever stands in it.
#[tokio::test]
async fn what_people_wrote_is_only_text() {
    let kitchen = StillKitchen::new();
    for path in ["/alerts", "/alerts/1", "/alerts/2", "/alerts/3"] {
        for language in Language::ALL {
            let (_, page) = get(&kitchen, path, Role::Administrator, language).await;
            assert!(!page.contains(SCRIPT) && !page.contains("<script>") && !page.contains("<img"), "{page}");
            assert!(page.contains("&#60;script&#62;"), "{path}");
        }
    }
}

// Own promise: whoever reads an alert knows who is told next, in words that fit what is waited for.
#[tokio::test]
async fn who_is_told_next_is_said() {
    let utc = |text: &str| text.parse::<Timestamp>().expect("a time");
    let now = utc("2026-11-26T17:40:00Z");
    let (soon, later) = (utc("2026-11-26T17:50:00Z"), utc("2026-11-27T13:00:00Z"));
    let told = |occasion| Foreseen::Told { at: soon, contacts: vec!["ben".into(), "eve".into()], occasion };
    for (foreseen, english, spanish) in [
        (
            told(Occasion::Escalated),
            "Told next if nobody takes care: ben, eve (17:50 UTC)",
            "Si nadie se encarga, se avisa después a: ben, eve (17:50 UTC)",
        ),
        (
            told(Occasion::ActionMissing),
            "Told next if the corrective action is not written: ben, eve (17:50 UTC)",
            "Si no se escribe la acción correctiva, se avisa después a: ben, eve (17:50 UTC)",
        ),
        (
            told(Occasion::AfterMaintenance),
            "Told next, after the work on the machine: ben, eve (17:50 UTC)",
            "Tras el trabajo en la máquina se avisa a: ben, eve (17:50 UTC)",
        ),
        (
            Foreseen::NobodyElse { at: soon },
            "If nobody takes care by 17:50 UTC, the calling ends: there is nobody further to tell.",
            "Si nadie se encarga antes de las 17:50 UTC, se deja de avisar: no queda nadie más a quien avisar.",
        ),
        (
            Foreseen::AskedNoMore { at: soon },
            "If the corrective action is not written by 17:50 UTC, nobody is asked for it again.",
            "Si la acción correctiva no se escribe antes de las 17:50 UTC, no se vuelve a pedir.",
        ),
        (
            Foreseen::NotBefore { at: later },
            "Nobody is told before Fri 27 Nov 2026, 13:00 UTC.",
            "No se avisa a nadie antes del vie 27 nov 2026, 13:00 UTC.",
        ),
    ] {
        for (language, expected) in [(Language::English, english), (Language::Spanish, spanish)] {
            let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
            assert_eq!(words::foreseen(&foreseen, &reader, now), expected);
        }
    }
    let kitchen = StillKitchen::new();
    let (_, page) = get(&kitchen, "/alerts/3", Role::Manager, Language::English).await;
    assert!(page.contains("Told next if nobody takes care: &#60;script"), "{page}");
    assert!(page.contains(r#"cycles/48">because of record 48</a>"#), "{page}");
    let (_, closed) = get(&kitchen, "/alerts/1", Role::Manager, Language::English).await;
    assert!(!closed.contains("Told next"), "{closed}");
    let (_, list) = get(&kitchen, "/alerts", Role::Manager, Language::English).await;
    assert!(list.contains("As it was at "), "it does not renew itself: {list}");
}

// Own promise: whoever may not write a corrective action is not told to, and reads who may; form, step and right agree.
#[tokio::test]
async fn only_those_are_told_to_write_an_action_who_may() {
    let kitchen = StillKitchen::new();
    for role in Role::ALL {
        let (_, page) = get(&kitchen, "/alerts/2", role, Language::English).await;
        let may = role.may(Right::Act);
        let told = page.contains("<li>Write it down</li>");
        let form = page.contains("alerts/2/act\"");
        let ask = page.contains("Tell somebody who may write the corrective action (manager, administrator)");
        assert_eq!((told, form, ask), (may, may, !may), "{role}: {page}");
    }
}

// Own promise: once somebody takes care, nobody is told for want of them.
#[test]
fn nobody_is_foreseen_to_be_told_of_what_is_taken_care_of() {
    let at = "2026-11-26T17:50:00Z".parse().expect("a time");
    let told = |occasion| Foreseen::Told { at, contacts: vec!["ben".to_owned()], occasion };
    let mut alert = crate::core::alert::Alert::trial(at);
    let all = [told(Occasion::Escalated), Foreseen::NobodyElse { at }, told(Occasion::ActionMissing)];
    assert!(all.iter().all(|next| super::holds(next, &alert)));
    let (by, via) = ("Ana".to_owned(), "page".to_owned());
    alert.acknowledged = Some(crate::core::alert::Acknowledgement { by, at, via, note: None });
    assert_eq!(all.map(|next| super::holds(&next, &alert)), [false, false, true]);
}

// Own promise: an alert whose entry was withdrawn or corrected says so at its head, by the newest amendment of each
// entry, with the way to it; a comment takes nothing back.
#[test]
fn an_alert_says_that_its_entry_counts_no_more() {
    let amendment = |of, change| {
        let (reason, by) = ("misread".to_owned(), "Ana".to_owned());
        let body = Body::Amendment(Box::new(Amendment { of, reason, by, change }));
        (90, Record::new(Timestamp::from_micros(0), Some("dm1".to_owned()), body))
    };
    let raised =
        Body::AlertRaised(Box::new(AlertRaised::new(AlertNumber(1), Condition::Weak, Timestamp::MIN)));
    let raised = (49, Record::new(Timestamp::from_micros(0), Some("dm1".to_owned()), raised));
    let told = |trail: Vec<(u64, Record)>, language| {
        head::rests_on(&trail, &[], &Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC })
    };
    let comment = amendment(48, AmendmentChange::Comment);
    assert!(told(vec![raised.clone(), comment.clone()], Language::English).is_empty());
    let trail = vec![
        raised,
        amendment(48, AmendmentChange::Withdrawn),
        comment,
        amendment(47, AmendmentChange::Withdrawn),
    ];
    let english = told(trail.clone(), Language::English);
    assert_eq!(english.iter().map(|(_, record)| *record).collect::<Vec<_>>(), [47, 48]);
    let said =
        "The entry that it rests on (record 48) counts no more as it was entered. Withdrawn by Ana: misread";
    assert_eq!(english[1].0, said);
    assert!(
        told(trail, Language::Spanish)[1]
            .0
            .starts_with("La anotación en que se apoya (asiento 48) ya no vale")
    );
}

// Own promise: when a missed check was due is told with its day where that was another, and in Spanish with its article.
#[test]
fn a_due_time_of_the_day_before_has_its_day() {
    let due = Timestamp::from_micros(12 * 3_600_000_000);
    let missed = Some(MissedDue { check: CheckKind::Supply, due, counts_from: due });
    let changed = AlertChanged { missed, ..AlertChanged::new(AlertNumber(1), Change::MissedAgain) };
    for (hours, language, expected) in [
        (13, Language::English, "due 12:00 UTC"),
        (13, Language::Spanish, "pendiente desde las 12:00 UTC"),
        (25, Language::English, "due Thu 1 Jan 1970, 12:00 UTC"),
        (25, Language::Spanish, "pendiente desde el jue 1 ene 1970, 12:00 UTC"),
    ] {
        let recorded = Timestamp::from_micros(hours * 3_600_000_000);
        let record = Record::new(recorded, Some("dm1".to_owned()), Body::AlertChanged(changed.clone()));
        let told = trail::told(
            (&[(7, record)], &EnteredChecks::default()),
            &[],
            &Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC },
        );
        assert!(told[0].what.contains(expected), "{}", told[0].what);
    }
}

// Own promise: an alert that another entry holds is not told to rest on one that was withdrawn, whether that one brought
// it back or failed while it was open; once that counts no more either, it is told.
#[test]
fn an_alert_that_another_entry_holds_rests_on_that_one() {
    let of = |index: u64, body| (index, Record::new(Timestamp::from_micros(0), Some("dm1".to_owned()), body));
    let withdrawn = |index, entry| {
        let (reason, by, change) = ("misread".to_owned(), "Ana".to_owned(), AmendmentChange::Withdrawn);
        of(index, Body::Amendment(Box::new(Amendment { of: entry, reason, by, change })))
    };
    let (number, cause) = (AlertNumber(1), Some(48));
    let raised = AlertRaised { cause, ..AlertRaised::new(number, Condition::Weak, Timestamp::MIN) };
    let raised = of(49, Body::AlertRaised(Box::new(raised)));
    let returned = AlertChanged { cause: Some(73), ..AlertChanged::new(number, Change::Returned) };
    let returned = of(74, Body::AlertChanged(returned));
    let (at, by) = (Timestamp::from_micros(0), "Ana".to_owned());
    let strip = Check::Sanitizer { at, mg_per_l: 10.0, ph: None, solution_c: None, method: None, by };
    let failed = of(60, Body::Check(strip.clone()));
    let rests_on = |trail: &[(u64, Record)]| {
        let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
        head::rests_on(trail, &[], &reader).into_iter().map(|(_, record)| record).collect::<Vec<_>>()
    };
    assert_eq!(rests_on(&[raised.clone(), withdrawn(50, 48)]), [48]);
    assert!(rests_on(&[raised.clone(), withdrawn(50, 48), returned.clone()]).is_empty());
    assert_eq!(rests_on(&[raised.clone(), withdrawn(50, 48), returned, withdrawn(75, 73)]), [73]);
    assert!(rests_on(&[raised.clone(), withdrawn(50, 48), failed.clone()]).is_empty());
    assert_eq!(rests_on(&[raised, withdrawn(50, 48), failed.clone(), withdrawn(75, 60)]), [48, 60]);
    let reader = Reader { language: Language::English, scale: Scale::Celsius, zone: TimeZone::UTC };
    let mut entered = EnteredChecks::default();
    let too_weak = Finding::TooWeak { mg_per_l: 10.0, min_mg_per_l: 25.0 };
    entered.take(60, strip, Judgement { good: Some(false), findings: vec![too_weak] });
    let told = trail::told((&[failed], &entered), &[], &reader);
    assert_eq!(told[0].what, "Entered while it was open, and FAILED: 10 mg/L (at least 25 mg/L) (Ana)");
    assert_eq!(told[0].entry.as_deref(), Some("logbook/entries/60"));
}

// Own promise: an open page of alerts is told that something changed, by a line with a link that touches no form; the
// pages where somebody was refused what they sent are not.
#[tokio::test]
async fn an_open_page_of_alerts_says_that_something_changed() {
    let kitchen = StillKitchen::new();
    for (path, live) in
        [("/alerts", "./live/alerts?seen=state0"), ("/alerts/3", "../live/alerts/3?seen=state0")]
    {
        let (_, page) = get(&kitchen, path, Role::Operator, Language::English).await;
        assert!(page.contains(&format!("data-live=\"{live}\" data-keep><div id=\"news\"></div>")), "{page}");
        let heard = heard(&kitchen, live.trim_start_matches('.')).await;
        assert!(
            heard.contains("<div id=\"news\"></div>") && heard.contains("event: count\ndata: 2"),
            "{heard}"
        );
    }
    let (status, page) = post(&kitchen, "/alerts/3/act", "racks=&done=", Role::Manager).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && !page.contains("data-live"), "{page}");
    post(&kitchen, "/alerts/3/acknowledge", "note=", Role::Operator).await;
    for (path, to) in [("/live/alerts", "alerts"), ("/live/alerts/3", "3")] {
        let heard = heard(&kitchen, &format!("{path}?seen=state0")).await;
        assert!(heard.contains(&format!("<a class=\"line\" href=\"{to}\">Show</a>")), "{heard}");
        assert!(heard.contains("data-say=\"Something changed a"), "{heard}");
    }
    let (status, _) = get(&kitchen, "/live/alerts/9?seen=x", Role::Operator, Language::English).await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}

/// What a stream says first.
async fn heard(kitchen: &StillKitchen, path: &str) -> String {
    let mut request = Request::get(path).body(axum::body::Body::empty()).expect("a request");
    request.extensions_mut().insert(person(Role::Operator, Language::English));
    let answer = site(kitchen.pages()).oneshot(request).await.expect("it never fails");
    assert_eq!(answer.status(), StatusCode::OK, "{path}");
    let mut body = answer.into_body().into_data_stream();
    let mut heard = String::new();
    while !heard.contains("event: part") {
        let more = body.next().await.expect("the stream goes on").expect("no failure");
        heard.push_str(std::str::from_utf8(&more).expect("text"));
    }
    heard
}
