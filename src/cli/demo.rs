//! `swingd demo`: a lesson on the cage screen, without a sensor: the bundled recording and a simulated one, played through a
//! service of its own as if a sensor sent them, one side after the other, beside earlier lessons of invented athletes.
//!
//! All of it is in a folder of its own, which goes when the demo ends unless `--out` names it. At the end the last recording
//! that the service made is measured: a table, and with `--out` a page and a picture.

mod browser;
mod story;

use super::analysis::{Analysis, analyse_while_reading};
use super::door::Door;
use super::live::Lines;
use super::replay::UnitsArg;
use super::serve::{speed, told_to_stop};
use super::targets::replace;
use crate::daemon::access;
use crate::daemon::example::next_entry;
use crate::daemon::files::open;
use crate::daemon::hub::Hub;
use crate::daemon::playback::Pace;
use crate::daemon::service::{Service, Settings};
use crate::daemon::station::Limits;
use crate::daemon::store::Place;
use crate::report::page::page;
use crate::report::svg::picture;
use crate::report::table::table;
use anyhow::Context;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;
use story::{Cast, STORY, Scene, Story};
use tempfile::TempDir;
use tokio::runtime::Runtime;
use tokio::task::JoinHandle;

/// What `demo` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct DemoArgs {
    /// Keep all of it in this folder, with a page and a picture of the last lesson
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Units of the lines, the table and the pictures
    #[arg(long, value_enum, default_value_t)]
    pub units: UnitsArg,
    /// How many times as fast as it was the lesson is played
    #[arg(long, default_value_t = 2.0, value_parser = speed)]
    pub speed: f64,
    /// End when the lesson has been played once
    #[arg(long)]
    pub once: bool,
    /// Do not open the page in a browser
    #[arg(long)]
    pub no_open: bool,
}

/// The sensor that is played.
const SENSOR: &str = "lesson";
/// Lines are printed so often: at once, to a person.
const PRINT_EVERY: Duration = Duration::from_millis(20);
/// Between a recording that has ended and is closed, and the next lesson, which so has one of its own, s.
const PAUSE_S: f64 = 2.0;

/// A recording in which nothing came for so long is closed, s; the longer, the slower it is played.
fn idle_close_s(speed: f64) -> f64 {
    2.0 / speed.min(1.0)
}

/// Enters earlier lessons, plays the lesson until it is told to stop, and measures what was recorded last.
///
/// # Errors
/// If the folder or `out` cannot be written to, or the service cannot start.
pub fn run(args: &DemoArgs, out: &mut dyn Write) -> anyhow::Result<()> {
    tell(&STORY, args, out)
}

fn tell(story: &Story, args: &DemoArgs, out: &mut dyn Write) -> anyhow::Result<()> {
    // Removed with all that is in it when it is dropped.
    let temporary = match &args.out {
        Some(folder) => {
            std::fs::create_dir_all(folder)
                .with_context(|| format!("{}: cannot be made a folder", folder.display()))?;
            None
        }
        None => Some(TempDir::with_prefix("swingd-demo-").context("no new folder among the temporary files")?),
    };
    let folder = temporary.as_ref().map(TempDir::path).or(args.out.as_deref()).context("no folder")?;
    let runtime = Runtime::new().context("no threads for the service")?;
    let service = runtime.block_on(Service::start(&settings(&folder.join("data"), args.speed)))?;
    let mut lines = Lines::new(service.hub().subscribe(None).news, args.units.into());
    let shown = Stage { runtime: &runtime, service: &service, folder, args }.show(story, &mut lines, out);
    runtime.block_on(service.stop());
    shown?;
    lines.drain(out)?;
    runtime.shutdown_background();
    measured(folder, args, out)
}

fn settings(data_folder: &Path, speed: f64) -> Settings {
    const MOST_BYTES: u64 = 1 << 30;
    Settings {
        data_folder: data_folder.to_owned(),
        listen: (std::net::Ipv4Addr::LOCALHOST, 0).into(),
        http: access::Settings::default(),
        cage: "cage".into(),
        retention_days: 0,
        events_keep: 1000,
        nearly_full_bytes: 0,
        limits: Limits { idle_close_s: idle_close_s(speed), most_bytes: MOST_BYTES },
        store: Place::in_folder(data_folder),
    }
}

/// Where it is shown.
struct Stage<'a> {
    runtime: &'a Runtime,
    service: &'a Service,
    folder: &'a Path,
    args: &'a DemoArgs,
}

