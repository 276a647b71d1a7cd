//! What happens in a clip, before any of it is heard.

use super::parts::{Bat, Mixer, Room};
use super::{SPEED_OF_SOUND_MPS, SoundTruth, StoredContact};
use crate::sim::Random;

/// What makes a clip what it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SoundKind {
    /// Six swings or more are heard, with moderate noise.
    Ordinary,
    /// Swings at nearly even intervals.
    Even,
    /// One or two swings.
    Few,
    /// None of the stored swings.
    Foreign,
    /// Other cages as loud as this one.
    Neighbours,
    /// A machine feeds, near the microphone, and the swings follow it.
    Machine,
    /// Much noise, wind, voices, clipping.
    Loud,
    /// Many contacts are not heard, and many cracks not measured.
    Missed,
}

impl SoundKind {
    /// All.
    pub const ALL: [Self; 8] = [
        Self::Ordinary,
        Self::Even,
        Self::Few,
        Self::Foreign,
        Self::Neighbours,
        Self::Machine,
        Self::Loud,
        Self::Missed,
    ];
}

/// A swing of the lesson.
struct Swing {
    true_s: f64,
    meets_ball: bool,
    is_stored: bool,
    /// Loudness of its crack.
    level: f64,
    distance_m: f64,
}

/// All of a clip.
pub(super) struct Plan {
    kind: SoundKind,
    swings: Vec<Swing>,
    pub stored: Vec<StoredContact>,
    pub truth: SoundTruth,
    pub is_in_clip: bool,
    pub duration_s: f64,
    pub gain: f64,
    bat: Bat,
    room: Room,
    /// Feeds of the machine, film time, s.
    feeds: Vec<f64>,
    random: Random,
}

impl Plan {
    pub fn draw(kind: SoundKind, duration_s: Option<f64>, random: &mut Random) -> Self {
        let duration_s = duration_s.unwrap_or_else(|| match kind {
            SoundKind::Few => random.between(8.0, 20.0),
            SoundKind::Ordinary => random.between(90.0, 150.0),
            _ => random.between(50.0, 150.0),
        });
        let (mut swings, feeds) = swings(kind, duration_s, random);
        let lesson_s = swings.last().map_or(0.0, |swing| swing.true_s);
        let drift = random.between(-100e-6, 100e-6);
        let begins_s = random.between(-5.0, (lesson_s - duration_s + 5.0).max(0.0));
        let truth = SoundTruth { offset_s: -begins_s * (1.0 + drift), drift, distance_m: random.between(1.0, 9.0) };
        for swing in &mut swings {
            swing.distance_m = (truth.distance_m + random.about(0.0, 0.3)).max(0.3);
        }
        let stored = stored(kind, &swings, lesson_s, random);
        let feeds = feeds.into_iter().map(|feed_s| truth.seen_s(feed_s)).collect();
        let gain = if kind == SoundKind::Loud { random.between(1.0, 12.0) } else { random.between(0.1, 2.0) };
        let is_in_clip = kind != SoundKind::Foreign;
        let (bat, room) = (Bat::draw(random), Room::draw(random));
        Self { kind, swings, stored, truth, is_in_clip, duration_s, gain, bat, room, feeds, random: random.branch() }
    }

    /// Stored contacts whose crack is in the clip and is not muffled.
    pub fn audible(&self) -> usize {
        let is_heard = |swing: &&Swing| {
            let at_s = self.truth.heard_s(swing.true_s);
            swing.meets_ball && swing.is_stored && swing.level > 0.1 && at_s > 0.1 && at_s < self.duration_s - 0.1
        };
        if self.is_in_clip { self.swings.iter().filter(is_heard).count() } else { 0 }
    }

