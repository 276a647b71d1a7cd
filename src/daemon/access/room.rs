//! How many connections there may be, so that nobody who opens many keeps others out.

use super::caller::Peer;
use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

/// Connections of this machine: with those of others fewer than the 1024 files that a process may usually have open.
const MOST_LOOPBACK: u32 = 256;
/// Connections of all other machines,
const MOST_OTHERS: u32 = 256;
/// and of one network among them: a few browsers, each with six (facts of browsers: HTTP/1.1).
const MOST_OF_ONE: u32 = 32;

/// Counts connections.
#[derive(Clone, Debug, Default)]
pub struct Room(Arc<Mutex<Taken>>);

#[derive(Debug, Default)]
struct Taken {
    loopback: u32,
    others: u32,
    of_each: BTreeMap<IpAddr, u32>,
}

/// The place of one connection; free again when it is dropped.
#[derive(Debug)]
pub struct Place {
    room: Room,
    /// `None`: this machine.
    network: Option<IpAddr>,
}

impl Room {
    /// A place for a connection, if there is one.
    pub fn enter(&self, peer: &Peer) -> Option<Place> {
        let network = (!peer.is_loopback()).then(|| peer.network());
        let mut taken = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match network {
            None if taken.loopback < MOST_LOOPBACK => taken.loopback += 1,
            Some(of) if taken.others < MOST_OTHERS && taken.of_each.get(&of).is_none_or(|n| *n < MOST_OF_ONE) => {
                taken.others += 1;
                *taken.of_each.entry(of).or_default() += 1;
            }
            _ => return None,
        }
        Some(Place { room: self.clone(), network })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut taken = self.room.0.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(network) = self.network else {
            taken.loopback -= 1;
            return;
        };
        taken.others -= 1;
        if let Some(count) = taken.of_each.get_mut(&network) {
            *count -= 1;
            if *count == 0 {
                taken.of_each.remove(&network);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn peer(ip: [u8; 4]) -> Peer {
        Peer { remote: (ip, 5000).into(), local: (if ip[0] == 127 { ip } else { [192, 0, 2, 1] }, 7951).into() }
    }

    #[test]
    fn one_network_and_all_together_are_bounded_and_leave_this_machine_its_own() {
        let room = Room::default();
        let mut places: Vec<Place> = (0..100).filter_map(|_| room.enter(&peer([192, 0, 2, 9]))).collect();
        assert_eq!(places.len(), 32);
        for other in 10..100 {
            places.extend((0..32).filter_map(|_| room.enter(&peer([192, 0, 2, other]))));
        }
        assert_eq!(places.len(), 256);
        let here: Vec<Place> = (0..1000).filter_map(|_| room.enter(&peer([127, 0, 0, 1]))).collect();
        assert_eq!(here.len(), 256);
        drop(places);
        assert!(room.0.lock().unwrap().of_each.is_empty());
        assert!(room.enter(&peer([192, 0, 2, 9])).is_some() && room.enter(&peer([127, 0, 0, 1])).is_none());
    }
}
