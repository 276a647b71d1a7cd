//! What became of the packets of one sensor.

use std::collections::BTreeMap;

/// Counts since the first packet.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Notifications with readings that were used.
    pub packets: u64,
    /// Samples made of them.
    pub samples: u64,
    /// Packets that never came, by their numbers.
    pub lost_packets: u64,
    /// Samples that were in them, by the sensor's ticks.
    pub lost_samples: u64,
    /// Samples that the sensor itself lost: its packets are all there, but its ticks leap.
    pub lost_in_sensor: u64,
    /// Packets before which the sensor says that it lost readings of its own.
    pub overruns: u64,
    /// Packets that had come before.
    pub duplicates: u64,
    /// Packets that came after a later one, and were put in order.
    pub reordered: u64,
    /// Packets that came when they had been given up for lost, and were left out.
    pub late: u64,
    /// How often the sensor began to count anew.
    pub restarts: u64,
    /// Packets with a tick that fits neither the ones before nor the ones after; left out.
    pub absurd: u64,
    /// Samples left out because the sensor said that they cannot be trusted.
    pub faulty_samples: u64,
    /// Packets in which gyro or accelerometer was at the end of its range.
    pub clipped_packets: u64,
    /// Packets that do not fit the layout, by cause.
    pub bad: BTreeMap<&'static str, u64>,
}

impl Counts {
    /// Packets that do not fit the layout.
    pub fn bad_packets(&self) -> u64 {
        self.bad.values().sum()
    }
}
