//! How long an answer may take, and what is said where it does not come.
//!
//! Only where a request did not arrive whole is it told so by 408, upon which a client may send it again by
//! itself (RFC 9110 §15.5.9). A deed that did arrive may be on record by then or come there later, so its
//! sender is told to look first. What is begun as an answer lasts as long as somebody reads it.

use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::Request;
use axum::http::StatusCode;
use axum::middleware::Next;
use axum::response::Response;
use hyper::body::{Frame, SizeHint};

use super::api;
use super::pages::{self, Plain};
use super::stranger::Stranger;

/// Longest time from the head of a request to that of its answer: its body arrives in it.
pub(super) const ANSWER_MAX: Duration = Duration::from_secs(30);

/// The answer, if it comes in time.
pub(super) async fn within(request: Request, next: Next) -> Response {
    let program = api::is_for_programs(request.uri().path());
    let stranger = Stranger::of(request.headers(), request.extensions());
    let arrived = Arc::new(AtomicBool::new(request.body().is_end_stream()));
    let noted = Arc::clone(&arrived);
    let request = request.map(|body| Body::new(Noted { body, arrived: noted }));
    let mut answer = std::pin::pin!(next.run(request));
    if let Ok(answer) = tokio::time::timeout(ANSWER_MAX, answer.as_mut()).await {
        return answer;
    }
    let (status, plain, detail, advice) = if arrived.load(Ordering::Acquire) {
        (
            StatusCode::SERVICE_UNAVAILABLE,
            Plain::Unanswered,
            "no answer came in time; what was asked for may have been done",
            "look whether it is on record before it is sent again",
        )
    } else {
        (
            StatusCode::REQUEST_TIMEOUT,
            Plain::Broken,
            "the request did not arrive whole in time; nothing was done",
            "send it again",
        )
    };
    if program { api::refused(status, detail, advice) } else { pages::say(status, plain, stranger) }
}

/// A body that notes when nobody waits for it any more: it came whole, or whoever answers wants none of it.
struct Noted {
    body: Body,
    arrived: Arc<AtomicBool>,
}

impl HttpBody for Noted {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let frame = Pin::new(&mut self.body).poll_frame(context);
        if matches!(frame, Poll::Ready(None)) || self.body.is_end_stream() {
            self.arrived.store(true, Ordering::Release);
        }
        frame
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}

impl Drop for Noted {
    fn drop(&mut self) {
        self.arrived.store(true, Ordering::Release);
    }
}
