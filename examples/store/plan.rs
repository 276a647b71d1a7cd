//! Who comes when, and does what: three years of a cage, from a seed.

use swingd::daemon::store::rows::{Bats, Occasion, Side};
use swingd::sim::Random;
use uuid::{Builder, Uuid};

/// 2023-01-02, µs of UTC.
const FIRST_US: i64 = 1_672_617_600_000_000;
/// A day, µs.
const DAY_US: i64 = 86_400_000_000;
/// Three years.
const DAYS: f64 = 1096.0;
/// Lessons of an athlete, and times of practice between them.
const LESSONS: usize = 40;
const PRACTICES: usize = 16;
/// Rounds in a lesson; practice is one.
const ROUNDS: usize = 4;
/// Installations that share the store.
pub const CAGES: [&str; 4] = ["north", "south", "east", "west"];
/// What is practised.
pub const DRILLS: [&str; 8] =
    ["inside pitch", "outside pitch", "opposite field", "high tee", "low tee", "two strikes", "one hand", "timing"];
/// What is put on swings.
pub const TAGS: [&str; 5] = ["for review", "good finish", "late", "early", "with video"];

/// How large.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sizes {
    /// Swings in all.
    pub swings: usize,
    /// Of so many athletes.
    pub athletes: usize,
}

/// An athlete.
#[derive(Clone, Debug)]
pub struct Planned {
    /// Its id.
    pub id: Uuid,
    /// From where they bat.
    pub bats: Bats,
    /// The bats they use, most often the first.
    pub own_bats: [Uuid; 3],
    /// By how much their metrics differ from those of the pool, each a share of its value.
    pub shift: f64,
}

/// A lesson or a time of practice.
#[derive(Clone, Debug)]
pub struct Session {
    /// Its id.
    pub id: Uuid,
    /// Whose, by place.
    pub athlete: usize,
    /// Which of the two.
    pub occasion: Occasion,
    /// When, µs of UTC.
    pub begun_us: i64,
    /// The rounds and how many swings each has.
    pub rounds: Vec<(Uuid, usize)>,
    /// For everything else in it.
    pub seed: u64,
}

/// All of it.
#[derive(Debug)]
pub struct Plan {
    /// How large.
    pub sizes: Sizes,
    /// All athletes.
    pub athletes: Vec<Planned>,
    /// All bats.
    pub bats: Vec<Uuid>,
    /// In the order of time.
    pub sessions: Vec<Session>,
}

impl Plan {
    /// The same for the same sizes.
    pub fn new(sizes: Sizes) -> Self {
        let mut random = Random::new(sizes.athletes as u64);
        let bats: Vec<Uuid> = (0..60).map(|_| id(&mut random, FIRST_US)).collect();
        let athletes: Vec<Planned> = (0..sizes.athletes).map(|_| planned(&mut random, &bats)).collect();
        let mut sessions: Vec<Session> = Vec::new();
        for athlete in 0..sizes.athletes {
            // What does not divide evenly goes to the first.
            let swings = sizes.swings / sizes.athletes + usize::from(athlete < sizes.swings % sizes.athletes);
            sessions.extend(of_athlete(&mut random, athlete, swings));
        }
        sessions.sort_by_key(|session| session.begun_us);
        Self { sizes, athletes, bats, sessions }
    }
}

impl Session {
    /// At which installation.
    pub fn cage(&self) -> &'static str {
        CAGES[self.athlete % CAGES.len()]
    }
}

/// An id as the service gives them: with the time in front, so that rows that come together stand together.
pub fn id(random: &mut Random, at_us: i64) -> Uuid {
    let mut bytes = [0; 10];
    bytes.iter_mut().for_each(|byte| *byte = random.bits() as u8);
    Builder::from_unix_timestamp_millis(u64::try_from(at_us / 1000).unwrap_or(0), &bytes).into_uuid()
}

fn planned(random: &mut Random, bats: &[Uuid]) -> Planned {
    let side = random.unit();
    Planned {
        id: id(random, FIRST_US),
        bats: if side < 0.6 {
            Bats::Right
        } else if side < 0.85 {
            Bats::Left
        } else {
            Bats::Both
        },
        own_bats: std::array::from_fn(|_| bats[random.index(bats.len())]),
        shift: random.normal(0.05),
    }
}

impl Planned {
    /// The side of a round.
    pub fn side(&self, random: &mut Random) -> Side {
        match self.bats {
            Bats::Left => Side::Left,
            Bats::Both if random.chance(0.4) => Side::Left,
            _ => Side::Right,
        }
    }
}

/// Sessions over three years among which so many swings are shared out.
fn of_athlete(random: &mut Random, athlete: usize, swings: usize) -> Vec<Session> {
    let mut weights = Vec::new();
    for _ in 0..LESSONS {
        weights.push([(); ROUNDS].map(|()| random.between(8.0, 16.0)).to_vec());
    }
    for _ in 0..PRACTICES {
        weights.push(vec![random.between(5.0, 8.0)]);
    }
    let all: f64 = weights.iter().flatten().sum();
    let (mut before, mut given) = (0.0, 0);
    let mut share = |weight: f64| {
        before += weight;
        let until = (before / all * swings as f64).round() as usize;
        let now = until.min(swings) - given;
        given += now;
        now
    };
    let mut sessions = Vec::new();
    for (place, weights) in weights.into_iter().enumerate() {
        let is_lesson = place < LESSONS;
        let (place, of) = if is_lesson { (place, LESSONS) } else { (place - LESSONS, PRACTICES) };
        let day = ((place as f64 + random.unit()) / of as f64 * DAYS).floor() as i64;
        let begun_us = FIRST_US + day * DAY_US + (random.between(9.0, 20.0) * 3.6e9) as i64;
        let rounds = weights.into_iter().map(|weight| (id(random, begun_us), share(weight))).collect();
        let occasion = if is_lesson { Occasion::Lesson } else { Occasion::Practice };
        let (id, seed) = (id(random, begun_us), random.bits());
        sessions.push(Session { id, athlete, occasion, begun_us, rounds, seed });
    }
    sessions
}
