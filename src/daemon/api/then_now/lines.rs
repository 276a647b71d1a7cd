//! Speeds and paths of two groups as they leave, in SI units.

use super::shape::{GroupOut, MismatchOut};
use crate::compare::curves::{ComparedCurves, ComparedLine, DifferenceBand, MeanBand, MeanPath};
use crate::daemon::record::then_now::ThenNow;
use nalgebra::Vector3;
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

/// Speeds and paths of two groups of swings.
#[derive(Serialize, ToSchema)]
pub struct ComparisonCurves {
    /// The earlier group.
    then: GroupOut,
    /// The later group.
    now: GroupOut,
    /// Conditions that were not the same.
    mismatches: Vec<MismatchOut>,
    /// The swing of each group nearest the middle of all.
    typical: Typical,
    /// Speed of the sweet spot against time from contact; places in s.
    speed_by_time: LineOut,
    /// The same against the length of path still to go to contact; places in m.
    speed_by_distance: LineOut,
    /// The part of it that the bat's turning makes, against time from contact; places in s.
    by_rotation: LineOut,
    /// The part of it that the hands' motion makes, against time from contact; places in s.
    by_hands: LineOut,
    /// The earlier group's mean path.
    then_path: PathOut,
    /// The later one's.
    now_path: PathOut,
}

/// A swing of each group, to look at.
#[derive(Serialize, ToSchema)]
pub struct Typical {
    /// Of the earlier group; null where no swing has curves.
    #[schema(required)]
    then: Option<Uuid>,
    /// Of the later one.
    #[schema(required)]
    now: Option<Uuid>,
}

/// A speed of both groups at the same places.
#[derive(Serialize, ToSchema)]
#[schema(as = ComparedLine)]
pub struct LineOut {
    /// Where, from contact: negative before it, increasing, the last is 0.
    places: Vec<f64>,
    /// Of the earlier group.
    then: BandOut,
    /// Of the later one.
    now: BandOut,
    /// Now minus then; null with too few days.
    #[schema(required)]
    difference: Option<DifferenceOut>,
}

/// A group's mean and the middle 80 % of its swings, a value a place.
#[derive(Serialize, ToSchema)]
#[schema(as = MeanBand)]
pub struct BandOut {
    /// How many swings are in it,
    swings: usize,
    /// on how many days.
    days: usize,
    /// Mean, m/s; empty of no swings.
    mean_mps: Vec<f64>,
    /// From here, m/s,
    low_mps: Vec<f64>,
    /// to here, m/s.
    high_mps: Vec<f64>,
}

/// A difference with a band that holds the whole true curve in 95 of 100 cases.
#[derive(Serialize, ToSchema)]
#[schema(as = DifferenceBand)]
pub struct DifferenceOut {
    /// Now minus then, m/s, a value a place.
    mean_mps: Vec<f64>,
    /// Half the band's width, m/s, a value a place.
    half_width_mps: Vec<f64>,
    /// Where the band excludes none.
    differs: Vec<StretchOut>,
    /// Degrees of freedom.
    degrees_of_freedom: f64,
    /// How smooth the curves are: full width at half maximum, in places.
    smoothness_places: f64,
}

/// Part of a line.
#[derive(Serialize, ToSchema)]
#[schema(as = Stretch)]
pub struct StretchOut {
    /// From this place
    from: f64,
    /// to this one.
    to: f64,
    /// Probability of a stretch at least as wide if nothing differed.
    p: f64,
}

/// A mean path before contact, from the sweet spot at contact: x along its horizontal heading there, y to the left, z up.
#[derive(Serialize, ToSchema)]
#[schema(as = MeanPath)]
pub struct PathOut {
    /// Seconds from contact.
    times_s: Vec<f64>,
    /// Sweet spot, m.
    sweet_spot_w_m: Vec<[f64; 3]>,
    /// Hands point, m.
    hands_w_m: Vec<[f64; 3]>,
    /// Standard deviation of the swings' sweet spots in height, m.
    height_spread_m: Vec<f64>,
    /// The same to the left, m.
    aside_spread_m: Vec<f64>,
}

impl ComparisonCurves {
    /// As they leave.
    pub fn of(found: &ThenNow) -> Self {
        let none = ComparedCurves::default();
        let curves = found.curves.as_ref().unwrap_or(&none);
        let [then, now] = found.typical();
        Self {
            then: GroupOut::of(&found.then),
            now: GroupOut::of(&found.now),
            mismatches: found.mismatches.iter().map(MismatchOut::of).collect(),
            typical: Typical { then, now },
            speed_by_time: LineOut::of(&curves.speed_by_time),
            speed_by_distance: LineOut::of(&curves.speed_by_distance),
            by_rotation: LineOut::of(&curves.by_rotation),
            by_hands: LineOut::of(&curves.by_hands),
            then_path: PathOut::of(&curves.then_path),
            now_path: PathOut::of(&curves.now_path),
        }
    }
}

impl LineOut {
    fn of(line: &ComparedLine) -> Self {
        Self {
            places: line.places.clone(),
            then: BandOut::of(&line.then),
            now: BandOut::of(&line.now),
            difference: line.difference.as_ref().map(DifferenceOut::of),
        }
    }
}

impl BandOut {
    fn of(band: &MeanBand) -> Self {
        Self {
            swings: band.swings,
            days: band.days,
            mean_mps: band.mean.clone(),
            low_mps: band.low.clone(),
            high_mps: band.high.clone(),
        }
    }
}

impl DifferenceOut {
    fn of(band: &DifferenceBand) -> Self {
        let differs =
            band.differs.iter().map(|stretch| StretchOut { from: stretch.from, to: stretch.to, p: stretch.p });
        Self {
            mean_mps: band.mean.clone(),
            half_width_mps: band.half_width.clone(),
            differs: differs.collect(),
            degrees_of_freedom: band.degrees_of_freedom,
            smoothness_places: band.smoothness,
        }
    }
}

impl PathOut {
    fn of(path: &MeanPath) -> Self {
        let points = |points: &[Vector3<f64>]| points.iter().map(|point| [point.x, point.y, point.z]).collect();
        Self {
            times_s: path.times_s.clone(),
            sweet_spot_w_m: points(&path.sweet_spot_w_m),
            hands_w_m: points(&path.hands_w_m),
            height_spread_m: path.height_spread_m.clone(),
            aside_spread_m: path.aside_spread_m.clone(),
        }
    }
}
