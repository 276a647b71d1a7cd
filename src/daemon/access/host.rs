//! Whether a request means this service, and whether a page of somebody else's sent it.
//!
//! A page from elsewhere may point a name of its own at this machine (DNS rebinding): then the `Host` is that name, and is
//! refused. It may also send requests here under its own name; then the browser tells its `Origin` and that it is another
//! one (`Sec-Fetch-Site`, W3C Fetch Metadata), and that is refused too; another port of this machine is another origin.

use axum::http::{HeaderMap, Method, Uri, header};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

/// The names under which this service may be asked.
#[derive(Clone, Debug, Default)]
pub struct Hosts(Vec<String>);

impl Hosts {
    /// Those of the machine itself, the addresses it is reached by, and these.
    pub fn new(further: &[String]) -> Self {
        Self(further.to_vec())
    }

    /// Whether the request means this service (RFC 9110, 7.2; RFC 9112, 3.2). `local` is where its connection ends here.
    ///
    /// # Errors
    /// What was found and what was expected.
    pub fn check_host(&self, uri: &Uri, headers: &HeaderMap, local: SocketAddr) -> Result<(), String> {
        let mut hosts = headers.get_all(header::HOST).iter();
        let expected = "expected localhost, 127.0.0.1 or [::1], the address that was asked, or a name in http.hosts";
        let (Some(host), None) = (hosts.next(), hosts.next()) else {
            return Err(format!("there is not one Host; {expected}"));
        };
        let host = host.to_str().unwrap_or_default();
        // A request may name its host twice; then the one in its first line counts, and both have to be right.
        let both = [Some(host), uri.authority().map(axum::http::uri::Authority::as_str)];
        let is_own = |host: &str| parts(host).is_some_and(|(name, _)| self.is_own(name, local.ip()));
        match both.into_iter().flatten().find(|host| !is_own(host)) {
            None => Ok(()),
            Some(other) => Err(format!("the host is `{}`; {expected}", shown(other))),
        }
    }

    /// Whether no page of another origin sent it. Programs send no `Origin`.
    ///
    /// # Errors
    /// What was found and what was expected.
    pub fn check_origin(&self, headers: &HeaderMap, local: SocketAddr) -> Result<(), String> {
        let mut sites = headers.get_all("sec-fetch-site").iter();
        if let Some(site) = sites.find(|site| !matches!(site.as_bytes(), b"same-origin" | b"none")) {
            let site = shown(site.to_str().unwrap_or_default());
            return Err(format!(
                "Sec-Fetch-Site is `{site}`; expected same-origin or none: a page of this service's own"
            ));
        }
        let mut origins = headers.get_all(header::ORIGIN).iter().map(|origin| origin.to_str().unwrap_or_default());
        match origins.find(|origin| !self.is_own_origin(origin, local)) {
            None => Ok(()),
            Some(other) => {
                let expected = "expected http, a name of this service and its port, or no Origin";
                Err(format!("the origin is `{}`; {expected}", shown(other)))
            }
        }
    }

    /// Whether something may be changed by a request whose token came by itself, in a cookie: only where the browser says that
    /// a page of this service's own sent it. Every browser tells the `Origin` of what changes something (Fetch, 3.2), which is
    /// [looked at](Self::check_origin) for all; what tells nothing is no browser of today, and has `Authorization`.
    ///
    /// # Errors
    /// What was expected.
    pub fn check_cookie(method: &Method, headers: &HeaderMap) -> Result<(), String> {
        let tells = headers.contains_key(header::ORIGIN) || headers.contains_key("sec-fetch-site");
        if method.is_safe() || tells {
            return Ok(());
        }
        Err("a cookie alone changes nothing; expected an Origin beside it, or `Authorization: Bearer`".into())
    }

    fn is_own_origin(&self, origin: &str, local: SocketAddr) -> bool {
        let Some((name, port)) = origin.strip_prefix("http://").and_then(parts) else { return false };
        port.unwrap_or(80) == local.port() && self.is_own(name, local.ip())
    }

    fn is_own(&self, name: &str, local: IpAddr) -> bool {
        let name = name.to_ascii_lowercase();
        matches!(name.as_str(), "localhost" | "127.0.0.1" | "[::1]")
            || address(&name) == Some(local.to_canonical())
            || self.0.contains(&name)
    }
}

/// Name and port of an authority without user.
fn parts(authority: &str) -> Option<(&str, Option<u16>)> {
    let end = if authority.starts_with('[') {
        authority.find(']')? + 1
    } else {
        authority.find(':').unwrap_or(authority.len())
    };
    let (name, rest) = authority.split_at_checked(end)?;
    let port = match rest.strip_prefix(':') {
        None if rest.is_empty() => None,
        None => return None,
        Some("") => None,
        Some(digits) if digits.bytes().all(|byte| byte.is_ascii_digit()) => Some(digits.parse().ok()?),
        Some(_) => return None,
    };
    (!name.is_empty()).then_some((name, port))
}

