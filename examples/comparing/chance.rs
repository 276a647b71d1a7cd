//! Simulated athletes with no true change, but who are another every day: of how many is a change said?
//!
//! Their curves: a speed that rises to 30 m/s, by smooth shares of it that differ from swing to swing (3 %) and, as a part of
//! that, from day to day. The bat turns about hands that go on as they do.

use std::f64::consts::LN_2;
use swingd::compare::Observed;
use swingd::compare::alike::trend;
use swingd::compare::curves::{ComparedLine, Drawn, compare};
use swingd::engine::metrics::{Estimate, Metric};
use swingd::engine::swing::Curves;
use swingd::sim::Random;

use nalgebra::Vector3;

/// Athletes of a row of the table.
const ATHLETES: usize = 4_000;
const TRENDS: usize = 20_000;
/// Points of a swing, 4 ms apart, and how smooth its speed is: full width at half maximum of the bell its noise is laid
/// under, in points (50 ms).
const POINTS: usize = 60;
const STEP_S: f64 = 0.004;
const WIDTH: f64 = 12.5;
/// Spread from swing to swing, of the speed.
const SPREAD: f64 = 0.03;
/// From day to day, of that.
const DAY_EFFECTS: [f64; 3] = [0.0, 0.3, 0.5];

/// Whether all shares hold.
pub fn measure() -> bool {
    let bands = bands();
    trends() && bands
}

/// Days of both groups.
#[derive(Clone, Copy)]
struct Design {
    /// Swings of each of the earlier group's days, from day 0 on.
    then: &'static [usize],
    /// Of the later group's.
    now: &'static [usize],
    /// The later group's first day: [`APART`], or one of the earlier group's. What a day does to one group it does not do to
    /// the other, also on days of both.
    first: i64,
}

/// After all days of the earlier group.
const APART: i64 = 100;

const fn design(then: &'static [usize], now: &'static [usize], first: i64) -> Design {
    Design { then, now, first }
}

/// Those that are looked at: even ones, uneven ones, very uneven ones, and some with days of both groups.
const DESIGNS: [Design; 14] = [
    design(&[10; 2], &[10; 2], APART),
    design(&[10; 3], &[10; 3], APART),
    design(&[10; 5], &[10; 5], APART),
    design(&[5; 2], &[20; 6], APART),
    design(&[3, 3, 20], &[20; 3], APART),
    design(&[10; 1], &[10; 4], APART),
    design(&[3, 60], &[3, 60], APART),
    design(&[40, 8], &[8, 8, 8, 8, 40], APART),
    design(&[40], &[8; 4], APART),
    design(&[1, 60, 60], &[60, 1, 1], APART),
    design(&[10; 3], &[10; 3], 0),
    design(&[3, 10, 20, 3, 10], &[20, 10, 3, 3, 10], 0),
    design(&[3, 60, 3, 60], &[60, 60, 3, 3], 0),
    design(&[40, 8, 8, 40, 8], &[8, 8, 40, 8, 40], 2),
];

impl Design {
    fn in_words(&self) -> String {
        let place = match self.first {
            APART => String::new(),
            0 => " on the same days".to_owned(),
            first => format!(" from the earlier group's day {} on", first + 1),
        };
        format!("{:?} against {:?}{place}", self.then, self.now)
    }
}

fn bands() -> bool {
    println!(
        "bands that exclude no difference, of {ATHLETES} athletes: speed by time, by distance, by rotation, by hands"
    );
    let mut holds = true;
    for design in DESIGNS {
        for effect in DAY_EFFECTS {
            let shares = wrong(design, effect);
            println!("{}, day effect {effect}: {}", design.in_words(), shares.map(percent).join(", "));
            holds &= shares.iter().all(|share| *share <= most(ATHLETES));
        }
    }
    holds
}

fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

/// 5 % and three standard errors.
fn most(count: usize) -> f64 {
    0.05 + 3.0 * (0.05 * 0.95 / count as f64).sqrt()
}

fn wrong(design: Design, effect: f64) -> [f64; 4] {
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let count = |first: usize| {
        let mut wrong = [0usize; 4];
        for athlete in (first..ATHLETES).step_by(threads) {
            let mut random = Random::new(athlete as u64);
            let earlier = swings(&mut random, 0, design.then, effect);
            let later = swings(&mut random, design.first, design.now, effect);
            let found = compare(&earlier, &later);
            let lines = [&found.speed_by_time, &found.speed_by_distance, &found.by_rotation, &found.by_hands];
            wrong.iter_mut().zip(lines).for_each(|(wrong, line)| *wrong += usize::from(differs(line)));
        }
        wrong
    };
    let all = std::thread::scope(|scope| {
        let count = &count;
        let running: Vec<_> = (0..threads).map(|first| scope.spawn(move || count(first))).collect();
        running.into_iter().map(|one| one.join().unwrap_or([ATHLETES; 4])).collect::<Vec<_>>()
    });
    std::array::from_fn(|line| all.iter().map(|wrong| wrong[line]).sum::<usize>() as f64 / ATHLETES as f64)
}

