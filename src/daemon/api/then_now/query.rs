//! Which swings are set side by side: the parameters of lists of swings, for both groups or for one.
//!
//! `side=right` holds for both, `then_side=left` for the earlier group alone, `now_side=right` for the later one alone. Where
//! an instant is expected a day does as well, all of it, as it is counted at this machine. Forms of pages send what nobody
//! filled in (`side=`): it is left out for pages; the API refuses it.

use super::super::problem::{Problem, Result};
use super::super::swings::query::{FilterParams, read, split};
use super::super::swings::words::MetricWord;
use crate::daemon::store::queries::swings_read::SwingFilter;
use crate::engine::metrics::Metric;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use utoipa::IntoParams;
use utoipa::PartialSchema;
use utoipa::openapi::path::{Parameter, ParameterBuilder, ParameterIn, ParameterStyle};
use utoipa::openapi::schema::{ArrayBuilder, ObjectBuilder, Type};
use utoipa::openapi::{RefOr, Required, Schema};

/// The metrics that are looked at together.
const METRIC: &str = "metric";

/// Before a parameter that holds for one group alone, and what such a group is.
const GROUPS: [(&str, &str); 2] = [("then_", "the earlier group"), ("now_", "the later group")];

/// Two selections of swings and what is looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct ThenNowQuery {
    /// The earlier group's, and the later one's.
    pub filters: [SwingFilter; 2],
    /// The metrics that are looked at together, in the order of [`Metric::ALL`], each once: all where nothing is said.
    pub metrics: Vec<Metric>,
}

impl ThenNowQuery {
    /// From the text of a query.
    ///
    /// # Errors
    /// If it holds what is no parameter, one twice for the same group, or a value that cannot be.
    pub fn of(query: &str) -> Result<Self> {
        let (metrics, filters) = split(query, &[METRIC]);
        let metrics: Vec<(String, MetricWord)> = read(&metrics)?;
        let mut metrics: Vec<Metric> = metrics.into_iter().map(|(_, metric)| metric.0).collect();
        metrics.sort();
        metrics.dedup();
        if metrics.is_empty() {
            metrics = Metric::ALL.into();
        }
        let filter = |group: usize| read::<FilterParams>(&of_group(&filters, group)?)?.filter();
        Ok(Self { filters: [filter(0)?, filter(1)?], metrics })
    }

    /// The same from what a form sends: what nobody filled in is left out.
    ///
    /// # Errors
    /// As of [`Self::of`].
    pub fn of_form(query: &str) -> Result<Self> {
        let is_filled_in = |pair: &&str| pair.split_once('=').is_none_or(|(_, value)| !value.is_empty());
        Self::of(&query.split('&').filter(is_filled_in).collect::<Vec<_>>().join("&"))
    }
}

impl<S: Send + Sync> FromRequestParts<S> for ThenNowQuery {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self> {
        let query = parts.uri.query().unwrap_or_default();
        if parts.uri.path().starts_with("/v1/") { Self::of(query) } else { Self::of_form(query) }
    }
}

/// What a query says, decoded; nothing where it cannot be read.
pub fn pairs(query: &str) -> Vec<(String, String)> {
    read(query).unwrap_or_default()
}

/// The parameters of one of [`GROUPS`] as those of a list.
fn of_group(query: &str, group: usize) -> Result<String> {
    let mut own = Vec::new();
    for pair in query.split('&') {
        let of = GROUPS.iter().position(|(prefix, _)| pair.starts_with(prefix));
        match of {
            Some(of) if of == group => own.push(with_instant(pair.get(GROUPS[of].0.len()..).unwrap_or_default())?),
            Some(_) => {}
            None => own.push(with_instant(pair)?),
        }
    }
    Ok(own.join("&"))
}

/// Where a day stands for an instant, the first one of it, or for the end the first one after it.
fn with_instant(pair: &str) -> Result<String> {
    let day = |text: &str| text.parse::<Date>().ok().filter(|_| text.len() == "2026-11-25".len());
    let instant = |day: Option<Date>| {
        let zoned = day?.to_zoned_datetime(TimeZone::system()).ok()?;
        Some(zoned.timestamp().to_string())
    };
    let of = match pair.split_once('=') {
        Some((key @ "from", text)) => day(text).map(|day| (key, instant(Some(day)))),
        Some((key @ "to", text)) => day(text).map(|day| (key, instant(day.tomorrow().ok()))),
        _ => None,
    };
    match of {
        None => Ok(pair.to_owned()),
        Some((key, Some(instant))) => Ok(format!("{key}={instant}")),
        Some((key, None)) => {
            Err(Problem::new(super::super::problem::Kind::Malformed, format!("{key}: is no day here")))
        }
    }
}

impl IntoParams for ThenNowQuery {
    fn into_params(parameter_in: impl Fn() -> Option<ParameterIn>) -> Vec<Parameter> {
        let plain = FilterParams::into_params(parameter_in).into_iter().map(with_day).collect::<Vec<_>>();
        let of_groups = GROUPS.iter().flat_map(|(prefix, group)| {
            plain.iter().map(move |parameter| {
                let mut parameter = parameter.clone();
                parameter.description = Some(format!("The same as `{}`, for {group} alone.", parameter.name));
                parameter.name = format!("{prefix}{}", parameter.name);
                parameter
            })
        });
        let of_groups: Vec<_> = of_groups.collect();
        plain.into_iter().chain(of_groups).chain([metric()]).collect()
    }
}

