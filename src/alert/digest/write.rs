//! A digest in the words of its reader.

use std::cmp::Reverse;

use askama::Template;

use super::{Digest, DigestMessage, Facts, FailedCheck, MachineDigest, Span};
use crate::alert::message::phrases::Phrase;
use crate::alert::message::tell::check;
use crate::alert::message::{Illustration, condition_title};
use crate::core::alert::quantity::duration;
use crate::core::alert::words::who;
use crate::core::alert::{Alert, Condition};
use crate::core::counted::Noun;
use crate::core::cycle::counts::Counts;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::{passed_in_doubt, verdict};
use crate::core::logbook::{Judgement, Lacking, words};
use crate::core::one_line::one_line;
use crate::core::record::{Check, CheckKind};

/// Most machines told one by one; those with racks that are bad or in doubt come first (own choice: one screen).
const MACHINES_MAX: usize = 12;
/// Most alerts told one by one.
const ALERTS_MAX: usize = 12;
/// Most failed checks told one by one.
const FAILED_MAX: usize = 12;
/// Longest line of a checkpoint, in characters: a name, and 76 bytes in base64.
const LINE_CHARS_MAX: usize = 400;
/// Most lines of a checkpoint: three, an empty one, and the two signatures of this program.
const LINES_MAX: usize = 8;
/// Longest name, in characters.
const NAME_CHARS_MAX: usize = 60;

#[derive(Template)]
#[template(path = "alert/digest/digest.html", config = ".askama.toml")]
struct Page<'a> {
    language: &'static str,
    headline: String,
    ground: &'static str,
    picture: Option<&'a Illustration<'a>>,
    sections: &'a [Section],
    /// The lines of the checkpoint.
    checkpoint: &'a [String],
    integrity: String,
    integrity_note: String,
    link: Option<(String, String)>,
}

/// A heading and what is below it: each entry a first line and further lines.
struct Section {
    title: String,
    entries: Vec<(String, Vec<String>)>,
}

/// Puts a digest into words. The picture is that of [`Digest::most_telling`].
#[must_use]
pub fn compose(digest: &Digest, facts: &Facts<'_>, picture: Option<&Illustration<'_>>) -> DigestMessage {
    let writer = Writer { digest, facts };
    let (subject, headline) = (writer.subject(), writer.headline());
    let sections = writer.sections();
    let checkpoint = writer.checkpoint();
    let link = facts.link.filter(|link| link.starts_with("https://") || link.starts_with("http://"));
    let link = link.map(|link| (one_line(link, 2000), writer.say(Phrase::DigestPages)));

    let mut text = format!("{headline}\n");
    for section in &sections {
        text.push_str(&format!("\n{}:\n", section.title));
        for (first, more) in &section.entries {
            text.push_str(&format!("- {first}\n"));
            for line in more {
                text.push_str(&format!("  {line}\n"));
            }
        }
    }
    if let Some((address, word)) = &link {
        text.push_str(&format!("\n{word}: {address}\n"));
    }
    if !checkpoint.is_empty() {
        let title = writer.say(Phrase::Integrity);
        let note = writer.say(Phrase::IntegrityNote);
        text.push_str(&format!("\n{title}:\n{note}\n\n{}\n", checkpoint.join("\n")));
    }
    let page = Page {
        language: facts.reader.language.code(),
        headline: headline.replace(" °", "\u{a0}°"),
        ground: writer.ground(),
        picture,
        sections: &sections,
        checkpoint: &checkpoint,
        integrity: writer.say(Phrase::Integrity),
        integrity_note: writer.say(Phrase::IntegrityNote),
        link,
    };
    // A template of texts fails only where writing to memory does.
    DigestMessage { subject, text, html: page.render().unwrap_or_default() }
}

/// A digest in one line, for whoever has room for no more.
#[must_use]
pub fn headline(digest: &Digest, facts: &Facts<'_>) -> String {
    Writer { digest, facts }.headline()
}

struct Writer<'a> {
    digest: &'a Digest,
    facts: &'a Facts<'a>,
}

