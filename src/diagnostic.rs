//! The one form in which a problem is told to people.
