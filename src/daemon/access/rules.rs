//! Who may do what: one table, a line a route. What is not in it is the owner's alone.

use crate::daemon::store::rows::Role;

/// What holds for a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    method: &'static str,
    path: &'static str,
    /// The least role that may; `None`: anybody, without a token.
    pub least: Option<Role>,
    /// Whether it shows or changes what belongs to an athlete, or who may, so that it is written down who did.
    pub is_personal: bool,
    /// Whether it may take long: uploads and exports.
    pub is_long: bool,
}

/// For routes that nobody thought of.
const UNKNOWN: Rule = Rule { method: "", path: "", least: Some(Role::Owner), is_personal: true, is_long: false };

const fn rule(least: Role, method: &'static str, path: &'static str) -> Rule {
    Rule { method, path, least: Some(least), is_personal: true, is_long: false }
}
const fn viewer(method: &'static str, path: &'static str) -> Rule {
    rule(Role::Viewer, method, path)
}
const fn coach(method: &'static str, path: &'static str) -> Rule {
    rule(Role::Coach, method, path)
}
const fn owner(method: &'static str, path: &'static str) -> Rule {
    rule(Role::Owner, method, path)
}

impl Rule {
    /// Where there is nothing: whoever is known may be told so.
    pub const NOWHERE: Self =
        Self { method: "", path: "", least: Some(Role::Viewer), is_personal: false, is_long: false };

    const fn of_nobody(self) -> Self {
        Self { is_personal: false, ..self }
    }
    const fn long(self) -> Self {
        Self { is_long: true, ..self }
    }
    const fn open(self) -> Self {
        Self { least: None, is_personal: false, ..self }
    }
}