impl Writer<'_> {
    fn say(&self, phrase: Phrase) -> String {
        self.with(phrase, &[])
    }

    fn with(&self, phrase: Phrase, values: &[(&str, &str)]) -> String {
        phrase.with(self.facts.reader.language, values)
    }

    /// «Wed 25 Nov 2026», or first and last day of a week.
    fn dates(&self) -> String {
        let reader = &self.facts.reader;
        let last = self.digest.to.minus(std::time::Duration::from_secs(1));
        match self.digest.span {
            Span::Day => reader.day(self.digest.from),
            Span::Week => format!("{} – {}", reader.day(self.digest.from), reader.day(last)),
        }
    }

    fn summary(&self) -> String {
        let total = self.digest.total();
        let open = match self.digest.open.len() {
            0 => self.say(Phrase::DigestNothingOpen),
            count => self.with(Phrase::DigestOpen, &[("count", &count.to_string())]),
        };
        let missed = match self.digest.missed_checks {
            0 => String::new(),
            count => format!("; {}", self.with(Phrase::DigestMissed, &[("count", &count.to_string())])),
        };
        let missing = self.digest.open.iter().filter(|alert| is_missing(alert));
        let checks = match missing.map(|alert| alert.about.len()).sum::<usize>() {
            0 => String::new(),
            count => format!("; {}", self.with(Phrase::DigestMissing, &[("count", &count.to_string())])),
        };
        let failed = match self.digest.failed_checks.len() {
            0 => String::new(),
            count => format!("; {}", self.with(Phrase::DigestFailed, &[("count", &count.to_string())])),
        };
        let unread = match self.digest.unreadable {
            0 => String::new(),
            count => format!("; {}", self.with(Phrase::DigestUnread, &[("count", &count.to_string())])),
        };
        format!("{}; {open}{missed}{checks}{failed}{unread}", self.judged(total, self.digest.in_doubt()))
    }

    fn subject(&self) -> String {
        let site = one_line(self.facts.site, NAME_CHARS_MAX);
        format!("{site}, {}: {}", self.dates(), self.summary())
    }

    fn headline(&self) -> String {
        let when = match self.digest.span {
            Span::Day => Phrase::DigestDay,
            Span::Week => Phrase::DigestWeek,
        };
        let site = one_line(self.facts.site, NAME_CHARS_MAX);
        format!("{}, {} – {site}: {}.", self.say(when), self.dates(), self.summary())
    }

    fn racks(&self, count: u64) -> String {
        Noun::Racks.of(count, self.facts.reader.language)
    }

    /// «412 racks – cold: 6, brief: 1, pass: 405», and how many of those that passed are in doubt; or that all passed,
    /// where none of them is.
    fn judged(&self, counts: Counts, in_doubt: u64) -> String {
        let racks = self.racks(counts.total());
        if counts.total() == 0 {
            return self.say(Phrase::DigestNoRack);
        }
        if counts.pass == counts.total() && in_doubt == 0 {
            return self.with(Phrase::DigestAllGood, &[("racks", &racks)]);
        }
        let language = self.facts.reader.language;
        let told = Verdict::ALL.into_iter().filter(|judged| counts.of(*judged) > 0);
        let told: Vec<String> = told
            .map(|judged| {
                let told = format!("{}: {}", verdict(judged, language), counts.of(judged));
                if judged != Verdict::Unproven || counts.worked_on == 0 {
                    return told;
                }
                let count = counts.worked_on.to_string();
                format!("{told} ({})", self.with(Phrase::DigestWorkedOn, &[("count", &count)]))
            })
            .collect();
        let doubted = match in_doubt {
            0 => String::new(),
            count => format!("; {}", passed_in_doubt(count, language)),
        };
        format!("{racks} – {}{doubted}", told.join(", "))
    }

    fn sections(&self) -> Vec<Section> {
        let section =
            |title: Phrase, entries: Vec<(String, Vec<String>)>| Section { title: self.say(title), entries };
        let checks = self
            .digest
            .open
            .iter()
            .filter(|alert| is_missing(alert))
            .map(|alert| (self.missing(alert), Vec::new()));
        let days = self.digest.days.iter().map(|day| {
            let racks = self.judged(day.counts, day.in_doubt);
            (self.with(Phrase::DayLine, &[("day", &day.date), ("racks", &racks)]), Vec::new())
        });
        let damage = (self.digest.unreadable > 0).then(|| {
            let count = self.digest.unreadable.to_string();
            (self.with(Phrase::DigestUnread, &[("count", &count)]), vec![self.say(Phrase::DamageNote)])
        });
        [
            section(Phrase::Damage, damage.into_iter().collect()),
            section(Phrase::Machines, self.machines()),
            section(Phrase::OpenAlerts, self.alerts()),
            section(Phrase::MissingChecks, checks.collect()),
            section(Phrase::FailedChecks, self.failed_checks()),
            section(Phrase::Days, days.collect()),
        ]
        .into_iter()
        .filter(|section| !section.entries.is_empty())
        .collect()
    }

    fn machines(&self) -> Vec<(String, Vec<String>)> {
        let mut machines: Vec<&MachineDigest> = self.digest.machines.iter().collect();
        machines.sort_by_key(|machine| {
            (Reverse(machine.bad_or_doubted()), Reverse(machine.counts.unproven), &machine.machine)
        });
        let (named, rest) = machines.split_at(machines.len().min(MACHINES_MAX));
        let mut entries: Vec<_> = named.iter().map(|machine| self.machine(machine)).collect();
        if !rest.is_empty() {
            let good = rest.iter().all(|machine| machine.bad_or_doubted() == 0);
            let phrase = if good { Phrase::MoreMachines } else { Phrase::MoreListed };
            entries.push((self.with(phrase, &[("count", &rest.len().to_string())]), Vec::new()));
        }
        entries
    }

    fn machine(&self, machine: &MachineDigest) -> (String, Vec<String>) {
        let reader = &self.facts.reader;
        let name = one_line(&machine.machine, NAME_CHARS_MAX);
        let first = format!("{name}: {}", self.judged(machine.counts, machine.in_doubt));
        let coldest = machine.coldest.map(|coldest| {
            let (measured, limit) = reader.pair(coldest.celsius, coldest.limit_c);
            let symbol = reader.scale.symbol();
            let at = match self.digest.span {
                Span::Day => reader.clock_and_zone(coldest.at),
                Span::Week => reader.moment(coldest.at),
            };
            let (measured, limit) = (format!("{measured} {symbol}"), format!("{limit} {symbol}"));
            self.with(Phrase::Coldest, &[("measured", &measured), ("limit", &limit), ("at", &at)])
        });
        let monitored = match (machine.monitored, machine.gaps) {
            (None, _) => self.say(Phrase::NotOperating),
            (Some(share), 0) => self.with(Phrase::Monitored, &[("share", &percent(share))]),
            (Some(share), count) => {
                let (count, time) = (count.to_string(), duration(machine.gap_s));
                let values = [("share", percent(share)), ("count", count), ("time", time)];
                let values = values.each_ref().map(|(name, value)| (*name, value.as_str()));
                self.with(Phrase::MonitoredGaps, &values)
            }
        };
        (first, coldest.into_iter().chain([monitored]).collect())
    }

    fn alerts(&self) -> Vec<(String, Vec<String>)> {
        let counts = [("raised", self.digest.raised.to_string()), ("closed", self.digest.closed.to_string())];
        let counts: Vec<(&str, &str)> = counts.iter().map(|(name, value)| (*name, value.as_str())).collect();
        let open: Vec<&Alert> = self.digest.open.iter().filter(|alert| !is_missing(alert)).collect();
        let mut entries: Vec<_> = open.iter().take(ALERTS_MAX).map(|alert| self.alert(alert)).collect();
        if let Some(more @ 1..) = open.len().checked_sub(ALERTS_MAX) {
            entries.push((self.with(Phrase::MoreListed, &[("count", &more.to_string())]), Vec::new()));
        }
        entries.push((self.with(Phrase::AlertCounts, &counts), Vec::new()));
        entries
    }

    fn alert(&self, alert: &Alert) -> (String, Vec<String>) {
        let reader = &self.facts.reader;
        let place = alert.machine.as_deref().unwrap_or(self.facts.site);
        let first = self.with(
            Phrase::OpenAlert,
            &[
                ("number", &alert.number.to_string()),
                ("what", &self.say(condition_title(alert.condition))),
                ("where", &one_line(place, NAME_CHARS_MAX)),
                ("since", &reader.moment(alert.lasts_since())),
            ],
        );
        let taken = match &alert.acknowledged {
            Some(taken) => self.with(
                Phrase::TakenBy,
                &[("by", &one_line(&who(&taken.by, self.facts.reader.language), NAME_CHARS_MAX))],
            ),
            None if alert.wants_somebody() => self.say(Phrase::Waiting),
            None => self.say(Phrase::Recovered),
        };
        let to_write = alert.action_missing();
        (first, std::iter::once(taken).chain(to_write.then(|| self.say(Phrase::ToWrite))).collect())
    }

    /// «dish machine 1: sanitizer, drain and clean».
    fn missing(&self, alert: &Alert) -> String {
        let place = alert.machine.as_deref().unwrap_or(self.facts.site);
        let word = |text: &String| match CheckKind::named(text) {
            Some(kind) => self.say(check(kind)),
            None => one_line(text, NAME_CHARS_MAX),
        };
        let checks: Vec<String> = alert.about.iter().map(word).collect();
        format!("{}: {}", one_line(place, NAME_CHARS_MAX), checks.join(", "))
    }

    fn failed_checks(&self) -> Vec<(String, Vec<String>)> {
        let failed = &self.digest.failed_checks;
        let told = failed.iter().take(FAILED_MAX).map(|failed| (self.failed(failed), Vec::new()));
        let mut entries: Vec<_> = told.collect();
        if let Some(more @ 1..) = failed.len().checked_sub(FAILED_MAX) {
            entries.push((self.with(Phrase::MoreListed, &[("count", &more.to_string())]), Vec::new()));
        }
        entries
    }

    /// «dish machine 1: sanitizer – Too weak: 30 mg/L, at least 50 mg/L are needed. (Ana, 14:30 EST)».
    fn failed(&self, failed: &FailedCheck) -> String {
        let reader = &self.facts.reader;
        let place = failed.machine.as_deref().unwrap_or(self.facts.site);
        let kind = failed.check.kind();
        let (by, about) = match &failed.check {
            Check::Sanitizer { by, .. } | Check::DrainAndClean { by, .. } => (by, None),
            Check::Supply { by, short, note, .. } => {
                (by, words::short(short, note.as_deref(), reader.language))
            }
            Check::Thermometer { by, what, .. } => (by, Some(what.clone())),
        };
        let about =
            about.map_or_else(String::new, |about| format!(", «{}»", one_line(&about, NAME_CHARS_MAX)));
        let judgement = Judgement { good: Some(false), findings: failed.findings.clone() };
        let why = words::tell(&judgement, kind, Lacking::default(), reader).why.join(" ");
        let at = match self.digest.span {
            Span::Day => reader.clock_and_zone(failed.check.at()),
            Span::Week => reader.moment(failed.check.at()),
        };
        let (place, by) = (one_line(place, NAME_CHARS_MAX), one_line(by, NAME_CHARS_MAX));
        format!("{place}: {}{about} – {why} ({by}, {at})", self.say(check(kind)))
    }

    fn checkpoint(&self) -> Vec<String> {
        let Some(checkpoint) = &self.digest.checkpoint else { return Vec::new() };
        let line = |text: &str| one_line(text, LINE_CHARS_MAX);
        if let Some(note) = &checkpoint.note {
            return note.lines().take(LINES_MAX).map(line).collect();
        }
        vec![line(&checkpoint.origin), checkpoint.records.to_string(), line(&checkpoint.root)]
    }

    /// The same grounds as those of an alert; the words tell the same.
    fn ground(&self) -> &'static str {
        let (digest, total) = (self.digest, self.digest.total());
        let is_open = total.unproven > 0 || digest.in_doubt() > 0;
        if total.bad() > 0 {
            "#a01818"
        } else if is_open || !digest.open.is_empty() || !digest.failed_checks.is_empty() {
            "#8a4b00"
        } else {
            "#00603f"
        }
    }
}

/// Whether checks are missing by an alert, which has a section of its own. One that recovered still names the last
/// check that was made under it.
fn is_missing(alert: &Alert) -> bool {
    alert.condition == Condition::CheckOverdue && alert.cleared.is_none()
}

/// A share as a percentage that says 100 only where nothing is missing, and 0 only where all is.
fn percent(share: f64) -> String {
    let tenths = (share * 1000.0).floor() / 10.0;
    let tenths = if share > 0.0 { tenths.max(0.1) } else { 0.0 };
    if share >= 1.0 { "100 %".to_owned() } else { format!("{tenths:.1} %") }
}
