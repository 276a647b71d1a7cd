//! An athlete with consents, exporting and erasing.

use super::fields;
use super::overview::{ALL, read_as};
use super::people::{BATS, RELATIONS, SCOPES, consent_fields, given_now};
use crate::daemon::access::Who;
use crate::daemon::api::consents::{ConsentState, state};
use crate::daemon::api::extract::Id;
use crate::daemon::api::instant::Instant;
use crate::daemon::api::{Api, Problem};
use crate::daemon::page::shell::{Here, Page};
use crate::daemon::page::view::View;
use crate::daemon::page::when;
use crate::daemon::store::queries::{athletes, consents};
use crate::daemon::store::rows::{Athlete, Consent, Role, UtcMicros, Word};
use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};
use serde_json::json;
use uuid::Uuid;

/// The page.
pub async fn page(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    view: View,
    Extension(who): Extension<Who>,
) -> Result<Page, Problem> {
    let mut reading = api.store.read().await?;
    let athlete = athletes::get(&mut reading, id).await?;
    let consents = consents::list(&mut reading, id, ALL).await?;
    drop(reading);
    let now = api.now();
    let main = html! {
        p.back { a href="/setup" { "Set up" } " / athlete" }
        h1 { (athlete.nickname) }
        p.back { a href=(format!("/athletes/{id}")) { "Lessons and swings" } }
        .columns {
            section aria-labelledby="edit" { h2 #edit { "What is known" } (edit(&athlete, view)) }
            section aria-labelledby="consents" { h2 #consents { "Consents" } (consent_part(&athlete, &consents, now)) }
            @if who.role() == Role::Owner {
                section aria-labelledby="data" { h2 #data { "Taking along and erasing" } (whole(&athlete)) }
            }
        }
    };
    Ok(Page::new(athlete.nickname.clone(), Here::Setup, view, &who, main).about([id]))
}

fn edit(athlete: &Athlete, view: View) -> Markup {
    html! {
        form data-send=(format!("PATCH /v1/athletes/{}", athlete.id)) data-version=(athlete.version) {
            .fields {
                (fields::line("Nickname", "nickname", &athlete.nickname, "", true))
                (fields::choice("Bats from", "bats", &BATS, athlete.bats.word()))
                (fields::number("Year of birth", "birth_year", fields::PLAIN, athlete.birth_year.map(|year| year as f64), "may stay empty"))
                (fields::number("Height", "height_m", fields::length(view.units), athlete.height_m, "may stay empty"))
                (fields::note(&athlete.note))
            }
            (fields::problem())
            button.primary.change type="submit" { "Keep the changes" }
        }
    }
}

fn consent_part(athlete: &Athlete, consents: &[Consent], now: UtcMicros) -> Markup {
    html! {
        @if consents.is_empty() { p { "None was written down." } }
        ul.list { @for consent in consents { li { (consent_line(consent, now)) } } }
        details data-key="new-consent" open[consents.is_empty()] {
            summary { "Write down a consent" }
            form #new-consent data-send=(format!("POST /v1/athletes/{}/consents", athlete.id)) data-body=(given_now(now)) {
                (consent_fields("parent"))
                .fields {
                    label { span { "Given on (empty: now)" } input type="date" name="given" data-as="instant" data-leave; }
                    label { span { "Holds until (empty: until it is withdrawn)" } input type="date" name="expires" data-as="instant"; }
                }
                (fields::problem())
                button.primary type="submit" { "Write it down" }
            }
        }
    }
}

fn consent_line(consent: &Consent, now: UtcMicros) -> Markup {
    let stands = state(consent, now);
    let scope: Vec<_> = consent.scope.iter().map(|scope| read_as(&SCOPES, scope.word())).collect();
    html! {
        .who {
            strong { (consent.given_by) } ", " (read_as(&RELATIONS, consent.relation.word())) ": " (scope.join(", "))
            br;
            span.faint {
                "given " (when::day(consent.given))
                @if let Some(expires) = consent.expires { " · until " (when::day(expires)) }
                @if let Some(withdrawn) = consent.withdrawn { " · withdrawn " (when::day(withdrawn)) }
                " · " (stands_so(stands))
            }
            (fields::problem())
        }
        @if consent.withdrawn.is_none() && stands != ConsentState::Expired {
            button.change type="button" data-send=(format!("PATCH /v1/consents/{}", consent.id)) data-version=(consent.version)
                data-body=(json!({ "withdrawn": Instant::from(now.max(consent.given)).to_string() }))
                data-confirm=(format!("Write down that {} withdraws this consent? It cannot be taken back; a new consent can be given.", consent.given_by)) {
                "Withdraw" span.unseen { " the consent of " (consent.given_by) }
            }
        }
    }
}

/// Of the owner alone.
fn whole(athlete: &Athlete) -> Markup {
    let confirm = format!(
        "Erase {} for good? Athlete, consents, lessons, rounds, swings and ball results go; so do their parts of the recordings \
         here and of the backups that can be reached. Nothing brings them back. Take the archive along first if it may be \
         wanted.",
        athlete.nickname
    );
    let erase = format!("DELETE /v1/athletes/{}?confirm={}", athlete.id, super::near::encoded(&athlete.nickname));
    html! {
        p {
            a.button href=(format!("/v1/athletes/{}/archive", athlete.id)) download { "Take everything along" }
            " One archive: JSON, CSV, recordings."
        }
        p { "Erasing takes all that is kept of " (athlete.nickname) ". It is refused while they are at the plate." }
        button.danger type="button" data-send=(erase) data-confirm=(confirm) data-then="/setup" { "Erase " (athlete.nickname) }
        (fields::problem())
    }
}

fn stands_so(state: ConsentState) -> &'static str {
    match state {
        ConsentState::InForce => "in force",
        ConsentState::Expired => "over",
        ConsentState::Withdrawn => "no longer in force",
        ConsentState::None => "not yet in force",
    }
}
