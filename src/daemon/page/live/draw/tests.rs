use super::super::scene::tests::{WREN, at_bat, live, scene};
use super::super::scene::{AthleteChoice, Card, SensorLine};
use super::super::then::Then;
use super::*;
use crate::daemon::hub::Fault;
use crate::daemon::page::words as page_words;
use crate::daemon::store::rows::{Mark, UtcMicros};
use crate::engine::Stage;
use crate::engine::metrics::{Flag, Metric};
use serde_json::{Value, json};
use uuid::Uuid;

fn drawn(scene: &Scene, slot: Slot) -> String {
    part(scene, slot, Units::Us).into_string()
}

/// The text of HTML, without tags.
fn text(html: &str) -> String {
    html.split('<').map(|piece| piece.split_once('>').map_or(piece, |(_, text)| text)).collect::<Vec<_>>().join(" ")
}

/// The body that the button with this key sends.
fn body(html: &str, key: &str) -> Value {
    let at = html.find(&format!("data-key=\"{key}\"")).unwrap();
    let button = &html[html[..at].rfind("<button").unwrap()..at];
    let from = button.find("data-body=\"").unwrap() + "data-body=\"".len();
    let json = button[from..].split('"').next().unwrap().replace("&quot;", "\"");
    serde_json::from_str(&json).unwrap()
}

#[test]
fn before_anything_was_told_each_part_says_what_is_missing() {
    let nothing = Scene::default();
    for slot in Slot::ALL {
        assert!(!drawn(&nothing, slot).contains("NaN"), "{slot:?}");
    }
    let scene = scene(0);
    assert!(drawn(&scene, Slot::Numbers).contains("No swing yet"));
    assert!(drawn(&scene, Slot::Round).contains("No swing in this round yet"));
    assert!(drawn(&scene, Slot::Sensor).contains("None is connected"));
    assert_eq!(drawn(&scene, Slot::Speed) + &drawn(&scene, Slot::Side) + &drawn(&scene, Slot::Faults), "");
}

#[test]
fn the_numbers_have_units_and_their_uncertainty_and_say_how_good_they_are() {
    let mut scene = scene(0);
    scene.swing(&live(1, Stage::Streaming, &at_bat()), UtcMicros(0));
    let first = drawn(&scene, Slot::Numbers);
    // 30.0 m/s with σ 0.15 m/s: 67.11 mph, and 1.96 σ are 0.66 mph.
    for expected in
        ["67.11", "mph", "0.66", "157.0", "ms", "8.10", "°", "first values", "data-stage=\"streaming\"", "Swing 1"]
    {
        assert!(first.contains(expected), "{expected}: {first}");
    }
    assert!(!first.contains("href=\"/swings"), "it is not stored yet");
    scene.swing(&live(1, Stage::Smoothed, &at_bat()), UtcMicros(0));
    assert!(drawn(&scene, Slot::Numbers).contains("final values"));
    assert!(drawn(&scene, Slot::Numbers).contains("data-stage=\"final\""));
    scene.swing(&live(1, Stage::Revised, &at_bat()), UtcMicros(0));
    assert!(drawn(&scene, Slot::Numbers).contains("data-stage=\"revised\""));
    let metric = part(&scene, Slot::Numbers, Units::Metric).into_string();
    assert!(metric.contains("30.00") && metric.contains("m/s") && !metric.contains("mph"));
}

#[test]
fn a_flagged_swing_looks_flagged_and_one_left_out_left_out() {
    let mut scene = scene(3);
    let flagged = drawn(&scene, Slot::Numbers);
    assert!(flagged.contains("class=\"last flagged\""), "{flagged}");
    assert!(flagged.contains("the bat was not held still before the swing") && flagged.contains("met nothing"));
    assert!(flagged.contains("not known"), "its timing window is absent");
    scene.last.as_mut().unwrap().mark = Mark::Exclude;
    let card = scene.round.last_mut().unwrap();
    (card.mark, card.version) = (Mark::Exclude, Some(4));
    assert!(drawn(&scene, Slot::Numbers).contains("class=\"last flagged out\""));
    let round = drawn(&scene, Slot::Round);
    assert!(round.contains("<li class=\"flagged out\"") && round.contains("left out"), "{round}");
    assert!(text(&round).contains("with care"));
    let leave_out = format!("Leave out-{}", Uuid::from_u128(3));
    assert_eq!(body(&round, &leave_out), serde_json::json!({"mark": "none"}), "the same touch takes it back");
    assert!(round.contains("data-version=\"4\"") && round.contains("data-hotkey=\"x\""));
}

#[test]
fn without_a_pitch_there_is_no_window_and_it_says_so() {
    let mut scene = scene(3);
    scene.last.as_mut().unwrap().pitch.pitch_speed_mps = 0.0;
    assert!(drawn(&scene, Slot::Numbers).contains("no pitch"));
}

