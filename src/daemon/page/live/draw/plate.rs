//! Who is at the plate, and what can be said of it at a touch: each button sends all of it, with one thing changed.

use super::super::scene::{AthleteChoice, Scene};
use super::side_words;
use crate::daemon::page::words;
use crate::daemon::record::plate::AtBat;
use crate::daemon::store::rows::{BallSource, Side, Word};
use crate::report::words::{Units, rounded};
use maud::{Markup, html};
use serde::Serialize;
use uuid::Uuid;

/// So many stand as buttons; the others in a list.
const MOST_ATHLETES: usize = 8;
const MOST_BATS: usize = 5;

/// The body of `PUT /v1/at-the-plate`.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Saying {
    athlete_id: Option<Uuid>,
    side: Option<&'static str>,
    bat_id: Option<Uuid>,
    drill: Option<String>,
    ball_source: Option<&'static str>,
    pitch_speed_mps: Option<f64>,
    pitch_descent_deg: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    occasion: Option<&'static str>,
}

impl Saying {
    /// What holds now.
    pub fn of(at_bat: &AtBat) -> Self {
        let plate = &at_bat.plate;
        Self {
            athlete_id: plate.athlete_id,
            side: plate.side.map(Word::word),
            bat_id: plate.bat_id,
            drill: plate.drill.clone(),
            ball_source: plate.ball_source.map(Word::word),
            pitch_speed_mps: plate.pitch_speed_mps,
            pitch_descent_deg: plate.pitch_descent_deg,
            occasion: at_bat.lesson.as_ref().map(|lesson| lesson.occasion.word()),
        }
    }

    fn json(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }
}

/// The heading: who, and with what.
pub fn who(scene: &Scene, units: Units) -> Markup {
    let Some(at_bat) = &scene.at_bat else { return html! { h1 { "At the plate" } } };
    let plate = &at_bat.plate;
    let pitch = plate.pitch_speed_mps.filter(|speed| *speed > 0.0).map(|speed| {
        let unit = units.speed();
        format!("{} {}", rounded(speed * unit.factor, 0), unit.sign)
    });
    let facts = [
        plate.side.map(|side| side_words(side).to_owned()),
        at_bat.bat.clone(),
        plate.drill.clone(),
        plate.ball_source.map(|source| words::ball_source(source).to_owned()),
        pitch.map(|pitch| format!("pitch {pitch}")),
    ];
    html! {
        h1 { (at_bat.nickname.as_deref().unwrap_or("Nobody is at the plate")) }
        p.facts {
            @if plate.athlete_id.is_none() { span { "Swings are kept, and can be given to somebody later." } }
            @for fact in facts.into_iter().flatten() { span { (fact) } }
            a.change.only-small href="#say" data-key="change-plate" { "Change" }
        }
    }
}

/// On a phone, where all else that can be said is far below: the side, under the name.
pub fn near(scene: &Scene) -> Markup {
    let Some(at_bat) = &scene.at_bat else { return html! {} };
    let said = Saying::of(at_bat);
    html! {
        .row.near.change role="group" aria-label="Side" {
            @for (side, words, hotkey) in [(Side::Left, "Left", "l"), (Side::Right, "Right", "r")] {
                @let word = side.word();
                @let then = Saying { side: Some(word), ..said.clone() };
                (say(words, &format!("near-{word}"), said.side == Some(word), Some(hotkey), &then))
            }
        }
    }
}

