//! Slow clients, other machines and pairing, through a socket.

use crate::support::folder::Folder;
use crate::support::in_process::start_with;
use crate::support::serving::Serving;
use crate::support::sse::{Events, request};
use crate::support::within;
use serde_json::{Value, json};
use std::net::SocketAddr;
use std::process::Command;
use std::time::{Duration, Instant};
use swingd::daemon::access::{Patience, Settings, server};
use swingd::daemon::service::Service;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

const JSON: &str = "Content-Type: application/json";
const SHORT: Duration = Duration::from_millis(300);

async fn serve(folder: &Folder, listen: &str, patience: Patience) -> Service {
    let http = Settings { patience, ..Settings::default() };
    start_with(&folder.kept(), |settings| {
        settings.listen = listen.parse().unwrap();
        settings.http = http;
    })
    .await
}

/// What comes until the connection is closed.
async fn rest(stream: &mut TcpStream) -> String {
    let mut bytes = Vec::new();
    let read = async {
        let mut buffer = [0; 4096];
        while let Ok(read @ 1..) = stream.read(&mut buffer).await {
            bytes.extend_from_slice(&buffer[..read]);
        }
    };
    within("the connection to be closed", read).await;
    String::from_utf8(bytes).unwrap()
}

async fn token(address: SocketAddr, role: &str) -> Value {
    let body = json!({"role": role, "label": "a device"}).to_string();
    let made = request(address, "POST /v1/tokens", &[JSON], &body).await;
    assert_eq!(made.status, 201, "{made:?}");
    made.json()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_head_that_comes_too_slowly_is_cut_off_and_others_are_served() {
    let folder = Folder::new("slow-head");
    let service = serve(&folder, "127.0.0.1:0", Patience { head: SHORT, ..Patience::default() }).await;
    let address = service.address();
    let mut slow = TcpStream::connect(address).await.unwrap();
    slow.write_all(b"GET /v1/bats HTTP/1.1\r\nHost: localhost\r\nX-").await.unwrap();
    let mut silent = TcpStream::connect(address).await.unwrap();
    let began = Instant::now();
    assert_eq!(request(address, "GET /v1/bats", &[], "").await.status, 200);
    let told = (rest(&mut slow).await, rest(&mut silent).await);
    let took = began.elapsed();
    assert!(took < Duration::from_secs(5), "{took:?}");
    assert!(!told.0.contains(" 200 ") && told.1.is_empty(), "{told:?}");
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_body_that_comes_too_slowly_ends_the_request() {
    let folder = Folder::new("slow-body");
    let (head, long) = (Duration::from_secs(60), Duration::from_secs(60));
    // One that stalls, and one that keeps just ahead of a stall.
    for patience in [
        Patience { head, piece: SHORT, whole: long, recheck: long },
        Patience { head, piece: long, whole: SHORT, recheck: long },
    ] {
        let service = serve(&folder, "127.0.0.1:0", patience).await;
        let mut slow = TcpStream::connect(service.address()).await.unwrap();
        let text = format!("POST /v1/bats HTTP/1.1\r\nHost: localhost\r\n{JSON}\r\nContent-Length: 1000\r\n\r\n{{");
        slow.write_all(text.as_bytes()).await.unwrap();
        let mut answer = vec![0; 4096];
        let read = within("an answer", slow.read(&mut answer)).await.unwrap();
        let answer = String::from_utf8_lossy(&answer[..read]).into_owned();
        assert!(answer.starts_with("HTTP/1.1 408 "), "{patience:?}: {answer}");
        service.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn another_address_of_this_machine_is_another_machine() {
    let folder = Folder::new("beyond");
    let service = serve(&folder, "0.0.0.0:0", Patience::default()).await;
    let here = SocketAddr::from(([127, 0, 0, 1], service.address().port()));
    let Some(there) = server::reached_at(service.address()).await else {
        println!("this machine has no other address: not tried");
        return service.stop().await;
    };
    assert_eq!(request(here, "GET /v1/bats", &[], "").await.status, 200);
    assert_eq!(request(there, "GET /v1/bats", &[], "").await.status, 401);
    assert_eq!(request(there, "GET /v1/bats", &["Host: bats.example"], "").await.status, 421);
    // A name of this machine does not make it this machine.
    assert_eq!(request(there, "GET /v1/bats", &["Host: localhost"], "").await.status, 401);
    let viewer = token(here, "viewer").await;
    let bearer = format!("Authorization: Bearer {}", viewer["token"].as_str().unwrap());
    assert_eq!(request(there, "GET /v1/bats", &[&bearer], "").await.status, 200);
    assert_eq!(request(there, "GET /v1/tokens", &[&bearer], "").await.status, 403);
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_event_stream_ends_when_its_token_is_taken_back() {
    let folder = Folder::new("taken-back");
    let patience = Patience { recheck: Duration::from_millis(20), ..Patience::default() };
    let service = serve(&folder, "127.0.0.1:0", patience).await;
    let address = service.address();
    let viewer = token(address, "viewer").await;
    let bearer = format!("Authorization: Bearer {}\r\n", viewer["token"].as_str().unwrap());
    let mut events = Events::open_with(address, None, &bearer).await;
    events.expect("hello").await;
    service.hub().publish("k", "{}".into());
    events.expect("k").await;
    let revoke = format!("DELETE /v1/tokens/{}", viewer["id"].as_str().unwrap());
    assert_eq!(request(address, &revoke, &[], "").await.status, 204);
    assert_eq!(events.next().await, None);
    assert!(events.ended_well);
    let seen = request(address, "GET /v1/audit", &[], "").await.json();
    let entry = &seen["items"][0];
    assert_eq!(json!([entry["path"], entry["token_id"]]), json!(["/v1/events", viewer["id"]]));
    service.stop().await;
}

#[test]
fn the_code_that_pair_prints_gives_a_token() {
    let folder = Folder::new("pair");
    let pair = |words: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_swingd"));
        command
            .arg("pair")
            .args(words)
            .arg("--data-folder")
            .arg(folder.kept())
            .env("SWINGD_CONFIG", folder.path("none.toml"));
        std::fs::write(folder.path("none.toml"), "").unwrap();
        let output = command.output().unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        (output.status.success(), text(output.stdout), text(output.stderr))
    };
    let (_, _, nobody) = pair(&[]);
    assert!(nobody.contains("no swingd runs on this data folder"), "{nobody}");
    let serving = Serving::start(&folder, &["--play", crate::support::folder::lesson().to_str().unwrap()]);
    let address = serving.address();
    let (done, out, err) = pair(&["--role", "coach", "--days", "3"]);
    assert!(done, "{out}{err}");
    let code = out.lines().last().unwrap().strip_prefix("code ").and_then(|rest| rest.split(',').next()).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let given =
        runtime.block_on(request(address, "POST /v1/pairings/redeem", &[JSON], &json!({"code": code}).to_string()));
    assert_eq!(given.status, 201, "{given:?}");
    assert_eq!(given.json()["role"], "coach");
    assert_eq!(given.json()["label"], "a paired device");
}
