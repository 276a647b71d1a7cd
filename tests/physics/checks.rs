//! The checks of sensor, mount and bat on simulated sensors: whether σ is honest, and whether what is wrong is found.
//!
//! Each seed is another specimen, mounted in another way on another bat. Shares are binomial: of 200 at 95 %, four standard
//! errors are 6 %, so a share between 90 and 99 % is asserted where the errors are normal.

use nalgebra::{UnitQuaternion, Vector3};
use std::f64::consts::{PI, TAU};
use swingd::engine::check::aim::{self, Aimed, Aiming, Fix};
use swingd::engine::check::mount::{self, MountFound, Mounting};
use swingd::engine::check::pendulum::{self, Swinging, Swung};
use swingd::engine::check::still::{self, Still, Stood};
use swingd::engine::check::{FITS_WITHIN_SIGMAS, gravity};
use swingd::engine::geometry::{Attitude, G_MPS2};
use swingd::engine::metrics::Estimate;
use swingd::engine::profile::{Mount, Profile, SensorProfile};
use swingd::engine::sample::Sample;
use swingd::sim::bench::{HungBat, Resting, StoodAndRolled};
use swingd::sim::{Drawn, Mishaps, Preset, Random, Trajectory, record};

const SEEDS: u64 = 200;

/// A specimen on a nominal mount. The low-pass is left out (a bandwidth beyond ten times the rate), as the motions are slow:
/// `a_low_pass_changes_nothing` has it.
struct Bench {
    random: Random,
    profile: Profile,
    drawn: Drawn,
}

impl Bench {
    fn new(seed: u64) -> Self {
        let mut random = Random::new(seed);
        let sensor = SensorProfile {
            sample_rate_hz: Some(400.0),
            gyro_bandwidth_hz: 1e5,
            accel_bandwidth_hz: 1e5,
            ..Preset::Good.profile()
        };
        let turn = random.direction() * random.between(0.0, PI);
        let mount = Mount {
            offset_b_m: Vector3::new(0.0, 0.0, random.between(-0.014, -0.01)),
            q_bs: UnitQuaternion::from_scaled_axis(turn),
            tilt_error_rad: 0.01,
            given: true,
        };
        let profile = Profile { sensor, mount, ..Profile::default() };
        let mut drawn = Drawn::draw(&mut random, Preset::Good, &profile.sensor, &profile.mount);
        // White noise up to half the rate, and nothing folded into it from above.
        drawn.bandwidth_hz = 0.45 * 400.0;
        Self { random, profile, drawn }
    }

    fn record(&mut self, motion: &impl Trajectory, lasting_s: f64) -> Vec<Sample> {
        self.record_with(motion, lasting_s, Mishaps::default())
    }

    fn record_with(&mut self, motion: &impl Trajectory, lasting_s: f64, mishaps: Mishaps) -> Vec<Sample> {
        record(motion, lasting_s, &self.profile.sensor, &self.drawn, mishaps, &mut self.random).samples
    }
}

/// The share of errors within 1.96 σ, asserted.
fn assert_covered(name: &str, errors: &[(f64, f64)]) {
    assert!(errors.len() as u64 >= SEEDS, "{name}: {} errors", errors.len());
    let within = errors.iter().filter(|(error, sigma)| error.abs() <= FITS_WITHIN_SIGMAS * sigma).count();
    let share = within as f64 / errors.len() as f64;
    println!(
        "{name}: {share:.3} of {} within 1.96 σ, mean σ {:.6}",
        errors.len(),
        errors.iter().map(|e| e.1).sum::<f64>() / errors.len() as f64
    );
    assert!((0.90..=0.99).contains(&share), "{name}: {share:.3} of {} within 1.96 σ", errors.len());
}

// ---- Standing still

fn stood(bench: &mut Bench) -> Stood {
    let angles_rad = [0.0, bench.random.between(-1.5, 1.5), bench.random.between(-PI, PI)];
    let motion = Resting { angles_rad, mount: bench.drawn.mount.clone() };
    let samples = bench.record(&motion, 4.0);
    match still::look(&samples, &bench.profile, gravity::expected(None)) {
        Still::Seen(stood) => stood,
        other => panic!("{other:?}"),
    }
}

#[test]
fn still_the_specific_force_is_gravity_within_its_sigma() {
    let all: Vec<Stood> = (0..SEEDS).map(|seed| stood(&mut Bench::new(61_000 + seed))).collect();
    let errors: Vec<(f64, f64)> =
        all.iter().map(|s| (s.force_mps2.found.value - G_MPS2, s.force_mps2.found.sigma)).collect();
    assert_covered("specific force", &errors);
    let fits = all.iter().filter(|stood| stood.fits()).count() as f64 / SEEDS as f64;
    // Two verdicts of 95 % each: 90 % of healthy sensors pass both, four standard errors of 2 %.
    println!("healthy at rest: {fits:.3}");
    assert!(fits >= 0.86, "{fits}");
}

