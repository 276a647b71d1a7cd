//! Who is at the plate, and what can be said of it at a touch: each button sends what it changes.

use super::super::scene::{AthleteChoice, Scene};
use super::bats_from;
use crate::daemon::page::words;
use crate::daemon::record::plate::AtBat;
use crate::daemon::store::rows::{BallSource, Side, Word};
use crate::report::words::{Units, rounded};
use maud::{Markup, html};
use serde_json::{Value, json};
use uuid::Uuid;

/// So many stand as buttons; the others in a list.
const MOST_ATHLETES: usize = 8;
const MOST_BATS: usize = 5;

/// Where it is said; each touch sends what it changes alone, so that quick touches and other devices are not undone.
const SEND: &str = "PATCH /v1/at-the-plate";

/// The heading: who, and with what.
pub fn who(scene: &Scene, units: Units) -> Markup {
    let Some(at_bat) = &scene.at_bat else { return html! { h1 { "At the plate" } } };
    let plate = &at_bat.plate;
    let pitch = plate.pitch_speed_mps.filter(|speed| *speed > 0.0).map(|speed| {
        let unit = units.speed();
        format!("{} {}", rounded(speed * unit.factor, 0), unit.sign)
    });
    let facts = [
        plate.side.map(|side| bats_from(side).to_owned()),
        at_bat.bat.clone(),
        plate.drill.clone(),
        plate.ball_source.map(|source| words::ball_source(source).to_owned()),
        pitch.map(|pitch| format!("pitch {pitch}")),
    ];
    html! {
        h1 { @match &at_bat.nickname { Some(name) => bdi { (name) }, None => "Nobody is at the plate" } }
        p.facts {
            @if plate.athlete_id.is_none() { span { "Swings are kept, and can be given to somebody later." } }
            @for fact in facts.into_iter().flatten() { span { bdi { (fact) } } }
            a.change.only-small href="#say" data-key="change-plate" { "Change" }
        }
    }
}

/// On a phone, where all else that can be said is far below: the side, under the name.
pub fn near(scene: &Scene) -> Markup {
    let Some(at_bat) = &scene.at_bat else { return html! {} };
    html! { .row.near.change role="group" aria-label="Side" { (side_buttons(at_bat, "near")) } }
}

/// All that can be said at a touch.
pub fn choices(scene: &Scene, units: Units) -> Markup {
    let Some(at_bat) = &scene.at_bat else { return html! {} };
    html! {
        (sides(at_bat))
        (athletes(scene, at_bat))
        (bats(scene, at_bat))
        (drills(scene, at_bat))
        (sources(at_bat))
        (pitch(at_bat, units))
    }
}

fn group(title: &str, buttons: &Markup) -> Markup {
    html! {
        .group role="group" aria-label=(title) {
            p.title aria-hidden="true" { (title) }
            .row { (buttons) }
        }
    }
}

/// A button that changes this at a touch.
fn say(words: &str, key: &str, is_so: bool, hotkey: Option<&str>, changes: &Value) -> Markup {
    html! {
        button type="button" data-send=(SEND) data-body=(changes) data-then="none" aria-pressed=(is_so)
            data-key=(key) data-hotkey=[hotkey] { bdi { (words) } }
    }
}

fn sides(at_bat: &AtBat) -> Markup {
    group("Side", &side_buttons(at_bat, "side"))
}

fn side_buttons(at_bat: &AtBat, place: &str) -> Markup {
    let button = |side: Side, words: &str, hotkey: &str| {
        let word = side.word();
        let is_so = at_bat.plate.side == Some(side);
        say(words, &format!("{place}-{word}"), is_so, Some(hotkey), &json!({ "side": word }))
    };
    html! { (button(Side::Left, "Left", "l")) (button(Side::Right, "Right", "r")) }
}

fn athletes(scene: &Scene, at_bat: &AtBat) -> Markup {
    let all = &scene.choices.athletes;
    let at_plate = at_bat.plate.athlete_id;
    let is_shown = |(place, athlete): &(usize, &AthleteChoice)| *place < MOST_ATHLETES || Some(athlete.id) == at_plate;
    let (shown, others): (Vec<_>, Vec<_>) = all.iter().enumerate().partition(is_shown);
    let button = |athlete: &AthleteChoice| {
        let key = format!("athlete-{}", athlete.id);
        say(&athlete.nickname, &key, Some(athlete.id) == at_plate, None, &to_the_plate(athlete, at_bat))
    };
    let nobody = json!({ "athlete_id": null, "side": null, "bat_id": null });
    let buttons = html! {
        @for (_, athlete) in shown { (button(athlete)) }
        (say("Nobody", "nobody", at_plate.is_none(), None, &nobody))
    };
    html! {
        (group("Athlete", &buttons))
        @if !others.is_empty() {
            form.row data-send=(SEND) data-body=(json!({ "side": null })) data-then="none" data-key="send-other" {
                label { span.unseen { "Somebody else" }
                    select name="athlete_id" data-key="others" { @for (_, athlete) in others {
                        option value=(athlete.id) { (athlete.nickname) } } } }
                button data-key="others-go" { "To the plate" }
            }
        }
    }
}

