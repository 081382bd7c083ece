//! One thing: a machine, a cycle with its trace and its proof, an alert, a record; and who asks.

use axum::extract::rejection::PathRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use super::Single;
use super::call::{Call, json, told};
use super::problem::{Problem, Wrong};
use crate::core::access::{Right, Role};
use crate::core::reader::{Language, Scale};
use crate::web::kitchen::{Kitchen, Pages};

/// What stands in a path, or nothing that could.
pub(super) type Named<T> = Result<Path<T>, PathRejection>;

/// The problem of a path in which something else stands.
pub(super) fn misnamed(rejection: &PathRejection, name: &str) -> Problem {
    tracing::trace!(%rejection, "a path of the interface is not understood");
    Problem::fields(vec![Wrong::parameter(name, "it is no whole number")])
}

async fn one<K: Kitchen>(pages: Pages<K>, call: Call, asked: Single) -> Response {
    let answer = async {
        let one = pages.kitchen.single(asked).await?;
        Ok((json(StatusCode::OK, one.json), one.size))
    };
    call.by_the_record(&pages.kitchen, answer).await
}

pub(super) async fn machine<K: Kitchen>(
    State(pages): State<Pages<K>>,
    named: Named<String>,
    call: Call,
) -> Response {
    match named {
        Ok(Path(name)) => one(pages, call, Single::Machine(name)).await,
        Err(_) => Problem::nowhere().into_response(),
    }
}

macro_rules! numbered {
    ($($name:ident $single:ident $parameter:literal)*) => {$(
        pub(super) async fn $name<K: Kitchen>(
            State(pages): State<Pages<K>>,
            named: Named<u64>,
            call: Call,
        ) -> Response {
            match named {
                Ok(Path(number)) => one(pages, call, Single::$single(number)).await,
                Err(rejection) => misnamed(&rejection, $parameter).into_response(),
            }
        }
    )*};
}

numbered! {
    cycle Cycle "record"
    trace Trace "record"
    proof Proof "record"
    alert Alert "number"
}

pub(super) async fn record<K: Kitchen>(
    State(pages): State<Pages<K>>,
    named: Named<u64>,
    call: Call,
) -> Response {
    let settings = call.person.may(Right::Settings);
    match named {
        Ok(Path(index)) => one(pages, call, Single::Record { index, settings }).await,
        Err(rejection) => misnamed(&rejection, "record").into_response(),
    }
}

pub(super) async fn checkpoint<K: Kitchen>(State(pages): State<Pages<K>>, call: Call) -> Response {
    one(pages, call, Single::Checkpoint).await
}

/// Who asks.
#[derive(Serialize)]
struct Whoami<'p> {
    account: &'p str,
    name: &'p str,
    role: Role,
    rights: Vec<Right>,
    language: Language,
    scale: Scale,
    time_zone: Option<&'p str>,
}

pub(super) async fn whoami(call: Call) -> Response {
    let person = &call.person;
    let me = Whoami {
        account: &person.account,
        name: &person.name,
        role: person.role,
        rights: Right::ALL.into_iter().filter(|right| person.may(*right)).collect(),
        language: person.reader.language,
        scale: person.reader.scale,
        time_zone: person.reader.zone.iana_name(),
    };
    let answer = serde_json::to_string(&me).map(|text| json(StatusCode::OK, text));
    std::future::ready(told(answer.map_err(|_| super::Trouble::NotNow))).await
}
