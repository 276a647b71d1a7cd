//! The samples of an MCAP recording, in batches.

use std::io::Read;

use super::entries::{Entry, McapEntries};
use crate::engine::sample::{IssueKind, IssueLog, Sample};
use crate::engine::wire::{SampleBatches, WireError};

/// How many entries that are no samples were read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct OtherEntries {
    /// Verbatim packets.
    pub packets: u64,
    /// Messages of who is at the plate.
    pub at_the_plate: u64,
    /// Profiles after the first samples, which are not used.
    pub late_profiles: u64,
}

/// Reads the samples of a recording, and the profile before them.
pub struct McapReader<R: Read> {
    entries: McapEntries<R>,
    profile_toml: Option<String>,
    /// The samples of the first message that has any.
    first: Vec<Sample>,
    others: OtherEntries,
}

impl<R: Read> McapReader<R> {
    /// Reads up to the first samples; the last profile before them counts.
    pub fn new(source: R) -> Result<Self, WireError> {
        let entries = McapEntries::new(source);
        let mut reader = Self { entries, profile_toml: None, first: Vec::new(), others: OtherEntries::default() };
        loop {
            match reader.entries.next_entry()? {
                Some(Entry::Samples { samples, .. }) => {
                    reader.first = samples;
                    return Ok(reader);
                }
                Some(Entry::Profile { toml, .. }) => reader.profile_toml = Some(toml),
                Some(other) => reader.count(&other),
                None => return Err(reader.no_sample()),
            }
        }
    }

    /// The text of the profile's TOML file, if there is one.
    pub fn profile_toml(&self) -> Option<&str> {
        self.profile_toml.as_deref()
    }

    /// How many entries that are no samples were read so far.
    pub fn others(&self) -> OtherEntries {
        self.others
    }

    fn count(&mut self, entry: &Entry) {
        match entry {
            Entry::Samples { .. } => {}
            Entry::Packet(_) => self.others.packets += 1,
            Entry::AtThePlate { .. } => self.others.at_the_plate += 1,
            Entry::Profile { .. } => self.others.late_profiles += 1,
            Entry::Device { .. } | Entry::Link { .. } => {}
        }
    }

    fn no_sample(&self) -> WireError {
        let found = match self.entries.issues().kept().first() {
            Some(issue) if issue.kind == IssueKind::Truncated => "the file ends before its first sample".to_owned(),
            Some(issue) => issue.kind.to_string(),
            None => "the file has no sample".to_owned(),
        };
        WireError::NotMcap { record: self.entries.message().max(1), found }
    }
}

impl<R: Read> SampleBatches for McapReader<R> {
    fn read_batch(&mut self, batch: &mut Vec<Sample>, most: usize) -> Result<bool, WireError> {
        batch.clear();
        batch.append(&mut self.first);
        while batch.len() < most {
            match self.entries.next_entry()? {
                Some(Entry::Samples { samples, .. }) => batch.extend(samples),
                Some(other) => self.count(&other),
                None => break,
            }
        }
        Ok(!batch.is_empty())
    }

    fn issues(&self) -> &IssueLog {
        self.entries.issues()
    }
}
