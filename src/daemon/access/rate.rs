//! How often one may ask: token buckets (a bucket holds a burst, fills at a steady rate, and a request takes one).

use super::caller::Peer;
use std::collections::BTreeMap;
use std::net::IpAddr;
use std::time::Duration;
use uuid::Uuid;

/// This machine may ask so many times as often as another.
const LOOPBACK_TIMES: u64 = 100;
/// Wrong tokens and codes of one network in a minute. Nobody types faster.
const GUESSES_PER_MINUTE: u64 = 10;
/// And of all networks together.
const ALL_GUESSES_PER_MINUTE: u64 = 60;
/// So many networks or tokens are told apart; of more, those that asked least are forgotten.
const MOST_KEYS: usize = 4096;
/// A bucket holds what comes in so many seconds.
const BURST_S: f64 = 15.0;

/// A bucket for each key.
#[derive(Debug)]
struct Buckets<K> {
    per_s: f64,
    burst: f64,
    level: BTreeMap<K, (f64, Duration)>,
}

impl<K: Ord + Copy> Buckets<K> {
    fn new(per_minute: u64, burst_s: f64) -> Self {
        let per_s = per_minute as f64 / 60.0;
        Self { per_s, burst: (per_s * burst_s).max(1.0), level: BTreeMap::new() }
    }

    fn level(&self, key: K, now: Duration) -> f64 {
        self.level.get(&key).map_or(self.burst, |(level, at)| {
            (level + now.saturating_sub(*at).as_secs_f64() * self.per_s).min(self.burst)
        })
    }

    /// How long until there is one to take; `None`: there is.
    fn wait(&self, key: K, now: Duration) -> Option<Duration> {
        let missing = 1.0 - self.level(key, now);
        (missing > 0.0).then(|| Duration::from_secs_f64(missing / self.per_s))
    }

    /// Takes one, or says how long until there is one.
    fn take(&mut self, key: K, now: Duration) -> Result<(), Duration> {
        if let Some(wait) = self.wait(key, now) {
            return Err(wait);
        }
        let level = self.level(key, now) - 1.0;
        if !self.level.contains_key(&key) && self.level.len() >= MOST_KEYS {
            self.make_room(now);
        }
        self.level.insert(key, (level, now));
        Ok(())
    }

    /// Full buckets mean nothing; if there are none, the fullest is given up.
    fn make_room(&mut self, now: Duration) {
        let full: Vec<K> = self.level.keys().copied().filter(|key| self.level(*key, now) >= self.burst).collect();
        self.level.retain(|key, _| !full.contains(key));
        if self.level.len() >= MOST_KEYS {
            let fullest = self.level.keys().copied().max_by(|a, b| self.level(*a, now).total_cmp(&self.level(*b, now)));
            self.level.retain(|key, _| Some(*key) != fullest);
        }
    }
}

/// All limits.
#[derive(Debug)]
pub struct Rates {
    networks: Buckets<IpAddr>,
    loopback: Buckets<()>,
    tokens: Buckets<Uuid>,
    guesses: Buckets<IpAddr>,
    all_guesses: Buckets<()>,
}

impl Rates {
    /// For so many requests a minute of another machine or a token.
    pub fn new(requests_per_minute: u64) -> Self {
        Self {
            networks: Buckets::new(requests_per_minute, BURST_S),
            loopback: Buckets::new(requests_per_minute.saturating_mul(LOOPBACK_TIMES), BURST_S),
            tokens: Buckets::new(requests_per_minute, BURST_S),
            guesses: Buckets::new(GUESSES_PER_MINUTE, 60.0),
            all_guesses: Buckets::new(ALL_GUESSES_PER_MINUTE, 60.0),
        }
    }

    /// A request from there.
    ///
    /// # Errors
    /// After how long it may be made again.
    pub fn request(&mut self, peer: &Peer, now: Duration) -> Result<(), Duration> {
        if peer.is_loopback() { self.loopback.take((), now) } else { self.networks.take(peer.network(), now) }
    }

    /// A request with this token.
    ///
    /// # Errors
    /// After how long it may be made again.
    pub fn token(&mut self, id: Uuid, now: Duration) -> Result<(), Duration> {
        self.tokens.take(id, now)
    }

