//! stub
#![allow(missing_docs)]
#[derive(Debug, Default)]
pub struct UtcLine;
impl UtcLine {
    pub fn push(&mut self, _t_s: f64, _r: i64) {}
    pub fn push_exchange(&mut self, _s: i64, _t_s: f64, _r: i64) {}
    pub fn reset(&mut self) {}
    pub fn utc_ns(&self, _t_s: f64) -> Option<(i64, f64)> {
        None
    }
    pub fn why_poor(&self) -> Option<String> {
        None
    }
}
