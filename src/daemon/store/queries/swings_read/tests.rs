//! Against a plain model of the same swings.

use super::super::super::rows::*;
use super::super::super::test_store::{TestStore, on_each};
use super::example::{BEGUN_US, Chance, HOUR_US, TAGS, World, fill, value};
use super::summary::{SummaryOf, by_lesson};
use super::*;
use crate::engine::metrics::Flag;
use crate::report::curves::decode;

/// Whether a swing is one of those asked for: the filter's own words, one by one.
fn holds(filter: &SwingFilter, found: &FoundSwing) -> bool {
    let (swing, analysis) = (&found.swing, &found.analysis);
    let has = |flag: Flag| analysis.flags.iter().any(|other| other == flag.key());
    let is_whose = |whose: Whose| match whose {
        Whose::Athlete(id) => swing.athlete_id == Some(id),
        Whose::Nobody => swing.athlete_id.is_none(),
    };
    filter.whose.is_none_or(is_whose)
        && filter.lesson.is_none_or(|id| swing.lesson_id == Some(id))
        && filter.round.is_none_or(|id| swing.round_id == Some(id))
        && filter.recording.is_none_or(|id| swing.recording_id == id)
        && filter.occasion.is_none_or(|occasion| found.occasion == Some(occasion))
        && filter.side.is_none_or(|side| swing.side == Some(side))
        && filter.bat.is_none_or(|id| swing.bat_id == Some(id))
        && filter.drill.as_ref().is_none_or(|drill| found.drill.as_ref() == Some(drill))
        && filter.ball_source.is_none_or(|source| found.ball_source == Some(source))
        && filter.from.is_none_or(|from| swing.contact_utc >= from)
        && filter.to.is_none_or(|to| swing.contact_utc < to)
        && filter.met_ball.is_none_or(|met_ball| analysis.met_ball == met_ball)
        && filter.flag.is_none_or(has)
        && filter.without_flag.is_none_or(|flag| !has(flag))
        && (!filter.is_unflagged || analysis.flags.is_empty())
        && filter.mark.is_none_or(|mark| swing.mark == mark)
        && (!filter.is_counted || swing.mark != Mark::Exclude)
        && filter.tag.as_ref().is_none_or(|tag| swing.tags.contains(tag))
}

/// One to four conditions, of values that occur and some that do not.
fn any_filter(chance: &mut Chance, world: &World) -> SwingFilter {
    let mut filter = SwingFilter::default();
    for _ in 0..=chance.below(4) {
        match chance.below(18) {
            0 => filter.whose = Some(Whose::Nobody),
            1 | 2 => filter.whose = Some(Whose::Athlete(world.athletes[chance.below(3)].id)),
            3 => filter.lesson = Some(world.lessons[chance.below(4)].id),
            4 => filter.round = Some(world.rounds[chance.below(8)].id),
            5 => filter.recording = Some(world.recordings[chance.below(2)].id),
            6 => filter.occasion = Some(chance.of(Occasion::ALL)),
            7 => filter.side = Some(chance.of(Side::ALL)),
            8 => filter.bat = Some(world.bats[chance.below(2)].id),
            9 => filter.drill = Some(chance.of(&["high tee", "high_tee", ""]).to_owned()).filter(|d| !d.is_empty()),
            10 => filter.ball_source = Some(chance.of(BallSource::ALL)),
            11 => filter.from = Some(UtcMicros(BEGUN_US + 60_000_000 * chance.below(100) as i64)),
            12 => filter.to = Some(UtcMicros(BEGUN_US + 60_000_000 * chance.below(100) as i64)),
            13 => filter.met_ball = Some(chance.once_in(2)),
            14 => filter.flag = Some(chance.of(&Flag::ALL)),
            15 => filter.without_flag = Some(chance.of(&Flag::ALL)),
            16 => (filter.is_unflagged, filter.is_counted) = (chance.once_in(2), chance.once_in(2)),
            _ => {
                filter.mark = Some(chance.of(Mark::ALL));
                filter.tag = Some(chance.of(&TAGS).to_owned());
            }
        }
    }
    filter
}

async fn all(connection: &mut AnyConnection, filter: &SwingFilter, order: Order, limit: i64) -> Vec<FoundSwing> {
    let (mut found, mut after) = (Vec::new(), None);
    loop {
        let page = list(connection, filter, order, Slice { after, limit }).await.unwrap();
        let is_last = (page.len() as i64) < limit;
        found.extend(page);
        after = found.last().map(FoundSwing::key);
        if is_last {
            return found;
        }
    }
}

