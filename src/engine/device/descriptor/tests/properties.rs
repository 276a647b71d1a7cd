//! Any text and any bytes, and packets written by hand-made encoders.

use proptest::prelude::*;

use super::*;

proptest! {
    #[test]
    fn any_text_never_panics(text in "\\PC{0,200}") {
        let _ = Descriptor::parse(&text);
    }

    /// A line of a shipped descriptor left out, doubled, cut or with a number or text put in place of another.
    #[test]
    fn a_spoilt_descriptor_never_panics_and_names_a_line_of_its_own(
        which in 0_usize..4,
        spoils in prop::collection::vec((0_usize..80, 0_u8..5, 0_usize..60, "(-?[0-9]{1,12}|\"[a-z]{0,5}\"|\\[\\]|\\{\\}|nan|1e99)"), 1..4),
    ) {
        let mut lines: Vec<String> = shipped()[which].1.lines().map(str::to_owned).collect();
        for (line, how, at, new) in spoils {
            let line = line % lines.len();
            match how {
                0 => drop(lines.remove(line)),
                1 => { let again = lines[line].clone(); lines.insert(line, again); }
                2 => lines[line] = lines[line].chars().take(at).collect(),
                3 => lines[line] = lines[line].split('=').next().unwrap_or("").to_owned() + "= " + &new,
                _ => lines[line] = lines[line].replacen(|c: char| c.is_ascii_digit(), &new, 1),
            }
        }
        if let Err(error) = Descriptor::parse(&lines.join("\n")) {
            prop_assert!((1..=lines.len() as u64 + 1).contains(&error.line()), "{}", error);
        }
    }

    #[test]
    fn any_bytes_never_panic_and_give_finite_or_missing_numbers(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        for streams in LAYOUTS {
            let one = descriptor(streams);
            if let Ok(Decoded::Readings(found)) = one.decode(DATA, &bytes) {
                let layout = one.streams()[0];
                prop_assert!(!found.readings.is_empty());
                prop_assert!(found.sequence.is_none_or(|it| it < layout.sequence_modulus.unwrap()));
                prop_assert!(found.tick.is_none_or(|it| it < layout.tick_modulus.unwrap()));
                prop_assert!(found.readings.iter().all(|it| it.gyro_s_radps.unwrap().iter().all(|x| !x.is_infinite())));
            }
        }
        for (_, text) in shipped() {
            let one = Descriptor::parse(text).unwrap();
            for characteristic in one.notify() {
                let _ = one.decode(characteristic, &bytes);
            }
        }
    }

    #[test]
    fn what_was_encoded_is_decoded(
        counter in any::<u16>(),
        tick in 0_u32..1 << 24,
        counts in prop::collection::vec(prop::array::uniform6(-i16::MAX..=i16::MAX), 1..9),
    ) {
        let encoders: [Encoder; 3] = [encoded_plain, encoded_big, encoded_mixed];
        for (streams, encode) in LAYOUTS.iter().zip(encoders) {
            let found = readings(&descriptor(streams), DATA, &encode(counter, tick, &counts));
            let sent = if streams.contains("from_length") || streams.contains("most") { &counts[..] } else { &counts[..1] };
            prop_assert_eq!(found.readings.len(), sent.len());
            prop_assert!(found.sequence.is_none_or(|it| it == u64::from(counter)));
            prop_assert!(found.tick.is_none_or(|it| it == u64::from(tick)));
            for (reading, [gx, gy, gz, ax, ay, az]) in found.readings.iter().zip(sent) {
                let gyro = Vector3::new(*gx, *gy, *gz).map(|it| (f64::from(it) * 0.1).to_radians());
                let accel = Vector3::new(*ax, *ay, *az).map(|it| f64::from(it) / 2048.0 * G_MPS2);
                prop_assert!((reading.gyro_s_radps.unwrap() - gyro).norm() < 1e-9);
                // A float of 24 bits is within 2⁻²⁴ of what was meant: 157 m/s² within 1e-5 m/s².
                prop_assert!((reading.accel_s_mps2.unwrap() - accel).norm() < 2e-5);
            }
        }
    }
}

/// One reading a packet; a header and several readings, big-endian, axes turned, a byte after each; a number of
/// readings, little-endian, accelerometer as floats before the gyro.
const LAYOUTS: [&str; 3] = [
    "[[stream]]\ncharacteristic = \"abcd\"\nsample_rate_hz = 100\n\
     gyro = { at = 0, type = \"i16\", unit = \"dps\", scale = 0.1, range = 2000 }\n\
     accel = { at = 6, type = \"i16\", unit = \"g\", counts_per_unit = 2048, range = 15.9 }\n",
    "[[stream]]\ncharacteristic = \"abcd\"\nsample_rate_hz = 100\nendian = \"big\"\nsamples = \"from_length\"\n\
     header = [1, \"counter\", \"time\"]\nsample = [\"gyro\", \"accel\", 1]\ntrailer = 1\n\
     match = [{ at = 0, hex = \"5a\" }]\n\
     counter = { type = \"u16\" }\ntime = { type = \"u24\", tick_hz = 1e6 }\n\
     gyro = { type = \"i16\", unit = \"dps\", scale = 0.1, range = 2000, axes = [\"-y\", \"x\", \"z\"] }\n\
     accel = { type = \"i16\", unit = \"g\", counts_per_unit = 2048, range = 15.9, axes = [\"z\", \"-x\", \"y\"] }\n",
    "[[stream]]\ncharacteristic = \"abcd\"\nsample_rate_hz = 100\nsamples_at = 8\n\
     samples = { at = 7, type = \"u8\", most = 20 }\n\
     counter = { at = 0, type = \"u16\" }\ntime = { at = 2, type = \"u32\", tick_hz = 1e6, modulus = 16777216 }\n\
     accel = { at = 0, type = \"f32\", unit = \"mps2\", range = 157 }\n\
     gyro = { at = [12, 15, 18], type = \"i24\", unit = \"mdps\", scale = 100, range = 2000000 }\n",
];

type Encoder = fn(u16, u32, &[[i16; 6]]) -> Vec<u8>;

fn encoded_plain(_: u16, _: u32, counts: &[[i16; 6]]) -> Vec<u8> {
    counts[0].iter().flat_map(|count| count.to_le_bytes()).collect()
}

/// S is x = −y, y = x of what is sent for the gyro: sent x = S y, sent y = −S x; likewise the accelerometer.
fn encoded_big(counter: u16, tick: u32, counts: &[[i16; 6]]) -> Vec<u8> {
    let mut bytes = vec![0x5a];
    bytes.extend(counter.to_be_bytes());
    bytes.extend(&tick.to_be_bytes()[1..]);
    for [gx, gy, gz, ax, ay, az] in counts {
        for count in [*gy, -gx, *gz, -ay, *az, *ax] {
            bytes.extend(count.to_be_bytes());
        }
        bytes.push(0xee);
    }
    bytes.push(0xcc);
    bytes
}

fn encoded_mixed(counter: u16, tick: u32, counts: &[[i16; 6]]) -> Vec<u8> {
    let mut bytes = counter.to_le_bytes().to_vec();
    bytes.extend(tick.to_le_bytes());
    bytes.extend([0xee, counts.len() as u8]);
    for [gx, gy, gz, ax, ay, az] in counts {
        for count in [ax, ay, az] {
            bytes.extend(((f64::from(*count) / 2048.0 * G_MPS2) as f32).to_le_bytes());
        }
        for count in [gx, gy, gz] {
            bytes.extend(&i32::from(*count).to_le_bytes()[..3]);
        }
    }
    bytes
}
