//! What the store must reach, measured on a million swings of five hundred athletes over three years.
//!
//! ```text
//! cargo run --release --example store -- FOLDER [--swings 1000000] [--athletes 500] [--url postgres://…] [--seconds 30]
//! ```
//!
//! Builds a store in FOLDER, unless it holds one of these sizes already (a million swings: 9 GB and some minutes), and then
//! asks it through the API's router: with JSON, without a socket, once over a socket of loopback. Each figure stands
//! beside its limit and the machine's load, as other programs make it worse; the exit status is 1 if one is missed. With
//! `--url` the same in an empty PostgreSQL database, without limits. To try it: `--swings 50000 --athletes 25`.
//!
//! The swings: some hundred different ones of several sensors, simulated and analysed by the engine, so that metrics, σ, flags
//! and curves are real. Each stored swing is one of them with its metrics moved by an amount for the athlete, the lesson and
//! itself, and with its curves scaled a little before they are rounded and packed: no two are equal, and they are as hard to
//! pack as the engine's own. They are written by the same code as a live session's, `record::keep`, first as the final and then
//! as the revised analysis, in the order of time over all athletes.

mod asks;
mod build;
#[path = "../support/direct.rs"]
mod direct;
mod figures;
mod made;
mod measure;
mod plan;
mod pool;
mod serve;

use anyhow::{Context, bail};
use figures::Figures;
use plan::{Plan, Sizes};
use std::path::PathBuf;
use std::process::ExitCode;
use swingd::daemon::store::Place;

/// What was asked for.
struct Wanted {
    folder: PathBuf,
    sizes: Sizes,
    url: Option<String>,
    seconds: f64,
}

fn main() -> anyhow::Result<ExitCode> {
    let wanted = wanted()?;
    let plan = Plan::new(wanted.sizes);
    let pool = pool::Pool::simulated();
    println!("pool: {}", pool.words());
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    let mut figures = Figures::new(wanted.url.is_none());
    runtime.block_on(async {
        std::fs::create_dir_all(&wanted.folder)?;
        let place = match &wanted.url {
            Some(url) => Place::from_url(url).context("--url: expected postgres://…")?,
            None => Place::in_folder(&wanted.folder),
        };
        build::unless_there(&place, &wanted.folder, &plan, &pool).await?;
        measure::all(&place, &wanted.folder, &plan, &pool, wanted.seconds, &mut figures).await
    })?;
    Ok(if figures.all_hold() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn wanted() -> anyhow::Result<Wanted> {
    let mut words = std::env::args().skip(1);
    let folder = PathBuf::from(words.next().context("expected a folder")?);
    let mut wanted = Wanted { folder, sizes: Sizes { swings: 1_000_000, athletes: 500 }, url: None, seconds: 30.0 };
    while let Some(key) = words.next() {
        let value = words.next().with_context(|| format!("{key}: expected a value"))?;
        match key.as_str() {
            "--swings" => wanted.sizes.swings = value.parse()?,
            "--athletes" => wanted.sizes.athletes = value.parse()?,
            "--url" => wanted.url = Some(value),
            "--seconds" => wanted.seconds = value.parse()?,
            _ => bail!("{key}: expected --swings, --athletes, --url or --seconds"),
        }
    }
    Ok(wanted)
}
