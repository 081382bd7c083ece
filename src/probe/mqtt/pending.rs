//! What was taken from the broker and is not committed yet.
//!
//! Limits: the source stops reading at as many messages or bytes as it gives to
//! [`Pending::over`].

use std::collections::VecDeque;

use crate::transport::mqtt::packets::Ack;

/// Messages between arrival and commit, in order of delivery.
#[derive(Debug, Default)]
pub(super) struct Pending {
    held: VecDeque<Held>,
    messages: usize,
    bytes: usize,
}

/// One delivery that waits for its commit.
#[derive(Debug)]
pub(super) struct Held {
    /// Number of the delivery.
    pub(super) delivery: u64,
    /// The connection it arrived on: packet identifiers mean nothing on any other.
    pub(super) connection: u64,
    /// Messages in it.
    pub(super) messages: usize,
    /// Bytes of topics and payloads in it.
    pub(super) bytes: usize,
    /// What the broker waits for, in order of arrival.
    pub(super) acks: Vec<Ack>,
}

impl Pending {
    /// Adds a delivery; its number is above all before.
    pub(super) fn push(&mut self, held: Held) {
        self.messages += held.messages;
        self.bytes += held.bytes;
        self.held.push_back(held);
    }

    /// Lets go of every delivery up to and including `committed`, and calls
    /// `send` for each acknowledgement that belongs to `connection`.
    ///
    /// Those of an older connection are dropped: the broker sends their
    /// messages again, and an old identifier may stand for another message.
    pub(super) fn release(&mut self, committed: u64, connection: Option<u64>, mut send: impl FnMut(Ack)) {
        while let Some(held) = self.held.pop_front_if(|held| held.delivery <= committed) {
            self.messages -= held.messages;
            self.bytes -= held.bytes;
            if connection == Some(held.connection) {
                held.acks.into_iter().for_each(&mut send);
            }
        }
    }

    /// Whether as much is held as these limits allow.
    pub(super) fn over(&self, messages_max: usize, bytes_max: usize) -> bool {
        self.over_with(0, 0, messages_max, bytes_max)
    }

    /// Whether as much would be held with these `messages` and `bytes` added.
    pub(super) fn over_with(
        &self,
        messages: usize,
        bytes: usize,
        messages_max: usize,
        bytes_max: usize,
    ) -> bool {
        self.messages + messages >= messages_max || self.bytes + bytes >= bytes_max
    }

    /// Whether nothing waits for a commit.
    pub(super) fn is_empty(&self) -> bool {
        self.held.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held(delivery: u64, connection: u64, ids: &[u16]) -> Held {
        let acks = ids.iter().map(|&id| Ack::Once(id)).collect();
        Held { delivery, connection, messages: ids.len(), bytes: 10 * ids.len(), acks }
    }

    // MQTT 5.0 §4.6: acknowledgements go out in the order of the messages; §2.2.1:
    // an identifier belongs to one message of one connection's flow.
    #[test]
    fn releases_in_order_and_only_for_the_present_connection() {
        let mut pending = Pending::default();
        pending.push(held(1, 1, &[1, 2]));
        pending.push(held(2, 2, &[1]));
        pending.push(held(3, 2, &[2, 3]));
        let mut sent = Vec::new();

        pending.release(0, Some(2), |ack| sent.push(ack));
        assert_eq!(sent, []);
        assert!(pending.over(5, usize::MAX) && pending.over(usize::MAX, 50) && !pending.over(6, 51));

        pending.release(2, Some(2), |ack| sent.push(ack));
        assert_eq!(sent, [Ack::Once(1)]);

        pending.release(9, Some(2), |ack| sent.push(ack));
        assert_eq!(sent, [Ack::Once(1), Ack::Once(2), Ack::Once(3)]);
        assert!(pending.is_empty() && !pending.over(1, 1));
    }

    #[test]
    fn sends_nothing_without_a_connection() {
        let mut pending = Pending::default();
        pending.push(held(1, 1, &[7]));
        pending.release(1, None, |_| panic!("there is nobody to tell"));
        assert!(pending.is_empty());
    }
}
