//! Which offset between film and swings explains the cracks that were heard, if only one does.
//!
//! All differences between a crack and a contact vote for an offset, over drifts up to ±[`MOST_DRIFT`]; the lines with most votes
//! are fitted and scored (`score`). The best is taken if it is far likelier than chance over all offsets that were tried,
//! far likelier than the second best, has most contacts of the clip with it, and if what it matches is not merely something
//! that goes along with the swings. Otherwise it refuses and says why.

use super::cracks::{Sound, keep_loudest};
use super::score::{Centred, Line, Scene, Scored};
use std::cmp::Reverse;

/// The speed of sound in air of 20 °C, m/s (ISO 9613-1: 343.2).
pub const SPEED_OF_SOUND_MPS: f64 = 343.2;
/// Drifts are looked for up to this.
pub const MOST_DRIFT: f64 = 110e-6;
/// A vote counts within this width, s.
const BIN_S: f64 = 8e-3;
/// No more contacts are matched with a clip.
pub const MOST_CONTACTS: usize = 2_000;
/// Contacts further from one another are not of one lesson, s.
pub const LONGEST_S: f64 = 12.0 * 3600.0;
/// Fewer matches never count.
pub const FEWEST: usize = 4;
/// Lines that are fitted, a drift.
const MOST_LINES: usize = 60;
/// Lines that are fitted in all, those with most votes: ten minutes of sound have fewer.
const MOST_LINES_IN_ALL: usize = 2_000;
/// Pairs of a contact and a crack that vote, over all drifts: of more, the loudest cracks vote.
const MOST_VOTES: usize = 300_000_000;
/// So much likelier than chance the best is, over all that were tried: natural logarithm of 100,000.
const BEYOND_CHANCE: f64 = 11.5;
/// So much likelier than the second best: natural logarithm of 10,000.
const BEYOND_SECOND: f64 = 9.2;
/// A place that would be believed alone is a rival with so many matches fewer, or a fifth of them: a swing that was not measured
/// at one end and a crack that was not heard at the other shift a pattern of even intervals by one.
const LOST: usize = 2;
/// So much of the contacts within the clip is heard.
const LEAST_SHARE: f64 = 0.5;
/// Lines closer than this are one, s.
const ONE_S: f64 = 25e-3;
/// What goes along with swings comes within this of their contacts, s.
const HALO_S: f64 = 80e-3;
/// The standard error that all cracks share: where on its rise an onset is taken, s.
const SHARED_SIGMA_S: f64 = 0.3e-3;
/// The standard error of a distance that somebody gives, m.
pub const DISTANCE_SIGMA_M: f64 = 0.3;

/// Film times with a larger standard error are not given, s: three and a half of them are 5 ms.
const MOST_SIGMA_S: f64 = 5e-3 / 3.5;

/// A contact that was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contact {
    /// On any clock that all share, s.
    pub at_s: f64,
    /// Its standard error, s.
    pub sigma_s: f64,
}

/// Where the swings are in the film.
#[derive(Clone, Debug, PartialEq)]
pub struct Alignment {
    /// Film time minus contact time, at `reference_s`, s.
    pub offset_s: f64,
    /// Its standard error, s.
    pub offset_sigma_s: f64,
    /// The contact time at which the offset holds: the middle of those that were matched, s.
    pub reference_s: f64,
    /// How much faster film time goes than contact time, parts in a million.
    pub drift_ppm: f64,
    /// Its standard error.
    pub drift_sigma_ppm: f64,
    /// Contacts whose crack was found.
    pub matched: usize,
    /// Contacts within the clip.
    pub in_clip: usize,
    /// The root mean square of what is left between cracks and contacts, s.
    pub residual_s: f64,
    /// Whether the film time is that of the contact as it is seen; otherwise as it is heard, later by the sound's way.
    pub is_seen: bool,
}

impl Alignment {
    /// Film time of an instant on the contacts' clock, s.
    pub fn film_s(&self, at_s: f64) -> f64 {
        at_s + self.offset_s + self.drift_ppm * 1e-6 * (at_s - self.reference_s)
    }

