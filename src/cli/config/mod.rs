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
use crate::daemon::store::Place;
use layers::Layers;
use std::ffi::OsString;
use std::net::{Ipv6Addr, SocketAddr};
use std::path::PathBuf;

/// Everything that can be set, checked.
#[derive(Clone, Debug)]
pub struct Config {
    /// The file that was read, if any.
    pub file: Option<PathBuf>,
    /// `data.folder`: recordings, events, lock and logs live under it. A whole path.
    pub data_folder: Setting<PathBuf>,
    /// `http.listen`.
    pub http_listen: Setting<SocketAddr>,
    /// `http.hosts`: further names of this service, in lower case.
    pub http_hosts: Setting<Vec<String>>,
    /// `http.requests_per_minute`: of another machine or a token.
    pub http_requests_per_minute: Setting<u64>,
    /// `store.url`: PostgreSQL; `None`: the file in the data folder. May hold a password; see [`Config::store_shown`].
    pub store_url: Setting<Option<String>>,
    /// `cage.name`: of this installation, where several share a record.
    pub cage_name: Setting<String>,
    /// `retention.days`: what is older is removed; 0: nothing is.
    pub retention_days: Setting<u64>,
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
            http_listen: layers.setting(keys::HTTP_LISTEN, |given| given.text()?.parse().ok())?,
            http_hosts: layers.setting(keys::HTTP_HOSTS, |given| hosts(given.names()?))?,
            http_requests_per_minute: layers
                .setting(keys::HTTP_REQUESTS_PER_MINUTE, |given| given.whole(10, 1_000_000))?,
            store_url: layers.setting(keys::STORE_URL, |given| store_url(given.text()?))?,
            cage_name: layers.setting(keys::CAGE_NAME, |given| cage_name(given.text()?))?,
            retention_days: layers.setting(keys::RETENTION_DAYS, |given| given.whole(0, 36_500))?,
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

    /// Where the record is kept.
    pub fn store(&self) -> Place {
        let by_url = self.store_url.value.as_deref().and_then(Place::from_url);
        by_url.unwrap_or_else(|| Place::in_folder(&self.data_folder.value))
    }

    /// `store.url` without password and parameters, for people.
    pub fn store_shown(&self) -> String {
        let url = self.store_url.value.as_deref().unwrap_or_default();
        let url = url.split('?').next().unwrap_or_default();
        let Some((scheme, rest)) = url.split_once("://") else { return String::new() };
        let Some((user, after)) = rest.rsplit_once('@') else { return url.to_owned() };
        format!("{scheme}://{}@{after}", user.split(':').next().unwrap_or_default())
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

/// Longer names are none (RFC 1035, 2.3.4).
const LONGEST_HOST: usize = 253;

/// Names as a browser sends them: letters, digits, hyphens and dots, or an IPv6 address in brackets.
fn hosts(names: Vec<String>) -> Option<Vec<String>> {
    let is_name = |name: &String| {
        let bracketed = name.strip_prefix('[').and_then(|rest| rest.strip_suffix(']'));
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '.';
        name.len() <= LONGEST_HOST
            && bracketed.map_or_else(|| name.chars().all(plain), |inner| inner.parse::<Ipv6Addr>().is_ok())
    };
    names.iter().all(is_name).then(|| names.iter().map(|name| name.to_ascii_lowercase()).collect())
}

fn store_url(text: &str) -> Option<Option<String>> {
    if text.is_empty() {
        return Some(None);
    }
    Place::from_url(text).map(|_| Some(text.to_owned()))
}

fn cage_name(text: &str) -> Option<String> {
    const MOST_CHARS: usize = 100;
    let name = text.trim();
    let usable = !name.is_empty() && name.chars().count() <= MOST_CHARS && !name.chars().any(char::is_control);
    usable.then(|| name.to_owned())
}

fn count(number: Option<u64>) -> Option<usize> {
    usize::try_from(number?).ok()
}
