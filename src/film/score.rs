//! How well a line "film time = offset + (1 + drift) · contact time" explains which cracks were heard.
//!
//! Each contact that falls into the clip is either heard, with the probability [`HEARD`], within its uncertainty of where the
//! line has it, or not. Other onsets come at random at the rate they have nearby. The score is the logarithm of how much likelier
//! the cracks near the contacts are by the line than by chance.

use super::cracks::{Crack, ONSET_SIGMA_S, Sound};

/// The share of contacts whose crack is heard: common practice, no source.
const HEARD: f64 = 0.85;
/// How far the way of the sound differs from swing to swing, s: 0.35 m.
const WAY_SIGMA_S: f64 = 1.0e-3;
/// A share of matches is so many times less exact.
const STRAY: (f64, f64) = (0.1, 4.0);
/// Onsets nearby are those within so many seconds.
const NEARBY_S: f64 = 20.0;
/// The spread of drifts between a camera's clock and a sensor's: even within 100 ppm.
pub const DRIFT_SIGMA: f64 = 58e-6;

/// A contact, from the middle of all.
#[derive(Clone, Copy, Debug)]
pub struct Centred {
    /// Its place among those that were given.
    pub index: usize,
    /// From the middle of all contacts, s.
    pub at_s: f64,
    /// Of a match with its crack, s.
    pub sigma_s: f64,
}

impl Centred {
    /// With what a match adds to the contact's own standard error.
    pub fn new(index: usize, at_s: f64, contact_sigma_s: f64) -> Self {
        let sigma_s = (contact_sigma_s.powi(2) + ONSET_SIGMA_S.powi(2) + WAY_SIGMA_S.powi(2)).sqrt();
        Self { index, at_s, sigma_s }
    }
}

/// Where contacts are in the film.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Film time of the middle of all contacts, s.
    pub offset_s: f64,
    /// How much faster film time goes.
    pub drift: f64,
}

impl Line {
    /// Film time of a contact, s.
    pub fn film_s(self, at_s: f64) -> f64 {
        self.offset_s + (1.0 + self.drift) * at_s
    }
}

/// A contact and its crack.
#[derive(Clone, Copy, Debug)]
pub struct Match {
    /// The contact.
    pub contact: Centred,
    /// Film time of the crack, s.
    pub crack_s: f64,
    /// How much later it is than the line has it, s.
    pub residual_s: f64,
}

/// A line and what it explains.
#[derive(Clone, Debug)]
pub struct Scored {
    /// The line.
    pub line: Line,
    /// Contacts with their cracks.
    pub matches: Vec<Match>,
    /// Contacts within the clip.
    pub in_clip: usize,
    /// How much likelier than chance, natural logarithm.
    pub score: f64,
    /// Inverse of the fit's normal matrix: variance of the offset at `middle_s` (s²) and of the drift.
    pub variances: [f64; 2],
    /// Where offset and drift are independent: from the middle of all contacts, s.
    pub middle_s: f64,
}

/// Contacts and cracks.
pub struct Scene<'a> {
    /// In order of time.
    pub contacts: &'a [Centred],
    /// What was heard.
    pub sound: &'a Sound,
}

