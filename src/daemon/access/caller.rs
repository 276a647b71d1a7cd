//! Who asks: somebody at this machine, the holder of a token, or nobody that is known.

use crate::daemon::store::rows::{Role, Token, UtcMicros};
use axum::http::{HeaderMap, header};
use std::net::{IpAddr, Ipv6Addr, SocketAddr};
use uuid::Uuid;

/// The two ends of the connection that a request came by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Peer {
    /// The other end.
    pub remote: SocketAddr,
    /// This one.
    pub local: SocketAddr,
}

/// Somebody who is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Who {
    /// Whoever uses this machine; it is theirs.
    ThisMachine,
    /// The holder of a token.
    Holder {
        /// The token's id.
        id: Uuid,
        /// What it is for.
        label: String,
        /// What they may.
        role: Role,
    },
}

impl Who {
    /// What they may.
    pub fn role(&self) -> Role {
        match self {
            Self::ThisMachine => Role::Owner,
            Self::Holder { role, .. } => *role,
        }
    }
}

/// Who a request says it comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Claim<'a> {
    /// This machine.
    ThisMachine,
    /// Whoever holds this token.
    Token(&'a str),
    /// The same, as a browser sends it of its own accord, whichever page made it ask.
    Cookie(&'a str),
    /// It does not say.
    Nobody,
    /// What it says cannot be read: why.
    Unreadable(&'static str),
}

/// The cookie in which a browser keeps the token of its device. Cookies know no ports: whatever else is served under the same
/// name is sent it too.
pub const COOKIE: &str = "swingd_token";

const NO_BEARER: &str = "`Authorization` is not one bearer token; expected `Bearer TOKEN`";
const NO_COOKIE: &str = "there is not one cookie with a token; pair this device again";

/// Headers by which a proxy says that it speaks for somebody else (RFC 7239; the others are custom).
const FORWARDED: [&str; 3] = ["forwarded", "via", "x-real-ip"];
const FORWARDED_PREFIX: &str = "x-forwarded";

impl Claim<'_> {
    /// Whether a cookie makes it, be it readable or not.
    pub fn is_by_cookie(&self) -> bool {
        matches!(self, Self::Cookie(_) | Self::Unreadable(NO_COOKIE))
    }
}

impl Peer {
    /// Whether both ends are on this machine, as far as the connection tells.
    pub fn is_loopback(&self) -> bool {
        let is_loopback = |address: SocketAddr| address.ip().to_canonical().is_loopback();
        is_loopback(self.remote) && is_loopback(self.local)
    }

    /// The network that limits count by: an IPv4 address, or the 64 bits of an IPv6 one that a household has. Of the network
    /// that this machine is in itself, and of link-local addresses, the whole address: else the whole cage would be one.
    pub fn network(&self) -> IpAddr {
        match self.remote.ip().to_canonical() {
            IpAddr::V6(ip) if !ip.is_unicast_link_local() && !self.is_on_link(ip) => IpAddr::V6(prefix(ip)),
            ip => ip,
        }
    }

    fn is_on_link(&self, ip: Ipv6Addr) -> bool {
        matches!(self.local.ip().to_canonical(), IpAddr::V6(local) if prefix(local) == prefix(ip))
    }
}

/// The first 64 bits.
fn prefix(ip: Ipv6Addr) -> Ipv6Addr {
    (u128::from(ip) >> 64 << 64).into()
}

/// Who a request says it comes from. `Authorization` goes before the connection: it may be for less. A cookie does not, as
/// nobody chooses to send it: whoever uses this machine stays its owner.
pub fn claim<'a>(headers: &'a HeaderMap, peer: &Peer) -> Claim<'a> {
    let mut given = headers.get_all(header::AUTHORIZATION).iter();
    match (given.next(), given.next()) {
        (Some(value), None) => value.to_str().ok().and_then(bearer).map_or(Claim::Unreadable(NO_BEARER), Claim::Token),
        (Some(_), Some(_)) => Claim::Unreadable(NO_BEARER),
        (None, _) if peer.is_loopback() && !is_forwarded(headers) => Claim::ThisMachine,
        (None, _) => of_cookies(headers),
    }
}

