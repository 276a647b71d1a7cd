//! Checks that somebody does now: what was begun for which sensor, and how it stands.
//!
//! A check lives as long as the service: what is worth keeping of it is stored as a mount or an aim by whoever looks at it.
//! How one stands is worked out from the [`Tap`] when it is asked, for one at a time; who asks meanwhile or soon after is told
//! the same. Once it has a result, that one stays and the tap is closed. [`words`] says what to do.

pub mod words;

use super::clock::Now;
use super::record::outfit::Outfit;
use super::store::StoreError;
use super::store::queries::{bats, mounts};
use super::store::rows::{self, Moi, UtcMicros};
use super::tap::{Opening, Poured, Tap};
use crate::engine::check::aim::{self, Aiming};
use crate::engine::check::gravity;
use crate::engine::check::mount::{self, Mounting};
use crate::engine::check::pendulum::{self, Swinging};
use crate::engine::check::still::{self, Still};
use crate::engine::metrics::{Estimate, HANDS_FROM_KNOB_M};
use crate::engine::profile::{self, Profile};
use sqlx::AnyConnection;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use uuid::Uuid;

/// Gives the tap of a sensor by its name; `None` if it was not connected since the start.
pub type Taps = Arc<dyn Fn(&str) -> Option<Arc<Tap>> + Send + Sync>;

/// Samples are looked at anew once so much has passed, on the service's clock or the sensor's: minutes of them are copied.
const LOOK_EVERY: Duration = Duration::from_millis(500);
/// A scale and a ruler know a bat's mass to this part of it and its balance point to this, m: 1 σ, assumptions.
const MASS_SIGMA: f64 = 0.01;
const BALANCE_SIGMA_M: f64 = 3.0e-3;
/// A moment of inertia or a period that nobody gave a σ is known to this part of it.
const MOI_SIGMA: f64 = 0.02;
const PERIOD_SIGMA: f64 = 0.005;
/// The sensor on the knob hangs above the pivot and makes the bat slower than it is without: 15 g of 0.85 kg, some 0.5 %.
const SENSOR_ON_KNOB: f64 = 0.005;

/// What is checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The sensor, standing still.
    Still,
    /// How it sits on the bat.
    Mount,
    /// The sensor and the bat, as a pendulum.
    Pendulum,
    /// Where the pitcher is.
    Aim,
}

/// How a check stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stands {
    /// The sensor, standing still.
    Still(Still),
    /// How it sits.
    Mount(Mounting),
    /// As a pendulum.
    Pendulum(Swinging),
    /// Where the pitcher is.
    Aim(Aiming),
}

impl Stands {
    /// Whether there is a result.
    pub fn is_over(&self) -> bool {
        use {Aiming as A, Mounting as M, Still as S, Swinging as P};
        matches!(
            self,
            Self::Still(S::Seen(_))
                | Self::Mount(M::Seen(_) | M::NotUpright)
                | Self::Pendulum(P::Seen(_))
                | Self::Aim(A::Seen(_))
        )
    }
}

/// What a check was begun with.
#[derive(Clone, Debug, PartialEq)]
pub struct Begun {
    /// What is checked.
    pub kind: Kind,
    /// When it was begun.
    pub begun: UtcMicros,
    /// On which bat.
    pub bat_id: Option<Uuid>,
    /// Where the cage stands.
    pub latitude_rad: Option<f64>,
    /// What the record knows of bat and mount.
    pub fitted: Fitted,
}

/// What the record knows of a sensor on a bat.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fitted {
    /// The bat.
    pub bat: Option<profile::Bat>,
    /// How the sensor sits on it.
    pub mount: Option<profile::Mount>,
    /// The period of small swings about the point 6 in from the knob, s.
    pub period_s: Option<Estimate>,
}

impl Fitted {
    /// Of a sensor on a bat, or on any.
    ///
    /// # Errors
    /// If it cannot be read, or there is no such bat.
    pub async fn of(connection: &mut AnyConnection, sensor_id: Uuid, bat_id: Option<Uuid>) -> Result<Self, StoreError> {
        let row = match bat_id {
            Some(id) => Some(bats::get(connection, id).await?),
            None => None,
        };
        let mount = mounts::current(connection, sensor_id, bat_id).await?;
        let bat = row.as_ref().and_then(Outfit::bat_of);
        let period_s = row.as_ref().zip(bat.as_ref()).and_then(|(row, bat)| period_of(row, bat));
        Ok(Self { bat, mount: mount.as_ref().and_then(Outfit::mount_of), period_s })
    }

    fn dress(&self, base: &Profile) -> Profile {
        let mut worn = base.clone();
        worn.bat = self.bat.clone().unwrap_or(worn.bat);
        worn.mount = self.mount.clone().unwrap_or(worn.mount);
        worn
    }
}

