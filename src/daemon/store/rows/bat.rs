use super::{UtcMicros, Word};
use uuid::Uuid;

/// A bat or a training implement.
#[derive(Clone, Debug, PartialEq)]
pub struct Bat {
    /// Its id.
    pub id: Uuid,
    /// What people call it.
    pub name: String,
    /// What it is.
    pub kind: BatKind,
    /// From the knob's end to the tip, m.
    pub length_m: Option<f64>,
    /// Mass, kg.
    pub mass_kg: Option<f64>,
    /// Centre of mass from the knob's end, m.
    pub balance_m: Option<f64>,
    /// Moment of inertia about the pivot 6 in from the knob's end.
    pub moi: Option<Moi>,
    /// Sweet spot from the knob's end, m.
    pub sweet_spot_m: Option<f64>,
    /// Barrel's diameter, m.
    pub barrel_diameter_m: Option<f64>,
    /// Free words.
    pub note: String,
    /// No longer offered.
    pub is_retired: bool,
    /// When it was entered.
    pub created: UtcMicros,
    /// Counts its changes.
    pub version: i64,
}

/// What kind of thing is swung.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BatKind {
    /// A bat.
    Bat,
    /// A training implement: a rod, a weighted bat, half a bat.
    Implement,
}

impl Word for BatKind {
    const ALL: &'static [Self] = &[Self::Bat, Self::Implement];

    fn word(self) -> &'static str {
        match self {
            Self::Bat => "bat",
            Self::Implement => "implement",
        }
    }
}

/// A moment of inertia about the pivot 6 in from the knob's end, kg·m², and how it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Moi {
    /// Somebody's word.
    Entered {
        /// kg·m².
        moi_knob6_kgm2: f64,
        /// 1 σ, where it is known.
        sigma_kgm2: Option<f64>,
    },
    /// From the period of small swings about that pivot.
    Pendulum {
        /// kg·m².
        moi_knob6_kgm2: f64,
        /// 1 σ.
        sigma_kgm2: Option<f64>,
        /// s.
        period_s: f64,
        /// 1 σ, s.
        period_sigma_s: Option<f64>,
    },
}
