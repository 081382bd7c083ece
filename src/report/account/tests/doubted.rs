//! Racks that passed and are in doubt, and the alerts by which they are.

use super::*;

// Own rule: the racks that the account counts as in doubt are told one by one, however much later they were found so, with
// their alert (regression: one that was raised after the span was in no list); what only moves the end of work is counted
// and is no event.
#[test]
fn racks_in_doubt_are_told_one_by_one() {
    let mut book = Book::new();
    let racks: Vec<u64> = ["2026-03-01T15:00:00Z", "2026-03-03T15:00:00Z", "2026-03-03T16:00:00Z"]
        .into_iter()
        .map(|at| book.cycle(at, 5, Verdict::Pass, 84.0))
        .collect();
    let later = book.cycle("2026-03-04T15:00:00Z", 5, Verdict::Pass, 84.0);
    let named = racks
        .iter()
        .map(|index| Rack { index: *index, at: at("2026-03-03T16:00:00Z"), began: None })
        .collect();
    let earlier =
        Some(Earlier { racks: Racks { count: 3, named }, by_probe: None, beside: Racks::default() });
    let raised = AlertRaised {
        earlier,
        ..AlertRaised::new(AlertNumber(4), Condition::Weak, at("2026-03-15T15:00:00Z"))
    };
    book.put("2026-03-15T15:00:00Z", Some("dm1"), Body::AlertRaised(Box::new(raised)));
    let action = CorrectiveAction {
        alert: AlertNumber(4),
        by: "Ana".to_owned(),
        racks: "washed again".to_owned(),
        done: "bucket changed".to_owned(),
        last_good: None,
        covers: Some(3),
    };
    let action = book.put("2026-03-15T16:00:00Z", Some("dm1"), Body::CorrectiveAction(action));
    let work = |dialog, ended| {
        let (until, begun) = (at("2026-03-05T15:04:00Z"), Some(at("2026-03-05T15:00:00Z")));
        let (by, why, worked) = (Some("Eli".to_owned()), None, Vec::new());
        Body::Maintenance(Maintenance { until, by, why, ended, begun, dialog, worked })
    };
    for (dialog, ended) in [(None, false), (Some(DialogWork::GoesOn), false), (None, true)] {
        book.put("2026-03-05T15:00:00Z", Some("dm1"), work(dialog, ended));
    }
    let account = book.account(question());
    let told: Vec<(u64, Vec<u64>)> =
        account.machines[0].in_doubt.iter().map(|rack| (rack.index, rack.alerts.clone())).collect();
    // The first is of the day before the span.
    assert_eq!(told, [(racks[1], vec![4]), (racks[2], vec![4])], "not {later}");
    let covered = CoveredAccount { alert: 4, actions: vec![action] };
    assert!(account.machines[0].in_doubt.iter().all(|rack| rack.covered == [covered.clone()]));
    let days =
        |day: &DayAccount| (day.counts.total() > 0).then(|| (day.in_doubt, day.minima_in_doubt.clone()));
    let days: Vec<(u64, Vec<u32>)> = account.machines[0].days.iter().filter_map(days).collect();
    assert_eq!(days, [(2, vec![0, 1]), (0, vec![])]);
    let [alert] = account.alerts.as_slice() else { panic!("one: {:?}", account.alerts) };
    assert_eq!((alert.number, alert.later, alert.racks, alert.racks_outside), (4, true, 3, 1));
    assert_eq!(alert.actions.iter().map(|own| own.index).collect::<Vec<_>>(), [action]);
    let long = Question { to: at("2026-03-16T04:00:00Z"), ..question() };
    let alert = &book.account(long).alerts[0];
    assert_eq!((alert.later, alert.racks, alert.racks_outside), (false, 3, 1));
    assert_eq!((alert.doubted, alert.doubted_outside), (3, 1));
    let work = account.service.iter().filter(|event| event.kind == "maintenance");
    let work: Vec<&str> = work.map(|event| event.text.as_str()).collect();
    assert_eq!((work.len(), account.renewals), (2, 1), "{work:?}");
    assert!(work[1].contains("since 2026-03-05T15:00:00Z"), "{work:?}");
}
