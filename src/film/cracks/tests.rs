use super::super::example::{SPEC, wav};
use super::*;
use hound::WavSpec;

/// A burst's onset is found to within a cell of the envelope (16 samples, 0.33 ms) and the filters' delay (0.1 ms).
#[test]
fn onsets_are_found_to_half_a_millisecond_at_both_rates() {
    let truth_s = [0.5, 1.2345, 2.0001, 2.7];
    for sample_rate in [44_100, 48_000] {
        for channels in [1, 2, 5] {
            let sound = listen(&wav(WavSpec { sample_rate, channels, ..SPEC }, &truth_s, 3.2)[..]).unwrap();
            assert!((sound.duration_s - 3.2).abs() < 1e-3);
            assert_eq!(sound.cracks.len(), truth_s.len(), "{sound:?}");
            for (crack, at_s) in sound.cracks.iter().zip(truth_s) {
                assert!((crack.at_s - at_s).abs() < 0.5e-3, "{} {at_s}", crack.at_s);
            }
        }
    }
}

/// Two sides in opposite phase would cancel if they were added.
#[test]
fn sides_in_opposite_phase_are_heard() {
    let mono = wav(SPEC, &[0.8], 1.5);
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, WavSpec { channels: 2, ..SPEC }).unwrap();
    for sample in hound::WavReader::new(&mono[..]).unwrap().samples::<i16>() {
        let sample = sample.unwrap();
        writer.write_sample(sample).unwrap();
        writer.write_sample(-sample).unwrap();
    }
    writer.finalize().unwrap();
    let sound = listen(&bytes.into_inner()[..]).unwrap();
    assert_eq!(sound.cracks.len(), 1);
}

#[test]
fn an_echo_is_no_onset_of_its_own() {
    let crack = |at_s, loudness| Crack { at_s, loudness };
    let mut found = vec![crack(1.0, 0.5), crack(1.06, 0.4), crack(1.2, 0.4), crack(1.25, 0.6), crack(1.34, 0.6)];
    drop_echoes(&mut found);
    assert_eq!(found, [crack(1.0, 0.5), crack(1.2, 0.4), crack(1.25, 0.6)]);
}

#[test]
fn the_loudest_are_kept_in_order_of_time_and_the_rest_counted() {
    let crack = |at_s, loudness| Crack { at_s, loudness };
    let mut found = vec![crack(3.0, 0.5), crack(1.0, 0.4), crack(2.0, 0.1)];
    assert_eq!(keep_loudest(&mut found, 2), 1);
    assert_eq!(found, [crack(1.0, 0.4), crack(3.0, 0.5)]);
    assert_eq!(keep_loudest(&mut found, 2), 0);
}

#[test]
fn silence_noise_and_moments_have_no_cracks() {
    let silent = listen(&wav(SPEC, &[], 1.5)[..]).unwrap();
    assert_eq!(silent.cracks, []);
    assert!(matches!(listen(&wav(SPEC, &[0.1], 0.5)[..]), Err(WavError::TooShort)));
    assert!(onsets(&[]).is_empty());
    assert!(onsets(&[f32::NAN; 500]).is_empty());
}
