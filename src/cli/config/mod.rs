//! The configuration: file, environment and flags into one checked struct.
//!
//! A flag goes before a variable, a variable before the file, the file before the default. All keys stand in [`keys`];
//! the variable and the flag of a key follow from its name: `http.listen`, `SWINGD_HTTP_LISTEN`, `--http-listen`. Every
//! value keeps its [`Origin`], so that `swingd config` can tell it.

mod args;
mod error;
pub mod keys;
mod layers;
mod origin;
mod sensors;
mod show;
#[cfg(test)]
mod tests;

pub use args::ConfigArgs;
pub use error::{ConfigError, UnknownVariable};
pub use origin::{Origin, Setting};
pub use sensors::Sensors;
pub use show::{ShowArgs, run};

use crate::daemon::logging;
use layers::Layers;
use std::ffi::OsString;
use std::net::SocketAddr;
use std::path::PathBuf;

/// Everything that can be set, checked.
#[derive(Clone, Debug)]
pub struct Config {
    /// The file that was read, if any.
    pub file: Option<PathBuf>,
    /// `data.folder`: recordings, events, lock and logs live under it. A whole path.
    pub data_folder: Setting<PathBuf>,
    /// `http.listen`: a loopback address.
    pub http_listen: Setting<SocketAddr>,
    /// Which sensors, and how they are read.
    pub sensors: Sensors,
    /// How recordings are cut.
    pub recording: Recording,
    /// `events.keep`: how many events can be resumed.
    pub events_keep: Setting<usize>,
    /// What is logged where.
    pub log: Log,
}

/// How recordings are cut. A MB is 10⁶ bytes.
#[derive(Clone, Debug)]
pub struct Recording {
    /// Warn when less than this is free.
    pub near_full_mb: Setting<u64>,
    /// Begin a new file at this length.
    pub most_mb: Setting<u64>,
    /// Close when the sensor has been silent for so long.
    pub idle_close_s: Setting<u64>,
}

/// What is logged where.
#[derive(Clone, Debug)]
pub struct Log {
    /// As [`logging::filter`] reads it.
    pub level: Setting<String>,
    /// How many daily files are kept.
    pub days: Setting<usize>,
    /// Whether to log to files too.
    pub to_file: Setting<bool>,
}

/// Where the platform keeps such things; `None` where no home folder is known.
#[derive(Clone, Debug, Default)]
pub struct Places {
    /// The configuration file.
    pub config_file: Option<PathBuf>,
    /// The data folder.
    pub data_folder: Option<PathBuf>,
}

impl Places {
    /// This platform's, for this user.
    pub fn of_platform() -> Self {
        let folders = directories::ProjectDirs::from("", "", "swingd");
        Self {
            config_file: folders.as_ref().map(|folders| folders.config_dir().join("swingd.toml")),
            data_folder: folders.as_ref().map(|folders| folders.data_dir().to_owned()),
        }
    }
}

impl Config {
    /// From the flags, this process's environment and the platform's places.
    ///
    /// # Errors
    /// As [`Config::load`].
    pub fn of_this_machine(args: &ConfigArgs) -> Result<(Self, Vec<UnknownVariable>), ConfigError> {
        Self::load(args, std::env::vars_os(), &Places::of_platform())
    }

    /// From flags, environment, file and defaults; also the variables that were ignored.
    ///
    /// # Errors
    /// The first value, key or file that cannot be used. A value that another goes before is not looked at.
    pub fn load(
        args: &ConfigArgs,
        environment: impl IntoIterator<Item = (OsString, OsString)>,
        places: &Places,
    ) -> Result<(Self, Vec<UnknownVariable>), ConfigError> {
        let layers = Layers::new(args, environment, places.config_file.as_deref())?;
        let folder = layers.setting(keys::DATA_FOLDER, |given| given.path())?;
        let value = folder.value.or_else(|| places.data_folder.clone()).ok_or(ConfigError::NoDataFolder)?;
        let config = Self {
            data_folder: Setting { value, origin: folder.origin },
            http_listen: layers.setting(keys::HTTP_LISTEN, |given| {
                given.text()?.parse().ok().filter(|address: &SocketAddr| address.ip().is_loopback())
            })?,
            sensors: Sensors::of(&layers)?,
            recording: Recording::of(&layers)?,
            events_keep: layers.setting(keys::EVENTS_KEEP, |given| count(given.whole(1, 1_000_000)))?,
            log: Log::of(&layers)?,
            file: layers.file,
        };
        Ok((config, layers.unknown_variables))
    }

    /// Where log files go, if they are wanted.
    pub fn log_folder(&self) -> Option<PathBuf> {
        self.log.to_file.value.then(|| self.data_folder.value.join("log"))
    }
}

impl Recording {
    fn of(layers: &Layers) -> Result<Self, ConfigError> {
        Ok(Self {
            near_full_mb: layers.setting(keys::RECORDING_NEAR_FULL_MB, |given| given.whole(1, 100_000_000))?,
            most_mb: layers.setting(keys::RECORDING_MOST_MB, |given| given.whole(1, 1_000_000))?,
            idle_close_s: layers.setting(keys::RECORDING_IDLE_CLOSE_S, |given| given.whole(1, 86_400))?,
        })
    }
}

impl Log {
    fn of(layers: &Layers) -> Result<Self, ConfigError> {
        Ok(Self {
            level: layers.setting(keys::LOG_LEVEL, |given| {
                let text = given.text()?;
                logging::filter(text).map(|_| text.to_owned())
            })?,
            days: layers.setting(keys::LOG_DAYS, |given| count(given.whole(1, 3650)))?,
            to_file: layers.setting(keys::LOG_TO_FILE, |given| given.truth())?,
        })
    }
}

fn count(number: Option<u64>) -> Option<usize> {
    usize::try_from(number?).ok()
}
