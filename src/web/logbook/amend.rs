//! What is to be known of an entry: a comment, that it counts no more, or the right values.
//!
//! Whoever entered it puts it right for [`OWN_FOR`] after that, by an amendment as any other: a slip is seen at once, and
//! nobody is known by another's name, see [`crate::web::access::name`]. Later, and once somebody else has amended
//! it, that takes the right to amend.

use std::time::Duration;

use axum::extract::rejection::FormRejection;
use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::check::once;
use super::correcting::{Correcting, SentChange, SentComment};
use super::entry::{DEEP, answer};
use super::words::{unknown_fields, words};
use super::{Amending, Corrected, Entered, NotPut, Written};
use crate::core::access::Right;
use crate::core::cycle::plate::Sanitizing;
use crate::core::reader::Reader;
use crate::core::record::{Amendment, AmendmentChange, Check};
use crate::core::time::Timestamp;
use crate::web::form::Fault;
use crate::web::frame::{self, Refusal};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;

/// How long whoever made an entry may withdraw or correct it without the right to amend (own choice: a slip is seen by
/// then). One that set off an alert went out to others: what becomes of it is not for whoever caused it to say.
pub(super) const OWN_FOR: Duration = Duration::from_secs(600);

impl Entered {
    /// Until when this person may amend it as their own, where they may not amend what others entered; `None` where they
    /// may not, or not any more.
    pub(super) fn own_until(&self, person: &Person, now: Timestamp) -> Option<Timestamp> {
        let by = match &self.written {
            Written::Check(check) => check.by(),
            Written::Note(note) => note.by.as_str(),
        };
        let is_theirs = |one: &Amendment| one.by == person.name || one.change == AmendmentChange::Comment;
        let untouched = !self.is_damaged && self.amendments.iter().all(|(_, _, one)| is_theirs(one));
        let untouched = untouched && self.alerts.is_empty();
        let may = person.may(Right::Enter) && !person.may(Right::Amend);
        let until = self.recorded.plus(OWN_FOR);
        (may && by == person.name && untouched && now < until).then_some(until)
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
    let mut fields = Correcting::from(sent).without_counted(&entered, &person.reader);
    if unknown.is_some() {
        fields.refused = unknown;
        return answer(pages, person, (record, deep), fields, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    let again = is_on_record(&fields, &entered, person);
    if is_own && entered.own_until(person, pages.kitchen.time()).is_none() && !person.may(Right::Amend) {
        let (fields, status) = over(fields, &entered, person, again);
        return answer(pages, person, (record, deep), fields, status).await;
    }
    // The values of a press that arrives twice count already: it changes nothing.
    if again && fields.change.value == "correct" {
        return frame::go(&format!("{back}{record}"));
    }
    let of = pages.kitchen.machines().into_iter().find(|one| Some(&one.name) == entered.machine.as_ref());
    let of = of.map(|one| one.sanitizing);
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

/// Whether the same was put on record before: by the same person, for the same reason, with no value that does not count.
fn is_on_record(fields: &Correcting, entered: &Entered, person: &Person) -> bool {
    let is_same = |one: &Amendment| match (&one.change, fields.change.value.as_str()) {
        (AmendmentChange::Comment, "comment") | (AmendmentChange::Withdrawn, "withdraw") => true,
        (AmendmentChange::Corrected(_), "correct") => !fields.has_values(),
        (AmendmentChange::Comment | AmendmentChange::Withdrawn | AmendmentChange::Corrected(_), _) => false,
    };
    let reason = fields.reason.value.trim();
    entered.amendments.iter().any(|(_, _, one)| one.by == person.name && one.reason == reason && is_same(one))
}

/// What somebody is told who may not put right their own entry any more: that it is on record by an earlier press, or why
/// it is not, and who can. All that was typed then stands in the comment that asks them.
fn over(mut fields: Correcting, entered: &Entered, person: &Person, again: bool) -> (Correcting, StatusCode) {
    let language = person.reader.language;
    let words = words(language);
    if again {
        let already = Some(words.already.to_owned());
        return (Correcting { already, once: fields.once, ..Correcting::default() }, StatusCode::OK);
    }
    // By nothing but the time.
    let is_late = entered.own_until(person, entered.recorded).is_some();
    fields.refused = Some(if is_late { words.own_late } else { words.own_over }.to_owned());
    let typed = fields.in_words(words, language);
    if !typed.is_empty() {
        let reason = fields.reason.value.trim_end().to_owned();
        fields.reason.value = if reason.is_empty() { typed } else { format!("{reason} ({typed})") };
    }
    (fields, StatusCode::FORBIDDEN)
}

fn read(
    fields: &mut Correcting,
    reader: &Reader,
    entered: &Entered,
    of: Option<Sanitizing>,
) -> Option<(String, Amending)> {
    let reason = fields.why(reader);
    let amending = match fields.change.value.as_str() {
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
