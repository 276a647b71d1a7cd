//! The same requests, with and without a service.

use super::*;
use crate::cli::config::{ConfigArgs, Places};
use crate::daemon::lock::{Holder, InstanceLock};
use crate::daemon::service::Service;
use crate::daemon::test_folder::TestFolder;
use axum::extract::Request as Received;
use serde_json::json;

/// Nothing of this machine's user counts.
fn config(folder: &TestFolder) -> Config {
    let args = ConfigArgs {
        data_folder: Some(folder.path("kept").display().to_string()),
        http_listen: Some("127.0.0.1:0".into()),
        ..ConfigArgs::default()
    };
    Config::load(&args, [], &Places::default()).unwrap().0
}

/// A service in the folder, on a runtime of its own.
struct Running {
    runtime: Runtime,
    service: Option<Service>,
}

impl Running {
    fn start(config: &Config) -> Self {
        let runtime = Runtime::new().unwrap();
        let service = runtime.block_on(Service::start(&serve::settings(config))).unwrap();
        Self { runtime, service: Some(service) }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        if let Some(service) = self.service.take() {
            self.runtime.block_on(service.stop());
        }
    }
}

fn post(door: &Door, body: Value) -> Result<Answer, DoorError> {
    door.send(Method::POST, "/v1/bats", &[], Content::Json(body))
}

fn bat() -> Value {
    json!({ "name": "Maple 33", "kind": "bat", "length_m": 0.838 })
}

/// What is asked for and refused is the same on both ways.
fn asks(door: &Door) {
    let before = door.get("/v1/bats").unwrap().json().unwrap()["items"].as_array().unwrap().len();
    let made = post(door, bat()).unwrap();
    assert_eq!((made.status, made.is_json()), (StatusCode::CREATED, true));
    let id = made.json().unwrap()["id"].as_str().unwrap().to_owned();
    let read = door.get(Address::new(&["v1", "bats", &id]).as_str()).unwrap();
    assert_eq!(read.json().unwrap(), made.json().unwrap());
    let Err(DoorError::Refused(refusal)) = post(door, json!({ "name": "Maple 33", "kind": "bat", "length_m": -1.0 }))
    else {
        panic!()
    };
    assert_eq!((refusal.status, refusal.places[0].0.as_str()), (StatusCode::UNPROCESSABLE_ENTITY, "/length_m"));
    let line = refusal.to_string();
    assert_eq!((line.matches("/length_m").count(), line.lines().count()), (1, 1), "{line}");
    let Err(DoorError::Refused(refusal)) = door.get("/v1/nothing") else { panic!() };
    assert_eq!(refusal.status, StatusCode::NOT_FOUND);
    let after = door.get("/v1/bats?limit=500").unwrap().json().unwrap()["items"].as_array().unwrap().len();
    assert_eq!(after, before + 1);
    let mut bytes = Vec::new();
    let written = door.download("/v1/openapi.json", Path::new("x"), &mut bytes).unwrap();
    assert_eq!(written, bytes.len() as u64);
    assert_eq!(serde_json::from_slice::<Value>(&bytes).unwrap()["openapi"], "3.1.0");
}

#[test]
fn a_door_goes_to_the_service_if_there_is_one_and_into_the_folder_if_there_is_none() {
    let folder = TestFolder::new("door-ways");
    let config = config(&folder);
    let door = Door::open(&config).unwrap();
    assert!(matches!(door.way, Way::Here(_)));
    asks(&door);
    drop(door);
    let running = Running::start(&config);
    let door = Door::open(&config).unwrap();
    assert!(matches!(door.way, Way::There(_)));
    asks(&door);
    drop((door, running));
    // What was made over one way is there over the other, and the folder is free again.
    let door = Door::open(&config).unwrap();
    assert_eq!(door.get("/v1/bats").unwrap().json().unwrap()["items"].as_array().unwrap().len(), 2);
}

#[test]
fn of_two_commands_the_second_waits_for_the_first() {
    let folder = TestFolder::new("door-two");
    let config = config(&folder);
    let first = Door::open(&config).unwrap();
    let settings = serve::settings(&config);
    let waiting = std::thread::spawn({
        let config = config.clone();
        move || Door::open(&config).map(|door| post(&door, bat()).unwrap().status)
    });
    // One that is not waited for is refused, with who has the folder.
    let runtime = Runtime::new().unwrap();
    let refused = runtime.block_on(Way::find(&settings, Duration::ZERO)).err().unwrap();
    assert!(refused.to_string().contains(&format!("process {}", std::process::id())), "{refused}");
    drop(first);
    assert_eq!(waiting.join().unwrap().unwrap(), StatusCode::CREATED);
}

