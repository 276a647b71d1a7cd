use super::super::cracks::Crack;
use super::super::example::PATTERN_S;
use super::*;

const OFFSET_S: f64 = 12.5;

fn sound(cracks_s: impl IntoIterator<Item = f64>) -> Sound {
    let mut cracks: Vec<Crack> = cracks_s.into_iter().map(|at_s| Crack { at_s, loudness: 0.5 }).collect();
    cracks.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    Sound { duration_s: 90.0, cracks, left_out: 0 }
}

fn contacts(at_s: &[f64]) -> Vec<Contact> {
    at_s.iter().map(|&at_s| Contact { at_s: 1000.0 + at_s, sigma_s: 0.2e-3 }).collect()
}

fn film_of(at_s: &[f64]) -> Vec<f64> {
    at_s.iter().map(|at_s| OFFSET_S + at_s).collect()
}

#[test]
fn a_pattern_is_found_where_it_is() {
    let found = align(&contacts(&PATTERN_S), &sound(film_of(&PATTERN_S)), None).unwrap();
    assert!((found.film_s(1000.0) - OFFSET_S).abs() < 1e-6, "{found:?}");
    assert_eq!((found.matched, found.in_clip, found.is_seen), (9, 9, false));
    assert!(found.drift_ppm.abs() < 1e-3 && found.residual_s < 1e-6);
}

/// 6.864 m are 20 ms of sound at 343.2 m/s.
#[test]
fn a_contact_is_seen_before_it_is_heard() {
    let found = align(&contacts(&PATTERN_S), &sound(film_of(&PATTERN_S)), Some(6.864)).unwrap();
    assert!((found.film_s(1000.0) - (OFFSET_S - 0.02)).abs() < 1e-6 && found.is_seen, "{found:?}");
}

#[test]
fn missed_cracks_and_other_bats_are_withstood() {
    let heard = film_of(&PATTERN_S).into_iter().filter(|at_s| (at_s - OFFSET_S - 20.8).abs() > 0.1);
    let others = (0..12).map(|k| 3.3 + 7.13 * f64::from(k) + 0.4 * f64::from(k % 3));
    let found = align(&contacts(&PATTERN_S), &sound(heard.chain(others)), None).unwrap();
    assert!((found.film_s(1000.0) - OFFSET_S).abs() < 1e-3, "{found:?}");
    assert_eq!((found.matched, found.in_clip), (8, 9));
}

#[test]
fn even_intervals_fit_many_places() {
    let even: Vec<f64> = (0..9).map(|k| 7.0 * f64::from(k)).collect();
    let refused = align(&contacts(&even), &sound(film_of(&even)), None).unwrap_err();
    assert!(matches!(refused, Refusal::NotUnique { matched: 9, second: 8, .. }), "{refused}");
    assert!(refused.to_string().contains("7.00 s apart"), "{refused}");
}

#[test]
fn too_little_is_refused_with_what_is_missing() {
    let few = align(&contacts(&PATTERN_S[..3]), &sound(film_of(&PATTERN_S)), None).unwrap_err();
    assert_eq!(few, Refusal::FewContacts(3));
    let silent = align(&contacts(&PATTERN_S), &sound([1.0]), None).unwrap_err();
    assert_eq!(silent, Refusal::FewCracks(1));
    let other = sound((0..12).map(|k| 3.3 + 7.13 * f64::from(k) + 0.4 * f64::from(k % 3)));
    let chance = align(&contacts(&PATTERN_S), &other, None).unwrap_err();
    assert!(matches!(chance, Refusal::Chance { .. }), "{chance}");
}

/// A net rings between 30 and 70 ms after each contact; half of the cracks themselves are not heard, and the rest are as far off.
#[test]
fn what_goes_along_with_swings_is_no_crack() {
    let scattered = |k: usize, at_s: &f64| OFFSET_S + at_s + [0.0, 0.04, 0.0, 0.07, 0.0, -0.04, 0.0, 0.06, 0.0][k % 9];
    let times: Vec<f64> = PATTERN_S.iter().chain(&[68.0, 74.4, 76.1]).copied().collect();
    let heard = times.iter().enumerate().map(|(k, at_s)| scattered(k, at_s));
    let refused = align(&contacts(&times), &sound(heard), None).unwrap_err();
    assert!(matches!(refused, Refusal::GoesAlong { near: 5 }), "{refused}");
}

#[test]
fn hostile_times_are_withstood() {
    let wild = [f64::NAN, f64::INFINITY, -1e300, 1e300, 0.0, 5.0, 5.0, 5.0];
    let wild: Vec<Contact> = wild.map(|at_s| Contact { at_s, sigma_s: 1e-4 }).to_vec();
    assert!(matches!(align(&wild, &sound(film_of(&PATTERN_S)), None), Err(Refusal::FarApart(_))));
    let same = vec![Contact { at_s: 3.0, sigma_s: 0.0 }; 50];
    assert!(align(&same, &sound(film_of(&PATTERN_S)), Some(f64::NAN)).is_err());
    let many = vec![Contact { at_s: 3.0, sigma_s: 0.0 }; MOST_CONTACTS + 1];
    assert_eq!(align(&many, &sound([1.0]), None), Err(Refusal::ManyContacts(MOST_CONTACTS + 1)));
    let unknown = [Contact { at_s: 1.0, sigma_s: f64::NAN }; 9];
    assert_eq!(align(&unknown, &sound([1.0]), None), Err(Refusal::FewContacts(0)));
}
