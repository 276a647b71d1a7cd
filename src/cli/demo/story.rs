//! Who is invented for the demo, what they did weeks ago, and what they do now.
//!
//! Earlier lessons are simulated and come into the record by the API's import, as recordings made elsewhere do.

use super::super::door::{Address, Content, Door, Part};
use super::super::synth;
use crate::daemon::example;
use crate::daemon::files::{self, OpenRecording};
use crate::engine::profile::{Bat, Profile};
use crate::sim::{Kind, Preset, Scenario};
use anyhow::Context;
use axum::http::Method;
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// All of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Story {
    /// Who, and from which side.
    pub athletes: &'static [(&'static str, &'static str)],
    /// With what, and in which recording it is swung: its numbers are those that the simulator drew for that.
    pub bats: &'static [(&'static str, What)],
    /// How many days ago, and what.
    pub earlier: &'static [(i64, Scene)],
    /// What is to be done: by whom, what, how much, and words.
    pub homework: &'static [(&'static str, &'static str, &'static str, &'static str)],
    /// What is played, one after the other, and from the first on again.
    pub live: &'static [Scene],
}

/// Somebody swings a bat.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scene {
    pub athlete: &'static str,
    pub bat: &'static str,
    /// As the recording has it.
    pub side: &'static str,
    pub played: What,
}

