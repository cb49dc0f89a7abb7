//! *Plan again*: asks for a plan, shows that it is being made, and then what it would change and cost.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use maud::{Markup, html};
use upkeep::rounds::Placed;

use super::super::super::act::here;
use super::super::super::app::App;
use super::super::super::asked::Form;
use super::super::super::assets;
use super::super::super::desk::{self, Making, Proposal, Running};
use super::super::super::form::{self, Field, Refusal, Typed, sentence};
use super::super::super::frame::{Around, Page, Place};
use super::super::super::guard::May;
use super::super::super::hints::without_command;
use super::super::super::reply::{Answer, Reply};
use super::super::super::sending::{Sending, role_wanted};
use super::super::machines;
use super::{PLAN, Pairs};
use crate::commands::plan::{self, Change, Changes};
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
    Ok(Reply::Page(page(&app, &around, &Refusal::default(), why)))
}

fn page(app: &App, around: &Around, refusal: &Refusal, why: bool) -> Page {
    let making = app.desk.plan();
    let may = &around.visitor.may;
    let body = html! {
        @match &making {
            Making::Idle => (asking(refusal, may)),
            Making::Running(running) => (waiting(app, running, may)),
            Making::Ready(proposal) => { (self::proposal(proposal, refusal, why, may)) (asking(refusal, may)) }
            Making::Failed(trouble) => { (form::trouble(trouble)) (asking(refusal, may)) }
        }
    };
    let page = Page::new(around, Place::Rounds, "/rounds/plan", "Plan again", body).with_script(&assets::ROUNDS);
    if matches!(making, Making::Running(_)) { page.looking_again() } else { page }
}

/// For the script: whether a plan is being made.
pub(in super::super::super) async fn progress(State(app): State<Arc<App>>) -> Answer {
    let text = match app.desk.plan() {
        Making::Running(running) => so_far(&app, &running),
        Making::Idle | Making::Ready(_) | Making::Failed(_) => String::new(),
    };
    Ok(Reply::Other(Box::new(text.into_response())))
}

