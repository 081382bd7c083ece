//! Places for what is sent for long, and whose they are.
//!
//! Nobody has all of them: an account has its share, and so has an address, whatever the accounts are that
//! ask from there. A share is given back where what is sent comes to its end.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::response::Response;

use super::access;
use super::person::Person;

/// Places at a time (own choice: every phone and screen of a large kitchen).
const PLACES_MAX: usize = 400;
/// Those of one account (own choice: a tenth. A browser has six connections to a site by HTTP/1.1 at most, so that
/// six devices of one person, or of a crew that shares an account, may each show as much as they can).
const OF_ACCOUNT_MAX: usize = 40;
/// Those of one address (own choice: half. A whole kitchen may stand behind one; the other half is there for
/// whoever else there is).
const OF_ADDRESS_MAX: usize = 200;

/// Whose places are full.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Full {
    /// Those of the account or of the address: others have theirs.
    Share,
    /// All of them.
    All,
}

/// Who looks on, and from where.
#[derive(Clone, Debug)]
pub(super) struct Looker {
    pub(super) person: Person,
    /// The address that shares are counted for.
    pub(super) address: IpAddr,
}

impl<S: Send + Sync> FromRequestParts<S> for Looker {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Response> {
        let person = Person::from_request_parts(parts, state).await?;
        Ok(Self { person, address: access::whence(&parts.extensions) })
    }
}

/// What is taken.
#[derive(Debug, Default)]
struct Taken {
    all: usize,
    accounts: BTreeMap<String, usize>,
    addresses: BTreeMap<IpAddr, usize>,
}

/// All of them. Copies are the same.
#[derive(Clone, Debug, Default)]
pub(super) struct Places(Arc<Mutex<Taken>>);

impl Places {
    fn taken(&self) -> MutexGuard<'_, Taken> {
        // No holder leaves it half written.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A place for somebody of this account, from this address.
    pub(super) fn take(&self, account: &str, address: IpAddr) -> Result<Place, Full> {
        let address = access::network(address);
        let mut taken = self.taken();
        let of_account = taken.accounts.get(account).copied().unwrap_or_default();
        let of_address = taken.addresses.get(&address).copied().unwrap_or_default();
        if of_account >= OF_ACCOUNT_MAX || of_address >= OF_ADDRESS_MAX {
            return Err(Full::Share);
        }
        if taken.all >= PLACES_MAX {
            return Err(Full::All);
        }
        taken.all += 1;
        taken.accounts.insert(account.to_owned(), of_account + 1);
        taken.addresses.insert(address, of_address + 1);
        Ok(Place { places: self.clone(), account: account.to_owned(), address })
    }
}

/// A place, given back at its end.
#[derive(Debug)]
pub(super) struct Place {
    places: Places,
    account: String,
    address: IpAddr,
}

impl Drop for Place {
    fn drop(&mut self) {
        fn less<Key: Ord>(counts: &mut BTreeMap<Key, usize>, key: &Key) {
            if let Some(count) = counts.get_mut(key) {
                *count -= 1;
                if *count == 0 {
                    counts.remove(key);
                }
            }
        }
        let mut taken = self.places.taken();
        taken.all -= 1;
        less(&mut taken.accounts, &self.account);
        less(&mut taken.addresses, &self.address);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    // The three numbers above; what is given back can be taken again, and nothing is kept of those who left.
    #[test]
    fn nobody_has_all_places() {
        let places = Places::default();
        let taken = |account: &str, from: IpAddr| -> (Vec<Place>, Full) {
            let mut held = Vec::new();
            loop {
                match places.take(account, from) {
                    Ok(place) => held.push(place),
                    Err(full) => return (held, full),
                }
            }
        };
        let (one, full) = taken("ana", address(1));
        assert_eq!((one.len(), full), (40, Full::Share));
        assert!(taken("ana", address(2)).0.is_empty(), "her account is full from anywhere");
        assert!(places.take("ben", address(1)).is_ok(), "others at the same address are not");
        let kitchen: Vec<_> = (0..4).map(|number| taken(&format!("crew-{number}"), address(1))).collect();
        assert!(kitchen.iter().all(|(held, _)| held.len() == 40));
        assert_eq!(places.take("ben", address(1)).err(), Some(Full::Share), "the address is full");
        let others: Vec<_> = (0..5).map(|number| taken(&format!("far-{number}"), address(3))).collect();
        assert_eq!(others.iter().map(|(held, _)| held.len()).sum::<usize>(), 200);
        assert_eq!(places.take("ben", address(4)).err(), Some(Full::All));
        drop(one);
        assert!(places.take("ben", address(4)).is_ok(), "a place is given back");
        drop((kitchen, others));
        assert!(places.take("ana", address(1)).is_ok());
        let left = places.taken();
        assert_eq!((left.all, left.accounts.len(), left.addresses.len()), (0, 0, 0));
    }

    // RFC 6177 §2: whoever has one address of IPv6 has its /64.
    #[test]
    fn a_network_of_ipv6_is_one_address() {
        let places = Places::default();
        let from = |last: u16| IpAddr::from([0x2001, 0xdb8, 0, 0, 0, 0, 0, last]);
        let held: Vec<_> =
            (0..=200).map_while(|number| places.take(&format!("a{number}"), from(number)).ok()).collect();
        assert_eq!(held.len(), 200);
    }
}
