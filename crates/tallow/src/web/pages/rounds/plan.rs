//! *Plan again*: asks for a plan, shows that it is being made, and then what it would change and cost.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use ledger::Asked;
use maud::{Markup, html};

use super::super::super::act::recording;
use super::super::super::app::App;
use super::super::super::asked::Form;
use super::super::super::assets;
use super::super::super::desk::{self, Made, Making};
use super::super::super::form::{self, Field, Refusal, Typed, sentence};
use super::super::super::frame::{Around, Page, Place};
use super::super::super::guard::May;
use super::super::super::hints::without_command;
use super::super::super::reply::{Answer, Failed, Reply};
use super::super::super::sending::{Sending, role_wanted};
use super::super::machines;
use super::{PLAN, Pairs};
use crate::commands::plan::{self, Becomes, Change, Changes, Proposal};
use crate::trouble::Trouble;
use crate::words;

/// For how long a plan is sought where nobody says otherwise, s.
const USUAL_SECONDS: &str = "10";
/// And at most, s: somebody waits for it.
const MOST_SECONDS: u16 = 60;
/// For how many days is planned where nobody says otherwise.
const USUAL_DAYS: &str = "14";
/// And at most, as the command line has it.
const MOST_DAYS: u16 = 31;

pub(in super::super::super) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Query(query): Query<Pairs>,
) -> Answer {
    let why = Typed::new(query).is_ticked("why");
    Ok(Reply::Page(page(&app, &around, &Refusal::default(), why).await?))
}

async fn page(app: &App, around: &Around, refusal: &Refusal, why: bool) -> Result<Page, Failed> {
    let making = desk::plan(app).await?;
    let may = &around.visitor.may;
    let body = html! {
        @match &making {
            Making::Idle => (asking(refusal, may)),
            Making::Running(asked) => (waiting(app, asked, may)),
            Making::Ready(made) => { (proposal(made, refusal, why, may)) (asking(refusal, may)) }
            Making::Failed(trouble) => { (form::trouble(trouble)) (asking(refusal, may)) }
        }
    };
    let page = Page::new(around, Place::Rounds, "/rounds/plan", "Plan again", body).with_script(&assets::ROUNDS);
    Ok(if matches!(making, Making::Running(_)) { page.looking_again() } else { page })
}

/// For the script: whether a plan is being made.
pub(in super::super::super) async fn progress(State(app): State<Arc<App>>) -> Answer {
    let text = desk::being_made(&app).await?.map(|asked| so_far(&app, &asked)).unwrap_or_default();
    Ok(Reply::Other(Box::new(text.into_response())))
}

fn so_far(app: &App, asked: &Asked) -> String {
    let gone = app.now().timestamp().duration_since(asked.since).as_secs();
    let by = asked.by.as_ref().map(|name| format!(", asked for by {name}")).unwrap_or_default();
    format!("Planning {} for about {} s, since {gone} s{by}.", words::count(asked.days.into(), "days"), asked.seconds)
}

fn asking(refusal: &Refusal, may: &May) -> Markup {
    const FORM: &str = "plan";
    html! {
        section aria-labelledby="asking" {
            h2 #asking { "Plan anew" }
            p { "Locked visits stay where they are. Nobody is told of anything before you say so." }
            (Sending::to(PLAN).show(may, html! {
                div.row {
                    (Field { value: USUAL_DAYS, kind: "number", ..Field::text(FORM, "days", "Days, from today on") }.show(refusal))
                    (Field { value: USUAL_SECONDS, kind: "number", hint: "At most 60. The longer, the nearer to the cheapest.",
                             ..Field::text(FORM, "seconds", "Seek for, s") }.show(refusal))
                    button { "Seek a plan" }
                }
                (refusal.shown(FORM))
            }))
            (role_wanted(may, PLAN, "Planning"))
        }
    }
}

fn waiting(app: &App, asked: &Asked, may: &May) -> Markup {
    html! {
        p.said #progress role="status" data-progress="/rounds/plan/progress" { (so_far(app, asked)) }
        p { "This page shows the plan when it is there. You can go on with other things meanwhile." }
        (Sending::to("/rounds/plan/leave").show(may, html! { button.quiet { "Leave it" } }))
    }
}

