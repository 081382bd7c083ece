use jiff::tz::TimeZone;

use super::*;
use crate::core::alert::AlertNumber;
use crate::core::cycle::plate::Sanitizing;
use crate::core::logbook::judge;
use crate::core::reader::Scale;
use crate::core::record::{AlertClosed, Check};
use crate::core::sanitizer::Rules;

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
            let all = told((&records, &EnteredChecks::default()), &[], &reader);
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

// Regression: the page did not say which check was made, nor that it failed. 25 mg/L: FDA Food Code 4-501.114(A).
#[test]
fn it_is_told_which_check_was_made_and_whether_it_failed() {
    let at = Timestamp::from_micros(0);
    let strip = |mg_per_l| {
        let (ph, solution_c, method, by) = (None, None, None, "Ana".to_owned());
        Check::Sanitizer { at, mg_per_l, ph, solution_c, method, by }
    };
    let about = |kinds: &[&str]| kinds.iter().map(|kind| (*kind).to_owned()).collect::<Vec<String>>();
    let record = |body| Record::new(at, Some("dm1".to_owned()), body);
    let raised = AlertRaised::new(AlertNumber(7), Condition::CheckOverdue, at);
    let raised = AlertRaised { about: about(&["sanitizer", "supply", "drain-and-clean"]), ..raised };
    let left = about(&["supply", "drain-and-clean"]);
    let eased =
        AlertChanged { cause: Some(4), about: left, ..AlertChanged::new(AlertNumber(7), Change::Eased) };
    let records = [(3, record(Body::AlertRaised(Box::new(raised)))), (5, record(Body::AlertChanged(eased)))];
    for (language, mg_per_l, failed, expected) in [
        (
            Language::English,
            Some(10.0),
            true,
            "One of the checks was made, and FAILED: Sanitizer, 10 mg/L (at least 25 mg/L) (Ana); still missing: \
             Supplies, Drain and clean",
        ),
        (
            Language::English,
            Some(100.0),
            false,
            "One of the checks was made: Sanitizer, 100 mg/L (Ana); still missing: Supplies, Drain and clean",
        ),
        (
            Language::Spanish,
            Some(10.0),
            true,
            "Se hizo uno de los controles, y NO CUMPLIÓ: Desinfectante, 10 mg/L (al menos 25 mg/L) (Ana); aún faltan: \
             Suministros, Vaciado y limpieza",
        ),
        (
            Language::Spanish,
            None,
            false,
            "Se hizo uno de los controles: Desinfectante; aún faltan: Suministros, Vaciado y limpieza",
        ),
    ] {
        let mut entered = EnteredChecks::default();
        if let Some(mg_per_l) = mg_per_l {
            let check = strip(mg_per_l);
            let judgement = judge(&check, Sanitizing::Chlorine, &Rules::default());
            entered.take(4, check, judgement);
        }
        let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
        let all = told((&records, &entered), &[], &reader);
        assert_eq!((all[1].what.as_str(), all[1].failed), (expected, failed));
    }
}
