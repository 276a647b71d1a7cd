//! One simulated clip through the whole way, and what came of it.

use swingd::film::{Contact, align, listen};
use swingd::sim::Random;
use swingd::sim::sound::{SoundKind, SoundTrack};

/// Film times are right within this, s.
pub const RIGHT_S: f64 = 5e-3;
/// A distance is given as well as this, m: somebody paces it.
const DISTANCE_SIGMA_M: f64 = 0.3;
/// Intervals that differ by less are alike, s.
const ALIKE_S: f64 = 25e-3;
/// From so many swings that are heard on, an ordinary clip should be matched.
pub const ENOUGH: usize = 6;

/// What came of a clip.
pub struct Judged {
    /// Of which kind it was.
    pub kind: SoundKind,
    /// Stored contacts whose crack is in it.
    pub audible: usize,
    /// Whether a listener who hears every crack could match it: enough of them, in a pattern that fits nowhere else.
    pub is_for_a_listener: bool,
    /// A word for why it was refused.
    pub refused: Option<&'static str>,
    /// The largest error of a film time of the stored contacts in the clip, s; infinite where none is in it.
    pub error_s: f64,
    /// Whether the truth lies within 1 and 1.96 σ of the offset.
    pub covered: [bool; 2],
}

impl Judged {
    /// Matched, and all film times right.
    pub fn is_right(&self) -> bool {
        self.refused.is_none() && self.error_s <= RIGHT_S
    }

    /// Matched, and not right.
    pub fn is_wrong(&self) -> bool {
        self.refused.is_none() && !self.is_right()
    }

    /// Of the kind that is to be matched.
    pub fn is_ordinary(&self) -> bool {
        self.kind == SoundKind::Ordinary && self.audible >= ENOUGH
    }
}

/// The clip of a seed: kinds in turn; the distance from bat to microphone is given for every other turn.
pub fn judge(seed: u64, duration_s: Option<f64>) -> Judged {
    let kinds = SoundKind::ALL;
    let kind = kinds[seed as usize % kinds.len()];
    let knows_distance = (seed as usize / kinds.len()).is_multiple_of(2);
    let track = SoundTrack::lasting(kind, seed, duration_s);
    let wav = track.wav().expect("a clip of minutes fits into a file");
    let sound = listen(&wav[..]).expect("a file that is whole");
    let contacts: Vec<Contact> = track.contacts.iter().map(|c| Contact { at_s: c.at_s, sigma_s: c.sigma_s }).collect();
    let distance_m = track.truth.map_or(3.0, |truth| truth.distance_m) + Random::new(seed).normal(DISTANCE_SIGMA_M);
    let mut judged = Judged {
        kind,
        audible: track.audible,
        is_for_a_listener: track.audible >= ENOUGH && fits_nowhere_else(&track),
        refused: None,
        error_s: f64::INFINITY,
        covered: [false; 2],
    };
    let found = match align(&contacts, &sound, knows_distance.then_some(distance_m.max(0.0))) {
        Ok(found) => found,
        Err(refusal) => {
            judged.refused = Some(refusal.word());
            return judged;
        }
    };
    let Some(truth) = track.truth else { return judged };
    let wanted = |at_s| if found.is_seen { truth.seen_s(at_s) } else { truth.heard_s(at_s) };
    let errors = in_clip(&track).into_iter().map(|at_s| (found.film_s(at_s) - wanted(at_s)).abs());
    judged.error_s = errors.reduce(f64::max).unwrap_or(f64::INFINITY);
    let off_s = (found.film_s(found.reference_s) - wanted(found.reference_s)).abs();
    judged.covered = [1.0, 1.96].map(|sigmas| off_s <= sigmas * found.offset_sigma_s);
    judged
}

/// True instants of the stored contacts in the clip, s.
fn in_clip(track: &SoundTrack) -> Vec<f64> {
    let is_in_clip =
        |at_s: &f64| track.truth.is_some_and(|truth| (0.0..=track.duration_s).contains(&truth.seen_s(*at_s)));
    track.contacts.iter().map(|contact| contact.true_s).filter(is_in_clip).collect()
}

/// Whether no shift lays half of the clip's contacts on stored ones again: by the truth, whatever is heard.
fn fits_nowhere_else(track: &SoundTrack) -> bool {
    let stored: Vec<f64> = track.contacts.iter().map(|contact| contact.true_s).collect();
    let in_clip = in_clip(track);
    let on_stored = |at_s: f64| stored.iter().any(|other_s| (other_s - at_s).abs() < ALIKE_S);
    let fits = |shift_s: f64| 2 * in_clip.iter().filter(|at_s| on_stored(*at_s + shift_s)).count() >= in_clip.len();
    let shifts = stored.iter().flat_map(|to_s| in_clip.iter().map(move |from_s| to_s - from_s));
    !in_clip.is_empty() && !shifts.filter(|shift_s| shift_s.abs() > ALIKE_S).any(fits)
}