impl Scene<'_> {
    /// Contacts that the line puts into the clip.
    pub fn in_clip(&self, line: Line) -> impl Iterator<Item = &Centred> {
        let end_s = self.sound.duration_s;
        self.contacts.iter().filter(move |contact| (0.0..=end_s).contains(&line.film_s(contact.at_s)))
    }

    /// Cracks between two instants.
    pub fn cracks(&self, from_s: f64, to_s: f64) -> &[Crack] {
        let cracks = &self.sound.cracks;
        let first = cracks.partition_point(|crack| crack.at_s < from_s);
        let end = cracks.partition_point(|crack| crack.at_s <= to_s);
        cracks.get(first..end).unwrap_or_default()
    }

    /// Onsets a second about an instant, at least as many as in the whole clip.
    pub fn rate_hz(&self, at_s: f64) -> f64 {
        let (from_s, to_s) = ((at_s - NEARBY_S).max(0.0), (at_s + NEARBY_S).min(self.sound.duration_s));
        let nearby = (self.cracks(from_s, to_s).len() + 1) as f64 / (to_s - from_s).max(1.0);
        nearby.max(self.sound.cracks.len() as f64 / self.sound.duration_s)
    }

    /// Each contact with the crack nearest to where the line has it, no crack twice.
    pub fn matches(&self, line: Line, reach: impl Fn(&Centred) -> f64) -> Vec<Match> {
        let mut found: Vec<Match> = Vec::new();
        for contact in self.in_clip(line) {
            let (film_s, reach_s) = (line.film_s(contact.at_s), reach(contact));
            let near = self.cracks(film_s - reach_s, film_s + reach_s).iter();
            let distance = |crack: &&Crack| (crack.at_s - film_s).abs();
            let Some(crack) = near.min_by(|a, b| distance(a).total_cmp(&distance(b))) else { continue };
            let new = Match { contact: *contact, crack_s: crack.at_s, residual_s: crack.at_s - film_s };
            match found.last_mut() {
                Some(last) if last.crack_s == new.crack_s => {
                    if new.residual_s.abs() < last.residual_s.abs() {
                        *last = new;
                    }
                }
                _ => found.push(new),
            }
        }
        found
    }

    /// The line fitted from where it begins, and its score.
    pub fn settle(&self, mut line: Line, reach_s: f64) -> Option<Scored> {
        let mut fit = None;
        for round in 0..5 {
            let matches = self.matches(line, |c| if round < 2 { reach_s } else { 4.0 * c.sigma_s });
            let fitted = fit_line(line, &matches)?;
            line = fitted.0;
            fit = Some(fitted);
        }
        let (line, middle_s, variances) = fit?;
        let matches = self.matches(line, |contact| 4.0 * contact.sigma_s);
        let in_clip = self.in_clip(line).count();
        let missed = in_clip.saturating_sub(matches.len()) as f64;
        let score = matches.iter().map(|found| self.gain(found)).sum::<f64>() + missed * (1.0 - HEARD).ln();
        Some(Scored { line, matches, in_clip, score, variances, middle_s })
    }

    /// What a match adds to the score.
    fn gain(&self, found: &Match) -> f64 {
        let normal =
            |sigma: f64| (-0.5 * (found.residual_s / sigma).powi(2)).exp() / (sigma * std::f64::consts::TAU.sqrt());
        let sigma_s = found.contact.sigma_s;
        let density = (1.0 - STRAY.0) * normal(sigma_s) + STRAY.0 * normal(STRAY.1 * sigma_s);
        ((1.0 - HEARD) + HEARD * density / self.rate_hz(found.crack_s - found.residual_s)).ln()
    }
}

/// Least squares with drifts known to be small, after Tukey's biweight (6 σ) of the residuals so far: the line, the contact time at
/// which offset and drift are independent, and the variances of both.
fn fit_line(line: Line, matches: &[Match]) -> Option<(Line, f64, [f64; 2])> {
    let weight = |found: &Match| {
        let far = found.residual_s / (6.0 * found.contact.sigma_s);
        (1.0 - far * far).max(0.02).powi(2) / found.contact.sigma_s.powi(2)
    };
    let mean = |of: &dyn Fn(&Match) -> f64, total: f64| matches.iter().map(|m| weight(m) * of(m)).sum::<f64>() / total;
    let total: f64 = matches.iter().map(weight).sum();
    if total.is_nan() || total <= 0.0 {
        return None;
    }
    let middle_s = mean(&|m| m.contact.at_s, total);
    let late_s = mean(&|m| m.crack_s - m.contact.at_s, total);
    let spread = mean(&|m| (m.contact.at_s - middle_s).powi(2), 1.0);
    let along = mean(&|m| (m.contact.at_s - middle_s) * (m.crack_s - m.contact.at_s - late_s), 1.0);
    let stiff = spread + DRIFT_SIGMA.powi(-2);
    let drift = along / stiff;
    let fitted = Line { offset_s: late_s - drift * middle_s, drift };
    (fitted.offset_s.is_finite() && line.offset_s.is_finite()).then_some((fitted, middle_s, [1.0 / total, 1.0 / stiff]))
}
