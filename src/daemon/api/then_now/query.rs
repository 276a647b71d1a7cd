//! Which swings are set side by side: the parameters of lists of swings, for both groups or for one.
//!
//! `side=right` holds for both, `then_side=left` for the earlier group alone, `now_side=right` for the later one alone; what is
//! said for one group alone goes before what is said for both. Where
//! an instant is expected a day does as well, all of it, as it is counted at this machine. Where the path says whose swings they
//! are, the query cannot.

use super::super::problem::{Kind, Problem, Result};
use super::super::swings::query::FilterParams;
use super::super::swings::words::MetricWord;
use crate::daemon::store::queries::swings_read::{SwingFilter, Whose};
use crate::engine::metrics::Metric;
use crate::report::words::Units;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa::openapi::path::{Parameter, ParameterBuilder, ParameterIn, ParameterStyle};
use utoipa::openapi::schema::{ArrayBuilder, KnownFormat, ObjectBuilder, OneOfBuilder, SchemaFormat, Type};
use utoipa::openapi::{RefOr, Required, Schema};
use utoipa::{PartialSchema, ToSchema};
use uuid::Uuid;

pub use super::super::swings::query::{read, split};

/// The metrics that are looked at together.
const METRIC: &str = "metric";
/// Whose swings: of both groups, of the earlier one, of the later one.
const ATHLETES: [&str; 3] = ["athlete", "then_athlete", "now_athlete"];
/// What words are in.
const UNITS: &str = "units";

/// Before a parameter that holds for one group alone, and what such a group is.
const GROUPS: [(&str, &str); 2] = [("then_", "the earlier group"), ("now_", "the later group")];

/// Two selections of swings and what is looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct ThenNowQuery {
    /// The earlier group's, and the later one's.
    pub filters: [SwingFilter; 2],
    /// The metrics that are looked at together, in the order of [`Metric::ALL`], each once: all where nothing is said.
    pub metrics: Vec<Metric>,
    /// What words for people are in.
    pub units: Units,
}

/// The parameters of [`ThenNowQuery::of_athlete`], for the document.
pub struct OfAthlete;

/// One selection of an athlete's swings; whose stands in the path.
#[derive(Clone, Debug, PartialEq)]
pub struct OneQuery(pub SwingFilter);

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UnitsParam {
    units: Option<UnitsWord>,
}

/// In which units words are.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum UnitsWord {
    /// Miles per hour and feet.
    Us,
    /// Metres per second and metres.
    Metric,
}

impl From<UnitsWord> for Units {
    fn from(word: UnitsWord) -> Self {
        match word {
            UnitsWord::Us => Self::Us,
            UnitsWord::Metric => Self::Metric,
        }
    }
}

impl ThenNowQuery {
    /// From the text of a query.
    ///
    /// # Errors
    /// If it holds what is no parameter, one twice for the same group, or a value that cannot be.
    pub fn of(query: &str) -> Result<Self> {
        let (metrics, others) = split(query, &[METRIC]);
        let (units, filters) = split(&others, &[UNITS]);
        let units = read::<UnitsParam>(&units)?.units.map_or(Units::Us, Units::from);
        let metrics: Vec<(String, MetricWord)> = read(&metrics)?;
        let mut metrics: Vec<Metric> = metrics.into_iter().map(|(_, metric)| metric.0).collect();
        metrics.sort();
        metrics.dedup();
        if metrics.is_empty() {
            metrics = Metric::ALL.into();
        }
        let filter = |group: usize| read::<FilterParams>(&of_group(&filters, group)?)?.filter();
        Ok(Self { filters: [filter(0)?, filter(1)?], metrics, units })
    }

    /// Both groups of an athlete who stands in the path. What a form leaves empty is left out.
    ///
    /// # Errors
    /// As of [`Self::of`], and if it says whose swings.
    pub fn of_athlete(query: &str, athlete: Uuid) -> Result<Self> {
        refuse_athletes(query)?;
        let mut asked = Self::of(&filled_in(query))?;
        for filter in &mut asked.filters {
            filter.whose = Some(Whose::Athlete(athlete));
        }
        Ok(asked)
    }
}

impl<S: Send + Sync> FromRequestParts<S> for ThenNowQuery {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self> {
        Self::of(parts.uri.query().unwrap_or_default())
    }
}

impl<S: Send + Sync> FromRequestParts<S> for OneQuery {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self> {
        let query = parts.uri.query().unwrap_or_default();
        refuse_athletes(query)?;
        let pairs: Result<Vec<String>> = query.split('&').map(with_instant).collect();
        Ok(Self(read::<FilterParams>(&pairs?.join("&"))?.filter()?))
    }
}

/// What a query says, decoded; nothing where it cannot be read.
pub fn pairs(query: &str) -> Vec<(String, String)> {
    read(query).unwrap_or_default()
}

/// A query without what nobody filled in, which forms send as well: `side=`.
pub fn filled_in(query: &str) -> String {
    let is_filled_in = |pair: &&str| pair.split_once('=').is_none_or(|(_, value)| !value.is_empty());
    query.split('&').filter(is_filled_in).collect::<Vec<_>>().join("&")
}

fn refuse_athletes(query: &str) -> Result<()> {
    match pairs(query).into_iter().find(|(key, _)| ATHLETES.contains(&key.as_str())) {
        None => Ok(()),
        Some((key, _)) => Err(Problem::new(
            Kind::Malformed,
            format!("{key}: whose swings stands in the path; expected it there alone"),
        )),
    }
}