fn proposal(made: &Made, refusal: &Refusal, why: bool, may: &May) -> Markup {
    let Made { at, proposal, .. } = made;
    let changes = &proposal.telling.changes;
    html! {
        section aria-labelledby="proposal" {
            h2 #proposal { "The plan for " (words::days(proposal.today, Some(proposal.last), proposal.today)) }
            p { strong { (sentence(&proposal.costs)) } " Made at " (at.strftime("%H:%M")) " within " (proposal.seconds) " s." }
            p {
                "Costs are those beside the work itself: going to the machines, their standing still, work done early and risk taken "
                "late. No plan can cost less than the bound."
            }
            @if !proposal.assumed.is_empty() {
                p { "Assumed, since the shop has not set them: " (proposal.assumed.join(", ")) "." }
            }
            (ways(proposal))
            (forbidden(proposal))
            h3 { "What people would be told" }
            p { (Changes::count(changes).counts()) }
            (refusal.shown("keep"))
            div.row {
                (Sending::to("/rounds/plan/keep").show(may, html! {
                    input type="hidden" name="plan" value=(made.number);
                    button { "Tell people" }
                }))
                (Sending::to("/rounds/plan/leave").show(may, html! { button.quiet { "Leave it" } }))
            }
            (table(proposal))
            (unplaced(proposal))
            @if why { (reasons(proposal)) } @else { p { a href="/rounds/plan?why=1#why" { "Why each task is there" } } }
        }
    }
}

/// The plan beside the two simple rules.
fn ways(proposal: &Proposal) -> Markup {
    html! {
        table {
            caption { "What it costs, beside two simple rules" }
            thead { tr { th scope="col" { "Way of planning" } th.figure scope="col" { "Visits" } th.figure scope="col" { "Cost" } } }
            tbody {
                @for way in &proposal.ways {
                    tr {
                        th scope="row" { (way.name) }
                        td.figure { (way.visits) }
                        td.figure { (way.cost) }
                    }
                }
            }
        }
    }
}

fn forbidden(proposal: &Proposal) -> Markup {
    html! {
        @if !proposal.forbidden.is_empty() {
            h3 { "Not to be run until this is done" }
            ul {
                @for work in &proposal.forbidden {
                    li { a href=(machines::address(&work.machine)) { (work.machine) } ": " (work.tasks.join("; ")) }
                }
            }
        }
    }
}

/// What becomes of a visit, in words.
fn against(change: &Change, proposal: &Proposal) -> String {
    match change.becomes {
        Becomes::New { .. } => "new".to_owned(),
        Becomes::Changed { from, .. } if from == change.day => "changed".to_owned(),
        Becomes::Changed { from, .. } => format!("moved from {}", words::weekday(from, proposal.today)),
        Becomes::Same => AS_TOLD.to_owned(),
        Becomes::CalledOff { .. } => "called off".to_owned(),
        Becomes::Undecided { .. } => "locked, but the keeper is gone: move it or call it off".to_owned(),
    }
}

const AS_TOLD: &str = "as told";

fn table(proposal: &Proposal) -> Markup {
    let mut changes: Vec<&Change> = proposal.telling.changes.iter().collect();
    changes.sort_by_key(|change| (change.day, &change.keeper, &change.machine));
    html! {
        table.stacks {
            caption { "Visits of the plan, and those called off" }
            thead {
                tr {
                    th scope="col" { "Machine" } th scope="col" { "Day" } th scope="col" { "Keeper" }
                    th.figure scope="col" { "Time" } th scope="col" { "Against what was told" } th scope="col" { "Tasks" }
                }
            }
            tbody {
                @for change in changes {
                    @let against = against(change, proposal);
                    tr {
                        th scope="row" { (change.machine) }
                        td.whole data-name="Day" { (words::weekday(change.day, proposal.today)) }
                        td data-name="Keeper" { (change.keeper) }
                        td.figure.whole data-name="Time" { (change.minutes) " min" }
                        td data-name="Against what was told" {
                            @if against == AS_TOLD { (against) } @else { strong { (against) } }
                        }
                        td data-name="Tasks" { (change.tasks.join(" · ")) }
                    }
                }
            }
        }
    }
}

