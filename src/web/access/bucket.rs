//! Tries from one address: a bucket of tokens for each that fills at a steady rate.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::time::Duration;

use crate::core::time::Timestamp;

/// Tries at once (own choice: a shift change at one tablet).
const AT_ONCE: f64 = 20.0;
/// Time for one more.
pub(super) const ONE_MORE: Duration = Duration::from_secs(6);
/// Addresses that are known at a time; the one that tried longest ago is forgotten.
const ADDRESSES_MAX: usize = 4_096;

/// Tries of every address.
#[derive(Debug, Default)]
pub(super) struct Buckets(BTreeMap<IpAddr, (f64, Timestamp)>);

impl Buckets {
    /// Whether this address may try, which is counted.
    pub(super) fn take(&mut self, now: Timestamp, address: IpAddr) -> bool {
        let address = network(address);
        let (left, since) = self.0.get(&address).copied().unwrap_or((AT_ONCE, now));
        let filled = (left + now.since(since).as_secs_f64() / ONE_MORE.as_secs_f64()).min(AT_ONCE);
        let may = filled >= 1.0;
        if !self.0.contains_key(&address) && self.0.len() >= ADDRESSES_MAX {
            let oldest = self.0.iter().min_by_key(|(_, (_, since))| *since).map(|(address, _)| *address);
            oldest.and_then(|oldest| self.0.remove(&oldest));
        }
        self.0.insert(address, (if may { filled - 1.0 } else { filled }, now));
        may
    }
}

/// Whoever has one address of IPv6 has its /64 (RFC 6177 §2).
pub(in crate::web) fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V4(address) => IpAddr::V4(address),
        IpAddr::V6(address) => {
            let [a, b, c, d, ..] = address.segments();
            IpAddr::from([a, b, c, d, 0, 0, 0, 0])
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // The two numbers above; a /64 is one peer.
    #[test]
    fn tries_are_bounded_for_each_address() {
        let mut buckets = Buckets::default();
        let at = |seconds: u64| Timestamp::from_micros(0).plus(Duration::from_secs(seconds));
        let address = |text: &str| text.parse::<IpAddr>().expect("an address");
        let (one, same, other) = (address("2001:db8::1"), address("2001:db8::ffff:2"), address("10.0.0.1"));
        let taken = (0..30).filter(|_| buckets.take(at(0), one)).count();
        assert_eq!(taken, 20);
        assert!(!buckets.take(at(0), same));
        assert!(buckets.take(at(0), other));
        assert!(buckets.take(at(0), address("::ffff:10.0.0.1")));
        assert!(!buckets.take(at(5), one));
        assert!(buckets.take(at(7), one));
        assert!(!buckets.take(at(7), one));
    }

    // Own choice; without it a flood of addresses would be a flood of memory.
    #[test]
    fn the_oldest_address_is_forgotten() {
        let mut buckets = Buckets::default();
        for number in 0_u32..5_000 {
            let now = Timestamp::from_micros(i64::from(number));
            assert!(buckets.take(now, IpAddr::from(number.to_be_bytes())));
        }
        assert_eq!(buckets.0.len(), 4_096);
    }
}
