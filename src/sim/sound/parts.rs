//! Single sounds, added to one track.

use crate::sim::Random;
use std::f64::consts::TAU;

/// A bat's ring: frequency (Hz), decay (s) and share of each mode, and how long the blow itself hisses, s.
pub(super) struct Bat {
    modes: Vec<[f64; 3]>,
    hiss_s: f64,
}

impl Bat {
    /// Wood or metal.
    pub fn draw(random: &mut Random) -> Self {
        let is_wood = random.chance(0.5);
        // Wood is short and dull; a metal barrel's hoop modes ring.
        let (first_hz, decay_s) =
            if is_wood { (random.between(900.0, 1_400.0), 0.006) } else { (random.between(1_700.0, 2_600.0), 0.045) };
        let mode = |order: f64, random: &mut Random| {
            [first_hz * order, decay_s / order * random.between(0.6, 1.4), random.between(0.4, 1.0) / order]
        };
        Self {
            modes: [1.0, 1.7, 2.6, 3.4].map(|order| mode(order, random)).to_vec(),
            hiss_s: random.between(0.8e-3, 3e-3),
        }
    }
}

/// Where sounds come back from: delay (s) and share of each early echo, and the tail's decay (s) and share.
pub(super) struct Room {
    echoes: Vec<[f64; 2]>,
    tail: [f64; 2],
}

impl Room {
    /// From a field to a hall.
    pub fn draw(random: &mut Random) -> Self {
        let count = 1 + random.index(6);
        let echo = |random: &mut Random| [random.between(0.004, 0.07), random.sign() * random.between(0.1, 0.6)];
        let echoes = (0..count).map(|_| echo(random)).collect();
        Self { echoes, tail: [random.between(0.02, 0.17), random.between(0.0, 0.12)] }
    }
}

/// The track as it grows.
pub(super) struct Mixer {
    rate_hz: f64,
    samples: Vec<f32>,
    random: Random,
}

impl Mixer {
    pub fn new(rate_hz: u32, duration_s: f64, random: &mut Random) -> Self {
        let count = (duration_s * f64::from(rate_hz)) as usize;
        Self { rate_hz: rate_hz.into(), samples: vec![0.0; count], random: random.branch() }
    }

    /// What a microphone gives of it: one channel, or two a hand apart.
    pub fn finish(self, gain: f64, is_stereo: bool) -> Vec<Vec<f32>> {
        let first: Vec<f32> = self.samples.iter().map(|sample| sample * gain as f32).collect();
        if !is_stereo {
            return vec![first];
        }
        let later = std::iter::repeat_n(0.0, 12).chain(first.iter().map(|sample| -0.8 * sample));
        let second = later.take(first.len()).collect();
        vec![first, second]
    }

    /// Adds a sound that begins at an instant: a function of the time since.
    fn add(&mut self, from_s: f64, length_s: f64, mut sound: impl FnMut(f64, &mut Random) -> f64) {
        let first = (from_s * self.rate_hz).ceil().max(0.0) as usize;
        let end = ((from_s + length_s) * self.rate_hz).max(0.0) as usize;
        for at in first..end.min(self.samples.len()) {
            let since_s = at as f64 / self.rate_hz - from_s;
            self.samples[at] += sound(since_s, &mut self.random) as f32;
        }
    }

    fn hiss(random: &mut Random) -> f64 {
        random.between(-1.7, 1.7)
    }

    /// Bat on ball, with its echoes.
    pub fn crack(&mut self, at_s: f64, level: f64, bat: &Bat, room: &Room) {
        let blow = |since_s: f64, random: &mut Random| {
            let rings: f64 = bat
                .modes
                .iter()
                .map(|[hz, decay_s, share]| share * (-since_s / decay_s).exp() * (TAU * hz * since_s).sin())
                .sum();
            let begins = 1.0 - (-since_s / 0.1e-3).exp();
            begins * (0.8 * rings + Self::hiss(random) * (-since_s / bat.hiss_s).exp())
        };
        let length_s = 0.06;
        self.add(at_s, length_s, |since_s, random| level * blow(since_s, random));
        for [delay_s, share] in &room.echoes {
            self.add(at_s + delay_s, length_s, |since_s, random| level * share * blow(since_s, random));
        }
        self.tail(at_s, level, room);
    }

    fn tail(&mut self, at_s: f64, level: f64, room: &Room) {
        let [decay_s, share] = room.tail;
        self.add(at_s + 0.01, 4.0 * decay_s, |since_s, random| {
            level * share * Self::hiss(random) * (-since_s / decay_s).exp()
        });
    }

    /// A ball into a net or a wall.
    pub fn thud(&mut self, at_s: f64, level: f64, room: &Room) {
        let hz = self.random.between(150.0, 900.0);
        self.add(at_s, 0.1, |since_s, random| {
            let begins = 1.0 - (-since_s / 1.5e-3).exp();
            let dull = (TAU * hz * since_s).sin() + 0.3 * Self::hiss(random);
            level * begins * dull * (-since_s / 0.02).exp()
        });
        self.tail(at_s, 0.3 * level, room);
    }

