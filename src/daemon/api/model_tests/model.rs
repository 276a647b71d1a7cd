//! The model: plain lists. What only the service decides (ids, into which lesson a moved swing comes) is read from its
//! answer, checked for what is promised of it, and held to from then on.

use super::super::test_api::{TestApi, athlete};
use super::steps::Step;
use crate::daemon::record::{Source, keep};
use crate::daemon::store::queries::{athletes, recordings};
use crate::daemon::store::rows::{Origin, Recording, RecordingState, Seen, UtcMicros};
use crate::engine::Stage;
use crate::engine::metrics::Estimate;
use crate::engine::session::ToldSwing;
use crate::engine::wire::mcap::{AtThePlate, AtThePlateSide};
use crate::report::example;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::Arc;
use uuid::Uuid;

/// 2026-11-25T16:10:18Z.
const BEGUN: UtcMicros = UtcMicros(1_795_623_018_000_000);
const SIDES: [&str; 2] = ["right", "left"];
const MARKS: [&str; 3] = ["none", "keep", "exclude"];
const DRILLS: [&str; 2] = ["high tee", "timing"];

/// What the record has to be.
pub struct Model {
    case: usize,
    source: Source,
    keys: usize,
    athletes: Vec<String>,
    bats: Vec<String>,
    lessons: Vec<Lesson>,
    rounds: Vec<Round>,
    swings: Vec<Swing>,
    measured: u64,
}

#[derive(Clone, Debug)]
struct Lesson {
    id: String,
    athlete: String,
    occasion: String,
}

#[derive(Clone, Debug)]
struct Round {
    id: String,
    lesson: String,
    bat: Option<String>,
    side: String,
    drill: String,
}

/// Athlete, lesson, round, side, bat.
type Owner = [Option<String>; 5];

#[derive(Clone, Debug)]
struct Swing {
    id: String,
    told: ToldSwing,
    owner: Owner,
    mark: String,
    note: String,
    tags: BTreeSet<String>,
    is_moved: bool,
    version: i64,
    /// What each analysis said when it was made.
    revisions: Vec<Value>,
}

impl Model {
    /// Of a recording that nothing is in yet.
    pub async fn new(api: &TestApi, case: usize) -> Self {
        let recording = Recording {
            id: Uuid::now_v7(),
            cage: "north".into(),
            file_name: format!("case-{case}.mcap"),
            sensor_id: None,
            origin: Origin::Live,
            imported_name: None,
            athlete_id: None,
            begun: BEGUN,
            ended: None,
            summary: None,
            sha256: None,
            state: RecordingState::Open,
            version: 1,
        };
        let mut changes = api.api.store.write().await.unwrap();
        recordings::insert(&mut changes, &recording).await.unwrap();
        changes.commit().await.unwrap();
        let file_stem = format!("case-{case}");
        let cage = recording.cage;
        Self {
            case,
            source: Source { recording_id: recording.id, cage, file_stem, begun: BEGUN, first_s: 0.0, owner: None },
            keys: 0,
            athletes: Vec::new(),
            bats: Vec::new(),
            lessons: Vec::new(),
            rounds: Vec::new(),
            swings: Vec::new(),
            measured: 0,
        }
    }

    /// Does a step to both, if there is what it needs.
    pub async fn take(&mut self, api: &TestApi, step: &Step) -> bool {
        let done = match step {
            Step::Athlete => {
                self.athletes.push(athlete(api, "Wren").await);
                Some(())
            }
            Step::Bat => self.enter_bat(api).await,
            Step::Lesson { athlete, is_practice } => self.enter_lesson(api, *athlete, *is_practice).await,
            Step::Round { lesson, bat, side, drill } => self.enter_round(api, (*lesson, *bat), (*side, *drill)).await,
            Step::Swing { round } => self.measure(api, *round).await,
            Step::Better { swing } => self.analyse_again(api, *swing, true).await,
            Step::Again { swing } => self.analyse_again(api, *swing, false).await,
            Step::Edit { swing, mark, note, tags } => self.edit(api, *swing, (*mark, note), tags).await,
            Step::Stale { swing } => self.edit_stale(api, *swing).await,
            Step::ToRound { swing, round } => self.move_to_round(api, *swing, *round).await,
            Step::ToAthlete { swing, athlete } => self.move_to_athlete(api, *swing, *athlete).await,
            Step::ToNobody { swing } => self.move_to_nobody(api, *swing).await,
            Step::Several { swings, round } => self.several(api, swings, *round).await,
            Step::RemoveBat { bat } => self.remove_bat(api, *bat).await,
            Step::RemoveRound { round } => self.remove_round(api, *round).await,
            Step::RemoveLesson { lesson } => self.remove_lesson(api, *lesson).await,
            Step::Erase { athlete } => self.erase(api, *athlete).await,
        };
        done.is_some()
    }

