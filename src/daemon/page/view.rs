//! How somebody looks at the pages: units, light or dark. Kept in cookies of the browser, so that a phone and the laptop differ.

use crate::daemon::access::caller::cookies;
use crate::report::words::Units;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use std::convert::Infallible;

/// What a browser asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct View {
    /// Units of all numbers.
    pub units: Units,
    /// Light or dark.
    pub look: Look,
}

/// Light or dark.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Look {
    /// As the browser prefers it.
    #[default]
    Auto,
    /// Dark on light.
    Light,
    /// Light on dark.
    Dark,
}

impl Look {
    /// As it stands in the cookie and in the page.
    pub fn word(self) -> &'static str {
        match self {
            Self::Auto => "auto",
            Self::Light => "light",
            Self::Dark => "dark",
        }
    }
}

impl<S: Send + Sync> FromRequestParts<S> for View {
    type Rejection = Infallible;

    /// A cookie that cannot be read is as good as none.
    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        let mut view = Self::default();
        for cookie in cookies(&parts.headers) {
            match cookie {
                ("units", "metric") => view.units = Units::Metric,
                ("look", "light") => view.look = Look::Light,
                ("look", "dark") => view.look = Look::Dark,
                _ => {}
            }
        }
        Ok(view)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::Request;
    use axum::http::header::COOKIE;

    async fn of(cookies: &[&str]) -> View {
        let mut request = Request::builder();
        for cookie in cookies {
            request = request.header(COOKIE, *cookie);
        }
        let (mut parts, ()) = request.body(()).unwrap().into_parts();
        View::from_request_parts(&mut parts, &()).await.unwrap()
    }

    #[tokio::test]
    async fn cookies_say_units_and_look_and_others_say_nothing() {
        assert_eq!(of(&[]).await, View { units: Units::Us, look: Look::Auto });
        assert_eq!(of(&["a=b; units=metric; look=dark"]).await, View { units: Units::Metric, look: Look::Dark });
        assert_eq!(of(&["units=metric", "look=light"]).await, View { units: Units::Metric, look: Look::Light });
        assert_eq!(of(&["units=furlongs; look; =;;"]).await, View::default());
    }
}
