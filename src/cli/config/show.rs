//! `swingd config`: the configuration in force, and where each value came from.

use super::keys::{self, Key};
use super::{Config, ConfigArgs, Origin};
use serde_json::json;
use std::io::Write;
use std::path::Path;
use toml::Value;

/// What `config` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct ShowArgs {
    /// One JSON document instead of TOML
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// Prints the configuration in force, as TOML that can be used as the file, or as JSON.
///
/// # Errors
/// If the configuration cannot be used or `out` not be written to.
pub fn run(args: &ShowArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let (config, unknown_variables) = Config::of_this_machine(&args.config)?;
    for unknown in unknown_variables {
        writeln!(err, "{unknown}")?;
    }
    match args.json {
        true => writeln!(out, "{}", config.to_json())?,
        false => write!(out, "{}", config.to_toml())?,
    }
    Ok(out.flush()?)
}

impl Config {
    /// As the file would say it, with the origin of each value as a comment.
    pub fn to_toml(&self) -> String {
        let mut text = String::from("# The configuration in force. A flag goes before a variable, a variable before\n");
        text += "# the file, the file before the default.\n";
        let mut open = "";
        for (key, value, origin) in self.rows() {
            let (section, name) = key.parts();
            if section != open {
                text += &format!("\n[{section}]\n");
                open = section;
            }
            text += &format!("{name} = {value}  # {}\n", without_controls(&origin.to_string()));
        }
        text
    }

    /// The same for programs: `{"http": {"listen": {"value": …, "origin": {"kind": …}}}}`.
    pub fn to_json(&self) -> serde_json::Value {
        let mut sections = serde_json::Map::new();
        for (key, value, origin) in self.rows() {
            let (section, name) = key.parts();
            let section = sections.entry(section).or_insert_with(|| json!({}));
            if let Some(section) = section.as_object_mut() {
                section.insert(name.to_owned(), json!({ "value": value, "origin": origin_json(origin) }));
            }
        }
        sections.into()
    }

    /// Every key with its value, in the order of [`keys::KEYS`].
    pub(super) fn rows(&self) -> [(Key, Value, &Origin); 19] {
        let Self { data_folder, http_listen, http_hosts, http_requests_per_minute, store_url, .. } = self;
        let Self { cage_name, retention_days, sensors, recording, events_keep, log, .. } = self;
        [
            (keys::DATA_FOLDER, path(Some(&data_folder.value)), &data_folder.origin),
            (keys::HTTP_LISTEN, Value::String(http_listen.value.to_string()), &http_listen.origin),
            (keys::HTTP_HOSTS, Value::from(http_hosts.value.clone()), &http_hosts.origin),
            (keys::HTTP_REQUESTS_PER_MINUTE, whole(http_requests_per_minute.value), &http_requests_per_minute.origin),
            (keys::STORE_URL, Value::String(self.store_shown()), &store_url.origin),
            (keys::CAGE_NAME, Value::String(cage_name.value.clone()), &cage_name.origin),
            (keys::RETENTION_DAYS, whole(retention_days.value), &retention_days.origin),
            (keys::SENSORS_AUTO, Value::Boolean(sensors.auto.value), &sensors.auto.origin),
            (keys::SENSORS_ONLY, Value::from(sensors.only.value.clone()), &sensors.only.origin),
            (keys::SENSORS_DESCRIPTORS, path(sensors.descriptors.value.as_deref()), &sensors.descriptors.origin),
            (keys::SENSORS_PROFILE, path(sensors.profile.value.as_deref()), &sensors.profile.origin),
            (keys::SENSORS_PROFILES, path(sensors.profiles.value.as_deref()), &sensors.profiles.origin),
            (keys::RECORDING_NEAR_FULL_MB, whole(recording.near_full_mb.value), &recording.near_full_mb.origin),
            (keys::RECORDING_MOST_MB, whole(recording.most_mb.value), &recording.most_mb.origin),
            (keys::RECORDING_IDLE_CLOSE_S, whole(recording.idle_close_s.value), &recording.idle_close_s.origin),
            (keys::EVENTS_KEEP, whole(events_keep.value as u64), &events_keep.origin),
            (keys::LOG_LEVEL, Value::String(log.level.value.clone()), &log.level.origin),
            (keys::LOG_DAYS, whole(log.days.value as u64), &log.days.origin),
            (keys::LOG_TO_FILE, Value::Boolean(log.to_file.value), &log.to_file.origin),
        ]
    }
}

/// No path is an empty one, as in the file.
fn path(path: Option<&Path>) -> Value {
    Value::String(path.map(|path| path.to_string_lossy().into_owned()).unwrap_or_default())
}

/// All numbers have been checked to be far smaller than what TOML holds.
fn whole(number: u64) -> Value {
    Value::Integer(i64::try_from(number).unwrap_or(i64::MAX))
}

fn origin_json(origin: &Origin) -> serde_json::Value {
    match origin {
        Origin::Default => json!({ "kind": "default" }),
        Origin::File { path, line } => json!({ "kind": "file", "path": path.to_string_lossy(), "line": line }),
        Origin::Environment(name) => json!({ "kind": "environment", "name": name }),
        Origin::Flag(flag) => json!({ "kind": "flag", "name": flag }),
    }
}

/// A path may hold line breaks; a comment may not.
fn without_controls(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}
