use super::*;
use crate::engine::profile::Profile;
use clap::Parser;

#[derive(Debug, clap::Parser)]
struct Command {
    #[command(flatten)]
    args: Args,
}

fn parsed(line: &str) -> Result<Args, clap::Error> {
    Command::try_parse_from(line.split_whitespace()).map(|command| command.args)
}

#[test]
fn every_kind_and_preset_that_is_offered_is_understood() {
    for kind in kind_names() {
        for preset in preset_names() {
            let args = parsed(&format!("synth {kind} --preset {preset} --out x")).expect("accepted");
            assert!(args.scenario(1).is_ok());
        }
    }
    for bad in ["synth homerun --out x", "synth ball --preset best --out x", "synth ball --out x --lost-share 2"] {
        assert!(parsed(bad).is_err(), "{bad}");
    }
}

#[test]
fn files_hold_the_recording_its_profile_and_its_truth() {
    let directory = std::env::temp_dir().join(format!("swingd-synth-{}", std::process::id()));
    let line = format!("synth tap-plate --preset slow --seed 7 --count 2 --out {}", directory.display());
    let stems = run(&parsed(&line).expect("accepted"), &mut Vec::new()).expect("written");
    assert_eq!(stems.len(), 2);
    for (stem, seed) in stems.iter().zip([7u64, 8]) {
        let read = |ending: &str| fs::read_to_string(stem.with_extension(ending)).expect("a file");
        let truth: serde_json::Value = serde_json::from_str(&read("truth.json")).expect("JSON");
        assert_eq!(truth["seed"], seed);
        assert_eq!(truth["events"][0]["label"], "tap-plate");
        assert_eq!(truth["samples"], read("csv").lines().count() - 1);
        let scenario = Scenario::new(Kind::Event(EventKind::TapPlate), Preset::Slow, seed);
        let (profile, warnings) = Profile::parse(&read("toml")).expect("a profile");
        assert!(warnings.is_empty(), "{warnings:?}");
        assert_eq!(profile, scenario.run().profile);
    }
    fs::remove_dir_all(&directory).expect("removed");
}