impl Stage<'_> {
    fn show(&self, story: &Story, lines: &mut Lines, out: &mut dyn Write) -> anyhow::Result<()> {
        let address = self.service.address();
        let door = Door::to_address(address)?;
        writeln!(out, "Earlier lessons of invented athletes are simulated and entered …")?;
        out.flush()?;
        let simulated = self.folder.join("simulated");
        let cast = story.enter(&door, &simulated)?;
        write!(out, "{}", what_to_look_at(&format!("http://{address}"), self.args.speed))?;
        out.flush()?;
        for (k, scene) in story.live.iter().cycle().enumerate() {
            let is_over = self.play(scene, (&door, &cast), k == 0, lines, out)?;
            if is_over || self.args.once {
                break;
            }
        }
        Ok(())
    }

    /// Plays it to its end; whether it was told to stop.
    fn play(
        &self,
        scene: &Scene,
        (door, cast): (&Door, &Cast),
        is_first: bool,
        lines: &mut Lines,
        out: &mut dyn Write,
    ) -> anyhow::Result<bool> {
        let mut recording = scene.played.open(&self.folder.join("simulated"))?;
        cast.comes_to_the_plate(door, scene)?;
        writeln!(out, "{} bats {}:\n", scene.athlete, scene.side)?;
        out.flush()?;
        let _entered = self.runtime.enter();
        let pace = Pace { speed: self.args.speed };
        let played = self.service.play(SENSOR, move || next_entry(&mut recording), pace);
        let played = played.context("no thread for the recording")?;
        if is_first && !self.args.no_open {
            browser::open(&format!("http://{}/", self.service.address()));
        }
        let hub = self.service.hub();
        self.runtime.block_on(async {
            let to_its_end = async {
                print_until_taken(played, hub, lines, out).await?;
                if !self.args.once {
                    let between = Duration::from_secs_f64(idle_close_s(self.args.speed) + PAUSE_S);
                    tokio::time::sleep(between).await;
                    lines.drain(out)?;
                    writeln!(out)?;
                }
                anyhow::Ok(false)
            };
            tokio::select! {
                ended = to_its_end => ended,
                stopped = told_to_stop() => stopped.map(|()| true),
            }
        })
    }
}

fn what_to_look_at(address: &str, speed: f64) -> String {
    format!(
        "\n\
         {address}/            the cage screen: swings appear as they happen, over the athlete's earlier ones\n\
         {address}/athletes    looking back: lessons on both sides, then and now, a swing with all of its numbers\n\
         {address}/setup       athletes, bats and sensors\n\
         {address}/v1/events   the same as events, for programs\n\
         \n\
         All of it is simulated and invented, and played at {speed} times its speed. Ctrl-C ends it.\n\n"
    )
}

/// Prints what is told until all is played and has been taken: a slow machine is behind a fast playback.
async fn print_until_taken(
    played: JoinHandle<u64>,
    hub: &Hub,
    lines: &mut Lines,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    while !(played.is_finished() && is_taken(hub)) {
        tokio::time::sleep(PRINT_EVERY).await;
        lines.drain(out)?;
    }
    played.await?;
    Ok(())
}

/// Whether the sensor is known to be lost, which is the last that a playback says.
fn is_taken(hub: &Hub) -> bool {
    let state = hub.sensors().into_iter().find(|(name, _)| name == SENSOR);
    let state = state.and_then(|(_, state)| serde_json::from_str::<serde_json::Value>(&state).ok());
    state.is_some_and(|state| state["link"] == "lost")
}

/// The last recording, measured.
fn measured(folder: &Path, args: &DemoArgs, out: &mut dyn Write) -> anyhow::Result<()> {
    let Some(recorded) = newest_recording(&folder.join("data").join("recordings"))? else { return Ok(()) };
    let Analysis { recording, swings, .. } = analyse_while_reading(open(&recorded)?, &mut |_| {})?;
    let units = args.units.into();
    writeln!(out, "\nThe last recording made of it, measured again:\n")?;
    write!(out, "{}", table(&recording, &swings, units))?;
    if args.out.is_some() {
        let page_path = folder.join("lesson.html");
        write_file(&page_path, &page("A simulated lesson, measured", &recording, &swings, units))?;
        write_file(&folder.join("lesson.svg"), &picture(&swings, units))?;
        writeln!(out, "\nPage: {}", page_path.display())?;
    }
    Ok(out.flush()?)
}

/// The recording of the sensor that was made last; `None` if it was stopped before there was any.
fn newest_recording(folder: &Path) -> anyhow::Result<Option<PathBuf>> {
    let entries = std::fs::read_dir(folder).with_context(|| format!("{}: cannot be read", folder.display()))?;
    let ending = format!("-{SENSOR}.mcap");
    let names = entries.filter_map(|entry| Some(entry.ok()?.path()));
    Ok(names.filter(|path| path.to_string_lossy().ends_with(&ending)).max())
}

fn write_file(path: &Path, text: &str) -> anyhow::Result<()> {
    replace(path, |out| out.write_all(text.as_bytes()))
}

#[cfg(test)]
mod tests;
