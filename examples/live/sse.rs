//! A front-end: reads the event stream of the service and notes when each swing of one sensor came.

use anyhow::Context;
use serde_json::Value;
use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpStream};
use std::thread::JoinHandle;
use std::time::Instant;

/// A swing's event, as a front-end had it.
#[derive(Clone, Debug)]
pub struct Heard {
    /// When the empty line that ends it had been read.
    pub at: Instant,
    pub number: u64,
    pub stage: String,
    pub contact_s: f64,
    /// Whether its packets were in the recording by then.
    pub recorded: bool,
}

/// Asks for the stream and follows it until it ends.
///
/// # Errors
/// If the service cannot be reached, or no thread be started.
pub fn follow(address: SocketAddr, sensor: String) -> anyhow::Result<JoinHandle<Vec<Heard>>> {
    let mut stream = TcpStream::connect(address).context("the service cannot be reached")?;
    stream.write_all(b"GET /v1/events HTTP/1.1\r\nHost: localhost\r\n\r\n")?;
    let read = move || read(BufReader::new(stream), &sensor);
    Ok(std::thread::Builder::new().name("front-end".into()).spawn(read)?)
}

/// Lines of the stream; those of the chunked coding between them hold no colon and are passed over, as the service sends
/// an event in one chunk.
fn read(mut stream: BufReader<TcpStream>, sensor: &str) -> Vec<Heard> {
    let (mut all, mut line) = (Vec::new(), String::new());
    let (mut kind, mut text) = (String::new(), String::new());
    loop {
        line.clear();
        match stream.read_line(&mut line) {
            Ok(0) | Err(_) => return all,
            Ok(_) => {}
        }
        let line = line.trim_end();
        if let Some(after) = line.strip_prefix("event: ") {
            kind = after.into();
        } else if let Some(after) = line.strip_prefix("data: ") {
            text = after.into();
        } else if line.is_empty() && !text.is_empty() {
            let at = Instant::now();
            if kind == "swing" {
                all.extend(heard(&text, sensor, at));
            }
            text.clear();
        }
    }
}

fn heard(text: &str, sensor: &str, at: Instant) -> Option<Heard> {
    let event: Value = serde_json::from_str(text).ok()?;
    let told = &event["told"];
    (event["sensor"] == sensor).then_some(())?;
    Some(Heard {
        at,
        number: told["number"].as_u64()?,
        stage: told["stage"].as_str()?.to_owned(),
        contact_s: told["contact_s"].as_f64()?,
        recorded: event["recorded"].as_bool()?,
    })
}