/// Somebody comes, from the side and with the bat they had; what is thrown to them stays.
fn to_the_plate(athlete: &AthleteChoice, at_bat: &AtBat) -> Value {
    let plate = &at_bat.plate;
    let is_there = plate.athlete_id == Some(athlete.id);
    let (side, bat_id) = if is_there { (plate.side, plate.bat_id) } else { (athlete.side, athlete.bat_id) };
    json!({ "athlete_id": athlete.id, "side": side.map(Word::word), "bat_id": bat_id })
}

fn bats(scene: &Scene, at_bat: &AtBat) -> Markup {
    let mut all = scene.choices.bats.clone();
    // One that is no longer offered is still shown while it is swung.
    if let (Some(id), Some(name)) = (at_bat.plate.bat_id, &at_bat.bat)
        && !all.iter().take(MOST_BATS).any(|(known, _)| *known == id)
    {
        all.retain(|(known, _)| *known != id);
        all.insert(0, (id, name.clone()));
    }
    if all.is_empty() {
        return html! { p.change { a href="/setup" data-key="enter-bat" { "Enter a bat" } } };
    }
    let (shown, others) = all.split_at(all.len().min(MOST_BATS));
    let button = |id: Uuid, name: &str| {
        say(name, &format!("bat-{id}"), at_bat.plate.bat_id == Some(id), None, &json!({ "bat_id": id }))
    };
    html! {
        (group("Bat", &html! { @for (id, name) in shown { (button(*id, name)) } }))
        @if !others.is_empty() {
            form.row data-send=(SEND) data-then="none" data-key="send-bat" {
                label { span.unseen { "Another bat" }
                    select name="bat_id" data-key="other-bats" { @for (id, name) in others { option value=(id) { (name) } } } }
                button data-key="other-bats-go" { "Take it" }
            }
        }
    }
}

fn drills(scene: &Scene, at_bat: &AtBat) -> Markup {
    let mut all = scene.choices.drills.clone();
    if let Some(drill) = at_bat.plate.drill.as_ref().filter(|drill| !all.contains(drill)) {
        all.insert(0, drill.clone());
    }
    let button = |drill: Option<&String>| {
        let words = drill.map_or("None", String::as_str);
        let is_so = at_bat.plate.drill.as_ref() == drill;
        say(words, &format!("drill-{words}"), is_so, None, &json!({ "drill": drill }))
    };
    html! {
        (group("Drill", &html! { (button(None)) @for drill in &all { (button(Some(drill))) } }))
        form.row data-send=(SEND) data-then="none" data-key="send-drill" {
            label { span.unseen { "Another drill" }
                input name="drill" maxlength="100" required autocomplete="off" placeholder="Another drill" data-key="new-drill"; }
            button data-key="new-drill-go" { "Set" span.unseen { " drill" } }
        }
    }
}

fn sources(at_bat: &AtBat) -> Markup {
    let button = |source: BallSource| {
        let mut changes = json!({ "ball_source": source.word() });
        // Nothing comes toward a ball that lies still: its speed is no longer the machine's.
        if matches!(source, BallSource::Tee | BallSource::Dry) {
            changes["pitch_speed_mps"] = Value::Null;
        }
        let is_so = at_bat.plate.ball_source == Some(source);
        say(&begun(words::ball_source(source)), &format!("source-{}", source.word()), is_so, None, &changes)
    };
    group("Ball from", &html! { @for source in BallSource::ALL { (button(*source)) } })
}

/// As at the beginning of a line.
fn begun(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn pitch(at_bat: &AtBat, units: Units) -> Markup {
    let unit = units.speed();
    let shown = at_bat.plate.pitch_speed_mps.map(|speed| format!("{:.1}", speed * unit.factor));
    html! {
        form.row data-send=(SEND) data-then="none" data-key="send-pitch" {
            label.pitch { span { "Pitch at the plate, " (unit.sign) }
                input name="pitch_speed_mps" data-as="number" data-factor=(1.0 / unit.factor) inputmode="decimal" size="5"
                    autocomplete="off" value=[shown] data-exact=[at_bat.plate.pitch_speed_mps] data-key="pitch-speed"; }
            button data-key="pitch-speed-go" { "Set" span.unseen { " pitch" } }
        }
    }
}