fn of_cookies(headers: &HeaderMap) -> Claim<'_> {
    let mut given = cookies(headers).filter(|(name, _)| *name == COOKIE).map(|(_, token)| token);
    match (given.next(), given.next()) {
        (None, _) => Claim::Nobody,
        (Some(token), None) if !token.is_empty() => Claim::Cookie(token),
        _ => Claim::Unreadable(NO_COOKIE),
    }
}

/// Names and values of all cookies (RFC 6265, 4.2.1). A header that is no text, and a part without `=`, hold none of ours.
pub(in crate::daemon) fn cookies(headers: &HeaderMap) -> impl Iterator<Item = (&str, &str)> {
    let lines = headers.get_all(header::COOKIE).iter().filter_map(|line| line.to_str().ok());
    lines.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='))
}

/// The cookie with a token, for a browser to keep until the token expires: no script reads it, no other site's page has it
/// sent (RFC 6265bis, 4.1.2). Not `Secure`: the service speaks plain HTTP.
pub fn cookie(token: &str, max_age_s: i64) -> String {
    format!("{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/; Max-Age={max_age_s}")
}

/// Whether it says that it was sent on for somebody else.
pub fn is_forwarded(headers: &HeaderMap) -> bool {
    headers.keys().any(|name| FORWARDED.contains(&name.as_str()) || name.as_str().starts_with(FORWARDED_PREFIX))
}

/// The token of `Bearer TOKEN` (RFC 6750, 2.1).
fn bearer(value: &str) -> Option<&str> {
    let (scheme, token) = value.split_once(' ')?;
    let token = token.trim_matches(' ');
    (scheme.eq_ignore_ascii_case("bearer") && !token.is_empty() && !token.contains(' ')).then_some(token)
}

