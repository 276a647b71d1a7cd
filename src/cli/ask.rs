//! What commands of the record have in common: whom and what their words name, lists to their end, instants as people say
//! and read them.

use super::config::{Config, ConfigArgs};
use super::door::{Address, Door, DoorError};
use super::replay::UnitsArg;
use anyhow::{Context, bail};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use std::io::Write;
use std::str::FromStr;
use uuid::Uuid;

/// A page has no more items than this.
const MOST_A_PAGE: usize = 500;
/// So many nicknames are named where one is not found.
const MOST_NAMED: usize = 10;

/// How an answer is shown, and where it is from.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct ShownArgs {
    /// Units of the table
    #[arg(long, value_enum, default_value_t)]
    pub units: UnitsArg,
    /// Print what the HTTP API answers, a page a line
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// The way to the record, by the configuration; variables that are ignored are told.
pub(super) fn open(args: &ConfigArgs, err: &mut dyn Write) -> anyhow::Result<Door> {
    let (config, unknown) = Config::of_this_machine(args)?;
    for variable in unknown {
        writeln!(err, "{variable}")?;
    }
    Ok(Door::open(&config)?)
}

/// A list, as far as it was asked for.
pub(super) struct List<T> {
    /// Its items.
    pub items: Vec<T>,
    /// The pages as they came.
    pub pages: Vec<Vec<u8>>,
    /// Whether there are more.
    pub has_more: bool,
}

#[derive(Deserialize)]
struct Page<T> {
    items: Vec<T>,
    next: Option<String>,
}

/// Pages of a list until it ends or has `most` items.
pub(super) fn list<T: DeserializeOwned>(door: &Door, address: &Address, most: usize) -> Result<List<T>, DoorError> {
    let mut list = List { items: Vec::new(), pages: Vec::new(), has_more: true };
    let mut after = None;
    while list.has_more && list.items.len() < most {
        let limit = (most - list.items.len()).min(MOST_A_PAGE).to_string();
        let address = address.clone().with("limit", Some(limit)).with("after", after.as_ref());
        let answer = door.get(address.as_str())?;
        let Page { items, next } = answer.read()?;
        list.items.extend(items);
        list.pages.push(answer.body);
        list.has_more = next.is_some();
        after = next;
    }
    Ok(list)
}

/// What the API answered, as it came, a line each.
pub(super) fn print_json<'a>(
    out: &mut dyn Write,
    bodies: impl IntoIterator<Item = &'a Vec<u8>>,
) -> std::io::Result<()> {
    for body in bodies {
        out.write_all(body)?;
        writeln!(out)?;
    }
    out.flush()
}

/// An athlete, as far as commands show one.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Athlete {
    pub id: Uuid,
    pub nickname: String,
    pub birth_year: Option<i64>,
    pub bats: String,
    pub is_minor: Option<bool>,
    pub consent: String,
}

#[derive(Deserialize)]
struct Bat {
    id: Uuid,
    name: String,
}

/// The one athlete with this nickname or id.
pub(super) fn athlete(door: &Door, name: &str) -> anyhow::Result<Athlete> {
    if let Ok(id) = name.parse::<Uuid>() {
        return Ok(door.get(Address::new(&["v1", "athletes", &id.to_string()]).as_str())?.read()?);
    }
    let all = Address::new(&["v1", "athletes"]);
    let found = list::<Athlete>(door, &all.clone().with("nickname", Some(name)), usize::MAX)?.items;
    match found.as_slice() {
        [one] => Ok(one.clone()),
        [] => {
            let some = list::<Athlete>(door, &all, MOST_NAMED)?;
            let mut names: Vec<_> = some.items.into_iter().map(|athlete| athlete.nickname).collect();
            names.extend(some.has_more.then(|| "…".to_owned()));
            if names.is_empty() {
                bail!("no athlete is called \"{name}\", and none is entered yet; expected `swingd athletes add` first");
            }
            bail!("no athlete is called \"{name}\"; expected one of: {}", names.join(", "));
        }
        several => {
            let ids: Vec<_> = several.iter().map(|athlete| athlete.id.to_string()).collect();
            bail!("{} athletes are called \"{name}\"; expected one of their ids: {}", ids.len(), ids.join(", "));
        }
    }
}

/// The id of the one athlete, if one is named.
pub(super) fn athlete_id(door: &Door, name: Option<&str>) -> anyhow::Result<Option<String>> {
    Ok(name.map(|name| athlete(door, name)).transpose()?.map(|athlete| athlete.id.to_string()))
}

