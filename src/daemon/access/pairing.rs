//! Pairing: a code that somebody at this machine shows, and another device gives back once for a token.
//!
//! A code is worth 39.6 bits for ten minutes, once, and five wrong guesses of anybody void it: one in 10¹¹ is guessed.

use super::secret::{code_of, digest, is_same};
use crate::daemon::store::rows::Role;
use std::time::Duration;

/// A code is worth something for so long.
pub const VALID_FOR: Duration = Duration::from_secs(600);
/// After so many wrong guesses it is not.
pub const MOST_WRONG: u32 = 5;

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
    wrong: u32,
}

impl Desk {
    /// Opens a code made by [`new_code`](super::secret::new_code); the one before is void.
    pub fn open(&mut self, code: &str, offer: Offer, now: Duration) {
        self.open = Some(Open { sha256: digest(code), offer, ends: now + VALID_FOR, wrong: 0 });
    }

    /// Gives a code back. `None` if it is wrong or no code is open; which of them is not told.
    pub fn redeem(&mut self, typed: &str, now: Duration) -> Option<Offer> {
        let open = self.open.as_mut().filter(|open| now < open.ends)?;
        let given = digest(&code_of(typed).unwrap_or_default());
        if is_same(&given, &open.sha256) {
            return self.open.take().map(|open| open.offer);
        }
        open.wrong += 1;
        if open.wrong >= MOST_WRONG {
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

    #[test]
    fn a_code_is_good_once() {
        let mut desk = desk();
        assert_eq!(desk.redeem("abcd-2345", Duration::from_secs(200)), Some(offer()));
        assert_eq!(desk.redeem("abcd-2345", Duration::from_secs(200)), None);
        assert_eq!(Desk::default().redeem("", Duration::ZERO), None);
    }

    #[test]
    fn a_code_ends_after_ten_minutes() {
        let just_before = Duration::from_secs(700) - Duration::from_nanos(1);
        assert_eq!(desk().redeem("ABCD2345", just_before), Some(offer()));
        assert_eq!(desk().redeem("ABCD2345", Duration::from_secs(700)), None);
    }

    #[test]
    fn five_wrong_guesses_void_it_and_a_new_code_voids_the_old() {
        for (wrong, given) in [(4, Some(offer())), (5, None)] {
            let mut desk = desk();
            for guess in ["", "ABCD2346", "nonsense", "ABCD-234", "2345ABCD"].iter().take(wrong) {
                assert_eq!(desk.redeem(guess, Duration::from_secs(200)), None);
            }
            assert_eq!(desk.redeem("ABCD2345", Duration::from_secs(200)), given, "{wrong}");
        }
        let mut desk = desk();
        desk.open("EFGH2345", offer(), Duration::from_secs(200));
        assert_eq!(desk.redeem("ABCD2345", Duration::from_secs(200)), None);
        assert_eq!(desk.redeem("EFGH2345", Duration::from_secs(200)), Some(offer()));
    }
}
