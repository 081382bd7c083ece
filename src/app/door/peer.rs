//! Who is at the other end of the socket.

use std::fmt;

use axum::extract::connect_info::Connected;
use axum::serve::IncomingStream;
use tokio::net::UnixListener;

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

/// The name of a user in the form of passwd(5). Users of a directory service stay a number.
fn name_in(passwd: &str, uid: u32) -> Option<String> {
    let uid = uid.to_string();
    passwd.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)? == uid).then(|| name.to_owned())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    // Lines in the form of passwd(5).
    #[test]
    fn users_are_named_where_the_system_knows_them() {
        let passwd = "root:x:0:0:root:/:/bin/sh\nmaria:x:1001:1001:M,,,:/srv/maria:/bin/sh\nbroken\n";
        for (uid, expected) in [(0, Some("root")), (1001, Some("maria")), (7, None)] {
            assert_eq!(name_in(passwd, uid).as_deref(), expected, "{uid}");
        }
    }
}
