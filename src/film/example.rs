//! A sound track for tests: short bursts in the band of a crack over a faint noise.

use hound::{SampleFormat, WavSpec, WavWriter};
use std::io::Cursor;

/// Instants as a pattern that no shift repeats, s.
pub const PATTERN_S: [f64; 9] = [0.0, 6.3, 14.1, 20.8, 30.9, 37.2, 46.4, 55.5, 61.7];

/// One channel of 16 bits at 48 kHz.
pub const SPEC: WavSpec =
    WavSpec { channels: 1, sample_rate: 48_000, bits_per_sample: 16, sample_format: SampleFormat::Int };

/// A file with bursts at these instants.
pub fn wav(spec: WavSpec, cracks_s: &[f64], duration_s: f64) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = WavWriter::new(&mut bytes, spec).unwrap();
    let rate_hz = f64::from(spec.sample_rate);
    let mut state = 1u64;
    let mut noise = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / (1u64 << 23) as f64 - 1.0
    };
    for at in 0..(duration_s * rate_hz) as usize {
        let at_s = at as f64 / rate_hz;
        let decay =
            |crack_s: &f64| if (0.0..0.1).contains(&(at_s - crack_s)) { (-(at_s - crack_s) / 4e-3).exp() } else { 0.0 };
        let loudness: f64 = cracks_s.iter().map(decay).sum();
        let value = noise() * (0.5 * loudness + 1e-3);
        for _ in 0..spec.channels {
            match spec.sample_format {
                SampleFormat::Float => writer.write_sample(value as f32).unwrap(),
                SampleFormat::Int => {
                    let most = f64::from(spec.bits_per_sample - 1).exp2() - 1.0;
                    writer.write_sample((value.clamp(-1.0, 1.0) * most) as i32).unwrap();
                }
            }
        }
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}
