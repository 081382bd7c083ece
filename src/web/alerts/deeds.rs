//! What people do about an alert on its page: take it on, and write its corrective action.

use axum::extract::rejection::FormRejection;
use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::{Typed, answer, words};
use crate::core::alert::Action;
use crate::core::alert::words::who;
use crate::web::form::{self, Field};
use crate::web::frame::{self, Refusal};
use crate::web::kitchen::{Kitchen, Pages};
use crate::web::person::Person;
use crate::web::serve::NOTE_CHARS_MAX;
use crate::web::sheet::{Decided, Deed};

/// What is sent to take an alert on.
#[derive(Deserialize)]
pub(in crate::web) struct Taking {
    #[serde(default)]
    note: String,
}

/// Takes an alert on.
pub(in crate::web) async fn acknowledge<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(number): Path<String>,
    person: Person,
    sent: Result<Form<Taking>, FormRejection>,
) -> Response {
    let Ok(number) = number.parse() else { return frame::refuse(Refusal::Unknown, &person, &pages.site, 2) };
    let Ok(Form(Taking { note })) = sent else { return StatusCode::BAD_REQUEST.into_response() };
    let mut typed = Typed { note: Field::with(&note), ..Typed::default() };
    let Some(note) = typed.note.take(form::optional(&note, NOTE_CHARS_MAX), person.reader.language) else {
        return answer(&pages, &person, number, typed, (StatusCode::UNPROCESSABLE_ENTITY, 2)).await;
    };
    let deed = Deed::Acknowledge { by: person.name.clone(), note: note.clone().unwrap_or_default() };
    if let Err(refused) = pages.kitchen.decide(number, deed).await {
        return frame::refuse(refused, &person, &pages.site, 2);
    }
    if note.is_none() {
        return frame::go(&format!("../{number}"));
    }
    let whole = match pages.kitchen.alert(&person.reader, number).await {
        Ok(whole) => whole,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 2),
    };
    let taken = whole.alert.acknowledged.as_ref();
    if taken.is_some_and(|taken| taken.by == person.name && taken.note == note) {
        return frame::go(&format!("../{number}"));
    }
    let taken = taken
        .map(|taken| (who(&taken.by, person.reader.language).into_owned(), person.reader.moment(taken.at)));
    typed.note.fault = Some(words::taken_before(taken, person.reader.language));
    answer(&pages, &person, number, typed, (StatusCode::CONFLICT, 2)).await
}

/// What is sent as corrective action.
#[derive(Deserialize)]
pub(in crate::web) struct Acting {
    #[serde(default)]
    racks: String,
    #[serde(default)]
    done: String,
    /// How many racks the page showed.
    #[serde(default)]
    covers: Option<u64>,
}

/// Writes the corrective action.
pub(in crate::web) async fn act<K: Kitchen>(
    State(pages): State<Pages<K>>,
    Path(number): Path<String>,
    person: Person,
    sent: Result<Form<Acting>, FormRejection>,
) -> Response {
    let Ok(number) = number.parse() else { return frame::refuse(Refusal::Unknown, &person, &pages.site, 2) };
    let Ok(Form(Acting { racks, done, covers })) = sent else {
        return StatusCode::BAD_REQUEST.into_response();
    };
    let language = person.reader.language;
    let mut typed = Typed { held: Field::with(&racks), done: Field::with(&done), covers, ..Typed::default() };
    let racks = typed.held.take(form::action(&racks), language);
    let done = typed.done.take(form::action(&done), language);
    let (Some(racks), Some(done)) = (racks, done) else {
        return answer(&pages, &person, number, typed, (StatusCode::UNPROCESSABLE_ENTITY, 2)).await;
    };
    if covers.is_none() {
        typed.held.fault = Some(words::unnumbered(language).to_owned());
        return answer(&pages, &person, number, typed, (StatusCode::CONFLICT, 2)).await;
    }
    let by = person.name.clone();
    let deed = Deed::Act { by: by.clone(), racks: racks.clone(), done: done.clone(), covers };
    match pages.kitchen.decide(number, deed).await {
        Ok(Decided::Done) => return frame::go(&format!("../{number}")),
        Ok(Decided::Late) => {}
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 2),
    }
    let standing = match pages.kitchen.alert(&person.reader, number).await {
        Ok(whole) => whole.alert.action,
        Err(refused) => return frame::refuse(refused, &person, &pages.site, 2),
    };
    let own = |action: &Action| (&action.by, &action.racks, &action.done) == (&by, &racks, &done);
    if standing.as_ref().is_some_and(own) {
        // The same button was pressed twice.
        return frame::go(&format!("../{number}"));
    }
    let standing =
        standing.map(|action| (who(&action.by, language).into_owned(), person.reader.moment(action.at)));
    // Whoever reads who was first reads which racks there are: what is sent again is for those.
    typed.covers = None;
    typed.held.fault = Some(words::late(standing, language));
    answer(&pages, &person, number, typed, (StatusCode::CONFLICT, 2)).await
}