/// A recording.
#[derive(Clone, Copy, Debug)]
pub(super) enum What {
    /// The one that comes with the program.
    Bundled,
    /// One that is simulated: of which kind, from which seed, with how many events.
    Simulated(&'static str, u64, u32),
    /// A round that is simulated: the batter of a seed on one of several days, so many mm/s faster than drawn.
    Round(u64, u32, i32),
}

/// Before the first lesson.
const CONSENT_DAYS_AGO: i64 = 71;
const DRILL: &str = "middle, medium";
const BALL_SOURCE: &str = "machine";

const fn kestrel(side: &'static str, bat: &'static str, played: What) -> Scene {
    Scene { athlete: "Kestrel", bat, side, played }
}
/// The batter of the bundled lesson, before: on the first days 2.2 m/s slower.
const fn right(day: u32, is_early: bool) -> Scene {
    kestrel("right", "Ash 29", What::Round(11, day, if is_early { -2200 } else { 0 }))
}
/// The batter who is played from the left; nothing changes but from day to day.
const fn left(day: u32) -> Scene {
    kestrel("left", "Maple 30", What::Round(19, day, 0))
}
const fn wren(day: u32) -> Scene {
    Scene { athlete: "Wren", bat: "Ash 33", side: "right", played: What::Round(14, day, 0) }
}

/// A test holds the sides of the seeds.
pub(super) const STORY: Story = Story {
    athletes: &[("Kestrel", "both"), ("Wren", "right")],
    bats: &[("Ash 29", What::Bundled), ("Maple 30", What::Round(19, 0, 0)), ("Ash 33", What::Round(14, 0, 0))],
    earlier: &[
        (70, right(1, true)),
        (66, left(1)),
        (63, right(2, true)),
        (56, right(3, true)),
        (52, left(2)),
        (35, wren(1)),
        (21, right(4, false)),
        (18, left(3)),
        (14, right(5, false)),
        (13, wren(2)),
        (10, left(4)),
        (7, right(6, false)),
    ],
    homework: &[
        ("Kestrel", "Tee, middle and away", "3 × 10 a day", "Slowly first; stop when you tire."),
        ("Kestrel", "Front toss, call the pitch", "2 × 10, twice a week", ""),
    ],
    live: &[kestrel("right", "Ash 29", What::Bundled), kestrel("left", "Maple 30", What::Simulated("lesson", 19, 10))],
};

/// Swings of a simulated round.
const ROUND_SWINGS: u32 = 6;

/// Who was entered, by what they are called.
pub(super) struct Cast(BTreeMap<&'static str, String>);

impl Story {
    /// Enters athletes, bats and earlier lessons; recordings are simulated into the folder.
    ///
    /// # Errors
    /// If the folder cannot be written to, or the service does not answer.
    pub(super) fn enter(&self, door: &Door, folder: &Path) -> anyhow::Result<Cast> {
        let mut cast = Cast(BTreeMap::new());
        for &(nickname, bats) in self.athletes {
            let body = json!({"nickname": nickname, "bats": bats, "note": "invented"});
            let id = entered(door, "/v1/athletes", body)?;
            let consent = json!({"given_by": "Linnet (invented)", "relation": "guardian", "scope": ["measuring", "keeping"],
                "given": Timestamp::now().checked_sub(SignedDuration::from_hours(24 * CONSENT_DAYS_AGO))?.to_string()});
            entered(door, &format!("/v1/athletes/{id}/consents"), consent)?;
            cast.0.insert(nickname, id);
        }
        for &(name, swung_in) in self.bats {
            cast.0.insert(name, entered(door, "/v1/bats", bat(name, &swung_in.profile()?.bat))?);
        }
        let now = Timestamp::now();
        for (days_ago, scene) in self.earlier {
            let begun = now.checked_sub(SignedDuration::from_hours(24 * days_ago)).context("no day so early")?;
            cast.import(door, scene, &scene.played.file(folder)?, begun)?;
        }
        for (nickname, drill, how_much, words) in self.homework {
            let body = json!({"drill": drill, "how_much": how_much, "words": words});
            entered(door, &format!("/v1/athletes/{}/homework", cast.id(nickname)?), body)?;
        }
        Ok(cast)
    }
}

impl Cast {
    fn id(&self, name: &str) -> anyhow::Result<&String> {
        self.0.get(name).with_context(|| format!("{name} was not entered"))
    }

    fn import(&self, door: &Door, scene: &Scene, file: &Path, begun: Timestamp) -> anyhow::Result<()> {
        let address = Address::new(&["v1", "recordings"])
            .with("athlete", Some(self.id(scene.athlete)?))
            .with("occasion", Some("lesson"))
            .with("side", Some(scene.side))
            .with("bat", Some(self.id(scene.bat)?))
            .with("drill", Some(DRILL))
            .with("ball_source", Some(BALL_SOURCE))
            .with("begun", Some(begun.to_string()));
        let part = Part { name: "recording", path: file.into(), kind: "application/octet-stream" };
        door.send(Method::POST, address.as_str(), &[], Content::Form(vec![part]))?;
        Ok(())
    }

    /// Puts somebody at the plate.
    ///
    /// # Errors
    /// If the service does not answer.
    pub(super) fn comes_to_the_plate(&self, door: &Door, scene: &Scene) -> anyhow::Result<()> {
        let (athlete, bat) = (self.id(scene.athlete)?, self.id(scene.bat)?);
        let body = json!({
            "athlete_id": athlete, "side": scene.side, "bat_id": bat, "drill": DRILL, "ball_source": BALL_SOURCE
        });
        door.send(Method::PUT, "/v1/at-the-plate", &[], Content::Json(body))?;
        Ok(())
    }
}

/// A bat with all that a squared-up ball asks for.
fn bat(name: &str, known: &Bat) -> Value {
    json!({
        "name": name, "kind": "bat", "note": "invented",
        "length_m": known.length_m, "mass_kg": known.mass_kg, "balance_m": known.balance_m,
        "moi_knob6_kgm2": known.moi_knob6_kgm2, "sweet_spot_m": known.sweet_spot_m,
        "barrel_diameter_m": known.barrel_diameter_m,
    })
}

fn entered(door: &Door, path: &str, body: Value) -> anyhow::Result<String> {
    let answer = door.send(Method::POST, path, &[], Content::Json(body))?.json()?;
    Ok(answer["id"].as_str().context("the answer holds no id")?.to_owned())
}

impl What {
    /// To be played.
    ///
    /// # Errors
    /// If the folder cannot be written to.
    pub(super) fn open(self, folder: &Path) -> anyhow::Result<OpenRecording> {
        match self {
            Self::Bundled => Ok(example::lesson()?),
            Self::Simulated(..) | Self::Round(..) => Ok(files::open(&self.file(folder)?)?),
        }
    }

    /// Who swings, and with what. The batter is drawn first: which kind of recording follows does not matter.
    fn profile(self) -> anyhow::Result<Profile> {
        match self {
            Self::Bundled => Ok(example::lesson()?.profile().clone()),
            Self::Simulated(_, seed, _) | Self::Round(seed, ..) => {
                Ok(Scenario::new(Kind::Calibration, Preset::Good, seed).truth().0)
            }
        }
    }

    /// As a file in the folder.
    fn file(self, folder: &Path) -> anyhow::Result<PathBuf> {
        match self {
            Self::Bundled => {
                let (name, bytes) = example::lesson_file();
                let path = folder.join(name);
                std::fs::create_dir_all(folder).and_then(|()| std::fs::write(&path, bytes))?;
                Ok(path)
            }
            Self::Simulated(kind, seed, events) => simulated(folder, kind, (seed, events), (0, 0)),
            Self::Round(seed, day, faster) => simulated(folder, "round", (seed, ROUND_SWINGS), (day, faster)),
        }
    }
}

fn simulated(
    folder: &Path,
    kind: &str,
    (seed, events): (u64, u32),
    (day, faster_mmps): (u32, i32),
) -> anyhow::Result<PathBuf> {
    let args = synth::Args {
        kind: kind.into(),
        preset: "good".into(),
        seed,
        out: folder.into(),
        count: 1,
        events,
        day,
        faster_mps: f64::from(faster_mmps) / 1000.0,
        calibrated: false,
        mcap: true,
        athlete: None,
        lost_share: 0.0,
    };
    let stems = synth::run(&args, &mut std::io::sink())?;
    Ok(stems.first().context("nothing was simulated")?.with_extension("mcap"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::profile::Side;

    #[test]
    fn every_scene_is_of_the_side_that_is_said() {
        let earlier = STORY.earlier.iter().map(|(_, scene)| scene);
        for scene in earlier.chain(STORY.live) {
            let side = scene.played.profile().unwrap().swing.side;
            assert_eq!(side, if scene.side == "left" { Side::Left } else { Side::Right }, "{scene:?}");
        }
    }

    /// Otherwise a bat that the record knows would take the place of the one that is swung, and move the numbers.
    #[test]
    fn every_scene_is_swung_with_its_own_bat_and_it_is_as_long_as_it_is_called() {
        let earlier = STORY.earlier.iter().map(|(_, scene)| scene);
        for scene in earlier.chain(STORY.live) {
            let (name, swung_in) = STORY.bats.iter().find(|(name, _)| *name == scene.bat).unwrap();
            let known = swung_in.profile().unwrap().bat;
            assert_eq!(known, scene.played.profile().unwrap().bat, "{scene:?}");
            let inches = name.split(' ').next_back().unwrap().parse::<f64>().unwrap();
            assert!((known.length_m / 0.0254 - inches).abs() < 0.5, "{name}: {} m", known.length_m);
        }
    }
}
