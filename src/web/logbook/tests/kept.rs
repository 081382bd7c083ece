//! What was typed and chosen stays, whatever a form is refused for.

use crate::core::access::Role;
use crate::core::reader::Language;
use crate::web::fixture::StillKitchen;
use crate::web::fixture::visit::{get, post};

/// Sends it and looks for each of these on the page that comes back.
async fn keeps(kitchen: &StillKitchen, path: &str, sent: &str, role: Role, kept: &[&str]) {
    let (status, page) = post(kitchen, path, sent, role).await;
    assert!(status.is_client_error(), "{path} {sent}: {status}");
    for one in kept {
        assert!(page.contains(one), "{one} of {path} {sent}: {page}");
    }
}

// Own promise: of one bad field, here the time, nothing else that was typed or chosen is lost; nor for a field that the
// form does not know.
#[tokio::test]
async fn a_refused_check_keeps_what_was_typed() {
    let kitchen = StillKitchen::new();
    let earlier = ["value=\"2026-11-26T09:30\"", "name=\"late\" value=\"yes\" checked"];
    for bad in ["at=soon", "at=2026-11-26T09:30&late=yes&colour=red", "at=2099-11-26T09:30"] {
        for (path, sent, kept) in [
            (
                "/logbook/sanitizer",
                "machine=dm2&strip=50&ph=7&solution=49",
                vec![
                    "name=\"strip\" value=\"50\" checked",
                    "name=\"machine\" value=\"dm2\"",
                    "value=\"7\"",
                    "value=\"49\"",
                ],
            ),
            (
                "/logbook/sanitizer",
                "machine=dm3&mg_per_l=33",
                vec!["name=\"machine\" value=\"dm3\"", "value=\"33\""],
            ),
            (
                "/logbook/supply",
                "machine=dm2&enough=no&short-detergent=yes&note=half",
                vec!["name=\"short-detergent\" value=\"yes\" checked", "value=\"half\"", "value=\"dm2\""],
            ),
            (
                "/logbook/supply",
                "machine=all&enough=no&note=half",
                vec!["value=\"all\" checked", "value=\"half\""],
            ),
            ("/logbook/drain-and-clean", "machine=dm1&note=scale", vec!["value=\"scale\"", "value=\"dm1\""]),
            (
                "/logbook/thermometer",
                "what=dm1/rinse&shown=82.5&right=83&reference=no.+7",
                vec![
                    "name=\"what\" value=\"dm1/rinse\"",
                    "value=\"82.5\"",
                    "value=\"83\"",
                    "value=\"no. 7\"",
                ],
            ),
            (
                "/logbook/thermometer",
                "other=dial&shown=0.2&right=0&reference=ice&device=food",
                vec!["value=\"dial\"", "value=\"0.2\"", "value=\"ice\"", "value=\"food\" checked"],
            ),
            (
                "/logbook/note",
                "machine=dm2&note=it+hums",
                vec![">it hums</textarea>", "value=\"dm2\" checked"],
            ),
        ] {
            let sent = format!("{sent}&{bad}");
            keeps(&kitchen, path, &sent, Role::Operator, &kept).await;
            if bad.contains("late") {
                keeps(&kitchen, path, &sent, Role::Operator, &earlier).await;
            }
        }
    }
    assert!(kitchen.desk.entries().is_empty());
}

// Own promise: the same of what amends an entry, by whoever has the right and by whoever made it.
#[tokio::test]
async fn a_refused_amendment_keeps_what_was_typed() {
    let kitchen = StillKitchen::new();
    for (path, sent) in [
        ("/logbook/sanitizer", "machine=dm2&strip=50"),
        ("/logbook/thermometer", "what=dm1/rinse&shown=82.5&right=83&reference=no.+7"),
        ("/logbook/supply", "machine=dm2&enough=yes"),
        ("/logbook/drain-and-clean", "machine=dm1"),
    ] {
        post(&kitchen, path, sent, Role::Operator).await;
    }
    let correct = "name=\"change\" value=\"correct\" checked";
    for (role, own) in [(Role::Manager, ""), (Role::Operator, "/own")] {
        for (record, sent, kept) in [
            (70, "mg_per_l=100&ph=7&solution=49&at=soon", vec!["value=\"7\"", "value=\"49\""]),
            (70, "ph=15&at=2026-11-26T09:30", vec!["value=\"15\"", "value=\"2026-11-26T09:30\""]),
            (71, "shown=82&right=hot&at=2026-11-26T09:30", vec!["value=\"82\"", "value=\"hot\"", "T09:30\""]),
            (
                72,
                "enough=no&short-detergent=yes&note=half&at=soon",
                vec![
                    "value=\"no\" selected",
                    "name=\"short-detergent\" value=\"yes\" checked",
                    "value=\"half\"",
                ],
            ),
            (73, "note=scale&at=soon", vec!["value=\"scale\"", "value=\"soon\""]),
        ] {
            let sent = format!("reason=misread&change=correct&{sent}");
            let kept = [kept, vec![correct, ">misread</textarea>"]].concat();
            keeps(&kitchen, &format!("/logbook/entries/{record}{own}"), &sent, role, &kept).await;
        }
    }
    keeps(&kitchen, "/logbook/entries/70/comment", "reason=misread&colour=red", Role::Operator, &["misread"])
        .await;
    let (_, page) = get(&kitchen, "/logbook/entries/70", Role::Operator, Language::English).await;
    assert!(page.contains("name=\"change\""), "nothing went on record: {page}");
}
