//! For the athlete and a parent: what has changed, what has not, what cannot be told yet.

use super::super::then_now::Told;
use super::super::words::plainly;
use super::{Handout, parts, pictures};
use maud::{Markup, html};

/// All of it.
pub fn sections(handout: &Handout) -> Markup {
    let told = handout.told();
    let [changed_head, same_head] = match handout.mismatches.is_empty() {
        true => ["What has changed", "What has not changed"],
        false => ["What differs", "What does not differ"],
    };
    html! {
        section { h2 { "What we looked at" } (parts::compared(handout)) (how_sure()) }
        (answers(&told, "changed", changed_head, "Nothing that was asked about can be said to have changed.", changed))
        (answers(&told, "same", same_head, "Nothing that was asked about can be said to have stayed the same.", same))
        (answers(&told, "unsure", "What we cannot tell yet", "Of everything we asked about we can tell.", unsure))
        section { h2 { "Pictures" } (pictures::few(handout)) (parts::varied(handout)) }
        (parts::balls(handout))
        (parts::words_and_homework(handout))
        (parts::cautions())
    }
}

fn how_sure() -> Markup {
    html! {
        p {
            "No measurement is exact, and everybody swings a little differently each time and each day. So behind a number \
             there is a range: if we did all of this many times, the true number would be within such a range in about 95 \
             of 100 cases. We say that something has changed only when days and swings that merely happen to differ would hardly \
             ever look like it."
        }
    }
}

/// Those with this kind of answer.
fn answers(told: &[Told], kind: &str, head: &str, none: &str, line: fn(&Told) -> Markup) -> Markup {
    let of_kind: Vec<&Told> = told.iter().filter(|told| told.kind == kind).collect();
    html! {
        section {
            h2 { (head) }
            @if of_kind.is_empty() { p { (none) } } @else {
                ul.answers { @for told in of_kind { li { (line(told)) br; span.faint { (plainly(told.metric)) } } } }
            }
        }
    }
}

fn changed(told: &Told) -> Markup {
    let way = told.difference_words.as_ref().unwrap_or(&told.answer);
    html! { b { (told.label) ": " (way) "." } (means(told)) }
}

fn same(told: &Told) -> Markup {
    html! { b { (told.label) ": the same, within " (told.with_unit(&told.amount)) "." } (means(told)) }
}

fn unsure(told: &Told) -> Markup {
    html! {
        b { (told.label) "." } " " (told.answer) "."
        @match &told.difference_words { Some(difference) => { " Now " (difference) "." }, None => (means(told)) }
    }
}

fn means(told: &Told) -> Markup {
    html! {
        @if let (Some(then), Some(now)) = (&told.then.mean, &told.now.mean) {
            " Then " (told.with_unit(then)) ", now " (told.with_unit(now)) "."
        }
    }
}