    fn key(&mut self) -> String {
        self.keys += 1;
        format!("{}-{}", self.case, self.keys)
    }

    async fn enter_bat(&mut self, api: &TestApi) -> Option<()> {
        let key = self.key();
        let body = json!({"name": "Tern", "kind": "bat"});
        let first = api.post_with_key("/v1/bats", &key, body.clone()).await;
        let again = api.post_with_key("/v1/bats", &key, body).await;
        assert_eq!((first.status, again.status, &first.bytes), (201, 201, &again.bytes));
        let other = api.post_with_key("/v1/bats", &key, json!({"name": "Heron", "kind": "bat"})).await;
        assert_eq!(other.status, 422);
        self.bats.push(text(&first.json["id"]).unwrap());
        Some(())
    }

    async fn enter_lesson(&mut self, api: &TestApi, athlete: usize, is_practice: bool) -> Option<()> {
        let athlete = pick(&self.athletes, athlete)?.clone();
        let occasion = if is_practice { "practice" } else { "lesson" }.to_owned();
        let body = json!({"athlete_id": athlete, "occasion": occasion, "begun": "2026-11-25T16:00:00Z",
            "ended": "2026-11-25T18:00:00Z"});
        let made = api.post("/v1/lessons", body).await;
        assert_eq!(made.status, 201, "{}", made.json);
        self.lessons.push(Lesson { id: text(&made.json["id"]).unwrap(), athlete, occasion });
        Some(())
    }

    async fn enter_round(
        &mut self,
        api: &TestApi,
        (lesson, bat): (usize, usize),
        (side, drill): (usize, usize),
    ) -> Option<()> {
        let lesson = pick(&self.lessons, lesson)?.id.clone();
        let bat = pick(&self.bats, bat).cloned();
        let (side, drill) = (SIDES[side % 2].to_owned(), DRILLS[drill % 2].to_owned());
        let body = json!({"lesson_id": lesson, "bat_id": bat, "side": side, "drill": drill,
            "begun": "2026-11-25T16:05:00Z"});
        let made = api.post("/v1/rounds", body).await;
        assert_eq!(made.status, 201, "{}", made.json);
        self.rounds.push(Round { id: text(&made.json["id"]).unwrap(), lesson, bat, side, drill });
        Some(())
    }

    async fn measure(&mut self, api: &TestApi, round: Option<usize>) -> Option<()> {
        let round = round.and_then(|round| pick(&self.rounds, round));
        let owner = round.map_or_else(Owner::default, |round| self.of_round(round));
        let [athlete_id, lesson_id, round_id, side, bat_id] = owner.clone();
        let side = side.map(|side| if side == "left" { AtThePlateSide::Left } else { AtThePlateSide::Right });
        let told = ToldSwing {
            number: self.measured,
            run: 0,
            stage: Stage::Smoothed,
            swing: example::swing(self.measured as usize + 1),
            contact_utc: None,
            at_the_plate: AtThePlate { athlete_id, lesson_id, round_id, side, bat_id, ..AtThePlate::default() },
            profile: Arc::default(),
        };
        self.measured += 1;
        let id = self.keep(api, &told, true).await;
        let (mark, note, tags) = ("none".into(), String::new(), BTreeSet::new());
        let revisions = vec![self.revision(api, &id, 1).await];
        self.swings.push(Swing { id, told, owner, mark, note, tags, is_moved: false, version: 1, revisions });
        Some(())
    }

    async fn analyse_again(&mut self, api: &TestApi, swing: usize, is_better: bool) -> Option<()> {
        let place = place(&self.swings, swing)?;
        let mut told = self.swings[place].told.clone();
        if is_better {
            told.stage = Stage::Revised;
            let value = 20.0 + self.swings[place].revisions.len() as f64;
            told.swing.metrics[0] = Some(Estimate { value, sigma: 0.1 });
        }
        let id = self.keep(api, &told, is_better).await;
        assert_eq!(id, self.swings[place].id);
        if is_better {
            let revision = self.swings[place].revisions.len() + 1;
            let said = self.revision(api, &id, revision).await;
            let swing = &mut self.swings[place];
            (swing.told, swing.version) = (told, swing.version + 1);
            swing.revisions.push(said);
        }
        Some(())
    }

