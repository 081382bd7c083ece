//! What an alert measured, and its limit, in words.

use serde::Serialize;

use super::condition::Condition;
use super::open::Quantity;
use crate::core::reader::{Reader, filled, said};
use crate::core::record::AlertChanged;
use crate::core::sanitizer::bound::Bound;
use crate::core::sanitizer::shown;

/// One quantity with its unit.
#[must_use]
pub fn quantity(value: Quantity, reader: &Reader) -> String {
    match value {
        Quantity::Celsius(celsius) => reader.temperature(celsius),
        Quantity::Seconds(seconds) => duration(seconds),
        Quantity::MgPerL(mg_per_l) => format!("{} mg/L", shown(mg_per_l)),
        // As it was entered: rounded it might look like the limit.
        Quantity::Ph(ph) => format!("pH {ph}"),
        Quantity::Fraction(share) => format!("{} %", distinct(share * 100.0, share * 100.0, 0).0),
        Quantity::Count(count) => count.to_string(),
    }
}

/// Two quantities of one kind, with the digits that tell them apart; of different kinds, each on its own.
#[must_use]
pub fn pair(measured: Quantity, limit: Quantity, reader: &Reader) -> (String, String) {
    let with =
        |pair: (String, String), unit: &str| (format!("{} {unit}", pair.0), format!("{} {unit}", pair.1));
    match (measured, limit) {
        (Quantity::Celsius(one), Quantity::Celsius(other)) => {
            with(reader.pair(one, other), reader.scale.symbol())
        }
        (Quantity::Seconds(one), Quantity::Seconds(other)) if one.max(other) < LONG_S => {
            with(distinct(one, other, 1), "s")
        }
        (Quantity::MgPerL(one), Quantity::MgPerL(other)) => {
            let digits = decimals(one).max(decimals(other));
            with(distinct(one, other, digits), "mg/L")
        }
        (Quantity::Fraction(one), Quantity::Fraction(other)) => {
            with(distinct(one * 100.0, other * 100.0, 0), "%")
        }
        (one, other) => (quantity(one, reader), quantity(other, reader)),
    }
}

/// What was measured beside its limit, and on which side of it: «71.3 °C (limit 82.2 °C)», «10 mg/L (at least 25 mg/L)»;
/// `None` where nothing was, and of a number of things, which are told by their name.
#[must_use]
pub fn against(
    condition: Condition,
    measured: Option<Quantity>,
    limit: Option<Quantity>,
    reader: &Reader,
) -> Option<String> {
    Some(match beside(condition, measured?, limit, reader)? {
        (measured, Some(limit)) => format!("{measured} ({limit})"),
        (measured, None) => measured,
    })
}

/// What was measured, and what its limit says of it; `None` of a number of things.
fn beside(
    condition: Condition,
    measured: Quantity,
    limit: Option<Quantity>,
    reader: &Reader,
) -> Option<(String, Option<String>)> {
    if matches!(measured, Quantity::Count(_)) {
        return None;
    }
    let Some(limit) = limit else { return Some((quantity(measured, reader), None)) };
    if let Quantity::Ph(limit) = limit {
        return Some((quantity(measured, reader), Some(Bound::PhAtMost(limit).told(reader.language))));
    }
    let side = side(condition, measured, limit);
    let (english, spanish) = if condition == Condition::Drifting {
        match side {
            Side::AtLeast => {
                ("below its usual range, which begins at {limit}", "bajo lo habitual, que empieza en {limit}")
            }
            Side::AtMost => {
                ("above its usual range, which ends at {limit}", "sobre lo habitual, que acaba en {limit}")
            }
        }
    } else if condition == Condition::Weak {
        match side {
            Side::AtLeast => ("at least {limit}", "al menos {limit}"),
            Side::AtMost => ("at most {limit}", "como máximo {limit}"),
        }
    } else if condition == Condition::RinseHot {
        ("maximum {limit}", "máximo {limit}")
    } else {
        ("limit {limit}", "límite {limit}")
    };
    let (measured, limit) = pair(measured, limit, reader);
    Some((measured, Some(filled(said(reader.language, english, spanish), &[("limit", &limit)]))))
}

