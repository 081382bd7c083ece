//! One turn of the desk: raising, growing, clearing and closing.

use std::mem::discriminant;

use super::affected::{Measured, has_racks};
use super::condition::{Condition, Severity};
use super::earlier::Earlier;
use super::event::Effects;
use super::notice::Occasion;
use super::open::{Alert, AlertNumber, Amended, Pattern, Quantity, Racks};
use super::quantity::{Side, side};
use super::returns::Returns;
use super::settings::Settings;
use super::state::{Open, SITE, State, Telling};
use crate::core::channel::Place;
use crate::core::record::{
    AlertChanged, AlertCleared, AlertClosed, AlertRaised, Body, Change, Clearing, MissedDue, Record,
};
use crate::core::time::Timestamp;

/// Most probes, checks or routes that one alert names; more are not named (own
/// choice: more than any machine has).
const ABOUT_MAX: usize = 32;

/// The desk while it handles one event.
pub(super) struct Turn<'a> {
    pub(super) now: Timestamp,
    pub(super) settings: &'a Settings,
    pub(super) state: &'a mut State,
    pub(super) effects: &'a mut Effects,
    /// Index of the record being handled.
    pub(super) cause: Option<u64>,
}

/// What the record of a change tells beside the alert as it is.
#[derive(Default)]
pub(super) struct Told {
    /// More racks that had passed.
    pub(super) earlier: Option<Earlier>,
    /// One more check that was missed.
    pub(super) missed: Option<MissedDue>,
    /// Who takes care of it no longer.
    pub(super) released: Option<String>,
    /// That the last entry by which it stood was entered wrongly.
    pub(super) amended: Option<Amended>,
    /// The worst that was measured, where what it measured is counted anew.
    pub(super) worst: Option<Quantity>,
}

/// Something that is wrong at present.
pub(super) struct Report<'r> {
    pub(super) condition: Condition,
    /// Machine, or [`SITE`].
    pub(super) machine: &'r str,
    pub(super) place: Option<Place>,
    pub(super) since: Timestamp,
    pub(super) measured: Option<Quantity>,
    pub(super) limit: Option<Quantity>,
    pub(super) racks: Racks,
    /// Racks that had passed, beside those.
    pub(super) earlier: Option<Earlier>,
    pub(super) pattern: Option<Pattern>,
    pub(super) about: Option<String>,
    /// The check that was missed, where that is not on record yet.
    pub(super) missed: Option<MissedDue>,
    /// Whether its racks were washed without proof, so that an action is needed whatever the condition.
    pub(super) unproven: bool,
    /// How the entry was amended that shows it, where it did not when it was entered.
    pub(super) amended: Option<Amended>,
}

impl<'r> Report<'r> {
    /// A report with nothing measured.
    pub(super) fn new(condition: Condition, machine: &'r str, since: Timestamp) -> Self {
        Self {
            condition,
            machine,
            place: None,
            since,
            measured: None,
            limit: None,
            racks: Racks::default(),
            earlier: None,
            pattern: None,
            about: None,
            missed: None,
            unproven: false,
            amended: None,
        }
    }
}

