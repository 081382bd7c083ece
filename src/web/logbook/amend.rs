//! What is to be known of an entry: a comment, that it counts no more, or the right values.
//!
//! Whoever entered it puts it right for [`OWN_FOR`] after that, by an amendment as any other: a slip is seen at once, and
//! nobody is known by another's name, see [`crate::web::access::name`]. Of a check that failed, later, and once somebody
//! else has amended it, that takes the right to amend: see [`NotOwn`].

use std::time::Duration;

use axum::extract::rejection::FormRejection;
use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::check::once;
use super::correcting::{Correcting, SentChange, SentComment};
use super::entry::{DEEP, answer};
use super::words::{no_more_own, of_check, unknown_fields, words};
use super::{Amending, Corrected, Entered, NotPut, Written};
use crate::core::access::Right;
use crate::core::cycle::plate::Sanitizing;
use crate::core::logbook::counting;
use crate::core::reader::{Reader, filled};
use crate::core::record::{Amendment, AmendmentChange, Check};
use crate::core::time::Timestamp;
use crate::web::form::Fault;
use crate::web::frame::{self, Refusal};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;

/// How long whoever made an entry may withdraw or correct it without the right to amend (own choice: a slip is seen by
/// then). One that failed goes out to others, now or in an alert that is open: what becomes of it is not for whoever
/// caused it to say.
pub(super) const OWN_FOR: Duration = Duration::from_secs(600);

/// Why an entry is not, or not any more, one's own to put right.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum NotOwn {
    /// Somebody else entered it.
    Others,
    /// Something that was said of it cannot be read.
    Damaged,
    /// It is the matter of an alert.
    Alert,
    /// It failed.
    Failed,
    /// Somebody else has corrected or withdrawn it.
    Amended,
    /// [`OWN_FOR`] is over.
    Late,
}

impl Entered {
    /// Until when this person may amend it as their own, where they may not amend what others entered; `None` where they
    /// may not, or not any more.
    pub(super) fn own_until(&self, person: &Person, now: Timestamp) -> Option<Timestamp> {
        let may = person.may(Right::Enter) && !person.may(Right::Amend);
        let is_own = may && self.not_own(person, now).is_none();
        is_own.then(|| self.recorded.plus(OWN_FOR))
    }

    /// Why it is not theirs to put right, whatever else they may: what lasts before what passes.
    pub(super) fn not_own(&self, person: &Person, now: Timestamp) -> Option<NotOwn> {
        let by = match &self.written {
            Written::Check(check) => check.by(),
            Written::Note(note) => note.by.as_str(),
        };
        let is_theirs = |one: &Amendment| one.by == person.name || one.change == AmendmentChange::Comment;
        let reasons = [
            (by != person.name, NotOwn::Others),
            (self.is_damaged, NotOwn::Damaged),
            (!self.alerts().is_empty(), NotOwn::Alert),
            (self.good() == Some(false), NotOwn::Failed),
            (!self.amendments.iter().all(|(_, _, one)| is_theirs(one)), NotOwn::Amended),
            (now >= self.recorded.plus(OWN_FOR), NotOwn::Late),
        ];
        reasons.into_iter().find_map(|(holds, why)| holds.then_some(why))
    }

    /// Record by which it counts as it does: its own, or the newest that corrects or withdraws it.
    pub(super) fn counts_by(&self) -> u64 {
        let decides = |one: &&(u64, Timestamp, Amendment)| one.2.change != AmendmentChange::Comment;
        self.amendments.iter().rev().find(decides).map_or(self.record, |(at, _, _)| *at)
    }

    /// As [`Entered::counting`], by what was said of it up to a record.
    fn counted_by(&self, record: u64) -> Option<&Check> {
        let Written::Check(check) = &self.written else { return None };
        let said = self.amendments.iter().filter(|(at, _, _)| *at <= record);
        counting(check, said.map(|(at, _, one)| (*at, &one.change))).map(|(check, _)| check)
    }
}

/// Puts it on record.
pub(in crate::web) async fn amend<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(record): Path<String>,
    person: Person,
    sent: Result<Form<SentChange>, FormRejection>,
) -> Response {
    let place = Place { deep: DEEP, back: "", takes_values: true, is_own: false };
    put(&pages, &record, &person, sent.map(|Form(sent)| sent), place).await
}

