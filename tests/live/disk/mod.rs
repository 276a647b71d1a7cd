//! The store on a disk that fails at any call, and what a power cut leaves of it.
//!
//! The program runs on `disk.c`, compiled here and put before the C library. An acknowledgement is an answer with 201.

mod cut;
mod failing;
mod shim;

use crate::support::sse::request;
use serde_json::{Value, json};
use std::net::SocketAddr;

const JSON: &str = "Content-Type: application/json";

/// Enters a bat of this name under a key of its own; the status.
async fn enter(address: SocketAddr, name: &str, note: &str) -> u16 {
    let key = format!("Idempotency-Key: {}", name.replace(' ', "-"));
    let body = json!({"name": name, "kind": "bat", "note": note}).to_string();
    request(address, "POST /v1/bats", &[JSON, &key], &body).await.status
}

/// The names of all bats, in order.
async fn names(address: SocketAddr) -> Vec<String> {
    let (mut names, mut path) = (Vec::new(), "GET /v1/bats?limit=500".to_owned());
    loop {
        let answer = request(address, &path, &[], "").await;
        assert_eq!(answer.status, 200, "{}", answer.body);
        let page = answer.json();
        let items = page["items"].as_array().unwrap();
        names.extend(items.iter().map(|item| item["name"].as_str().unwrap().to_owned()));
        match &page["next"] {
            Value::String(next) => path = format!("GET /v1/bats?limit=500&after={next}"),
            _ => return names,
        }
    }
}
