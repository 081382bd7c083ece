//! Whoever made an entry puts it right soon after, as an amendment beside it.

use super::*;
use crate::core::alert::AlertNumber;
use crate::core::alert::did::{Deeds, Did};
use crate::core::logbook::Judgement;
use crate::core::time::Timestamp;
use crate::web::fixture::person;
use crate::web::logbook::amend::NotOwn;
use crate::web::logbook::{GoodSince, Held};

const OWN: &str = "/logbook/entries/70/own";

async fn entered() -> StillKitchen {
    let kitchen = StillKitchen::new();
    post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=200", Role::Operator).await;
    kitchen
}

// Own promise: for ten minutes whoever made an entry withdraws or corrects it, with a reason, and the entry stays; the
// page says until when, and whom to ask after that.
#[tokio::test]
async fn a_slip_is_put_right_by_whoever_made_it() {
    for (language, role, said) in [
        (
            Language::English,
            Role::Operator,
            "you can put it right yourself until 12:10 UTC. After that ask a manager.",
        ),
        (Language::Spanish, Role::Technician, "puede rectificarla usted hasta las 12:10 UTC."),
    ] {
        let kitchen = entered().await;
        let (_, page) = get(&kitchen, "/logbook/entries/70", role, language).await;
        assert!(page.contains(said) && page.contains("action=\"../../logbook/entries/70/own\""), "{page}");
        assert!(!page.contains("/comment\""), "one form: {page}");
    }
    let kitchen = entered().await;
    let (status, page) = post(&kitchen, OWN, "reason=&change=withdraw", Role::Operator).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        page.contains("id=\"reason-fault\"") && page.contains("action=\"../../../logbook/entries/70/own\""),
        "{page}"
    );
    let (status, to) = post(&kitchen, OWN, "reason=wrong+machine&change=withdraw", Role::Operator).await;
    assert_eq!((status, to.as_str()), (StatusCode::SEE_OTHER, "../70"));
    let said = kitchen.desk.entries()[0].amendments.clone();
    let [(_, _, one)] = said.as_slice() else { panic!("one amendment: {said:?}") };
    assert_eq!((one.change.clone(), one.by.as_str()), (AmendmentChange::Withdrawn, "Ana"));
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, Language::English).await;
    assert!(
        page.contains("WITHDRAWN") && page.contains("200 mg/L") && page.contains("Withdrawn by Ana"),
        "{page}"
    );
}

// Own promise: what is not one's own, is too old, set off an alert or was amended by somebody else is put
// right by a manager alone.
#[tokio::test]
async fn what_is_not_ones_own_or_too_old_stays() {
    let kitchen = entered().await;
    kitchen.desk.age(OWN_FOR);
    let (status, page) = post(&kitchen, OWN, "reason=typed+by+hand&change=withdraw", Role::Operator).await;
    assert_eq!(status, StatusCode::FORBIDDEN);
    assert!(page.contains("Nothing was put on record") && page.contains("typed by hand"), "{page}");
    assert!(kitchen.desk.entries()[0].amendments.is_empty());
    let (status, _) = post(&kitchen, OWN, "reason=wrong&change=withdraw", Role::Auditor).await;
    assert_eq!(status, StatusCode::FORBIDDEN);

    let whole = entered().await.desk.entries().remove(0);
    let ana = |role| person(role, Language::English);
    let just_before = Timestamp::from_micros(NOW.plus(OWN_FOR).micros() - 1);
    assert!(whole.own_until(&ana(Role::Operator), just_before).is_some());
    assert!(whole.own_until(&ana(Role::Operator), NOW.plus(OWN_FOR)).is_none(), "ten minutes");
    let mut ben = ana(Role::Operator);
    ben.name = "Ben".to_owned();
    assert!(whole.own_until(&ben, NOW).is_none(), "somebody else's");
    assert!(whole.own_until(&ana(Role::Auditor), NOW).is_none(), "no right to enter");
    assert!(whole.own_until(&ana(Role::Manager), NOW).is_none(), "needs no leave");
    let said = |by: &str, change| {
        let amendment = Amendment { of: 70, reason: "seen".to_owned(), by: by.to_owned(), change };
        let amended = Entered { amendments: vec![(90, NOW, amendment)], ..whole.clone() };
        amended.own_until(&ana(Role::Operator), NOW).is_some()
    };
    assert!(said("Ben", AmendmentChange::Comment), "a comment changes nothing");
    assert!(said("Ana", AmendmentChange::Withdrawn), "her own");
    assert!(!said("Ben", AmendmentChange::Withdrawn), "whoever has the right has spoken");
    let alarming = Entered { did: Deeds::from([(AlertNumber(3), Did::Raised)]), ..whole.clone() };
    assert!(alarming.own_until(&ana(Role::Operator), NOW).is_none(), "others were told of it");
    let mut failed = whole.clone();
    failed.judgement = failed.judgement.map(|own| Judgement { good: Some(false), ..own });
    assert_eq!(failed.not_own(&ana(Role::Operator), NOW), Some(NotOwn::Failed), "others go by it");
    let damaged = Entered { is_damaged: true, ..whole.clone() };
    assert!(damaged.own_until(&ana(Role::Operator), NOW).is_none(), "nobody knows what was said of it");
}

