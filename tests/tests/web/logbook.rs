//! The logbook at the running gateway: an entry, and what is said of it later.

use rinseward::core::record::{AmendmentChange, Body, Check};

use super::gateway::{Gateway, Site, member};

/// A second machine, which sanitizes by chlorine.
const CHLORINE: &str = "[[machine]]\nname = \"dm2\"\nkind = \"stationary-rack-dual-temperature\"\n\
                        sanitizing = \"chlorine\"\nprobes = [\"rinse\"]\n";

// Own promise: whatever was typed wrong in an entry can be put right, its time and its method among it, and
// both stay on record. 4-501.114 of the Food Code 2022: chlorine at 50 mg/L and pH 8 is good from 38 °C on.
#[tokio::test(flavor = "multi_thread")]
async fn time_and_method_of_an_entry_are_put_right() {
    let site = Site::new(CHLORINE);
    let gateway = Gateway::start(&site);
    let mut manager = member(&site, &gateway, "mia", "manager").await;
    let form = [("machine", "dm2"), ("mg_per_l", "50"), ("ph", "8"), ("solution", "49")];
    let entered = manager.post("/logbook/sanitizer", &form).await;
    let place = format!("/logbook/{}", entered.location());
    assert_eq!(entered.status, 303, "{}", entered.body);

    let change = [("reason", "it was read before breakfast"), ("change", "correct")];
    let wrong = [change.as_slice(), &[("at", "2099-01-01T08:00")]].concat();
    let answer = manager.post(&place, &wrong).await;
    assert!(
        answer.status == 422 && answer.body.contains("after the entry was put on record"),
        "{}",
        answer.body
    );
    let right = [change.as_slice(), &[("at", "2026-03-01T07:30"), ("method", "titration")]].concat();
    let answer = manager.post(&place, &right).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    // Half past seven in New York, before its summer time began (Energy Policy Act of 2005, §110).
    let page = manager.get(&place).await.body;
    for part in ["Corrected by mia the manager", "titration", "07:30 EST", "it was read before breakfast"] {
        assert!(page.contains(part), "{part} in {page}");
    }
    gateway.stop();

    let bodies = site.bodies(&["check", "amendment"]);
    let [Body::Check(Check::Sanitizer { method: None, .. }), Body::Amendment(amendment)] = bodies.as_slice()
    else {
        panic!("{bodies:?}")
    };
    let AmendmentChange::Corrected(check) = &amendment.change else { panic!("{amendment:?}") };
    assert_eq!(check.at().to_string(), "2026-03-01T12:30:00Z");
}

// Own promise: one press of the button that arrives twice is one entry, and whatever else arrives is an entry of its
// own: the same form with another value, and forms that do not name the press.
#[tokio::test(flavor = "multi_thread")]
async fn a_press_that_arrives_twice_is_one_entry_and_no_other_is_lost() {
    let site = Site::new(CHLORINE);
    let gateway = Gateway::start(&site);
    let mut otto = member(&site, &gateway, "otto", "operator").await;
    let mut entered = Vec::new();
    for (once, mg_per_l) in
        [("7", "50"), ("7", "50"), ("7", "55"), ("8", "50"), ("", "60"), ("", "60"), ("", "65")]
    {
        let form = [("machine", "dm2"), ("mg_per_l", mg_per_l), ("once", once)];
        let answer = otto.post("/logbook/sanitizer", &form).await;
        assert_eq!(answer.status, 303, "{}", answer.body);
        entered.push(answer.location().to_owned());
    }
    assert_eq!(entered[0], entered[1], "the second leads to the first");
    gateway.stop();
    let found = site.bodies(&["check"]).into_iter().map(|body| {
        let Body::Check(Check::Sanitizer { mg_per_l, .. }) = body else { panic!("{body:?}") };
        mg_per_l.to_string()
    });
    assert_eq!(found.collect::<Vec<String>>(), ["50", "55", "50", "60", "60", "65"]);
}
