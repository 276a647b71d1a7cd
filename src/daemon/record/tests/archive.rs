use super::world::*;
use crate::daemon::record::archive::{FOLDER, archive};
use crate::daemon::store::StoreError;
use crate::daemon::store::test_store::on_each;
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::Read;
use uuid::Uuid;

fn unpacked(path: &std::path::Path) -> BTreeMap<String, Vec<u8>> {
    let mut zip = zip::ZipArchive::new(std::fs::File::open(path).unwrap()).unwrap();
    let mut all = BTreeMap::new();
    for at in 0..zip.len() {
        let mut file = zip.by_index(at).unwrap();
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).unwrap();
        let name = file.name().unwrap().into_owned();
        all.insert(name, bytes);
    }
    all
}

#[test]
fn an_archive_has_all_of_one_and_nothing_of_another() {
    on_each(async |test| {
        let world = World::new(test).await;
        let made = archive(&world.test.store, &world.test.folder, CAGE, world.wren).await.unwrap();
        let files = unpacked(&made.path());
        let json = |name: &str| -> Value { serde_json::from_slice(&files[name]).unwrap() };
        assert_eq!(json("athlete.json")["nickname"], WRENS[0]);
        assert_eq!(json("consents.json")[0]["given_by"], WRENS[2]);
        let homework = &json("homework.json")[0];
        let said = (&homework["drill"], &homework["given_utc"], &homework["ended_utc"]);
        assert_eq!(said, (&WRENS[4].into(), &"2026-11-25T16:10:18.000000Z".into(), &Value::Null));
        let swings = json("swings.json");
        assert_eq!(swings.as_array().unwrap().len(), 3);
        assert_eq!(swings[0]["analyses"][0]["revision"], 1);
        assert_eq!(swings[0]["contact_utc"], "2026-11-25T15:10:18.100000Z");
        let table = String::from_utf8(files["swings.csv"].clone()).unwrap();
        assert_eq!(table.lines().count(), 4);
        assert!(table.starts_with("id,contact_utc,"), "{table}");
        assert_eq!(files.keys().filter(|name| name.starts_with("curves/")).count(), 3);
        for (name, bytes) in &files {
            let has = |word: &&str| bytes.windows(word.len()).any(|window| window == word.as_bytes());
            assert_eq!(TERNS.iter().chain(&[ELSEWHERE]).find(|word| has(word)), None, "{name}");
        }
        let shared = world.test.folder.join("shared.mcap");
        std::fs::write(&shared, &files[&format!("recordings/{SHARED}")]).unwrap();
        assert_eq!(content(&shared), (vec![0, 2], vec![WRENS[0].into(), WRENS[0].into()]));
        assert!(files.contains_key("recordings/import-1.mcap") && files.contains_key("README.txt"));
        let motions: Vec<_> = files.keys().filter(|name| name.ends_with("_motion.tsv")).collect();
        assert_eq!(motions.len(), 2, "{motions:?}");
        let rows: usize = motions.iter().map(|name| files[*name].iter().filter(|byte| **byte == b'\n').count()).sum();
        assert_eq!(rows, 3 * SAMPLES / 4);
        drop(made);
        assert_eq!(std::fs::read_dir(world.test.folder.join(FOLDER)).unwrap().count(), 0);
        let nobody = archive(&world.test.store, &world.test.folder, CAGE, Uuid::now_v7()).await.unwrap_err();
        let is_none = matches!(nobody, crate::daemon::record::archive::ArchiveError::Store(StoreError::NoSuch { .. }));
        assert!(is_none);
    });
}