// Own promise: whoever enters a good test late reads at once that racks of before it stay in doubt, by which alert, and who
// decides about them.
#[tokio::test]
async fn a_test_that_came_late_says_so() {
    for (language, said) in [
        (Language::English, "This test came late: alert 6 had counted racks of before it by then"),
        (Language::Spanish, "Esta prueba llegó tarde: la alerta 6 ya había contado canastas"),
    ] {
        let kitchen = entered().await;
        let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, language).await;
        assert!(!page.contains(said), "{page}");
        kitchen.desk.change(|one| one.came_after = vec![6]);
        let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, language).await;
        assert!(page.contains(said), "{page}");
    }
}

// Regression: «hold the racks since the last good check» said neither since when nor how many.
#[tokio::test]
async fn a_failed_test_says_since_when_racks_are_held_and_how_many() {
    let since = NOW.minus(std::time::Duration::from_secs(7_200));
    for (language, good, never, racks) in [
        (
            Language::English,
            "The last good check before this one: ",
            "No good check is on record before this one, since ",
            "262 racks passed",
        ),
        (
            Language::Spanish,
            "El último control correcto antes de este: ",
            "No consta ningún control correcto antes de este, desde ",
            "262 canastas con resultado correcto",
        ),
    ] {
        let kitchen = StillKitchen::new();
        post(&kitchen, "/logbook/sanitizer", "machine=dm2&strip=10", Role::Operator).await;
        for (since, said) in [(GoodSince::Test(since), good), (GoodSince::Never(since), never)] {
            kitchen.desk.change(|one| one.held = Some(Held { since, passed: 262 }));
            let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, language).await;
            assert!(page.contains(said) && page.contains(racks), "{page}");
        }
    }
}

// Own promise: an entry of which something cannot be read is nowhere good, and one that failed stays so.
#[tokio::test]
async fn what_may_count_no_more_is_not_good() {
    for (strip, mark, is_failed) in [("100", "✓ good", false), ("10", "✗ FAILED", true)] {
        let kitchen = StillKitchen::new();
        post(&kitchen, "/logbook/sanitizer", &format!("machine=dm2&strip={strip}"), Role::Operator).await;
        let (_, list) = get(&kitchen, "/logbook", Role::Operator, Language::English).await;
        assert!(list.contains(mark) && !list.contains("DAMAGED"), "{list}");
        kitchen.desk.change(|one| one.is_damaged = true);
        for path in ["/logbook", "/logbook/entries/70"] {
            let (_, page) = get(&kitchen, path, Role::Operator, Language::English).await;
            assert!(page.contains("DAMAGED: something that was said of this entry later"), "{page}");
            assert!(!page.contains("✓ good") && !page.contains("outcome good"), "{path}: {page}");
            assert_eq!(page.contains("FAILED"), is_failed, "{path}: {page}");
        }
    }
}

