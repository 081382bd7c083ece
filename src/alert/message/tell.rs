//! Values of an alert in the words of its reader.

use super::Facts;
use super::phrases::Phrase;
use crate::core::alert::quantity::{Side, against, pair, quantity, side};
use crate::core::alert::words::who;
use crate::core::alert::{Alert, Condition, Notice, Occasion, Quantity, Rack};
use crate::core::channel::Place;
use crate::core::counted::Noun;
use crate::core::logbook::words::found_short;
use crate::core::one_line::one_line;
use crate::core::reader::{Language, Reader, Scale};
use crate::core::record::CheckKind;
use crate::core::time::Timestamp;

/// Longest name or route in a message, in characters; what is longer ends with an ellipsis.
const NAME_CHARS_MAX: usize = 60;
/// Longest text of a person in a message, in characters; the whole stands on record.
pub(super) const NOTE_CHARS_MAX: usize = 600;

/// Whoever puts one notice into words.
pub(super) struct Teller<'a> {
    pub(super) notice: &'a Notice,
    pub(super) facts: &'a Facts<'a>,
    pub(super) reader: Reader,
}

impl<'a> Teller<'a> {
    pub(super) fn new(notice: &'a Notice, facts: &'a Facts<'a>) -> Self {
        let reader = Reader { language: notice.language, scale: notice.units, zone: facts.zone.clone() };
        Self { notice, facts, reader }
    }

    pub(super) fn alert(&self) -> &Alert {
        &self.notice.alert
    }

    pub(super) fn say(&self, phrase: Phrase) -> String {
        self.with(phrase, &[])
    }

    pub(super) fn with(&self, phrase: Phrase, values: &[(&str, &str)]) -> String {
        phrase.with(self.reader.language, values)
    }

    /// The machine, or the site where it is the site's own matter.
    pub(super) fn where_(&self) -> String {
        let name = self.alert().machine.as_deref().unwrap_or(self.facts.site);
        one_line(name, NAME_CHARS_MAX)
    }

    pub(super) fn name(&self, text: &str) -> String {
        one_line(text, NAME_CHARS_MAX)
    }

    /// Somebody who acted, as they stand on record.
    pub(super) fn who(&self, by: &str) -> String {
        self.name(&who(by, self.reader.language))
    }

    /// A time as somebody reading on that day needs it: with the date unless it is of the same day.
    pub(super) fn time(&self, at: Timestamp) -> String {
        self.reader.near(at, self.facts.written)
    }

    /// The same after «since» or «for», which in Spanish takes an article: «las 14:05 EST», «el mié 7 ene 2026, 10:04 EST».
    fn time_with_article(&self, at: Timestamp) -> String {
        self.reader.with_article(self.time(at))
    }

    /// The end of a span. A clock alone would be taken for the day of its beginning, and for the reader's own.
    fn end(&self, since: Timestamp, at: Timestamp) -> String {
        let day = self.reader.day(at);
        let same_day = [since, self.facts.written].iter().all(|other| self.reader.day(*other) == day);
        if same_day { self.reader.clock_and_zone(at) } else { self.reader.moment(at) }
    }

    fn end_with_article(&self, since: Timestamp, at: Timestamp) -> String {
        self.reader.with_article(self.end(since, at))
    }

    /// «71.3 °C (limit 82.2 °C)», or what there is of it; counts are told with the racks.
    /// After recovery there are none: a bad value beside «recovered» would confuse.
    /// `brief` where 160 characters must do.
    pub(super) fn figures(&self, brief: bool) -> Option<String> {
        let alert = self.alert();
        if alert.cleared.is_some() {
            return None;
        }
        match (alert.measured?, alert.limit) {
            (measured @ Quantity::MgPerL(_), Some(limit)) if brief => {
                let phrase = match side(alert.condition, measured, limit) {
                    Side::AtLeast => Phrase::ShortAtLeast,
                    Side::AtMost => Phrase::ShortAtMost,
                };
                let (measured, limit) = pair(measured, limit, &self.reader);
                Some(self.with(phrase, &[("measured", &measured), ("limit", &limit)]))
            }
            (measured, limit) => against(alert.condition, Some(measured), limit, &self.reader),
        }
    }

    /// What stands behind the machine in the first line: the figures, or what it is about, named one by one where that
    /// fits, else the first with how many more there are. A long name is shortened, never the count behind it.
    pub(super) fn detail(&self, brief: bool, fits: &dyn Fn(&str) -> bool) -> Option<String> {
        let about = || {
            let all = self.each_about();
            let joined = all.join(", ");
            match all.as_slice() {
                [] => None,
                [first, more @ ..] if !more.is_empty() && !fits(&joined) => {
                    let more = more.len().to_string();
                    let told =
                        |first: &str| self.with(Phrase::FirstAndMore, &[("first", first), ("more", &more)]);
                    let mut shorter = (1..NAME_CHARS_MAX).rev().map(|chars| told(&one_line(first, chars)));
                    Some(told(first)).filter(|whole| fits(whole)).or_else(|| shorter.find(|told| fits(told)))
                }
                [_, ..] => Some(joined),
            }
        };
        self.figures(brief).or_else(about)
    }