#[test]
fn any_filter_finds_what_the_model_finds_page_by_page_in_both_orders() {
    on_each(async |store: TestStore| {
        let mut changes = store.store.write().await.unwrap();
        let world = fill(&mut changes, 7, 80).await;
        let mut chance = Chance(11);
        let mut sizes = Vec::new();
        for case in 0..256 {
            let filter = any_filter(&mut chance, &world);
            let mut expected: Vec<_> = world.swings.iter().filter(|found| holds(&filter, found)).cloned().collect();
            expected.sort_by_key(|found| (found.swing.contact_utc, found.swing.id));
            let limit = 1 + chance.below(40) as i64;
            assert_eq!(all(&mut changes, &filter, Order::Oldest, limit).await, expected, "case {case}: {filter:?}");
            expected.reverse();
            assert_eq!(all(&mut changes, &filter, Order::Newest, limit).await, expected, "case {case}: {filter:?}");
            sizes.push(expected.len());
        }
        // The filters tell something apart: most of them find some and not all.
        assert!(sizes.iter().filter(|&&size| size > 0 && size < 80).count() > 128, "{sizes:?}");
    });
}

#[test]
fn pages_have_no_gap_and_no_double_while_swings_come_in() {
    on_each(async |store: TestStore| {
        let mut changes = store.store.write().await.unwrap();
        let mut world = fill(&mut changes, 3, 40).await;
        let at_first: Vec<_> = world.swings.iter().map(|found| found.swing.id).collect();
        let (mut seen, mut after): (Vec<Uuid>, _) = (Vec::new(), None);
        loop {
            let slice = Slice { after, limit: 5 };
            let page = list(&mut changes, &SwingFilter::default(), Order::Newest, slice).await.unwrap();
            let Some(last) = page.last() else { break };
            after = Some(last.key());
            seen.extend(page.iter().map(|found| found.swing.id));
            world.add(&mut changes).await;
        }
        let mut once = seen.clone();
        once.sort();
        once.dedup();
        assert_eq!(once.len(), seen.len(), "none twice");
        assert!(at_first.iter().all(|id| seen.contains(id)), "none of those that were there is missing");
    });
}

#[test]
fn a_swing_has_all_its_analyses_and_the_curves_of_those_that_have_some() {
    on_each(async |store: TestStore| {
        let mut changes = store.store.write().await.unwrap();
        let world = fill(&mut changes, 5, 3).await;
        let one = &world.swings[1];
        assert_eq!(get(&mut changes, one.swing.id).await.unwrap(), *one);
        let revisions = revisions(&mut changes, one.swing.id).await.unwrap();
        assert_eq!(revisions.iter().map(|analysis| analysis.revision).collect::<Vec<_>>(), [1, 2]);
        assert_eq!(revisions[1], one.analysis);
        let (revision, latest) = curves(&mut changes, one.swing.id, None).await.unwrap();
        assert_eq!((revision, &latest), (2, &curves(&mut changes, one.swing.id, Some(2)).await.unwrap().1));
        for missing in
            [curves(&mut changes, one.swing.id, Some(1)).await, curves(&mut changes, Uuid::nil(), None).await]
        {
            assert!(matches!(missing, Err(StoreError::NoSuch { kind: "curves", .. })), "{missing:?}");
        }
        assert!(matches!(get(&mut changes, Uuid::nil()).await, Err(StoreError::NoSuch { kind: "swing", .. })));
    });
}

#[test]
fn curves_of_many_swings_come_with_their_swing() {
    on_each(async |store: TestStore| {
        let mut changes = store.store.write().await.unwrap();
        let world = fill(&mut changes, 6, 3).await;
        let one = world.swings[1].swing.id;
        let other = example::one_curve();
        example::put_curves(&mut changes, one, &other).await;
        let without = world.swings[2].swing.id;
        let query = sqlx::query("DELETE FROM curves WHERE swing_id = $1").bind(without.to_string());
        query.execute(&mut *changes).await.unwrap();
        // More than one query takes, most of them unknown.
        let mut ids: Vec<Uuid> = (0..2 * IN_ONE_QUERY).map(|_| Uuid::now_v7()).collect();
        ids.extend(world.swings.iter().map(|found| found.swing.id));
        let found = curves_by_swing(&mut changes, &ids).await.unwrap();
        assert_eq!(found.len(), 2);
        let drawn = decode(&found[&one]).unwrap().to_curves();
        assert_eq!(drawn.bat_speed_mps, other.bat_speed_mps);
        assert!(!found.contains_key(&without) && found.contains_key(&world.swings[0].swing.id));
    });
}