    /// The standard error of that, s.
    pub fn sigma_s(&self, contact: Contact) -> f64 {
        let turned_s = self.drift_sigma_ppm * 1e-6 * (contact.at_s - self.reference_s);
        (self.offset_sigma_s.powi(2) + turned_s.powi(2) + contact.sigma_s.powi(2)).sqrt()
    }
}

/// Why film and swings are not matched.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// Not enough swings met a ball.
    #[error("{0} swings met a ball; expected at least {FEWEST} to match")]
    FewContacts(usize),
    /// So many cannot be of one clip.
    #[error("{0} swings met a ball; expected at most {MOST_CONTACTS}, those of one round or lesson")]
    ManyContacts(usize),
    /// They are too far apart.
    #[error("the swings lie {0:.0} h apart; expected those of one lesson, within 12 h")]
    FarApart(f64),
    /// Nothing was heard.
    #[error("{0} cracks are heard in the clip; expected at least {FEWEST}")]
    FewCracks(usize),
    /// The best is what chance gives.
    #[error(
        "at best {matched} of {in_clip} swings in the clip have a crack, no more than chance may give with {cracks} cracks heard; is it the clip of these swings?"
    )]
    Chance {
        /// Contacts with a crack.
        matched: usize,
        /// Contacts within the clip.
        in_clip: usize,
        /// Cracks heard.
        cracks: usize,
    },
    /// Several places are as good.
    #[error(
        "the match is not unique: {matched} swings fit at one place and {second} at another, {apart_s:.2} s apart; swings at even intervals fit many places"
    )]
    NotUnique {
        /// Matches of the best.
        matched: usize,
        /// Matches of the second.
        second: usize,
        /// How far apart they are, s.
        apart_s: f64,
    },
    /// Most are not heard.
    #[error("{matched} of {in_clip} swings in the clip have a crack; expected at least half")]
    FewMatched {
        /// Contacts with a crack.
        matched: usize,
        /// Contacts within the clip.
        in_clip: usize,
    },
    /// Film times would be too uncertain.
    #[error(
        "{matched} swings fit, but film times would be uncertain by {:.1} ms; expected at most {:.1} ms (standard error)",
        sigma_s * 1e3,
        MOST_SIGMA_S * 1e3
    )]
    Vague {
        /// Contacts with a crack.
        matched: usize,
        /// The largest standard error of the line within the clip, s.
        sigma_s: f64,
    },
    /// It may be a machine or a net.
    #[error(
        "{near} sounds lie close to swings but not at them: what is heard may go along with the swings, as a machine or a net does, and not be the bat"
    )]
    GoesAlong {
        /// Onsets close to contacts that are not matched.
        near: usize,
    },
}

impl Refusal {
    /// A word for it.
    pub fn word(&self) -> &'static str {
        match self {
            Self::FewContacts(_) => "few_contacts",
            Self::ManyContacts(_) => "many_contacts",
            Self::FarApart(_) => "far_apart",
            Self::FewCracks(_) => "few_cracks",
            Self::Chance { .. } => "chance",
            Self::NotUnique { .. } => "not_unique",
            Self::FewMatched { .. } => "few_matched",
            Self::Vague { .. } => "vague",
            Self::GoesAlong { .. } => "goes_along",
        }
    }
}

/// Finds where the swings are in the film. With the distance from bat to microphone, film times are those at which a contact is
/// seen; without, at which it is heard.
///
/// # Errors
/// If there is no such place, or more than one.
pub fn align(contacts: &[Contact], sound: &Sound, distance_m: Option<f64>) -> Result<Alignment, Refusal> {
    let (centred, middle_s) = centre(contacts)?;
    if sound.cracks.len() < FEWEST || sound.duration_s.is_nan() || sound.duration_s <= 0.0 {
        return Err(Refusal::FewCracks(sound.cracks.len()));
    }
    let scene = Scene { contacts: &centred, sound };
    let (lines, tried) = candidates(&scene);
    let mut scored: Vec<Scored> = lines.into_iter().filter_map(|line| scene.settle(line, 1.5 * BIN_S)).collect();
    scored.sort_by(|a, b| b.score.total_cmp(&a.score));
    let nothing = Refusal::Chance { matched: 0, in_clip: 0, cracks: sound.cracks.len() };
    let best = scored.first().ok_or(nothing)?;
    judge(&scene, best, &scored, tried)?;
    let found = alignment(best, middle_s, distance_m);
    let line_s = |contact: &Centred| found.sigma_s(Contact { at_s: contact.at_s + middle_s, sigma_s: 0.0 });
    let sigma_s = scene.in_clip(best.line).map(line_s).fold(0.0, f64::max);
    if sigma_s > MOST_SIGMA_S { Err(Refusal::Vague { matched: found.matched, sigma_s }) } else { Ok(found) }
}

