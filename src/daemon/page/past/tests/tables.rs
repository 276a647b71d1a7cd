//! Who and what is listed, and what is offered to be done with it.

use super::{between, filled, page, page_with, words};
use crate::daemon::api::test_api::{TestApi, athlete, on_each};
use crate::daemon::store::rows::Mark;
use serde_json::{Value, json};
use uuid::Uuid;

#[test]
fn an_empty_store_says_how_to_begin_and_unknown_ids_are_not_found() {
    on_each(async |api: TestApi| {
        let html = page(&api, "/athletes").await;
        assert!(html.contains("Nobody has been entered yet") && html.contains("href=\"/start\""), "{html}");
        assert!(page(&api, "/athletes?name=Wren").await.contains("No name holds"));
        for kind in ["athletes", "lessons", "swings"] {
            for id in [Uuid::from_u128(7).to_string(), "nobody".to_owned(), "%00".to_owned()] {
                let (status, html) = page_with(&api, &format!("/{kind}/{id}"), "").await;
                assert_eq!(status, 404, "/{kind}/{id}");
                assert!(html.contains("<h1>"), "{html}");
            }
        }
        for wrong in ["/athletes?after=Wren", "/athletes?name=%ff"] {
            assert!([200, 400].contains(&page_with(&api, wrong, "").await.0), "{wrong}");
        }
        let wren = athlete(&api, "Wren").await;
        let html = page(&api, &format!("/athletes/{wren}")).await;
        assert!(html.contains("There is no lesson yet") && !html.contains("<table"), "{html}");
        for wrong in ["metric=speed", "bat=Ash", "occasion=game", "after=yesterday"] {
            assert_eq!(page_with(&api, &format!("/athletes/{wren}?{wrong}"), "").await.0, 400, "{wrong}");
        }
        let lesson = api.post("/v1/lessons", json!({"athlete_id": wren, "title": "First"})).await.json;
        let html = page(&api, &format!("/lessons/{}", lesson["id"].as_str().unwrap())).await;
        assert!(html.contains("There is no swing in it yet") && html.contains("End the lesson"), "{html}");
    });
}

#[test]
fn athletes_are_found_by_part_of_a_name_and_more_than_a_page_goes_on() {
    on_each(async |api: TestApi| {
        for k in 0..101 {
            athlete(&api, &format!("Kestrel {k:03}")).await;
        }
        athlete(&api, "Robin_100%").await;
        let of = async |query: &str| {
            let html = page(&api, &format!("/athletes{query}")).await;
            (html.matches("class=\"who\"").count(), html)
        };
        let (count, html) = of("?name=kestrel").await;
        assert_eq!(count, 100);
        let after = between(&html, "name=\"after\" value=\"", "\"");
        assert_eq!(of(&format!("?name=kestrel&after={after}")).await.0, 1);
        assert_eq!(of("?name=%25").await.0, 1, "a per cent sign is no wildcard");
        assert_eq!(of("?name=n_1").await.0, 1);
        assert_eq!(of("?name=L%20042").await.0, 1);
        assert_eq!(of("?name=%00Wren").await.0, 0);
    });
}

#[test]
fn the_list_says_how_many_lessons_and_when_the_last_was() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 1).await;
        let html = page(&api, "/athletes").await;
        for (athlete, expected) in world.athletes.iter().zip(["2 lessons, last", "2 lessons, last", "no lesson yet"]) {
            let line = between(&html, &format!("href=\"/athletes/{}\"", athlete.id), "</li>");
            assert!(words(line).contains(expected), "{line}");
            assert!(line.contains(&format!("href=\"/setup/athletes/{}\"", athlete.id)), "{line}");
        }
    });
}

#[test]
fn a_lessons_swings_stand_in_their_rounds_and_look_as_they_are() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 80).await;
        let lesson = &world.lessons[0];
        let html = page(&api, &format!("/lessons/{}", lesson.id)).await;
        let of: Vec<_> = world.swings.iter().filter(|found| found.swing.lesson_id == Some(lesson.id)).collect();
        assert!(of.len() > 5);
        for found in &of {
            let swing = &found.swing;
            let (before, row) = html.split_once(&format!("href=\"/swings/{}\"", swing.id)).unwrap();
            let (head, row) = (before.rsplit_once("<tr").unwrap().1, row.split_once("</tr>").unwrap().0);
            assert_eq!(head.contains("out"), swing.mark == Mark::Exclude);
            assert_eq!(head.contains("flagged"), !found.analysis.flags.is_empty());
            assert_eq!(row.matches("class=\"flag\"").count(), found.analysis.flags.len());
            let section = before.rsplit_once("<section").unwrap().1;
            match swing.round_id {
                Some(round) => assert!(section.contains(&format!("id=\"round-{round}\"")), "{section}"),
                None => assert!(section.contains("In no round"), "{section}"),
            }
        }
        assert_eq!(html.matches("href=\"/swings/").count(), of.len());
        let excluded = of.iter().filter(|found| found.swing.mark == Mark::Exclude).count();
        assert!(excluded > 0 && html.contains("left out"));
        assert!(html.contains("high tee") && html.contains("Ash 33") && html.contains("30.0 m/s"), "{html}");
    });
}

