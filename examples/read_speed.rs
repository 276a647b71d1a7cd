//! How fast a recording is read: `cargo run --release --example read_speed FILE`.

use std::time::Instant;

use swingd::engine::wire::{SampleBatches, csv::CsvReader};

fn main() -> anyhow::Result<()> {
    let path = std::env::args()
        .nth(1)
        .ok_or_else(|| anyhow::anyhow!("expected a CSV file"))?;
    let start = Instant::now();
    let mut reader = CsvReader::new(std::fs::File::open(&path)?)?;
    let (mut batch, mut count) = (Vec::new(), 0);
    while reader.read_batch(&mut batch, 1024)? {
        count += batch.len();
    }
    println!(
        "{count} samples, {} issues, {:.3} s",
        reader.issues().count(),
        start.elapsed().as_secs_f64()
    );
    Ok(())
}
