//! `swingd demo`: the bundled lesson, live: played through the service as if a sensor sent it, a line a swing; then
//! what the service recorded, measured: a table, a page and a picture in the browser.

use super::analysis::{Analysis, analyse_while_reading};
use super::live::Lines;
use super::replay::UnitsArg;
use super::serve::{Played, speed};
use super::targets::replace;
use crate::daemon::access;
use crate::daemon::files::{OpenRecording, RecordingError, from_reader, open};
use crate::daemon::service::{Service, Settings};
use crate::daemon::station::Limits;
use crate::daemon::store::Place;
use crate::report::page::page;
use crate::report::svg::picture;
use crate::report::table::table;
use anyhow::Context;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

/// What `demo` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct DemoArgs {
    /// Folder for the page and the picture; a new one among the temporary files if not given
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Units of the table and the pictures
    #[arg(long, value_enum, default_value_t)]
    pub units: UnitsArg,
    /// How many times as fast as it was the lesson is played
    #[arg(long, default_value_t = 10.0, value_parser = speed)]
    pub speed: f64,
    /// Do not open the page in a browser
    #[arg(long)]
    pub no_open: bool,
}

const LESSON_NAME: &str = "lesson.mcap";
const LESSON: &[u8] = include_bytes!("../../replay-data/lesson.mcap");

/// The lesson that comes with the program.
fn bundled_lesson() -> Result<OpenRecording, RecordingError> {
    from_reader(Path::new(LESSON_NAME), LESSON, None)
}

/// Plays the lesson, measures what was recorded, writes the page, prints the table and opens the page.
///
/// # Errors
/// If the folder or `out` cannot be written to.
pub fn run(args: &DemoArgs, out: &mut dyn Write) -> anyhow::Result<()> {
    let folder = folder(args.out.as_deref())?;
    let runtime = tokio::runtime::Runtime::new().context("no threads for the service")?;
    runtime.block_on(play(args, &folder.join("data"), out))?;
    let recorded = newest_recording(&folder.join("data").join("recordings"))?;
    let Analysis { recording, swings, .. } = analyse_while_reading(open(&recorded)?, &mut |_| {})?;
    let units = args.units.into();
    let page_path = folder.join("lesson.html");
    write_file(&page_path, &page("A simulated lesson, measured", &recording, &swings, units))?;
    write_file(&folder.join("lesson.svg"), &picture(&swings, units))?;
    write!(out, "{}", table(&recording, &swings, units))?;
    writeln!(out, "\nPage: {}", page_path.display())?;
    out.flush()?;
    if !args.no_open {
        open_in_browser(&page_path);
    }
    Ok(())
}

/// The lesson through the service, from the first packet to the end of the recording.
async fn play(args: &DemoArgs, data_folder: &Path, out: &mut dyn Write) -> anyhow::Result<()> {
    const MOST_BYTES: u64 = 1 << 30;
    let settings = Settings {
        data_folder: data_folder.to_owned(),
        listen: (std::net::Ipv4Addr::LOCALHOST, 0).into(),
        http: access::Settings::default(),
        cage: "cage".into(),
        retention_days: 0,
        events_keep: 1000,
        nearly_full_bytes: 0,
        limits: Limits { idle_close_s: 60.0, most_bytes: MOST_BYTES },
        store: Place::in_folder(data_folder),
    };
    let service = Service::start(&settings).await?;
    let (address, speed) = (service.address(), args.speed);
    writeln!(out, "A simulated lesson at {speed} times its speed; the same as events: http://{address}/v1/events\n")?;
    out.flush()?;
    let mut lines = Lines::new(service.hub().subscribe(None).news, args.units.into());
    let played = Played::new("lesson", bundled_lesson()?).start(&service, speed)?;
    let shown = show(played, &mut lines, out).await;
    service.stop().await;
    shown?;
    lines.drain(out)?;
    writeln!(out, "\nThe recording made of it, measured again:\n")?;
    Ok(())
}