#[test]
fn what_a_button_sends_is_taken_and_shows() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 40).await;
        let is = |s: &crate::daemon::store::rows::Swing| s.mark == Mark::None && s.lesson_id.is_some();
        let swing = world.swings.iter().map(|found| &found.swing).find(|swing| is(swing)).unwrap();
        let lesson = format!("/lessons/{}", swing.lesson_id.unwrap());
        let send = format!("data-send=\"PATCH /v1/swings/{}\"", swing.id);
        let touch = async |html: &str| {
            let button = between(html, &send, "</button>");
            let version = between(button, "data-version=\"", "\"");
            let body: Value =
                serde_json::from_str(&between(button, "data-body=\"", "\"").replace("&quot;", "\"")).unwrap();
            let answer = api.patch(&format!("/v1/swings/{}", swing.id), &format!("\"{version}\""), body).await;
            assert_eq!(answer.status, 200, "{answer:?}");
        };
        touch(&page(&api, &lesson).await).await;
        let path = format!("/swings/{}", swing.id);
        assert!(page(&api, &path).await.contains("Left out by the instructor"));
        touch(&page(&api, &lesson).await).await;
        assert!(!page(&api, &path).await.contains("Left out by the instructor"));
        assert_eq!(api.get(&format!("/v1/swings/{}", swing.id)).await.json["mark"], "none");
    });
}

#[test]
fn a_swing_says_where_it_came_from_and_leads_to_those_beside_it() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 60).await;
        let found = world.swings.iter().find(|found| found.swing.round_id.is_some()).unwrap();
        let html = page(&api, &format!("/swings/{}", found.swing.id)).await;
        for expected in [&found.file_name, &found.analysis.profile_sha256, "with what followed", "curves.csv"] {
            assert!(html.contains(expected), "{expected} is not in {html}");
        }
        assert!(html.contains(&format!("{:.4} s", found.analysis.contact_s)));
        let mut round: Vec<_> = world.swings.iter().filter(|o| o.swing.round_id == found.swing.round_id).collect();
        round.sort_by_key(|other| other.key().at);
        let at = |id: Uuid| round.iter().position(|other| other.swing.id == id);
        for (place, other) in round.iter().enumerate() {
            let html = page(&api, &format!("/swings/{}", other.swing.id)).await;
            for (rel, beside) in [("prev", place.checked_sub(1)), ("next", Some(place + 1))] {
                let link = html.split_once(&format!("rel=\"{rel}\" href=\"/swings/")).map(|(_, rest)| &rest[..36]);
                let led = link.and_then(|id| at(id.parse().unwrap()));
                assert_eq!(led.is_some(), beside.is_some_and(|beside| beside < round.len()), "{rel} of {place}");
            }
        }
    });
}

#[test]
fn a_ball_result_stands_beside_its_swing() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 40).await;
        let found = world.swings.iter().find(|f| f.swing.lesson_id == Some(world.lessons[0].id)).unwrap();
        let result =
            json!({"swing_id": found.swing.id, "exit_speed_mps": 40.0, "launch_angle_deg": 12.0, "device": "radar"});
        assert_eq!(api.post("/v1/ball-results", result).await.status, 201);
        let html = page(&api, &format!("/swings/{}", found.swing.id)).await;
        assert!(html.contains("40.0 m/s, 12° up") && html.contains("radar"), "{html}");
        let lesson = format!("/lessons/{}", world.lessons[0].id);
        assert!(page(&api, &lesson).await.contains("40.0 m/s, 12° up"));
        assert!(page_with(&api, &lesson, "").await.1.contains("89.5 mph, 12° up"));
    });
}

#[test]
fn the_trend_is_of_what_was_chosen() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 80).await;
        let path = format!("/athletes/{}", world.athletes[0].id);
        let html = page(&api, &format!("{path}?metric=attack_angle_deg&occasion=practice")).await;
        assert!(
            html.contains("<option value=\"attack_angle_deg\" selected>")
                && html.contains("<option value=\"practice\" selected>")
        );
        let practice = |found: &&crate::daemon::store::queries::swings_read::FoundSwing| {
            found.swing.lesson_id == Some(world.lessons[1].id) && found.swing.mark == Mark::Exclude
        };
        let excluded = world.swings.iter().filter(practice).count();
        assert!(excluded > 1 && html.contains(&format!("{excluded} swings left out by the instructor")), "{excluded}");
        let bat = world.bats[1].id;
        assert!(page(&api, &format!("{path}?bat={bat}")).await.contains(&format!("value=\"{bat}\" selected")));
    });
}
