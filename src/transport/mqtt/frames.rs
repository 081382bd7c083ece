//! Cuts the byte stream of a connection into packets, and skips what is too large.
//!
//! A message over the limit is never gathered in memory: its head is read, so
//! that it can be counted and acknowledged, and the rest is let pass. Without
//! that one large message would end every connection at the same place.

use bytes::{Buf, Bytes, BytesMut};

use super::packets::{Ack, PacketError};

/// Type of a message's packet (MQTT 5.0 table 2-1).
const PUBLISH: u8 = 3;

/// One packet.
#[derive(Debug)]
pub enum Frame {
    /// A whole packet.
    Whole(BytesMut),
    /// A message over the limit; its payload passes by.
    Oversized {
        /// Where it was published.
        topic: Bytes,
        /// What the broker waits for.
        ack: Option<Ack>,
    },
}

/// The cutter of one connection.
#[derive(Debug)]
pub struct Frames {
    bytes_max: usize,
    skip: usize,
}

/// Fixed header: first byte, its own length, and the length of what follows.
struct Head {
    first: u8,
    bytes: usize,
    remaining: usize,
}

impl Frames {
    /// Takes packets of up to `bytes_max` bytes, fixed header included.
    pub fn new(bytes_max: u32) -> Self {
        Self { bytes_max: usize::try_from(bytes_max).unwrap_or(usize::MAX), skip: 0 }
    }

    /// Takes the next packet out of `stream`; `None` where more bytes are needed.
    pub fn next(&mut self, stream: &mut BytesMut) -> Result<Option<Frame>, PacketError> {
        let skipped = self.skip.min(stream.len());
        stream.advance(skipped);
        self.skip -= skipped;
        let Some(head) = head(stream)? else {
            return Ok(None);
        };
        let whole = head.bytes + head.remaining;
        if whole > self.bytes_max {
            return self.oversized(&head, stream);
        }
        if stream.len() < whole {
            stream.reserve(whole - stream.len());
            return Ok(None);
        }
        Ok(Some(Frame::Whole(stream.split_to(whole))))
    }

    /// The head of a message over the limit (MQTT 5.0 §3.3.1, §3.3.2).
    fn oversized(&mut self, head: &Head, stream: &mut BytesMut) -> Result<Option<Frame>, PacketError> {
        let whole = head.bytes + head.remaining;
        let qos = (head.first >> 1) & 0b11;
        if head.first >> 4 != PUBLISH || qos == 3 {
            return Err(PacketError::Oversized { bytes: whole });
        }
        let id_bytes = if qos == 0 { 0 } else { 2 };
        let Some(&[high, low]) = stream.get(head.bytes..head.bytes + 2) else {
            return Ok(None);
        };
        let topic_start = head.bytes + 2;
        let topic_end = topic_start + usize::from(u16::from_be_bytes([high, low]));
        if topic_end + id_bytes > whole {
            return Err(PacketError::Oversized { bytes: whole });
        }
        if stream.len() < topic_end + id_bytes {
            return Ok(None);
        }
        let topic = Bytes::copy_from_slice(&stream[topic_start..topic_end]);
        let ack = match (qos, &stream[topic_end..topic_end + id_bytes]) {
            (1, &[high, low]) => Some(Ack::Once(u16::from_be_bytes([high, low]))),
            (2, &[high, low]) => Some(Ack::Twice(u16::from_be_bytes([high, low]))),
            _ => None,
        };
        let present = whole.min(stream.len());
        stream.advance(present);
        self.skip = whole - present;
        Ok(Some(Frame::Oversized { topic, ack }))
    }
}

