//! The flags that every command with a configuration has.

use super::keys::{self, Key};
use std::path::PathBuf;

/// Flags of the configuration; each goes before the variable of the same name, and that before the file.
#[derive(Clone, Debug, Default, clap::Args)]
#[command(next_help_heading = "Configuration")]
pub struct ConfigArgs {
    /// The configuration file, instead of the one in the platform's place
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Folder for recordings, events, lock and logs
    #[arg(long, value_name = "FOLDER")]
    pub data_folder: Option<String>,
    /// Where the HTTP server listens
    #[arg(long, value_name = "ADDRESS:PORT")]
    pub http_listen: Option<String>,
    /// Further names by which the HTTP server is reached, with commas between
    #[arg(long, value_name = "NAME,...")]
    pub http_hosts: Option<String>,
    /// How many requests a minute another machine or a token may make
    #[arg(long, value_name = "COUNT")]
    pub http_requests_per_minute: Option<String>,
    /// A PostgreSQL database for the record, instead of the file; better in the file or variable, where no list of processes
    /// shows its password
    #[arg(long, value_name = "postgres://...")]
    pub store_url: Option<String>,
    /// What this installation is called, where several share a record
    #[arg(long, value_name = "NAME")]
    pub cage_name: Option<String>,
    /// Remove recordings and swings older than this, days; 0: never
    #[arg(long, value_name = "DAYS")]
    pub retention_days: Option<String>,
    /// Whether to connect to every understood sensor that is heard
    #[arg(long, value_name = "true|false")]
    pub sensors_auto: Option<String>,
    /// Connect to these only: names or ids, with commas between
    #[arg(long, value_name = "NAME,...")]
    pub sensors_only: Option<String>,
    /// Folder of further descriptors
    #[arg(long, value_name = "FOLDER")]
    pub sensors_descriptors: Option<String>,
    /// The profile of all sensors
    #[arg(long, value_name = "PROFILE.toml")]
    pub sensors_profile: Option<String>,
    /// Folder of profiles, each named after its sensor's name or id
    #[arg(long, value_name = "FOLDER")]
    pub sensors_profiles: Option<String>,
    /// Warn when less than this is free on the disk, MB
    #[arg(long, value_name = "MB")]
    pub recording_near_full_mb: Option<String>,
    /// Begin a new file when a recording is this long, MB
    #[arg(long, value_name = "MB")]
    pub recording_most_mb: Option<String>,
    /// Close a recording when its sensor has been silent for so long, s
    #[arg(long, value_name = "SECONDS")]
    pub recording_idle_close_s: Option<String>,
    /// How many events are kept for clients that come back
    #[arg(long, value_name = "COUNT")]
    pub events_keep: Option<String>,
    /// What is logged: a level, and levels of parts
    #[arg(long, value_name = "LEVEL")]
    pub log_level: Option<String>,
    /// How many days of log files are kept
    #[arg(long, value_name = "DAYS")]
    pub log_days: Option<String>,
    /// Whether to log to files too
    #[arg(long, value_name = "true|false")]
    pub log_to_file: Option<String>,
}

impl ConfigArgs {
    /// The flags that were given.
    pub(super) fn given(&self) -> impl Iterator<Item = (Key, &String)> {
        let all = [
            (keys::DATA_FOLDER, &self.data_folder),
            (keys::HTTP_LISTEN, &self.http_listen),
            (keys::HTTP_HOSTS, &self.http_hosts),
            (keys::HTTP_REQUESTS_PER_MINUTE, &self.http_requests_per_minute),
            (keys::STORE_URL, &self.store_url),
            (keys::CAGE_NAME, &self.cage_name),
            (keys::RETENTION_DAYS, &self.retention_days),
            (keys::SENSORS_AUTO, &self.sensors_auto),
            (keys::SENSORS_ONLY, &self.sensors_only),
            (keys::SENSORS_DESCRIPTORS, &self.sensors_descriptors),
            (keys::SENSORS_PROFILE, &self.sensors_profile),
            (keys::SENSORS_PROFILES, &self.sensors_profiles),
            (keys::RECORDING_NEAR_FULL_MB, &self.recording_near_full_mb),
            (keys::RECORDING_MOST_MB, &self.recording_most_mb),
            (keys::RECORDING_IDLE_CLOSE_S, &self.recording_idle_close_s),
            (keys::EVENTS_KEEP, &self.events_keep),
            (keys::LOG_LEVEL, &self.log_level),
            (keys::LOG_DAYS, &self.log_days),
            (keys::LOG_TO_FILE, &self.log_to_file),
        ];
        all.into_iter().filter_map(|(key, word)| Some((key, word.as_ref()?)))
    }
}
