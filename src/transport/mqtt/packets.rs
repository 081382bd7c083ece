//! The packets of one connection, whichever version of MQTT carries them.
//!
//! [`Protocol`] is all that differs between MQTT 5 and 3.1.1. The bytes
//! themselves are read and written by the codecs of `rumqttc`; its event loop
//! is not used, because it sends each acknowledgement with a system call of its
//! own, gives up the connection at a packet over the limit before the packet
//! can be named and skipped, and hands out packets of a connection that is gone.

use std::time::Duration;

use bytes::{BufMut, Bytes, BytesMut};

use crate::core::alert::trial::Fact;

/// What the gateway says of itself when it connects.
#[derive(Clone, Copy)]
pub struct Hello<'a> {
    /// The session is kept under it.
    pub client_id: &'a str,
    /// User and password.
    pub login: Option<(&'a str, &'a str)>,
    /// Longest silence of the gateway, in seconds.
    pub keep_alive_s: u16,
    /// How long an absent gateway's session is kept, in seconds (3.1.1: for as
    /// long as the broker likes); `None` starts without one and leaves none.
    pub session_expiry_s: Option<u32>,
    /// Most messages under way at once (MQTT 5 only).
    pub receive_max: u16,
    /// Largest packet the broker may send (MQTT 5 only).
    pub packet_bytes_max: u32,
    /// What the broker publishes, retained, when this client is lost.
    pub will: Option<Will<'a>>,
}

/// A last will (MQTT 5.0 §3.1.2.5).
#[derive(Clone, Copy)]
pub struct Will<'a> {
    /// Where.
    pub topic: &'a str,
    /// What.
    pub payload: &'a str,
}

/// A message to publish at QoS 1.
#[derive(Clone, Copy, Debug)]
pub struct Publication<'a> {
    /// Its number until the broker has acknowledged it, not 0.
    pub packet_id: u16,
    /// Where.
    pub topic: &'a str,
    /// What, in UTF-8.
    pub payload: &'a [u8],
    /// Media type of the payload (MQTT 5 only).
    pub content_type: &'a str,
    /// Kept by the broker for whoever subscribes later.
    pub retain: bool,
}

/// A subscription.
pub struct Wanted {
    /// Topic filter.
    pub filter: String,
    /// QoS 1, else QoS 0.
    pub at_least_once: bool,
}

/// A message as it arrived.
#[derive(Debug)]
pub struct Message {
    /// Where it was published.
    pub topic: Bytes,
    /// What was published.
    pub payload: Bytes,
    /// Retained from before this subscription, or sent again: its arrival does
    /// not tell when it was published.
    pub aged: bool,
    /// What the broker waits for; `None` at QoS 0.
    pub ack: Option<Ack>,
}

/// The answer that a message waits for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Ack {
    /// PUBACK of a message at QoS 1.
    Once(u16),
    /// PUBREC of a message at QoS 2, left over from an older subscription.
    Twice(u16),
}

/// What a packet from the broker means.
#[derive(Debug)]
pub enum Incoming {
    /// CONNACK: the connection stands.
    Connected {
        /// The broker still had the session.
        session_present: bool,
        /// The broker asks for another keep-alive.
        keep_alive: Option<Duration>,
        /// Most messages it takes at once without having acknowledged them (MQTT 5 only).
        receive_max: Option<u16>,
    },
    /// CONNACK: the broker does not want this client.
    Rejected(Rejection),
    /// PUBLISH.
    Message(Message),
    /// SUBACK: for each filter whether it was granted.
    Subscribed(Vec<bool>),
    /// PUBACK of what was published here.
    Acknowledged {
        /// Its number.
        packet_id: u16,
        /// Why the broker did not take it (MQTT 5 only; with 3.1.1 it acknowledges and drops).
        refused: Option<Refused>,
    },
    /// PUBREL of a message at QoS 2.
    Released(u16),
    /// PINGRESP.
    Pong,
    /// DISCONNECT from the broker (MQTT 5 only).
    Ended(Ended),
    /// A packet that asks for nothing.
    Other,
}

