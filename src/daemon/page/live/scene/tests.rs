use super::*;
use crate::daemon::store::rows::{Occasion, Plate};
use crate::engine::profile::Profile;
use crate::engine::session::Placed;
use crate::engine::wire::mcap::AtThePlate;
use crate::report::example;

/// Wren's id.
pub const WREN: Uuid = Uuid::from_u128(0xa1);
const ROUND: Uuid = Uuid::from_u128(0xb1);

/// Wren is at the plate.
pub fn at_bat() -> AtBat {
    let plate = Plate {
        cage: "north".into(),
        athlete_id: Some(WREN),
        lesson_id: Some(Uuid::from_u128(0xc1)),
        round_id: Some(ROUND),
        side: Some(Side::Right),
        bat_id: Some(Uuid::from_u128(0xd1)),
        drill: Some("inside pitch".into()),
        ball_source: None,
        pitch_speed_mps: Some(20.0),
        pitch_descent_deg: None,
        since: UtcMicros(0),
        version: 1,
    };
    let lesson = crate::daemon::store::rows::Lesson {
        id: Uuid::from_u128(0xc1),
        athlete_id: WREN,
        occasion: Occasion::Practice,
        cage: "north".into(),
        begun: UtcMicros(0),
        ended: None,
        title: String::new(),
        note: String::new(),
        version: 1,
    };
    let (nickname, bat) = (Some("Wren".to_owned()), Some("Ash 33".to_owned()));
    AtBat { plate, nickname, bat, lesson: Some(lesson), round: None, outfit: Arc::default() }
}

/// The `n`-th swing of a session, as it is told of whoever is at the plate.
pub fn live(n: u64, stage: Stage, at_bat: &AtBat) -> LiveSwing {
    let mut profile = Profile::default();
    profile.swing.pitch_speed_mps = 20.0;
    let told = ToldSwing {
        number: n - 1,
        run: 0,
        stage,
        swing: example::swing(usize::try_from(n).unwrap()),
        contact_utc: Some(Placed { utc_ns: i64::try_from(n).unwrap() * 10_000_000_000, sigma_s: 0.01, is_poor: false }),
        at_the_plate: at_bat.entry(),
        profile: Arc::new(profile),
    };
    LiveSwing {
        sensor: "knob".into(),
        session: "first".into(),
        swing_id: Some(Uuid::from_u128(u128::from(n))),
        told: Box::new(told),
    }
}

/// Read with nothing but who is at the plate.
pub fn read(at_bat: AtBat) -> Read {
    Read { at_bat, choices: Choices::default(), round: Vec::new(), before: 0, asked: None, newest: None }
}

/// Wren at the plate, with so many swings told to the end.
pub fn scene(swings: u64) -> Scene {
    let mut scene = Scene::default();
    scene.read(read(at_bat()));
    for n in 1..=swings {
        scene.swing(&live(n, Stage::Smoothed, &at_bat()), UtcMicros(0));
    }
    scene
}

fn stored(card: &Card) -> Card {
    Card { version: Some(1), ..card.clone() }
}

#[test]
fn a_better_word_takes_the_place_of_the_first_and_a_late_one_does_not_come_forward() {
    let (mut scene, at_bat) = (scene(0), at_bat());
    assert!(scene.swing(&live(1, Stage::Streaming, &at_bat), UtcMicros(0)));
    assert!(scene.swing(&live(1, Stage::Smoothed, &at_bat), UtcMicros(0)));
    assert!(scene.swing(&live(2, Stage::Streaming, &at_bat), UtcMicros(0)));
    assert!(!scene.swing(&live(1, Stage::Revised, &at_bat), UtcMicros(0)), "the second is shown");
    assert_eq!(scene.last.as_ref().unwrap().id, Some(Uuid::from_u128(2)));
    assert_eq!(scene.round.iter().map(|card| scene.number(card.id)).collect::<Vec<_>>(), [Some(1), Some(2)]);
}