impl Turn<'_> {
    /// Raises the alert, or lets the open one grow.
    pub(super) fn report(&mut self, report: Report<'_>) {
        if self.settings.rules.off.contains(&report.condition) {
            return;
        }
        let earlier = report.earlier.filter(Earlier::matters);
        let report = Report { earlier, ..report };
        if self.state.open(report.machine, report.condition).is_some() {
            self.grow(report);
        } else {
            self.raise(report);
        }
    }

    fn raise(&mut self, report: Report<'_>) {
        let Report { condition, machine, place, since, measured, limit, pattern, missed, .. } = report;
        self.state.last_number += 1;
        let number = AlertNumber(self.state.last_number);
        let earlier = report.earlier;
        let mut racks = earlier.as_ref().map(Earlier::all).unwrap_or_default();
        let (before, beside) =
            earlier.as_ref().map_or((0, 0), |earlier| (earlier.racks.count, earlier.beside.count));
        racks.add(&report.racks);
        let good = self.state.machines.get(machine).and_then(|memory| memory.last_good);
        // The latest one that passed may be in doubt itself.
        let last_good = good.filter(|_| earlier.is_none());
        let about: Vec<String> = report.about.into_iter().collect();
        let alert = Alert {
            number,
            condition,
            machine: (machine != SITE).then(|| machine.to_owned()),
            place,
            raised: self.now,
            since,
            measured,
            worst: measured,
            limit,
            racks,
            earlier: before,
            beside,
            last_good,
            before_return: 0,
            returns: Returns::default(),
            pattern,
            about: about.clone(),
            acknowledged: None,
            cleared: None,
            needs_action: condition.needs_action() || report.unproven,
            action: None,
            amended: None,
            rest_since: None,
            lapsed: false,
            other_side: None,
        };
        let open = Open { alert, recovering: 0, telling: Telling::default() };
        self.state.open.entry(machine.to_owned()).or_default().insert(condition, open);
        let raised = AlertRaised {
            alert: number,
            condition,
            since,
            place,
            measured,
            limit,
            pattern,
            about,
            cause: self.cause,
            last_good: last_good.map(|rack| rack.index),
            earlier,
            missed,
        };
        self.record(machine, Body::AlertRaised(Box::new(raised)));
        self.advance(machine, condition, Occasion::Raised);
    }

    fn grow(&mut self, report: Report<'_>) {
        let (machine, condition, now) = (report.machine, report.condition, self.now);
        let settle = self.settings.rules.settle;
        let good = self.state.machines.get(machine).and_then(|memory| memory.last_good);
        let Some(open) = self.state.open_mut(machine, condition) else { return };
        let cleared = open.alert.cleared.take();
        open.alert.lapsed = false;
        open.recovering = 0;
        let was_wrong = cleared.is_some() && open.alert.was_entered_wrongly();
        if cleared.is_some() {
            // It stands on something else, and may have ended as one without racks.
            open.alert.amended = None;
            open.alert.needs_action |= condition.needs_action();
        }
        if was_wrong {
            open.alert.worst = None;
        }
        let amended = report.amended.clone();
        let mut told = Told { earlier: report.earlier.clone(), missed: report.missed, ..Told::default() };
        let has_racks = !report.racks.named.is_empty() || told.earlier.is_some();
        if cleared.is_some() && has_racks {
            // Of the racks between the two nobody need doubt; the latest one that passed may be in doubt itself.
            open.alert.last_good = good.filter(|_| told.earlier.is_none());
            open.alert.before_return = open.alert.racks.count;
        }
        if cleared.is_some() && report.about.is_some() {
            open.alert.about.clear();
        }
        let grew = open.alert.grow(report);
        told.worst = open.alert.worst.filter(|_| was_wrong);
        if let (Some(_), Some(missed)) = (cleared, told.missed) {
            // What was due before it had recovered was made since.
            (open.alert.since, open.alert.rest_since) = (missed.due, None);
        }
        if let Some(cleared) = cleared {
            open.alert.since = if condition == Condition::Drifting { now } else { open.alert.since };
            open.alert.returns.push(now);
            open.telling.cleared_pending = false;
            open.telling.settled = false;
            open.telling.reminder = None;
            let anew = now >= cleared.plus(settle);
            if anew {
                told.released = open.alert.acknowledged.take().map(|taken| taken.by);
                open.telling.start_over();
            }
            told.amended = amended;
            self.changed_by(machine, condition, Change::Returned, told);
            self.tell_return(machine, condition, anew);
        } else if grew {
            self.changed_by(machine, condition, Change::Grew, told);
            self.tell_again(machine, condition, Occasion::Grew);
        } else if told.missed.is_some() {
            self.changed_by(machine, condition, Change::MissedAgain, told);
        } else if told.earlier.is_some() {
            self.changed_by(machine, condition, Change::Grew, told);
        }
    }

    /// Whether an alert is open, has not recovered and names this probe.
    pub(super) fn names(&self, machine: &str, condition: Condition, probe: &str) -> bool {
        self.state.open(machine, condition).is_some_and(|open| open.alert.lasts_about(probe))
    }

    /// Takes one thing out of what an alert is about, and clears it where that was the last.
    pub(super) fn resolve(&mut self, machine: &str, condition: Condition, about: &str) {
        let Some(open) = self.state.open_mut(machine, condition) else { return };
        let before = open.alert.about.len();
        if before > 1 {
            open.alert.about.retain(|item| item != about);
        } else if open.alert.about.iter().any(|item| item == about) {
            // The last one stays named: a message of the recovery tells what has recovered.
            self.clear(machine, condition, Clearing::Recovered);
        }
    }

    /// Counts a good cycle, or clears the count where it was none.
    pub(super) fn recover(&mut self, machine: &str, condition: Condition, good: bool, needed: u32) {
        let Some(open) = self.state.open_mut(machine, condition) else { return };
        if open.alert.cleared.is_some() {
            return;
        }
        open.recovering = if good { open.recovering + 1 } else { 0 };
        if open.recovering >= needed {
            self.clear(machine, condition, Clearing::Recovered);
        }
    }

    /// The alert has recovered; closing waits until that has lasted.
    pub(super) fn clear(&mut self, machine: &str, condition: Condition, clearing: Clearing) {
        let (now, rules) = (self.now, &self.settings.rules);
        let Some(open) = self.state.open_mut(machine, condition) else { return };
        if open.alert.cleared.is_some() {
            return;
        }
        open.alert.cleared = Some(now);
        open.alert.lapsed = clearing == Clearing::Lapsed;
        open.recovering = 0;
        let reminder = open.alert.action_missing().then(|| now.plus(rules.action_reminder));
        open.telling.reminder = reminder;
        open.telling.reminders = 0;
        if !open.alert.wants_somebody() {
            open.telling.next_step = None;
        }
        let alert = &open.alert;
        // Of the others their racks tell it; of a solution a test may have found it that puts no more racks in doubt.
        let worst = alert.worst.filter(|_| !has_racks(condition) || condition == Condition::Weak);
        let body = AlertCleared {
            alert: alert.number,
            clearing,
            racks: alert.racks.count,
            worst,
            limit: worst.and(alert.limit),
            cause: self.cause,
        };
        self.record(machine, Body::AlertCleared(body));
        self.tell_recovery(machine, condition);
    }

    /// The recovery has lasted: closes where no action is missing.
    pub(super) fn settle(&mut self, machine: &str, condition: Condition) {
        let Some(open) = self.state.open_mut(machine, condition) else { return };
        open.telling.settled = true;
        let pending = std::mem::take(&mut open.telling.cleared_pending);
        let done = !open.alert.action_missing();
        if pending {
            self.tell_told(machine, condition, Occasion::Cleared);
        }
        if done {
            self.close(machine, condition);
        }
    }

    /// Closes an alert and forgets it.
    pub(super) fn close(&mut self, machine: &str, condition: Condition) {
        let Some(open) = self.state.open(machine, condition) else { return };
        let (alert, racks, needed_action) =
            (open.alert.number, open.alert.racks.count, open.alert.needs_action);
        self.record(machine, Body::AlertClosed(AlertClosed { alert, racks, needed_action }));
        if needed_action {
            self.tell_told(machine, condition, Occasion::Closed);
        }
        self.state.remove(machine, condition);
        self.accounted_for(machine, condition);
    }

    /// Records that something happened to an open alert.
    pub(super) fn changed(&mut self, machine: &str, condition: Condition, change: Change) {
        self.changed_by(machine, condition, change, Told::default());
    }

    pub(super) fn changed_by(&mut self, machine: &str, condition: Condition, change: Change, told: Told) {
        let Told { earlier, missed, released, amended, worst } = told;
        let Some(open) = self.state.open(machine, condition) else { return };
        let alert = &open.alert;
        let came_back = change == Change::Returned && alert.before_return > 0;
        let body = AlertChanged {
            alert: alert.number,
            condition: Some(condition),
            change,
            racks: alert.racks.count,
            pattern: alert.pattern,
            measured: alert.measured,
            limit: alert.measured.and(alert.limit),
            about: alert.about.clone(),
            cause: self.cause,
            last_good: came_back.then_some(alert.last_good).flatten().map(|rack| rack.index),
            earlier,
            missed,
            released,
            amended: amended.map(Box::new),
            worst,
        };
        self.record(machine, Body::AlertChanged(body));
    }

    pub(super) fn record(&mut self, machine: &str, body: Body) {
        let machine = (machine != SITE).then(|| machine.to_owned());
        self.effects.records.push(Record::new(self.now, machine, body));
    }
}

