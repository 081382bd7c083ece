//! The JSON of records of alerts and of access. Written once, it is read for ever: these texts never change.

use super::*;
use crate::core::access::{Right, Role};
use crate::core::alert::trial::{Fact, GivenUp, Told};
use crate::core::alert::{AlertNumber, Condition, Occasion, Pattern, Quantity, Route};
use crate::core::channel::Place;

/// Reads a body as it was written, and writes it back.
fn check(json: &str, body: Body) {
    let line =
        format!("{{\"v\":1,\"recorded\":\"2026-11-23T12:00:00Z\",\"machine\":\"dm1\",\"body\":{json}}}");
    let read = Record::from_bytes(line.as_bytes()).expect("a record of format 1");
    assert_eq!(read.body, body);
    assert_eq!(String::from_utf8(read.to_bytes()).expect("JSON is text"), line);
}

#[test]
fn records_of_access_keep_their_form() {
    let event = |what, from: Option<&str>, by: Option<&str>, times| {
        let (from, by) = (from.map(str::to_owned), by.map(str::to_owned));
        let account = "ana".to_owned();
        Body::Access(Box::new(AccessEvent { account, what, at: None, from, by, times, right: None }))
    };
    check(
        r#"{"access":{"account":"ana","what":"logged-in","from":"192.0.2.7"}}"#,
        event(AccessDeed::LoggedIn, Some("192.0.2.7"), None, 1),
    );
    check(
        r#"{"access":{"account":"ana","what":{"refused":"wrong"},"from":"192.0.2.7","times":41}}"#,
        event(AccessDeed::Refused(AccessRefusal::Wrong), Some("192.0.2.7"), None, 41),
    );
    let mut refused = event(AccessDeed::Refused(AccessRefusal::NotAllowed), None, None, 1);
    check(r#"{"access":{"account":"ana","what":{"refused":"not-allowed"}}}"#, refused.clone());
    if let Body::Access(event) = &mut refused {
        event.right = Some(Right::Accounts);
    }
    check(r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"right":"accounts"}}"#, refused);
    let (role, before) = (Role::Manager, Role::Operator);
    check(
        r#"{"access":{"account":"ana","what":{"role-changed":{"role":"manager","before":"operator"}},"by":"Tom (user tom)"}}"#,
        event(AccessDeed::RoleChanged { role, before }, None, Some("Tom (user tom)"), 1),
    );
}