#[test]
fn what_a_recording_played_before_says_late_does_not_come_forward() {
    let (mut scene, at_bat) = (scene(5), at_bat());
    let mut next = live(1, Stage::Streaming, &at_bat);
    (next.session, next.swing_id) = ("second".into(), Some(Uuid::from_u128(0xe1)));
    assert!(scene.swing(&next, UtcMicros(0)), "its instant is before that of the fifth");
    for stage in [Stage::Smoothed, Stage::Revised] {
        assert!(!scene.swing(&live(5, stage, &at_bat), UtcMicros(0)));
    }
    assert_eq!(scene.last.as_ref().unwrap().id, next.swing_id);
}

#[test]
fn then_is_not_held_against_a_swing_of_another_round() {
    let mut scene = scene(1);
    let medians = [None; Metric::COUNT];
    scene.then = Some(Then { band: None, medians, swings: 3, words: "then: 3 swings".into() });
    assert!(scene.then_of_last().is_some());
    let other = AtBat { plate: Plate { round_id: Some(Uuid::from_u128(0xb2)), ..at_bat().plate }, ..at_bat() };
    scene.read(read(other.clone()));
    assert!(scene.last.is_some() && scene.then_of_last().is_none());
    scene.swing(&live(2, Stage::Streaming, &other), UtcMicros(0));
    assert!(scene.then_of_last().is_some());
}

#[test]
fn somebody_elses_swing_is_not_shown_as_theirs() {
    let mut scene = scene(1);
    let other = AtBat { plate: Plate { athlete_id: Some(Uuid::from_u128(9)), ..at_bat().plate }, ..at_bat() };
    assert!(!scene.swing(&live(2, Stage::Streaming, &other), UtcMicros(0)));
    assert_eq!((scene.last.as_ref().unwrap().id, scene.round.len()), (Some(Uuid::from_u128(1)), 1));
    scene.read(read(other));
    assert!(scene.last.is_none() && scene.round.is_empty(), "somebody else is at the plate");
}

#[test]
fn what_was_told_stays_until_it_is_stored_and_goes_when_it_is_no_longer() {
    let mut scene = scene(2);
    let [first, second] = [stored(&scene.round[0]), scene.round[1].clone()];
    let of = |round: &[&Card], now| Read {
        round: round.iter().copied().cloned().collect(),
        asked: Some(Asked { id: second.id, now }),
        ..read(at_bat())
    };
    scene.read(of(&[&first], None));
    assert_eq!(scene.round, [first.clone(), second.clone()], "the second is yet to be stored");
    assert!(scene.last.is_some());
    let marked = Card { mark: Mark::Exclude, ..stored(&second) };
    scene.read(of(&[&first, &marked], Some((Some(WREN), Mark::Exclude))));
    assert_eq!((scene.round.len(), scene.last.as_ref().unwrap().mark), (2, Mark::Exclude));
    scene.swing(&live(2, Stage::Revised, &at_bat()), UtcMicros(0));
    assert_eq!(scene.last.as_ref().unwrap().mark, Mark::Exclude, "what was said of it stays");
    scene.read(of(&[&first], None));
    assert_eq!(scene.round, [first], "moved or erased");
    assert!(scene.last.is_none());
}

#[test]
fn a_long_round_keeps_its_numbers() {
    let scene = scene(65);
    assert_eq!((scene.round.len(), scene.before), (MOST_CARDS, 5));
    assert_eq!(scene.number(Uuid::from_u128(65)), Some(65));
    assert_eq!(scene.number(Uuid::from_u128(3)), None);
}

#[test]
fn nobodys_swings_are_shown_as_nobodys() {
    let mut nobody = at_bat();
    (nobody.plate.athlete_id, nobody.plate.lesson_id, nobody.plate.round_id) = (None, None, None);
    let mut scene = Scene::default();
    scene.read(read(nobody.clone()));
    let mut told = live(1, Stage::Streaming, &nobody);
    told.told.at_the_plate = AtThePlate::default();
    assert!(scene.swing(&told, UtcMicros(0)));
    assert_eq!(scene.round.len(), 1);
}
