//! Looks at the supplies, and what they found short.
//!
//! Supplies are short while a look that counts says so and none after it found everything there. A
//! look that did, or an amendment that withdraws or corrects what was entered, takes that back;
//! withdrawing the good look brings it back. What a look of the whole site found short is the site's.

use super::condition::Condition;
use super::open::Alert;
use super::raise::{Report, Turn};
use super::state::Look;
use crate::core::record::{Amendment, AmendmentChange, Check, Clearing};

/// Most looks of a machine that are remembered, for amendments (own choice: as many as an alert can name).
/// At the limit the oldest goes.
const LOOKS_MAX: usize = 32;

/// Most characters of who entered it and of the note that an alert carries (own choice: two lines of a
/// message); what is longer ends with an ellipsis. The whole stands in the record of the look.
const SAID_CHARS_MAX: usize = 200;

impl Turn<'_> {
    /// Somebody looked at the supplies; checks of other kinds say nothing of them.
    pub(super) fn looked(&mut self, machine: &str, index: u64, check: &Check) {
        let Some(look) = look(index, check) else { return };
        let looks = self.state.looks.entry(machine.to_owned()).or_default();
        if looks.len() >= LOOKS_MAX {
            looks.remove(0);
        }
        looks.push(look);
        self.weigh_supplies(machine);
    }

    /// Somebody withdrew or corrected a look.
    pub(super) fn looked_otherwise(&mut self, machine: &str, amendment: &Amendment) {
        let corrected = match &amendment.change {
            AmendmentChange::Comment => return,
            AmendmentChange::Withdrawn => None,
            AmendmentChange::Corrected(check) => look(amendment.of, check),
        };
        let looks = self.state.looks.get_mut(machine).into_iter().flatten();
        let Some(known) = looks.into_iter().find(|known| known.index == amendment.of) else { return };
        match corrected {
            Some(corrected) => *known = corrected,
            None => known.withdrawn = true,
        }
        self.weigh_supplies(machine);
    }

    /// Raises or takes back what the looks come to.
    fn weigh_supplies(&mut self, machine: &str) {
        let mut looks: Vec<&Look> =
            self.state.looks.get(machine).into_iter().flatten().filter(|look| !look.withdrawn).collect();
        looks.sort_by_key(|look| (look.at, look.index));
        let good = looks.iter().rposition(|look| look.short.is_none());
        let short = looks.split_off(good.map_or(0, |place| place + 1));
        let short: Vec<_> = short.iter().filter_map(|look| Some((look.short.clone()?, look.at))).collect();
        if short.is_empty() {
            self.clear(machine, Condition::SuppliesShort, Clearing::Recovered);
            return;
        }
        if let Some(open) = self.state.open_mut(machine, Condition::SuppliesShort) {
            open.alert.about.retain(|about| short.iter().any(|(said, _)| said == about));
        }
        for (said, since) in short {
            let told = |alert: &Alert| alert.cleared.is_none() && alert.about.contains(&said);
            let open = self.state.open(machine, Condition::SuppliesShort);
            if !open.is_some_and(|open| told(&open.alert)) {
                let about = Some(said);
                self.report(Report { about, ..Report::new(Condition::SuppliesShort, machine, since) });
            }
        }
    }
}

/// What a check says of the supplies.
fn look(index: u64, check: &Check) -> Option<Look> {
    let Check::Supply { at, enough, note, by } = check else { return None };
    let short = (!enough).then(|| said(by, note.as_deref()));
    Some(Look { index, at: *at, short, withdrawn: false })
}

/// Who found something short, and what they wrote of it: «Ana: rinse aid».
fn said(by: &str, note: Option<&str>) -> String {
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let note = note.map(words).filter(|note| !note.is_empty());
    let said = note.map_or_else(|| words(by), |note| format!("{}: {note}", words(by)));
    if said.chars().count() <= SAID_CHARS_MAX {
        return said;
    }
    let cut: String = said.chars().take(SAID_CHARS_MAX - 1).collect();
    format!("{cut}…")
}
