//! How long ago something was, as a page shows it.
//!
//! An age holds for as long as the page is renewed. A page that has lost the gateway hides each (class `age`), wherever
//! it stands, and shows the time of the clock in its place (class `then`) where the line knows one. Every age of a page
//! that stays open is put into a [`Line`], or into an element of its own of that class.

/// A line of text with an age in it. `web/frame/age.html` shows it.
#[derive(Clone, PartialEq, Eq, Default, Debug)]
pub(super) struct Line {
    /// What stands before the age, and for itself without it.
    pub(super) text: String,
    /// How long ago, with the marks and words that are of it.
    pub(super) age: Option<String>,
    /// When, in the place of the age.
    pub(super) then: Option<String>,
    /// What follows.
    pub(super) rest: String,
}

impl From<String> for Line {
    /// A line without an age.
    fn from(text: String) -> Self {
        Self { text, ..Self::default() }
    }
}

impl From<&str> for Line {
    fn from(text: &str) -> Self {
        text.to_owned().into()
    }
}
