//! From records of alerts to points: what happened to an alert, and what somebody did about it.

use serde::Serialize;

use super::measurements::ALERT;
use super::point::Point;
use super::record::short;
use crate::core::alert::Quantity;
use crate::core::record::{Body, Record};

/// The point of a record about an alert, of which `start` makes the beginning; `None` for any other.
pub(super) fn point(start: impl Fn(&'static str) -> Point, record: &Record) -> Option<Point> {
    let start = || start(ALERT).tag("event", record.body.kind());
    let point = match &record.body {
        Body::AlertRaised(raised) => {
            let point = start().tag("condition", raised.condition.as_str());
            let point = quantity(point, "measured", raised.measured.as_ref());
            quantity(point, "limit", raised.limit.as_ref())
        }
        Body::AlertChanged(changed) => {
            let point = start().text("change", word(&changed.change)).count("racks", changed.racks);
            quantity(point, "measured", changed.measured.as_ref())
        }
        Body::AlertAcknowledged(taken) => start().text("by", short(&taken.by)).text("via", short(&taken.via)),
        Body::AlertCleared(cleared) => {
            start().text("clearing", word(&cleared.clearing)).count("racks", cleared.racks)
        }
        Body::AlertClosed(closed) => {
            start().count("racks", closed.racks).flag("needed_action", closed.needed_action)
        }
        Body::CorrectiveAction(action) => {
            let point = start().text("by", short(&action.by)).text("done", short(&action.done));
            action.covers.into_iter().fold(point, |point, covers| point.count("covers", covers))
        }
        Body::Notification(notification) => {
            let point = start().text("contact", short(&notification.contact));
            let point = point.text("outcome", word(&notification.outcome));
            point.count("attempts", notification.attempts.into())
        }
        Body::Maintenance(maintenance) => start().flag("ended", maintenance.ended),
        Body::Cycle(_)
        | Body::Gap(_)
        | Body::Check(_)
        | Body::ServiceStart(_)
        | Body::ServiceStop(_)
        | Body::ClockStep(_)
        | Body::ConfigurationChange(_)
        | Body::MachineFailure(_)
        | Body::Note(_)
        | Body::Amendment(_)
        | Body::SigningKey(_)
        | Body::LawfulHold(_)
        | Body::Pruned(_)
        | Body::Import(_)
        | Body::Restored(_)
        | Body::Calibration(_)
        | Body::Response(_)
        | Body::WiringProof(_)
        | Body::SignOff(_)
        | Body::Access(_) => return None,
    };
    Some(match record.body.alert() {
        Some(alert) => point.count("number", alert.0),
        None => point,
    })
}

fn quantity(point: Point, name: &'static str, value: Option<&Quantity>) -> Point {
    let Some(value) = value else { return point };
    match *value {
        Quantity::Celsius(value)
        | Quantity::Seconds(value)
        | Quantity::MgPerL(value)
        | Quantity::Ph(value)
        | Quantity::Fraction(value) => point.float(name, value),
        Quantity::Count(count) => point.float(name, count as f64),
    }
}

/// The word that the record has for it.
fn word(value: &impl Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        Ok(_) | Err(_) => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::alert::{AlertNumber, Condition};
    use crate::core::record::{AlertClosed, AlertRaised, CorrectiveAction, ServiceStop, StopCause};
    use crate::core::time::Timestamp;

    // The table at the head of `measurements`.
    #[test]
    fn alerts_are_points_with_their_event() {
        let at = Timestamp::from_micros(1_767_268_800_000_000);
        let raised = AlertRaised {
            measured: Some(Quantity::Celsius(71.3)),
            limit: Some(Quantity::Celsius(82.2)),
            cause: Some(41),
            ..AlertRaised::new(AlertNumber(7), Condition::Cold, at)
        };
        let closed = AlertClosed { alert: AlertNumber(7), racks: 3, needed_action: true };
        let action = CorrectiveAction {
            alert: AlertNumber(7),
            by: "Ana".to_owned(),
            racks: "rewashed".to_owned(),
            done: "reset".to_owned(),
            last_good: None,
            covers: Some(2),
        };
        for (body, line) in [
            (
                Body::CorrectiveAction(action),
                "alert,event=corrective-action,machine=dm1,site=kitchen by=\"Ana\",covers=2i,done=\"reset\",number=7i,record=42i 1767268800000000042\n",
            ),
            (
                Body::AlertRaised(Box::new(raised)),
                "alert,condition=cold,event=alert-raised,machine=dm1,site=kitchen limit=82.2,measured=71.3,number=7i,record=42i 1767268800000000042\n",
            ),
            (
                Body::AlertClosed(closed),
                "alert,event=alert-closed,machine=dm1,site=kitchen needed_action=t,number=7i,racks=3i,record=42i 1767268800000000042\n",
            ),
        ] {
            let record = Record::new(at, Some("dm1".to_owned()), body);
            let mut bytes = Vec::new();
            super::super::record::point("kitchen", 42, &record).write_to(&mut bytes).expect("a plain point");
            assert_eq!(String::from_utf8(bytes).expect("text"), line);
        }
        let stop = Record::new(at, None, Body::ServiceStop(ServiceStop { cause: StopCause::Signal }));
        assert!(point(|name| Point::new(name, at), &stop).is_none());
    }
}