fn so_far(app: &App, running: &Running) -> String {
    let gone = app.now().timestamp().duration_since(running.since.timestamp()).as_secs();
    format!("Planning {} for about {} s, since {gone} s.", words::count(running.days.into(), "days"), running.seconds)
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

fn waiting(app: &App, running: &Running, may: &May) -> Markup {
    html! {
        p.said #progress role="status" data-progress="/rounds/plan/progress" { (so_far(app, running)) }
        p { "This page shows the plan when it is there. You can go on with other things meanwhile." }
        (Sending::to("/rounds/plan/leave").show(may, html! { button.quiet { "Leave it" } }))
    }
}

/// Cost, bound and gap in a sentence.
pub(super) fn costs(proposal: &Proposal) -> String {
    let Proposal { shop, round, .. } = proposal;
    let cost = round.spent(&round.plan, &shop.currency);
    match round.agenda.spent(&round.plan).days_late {
        0 => {
            let bound = words::money(round.plan.bound, &shop.currency);
            format!("cost {cost}, bound {bound}, gap {:.1} %.", 100.0 * round.plan.gap())
        }
        // Danger is weighed so far above money that a bound on both tells nothing of money.
        _ => format!("cost {cost}. It went before money, but had no place in time."),
    }
}

fn proposal(proposal: &Proposal, refusal: &Refusal, why: bool, may: &May) -> Markup {
    let Proposal { shop, round, seconds, made } = proposal;
    let changes = plan::changes(shop, round);
    let today = round.agenda.today;
    let last = round.date(round.agenda.problem.days.saturating_sub(1));
    html! {
        section aria-labelledby="proposal" {
            h2 #proposal { "The plan for " (words::days(today, Some(last), today)) }
            p { strong { (sentence(&costs(proposal))) } " Made at " (made.strftime("%H:%M")) " within " (seconds) " s." }
            p {
                "Costs are those beside the work itself: going to the machines, their standing still, work done early and risk taken "
                "late. No plan can cost less than the bound."
            }
            @if !shop.assumed.is_empty() { p { "Assumed, since the shop has not set them: " (shop.assumed.join(", ")) "." } }
            (rules(proposal))
            (forbidden(proposal))
            h3 { "What people would be told" }
            p { (Changes::count(&changes).counts()) }
            (refusal.shown("keep"))
            div.row {
                (Sending::to("/rounds/plan/keep").show(may, html! { button { "Tell people" } }))
                (Sending::to("/rounds/plan/leave").show(may, html! { button.quiet { "Leave it" } }))
            }
            (table(proposal, &changes))
            (unplaced(proposal))
            @if why { (reasons(proposal)) } @else { p { a href="/rounds/plan?why=1#why" { "Why each task is there" } } }
        }
    }
}

/// The plan beside the two simple rules.
fn rules(proposal: &Proposal) -> Markup {
    let Proposal { shop, round, .. } = proposal;
    let rules = [
        ("This plan", &round.plan),
        ("Each task on its due day", &round.on_due_days),
        ("Everything of a machine at once", &round.at_once),
    ];
    html! {
        table {
            caption { "What it costs, beside two simple rules" }
            thead { tr { th scope="col" { "Way of planning" } th.figure scope="col" { "Visits" } th.figure scope="col" { "Cost" } } }
            tbody {
                @for (name, plan) in rules {
                    tr {
                        th scope="row" { (name) }
                        td.figure { (plan.visits.len()) }
                        td.figure { (round.spent(plan, &shop.currency)) }
                    }
                }
            }
        }
    }
}

fn forbidden(proposal: &Proposal) -> Markup {
    let states = proposal.shop.states.iter().zip(&proposal.round.agenda.forbidden);
    let forbidden: Vec<_> = states.filter(|(_, tasks)| !tasks.is_empty()).collect();
    html! {
        @if !forbidden.is_empty() {
            h3 { "Not to be run until this is done" }
            ul {
                @for (state, tasks) in forbidden {
                    li {
                        a href=(machines::address(&state.name)) { (state.name) } ": "
                        (tasks.iter().map(|&task| state.build.tasks[task].name.as_str()).collect::<Vec<_>>().join("; "))
                    }
                }
            }
        }
    }
}

/// One line of what people would be told.
struct Line<'a> {
    day: jiff::civil::Date,
    what: String,
    machine: &'a str,
    keeper: &'a str,
    minutes: f64,
    tasks: Vec<&'a str>,
}

fn line<'a>(proposal: &'a Proposal, change: &Change<'a>) -> Line<'a> {
    let Proposal { shop, round, .. } = proposal;
    let today = round.agenda.today;
    let of_plan = |placed: &'a Placed, what: String| Line {
        day: round.date(placed.day),
        what,
        machine: round.machine(placed),
        keeper: &round.agenda.problem.keepers[placed.keeper].name,
        minutes: round.minutes(shop, placed),
        tasks: round.tasks(shop, placed),
    };
    let as_told = |told: &'a ledger::Told, what: &str| Line {
        day: told.visit.day,
        what: what.to_owned(),
        machine: &told.machine,
        keeper: &told.visit.keeper,
        minutes: told.visit.minutes,
        tasks: told.visit.tasks.iter().map(String::as_str).collect(),
    };
    match *change {
        Change::New(placed) => of_plan(placed, "new".to_owned()),
        Change::Changed(told, placed) if told.visit.day == round.date(placed.day) => {
            of_plan(placed, "changed".to_owned())
        }
        Change::Changed(told, placed) => {
            of_plan(placed, format!("moved from {}", words::weekday(told.visit.day, today)))
        }
        Change::Same(told) => as_told(told, "as told"),
        Change::CalledOff(told) => as_told(told, "called off"),
        Change::Undecided(told) => as_told(told, "locked, but the keeper is gone: move it or call it off"),
    }
}

