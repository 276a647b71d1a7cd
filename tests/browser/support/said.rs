//! What the browser said meanwhile: its console, and which requests it made.

use serde_json::Value;
use std::collections::BTreeMap;

/// What was logged.
#[derive(Debug, Default)]
pub struct Said {
    /// Errors and warnings of the console, of scripts, of the network and of the policy.
    pub complaints: Vec<String>,
    /// Addresses of requests.
    pub requests: Vec<String>,
    /// Kinds of the Server-Sent Events that came.
    pub events: Vec<String>,
    /// By the browser's name for a request.
    transfers: BTreeMap<String, Transfer>,
}

/// An answer as it comes over the network.
#[derive(Debug, Default)]
struct Transfer {
    url: String,
    head_bytes: f64,
    /// Of its body: as many as were said to be transferred, and as many as were read. Nothing here is compressed, and the browser
    /// does not say both at once.
    sent_bytes: f64,
    read_bytes: f64,
    /// Of head and body, said at its end: a stream has none.
    all_bytes: Option<f64>,
}

impl Said {
    /// Adds entries of the log `browser`.
    pub fn add_console(&mut self, entries: &Value) {
        let entries = entries.as_array().expect("a list of entries");
        let is_complaint =
            |entry: &&Value| ["SEVERE", "WARNING"].contains(&entry["level"].as_str().unwrap_or_default());
        let words = |entry: &Value| entry["message"].as_str().unwrap_or_default().to_owned();
        self.complaints.extend(entries.iter().filter(is_complaint).map(words));
    }

    /// Adds entries of the log `performance`: events of the DevTools Protocol.
    pub fn add_performance(&mut self, entries: &Value) {
        for entry in entries.as_array().expect("a list of entries") {
            let text = entry["message"].as_str().expect("an event");
            let event: Value = serde_json::from_str(text).expect("JSON");
            let (method, of) = (&event["message"]["method"], &event["message"]["params"]);
            match method.as_str().unwrap_or_default() {
                "Network.requestWillBeSent" => {
                    let url = of["request"]["url"].as_str().expect("an address").to_owned();
                    self.transfer(of).url.clone_from(&url);
                    self.requests.push(url);
                }
                "Network.webSocketCreated" => self.requests.push(of["url"].as_str().expect("an address").to_owned()),
                "Network.eventSourceMessageReceived" => {
                    self.events.push(of["eventName"].as_str().unwrap_or_default().to_owned());
                }
                other => self.add_bytes(other, of),
            }
        }
    }

    fn add_bytes(&mut self, method: &str, of: &Value) {
        let number = |value: &Value| value.as_f64().unwrap_or_default();
        match method {
            "Network.responseReceived" => {
                self.transfer(of).head_bytes = number(&of["response"]["encodedDataLength"]);
            }
            "Network.dataReceived" => {
                let (sent, read) = (number(&of["encodedDataLength"]), number(&of["dataLength"]));
                let transfer = self.transfer(of);
                (transfer.sent_bytes, transfer.read_bytes) = (transfer.sent_bytes + sent, transfer.read_bytes + read);
            }
            "Network.loadingFinished" => self.transfer(of).all_bytes = Some(number(&of["encodedDataLength"])),
            _ => {}
        }
    }

    fn transfer(&mut self, of: &Value) -> &mut Transfer {
        self.transfers.entry(of["requestId"].to_string()).or_default()
    }

    /// Bytes that came over the network for answers from such addresses, heads and bodies; of a stream, those
    /// so far.
    pub fn bytes_of(&self, is_meant: impl Fn(&str) -> bool) -> f64 {
        let meant = self.transfers.values().filter(|transfer| is_meant(&transfer.url));
        meant.map(Transfer::bytes).sum()
    }
}

impl Transfer {
    fn bytes(&self) -> f64 {
        self.all_bytes.unwrap_or(self.head_bytes + self.sent_bytes.max(self.read_bytes))
    }
}
