//! A small HTTP client for requests and streams of events (WHATWG HTML, "Server-sent events"; RFC 9112 for chunks).

use super::patience::within;
use std::net::SocketAddr;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpStream;

/// How a request was answered.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Answer {
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }
}

/// A request on a connection of its own. `headers` are lines; a `Host` is added if none is among them.
pub async fn request(address: SocketAddr, what: &str, headers: &[&str], body: &str) -> Answer {
    let answered = async {
        let mut stream = TcpStream::connect(address).await.unwrap();
        let mut text = format!("{what} HTTP/1.1\r\nConnection: close\r\n");
        if !headers.iter().any(|line| line.starts_with("Host:")) {
            text += &format!("Host: {address}\r\n");
        }
        headers.iter().for_each(|line| text += &format!("{line}\r\n"));
        if !body.is_empty() {
            text += &format!("Content-Length: {}\r\n", body.len());
        }
        // A server that has read enough may close at any time, and what it said by then counts.
        let _ = stream.write_all((text + "\r\n" + body).as_bytes()).await;
        let mut bytes = Vec::new();
        let mut buffer = [0; 4096];
        while let Ok(read @ 1..) = stream.read(&mut buffer).await {
            bytes.extend_from_slice(&buffer[..read]);
        }
        String::from_utf8(bytes).unwrap()
    };
    let text = within(what, answered).await;
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or_else(|| panic!("{what}: no answer: {text:?}"));
    assert!(!head.to_ascii_lowercase().contains("transfer-encoding"), "{what}: only streams come in chunks: {head}");
    Answer { status: status(head), head: head.into(), body: body.into() }
}

fn status(head: &str) -> u16 {
    head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or_else(|| panic!("no status: {head}"))
}

/// What came in a stream.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Event {
    /// Empty for a comment, which is what a heartbeat is.
    pub kind: String,
    pub id: Option<u64>,
    pub retry_ms: Option<u64>,
    pub data: String,
}

impl Event {
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.data).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }
}

/// An open stream.
pub struct Events {
    stream: BufReader<TcpStream>,
    /// Read and not yet an event.
    bytes: Vec<u8>,
    pub ended_well: bool,
}

impl Events {
    /// Opens the stream, after an event or from here on.
    pub async fn open(address: SocketAddr, last_id: Option<&str>) -> Self {
        Self::open_with(address, last_id, "").await
    }

    /// The same with further headers, whole lines.
    pub async fn open_with(address: SocketAddr, last_id: Option<&str>, headers: &str) -> Self {
        within("the stream to open", async {
            let mut stream = TcpStream::connect(address).await.unwrap();
            let last = last_id.map_or(String::new(), |id| format!("Last-Event-ID: {id}\r\n"));
            let text = format!(
                "GET /v1/events HTTP/1.1\r\nHost: {address}\r\nAccept: text/event-stream\r\n{last}{headers}\r\n"
            );
            stream.write_all(text.as_bytes()).await.unwrap();
            let (mut stream, mut head) = (BufReader::new(stream), String::new());
            while !head.ends_with("\r\n\r\n") {
                assert!(stream.read_line(&mut head).await.unwrap() > 0, "no answer: {head}");
            }
            assert_eq!(status(&head), 200, "{head}");
            let head = head.to_ascii_lowercase();
            assert!(head.contains("content-type: text/event-stream"), "{head}");
            assert!(head.contains("transfer-encoding: chunked"), "{head}");
            Self { stream, bytes: Vec::new(), ended_well: false }
        })
        .await
    }

    /// The next event or comment; `None` when the stream has ended, well or not.
    pub async fn next_or_comment(&mut self) -> Option<Event> {
        loop {
            if let Some(end) = self.bytes.windows(2).position(|pair| pair == b"\n\n") {
                let block: Vec<u8> = self.bytes.drain(..end + 2).collect();
                return Some(event(std::str::from_utf8(&block).unwrap()));
            }
            self.chunk().await?;
        }
    }

    /// What comes until something does, with it.
    pub async fn until_it(&mut self, mut is_it: impl FnMut(&Event) -> bool) -> Vec<Event> {
        let mut told = Vec::new();
        loop {
            let event = self.next().await.unwrap_or_else(|| panic!("the stream ended: {told:?}"));
            let is_last = is_it(&event);
            told.push(event);
            if is_last {
                return told;
            }
        }
    }

    /// What comes until so many swings are stored with the rest after them.
    pub async fn until_stored(&mut self, swings: usize) -> Vec<Event> {
        let mut stored = 0;
        let is_final = |event: &Event| event.kind == "stored" && event.json()["stage"] == "final";
        let is_it = |event: &Event| {
            stored += usize::from(is_final(event));
            stored == swings
        };
        self.until_it(is_it).await
    }

    /// The next event, waited for as long as [`within`] does.
    pub async fn next(&mut self) -> Option<Event> {
        within("the next event, or the end of the stream", async {
            loop {
                let event = self.next_or_comment().await?;
                if !event.kind.is_empty() {
                    return Some(event);
                }
            }
        })
        .await
    }

    /// The next event, which there must be.
    pub async fn expect(&mut self, kind: &str) -> Event {
        let event = self.next().await.unwrap_or_else(|| panic!("the stream ended; expected `{kind}`"));
        assert_eq!(event.kind, kind, "{event:?}");
        event
    }

    /// All up to the end of the stream.
    pub async fn rest(&mut self) -> Vec<Event> {
        let mut all = Vec::new();
        while let Some(event) = self.next().await {
            all.push(event);
        }
        all
    }

    /// All up to and with the event `id`.
    pub async fn until(&mut self, id: u64) -> Vec<Event> {
        let mut all = Vec::new();
        while all.last().is_none_or(|event: &Event| event.id != Some(id)) {
            all.push(self.next().await.unwrap_or_else(|| panic!("the stream ended before event {id}")));
        }
        all
    }

    async fn chunk(&mut self) -> Option<()> {
        let mut line = String::new();
        self.stream.read_line(&mut line).await.ok()?;
        let length = usize::from_str_radix(line.trim_end(), 16).ok()?;
        let mut chunk = vec![0; length + 2];
        self.stream.read_exact(&mut chunk).await.ok()?;
        assert!(chunk.ends_with(b"\r\n"), "a chunk of {length} is longer than it says");
        self.ended_well = length == 0;
        self.bytes.extend_from_slice(&chunk[..length]);
        (length > 0).then_some(())
    }
}

fn event(block: &str) -> Event {
    let mut event = Event::default();
    for line in block.lines().filter(|line| !line.is_empty()) {
        let (field, value) = line.split_once(':').unwrap_or((line, ""));
        let value = value.strip_prefix(' ').unwrap_or(value);
        match field {
            "" => {}
            "event" => event.kind = value.into(),
            "data" => event.data += value,
            "id" => event.id = Some(value.parse().unwrap_or_else(|_| panic!("id {value:?}"))),
            "retry" => event.retry_ms = Some(value.parse().unwrap_or_else(|_| panic!("retry {value:?}"))),
            _ => panic!("a field that there is not: {line:?}"),
        }
    }
    event
}