/// Contacts in order from their middle, and the middle.
fn centre(contacts: &[Contact]) -> Result<(Vec<Centred>, f64), Refusal> {
    let is_sound =
        |contact: &&Contact| contact.at_s.is_finite() && contact.sigma_s.is_finite() && contact.sigma_s >= 0.0;
    let usable: Vec<(usize, &Contact)> = contacts.iter().enumerate().filter(|(_, contact)| is_sound(contact)).collect();
    if usable.len() < FEWEST {
        return Err(Refusal::FewContacts(usable.len()));
    }
    if usable.len() > MOST_CONTACTS {
        return Err(Refusal::ManyContacts(usable.len()));
    }
    let times = || usable.iter().map(|(_, contact)| contact.at_s);
    let (first_s, last_s) = (times().fold(f64::INFINITY, f64::min), times().fold(f64::NEG_INFINITY, f64::max));
    if last_s - first_s > LONGEST_S {
        return Err(Refusal::FarApart((last_s - first_s) / 3600.0));
    }
    let middle_s = first_s + 0.5 * (last_s - first_s);
    let centred = |(index, contact): (usize, &Contact)| Centred::new(index, contact.at_s - middle_s, contact.sigma_s);
    let mut centred: Vec<Centred> = usable.into_iter().map(centred).collect();
    centred.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    Ok((centred, middle_s))
}

/// Lines with most votes, and the logarithm of how many were tried.
fn candidates(scene: &Scene) -> (Vec<Line>, f64) {
    let edge = |contact: Option<&Centred>| contact.map_or(0.0, |contact| contact.at_s.abs());
    let half_s = edge(scene.contacts.first()).max(edge(scene.contacts.last())) * (1.0 + MOST_DRIFT);
    let first_s = -half_s - BIN_S;
    let bins = ((scene.sound.duration_s + 2.0 * half_s) / BIN_S) as usize + 4;
    let overlap_s = scene.sound.duration_s.min(2.0 * half_s);
    let steps = (MOST_DRIFT * overlap_s / BIN_S).ceil() as i32;
    let drifts = 2 * steps.unsigned_abs() as usize + 1;
    let mut voting = scene.sound.cracks.clone();
    keep_loudest(&mut voting, (MOST_VOTES / (drifts * scene.contacts.len().max(1))).max(FEWEST));
    let mut votes = vec![0u16; bins];
    let mut lines = Vec::new();
    for step in -steps..=steps {
        let drift = MOST_DRIFT * f64::from(step) / f64::from(steps.max(1));
        votes.fill(0);
        for contact in scene.contacts {
            let at_s = (1.0 + drift) * contact.at_s + first_s;
            for crack in &voting {
                if let Some(bin) = votes.get_mut(((crack.at_s - at_s) / BIN_S) as usize) {
                    *bin = bin.saturating_add(1);
                }
            }
        }
        let line = |bin: usize| Line { offset_s: first_s + (bin as f64 + 1.0) * BIN_S, drift };
        lines.extend(most_voted(&votes).map(|(count, bin)| (count, line(bin))));
    }
    lines.sort_by_key(|line| Reverse(line.0));
    lines.truncate(MOST_LINES_IN_ALL);
    (lines.into_iter().map(|(_, line)| line).collect(), (bins as f64 * drifts as f64).ln())
}

