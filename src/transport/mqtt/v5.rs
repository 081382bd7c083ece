//! MQTT 5.0.

use std::time::Duration;

use bytes::{Bytes, BytesMut};
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{
    ConnAck, Connect, ConnectProperties, ConnectReturnCode, Disconnect, DisconnectReasonCode, Filter,
    LastWill, Login, Packet, PubAckReason, Publish, PublishProperties, RetainForwardRule, Subscribe,
    SubscribeReasonCode,
};

use super::packets::{
    Ack, Ended, Hello, Incoming, Message, PacketError, Protocol, Publication, Refused, Rejection,
    SUBSCRIBE_ID, Wanted,
};

/// MQTT 5.0, the version used where nothing else is configured.
pub(super) struct V5;

impl Protocol for V5 {
    fn connect(&self, hello: &Hello<'_>, out: &mut BytesMut) -> Result<(), PacketError> {
        let mut properties = ConnectProperties::new();
        // Without it the broker drops the session with the connection, even
        // where clean start is off (MQTT 5.0 §3.1.2.11.2).
        properties.session_expiry_interval = hello.session_expiry_s;
        properties.receive_maximum = Some(hello.receive_max);
        properties.max_packet_size = Some(hello.packet_bytes_max);
        let connect = Connect {
            keep_alive: hello.keep_alive_s,
            client_id: hello.client_id.to_owned(),
            clean_start: hello.session_expiry_s.is_none(),
            properties: Some(properties),
        };
        let login = hello.login.map(|(user, password)| Login::new(user, password));
        let will =
            hello.will.map(|will| LastWill::new(will.topic, will.payload, QoS::AtLeastOnce, true, None));
        write(&Packet::Connect(connect, will, login), out)
    }

    fn publish(&self, publication: &Publication<'_>, out: &mut BytesMut) -> Result<(), PacketError> {
        let properties = PublishProperties {
            // UTF-8, as all that the gateway publishes is (§3.3.2.3.2).
            payload_format_indicator: Some(1),
            content_type: Some(publication.content_type.to_owned()),
            ..PublishProperties::default()
        };
        let payload = Bytes::copy_from_slice(publication.payload);
        let mut publish = Publish::new(publication.topic, QoS::AtLeastOnce, payload, Some(properties));
        publish.retain = publication.retain;
        publish.pkid = publication.packet_id;
        write(&Packet::Publish(publish), out)
    }

    fn subscribe(&self, filters: &[Wanted], out: &mut BytesMut) -> Result<(), PacketError> {
        let filters = filters.iter().map(|wanted| {
            let qos = if wanted.at_least_once { QoS::AtLeastOnce } else { QoS::AtMostOnce };
            let mut filter = Filter::new(&wanted.filter, qos);
            // The subscription is repeated on every connection; what the
            // broker retains is wanted once.
            filter.retain_forward_rule = RetainForwardRule::OnNewSubscribe;
            filter
        });
        let mut subscribe = Subscribe::new_many(filters, None);
        subscribe.pkid = SUBSCRIBE_ID;
        write(&Packet::Subscribe(subscribe), out)
    }

    fn disconnect(&self, out: &mut BytesMut) -> Result<(), PacketError> {
        write(&Packet::Disconnect(Disconnect::new(DisconnectReasonCode::NormalDisconnection)), out)
    }

