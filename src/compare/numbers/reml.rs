//! The mixed model of one metric, fitted by restricted maximum likelihood (REML).
//!
//! A swing's value is the group's mean + what the day adds + what the swing adds. The last has the variance σ_w² + s²:
//! from swing to swing, and of the swing's own measurement, which is known. Within a cell (a group's swings of one day)
//! the likelihood (Patterson & Thompson, *Biometrika* 58, 1971; Harville, *J. Am. Stat. Assoc.* 72, 1977) falls into
//! two parts without loss: that of the swings about the cell's weighted mean, and that of the cells' means. The second
//! sees a handful of [`Item`]s, so nothing here is larger than a list of days.

use super::cells::{Cell, Cells};
use super::minimum::minimum;
use crate::compare::design::Design;

/// No variance is below this share of that of all values: where nothing varies, nothing is divided by zero.
const LEAST_VARIANCE: f64 = 1e-12;

/// A number of one day, with its variance but for what days add.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Item {
    /// Which mean it is of: 1 for the later group's or for differences, else 0.
    pub mean: usize,
    /// Mean of the day, or difference of two.
    pub value: f64,
    /// From the swings.
    pub variance: f64,
    /// Of a difference: what it is of, then and now.
    pub ends: [f64; 2],
}

/// The items' means with the days' variance given.
#[derive(Clone, Copy, Debug, Default)]
pub struct Means {
    /// Of items of mean 0 and of mean 1.
    pub values: [f64; 2],
    /// Sum of weights of each; 0 where there is no item.
    pub weights: [f64; 2],
    /// Weighted sum of squares about them.
    pub squares: f64,
    /// Sum of logarithms of the items' variances.
    pub logarithms: f64,
}

impl Means {
    /// With weights 1/(variance + of_days).
    pub fn new(items: &[Item], of_days: f64) -> Self {
        let mut means = Self::default();
        let (mut sums, mut logarithms) = ([0.0; 2], Logarithms::default());
        for item in items {
            let variance = item.variance + of_days;
            let weight = 1.0 / variance;
            sums[item.mean.min(1)] += item.value * weight;
            means.weights[item.mean.min(1)] += weight;
            logarithms.add(variance);
        }
        means.logarithms = logarithms.sum();
        for (mean, sum) in sums.iter().enumerate() {
            means.values[mean] = if means.weights[mean] > 0.0 { sum / means.weights[mean] } else { 0.0 };
        }
        for item in items {
            means.squares += (item.value - means.values[item.mean.min(1)]).powi(2) / (item.variance + of_days);
        }
        means
    }

    /// Now minus then, or of the differences.
    pub fn difference(&self) -> f64 {
        self.values[1] - self.values[0]
    }

    /// Variance of that if the model's variances are right.
    pub fn variance(&self) -> f64 {
        self.weights.iter().filter(|weight| **weight > 0.0).map(|weight| 1.0 / weight).sum()
    }

    /// −2 × the items' part of the restricted log likelihood.
    fn minus_two_log(&self) -> f64 {
        let of_means: f64 = self.weights.iter().filter(|weight| **weight > 0.0).map(|weight| weight.ln()).sum();
        self.logarithms + of_means + self.squares
    }
}

/// Sum of logarithms, taken of products: a logarithm costs as much as twenty of them.
struct Logarithms {
    sum: f64,
    product: f64,
}

impl Default for Logarithms {
    fn default() -> Self {
        Self { sum: 0.0, product: 1.0 }
    }
}

impl Logarithms {
    /// Of a number between 10⁻²⁰⁰ and 10²⁰⁰; the product so far is between 10⁻¹⁰⁰ and 10¹⁰⁰, so nothing overflows.
    fn add(&mut self, number: f64) {
        self.product *= number;
        if !(1e-100..1e100).contains(&self.product) {
            self.sum += self.product.ln();
            self.product = 1.0;
        }
    }

    fn sum(&self) -> f64 {
        self.sum + self.product.ln()
    }
}

/// A fitted model, in the units of its [`Cells`].
#[derive(Clone, Debug)]
pub struct Fit {
    /// What was compared.
    pub design: Design,
    /// σ_w²: from swing to swing, without the measurement's.
    pub of_swings: f64,
    /// What days add to an item's variance, not below 0.
    pub of_days: f64,
    /// The items.
    pub items: Vec<Item>,
}