#[test]
fn still_a_bias_or_a_scale_of_four_sigma_does_not_fit() {
    let mut found = [0.0; 3];
    for seed in 0..SEEDS {
        let mut gyro = Bench::new(62_000 + seed);
        gyro.drawn.gyro_bias_radps = gyro.random.direction() * (4.0 * gyro.profile.sensor.gyro_bias_radps);
        found[0] += f64::from(u8::from(!stood(&mut gyro).bias_fits()));
        let mut accel = Bench::new(63_000 + seed);
        let sign = accel.random.sign();
        accel.drawn.accel_bias_mps2.fill(0.0);
        accel.drawn.accel_matrix *= 1.0 + sign * 4.0 * 0.21 / G_MPS2;
        found[1] += f64::from(u8::from(!stood(&mut accel).force_mps2.fits()));
    }
    println!("found of 4 σ: gyro {} accel {} of {SEEDS}", found[0], found[1]);
    // Of a normal that is 4 σ off, 97.9 % lie beyond 1.96 σ; the gyro's bias is set, not drawn.
    assert!(found[0] == SEEDS as f64 && found[1] >= 0.93 * SEEDS as f64, "{found:?}");
}

#[test]
fn still_while_it_moves_or_is_torn_by_gaps_nothing_is_told() {
    let mut bench = Bench::new(64_000);
    let hung = HungBat::new(1.4, 0.3, 0.0, 0.0, 8.0, bench.drawn.mount.clone());
    let samples = bench.record(&hung, 8.0);
    assert_eq!(still::look(&samples, &bench.profile, gravity::expected(None)), Still::Moving);
    let rest = Resting { angles_rad: [0.0; 3], mount: bench.drawn.mount.clone() };
    let gap = Mishaps { gap_s: Some((2.0, 0.5)), ..Mishaps::default() };
    let samples = bench.record_with(&rest, 4.5, gap);
    let look = still::look(&samples, &bench.profile, gravity::expected(None));
    assert!(matches!(look, Still::Standing { lasted_s } if (1.8..2.1).contains(&lasted_s)), "{look:?}");
}

// ---- The mount

fn mounted(bench: &mut Bench) -> MountFound {
    let motion = StoodAndRolled::draw(&mut bench.random, 0.04, 0.03, bench.drawn.mount.clone());
    let samples = bench.record(&motion, motion.end_s());
    match mount::look(&samples, &bench.profile) {
        Mounting::Seen(found) => found,
        other => panic!("{other:?}"),
    }
}

/// Error of the axis found about two axes across the true one.
fn axis_errors(bench: &Bench, found: &MountFound) -> [(f64, f64); 2] {
    let error = bench.drawn.mount.q_bs * found.axis_s;
    [(error.x, found.tilt_sigma_rad), (error.y, found.tilt_sigma_rad)]
}

#[test]
fn mount_the_axis_lies_within_its_sigma() {
    let mut errors = Vec::new();
    let mut agree = 0;
    for seed in 0..SEEDS {
        let mut bench = Bench::new(65_000 + seed);
        let found = mounted(&mut bench);
        errors.extend(axis_errors(&bench, &found));
        agree += u64::from(found.agrees());
        let z = found.q_bs * found.axis_s;
        assert!((z - Vector3::z()).norm() < 1e-9, "q_BS takes the axis to z");
        assert!(!found.is_another_way() && found.tilt_sigma_rad < 0.05, "seed {seed}: {found:?}");
    }
    assert_covered("axis by rolling", &errors);
    println!("gravity and roll agree: {agree} of {SEEDS}");
    assert!(agree as f64 >= 0.95 * SEEDS as f64, "gravity and roll agree for {agree} of {SEEDS}");
}

#[test]
fn mount_a_sensor_that_sits_another_way_is_found_and_its_axis_told() {
    for seed in 0..20 {
        let mut bench = Bench::new(66_000 + seed);
        let turn = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), bench.random.between(0.8, 3.0));
        bench.profile.mount.q_bs = turn * bench.profile.mount.q_bs;
        let found = mounted(&mut bench);
        assert!(found.is_another_way(), "seed {seed}");
        for (error, sigma) in axis_errors(&bench, &found) {
            assert!(error.abs() < 4.0 * sigma, "seed {seed}: {error} {sigma}");
        }
    }
}

