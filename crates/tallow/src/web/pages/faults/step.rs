//! The next step of a search, with its cautions before the steps they belong to, and answers as wide buttons.

use maud::{Markup, html};
use upkeep::build::SignalWord;
use upkeep::fault::RemedyKind;

use super::super::super::form::{Field, Refusal, choice, sentence};
use super::super::super::frame;
use super::super::super::sending::Sending;
use super::super::machine::{REASONS, lines, spares};
use super::search::Drawn;
use crate::commands::fault::{Ask, Next, Sought};
use crate::commands::steps::{ABOVE, capital, state_words};
use crate::words::money;

/// The name of the form that answers what is asked.
pub(super) const FORM: &str = "answer";

const YES: (&str, &str) = ("yes", "Yes");
const CHECKED: [(&str, &str); 4] =
    [YES, ("no", "No"), ("cannot-tell", "Can\u{2019}t tell"), ("did-already", "Did that already")];
const MENDED: [(&str, &str); 3] =
    [("fixed", "That fixed it"), ("no", "Did not help"), ("did-already", "Did that already")];

/// What comes next.
pub(super) fn section(sought: &Sought, drawn: &Drawn<'_>) -> Markup {
    html! {
        section.next.no-print aria-labelledby="next" {
            (drawn.refusal.shown("measured"))
            @match &sought.search.next {
                Next::Over => {},
                Next::Stop { symptom, order } => {
                    h2 #next { "Before all else" }
                    (frame::caution(SignalWord::Danger, order))
                    (answers(drawn, &format!("stop because of \"{symptom}\""), html! {}, &[("yes", "That is done")]))
                },
                Next::Contradiction(why) => {
                    h2 #next { "The answers contradict each other" }
                    p { (sentence(why)) }
                    p { "Take one back below." }
                },
                Next::AskSomebody => {
                    h2 #next { "Ask somebody" }
                    p { "Nothing that is listed is left. Ask somebody who knows the machine, or its maker, and write below what it was." }
                },
                Next::Check(ask) => {
                    h2 #next { "Check: " (ask.name) }
                    (asked(ask, "It tells of", sought))
                    (answers(drawn, &ask.name, details(drawn, None, html! {}), &CHECKED))
                },
                Next::Remedy(ask) => {
                    h2 #next { @if ask.replaces() { "Replace: " } @else { "Do: " } (ask.name) }
                    (asked(ask, "It mends", sought))
                    (answers(drawn, &ask.name, details(drawn, ask.kind.as_ref(), which(ask, drawn.refusal)), &MENDED))
                },
            }
        }
    }
}

/// What a check or remedy takes, and how it is done.
fn asked(ask: &Ask, of: &str, sought: &Sought) -> Markup {
    let search = &sought.search;
    html! {
        p { strong { (state_words(ask.state)) } }
        p { "About " (ask.minutes) " min" @if 0.0 < ask.money { " and " (money(ask.money, &search.currency)) } "."
            @if !ask.of.is_empty() { " " (of) ": " (ask.of.join("; ")) "." } }
        @if ask.qualified { p.stop { "Beyond looking, this is work for a qualified person under the local code." } }
        ol.steps {
            @for (place, step) in ask.steps.iter().enumerate() {
                li {
                    @for caution in ask.cautions.iter().filter(|caution| caution.before == place) {
                        (frame::caution(caution.word, &caution.text))
                    }
                    (step)
                }
            }
        }
        p.small { (ABOVE) }
        @if let Some(cost) = search.expected_cost {
            p.small {
                "By this way it is likely to cost about " (money(cost, &search.currency)) " until it is mended, work and standing still."
                @if !sought.assumed.is_empty() { " " a href="/shop#prices" { "Some prices are assumed" } "." }
            }
        }
    }
}

/// Which cause it was, where what mended it mends several.
fn which(ask: &Ask, refusal: &Refusal) -> Markup {
    let likeliest = (String::new(), "the likeliest".to_owned());
    let of: Vec<(String, String)> =
        [likeliest].into_iter().chain(ask.of.iter().map(|title| (title.clone(), title.clone()))).collect();
    html! { @if 1 < ask.of.len() { (choice(refusal, FORM, "cause", "Which it was, if it is known", "", &of)) } }
}

/// What can be said besides the answer, folded up.
fn details(drawn: &Drawn<'_>, kind: Option<&RemedyKind>, which: Markup) -> Markup {
    let summary = match kind {
        None | Some(RemedyKind::Setting) => "A note",
        Some(RemedyKind::Task(_)) => "Supplies that were used, a note",
        Some(RemedyKind::Replace) => "The spare, why the part went, a note",
    };
    let fields = match kind {
        None => Field::text(FORM, "note", "Note").show(drawn.refusal),
        kind => mending(drawn, FORM, kind),
    };
    html! { details open[drawn.refusal.is_of(FORM)] { summary { (summary) } (which) (fields) } }
}

/// How it was mended; without a kind of remedy, by any.
pub(super) fn mending(drawn: &Drawn<'_>, form: &str, kind: Option<&RemedyKind>) -> Markup {
    let refusal = drawn.refusal;
    let takes_supplies = matches!(kind, None | Some(RemedyKind::Task(_)));
    let takes_spare = matches!(kind, None | Some(RemedyKind::Replace));
    let usual = (String::new(), "failed if this mended it, else good".to_owned());
    let reasons = REASONS.iter().map(|(name, words, _)| ((*name).to_owned(), (*words).to_owned()));
    let reasons: Vec<(String, String)> = [usual].into_iter().chain(reasons).collect();
    html! {
        @if takes_supplies {
            (lines(refusal, form, "used", "Used besides what the task names", "one supply in a line: ISO VG 32 light oil=2 ml"))
        }
        @if takes_spare {
            (choice(refusal, form, "spare", "A spare of the stores that was put in", "", &spares(drawn.glance)))
            (choice(refusal, form, "because", "Why the part went", "", &reasons))
        }
        (Field::text(form, "note", "Note").show(refusal))
    }
}

/// The form that answers, with its wide buttons.
fn answers(drawn: &Drawn<'_>, of: &str, fields: Markup, answers: &[(&str, &str)]) -> Markup {
    Sending::to(&drawn.to("say")).show(
        drawn.may,
        html! {
            // What a key pressed in a field does: nothing is answered by it.
            button name="answer" value="" hidden tabindex="-1" { "Keep" }
            input type="hidden" name="form" value=(FORM);
            input type="hidden" name="of" value=(of);
            (fields)
            (drawn.refusal.shown(FORM))
            div.answers {
                @for (place, (value, label)) in answers.iter().enumerate() {
                    button.big.quiet[1 < place] name="answer" value=(value) { (capital(label)) }
                }
            }
        },
    )
}
