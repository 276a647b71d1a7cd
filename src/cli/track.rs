//! `swingd track`: the motion of the sensor over a whole recording, as CSV.

use super::one_line;
use super::targets::{Targets, cannot_write};
use crate::daemon::files::{OpenRecording, RecordingError, open};
use crate::engine::motion::track::{TrackRow, track};
use crate::engine::sample::Sample;
use anyhow::{Context, ensure};
use std::io::{self, BufWriter, Write};
use std::path::PathBuf;

/// What `track` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct TrackArgs {
    /// A recording: CSV with a profile beside it (NAME.toml), or MCAP
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// The CSV file to write; what is there is replaced
    #[arg(long, value_name = "TRACK.csv")]
    pub out: PathBuf,
}

const HEADER: &str = "t_s,q_w,q_x,q_y,q_z,v_x_mps,v_y_mps,v_z_mps,moving";

/// The step that is assumed where a lone sample tells none, s.
const ASSUMED_INTERVAL_S: f64 = 1e-3;

/// Reads the whole recording, estimates its motion and writes a row a sample.
///
/// # Errors
/// If the recording cannot be read, or the track not be written.
pub fn run(args: &TrackArgs, err: &mut dyn Write) -> anyhow::Result<()> {
    ensure!(
        !is_same_file(args),
        "{}: is the recording itself; expected another file for the track",
        args.out.display()
    );
    let mut recording = open(&args.file)?;
    let samples = all_samples(&mut recording)?;
    for note in recording.profile_warnings().chain(recording.issue_lines()) {
        writeln!(err, "{}", one_line(&note))?;
    }
    let interval_s = recording.clock().nominal_interval_s;
    let interval_s = interval_s.unwrap_or(ASSUMED_INTERVAL_S);
    let rows = track(&samples, recording.profile(), interval_s);
    ensure!(
        rows.len() == samples.len(),
        "{}: a motion was found for {} of {} samples; expected readings that one can be found from",
        args.file.display(),
        rows.len(),
        samples.len()
    );
    let mut targets = Targets::new(true);
    let file = BufWriter::new(targets.create(&args.out)?);
    write_rows(file, &rows).with_context(|| cannot_write(&args.out))?;
    targets.put_in_place()
}

fn all_samples(recording: &mut OpenRecording) -> Result<Vec<Sample>, RecordingError> {
    let (mut samples, mut batch) = (Vec::new(), Vec::new());
    while recording.read_batch(&mut batch)? {
        samples.append(&mut batch);
    }
    Ok(samples)
}

fn is_same_file(args: &TrackArgs) -> bool {
    let place = |path: &PathBuf| path.canonicalize().ok();
    place(&args.out).is_some_and(|out| Some(out) == place(&args.file))
}

/// Numbers are the shortest text that reads back to the same double.
fn write_rows(mut out: impl Write, rows: &[TrackRow]) -> io::Result<()> {
    writeln!(out, "{HEADER}")?;
    for row in rows {
        let [w, x, y, z] = row.attitude.wxyz();
        let v = row.velocity_w_mps;
        let moving = u8::from(row.moving);
        let t_s = row.time_s;
        writeln!(out, "{t_s},{w},{x},{y},{z},{},{},{},{moving}", v.x, v.y, v.z)?;
    }
    out.flush()
}
