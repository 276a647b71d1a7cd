//! What a machine can check of the crate's shape: see the rules at the top of `src/lib.rs`.

use std::fs::read_to_string;
use std::path::{Path, PathBuf};

/// What computes and nothing else.
const PURE: [&str; 7] =
    ["src/engine", "src/sim", "src/compare", "src/ball", "src/film", "src/report", "src/quantile.rs"];

/// What pure code does not name: files, threads, clocks, the environment, the terminal, and maps whose order is random.
const IMPURE: [&str; 16] = [
    "std::fs",
    "std::thread",
    "std::env",
    "std::net",
    "std::process",
    "std::time",
    "Instant::now",
    "SystemTime",
    "tokio",
    "println!",
    "dbg!",
    "static mut",
    "thread_local!",
    "HashMap",
    "HashSet",
    "crate::daemon",
];

/// Which folder may not name which modules.
const DOWNSTREAM: [(&str, &[&str]); 7] = [
    ("src/engine", &["crate::sim", "crate::compare", "crate::ball", "crate::film", "crate::report", "crate::cli"]),
    ("src/compare", &["crate::sim", "crate::ball", "crate::film", "crate::report", "crate::cli"]),
    ("src/ball", &["crate::sim", "crate::compare", "crate::film", "crate::report", "crate::cli"]),
    ("src/film", &["crate::sim", "crate::compare", "crate::ball", "crate::report", "crate::cli"]),
    ("src/sim", &["crate::report", "crate::cli"]),
    ("src/report", &["crate::sim", "crate::cli"]),
    ("src/daemon", &["crate::sim", "crate::cli"]),
];

const LONGEST_FILE: usize = 500;
const LONGEST_FUNCTION: usize = 70;
const LONGEST_MAIN: usize = 60;

#[test]
fn pure_folders_name_nothing_impure() {
    let breaches: Vec<String> = PURE.iter().flat_map(|folder| naming(folder, &IMPURE)).collect();
    assert!(breaches.is_empty(), "{}", breaches.join("\n"));
}

#[test]
fn no_module_names_one_downstream_of_it() {
    let breaches: Vec<String> = DOWNSTREAM.iter().flat_map(|(folder, words)| naming(folder, words)).collect();
    assert!(breaches.is_empty(), "{}", breaches.join("\n"));
}

#[test]
fn files_are_short() {
    let folders = ["src", "tests", "examples", "benches"];
    let all = folders.iter().flat_map(|folder| rust_files(folder));
    let long: Vec<String> = all
        .map(|file| (read(&file).lines().count(), file))
        .filter(|(lines, file)| {
            let is_main = file.ends_with("src/main.rs");
            *lines > if is_main { LONGEST_MAIN } else { LONGEST_FILE }
        })
        .map(|(lines, file)| format!("{}: {lines} lines", file.display()))
        .collect();
    assert!(long.is_empty(), "{}", long.join("\n"));
}

#[test]
fn functions_are_short() {
    let long: Vec<String> = ["src", "tests", "examples", "benches"]
        .iter()
        .flat_map(|folder| rust_files(folder))
        .flat_map(|file| {
            let text = read(&file);
            let long = functions(&text).into_iter().filter(|f| f.2 > LONGEST_FUNCTION);
            long.map(|(line, head, lines)| format!("{}:{line}: {lines} lines: {head}", file.display()))
                .collect::<Vec<_>>()
        })
        .collect();
    assert!(long.is_empty(), "{}", long.join("\n"));
}

#[test]
fn a_test_that_is_not_run_by_itself_names_the_command_that_runs_it() {
    let all = ["src", "tests", "examples", "benches"].into_iter().flat_map(rust_files);
    let silent: Vec<String> = all
        .flat_map(|file| {
            let text = read(&file);
            let lines = text.lines().enumerate().filter(|(_, line)| line.trim_start().starts_with("#[ignore"));
            let silent = lines.filter(|(_, line)| !line.contains("`cargo test "));
            silent.map(|(k, _)| format!("{}:{}", file.display(), k + 1)).collect::<Vec<_>>()
        })
        .collect();
    assert!(silent.is_empty(), "{}", silent.join("\n"));
}

#[test]
fn the_measure_of_functions_sees_them() {
    let text = "impl A {\n    pub fn one(&self) {\n        two\n    }\n}\nfn three() {}\nconst fn four(\n    x: u8,\n) -> u8 {\n    x\n}\n";
    let lengths: Vec<_> = functions(text).iter().map(|f| (f.0, f.2)).collect();
    assert_eq!(lengths, [(2, 3), (6, 1), (7, 5)]);
}

/// Places in a folder's code, comments left out, where one of the words stands.
fn naming(folder: &str, words: &[&str]) -> Vec<String> {
    let places = |file: PathBuf| {
        let text = read(&file);
        let hit = |line: &str| words.iter().find(|word| line.contains(**word)).copied();
        text.lines()
            .enumerate()
            .filter(|(_, line)| !line.trim_start().starts_with("//"))
            .filter_map(|(i, line)| Some((i + 1, hit(line)?)))
            .map(|(line, word)| format!("{}:{line}: {word}", file.display()))
            .collect::<Vec<_>>()
    };
    rust_files(folder).into_iter().flat_map(places).collect()
}

/// Line, first line and length of every function; the text is as rustfmt leaves it, so that a function ends with the
/// first brace that is indented as it is.
fn functions(text: &str) -> Vec<(usize, String, usize)> {
    let lines: Vec<&str> = text.lines().collect();
    let indent = |line: &str| line.len() - line.trim_start().len();
    let is_head = |line: &str| {
        let mut words = line.trim_start().split(' ');
        let before = ["pub", "const", "async", "pub(super)", "pub(crate)"];
        words.find(|word| !before.contains(word)) == Some("fn")
    };
    let length = |at: usize| {
        let closes = |line: &&str| indent(line) == indent(lines[at]) && line.trim_start() == "}";
        let one_line = lines[at].ends_with('}') || lines[at].ends_with(';');
        let rest = lines[at..].iter().position(closes);
        if one_line { Some(1) } else { rest.map(|k| k + 1) }
    };
    (0..lines.len())
        .filter(|&at| is_head(lines[at]))
        .filter_map(|at| Some((at + 1, lines[at].trim().to_owned(), length(at)?)))
        .collect()
}

fn rust_files(folder: &str) -> Vec<PathBuf> {
    let (mut found, place) = (Vec::new(), Path::new(env!("CARGO_MANIFEST_DIR")).join(folder));
    if place.is_file() {
        found.push(place);
    } else {
        collect(&place, &mut found);
    }
    assert!(!found.is_empty(), "{folder}: expected Rust files in it");
    found
}

fn collect(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            collect(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

fn read(file: &Path) -> String {
    read_to_string(file).expect("text")
}
