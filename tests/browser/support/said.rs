//! What the browser said meanwhile: its console, and which requests it made.

use serde_json::Value;

/// What was logged.
#[derive(Debug, Default)]
pub struct Said {
    /// Errors and warnings of the console, of scripts, of the network and of the policy.
    pub complaints: Vec<String>,
    /// Addresses of requests.
    pub requests: Vec<String>,
    /// Bytes that came over the network for answers that have ended, heads and bodies as they were transferred.
    pub bytes: f64,
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
                    self.requests.push(of["request"]["url"].as_str().expect("an address").to_owned());
                }
                "Network.webSocketCreated" => self.requests.push(of["url"].as_str().expect("an address").to_owned()),
                "Network.loadingFinished" => self.bytes += of["encodedDataLength"].as_f64().unwrap_or_default(),
                _ => {}
            }
        }
    }
}
