//! The channels of alerts against real peers: a mail server and a receiver of
//! webhooks from libraries that others wrote, and Mosquitto.

#[path = "alert/heartbeat.rs"]
mod heartbeat;
#[path = "alert/mail.rs"]
mod mail;
#[path = "alert/mail_faults.rs"]
mod mail_faults;
#[path = "alert/peer.rs"]
pub(crate) mod peer;
#[path = "alert/publish.rs"]
mod publish;
#[path = "alert/webhook.rs"]
mod webhook;
