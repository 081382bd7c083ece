//! The sign of a verdict: a shape, so that nobody needs colours to tell a bad rack from a good one.
//!
//! Pictures, pages and paper draw the same ones.

use super::verdict::Verdict;

/// A shape beside the word of a verdict.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Sign {
    /// A heavy cross: cold.
    Cross,
    /// A circle filled by half: brief.
    HalfCircle,
    /// A triangle on its tip: weak.
    Triangle,
    /// An empty square: unproven.
    Square,
    /// An empty diamond: narrow.
    Diamond,
    /// A small dot: pass.
    Dot,
    /// An empty circle: passed, and in doubt since.
    Ring,
}

impl Sign {
    /// That of a verdict.
    #[must_use]
    pub const fn of(verdict: Verdict) -> Self {
        match verdict {
            Verdict::Cold => Self::Cross,
            Verdict::Brief => Self::HalfCircle,
            Verdict::Weak => Self::Triangle,
            Verdict::Unproven => Self::Square,
            Verdict::Narrow => Self::Diamond,
            Verdict::Pass => Self::Dot,
        }
    }

    /// That of a rack of this verdict, which may be in doubt since it passed.
    #[must_use]
    pub const fn of_rack(verdict: Verdict, in_doubt: bool) -> Self {
        if in_doubt { Self::Ring } else { Self::of(verdict) }
    }
}