    async fn keep(&self, api: &TestApi, told: &ToldSwing, is_added: bool) -> String {
        let mut changes = api.api.store.write().await.unwrap();
        let kept = keep(&mut changes, &self.source, told, UtcMicros(BEGUN.0 + 1_000_000)).await.unwrap().unwrap();
        changes.commit().await.unwrap();
        assert_eq!(kept.is_added, is_added);
        kept.swing_id.to_string()
    }

    /// What the analysis of this number says, which is the last one.
    async fn revision(&self, api: &TestApi, swing: &str, revision: usize) -> Value {
        let all = api.get(&format!("/v1/swings/{swing}/revisions")).await.json;
        let all = revisions(&all);
        assert_eq!(all.len(), revision);
        all[revision - 1].clone()
    }

    async fn edit(&mut self, api: &TestApi, swing: usize, (mark, note): (usize, &str), tags: &[String]) -> Option<()> {
        let place = place(&self.swings, swing)?;
        let body = json!({"mark": MARKS[mark], "note": note, "tags": tags});
        self.patch(api, place, body).await;
        let swing = &mut self.swings[place];
        (swing.mark, swing.note) = (MARKS[mark].to_owned(), note.to_owned());
        swing.tags = tags.iter().cloned().collect();
        Some(())
    }

    async fn edit_stale(&mut self, api: &TestApi, swing: usize) -> Option<()> {
        let swing = &self.swings[place(&self.swings, swing)?];
        let path = format!("/v1/swings/{}", swing.id);
        for version in [swing.version - 1, swing.version + 1] {
            let refused =
                api.patch(&path, &format!("\"{version}\""), json!({"note": "late", "athlete_id": null})).await;
            assert_eq!(refused.status, 412, "{}", refused.json);
        }
        Some(())
    }

    /// An edit from the present version.
    async fn patch(&mut self, api: &TestApi, place: usize, body: Value) -> Value {
        let swing = &mut self.swings[place];
        let path = format!("/v1/swings/{}", swing.id);
        let edited = api.patch(&path, &format!("\"{}\"", swing.version), body).await;
        assert_eq!(edited.status, 200, "{}", edited.json);
        swing.version += 1;
        assert_eq!(edited.header("etag"), Some(&*format!("\"{}\"", swing.version)));
        edited.json
    }

    async fn move_to_round(&mut self, api: &TestApi, swing: usize, round: usize) -> Option<()> {
        let place = place(&self.swings, swing)?;
        let round = pick(&self.rounds, round)?.clone();
        self.patch(api, place, json!({"round_id": round.id})).await;
        self.put_into(place, &round);
        Some(())
    }

    /// A round brings its lesson and athlete, its side, and its bat where it names one. Whether anything changed.
    fn put_into(&mut self, place: usize, round: &Round) -> bool {
        let owner = self.of_round(round);
        let swing = &mut self.swings[place];
        if swing.owner[2] == owner[2] {
            return false;
        }
        let bat = owner[4].clone().or_else(|| swing.owner[4].clone());
        swing.move_to([owner[0].clone(), owner[1].clone(), owner[2].clone(), owner[3].clone(), bat]);
        true
    }

    async fn move_to_athlete(&mut self, api: &TestApi, swing: usize, athlete: usize) -> Option<()> {
        let place = place(&self.swings, swing)?;
        let athlete = pick(&self.athletes, athlete)?.clone();
        let moved = self.patch(api, place, json!({"athlete_id": athlete})).await;
        let before = self.swings[place].owner.clone();
        if before[0].as_ref() == Some(&athlete) {
            return Some(());
        }
        let (lesson, round) = (text(&moved["lesson_id"]).unwrap(), text(&moved["round_id"]));
        self.expect_lesson(api, &lesson, &athlete, before[1].as_deref()).await;
        assert_eq!(round.is_some(), before[2].is_some(), "a round like the one that it was in");
        if let (Some(round), Some(like)) = (&round, &before[2]) {
            self.expect_round(api, round, &lesson, like).await;
        }
        let [_, _, _, side, bat] = before;
        self.swings[place].move_to([Some(athlete), Some(lesson), round, side, bat]);
        Some(())
    }

    /// The lesson that a swing came into: the athlete's, and of the same occasion as the one before.
    async fn expect_lesson(&mut self, api: &TestApi, id: &str, athlete: &str, before: Option<&str>) {
        let occasion = |id: &str| self.lessons.iter().find(|lesson| lesson.id == id).map(|one| one.occasion.clone());
        let expected = before.map_or_else(|| "lesson".to_owned(), |before| occasion(before).unwrap());
        let lesson = api.get(&format!("/v1/lessons/{id}")).await.json;
        assert_eq!((&lesson["athlete_id"], &lesson["occasion"]), (&json!(athlete), &json!(expected)));
        if occasion(id).is_none() {
            let (id, athlete) = (id.to_owned(), athlete.to_owned());
            self.lessons.push(Lesson { id, athlete, occasion: expected });
        }
    }

