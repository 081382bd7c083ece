//! What people answered and entered: alerts, checks, remarks and amendments.

use super::Draft;
use super::sheet::Tone;
use super::tell::Teller;
use super::words::Word;
use crate::core::alert::words::who;
use crate::core::alert::{Condition, Returns};
use crate::core::logbook::Missed;
use crate::core::logbook::words::{self as logbook, short_of_look};
use crate::core::record::{AmendmentChange, Check, CheckKind};
use crate::core::time::Timestamp;
use crate::report::account::{ActionAccount, AlertAccount, CheckAccount, OverdueCheck, Remark};

impl Draft<'_> {
    pub(super) fn alerts(&mut self) {
        self.section(Word::AlertsHeading);
        let columns = vec![
            self.number(Word::Number),
            self.wide(Word::Machine, 2),
            self.wide(Word::Condition, 3),
            self.wide(Word::Since, 3),
            self.wide(Word::MeasuredColumn, 2),
            self.number(Word::Racks),
            self.wide(Word::AnsweredColumn, 7),
        ];
        let row = |alert: &AlertAccount| {
            vec![
                alert.number.to_string(),
                self.whose(alert.machine.as_deref()),
                self.condition(alert),
                self.teller.minute(alert.since),
                self.worst(alert),
                self.racks_of(alert),
                self.answered(alert),
            ]
        };
        let rows = self.account.alerts.iter().map(row).collect();
        self.table(columns, rows);
        if let Some(alert) = self.account.alerts.iter().find(|alert| alert.racks_outside > 0) {
            let [inside, all] = inside(alert);
            let note = self.teller.with(Word::RacksOutside, &[("inside", &inside), ("all", &all)]);
            self.text(Tone::Small, note);
        }
    }

    /// How many racks of the span it counts, and of how many where others lie outside.
    fn racks_of(&self, alert: &AlertAccount) -> String {
        let [inside, all] = inside(alert);
        if alert.racks_outside == 0 {
            return all;
        }
        self.teller.with(Word::RacksOf, &[("inside", &inside), ("all", &all)])
    }

    /// The condition, and which probes, checks or routes it is about.
    fn condition(&self, alert: &AlertAccount) -> String {
        let condition = self.teller.condition(alert.condition);
        let doubted = if alert.doubted > 0 {
            let all = alert.doubted.to_string();
            let inside = alert.doubted.saturating_sub(alert.doubted_outside).to_string();
            let count = match alert.doubted_outside {
                0 => all,
                _ => self.teller.with(Word::RacksOf, &[("inside", &inside), ("all", &all)]),
            };
            format!("; {}", self.teller.with(Word::Doubted, &[("count", &count)]))
        } else {
            String::new()
        };
        if alert.about.is_empty() {
            return format!("{condition}{doubted}");
        }
        let is_look = alert.condition == Condition::SuppliesShort;
        let about = alert.about.iter().map(|word| {
            let language = self.teller.reader.language;
            if is_look { Teller::text(&short_of_look(word, language)) } else { self.check_or_name(word) }
        });
        let about: Vec<String> = about.collect();
        format!("{condition}: {}{doubted}", about.join(", "))
    }

    /// The word for a kind of check, or a name as it is.
    fn check_or_name(&self, word: &str) -> String {
        let kind = CheckKind::named(word);
        kind.map_or_else(|| Teller::text(word), |kind| self.teller.check(kind).to_owned())
    }

    /// Somebody who acted, as they stand on record.
    fn who(&self, by: &str) -> String {
        Teller::text(&who(by, self.teller.reader.language))
    }

    fn answered(&self, alert: &AlertAccount) -> String {
        let teller = self.teller;
        let at = |word: Word, at| teller.with(word, &[("at", &teller.minute(at))]);
        let released = |(by, taken, ended): &(String, Timestamp, Timestamp)| {
            let (by, at, ended) = (self.who(by), teller.minute(*taken), teller.minute(*ended));
            teller.with(Word::TakenUntil, &[("by", &by), ("at", &at), ("ended", &ended)])
        };
        let mut said: Vec<String> = Vec::new();
        said.extend(alert.later.then(|| at(Word::RaisedLater, alert.raised)));
        said.extend(alert.released.iter().map(released));
        said.push(match &alert.acknowledged {
            Some((by, at)) => {
                teller.with(Word::TakenBy, &[("by", &self.who(by)), ("at", &teller.minute(*at))])
            }
            None if alert.released.is_empty() => teller.say(Word::NobodyTook).to_owned(),
            None => teller.say(Word::NobodyTookAnew).to_owned(),
        });
        said.extend(alert.actions.iter().map(|action| self.action(Word::ActionIn, alert, action, false)));
        match self.later_racks(alert) {
            Some(short) => said.push(short),
            None if alert.action_missing() => {
                said.push(format!("{}: {}.", teller.say(Word::ActionRow), teller.say(Word::NotRecorded)));
            }
            None => {}
        }
        said.extend(self.came_back(alert));
        said.push(match alert.cleared {
            Some(cleared) => at(Word::Recovered, cleared),
            None => teller.say(Word::NotRecovered).to_owned(),
        });
        let (delivered, given_up) = (alert.delivered.to_string(), alert.given_up.to_string());
        said.push(teller.with(Word::Messages, &[("delivered", &delivered), ("given_up", &given_up)]));
        said.push(match alert.closed {
            Some(closed) => at(Word::Closed, closed),
            None => teller.say(Word::StillOpen).to_owned(),
        });
        said.join(" ")
    }

    /// When it came back after it had recovered; `None` where it never did.
    fn came_back(&self, alert: &AlertAccount) -> Option<String> {
        let teller = self.teller;
        let Returns { count, latest } = &alert.returns;
        let last = teller.minute(*latest.last()?);
        if *count > latest.len() as u64 {
            return Some(teller.with(Word::CameBackLast, &[("count", &count.to_string()), ("at", &last)]));
        }
        let times: Vec<String> = latest.iter().map(|at| teller.minute(*at)).collect();
        Some(teller.with(Word::CameBack, &[("times", &times.join(", "))]))
    }

    /// The worst that it measured, on either side of what may be too high and too low.
    fn worst(&self, alert: &AlertAccount) -> String {
        let worst = self.teller.figures(alert.condition, alert.measured, alert.limit);
        let Some((other, limit)) = alert.other_side else { return worst };
        let other = self.teller.figures(alert.condition, Some(other), Some(limit));
        self.teller.with(Word::WorstOtherSide, &[("worst", &worst), ("other", &other)])
    }

    /// A corrective action in the words of `word`, and how many racks of its alert it covers; or that it covers the one
    /// at which it stands.
    pub(super) fn action(
        &self,
        word: Word,
        alert: &AlertAccount,
        action: &ActionAccount,
        covers_this: bool,
    ) -> String {
        let teller = self.teller;
        let (racks, done) = (ended(Teller::text(&action.racks)), Teller::text(&action.done));
        let (by, at) = (self.who(&action.by), teller.minute(action.at));
        let (number, index) = (alert.number.to_string(), action.index.to_string());
        let told = |covers: u64| {
            let (covered, all) = (covers.to_string(), alert.racks.to_string());
            teller.with(Word::ActionCovers, &[("covered", &covered), ("all", &all)])
        };
        let covers = if covers_this {
            teller.say(Word::ActionCoversThis).to_owned()
        } else {
            action.covers.filter(|_| alert.racks > 0).map(told).unwrap_or_default()
        };
        let values = [
            ("number", number.as_str()),
            ("racks", &racks),
            ("done", &done),
            ("by", &by),
            ("at", &at),
            ("index", &index),
            ("covers", &covers),
        ];
        teller.with(word, &values)
    }

    /// That later racks have no corrective action, where one was written that does not cover them.
    fn later_racks(&self, alert: &AlertAccount) -> Option<String> {
        let count = alert.uncovered();
        let short = count > 0 && !alert.actions.is_empty();
        let (count, all) = (count.to_string(), alert.racks.to_string());
        short.then(|| self.teller.with(Word::ActionShort, &[("count", &count), ("all", &all)]))
    }

    pub(super) fn checks(&mut self) {
        self.section(Word::ChecksHeading);
        let columns = vec![
            self.wide(Word::At, 4),
            self.wide(Word::Machine, 3),
            self.wide(Word::Check, 3),
            self.wide(Word::FoundColumn, 7),
            self.wide(Word::Result, 3),
            self.wide(Word::By, 2),
            self.number(Word::RecordRow),
        ];
        let row = |check: &CheckAccount| {
            vec![
                self.teller.minute(check.check.at()),
                self.whose(check.machine.as_deref()),
                self.teller.check(check.check.kind()).to_owned(),
                self.found(&check.check, &check.missed),
                self.result(check),
                Teller::text(check.check.by()),
                check.index.to_string(),
            ]
        };
        let rows = self.account.checks.iter().map(row).collect();
        self.table(columns, rows);
    }

    /// What a check found, with the limits that it missed.
    fn found(&self, check: &Check, missed: &Missed) -> String {
        let teller = self.teller;
        match check {
            Check::Sanitizer { mg_per_l, ph, solution_c, method, .. } => {
                let language = teller.reader.language;
                let mut said = vec![missed.strength(*mg_per_l, language)];
                said.extend(ph.map(|ph| missed.ph(ph, language)));
                said.extend(solution_c.map(|at| {
                    teller.with(Word::SolutionAt, &[("at", &missed.solution(at, &teller.reader))])
                }));
                said.extend(
                    method
                        .as_deref()
                        .map(|method| Teller::text(logbook::method(method, teller.reader.language))),
                );
                said.join(", ")
            }
            Check::Supply { enough, short, note, .. } => {
                let word = teller.say(if *enough { Word::Enough } else { Word::NotEnough });
                logbook::short(short, note.as_deref(), teller.reader.language)
                    .map_or_else(|| word.to_owned(), |short| format!("{word}: {}", Teller::text(&short)))
            }
            Check::DrainAndClean { note, .. } => {
                note.as_deref().map_or_else(|| teller.say(Word::DoneOnly).to_owned(), Teller::text)
            }
            Check::Thermometer { what, shown_c, reference_c, tolerance_c, reference, .. } => {
                let unit = teller.reader.scale.symbol();
                let (shown, against) = teller.reader.pair(*shown_c, *reference_c);
                let values = [
                    ("what", Teller::text(what)),
                    ("shown", format!("{shown} {unit}")),
                    ("reference", format!("{against} {unit}")),
                    ("with", Teller::text(reference)),
                    ("tolerance", teller.reader.difference(*tolerance_c)),
                ];
                let values: Vec<(&str, &str)> =
                    values.iter().map(|(name, value)| (*name, value.as_str())).collect();
                teller.with(Word::ThermometerFound, &values)
            }
        }
    }

    /// Good or not, and whether somebody said later that it does not count so.
    fn result(&self, check: &CheckAccount) -> String {
        let teller = self.teller;
        let good = teller.say(match check.good {
            Some(true) => Word::Good,
            Some(false) => Word::NotGood,
            None => Word::DoneOnly,
        });
        let good = match check.corrects {
            Some(index) => {
                format!("{good}; {}", teller.with(Word::CorrectsRecord, &[("index", &index.to_string())]))
            }
            None => good.to_owned(),
        };
        let Some(index) = check.amended_by else { return good };
        let amendment = self.account.remarks.iter().find(|remark| remark.index == index);
        let word = match amendment.and_then(|remark| remark.amends.as_ref()).map(|(_, change)| change) {
            Some(AmendmentChange::Withdrawn) => Word::WithdrawnBy,
            Some(AmendmentChange::Corrected(_)) => Word::CorrectedBy,
            Some(AmendmentChange::Comment) | None => Word::AmendedBy,
        };
        format!("{good}; {}", teller.with(word, &[("index", &index.to_string())]))
    }

    pub(super) fn overdue(&mut self) {
        self.heading(2, self.teller.say(Word::OverdueHeading));
        let columns = vec![
            self.wide(Word::DueColumn, 2),
            self.wide(Word::Machine, 2),
            self.wide(Word::Check, 2),
            self.wide(Word::MadeAfterAll, 2),
        ];
        let row = |check: &OverdueCheck| {
            let never = || self.teller.say(Word::NeverMade).to_owned();
            let made = |at| match check.good {
                Some(false) => self.teller.with(Word::MadeFailed, &[("at", &self.teller.minute(at))]),
                Some(true) | None => self.teller.minute(at),
            };
            vec![
                self.teller.minute(check.since),
                self.whose(check.machine.as_deref()),
                self.check_or_name(&check.check),
                check.made.map_or_else(never, made),
            ]
        };
        let rows = self.account.overdue.iter().map(row).collect();
        self.table(columns, rows);
    }

    pub(super) fn remarks(&mut self) {
        self.section(Word::RemarksHeading);
        self.text(Tone::Small, self.teller.say(Word::RemarksNote));
        let columns = vec![
            self.wide(Word::Recorded, 3),
            self.wide(Word::Machine, 2),
            self.wide(Word::About, 3),
            self.wide(Word::Text, 7),
            self.wide(Word::By, 2),
            self.number(Word::RecordRow),
        ];
        let row = |remark: &Remark| {
            vec![
                self.teller.minute(remark.recorded),
                self.whose(remark.machine.as_deref()),
                self.about(remark),
                self.said(remark),
                Teller::text(&remark.by),
                remark.index.to_string(),
            ]
        };
        let rows = self.account.remarks.iter().map(row).collect();
        self.table(columns, rows);
    }

    fn about(&self, remark: &Remark) -> String {
        let Some((index, change)) = &remark.amends else {
            let noted = self.teller.say(Word::Noted).to_owned();
            let Some(index) = remark.withdrawn_by else { return noted };
            return format!(
                "{noted}; {}",
                self.teller.with(Word::WithdrawnBy, &[("index", &index.to_string())])
            );
        };
        let word = match change {
            AmendmentChange::Comment => Word::CommentOn,
            AmendmentChange::Withdrawn => Word::WithdrawsRecord,
            AmendmentChange::Corrected(_) => Word::CorrectsRecord,
        };
        self.teller.with(word, &[("index", &index.to_string())])
    }

    /// The text, and behind it the check as it should have been entered.
    fn said(&self, remark: &Remark) -> String {
        let text = Teller::text(&remark.text);
        match &remark.amends {
            Some((_, AmendmentChange::Corrected(check))) => {
                let when = self.teller.minute(check.at());
                let counts = self.account.checks.iter().find(|one| one.index == remark.index);
                let missed = counts.map_or_else(Missed::default, |one| one.missed);
                let found = self.found(check, &missed);
                format!("{text} → {}, {when}: {found}", self.teller.check(check.kind()))
            }
            Some((_, AmendmentChange::Comment | AmendmentChange::Withdrawn)) | None => text,
        }
    }
}

/// What somebody wrote, as a sentence of its own.
fn ended(mut text: String) -> String {
    if !text.ends_with(['.', '!', '?', '…', ';', ':']) {
        text.push('.');
    }
    text
}

/// How many racks that an alert counts are in the span, and how many it counts.
fn inside(alert: &AlertAccount) -> [String; 2] {
    [alert.racks.saturating_sub(alert.racks_outside), alert.racks].map(|count| count.to_string())
}