/// Puts it on record of an entry of one's own, soon after it was made.
pub(in crate::web) async fn amend_own<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(record): Path<String>,
    person: Person,
    sent: Result<Form<SentChange>, FormRejection>,
) -> Response {
    let place = Place { deep: DEEP + 1, back: "../", takes_values: true, is_own: true };
    put(&pages, &record, &person, sent.map(|Form(sent)| sent), place).await
}

/// Puts a comment on record, by whoever may enter something: it changes no value.
pub(in crate::web) async fn comment<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(record): Path<String>,
    person: Person,
    sent: Result<Form<SentComment>, FormRejection>,
) -> Response {
    let place = Place { deep: DEEP + 1, back: "../", takes_values: false, is_own: false };
    put(&pages, &record, &person, sent.map(|Form(sent)| sent.into()), place).await
}

/// Where a form was sent to.
#[derive(Clone, Copy)]
struct Place {
    /// How many steps below the top of the site.
    deep: usize,
    /// The way from there to where the entries are.
    back: &'static str,
    /// Whether the form has fields for values.
    takes_values: bool,
    /// Whether it is for whoever made the entry.
    is_own: bool,
}

async fn put<K: Kitchen>(
    pages: &Pages<K>,
    record: &str,
    person: &Person,
    sent: Result<SentChange, FormRejection>,
    Place { deep, back, takes_values, is_own }: Place,
) -> Response {
    let Ok(record) = record.parse() else {
        return frame::refuse(Refusal::Unknown, person, &pages.site, deep);
    };
    let language = person.reader.language;
    let mut sent = match sent {
        Ok(sent) => sent,
        Err(rejection) => {
            tracing::debug!(why = rejection.body_text(), "a form that cannot be read");
            let why = words(language).garbled.to_owned();
            let fields =
                Correcting { refused: Some(why), tried: true, ..Correcting::fresh(pages.kitchen.time()) };
            return answer(pages, person, (record, deep), fields, rejection.status()).await;
        }
    };
    let entered = match pages.kitchen.entry(record).await {
        Ok(entered) => entered,
        Err(refused) => return frame::refuse(refused, person, &pages.site, deep),
    };
    if takes_values && matches!(entered.written, Written::Check(Check::Supply { .. })) {
        sent.take_ticks();
    }
    let unknown = unknown_fields(&sent.unknown, language);
    let once = once(&sent.once, &format!("amendment of {record}"), &sent, person);
    // What cannot be read of it is no form of ours: what it showed does not count any more.
    let shown = (!sent.counts.is_empty()).then(|| sent.counts.parse().unwrap_or(0));
    let typed = Correcting::from(sent);
    let of = pages.kitchen.machines().into_iter().find(|one| Some(&one.name) == entered.machine.as_ref());
    let of = of.map(|one| one.sanitizing);
    let again = is_on_record(&typed, &entered, person, (shown, of));
    let by = shown.unwrap_or_else(|| entered.counts_by());
    let mut fields = typed.without_counted(entered.counted_by(by), of, &person.reader);
    let now = pages.kitchen.time();
    if is_own && entered.own_until(person, now).is_none() && !person.may(Right::Amend) {
        let (fields, status) = over(fields, &entered, person, (again, now));
        return answer(pages, person, (record, deep), fields, status).await;
    }
    if unknown.is_some() {
        fields.refused = unknown;
        return answer(pages, person, (record, deep), fields, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    // The values of a press that arrives twice count already: it changes nothing.
    if again && fields.change.value == "correct" {
        return frame::go(&format!("{back}{record}"));
    }
    if let Some(since) = changed_since(&mut fields, &entered, shown.filter(|_| !again), &person.reader) {
        fields.refused = Some(since);
        return answer(pages, person, (record, deep), fields, StatusCode::CONFLICT).await;
    }
    let Some((reason, amending)) = read(&mut fields, &person.reader, &entered, of) else {
        return answer(pages, person, (record, deep), fields, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let by = person.name.clone();
    let (refused, status) = match pages.kitchen.amend(record, reason, by, amending, once).await {
        Ok(()) => return frame::go(&format!("{back}{record}")),
        Err(NotPut::Refused(why)) => (why, StatusCode::UNPROCESSABLE_ENTITY),
        Err(NotPut::NotNow) => (words(language).not_now.to_owned(), StatusCode::SERVICE_UNAVAILABLE),
    };
    fields.refused = Some(refused);
    answer(pages, person, (record, deep), fields, status).await
}

/// Whether the same was put on record since the form showed the entry as it counted by the record `shown`: by the same
/// person, for the same reason, with no value that does not count by it.
fn is_on_record(
    typed: &Correcting,
    entered: &Entered,
    person: &Person,
    (shown, of): (Option<u64>, Option<Sanitizing>),
) -> bool {
    let reason = typed.reason.value.trim();
    let counts = |check: &Check| !typed.clone().without_counted(Some(check), of, &person.reader).has_values();
    let is_same = |at: u64, one: &Amendment| match (&one.change, typed.change.value.as_str()) {
        (AmendmentChange::Comment, "comment") | (AmendmentChange::Withdrawn, "withdraw") => true,
        // A form that does not say what it showed may be a newer one.
        (AmendmentChange::Corrected(check), "correct") => {
            (shown.is_some() || at == entered.counts_by()) && counts(check)
        }
        (AmendmentChange::Comment | AmendmentChange::Withdrawn | AmendmentChange::Corrected(_), _) => false,
    };
    let is_later = |at: u64| shown.is_none_or(|shown| at > shown);
    entered.amendments.iter().any(|(at, _, one)| {
        is_later(*at) && one.by == person.name && one.reason == reason && is_same(*at, one)
    })
}

/// That an entry was amended after the form showed it as it counted by the record `shown`, and how it counts since; `None`
/// where it was not, and for what changes nothing. Nothing is taken back that nobody saw.
fn changed_since(
    fields: &mut Correcting,
    entered: &Entered,
    shown: Option<u64>,
    reader: &Reader,
) -> Option<String> {
    let is_comment = fields.change.value == "comment" && !fields.has_values();
    shown.filter(|shown| !is_comment && *shown != entered.counts_by())?;
    let words = words(reader.language);
    let Some(check) = entered.counting() else {
        // Its form has no fields for values any more.
        fields.ask(reader);
        return Some(words.withdrawn_since.to_owned());
    };
    let values = format!("{} ({})", of_check(check, reader), reader.moment(check.at()));
    Some(filled(words.changed_since, &[("values", &values)]))
}

/// What somebody is told who may not put right their own entry any more: that it is on record by an earlier press, or why
/// it is not, and who can. All that was typed then stands in the comment that asks them.
fn over(
    mut fields: Correcting,
    entered: &Entered,
    person: &Person,
    (again, now): (bool, Timestamp),
) -> (Correcting, StatusCode) {
    let language = person.reader.language;
    let words = words(language);
    if again {
        let already = Some(words.already.to_owned());
        return (Correcting { already, once: fields.once, ..Correcting::default() }, StatusCode::OK);
    }
    let why = entered.not_own(person, now).unwrap_or(NotOwn::Others);
    fields.refused = Some(filled(words.own_over, &[("why", no_more_own(why, language))]));
    fields.ask(&person.reader);
    (fields, StatusCode::FORBIDDEN)
}

fn read(
    fields: &mut Correcting,
    reader: &Reader,
    entered: &Entered,
    of: Option<Sanitizing>,
) -> Option<(String, Amending)> {
    let reason = fields.why(reader);
    let is_emptied = fields.is_emptied(entered.counting(), of, reader);
    let amending = match fields.change.value.as_str() {
        // Nor is what was emptied.
        "comment" | "correct" if is_emptied => None,
        // What was typed is never dropped in silence.
        "comment" | "withdraw" if fields.has_values() => {
            fields.change.fault = Some(words(reader.language).values_without.to_owned());
            None
        }
        "comment" => Some(Amending::Comment),
        "withdraw" => Some(Amending::Withdraw),
        "correct" => {
            let values = fields.values(reader, entered.recorded);
            if values == Some(Corrected::default()) {
                fields.change.fault = Some(words(reader.language).nothing_corrected.to_owned());
                return None;
            }
            let language = reader.language;
            let fits = |right: &Corrected| match entered.counting().zip(of) {
                Some((was, of)) => fields.is_a_colour(was, right, of, language),
                None => true,
            };
            values.filter(fits).map(Amending::Correct)
        }
        _ => {
            fields.change.fault = Some(Fault::NoChoice.say(reader.language));
            None
        }
    };
    reason.zip(amending)
}