    /// The round that a swing came into: of that lesson, and of the same drill.
    async fn expect_round(&mut self, api: &TestApi, id: &str, lesson: &str, like: &str) {
        let like = self.rounds.iter().find(|round| round.id == like).unwrap().clone();
        let round = api.get(&format!("/v1/rounds/{id}")).await.json;
        assert_eq!((&round["lesson_id"], &round["drill"]), (&json!(lesson), &json!(like.drill)));
        if self.rounds.iter().all(|known| known.id != id) {
            let (bat, side) = (text(&round["bat_id"]), text(&round["side"]).unwrap());
            self.rounds.push(Round { id: id.to_owned(), lesson: lesson.to_owned(), bat, side, drill: like.drill });
        }
    }

    async fn move_to_nobody(&mut self, api: &TestApi, swing: usize) -> Option<()> {
        let place = place(&self.swings, swing)?;
        self.patch(api, place, json!({"athlete_id": null})).await;
        let [.., side, bat] = self.swings[place].owner.clone();
        self.swings[place].move_to([None, None, None, side, bat]);
        Some(())
    }

    async fn several(&mut self, api: &TestApi, swings: &[usize], round: usize) -> Option<()> {
        let round = pick(&self.rounds, round)?.clone();
        let places: BTreeSet<usize> = swings.iter().filter_map(|swing| place(&self.swings, *swing)).collect();
        if places.is_empty() {
            return None;
        }
        let ids: Vec<_> = places.iter().map(|place| self.swings[*place].id.clone()).collect();
        let (key, body) = (self.key(), json!({"swing_ids": ids, "round_id": round.id}));
        let moved = api.post_with_key("/v1/swings/moves", &key, body.clone()).await;
        let again = api.post_with_key("/v1/swings/moves", &key, body).await;
        assert_eq!((moved.status, &moved.json), (200, &again.json), "{}", moved.json);
        let mut changed = 0;
        for place in places {
            if self.put_into(place, &round) {
                self.swings[place].version += 1;
                changed += 1;
            }
        }
        assert_eq!(moved.json["changed"], changed);
        Some(())
    }

    /// Rounds and swings with it stay, without a bat.
    async fn remove_bat(&mut self, api: &TestApi, bat: usize) -> Option<()> {
        let bat = self.bats.remove(place(&self.bats, bat)?);
        assert_eq!(api.delete(&format!("/v1/bats/{bat}"), "\"1\"").await.status, 204);
        let bats = self.rounds.iter_mut().map(|round| &mut round.bat);
        let bats = bats.chain(self.swings.iter_mut().map(|swing| &mut swing.owner[4]));
        bats.filter(|one| one.as_ref() == Some(&bat)).for_each(|one| *one = None);
        Some(())
    }

    async fn remove_round(&mut self, api: &TestApi, round: usize) -> Option<()> {
        let place = place(&self.rounds, round)?;
        let id = self.rounds[place].id.clone();
        let is_empty = self.swings.iter().all(|swing| swing.owner[2].as_ref() != Some(&id));
        let answer = api.delete(&format!("/v1/rounds/{id}"), "\"1\"").await;
        assert_eq!(answer.status, if is_empty { 204 } else { 409 });
        if is_empty {
            self.rounds.remove(place);
        }
        Some(())
    }

    async fn remove_lesson(&mut self, api: &TestApi, lesson: usize) -> Option<()> {
        let place = place(&self.lessons, lesson)?;
        let id = self.lessons[place].id.clone();
        let is_empty = self.swings.iter().all(|swing| swing.owner[1].as_ref() != Some(&id));
        let answer = api.delete(&format!("/v1/lessons/{id}"), "\"1\"").await;
        assert_eq!(answer.status, if is_empty { 204 } else { 409 });
        if is_empty {
            self.lessons.remove(place);
            self.rounds.retain(|round| round.lesson != id);
        }
        Some(())
    }

