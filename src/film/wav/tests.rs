use super::super::example::{SPEC, wav};
use super::*;

fn read(bytes: &[u8]) -> Result<Vec<Pair>, WavError> {
    let mut wav = Wav::open(bytes)?;
    let (mut all, mut block) = (Vec::new(), Vec::new());
    loop {
        wav.next_block(&mut block, 1000)?;
        if block.is_empty() {
            return Ok(all);
        }
        all.extend_from_slice(&block);
    }
}

/// The same sound in every format: the coarsest step is that of 16 bits, 1/32768, cut toward zero.
#[test]
fn every_format_gives_the_same_sound() {
    let reference = read(&wav(SPEC, &[0.01], 0.05)).unwrap();
    assert_eq!(reference.len(), 2400);
    let formats = [(24, SampleFormat::Int), (32, SampleFormat::Int), (32, SampleFormat::Float)];
    for (bits_per_sample, sample_format) in formats {
        let spec = WavSpec { bits_per_sample, sample_format, ..SPEC };
        let read = read(&wav(spec, &[0.01], 0.05)).unwrap();
        assert_eq!(read.len(), reference.len());
        let off = read.iter().zip(&reference).map(|(a, b)| (a[0] - b[0]).abs()).fold(0.0, f32::max);
        assert!(off <= 2.0 / 32768.0, "{bits_per_sample} {sample_format:?}: {off}");
    }
}

#[test]
fn channels_are_paired() {
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, WavSpec { channels: 3, ..SPEC }).unwrap();
    for value in [8192i16, 16384, -8192] {
        writer.write_sample(value).unwrap();
    }
    writer.finalize().unwrap();
    assert_eq!(read(&bytes.into_inner()).unwrap(), [[0.0, 0.5]]);
    let one = read(&wav(SPEC, &[], 0.01)).unwrap();
    assert!(one.iter().all(|pair| pair[0] == pair[1]));
}

#[test]
fn what_cannot_be_used_is_said_with_what_was_expected() {
    let says = |bytes: &[u8], word: &str| {
        let error = read(bytes).unwrap_err().to_string();
        assert!(error.contains(word) && error.contains("expected"), "{error}");
    };
    says(b"", "not a WAV file");
    says(b"RIFF\xff\xff\xff\xffWAVEfmt ", "not a WAV file");
    says(&wav(WavSpec { sample_rate: 22_050, ..SPEC }, &[], 0.01), "22050 Hz");
    says(&wav(WavSpec { bits_per_sample: 8, ..SPEC }, &[], 0.01), "8-bit integers");
    says(&wav(WavSpec { channels: 17, ..SPEC }, &[], 0.01), "17 channels");
    let whole = wav(SPEC, &[], 0.1);
    says(&whole[..whole.len() / 2], "breaks off after 0.0 s");
}

/// A head alone is enough to refuse: no sample of it is read.
#[test]
fn four_hours_are_the_most() {
    let lasting = |seconds: u32| {
        let mut bytes = wav(SPEC, &[], 0.0);
        let size = seconds * SPEC.sample_rate * 2;
        let at = bytes.len() - 4;
        bytes[at..].copy_from_slice(&size.to_le_bytes());
        bytes
    };
    let just = Wav::open(&lasting(14_400)[..]).map(|wav| wav.promised);
    assert_eq!(just.unwrap(), 14_400 * SPEC.sample_rate);
    let long = Wav::open(&lasting(18_000)[..]).err().unwrap();
    assert_eq!(long.to_string(), "its head says that it lasts 5.0 h; expected at most 4 h");
}

#[test]
fn no_bytes_make_it_panic() {
    let whole = wav(WavSpec { channels: 2, ..SPEC }, &[], 0.01);
    for at in 0..60.min(whole.len()) {
        for value in [0, 1, 0x7f, 0x80, 0xff] {
            let mut bytes = whole.clone();
            bytes[at] = value;
            let _ = read(&bytes);
            let _ = read(&bytes[..at]);
        }
    }
    let spec = WavSpec { bits_per_sample: 32, sample_format: SampleFormat::Float, ..SPEC };
    let mut floats = wav(spec, &[], 0.01);
    let end = floats.len();
    floats[end - 4..].copy_from_slice(&f32::NAN.to_le_bytes());
    floats[end - 8..end - 4].copy_from_slice(&f32::INFINITY.to_le_bytes());
    assert_eq!(read(&floats).unwrap().into_iter().rev().take(2).collect::<Vec<_>>(), [[0.0, 0.0]; 2]);
}
