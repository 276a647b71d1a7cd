//! How fast recordings are read: `cargo run --release --example read_speed FILE...`, CSV or MCAP.

use std::path::Path;
use std::time::Instant;

use swingd::daemon::files;

fn main() -> anyhow::Result<()> {
    for path in std::env::args().skip(1) {
        let start = Instant::now();
        let mut recording = files::open(Path::new(&path))?;
        let mut batch = Vec::new();
        while recording.read_batch(&mut batch)? {}
        let seconds = start.elapsed().as_secs_f64();
        println!("{path}: {seconds:.3} s, {:?}", recording.clock());
        let warnings = recording.profile_warnings();
        warnings.chain(recording.issue_lines()).for_each(|line| println!("{line}"));
    }
    Ok(())
}
