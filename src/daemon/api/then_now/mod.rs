//! Two selections of swings set side by side.
//!
//! [`query`] says which.

pub mod query;
