//! Then and now, the report of it, and homework, against what the API says of the same.

use super::{between, filled, page, page_with, words};
use crate::daemon::api::test_api::{TestApi, athlete, on_each};
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::daemon::store::rows::{Mark, Side};
use crate::engine::metrics::Metric;
use crate::report::words::label;
use serde_json::json;

#[test]
fn every_number_has_its_answer_and_who_never_swung_is_told_so() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 120).await;
        let whose = world.athletes[0].id;
        let html = page(&api, &format!("/athletes/{whose}/then-and-now")).await;
        for metric in Metric::ALL {
            let row = html.split(&format!("data-metric=\"{}\"", metric.key())).nth(1);
            let row = row.unwrap_or_else(|| panic!("{metric:?}: {html}")).split("</li>").next().unwrap();
            let answers = ["Changed", "Not changed by more than", "Cannot tell"];
            assert_eq!(answers.iter().filter(|answer| row.contains(**answer)).count(), 1, "{row}");
        }
        assert!(words(&html).contains("All 14 numbers are asked about."));
        let one = page(&api, &format!("/athletes/{whose}/then-and-now?metric=bat_speed_mps&side=left")).await;
        assert_eq!(one.matches("data-metric=").count(), 1);
        assert!(
            one.contains("One of 14 numbers is asked about; of the others") && one.contains("from the left"),
            "{one}"
        );
        let nobody = athlete(&api, "Tern <b>").await;
        let html = page(&api, &format!("/athletes/{nobody}/then-and-now")).await;
        assert!(html.contains("There is no swing yet") && !html.contains("Tern <b>"), "{html}");
        let link = format!("/athletes/{whose}/then-and-now");
        assert!(page(&api, &format!("/athletes/{whose}")).await.contains(&link));
    });
}

#[test]
fn the_form_says_what_is_compared_and_its_own_query_gives_the_same_page() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 120).await;
        let path = format!("/athletes/{}/then-and-now", world.athletes[0].id);
        let html = page(&api, &path).await;
        let form = html.split("<form method=\"get\">").nth(1).unwrap().split("</form>").next().unwrap();
        let mut query = Vec::new();
        for select in form.split("<select name=\"").skip(1) {
            let (name, rest) = select.split_once('"').unwrap();
            let options = rest.split("</select>").next().unwrap().split("<option value=\"").skip(1);
            let chosen = options.into_iter().find(|option| option.split('>').next().unwrap().contains("selected"));
            let value = chosen.map_or("", |option| option.split('"').next().unwrap());
            query.push(format!("{name}={value}"));
        }
        query.extend(Metric::ALL.map(|metric| format!("metric={}", metric.key())));
        let again = page(&api, &format!("{path}?{}", query.join("&"))).await;
        let compared =
            |html: &str| html.split("class=\"compared\">").nth(1).unwrap().split("</p>").next().unwrap().to_owned();
        assert_eq!(compared(&again), compared(&html), "{query:?}");
        let strange = api.get(&format!("{path}?then_side=up")).await;
        assert_eq!(strange.status, 400);
    });
}

/// What is compared, as the page says it, without what is left out.
fn compared(html: &str) -> &str {
    between(html, "class=\"compared\">", "</p>").split(" Left out").next().unwrap()
}

/// The query that the form of the sheet sends for the athlete.
fn of_sheet(html: &str) -> String {
    let form = between(html, "<form class=\"telling\" method=\"get\"", "</form>");
    let hidden = form.split("<input type=\"hidden\" name=\"").skip(1).map(|input| {
        let (name, rest) = input.split_once('"').unwrap();
        format!("{name}={}", between(rest, "value=\"", "\"").replace("&amp;", "%26").replace(' ', "%20"))
    });
    hidden.chain(["words=".to_owned(), "for=athlete".to_owned()]).collect::<Vec<_>>().join("&")
}

#[test]
fn the_sheet_is_of_the_swings_of_the_page() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 120).await;
        let whose = world.athletes[0].id;
        let of_all = |side: Side| {
            let is = |found: &&FoundSwing| found.swing.athlete_id == Some(whose) && found.swing.side == Some(side);
            let counts = |found: &&FoundSwing| {
                found.swing.mark == Mark::Keep || found.swing.mark == Mark::None && found.analysis.flags.is_empty()
            };
            world.swings.iter().filter(is).filter(counts).count()
        };
        let [left, right] = [Side::Left, Side::Right].map(of_all);
        assert!(left > 1 && right > 1, "{left} {right}");
        let either = page(&api, &format!("/athletes/{whose}/then-and-now?then_side=&now_side=")).await;
        let usual = page(&api, &format!("/athletes/{whose}/then-and-now")).await;
        assert_ne!(compared(&either), compared(&usual), "either side is more than one");
        let empty = "then_from=&then_to=&now_from=&now_to=";
        let mut shown = vec![either, usual];
        for query in ["then_side=left&now_side=right".to_owned(), format!("{empty}&then_side=left&now_side=right")] {
            let html = page(&api, &format!("/athletes/{whose}/then-and-now?{query}")).await;
            let words = compared(&html);
            assert!(
                words.contains(&format!(": {left} swings on ")) && words.contains(&format!(": {right} swings on "))
            );
            shown.push(html);
        }
        for html in shown {
            let answer = api.get(&format!("/v1/athletes/{whose}/report?{}", of_sheet(&html))).await;
            assert_eq!(answer.status, 200, "{:?}", answer.json);
            let sheet = String::from_utf8(answer.bytes).unwrap();
            assert!(sheet.contains(compared(&html)), "{}: {sheet}", compared(&html));
        }
        let all = page(&api, &format!("/athletes/{whose}/then-and-now?{empty}")).await;
        assert!(all.contains("in both groups"), "from the first day to the last");
        assert!(all.contains("No side was chosen") && !all.contains("No day"), "{all}");
    });
}