#[test]
fn a_summary_counts_what_the_model_counts() {
    on_each(async |store: TestStore| {
        let mut changes = store.store.write().await.unwrap();
        let world = fill(&mut changes, 13, 90).await;
        let metrics = [Metric::BatSpeed, Metric::TimingWindow];
        let from = Some(UtcMicros(BEGUN_US + HOUR_US / 4));
        let of = SummaryOf { athlete: world.athletes[0].id, side: None, bat: None, from, to: None };
        let groups = by_lesson(&mut changes, of, &metrics).await.unwrap();
        let order: Vec<_> = groups.iter().map(|group| (group.lesson.unwrap().begun, group.side)).collect();
        let sides = [Some(Side::Right), Some(Side::Left), None];
        let begun = [BEGUN_US, BEGUN_US + HOUR_US].map(UtcMicros);
        assert_eq!(order, begun.map(|begun| sides.map(|side| (begun, side))).concat());
        let mut counted = 0;
        for group in groups {
            let of_group = |found: &&FoundSwing| {
                found.swing.lesson_id == group.lesson.map(|lesson| lesson.id)
                    && found.swing.side == group.side
                    && Some(found.swing.contact_utc) >= from
            };
            let (excluded, kept): (Vec<&FoundSwing>, Vec<_>) =
                world.swings.iter().filter(of_group).partition(|found| found.swing.mark == Mark::Exclude);
            assert_eq!((group.counted as usize, group.excluded as usize), (kept.len(), excluded.len()));
            let flagged = kept.iter().filter(|found| !found.analysis.flags.is_empty()).count();
            assert_eq!(group.flagged as usize, flagged);
            for (metric, values) in metrics.into_iter().zip(group.values) {
                let sorted = |mut values: Vec<f64>| {
                    values.sort_by(f64::total_cmp);
                    values
                };
                let expected = kept.iter().filter_map(|found| value(found, metric)).collect();
                assert_eq!(sorted(values), sorted(expected), "{metric:?}");
            }
            counted += group.counted;
        }
        assert!(counted > 10, "{counted}");
    });
}

/// What SQLite says of how it goes about it.
async fn plan(connection: &mut AnyConnection, filter: &SwingFilter) -> String {
    let mut conditions = filter.conditions();
    let key = TimeKey { at: UtcMicros(BEGUN_US), id: Uuid::nil() };
    conditions.past("s.contact_utc_us, s.id", true, Some(key));
    let head = format!("EXPLAIN QUERY PLAN {}", *FOUND);
    let query = conditions.query(&head, "ORDER BY s.contact_utc_us DESC, s.id DESC", 50);
    let rows = query.fetch_all(connection).await.unwrap();
    rows.iter().map(|row| row.try_get::<String, _>("detail").unwrap() + "\n").collect()
}

/// On SQLite; what PostgreSQL does follows from the statistics it has.
#[test]
fn a_page_of_one_athlete_is_read_from_one_index_and_never_sorted() {
    on_each(async |store: TestStore| {
        if !store.store.place().is_sqlite() {
            return;
        }
        let mut reading = store.store.read().await.unwrap();
        let id = Some(Uuid::nil());
        let athlete = SwingFilter { whose: Some(Whose::Athlete(Uuid::nil())), ..SwingFilter::default() };
        let with_all = SwingFilter {
            occasion: Some(Occasion::Lesson),
            side: Some(Side::Left),
            bat: id,
            drill: Some("a".into()),
            ball_source: Some(BallSource::Tee),
            from: Some(UtcMicros(0)),
            to: Some(UtcMicros(i64::MAX)),
            met_ball: Some(true),
            flag: Some(Flag::Gap),
            mark: Some(Mark::Keep),
            tag: Some("a".into()),
            ..athlete.clone()
        };
        let cases = [
            (SwingFilter::default(), "swings_by_time ("),
            (athlete.clone(), "swings_by_athlete (athlete_id=?"),
            (with_all, "swings_by_athlete (athlete_id=?"),
            (SwingFilter { whose: Some(Whose::Nobody), ..SwingFilter::default() }, "swings_by_athlete (athlete_id=?"),
            (SwingFilter { lesson: id, ..athlete.clone() }, "swings_by_lesson (lesson_id=?"),
            (SwingFilter { bat: id, ..SwingFilter::default() }, "swings_by_bat (bat_id=?"),
        ];
        for (filter, index) in cases {
            let plan = plan(&mut reading, &filter).await;
            assert!(plan.starts_with(&format!("SEARCH s USING INDEX {index}")), "{filter:?}: {plan}");
            assert!(!plan.contains("TEMP B-TREE") && !plan.contains("SCAN "), "{filter:?}: {plan}");
        }
    });
}
