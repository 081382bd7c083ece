use jiff::tz::TimeZone;

use super::*;
use crate::core::alert::AlertNumber;
use crate::core::reader::Scale;
use crate::core::record::AlertClosed;

// Own limit: of a very long story begin and end are shown, and that more records stand between; of one that is a little
// shorter all of it is.
#[test]
fn a_very_long_story_leaves_out_what_is_between() {
    let check = |number: u64| {
        let due = Timestamp::from_micros(0).plus(std::time::Duration::from_secs(number * 28_800));
        let missed = Some(MissedDue { check: CheckKind::Supply, due, counts_from: due });
        let body = if number == 0 {
            let raised = AlertRaised::new(AlertNumber(7), Condition::CheckOverdue, due);
            Body::AlertRaised(Box::new(AlertRaised { missed, ..raised }))
        } else {
            Body::AlertChanged(AlertChanged {
                missed,
                ..AlertChanged::new(AlertNumber(7), Change::MissedAgain)
            })
        };
        (number, Record::new(due, Some("dm1".to_owned()), body))
    };
    for (count, shown, left) in [(120, 120, None), (121, 120, Some(1)), (5_000, 120, Some(4_880))] {
        let mut records: Vec<(u64, Record)> = (0..count).map(check).collect();
        let closed = Body::AlertClosed(AlertClosed { alert: AlertNumber(7), racks: 0, needed_action: false });
        records.last_mut().expect("records").1.body = closed;
        for (language, words) in [
            (Language::English, "more records between: those of the alert are in the history"),
            (Language::Spanish, "asientos más entre medias: los de la alerta están en el historial"),
        ] {
            let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
            let all = told(&records, &[], &reader);
            assert_eq!((all.len(), all[shown - 1].record), (shown, count - 1), "its end is shown");
            let marked: Vec<&Happened> = all.iter().filter(|one| one.left_out.is_some()).collect();
            assert_eq!(marked.len(), usize::from(left.is_some()));
            if let Some(left) = left {
                let said = marked[0].left_out.as_deref().expect("words");
                assert!(said.contains(&format!("… {left} ")) && said.contains(words), "{said}");
                assert_eq!(marked[0].record, 20 + left, "before the first that is shown again");
            }
        }
    }
}