    pub(super) fn racks(&self) -> String {
        Noun::Racks.of(self.alert().racks.count, self.reader.language)
    }

    /// «3 racks since 14:05 EST», and «…; good again since 14:40 EST» once it has recovered, or what was said of the test
    /// that raised it; `back`, how often it came back, stands behind its beginning.
    pub(super) fn since(&self, back: Option<&str>) -> String {
        let alert = self.alert();
        // Racks of before it came back keep their own time; what is overdue since says when it was due.
        let is_overdue = alert.condition == Condition::CheckOverdue;
        let counts = alert.racks.named.iter().filter(|_| is_overdue).map(Rack::rinsed);
        let first = counts.fold(alert.lasts_since(), Timestamp::min);
        let since = self.time_with_article(first);
        // What was entered wrongly was never bad, and what was withdrawn never seen good.
        let amended = alert.amended.as_ref().filter(|_| alert.cleared.is_some());
        let until = match amended {
            Some(amended) => Some(self.end(alert.since, amended.at)),
            None => alert.cleared.map(|at| self.end_with_article(alert.since, at)),
        };
        let phrase = match alert.racks.count {
            0 => Phrase::Since,
            count if alert.earlier == count => Phrase::RacksAllEarlier,
            _ if alert.earlier > 0 => Phrase::RacksAndEarlier,
            _ => Phrase::RacksSince,
        };
        let (racks, earlier) = (self.racks(), alert.earlier.to_string());
        let mut begun = self.with(phrase, &[("racks", &racks), ("earlier", &earlier), ("since", &since)]);
        begun.extend(back.iter().flat_map(|back| ["; ", back]));
        let Some(until) = until else { return begun };
        let phrase = match amended.map(|amended| amended.counts.is_some()) {
            Some(true) => Phrase::TestCorrected,
            Some(false) => Phrase::OnlyWithdrawn,
            None if alert.lapsed => Phrase::Lapsed,
            None => Phrase::Until,
        };
        self.with(phrase, &[("begun", &begun), ("until", &until)])
    }

    /// How often it came back, the longest form first: each time, or the count alone unless the message begins with it;
    /// none where it never did.
    pub(super) fn came_back(&self) -> Vec<String> {
        let returns = &self.alert().returns;
        let Some(when) = returns.in_line(&self.reader, self.facts.written) else { return Vec::new() };
        if self.notice.occasion == Occasion::Returned {
            return vec![when];
        }
        vec![when, returns.how_often(self.reader.language)]
    }

    /// What stays of the same where it finds no room: of racks that are from before none is told as if it came since.
    pub(super) fn since_in_short(&self) -> Option<String> {
        let earlier = Some(self.alert().earlier).filter(|earlier| *earlier > 0)?.to_string();
        let is_all = self.alert().earlier == self.alert().racks.count;
        let phrase = if is_all { Phrase::RacksAllEarlierOnly } else { Phrase::RacksAndEarlierOnly };
        Some(self.with(phrase, &[("racks", &self.racks()), ("earlier", &earlier)]))
    }

    /// When something was due: «at 14:05 EST», «on Wed 7 Jan 2026, 10:04 EST».
    fn due(&self) -> String {
        let time = self.time_with_article(self.alert().lasts_since());
        match self.reader.language {
            Language::English if time.starts_with(|c: char| c.is_ascii_digit()) => format!("at {time}"),
            Language::English => format!("on {time}"),
            Language::Spanish => time,
        }
    }

    /// In brackets, how many racks it counts since the last good check, and of those that a corrective action covers none;
    /// empty where there is none. Where the page of the alert names only some of what it counts, it is not said to name
    /// them.
    fn so_far(&self) -> String {
        let alert = self.alert();
        let since = alert.racks.count.saturating_sub(alert.before_return);
        let open = since.min(alert.racks_uncovered());
        let all_named = alert.racks.count == alert.racks.named.len() as u64;
        let phrase = match open {
            0 => return String::new(),
            _ if open < since => Phrase::SoFarOpen,
            _ if all_named => Phrase::SoFarNamed,
            _ => Phrase::SoFar,
        };
        self.with(phrase, &[("racks", &Noun::Racks.of(open, self.reader.language))])
    }

