//! Places, the split of the speed, mean paths, typical swings: closed forms and numbers by hand.

use super::*;

fn one(drawn: &Drawn) -> ComparedCurves {
    compare(std::slice::from_ref(drawn), &[])
}

#[test]
fn a_speed_that_grows_evenly_is_met_at_every_time_and_distance() {
    let found = one(&straight(0, 400, 30.0, 80.0));
    let times = &found.speed_by_time;
    assert_eq!((times.places.len(), times.places[0], times.places[150]), (151, -0.3, 0.0));
    let expected: Vec<f64> = times.places.iter().map(|t| 30.0 + 80.0 * t).collect();
    near(&times.then.mean, &expected, 1e-9);
    // v² = v_c² + 2·a·d. Linear in d within 1 ms, v errs by d²v/dd²·(v·1 ms)²/8 = a²/v · 1e-6/8: 0.1 mm/s.
    let distances = &found.speed_by_distance;
    assert_eq!((distances.places.len(), distances.places[0]), (76, -1.5));
    let expected: Vec<f64> = distances.places.iter().map(|d| (900.0 + 160.0 * d).sqrt()).collect();
    near(&distances.then.mean, &expected, 1e-4);
}

#[test]
fn distance_begins_at_the_start_of_the_swing() {
    let mut drawn = straight(0, 400, 30.0, 0.0);
    drawn.time_to_contact_s = Some(0.02);
    // 0.6 m of path.
    let places = one(&drawn).speed_by_distance.places;
    assert!((places[0] + 0.6).abs() < 0.021 && places.len() >= 30, "{places:?}");
}

#[test]
fn on_a_circle_about_resting_hands_all_speed_is_rotation() {
    let (rate, arm) = (40.0, 0.75);
    let found = one(&swing(0, 400, |t| {
        let (sin, cos) = (rate * t).sin_cos();
        let sweet_spot = arm * Vector3::new(sin, 1.0 - cos, 0.0);
        [sweet_spot, Vector3::new(0.0, arm, 0.0), rate * arm * Vector3::new(cos, sin, 0.0), Vector3::zeros()]
    }));
    near(&found.by_hands.then.mean, &[0.0; 151], 1e-12);
    near(&found.by_rotation.then.mean, &[30.0; 151], 1e-9);
}

#[test]
fn without_turning_all_speed_is_the_hands() {
    let found = one(&straight(0, 400, 30.0, 80.0));
    near(&found.by_rotation.then.mean, &[0.0; 151], 1e-9);
    near(&found.by_hands.then.mean, &found.speed_by_time.then.mean, 1e-9);
}

/// Hands that go straight at 6 m/s while the bat turns at 30 rad/s about them: v = u + ω × r, and the hands' part is u·v/‖v‖.
/// The places are rounded to 0.1 mm. A central difference over h = 2 ms errs by h²/6·‖v''‖ = 4e-6/6 · 30²·22.5 = 13 mm/s,
/// the one at contact by twice that, and by rounding 25 mm/s an axis, 0.1 m/s at contact, of 16 m/s or more: an angle
/// below 0.004 rad, 0.03 rad at contact with the hands' own.
#[test]
fn moving_hands_and_a_turning_bat_share_the_speed() {
    let (u, rate, arm) = (Vector3::new(6.0, 0.0, 0.0), 30.0, 0.75);
    let velocity = |t: f64| u + rate * arm * Vector3::new((rate * t).cos(), (rate * t).sin(), 0.0);
    let rounded = |place: Vector3<f64>| place.map(|x| (x * 1e4).round() / 1e4);
    let found = one(&swing(0, 400, |t| {
        let around = arm * Vector3::new((rate * t).sin(), 1.0 - (rate * t).cos(), 0.0);
        [rounded(u * t + around), rounded(u * t + Vector3::new(0.0, arm, 0.0)), velocity(t), u]
    }));
    let hands = |t: &f64| u.dot(&velocity(*t)) / velocity(*t).norm();
    let expected: Vec<f64> = found.by_hands.places.iter().map(hands).collect();
    near(&found.by_hands.then.mean[..150], &expected[..150], 6.0 * 0.01);
    near(&found.by_hands.then.mean[150..], &expected[150..], 6.0 * 0.03);
    let speed = &found.speed_by_time.then.mean;
    let sum = |(hands, turning): (&f64, &f64)| hands + turning;
    let both: Vec<f64> = found.by_hands.then.mean.iter().zip(&found.by_rotation.then.mean).map(sum).collect();
    near(&both, speed, 1e-12);
}

#[test]
fn mean_and_middle_of_five_swings_by_hand() {
    let then: Vec<Drawn> = [20.0, 24.0, 22.0, 30.0, 26.0].map(|v| straight(3, 400, v, 0.0)).to_vec();
    let line = compare(&then, &[]).speed_by_time;
    // Ranks 0.4 and 3.6 of 20, 22, 24, 26, 30.
    near(&line.then.mean, &[24.4; 151], 1e-9);
    near(&line.then.low, &[20.8; 151], 1e-9);
    near(&line.then.high, &[28.4; 151], 1e-9);
    assert_eq!((line.then.swings, line.then.days, line.now), (5, 1, MeanBand::default()));
}

