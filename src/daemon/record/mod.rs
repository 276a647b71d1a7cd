//! What is done with the record as a whole.
//!
//! [`erase`] takes one athlete out of everything there is: rows ([`store`](super::store)), files of recordings ([`cut`]),
//! what was told ([`hub`](super::hub)), copies ([`copies`]); [`theirs`] says what is whose. [`backup`] makes a copy, described by a
//! [`manifest`]; [`restore`] puts one in place. [`retention`] erases what was kept long enough. [`archive`] is one athlete
//! as one file. What is done in several steps can end between any two of them ([`steps`]).

pub mod backup;
pub mod copies;
pub mod cut;
pub mod erase;
pub mod manifest;
pub mod restore;
pub mod retention;
pub mod steps;
pub mod theirs;