    /// All of it into the mixer.
    pub fn play(&self, mixer: &mut Mixer) {
        let mut random = self.random.clone();
        for swing in self.swings.iter().filter(|swing| swing.meets_ball) {
            let heard_s = self.truth.seen_s(swing.true_s) + swing.distance_m / SPEED_OF_SOUND_MPS;
            let level = swing.level / swing.distance_m.max(1.0);
            mixer.crack(heard_s, level, &self.bat, &self.room);
            if random.chance(0.6) {
                mixer.thud(heard_s + random.between(0.08, 0.5), level * random.between(0.05, 0.5), &self.room);
            }
        }
        let (voices, others, clatter) = match self.kind {
            SoundKind::Loud => (0.5, 1, 0.4),
            SoundKind::Neighbours => (0.15, 3, 0.1),
            _ => (random.between(0.0, 0.3), random.index(3), random.between(0.0, 0.1)),
        };
        mixer.voices(voices, if self.kind == SoundKind::Loud { 0.3 } else { 0.12 });
        for _ in 0..others {
            let level =
                if self.kind == SoundKind::Neighbours { random.between(0.2, 1.0) } else { random.between(0.02, 0.3) };
            self.other_bat(mixer, level, &mut random);
        }
        mixer.clatter(clatter, 0.1, &self.room);
        if !self.feeds.is_empty() {
            let level = if self.kind == SoundKind::Machine { random.between(0.2, 1.5) } else { 0.1 };
            mixer.machine(&self.feeds, level, &self.room);
        }
        let (noise_db, wind_db) = if self.kind == SoundKind::Loud { (-45.0, -15.0) } else { (-65.0, -35.0) };
        mixer.noise(random.between(noise_db, noise_db + 10.0), random.between(wind_db - 10.0, wind_db));
    }

    fn other_bat(&self, mixer: &mut Mixer, level: f64, random: &mut Random) {
        let bat = Bat::draw(random);
        let mean_s = random.between(5.0, 14.0);
        let mut at_s = random.between(0.0, mean_s);
        while at_s < self.duration_s {
            mixer.crack(at_s, 0.3 * level * random.between(0.5, 1.2), &bat, &self.room);
            at_s += mean_s * random.between(0.6, 1.6);
        }
    }
}

/// The lesson's swings, and the feeds of a machine, on the recording's clock, s.
fn swings(kind: SoundKind, duration_s: f64, random: &mut Random) -> (Vec<Swing>, Vec<f64>) {
    let lesson_s = duration_s * random.between(1.0, 4.0) + 10.0;
    let has_machine = kind == SoundKind::Machine || random.chance(0.2);
    let period_s = random.between(6.0, 12.0);
    let even_s = random.between(5.0, 10.0);
    let scatter_s = match kind {
        SoundKind::Even => random.between(0.0, 0.15),
        SoundKind::Machine => random.between(0.004, 0.04),
        _ => 0.0,
    };
    let (mut at_s, mut feed_s) = (random.between(0.0, 5.0), 0.0);
    let (mut swings, mut feeds) = (Vec::new(), Vec::new());
    while at_s < lesson_s {
        if has_machine {
            feeds.push(if kind == SoundKind::Machine { feed_s } else { at_s - 0.45 - random.normal(0.05) });
        }
        let meets_ball = !random.chance(if kind == SoundKind::Missed { 0.2 } else { 0.08 });
        let muffled = if kind == SoundKind::Missed { 0.45 } else { 0.03 };
        let level = if random.chance(muffled) { random.between(0.0, 0.02) } else { random.between(0.25, 1.0) };
        let is_stored = !random.chance(if kind == SoundKind::Missed { 0.25 } else { 0.03 });
        swings.push(Swing { true_s: at_s, meets_ball, is_stored, level, distance_m: 1.0 });
        at_s = match kind {
            SoundKind::Even => at_s + even_s + random.normal(scatter_s),
            SoundKind::Machine => {
                feed_s += period_s * if random.chance(0.1) { 2.0 } else { 1.0 };
                feed_s + 0.45 + random.normal(scatter_s)
            }
            SoundKind::Few => at_s + random.between(6.0, 12.0),
            _ => at_s + random.between(6.0, 14.0) + if random.chance(0.15) { random.between(5.0, 30.0) } else { 0.0 },
        };
    }
    (swings, feeds)
}

/// What is stored of them; of a foreign clip, swings of another lesson.
fn stored(kind: SoundKind, swings: &[Swing], lesson_s: f64, random: &mut Random) -> Vec<StoredContact> {
    // From what a sensor of 1 kHz knows of a blow to what one of 100 Hz does.
    let sigma_s = 1e-3 * random.between(0.1f64.ln(), 2f64.ln()).exp();
    let mut contact = |true_s: f64| StoredContact { at_s: true_s + random.about(0.0, sigma_s), sigma_s, true_s };
    if kind != SoundKind::Foreign {
        return swings.iter().filter(|swing| swing.is_stored && swing.meets_ball).map(|s| contact(s.true_s)).collect();
    }
    let mut others = Random::new((lesson_s * 1e6) as u64);
    let mut at_s = 0.0;
    let mut contacts = Vec::new();
    while at_s < lesson_s {
        contacts.push(contact(at_s));
        at_s += others.between(6.0, 16.0);
    }
    contacts
}
