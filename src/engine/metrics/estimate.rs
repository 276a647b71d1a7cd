//! What a metric is: a key with its unit, a value and its uncertainty.

/// A value with its 1 σ, in the metric's own unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// One standard deviation.
    pub sigma: f64,
}

macro_rules! metrics {
    ($($variant:ident $key:literal $doc:literal,)*) => {
        /// The metrics of a swing, in the order in which they are reported.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Metric { $(#[doc = $doc] $variant,)* }

        impl Metric {
            /// All of them, in order.
            pub const ALL: [Metric; metrics!(@count $($variant)*)] = [$(Metric::$variant,)*];
            /// How many there are.
            pub const COUNT: usize = Self::ALL.len();

            /// The key in files and in the API; it ends in the unit.
            pub fn key(self) -> &'static str {
                match self { $(Metric::$variant => $key,)* }
            }

            /// What it is, in one sentence.
            pub fn definition(self) -> &'static str {
                match self { $(Metric::$variant => $doc,)* }
            }
        }
    };
    (@count $($x:ident)*) => { <[()]>::len(&[$(metrics!(@unit $x)),*]) };
    (@unit $x:ident) => { () };
}

metrics! {
    BatSpeed "bat_speed_mps" "Speed of the sweet spot at contact, m/s.",
    PeakBatSpeed "peak_bat_speed_mps" "Greatest speed of the sweet spot from start to contact, m/s.",
    PeakLead "peak_lead_ms" "How long before contact that peak was, ms.",
    HandSpeed "hand_speed_mps" "Greatest speed of the hands point from start to contact, m/s.",
    HandSpeedAtContact "hand_speed_at_contact_mps" "Speed of the hands point at contact, m/s.",
    TimeToContact "time_to_contact_ms" "From start to contact, ms.",
    AttackAngle "attack_angle_deg" "Angle of the sweet spot's velocity above the horizontal at contact, degrees.",
    BatTilt "bat_tilt_deg" "Angle of the bat's axis above the horizontal at contact, degrees.",
    PlaneTilt "plane_tilt_deg" "Angle of the plane of the sweet spot's last 50 ms against the horizontal, degrees.",
    TurnRate "turn_rate_dps" "Greatest angular rate across the bat's axis from start to contact, degrees per second.",
    RollRate "roll_rate_dps" "Angular rate about the bat's axis at contact, degrees per second.",
    SpeedBuilt "speed_built_ms" "How long before contact the sweet spot was last below 90 % of its contact speed, ms.",
    PathLength "path_length_m" "Length of the sweet spot's path from start to contact, m.",
    TimingWindow "timing_window_ms" "By how much the same swing could be early or late and still meet the ball squarely, ms.",
}

impl Metric {
    /// The place in [`Metric::ALL`].
    pub fn index(self) -> usize {
        self as usize
    }
}

/// Why a result is poorer than usual, or a metric absent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Flag {
    /// A gyro axis was at the end of its range within the swing.
    GyroClipped,
    /// An accelerometer axis was at the end of its range within the swing.
    AccelClipped,
    /// Samples are missing within the swing, or between the last rest and it.
    Gap,
    /// The sample rate or the sensor's bandwidth is too low to resolve the swing.
    LowRate,
    /// There was no usable rest before the swing, or its start was not found.
    NoRest,
    /// The direction of the bat's axis in the sensor is neither given nor learnt.
    UncalibratedMount,
    /// The sensor sends neither a time nor a count: samples are placed by when they came, and loss may go unseen.
    Untimed,
}

impl Flag {
    /// All of them, in order.
    pub const ALL: [Flag; 7] = [
        Flag::GyroClipped,
        Flag::AccelClipped,
        Flag::Gap,
        Flag::LowRate,
        Flag::NoRest,
        Flag::UncalibratedMount,
        Flag::Untimed,
    ];

    /// The word used in files and in the API.
    pub fn key(self) -> &'static str {
        match self {
            Flag::GyroClipped => "gyro_clipped",
            Flag::AccelClipped => "accel_clipped",
            Flag::Gap => "gap",
            Flag::LowRate => "low_rate",
            Flag::NoRest => "no_rest",
            Flag::UncalibratedMount => "uncalibrated_mount",
            Flag::Untimed => "untimed",
        }
    }
}
