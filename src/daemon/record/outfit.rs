//! What is swung now, and how each sensor sits on it: what of a sensor's profile the record knows better than its file.
//!
//! The profile that is configured for a sensor, or comes with what is played, is the base; bat, mount and pitch of who is at
//! the plate take the place of its own. A [`Wardrobe`] a station says when that makes another profile.

use crate::daemon::store::StoreError;
use crate::daemon::store::queries::{Slice, bats, mounts, sensors};
use crate::daemon::store::rows::{self, BallSource, Moi, Plate};
use crate::engine::geometry::unit_quaternion;
use crate::engine::profile::{self, Profile};
use crate::engine::wire::mcap::Entry;
use nalgebra::Vector3;
use sqlx::AnyConnection;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

/// More sensors than an academy has.
const MOST_SENSORS: i64 = 1000;

/// What is swung now.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outfit {
    bat: Option<profile::Bat>,
    /// By the names of the sensors.
    mounts: BTreeMap<String, profile::Mount>,
    pitch_speed_mps: Option<f64>,
    pitch_descent_deg: Option<f64>,
}

/// Where all stations find what is swung now.
pub type Slot = Arc<Mutex<Arc<Outfit>>>;

/// One sensor's profile as it is and as it would be without the record.
pub struct Wardrobe {
    slot: Slot,
    sensor: String,
    base: Box<Profile>,
    worn: Box<Profile>,
}

impl Outfit {
    /// What the record knows of what is swung with this at the plate.
    ///
    /// # Errors
    /// If it cannot be read.
    pub async fn of(connection: &mut AnyConnection, plate: &Plate) -> Result<Self, StoreError> {
        let bat = match plate.bat_id {
            Some(id) => Self::bat_of(&bats::get(connection, id).await?),
            None => None,
        };
        let mut sits = BTreeMap::new();
        for sensor in sensors::list(connection, Slice { after: None, limit: MOST_SENSORS }).await? {
            if let Some(mount) = mounts::current(connection, sensor.id, plate.bat_id).await? {
                sits.extend(Self::mount_of(&mount).map(|mount| (sensor.name, mount)));
            }
        }
        // Nothing comes toward a ball that lies still.
        let is_still = matches!(plate.ball_source, Some(BallSource::Tee | BallSource::Dry));
        let pitch_speed_mps = plate.pitch_speed_mps.or(is_still.then_some(0.0));
        Ok(Self { bat, mounts: sits, pitch_speed_mps, pitch_descent_deg: plate.pitch_descent_deg })
    }

    /// A sensor's profile with it.
    pub fn dress(&self, base: &Profile, sensor: &str) -> Profile {
        let mut worn = base.clone();
        worn.bat = self.bat.clone().unwrap_or(worn.bat);
        if let Some(mount) = self.mounts.get(sensor).filter(|mount| **mount != base.mount) {
            worn.mount = mount.clone();
            // It was learnt on another mount.
            worn.calibration = None;
        }
        worn.swing.pitch_speed_mps = self.pitch_speed_mps.unwrap_or(worn.swing.pitch_speed_mps);
        worn.swing.pitch_descent_deg = self.pitch_descent_deg.unwrap_or(worn.swing.pitch_descent_deg);
        worn
    }
}

impl Outfit {
    /// The bat as far as anything is known of it; what is not follows from the rest as in a profile's file.
    pub fn bat_of(bat: &rows::Bat) -> Option<profile::Bat> {
        let moi = bat.moi.map(|moi| match moi {
            Moi::Entered { moi_knob6_kgm2, .. } | Moi::Pendulum { moi_knob6_kgm2, .. } => moi_knob6_kgm2,
        });
        let said = [
            ("length_m", bat.length_m),
            ("mass_kg", bat.mass_kg),
            ("balance_m", bat.balance_m),
            ("moi_knob6_kgm2", moi),
            ("sweet_spot_m", bat.sweet_spot_m),
            ("barrel_diameter_m", bat.barrel_diameter_m),
        ];
        let lines: String = said.iter().filter_map(|(key, value)| Some(format!("{key} = {:?}\n", (*value)?))).collect();
        if lines.is_empty() {
            return None;
        }
        match Profile::parse(&format!("[bat]\n{lines}")) {
            Ok((profile, _)) => Some(profile.bat),
            Err(error) => {
                tracing::warn!(bat = bat.name, %error, "what is known of the bat cannot be; the profile's holds");
                None
            }
        }
    }

