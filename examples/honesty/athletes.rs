//! Simulated athletes, and what the comparison says of them.
//!
//! Fourteen numbers a swing, in units of their own spread from swing to swing, so that one is one spread. Half of the
//! variance of swings and of days is common to all numbers, as a hard swing is fast in every one. Measured with a σ of
//! 0.1 to 0.5 of the spread, another one each swing.

use swingd::compare::Observed;
use swingd::compare::numbers::{Amounts, Answer, Compared, Question, compare, together};
use swingd::engine::metrics::{Estimate, Metric};
use swingd::sim::Random;

/// Share of the variance common to all numbers.
const COMMON: f64 = 0.5;
/// Measurement σ, in spreads.
const SIGMA: [f64; 2] = [0.1, 0.5];
/// Spreads that are told as a change wherever anything can be, with three days a group.
const MUCH: f64 = 20.0;
/// Of one athlete in so many it is checked that parts and wholes have the same answers.
const WHOLE: u32 = 50;
/// What a day does to one group only, on days of both groups, as a share of what it does to both.
const TO_ONE_GROUP: f64 = 0.5;

/// Days of one group.
#[derive(Clone, Copy)]
pub struct Days {
    /// The first
    pub first: i64,
    /// of so many,
    pub count: i64,
    /// each with a number of swings between these.
    pub swings: [usize; 2],
}

/// Days of both.
#[derive(Clone, Copy)]
pub struct Layout {
    /// In words.
    pub name: &'static str,
    /// The earlier group's.
    pub then: Days,
    /// The later group's.
    pub now: Days,
}

impl Layout {
    fn has_both(&self, day: i64) -> bool {
        [self.then, self.now].iter().all(|days| (days.first..days.first + days.count).contains(&day))
    }
}

const fn days(first: i64, count: i64, low: usize, high: usize) -> Days {
    Days { first, count, swings: [low, high] }
}

/// Those that are looked at.
pub const LAYOUTS: [Layout; 9] = [
    Layout { name: "3 + 3 days of 20", then: days(0, 3, 20, 20), now: days(9, 3, 20, 20) },
    Layout { name: "4 + 4 days of 20", then: days(0, 4, 20, 20), now: days(9, 4, 20, 20) },
    Layout { name: "6 + 6 days of 20", then: days(0, 6, 20, 20), now: days(9, 6, 20, 20) },
    Layout { name: "2 + 5 days of 8 to 40", then: days(0, 2, 8, 40), now: days(9, 5, 8, 40) },
    Layout { name: "1 day of 40 + 4 of 8", then: days(0, 1, 40, 40), now: days(9, 4, 8, 8) },
    Layout { name: "3 + 3 days of 1 to 60", then: days(0, 3, 1, 60), now: days(9, 3, 1, 60) },
    Layout { name: "5 shared days of 20 + 20", then: days(0, 5, 20, 20), now: days(0, 5, 20, 20) },
    Layout { name: "5 shared days of 4 to 40", then: days(0, 5, 4, 40), now: days(0, 5, 4, 40) },
    Layout { name: "6 + 6 days of 8 to 40, 3 shared", then: days(0, 6, 8, 40), now: days(3, 6, 8, 40) },
];

type Numbers = [f64; Metric::COUNT];

/// Numbers of variance one with something in common.
fn numbers(random: &mut Random) -> Numbers {
    let common = COMMON.sqrt() * random.normal(1.0);
    std::array::from_fn(|_| common + random.normal((1.0 - COMMON).sqrt()))
}

fn swing(random: &mut Random, day: i64, of_day: &Numbers) -> Observed {
    let of_swing = numbers(random);
    let mut measured = |place: usize| {
        let sigma = random.between(SIGMA[0], SIGMA[1]);
        Some(Estimate { value: of_day[place] + of_swing[place] + random.normal(sigma), sigma })
    };
    Observed { day, round: None, metrics: std::array::from_fn(&mut measured) }
}

/// An athlete who has not changed: swings then and now.
pub fn athlete(layout: &Layout, day_share: f64, random: &mut Random) -> [Vec<Observed>; 2] {
    let last = (layout.then.first + layout.then.count).max(layout.now.first + layout.now.count);
    let of_days: Vec<Numbers> = (0..last).map(|_| numbers(random)).collect();
    let mut group = |days: Days| -> Vec<Observed> {
        let mut swings = Vec::new();
        for day in days.first..days.first + days.count {
            let of_group = numbers(random);
            let both = of_days[day as usize];
            let to_one_group = if layout.has_both(day) { TO_ONE_GROUP } else { 0.0 };
            let of_day = std::array::from_fn(|i| day_share * (both[i] + to_one_group * of_group[i]));
            let count = days.swings[0] + random.index(days.swings[1] - days.swings[0] + 1);
            swings.extend((0..count).map(|_| swing(random, day, &of_day)));
        }
        swings
    };
    [group(layout.then), group(layout.now)]
}

/// The first numbers of all swings raised by so many spreads.
pub fn raised(swings: &[Observed], numbers: usize, by: f64) -> Vec<Observed> {
    let mut swings = swings.to_vec();
    for estimate in swings.iter_mut().flat_map(|swing| swing.metrics.iter_mut().take(numbers).flatten()) {
        estimate.value += by;
    }
    swings
}