/// The parameters of one of [`GROUPS`] as those of a list.
fn of_group(query: &str, group: usize) -> Result<String> {
    let prefix = |pair: &str| GROUPS.iter().position(|(prefix, _)| pair.starts_with(prefix));
    let own = |pair: &'_ str| match prefix(pair) {
        Some(of) if of == group => GROUPS.get(of).and_then(|(prefix, _)| pair.strip_prefix(prefix)).map(str::to_owned),
        _ => None,
    };
    let mut pairs: Vec<String> = query.split('&').filter_map(own).collect();
    let own: Vec<String> = pairs.iter().map(|pair| key(pair).to_owned()).collect();
    let is_for_both = |pair: &&str| prefix(pair).is_none() && !own.iter().any(|own| own == key(pair));
    pairs.extend(query.split('&').filter(is_for_both).map(str::to_owned));
    let day = |name: &str| pairs.iter().find(|pair| key(pair) == name)?.split_once('=')?.1.parse::<Date>().ok();
    if let (Some(from), Some(to)) = (day("from"), day("to"))
        && to < from
    {
        let prefix = GROUPS.get(group).map_or("", |(prefix, _)| prefix);
        return Err(Problem::new(Kind::Malformed, format!("{prefix}to: {to} is before {prefix}from, {from}")));
    }
    let pairs: Result<Vec<String>> = pairs.iter().map(|pair| with_instant(pair)).collect();
    Ok(pairs?.join("&"))
}

fn key(pair: &str) -> &str {
    pair.split('=').next().unwrap_or_default()
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
        Some((key, None)) => Err(Problem::new(Kind::Malformed, format!("{key}: is no day here"))),
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
        plain.into_iter().chain(of_groups).chain([metric(), units()]).collect()
    }
}

impl IntoParams for OneQuery {
    fn into_params(parameter_in: impl Fn() -> Option<ParameterIn>) -> Vec<Parameter> {
        without_athletes(FilterParams::into_params(parameter_in)).map(with_day).collect()
    }
}

impl IntoParams for OfAthlete {
    fn into_params(parameter_in: impl Fn() -> Option<ParameterIn>) -> Vec<Parameter> {
        without_athletes(ThenNowQuery::into_params(parameter_in)).collect()
    }
}

fn without_athletes(all: Vec<Parameter>) -> impl Iterator<Item = Parameter> {
    all.into_iter().filter(|parameter| !ATHLETES.contains(&parameter.name.as_str()))
}

/// Where an instant is taken, a day is as well.
fn with_day(mut parameter: Parameter) -> Parameter {
    if ["from", "to"].contains(&parameter.name.as_str()) {
        let text =
            |format| ObjectBuilder::new().schema_type(Type::String).format(Some(SchemaFormat::KnownFormat(format)));
        let either = OneOfBuilder::new().item(text(KnownFormat::DateTime)).item(text(KnownFormat::Date));
        parameter.schema = Some(either.into());
        let words = parameter.description.take().unwrap_or_default();
        parameter.description = Some(format!("{words} A day is taken as well: all of it, as it is counted there."));
    }
    parameter
}

fn units() -> Parameter {
    ParameterBuilder::new()
        .name(UNITS)
        .parameter_in(ParameterIn::Query)
        .required(Required::False)
        .description(Some(
            "What sentences for people are in: mph and feet where nothing is said. Numbers are not changed by it.",
        ))
        .schema(Some(UnitsWord::schema()))
        .build()
}

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
    use crate::daemon::store::rows::{Side, UtcMicros};
    use jiff::Timestamp;

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
        let [then, now] = groups("side=right&then_side=left");
        assert_eq!((then.side, now.side), (Some(Side::Left), Some(Side::Right)), "for one goes before for both");
        assert_eq!(ThenNowQuery::of("units=metric").unwrap().units, Units::Metric);
        assert_eq!(groups("drill=tee%20low%26in")[1].drill.as_deref(), Some("tee low&in"));
    }

    #[test]
    fn whose_swings_stands_in_the_path_alone() {
        let (wren, tern) = (Uuid::from_u128(7), Uuid::from_u128(8));
        let form = ThenNowQuery::of_athlete("then_side=left&bat=&now_from=&side=", wren).unwrap();
        assert_eq!(form, ThenNowQuery::of(&format!("athlete={wren}&then_side=left")).unwrap());
        for key in ["athlete", "then_athlete", "now_athlete", "then%5Fathlete", "%61thlete"] {
            for value in [tern.to_string(), wren.to_string(), "none".to_owned(), String::new()] {
                let refused = ThenNowQuery::of_athlete(&format!("side=left&{key}={value}"), wren);
                assert!(matches!(refused, Err(Problem { kind: Kind::Malformed, .. })), "{key}={value}: {refused:?}");
            }
        }
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
            "now_side=left&now_side=right",
            "units=furlongs",
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
    fn every_parameter_of_a_list_is_said_three_times_and_metrics_and_units_once() {
        let said = ThenNowQuery::into_params(|| Some(ParameterIn::Query));
        let plain = FilterParams::into_params(|| Some(ParameterIn::Query));
        assert_eq!(said.len(), 3 * plain.len() + 2);
        for parameter in plain {
            let of =
                |prefix: &str| said.iter().filter(|said| said.name == format!("{prefix}{}", parameter.name)).count();
            assert_eq!([of(""), of("then_"), of("now_")], [1, 1, 1], "{}", parameter.name);
        }
    }
}
