//! Lists, a page at a time: `?limit=` and the cursor that the page before ended with (`?after=`).

use super::problem::{Kind, Problem};
use crate::daemon::hex::hex;
use crate::daemon::store::queries::Slice;
use serde::{Deserialize, Serialize};
use std::fmt::Display;
use std::str::FromStr;
use utoipa::{IntoParams, ToSchema};

/// A page has so many items where nothing is said,
const USUAL: u16 = 50;
/// and no more than this.
const MOST: u16 = 500;

/// Which part of a list.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct PageParams {
    /// `next` of the page before.
    #[param(max_length = 200)]
    pub after: Option<String>,
    /// At most so many items.
    #[param(minimum = 1, maximum = 500)]
    pub limit: Option<u16>,
}

/// Part of a list.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Page<T: ToSchema> {
    /// In the order of the list.
    pub items: Vec<T>,
    /// Goes into `after` for the next page; null at the end.
    #[schema(required)]
    pub next: Option<String>,
}

impl PageParams {
    /// What to ask the store for: one row more than the page has, to know whether there is another page.
    ///
    /// # Errors
    /// If the cursor was not given by this list, or the limit is out of range.
    pub fn slice<K: FromStr>(&self) -> Result<Slice<K>, Problem> {
        slice(self.after.as_deref(), self.limit)
    }

    /// The page of the rows that [`Self::slice`] asked for.
    pub fn page<R, T: ToSchema>(&self, rows: Vec<R>, key: impl Fn(&R) -> String, item: impl Fn(R) -> T) -> Page<T> {
        page(self.limit, rows, key, item)
    }
}

/// As [`PageParams::slice`], for lists with parameters of their own.
pub fn slice<K: FromStr>(after: Option<&str>, limit: Option<u16>) -> Result<Slice<K>, Problem> {
    let limit = limit.unwrap_or(USUAL);
    if !(1..=MOST).contains(&limit) {
        return Err(Problem::new(Kind::Malformed, format!("limit is {limit}; expected 1 to {MOST}")));
    }
    let not_ours = || Problem::new(Kind::Invalid, "`after` is no cursor of this list; expected `next` of a page of it");
    let after =
        after.map(|cursor| text_of(cursor).and_then(|text| text.parse().ok()).ok_or_else(not_ours)).transpose()?;
    Ok(Slice { after, limit: i64::from(limit) + 1 })
}

/// As [`PageParams::page`].
pub fn page<R, T: ToSchema>(
    limit: Option<u16>,
    mut rows: Vec<R>,
    key: impl Fn(&R) -> String,
    item: impl Fn(R) -> T,
) -> Page<T> {
    let limit = usize::from(limit.unwrap_or(USUAL));
    let is_more = rows.len() > limit;
    rows.truncate(limit);
    let next = rows.last().filter(|_| is_more).map(|last| cursor(key(last)));
    Page { items: rows.into_iter().map(item).collect(), next }
}

/// Hexadecimal: front-ends have no reason to look into it.
fn cursor(key: impl Display) -> String {
    hex(key.to_string().as_bytes())
}

fn text_of(cursor: &str) -> Option<String> {
    let bytes: Option<Vec<u8>> =
        cursor.as_bytes().chunks(2).map(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()).collect();
    String::from_utf8(bytes?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_ends_with_a_cursor_as_long_as_there_is_more() {
        let params = PageParams { after: None, limit: Some(2) };
        let page = params.page(vec![1, 2, 3], i32::to_string, |row| row.to_string());
        assert_eq!(page.items, ["1", "2"]);
        let next = PageParams { after: page.next, limit: Some(2) };
        assert_eq!(next.slice::<i32>().unwrap().after, Some(2));
        assert_eq!(next.page(vec![3], i32::to_string, |row| row.to_string()).next, None);
        for after in ["zz", "3", "é"] {
            assert!(PageParams { after: Some(after.into()), limit: None }.slice::<i32>().is_err(), "{after}");
        }
        assert!(PageParams { after: None, limit: Some(501) }.slice::<i32>().is_err());
    }
}
