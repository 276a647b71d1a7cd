//! Files that the service reads: profiles and descriptors.

use super::Check;
use crate::cli::config::Sensors;
use crate::cli::text_file::text_of;
use crate::engine::device::descriptor::Descriptor;
use crate::engine::profile::Profile;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// How many files of a folder are read.
const MOST_FILES: usize = 1000;

/// The profile of all sensors, and those of single ones.
pub(super) fn profiles(sensors: &Sensors) -> Check {
    let parse = |text: &str| -> Result<Vec<String>, String> {
        let (_, warnings) = Profile::parse(text).map_err(|error| error.to_string())?;
        Ok(warnings.iter().map(ToString::to_string).collect())
    };
    let mut read = Files::default();
    if let Some(path) = &sensors.profile.value {
        read.file(path, &parse);
    }
    read.folder(sensors.profiles.value.as_deref(), &parse);
    read.check("profiles")
}

/// The descriptors beside those that come with the program.
pub(super) fn descriptors(sensors: &Sensors) -> Check {
    let mut read = Files::default();
    read.folder(sensors.descriptors.value.as_deref(), &|text| match Descriptor::parse(text) {
        Ok(_) => Ok(Vec::new()),
        Err(error) => Err(error.to_string()),
    });
    read.check("descriptors")
}

type Parse<'a> = &'a dyn Fn(&str) -> Result<Vec<String>, String>;

/// What reading at most [`MOST_FILES`] files gave.
#[derive(Default)]
struct Files {
    count: usize,
    problems: Vec<String>,
    warnings: Vec<String>,
}

impl Files {
    fn file(&mut self, path: &Path, parse: Parse<'_>) {
        self.count += 1;
        let named = |what: String| format!("{}: {what}", path.display());
        match text_of(path).map_err(|error| error.to_string()).and_then(|text| parse(&text)) {
            Ok(warnings) => self.warnings.extend(warnings.into_iter().map(named)),
            Err(problem) => self.problems.push(named(problem)),
        }
    }

    fn folder(&mut self, folder: Option<&Path>, parse: Parse<'_>) {
        let Some(folder) = folder else { return };
        match toml_files(folder) {
            Err(error) => self.problems.push(format!("{}: {error}", folder.display())),
            Ok(files) if files.len() > MOST_FILES => {
                self.problems.push(format!("{}: more than {MOST_FILES} .toml files", folder.display()));
            }
            Ok(files) => files.iter().for_each(|path| self.file(path, parse)),
        }
    }

    /// The first thing that is wrong, and how much more there is.
    fn check(&self, name: &'static str) -> Check {
        let first_of = |found: &[String], first: &str| match found.len() {
            0 | 1 => first.to_owned(),
            more => format!("{first} (and {} more)", more - 1),
        };
        match (self.problems.first(), self.warnings.first()) {
            (Some(first), _) => Check::problem(name, first_of(&self.problems, first), "correct the file"),
            (None, Some(first)) => Check::warning(name, first_of(&self.warnings, first), "look whether it is meant so"),
            (None, None) if self.count == 0 => Check::ok(name, "none given"),
            (None, None) => Check::ok(name, format!("{} read", self.count)),
        }
    }
}

/// In the order of their names, at most one more than are read.
fn toml_files(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let is_toml = |path: &PathBuf| path.extension().is_some_and(|ending| ending == "toml");
    let paths = fs::read_dir(folder)?.map(|entry| entry.map(|entry| entry.path()));
    let files = paths.filter(|path| path.as_ref().map_or(true, is_toml)).take(MOST_FILES + 1);
    let mut files = files.collect::<io::Result<Vec<_>>>()?;
    files.sort();
    Ok(files)
}
