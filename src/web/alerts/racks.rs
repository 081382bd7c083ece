//! The racks of an alert on its page, each with how it was judged.

use super::{Affected, Judged, Whole};
use crate::core::alert::doubts::can_doubt;
use crate::core::alert::{Condition, RACKS_NAMED_MAX};
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::in_capitals;
use crate::core::reader::Reader;

/// A rack as it is shown.
pub(super) struct Rack {
    pub(super) record: u64,
    /// When its final rinse began, as lists tell it.
    pub(super) when: String,
    pub(super) judged: Option<Seen>,
    /// Whether others before it are left out.
    pub(super) after_gap: bool,
    /// Whether it came after those that a corrective action covers.
    pub(super) is_left_out: bool,
}

/// How a rack was judged, as it is shown.
pub(super) struct Seen {
    pub(super) verdict: Verdict,
    /// Whether it is in doubt since it passed: by this alert.
    pub(super) doubted: bool,
    pub(super) word: String,
    pub(super) measured: String,
}

/// The racks that it names, and how many more it counts.
pub(super) fn listed(whole: &Whole, reader: &Reader) -> (Vec<Rack>, u64) {
    let mut racks: Vec<Rack> =
        whole.racks.iter().map(|rack| shown(rack, whole.alert.condition, reader)).collect();
    let more = whole.alert.racks.count.saturating_sub(racks.len() as u64);
    // Those between the first and the last are left out of the names, unless some were counted in one step: then nobody
    // can say where the others stand.
    let in_order = more == 0 || racks.len() == RACKS_NAMED_MAX;
    let left_out = whole.left_out().filter(|_| in_order).map_or(0, |(count, _)| count);
    for (rack, is_left_out) in racks.iter_mut().rev().zip(of_the_last(left_out, more)) {
        rack.is_left_out = is_left_out;
    }
    if more > 0
        && let Some(second_half) = racks.get_mut(RACKS_NAMED_MAX / 2)
    {
        second_half.after_gap = true;
    }
    (racks, more)
}

/// Which of the named racks, the last first, are among so many of the last; `more` that are not named stand between the
/// two halves.
pub(super) fn of_the_last(count: u64, more: u64) -> impl Iterator<Item = bool> {
    const HALF: u64 = RACKS_NAMED_MAX as u64 / 2;
    (0..)
        .map(move |behind: u64| if behind < HALF { behind } else { behind + more })
        .map(move |behind| behind < count)
}

pub(super) fn shown(rack: &Affected, condition: Condition, reader: &Reader) -> Rack {
    let judged = rack.judged.map(|Judged { verdict: judged, figures, overtaken, .. }| {
        let doubted = can_doubt(condition) && judged.is_good();
        let word = in_capitals(judged, doubted, reader.language);
        let overtaken = overtaken.filter(|_| doubted).map(|overtaken| overtaken.told(reader));
        let measured = overtaken.unwrap_or_else(|| figures.told(reader));
        Seen { verdict: judged, doubted, word, measured }
    });
    let when = match rack.judged {
        Some(judged) => reader.moment(judged.rinsed),
        None => reader.moment(rack.rinsed),
    };
    Rack { record: rack.record, when, judged, after_gap: false, is_left_out: false }
}