/// All that can be said at a touch.
pub fn choices(scene: &Scene, units: Units) -> Markup {
    let Some(at_bat) = &scene.at_bat else { return html! {} };
    let said = Saying::of(at_bat);
    html! {
        (sides(&said))
        (athletes(scene, at_bat, &said))
        (bats(scene, at_bat, &said))
        (drills(scene, at_bat, &said))
        (sources(at_bat, &said))
        (pitch(at_bat, &said, units))
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

/// A button that says `then` at a touch.
fn say(words: &str, key: &str, is_so: bool, hotkey: Option<&str>, then: &Saying) -> Markup {
    html! {
        button type="button" data-send="PUT /v1/at-the-plate" data-body=(then.json()) data-then="none" aria-pressed=(is_so)
            data-key=(key) data-hotkey=[hotkey] { (words) }
    }
}

fn sides(said: &Saying) -> Markup {
    let button = |side: Side, words: &str, hotkey: &str| {
        let word = side.word();
        let then = Saying { side: Some(word), ..said.clone() };
        say(words, &format!("side-{word}"), said.side == Some(word), Some(hotkey), &then)
    };
    group("Side", &html! { (button(Side::Left, "Left", "l")) (button(Side::Right, "Right", "r")) })
}

fn athletes(scene: &Scene, at_bat: &AtBat, said: &Saying) -> Markup {
    let all = &scene.choices.athletes;
    let at_plate = at_bat.plate.athlete_id;
    let is_shown = |(place, athlete): &(usize, &AthleteChoice)| *place < MOST_ATHLETES || Some(athlete.id) == at_plate;
    let (shown, others): (Vec<_>, Vec<_>) = all.iter().enumerate().partition(is_shown);
    let nobody = Saying { athlete_id: None, side: None, bat_id: None, ..said.clone() };
    let buttons = html! {
        @for (_, athlete) in shown {
            (say(&athlete.nickname, &format!("athlete-{}", athlete.id), Some(athlete.id) == at_plate, None, &with(said, athlete)))
        }
        (say("Nobody", "nobody", at_plate.is_none(), None, &nobody))
    };
    html! {
        (group("Athlete", &buttons))
        @if !others.is_empty() {
            form.row data-send="PUT /v1/at-the-plate" data-body=(Saying { side: None, ..said.clone() }.json()) data-then="none" {
                label { span.unseen { "Somebody else" }
                    select name="athlete_id" data-key="others" { @for (_, athlete) in others {
                        option value=(athlete.id) { (athlete.nickname) } } } }
                button data-key="others-go" { "To the plate" }
            }
        }
    }
}

/// Somebody else comes, from the side and with the bat they had; what is thrown to them stays.
fn with(said: &Saying, athlete: &AthleteChoice) -> Saying {
    if said.athlete_id == Some(athlete.id) {
        return said.clone();
    }
    let side = athlete.side.map(Word::word);
    Saying { athlete_id: Some(athlete.id), side, bat_id: athlete.bat_id, ..said.clone() }
}

fn bats(scene: &Scene, at_bat: &AtBat, said: &Saying) -> Markup {
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
    let buttons = html! {
        @for (id, name) in shown {
            (say(name, &format!("bat-{id}"), said.bat_id == Some(*id), None, &Saying { bat_id: Some(*id), ..said.clone() }))
        }
    };
    html! {
        (group("Bat", &buttons))
        @if !others.is_empty() {
            form.row data-send="PUT /v1/at-the-plate" data-body=(said.json()) data-then="none" {
                label { span.unseen { "Another bat" }
                    select name="bat_id" data-key="other-bats" { @for (id, name) in others { option value=(id) { (name) } } } }
                button data-key="other-bats-go" { "Take it" }
            }
        }
    }
}

fn drills(scene: &Scene, at_bat: &AtBat, said: &Saying) -> Markup {
    let mut all = scene.choices.drills.clone();
    if let Some(drill) = at_bat.plate.drill.as_ref().filter(|drill| !all.contains(drill)) {
        all.insert(0, drill.clone());
    }
    let button = |drill: Option<&String>| {
        let then = Saying { drill: drill.cloned(), ..said.clone() };
        let words = drill.map_or("None", String::as_str);
        say(words, &format!("drill-{words}"), said.drill.as_ref() == drill, None, &then)
    };
    html! {
        (group("Drill", &html! { (button(None)) @for drill in &all { (button(Some(drill))) } }))
        form.row data-send="PUT /v1/at-the-plate" data-body=(said.json()) data-then="none" {
            label { span.unseen { "Another drill" }
                input name="drill" maxlength="100" required autocomplete="off" placeholder="Another drill" data-key="new-drill"; }
            button data-key="new-drill-go" { "Set" span.unseen { " drill" } }
        }
    }
}

fn sources(at_bat: &AtBat, said: &Saying) -> Markup {
    let button = |source: BallSource| {
        // Nothing comes toward a ball that lies still: its speed is no longer the machine's.
        let is_still = matches!(source, BallSource::Tee | BallSource::Dry);
        let pitch_speed_mps = said.pitch_speed_mps.filter(|_| !is_still);
        let then = Saying { ball_source: Some(source.word()), pitch_speed_mps, ..said.clone() };
        let is_so = at_bat.plate.ball_source == Some(source);
        let words = match source {
            BallSource::Tee => "Tee",
            BallSource::Toss => "Toss",
            BallSource::FrontToss => "Front toss",
            BallSource::Machine => "Machine",
            BallSource::Live => "Live",
            BallSource::Dry => "Dry",
        };
        say(words, &format!("source-{}", source.word()), is_so, None, &then)
    };
    group("Ball from", &html! { @for source in BallSource::ALL { (button(*source)) } })
}

fn pitch(at_bat: &AtBat, said: &Saying, units: Units) -> Markup {
    let unit = units.speed();
    let shown = at_bat.plate.pitch_speed_mps.map(|speed| format!("{:.1}", speed * unit.factor));
    html! {
        form.row data-send="PUT /v1/at-the-plate" data-body=(said.json()) data-then="none" {
            label.pitch { span { "Pitch at the plate, " (unit.sign) }
                input name="pitch_speed_mps" data-as="number" data-factor=(1.0 / unit.factor) inputmode="decimal" size="5"
                    autocomplete="off" value=[shown] data-exact=[at_bat.plate.pitch_speed_mps] data-key="pitch-speed"; }
            button data-key="pitch-speed-go" { "Set" span.unseen { " pitch" } }
        }
    }
}
