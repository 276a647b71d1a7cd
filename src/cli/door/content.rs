//! What goes with a request. Files are sent as they are read and never held whole.

use super::DoorError;
use axum::body::Body;
use axum::http::header::{CONTENT_LENGTH, CONTENT_TYPE};
use axum::http::{HeaderValue, Request};
use futures::stream::{Stream, unfold};
use serde_json::Value;
use std::collections::VecDeque;
use std::io;
use std::path::{Path, PathBuf};
use tokio::fs::File;
use tokio::io::{AsyncReadExt, Take};

/// A file is read so much at a time, bytes.
const PIECE: usize = 64 << 10;

/// What goes with a request.
#[derive(Clone, Debug)]
pub enum Content {
    /// Nothing.
    Nothing,
    /// JSON.
    Json(Value),
    /// A file, as what it is.
    File {
        /// Where it is.
        path: PathBuf,
        /// Its media type.
        kind: &'static str,
    },
    /// Several, as `multipart/form-data` (RFC 7578).
    Form(Vec<Part>),
}

/// A file in a form.
#[derive(Clone, Debug)]
pub struct Part {
    /// The part's name.
    pub name: &'static str,
    /// Where it is.
    pub path: PathBuf,
    /// Its media type.
    pub kind: &'static str,
}

/// What a body is put together from.
enum Piece {
    Text(String),
    File(Take<File>),
}

impl Content {
    /// Body, type and length.
    pub(super) async fn put_into(self, request: &mut Request<Body>) -> Result<(), DoorError> {
        let (kind, pieces) = match self {
            Self::Nothing => return Ok(()),
            Self::Json(value) => ("application/json".to_owned(), vec![Piece::Text(value.to_string())]),
            Self::File { path, kind } => (kind.to_owned(), vec![Piece::open(&path).await?]),
            Self::Form(parts) => {
                let boundary = boundary();
                (format!("multipart/form-data; boundary={boundary}"), form(&parts, &boundary).await?)
            }
        };
        let length: u64 = pieces.iter().map(Piece::length).sum();
        let headers = request.headers_mut();
        headers.insert(CONTENT_TYPE, HeaderValue::try_from(kind).map_err(DoorError::not_possible)?);
        headers.insert(CONTENT_LENGTH, length.into());
        *request.body_mut() = Body::from_stream(stream(pieces));
        Ok(())
    }
}

impl Piece {
    async fn open(path: &Path) -> Result<Self, DoorError> {
        let failed = |cause| DoorError::File { path: path.into(), cause };
        let file = File::open(path).await.map_err(failed)?;
        let facts = file.metadata().await.map_err(failed)?;
        if !facts.is_file() {
            return Err(failed(io::Error::other("is no file; expected one")));
        }
        // One that grows meanwhile is sent as long as it was.
        Ok(Self::File(file.take(facts.len())))
    }

    fn length(&self) -> u64 {
        match self {
            Self::Text(text) => text.len() as u64,
            Self::File(file) => file.limit(),
        }
    }
}

async fn form(parts: &[Part], boundary: &str) -> Result<Vec<Piece>, DoorError> {
    let mut pieces = Vec::new();
    for Part { name, path, kind } in parts {
        let file_name = path.file_name().unwrap_or_default().to_string_lossy();
        pieces.push(Piece::Text(format!(
            "--{boundary}\r\nContent-Disposition: form-data; name=\"{name}\"; filename=\"{}\"\r\n\
             Content-Type: {kind}\r\n\r\n",
            quoted(&file_name)
        )));
        pieces.push(Piece::open(path).await?);
        pieces.push(Piece::Text("\r\n".to_owned()));
    }
    pieces.push(Piece::Text(format!("--{boundary}--\r\n")));
    Ok(pieces)
}

/// What would end a file's name, as browsers send it (WHATWG HTML, "Multipart form data").
fn quoted(name: &str) -> String {
    name.replace('"', "%22").replace('\r', "%0D").replace('\n', "%0A")
}

/// A line that no recording holds by chance: 74 random bits.
fn boundary() -> String {
    format!("swingd-{}", uuid::Uuid::now_v7().simple())
}

fn stream(pieces: Vec<Piece>) -> impl Stream<Item = io::Result<Vec<u8>>> + Send + 'static {
    unfold(VecDeque::from(pieces), |mut pieces| async {
        loop {
            match pieces.front_mut()? {
                Piece::Text(text) => {
                    let text = std::mem::take(text);
                    pieces.pop_front();
                    return Some((Ok(text.into_bytes()), pieces));
                }
                Piece::File(file) => {
                    let mut bytes = Vec::with_capacity(PIECE);
                    match file.read_buf(&mut bytes).await {
                        Ok(0) => drop(pieces.pop_front()),
                        Ok(_) => return Some((Ok(bytes), pieces)),
                        Err(error) => {
                            pieces.clear();
                            return Some((Err(error), pieces));
                        }
                    }
                }
            }
        }
    })
}