/// What matters is one spread.
pub fn question(family: &[Metric]) -> Question {
    Question { family: family.to_vec(), amounts: Amounts([1.0; Metric::COUNT]) }
}

/// Of an athlete who has not changed, as told in `none`, what is told once the first number of all swings of `now` is raised.
/// Each number is fitted by itself, so the others' fits stand; what raises one of them is that they are judged beside it.
fn beside_a_change(then: &[Observed], now: &[Observed], none: &[Compared], by: f64) -> Vec<Compared> {
    let changed = compare(then, &raised(now, 1, by), &question(&Metric::ALL[..1]));
    together(changed.into_iter().chain(none.iter().skip(1).cloned()).collect())
}

/// What came of many athletes.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    /// Athletes.
    pub athletes: u32,
    /// Nothing had changed, and something was called so.
    pub falsely_changed: u32,
    /// One number had changed by one spread, and another was called so.
    pub falsely_beside_one: u32,
    /// One had changed so much that it is told wherever anything can be, and another was called so.
    pub falsely_beside_much: u32,
    /// Everything had changed by what matters, and something was called not changed.
    pub falsely_same: u32,
    /// Intervals, of no change, that held it.
    pub held: u32,
    /// Numbers, of all raised by one spread, that were called changed.
    pub told_of_all: u32,
    /// Athletes in whom one number was raised by one spread and called changed.
    pub told_of_one: u32,
    /// Athletes, of every fiftieth, compared anew as a whole with one number raised, of whom another answer came than from the
    /// parts.
    pub otherwise: u32,
    /// Numbers that had not changed and were called so.
    pub told_same: u32,
}

fn places(compared: &[Compared], answer: Answer) -> Vec<usize> {
    (0..compared.len()).filter(|place| compared[*place].answer == answer).collect()
}

fn count(compared: &[Compared], answer: Answer) -> u32 {
    compared.iter().filter(|one| one.answer == answer).count() as u32
}

impl Tally {
    /// With one more athlete; `number` is who.
    pub fn add(&mut self, layout: &Layout, day_share: f64, number: u32, random: &mut Random) {
        let ([then, now], question) = (athlete(layout, day_share, random), question(&Metric::ALL));
        let none = compare(&then, &now, &question);
        let all = compare(&then, &raised(&now, Metric::COUNT, 1.0), &question);
        let holds = |one: &&Compared| one.difference.is_some_and(|d| d.low <= 0.0 && 0.0 <= d.high);
        self.athletes += 1;
        self.falsely_changed += u32::from(count(&none, Answer::Changed) > 0);
        self.falsely_same += u32::from(count(&all, Answer::NotChanged) > 0);
        self.held += none.iter().filter(holds).count() as u32;
        self.told_of_all += count(&all, Answer::Changed);
        let [one, much] = [1.0, MUCH].map(|by| beside_a_change(&then, &now, &none, by));
        self.told_of_one += count(&one[..1], Answer::Changed);
        self.falsely_beside_one += u32::from(count(&one[1..], Answer::Changed) > 0);
        self.falsely_beside_much += u32::from(count(&much[1..], Answer::Changed) > 0);
        if number.is_multiple_of(WHOLE) {
            let whole = compare(&then, &raised(&now, 1, 1.0), &question);
            let told = |all: &[Compared]| [Answer::Changed, Answer::NotChanged].map(|answer| places(all, answer));
            self.otherwise += u32::from(told(&whole) != told(&one));
        }
        self.told_same += count(&none, Answer::NotChanged);
    }

    /// Both of two.
    pub fn with(self, other: Self) -> Self {
        Self {
            athletes: self.athletes + other.athletes,
            falsely_changed: self.falsely_changed + other.falsely_changed,
            falsely_beside_one: self.falsely_beside_one + other.falsely_beside_one,
            falsely_beside_much: self.falsely_beside_much + other.falsely_beside_much,
            falsely_same: self.falsely_same + other.falsely_same,
            held: self.held + other.held,
            told_of_all: self.told_of_all + other.told_of_all,
            told_of_one: self.told_of_one + other.told_of_one,
            otherwise: self.otherwise + other.otherwise,
            told_same: self.told_same + other.told_same,
        }
    }

    /// The most that chance would make of 5 %, `deviations` standard deviations of the binomial distribution above it.
    pub fn most(&self, deviations: f64) -> f64 {
        let athletes = f64::from(self.athletes);
        0.05 * athletes + deviations * (0.05 * 0.95 * athletes).sqrt()
    }

    /// No false answer came more often than 5 %, parts and wholes have the same answers, and no fewer than 95 % of the intervals held. An athlete's
    /// fourteen intervals are alike; their share that misses varies at most as one interval does.
    pub fn is_honest(&self, deviations: f64) -> bool {
        let missed = f64::from(self.athletes) - f64::from(self.held) / Metric::COUNT as f64;
        let falsely =
            [self.falsely_changed, self.falsely_beside_one, self.falsely_beside_much, self.falsely_same].map(f64::from);
        self.otherwise == 0 && falsely.into_iter().chain([missed]).all(|n| n <= self.most(deviations))
    }
}
