use super::*;
use crate::daemon::test_folder::TestFolder;
use crate::engine::wire::SampleBatches;
use crate::engine::wire::csv::CsvReader;
use crate::engine::wire::mcap::{AtThePlate, Packet};
use std::fs::File;

const CSV: &str = "t_s,gyro_x_radps,gyro_y_radps,gyro_z_radps,accel_x_mps2,accel_y_mps2,accel_z_mps2\n\
                   0.0,0.1,-0.0,1e-20,,9.80665,0.30000000000000004\n0.001,1.0,2.0,3.0,4.0,5.0,6.0\n";
const TOML: &str = "# my own bat\n[bat]\nlength_m = 0.81   # measured\n";

fn convert(input: PathBuf, output: PathBuf, flags: &[&str]) -> Result<(), String> {
    let (force, samples_only) = (flags.contains(&"--force"), flags.contains(&"--samples-only"));
    let args = ConvertArgs { input, output, force, samples_only };
    run(&args, &mut std::io::sink()).map_err(|error| format!("{error:#}"))
}

#[test]
fn there_and_back_gives_the_same_bytes() {
    let folder = TestFolder::new("there-and-back");
    let input = folder.write("a.csv", CSV);
    folder.write("a.toml", TOML);
    convert(input, folder.path("b.mcap"), &[]).unwrap();
    convert(folder.path("b.mcap"), folder.path("c.csv"), &[]).unwrap();
    convert(folder.path("b.mcap"), folder.path("d.mcap"), &[]).unwrap();
    let read = |name: &str| std::fs::read(folder.path(name)).unwrap();
    assert_eq!(read("c.csv"), CSV.as_bytes());
    assert_eq!(read("c.toml"), TOML.as_bytes());
    assert_eq!(read("d.mcap"), read("b.mcap"));
    assert_eq!(folder.files(), ["a.csv", "a.toml", "b.mcap", "c.csv", "c.toml", "d.mcap"]);
}

#[test]
fn nothing_is_overwritten_unless_asked() {
    let folder = TestFolder::new("overwrite");
    let input = folder.write("a.csv", CSV);
    convert(input.clone(), folder.path("b.mcap"), &[]).unwrap();
    let error = convert(input, folder.path("b.mcap"), &[]).unwrap_err();
    assert!(error.ends_with("b.mcap: is there already; expected a new name, or --force to overwrite it"), "{error}");
    // A profile that is not the recording's own would be read with it.
    folder.write("c.toml", TOML);
    assert!(convert(folder.path("b.mcap"), folder.path("c.csv"), &[]).unwrap_err().contains("c.toml: is there"));
    assert_eq!(folder.files(), ["a.csv", "b.mcap", "c.toml"]);
    convert(folder.path("b.mcap"), folder.path("c.csv"), &["--force"]).unwrap();
    assert_eq!(folder.files(), ["a.csv", "b.mcap", "c.csv"]);
}

#[test]
fn what_csv_cannot_hold_is_left_out_only_when_asked() {
    let folder = TestFolder::new("beyond-csv");
    let input = folder.path("a.mcap");
    let mut writer = McapWriter::new(File::create(&input).unwrap(), "knob").unwrap();
    writer.write_at_the_plate(0, &AtThePlate::default()).unwrap();
    let packet = Packet { received_utc_ns: 7, sensor: "knob".into(), characteristic: String::new(), bytes: vec![1, 2] };
    writer.write_packet(&packet).unwrap();
    let mut reader = CsvReader::new(CSV.as_bytes()).unwrap();
    let mut samples = Vec::new();
    reader.read_batch(&mut samples, 10).unwrap();
    writer.write_samples(&samples, sensor_time_ns).unwrap();
    writer.finish().unwrap();
    let error = convert(input.clone(), folder.path("b.csv"), &[]).unwrap_err();
    assert!(error.contains("holds 2 messages that CSV cannot hold"), "{error}");
    convert(input.clone(), folder.path("b.csv"), &["--samples-only"]).unwrap();
    assert_eq!(std::fs::read_to_string(folder.path("b.csv")).unwrap(), CSV);
    convert(input.clone(), folder.path("c.mcap"), &[]).unwrap();
    assert_eq!(std::fs::read(folder.path("c.mcap")).unwrap(), std::fs::read(input).unwrap());
}

#[test]
fn what_cannot_be_converted_leaves_nothing_behind() {
    let folder = TestFolder::new("nothing-left");
    let good = folder.write("a.csv", CSV);
    folder.write("bad.csv", "x\n");
    folder.write("odd.csv", CSV);
    folder.write("odd.toml", "[bat]\nlength_m = 9\n");
    for (input, output, told) in [
        ("bad.csv", "b.mcap", "bad.csv: line 1: the column `t_s` is missing"),
        ("none.csv", "b.mcap", "none.csv: cannot be read"),
        ("odd.csv", "b.mcap", "`bat.length_m` is 9.0"),
        ("a.csv", "b.txt", "b.txt: the ending says no kind of recording; expected .csv or .mcap"),
        ("a.csv", "no/b.mcap", "b.mcap: not written"),
    ] {
        let error = convert(folder.path(input), folder.path(output), &[]).unwrap_err();
        assert!(error.contains(told), "{error}");
    }
    assert_eq!(folder.files(), ["a.csv", "bad.csv", "odd.csv", "odd.toml"]);
    assert!(good.exists());
}
