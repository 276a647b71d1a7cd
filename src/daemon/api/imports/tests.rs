use super::super::test_api::{Answer, TestApi, on_each};
use crate::daemon::files;
use crate::daemon::record::{Arriving, finish_imports};
use crate::daemon::store::queries::recordings;
use crate::daemon::store::rows::{self, UtcMicros};
use crate::engine::wire::csv::CsvWriter;
use crate::engine::wire::mcap::{Entry, McapWriter, Packet};
use axum::body::Body;
use axum::http::{Request, header};
use futures::stream;
use serde_json::{Value, json};
use sqlx::Row;
use std::io::Cursor;
use std::path::{Path, PathBuf};

/// The bundled lesson up to here holds two swings, s.
const UNTIL_S: f64 = 45.0;
pub const SWINGS: usize = 2;
pub const BEGUN: &str = "2026-11-20T17:30:00.000000Z";
const BOUNDARY: &str = "between-parts";

/// The first entries of the lesson that comes with the program; somebody else is at the plate in it.
pub fn lesson() -> Vec<Entry> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("replay-data/lesson.mcap");
    let (mut open, mut entries) = (files::open(&path).unwrap(), Vec::new());
    while let Some(entry) = open.next_entry().unwrap() {
        let is_late = matches!(&entry, Entry::Samples { samples, .. } if samples[0].time.0 > UNTIL_S);
        if is_late {
            break;
        }
        entries.push(entry);
    }
    assert!(
        entries.iter().any(|entry| matches!(entry, Entry::AtThePlate { context, .. } if context.nickname.is_some()))
    );
    entries
}

fn first_sample_s(entry: &Entry) -> Option<f64> {
    match entry {
        Entry::Samples { samples, .. } => Some(samples[0].time.0),
        _ => None,
    }
}

pub fn mcap(entries: &[Entry]) -> Vec<u8> {
    let mut writer = McapWriter::new(Cursor::new(Vec::new()), "knob").unwrap();
    entries.iter().for_each(|entry| writer.write_entry(entry).unwrap());
    writer.finish().unwrap().into_inner()
}

/// Samples and profile.
pub fn csv(entries: &[Entry]) -> (Vec<u8>, String) {
    let (mut writer, mut profile) = (CsvWriter::new(Vec::new(), false).unwrap(), String::new());
    for entry in entries {
        match entry {
            Entry::Samples { samples, .. } => writer.write(samples).unwrap(),
            Entry::Profile { toml, .. } => profile.clone_from(toml),
            _ => {}
        }
    }
    (writer.finish().unwrap(), profile)
}

fn body(parts: &[(&str, &str, &[u8])]) -> Vec<u8> {
    let mut body = Vec::new();
    for (part, name, bytes) in parts {
        let head = format!(
            "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{part}\"; filename=\"{name}\"\r\n\
             Content-Type: application/octet-stream\r\n\r\n"
        );
        body.extend_from_slice(head.as_bytes());
        body.extend_from_slice(bytes);
        body.extend_from_slice(b"\r\n");
    }
    body.extend_from_slice(format!("--{BOUNDARY}--\r\n").as_bytes());
    body
}

pub struct Cage {
    pub api: TestApi,
    pub wren: String,
    pub tern: String,
}

impl Cage {
    pub async fn new(api: TestApi) -> Self {
        std::fs::create_dir_all(api.api.data_folder.join("recordings")).unwrap();
        let athlete = async |nickname: &str| {
            let made = api.post("/v1/athletes", json!({"nickname": nickname, "bats": "both"})).await;
            assert_eq!(made.status, 201, "{:?}", made.json);
            made.json["id"].as_str().unwrap().to_owned()
        };
        let (wren, tern) = (athlete("Wren").await, athlete("Tern").await);
        Self { api, wren, tern }
    }

    pub async fn import(&self, params: &str, parts: &[(&str, &str, &[u8])]) -> Answer {
        let path = format!("/v1/recordings?athlete={}{params}", self.wren);
        let kind = format!("multipart/form-data; boundary={BOUNDARY}");
        self.api.send(Request::post(path).header(header::CONTENT_TYPE, kind).body(body(parts).into()).unwrap()).await
    }

