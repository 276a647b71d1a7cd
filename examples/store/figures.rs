//! Figures beside what they must be.

/// What was measured so far.
pub struct Figures {
    has_limits: bool,
    missed: usize,
}

/// How long something took, many times, s.
#[derive(Debug, Default)]
pub struct Times(Vec<f64>);

impl Figures {
    /// None yet; whether limits are to be held.
    pub fn new(has_limits: bool) -> Self {
        Self { has_limits, missed: 0 }
    }

    /// A heading.
    pub fn part(&self, words: &str) {
        println!("\n{words}");
        println!("  {:58} {:>6} {:>8} {:>8} {:>8} {:>8}", "ms", "n", "p50", "p95", "p99", "worst");
    }

    /// Times whose 99 % must not be above a limit, ms.
    pub fn at_most(&mut self, what: &str, times: &Times, share: f64, most_ms: f64) {
        let (value, name) = (times.quantile_ms(share), if share < 1.0 { "p99" } else { "worst" });
        self.judge(&times.line(what), value <= most_ms, &format!("{name} must be ≤ {most_ms} ms"));
    }

    /// Times without a limit.
    pub fn tell(&self, what: &str, times: &Times) {
        println!("{}", times.line(what));
    }

    /// One number that must not be above a limit.
    pub fn one_at_most(&mut self, what: &str, value: f64, most: f64, unit: &str) {
        let line = format!("  {what:58} {value:.0} {unit}");
        self.judge(&line, value <= most, &format!("must be ≤ {most} {unit}"));
    }

    /// Whether none was missed.
    pub fn all_hold(&self) -> bool {
        self.missed == 0
    }

    fn judge(&mut self, line: &str, holds: bool, expected: &str) {
        if !self.has_limits {
            println!("{line}");
            return;
        }
        self.missed += usize::from(!holds);
        println!("{line}   {expected}: {}  (load {})", if holds { "ok" } else { "MISSED" }, load());
    }
}

impl Times {
    /// One more.
    pub fn add(&mut self, seconds: f64) {
        self.0.push(seconds);
    }

    /// Those of another.
    pub fn append(&mut self, mut other: Self) {
        self.0.append(&mut other.0);
    }

    /// The value that a share of all does not exceed (nearest rank), ms; NaN of none, which holds no limit.
    fn quantile_ms(&self, share: f64) -> f64 {
        let mut sorted = self.0.clone();
        sorted.sort_by(f64::total_cmp);
        let rank = (share * sorted.len() as f64).ceil() as usize;
        sorted.get(rank.saturating_sub(1)).copied().unwrap_or(f64::NAN) * 1e3
    }

    fn line(&self, what: &str) -> String {
        let [p50, p95, p99, worst] = [0.5, 0.95, 0.99, 1.0].map(|share| self.quantile_ms(share));
        format!("  {what:58} {:>6} {p50:>8.2} {p95:>8.2} {p99:>8.2} {worst:>8.2}", self.0.len())
    }
}

/// The machine's load averages of 1, 5 and 15 minutes; Linux.
pub fn load() -> String {
    let text = std::fs::read_to_string("/proc/loadavg").unwrap_or_else(|_| "unknown".into());
    text.split_whitespace().take(3).collect::<Vec<_>>().join(" ")
}