/// The period that the bat's data say; `None` where they say none: a guess would be checked against itself.
fn period_of(row: &rows::Bat, bat: &profile::Bat) -> Option<Estimate> {
    let known = |value: f64, sigma: f64| Estimate { value, sigma: sigma.hypot(SENSOR_ON_KNOB * value) };
    match row.moi? {
        Moi::Pendulum { period_s, period_sigma_s, .. } => {
            Some(known(period_s, period_sigma_s.unwrap_or(PERIOD_SIGMA * period_s)))
        }
        Moi::Entered { moi_knob6_kgm2, sigma_kgm2 } => {
            row.mass_kg.zip(row.balance_m)?;
            let by_moi = sigma_kgm2.map_or(MOI_SIGMA, |sigma| sigma / moi_knob6_kgm2);
            let by_balance = BALANCE_SIGMA_M / (bat.balance_m - HANDS_FROM_KNOB_M);
            let relative = 0.5 * by_moi.hypot(MASS_SIGMA).hypot(by_balance);
            let found = pendulum::period_of_bat(bat, gravity::expected(None).value, relative)?;
            Some(known(found.value, found.sigma))
        }
    }
}

impl Begun {
    /// How it stands by what the tap gave.
    pub fn look(&self, poured: &Poured) -> Stands {
        let profile = self.fitted.dress(&poured.profile);
        let samples = &poured.samples;
        let gravity_mps2 = gravity::expected(self.latitude_rad);
        match self.kind {
            Kind::Still => Stands::Still(still::look(samples, &profile, gravity_mps2)),
            Kind::Mount => Stands::Mount(mount::look(samples, &profile)),
            Kind::Pendulum => Stands::Pendulum(pendulum::look(samples, &profile, gravity_mps2, self.fitted.period_s)),
            Kind::Aim => Stands::Aim(aim::look(samples, &poured.fixes, &profile)),
        }
    }
}

/// The present check of each sensor, by its name. By default of no sensor at all.
#[derive(Default)]
pub struct Checks {
    taps: Option<Taps>,
    present: Mutex<BTreeMap<String, Present>>,
}

#[derive(Clone, Debug)]
struct Present {
    begun: Arc<Begun>,
    tap: Arc<Tap>,
    opening: Opening,
    /// How it stood last. Locked while somebody looks.
    last: Arc<Mutex<Option<Look>>>,
}

/// How it stood when somebody looked.
#[derive(Clone, Debug)]
struct Look {
    at: Duration,
    /// The newest sample, s on the sensor's clock.
    newest_s: f64,
    told: Told,
}

/// How a check stands, with what it was judged by.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// How it stands.
    pub stands: Stands,
    /// Where the IMU was taken to sit in B, m.
    pub offset_b_m: [f64; 3],
}

impl Checks {
    /// Of the sensors that have these taps.
    pub fn new(taps: Taps) -> Self {
        Self { taps: Some(taps), present: Mutex::default() }
    }

    /// The tap of a sensor; `None` if it was not connected since the start.
    pub fn tap(&self, sensor: &str) -> Option<Arc<Tap>> {
        self.taps.as_ref().and_then(|taps| taps(sensor))
    }

    /// Begins one; what was there for this sensor is over.
    pub fn begin(&self, sensor: &str, begun: Begun, tap: Arc<Tap>, now: Now) {
        // Under one lock, so that of two that begin at once the one that stays is the one that has the tap.
        let mut present = self.lock();
        let opening = tap.open(now);
        present.insert(sensor.to_owned(), Present { begun: Arc::new(begun), tap, opening, last: Arc::default() });
    }

    /// How a sensor's check stands now; `None` if there is none. Takes a moment: it looks at minutes of samples.
    pub fn told(&self, sensor: &str, now: Now) -> Option<(Arc<Begun>, Option<Told>)> {
        let present = self.lock().get(sensor)?.clone();
        if let Some(told) = present.look(now) {
            return Some((present.begun, Some(told)));
        }
        // Nobody asked for long, and what was begun is over; or another was begun meanwhile.
        self.end(sensor, &present.begun);
        self.lock().get(sensor).map(|another| (Arc::clone(&another.begun), None))
    }

    fn end(&self, sensor: &str, begun: &Arc<Begun>) {
        let mut present = self.lock();
        if present.get(sensor).is_some_and(|present| Arc::ptr_eq(&present.begun, begun)) {
            present.remove(sensor);
        }
    }

    fn lock(&self) -> MutexGuard<'_, BTreeMap<String, Present>> {
        self.present.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Present {
    /// How it stands; `None` if its tap was closed or opened by another.
    fn look(&self, now: Now) -> Option<Told> {
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(over) = last.as_ref().filter(|last| last.told.stands.is_over()) {
            return Some(over.told.clone());
        }
        let newest_s = self.tap.ask(self.opening, now)?;
        if let Some(fresh) = last.as_ref().filter(|last| last.is_fresh(newest_s, now)) {
            return Some(fresh.told.clone());
        }
        let poured = self.tap.pour(self.opening)?;
        let offset_b_m = self.begun.fitted.dress(&poured.profile).mount.offset_b_m.into();
        let told = Told { stands: self.begun.look(&poured), offset_b_m };
        if told.stands.is_over() {
            self.tap.close(self.opening);
        }
        *last = Some(Look { at: now.elapsed, newest_s, told: told.clone() });
        Some(told)
    }
}

impl Look {
    /// Whether nothing came since, or little, and a short while ago.
    fn is_fresh(&self, newest_s: f64, now: Now) -> bool {
        let since_s = newest_s - self.newest_s;
        let is_little = (0.0..LOOK_EVERY.as_secs_f64()).contains(&since_s);
        newest_s == self.newest_s || is_little && now.elapsed.saturating_sub(self.at) < LOOK_EVERY
    }
}

#[cfg(test)]
mod tests;