/// Why a broker does not want this client (MQTT 5.0 §3.2.2.2, 3.1.1 §3.2.2.3).
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Rejection {
    /// It speaks another version.
    #[error("{}", self.fact())]
    Version,
    /// It does not accept the client identifier.
    #[error("{}", self.fact())]
    ClientId,
    /// User name or password are wrong.
    #[error("{}", self.fact())]
    Login,
    /// The client may not connect; many brokers say so for a wrong password too.
    #[error("{}", self.fact())]
    NotAuthorized,
    /// It is not ready, or too busy.
    #[error("{}", self.fact())]
    Unavailable,
    /// It has shut this client out.
    #[error("{}", self.fact())]
    Banned,
    /// Something else.
    #[error("{}", self.fact())]
    Other,
}

impl Rejection {
    /// It as the fact that people are told, in each language.
    #[must_use]
    pub const fn fact(self) -> Fact {
        match self {
            Self::Version => Fact::RefusedVersion {},
            Self::ClientId => Fact::RefusedClient {},
            Self::Login => Fact::RefusedLogin {},
            Self::NotAuthorized => Fact::RefusedRight {},
            Self::Unavailable => Fact::RefusedNow {},
            Self::Banned => Fact::RefusedBanned {},
            Self::Other => Fact::RefusedOther {},
        }
    }
}

/// Why a broker did not take a message (MQTT 5.0 §3.4.2.1).
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Refused {
    /// The access list forbids it.
    #[error("{}", self.fact())]
    NotAuthorized,
    /// It does not like the topic.
    #[error("{}", self.fact())]
    Topic,
    /// A limit of the broker is reached.
    #[error("{}", self.fact())]
    Quota,
    /// Something else.
    #[error("{}", self.fact())]
    Other,
}

impl Refused {
    /// It as the fact that people are told, in each language.
    #[must_use]
    pub const fn fact(self) -> Fact {
        match self {
            Self::NotAuthorized => Fact::TopicForbidden {},
            Self::Topic => Fact::TopicRefused {},
            Self::Quota => Fact::Quota {},
            Self::Other => Fact::NotTaken {},
        }
    }
}

/// Why a broker ended a connection (MQTT 5.0 §3.14.2.1).
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Ended {
    /// Another client connected under the same identifier.
    #[error("{}", self.fact())]
    TakenOver,
    /// The broker shuts down.
    #[error("{}", self.fact())]
    ShuttingDown,
    /// The client may no longer be connected.
    #[error("{}", self.fact())]
    NotAuthorized,
    /// Something else.
    #[error("{}", self.fact())]
    Other,
}

impl Ended {
    /// It as the fact that people are told, in each language.
    #[must_use]
    pub const fn fact(self) -> Fact {
        match self {
            Self::TakenOver => Fact::EndedTakenOver {},
            Self::ShuttingDown => Fact::EndedShuttingDown {},
            Self::NotAuthorized => Fact::EndedRight {},
            Self::Other => Fact::EndedOther {},
        }
    }
}