    fn read(&self, mut packet: BytesMut) -> Result<Incoming, PacketError> {
        match packet[..] {
            // A broker without MQTT 5 answers in the form of 3.1.1 (3.1.1 §3.2).
            [0x20, 0x02, _, 0x01] => return Ok(Incoming::Rejected(Rejection::Version)),
            // The codec does not know that reason and properties may be left out (§3.14.2.1, §3.14.2.2.1).
            [0xE0, 0x00] => return Ok(Incoming::Ended(Ended::Other)),
            [0xE0, 0x01, reason] => packet = BytesMut::from(&[0xE0, 0x02, reason, 0x00][..]),
            _ => {}
        }
        let incoming = match Packet::read(&mut packet, None).map_err(PacketError::V5)? {
            Packet::ConnAck(answer) => connected(&answer),
            Packet::Publish(publish) => Incoming::Message(message(publish)),
            Packet::SubAck(answer) => Incoming::Subscribed(
                answer
                    .return_codes
                    .iter()
                    .map(|code| matches!(code, SubscribeReasonCode::Success(_)))
                    .collect(),
            ),
            Packet::PubAck(answer) => {
                let taken =
                    matches!(answer.reason, PubAckReason::Success | PubAckReason::NoMatchingSubscribers);
                Incoming::Acknowledged {
                    packet_id: answer.pkid,
                    refused: (!taken).then(|| refusal(answer.reason)),
                }
            }
            Packet::PubRel(release) => Incoming::Released(release.pkid),
            Packet::PingResp(_) => Incoming::Pong,
            Packet::Disconnect(disconnect) => Incoming::Ended(ended(disconnect.reason_code)),
            Packet::Auth(_)
            | Packet::Connect(..)
            | Packet::PingReq(_)
            | Packet::Subscribe(_)
            | Packet::PubRec(_)
            | Packet::PubComp(_)
            | Packet::Unsubscribe(_)
            | Packet::UnsubAck(_) => Incoming::Other,
        };
        Ok(incoming)
    }
}

fn write(packet: &Packet, out: &mut BytesMut) -> Result<(), PacketError> {
    packet.write(out, None).map(|_| ()).map_err(PacketError::V5)
}

fn message(publish: Publish) -> Message {
    let ack = match publish.qos {
        QoS::AtMostOnce => None,
        QoS::AtLeastOnce => Some(Ack::Once(publish.pkid)),
        QoS::ExactlyOnce => Some(Ack::Twice(publish.pkid)),
    };
    Message { topic: publish.topic, payload: publish.payload, aged: publish.retain || publish.dup, ack }
}

fn connected(answer: &ConnAck) -> Incoming {
    if answer.code != ConnectReturnCode::Success {
        return Incoming::Rejected(rejection(answer.code));
    }
    let properties = answer.properties.as_ref();
    let keep_alive = properties.and_then(|properties| properties.server_keep_alive);
    let receive_max = properties.and_then(|properties| properties.receive_max);
    Incoming::Connected {
        session_present: answer.session_present,
        keep_alive: keep_alive.map(|seconds| Duration::from_secs(u64::from(seconds))),
        receive_max,
    }
}

#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "an enum of the codec; every other code is told as «another reason»"
)]
fn rejection(code: ConnectReturnCode) -> Rejection {
    use ConnectReturnCode as Code;
    match code {
        Code::RefusedProtocolVersion | Code::UnsupportedProtocolVersion => Rejection::Version,
        Code::BadClientId | Code::ClientIdentifierNotValid => Rejection::ClientId,
        Code::BadUserNamePassword | Code::BadAuthenticationMethod => Rejection::Login,
        Code::NotAuthorized => Rejection::NotAuthorized,
        Code::ServiceUnavailable
        | Code::ServerUnavailable
        | Code::ServerBusy
        | Code::ConnectionRateExceeded => Rejection::Unavailable,
        Code::Banned => Rejection::Banned,
        _ => Rejection::Other,
    }
}

fn refusal(reason: PubAckReason) -> Refused {
    match reason {
        PubAckReason::NotAuthorized => Refused::NotAuthorized,
        PubAckReason::TopicNameInvalid => Refused::Topic,
        PubAckReason::QuotaExceeded => Refused::Quota,
        PubAckReason::PayloadFormatInvalid
        | PubAckReason::UnspecifiedError
        | PubAckReason::ImplementationSpecificError
        | PubAckReason::PacketIdentifierInUse
        | PubAckReason::Success
        | PubAckReason::NoMatchingSubscribers => Refused::Other,
    }
}

#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "an enum of the codec; every other code is told as «another reason»"
)]
fn ended(code: DisconnectReasonCode) -> Ended {
    match code {
        DisconnectReasonCode::SessionTakenOver => Ended::TakenOver,
        DisconnectReasonCode::ServerShuttingDown => Ended::ShuttingDown,
        DisconnectReasonCode::NotAuthorized => Ended::NotAuthorized,
        _ => Ended::Other,
    }
}
