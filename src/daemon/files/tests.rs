use super::*;
use crate::daemon::test_folder::TestFolder;
use crate::engine::profile::Side;

const CSV: &str = "t_s,gyro_x_radps,gyro_y_radps,gyro_z_radps,accel_x_mps2,accel_y_mps2,accel_z_mps2\n";

fn rows(count: u32) -> String {
    (0..count).map(|k| format!("{:.3},1,2,3,4,5,6\n", f64::from(k) / 1000.0)).collect()
}

#[test]
fn a_csv_is_read_with_the_profile_beside_it() {
    let folder = TestFolder::new("beside");
    let path = folder.write("swing.csv", format!("{CSV}{}x,1\n", rows(3000)));
    folder.write("swing.toml", "[swing]\nside = \"left\"\nhat = 3\n");
    let mut recording = open(&path).unwrap();
    assert_eq!(recording.profile().swing.side, Side::Left);
    let warnings: Vec<_> = recording.profile_warnings().collect();
    assert!(
        warnings.len() == 1 && warnings[0].ends_with("swing.toml: line 3: `swing.hat` is not known and was ignored")
    );
    let (mut batch, mut count) = (Vec::new(), 0);
    while recording.read_batch(&mut batch).unwrap() {
        count += batch.len();
    }
    assert_eq!((count, recording.clock().samples, recording.issues().count()), (3000, 3000, 1));
    assert!(recording.issue_lines()[0].ends_with("swing.csv: line 3002: the row has 2 cells where the header has 7"));
}

#[test]
fn what_cannot_be_read_is_one_line_with_the_file_the_line_and_what_was_expected() {
    let folder = TestFolder::new("unreadable");
    let good = format!("{CSV}{}", rows(3));
    folder.write("wrong.csv", "time,x\n1,2\n");
    folder.write("garbage.csv", [0xff, 0x00, 0x13, 0x0a]);
    folder.write("norow.csv", CSV);
    folder.write("cut.mcap", MAGIC);
    folder.write("badprofile.csv", &good);
    folder.write("badprofile.toml", "[bat]\nlength_m = 5.0\n");
    folder.write("badtext.csv", &good);
    folder.write("badtext.toml", [0xff, 0xfe]);
    for (file, told) in [
        ("none.csv", "none.csv: cannot be read: "),
        ("", ": cannot be read: "),
        ("wrong.csv", "wrong.csv: line 1: the column `t_s` is missing; expected the header t_s,"),
        ("garbage.csv", "garbage.csv: line 1: this is not CSV"),
        ("norow.csv", "norow.csv: line 2: there is no row under the header; expected at least one sample"),
        ("cut.mcap", "cut.mcap: record 1: the file ends before its first sample; expected an MCAP file"),
        ("badprofile.csv", "badprofile.toml: line 2: `bat.length_m` is 5.0; expected a bat's length"),
        ("badtext.csv", "badtext.toml: invalid utf-8"),
    ] {
        let error = open(&folder.path(file)).err().unwrap().to_string();
        assert!(error.contains(told) && error.contains("expected") && !error.contains('\n'), "{error}");
    }
}
