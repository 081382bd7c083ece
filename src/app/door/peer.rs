//! Who is at the other end of the socket.

use std::fmt;

use axum::extract::connect_info::Connected;
use axum::serve::IncomingStream;
use tokio::net::UnixListener;

use crate::transport::accounts::name_in;

/// A user of this computer, as the system knows it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(in crate::app) struct Peer {
    uid: Option<u32>,
    name: Option<String>,
}

impl Peer {
    /// The user of this number.
    pub(in crate::app) fn of(uid: u32) -> Self {
        let name = std::fs::read_to_string("/etc/passwd").ok().and_then(|text| name_in(&text, uid));
        Self { uid: Some(uid), name }
    }

    /// The user who runs this process.
    pub(in crate::app) fn own() -> Self {
        Self::of(rustix::process::geteuid().as_raw())
    }
}

impl fmt::Display for Peer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (&self.name, self.uid) {
            (Some(name), _) => write!(f, "user {name}"),
            (None, Some(uid)) => write!(f, "user {uid}"),
            (None, None) => f.write_str("an unknown user"),
        }
    }
}

impl Connected<IncomingStream<'_, UnixListener>> for Peer {
    fn connect_info(stream: IncomingStream<'_, UnixListener>) -> Self {
        match stream.io().peer_cred() {
            Ok(credentials) => Self::of(credentials.uid()),
            Err(_) => Self { uid: None, name: None },
        }
    }
}
