//! What a browser asks for, over plain sockets.

use anyhow::Context;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Longer answers would be a mistake.
const PATIENCE: Duration = Duration::from_secs(10);

/// Numbers of a swing, as a viewer had them.
pub struct Seen {
    /// When the empty line that ends the event had been read.
    pub at: Instant,
    /// Which swing, and the stage of these numbers of it, as it is told.
    pub swing: String,
    pub stage: String,
}

/// What a browser fetched for the live page, with the heads of the answers.
#[derive(Default)]
pub struct Fetched {
    pub html_kb: f64,
    pub assets_kb: f64,
    pub stream_kb: f64,
    /// From asking for the page until its parts had come by the stream too.
    pub ms: f64,
}

/// One request on a connection of its own; head and body of the answer.
///
/// # Errors
/// If the service cannot be reached.
pub fn ask(address: SocketAddr, method: &str, path: &str, json: &str) -> anyhow::Result<String> {
    let mut stream = TcpStream::connect(address).context("the service cannot be reached")?;
    stream.set_read_timeout(Some(PATIENCE))?;
    let length = json.len();
    write!(
        stream,
        "{method} {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nAccept: text/html,*/*\r\n\
         Content-Type: application/json\r\nContent-Length: {length}\r\n\r\n{json}"
    )?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer)?;
    anyhow::ensure!(answer.starts_with("HTTP/1.1 2"), "{method} {path}: {answer}");
    Ok(answer)
}

/// The body of the same as JSON.
///
/// # Errors
/// If it is none.
pub fn ask_json(address: SocketAddr, method: &str, path: &str, json: &str) -> anyhow::Result<serde_json::Value> {
    let answer = ask(address, method, path, json)?;
    let body = answer.split_once("\r\n\r\n").map_or("", |(_, body)| body);
    Ok(serde_json::from_str(body)?)
}

fn open_stream(address: SocketAddr, units: &str) -> anyhow::Result<TcpStream> {
    let mut stream = TcpStream::connect(address).context("the service cannot be reached")?;
    write!(stream, "GET /live/stream HTTP/1.1\r\nHost: localhost\r\nCookie: units={units}\r\n\r\n")?;
    Ok(stream)
}

/// Follows the live page until the service stops.
///
/// # Errors
/// If the service cannot be reached, or no thread be started.
pub fn view(address: SocketAddr, units: &str) -> anyhow::Result<JoinHandle<Vec<Seen>>> {
    let stream = BufReader::new(open_stream(address, units)?);
    Ok(std::thread::Builder::new().name("viewer".into()).spawn(move || read(stream))?)
}

/// Lines of the stream; those of the chunked coding between them are passed over, as an event is sent in one chunk.
fn read(mut stream: BufReader<TcpStream>) -> Vec<Seen> {
    let (mut all, mut line, mut numbers) = (Vec::new(), String::new(), None);
    loop {
        line.clear();
        match stream.read_line(&mut line) {
            Ok(0) | Err(_) => return all,
            Ok(_) => {}
        }
        if line.starts_with("data: ") && line.contains("\"slot\":\"numbers\"") {
            numbers = value_of(&line, "data-swing").zip(value_of(&line, "data-stage"));
        } else if line.trim_end().is_empty()
            && let Some((swing, stage)) = numbers.take()
        {
            all.push(Seen { at: Instant::now(), swing, stage });
        }
    }
}

/// An attribute's value in HTML within JSON.
fn value_of(line: &str, attribute: &str) -> Option<String> {
    let (_, after) = line.split_once(&format!("{attribute}=\\\""))?;
    Some(after.split_once('\\')?.0.to_owned())
}

/// All that a browser fetches before somebody can use the page.
///
/// # Errors
/// If the service cannot be reached, or something named in the page is not there.
pub fn fetch_page(address: SocketAddr) -> anyhow::Result<Fetched> {
    let began = Instant::now();
    let kb = |answer: &str| answer.len() as f64 * 1e-3;
    let html = ask(address, "GET", "/", "")?;
    let mut fetched = Fetched { html_kb: kb(&html), ..Fetched::default() };
    for (place, _) in html.match_indices("\"/assets/") {
        let path = html[place + 1..].split('"').next().unwrap_or_default();
        fetched.assets_kb += kb(&ask(address, "GET", path, "")?);
    }
    let mut stream = BufReader::new(open_stream(address, "us")?);
    let mut line = String::new();
    while !line.starts_with("event: beat") {
        line.clear();
        anyhow::ensure!(stream.read_line(&mut line)? > 0, "the stream ended");
        fetched.stream_kb += kb(&line);
    }
    fetched.ms = began.elapsed().as_secs_f64() * 1e3;
    Ok(fetched)
}