/// Reads the fixed header (MQTT 5.0 §2.1.1, §1.5.5).
fn head(stream: &[u8]) -> Result<Option<Head>, PacketError> {
    let Some((&first, rest)) = stream.split_first() else {
        return Ok(None);
    };
    let mut remaining = 0_usize;
    for (place, &byte) in rest.iter().enumerate().take(4) {
        remaining |= usize::from(byte & 0x7F) << (7 * place);
        if byte & 0x80 == 0 {
            return Ok(Some(Head { first, bytes: place + 2, remaining }));
        }
    }
    if rest.len() >= 4 { Err(PacketError::Length) } else { Ok(None) }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn publish(qos: u8, topic: &[u8], payload_bytes: usize) -> Vec<u8> {
        let id_bytes = if qos == 0 { 0 } else { 2 };
        let mut remaining = 2 + topic.len() + id_bytes + payload_bytes;
        let mut packet = vec![0x30 | (qos << 1)];
        loop {
            let digit = u8::try_from(remaining % 128).expect("below 128");
            remaining /= 128;
            packet.push(if remaining > 0 { digit | 0x80 } else { digit });
            if remaining == 0 {
                break;
            }
        }
        packet.extend_from_slice(&u16::try_from(topic.len()).expect("a short topic").to_be_bytes());
        packet.extend_from_slice(topic);
        packet.extend_from_slice(&[0x12, 0x34][..id_bytes]);
        packet.resize(packet.len() + payload_bytes, b'x');
        packet
    }

    // Lengths at the edges of the variable byte integer, MQTT 5.0 table 1-1.
    #[test]
    fn reads_the_length_of_a_packet() {
        for (bytes, expected) in [
            (&[0xD0, 0x00][..], Some((2, 0))),
            (&[0xD0, 0x7F], Some((2, 127))),
            (&[0xD0, 0x80, 0x01], Some((3, 128))),
            (&[0xD0, 0xFF, 0x7F], Some((3, 16_383))),
            (&[0xD0, 0x80, 0x80, 0x01], Some((4, 16_384))),
            (&[0xD0, 0xFF, 0xFF, 0xFF, 0x7F], Some((5, 268_435_455))),
            (&[0xD0, 0x80], None),
            (&[], None),
        ] {
            let read = head(bytes).expect("a legal length").map(|head| (head.bytes, head.remaining));
            assert_eq!(read, expected, "{bytes:?}");
        }
        assert!(matches!(head(&[0xD0, 0x80, 0x80, 0x80, 0x80]), Err(PacketError::Length)));
    }

    proptest! {
        /// However the stream is cut, small packets come out whole and large ones are named and passed over.
        #[test]
        fn cuts_any_stream(
            packets in proptest::collection::vec((0_u8..3, 1_usize..20, 0_usize..400), 1..20),
            cuts in proptest::collection::vec(1_usize..70, 1..40),
        ) {
            let bytes: Vec<u8> =
                packets.iter().flat_map(|&(qos, topic, payload)| publish(qos, &vec![b't'; topic], payload)).collect();
            let mut frames = Frames::new(200);
            let mut stream = BytesMut::new();
            let mut seen = Vec::new();
            let mut rest = &bytes[..];
            for cut in cuts.iter().cycle() {
                let (now, later) = rest.split_at((*cut).min(rest.len()));
                rest = later;
                stream.extend_from_slice(now);
                while let Some(frame) = frames.next(&mut stream).expect("a legal stream") {
                    seen.push(frame);
                }
                prop_assert!(stream.len() <= 200);
                if rest.is_empty() {
                    break;
                }
            }
            prop_assert_eq!(seen.len(), packets.len());
            for (frame, &(qos, topic, payload)) in seen.iter().zip(&packets) {
                let whole = publish(qos, &vec![b't'; topic], payload);
                match frame {
                    Frame::Whole(packet) => prop_assert_eq!(&packet[..], &whole[..]),
                    Frame::Oversized { topic: name, ack } => {
                        prop_assert!(whole.len() > 200);
                        prop_assert_eq!(name.len(), topic);
                        prop_assert_eq!(ack.is_some(), qos > 0);
                    }
                }
            }
        }
    }
}
