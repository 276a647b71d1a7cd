//! What chromedriver understands beyond WebDriver.

use fantoccini::error::ErrorStatus;
use fantoccini::wd::WebDriverCompatibleCommand;
use hyper::Method;
use serde_json::{Value, json};
use url::{ParseError, Url};

/// A POST below the session's address.
#[derive(Debug)]
pub struct Post {
    path: &'static str,
    body: Value,
}

impl Post {
    /// A command of the Chrome DevTools Protocol.
    pub fn devtools(command: &str, parameters: Value) -> Self {
        Self { path: "goog/cdp/execute", body: json!({"cmd": command, "params": parameters}) }
    }

    /// What was logged since the last time: `browser` or `performance`.
    pub fn log(kind: &str) -> Self {
        Self { path: "se/log", body: json!({ "type": kind }) }
    }
}

impl WebDriverCompatibleCommand for Post {
    fn endpoint(&self, base_url: &Url, session_id: Option<&str>) -> Result<Url, ParseError> {
        base_url.join(&format!("session/{}/{}", session_id.unwrap_or_default(), self.path))
    }

    fn method_and_body(&self, _: &Url) -> (Method, Option<String>) {
        (Method::POST, Some(self.body.to_string()))
    }
}

/// Whether an element went away between being found and being touched, or something was before it for a moment.
pub fn is_passing(error: &fantoccini::error::CmdError) -> bool {
    use ErrorStatus::{ElementClickIntercepted, ElementNotInteractable, NoSuchElement, StaleElementReference};
    let fantoccini::error::CmdError::Standard(error) = error else { return false };
    let passing = [StaleElementReference, ElementClickIntercepted, ElementNotInteractable, NoSuchElement];
    passing.contains(&error.error)
}
