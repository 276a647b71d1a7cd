//! What is around every page: head, way to the other pages, units and light, and what browsers may do with it.

use super::assets;
use super::view::{Look, View};
use crate::daemon::access::{OfAthletes, Who};
use crate::daemon::store::rows::{Role, Word};
use crate::report::words::Units;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{DOCTYPE, Markup, html};
use uuid::Uuid;

/// Everything comes from this service, scripts and styles from files alone (W3C, *Content Security Policy Level 3*).
const POLICY: HeaderValue = HeaderValue::from_static(
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
     form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
);

/// Which way leads to where one is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Here {
    /// The cage screen.
    Live,
    /// Looking back.
    Past,
    /// Setting up.
    Setup,
    /// None of them.
    Elsewhere,
}

const WAYS: [(Here, &str, &str); 3] =
    [(Here::Live, "/", "At the plate"), (Here::Past, "/athletes", "Athletes"), (Here::Setup, "/setup", "Set up")];

/// A page on its way out.
pub struct Page {
    status: StatusCode,
    title: String,
    here: Here,
    view: View,
    role: Option<Role>,
    /// Whether that is by a token which this browser may forget.
    is_paired: bool,
    /// Where the stream of its parts is.
    stream: Option<&'static str>,
    of: OfAthletes,
    main: Markup,
}

impl Page {
    /// With a title and what is in it.
    pub fn new(title: impl Into<String>, here: Here, view: View, who: &Who, main: Markup) -> Self {
        Self {
            status: StatusCode::OK,
            title: title.into(),
            here,
            view,
            role: Some(who.role()),
            is_paired: matches!(who, Who::Holder { .. }),
            stream: None,
            of: OfAthletes::default(),
            main,
        }
    }

    /// For somebody of whom nothing is known.
    pub fn for_anybody(status: StatusCode, title: impl Into<String>, view: View, main: Markup) -> Self {
        let (title, here, of) = (title.into(), Here::Elsewhere, OfAthletes::default());
        Self { status, title, here, view, role: None, is_paired: false, stream: None, of, main }
    }

    /// With another status than 200.
    pub fn with_status(self, status: StatusCode) -> Self {
        Self { status, ..self }
    }

    /// Its slots (`data-slot`) are filled anew by this stream.
    pub fn following(self, stream: &'static str) -> Self {
        Self { stream: Some(stream), ..self }
    }

    /// It shows these athletes' data: what is written down of a request over the network.
    pub fn about(mut self, athletes: impl IntoIterator<Item = Uuid>) -> Self {
        self.of.0.extend(athletes);
        self
    }

    /// Those that are open to whoever looks.
    fn ways(&self) -> impl Iterator<Item = (Here, &'static str, &'static str)> {
        let role = self.role;
        let least = |here: Here| if here == Here::Setup { Role::Coach } else { Role::Viewer };
        WAYS.into_iter().filter(move |(here, ..)| role.is_some_and(|role| role >= least(*here)))
    }

    fn markup(&self) -> Markup {
        let role = self.role.map_or("nobody", Word::word);
        html! {
            (DOCTYPE)
            html lang="en" data-look=(self.view.look.word()) {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    title { (self.title) " · swingd" }
                    link rel="stylesheet" href=(assets::path("style.css"));
                    link rel="icon" href=(assets::path("icon.svg")) type="image/svg+xml";
                    script src=(assets::path("script.js")) defer {}
                }
                // What only a coach may do is hidden from others by the style; the API refuses it anyway.
                body data-role=(role) data-stream=[self.stream] {
                    a.skip href="#main" { "To the content" }
                    header.top {
                        nav aria-label="Pages" {
                            @for (way, href, words) in self.ways() {
                                a href=(href) aria-current=[(way == self.here).then_some("page")] { (words) }
                            }
                        }
                        (choices(self.view))
                    }
                    p #lost role="status" hidden { "No connection to the service. It is tried again." }
                    p #problem role="alert" hidden {}
                    main #main tabindex="-1" { (self.main) }
                    @if self.is_paired { (leave(role)) }
                }
            }
        }
    }
}

/// What a paired device is, and the way out.
fn leave(role: &str) -> Markup {
    html! {
        footer.paired {
            form method="post" action="/pair/leave" {
                span { "This device is paired as " (role) "." }
                button type="submit" { "Leave" span.unseen { ": this device is to be paired no more" } }
            }
        }
    }
}

/// Units and light: each button sets a cookie to its value.
fn choices(view: View) -> Markup {
    let (units, units_words, other_units) = match view.units {
        Units::Us => ("metric", "mph, ft", "m/s, m"),
        Units::Metric => ("us", "m/s, m", "mph, ft"),
    };
    let (look, look_words, other_look) = match view.look {
        Look::Auto => ("light", "Light: auto", "light"),
        Look::Light => ("dark", "Light", "dark"),
        Look::Dark => ("auto", "Dark", "as the device has it"),
    };
    html! {
        .choices {
            button type="button" data-set=(format!("units={units}")) data-key="units" title=(format!("Change to {other_units}"))
                aria-label=(format!("Units: {units_words}; change to {other_units}")) { (units_words) }
            button type="button" data-set=(format!("look={look}")) data-key="look" title=(format!("Change to {other_look}"))
                aria-label=(format!("{look_words}; change to {other_look}")) { (look_words) }
        }
    }
}

impl IntoResponse for Page {
    fn into_response(self) -> Response {
        let headers = [
            (header::CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8")),
            (header::CONTENT_SECURITY_POLICY, POLICY),
            // Under `no-referrer` a browser sends a form's `Origin` as `null` (Fetch, 3.2), which is nobody's.
            (header::REFERRER_POLICY, HeaderValue::from_static("same-origin")),
        ];
        let mut response = (self.status, headers, self.markup().into_string()).into_response();
        response.extensions_mut().insert(self.of);
        response
    }
}