/// The pairs of bins with most votes together: how many, and the first bin.
fn most_voted(votes: &[u16]) -> impl Iterator<Item = (u16, usize)> {
    let pair = |pair: &[u16]| pair.iter().fold(0u16, |sum, &count| sum.saturating_add(count));
    let most = votes.windows(2).map(pair).max().unwrap_or(0);
    let least = (most / 5 * 3).max(2);
    let counted = votes.windows(2).map(pair).enumerate();
    let mut chosen: Vec<(u16, usize)> =
        counted.filter(|(_, count)| *count >= least).map(|(bin, count)| (count, bin)).collect();
    chosen.sort_by(|a, b| b.cmp(a));
    chosen.into_iter().take(MOST_LINES)
}

/// Whether the best may be believed.
fn judge(scene: &Scene, best: &Scored, all: &[Scored], tried: f64) -> Result<(), Refusal> {
    let (matched, in_clip) = (best.matches.len(), best.in_clip);
    if matched < FEWEST || best.score < tried + BEYOND_CHANCE {
        return Err(Refusal::Chance { matched, in_clip, cracks: scene.sound.cracks.len() });
    }
    let film_s = |scored: &Scored| scored.line.film_s(best.middle_s);
    let is_apart = |other: &&Scored| (film_s(other) - film_s(best)).abs() > ONE_S;
    let rivals = |other: &&Scored| {
        let is_believable = other.score >= tried + BEYOND_CHANCE;
        let is_near = best.score - other.score < BEYOND_SECOND;
        is_near || (is_believable && other.matches.len() + LOST.max(matched / 5) >= matched)
    };
    if let Some(second) = all.iter().filter(is_apart).find(rivals) {
        let apart_s = (film_s(second) - film_s(best)).abs();
        return Err(Refusal::NotUnique { matched, second: second.matches.len(), apart_s });
    }
    if (matched as f64) < LEAST_SHARE * in_clip as f64 {
        return Err(Refusal::FewMatched { matched, in_clip });
    }
    let (near, expected) = halo(scene, best);
    if near >= 3 && 4 * near > matched && near as f64 > expected + 4.0 * expected.sqrt() + 1.0 {
        return Err(Refusal::GoesAlong { near });
    }
    Ok(())
}

/// Onsets close to contacts that have no crack, and how many chance would put there.
fn halo(scene: &Scene, best: &Scored) -> (usize, f64) {
    let is_matched = |contact: &Centred| best.matches.iter().any(|found| found.contact.index == contact.index);
    let (mut near, mut expected) = (0, 0.0);
    for contact in scene.in_clip(best.line).filter(|contact| !is_matched(contact)) {
        let film_s = best.line.film_s(contact.at_s);
        near += scene.cracks(film_s - HALO_S, film_s + HALO_S).len();
        expected += 2.0 * HALO_S * scene.rate_hz(film_s);
    }
    (near, expected)
}

/// The best line on the contacts' own clock, with its uncertainty.
fn alignment(best: &Scored, middle_s: f64, distance_m: Option<f64>) -> Alignment {
    let squares = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
        best.matches.iter().map(|found| of(found.residual_s, found.contact.sigma_s).powi(2)).sum()
    };
    let count = best.matches.len() as f64;
    // Four matches more that are as exact as they should be, so that a few lucky ones do not promise too much.
    let excess = ((squares(&|residual_s, sigma_s| residual_s / sigma_s) + 4.0) / (count - 1.0 + 4.0)).max(1.0);
    let [offset, drift] = best.variances;
    let distance_m = distance_m.filter(|distance_m| distance_m.is_finite());
    let way_s = distance_m.unwrap_or(0.0) / SPEED_OF_SOUND_MPS;
    let way_sigma_s = distance_m.map_or(0.0, |_| DISTANCE_SIGMA_M / SPEED_OF_SOUND_MPS);
    Alignment {
        offset_s: best.line.film_s(best.middle_s) - way_s - (middle_s + best.middle_s),
        offset_sigma_s: (offset * excess + SHARED_SIGMA_S.powi(2) + way_sigma_s.powi(2)).sqrt(),
        reference_s: middle_s + best.middle_s,
        drift_ppm: best.line.drift * 1e6,
        drift_sigma_ppm: (drift * excess).sqrt() * 1e6,
        matched: best.matches.len(),
        in_clip: best.in_clip,
        residual_s: (squares(&|residual_s, _| residual_s) / count.max(1.0)).sqrt(),
        is_seen: distance_m.is_some(),
    }
}

#[cfg(test)]
mod tests;