fn table(proposal: &Proposal, changes: &[Change<'_>]) -> Markup {
    let today = proposal.round.agenda.today;
    let mut lines: Vec<Line<'_>> = changes.iter().map(|change| line(proposal, change)).collect();
    lines.sort_by(|one, other| (one.day, one.keeper, one.machine).cmp(&(other.day, other.keeper, other.machine)));
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
                @for line in &lines {
                    tr {
                        th scope="row" { (line.machine) }
                        td.whole data-name="Day" { (words::weekday(line.day, today)) }
                        td data-name="Keeper" { (line.keeper) }
                        td.figure.whole data-name="Time" { (line.minutes) " min" }
                        td data-name="Against what was told" {
                            @if line.what == "as told" { (line.what) } @else { strong { (line.what) } }
                        }
                        td data-name="Tasks" { (line.tasks.join(" · ")) }
                    }
                }
            }
        }
    }
}

fn unplaced(proposal: &Proposal) -> Markup {
    let Proposal { shop, round, .. } = proposal;
    let unplaced = round.unplaced(shop);
    html! {
        @if !unplaced.is_empty() {
            h3 { "Not in the plan, though it should be" }
            @for (reason, machines) in unplaced {
                ul {
                    @for (machine, jobs) in machines {
                        li { strong { (round.agenda.problem.machines[machine].name) } ": " (jobs.join("; ")) }
                    }
                }
                p { (sentence(without_command(&reason))) }
            }
        }
    }
}

fn reasons(proposal: &Proposal) -> Markup {
    let Proposal { shop, round, .. } = proposal;
    html! {
        h3 #why { "Why each task is there" }
        table.stacks {
            caption { "What doing it costs today, and what waiting costs" }
            thead { tr { th scope="col" { "Machine" } th scope="col" { "Tasks" } th scope="col" { "Used by then" } th scope="col" { "Cost" } } }
            tbody {
                @for visit in &round.plan.visits {
                    @for &job in &visit.jobs {
                        @let tasks = &round.agenda.tasks[visit.machine][job];
                        tr {
                            th scope="row" { (round.machine(visit)) }
                            td data-name="Tasks" { (round.agenda.problem.machines[visit.machine].jobs[job].name) }
                            td data-name="Used by then" {
                                (tasks.iter().map(|&task| words::percent(round.agenda.ahead[visit.machine].shares[task][visit.day]))
                                    .collect::<Vec<_>>().join(", "))
                            }
                            td data-name="Cost" { (round.why(visit, job, &shop.currency)) }
                        }
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
            desk::start_plan(&app, days, seconds);
            Ok(Reply::Done { to: "/rounds/plan".to_owned(), said: "A plan is being made.".to_owned() })
        }
        Err(trouble) => Ok(Reply::Refused(page(&app, &around, &Refusal::new("plan", trouble, typed), false))),
    }
}

/// A whole number from 1 to `most`; `usual` where the field is empty.
fn whole(typed: &Typed, name: &str, usual: &str, most: u16) -> Result<u16, Trouble> {
    let text = typed.some(name).unwrap_or_else(|| usual.to_owned());
    text.parse().ok().filter(|number| (1..=most).contains(number)).ok_or_else(|| {
        Trouble::refused(format!("{name}: {text} can't be")).help(format!("give a whole number from 1 to {most}"))
    })
}

pub(in super::super::super) async fn keep(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    let Making::Ready(proposal) = app.desk.plan() else {
        let trouble = Trouble::refused("there is no plan to tell people of").help("plan again");
        return Ok(Reply::Refused(page(&app, &around, &Refusal::new("plan", trouble, Typed::default()), false)));
    };
    let kept = here(async {
        let context = app.context();
        let ledger = context.open().await?;
        plan::keep(&context, &ledger, &proposal.shop, &proposal.round).await
    });
    match kept {
        Ok(changes) => {
            app.desk.leave();
            Ok(Reply::Done { to: "/rounds".to_owned(), said: format!("People are told: {}", changes.counts()) })
        }
        Err(trouble) => {
            Ok(Reply::Refused(page(&app, &around, &Refusal::new("keep", trouble, Typed::default()), false)))
        }
    }
}

pub(in super::super::super) async fn leave(State(app): State<Arc<App>>) -> Answer {
    app.desk.leave();
    Ok(Reply::Done { to: "/rounds".to_owned(), said: "The plan is left; people are told of nothing new.".to_owned() })
}