    pub fn folder(&self) -> PathBuf {
        self.api.api.data_folder.join("recordings")
    }

    pub fn files(&self) -> Vec<String> {
        let name = |entry: std::io::Result<std::fs::DirEntry>| entry.unwrap().file_name().into_string().unwrap();
        let mut names: Vec<_> = std::fs::read_dir(self.folder()).unwrap().map(name).collect();
        names.sort();
        names
    }

    pub async fn list(&self, query: &str) -> Vec<Value> {
        let answer = self.api.get(&format!("/v1/recordings{query}")).await;
        assert_eq!(answer.status, 200, "{:?}", answer.json);
        answer.json["items"].as_array().unwrap().clone()
    }

    /// What the store says of each swing: owner, occasion, drill, side, contact, mark, note, revision.
    pub async fn swings(
        &self,
    ) -> Vec<(Option<String>, String, Option<String>, Option<String>, i64, String, String, i64)> {
        let sql = "SELECT swings.*, lessons.occasion, rounds.drill FROM swings
             LEFT JOIN lessons ON lessons.id = swings.lesson_id LEFT JOIN rounds ON rounds.id = swings.round_id
             ORDER BY contact_utc_us";
        let rows = sqlx::query(sql).fetch_all(&mut *self.api.api.store.read().await.unwrap()).await.unwrap();
        let swing = |row: &sqlx::any::AnyRow| {
            (
                row.get("athlete_id"),
                row.get::<Option<String>, _>("occasion").unwrap_or_default(),
                row.get("drill"),
                row.get("side"),
                row.get("contact_utc_us"),
                row.get("mark"),
                row.get("note"),
                row.get("revision"),
            )
        };
        rows.iter().map(swing).collect()
    }

    pub async fn count(&self, table: &'static str) -> i64 {
        let sql = sqlx::AssertSqlSafe(format!("SELECT COUNT(*) FROM {table}"));
        let row = sqlx::query(sql).fetch_one(&mut *self.api.api.store.read().await.unwrap()).await.unwrap();
        row.get(0)
    }

    async fn nothing_is_left(&self) {
        assert_eq!(self.files(), [""; 0]);
        for table in ["recordings", "lessons", "rounds", "swings"] {
            assert_eq!(self.count(table).await, 0, "{table}");
        }
    }
}

#[test]
fn a_recording_from_elsewhere_becomes_practice_of_its_athlete_once() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let bytes = mcap(&lesson());
        let said = format!("&drill=high+tee&ball_source=tee&side=left&begun={BEGUN}");
        let made = cage.import(&said, &[("recording", "C:\\hall\\tuesday.mcap", &bytes)]).await;
        assert_eq!(made.status, 201, "{:?}", made.json);
        let (recording, outcome) = (&made.json["recording"], &made.json["outcome"]);
        assert_eq!((&outcome["swings_found"], &outcome["new"]), (&json!(SWINGS), &json!(SWINGS)));
        assert_eq!(recording["imported_name"], "tuesday.mcap");
        assert_eq!((&recording["state"], &recording["origin"]), (&json!("stored"), &json!("import")));
        assert_eq!((&recording["begun"], &recording["athlete_id"]), (&json!(BEGUN), &json!(cage.wren)));
        assert_eq!(
            (&recording["samples"], &recording["ended"]),
            (&json!(44_300), &json!("2026-11-20T17:30:44.299000Z"))
        );
        let swings = cage.swings().await;
        assert_eq!(swings.len(), SWINGS);
        for (owner, occasion, drill, side, ..) in &swings {
            let owner = (owner.as_deref(), occasion.as_str(), drill.as_deref(), side.as_deref());
            assert_eq!(owner, (Some(&*cage.wren), "practice", Some("high tee"), Some("left")));
        }
        // The first sample is of `begun`; lesson.expected.json has the first contact at 30.8743 s of the sensor's clock.
        let begun_us = BEGUN.parse::<jiff::Timestamp>().unwrap().as_microsecond();
        let first_s = lesson().iter().find_map(first_sample_s).unwrap();
        let expected_us = ((30.874_347 - first_s) * 1e6) as i64;
        assert!((swings[0].4 - begun_us - expected_us).abs() < 5000, "{} {first_s}", swings[0].4 - begun_us);

        let name = recording["file_name"].as_str().unwrap();
        assert_eq!(
            (cage.files(), name.starts_with("20261120T173000Z-import-")),
            (vec![name.to_owned()], true),
            "{name}"
        );
        let path = made.header("location").unwrap();
        let fetched = cage.api.get(&format!("{path}/file")).await;
        assert_eq!((fetched.status, fetched.bytes == bytes), (200, true));
        assert_eq!(fetched.header("content-type"), Some("application/octet-stream"));
        assert_eq!(fetched.header("content-disposition"), Some(&*format!("attachment; filename=\"{name}\"")));
        assert_eq!(cage.api.get(path).await.header("etag"), made.header("etag"));

        let again = cage.import(&said, &[("recording", "other.mcap", &bytes)]).await;
        let names_it = again.json["detail"].as_str().unwrap().contains(recording["id"].as_str().unwrap());
        assert_eq!((again.status, names_it), (409, true), "{:?}", again.json);
        assert_eq!((cage.files().len(), cage.count("recordings").await), (1, 1));
    });
}