/// Only the usual form is an address: `127.1` is none.
fn address(name: &str) -> Option<IpAddr> {
    match name.strip_prefix('[') {
        Some(rest) => rest.strip_suffix(']')?.parse::<Ipv6Addr>().ok().map(|ip| IpAddr::V6(ip).to_canonical()),
        None => name.parse::<Ipv4Addr>().ok().map(IpAddr::V4),
    }
}

/// As far as it is safe and short enough to be repeated.
fn shown(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(80).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::{HeaderName, HeaderValue};

    fn headers(lines: &[(&'static str, &str)]) -> HeaderMap {
        let line = |(name, value): &(&'static str, &str)| {
            (HeaderName::from_static(name), HeaderValue::from_bytes(value.as_bytes()).unwrap())
        };
        let mut headers = HeaderMap::new();
        for (name, value) in lines.iter().map(line) {
            headers.append(name, value);
        }
        headers
    }

    fn hosts() -> Hosts {
        Hosts::new(&["cage.local".to_owned()])
    }

    #[test]
    fn only_own_names_and_the_address_that_was_asked_are_hosts() {
        let is_taken = |host: &str, local: &str| {
            let local = local.parse().unwrap();
            hosts().check_host(&Uri::from_static("/v1/bats"), &headers(&[("host", host)]), local).is_ok()
        };
        for host in ["localhost", "LOCALHOST:1", "127.0.0.1:7951", "[::1]", "[::1]:80", "cage.local", "Cage.Local:7951"]
        {
            assert!(is_taken(host, "127.0.0.1:7951"), "{host}");
        }
        assert!(is_taken("192.0.2.7:7951", "192.0.2.7:7951"));
        assert!(is_taken("192.0.2.7", "[::ffff:192.0.2.7]:7951"), "IPv4 through a socket of IPv6");
        assert!(is_taken("[2001:db8::7]:7951", "[2001:db8::7]:7951"));
        for host in [
            "",
            ":80",
            "bats.example",
            "localhost.bats.example",
            "127.0.0.1.bats.example",
            "::1",
            "a b",
            "192.0.2.8",
            "192.0.2.7@bats.example",
            "user@localhost",
            "localhost:x",
            "localhost:99999",
            "[::1",
            "[::1]x",
            "localhost.",
            "127.1",
            "0.0.0.0",
            "é",
        ] {
            assert!(!is_taken(host, "192.0.2.7:7951"), "{host}");
        }
    }

    #[test]
    fn one_host_and_the_same_in_the_first_line() {
        let local = "127.0.0.1:7951".parse().unwrap();
        let check = |uri: &str, lines: &[(&'static str, &str)]| {
            hosts().check_host(&uri.parse().unwrap(), &headers(lines), local).is_ok()
        };
        let host = ("host", "localhost");
        assert!(check("/v1/bats", &[host]) && check("http://localhost:7951/v1/bats", &[host]));
        assert!(!check("/v1/bats", &[]) && !check("/v1/bats", &[host, host]));
        assert!(!check("http://bats.example/v1/bats", &[host]));
        assert!(!check("http://localhost/v1/bats", &[("host", "bats.example")]));
    }

    #[test]
    fn pages_of_other_origins_are_told_by_what_the_browser_says() {
        let local = "192.0.2.7:7951".parse().unwrap();
        let is_taken = |lines: &[(&'static str, &str)]| hosts().check_origin(&headers(lines), local).is_ok();
        assert!(is_taken(&[]));
        for origin in ["http://localhost:7951", "http://192.0.2.7:7951", "http://cage.local:7951"] {
            assert!(is_taken(&[("origin", origin), ("sec-fetch-site", "same-origin")]), "{origin}");
        }
        for origin in [
            "null",
            "",
            "http://localhost",
            "http://localhost:3000",
            "https://localhost:7951",
            "http://bats.example:7951",
            "http://localhost:7951.bats.example",
            "http://localhost:7951/",
            "file://",
            "http://192.0.2.8:7951",
        ] {
            assert!(!is_taken(&[("origin", origin)]), "{origin}");
        }
        assert!(!is_taken(&[("origin", "http://localhost:7951"), ("origin", "http://bats.example")]));
        assert!(is_taken(&[("sec-fetch-site", "none")]));
        for site in ["cross-site", "same-site", "", "other"] {
            assert!(!is_taken(&[("sec-fetch-site", site)]), "{site}");
            assert!(!is_taken(&[("sec-fetch-site", "none"), ("sec-fetch-site", site)]), "{site}");
        }
    }
}