/// What the record of a change says was measured: «300 mg/L, at most 200 mg/L». One of an earlier version does not say
/// what was wrong: which side of the limit it is on is not known then.
#[must_use]
pub fn of_change(changed: &AlertChanged, reader: &Reader) -> Option<String> {
    let measured = changed.measured?;
    let (measured, limit) = match changed.condition {
        Some(condition) => beside(condition, measured, changed.limit, reader)?,
        None => (quantity(measured, reader), None),
    };
    Some([measured].into_iter().chain(limit).collect::<Vec<_>>().join(", "))
}

/// Digits behind the point with which a concentration is shown.
fn decimals(mg_per_l: f64) -> usize {
    shown(mg_per_l).split_once('.').map_or(0, |(_, digits)| digits.len())
}

/// Whether a quantity is below another of its kind.
fn is_below(measured: Quantity, limit: Quantity) -> bool {
    match (measured, limit) {
        (Quantity::Celsius(one), Quantity::Celsius(other))
        | (Quantity::Seconds(one), Quantity::Seconds(other))
        | (Quantity::MgPerL(one), Quantity::MgPerL(other))
        | (Quantity::Ph(one), Quantity::Ph(other))
        | (Quantity::Fraction(one), Quantity::Fraction(other)) => one < other,
        (Quantity::Count(one), Quantity::Count(other)) => one < other,
        (_, _) => false,
    }
}

/// On which side of its limit a quantity has to be.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// At it or above.
    AtLeast,
    /// At it or below.
    AtMost,
}

/// On which side of its limit must be what was measured of a condition; of what may be too high and too low, on the side
/// of the limit that it crossed.
#[must_use]
pub fn side(condition: Condition, measured: Quantity, limit: Quantity) -> Side {
    match condition {
        Condition::RinseHot | Condition::SeriesBacklog | Condition::ClockUnsynchronised => Side::AtMost,
        Condition::Weak | Condition::Drifting if !is_below(measured, limit) => Side::AtMost,
        Condition::Weak
        | Condition::Drifting
        | Condition::Cold
        | Condition::Brief
        | Condition::Unproven
        | Condition::WashLow
        | Condition::Narrow
        | Condition::TankCold
        | Condition::ProbeFault
        | Condition::ProbeSilent
        | Condition::CheckOverdue
        | Condition::CalibrationOverdue
        | Condition::ThermometerOff
        | Condition::SuppliesShort
        | Condition::RecordDamaged
        | Condition::DiskFilling
        | Condition::Undelivered => Side::AtLeast,
    }
}

/// Two numbers with at least `digits` digits behind the point, and as many as tell them apart.
fn distinct(one: f64, other: f64, digits: usize) -> (String, String) {
    let shown = |digits: usize| (format!("{one:.digits$}"), format!("{other:.digits$}"));
    if one.total_cmp(&other).is_eq() {
        return shown(digits);
    }
    (digits..=6).map(shown).find(|(one, other)| one != other).unwrap_or_else(|| shown(6))
}

/// From here on a time is told in minutes and hours.
const LONG_S: f64 = 120.0;

/// A time span as people say it: «4.2 s», «12 min», «3 h 05 min», «2 d 4 h».
/// The symbols are those of ISO 80000-3, the same in both languages.
#[must_use]
pub fn duration(seconds: f64) -> String {
    if seconds < LONG_S {
        return format!("{seconds:.1} s");
    }
    #[expect(clippy::cast_possible_truncation, reason = "cut to whole minutes; `as` saturates")]
    let minutes = (seconds / 60.0) as u64;
    match (minutes / 1440, minutes % 1440 / 60, minutes % 60) {
        (0, 0, minutes) => format!("{minutes} min"),
        (0, hours, minutes) => format!("{hours} h {minutes:02} min"),
        (days, hours, _) => format!("{days} d {hours} h"),
    }
}
