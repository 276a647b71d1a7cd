//! Where a device that is not this machine enters its pairing code.
//!
//! A browser that follows a link sends no `Authorization`, so its token is kept in a cookie. The code is given back by pressing
//! a button and not by opening the address: nobody is paired by a link that somebody else made.

use super::shell::Page;
use super::view::View;
use crate::daemon::access::{Peer, caller};
use crate::daemon::api::{Api, Body, Kind, Problem, Redemption, Refusal, give_back};
use axum::extract::{Extension, Form, FromRequest, Request, State};
use axum::http::{HeaderName, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};

const FORM: &[u8] = b"application/x-www-form-urlencoded";

/// The page: the code is behind `#` in the address, or is typed.
pub async fn page(view: View) -> Page {
    Page::for_anybody(StatusCode::OK, "Pair this device", view, entry(None))
}

/// Gives the code back; the token is kept in a cookie that no script can read.
pub async fn enter(
    State(api): State<Api>,
    view: View,
    Extension(peer): Extension<Peer>,
    request: Request,
) -> Result<Response, Refusal> {
    let kind = request.headers().get(header::CONTENT_TYPE);
    let is_form = kind.is_some_and(|kind| kind.as_bytes().starts_with(FORM));
    let entered = match read(&api, is_form, request).await {
        Ok(redemption) => paired(&api, peer, redemption).await,
        Err(problem) => Err(problem.into()),
    };
    entered.or_else(|refusal| if is_form { Ok(refused(refusal, view)) } else { Err(refusal) })
}

/// Forgets the token in this browser.
pub async fn leave(view: View) -> Response {
    let main = html! {
        h1 { "This device is paired no more" }
        p { "Its token is forgotten here. To take it back for good, look for it in " code { "GET /v1/tokens" } " at the service's machine." }
        p { a.button href="/pair" { "Pair it again" } }
    };
    let page = Page::for_anybody(StatusCode::OK, "Paired no more", view, main);
    ([(header::SET_COOKIE, caller::cookie("", 0))], page).into_response()
}

async fn read(api: &Api, is_form: bool, request: Request) -> Result<Redemption, Problem> {
    if !is_form {
        return Body::from_request(request, api).await.map(|Body(redemption)| redemption);
    }
    let unread = |why: axum::extract::rejection::FormRejection| Problem::new(Kind::Malformed, why.body_text());
    Form::from_request(request, api).await.map(|Form(redemption)| redemption).map_err(unread)
}

async fn paired(api: &Api, peer: Peer, redemption: Redemption) -> Result<Response, Refusal> {
    let made = give_back(api, peer, redemption).await?;
    let max_age_s = (made.row.expires.0 - made.row.created.0) / 1_000_000;
    let headers: [(HeaderName, String); 2] =
        [(header::SET_COOKIE, caller::cookie(&made.token, max_age_s)), (header::LOCATION, "/".into())];
    Ok((StatusCode::SEE_OTHER, headers).into_response())
}

/// The page again, with why.
fn refused(refusal: Refusal, view: View) -> Response {
    let main = entry(Some(refusal.words()));
    let answer = refusal.into_response();
    let mut page = Page::for_anybody(answer.status(), "Pair this device", view, main).into_response();
    if let Some(wait) = answer.headers().get(header::RETRY_AFTER) {
        page.headers_mut().insert(header::RETRY_AFTER, wait.clone());
    }
    page
}

fn entry(problem: Option<&str>) -> Markup {
    html! {
        h1 { "Pair this device" }
        p { "At the service's machine, " code { "swingd pair" } " shows a code. It is good once, for ten minutes." }
        @if let Some(words) = problem {
            p.care #refused role="alert" { "This device was not paired: " (words) "." }
        }
        form method="post" action="/pair" {
            label { "Code"
                br;
                input #code name="code" required maxlength="40" autocomplete="off" autocapitalize="characters" spellcheck="false"
                    placeholder="ABCD-2345" aria-describedby=[problem.map(|_| "refused")];
            }
            label { "What this device is called, to tell it from others (may be left out)"
                br;
                input name="label" maxlength="100" autocomplete="off";
            }
            button.primary type="submit" { "Pair" }
        }
        p.faint {
            "The device keeps a cookie. Whoever has the device has what it may; between it and the service nothing is encrypted, so pair \
             only in a network that is yours."
        }
    }
}