    /// How a sensor sits as a profile has it; `None` for a rotation of no length.
    pub fn mount_of(mount: &rows::Mount) -> Option<profile::Mount> {
        let [offset_x, offset_y, offset_z] = mount.offset_b_m;
        Some(profile::Mount {
            offset_b_m: Vector3::new(offset_x, offset_y, offset_z),
            q_bs: unit_quaternion(mount.q_bs_wxyz)?,
            tilt_error_rad: mount.tilt_sigma_rad,
            given: true,
        })
    }
}

impl Wardrobe {
    /// Of a sensor, before any profile came.
    pub fn new(sensor: &str, slot: Slot) -> Self {
        let (base, worn) = (Box::default(), Box::default());
        Self { slot, sensor: sensor.into(), base, worn }
    }

    /// A profile came for the sensor: what it is read with.
    pub fn profile(&mut self, log_time_ns: u64, toml: String) -> Entry {
        // What is wrong with one that cannot be used, the session tells.
        let Ok((base, _)) = Profile::parse(&toml) else { return Entry::Profile { log_time_ns, toml } };
        *self.worn = self.dressed(&base);
        let toml = if *self.worn == base { toml } else { self.worn.to_toml() };
        *self.base = base;
        Entry::Profile { log_time_ns, toml }
    }

    /// Somebody else or something else is at the plate: the profile from here on, if it is another.
    pub fn plate(&mut self, log_time_ns: u64) -> Option<Entry> {
        let worn = Box::new(self.dressed(&self.base));
        if worn == self.worn {
            return None;
        }
        let toml = worn.to_toml();
        self.worn = worn;
        Some(Entry::Profile { log_time_ns, toml })
    }

    fn dressed(&self, base: &Profile) -> Profile {
        let outfit = Arc::clone(&self.slot.lock().unwrap_or_else(PoisonError::into_inner));
        outfit.dress(base, &self.sensor)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn toml_of(entry: &Entry) -> &str {
        let Entry::Profile { toml, .. } = entry else { panic!("{entry:?}") };
        toml
    }

    #[test]
    fn a_profile_changes_with_what_is_swung_and_only_then() {
        let slot = Slot::default();
        let mut wardrobe = Wardrobe::new("knob", Arc::clone(&slot));
        let own = "[sensor]\ngyro_range_radps = 35.0\n[bat]\nlength_m = 0.8\n";
        assert_eq!(toml_of(&wardrobe.profile(7, own.into())), own, "as it is, where the record knows nothing better");
        assert_eq!(wardrobe.plate(8), None);
        let bat = profile::Bat { length_m: 0.86, ..Profile::default().bat };
        let mount = profile::Mount { tilt_error_rad: 0.02, given: true, ..Profile::default().mount };
        let mounts =
            BTreeMap::from([("knob".to_owned(), mount.clone()), ("other".to_owned(), Profile::default().mount)]);
        *slot.lock().unwrap() =
            Arc::new(Outfit { bat: Some(bat.clone()), mounts, pitch_speed_mps: Some(31.0), pitch_descent_deg: None });
        let changed = wardrobe.plate(9).unwrap();
        let (worn, _) = Profile::parse(toml_of(&changed)).unwrap();
        assert_eq!((&worn.bat, &worn.mount, worn.swing.pitch_speed_mps), (&bat, &mount, 31.0));
        assert_eq!(worn.sensor.gyro_range_radps, 35.0);
        assert_eq!(wardrobe.plate(10), None, "nothing is said twice");
        *slot.lock().unwrap() = Arc::default();
        let (bare, _) = Profile::parse(toml_of(&wardrobe.plate(11).unwrap())).unwrap();
        assert_eq!(bare, Profile::parse(own).unwrap().0);
    }

    #[test]
    fn what_was_learnt_on_another_mount_does_not_count() {
        let outfit = |mount| Outfit { mounts: BTreeMap::from([("knob".to_owned(), mount)]), ..Outfit::default() };
        let mean = nalgebra::SVector::zeros();
        let calibration = profile::Calibration { mean, covariance: nalgebra::SMatrix::identity() };
        let base = Profile { calibration: Some(calibration), ..Profile::default() };
        assert_eq!(outfit(base.mount.clone()).dress(&base, "knob"), base);
        let other = profile::Mount { tilt_error_rad: 0.02, ..base.mount.clone() };
        assert_eq!(outfit(other).dress(&base, "knob").calibration, None);
    }
}
