//! What earlier runs recorded and did not store: analysed after the start, a file at a time, beside everything else.
//!
//! A recording that the store says is open (its service was killed, or its queue was full), and one that it does not know.
//! What this run records is none of that: the folder is looked at before any recorder begins. May be cancelled at any time:
//! what was not analysed is at the next start.

use super::analyse::{AnalyseError, RecordingFile, analyse_file};
use super::turns::Turns;
use crate::daemon::clock::Clock;
use crate::daemon::recorder::{Disk, SystemDisk};
use crate::daemon::store::queries::recordings;
use crate::daemon::store::rows::UtcMicros;
use crate::daemon::store::{Store, StoreError};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

/// The endings of files that may be analysed; a live one is whole by then.
const LIVE: &str = ".live.mcap";
const DAMAGED: &str = ".damaged.mcap";
const WHOLE: &str = ".mcap";
/// While others measure recordings, or the store cannot be used, it is tried again after this.
const AGAIN_AFTER: Duration = Duration::from_secs(2);

/// Recordings of earlier runs.
#[derive(Debug)]
pub struct Backlog {
    cage: String,
    folder: PathBuf,
    /// Names without ending.
    stems: BTreeSet<String>,
}

impl Backlog {
    /// Looks at the folder, before anything records there.
    pub fn look(cage: &str, folder: PathBuf) -> Self {
        let names = SystemDisk.list(&folder).unwrap_or_else(|error| {
            tracing::warn!(%error, "the folder of recordings cannot be looked at");
            Vec::new()
        });
        let stem = |name: &String| {
            let stem = name.strip_suffix(LIVE).or_else(|| name.strip_suffix(WHOLE))?;
            (!name.ends_with(DAMAGED)).then(|| stem.to_owned())
        };
        Self { cage: cage.into(), folder, stems: names.iter().filter_map(stem).collect() }
    }

    /// Analyses what is not stored. To be called when what a crash left has been finished.
    pub async fn work_off(self, store: &Store, clock: &Arc<dyn Clock>, turns: &Turns) {
        let files = loop {
            match self.unstored(store).await {
                Ok(files) => break files,
                Err(error) if error.is_passing() => tokio::time::sleep(AGAIN_AFTER).await,
                Err(error) => {
                    tracing::error!(%error, "recordings that are not stored yet cannot be looked for");
                    return;
                }
            }
        };
        for file in files {
            self.analyse(store, &**clock, turns, file).await;
        }
    }

    /// Files that are there and not known to be stored, the oldest first.
    async fn unstored(&self, store: &Store) -> Result<Vec<String>, StoreError> {
        let mut reading = store.read().await?;
        let open = recordings::open(&mut reading, &self.cage).await?;
        let mut names: BTreeSet<String> = open.into_iter().map(|recording| recording.file_name).collect();
        names.retain(|name| name.strip_suffix(WHOLE).is_none_or(|stem| self.stems.contains(stem)));
        for stem in &self.stems {
            let name = format!("{stem}{WHOLE}");
            if recordings::of_file(&mut reading, &self.cage, &name).await?.is_none() {
                names.insert(name);
            }
        }
        names.retain(|name| self.folder.join(name).is_file());
        Ok(names.into_iter().collect())
    }

    async fn analyse(&self, store: &Store, clock: &dyn Clock, turns: &Turns, file_name: String) {
        let file = RecordingFile { cage: self.cage.clone(), folder: self.folder.clone(), file_name };
        loop {
            // Whoever asks for an analysis over the API waits for one of these at most.
            if let Ok(_turn) = turns.turn().await {
                let now = UtcMicros(clock.now().utc_ns / 1000);
                match analyse_file(store, &file, None, now).await {
                    Ok(outcome) => {
                        tracing::info!(
                            file = file.file_name,
                            swings = outcome.swings_found,
                            new = outcome.new,
                            "a recording of an earlier run is stored"
                        );
                        return;
                    }
                    Err(AnalyseError::Store(error)) if error.is_passing() => {}
                    Err(error) => {
                        tracing::warn!(file = file.file_name, %error, "not stored; tried again at the next start");
                        return;
                    }
                }
            }
            tokio::time::sleep(AGAIN_AFTER).await;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_whole_or_will_be_is_looked_for_and_nothing_else() {
        let folder = std::env::temp_dir().join(format!("swingd-backlog-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        for name in ["a.mcap", "b.live.mcap", "c.damaged.mcap", "d.mcap.part", "e.csv"] {
            std::fs::write(folder.join(name), "").unwrap();
        }
        let backlog = Backlog::look("north", folder.clone());
        std::fs::remove_dir_all(folder).unwrap();
        assert_eq!(backlog.stems.iter().map(String::as_str).collect::<Vec<_>>(), ["a", "b"]);
    }
}