#[test]
fn a_csv_needs_its_begin_and_keeps_its_profile_beside_it() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let (bytes, profile) = csv(&lesson());
        let parts: [(&str, &str, &[u8]); 2] =
            [("profile", "p.toml", profile.as_bytes()), ("recording", "home.csv", &bytes)];
        let refused = cage.import("", &parts).await;
        assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (422, &json!("/begun")));
        cage.nothing_is_left().await;
        let made = cage.import(&format!("&begun={BEGUN}&pitch_speed_mps=20"), &parts).await;
        assert_eq!((made.status, &made.json["outcome"]["new"]), (201, &json!(SWINGS)), "{:?}", made.json);
        let csv_name = made.json["recording"]["file_name"].as_str().unwrap().to_owned();
        let toml_name = csv_name.replace(".csv", ".toml");
        assert_eq!(cage.files(), [csv_name.clone(), toml_name.clone()]);
        assert_eq!(std::fs::read_to_string(cage.folder().join(&toml_name)).unwrap(), profile);
        let fetched = cage.api.get(&format!("{}/file", made.header("location").unwrap())).await;
        assert_eq!((fetched.header("content-type"), fetched.bytes == bytes), (Some("text/csv"), true));

        // The same practice, another file of it: no second lesson, another round.
        let (part, _) = csv(&lesson()[..lesson().len() / 2]);
        let made = cage.import("&begun=2026-11-20T17:30:01Z", &[("recording", "part.csv", &part)]).await;
        assert_eq!(made.status, 201, "{:?}", made.json);
        assert_eq!((cage.count("lessons").await, cage.count("rounds").await), (1, 2));
    });
}

#[test]
fn a_recording_that_says_when_it_was_made_is_believed() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let mut entries = lesson();
        entries.truncate(200);
        let received_utc_ns = 1_795_623_018_000_000_000;
        let (sensor, characteristic) = ("knob".to_owned(), "2a00".to_owned());
        entries.push(Entry::Packet(Packet { received_utc_ns, sensor, characteristic, bytes: vec![1] }));
        let made = cage.import(&format!("&begun={BEGUN}"), &[("recording", "a.mcap", &mcap(&entries))]).await;
        assert_eq!((made.status, &made.json["recording"]["begun"]), (201, &json!("2026-11-25T16:10:18.000000Z")));
        assert!(made.json["outcome"]["notes"].to_string().contains("cannot be read"), "{:?}", made.json);
    });
}

