//! The style, the script and the icon: part of the program, so that nothing is fetched from elsewhere. Their addresses
//! change with their content, so that a browser keeps them for good.

use crate::daemon::api::{Kind, Problem};
use crate::daemon::hex::hex;
use crate::report::svg;
use axum::extract::Path;
use axum::http::{HeaderName, HeaderValue, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};
use std::sync::LazyLock;

const SCRIPT: &str = concat!(
    include_str!("assets/page.js"),
    include_str!("assets/live.js"),
    include_str!("assets/timer.js"),
    include_str!("assets/pair.js"),
    include_str!("assets/film.js")
);
const STYLES: [&str; 4] = [
    include_str!("assets/page.css"),
    include_str!("assets/live.css"),
    include_str!("assets/past.css"),
    include_str!("assets/setup.css"),
];
const ICON: &str = include_str!("assets/icon.svg");

struct Asset {
    name: &'static str,
    kind: &'static str,
    text: String,
    path: String,
}

static ASSETS: LazyLock<[Asset; 3]> = LazyLock::new(|| {
    let style = STYLES.concat() + svg::RULES;
    [
        asset("style.css", "text/css; charset=utf-8", style),
        asset("script.js", "text/javascript; charset=utf-8", SCRIPT.to_owned()),
        asset("icon.svg", "image/svg+xml", ICON.to_owned()),
    ]
});

fn asset(name: &'static str, kind: &'static str, text: String) -> Asset {
    let hash = hex(&Sha256::digest(text.as_bytes()));
    let path = format!("/assets/{}-{name}", hash.get(..12).unwrap_or_default());
    Asset { name, kind, text, path }
}

/// Where one of them is.
pub fn path(name: &str) -> &'static str {
    ASSETS.iter().find(|asset| asset.name == name).map_or("", |asset| &asset.path)
}

/// One of them.
pub async fn read(Path(asked): Path<String>) -> Result<Response, Problem> {
    let is_asked = |asset: &&Asset| asset.path.strip_prefix("/assets/") == Some(&asked);
    let asset = ASSETS.iter().find(is_asked);
    let asset = asset.ok_or_else(|| Problem::new(Kind::NotFound, "there is no such part of the pages"))?;
    let headers: [(HeaderName, HeaderValue); 2] = [
        (header::CONTENT_TYPE, HeaderValue::from_static(asset.kind)),
        (header::CACHE_CONTROL, HeaderValue::from_static("public, max-age=31536000, immutable")),
    ];
    Ok((headers, asset.text.as_str()).into_response())
}