fn unplaced(proposal: &Proposal) -> Markup {
    html! {
        @if !proposal.unplaced.is_empty() {
            h3 { "Not in the plan, though it should be" }
            @for unplaced in &proposal.unplaced {
                ul {
                    @for work in &unplaced.work {
                        li { strong { (work.machine) } ": " (work.tasks.join("; ")) }
                    }
                }
                p { (sentence(without_command(&unplaced.why))) }
            }
        }
    }
}

fn reasons(proposal: &Proposal) -> Markup {
    html! {
        h3 #why { "Why each task is there" }
        table.stacks {
            caption { "What doing it costs today, and what waiting costs" }
            thead { tr { th scope="col" { "Machine" } th scope="col" { "Tasks" } th scope="col" { "Used by then" } th scope="col" { "Cost" } } }
            tbody {
                @for reason in &proposal.reasons {
                    tr {
                        th scope="row" { (reason.machine) }
                        td data-name="Tasks" { (reason.tasks) }
                        td data-name="Used by then" { (reason.used) }
                        td data-name="Cost" { (reason.cost) }
                    }
                }
            }
        }
    }
}

pub(in super::super::super) async fn ask(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Form<Pairs>,
) -> Answer {
    let typed = Typed::new(pairs);
    let asked = whole(&typed, "days", USUAL_DAYS, MOST_DAYS)
        .and_then(|days| Ok((days, whole(&typed, "seconds", USUAL_SECONDS, MOST_SECONDS)?)));
    match asked {
        Ok((days, seconds)) => {
            desk::start_plan(&app, days, seconds).await?;
            Ok(Reply::Done { to: "/rounds/plan".to_owned(), said: "A plan is being made.".to_owned() })
        }
        Err(trouble) => Ok(Reply::Refused(page(&app, &around, &Refusal::new("plan", trouble, typed), false).await?)),
    }
}

/// A whole number from 1 to `most`; `usual` where the field is empty.
fn whole(typed: &Typed, name: &str, usual: &str, most: u16) -> Result<u16, Trouble> {
    let text = typed.some(name).unwrap_or_else(|| usual.to_owned());
    text.parse().ok().filter(|number| (1..=most).contains(number)).ok_or_else(|| {
        Trouble::refused(format!("{name}: {text} can't be")).help(format!("give a whole number from 1 to {most}"))
    })
}

/// Tells people of the plan that was shown; of several who do so at once, one does.
pub(in super::super::super) async fn keep(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Form<Pairs>,
) -> Answer {
    // OK to take no number: no plan has it.
    let shown = Typed::new(pairs).text("plan").parse().unwrap_or(0);
    let made = match desk::plan(&app).await? {
        Making::Ready(made) if made.number == shown && app.ledger.take_plan(shown).await? => made,
        _ => {
            let trouble = Trouble::refused("the plan that was shown is not there to tell people of any more")
                .help("look at the one that is there now, or plan again");
            return Ok(Reply::Refused(
                page(&app, &around, &Refusal::new("plan", trouble, Typed::default()), false).await?,
            ));
        }
    };
    let kept = recording(&app, async {
        let context = app.context();
        let ledger = context.open().await?;
        plan::keep(&context, &ledger, &made.proposal.telling).await
    });
    match kept {
        Ok(changes) => {
            Ok(Reply::Done { to: "/rounds".to_owned(), said: format!("People are told: {}", changes.counts()) })
        }
        Err(trouble) => {
            app.ledger.give_back_plan(made.number).await?;
            Ok(Reply::Refused(page(&app, &around, &Refusal::new("keep", trouble, Typed::default()), false).await?))
        }
    }
}

pub(in super::super::super) async fn leave(State(app): State<Arc<App>>) -> Answer {
    app.ledger.leave_plan().await?;
    Ok(Reply::Done { to: "/rounds".to_owned(), said: "The plan is left; people are told of nothing new.".to_owned() })
}
