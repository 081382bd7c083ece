//! MQTT 3.1.1, for brokers that speak nothing newer.
//!
//! This version cannot tell the broker how many messages may be under way or
//! how large one may be: those limits are the broker's
//! (`max_inflight_messages`, `message_size_limit`), and how long it keeps the
//! session of an absent gateway is its own affair too.

use bytes::{Bytes, BytesMut};
use rumqttc::mqttbytes::QoS;
use rumqttc::mqttbytes::v4::{
    ConnAck, Connect, ConnectReturnCode, LastWill, Login, Packet, Publish, Subscribe, SubscribeFilter,
    SubscribeReasonCode,
};

use super::packets::{
    Ack, Ended, Hello, Incoming, Message, PacketError, Protocol, Publication, Rejection, SUBSCRIBE_ID, Wanted,
};

/// MQTT 3.1.1.
pub(super) struct V311;

impl Protocol for V311 {
    fn connect(&self, hello: &Hello<'_>, out: &mut BytesMut) -> Result<(), PacketError> {
        let mut connect = Connect::new(hello.client_id);
        connect.keep_alive = hello.keep_alive_s;
        connect.clean_session = hello.session_expiry_s.is_none();
        connect.last_will =
            hello.will.map(|will| LastWill::new(will.topic, will.payload, QoS::AtLeastOnce, true));
        connect.login = hello.login.map(|(user, password)| Login::new(user, password));
        write(&Packet::Connect(connect), out)
    }

    fn publish(&self, publication: &Publication<'_>, out: &mut BytesMut) -> Result<(), PacketError> {
        let mut publish = Publish::new(publication.topic, QoS::AtLeastOnce, publication.payload);
        publish.retain = publication.retain;
        publish.pkid = publication.packet_id;
        write(&Packet::Publish(publish), out)
    }

    fn subscribe(&self, filters: &[Wanted], out: &mut BytesMut) -> Result<(), PacketError> {
        let filters = filters.iter().map(|wanted| {
            let qos = if wanted.at_least_once { QoS::AtLeastOnce } else { QoS::AtMostOnce };
            SubscribeFilter::new(wanted.filter.clone(), qos)
        });
        let mut subscribe = Subscribe::new_many(filters);
        subscribe.pkid = SUBSCRIBE_ID;
        write(&Packet::Subscribe(subscribe), out)
    }

    fn disconnect(&self, out: &mut BytesMut) -> Result<(), PacketError> {
        write(&Packet::Disconnect, out)
    }

    fn read(&self, mut packet: BytesMut) -> Result<Incoming, PacketError> {
        let incoming = match Packet::read(&mut packet, usize::MAX).map_err(PacketError::V311)? {
            Packet::ConnAck(answer) => connected(&answer),
            Packet::Publish(publish) => Incoming::Message(message(publish)),
            Packet::SubAck(answer) => Incoming::Subscribed(
                answer
                    .return_codes
                    .iter()
                    .map(|code| matches!(code, SubscribeReasonCode::Success(_)))
                    .collect(),
            ),
            Packet::PubAck(answer) => Incoming::Acknowledged { packet_id: answer.pkid, refused: None },
            Packet::PubRel(release) => Incoming::Released(release.pkid),
            Packet::PingResp => Incoming::Pong,
            Packet::Disconnect => Incoming::Ended(Ended::Other),
            Packet::Connect(_)
            | Packet::PubRec(_)
            | Packet::PubComp(_)
            | Packet::Subscribe(_)
            | Packet::Unsubscribe(_)
            | Packet::UnsubAck(_)
            | Packet::PingReq => Incoming::Other,
        };
        Ok(incoming)
    }
}

fn write(packet: &Packet, out: &mut BytesMut) -> Result<(), PacketError> {
    packet.write(out, usize::MAX).map(|_| ()).map_err(PacketError::V311)
}

fn message(publish: Publish) -> Message {
    let ack = match publish.qos {
        QoS::AtMostOnce => None,
        QoS::AtLeastOnce => Some(Ack::Once(publish.pkid)),
        QoS::ExactlyOnce => Some(Ack::Twice(publish.pkid)),
    };
    Message {
        topic: Bytes::from(publish.topic),
        payload: publish.payload,
        aged: publish.retain || publish.dup,
        ack,
    }
}

fn connected(answer: &ConnAck) -> Incoming {
    match answer.code {
        ConnectReturnCode::Success => Incoming::Connected {
            session_present: answer.session_present,
            keep_alive: None,
            receive_max: None,
        },
        ConnectReturnCode::RefusedProtocolVersion => Incoming::Rejected(Rejection::Version),
        ConnectReturnCode::BadClientId => Incoming::Rejected(Rejection::ClientId),
        ConnectReturnCode::ServiceUnavailable => Incoming::Rejected(Rejection::Unavailable),
        ConnectReturnCode::BadUserNamePassword => Incoming::Rejected(Rejection::Login),
        ConnectReturnCode::NotAuthorized => Incoming::Rejected(Rejection::NotAuthorized),
    }
}