#[test]
fn places_reach_as_far_as_three_quarters_of_each_group() {
    let long = straight(0, 400, 20.0, 0.0);
    // 41 points: 40 ms, 21 places.
    let short = straight(0, 41, 40.0, 0.0);
    let line = |then: &[&Drawn], now: &[&Drawn]| {
        let [then, now] = [then, now].map(|group| group.iter().map(|drawn| (*drawn).clone()).collect::<Vec<_>>());
        compare(&then, &now).speed_by_time
    };
    let most = line(&[&long, &long, &long, &short], &[&long]);
    assert_eq!((most.places.len(), most.then.swings, most.then.mean[150]), (151, 3, 20.0));
    let fewer = line(&[&long, &short], &[&long]);
    assert_eq!((fewer.places.len(), fewer.then.swings, fewer.then.mean[20]), (21, 2, 30.0));
    assert_eq!(line(&[&long], &[&long, &short]).places.len(), 21);
}

#[test]
fn the_typical_swing_is_the_one_nearest_the_medians() {
    let speeds = [20.0, 31.0, 25.0, 24.0, 18.0];
    let swings: Vec<Drawn> = speeds.iter().map(|v| straight(0, 400, *v, 0.0)).collect();
    let found = compare(&swings, &swings[2..4]);
    assert_eq!(found.then_typical, Some(3));
    assert_eq!(
        compare(&[Drawn { day: 0, time_to_contact_s: None, curves: Curves::default() }], &[]).then_typical,
        None
    );
    // One that is not drawn keeps its place in the list.
    let mut with_hole = swings.clone();
    with_hole.insert(0, Drawn { day: 0, time_to_contact_s: None, curves: Curves::default() });
    assert_eq!(compare(&with_hole, &[]).then_typical, Some(4));
}

#[test]
fn mean_paths_and_their_spreads_by_hand() {
    let at = |height: f64, aside: f64| {
        swing(0, 400, move |t| {
            let place = Vector3::new(20.0 * t, aside * t, height * t);
            [place, place + Vector3::new(0.0, 0.5, 0.0), Vector3::new(20.0, aside, height), Vector3::zeros()]
        })
    };
    let path = compare(&[at(1.0, 2.0), at(3.0, 2.0), at(5.0, 5.0)], &[]).then_path;
    assert_eq!(path.times_s[0], -0.3);
    assert!((path.sweet_spot_w_m[0] - Vector3::new(-6.0, -0.9, -0.9)).norm() < 1e-9, "{:?}", path.sweet_spot_w_m[0]);
    assert!((path.hands_w_m[0] - Vector3::new(-6.0, -0.4, -0.9)).norm() < 1e-9);
    // Of 1, 3, 5 the standard deviation is 2; of 2, 2, 5 √3.
    assert!((path.height_spread_m[0] - 0.6).abs() < 1e-9 && (path.aside_spread_m[0] - 0.3 * 3f64.sqrt()).abs() < 1e-9);
    assert_eq!((path.height_spread_m.len(), path.height_spread_m[150]), (151, 0.0));
    assert!(compare(&[at(1.0, 2.0)], &[]).then_path.height_spread_m.is_empty());
}

#[test]
fn what_is_broken_before_contact_is_cut_there_and_nothing_after_contact_is_used() {
    let mut drawn = straight(0, 400, 30.0, 80.0);
    // 100 ms before contact: 50 places are left, and contact.
    drawn.curves.bat_speed_mps[299] = f64::NAN;
    assert_eq!(one(&drawn).speed_by_time.places.len(), 50);
    let mut later = straight(0, 400, 30.0, 80.0);
    later.curves.times_s.iter_mut().for_each(|t| *t += 0.1);
    let cut = one(&later).speed_by_time;
    assert!((cut.then.mean.last().unwrap() - 22.0).abs() < 1e-9, "100 ms before the end");
}

/// Any length, any order, any number: something is said or nothing, and it is finite.
#[test]
fn hostile_curves_never_panic_and_never_leak_what_is_not_finite() {
    let mut chance = Chance(11);
    let odd = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -0.0, 1e300, -1e300, 1e-300, -0.1, 5.0];
    for _ in 0..300 {
        let mut group = |size: usize| -> Vec<Drawn> {
            let mut drawn: Vec<Drawn> =
                (0..size).map(|_| straight(chance.below(4) as i64, 1 + chance.below(60), 30.0, 80.0)).collect();
            for drawn in &mut drawn {
                let curves = &mut drawn.curves;
                for list in [&mut curves.times_s, &mut curves.bat_speed_mps, &mut curves.hand_speed_mps] {
                    let (place, cut) = (chance.below(60), chance.below(200));
                    if let Some(value) = list.get_mut(place) {
                        *value = odd[chance.below(odd.len())];
                    }
                    list.truncate(cut);
                }
                let place = chance.below(80);
                if let Some(value) = curves.sweet_spot_w_m.get_mut(place) {
                    value.x = odd[chance.below(odd.len())];
                }
                drawn.time_to_contact_s = Some(odd[chance.below(odd.len())]);
                drawn.day = [drawn.day, i64::MIN, i64::MAX][chance.below(3)];
            }
            drawn
        };
        let (then, now) = (group(4), group(6));
        let found = compare(&then, &now);
        for line in [&found.speed_by_time, &found.speed_by_distance, &found.by_hands, &found.by_rotation] {
            let difference = line.difference.clone().unwrap_or_default();
            let all = [
                &line.places,
                &line.then.mean,
                &line.then.low,
                &line.now.high,
                &difference.mean,
                &difference.half_width,
            ];
            assert!(all.into_iter().flatten().all(|value| value.is_finite()), "{line:?}");
        }
        assert!(found.then_path.sweet_spot_w_m.iter().all(|place| place.iter().all(|x| x.is_finite())));
    }
}
