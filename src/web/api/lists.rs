//! Lists, page by page.
//!
//! A page is `{"items": […], "next": …}`. `next`, also as a link of RFC 8288, leads to the page that
//! follows; it is relative, so that a proxy may serve the site below whatever path it likes. New
//! rows neither double nor hide others: a cursor names the last row of its page.

use std::fmt::Write as _;

use axum::extract::State;
use axum::http::{HeaderValue, StatusCode, Uri, header};
use axum::response::Response;

use super::call::{Call, json};
use super::params::{self, AFTER, Given};
use super::{Asked, LIMIT_MAX, Rows, State as Standing, Trouble, View, When};
use crate::core::address::escaped;
use crate::core::cycle::words::IN_DOUBT;
use crate::core::record::CheckKind;
use crate::web::kitchen::{Kitchen, Pages};

/// Answers with a list.
pub(super) async fn list<K: Kitchen>(view: View, pages: Pages<K>, call: Call) -> Response {
    let asked = asked(view, &call);
    let answer = async {
        let rows = pages.kitchen.rows(asked).await?;
        Ok((page(&call.uri, &rows)?, rows.size))
    };
    call.by_the_record(&pages.kitchen, answer).await
}

macro_rules! lists {
    ($($name:ident $view:ident)*) => {$(
        pub(super) async fn $name<K: Kitchen>(State(pages): State<Pages<K>>, call: Call) -> Response {
            list(View::$view, pages, call).await
        }
    )*};
}

lists! {
    machines Machines
    cycles Cycles
    days Days
    summary Summary
    gaps Gaps
    alerts Alerts
    checks Checks
    due Due
    records Records
    probes Probes
}

/// The question, by what was given.
fn asked(view: View, call: &Call) -> Asked {
    let given = &call.given;
    let (from, to) = span(given);
    let limit = match view {
        View::Summary | View::Machines | View::Probes | View::Due => LIMIT_MAX,
        View::Cycles | View::Days | View::Gaps | View::Alerts | View::Checks | View::Records => given.limit(),
    };
    Asked {
        view,
        machine: given.text(params::MACHINE).map(str::to_owned),
        from,
        to,
        verdicts: given.words(params::VERDICT).filter_map(|word| word.parse().ok()).collect(),
        in_doubt: given.words(params::VERDICT).any(|word| word == IN_DOUBT),
        check: given.text(params::CHECK).and_then(CheckKind::named),
        kinds: given.words(params::KIND).map(str::to_owned).collect(),
        state: given.text(params::STATE).map(|word| match word {
            "open" => Standing::Open,
            _ => Standing::Closed,
        }),
        oldest_first: given.text(params::ORDER) == Some("oldest-first"),
        limit,
        after: given.text(AFTER).map(str::to_owned),
    }
}

/// The span that was given, as far as one was. Which instant a day begins with is the site's to say, and so is whether
/// it ends before it begins.
pub(super) fn span(given: &Given) -> (Option<When>, Option<When>) {
    (given.when(params::FROM), given.when(params::TO))
}

/// The page as JSON, with its links.
fn page(uri: &Uri, rows: &Rows) -> Result<Response, Trouble> {
    let next = rows.next.as_deref().map(|cursor| following(uri, cursor));
    let quoted = serde_json::to_string(&next).map_err(|_| Trouble::NotNow)?;
    let mut text = format!("{{\"items\":[{}],\"next\":{quoted}", rows.items.join(","));
    if !rows.damaged.is_empty() {
        let damaged: Vec<String> = rows.damaged.iter().map(u64::to_string).collect();
        // Writing to a text does not fail.
        let _written = write!(text, ",\"damaged\":[{}]", damaged.join(","));
    }
    text.push('}');
    let mut response = json(StatusCode::OK, text);
    if let Some(link) = next.and_then(|next| HeaderValue::from_str(&format!("<{next}>; rel=\"next\"")).ok()) {
        response.headers_mut().insert(header::LINK, link);
    }
    Ok(response)
}

/// The address of the page after this cursor, relative to this one.
fn following(uri: &Uri, cursor: &str) -> String {
    let path = uri.path().rsplit('/').next().unwrap_or_default();
    let pairs = uri.query().into_iter().flat_map(|query| query.split('&'));
    let others = pairs.filter(|pair| !pair.is_empty() && pair.split('=').next() != Some(AFTER.name));
    let mut text = format!("{path}?");
    others.for_each(|pair| {
        text.push_str(pair);
        text.push('&');
    });
    text + "after=" + &escaped(cursor)
}
