//! Whoever is shown a page without being known: they read in the language that their browser asks for first.

use std::convert::Infallible;
use std::sync::Arc;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{Extensions, HeaderMap};

use super::access;
use super::frame::{self, Site};
use crate::core::reader::Language;

/// What a page for a stranger goes by.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Stranger {
    pub(super) language: Language,
    /// Whether the machines are simulated.
    simulated: bool,
}

impl Stranger {
    /// Whoever sends this.
    pub(super) fn of(headers: &HeaderMap, extensions: &Extensions) -> Self {
        let simulated = extensions.get::<Arc<Site>>().is_some_and(|site| site.simulated);
        Self { language: access::asked(headers), simulated }
    }

    /// The same, who reads in this language.
    pub(super) const fn reading(self, language: Language) -> Self {
        Self { language, ..self }
    }

    /// What that is called, see [`Self::simulated`].
    pub(super) const fn notice(&self) -> &'static str {
        frame::notice(self.language)
    }

    /// What is said at the top where nothing is real.
    pub(super) const fn simulated(&self) -> Option<&'static str> {
        if self.simulated { Some(frame::simulated(self.language)) } else { None }
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Stranger {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _state: &S) -> Result<Self, Infallible> {
        std::future::ready(Ok(Self::of(&parts.headers, &parts.extensions))).await
    }
}
