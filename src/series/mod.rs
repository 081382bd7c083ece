//! Time series: copies of what the ledger holds, on a server that takes the
//! write API of InfluxDB 2 (`POST /api/v2/write`, line protocol).
//!
//! [`measurements`] is the one place that says what is written. [`reading`] and
//! [`record`] make [`point::Point`]s of readings and records, [`batch`] gathers
//! their lines, [`sender`] brings a batch to the server and says what became of
//! it in the closed words of [`answer`], [`check`] looks at the start whether
//! the server, the organisation and the bucket are there, and [`trial`] writes
//! one point and reads it back. [`link`] is the sender of the running gateway.
//!
//! [`pump`] takes the ledger ([`stock`]) to the server: [`track`] is what has been
//! sent and what has not, [`plan`] says whose turn it is, [`load`] reads a turn
//! into lines, [`sieve`] finds the ones that are refused, [`wait`] says how long
//! to leave a server alone.
//!
//! The ledger is the record; the series is for curves and questions. A point
//! depends on nothing but the reading or the record it stands for, so that
//! writing it again changes nothing on the server.

mod alerts;
pub mod answer;
pub mod batch;
pub mod check;
pub mod explain;
pub mod http;
pub mod link;
pub mod load;
pub mod measurements;
pub mod plan;
pub mod point;
pub mod pump;
pub mod reading;
pub mod record;
pub mod sender;
pub mod sieve;
pub mod stock;
pub mod track;
pub mod trial;
pub mod wait;