#[test]
fn mount_each_step_is_asked_for_in_turn_and_a_bat_that_lay_is_told() {
    let mut bench = Bench::new(67_000);
    let motion = StoodAndRolled::draw(&mut bench.random, 0.0, 0.02, bench.drawn.mount.clone());
    let samples = bench.record(&motion, motion.end_s());
    let until = |t_s: f64| {
        let end = samples.partition_point(|sample| sample.time.0 - samples[0].time.0 < t_s);
        mount::look(&samples[..end], &bench.profile)
    };
    assert!(matches!(until(1.0), Mounting::Stand { lasted_s } if lasted_s > 0.7), "{:?}", until(1.0));
    assert_eq!(until(motion.stands_s), Mounting::Roll { rolled_rad: [0.0; 2] });
    let half = until(motion.stands_s + motion.way_s);
    assert!(matches!(half, Mounting::Roll { rolled_rad: [a, b] } if a > 3.0 * PI && b == 0.0), "{half:?}");
    assert!(matches!(until(motion.end_s()), Mounting::Seen(_)));
    // Gravity across the axis: the bat did not stand on its tip.
    let mut lying = motion;
    lying.lean_rad = [1.4, 0.0];
    let samples = bench.record(&lying, lying.end_s());
    assert_eq!(mount::look(&samples, &bench.profile), Mounting::NotUpright);
}

// ---- The pendulum

struct Hung {
    swung: Swung,
    period_s: f64,
    /// Mean over the half swings of the true rate at the bottom over that of the height fallen is one by energy.
    amplitude_rad: f64,
}

fn hung(bench: &mut Bench, expected: impl Fn(f64) -> Option<Estimate>) -> Hung {
    let period_s = bench.random.between(1.25, 1.6);
    let amplitude_rad = bench.random.between(12.0, 35.0_f64).to_radians();
    let loss = bench.random.between(0.0, 0.01);
    let motion = HungBat::new(period_s, amplitude_rad, loss, 1.0, 14.0, bench.drawn.mount.clone());
    let samples = bench.record(&motion, 14.0);
    match pendulum::look(&samples, &bench.profile, gravity::expected(None), expected(period_s)) {
        Swinging::Seen(swung) => Hung { swung, period_s, amplitude_rad },
        other => panic!("{other:?}"),
    }
}

#[test]
fn pendulum_galilei_period_and_energy_within_their_sigma() {
    let (mut periods, mut speeds, mut fits) = (Vec::new(), Vec::new(), 0);
    for seed in 0..SEEDS {
        let mut bench = Bench::new(68_000 + seed);
        let Hung { swung, period_s, amplitude_rad } = hung(&mut bench, |s| Some(Estimate { value: s, sigma: 1e-3 }));
        periods.push((swung.period_s.value - period_s, swung.period_s.sigma));
        let excess = swung.rate_excess();
        speeds.push((excess.value, excess.sigma));
        fits += u64::from(swung.fits());
        assert!(swung.halves >= 14 && swung.amplitude_rad.value < amplitude_rad * 1.03, "seed {seed}: {swung:?}");
        assert!(swung.period_s.sigma < 1.5e-3 && excess.sigma < 0.012, "seed {seed}: {swung:?}");
    }
    assert_covered("period", &periods);
    assert_covered("speed at the bottom", &speeds);
    println!("healthy pendulums: {fits} of {SEEDS}");
    // The speed fits 95 % of the time, the period nearly always, as the bat's data are worse than the measurement.
    assert!(fits as f64 >= 0.93 * SEEDS as f64, "healthy sensors fit {fits} of {SEEDS}");
}

/// A gyro whose scale is 4 σ (2 %) off: the difference is 2 % against a σ of some 0.75 %, so two in three and more are found.
#[test]
fn pendulum_a_gyro_of_four_sigma_of_scale_does_not_fit() {
    let mut found = 0;
    for seed in 0..SEEDS {
        let mut bench = Bench::new(69_000 + seed);
        let sign = bench.random.sign();
        bench.drawn.gyro_matrix =
            nalgebra::Matrix3::identity() * (1.0 + sign * 4.0 * bench.profile.sensor.gyro_scale_error);
        let swung = hung(&mut bench, |_| None).swung;
        assert_eq!(swung.period_against_s, None);
        found += u64::from(!swung.fits());
        assert!((swung.rate_excess().value - sign * 0.02).abs() < 5.0 * 0.009, "seed {seed}: {swung:?}");
    }
    println!("a gyro 4 σ off is found {found} of {SEEDS}");
    assert!(found as f64 > 0.66 * SEEDS as f64, "{found} of {SEEDS}");
}

#[test]
fn pendulum_data_of_another_bat_do_not_fit() {
    for seed in 0..20 {
        let wrong = |s: f64| Some(Estimate { value: 1.05 * s, sigma: 0.01 * s });
        let swung = hung(&mut Bench::new(70_000 + seed), wrong).swung;
        assert!(!swung.fits() && swung.period_against_s.is_some_and(|period| !period.fits()), "seed {seed}: {swung:?}");
    }
}

