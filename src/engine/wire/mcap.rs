//! x
/// x
pub const SAMPLES_SCHEMA: &str = "swingd_msgs/msg/Samples";