impl Alert {
    /// Takes in what is reported again; whether it has become another matter.
    fn grow(&mut self, report: Report<'_>) -> bool {
        let mut grew = false;
        if let Some(earlier) = report.earlier {
            self.place = self.place.or(report.place);
            self.racks.add(&earlier.all());
            self.earlier += earlier.racks.count;
            self.beside += earlier.beside.count;
            // More that are held beside are told with the summary.
            grew = earlier.racks.count > 0 || earlier.by_probe.is_some();
        }
        self.racks.add(&report.racks);
        if report.measured.is_some() {
            self.measured = report.measured;
            self.take_worst(Measured { value: report.measured, limit: report.limit });
        }
        match (self.pattern, report.pattern) {
            (Some(Pattern::FirstAfterIdle | Pattern::Single), Some(Pattern::Repeated)) => {
                self.pattern = report.pattern;
                grew = true;
            }
            (Some(Pattern::FirstAfterIdle), Some(Pattern::Single)) => self.pattern = report.pattern,
            (Some(_), Some(Pattern::FirstAfterIdle | Pattern::Single | Pattern::Repeated) | None)
            | (None, _) => {}
        }
        if let Some(about) = report.about
            && !self.about.contains(&about)
            && self.about.len() < ABOUT_MAX
        {
            self.about.push(about);
            grew = true;
        }
        if report.unproven && !self.needs_action {
            self.needs_action = true;
            grew = true;
        }
        grew
    }

