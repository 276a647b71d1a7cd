//! Two selections of swings set side by side.
//!
//! [`query`] says which; [`usual`] which where nobody says; [`report`] is all of it as one file.

pub mod query;
pub mod report;
pub mod usual;
