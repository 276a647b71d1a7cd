//! `swingd backup` and `swingd restore`: a copy of the record, and back.

use super::config::{Config, ConfigArgs};
use crate::daemon::record::backup::backup;
use crate::daemon::record::restore::{Restore, restore};
use crate::daemon::record::steps::Steps;
use crate::daemon::store::Store;
use crate::daemon::store::rows::UtcMicros;
use anyhow::Context;
use std::io::Write;
use std::path::PathBuf;
use std::sync::Arc;

/// What `backup` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct BackupArgs {
    /// The backup becomes a new folder in this one
    #[arg(value_name = "FOLDER")]
    pub folder: PathBuf,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// What `restore` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct RestoreArgs {
    /// A folder that `swingd backup` made
    #[arg(value_name = "BACKUP")]
    pub backup: PathBuf,
    /// The present store is damaged: do without it, although athletes erased since the backup then come back; all tokens are
    /// revoked
    #[arg(long)]
    pub ignore_present: bool,
    /// Also a backup of an installation with another name
    #[arg(long)]
    pub other_cage: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// Makes a backup, also while the service works.
///
/// # Errors
/// If it cannot be made whole.
pub fn run_backup(args: &BackupArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let config = config(&args.config, err)?;
    let made = in_runtime(async {
        let store = Store::open(&config.store()).await?;
        let (data, cage) = (&config.data_folder.value, &config.cage_name.value);
        let made = backup(&store, data, cage, &args.folder, now()).await;
        store.close().await;
        Ok(made?)
    })?;
    let bytes: u64 = made.manifest.files.iter().map(|file| file.bytes).sum();
    let (recordings, swings) = (made.manifest.files.len() - 1, made.manifest.rows.get("swings").unwrap_or(&0));
    writeln!(out, "{}: {swings} swings, {recordings} files of recordings, {bytes} bytes", made.folder.display())?;
    for name in &made.manifest.live {
        writeln!(err, "{name}: it is being written; the backup has it as far as it had come")?;
    }
    Ok(())
}

/// Puts a backup in place of what is there.
///
/// # Errors
/// If the service works on the folder, or the backup cannot be restored whole; then nothing was changed.
pub fn run_restore(args: &RestoreArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let config = config(&args.config, err)?;
    let place = config.store();
    let asked = Restore {
        backup: &args.backup,
        data_folder: &config.data_folder.value,
        cage: &config.cage_name.value,
        place: &place,
        ignore_present: args.ignore_present,
        of_any_cage: args.other_cage,
        now: now(),
        steps: Arc::new(Steps::all()),
    };
    let restored = in_runtime(async { Ok(restore(&asked).await?) })?;
    writeln!(out, "restored {}, made {}", args.backup.display(), restored.manifest.made)?;
    if let Some(kept) = &restored.kept {
        writeln!(out, "what was there before is in {}", kept.display())?;
    }
    match restored.tokens_revoked {
        0 => {}
        count if args.ignore_present => {
            writeln!(out, "all {count} tokens are revoked, as which had been is not known")?
        }
        count => writeln!(out, "{count} tokens that were revoked since the backup was made are still")?,
    }
    for id in &restored.erased_again {
        writeln!(out, "the athlete {id} was erased since the backup was made, and was erased from it again")?;
    }
    Ok(())
}

fn config(args: &ConfigArgs, err: &mut dyn Write) -> anyhow::Result<Config> {
    let (config, unknown) = Config::of_this_machine(args)?;
    for variable in unknown {
        writeln!(err, "{variable}")?;
    }
    Ok(config)
}

fn in_runtime<T>(work: impl Future<Output = anyhow::Result<T>>) -> anyhow::Result<T> {
    tokio::runtime::Runtime::new().context("no threads for the store")?.block_on(work)
}

fn now() -> UtcMicros {
    UtcMicros(jiff::Timestamp::now().as_microsecond())
}
