use super::*;
use crate::daemon::files::from_reader;
use std::io::Read;

/// Names tell what is there: "12" has 600 samples, "12-breaks" then breaks, "absent" is not there.
fn open_fake(path: &Path) -> Result<OpenRecording, RecordingError> {
    let name = path.display().to_string();
    let (count, breaks) = name.strip_suffix("-breaks").map_or((name.as_str(), false), |count| (count, true));
    let missing = |_| RecordingError::Io { path: path.to_owned(), cause: io::ErrorKind::NotFound.into() };
    let count: u32 = count.parse().map_err(missing)?;
    let rows = io::Cursor::new(csv(50 * count).into_bytes());
    if breaks { from_reader(path, rows.chain(Gone), None) } else { from_reader(path, rows, None) }
}

/// Cannot be read from.
struct Gone;

impl Read for Gone {
    fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
        Err(io::Error::other("the disk\nis gone"))
    }
}

const HEADER: &str = "t_s,gyro_x_radps,gyro_y_radps,gyro_z_radps,accel_x_mps2,accel_y_mps2,accel_z_mps2\n";

/// A sensor at rest, at 100 Hz.
fn csv(samples: u32) -> String {
    let row = |k: u32| format!("{},0,0,0,0,0,9.8\n", f64::from(k) / 100.0);
    HEADER.to_owned() + &(0..samples).map(row).collect::<String>()
}

fn args(files: &[&str], json: bool) -> ReplayArgs {
    ReplayArgs { files: files.iter().map(PathBuf::from).collect(), json, events: false, units: UnitsArg::Us, svg: None }
}

/// Whether all were read, standard output, standard error.
fn replayed(args: &ReplayArgs) -> (bool, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let all_read = run(args, &open_fake, &mut out, &mut err).unwrap();
    (all_read, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
}

#[test]
fn documents_come_in_the_order_given() {
    let names: Vec<String> = (0..40).map(|k| (k * 17 % 40 + 1).to_string()).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let (all_read, out, err) = replayed(&args(&names, true));
    assert!(all_read && err.is_empty());
    let paths: Vec<String> = out
        .lines()
        .map(|line| {
            serde_json::from_str::<serde_json::Value>(line).unwrap()["recording"]["path"].as_str().unwrap().to_owned()
        })
        .collect();
    assert_eq!(paths, names);
}

#[test]
fn one_file_alone_is_the_same_as_among_others() {
    let (_, alone, _) = replayed(&args(&["30"], true));
    let (_, together, _) = replayed(&args(&["30", "2"], true));
    assert_eq!(together.lines().next(), alone.lines().next());
    assert!(alone.contains("\"samples\":1500"));
}

#[test]
fn a_file_that_cannot_be_read_is_one_line_and_the_others_are_reported() {
    for files in [vec!["3", "absent", "9-breaks", "4"], vec!["9-breaks"], vec!["absent"]] {
        let (all_read, out, err) = replayed(&args(&files, true));
        let bad: Vec<_> = files.iter().filter(|name| name.parse::<u32>().is_err()).collect();
        assert!(!all_read);
        assert_eq!(out.lines().count(), files.len() - bad.len());
        assert_eq!(err.lines().count(), bad.len());
        assert!(err.lines().zip(&bad).all(|(line, name)| line.starts_with(&format!("{name}: "))), "{err}");
    }
}

#[test]
fn tables_are_apart_by_an_empty_line() {
    let (all_read, out, err) = replayed(&args(&["1", "2"], false));
    assert!(all_read && err.is_empty());
    assert_eq!(out, "1: 0.5 s at 100 Hz, 0 swings\n\n2: 1.0 s at 100 Hz, 0 swings\n");
}

#[test]
fn a_picture_that_cannot_be_written_is_told() {
    let asked = ReplayArgs { svg: Some(PathBuf::from("/")), ..args(&["1"], true) };
    let (all_read, out, err) = replayed(&asked);
    assert!(!all_read);
    assert_eq!((out.lines().count(), err.lines().count()), (1, 1));
}

/// Output that breaks after some bytes, as a closed pipe does.
struct Breaking(usize);

impl Write for Breaking {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0 = self.0.checked_sub(bytes.len()).ok_or(io::ErrorKind::BrokenPipe)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_closed_pipe_ends_the_work() {
    let names = ["5"; 30];
    let error = run(&args(&names, true), &open_fake, &mut Breaking(300), &mut io::sink()).unwrap_err();
    assert_eq!(error.kind(), io::ErrorKind::BrokenPipe);
}