/// Looking is a viewer's; changing, what makes the service listen or keep samples, consents and taking whole files along a coach's; erasing, exporting all of somebody and
/// saying who may are the owner's.
const RULES: &[Rule] = &[
    viewer("GET", "/v1/openapi.json").of_nobody(),
    viewer("GET", "/v1/health").of_nobody(),
    viewer("GET", "/metrics").of_nobody(),
    viewer("GET", "/v1/events"),
    viewer("GET", "/v1/sensors").of_nobody(),
    viewer("GET", "/v1/faults").of_nobody(),
    viewer("GET", "/v1/definitions").of_nobody(),
    viewer("GET", "/v1/profiles/{sha256}").of_nobody(),
    viewer("GET", "/v1/at-the-plate"),
    coach("PUT", "/v1/at-the-plate"),
    coach("PATCH", "/v1/at-the-plate"),
    coach("POST", "/v1/example"),
    coach("DELETE", "/v1/example"),
    viewer("GET", "/v1/athletes"),
    coach("POST", "/v1/athletes"),
    viewer("GET", "/v1/athletes/{id}"),
    coach("PATCH", "/v1/athletes/{id}"),
    owner("DELETE", "/v1/athletes/{id}").long(),
    owner("GET", "/v1/athletes/{id}/archive").long(),
    viewer("GET", "/v1/athletes/{id}/summary"),
    viewer("GET", "/v1/athletes/{id}/report"),
    viewer("GET", "/v1/athletes/{id}/ball-summary"),
    coach("GET", "/v1/athletes/{id}/consents"),
    coach("POST", "/v1/athletes/{id}/consents"),
    coach("GET", "/v1/consents/{id}"),
    coach("PATCH", "/v1/consents/{id}"),
    owner("GET", "/v1/tombstones"),
    viewer("GET", "/v1/athletes/{id}/alike"),
    viewer("GET", "/v1/athletes/{id}/homework"),
    coach("POST", "/v1/athletes/{id}/homework"),
    viewer("GET", "/v1/homework/{id}"),
    coach("PATCH", "/v1/homework/{id}"),
    coach("DELETE", "/v1/homework/{id}"),
    viewer("GET", "/v1/comparison"),
    viewer("GET", "/v1/comparison/curves"),
    viewer("GET", "/v1/amounts").of_nobody(),
    coach("PATCH", "/v1/amounts").of_nobody(),
    viewer("GET", "/v1/bats").of_nobody(),
    coach("POST", "/v1/bats").of_nobody(),
    viewer("GET", "/v1/bats/{id}").of_nobody(),
    coach("PATCH", "/v1/bats/{id}").of_nobody(),
    coach("DELETE", "/v1/bats/{id}").of_nobody(),
    viewer("GET", "/v1/sensors/{id}").of_nobody(),
    coach("PATCH", "/v1/sensors/{id}").of_nobody(),
    coach("GET", "/v1/nearby").of_nobody(),
    coach("PUT", "/v1/nearby/{id}").of_nobody(),
    coach("GET", "/v1/sensors/{id}/checks").of_nobody(),
    coach("POST", "/v1/sensors/{id}/checks").of_nobody(),
    viewer("GET", "/v1/mounts").of_nobody(),
    coach("POST", "/v1/mounts").of_nobody(),
    viewer("GET", "/v1/mounts/{id}").of_nobody(),
    coach("PATCH", "/v1/mounts/{id}").of_nobody(),
    coach("DELETE", "/v1/mounts/{id}").of_nobody(),
    viewer("GET", "/v1/aims"),
    coach("POST", "/v1/aims"),
    viewer("GET", "/v1/aims/{id}"),
    coach("PATCH", "/v1/aims/{id}"),
    coach("DELETE", "/v1/aims/{id}"),
    viewer("GET", "/v1/lessons"),
    coach("POST", "/v1/lessons"),
    viewer("GET", "/v1/lessons/{id}"),
    coach("PATCH", "/v1/lessons/{id}"),
    coach("DELETE", "/v1/lessons/{id}"),
    coach("POST", "/v1/lessons/{id}/film-match").long(),
    viewer("GET", "/v1/lessons/{id}/rounds"),
    coach("POST", "/v1/rounds"),
    viewer("GET", "/v1/rounds/{id}"),
    coach("PATCH", "/v1/rounds/{id}"),
    coach("DELETE", "/v1/rounds/{id}"),
    viewer("GET", "/v1/recordings"),
    coach("POST", "/v1/recordings").long(),
    viewer("GET", "/v1/recordings/{id}"),
    coach("GET", "/v1/recordings/{id}/file").long(),
    coach("POST", "/v1/recordings/{id}/reanalyses").long(),
    viewer("GET", "/v1/swings"),
    coach("GET", "/v1/swings/export.csv").long(),
    coach("GET", "/v1/swings/export.parquet").long(),
    coach("POST", "/v1/swings/moves"),
    viewer("GET", "/v1/swings/{id}"),
    coach("PATCH", "/v1/swings/{id}"),
    viewer("GET", "/v1/swings/{id}/curves"),
    viewer("GET", "/v1/swings/{id}/curves.csv"),
    viewer("GET", "/v1/swings/{id}/revisions"),
    viewer("GET", "/v1/swings/{id}/if-squared-up"),
    viewer("GET", "/v1/ball-results"),
    coach("POST", "/v1/ball-results"),
    coach("POST", "/v1/ball-results/import"),
    viewer("GET", "/v1/ball-results/{id}"),
    coach("PATCH", "/v1/ball-results/{id}"),
    coach("DELETE", "/v1/ball-results/{id}"),
    owner("GET", "/v1/tokens").of_nobody(),
    owner("POST", "/v1/tokens"),
    owner("DELETE", "/v1/tokens/{id}"),
    owner("POST", "/v1/pairings"),
    viewer("POST", "/v1/pairings/redeem").open(),
    viewer("GET", "/pair").open(),
    viewer("POST", "/pair").open(),
    viewer("POST", "/pair/leave").open(),
    viewer("GET", "/assets/{name}").open(),
    viewer("GET", "/"),
    viewer("GET", "/live/stream"),
    viewer("GET", "/athletes"),
    viewer("GET", "/athletes/{id}"),
    viewer("GET", "/athletes/{id}/then-and-now"),
    viewer("GET", "/lessons/{id}"),
    viewer("GET", "/swings/{id}"),
    coach("GET", "/start"),
    coach("GET", "/setup"),
    coach("GET", "/setup/nearby").of_nobody(),
    coach("GET", "/setup/amounts").of_nobody(),
    coach("GET", "/setup/athletes/{id}"),
    coach("GET", "/setup/bats/{id}").of_nobody(),
    coach("GET", "/setup/sensors/{id}"),
    coach("GET", "/setup/sensors/{id}/check").of_nobody(),
    owner("GET", "/v1/audit"),
];

/// What holds for a method and a route's pattern.
pub fn rule_of(method: &str, pattern: &str) -> Rule {
    find(method, pattern).unwrap_or(UNKNOWN)
}

/// The line of the table, if there is one. A head is asked for as its whole.
pub fn find(method: &str, pattern: &str) -> Option<Rule> {
    let method = if method == "HEAD" { "GET" } else { method };
    RULES.iter().find(|rule| rule.method == method && rule.path == pattern).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_in_the_table_is_the_owners_and_is_written_down() {
        let rule = rule_of("PUT", "/v1/nothing");
        assert_eq!((rule.least, rule.is_personal), (Some(Role::Owner), true));
        assert_eq!(rule_of("HEAD", "/v1/bats"), rule_of("GET", "/v1/bats"));
        assert_eq!(rule_of("PUT", "/v1/bats").least, Some(Role::Owner));
    }

    #[test]
    fn no_line_stands_twice_and_only_pairing_is_open() {
        for (at, rule) in RULES.iter().enumerate() {
            let same = |other: &&Rule| (other.method, other.path) == (rule.method, rule.path);
            assert_eq!(RULES.iter().position(|other| same(&other)), Some(at), "{} {}", rule.method, rule.path);
            let reads = rule.method == "GET" || rule.least.is_none();
            assert!(reads || rule.least > Some(Role::Viewer), "{rule:?}");
        }
        let open: Vec<_> = RULES.iter().filter(|rule| rule.least.is_none()).map(|rule| rule.path).collect();
        assert_eq!(open, ["/v1/pairings/redeem", "/pair", "/pair", "/pair/leave", "/assets/{name}"]);
    }
}