#[test]
fn records_of_alerts_keep_their_form() {
    let at: Timestamp = "2026-11-23T11:59:50Z".parse().expect("an instant");
    let alert = AlertNumber(7);
    check(
        r#"{"alert-raised":{"alert":7,"condition":"cold","since":"2026-11-23T11:59:50Z","place":"final-rinse","measured":{"celsius":71.3},"limit":{"celsius":82.2},"pattern":"first-after-idle","cause":41,"last_good":39}}"#,
        Body::AlertRaised(Box::new(AlertRaised {
            alert,
            condition: Condition::Cold,
            since: at,
            place: Some(Place::FinalRinse),
            measured: Some(Quantity::Celsius(71.3)),
            limit: Some(Quantity::Celsius(82.2)),
            pattern: Some(Pattern::FirstAfterIdle),
            about: Vec::new(),
            cause: Some(41),
            last_good: Some(39),
            earlier: None,
            missed: None,
        })),
    );
    check(
        r#"{"alert-changed":{"alert":7,"condition":"probe-fault","change":"escalation-ended","racks":3,"about":["dm1/rinse"],"released":"Ana"}}"#,
        Body::AlertChanged(AlertChanged {
            alert,
            condition: Some(Condition::ProbeFault),
            change: Change::EscalationEnded,
            racks: 3,
            pattern: None,
            measured: None,
            limit: None,
            about: vec!["dm1/rinse".to_owned()],
            cause: None,
            last_good: None,
            earlier: None,
            missed: None,
            released: Some("Ana".to_owned()),
            amended: None,
            worst: None,
        }),
    );
    check(
        r#"{"alert-acknowledged":{"alert":7,"by":"Ana","via":"link"}}"#,
        Body::AlertAcknowledged(AlertAcknowledged {
            alert,
            by: "Ana".to_owned(),
            via: "link".to_owned(),
            note: None,
        }),
    );
    check(
        r#"{"alert-cleared":{"alert":7,"clearing":"recovered","racks":3,"cause":47}}"#,
        Body::AlertCleared(AlertCleared {
            alert,
            clearing: Clearing::Recovered,
            racks: 3,
            worst: None,
            limit: None,
            cause: Some(47),
        }),
    );
    check(
        r#"{"alert-closed":{"alert":7,"racks":3,"needed_action":true}}"#,
        Body::AlertClosed(AlertClosed { alert, racks: 3, needed_action: true }),
    );
    check(
        r#"{"corrective-action":{"alert":7,"by":"Ana","racks":"rewashed","done":"booster reset","last_good":"2026-11-23T11:59:50Z","covers":3}}"#,
        Body::CorrectiveAction(CorrectiveAction {
            alert,
            by: "Ana".to_owned(),
            racks: "rewashed".to_owned(),
            done: "booster reset".to_owned(),
            last_good: Some(at),
            covers: Some(3),
        }),
    );
    check(
        r#"{"notification":{"key":"7-1-ana","alert":7,"occasion":"raised","contact":"ana","route":"email:ana@example.org","outcome":"given-up","attempts":8,"error":"550 no such user"}}"#,
        Body::Notification(Box::new(Notification {
            key: "7-1-ana".to_owned(),
            alert: Some(alert),
            occasion: Some(Occasion::Raised),
            contact: "ana".to_owned(),
            route: Route::Email("ana@example.org".to_owned()),
            outcome: Outcome::GivenUp,
            attempts: 8,
            error: Some("550 no such user".to_owned()),
            why: None,
        })),
    );
    check(
        r#"{"notification":{"key":"7-2-ana","contact":"ana","route":"mqtt","outcome":"given-up","attempts":200,"error":"e","why":{"fact":"no-answer-at","within":"10s","stage":"login","host":"mx.example","given_up":{"not-taken":{"tries":200,"minutes":1440}}}}}"#,
        Body::Notification(Box::new(Notification {
            key: "7-2-ana".to_owned(),
            alert: None,
            occasion: None,
            contact: "ana".to_owned(),
            route: Route::Mqtt,
            outcome: Outcome::GivenUp,
            attempts: 200,
            error: Some("e".to_owned()),
            why: Some(
                Told::from(Fact::NoAnswerAt { within: "10s".to_owned(), stage: "login".to_owned() })
                    .at("mx.example")
                    .given_up(GivenUp::NotTaken { tries: 200, minutes: 1_440 }),
            ),
        })),
    );
    check(
        r#"{"maintenance":{"until":"2026-11-23T11:59:50Z","by":"Tom","ended":false}}"#,
        Body::Maintenance(Maintenance {
            until: at,
            by: Some("Tom".to_owned()),
            why: None,
            ended: false,
            begun: None,
            dialog: None,
            worked: vec![],
        }),
    );
    check(
        r#"{"check":{"check":"supply","at":"2026-11-23T11:59:50Z","enough":true,"by":"Ana"}}"#,
        Body::Check(Check::Supply { at, enough: true, short: Vec::new(), note: None, by: "Ana".to_owned() }),
    );
    check(
        r#"{"check":{"check":"drain-and-clean","at":"2026-11-23T11:59:50Z","note":"scale on the arms","by":"Ana"}}"#,
        Body::Check(Check::DrainAndClean {
            at,
            note: Some("scale on the arms".to_owned()),
            by: "Ana".to_owned(),
        }),
    );
}