#[test]
fn a_service_that_does_not_answer_is_named() {
    let folder = TestFolder::new("door-dead");
    let config = config(&folder);
    // Nobody listens on a port that was free a moment ago.
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let holder = Holder::this_process(jiff::Timestamp::now(), Some(port));
    let _lock = InstanceLock::take(&config.data_folder.value, &holder).unwrap();
    let door = Door::open(&config).unwrap();
    let error = door.get("/v1/bats").unwrap_err();
    assert!(matches!(&error, DoorError::Unreachable { address, .. } if *address == port), "{error}");
}

#[test]
fn a_service_that_listens_elsewhere_is_reached_over_loopback() {
    let held = |http: &str| LockError::Held {
        folder: "cage".into(),
        holder: Some(Holder::this_process(jiff::Timestamp::UNIX_EPOCH, Some(http.parse().unwrap()))),
    };
    let configured: SocketAddr = "127.0.0.1:7951".parse().unwrap();
    let told = |http| told_by(&held(http), configured).unwrap().to_string();
    assert_eq!(told("0.0.0.0:80"), "127.0.0.1:80");
    assert_eq!(told("[::]:80"), "[::1]:80");
    assert_eq!(told("192.168.1.7:80"), "127.0.0.1:80");
    let silent = LockError::Held { folder: "cage".into(), holder: None };
    assert_eq!(told_by(&silent, configured), Some(configured));
    assert_eq!(told_by(&silent, "127.0.0.1:0".parse().unwrap()), None);
}

#[test]
fn files_are_sent_whole_with_their_length() {
    let folder = TestFolder::new("door-form");
    // Longer than one piece.
    let recording: Vec<u8> = (0..200_000u32).map(|i| (i % 251) as u8).collect();
    let parts = vec![
        Part { name: "recording", path: folder.write("home \"1\".csv", &recording), kind: "text/csv" },
        Part { name: "profile", path: folder.write("home.toml", "[bat]\n"), kind: "application/toml" },
    ];
    let runtime = Runtime::new().unwrap();
    let (kind, length, body) = runtime.block_on(async {
        let mut request = Received::new(Body::empty());
        Content::Form(parts).put_into(&mut request).await.unwrap();
        let header = |name| request.headers().get(name).unwrap().to_str().unwrap().to_owned();
        let facts = (header("content-type"), header("content-length").parse::<usize>().unwrap());
        (facts.0, facts.1, whole(request.into_body()).await.unwrap())
    });
    assert_eq!(body.len(), length);
    let boundary = kind.strip_prefix("multipart/form-data; boundary=").unwrap();
    let head = format!(
        "--{boundary}\r\nContent-Disposition: form-data; name=\"recording\"; filename=\"home %221%22.csv\"\r\n\
         Content-Type: text/csv\r\n\r\n"
    );
    let tail = format!(
        "\r\n--{boundary}\r\nContent-Disposition: form-data; name=\"profile\"; filename=\"home.toml\"\r\n\
         Content-Type: application/toml\r\n\r\n[bat]\n\r\n--{boundary}--\r\n"
    );
    assert_eq!(body, [head.as_bytes(), &recording, tail.as_bytes()].concat());
    let none = Content::File { path: folder.path("none.csv"), kind: "text/csv" };
    let error = runtime.block_on(none.put_into(&mut Received::new(Body::empty()))).unwrap_err();
    assert!(error.to_string().starts_with(&folder.path("none.csv").display().to_string()), "{error}");
}

#[test]
fn a_refusal_without_problem_details_is_told_by_its_status() {
    let refusal = Refusal::read(StatusCode::BAD_GATEWAY, b"<html>");
    assert_eq!(refusal.to_string(), "the service answered 502 Bad Gateway, without a word why");
    let body = br#"{"type":"x","title":"T","status":422,"detail":"no","errors":[{"pointer":"/a","detail":"b"}]}"#;
    assert_eq!(Refusal::read(StatusCode::UNPROCESSABLE_ENTITY, body).to_string(), "no; /a: b");
}
