//! Paths with parameters.

use std::fmt;

/// A path of the API and its query, each value escaped.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Address {
    text: String,
    has_query: bool,
}

impl Address {
    /// The path that these parts make, each escaped: `["v1", "athletes", id]`.
    pub fn new(parts: &[&str]) -> Self {
        let mut text = String::new();
        for part in parts {
            text.push('/');
            escape(part, &mut text);
        }
        Self { text, has_query: false }
    }

    /// With a parameter, if there is a value.
    #[must_use]
    pub fn with(mut self, name: &str, value: Option<impl AsRef<str>>) -> Self {
        let Some(value) = value else { return self };
        self.text.push(if self.has_query { '&' } else { '?' });
        self.has_query = true;
        escape(name, &mut self.text);
        self.text.push('=');
        escape(value.as_ref(), &mut self.text);
        self
    }

    /// As it stands in a request.
    pub fn as_str(&self) -> &str {
        &self.text
    }
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// All but the unreserved characters (RFC 3986, section 2.3) as per cent and two digits a byte.
fn escape(text: &str, out: &mut String) {
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_end_a_value_is_escaped() {
        let address = Address::new(&["v1", "a/b?"]).with("nickname", Some("Wren & Söhne")).with("none", None::<&str>);
        assert_eq!(
            address.with("side", Some("left")).as_str(),
            "/v1/a%2Fb%3F?nickname=Wren%20%26%20S%C3%B6hne&side=left"
        );
    }
}