// Own promise: a check that failed goes out to others, so whoever made it is never promised to put it right: not where
// its alert is yet to be raised, was open already, or no alert is raised for its kind. The page says whom to ask, and
// takes what would be right. A good one and a note are put right as ever.
#[tokio::test]
async fn what_failed_is_not_promised_to_whoever_made_it() {
    let off = "machine=dm1&what=dm1/rinse&shown=5&right=0&reference=ice";
    for (form, sent, failed) in [
        ("sanitizer", "machine=dm2&strip=10", true),
        ("thermometer", off, true),
        ("supply", "machine=dm2&enough=no&short-detergent=yes", true),
        ("sanitizer", "machine=dm2&strip=100", false),
        ("drain-and-clean", "machine=dm1", false),
        ("note", "machine=all&note=it+hums", false),
    ] {
        for (language, promise, ask) in [
            (
                Language::English,
                "you can put it right yourself until",
                "say below what would be right, and ask: manager, administrator.",
            ),
            (
                Language::Spanish,
                "puede rectificarla usted hasta",
                "diga abajo qué sería lo correcto y pídalo a: encargado, administrador.",
            ),
        ] {
            let kitchen = StillKitchen::new();
            post(&kitchen, &format!("/logbook/{form}"), sent, Role::Operator).await;
            let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, language).await;
            assert_eq!((page.contains(promise), page.contains(ask)), (!failed, failed), "{sent}: {page}");
            assert_eq!(page.contains("logbook/entries/70/comment\""), failed, "{page}");
            let (status, page) =
                post_as(&kitchen, OWN, "reason=misread&change=withdraw", Role::Operator, language).await;
            let expected = if failed { StatusCode::FORBIDDEN } else { StatusCode::SEE_OTHER };
            assert_eq!(status, expected, "{sent}: {page}");
        }
    }
}

// Own promise: whoever may not put right their own entry reads for which reason, and all that was typed stands in the
// comment that asks for it.
#[tokio::test]
async fn a_refusal_says_its_reason_and_keeps_what_was_typed() {
    let amended = |one: &mut Entered| {
        let change = AmendmentChange::Withdrawn;
        let amendment = Amendment { of: 70, reason: "seen".to_owned(), by: "Ben".to_owned(), change };
        one.amendments = vec![(90, NOW, amendment)];
    };
    let failed = |one: &mut Entered| {
        one.judgement = one.judgement.take().map(|own| Judgement { good: Some(false), ..own });
    };
    let others = |one: &mut Entered| {
        if let Written::Check(check) = &mut one.written {
            "Ben".clone_into(check.by_mut());
        }
    };
    for (change, english, spanish) in [
        (
            (|one| one.recorded = one.recorded.minus(OWN_FOR)) as fn(&mut Entered),
            "the 10 minutes in which",
            "pasaron los 10 minutos",
        ),
        (
            |one| one.did = Deeds::from([(AlertNumber(3), Did::Raised)]),
            "it belongs to an alert",
            "es parte de una alerta",
        ),
        (failed, "an entry that failed is not put right", "una anotación que no cumple no la rectifica"),
        (amended, "somebody else has amended it", "otra persona la ha enmendado"),
        (
            |one| one.is_damaged = true,
            "something that was said of it cannot be read",
            "no se puede leer, y no se sabe",
        ),
        (others, "somebody else entered it", "la anotó otra persona"),
    ] {
        for (language, why) in [(Language::English, english), (Language::Spanish, spanish)] {
            let kitchen = entered().await;
            kitchen.desk.change(change);
            let before = kitchen.desk.entries()[0].amendments.len();
            let sent = "reason=misread&change=correct&strip=100&ph=8";
            let (status, page) = post_as(&kitchen, OWN, sent, Role::Operator, language).await;
            assert_eq!(status, StatusCode::FORBIDDEN, "{why}");
            for said in
                [why, "misread (", "mg/L (ppm): 100; pH ", ": 8)</textarea>", "/logbook/entries/70/comment\""]
            {
                assert!(page.contains(said), "{said}: {page}");
            }
            assert_eq!(kitchen.desk.entries()[0].amendments.len(), before, "{why}");
        }
    }
}