#[test]
fn what_cannot_be_read_is_refused_with_its_place_and_leaves_nothing() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let whole = mcap(&lesson()[..40]);
        let bomb: Vec<u8> = [whole[..8].to_vec(), vec![6], u64::MAX.to_le_bytes().to_vec(), vec![0xff; 5000]].concat();
        let cases: [(&[u8], &str); 7] = [
            (b"", "upload: line 1: the file is empty"),
            (&whole[..30], "upload: record 1: the file ends before its first sample"),
            (&bomb, "upload: record 1: "),
            (b"time,x\n1,2\n", "upload: line 1: the column `t_s` is missing"),
            (b"PK\x03\x04\x14\x00\x00\x00", "upload: line 1: this is not CSV"),
            (&[0u8; 100_000], "upload: line 1: this is not CSV"),
            (
                b"t_s,gyro_x_radps,gyro_y_radps,gyro_z_radps,accel_x_mps2,accel_y_mps2,accel_z_mps2\nx,1,2,3,4,5,6\n",
                "upload: line 2: none of the 1 rows can be used",
            ),
        ];
        for (bytes, told) in cases {
            let refused = cage.import(&format!("&begun={BEGUN}"), &[("recording", "upload", bytes)]).await;
            let detail = refused.json["detail"].as_str().unwrap_or_default();
            assert_eq!(
                (refused.status, &refused.json["errors"][0]["pointer"]),
                (422, &json!("/recording")),
                "{detail}"
            );
            assert!(detail.contains(told) && !detail.contains(&*cage.folder().to_string_lossy()), "{detail}");
            cage.nothing_is_left().await;
        }
    });
}

#[test]
fn a_request_that_is_wrong_is_told_so_and_leaves_nothing() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let (csv, _) = csv(&lesson()[..40]);
        let begun = format!("&begun={BEGUN}");
        let missing = "&bat=01890a5d-ac96-774b-bcce-b302099a8057";
        let both: [(&str, &str, &[u8]); 2] = [("recording", "a.mcap", &mcap(&lesson()[..40])), ("profile", "", b"")];
        let file: [(&str, &str, &[u8]); 1] = [("recording", "a.csv", &csv)];
        let bad: [(&str, &str, &[u8]); 2] = [file[0], ("profile", "a.toml", b"[bat]\nlength_m = 5.0\n")];
        for (params, parts, status, told) in [
            (missing, &file[..], 409, "/bat: "),
            ("&pitch_speed_mps=-1", &file[..], 422, "/pitch_speed_mps"),
            ("&pitch_speed_mps=101", &file[..], 422, "/pitch_speed_mps"),
            ("&drill=", &file[..], 422, "/drill"),
            ("&name=%07", &file[..], 422, "/name"),
            ("&side=up", &file[..], 400, "side"),
            ("&begun=yesterday", &file[..], 400, "no instant"),
            (&begun, &[("file", "a.csv", &csv[..])][..], 400, "expected one `recording`"),
            (&begun, &[][..], 400, "no part `recording`"),
            (&begun, &both[..], 422, "expected one only with CSV"),
            (&begun, &bad[..], 422, "a.toml: line 2: `bat.length_m` is 5.0"),
        ] {
            let refused = cage.import(params, parts).await;
            assert_eq!(refused.status, status, "{params} {:?}", refused.json);
            assert!(refused.json["detail"].as_str().unwrap().contains(told), "{params} {:?}", refused.json);
            cage.nothing_is_left().await;
        }
        let path = format!("/v1/recordings?athlete={}", cage.wren);
        assert_eq!(cage.api.post(&path, json!({})).await.status, 415);
        let nobody = "/v1/recordings?athlete=01890a5d-ac96-774b-bcce-b302099a8057";
        assert_eq!(cage.api.post(nobody, json!({})).await.status, 409);
    });
}

#[test]
fn a_connection_that_breaks_leaves_nothing() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let whole = body(&[("recording", "a.mcap", &mcap(&lesson()[..400]))]);
        let half = whole[..whole.len() / 2].to_vec();
        let broken = Err(std::io::Error::other("the connection was lost"));
        let chunks: Vec<std::io::Result<Vec<u8>>> = vec![Ok(half), broken];
        let path = format!("/v1/recordings?athlete={}&begun={BEGUN}", cage.wren);
        let kind = format!("multipart/form-data; boundary={BOUNDARY}");
        let request = Request::post(path).header(header::CONTENT_TYPE, kind);
        let answer = cage.api.send(request.body(Body::from_stream(stream::iter(chunks))).unwrap()).await;
        assert_eq!(answer.status, 400, "{:?}", answer.json);
        cage.nothing_is_left().await;
    });
}