    /// Probes, checks or routes, in words.
    pub(super) fn about(&self) -> String {
        self.each_about().join(", ")
    }

    fn each_about(&self) -> Vec<String> {
        let condition = self.alert().condition;
        let word = |text: &String| match CheckKind::named(text) {
            Some(kind) if condition == Condition::CheckOverdue => self.say(check(kind)),
            // What the desk says where a mistake of this program ended the judging of a machine.
            None if condition == Condition::Unproven && text == "judging" => self.say(Phrase::Judging),
            None if condition == Condition::RecordDamaged => {
                self.with(Phrase::RecordNumber, &[("number", &self.name(text))])
            }
            None if condition == Condition::SuppliesShort => {
                self.name(&found_short(text, self.reader.language))
            }
            Some(_) | None => self.name(text),
        };
        self.alert().about.iter().map(word).collect()
    }

    /// A step or a reason with everything that it may name.
    pub(super) fn filled(&self, phrase: Phrase) -> String {
        let alert = self.alert();
        let since = self.time_with_article(alert.lasts_since());
        let last_good = alert.last_good.map_or(alert.begun(), |rack| rack.rinsed());
        let limit = match (alert.measured, alert.limit) {
            (Some(measured), Some(limit)) => pair(measured, limit, &self.reader).1,
            (None, Some(limit)) => quantity(limit, &self.reader),
            (_, None) => String::new(),
        };
        let about = match (self.about(), alert.condition) {
            (about, _) if !about.is_empty() => about,
            (_, Condition::Undelivered) => self.say(Phrase::ThatRoute),
            (_, _) => self.say(Phrase::TheSensor),
        };
        let call = self.facts.call.map(|call| self.name(call));
        let phrase = if phrase == Phrase::Call && call.is_none() { Phrase::CallService } else { phrase };
        let contact = self.name(&self.notice.contact);
        let cleared = alert.cleared.map(|at| self.end_with_article(alert.since, at)).unwrap_or_default();
        let amended = alert.amended.as_ref();
        let amended_by = amended.map(|amended| {
            self.with(Phrase::ByAt, &[("by", &self.name(&amended.by)), ("at", &self.time(amended.at))])
        });
        let told =
            |value: Option<Quantity>| value.map(|value| quantity(value, &self.reader)).unwrap_or_default();
        self.with(
            phrase,
            &[
                ("amended_by", &amended_by.unwrap_or_default()),
                ("amended_was", &told(amended.map(|amended| amended.was))),
                ("amended_counts", &told(amended.and_then(|amended| amended.counts))),
                ("cleared", &cleared),
                ("since", &since),
                ("due", &self.due()),
                ("last_good", &self.last_good(last_good)),
                ("since_good", &self.time_with_article(last_good)),
                ("limit", &limit),
                ("about", &about),
                ("racks", &Noun::Racks.of(alert.racks.count, self.reader.language)),
                ("so_far", &self.so_far()),
                ("call", call.as_deref().unwrap_or_default()),
                ("contact", &contact),
                ("label", &printed(71, 160, self.reader.scale)),
                ("wash", &printed(43, 110, self.reader.scale)),
                ("heat", &printed(77, 171, self.reader.scale)),
                ("chlorine", &printed(38, 100, self.reader.scale)),
            ],
        )
    }

    /// When the last good rack was rinsed, with what it was the last one before.
    fn last_good(&self, at: Timestamp) -> String {
        let time = self.time(at);
        if self.alert().came_back() { self.with(Phrase::BeforeItCameBack, &[("time", &time)]) } else { time }
    }

    pub(super) fn place(&self) -> Option<String> {
        let phrase = match self.alert().place? {
            Place::WashTank => Phrase::PlaceWashTank,
            Place::FinalRinse => Phrase::PlaceFinalRinse,
            Place::Ware => Phrase::PlaceWare,
            Place::Other => Phrase::PlaceOther,
        };
        Some(self.say(phrase))
    }
}

/// A check in words.
pub(crate) const fn check(kind: CheckKind) -> Phrase {
    match kind {
        CheckKind::Sanitizer => Phrase::CheckSanitizer,
        CheckKind::Supply => Phrase::CheckSupply,
        CheckKind::DrainAndClean => Phrase::CheckDrain,
        CheckKind::Thermometer => Phrase::CheckThermometer,
    }
}

/// A figure as the Food Code prints it in both scales, the reader's first.
fn printed(celsius: i32, fahrenheit: i32, scale: Scale) -> String {
    match scale {
        Scale::Celsius => format!("{celsius} °C ({fahrenheit} °F)"),
        Scale::Fahrenheit => format!("{fahrenheit} °F ({celsius} °C)"),
    }
}
