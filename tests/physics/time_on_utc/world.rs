//! A sensor, a link and a host of which everything is known.

use swingd::sim::Random;

/// Exponential with the given mean.
fn exponential(random: &mut Random, mean: f64) -> f64 {
    -mean * (1.0 - random.unit()).ln()
}

/// How packets are delayed beyond the least.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Delays {
    /// By an exponential time of this mean, s.
    Exponential(f64),
    /// Until the next connection event of this interval, s; events fail in bursts, and six packets go in one.
    Events(f64),
    /// The same, with packets made in a fixed ratio to the interval: 20 ms to 30 ms.
    InStep,
    /// The same, with one packet an interval, 15 ms.
    OnePhase,
    /// Ten packets a second, events every 15 ms.
    Seldom,
}

pub const SHAPES: [Delays; 8] = [
    Delays::Exponential(0.003),
    Delays::Exponential(0.015),
    Delays::Events(0.0075),
    Delays::Events(0.03),
    Delays::Events(0.05),
    Delays::InStep,
    Delays::OnePhase,
    Delays::Seldom,
];

/// Drift, start, least delays and phases follow from a seed.
pub struct World {
    random: Random,
    delays: Delays,
    pub drift: f64,
    start_utc_ns: i64,
    sensor_start_s: f64,
    period_s: f64,
    interval_s: f64,
    least_s: f64,
    least_request_s: f64,
    pub made: u64,
    /// Host time since the start of the last event and of the last arrival, s.
    event_s: f64,
    sent_in_event: u32,
    arrival_s: f64,
    failing: bool,
}

impl World {
    pub fn new(seed: u64, delays: Delays) -> Self {
        let mut random = Random::new(seed);
        let (period_s, interval_s) = match delays {
            Delays::Exponential(_) => (0.019 * random.between(0.99, 1.01), 0.015),
            Delays::Events(interval_s) => (0.019 * random.between(0.99, 1.01), interval_s),
            Delays::InStep => (0.02, 0.03),
            Delays::OnePhase => (0.015, 0.015),
            Delays::Seldom => (0.1 * random.between(0.99, 1.01), 0.015),
        };
        Self {
            delays,
            drift: random.between(-50e-6, 50e-6),
            start_utc_ns: 1_764_000_000_000_000_000 + (random.unit() * 1e15) as i64,
            sensor_start_s: random.between(0.0, 1e5),
            period_s,
            interval_s,
            least_s: random.between(0.0, 0.008),
            least_request_s: random.between(0.0, 0.008),
            made: 0,
            event_s: random.unit() * interval_s,
            sent_in_event: 0,
            arrival_s: 0.0,
            failing: false,
            random,
        }
    }

    pub fn host_s(&self, t_s: f64) -> f64 {
        (t_s - self.sensor_start_s) * (1.0 + self.drift)
    }

    pub fn sensor_s(&self, host_s: f64) -> f64 {
        self.sensor_start_s + host_s / (1.0 + self.drift)
    }

    pub fn utc_ns(&self, host_s: f64) -> i64 {
        self.start_utc_ns + (host_s * 1e9).round() as i64
    }

    /// The next packet: sensor time of its last reading, and when it was received.
    pub fn packet(&mut self) -> (f64, i64) {
        self.made += 1;
        let t_s = self.sensor_start_s + self.made as f64 * self.period_s;
        let ready_s = self.host_s(t_s);
        let sent_s = match self.delays {
            Delays::Exponential(mean_s) => ready_s + exponential(&mut self.random, mean_s),
            _ => self.event_after(ready_s),
        };
        // Packets stay in their order.
        self.arrival_s = self.arrival_s.max(sent_s + self.least_s + exponential(&mut self.random, 0.0003));
        (t_s, self.utc_ns(self.arrival_s))
    }

    fn event_after(&mut self, ready_s: f64) -> f64 {
        while self.event_s < ready_s || self.sent_in_event >= 6 || self.failing {
            self.event_s += self.interval_s;
            self.sent_in_event = 0;
            self.failing = self.random.unit() < if self.failing { 0.6 } else { 0.03 };
        }
        self.sent_in_event += 1;
        self.event_s
    }

    /// An exchange begun at a host time: sent, sensor time, received.
    pub fn exchange(&mut self, sent_s: f64) -> (i64, f64, i64) {
        let wait_s = self.random.unit() * self.interval_s;
        let there_s = sent_s + wait_s + self.least_request_s + exponential(&mut self.random, 0.0003);
        let back_s = there_s + self.interval_s + self.least_s + exponential(&mut self.random, 0.0003);
        (self.utc_ns(sent_s), self.sensor_s(there_s), self.utc_ns(back_s))
    }
}