/// With the sensor's low-pass at 85 Hz and at the rate of a slow board the same comes out.
#[test]
fn a_low_pass_and_lost_rows_change_nothing() {
    for seed in 0..4 {
        let mut bench = Bench::new(71_000 + seed);
        bench.profile.sensor = Preset::Hobby.profile();
        bench.drawn.bandwidth_hz = bench.profile.sensor.gyro_bandwidth_hz;
        let motion = HungBat::new(1.4, 0.4, 0.005, 1.0, 12.0, bench.drawn.mount.clone());
        let samples = bench.record_with(&motion, 12.0, Mishaps { lost_share: 0.02, gap_s: None });
        let look = pendulum::look(&samples, &bench.profile, gravity::expected(None), None);
        let Swinging::Seen(swung) = look else { panic!("{look:?}") };
        assert!((swung.period_s.value - 1.4).abs() < 4.0 * swung.period_s.sigma, "{swung:?}");
        assert!(swung.rate_excess().value.abs() < 4.0 * swung.rate_excess().sigma, "{swung:?}");
    }
}

#[test]
fn pendulum_too_small_too_large_and_too_short_are_told_apart() {
    let mut bench = Bench::new(72_000);
    let mut look = |degrees: f64, lasting_s: f64| {
        let motion = HungBat::new(1.4, degrees.to_radians(), 0.0, 0.5, lasting_s, bench.drawn.mount.clone());
        let samples = bench.record(&motion, lasting_s);
        pendulum::look(&samples, &bench.profile, gravity::expected(None), None)
    };
    assert!(matches!(look(5.0, 12.0), Swinging::Amplitude { amplitude_rad } if amplitude_rad < 0.1));
    assert!(matches!(look(60.0, 12.0), Swinging::Amplitude { amplitude_rad } if amplitude_rad > 0.95));
    assert!(matches!(look(20.0, 4.0), Swinging::Swing { halves: 2..=5 }));
    assert_eq!(look(0.0, 12.0), Swinging::Hang);
}

/// T = 2π√(I/(m·g·d)) of the profile's bat (ASTM F2398), and of one that would not hang there.
#[test]
fn astm_f2398_period_of_a_bat() {
    let bat = Profile::default().bat;
    let expected_s = TAU * (bat.moi_knob6_kgm2 / (bat.mass_kg * G_MPS2 * (bat.balance_m - 0.1524))).sqrt();
    let found = pendulum::period_of_bat(&bat, G_MPS2, 0.01).expect("it hangs");
    assert!((found.value - expected_s).abs() < 1e-12 && (found.sigma - 0.01 * expected_s).abs() < 1e-12);
    assert_eq!(pendulum::period_of_bat(&swingd::engine::profile::Bat { balance_m: 0.1, ..bat }, G_MPS2, 0.01), None);
}

// ---- The aim

/// The bat is held toward the pitcher by eye, and the engine's heading has drifted by its own σ.
fn aimed(seed: u64, elevation_rad: f64) -> (Aiming, f64) {
    let mut bench = Bench::new(seed);
    let pitcher_rad = bench.random.between(-PI, PI);
    let heading_rad = pitcher_rad + bench.random.normal(0.035);
    let angles_rad = [heading_rad, elevation_rad, bench.random.between(-PI, PI)];
    let motion = Resting { angles_rad, mount: bench.drawn.mount.clone() };
    let samples = bench.record(&motion, 2.0);
    let drift_rad = bench.random.normal(0.03);
    let q = motion.at(0.0).q_ws;
    let attitude = Attitude::from_wxyz([q.w, q.i, q.j, q.k]).expect("a unit quaternion");
    let attitude = attitude.turned_in_world(Vector3::z() * drift_rad);
    let fix = Fix { time_s: samples[300].time.0, attitude, heading_sigma_rad: 0.03 };
    (aim::look(&samples, &[fix], &bench.profile), pitcher_rad)
}

#[test]
fn aim_the_pitchers_heading_lies_within_its_sigma() {
    let errors: Vec<(f64, f64)> = (0..SEEDS)
        .map(|seed| match aimed(73_000 + seed, 0.1) {
            (Aiming::Seen(Aimed { heading_rad, .. }), pitcher_rad) => {
                let error = (heading_rad.value - pitcher_rad + PI).rem_euclid(TAU) - PI;
                (error, heading_rad.sigma)
            }
            (other, _) => panic!("{other:?}"),
        })
        .collect();
    assert_covered("heading", &errors);
}

#[test]
fn aim_a_bat_that_points_up_is_told_so() {
    let (look, _) = aimed(74_000, 0.9);
    assert!(matches!(look, Aiming::NotLevel { elevation_rad } if (elevation_rad - 0.9).abs() < 0.1), "{look:?}");
}
