//! Puts together what was taken: the account, part by part.

use std::collections::BTreeMap;

use super::{Builder, Machine};
use crate::core::alert::story::Story;
use crate::core::alert::{AlertNumber, Condition};
use crate::core::monitored::Blank;
use crate::core::time::Timestamp;
use crate::report::account::alert::account_of;
use crate::report::account::machine::Surroundings;
use crate::report::account::missed::overdue;
use crate::report::account::{
    ACCOUNT_FORMAT, Account, ActionAccount, AlertAccount, MachineAccount, RecordRange, Seal,
};

impl Builder {
    /// The account. `alive` is the latest instant at which the gateway is known to have worked:
    /// where that is long before the account is made, nothing is known since.
    #[must_use]
    pub fn finish(mut self, records: RecordRange, alive: Option<Timestamp>, seal: Option<Seal>) -> Account {
        let last = alive.map(|alive| (records.to.saturating_sub(1), alive));
        let blanks = self.blanks_of_span(last);
        self.sort_covers();
        let (machines, actions) = (std::mem::take(&mut self.machines), std::mem::take(&mut self.actions));
        let stories = self.stories_of_span();
        let machines = self.machine_accounts(machines, &stories, &blanks);
        let alerts = self.alert_accounts(&stories, actions);
        let counting = self.entries.counting();
        let overdue = overdue(stories.iter().flat_map(|told| counting.missed(told)), &self.question);
        self.configured.heed(u64::MAX);
        self.damaged.sort_unstable();
        self.damaged.dedup();
        let question = &self.question;
        Account {
            v: ACCOUNT_FORMAT,
            program: question.program.clone(),
            made: question.made,
            site: question.site.clone(),
            zone: question.zone_name.clone(),
            from: question.from,
            to: question.to,
            only: question.only.clone(),
            ends: question.ends,
            machines,
            alerts,
            checks: self.entries.checks(question),
            overdue,
            doubts: self.configured.missed().to_vec(),
            renewals: self.renewals,
            calibrations: self.configured.calibrations(question),
            remarks: self.entries.remarks(question),
            service: self.service,
            records,
            traces_left_out: self.room.traces_left_out,
            seal,
            damaged: self.damaged,
        }
    }

    /// What is not known of the span; `last` is the newest record, and when it was made.
    fn blanks_of_span(&mut self, last: Option<(u64, Timestamp)>) -> Vec<Blank> {
        let question = &self.question;
        let blanks = std::mem::take(&mut self.blanks).finish(last, question.known()).into_iter();
        // Whether the service ran on from the last record that the account stands on, it does not know.
        let is_known = |blank: &Blank| question.ends.is_none_or(|ends| blank.from < ends);
        let is_asked_for = |blank: &Blank| {
            is_known(blank)
                && question.overlaps(blank.from, blank.to)
                && question.wants(blank.machine.as_deref())
        };
        blanks.filter(is_asked_for).collect()
    }

    fn sort_covers(&mut self) {
        self.covers.sort(|number| {
            let alert = &self.stories.get(&number)?.alert;
            // The first of a row may have been washed before the span, and it was long enough in it.
            let of_row = matches!(alert.condition, Condition::Narrow | Condition::Unproven);
            (!of_row).then_some(alert.racks.count)
        });
    }

    /// The alerts that the account tells: those of the span, and later ones that are about racks of it, or found a check
    /// missing that was due in it.
    fn stories_of_span(&self) -> Vec<&Story> {
        let question = &self.question;
        self.stories
            .values()
            .filter(|told| {
                let alert = &told.alert;
                question.overlaps(alert.raised, told.closed)
                    || self.concerned.contains(&alert.number)
                    || told.missed.iter().any(|missed| question.holds(missed.due))
            })
            .filter(|told| question.wants(told.alert.machine.as_deref()))
            .collect()
    }

    /// The machines of the span, those that were configured and those that washed.
    fn machine_accounts(
        &self,
        mut machines: BTreeMap<String, Machine>,
        stories: &[&Story],
        blanks: &[Blank],
    ) -> Vec<MachineAccount> {
        let question = &self.question;
        let began = self.first.unwrap_or(question.made);
        let mut names = self.configured.machines(question);
        names.extend(machines.iter().filter(|(_, machine)| machine.washed()).map(|(name, _)| name.clone()));
        names.retain(|name| question.wants(Some(name)));
        let surroundings = Surroundings {
            question,
            stories,
            named: &self.named,
            amended: self.entries.amended(),
            covers: &self.covers,
        };
        let machine = |name: String| -> MachineAccount {
            let operating = self.configured.operating(&name, question, began);
            let own = |blank: &&Blank| blank.machine.as_ref().is_none_or(|machine| *machine == name);
            let gaps: Vec<&Blank> = blanks.iter().filter(own).collect();
            let machine = machines.remove(&name);
            let mut made = machine.unwrap_or_default().finish(name, &surroundings, &operating, &gaps);
            made.limits = self.configured.with_concentrations(&made.machine, made.limits);
            made
        };
        names.into_iter().map(machine).collect()
    }

    fn alert_accounts(
        &self,
        stories: &[&Story],
        mut actions: BTreeMap<AlertNumber, Vec<ActionAccount>>,
    ) -> Vec<AlertAccount> {
        let one = |told: &&Story| {
            let number = &told.alert.number;
            let inside = |of: &BTreeMap<AlertNumber, u64>| of.get(number).copied().unwrap_or(0);
            let (racks, in_doubt) = (inside(&self.inside), inside(&self.in_doubt));
            let later = told.alert.raised >= self.question.to;
            account_of(told, later, (racks, in_doubt), actions.remove(number).unwrap_or_default())
        };
        stories.iter().map(one).collect()
    }
}
