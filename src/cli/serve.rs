//! `swingd serve`: the background service.

use super::config::{Config, ConfigArgs};
use super::live::Lines;
use super::replay::UnitsArg;
use super::text_file;
use crate::daemon::access;
use crate::daemon::files::{self, OpenRecording};
use crate::daemon::finder::{Catalogue, Open, Wants};
use crate::daemon::hub::{Fault, Hub};
use crate::daemon::inlet::Inlet;
use crate::daemon::logging::{self, LogSettings};
use crate::daemon::playback::Pace;
use crate::daemon::radio::ble::{BleRadio, hide_harmless_panics};
use crate::daemon::radio::{Advert, printable};
use crate::daemon::service::{Service, Settings};
use crate::daemon::station::Limits;
use crate::engine::device::descriptor::{Descriptor, shipped};
use crate::engine::wire::mcap::Entry;
use anyhow::Context;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

/// What `serve` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct ServeArgs {
    /// Play a recording as if it were a sensor, instead of using the radio
    #[arg(long, value_name = "FILE")]
    pub play: Option<PathBuf>,
    /// How many times as fast as it was recorded
    #[arg(long, default_value_t = 1.0, requires = "play", value_parser = speed)]
    pub speed: f64,
    /// Stop when the recording has been played
    #[arg(long, requires = "play")]
    pub once: bool,
    /// Units of the lines printed
    #[arg(long, value_enum, default_value_t)]
    pub units: UnitsArg,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// How many times as fast as it was a recording is played.
pub(super) fn speed(text: &str) -> Result<f64, String> {
    let value = text.parse::<f64>().ok().filter(|value| (0.01..=1000.0).contains(value));
    value.ok_or_else(|| "expected a number from 0.01 to 1000".to_owned())
}

/// Serves until it is told to stop; prints a line a swing.
///
/// # Errors
/// If it cannot start.
pub fn run(args: &ServeArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let (config, unknown) = Config::of_this_machine(&args.config)?;
    for variable in unknown {
        writeln!(err, "{variable}")?;
    }
    let settings =
        LogSettings { level: config.log.level.value.clone(), folder: config.log_folder(), days: config.log.days.value };
    // What is played is checked before anything is started.
    let played = args.play.as_deref().map(Played::open).transpose()?;
    let catalogue = catalogue(&config)?;
    let logging = logging::start(&settings)?;
    hide_harmless_panics();
    let runtime = tokio::runtime::Runtime::new().context("no threads for the service")?;
    let served = runtime.block_on(serve(args, &config, played, catalogue, out));
    // A call to the system that hangs must not keep the program from ending.
    runtime.shutdown_background();
    drop(logging);
    served
}

async fn serve(
    args: &ServeArgs,
    config: &Config,
    played: Option<Played>,
    catalogue: Catalogue,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    let service = Service::start(&settings(config)).await?;
    tracing::info!(address = %service.address(), data = %config.data_folder.value.display(), "serving");
    writeln!(out, "swingd serves http://{}/v1/events; stop it with Ctrl-C", service.address())?;
    if !service.address().ip().is_loopback() {
        writeln!(out, "{}", of_others(service.valid_tokens().await))?;
    }
    out.flush()?;
    // A thread of its own prints: a terminal that is paused holds up nothing, and one that is gone ends nothing.
    let mut lines = Lines::new(service.hub().subscribe(None).news, args.units.into());
    let (printed, all_printed) = std::sync::mpsc::sync_channel::<()>(0);
    std::thread::spawn(move || {
        // Nobody reads any more: the service goes on.
        let _ = lines.follow(&mut std::io::stdout());
        drop(printed);
    });
    let played = match played {
        Some(played) => Some(played.start(&service, args.speed)?),
        None => {
            let (wants, open) = (wants(config.clone()), open(&service, config.clone()));
            service.find_sensors(Arc::new(BleRadio::default()), catalogue, wants, open);
            None
        }
    };
    let once = args.once;
    let playing = async {
        match played {
            Some(played) if once => drop(played.await),
            _ => std::future::pending().await,
        }
    };
    let stopped = tokio::select! {
        stopped = told_to_stop() => stopped,
        () = playing => Ok(()),
    };
    tracing::info!("stopping");
    service.stop().await;
    // What was told while it stopped is printed, if somebody reads.
    let _ = all_printed.recv_timeout(PRINTED_WITHIN);
    stopped
}

/// What is said of other machines where the service listens for them.
fn of_others(tokens: Option<i64>) -> String {
    let who = match tokens {
        Some(0) => "no other machine gets in: there is no valid token".to_owned(),
        Some(1) => "other machines get in with a token; 1 is valid".to_owned(),
        Some(count) => format!("other machines get in with a token; {count} are valid"),
        None => "other machines get in with a token".to_owned(),
    };
    who + ". `swingd pair` shows a code that gives one"
}

/// The last lines are printed within this time, or not.
const PRINTED_WITHIN: Duration = Duration::from_millis(300);