impl Fit {
    /// REML with both variances not below 0.
    pub fn new(cells: &Cells, design: Design) -> Self {
        let can_tell_swings = cells.within().is_some();
        let most = 4.0 * (cells.within().unwrap_or(0.0) + total(&items(&cells.cells, 0.0, design).0));
        let inner = |of_swings: f64| {
            let (items, within) = items(&cells.cells, of_swings, design);
            let of_days = days(&items);
            (within + Means::new(&items, of_days).minus_two_log(), of_days, items)
        };
        let of_swings = if can_tell_swings { minimum(|x| inner(x).0, most) } else { 0.0 };
        let (_, of_days, items) = inner(of_swings);
        Self { design, of_swings, of_days, items }
    }

    /// Items less means: what is left to tell how days differ.
    pub fn freedom(&self) -> usize {
        let means = [0, 1].iter().filter(|mean| self.items.iter().any(|item| item.mean == **mean)).count();
        self.items.len().saturating_sub(means)
    }

    /// Means of both groups, by the days' weights; a group without days has 0.
    pub fn group_means(&self) -> [f64; 2] {
        match self.design {
            Design::Apart => Means::new(&self.items, self.of_days).values,
            Design::Shared => [0, 1].map(|end| {
                let ends = self.items.iter().map(|item| Item { value: item.ends[end], ..*item });
                Means::new(&ends.collect::<Vec<_>>(), self.of_days).values[1]
            }),
        }
    }
}

/// What days add, with the swings' variance given.
fn days(items: &[Item]) -> f64 {
    minimum(|of_days| Means::new(items, of_days).minus_two_log(), 4.0 * total(items))
}

/// Sum of squares about the items' plain means.
fn total(items: &[Item]) -> f64 {
    let alike: Vec<Item> = items.iter().map(|item| Item { variance: 1.0, ..*item }).collect();
    Means::new(&alike, 0.0).squares
}

/// The items, and −2 × the swings' part of the restricted log likelihood.
fn items(cells: &[Cell], of_swings: f64, design: Design) -> (Vec<Item>, f64) {
    let mut within = 0.0;
    let mut days = Vec::with_capacity(cells.len());
    for cell in cells {
        let (value, weight, part) = weighted(cell, of_swings);
        within += part;
        days.push((cell, Item { mean: usize::from(cell.now), value, variance: 1.0 / weight, ends: [value; 2] }));
    }
    let items = match design {
        Design::Apart => days.into_iter().map(|(_, item)| item).collect(),
        Design::Shared => differences(&days),
    };
    (items, within)
}

/// A cell's mean with weights 1/(σ_w² + s²), the sum of weights, and its part of −2 log likelihood: Σ ln(σ_w² + s²) +
/// ln of the sum of weights + weighted squares about the mean.
fn weighted(cell: &Cell, of_swings: f64) -> (f64, f64, f64) {
    let (mut weights, mut sum, mut logarithms) = (0.0, 0.0, Logarithms::default());
    for [value, measured] in &cell.swings {
        let variance = (of_swings + measured).max(LEAST_VARIANCE);
        let weight = 1.0 / variance;
        weights += weight;
        sum += value * weight;
        logarithms.add(variance);
    }
    let mean = sum / weights;
    let squares = |[value, measured]: &[f64; 2]| (value - mean).powi(2) / (of_swings + measured).max(LEAST_VARIANCE);
    (mean, weights, logarithms.sum() + weights.ln() + cell.swings.iter().map(squares).sum::<f64>())
}

/// Now minus then on days of both. The days come sorted, the earlier group's first.
fn differences(days: &[(&Cell, Item)]) -> Vec<Item> {
    let (thens, nows) = days.split_at(days.partition_point(|(cell, _)| !cell.now));
    let of_both = |(cell, then): &(&Cell, Item)| {
        let place = nows.binary_search_by_key(&cell.day, |(other, _)| other.day).ok()?;
        let (_, now) = nows.get(place)?;
        let value = now.value - then.value;
        Some(Item { mean: 1, value, variance: then.variance + now.variance, ends: [then.value, now.value] })
    };
    thens.iter().filter_map(of_both).collect()
}