fn differs(line: &ComparedLine) -> bool {
    line.difference.as_ref().is_some_and(|difference| !difference.differs.is_empty())
}

/// Noise under a bell, of variance 1.
fn smooth(random: &mut Random) -> Vec<f64> {
    let reach = (1.5 * WIDTH) as usize;
    let bell = |k: usize| (-4.0 * LN_2 * ((k as f64 - reach as f64) / WIDTH).powi(2)).exp();
    let bell: Vec<f64> = (0..=2 * reach).map(bell).collect();
    let size = bell.iter().map(|b| b * b).sum::<f64>().sqrt();
    let noise: Vec<f64> = (0..POINTS + 2 * reach).map(|_| random.normal(1.0)).collect();
    (0..POINTS).map(|at| bell.iter().zip(&noise[at..]).map(|(b, x)| b * x).sum::<f64>() / size).collect()
}

fn swings(random: &mut Random, first_day: i64, counts: &[usize], effect: f64) -> Vec<Drawn> {
    let mut drawn = Vec::new();
    for (day, count) in (first_day..).zip(counts) {
        let of_day = [smooth(random), smooth(random)];
        for _ in 0..*count {
            let own = [smooth(random), smooth(random)];
            let share = |which: usize, k: usize| 1.0 + SPREAD * (own[which][k] + effect * of_day[which][k]);
            drawn.push(Drawn { day, time_to_contact_s: None, curves: curves(share) });
        }
    }
    drawn
}

/// Of shares of the usual speeds of bat (0) and hands (1).
fn curves(share: impl Fn(usize, usize) -> f64) -> Curves {
    let mut curves = Curves::default();
    let (mut along, mut hands_along, mut last_s) = (0.0, 0.0, None);
    for k in 0..POINTS {
        let time_s = (k as f64 - (POINTS - 1) as f64) * STEP_S;
        let rise = 1.0 / (1.0 + (-(time_s + 0.06) / 0.03).exp());
        let (bat_mps, hands_mps) = ((1.0 + 29.0 * rise) * share(0, k), (1.0 + 6.0 * rise) * share(1, k));
        let dt_s = last_s.map_or(0.0, |last_s| time_s - last_s);
        along += bat_mps * dt_s;
        hands_along += hands_mps * dt_s;
        last_s = Some(time_s);
        curves.times_s.push(time_s);
        curves.bat_speed_mps.push(bat_mps);
        curves.hand_speed_mps.push(hands_mps);
        curves.turn_rate_radps.push(0.0);
        let (sin, cos) = along.sin_cos();
        curves.sweet_spot_w_m.push(Vector3::new(sin, -cos, 0.0));
        curves.hands_w_m.push(Vector3::new(0.8 * hands_along, 0.4 * hands_along, 0.0));
    }
    curves
}

/// Days of a trend and the swings of each.
type Days = &'static [(i64, usize)];

fn trends() -> bool {
    let designs: [Days; 6] = [
        &[(0, 20), (7, 20), (14, 20)],
        &[(0, 60), (7, 5), (14, 60)],
        &[(0, 5), (7, 60), (14, 60), (21, 5)],
        &[(0, 60), (7, 60), (14, 60), (21, 60), (28, 60), (140, 3)],
        &[(0, 3), (7, 3), (14, 3), (21, 3), (28, 3), (140, 60)],
        &[(0, 5), (7, 5), (14, 60), (21, 60), (28, 20), (35, 20), (42, 60), (49, 60), (56, 5), (63, 5)],
    ];
    println!("trends with p below 0.05, of {TRENDS} athletes, with day effects {DAY_EFFECTS:?}");
    let mut holds = true;
    for days in designs {
        let shares = DAY_EFFECTS.map(|effect| wrong_trends(days, effect));
        println!("{days:?}: {}", shares.map(percent).join(", "));
        holds &= shares.iter().all(|share| *share <= most(TRENDS));
    }
    holds
}

fn wrong_trends(days: Days, effect: f64) -> f64 {
    let mut random = Random::new(3);
    let mut swings = Vec::new();
    let wrong = |_: &usize| {
        swings.clear();
        for (day, count) in days {
            let shift = effect * random.normal(1.0);
            for _ in 0..*count {
                let mut metrics = [None; Metric::COUNT];
                metrics[Metric::BatSpeed.index()] =
                    Some(Estimate { value: 30.0 + shift + random.normal(1.0), sigma: 0.1 });
                swings.push(Observed { day: *day, round: None, metrics });
            }
        }
        trend(&swings, Metric::BatSpeed).is_some_and(|trend| trend.p < 0.05)
    };
    (0..TRENDS).filter(wrong).count() as f64 / TRENDS as f64
}