/// The id of the one bat with this name or id, if one is named.
pub(super) fn bat_id(door: &Door, name: Option<&str>) -> anyhow::Result<Option<String>> {
    let Some(name) = name else { return Ok(None) };
    if let Ok(id) = name.parse::<Uuid>() {
        return Ok(Some(id.to_string()));
    }
    let bats = list::<Bat>(door, &Address::new(&["v1", "bats"]), usize::MAX)?.items;
    let ids: Vec<_> = bats.iter().filter(|bat| bat.name == name).map(|bat| bat.id.to_string()).collect();
    match ids.as_slice() {
        [one] => Ok(Some(one.clone())),
        [] => {
            let names: Vec<_> = bats.iter().take(MOST_NAMED).map(|bat| bat.name.as_str()).collect();
            bail!("no bat is called \"{name}\"; expected one of: {}", names.join(", "))
        }
        several => bail!("{} bats are called \"{name}\"; expected one of their ids: {}", ids.len(), several.join(", ")),
    }
}

/// What bats are called, by id.
pub(super) fn bat_names(door: &Door) -> Result<BTreeMap<Uuid, String>, DoorError> {
    let bats = list::<Bat>(door, &Address::new(&["v1", "bats"]), usize::MAX)?.items;
    Ok(bats.into_iter().map(|bat| (bat.id, bat.name)).collect())
}

/// What athletes are called, by id.
pub(super) struct Nicknames(BTreeMap<Uuid, String>);

impl Nicknames {
    /// Of all.
    pub(super) fn read(door: &Door) -> Result<Self, DoorError> {
        let all = list::<Athlete>(door, &Address::new(&["v1", "athletes"]), usize::MAX)?.items;
        Ok(Self(all.into_iter().map(|athlete| (athlete.id, athlete.nickname)).collect()))
    }

    /// Empty where nobody is known.
    pub(super) fn of(&self, id: Option<Uuid>) -> String {
        id.and_then(|id| self.0.get(&id)).cloned().unwrap_or_default()
    }
}

/// A day by the clock of this machine, or an instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// All of it.
    Day(Date),
    /// This instant.
    At(Timestamp),
}

impl FromStr for When {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if let Ok(at) = text.parse::<Timestamp>() {
            return Ok(Self::At(at));
        }
        let day = text.parse::<Date>().map(Self::Day);
        day.map_err(|_| "expected a day such as 2026-11-25, or an instant such as 2026-11-25T16:10:18Z".to_owned())
    }
}

impl When {
    /// Its first instant, as the API reads it.
    pub(super) fn begins(self) -> anyhow::Result<String> {
        self.instant(Ok)
    }

    /// The first instant after it.
    pub(super) fn ends(self) -> anyhow::Result<String> {
        self.instant(|day| day.tomorrow())
    }

    fn instant(self, of_day: impl FnOnce(Date) -> Result<Date, jiff::Error>) -> anyhow::Result<String> {
        match self {
            Self::At(at) => Ok(at.to_string()),
            Self::Day(day) => {
                let zoned = of_day(day).and_then(|day| day.to_zoned_datetime(TimeZone::system()));
                Ok(zoned.with_context(|| format!("{day}: is no day here"))?.timestamp().to_string())
            }
        }
    }
}

/// `begins` of one and `ends` of another, where they are given.
pub(super) fn between(from: Option<When>, to: Option<When>) -> anyhow::Result<(Option<String>, Option<String>)> {
    Ok((from.map(When::begins).transpose()?, to.map(When::ends).transpose()?))
}

/// An instant by the clock of this machine, to the minute or the second.
pub(super) fn shown(at: Timestamp, to_the_second: bool) -> String {
    let form = if to_the_second { "%Y-%m-%d %H:%M:%S" } else { "%Y-%m-%d %H:%M" };
    at.to_zoned_datetime(TimeZone::system()).strftime(form).to_string()
}

/// An instant as the API writes it.
pub(super) fn instant<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Timestamp, D::Error> {
    String::deserialize(from)?.parse().map_err(serde::de::Error::custom)
}

/// The same, or none.
pub(super) fn maybe_instant<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Option<Timestamp>, D::Error> {
    Option::<String>::deserialize(from)?.map(|text| text.parse().map_err(serde::de::Error::custom)).transpose()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_all_of_it_and_an_instant_is_itself() {
        let day: When = "2026-11-25".parse().unwrap();
        let instant = |text: String| text.parse::<Timestamp>().unwrap();
        let length_s = instant(day.ends().unwrap()).duration_since(instant(day.begins().unwrap())).as_secs();
        assert!((23 * 3600..=25 * 3600).contains(&length_s), "{length_s}");
        let at: When = "2026-11-25T16:10:18Z".parse().unwrap();
        assert_eq!(
            (at.begins().unwrap(), at.ends().unwrap()),
            ("2026-11-25T16:10:18Z".into(), "2026-11-25T16:10:18Z".into())
        );
        for text in ["", "yesterday", "2026-02-30", "16:10"] {
            assert!(text.parse::<When>().is_err(), "{text}");
        }
    }
}
