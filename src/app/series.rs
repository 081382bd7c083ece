//! The time series: the task of the gateway, and `series status` and `series resend`.

mod stock;

pub use stock::{CONSUMER, LedgerStock};
