//! The page behind the link of a message: what happened, and two buttons.
//!
//! Opening a link shows the alert and changes nothing, so that a mail scanner or
//! a preview acknowledges nothing; only a pressed button (POST) acts. The link
//! itself is the secret ([`link`]): no cookie, no password, no script. Whoever
//! holds it may acknowledge this one alert and enter its corrective action until
//! the link expires, and nothing else.
//!
//! The page says what [`sheet::Sheet`] holds, worded by the caller in the
//! language of the contact; its own words are in `pages`. It speaks plain HTTP
//! on loopback, behind a proxy that does TLS where others are to reach it.

pub mod access;
mod guard;
pub mod link;
mod pages;
pub mod person;
pub mod serve;
pub mod sheet;
pub mod tls;