/// What the service is started with.
pub(super) fn settings(config: &Config) -> Settings {
    const MB: u64 = 1_000_000;
    Settings {
        data_folder: config.data_folder.value.clone(),
        listen: config.http_listen.value,
        http: access::Settings {
            hosts: config.http_hosts.value.clone(),
            requests_per_minute: config.http_requests_per_minute.value,
            ..access::Settings::default()
        },
        cage: config.cage_name.value.clone(),
        retention_days: config.retention_days.value,
        events_keep: config.events_keep.value,
        store: config.store(),
        nearly_full_bytes: config.recording.near_full_mb.value.saturating_mul(MB),
        limits: Limits {
            idle_close_s: config.recording.idle_close_s.value as f64,
            most_bytes: config.recording.most_mb.value.saturating_mul(MB),
        },
    }
}

/// The descriptors of the folder that is configured, and those that come with the program.
///
/// # Errors
/// The first that cannot be used, with file and line.
pub(super) fn catalogue(config: &Config) -> anyhow::Result<Catalogue> {
    let mut described = Vec::new();
    if let Some(folder) = &config.sensors.descriptors.value {
        let entries = std::fs::read_dir(folder).with_context(|| format!("{}: cannot be read", folder.display()))?;
        let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
        paths.retain(|path| path.extension().is_some_and(|ending| ending == "toml"));
        paths.sort();
        for path in paths {
            let text = text_file::text_of(&path).with_context(|| format!("{}: cannot be read", path.display()))?;
            let descriptor = Descriptor::parse(&text).with_context(|| path.display().to_string())?;
            described.push((text, descriptor));
        }
    }
    for (name, text) in shipped() {
        let descriptor = Descriptor::parse(text).with_context(|| name.to_owned())?;
        described.push((text.to_owned(), descriptor));
    }
    Ok(Catalogue::new(described))
}

/// Which sensors the configuration wants. One that is known by its name alone may be anybody's: it has to be named in
/// `sensors.only`.
fn wants(config: Config) -> Wants {
    let is_named = !config.sensors.only.value.is_empty();
    Box::new(move |advert, is_sure| config.sensors.wants(&advert.id, advert.name.as_deref()) && (is_sure || is_named))
}

/// Opens stations, each with its profile.
fn open(service: &Service, config: Config) -> Open {
    let (stations, clock, hub) =
        (Arc::clone(service.stations()), Arc::clone(service.clock()), Arc::clone(service.hub()));
    Box::new(move |advert| {
        let inlet = stations.open(&sensor_name(advert))?;
        let log_time_ns = u64::try_from(clock.now().utc_ns).unwrap_or(0);
        put_profile(&inlet, &config, advert, log_time_ns, &hub);
        Some(inlet)
    })
}

/// What a sensor is called here: its name, told apart by the end of its address.
fn sensor_name(advert: &Advert) -> String {
    let name = advert.name.as_deref().map(printable).filter(|name| !name.is_empty());
    let id: String = advert.id.chars().filter(char::is_ascii_alphanumeric).collect();
    let end = id.get(id.len().saturating_sub(4)..).unwrap_or(&id);
    name.map_or_else(|| advert.id.clone(), |name| format!("{name}-{end}"))
}

/// The profile configured for a sensor, into its station. One that cannot be used is told by the station as a fault.
fn put_profile(inlet: &Inlet, config: &Config, advert: &Advert, log_time_ns: u64, hub: &Hub) {
    let Some(path) = config.sensors.profile_of(&advert.id, advert.name.as_deref()) else { return };
    match text_file::text_of(&path) {
        Ok(toml) => inlet.push(Entry::Profile { log_time_ns, toml }),
        Err(error) => hub.fault(Fault {
            sensor: Some(inlet.sensor().to_owned()),
            key: "profile_file",
            cause: format!("{}: {error}; the defaults hold", path.display()),
            remedy: "correct the file or sensors.profile, and restart the service".into(),
        }),
    }
}

/// A recording that is to be played.
struct Played {
    sensor: String,
    recording: OpenRecording,
}

impl Played {
    fn open(path: &Path) -> anyhow::Result<Self> {
        let stem = path.file_stem().map_or("recording".into(), |stem| stem.to_string_lossy().into_owned());
        Ok(Self { sensor: stem, recording: files::open(path)? })
    }

    /// Begins to play.
    fn start(mut self, service: &Service, speed: f64) -> anyhow::Result<tokio::task::JoinHandle<u64>> {
        let next = move || match self.recording.next_entry() {
            Ok(entry) => entry,
            Err(error) => {
                tracing::error!(%error, "the recording cannot be read on");
                None
            }
        };
        service.play(&self.sensor, next, Pace { speed }).context("no thread for the recording")
    }
}

/// Ctrl-C, or the system's word to end.
pub(super) async fn told_to_stop() -> anyhow::Result<()> {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let mut terminate = signal(SignalKind::terminate())?;
        tokio::select! {
            stopped = tokio::signal::ctrl_c() => stopped?,
            _ = terminate.recv() => {}
        }
    }
    #[cfg(not(unix))]
    tokio::signal::ctrl_c().await?;
    Ok(())
}