    /// Whether a network may present a token or code at all: not after too many wrong ones.
    ///
    /// # Errors
    /// After how long it may.
    pub fn may_guess(&self, peer: &Peer, now: Duration) -> Result<(), Duration> {
        self.guesses.wait(peer.network(), now).map_or(Ok(()), Err)
    }

    /// What was presented was wrong.
    ///
    /// # Errors
    /// If there were too many wrong ones from everywhere: after how long the next may be looked at.
    pub fn wrong(&mut self, peer: &Peer, now: Duration) -> Result<(), Duration> {
        // Without any left it was refused before.
        let _ = self.guesses.take(peer.network(), now);
        self.all_guesses.take((), now)
    }

    /// Whether codes are looked at now, after all that were wrong.
    ///
    /// # Errors
    /// After how long they are.
    pub fn may_anybody_guess(&self, now: Duration) -> Result<(), Duration> {
        self.all_guesses.wait((), now).map_or(Ok(()), Err)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn peer(remote: &str) -> Peer {
        Peer { remote: remote.parse().unwrap(), local: "192.0.2.1:7951".parse().unwrap() }
    }

    fn at_s(seconds: f64) -> Duration {
        Duration::from_secs_f64(seconds)
    }

    #[test]
    fn a_burst_goes_through_and_then_the_rate() {
        // 1 a second, a burst of 15.
        let mut rates = Rates::new(60);
        let (one, other) = (peer("192.0.2.9:1"), peer("192.0.2.10:1"));
        let taken = (0..100).filter(|_| rates.request(&one, at_s(0.0)).is_ok()).count();
        assert_eq!(taken, 15);
        let wait = rates.request(&one, at_s(0.25)).unwrap_err();
        assert!((wait.as_secs_f64() - 0.75).abs() < 1e-9, "{wait:?}");
        assert_eq!(rates.request(&one, at_s(1.0)), Ok(()));
        assert!(rates.request(&one, at_s(1.5)).is_err());
        assert_eq!(rates.request(&other, at_s(1.5)), Ok(()), "another network has its own");
        let later = (0..100).filter(|_| rates.request(&one, at_s(1000.0)).is_ok()).count();
        assert_eq!(later, 15, "never more than a burst");
    }

    #[test]
    fn this_machine_may_ask_more_often_but_not_without_end() {
        let mut rates = Rates::new(60);
        let here = Peer { local: "127.0.0.1:7951".parse().unwrap(), ..peer("127.0.0.1:1") };
        let taken = (0..10_000).filter(|_| rates.request(&here, at_s(0.0)).is_ok()).count();
        assert_eq!(taken, 1500);
    }

    #[test]
    fn ten_wrong_guesses_shut_a_network_out_and_sixty_shut_out_all() {
        let mut rates = Rates::new(600);
        let one = peer("192.0.2.9:1");
        for _ in 0..10 {
            assert_eq!(rates.may_guess(&one, at_s(0.0)), Ok(()));
            assert_eq!(rates.wrong(&one, at_s(0.0)), Ok(()));
        }
        assert_eq!(rates.may_guess(&one, at_s(0.0)), Err(at_s(6.0)));
        assert_eq!(rates.may_guess(&one, at_s(6.0)), Ok(()));
        for k in 0..50 {
            assert_eq!(rates.wrong(&peer(&format!("192.0.2.{}:1", 100 + k)), at_s(0.0)), Ok(()));
        }
        assert!(rates.may_anybody_guess(at_s(0.0)).is_err() && rates.may_anybody_guess(at_s(1.0)).is_ok());
    }

    #[test]
    fn more_networks_than_are_told_apart_do_not_make_it_grow() {
        let mut rates = Rates::new(60);
        let tired = peer("192.0.2.9:1");
        while rates.request(&tired, at_s(0.0)).is_ok() {}
        for k in 0..10_000_u32 {
            let ip = IpAddr::V4((0x0a00_0000 + k).into());
            let _ = rates.request(&Peer { remote: (ip, 1).into(), ..tired }, at_s(0.0));
        }
        assert_eq!(rates.networks.level.len(), MOST_KEYS);
        assert!(rates.request(&tired, at_s(0.5)).is_err(), "who asked most is not forgotten");
    }
}
