//! The commands: files and flags around the pure core. Each gives an exit status and prints results on standard output,
//! words for people on standard error.
//!
//! In reading order: [`analysis`], a recording through the engine;
//! `progress`; `targets`, files that are written whole or not at all; `text_file`; [`config`], file, environment and flags
//! checked; [`command`], the commands by name; [`live`], news as lines; then a file a command: [`replay`], [`track`], [`calibrate`], [`convert`],
//! [`synth`], [`demo`], [`scan`], [`serve`], [`pair`], [`doctor`]; and those
//! of the record, clients of the HTTP API through [`door`] with what `ask` has for all of them and [`groups`] for those of two
//! groups of swings: [`athletes`], [`lessons`],
//! [`swings`], [`compare`], [`report`], [`film`], [`amounts`], [`homework`], [`import`], [`export`], [`erase`],
//! [`ball_results`], [`reanalyse`], [`backup`].

pub mod amounts;
pub mod analysis;
mod ask;
pub mod athletes;
pub mod backup;
pub mod ball_results;
pub mod calibrate;
pub mod command;
pub mod compare;
pub mod config;
pub mod convert;
pub mod demo;
pub mod doctor;
pub mod door;
pub mod erase;
pub mod export;
pub mod film;
pub mod groups;
pub mod homework;
pub mod import;
pub mod lessons;
pub mod live;
pub mod pair;
mod progress;
pub mod reanalyse;
pub mod replay;
pub mod report;
pub mod scan;
pub mod serve;
pub mod swings;
pub mod synth;
mod targets;
mod text_file;
pub mod track;

/// One line of an error and its causes, whatever it holds.
pub fn one_line(error: &dyn std::fmt::Display) -> String {
    let text = format!("{error:#}");
    text.split(['\n', '\r']).map(str::trim).filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")
}