    /// Takes what was measured into the worst so far, and its limit. Of a drift the worst on either side is kept, however
    /// often it came back to it.
    pub(super) fn take_worst(&mut self, latest: Measured) {
        let before = self.worst.zip(self.limit);
        self.limit = latest.limit;
        let of = |(measured, limit)| side(self.condition, measured, limit);
        if self.condition == Condition::Drifting
            && let (Some(before), Some(now)) = (before, latest.value.zip(latest.limit))
            && of(before) != of(now)
        {
            let known = self.other_side.replace(before).map(|(worst, _)| worst);
            self.worst = worse(self.condition, known, latest);
        } else {
            self.worst = worse(self.condition, self.worst, latest);
        }
    }

    /// Whether more of the same is told in summaries. A warning is told once.
    pub(super) const fn is_warning(&self) -> bool {
        match self.condition.severity() {
            Severity::Critical | Severity::Serious => false,
            Severity::Warning => true,
        }
    }
}

/// The worst so far, once this is measured: the higher one of what must stay below its limit. What may be too high and too
/// low is worst on the side on which it is now; what lay on the other one, its own record tells.
pub(super) fn worse(condition: Condition, before: Option<Quantity>, latest: Measured) -> Option<Quantity> {
    let (Some(first), Some(second)) = (before, latest.value) else { return before.or(latest.value) };
    let side = |quantity| latest.limit.map_or(Side::AtLeast, |limit| side(condition, quantity, limit));
    if discriminant(&first) != discriminant(&second) || side(first) != side(second) {
        return latest.value;
    }
    let is_higher = second.number() > first.number();
    let is_worse = match side(second) {
        Side::AtLeast => !is_higher,
        Side::AtMost => is_higher,
    };
    if is_worse { latest.value } else { before }
}

impl Quantity {
    /// The bare number.
    #[must_use]
    pub const fn number(self) -> f64 {
        match self {
            Self::Celsius(number)
            | Self::Seconds(number)
            | Self::MgPerL(number)
            | Self::Ph(number)
            | Self::Fraction(number) => number,
            Self::Count(count) => count as f64,
        }
    }
}
