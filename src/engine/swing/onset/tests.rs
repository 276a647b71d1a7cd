use super::*;
use crate::engine::motion::conditioning::Faults;
use crate::engine::profile::SensorProfile;
use nalgebra::Vector3;

/// A force between the lengths that are tried, s.
const BLOW_S: f64 = 1.05e-3;
/// What the blow does, rigid and both modes: the gyro's axes, the accelerometer's.
const GYRO: [[f64; 3]; 3] = [[-9.0, 4.0, 1.5], [14.0, -6.0, 2.0], [3.0, 1.0, -1.0]];
const ACCEL: [[f64; 3]; 3] = [[1.2, -0.5, 0.3], [-0.8, 0.4, 0.2], [0.3, 0.1, -0.1]];
const CONTACT_S: f64 = 0.05;

struct Struck {
    rate_hz: f64,
    bandwidth_hz: f64,
    noise: (f64, f64),
}

impl Struck {
    fn sensor(&self) -> SensorProfile {
        SensorProfile {
            gyro_range_radps: 1e3,
            accel_range_mps2: 1e5,
            gyro_bandwidth_hz: self.bandwidth_hz,
            accel_bandwidth_hz: self.bandwidth_hz,
            ..SensorProfile::default()
        }
    }

    /// Readings whose course is a parabola an axis until the blow shows; the grid begins `phase` of a step after zero.
    fn readings(&self, phase: f64) -> Vec<Reading> {
        let templates = Template::all(BLOW_S, &Chain::new(&self.sensor()));
        let mut seed = 7_u64 + (phase * 1e3) as u64;
        let mut noise = |size: f64| {
            // The sum of twelve even draws is about normal, of variance one.
            let mut draw = || {
                seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (seed >> 11) as f64 / (1_u64 << 53) as f64
            };
            size * ((0..12).map(|_| draw()).sum::<f64>() - 6.0)
        };
        let mut axis = |time_s: f64, is_gyro: bool, axis: usize| {
            let (sizes, noise) = if is_gyro { (GYRO, noise(self.noise.0)) } else { (ACCEL, noise(self.noise.1)) };
            let shown = templates[0].at(is_gyro, time_s - CONTACT_S);
            let course = 20.0 + 100.0 * time_s * (axis as f64 - 1.0) - 1e3 * time_s * time_s;
            course + noise + sizes[axis].iter().zip(shown).map(|(size, shown)| size * shown).sum::<f64>()
        };
        let count = ((CONTACT_S + 0.01) * self.rate_hz) as usize;
        (0..count)
            .map(|k| {
                let time_s = (k as f64 + phase) / self.rate_hz;
                Reading {
                    time_s,
                    gyro_s_radps: Vector3::from_fn(|i, _| axis(time_s, true, i)),
                    accel_s_mps2: Vector3::from_fn(|i, _| axis(time_s, false, i)),
                    rough: false,
                    faults: Faults::default(),
                    inserted: false,
                    gyro_sigma_radps: 0.0,
                    accel_sigma_mps2: 0.0,
                }
            })
            .collect()
    }

    /// The blow in a stream of one phase, seen where the gyro's y has left its course by 4 rad/s.
    fn found(&self, phase: f64) -> (Onset, usize, Vec<Reading>) {
        let readings = self.readings(phase);
        let course = |t: f64| 20.0 - 1e3 * t * t;
        let seen = readings.iter().position(|r| (r.gyro_s_radps.y - course(r.time_s)).abs() > 4.0).expect("a blow");
        let finder = OnsetFinder::new(&Chain::new(&self.sensor()));
        let (onset, last) =
            finder.find(&readings, seen, self.noise, &Limits::new(&self.sensor())).expect("a course before it");
        (onset, last, readings)
    }
}

const SENSORS: [Struck; 3] = [
    Struck { rate_hz: 1000.0, bandwidth_hz: 300.0, noise: (0.004, 0.05) },
    Struck { rate_hz: 3200.0, bandwidth_hz: 400.0, noise: (0.004, 0.05) },
    Struck { rate_hz: 2000.0, bandwidth_hz: 1e5, noise: (0.006, 0.07) },
];

/// The truth is one of the templates' kind, so that what is left is noise, the grid of lengths and the prior of the
/// sizes: all of it is to be within σ, whatever the phase, and σ is to be a small part of a sample.
#[test]
fn a_blow_of_known_shape_is_found_within_its_sigma_at_any_phase() {
    for sensor in &SENSORS {
        for phase in [0.0, 0.13, 0.29, 0.5, 0.71, 0.93] {
            let (onset, last, readings) = sensor.found(phase);
            let error_s = onset.time_s - CONTACT_S;
            let Struck { rate_hz, bandwidth_hz, .. } = sensor;
            assert!(
                error_s.abs() < onset.sigma_s,
                "{rate_hz} Hz, {bandwidth_hz} Hz, phase {phase}: off by {error_s} s, σ {} s",
                onset.sigma_s
            );
            assert!((LEAST_SIGMA_S..2e-4).contains(&onset.sigma_s), "{rate_hz} Hz, phase {phase}: {}", onset.sigma_s);
            // The last reading on course may come after contact while the blow does not show yet, but not by much.
            let after_s = readings[last].time_s - CONTACT_S;
            assert!((-1.5 / rate_hz..5e-4).contains(&after_s), "{rate_hz} Hz, phase {phase}: last {after_s} s");
        }
    }
}

#[test]
fn too_few_readings_before_a_blow_give_nothing() {
    let sensor = &SENSORS[0];
    let readings = sensor.readings(0.0);
    let finder = OnsetFinder::new(&Chain::new(&sensor.sensor()));
    let limits = Limits::new(&sensor.sensor());
    for (from, seen) in [(50, 0), (50, 2), (49, 4), (0, readings.len())] {
        assert_eq!(finder.find(&readings[from..], seen, sensor.noise, &limits), None, "from {from}, seen {seen}");
    }
    assert_eq!(finder.find(&[], 0, sensor.noise, &limits), None);
}

#[test]
fn a_course_is_exact_on_a_cubic_and_doubts_its_cubic_part_twice() {
    let y = |t: f64| 3.0 - 40.0 * t + 2e3 * t * t + 5e5 * t * t * t;
    let mut readings = SENSORS[0].readings(0.0);
    for reading in &mut readings {
        reading.gyro_s_radps.z = y(reading.time_s);
    }
    let last = 30;
    let course = Course::fit(&readings, last, 2).expect("a course");
    for since_s in [-0.012, -0.005, 0.0, 0.001, 0.003] {
        let time_s = readings[last].time_s + since_s;
        assert!((course.at(time_s) - y(time_s)).abs() < 1e-9, "{since_s}");
        let doubt = 2.0 * 5e5 * since_s.abs().powi(3);
        assert!((course.doubt(time_s) - doubt).abs() < 1e-8, "{since_s}: {}", course.doubt(time_s));
    }
}
