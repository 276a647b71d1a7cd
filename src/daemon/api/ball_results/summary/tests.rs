use super::super::super::test_api::{TestApi, on_each};
use crate::daemon::api::instant::Instant;
use crate::daemon::store::queries::swings_read::example::{BEGUN_US, HOUR_US, fill};
use crate::daemon::store::rows::{Mark, UtcMicros};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use uuid::Uuid;

#[test]
fn balls_are_tallied_by_the_side_of_their_swing() {
    on_each(async |api: TestApi| {
        let mut changes = api.api.store.write().await.unwrap();
        let mut world = fill(&mut changes, 29, 0).await;
        for k in 0..24 {
            world.add_at(&mut changes, UtcMicros(BEGUN_US + k * 60_000_000)).await;
        }
        changes.commit().await.unwrap();
        let mut expected: BTreeMap<Option<&str>, Vec<f64>> = BTreeMap::new();
        let mut with_bat = 0;
        for (k, found) in world.swings.iter().enumerate() {
            let exit = 30.0 + k as f64;
            let body = json!({"swing_id": found.swing.id, "exit_speed_mps": exit, "launch_angle_deg": 90 - k});
            assert_eq!(api.post("/v1/ball-results", body).await.status, 201);
            if found.swing.mark == Mark::Exclude {
                continue;
            }
            with_bat += usize::from(found.swing.bat_id == Some(world.bats[0].id));
            let side = found.swing.side.map(crate::daemon::store::rows::Word::word);
            expected.entry(side).or_default().push(exit);
        }
        let other =
            json!({"athlete_id": world.athletes[1].id, "exit_speed_mps": 70, "measured": "2026-01-01T00:00:00Z"});
        assert_eq!(api.post("/v1/ball-results?within_s=0", other).await.status, 201);
        let path = format!("/v1/athletes/{}/ball-summary", world.athletes[0].id);
        let said = api.get(&path).await;
        assert_eq!((said.status, &said.json["is_measured"]), (200, &json!(true)));
        let sides = said.json["sides"].as_array().unwrap();
        assert_eq!(
            sides.iter().map(|side| side["side"].as_str()).collect::<Vec<_>>(),
            [Some("right"), Some("left"), None]
        );
        for side in sides {
            let values = &expected[&side["side"].as_str()];
            let exit = &side["exit_speed_mps"];
            assert_eq!(exit["count"], json!(values.len()));
            assert_eq!(exit["best"].as_f64(), values.iter().copied().reduce(f64::max));
            assert_eq!((&side["carry_m"]["count"], &side["carry_m"]["best"]), (&json!(0), &Value::Null));
            assert_eq!(
                (&side["launch_angle_deg"]["best"], side["launch_angle_deg"]["median"].is_f64()),
                (&Value::Null, true)
            );
        }
        let counted = |sides: &Value, key: &str| -> u64 {
            let of = |side: &Value| if key == "excluded" { side[key].as_u64() } else { side[key]["count"].as_u64() };
            sides.as_array().unwrap().iter().filter_map(of).sum()
        };
        let all = &said.json["sides"];
        let excluded = world.swings.iter().filter(|found| found.swing.mark == Mark::Exclude).count();
        assert!(excluded > 0 && counted(all, "excluded") == excluded as u64);
        assert_eq!(counted(all, "exit_speed_mps"), (24 - excluded) as u64);
        let of_bat = api.get(&format!("{path}?bat={}", world.bats[0].id)).await.json;
        assert!(with_bat > 0 && counted(&of_bat["sides"], "exit_speed_mps") == with_bat as u64, "{of_bat}");
        let from = Instant::from(UtcMicros(BEGUN_US + HOUR_US));
        assert_eq!(api.get(&format!("{path}?from={from}")).await.json["sides"], json!([]));
        assert_eq!(api.get(&format!("{path}?to={from}")).await.json["sides"], *all);
        assert_eq!(api.get(&format!("{path}?bats=1")).await.status, 400);
        assert_eq!(api.get(&format!("/v1/athletes/{}/ball-summary", Uuid::nil())).await.status, 404);
    });
}
