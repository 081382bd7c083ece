//! What the pages say of a probe and of a machine right after something of it came on record.

use tokio::sync::watch;

use super::*;
use crate::app::logbook::Entry;
use crate::app::order::Order;
use crate::core::record::{Check, ResponseDone, WiringProofDone};
use crate::report::signoff::samples::signed;
use crate::web::probes::{Made, Probes};

// Own promise: whoever is told that something is on record is shown it, before the next beat as well; it is in
// force by then.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_on_record_is_shown_at_once() {
    let running = Running::start().await;
    let (_still, beat) = watch::channel(0);
    let house = House { beat, ..running.house.clone() };
    let filed = async || house.filed("dm1/rinse".to_owned()).await.expect("readable").responses.len();
    assert_eq!(filed().await, 0);
    for tests in 1..=3 {
        let done = ResponseDone {
            probe: "dm1/rinse".to_owned(),
            at: house.clock.now(),
            tau_s: 1.5,
            expanded_s: 0.2,
            residual_c: 0.1,
            from_c: 20.0,
            to_c: 80.0,
            readings: 100,
            fast_enough: None,
            by: "Eli".to_owned(),
        };
        let order = Order::Entry { entry: Entry::Response { done: Box::new(done) } };
        let record = running.reception.perform(order).await.expect("on record").record;
        assert_eq!(filed().await, tests);
        let seen = house.probes().await.expect("readable");
        let rinse = seen.iter().find(|seen| seen.machine == "dm1").expect("its probe");
        assert_eq!(rinse.in_force.response, record);
    }
}

// Own promise: a probe that a comparison found off is shown so, until a good comparison takes that back.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_probe_that_was_found_off_is_shown_so() {
    let running = Running::start().await;
    let house = &running.house;
    let off = async || {
        let seen = house.probes().await.expect("readable");
        seen.iter().find(|seen| seen.machine == "dm1" && seen.probe == "rinse").expect("its probe").off
    };
    for (shown_c, expected) in [(0.2, false), (2.4, true), (0.3, false)] {
        let at = house.clock.now();
        let check = Check::Thermometer {
            at,
            what: "dm1/rinse".to_owned(),
            shown_c,
            reference_c: 0.0,
            tolerance_c: 1.0,
            reference: "ice bath".to_owned(),
            by: "Eli".to_owned(),
        };
        let entry = Entry::Check { machine: Some("dm1".to_owned()), check, late: false };
        running.reception.perform(Order::Entry { entry }).await.expect("on record");
        assert_eq!(off().await.is_some(), expected, "{shown_c}");
    }
}

// Own promise: a record is what it is, whatever an address says of it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_record_is_what_it_is() {
    let running = Running::start().await;
    let at = running.house.clock.now();
    let proof = WiringProofDone { at, probes: Vec::new(), good: true, by: "Eli".to_owned() };
    let bodies = [Said::WiringProof(Box::new(proof)), Said::SignOff(Box::new(signed()))];
    let of_dm1 = |body| NewRecord { record: Record::new(at, Some("dm1".to_owned()), body), trace: None };
    let records = bodies.map(of_dm1).to_vec();
    let done = running.ledger.commit(Commit { records, ..Commit::default() }).await.expect("stored");
    let (house, first) = (&running.house, done.first_index.expect("records"));
    for (machine, made, record, expected) in [
        ("dm1", Made::Proof, first, true),
        ("dm1", Made::SignOff, first, false),
        ("dm1", Made::SignOff, first + 1, true),
        ("dm1", Made::Proof, first + 1, false),
        ("bar", Made::Proof, first, false),
        ("bar", Made::SignOff, first + 1, false),
        ("dm1", Made::Proof, 0, false),
        ("dm1", Made::SignOff, 5, false),
        ("dm1", Made::SignOff, 999_999, false),
    ] {
        let found = house.is_made(machine.to_owned(), made, record).await;
        assert_eq!(found, expected, "{machine}, {made:?}, record {record}");
    }
}

// Own promise: the channel of a sanitizer stands among the probes with its newest test, whoever made it, and on Now with
// the same; one that was withdrawn is neither there nor there.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_sanitizer_is_among_the_probes() {
    use crate::core::record::{Amendment, AmendmentChange};
    use crate::web::now::Glances;
    let running = Running::start().await;
    let house = &running.house;
    let row = async || {
        let rows = running.page(Asked { limit: LIMIT_MAX, ..asked(View::Probes) }).await.items;
        let rows = rows.iter().map(|row| serde_json::from_str::<Value>(row).expect("JSON"));
        let mut own = rows.filter(|row| row["channel"] == "bar/sanitizer");
        own.next().expect("its row")
    };
    let on_now = async || {
        let glances = house.glances(&house.eyes()).await.expect("readable").machines;
        let bar = glances.iter().find(|glance| glance.machine == "bar").expect("its machine");
        bar.strength.clone().map(|(tested, _)| (tested.value, tested.by))
    };
    let nothing = row().await;
    assert_eq!((&nothing["quantity"], &nothing["value"]), (&"sanitizer".into(), &Value::Null));
    assert_eq!((&nothing["silent"], on_now().await), (&true.into(), None));
    let (at, by) = (house.clock.now(), "Ana".to_owned());
    let check = Check::Sanitizer { at, mg_per_l: 50.0, ph: None, solution_c: None, method: None, by };
    let entry = Entry::Check { machine: Some("bar".to_owned()), check, late: false };
    let done = running.reception.perform(Order::Entry { entry }).await.expect("on record");
    let record = done.record.expect("its number");
    let told = row().await;
    for (key, expected) in [
        ("value", 50.0.into()),
        ("unit", "mg/L".into()),
        ("from", "person".into()),
        ("by", "Ana".into()),
        ("record", record.into()),
        ("silent", false.into()),
        ("place", Value::Null),
    ] {
        assert_eq!(told[key], expected, "{key}: {told}");
    }
    assert_eq!(on_now().await, Some((50.0, Some("Ana".to_owned()))));
    let (reason, by) = ("misread".to_owned(), "Ana".to_owned());
    let withdrawn = Amendment { of: record, change: AmendmentChange::Withdrawn, reason, by };
    let at = house.clock.now();
    let withdrawn = Record::new(at, Some("bar".to_owned()), Said::Amendment(Box::new(withdrawn)));
    let records = vec![NewRecord { record: withdrawn, trace: None }];
    running.ledger.commit(Commit { records, ..Commit::default() }).await.expect("stored");
    assert_eq!((row().await["value"].clone(), on_now().await), (Value::Null, None));
}
