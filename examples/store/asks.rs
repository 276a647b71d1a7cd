//! What is asked: random athletes, and filters in random combinations.

use super::plan::{DRILLS, Plan, TAGS};
use swingd::daemon::store::rows::{BallSource, Word};
use swingd::engine::metrics::Flag;
use swingd::sim::Random;
use uuid::Uuid;

/// Flags that the pool's sensors lead to, and one that they do not.
const FLAGS: [Flag; 5] = [Flag::GyroClipped, Flag::AccelClipped, Flag::Gap, Flag::LowRate, Flag::Untimed];

/// A page of 50 swings of an athlete, with each of the filters in about one of five.
pub fn page(plan: &Plan, athlete: usize, random: &mut Random) -> String {
    let planned = &plan.athletes[athlete];
    let mut path = format!("/v1/swings?limit=50&athlete={}", planned.id);
    let session = loop {
        let session = &plan.sessions[random.index(plan.sessions.len())];
        if session.athlete == athlete {
            break session;
        }
    };
    let one = |random: &mut Random, words: &[&str]| words[random.index(words.len())].to_owned();
    let sources = BallSource::ALL.iter().map(|source| source.word()).collect::<Vec<_>>();
    let flags = FLAGS.map(Flag::key);
    let (from, to) = (instant(session.begun_us), instant(session.begun_us + 86_400_000_000 * 180));
    let filters: [(&str, f64, String); 15] = [
        ("lesson", 0.05, session.id.to_string()),
        ("round", 0.03, session.rounds.first().map_or_else(String::new, |(id, _)| id.to_string())),
        ("occasion", 0.2, one(random, &["lesson", "practice"])),
        ("side", 0.2, one(random, &["right", "left"])),
        ("bat", 0.2, planned.own_bats[random.index(3)].to_string()),
        ("drill", 0.2, one(random, &DRILLS).replace(' ', "%20")),
        ("ball_source", 0.2, one(random, &sources)),
        ("from", 0.2, from),
        ("to", 0.2, to),
        ("contact", 0.2, one(random, &["ball", "none"])),
        ("flag", 0.15, one(random, &flags)),
        ("without_flag", 0.15, one(random, &flags)),
        ("mark", 0.1, one(random, &["none", "keep", "exclude"])),
        ("tag", 0.1, one(random, &TAGS).replace(' ', "%20")),
        ("order", 0.3, one(random, &["newest", "oldest"])),
    ];
    for (key, share, value) in filters {
        if random.chance(share) {
            path += &format!("&{key}={value}");
        }
    }
    for key in ["counted", "unflagged"] {
        if random.chance(0.15) {
            path += &format!("&{key}=true");
        }
    }
    path
}

/// The same without any filter.
pub fn plain_page(plan: &Plan, athlete: usize) -> String {
    format!("/v1/swings?limit=50&athlete={}", plan.athletes[athlete].id)
}

/// What finds nothing among all of an athlete's swings: the most there is to look at.
pub fn nothing(plan: &Plan, athlete: usize) -> String {
    format!("{}&contact=ball&drill=none%20of%20these&without_flag=gap&counted=true", plain_page(plan, athlete))
}

/// A summary by lesson of all metrics.
pub fn summary(plan: &Plan, athlete: usize) -> String {
    format!("/v1/athletes/{}/summary", plan.athletes[athlete].id)
}

/// A swing with its curves: two requests.
pub fn swing(id: Uuid) -> [String; 2] {
    [format!("/v1/swings/{id}"), format!("/v1/swings/{id}/curves")]
}

fn instant(us: i64) -> String {
    jiff::Timestamp::from_microsecond(us).map_or_else(|_| String::new(), |at| at.to_string())
}