/// Bytes from the broker that are no packet.
#[derive(Debug, thiserror::Error)]
pub enum PacketError {
    /// The codec of MQTT 5 refused it.
    #[error("not a packet of MQTT 5")]
    V5(#[source] rumqttc::v5::mqttbytes::Error),
    /// The codec of MQTT 3.1.1 refused it.
    #[error("not a packet of MQTT 3.1.1")]
    V311(#[source] rumqttc::mqttbytes::Error),
    /// The remaining length takes more than four bytes (MQTT 5.0 §1.5.5).
    #[error("the length of a packet is malformed")]
    Length,
    /// A packet over the limit that is no message, and so cannot be skipped.
    #[error("a packet of {bytes} bytes that is no message")]
    Oversized {
        /// Its length.
        bytes: usize,
    },
}

/// One version of the protocol.
pub trait Protocol: Send + Sync {
    /// Writes a CONNECT.
    ///
    /// # Errors
    /// Where a text is too long for the protocol, as for every packet here.
    fn connect(&self, hello: &Hello<'_>, out: &mut BytesMut) -> Result<(), PacketError>;

    /// Writes a PUBLISH at QoS 1.
    ///
    /// # Errors
    /// See [`Protocol::connect`].
    fn publish(&self, publication: &Publication<'_>, out: &mut BytesMut) -> Result<(), PacketError>;

    /// Writes a SUBSCRIBE.
    ///
    /// # Errors
    /// See [`Protocol::connect`].
    fn subscribe(&self, filters: &[Wanted], out: &mut BytesMut) -> Result<(), PacketError>;

    /// Writes a DISCONNECT, which makes the broker forget the last will.
    ///
    /// # Errors
    /// See [`Protocol::connect`].
    fn disconnect(&self, out: &mut BytesMut) -> Result<(), PacketError>;

    /// Reads one whole packet.
    ///
    /// # Errors
    /// Where the bytes are none.
    fn read(&self, packet: BytesMut) -> Result<Incoming, PacketError>;
}

/// Packet identifier of the only SUBSCRIBE of a connection.
pub const SUBSCRIBE_ID: u16 = 1;

/// Writes PUBACK or PUBREC. Both versions share the bytes, since the reason
/// code "success" may be left out (MQTT 5.0 §3.4.2.1, §3.5.2.1).
pub fn acknowledge(ack: Ack, out: &mut BytesMut) {
    match ack {
        Ack::Once(packet_id) => four(0x40, packet_id, out),
        Ack::Twice(packet_id) => four(0x50, packet_id, out),
    }
}

/// Writes PUBCOMP; as [`acknowledge`], MQTT 5.0 §3.7.2.1.
pub fn complete(packet_id: u16, out: &mut BytesMut) {
    four(0x70, packet_id, out);
}

/// Writes PINGREQ, the same in both versions (MQTT 5.0 §3.12).
pub fn ping(out: &mut BytesMut) {
    out.extend_from_slice(&[0xC0, 0x00]);
}

fn four(kind: u8, packet_id: u16, out: &mut BytesMut) {
    out.put_u8(kind);
    out.put_u8(2);
    out.put_u16(packet_id);
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::v5::V5;
    use super::super::v311::V311;
    use super::*;

    const HELLO: Hello<'_> = Hello {
        client_id: "gw",
        login: Some(("u", "p")),
        keep_alive_s: 60,
        session_expiry_s: Some(3600),
        receive_max: 100,
        packet_bytes_max: 4096,
        will: None,
    };

    // MQTT 5.0 §3.1: protocol level 5, flags user + password and no clean start
    // (0xC0), properties 0x11 session expiry, 0x21 receive maximum, 0x27 maximum
    // packet size. MQTT 3.1.1 §3.1: level 4, the same flags.
    #[test]
    fn connects_to_a_kept_session() {
        let v5: &[u8] = &[
            0x10, 34, 0, 4, b'M', b'Q', b'T', b'T', 5, 0xC0, 0, 60, 13, 0x11, 0, 0, 0x0E, 0x10, 0x21, 0, 100,
            0x27, 0, 0, 0x10, 0, 0, 2, b'g', b'w', 0, 1, b'u', 0, 1, b'p',
        ];
        let v311: &[u8] = &[
            0x10, 20, 0, 4, b'M', b'Q', b'T', b'T', 4, 0xC0, 0, 60, 0, 2, b'g', b'w', 0, 1, b'u', 0, 1, b'p',
        ];
        for (protocol, expected) in [(&V5 as &dyn Protocol, v5), (&V311, v311)] {
            let mut out = BytesMut::new();
            protocol.connect(&HELLO, &mut out).expect("a legal packet");
            assert_eq!(&out[..], expected);
        }
    }

    // MQTT 3.1.1 §3.1.2.3: clean session 0x02, will 0x04, its QoS 1 0x08, its retain 0x20;
    // MQTT 5.0 §3.1.2.4 and §3.1.2.5 the same bits.
    #[test]
    fn connects_afresh_with_a_last_will() {
        let will = Some(Will { topic: "t", payload: "off" });
        let hello = Hello { login: None, session_expiry_s: None, will, ..HELLO };
        for protocol in [&V5 as &dyn Protocol, &V311] {
            let mut out = BytesMut::new();
            protocol.connect(&hello, &mut out).expect("a legal packet");
            assert_eq!(out[9], 0x2E, "{out:02x?}");
            assert!(out.ends_with(&[0, 1, b't', 0, 3, b'o', b'f', b'f']), "{out:02x?}");
        }
    }

    // MQTT 5.0 §3.3, §3.4.2.1; 3.1.1 §3.3, §3.4: QoS 1 is 0x02 of the first byte, retain 0x01.
    #[test]
    fn publishes_at_least_once_and_hears_of_it() {
        let publication =
            Publication { packet_id: 7, topic: "t", payload: b"x", content_type: "c", retain: true };
        let v5: &[u8] = &[0x33, 13, 0, 1, b't', 0, 7, 6, 0x01, 1, 0x03, 0, 1, b'c', b'x'];
        let v311: &[u8] = &[0x33, 6, 0, 1, b't', 0, 7, b'x'];
        for (protocol, expected) in [(&V5 as &dyn Protocol, v5), (&V311, v311)] {
            let mut out = BytesMut::new();
            protocol.publish(&publication, &mut out).expect("a legal packet");
            assert_eq!(&out[..], expected);
        }
        for (protocol, packet, expected) in [
            (&V5 as &dyn Protocol, &[0x40, 2, 0, 7][..], "Acknowledged { packet_id: 7, refused: None }"),
            (&V5, &[0x40, 4, 0, 7, 0x10, 0], "Acknowledged { packet_id: 7, refused: None }"),
            (&V5, &[0x40, 3, 0, 7, 0x87], "Acknowledged { packet_id: 7, refused: Some(NotAuthorized) }"),
            (&V5, &[0x40, 4, 0, 7, 0x97, 0], "Acknowledged { packet_id: 7, refused: Some(Quota) }"),
            (&V311, &[0x40, 2, 0, 7], "Acknowledged { packet_id: 7, refused: None }"),
        ] {
            let incoming = protocol.read(BytesMut::from(packet));
            let said = incoming.map_or_else(|error| error.to_string(), |incoming| format!("{incoming:?}"));
            assert_eq!(said, expected, "{packet:02x?}");
        }
    }

    // MQTT 5.0 §3.2.2.2 and 3.1.1 table 3.1: byte 4 of CONNACK; §3.14.2.1: byte 3 of DISCONNECT.
    #[test]
    fn says_why_the_broker_does_not_want_us() {
        let v5: &dyn Protocol = &V5;
        for (protocol, packet, expected) in [
            (v5, &[0x20, 3, 0, 0x86, 0][..], "Rejected(Login)"),
            (v5, &[0x20, 3, 0, 0x87, 0], "Rejected(NotAuthorized)"),
            (v5, &[0x20, 3, 0, 0x85, 0], "Rejected(ClientId)"),
            (v5, &[0x20, 2, 0, 0x01], "Rejected(Version)"),
            (v5, &[0x20, 3, 0, 0x84, 0], "Rejected(Version)"),
            (v5, &[0x20, 3, 0, 0x89, 0], "Rejected(Unavailable)"),
            (v5, &[0x20, 3, 0, 0x8A, 0], "Rejected(Banned)"),
            (v5, &[0x20, 3, 0, 0x97, 0], "Rejected(Other)"),
            (v5, &[0xE0, 0], "Ended(Other)"),
            (v5, &[0xE0, 1, 0x8E], "Ended(TakenOver)"),
            (v5, &[0xE0, 2, 0x8B, 0], "Ended(ShuttingDown)"),
            (&V311, &[0x20, 2, 0, 1], "Rejected(Version)"),
            (&V311, &[0x20, 2, 0, 2], "Rejected(ClientId)"),
            (&V311, &[0x20, 2, 0, 3], "Rejected(Unavailable)"),
            (&V311, &[0x20, 2, 0, 4], "Rejected(Login)"),
            (&V311, &[0x20, 2, 0, 5], "Rejected(NotAuthorized)"),
        ] {
            let incoming = protocol.read(BytesMut::from(packet));
            let said = incoming.map_or_else(|error| error.to_string(), |incoming| format!("{incoming:?}"));
            assert_eq!(said, expected, "{packet:02x?}");
        }
    }

    proptest! {
        /// Whatever a broker sends, it is read or refused.
        #[test]
        fn survives_any_packet(first in any::<u8>(), body in proptest::collection::vec(any::<u8>(), 0..100)) {
            let mut packet = BytesMut::new();
            packet.put_u8(first);
            packet.put_u8(u8::try_from(body.len()).expect("below 128"));
            packet.extend_from_slice(&body);
            for protocol in [&V5 as &dyn Protocol, &V311] {
                match protocol.read(packet.clone()) {
                    Ok(_) | Err(_) => {}
                }
            }
        }
    }
}
