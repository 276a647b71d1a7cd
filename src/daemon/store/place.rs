//! Where a store is.

use std::fmt;
use std::path::{Path, PathBuf};

/// A file, or a PostgreSQL server's database.
#[derive(Clone, PartialEq, Eq)]
pub enum Place {
    /// SQLite.
    File(PathBuf),
    /// PostgreSQL, by its URL.
    Postgres(String),
}

impl Place {
    /// The usual file in a data folder.
    pub fn in_folder(folder: &Path) -> Self {
        Self::File(folder.join("store.sqlite"))
    }

    /// From a setting: `postgres://…`; `None` for anything else.
    pub fn from_url(url: &str) -> Option<Self> {
        let is_postgres = url.starts_with("postgres://") || url.starts_with("postgresql://");
        is_postgres.then(|| Self::Postgres(url.to_owned()))
    }

    /// Whether it is a file of SQLite.
    pub fn is_sqlite(&self) -> bool {
        matches!(self, Self::File(_))
    }

    pub(super) fn url(&self) -> String {
        match self {
            Self::File(path) => format!("sqlite://{}?mode=rwc", escaped(&path.to_string_lossy())),
            Self::Postgres(url) => uncached(url),
        }
    }

    /// The same, of a file that stays as it is.
    pub(super) fn unchanged_url(&self) -> String {
        match self {
            Self::File(path) => format!("sqlite://{}?mode=ro&immutable=true", escaped(&path.to_string_lossy())),
            Self::Postgres(_) => self.url(),
        }
    }
}

/// Without statements that outlive a call: sqlx 0.9 gives an absent `f64` the type of an `f32` (`any/arguments.rs`), and
/// PostgreSQL then refuses the present one that comes to the same statement later.
fn uncached(url: &str) -> String {
    let separator = if url.contains('?') { '&' } else { '?' };
    format!("{url}{separator}statement-cache-capacity=0")
}

/// What would end the path of a URL.
fn escaped(path: &str) -> String {
    let escape = |c: char| match c {
        '%' => "%25".to_owned(),
        '?' => "%3F".to_owned(),
        '#' => "%23".to_owned(),
        c => c.to_string(),
    };
    path.chars().map(escape).collect()
}

/// For people and logs: without the password.
impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(path) => write!(f, "{}", path.display()),
            Self::Postgres(url) => {
                let (scheme, rest) = url.split_once("://").unwrap_or(("postgres", url));
                let after = rest.rsplit_once('@').map_or(rest, |(_, after)| after);
                let shown = after.split('?').next().unwrap_or(after);
                write!(f, "{scheme}://{shown}")
            }
        }
    }
}

impl fmt::Debug for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Place({self})")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_is_never_shown() {
        let place = Place::from_url("postgres://coach:s3cr@t@db.example:5433/cage?sslpassword=x").unwrap();
        assert_eq!(place.to_string(), "postgres://db.example:5433/cage");
        assert_eq!(format!("{place:?}"), "Place(postgres://db.example:5433/cage)");
        assert_eq!(Place::from_url("mysql://db/cage"), None);
    }
}