    /// Balls dropped, gates, steps: short sounds at random, so many a second.
    pub fn clatter(&mut self, rate_hz: f64, level: f64, room: &Room) {
        if rate_hz <= 0.0 {
            return;
        }
        let mut at_s = 0.0;
        loop {
            at_s -= (1.0 - self.random.unit()).ln() / rate_hz;
            if at_s * self.rate_hz >= self.samples.len() as f64 {
                return;
            }
            let (hz, decay_s) = (self.random.between(400.0, 4_000.0), self.random.between(2e-3, 20e-3));
            let level = level * self.random.between(0.1, 1.0);
            self.add(at_s, 6.0 * decay_s, |since_s, random| {
                level * ((TAU * hz * since_s).sin() + Self::hiss(random)) * (-since_s / decay_s).exp()
            });
            self.tail(at_s, 0.5 * level, room);
        }
    }

    /// Talk for a share of the time: phrases of syllables, each harmonic or a hiss.
    pub fn voices(&mut self, share: f64, level: f64) {
        let end_s = self.samples.len() as f64 / self.rate_hz;
        let mut at_s = 0.0;
        while share > 0.0 && at_s < end_s {
            at_s += self.random.between(0.5, 1.5) * 3.0 * (1.0 - share) / share;
            let pitch_hz = self.random.between(90.0, 320.0);
            let phrase_ends_s = at_s + self.random.between(1.0, 5.0);
            while at_s < phrase_ends_s {
                let length_s = self.random.between(0.06, 0.25);
                if self.random.chance(0.25) {
                    self.consonant(at_s, 0.4 * length_s, level);
                } else {
                    self.vowel(at_s, length_s, level, pitch_hz);
                }
                at_s += length_s + self.random.between(0.0, 0.08);
            }
        }
    }

    /// Pulses of the vocal folds, through one resonance.
    fn vowel(&mut self, at_s: f64, length_s: f64, level: f64, pitch_hz: f64) {
        let pitch_hz = pitch_hz * self.random.between(0.85, 1.2);
        let formant_hz = self.random.between(500.0, 2_800.0);
        self.add(at_s, length_s, |since_s, _| {
            let since_pulse_s = (since_s * pitch_hz).fract() / pitch_hz;
            let swell = (std::f64::consts::PI * since_s / length_s).sin();
            level * swell * (-since_pulse_s / 1.5e-3).exp() * (TAU * formant_hz * since_pulse_s).sin()
        });
    }

    fn consonant(&mut self, at_s: f64, length_s: f64, level: f64) {
        let begins_s = self.random.between(2e-3, 25e-3);
        let mut last = 0.0;
        self.add(at_s, length_s, |since_s, random| {
            let hiss = Self::hiss(random);
            let bright = hiss - last;
            last = hiss;
            0.2 * level * bright * (since_s / begins_s).min(1.0) * (1.0 - since_s / length_s)
        });
    }

    /// Wheels all the time, and a clunk and a hiss at each feed.
    pub fn machine(&mut self, feeds_s: &[f64], level: f64, room: &Room) {
        let wheel_hz = self.random.between(25.0, 60.0);
        let end_s = self.samples.len() as f64 / self.rate_hz;
        self.add(0.0, end_s, |since_s, random| {
            let turn = (since_s * wheel_hz).fract();
            0.03 * level * ((turn - 0.5) + 0.1 * Self::hiss(random))
        });
        for feed_s in feeds_s {
            self.clunk(*feed_s, level, room);
        }
    }

    fn clunk(&mut self, at_s: f64, level: f64, room: &Room) {
        let hz = self.random.between(600.0, 1_800.0);
        self.add(at_s, 0.12, |since_s, random| {
            let begins = 1.0 - (-since_s / 0.5e-3).exp();
            0.5 * level * begins * ((TAU * hz * since_s).sin() + 0.7 * Self::hiss(random)) * (-since_s / 0.012).exp()
        });
        self.tail(at_s, 0.3 * level, room);
    }

    /// Noise of the room and the microphone, and gusts of wind in it, dB below full scale.
    pub fn noise(&mut self, noise_db: f64, wind_db: f64) {
        let amplitude = |db: f64| 10f64.powf(db / 20.0);
        let (noise, wind) = (amplitude(noise_db), amplitude(wind_db));
        let gust_hz = self.random.between(0.1, 0.5);
        let keep = 1.0 - TAU * 120.0 / self.rate_hz;
        let scale = (1.0 - keep * keep).sqrt();
        let (mut slow, end_s) = (0.0, self.samples.len() as f64 / self.rate_hz);
        self.add(0.0, end_s, |since_s, random| {
            slow = keep * slow + scale * Self::hiss(random);
            let gust = 0.5 + 0.5 * (gust_hz * since_s).fract();
            wind * gust * slow + noise * Self::hiss(random)
        });
    }
}
