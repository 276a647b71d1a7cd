//! Which sensors, and how they are read.

use super::layers::Layers;
use super::{ConfigError, Setting, keys};
use std::path::PathBuf;

/// Which sensors, and how they are read.
#[derive(Clone, Debug)]
pub struct Sensors {
    /// Connect to every understood sensor that is heard, where `only` names none.
    pub auto: Setting<bool>,
    /// Names or ids to connect to; empty: as `auto` says.
    pub only: Setting<Vec<String>>,
    /// Folder of further descriptors.
    pub descriptors: Setting<Option<PathBuf>>,
    /// The profile of all sensors.
    pub profile: Setting<Option<PathBuf>>,
    /// Folder of profiles, each named after its sensor's name or id.
    pub profiles: Setting<Option<PathBuf>>,
}

impl Sensors {
    pub(super) fn of(layers: &Layers) -> Result<Self, ConfigError> {
        Ok(Self {
            auto: layers.setting(keys::SENSORS_AUTO, |given| given.truth())?,
            only: layers.setting(keys::SENSORS_ONLY, |given| given.names())?,
            descriptors: layers.setting(keys::SENSORS_DESCRIPTORS, |given| given.path())?,
            profile: layers.setting(keys::SENSORS_PROFILE, |given| given.path())?,
            profiles: layers.setting(keys::SENSORS_PROFILES, |given| given.path())?,
        })
    }

    /// Whether to connect to an understood sensor.
    pub fn wants(&self, id: &str, name: Option<&str>) -> bool {
        let only = &self.only.value;
        let is_named = || only.iter().any(|wanted| wanted == id || Some(wanted.as_str()) == name);
        if only.is_empty() { self.auto.value } else { is_named() }
    }

    /// The profile of a sensor: the file named after its name, after its id, or that of all sensors.
    ///
    /// A name comes by radio and may be anything: what is not a letter, digit, `-`, `_`, blank or inner dot is `_` in the
    /// file's name, so it stays within the folder.
    pub fn profile_of(&self, id: &str, name: Option<&str>) -> Option<PathBuf> {
        let folder = self.profiles.value.as_deref();
        let file = |named: &str| folder.map(|folder| folder.join(file_name(named) + ".toml"));
        let own = [name, Some(id)].into_iter().flatten().filter(|named| !named.is_empty()).filter_map(file);
        own.into_iter().find(|path| path.is_file()).or_else(|| self.profile.value.clone())
    }
}

/// No file system takes longer names than 255 bytes.
const LONGEST_NAME_CHARS: usize = 60;

fn file_name(named: &str) -> String {
    let is_plain = |at: usize, c: char| c.is_alphanumeric() || "-_ ".contains(c) || (c == '.' && at > 0);
    let characters = named.chars().take(LONGEST_NAME_CHARS).enumerate();
    characters.map(|(at, c)| if is_plain(at, c) { c } else { '_' }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::config::{Config, ConfigArgs, Places};
    use crate::daemon::test_folder::TestFolder;

    fn sensors(pairs: &[(&str, &str)], folder: &TestFolder) -> Sensors {
        let environment = pairs.iter().map(|(name, value)| ((*name).into(), (*value).into()));
        let places = Places { config_file: None, data_folder: Some(folder.path("kept")) };
        Config::load(&ConfigArgs::default(), environment, &places).unwrap().0.sensors
    }

    #[test]
    fn only_the_named_ones_are_wanted_where_some_are_named() {
        let folder = TestFolder::new("config-wants");
        let only = ("SWINGD_SENSORS_ONLY", "knob 1, hci0/dev_2");
        let wanted = |pairs: &[(&str, &str)]| {
            let sensors = sensors(pairs, &folder);
            let heard = [("hci0/dev_1", Some("knob 1")), ("hci0/dev_2", None), ("hci0/dev_3", Some("Knob 1"))];
            heard.map(|(id, name)| sensors.wants(id, name))
        };
        assert_eq!(wanted(&[]), [true; 3]);
        assert_eq!(wanted(&[("SWINGD_SENSORS_AUTO", "false")]), [false; 3]);
        assert_eq!(wanted(&[only]), [true, true, false]);
        assert_eq!(wanted(&[only, ("SWINGD_SENSORS_AUTO", "false")]), [true, true, false]);
    }

    #[test]
    fn a_profile_is_found_by_name_then_by_id_then_for_all() {
        let folder = TestFolder::new("config-profiles");
        let path = folder.as_ref().to_str().unwrap();
        let all = folder.path("all");
        let all_text = all.to_str().unwrap();
        let sensors = sensors(&[("SWINGD_SENSORS_PROFILES", path), ("SWINGD_SENSORS_PROFILE", all_text)], &folder);
        let found = || sensors.profile_of("hci0/dev_1", Some("knob ü.1"));
        assert_eq!(found(), Some(all.clone()));
        let by_id = folder.write("hci0_dev_1.toml", "");
        assert_eq!(found(), Some(by_id));
        let by_name = folder.write("knob ü.1.toml", "");
        assert_eq!(found(), Some(by_name));
        assert_eq!(sensors.profile_of("", None), Some(all));
    }

    #[test]
    fn no_name_leaves_the_folder() {
        for (name, file) in [("../../x", "_._.._x"), ("/etc/x", "_etc_x"), ("..", "_."), ("a\0\\:b", "a___b")] {
            assert_eq!(file_name(name), file);
        }
        assert_eq!(file_name(&"ü".repeat(500)).chars().count(), LONGEST_NAME_CHARS);
    }
}