/// Who holds a token, if it is worth something now.
///
/// # Errors
/// Why it is not.
pub fn holder(token: &Token, now: UtcMicros) -> Result<Who, &'static str> {
    if token.revoked.is_some() {
        return Err("this token was taken back; pair this device again");
    }
    if token.expires <= now {
        return Err("this token has expired; pair this device again");
    }
    Ok(Who::Holder { id: token.id, label: token.label.clone(), role: token.role })
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::{HeaderName, HeaderValue};

    fn peer(remote: &str, local: &str) -> Peer {
        Peer { remote: remote.parse().unwrap(), local: local.parse().unwrap() }
    }

    fn claimed(peer: &Peer, lines: &[(&'static str, &'static str)]) -> String {
        let mut headers = HeaderMap::new();
        for (name, value) in lines {
            headers.append(HeaderName::from_static(name), HeaderValue::from_static(value));
        }
        format!("{:?}", claim(&headers, peer))
    }

    #[test]
    fn this_machine_needs_no_token_unless_it_speaks_for_another() {
        let here = peer("127.0.0.1:5000", "127.0.0.1:7951");
        assert_eq!(claimed(&here, &[]), "ThisMachine");
        assert_eq!(claimed(&peer("[::ffff:127.0.0.1]:5000", "[::ffff:127.0.0.1]:7951"), &[]), "ThisMachine");
        for name in ["forwarded", "x-forwarded-for", "x-forwarded-proto", "via", "x-real-ip"] {
            assert_eq!(claimed(&here, &[(name, "192.0.2.1")]), "Nobody", "{name}");
        }
        assert_eq!(claimed(&here, &[("authorization", "Bearer x")]), "Token(\"x\")");
        for (remote, local) in
            [("192.0.2.7:5000", "192.0.2.7:7951"), ("127.0.0.1:5000", "192.0.2.7:7951"), ("[2001:db8::1]:1", "[::1]:1")]
        {
            assert_eq!(claimed(&peer(remote, local), &[]), "Nobody", "{remote} {local}");
        }
    }

    #[test]
    fn only_one_bearer_token_is_one() {
        let there = peer("192.0.2.9:5000", "192.0.2.7:7951");
        assert_eq!(claimed(&there, &[("authorization", "bEARER  x ")]), "Token(\"x\")");
        for value in ["Bearer", "Bearer ", "Basic eA==", "x", "Bearer x y", ""] {
            let claimed = claimed(&there, &[("authorization", value)]);
            assert!(claimed.starts_with("Unreadable(\"`Authorization`"), "{value:?}: {claimed}");
        }
        let twice = [("authorization", "Bearer x"), ("authorization", "Bearer x")];
        assert!(claimed(&there, &twice).starts_with("Unreadable"));
    }

    #[test]
    fn one_cookie_is_a_token_elsewhere_and_takes_nothing_away_here() {
        let there = peer("192.0.2.9:5000", "192.0.2.7:7951");
        assert_eq!(claimed(&there, &[("cookie", "units=metric; swingd_token=x; look=dark")]), "Cookie(\"x\")");
        assert_eq!(claimed(&there, &[("cookie", "units=metric"), ("cookie", "swingd_token=x")]), "Cookie(\"x\")");
        let both = [("cookie", "swingd_token=x"), ("authorization", "Bearer y")];
        assert_eq!(claimed(&there, &both), "Token(\"y\")");
        assert_eq!(claimed(&there, &[("cookie", "other=x; xswingd_token=y; swingd_token")]), "Nobody");
        for value in ["swingd_token=x; swingd_token=x", "swingd_token=", "swingd_token=;swingd_token=x"] {
            assert!(claimed(&there, &[("cookie", value)]).starts_with("Unreadable(\"there is not one"), "{value}");
        }
        let here = peer("127.0.0.1:5000", "127.0.0.1:7951");
        assert_eq!(claimed(&here, &[("cookie", "swingd_token=x")]), "ThisMachine");
        let forwarded = [("cookie", "swingd_token=x"), ("via", "1.1 cage")];
        assert_eq!(claimed(&here, &forwarded), "Cookie(\"x\")");
    }

    #[test]
    fn a_token_is_worth_something_until_it_expires_or_is_taken_back() {
        let token = Token {
            id: Uuid::nil(),
            sha256: String::new(),
            label: "wall".into(),
            role: Role::Viewer,
            created: UtcMicros(0),
            expires: UtcMicros(100),
            revoked: None,
            last_used: None,
        };
        assert_eq!(holder(&token, UtcMicros(99)).unwrap().role(), Role::Viewer);
        assert!(holder(&token, UtcMicros(100)).unwrap_err().contains("expired"));
        let revoked = Token { revoked: Some(UtcMicros(5)), ..token };
        assert!(holder(&revoked, UtcMicros(6)).unwrap_err().contains("taken back"));
    }

    #[test]
    fn limits_count_a_household() {
        let network = |remote: &str| peer(remote, "127.0.0.1:1").network().to_string();
        assert_eq!(network("192.0.2.9:5"), "192.0.2.9");
        assert_eq!(network("[::ffff:192.0.2.9]:5"), "192.0.2.9");
        assert_eq!(network("[2001:db8:1:2:3:4:5:6]:5"), "2001:db8:1:2::");
        assert_eq!(network("[fe80::7]:5"), "fe80::7", "every device has an address of this network");
        let beside = peer("[2001:db8:1:2:3:4:5:6]:5", "[2001:db8:1:2::1]:7951");
        assert_eq!(beside.network().to_string(), "2001:db8:1:2:3:4:5:6");
        let beyond = peer("[2001:db8:1:3:3:4:5:6]:5", "[2001:db8:1:2::1]:7951");
        assert_eq!(beyond.network().to_string(), "2001:db8:1:3::");
    }
}
