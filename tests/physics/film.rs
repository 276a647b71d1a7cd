//! The matching of films against simulated sound tracks with known answers; `examples/film` does it for a thousand.

#[path = "../../examples/film/judge.rs"]
mod judge;

use judge::{Judged, RIGHT_S, judge};
use swingd::film::{Contact, align, listen};
use swingd::sim::sound::{SoundKind, SoundTrack};

/// Short clips of every kind, of seeds that no constant was chosen on.
const SEEDS: std::ops::Range<u64> = 800_000..800_016;
const CLIP_S: f64 = 100.0;

#[test]
fn simulated_clips_are_matched_rightly_or_refused() {
    let judged: Vec<Judged> = std::thread::scope(|scope| {
        let part = |rest: u64| SEEDS.filter(|seed| seed % 2 == rest).map(|seed| judge(seed, Some(CLIP_S))).collect();
        let running = [0, 1].map(|rest| scope.spawn(move || -> Vec<Judged> { part(rest) }));
        running.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
    });
    for judged in &judged {
        assert!(!judged.is_wrong(), "{:?}: {} s, {:?}", judged.kind, judged.error_s, judged.covered);
        assert!(judged.kind != SoundKind::Foreign || judged.refused.is_some());
    }
    // So that refusing everything does not pass.
    let right = judged.iter().filter(|judged| judged.is_right()).count();
    let ordinary: Vec<&Judged> = judged.iter().filter(|judged| judged.is_ordinary()).collect();
    let ordinary_right = ordinary.iter().filter(|judged| judged.is_right()).count();
    let for_a_listener: Vec<&Judged> = judged.iter().filter(|judged| judged.is_for_a_listener).collect();
    let listener_right = for_a_listener.iter().filter(|judged| judged.is_right()).count();
    assert!(2 * listener_right >= for_a_listener.len(), "{listener_right} of {}", for_a_listener.len());
    assert!(
        right >= 4 && 2 * ordinary_right >= ordinary.len(),
        "{right} right, {ordinary_right} of {}",
        ordinary.len()
    );
}

/// Of a clip of two and a half minutes on a clock that goes wrong, the drift is found within three of its standard errors.
#[test]
fn a_drift_is_found() {
    let track = SoundTrack::lasting(SoundKind::Ordinary, 900_000, Some(150.0));
    let sound = listen(&track.wav().unwrap()[..]).unwrap();
    let contacts: Vec<Contact> = track.contacts.iter().map(|c| Contact { at_s: c.at_s, sigma_s: c.sigma_s }).collect();
    let (found, truth) = (align(&contacts, &sound, None).unwrap(), track.truth.unwrap());
    let off_ppm = (found.drift_ppm - truth.drift * 1e6).abs();
    assert!(off_ppm < 3.0 * found.drift_sigma_ppm, "{off_ppm} {found:?}");
    assert!((found.film_s(found.reference_s) - truth.heard_s(found.reference_s)).abs() < RIGHT_S);
}
