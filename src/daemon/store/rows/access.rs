//! Who may reach the service over the network, and who did.

use super::{UtcMicros, Word};
use uuid::Uuid;

/// What a token's holder may do; each may what those before it may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// Sees.
    Viewer,
    /// Changes what belongs to lessons.
    Coach,
    /// Erases, exports, and says who may.
    Owner,
}

impl Word for Role {
    const ALL: &'static [Self] = &[Self::Viewer, Self::Coach, Self::Owner];

    fn word(self) -> &'static str {
        match self {
            Self::Viewer => "viewer",
            Self::Coach => "coach",
            Self::Owner => "owner",
        }
    }
}

/// What is kept of a token: not the token itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    /// Its id, which is no secret.
    pub id: Uuid,
    /// SHA-256 of the token in hexadecimal.
    pub sha256: String,
    /// What it is for.
    pub label: String,
    /// What its holder may.
    pub role: Role,
    /// When it was made.
    pub created: UtcMicros,
    /// From when on it is worth nothing.
    pub expires: UtcMicros,
    /// When it was taken back.
    pub revoked: Option<UtcMicros>,
    /// When it was last used, to the minute.
    pub last_used: Option<UtcMicros>,
}

/// That somebody saw or changed something over the network.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AuditEntry {
    /// Its id.
    pub id: Uuid,
    /// When it was answered.
    pub at: UtcMicros,
    /// At which installation.
    pub cage: String,
    /// Whose token it was.
    pub token_id: Uuid,
    /// What that was for, as it was called then.
    pub token_label: String,
    /// What it allowed.
    pub role: Role,
    /// From which address.
    pub address: String,
    /// HTTP method.
    pub method: String,
    /// Path without query.
    pub path: String,
    /// The athlete whose data it was, where there is one.
    pub athlete_id: Option<Uuid>,
    /// HTTP status of the answer.
    pub status: u16,
}

/// Where an entry stands among the others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AuditKey {
    /// When.
    pub at: UtcMicros,
    /// Its id, among those of the same instant.
    pub id: Uuid,
}

impl std::fmt::Display for AuditKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.at.0, self.id)
    }
}

impl std::str::FromStr for AuditKey {
    type Err = ();

    fn from_str(text: &str) -> Result<Self, ()> {
        let (at, id) = text.split_once(' ').ok_or(())?;
        Ok(Self { at: UtcMicros(at.parse().map_err(drop)?), id: id.parse().map_err(drop)? })
    }
}
