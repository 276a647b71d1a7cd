//! Pairing: a code that somebody at this machine shows, and another device gives back once for a token.
//!
//! A code is one of 31⁸ = 8.5 · 10¹¹ (39.6 bits), for ten minutes, once. Whoever gave five wrong ones back is not listened to
//! any more, and a hundred of all void it: so nobody alone voids what others are shown, and of codes that somebody with many
//! addresses guesses at, one in 8.5 · 10⁹ is guessed.

use super::secret::{code_of, digest, is_same};
use crate::daemon::store::rows::Role;
use std::collections::BTreeMap;
use std::net::IpAddr;
use std::time::Duration;

/// A code is worth something for so long.
pub const VALID_FOR: Duration = Duration::from_secs(600);
/// After so many wrong guesses a network's are not looked at,
pub const MOST_WRONG: u32 = 5;
/// and after so many of all the code is worth nothing.
pub const MOST_WRONG_OF_ALL: u32 = 100;

/// What a code gives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Offer {
    /// What the token's holder may.
    pub role: Role,
    /// What it is for.
    pub label: String,
    /// How many days the token is valid.
    pub days: u32,
}

/// Where codes are given back. At most one is open.
#[derive(Debug, Default)]
pub struct Desk {
    open: Option<Open>,
}

#[derive(Debug)]
struct Open {
    sha256: [u8; 32],
    offer: Offer,
    ends: Duration,
    /// Of each network. Those of all bound how many there are.
    wrong: BTreeMap<IpAddr, u32>,
}

impl Desk {
    /// Opens a code made by [`new_code`](super::secret::new_code); the one before is void.
    pub fn open(&mut self, code: &str, offer: Offer, now: Duration) {
        self.open = Some(Open { sha256: digest(code), offer, ends: now + VALID_FOR, wrong: BTreeMap::new() });
    }

    /// Gives a code back, from a [network](super::Peer::network). `None` if it is wrong, no code is open, or the network is
    /// not listened to; which of them is not told.
    pub fn redeem(&mut self, typed: &str, network: IpAddr, now: Duration) -> Option<Offer> {
        let open = self.open.as_mut().filter(|open| now < open.ends)?;
        if open.wrong.get(&network).is_some_and(|wrong| *wrong >= MOST_WRONG) {
            return None;
        }
        let given = digest(&code_of(typed).unwrap_or_default());
        if is_same(&given, &open.sha256) {
            return self.open.take().map(|open| open.offer);
        }
        *open.wrong.entry(network).or_default() += 1;
        if open.wrong.values().sum::<u32>() >= MOST_WRONG_OF_ALL {
            self.open = None;
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn desk() -> Desk {
        let mut desk = Desk::default();
        desk.open("ABCD2345", offer(), Duration::from_secs(100));
        desk
    }

    fn offer() -> Offer {
        Offer { role: Role::Coach, label: "phone".into(), days: 30 }
    }

    fn from(last: u8) -> IpAddr {
        [192, 0, 2, last].into()
    }

    #[test]
    fn a_code_is_good_once() {
        let (mut desk, now) = (desk(), Duration::from_secs(200));
        assert_eq!(desk.redeem("abcd-2345", from(9), now), Some(offer()));
        assert_eq!(desk.redeem("abcd-2345", from(9), now), None);
        assert_eq!(Desk::default().redeem("", from(9), Duration::ZERO), None);
    }

    #[test]
    fn a_code_ends_after_ten_minutes() {
        let just_before = Duration::from_secs(700) - Duration::from_nanos(1);
        assert_eq!(desk().redeem("ABCD2345", from(9), just_before), Some(offer()));
        assert_eq!(desk().redeem("ABCD2345", from(9), Duration::from_secs(700)), None);
    }

    #[test]
    fn five_wrong_guesses_of_a_network_shut_it_out_and_void_nothing() {
        let now = Duration::from_secs(200);
        for (wrong, given) in [(4, Some(offer())), (5, None)] {
            let mut desk = desk();
            for guess in ["", "ABCD2346", "nonsense", "ABCD-234", "2345ABCD"].iter().take(wrong) {
                assert_eq!(desk.redeem(guess, from(9), now), None);
            }
            assert_eq!(desk.redeem("ABCD2345", from(9), now), given, "{wrong}");
        }
        let mut desk = desk();
        for _ in 0..1000 {
            assert_eq!(desk.redeem("EFGH2345", from(9), now), None);
        }
        assert_eq!(desk.redeem("ABCD2345", from(10), now), Some(offer()), "others are shown it still");
    }

    #[test]
    fn a_hundred_of_all_void_it_and_a_new_code_voids_the_old() {
        let now = Duration::from_secs(200);
        for (wrong, given) in [(99, Some(offer())), (100, None)] {
            let mut desk = desk();
            for k in 0..wrong {
                assert_eq!(desk.redeem("EFGH2345", from(100 + k / 5), now), None);
            }
            assert_eq!(desk.redeem("ABCD2345", from(9), now), given, "{wrong}");
        }
        let mut desk = desk();
        desk.open("EFGH2345", offer(), now);
        assert_eq!(desk.redeem("ABCD2345", from(9), now), None);
        assert_eq!(desk.redeem("EFGH2345", from(9), now), Some(offer()));
    }
}
