//! Looks at the supplies, and what they found short.
//!
//! Supplies are short while a look that counts says so and none after it found everything there. A
//! look that did, or an amendment that withdraws or corrects what was entered, takes that back;
//! withdrawing the good look brings it back. What a look of the whole site found short is the site's; one that
//! found everything there is a good look at each machine too.

use super::condition::Condition;
use super::desk::Desk;
use super::open::{Alert, AlertNumber};
use super::raise::{Report, Turn};
use super::state::{Look, SITE, State};
use crate::core::record::{Amendment, AmendmentChange, Check, Clearing, Supply};
use crate::core::time::Timestamp;

/// Most looks of a machine that are remembered, for amendments (own choice: as many as an alert can name).
/// At the limit the oldest goes.
const LOOKS_MAX: usize = 32;

/// Most characters of who entered it and of the note that an alert carries (own choice: two lines of a
/// message); what is longer ends with an ellipsis. The whole stands in the record of the look.
const SAID_CHARS_MAX: usize = 200;

impl Desk {
    /// Whether an alert stands open by what a look found short, and somebody was told of it: `look` is the index of
    /// its record. It is not where a later look found everything there, where nobody is to be told, and while a
    /// maintenance window holds the message.
    #[must_use]
    pub fn tells_of_look(&self, look: u64) -> bool {
        let is_it = |known: &Look| known.index == look;
        let Some((machine, _)) = self.state.looks.iter().find(|(_, looks)| looks.iter().any(is_it)) else {
            return false;
        };
        let counts = standing(&self.state, machine).into_iter().any(is_it);
        let open = self.state.open(machine, Condition::SuppliesShort).filter(|_| counts);
        open.is_some_and(|open| {
            open.alert.cleared.is_none() && !open.telling.held && !open.telling.told.is_empty()
        })
    }
}

/// Something that is short, by a look that counts and after which none found everything there.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Shortage {
    /// At which machine; `None` is the whole site.
    pub machine: Option<String>,
    /// Index of the record of the look.
    pub look: u64,
    /// When it was found.
    pub since: Timestamp,
    /// What was found short.
    pub supplies: Vec<Supply>,
    /// Who found it, and what they wrote of it: «Ana: half a can left».
    pub said: String,
    /// The alert that is open by it.
    pub alert: Option<AlertNumber>,
}

impl Desk {
    /// What is short at present at the site and at each of its machines, the oldest first; what was said again in
    /// the same words is one.
    #[must_use]
    pub fn shortages(&self) -> Vec<Shortage> {
        let mut found: Vec<Shortage> = Vec::new();
        for place in self.state.looks.keys() {
            let machine = (place != SITE).then(|| place.clone());
            if machine.as_ref().is_some_and(|name| !self.settings.machines.contains_key(name)) {
                continue;
            }
            let open = self.state.open(place, Condition::SuppliesShort);
            let alert = open.filter(|open| open.alert.cleared.is_none()).map(|open| open.alert.number);
            for look in standing(&self.state, place) {
                let Some((supplies, said)) = look.short.as_deref().map(looked) else { continue };
                let is_it =
                    |one: &Shortage| one.machine == machine && one.supplies == supplies && one.said == said;
                if found.iter().any(is_it) {
                    continue;
                }
                let said = said.to_owned();
                let (machine, look, since) = (machine.clone(), look.index, look.at);
                found.push(Shortage { machine, look, since, supplies, said, alert });
            }
        }
        found
    }
}

/// The looks that found something short and after which none that counts found everything there.
fn standing<'s>(state: &'s State, machine: &str) -> Vec<&'s Look> {
    let of = |place: &str| state.looks.get(place).into_iter().flatten().filter(|look| !look.withdrawn);
    let of_site = of(SITE).filter(|look| machine != SITE && look.short.is_none());
    let mut looks: Vec<&Look> = of(machine).chain(of_site).collect();
    looks.sort_by_key(|look| (look.at, look.index));
    let good = looks.iter().rposition(|look| look.short.is_none());
    looks.split_off(good.map_or(0, |place| place + 1))
}

impl Turn<'_> {
    /// Somebody looked at the supplies; checks of other kinds say nothing of them.
    pub(super) fn looked(&mut self, machine: &str, index: u64, check: &Check) {
        let Some(look) = look(index, check) else { return };
        let looks = self.state.looks.entry(machine.to_owned()).or_default();
        if looks.len() >= LOOKS_MAX {
            looks.remove(0);
        }
        looks.push(look);
        self.weigh_looks(machine);
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
        self.weigh_looks(machine);
    }

    /// Weighs the looks at a machine, or those at the site and with them at each machine.
    fn weigh_looks(&mut self, machine: &str) {
        self.weigh_supplies(machine);
        if machine == SITE {
            let known = self.state.looks.keys().filter(|name| self.settings.machines.contains_key(*name));
            for machine in known.cloned().collect::<Vec<_>>() {
                self.weigh_supplies(&machine);
            }
        }
    }

    /// Raises or takes back what the looks come to.
    fn weigh_supplies(&mut self, machine: &str) {
        let short: Vec<_> = standing(self.state, machine)
            .into_iter()
            .filter_map(|look| Some((look.short.clone()?, look.at)))
            .collect();
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
    let Check::Supply { at, enough, short, note, by } = check else { return None };
    let short = (!enough).then(|| about(short, &said(by, note.as_deref())));
    Some(Look { index, at: *at, short, withdrawn: false })
}

/// What an alert names of a look, in no language: `[detergent test-strips] Ana: half a can left`. Without a supply
/// that has a name it is what was said alone, unless that begins like one.
fn about(short: &[Supply], said: &str) -> String {
    let words: Vec<&str> = short.iter().map(|supply| supply.as_str()).collect();
    if words.is_empty() && !said.starts_with('[') {
        return said.to_owned();
    }
    format!("[{}] {said}", words.join(" "))
}

/// What was short by what an alert names of a look, and who found it with what they wrote.
#[must_use]
pub fn looked(about: &str) -> (Vec<Supply>, &str) {
    let named = about.strip_prefix('[').and_then(|rest| rest.split_once("] "));
    let read = |(words, said)| {
        let supplies: Result<Vec<Supply>, _> = str::split_whitespace(words).map(str::parse).collect();
        Some((supplies.ok()?, said))
    };
    named.and_then(read).unwrap_or((Vec::new(), about))
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
