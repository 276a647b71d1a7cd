use super::story::What;
use super::*;
use crate::cli::config::{Config, ConfigArgs, Places};
use crate::daemon::test_folder::TestFolder;

/// A swing weeks ago and one now: what the whole does in minutes, in seconds.
const SHORT: Story = Story {
    athletes: &[("Kestrel", "both")],
    bats: &[("Ash 33", What::Simulated("ball", 5, 1))],
    homework: &[],
    earlier: &[(21, Scene { athlete: "Kestrel", bat: "Ash 33", side: "right", played: What::Simulated("ball", 3, 1) })],
    live: &[Scene { athlete: "Kestrel", bat: "Ash 33", side: "right", played: What::Simulated("ball", 5, 1) }],
};

fn args(out: Option<PathBuf>) -> DemoArgs {
    DemoArgs { out, units: UnitsArg::Metric, speed: 1000.0, once: true, no_open: true }
}

#[test]
fn a_lesson_is_played_beside_an_earlier_one_and_measured() {
    let folder = TestFolder::new("demo");
    let mut out = Vec::new();
    tell(&SHORT, &args(Some(folder.path("deeper"))), &mut out).unwrap();
    let out = String::from_utf8(out).unwrap();
    assert!(out.contains("/athletes ") && out.contains("swing 1   final"), "{out}");
    assert!(out.contains("-lesson.mcap: ") && out.contains(" 1 swing"), "{out}");
    let written = |name| std::fs::read_to_string(folder.path("deeper").join(name)).unwrap();
    assert!(written("lesson.html").starts_with("<!DOCTYPE html>") && written("lesson.svg").starts_with("<svg"));
    let data_folder = Some(folder.path("deeper").join("data").display().to_string());
    let config = ConfigArgs { data_folder, ..ConfigArgs::default() };
    let door = Door::open(&Config::load(&config, [], &Places::default()).unwrap().0).unwrap();
    let swings = door.get("/v1/swings?side=right").unwrap().json().unwrap();
    let items = swings["items"].as_array().unwrap();
    assert_eq!(items.len(), 2, "{swings}");
    assert!(items.iter().all(|swing| swing["bat_id"] == items[0]["bat_id"] && swing["bat_id"].is_string()), "{swings}");
    for swing in items {
        let path = format!("/v1/swings/{}/if-squared-up", swing["id"].as_str().unwrap());
        let said = door.get(&path).unwrap().json().unwrap();
        assert_eq!((&said["why_not"], &said["assumed"]["bat"]), (&serde_json::Value::Null, &"own".into()), "{said}");
    }
}

#[test]
fn without_a_folder_there_is_the_table_alone() {
    let mut out = Vec::new();
    tell(&Story { earlier: &[], ..SHORT }, &args(None), &mut out).unwrap();
    let out = String::from_utf8(out).unwrap();
    assert!(out.contains(" 1 swing") && !out.contains("lesson.html"), "{out}");
}