#[test]
fn a_card_has_its_link_and_buttons_once_it_is_stored() {
    let mut scene = scene(2);
    assert!(!drawn(&scene, Slot::Round).contains("href") && !drawn(&scene, Slot::Round).contains("button"));
    scene.round = scene.round.iter().map(|card| Card { version: Some(1), ..card.clone() }).collect();
    let round = drawn(&scene, Slot::Round);
    assert_eq!(round.matches("href=\"/swings/").count(), 2);
    assert_eq!(round.matches("data-hotkey").count(), 1, "of the newest alone");
    let (first, second) = (round.find("67.11 mph").unwrap(), round.find("68.45 mph").unwrap());
    assert!(second < first, "the newest first");
    let keep = format!("Keep-{}", Uuid::from_u128(1));
    assert_eq!(body(&round, &keep), serde_json::json!({"mark": "keep"}));
}

#[test]
fn a_touch_says_what_it_changes_and_nothing_else() {
    let mut scene = scene(0);
    let (robin, ash, maple) = (Uuid::from_u128(0xa2), Uuid::from_u128(0xd1), Uuid::from_u128(0xd2));
    let robin_usually =
        AthleteChoice { id: robin, nickname: "Robin".into(), side: Some(Side::Left), bat_id: Some(maple) };
    let wren = AthleteChoice { id: WREN, nickname: "Wren".into(), side: None, bat_id: None };
    scene.choices.athletes = vec![wren, robin_usually];
    scene.choices.bats = vec![(ash, "Ash 33".into()), (maple, "Maple 32".into())];
    let plate = drawn(&scene, Slot::Plate);
    let touches = [
        ("side-left".to_owned(), json!({"side": "left"})),
        (format!("bat-{maple}"), json!({"bat_id": maple})),
        ("drill-None".to_owned(), json!({"drill": null})),
        ("source-machine".to_owned(), json!({"ball_source": "machine"})),
        ("source-tee".to_owned(), json!({"ball_source": "tee", "pitch_speed_mps": null})),
        (format!("athlete-{robin}"), json!({"athlete_id": robin, "side": "left", "bat_id": maple})),
        // Whoever is there keeps what they have.
        (format!("athlete-{WREN}"), json!({"athlete_id": WREN, "side": "right", "bat_id": ash})),
        ("nobody".to_owned(), json!({"athlete_id": null, "side": null, "bat_id": null})),
    ];
    for (key, changes) in touches {
        assert_eq!(body(&plate, &key), changes, "{key}");
    }
    assert!(!plate.contains("PUT /v1/at-the-plate"));
    assert!(plate.contains("value=\"44.7\""), "20 m/s in mph");
}

#[test]
fn what_differs_from_then_has_its_unit_and_what_is_absent_its_reason() {
    let mut scene = scene(3);
    let mut medians = [None; Metric::COUNT];
    medians[Metric::BatSpeed.index()] = Some(29.0);
    medians[Metric::AttackAngle.index()] = Some(6.0);
    scene.then = Some(Then { band: None, medians, swings: 4, words: String::new() });
    let last = scene.last.as_mut().unwrap();
    last.flags = vec![Flag::NoRest];
    last.metrics[Metric::TimeToContact.index()] = None;
    let drawn = text(&drawn(&scene, Slot::Numbers));
    assert!(drawn.contains("then 64.87 mph (+"), "{drawn}");
    assert!(drawn.contains("then 6.00° ("), "{drawn}");
    assert!(drawn.contains(page_words::flag(Flag::NoRest)), "{drawn}");
}

#[test]
fn sensors_and_faults_are_said_in_words() {
    let mut scene = scene(0);
    let state = r#"{"sensor":"knob","name":"Knob 7","link":"lost","battery_percent":83,"sample_rate_hz":998.7,"silent_s":7,
        "recording":{"file":"a","entries":1,"lost_entries":0}}"#;
    scene.sensors.insert("knob".into(), serde_json::from_str::<SensorLine>(state).unwrap());
    let sensor = drawn(&scene, Slot::Sensor);
    let words = "connection lost, silent for 7 s, 1000 samples a second, battery 83 %, recording";
    assert!(sensor.contains("Knob 7") && sensor.contains(words), "{sensor}");
    let (cause, remedy) = ("nothing came for 7 s".to_owned(), "wake the sensor".to_owned());
    scene.faults = vec![Fault { sensor: Some("knob".into()), key: "no_data", cause, remedy }];
    scene.unread = Some("the disk is full".into());
    let faults = text(&drawn(&scene, Slot::Faults));
    for expected in ["knob", "nothing came for 7 s", "wake the sensor", "the disk is full"] {
        assert!(faults.contains(expected), "{expected}: {faults}");
    }
}

#[test]
fn a_swing_is_spoken_in_whole_words() {
    let mut scene = scene(1);
    let last = scene.last.take().unwrap();
    let spoken = said(&scene, &last, Units::Us);
    assert_eq!(spoken, "Swing 1. 67.1 miles per hour. 157 milliseconds to contact.");
    assert!(said(&scene, &last, Units::Metric).contains("30.0 metres per second"));
}

#[test]
fn charts_come_with_a_table_of_the_same_numbers() {
    let scene = scene(1);
    for slot in [Slot::Speed, Slot::Side, Slot::Above] {
        let html = drawn(&scene, slot);
        assert!(html.contains("<svg") && html.contains("<table") && html.contains("As a table"), "{slot:?}");
        assert!(!html.contains("style="), "the policy forbids it");
    }
}
