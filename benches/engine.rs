//! What a sample costs, beside a peer that is known to be quick: `cargo bench`.
//!
//! The peer is the 6-axis update (attitude, rest, bias; no swings, no uncertainties of anything but the bias) of the
//! `vqf` crate, after Laidig & Seel, *Information Fusion* 91 (2023), in single precision. Below divan's table stand the
//! ratios that count: the best of several rounds in which all take their turn.
//!
//! `RECORDING=FILE cargo bench` takes the swings of another recording than the bundled lesson.

use nalgebra::Vector3;
use std::path::PathBuf;
use std::sync::LazyLock;
use std::time::{Duration, Instant};
use swingd::daemon::files;
use swingd::engine::Engine;
use swingd::engine::profile::Profile;
use swingd::engine::sample::{Sample, SensorTime};
use vqf::{Vqf, VqfParameters};

/// Rounds from which the best is taken.
const ROUNDS: usize = 9;

fn main() {
    divan::main();
    // Only a bench, not a test or a listing, has figures to tell.
    if std::env::args().any(|word| word == "--bench") {
        ratios();
    }
}

/// A recording in memory.
struct Material {
    profile: Profile,
    samples: Vec<Sample>,
    interval_s: f64,
}

/// Standing and walking, and no swing: what most of a lesson is.
static CALM: LazyLock<Material> = LazyLock::new(|| Material {
    profile: Profile::default(),
    samples: (0..60_000).map(|k| calm(f64::from(k) * 1e-3)).collect(),
    interval_s: 1e-3,
});

/// Swings with what is between them.
static LESSON: LazyLock<Material> = LazyLock::new(|| {
    let path = std::env::var_os("RECORDING").map_or_else(bundled, PathBuf::from);
    let mut recording = files::open(&path).expect("a recording");
    let (mut samples, mut batch) = (Vec::new(), Vec::new());
    while recording.read_batch(&mut batch).expect("a recording") {
        samples.append(&mut batch);
    }
    Material {
        profile: recording.profile().clone(),
        interval_s: recording.clock().nominal_interval_s.unwrap_or(1e-3),
        samples,
    }
});

fn bundled() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("replay-data/lesson.mcap")
}

/// Four seconds at rest with a tremor, four of walking, in turns. Sizes are made up.
fn calm(time_s: f64) -> Sample {
    let walking = (time_s / 4.0) as u64 % 2 == 1;
    let (rate_radps, force_mps2) = if walking { (1.5, 2.5) } else { (0.03, 0.05) };
    let wave = |hz: f64, phase: f64| (std::f64::consts::TAU * hz * time_s + phase).sin();
    Sample {
        time: SensorTime(time_s),
        gyro_s_radps: Vector3::new(wave(1.7, 0.0), wave(2.3, 1.0), wave(8.1, 2.0)) * rate_radps,
        accel_s_mps2: Vector3::new(wave(1.9, 3.0), wave(2.1, 4.0), wave(7.3, 5.0)) * force_mps2
            + Vector3::new(0.5, 1.0, 9.7),
        accel_hi_s_mps2: None,
    }
}

/// How many swings were told in all, better estimates included, so that nothing is optimised away.
fn engine(material: &Material) -> usize {
    let mut engine = Engine::new(material.profile.clone());
    engine.push(&material.samples).len() + engine.finish().len()
}

fn peer(material: &Material) -> f32 {
    let step = Duration::from_secs_f64(material.interval_s);
    let mut vqf = Vqf::new(step, step, VqfParameters::default());
    for sample in &material.samples {
        let single = |v: Vector3<f64>| <[f64; 3]>::from(v).map(|x| x as f32);
        vqf.update(single(sample.gyro_s_radps).into(), single(sample.accel_s_mps2).into());
    }
    vqf.orientation().w
}

fn bench<T>(bencher: divan::Bencher, material: &Material, work: fn(&Material) -> T) {
    let samples = divan::counter::ItemsCount::new(material.samples.len());
    bencher.counter(samples).bench(|| work(material));
}

#[divan::bench(sample_count = 20)]
fn streaming(bencher: divan::Bencher) {
    bench(bencher, &CALM, engine);
}

#[divan::bench(sample_count = 20)]
fn streaming_by_vqf(bencher: divan::Bencher) {
    bench(bencher, &CALM, peer);
}

#[divan::bench(sample_count = 20)]
fn lesson(bencher: divan::Bencher) {
    bench(bencher, &LESSON, engine);
}

#[divan::bench(sample_count = 20)]
fn lesson_by_vqf(bencher: divan::Bencher) {
    bench(bencher, &LESSON, peer);
}

fn ratios() {
    for (name, material) in [("streaming", &*CALM), ("lesson", &*LESSON)] {
        let (mut ours_ns, mut peers_ns) = (f64::INFINITY, f64::INFINITY);
        for _ in 0..ROUNDS {
            ours_ns = ours_ns.min(ns_a_sample(material, engine));
            peers_ns = peers_ns.min(ns_a_sample(material, peer));
        }
        let ratio = ours_ns / peers_ns;
        println!("{name}: {ours_ns:.0} ns a sample, vqf {peers_ns:.0} ns: {ratio:.2} times vqf");
    }
}

fn ns_a_sample<T>(material: &Material, work: fn(&Material) -> T) -> f64 {
    let start = Instant::now();
    divan::black_box(work(material));
    start.elapsed().as_nanos() as f64 / material.samples.len() as f64
}