#[test]
fn the_report_says_the_same_answers_as_the_page_and_asks_for_nothing() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 120).await;
        let whose = world.athletes[0].id;
        api.post(&format!("/v1/athletes/{whose}/homework"), json!({"drill": "Tee <i>", "how_much": "3 × 10"})).await;
        let shown = page(&api, &format!("/athletes/{whose}/then-and-now")).await;
        for reader in ["athlete", "instructor"] {
            let path = format!(
                "/v1/athletes/{whose}/report?for={reader}&units=metric&words=Hands%20%3Cb%3E%0D%0Afirst&file=true"
            );
            let answer = api.get(&path).await;
            assert_eq!((answer.status, answer.header("content-type")), (200, Some("text/html; charset=utf-8")));
            assert!(answer.header("content-disposition").unwrap().starts_with("attachment; "));
            let policy = answer.header("content-security-policy").unwrap();
            assert!(policy.starts_with("default-src 'none'; style-src 'unsafe-inline'"), "{policy}");
            let html = String::from_utf8(answer.bytes).unwrap();
            assert!(html.contains("Hands &lt;b&gt;\nfirst") && html.contains("Tee &lt;i&gt;"), "{html}");
            assert!(!html.contains("<script") && !html.contains("href"));
            for metric in Metric::ALL {
                assert!(html.contains(label(metric)), "{reader}: {metric:?}");
            }
            if reader == "instructor" {
                for row in shown.split("<p class=\"answer\"><strong>").skip(1) {
                    let answer = row.split("</strong>").next().unwrap();
                    assert!(html.contains(answer), "{answer}: {html}");
                }
            }
        }
        for refused in ["for=parent", "units=ells", "then_side=up", "colour=red"] {
            assert_eq!(api.get(&format!("/v1/athletes/{whose}/report?{refused}")).await.status, 400, "{refused}");
        }
    });
}

#[test]
fn what_was_not_the_same_over_months_stands_on_the_page_and_on_the_sheet() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 120).await;
        let whose = world.athletes[0].id;
        let alike = api.get(&format!("/v1/athletes/{whose}/alike?side=left")).await.json;
        let told: Vec<&str> =
            alike["varied"].as_array().unwrap().iter().map(|one| one["words"].as_str().unwrap()).collect();
        assert!(told.iter().any(|words| words.starts_with("Bat: ")), "{told:?}: nothing would be shown");
        let query = "side=left&metric=bat_speed_mps";
        let html = page(&api, &format!("/athletes/{whose}/then-and-now?{query}")).await;
        let warned = words(between(&html, "aria-label=\"Not the same over months\"", "</section>"));
        let sheet = api.get(&format!("/v1/athletes/{whose}/report?for=instructor&{query}")).await.bytes;
        let sheet = String::from_utf8(sheet).unwrap();
        let on_sheet = words(between(&sheet, "<h2>Over months</h2>", "</section>"));
        for one in told {
            assert!(warned.contains(one) && on_sheet.contains(one), "{one}: {warned} {on_sheet}");
        }
        let bat = world.bats[0].id;
        let same = page(&api, &format!("/athletes/{whose}/then-and-now?{query}&bat={bat}")).await;
        assert!(!words(between(&same, "<h2>Over months</h2>", "</section>")).contains("Bat: "), "one bat alone");
    });
}

#[test]
fn homework_is_listed_with_its_forms_and_words_are_words() {
    on_each(async |api: TestApi| {
        let wren = athlete(&api, "Wren").await;
        let given = json!({"drill": "<script>x</script>", "how_much": "3 × 10", "words": "slowly"});
        let id = api.post(&format!("/v1/athletes/{wren}/homework"), given).await.json["id"].clone();
        let html = page(&api, &format!("/athletes/{wren}")).await;
        for part in ["&lt;script&gt;x", "3 × 10", "slowly", &format!("PATCH /v1/homework/{}", id.as_str().unwrap())] {
            assert!(html.contains(part), "{part}: {html}");
        }
        assert!(html.contains(&format!("POST /v1/athletes/{wren}/homework")) && !html.contains("<script>x"));
    });
}

#[test]
fn what_matters_is_shown_in_the_units_of_the_page() {
    on_each(async |api: TestApi| {
        let html = page(&api, "/setup/amounts").await;
        assert_eq!(html.matches("data-as=\"number\"").count(), Metric::COUNT);
        assert!(html.contains("placeholder=\"0.89\"") && html.contains("PATCH /v1/amounts"), "{html}");
        let (_, us) = page_with(&api, "/setup/amounts", "").await;
        assert!(us.contains("placeholder=\"2\"") && us.contains("placeholder=\"1\""), "{us}");
    });
}
