//! The pages: for whoever is logged in, and behind the link of a message.
//!
//! [`router`] lists the pages for people. Each has a module that says what it asks of the kitchen
//! (a trait), what it gets (plain values of `core`), and how that looks (a template beside it); `app`
//! answers. A page works without script; `live` keeps open ones up to date.
//!
//! # Behind a link
//!
//! Opening a link shows the alert and changes nothing, so that a mail scanner or
//! a preview acknowledges nothing; only a pressed button (POST) acts. The link
//! itself is the secret ([`link`]): no cookie, no password, no script. Whoever
//! holds it may acknowledge this one alert and enter its corrective action until
//! the link expires, and nothing else.
//!
//! The page says what [`sheet::Sheet`] holds, worded by the caller in the
//! language of the contact; its own words are in `pages`.
//!
//! # Who comes in
//!
//! [`access`] stands before everything else. All of it speaks plain HTTP on loopback, or [`tls`]
//! where others are to reach it, or stands behind a proxy that does that.

pub mod access;
mod age;
pub mod alerts;
pub mod api;
mod assets;
pub mod attempt;
mod compress;
mod connections;
pub mod cycle;
mod deadline;
mod explained;
#[cfg(test)]
mod fixture;
mod form;
pub mod frame;
mod guard;
pub mod history;
pub mod kitchen;
pub mod link;
mod live;
pub mod logbook;
pub mod machine;
pub mod now;
mod pages;
pub mod person;
mod places;
pub mod probes;
mod query;
mod renew;
pub mod router;
pub mod serve;
pub mod settings;
pub mod sheet;
pub mod sign_off;
mod stranger;
pub mod tls;
mod who;
mod words;
