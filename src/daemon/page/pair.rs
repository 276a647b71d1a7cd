//! Where a device that is not this machine enters its pairing code.

use super::shell::Page;
use super::view::View;
use axum::http::StatusCode;
use maud::html;

/// The page: the code is behind `#` in the address, or is typed.
pub async fn page(view: View) -> Page {
    Page::for_anybody(StatusCode::OK, "Pair this device", view, html! { h1 { "Pair this device" } })
}

/// Gives the code back; the token is kept in a cookie that no script can read.
pub async fn enter() -> StatusCode {
    StatusCode::NOT_IMPLEMENTED
}

/// Forgets the token in this browser.
pub async fn leave() -> StatusCode {
    StatusCode::NOT_IMPLEMENTED
}