    async fn erase(&mut self, api: &TestApi, athlete: usize) -> Option<()> {
        let athlete = self.athletes.remove(place(&self.athletes, athlete)?);
        let mut changes = api.api.store.write().await.unwrap();
        athletes::delete(&mut changes, Seen { id: athlete.parse().unwrap(), version: 1 }).await.unwrap();
        changes.commit().await.unwrap();
        self.swings.retain(|swing| swing.owner[0].as_ref() != Some(&athlete));
        self.lessons.retain(|lesson| lesson.athlete != athlete);
        let lessons: BTreeSet<_> = self.lessons.iter().map(|lesson| lesson.id.clone()).collect();
        self.rounds.retain(|round| lessons.contains(&round.lesson));
        Some(())
    }

    fn of_round(&self, round: &Round) -> Owner {
        let lesson = self.lessons.iter().find(|lesson| lesson.id == round.lesson).unwrap();
        let (athlete, lesson) = (lesson.athlete.clone(), lesson.id.clone());
        [Some(athlete), Some(lesson), Some(round.id.clone()), Some(round.side.clone()), round.bat.clone()]
    }

    /// Every swing, once, as it has to be.
    pub async fn check(&self, api: &TestApi) {
        let found = pages(api, &format!("/v1/swings?recording={}", self.source.recording_id)).await;
        let mut expected: Vec<Value> = self.swings.iter().map(Swing::json).collect();
        expected.sort_by(|one, other| f64::total_cmp(&number(other), &number(one)));
        let shown: Vec<Value> = found.iter().map(|found| part(found, &expected)).collect();
        assert_eq!(shown, expected);
    }

    /// Also by athlete and lesson, and all that was ever said.
    pub async fn check_whole(&self, api: &TestApi) {
        let of_whom = self.athletes.iter().map(|id| (id.as_str(), Some(id)));
        for (whose, id) in of_whom.chain([("none", None)]) {
            let path = format!("/v1/swings?recording={}&athlete={whose}&order=oldest", self.source.recording_id);
            let expected = self.swings.iter().filter(|swing| swing.owner[0].as_ref() == id).count();
            assert_eq!(pages(api, &path).await.len(), expected, "{whose}");
        }
        for lesson in &self.lessons {
            let found = api.get(&format!("/v1/lessons/{}", lesson.id)).await.json;
            let swings = self.swings.iter().filter(|swing| swing.owner[1].as_ref() == Some(&lesson.id)).count();
            let rounds = self.rounds.iter().filter(|round| round.lesson == lesson.id).count();
            assert_eq!((&found["swings"], &found["rounds"]), (&json!(swings), &json!(rounds)));
        }
        for swing in &self.swings {
            let all = api.get(&format!("/v1/swings/{}/revisions", swing.id)).await.json;
            assert_eq!(revisions(&all), &swing.revisions, "what an analysis said was changed");
        }
    }
}

impl Swing {
    fn move_to(&mut self, owner: Owner) {
        self.is_moved |= owner != self.owner;
        self.owner = owner;
    }

    fn json(&self) -> Value {
        let [athlete, lesson, round, side, bat] = &self.owner;
        json!({"id": self.id, "athlete_id": athlete, "lesson_id": lesson, "round_id": round, "side": side, "bat_id": bat,
            "mark": self.mark, "note": self.note, "tags": self.tags, "is_moved": self.is_moved, "version": self.version,
            "revision": self.revisions.len(), "contact_s": self.told.swing.contact.0})
    }
}

/// Of an answer what the model knows.
fn part(found: &Value, expected: &[Value]) -> Value {
    let keys = expected.first().and_then(Value::as_object).map(|one| one.keys().cloned().collect::<Vec<_>>());
    keys.unwrap_or_default().into_iter().map(|key| (key.clone(), found[&key].clone())).collect()
}

/// All items of a list, three a page; each page but the last is full.
async fn pages(api: &TestApi, path: &str) -> Vec<Value> {
    let (mut items, mut after) = (Vec::new(), String::new());
    loop {
        let page = api.get(&format!("{path}&limit=3{after}")).await;
        assert_eq!(page.status, 200, "{}", page.json);
        items.extend(page.json["items"].as_array().unwrap().iter().cloned());
        let Some(next) = page.json["next"].as_str() else { return items };
        assert_eq!(items.len() % 3, 0);
        after = format!("&after={next}");
    }
}

fn revisions(answer: &Value) -> &Vec<Value> {
    answer.as_array().or_else(|| answer["items"].as_array()).unwrap()
}

fn number(swing: &Value) -> f64 {
    swing["contact_s"].as_f64().unwrap()
}

fn text(value: &Value) -> Option<String> {
    value.as_str().map(str::to_owned)
}

fn place<T>(list: &[T], number: usize) -> Option<usize> {
    number.checked_rem(list.len())
}

fn pick<T>(list: &[T], number: usize) -> Option<&T> {
    list.get(place(list, number)?)
}