#[test]
fn what_a_kill_leaves_is_gone_on_with_or_removed() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let made = cage.import(&format!("&begun={BEGUN}"), &[("recording", "a.csv", &csv(&lesson()[..400]).0)]).await;
        let id = made.json["recording"]["id"].as_str().unwrap();
        let name = made.json["recording"]["file_name"].as_str().unwrap().to_owned();
        // As a kill between the store and the folder leaves it, beside one that came earlier.
        let on_its_way = cage.folder().join(format!("{id}.recording.import"));
        std::fs::rename(cage.folder().join(&name), &on_its_way).unwrap();
        std::fs::write(cage.folder().join(format!("{id}.profile.import")), "").unwrap();
        let mut arriving = Arriving::create(&cage.folder()).await.unwrap();
        arriving.push(b"t_s,").await.unwrap();
        std::mem::forget(arriving);
        assert_eq!(cage.files().len(), 3);
        let (store, folder) = (&cage.api.api.store, cage.folder());
        assert_eq!(finish_imports(store, "north", &folder).await.unwrap(), (2, 1));
        assert_eq!(cage.files(), [name.clone(), name.replace(".csv", ".toml")]);
        assert_eq!(finish_imports(store, "north", &folder).await.unwrap(), (0, 0));
    });
}

/// Recordings that the store knows under names that lead elsewhere.
#[test]
fn no_name_leads_out_of_the_folder_of_recordings() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let bytes = mcap(&lesson()[..40]);
        std::fs::create_dir(cage.folder().join("deeper")).unwrap();
        for place in ["../secret.mcap", "deeper/secret.mcap", "here.mcap"] {
            std::fs::write(cage.folder().join(place), &bytes).unwrap();
        }
        let secret = cage.folder().join("../secret.mcap").canonicalize().unwrap();
        std::os::unix::fs::symlink(&secret, cage.folder().join("link.mcap")).unwrap();
        let outside = secret.to_string_lossy().into_owned();
        let names = [
            "../secret.mcap",
            "deeper/secret.mcap",
            &outside,
            "link.mcap",
            "..",
            ".",
            "",
            "deeper",
            "none.mcap",
            "./here.mcap",
        ];
        for name in names {
            let id = cage.enter("north", name).await;
            for answer in [
                cage.api.get(&format!("/v1/recordings/{id}/file")).await,
                cage.api
                    .send(Request::post(format!("/v1/recordings/{id}/reanalyses")).body(Body::empty()).unwrap())
                    .await,
            ] {
                assert_eq!((answer.status, &answer.json["type"]), (404, &json!("/v1/problems/not-found")), "{name}");
            }
        }
        let id = cage.enter("south", "here.mcap").await;
        assert_eq!(cage.api.get(&format!("/v1/recordings/{id}/file")).await.status, 404);
        let id = cage.enter("north", "here.mcap").await;
        assert_eq!(cage.api.get(&format!("/v1/recordings/{id}/file")).await.bytes, bytes);
    });
}

impl Cage {
    pub async fn enter(&self, at: &str, file_name: &str) -> uuid::Uuid {
        let recording = rows::Recording {
            id: uuid::Uuid::now_v7(),
            cage: at.into(),
            file_name: file_name.into(),
            sensor_id: None,
            origin: rows::Origin::Live,
            imported_name: None,
            athlete_id: None,
            begun: UtcMicros(1_795_623_018_000_000),
            ended: None,
            summary: None,
            sha256: None,
            state: rows::RecordingState::Open,
            version: 1,
        };
        let mut changes = self.api.api.store.write().await.unwrap();
        recordings::insert(&mut changes, &recording).await.unwrap();
        changes.commit().await.unwrap();
        recording.id
    }
}
