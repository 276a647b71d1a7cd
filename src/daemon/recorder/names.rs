//! What the files of a recorder are called: `20261125T161018Z-knob.mcap`, when it began (UTC) and the sensor; `-2` and
//! so on behind it where that is taken; `.live.mcap` while it is written.

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use super::disk::Disk;

/// The ending of a file that is being written, or was when the program ended.
pub(super) const LIVE: &str = ".live.mcap";

/// The ending of a file that is whole.
pub(super) const WHOLE: &str = ".mcap";

/// The ending of a file that is becoming a whole one.
pub(super) const PART: &str = ".mcap.part";

/// The ending of a live file that could not be read to its end.
pub(super) const DAMAGED: &str = ".damaged.mcap";

/// How many names are tried; more recordings of one sensor in one second there are not.
const MOST_NAMES: u32 = 1000;

/// The longest part of a name that is from the sensor.
const LONGEST_SLUG: usize = 40;

/// A file's name without its ending, for a sensor at a time.
pub fn stem(sensor: &str, utc_ns: i64) -> String {
    let time = jiff::Timestamp::from_nanosecond(i128::from(utc_ns)).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
    format!("{}-{}", time.strftime("%Y%m%dT%H%M%SZ"), slug(sensor))
}

/// When a recording began, µs of UTC, as its name says to the second; `None` for a name that says nothing of it.
pub fn begun_utc_us(stem: &str) -> Option<i64> {
    let time = stem.split('-').next()?;
    let begun = jiff::civil::DateTime::strptime("%Y%m%dT%H%M%SZ", time).ok()?;
    Some(jiff::tz::TimeZone::UTC.to_timestamp(begun).ok()?.as_microsecond())
}

/// A sensor's name as every file system takes it.
fn slug(sensor: &str) -> String {
    let simple = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    let text: String = sensor.chars().map(simple).collect();
    let words = text.split('-').filter(|word| !word.is_empty());
    let slug: String = words.collect::<Vec<_>>().join("-").chars().take(LONGEST_SLUG).collect();
    let slug = slug.trim_end_matches('-');
    if slug.is_empty() { "sensor".to_owned() } else { slug.to_owned() }
}

/// The stem and those to try after it.
fn candidates(stem: &str) -> impl Iterator<Item = String> {
    let numbered = (2..=MOST_NAMES).map(move |number| format!("{stem}-{number}"));
    std::iter::once(stem.to_owned()).chain(numbered)
}

fn none_left() -> io::Error {
    io::Error::new(ErrorKind::AlreadyExists, format!("{MOST_NAMES} files of that name are there"))
}

/// Creates a live file under a stem of which there is no file yet, whole or live.
pub(super) fn create_live<D: Disk>(disk: &D, folder: &Path, stem: &str) -> io::Result<(String, D::File)> {
    let there = disk.list(folder)?;
    let is_free = |stem: &String| !there.iter().any(|name| is_of(name, stem));
    for stem in candidates(stem).filter(is_free) {
        match disk.create_new(&folder.join(format!("{stem}{LIVE}"))) {
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
            created => return created.map(|file| (stem, file)),
        }
    }
    Err(none_left())
}

fn is_of(name: &str, stem: &str) -> bool {
    name.strip_prefix(stem).is_some_and(|ending| [LIVE, WHOLE, PART, DAMAGED].contains(&ending))
}

/// Renames a file to the first name of that ending that is free; that name.
pub(super) fn rename_free<D: Disk>(
    disk: &D,
    from: &Path,
    folder: &Path,
    stem: &str,
    ending: &str,
) -> io::Result<PathBuf> {
    for stem in candidates(stem) {
        let to = folder.join(format!("{stem}{ending}"));
        match disk.rename(from, &to) {
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
            renamed => return renamed.map(|()| to),
        }
    }
    Err(none_left())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_tells_when_and_which() {
        assert_eq!(stem("Knob 7 (left)", 1_795_623_018_000_000_000), "20261125T161018Z-knob-7-left");
        assert_eq!(begun_utc_us("20261125T161018Z-knob-7-left-2"), Some(1_795_623_018_000_000));
        assert_eq!(begun_utc_us("practice"), None);
        assert_eq!(stem("../../etc", 0), "19700101T000000Z-etc");
        assert_eq!(stem("ñ/", i64::MIN), "16770921T001243Z-sensor");
        assert_eq!(slug(&"a".repeat(200)).len(), LONGEST_SLUG);
    }
}