/// Where an instant is taken, a day is as well.
fn with_day(mut parameter: Parameter) -> Parameter {
    if ["from", "to"].contains(&parameter.name.as_str()) {
        parameter.schema = Some(ObjectBuilder::new().schema_type(Type::String).pattern(Some(DAY_OR_INSTANT)).into());
        let words = parameter.description.take().unwrap_or_default();
        parameter.description = Some(format!("{words} A day is taken as well: all of it, as it is counted there."));
    }
    parameter
}

/// A day, or an instant in RFC 3339.
const DAY_OR_INSTANT: &str =
    "^[0-9]{4}-[0-9]{2}-[0-9]{2}([Tt][0-9]{2}:[0-9]{2}:[0-9]{2}(\\.[0-9]+)?([Zz]|[+-][0-9]{2}:[0-9]{2}))?$";

fn metric() -> Parameter {
    let word: RefOr<Schema> = MetricWord::schema();
    ParameterBuilder::new()
        .name(METRIC)
        .parameter_in(ParameterIn::Query)
        .required(Required::False)
        .description(Some(
            "Only this metric; may be given several times. All where nothing is said. They are looked at together: the more \
             there are, the more each has to show.",
        ))
        .schema(Some(ArrayBuilder::new().items(word)))
        .style(Some(ParameterStyle::Form))
        .explode(Some(true))
        .build()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::api::problem::Kind;
    use crate::daemon::store::queries::swings_read::Whose;
    use crate::daemon::store::rows::{Side, UtcMicros};
    use jiff::Timestamp;
    use uuid::Uuid;

    fn groups(query: &str) -> [SwingFilter; 2] {
        ThenNowQuery::of(query).unwrap().filters
    }

    #[test]
    fn what_has_no_prefix_holds_for_both_and_what_has_one_for_that_group() {
        let id = Uuid::from_u128(7);
        let [then, now] =
            groups(&format!("athlete={id}&then_side=left&now_side=right&now_from=2026-11-25T16:10:18%2B00:00"));
        assert_eq!((then.whose, now.whose), (Some(Whose::Athlete(id)), Some(Whose::Athlete(id))));
        assert_eq!((then.side, now.side, then.bat), (Some(Side::Left), Some(Side::Right), None));
        assert_eq!((then.from, now.from), (None, Some(UtcMicros(1_795_623_018_000_000))));
        assert_eq!(groups(""), [SwingFilter::default(), SwingFilter::default()]);
        let form = ThenNowQuery::of_form("then_side=left&bat=&now_from=&side=").unwrap();
        assert_eq!(form, ThenNowQuery::of("then_side=left").unwrap());
        assert_eq!(groups("drill=tee%20low%26in")[1].drill.as_deref(), Some("tee low&in"));
    }

    #[test]
    fn a_day_is_all_of_it_as_it_is_counted_here() {
        let [then, now] = groups("then_to=2026-03-01&now_from=2026-03-02");
        assert_eq!((then.to, then.from, now.to), (now.from, None, None), "one ends where the next begins");
        let begins = Timestamp::from_microsecond(now.from.unwrap().0).unwrap().to_zoned_datetime(TimeZone::system());
        assert_eq!(begins.strftime("%Y-%m-%d %H:%M:%S").to_string(), "2026-03-02 00:00:00");
        let [both, _] = groups("from=2026-03-01&to=2026-03-01");
        let hours = (both.to.unwrap().0 - both.from.unwrap().0) / 3_600_000_000;
        assert!((23..=25).contains(&hours), "{hours}");
    }

    #[test]
    fn metrics_are_a_family_in_the_usual_order_each_once() {
        let of = |query: &str| ThenNowQuery::of(query).unwrap().metrics;
        assert_eq!(of("side=left"), Metric::ALL);
        let [first, second] = [Metric::BatSpeed, Metric::AttackAngle].map(Metric::key);
        let three = format!("metric={second}&side=left&metric={first}&metric={second}");
        assert_eq!(of(&three), [Metric::BatSpeed, Metric::AttackAngle]);
    }

    #[test]
    fn what_cannot_be_is_refused() {
        for query in [
            "colour=red",
            "then_colour=red",
            "side=up",
            "now_side=up",
            "side=left&now_side=right",
            "metric=power",
            "then_metric=bat_speed_mps",
            "from=2026-02-30",
            "from=2026-3-1",
            "to=yesterday",
            "to=9999-12-31",
            "then_then_side=left",
            "athlete=wren",
            "then_=left",
            "=",
            "bat=",
            "now_from=",
            "%00=1",
            "limit=4",
        ] {
            let refused = ThenNowQuery::of(query).map_err(|problem| problem.kind);
            assert!(matches!(refused, Err(Kind::Malformed | Kind::Invalid)), "{query}: {refused:?}");
        }
    }

    #[test]
    fn every_parameter_of_a_list_is_said_three_times_and_the_metrics_once() {
        let said = ThenNowQuery::into_params(|| Some(ParameterIn::Query));
        let plain = FilterParams::into_params(|| Some(ParameterIn::Query));
        assert_eq!(said.len(), 3 * plain.len() + 1);
        for parameter in plain {
            let of =
                |prefix: &str| said.iter().filter(|said| said.name == format!("{prefix}{}", parameter.name)).count();
            assert_eq!([of(""), of("then_"), of("now_")], [1, 1, 1], "{}", parameter.name);
        }
    }
}