/// Prints what is told until all is played.
async fn show(played: tokio::task::JoinHandle<u64>, lines: &mut Lines, out: &mut dyn Write) -> anyhow::Result<()> {
    let mut played = std::pin::pin!(played);
    loop {
        tokio::select! {
            played = &mut played => {
                played?;
                return Ok(());
            }
            () = tokio::time::sleep(PRINT_EVERY) => lines.drain(out)?,
        }
    }
}

/// Lines are printed so often: at once, to a person.
const PRINT_EVERY: Duration = Duration::from_millis(20);

/// The recording that was just made.
fn newest_recording(folder: &Path) -> anyhow::Result<PathBuf> {
    let entries = std::fs::read_dir(folder).with_context(|| format!("{}: cannot be read", folder.display()))?;
    let newest = entries.filter_map(|entry| Some(entry.ok()?.path())).max();
    newest.with_context(|| format!("{}: no recording was made", folder.display()))
}

fn write_file(path: &Path, text: &str) -> anyhow::Result<()> {
    replace(path, |out| out.write_all(text.as_bytes()))
}

/// The folder asked for, or a new one that nobody else has.
fn folder(asked: Option<&Path>) -> anyhow::Result<PathBuf> {
    if let Some(folder) = asked {
        std::fs::create_dir_all(folder).with_context(|| format!("{}: cannot be made a folder", folder.display()))?;
        return Ok(folder.to_owned());
    }
    let temporary = std::env::temp_dir();
    let candidates = (0..100).map(|k| temporary.join(format!("swingd-demo-{}-{k}", std::process::id())));
    for folder in candidates {
        match std::fs::create_dir(&folder) {
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
            made => {
                return made.map(|()| folder.clone()).with_context(|| format!("{}: cannot be made", folder.display()));
            }
        }
    }
    anyhow::bail!("{}: no new folder can be made there; name one by --out", temporary.display())
}

/// Best effort: the page's path has been printed.
fn open_in_browser(page: &Path) {
    let Some(mut command) = browser() else { return };
    let quiet = command.arg(page).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    // Nothing to do about a system without a browser.
    let _ = quiet.spawn();
}

/// The system's own way to open a file; on Linux only where there is a screen, for a text browser would take over the
/// terminal.
fn browser() -> Option<Command> {
    let words: &[&str] = match std::env::consts::OS {
        "macos" => &["open"],
        "windows" => &["cmd", "/C", "start", ""],
        _ if ["DISPLAY", "WAYLAND_DISPLAY"].iter().any(|name| std::env::var_os(name).is_some()) => &["xdg-open"],
        _ => return None,
    };
    let (program, arguments) = words.split_first()?;
    let mut command = Command::new(program);
    command.args(arguments);
    Some(command)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_and_the_picture_are_written_and_the_table_printed() {
        let folder = folder(None).unwrap();
        let out_folder = Some(folder.join("deeper"));
        let args = DemoArgs { out: out_folder, units: UnitsArg::Metric, speed: 1000.0, no_open: true };
        let mut out = Vec::new();
        run(&args, &mut out).unwrap();
        let written = |name| std::fs::read_to_string(folder.join("deeper").join(name)).unwrap();
        assert!(written("lesson.html").starts_with("<!DOCTYPE html>"));
        assert!(written("lesson.svg").starts_with("<svg"));
        let out = String::from_utf8(out).unwrap();
        assert!(out.contains("swing 8   final"), "{out}");
        assert!(out.contains("-lesson.mcap: 128.5 s at 1000 Hz, 8 swings"), "{out}");
        std::fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn every_demo_has_a_folder_of_its_own() {
        let (one, two) = (folder(None).unwrap(), folder(None).unwrap());
        assert_ne!(one, two);
        std::fs::remove_dir(one).unwrap();
        std::fs::remove_dir(two).unwrap();
    }
}
