//! *Rounds*: the visits that people have been told of over the days, and what it would cost to move one.

mod chart;
mod feed;
mod keepers;
mod plan;
mod print;
mod visits;

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;
use jiff::civil::Date;
use jiff::{ToSpan, ZonedDateTime};
use maud::{Markup, html};

use super::super::act::{act, said};
use super::super::app::App;
use super::super::asked::{Form, Paged, Path};
use super::super::assets;
use super::super::desk::{self, Found};
use super::super::form::{Refusal, Typed, sentence};
use super::super::frame::{self, Around, Page, Place};
use super::super::glance::Glance;
use super::super::guard::May;
use super::super::hints;
use super::super::reply::{Answer, Failed, Reply};
use super::super::sending::{Sending, may_send, role_wanted};
use crate::cli::{self, Command, VisitAction};
use crate::commands::plan::{Outlook, Price, Proposal, ROUND_DAYS, spent_words};
use crate::commands::visit::moved::{Wanted, wanted};
use crate::trouble::Trouble;
use crate::words;
use chart::{Chart, Days};

pub(super) use feed::{calendar, renew, revoke};
pub(super) use keepers::{away, remove, set, show as keepers};
pub(super) use plan::{ask, keep, leave, progress, show as plan};
pub(super) use print::print;

/// Where the round is shown.
pub(in super::super) const ROUND: &str = "/rounds";

/// Where a plan is asked for.
const PLAN: &str = "/rounds/plan";

/// Where moves of visits are sent; which visit, the script says.
const MOVE: &str = "/rounds/visits/0/move";

/// Machines on one page.
const ROWS: usize = 50;

/// What is sent with an address or a form.
type Pairs = Vec<(String, String)>;

/// Which part of the round is looked at.
#[derive(Clone, Debug)]
struct View {
    days: Days,
    page: usize,
}

impl View {
    fn of(typed: &Typed, today: Date) -> View {
        // OK to begin at today and the first page: a page that is none is refused where an address asks for it, and these say
        // only where one goes on.
        let from = typed.text("from").parse().unwrap_or(today).clamp(today, Days::last_start(today));
        View { days: Days { today, first: from }, page: typed.text("page").parse().unwrap_or(1).max(1) }
    }

    /// Where it is looked at.
    fn address(&self, first: Date, page: usize) -> String {
        let from = (first != self.days.today).then(|| format!("from={first}"));
        let page = (page != 1).then(|| format!("page={page}"));
        let query: Vec<String> = from.into_iter().chain(page).collect();
        if query.is_empty() { "/rounds".to_owned() } else { format!("/rounds?{}", query.join("&")) }
    }

    fn here(&self) -> String {
        self.address(self.days.first, self.page)
    }

    /// Here, with something more asked.
    fn with(&self, more: &str) -> String {
        let here = self.here();
        let sign = if here.contains('?') { '&' } else { '?' };
        format!("{here}{sign}{more}")
    }

    /// Fields that bring a form's answer back here.
    fn hidden(&self) -> Markup {
        html! {
            input type="hidden" name="from" value=(self.days.first);
            input type="hidden" name="page" value=(self.page);
        }
    }
}

pub(in super::super) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Paged(typed, _): Paged,
) -> Answer {
    // Without a script a form asks for the price of a move by an address.
    let asked = match typed.text("visit").parse::<i64>() {
        Ok(visit) => Some((visit, ask_price(&app, visit, &typed).await?)),
        Err(_) => None,
    };
    Ok(Reply::Page(page(&app, &around, &typed, &Refusal::default(), asked.as_ref()).await?))
}

/// What a move would come to, for the script: 200 with its cost, 202 while that is being reckoned, 422 for a refusal.
pub(in super::super) async fn price(State(app): State<Arc<App>>, Query(query): Query<Pairs>) -> Answer {
    let typed = Typed::new(query);
    let priced = match typed.text("visit").parse() {
        Ok(visit) => ask_price(&app, visit, &typed).await?,
        Err(_) => Priced::Refused(Trouble::refused("no visit was named").help("name one by its number: visit=12")),
    };
    let status = match &priced {
        Priced::Known(_) => StatusCode::OK,
        Priced::Reckoning(_) => StatusCode::ACCEPTED,
        Priced::Refused(_) => StatusCode::UNPROCESSABLE_ENTITY,
    };
    let text = priced.sentences().join(" ");
    let kind = [(header::CONTENT_TYPE, "text/plain; charset=utf-8")];
    Ok(Reply::Other(Box::new((status, kind, text).into_response())))
}

/// What is known of a move before it is kept.
enum Priced {
    Known(Vec<String>),
    Reckoning(Vec<String>),
    Refused(Trouble),
}

impl Priced {
    fn sentences(&self) -> Vec<String> {
        match self {
            Priced::Known(all) | Priced::Reckoning(all) => all.clone(),
            Priced::Refused(trouble) => [trouble.what()].into_iter().chain(hints::of(trouble)).map(sentence).collect(),
        }
    }
}

async fn ask_price(app: &Arc<App>, visit: i64, typed: &Typed) -> Result<Priced, Trouble> {
    let keeper = typed.some("keeper");
    let found = wanted(&app.ledger, &app.now(), visit, &typed.text("day"), keeper.as_deref()).await;
    let Wanted { told, visit, doubt } = match found {
        Ok(wanted) => wanted,
        Err(trouble) => return Ok(Priced::Refused(trouble)),
    };
    let doubt = doubt.map(|doubt| sentence(&doubt));
    let found = desk::outlook(app).await?;
    let Some(outlook) = found.any() else {
        let said = match &found {
            Found::Failed(trouble) => sentence(trouble.what()),
            _ => "What it costs is being reckoned.".to_owned(),
        };
        return Ok(Priced::Reckoning([said].into_iter().chain(doubt).collect()));
    };
    let price = outlook.price(&told, visit.day, &visit.keeper);
    let said = outlook.told(&price).into_iter().chain(doubt).collect();
    let is_old = matches!(found, Found::Old(_)) && price == Price::Changed;
    Ok(if is_old { Priced::Reckoning(said) } else { Priced::Known(said) })
}

async fn page(
    app: &Arc<App>,
    around: &Around,
    typed: &Typed,
    refusal: &Refusal,
    asked: Option<&(i64, Priced)>,
) -> Result<Page, Failed> {
    let glance = app.glance().await?;
    let outlook = desk::outlook(app).await?;
    let last = desk::last_plan(app).await?;
    let view = View::of(typed, glance.now.date());
    let chart = Chart::of(&glance, view.days);
    let n_pages = chart.rows.len().div_ceil(ROWS).max(1);
    let view = View { page: view.page.min(n_pages), ..view };
    let shown = chart.page(view.page, ROWS);
    let may = &around.visitor.may;
    let body = html! {
        (frame::hatches())
        (head(&glance, &outlook, last.as_ref(), may))
        (steps(&view))
        @if shown.rows.is_empty() {
            p {
                "Nobody has been told of a visit in these days, and nothing falls due."
                @if may_send(may, PLAN) { " " a href=(PLAN) { "Plan" } "." }
            }
        }
        (shown.draw(may_send(may, MOVE)))
        (pages(&view, n_pages, chart.rows.len()))
        (change(&view, may))
        (role_wanted(may, MOVE, "Moving a visit, locking it or calling it off"))
        (visits::section(&shown, &visits::Forms { view: &view, refusal, typed, asked, outlook: outlook.any().map(AsRef::as_ref), may }))
        (print::section())
    };
    let page = Page::new(around, Place::Rounds, "/rounds", "Round", body).with_script(&assets::ROUNDS);
    Ok(page.passing_if(outlook.is_being_made()))
}

/// What the round costs, and what the last plan was.
fn head(
    glance: &Glance,
    outlook: &Found<Outlook>,
    last: Option<&(ZonedDateTime, Result<Proposal, Trouble>)>,
    may: &May,
) -> Markup {
    let today = glance.now.date();
    html! {
        @match outlook {
            Found::Fresh(outlook) | Found::Old(outlook) => p {
                "As people have been told, the next " (ROUND_DAYS) " days cost "
                strong { (spent_words(outlook.as_told, &outlook.currency)) } " beside the work itself."
            },
            Found::Reckoning => p { "What the round costs is being reckoned; look again in a moment." },
            Found::Failed(trouble) => p { (sentence(trouble.what())) },
        }
        @match last {
            Some((made, proposal)) => p {
                "Last planned " (words::near_day(made.date(), today)) " at " (made.strftime("%H:%M"))
                @if let Ok(proposal) = proposal { ": " (proposal.costs) } @else { "." }
                @if may_send(may, PLAN) { " " a href=(PLAN) { "Plan again" } }
            },
            None => @if may_send(may, PLAN) { p { a.button href=(PLAN) { "Plan again" } } },
        }
    }
}

/// The days before and after.
fn steps(view: &View) -> Markup {
    let Days { today, first } = view.days;
    let earlier = (today < first).then(|| first.saturating_sub(2.weeks()).max(today));
    let later = Some(first.saturating_add(2.weeks())).filter(|later| *later <= Days::last_start(today));
    html! {
        nav.row.middle aria-label="Days" {
            strong { (words::days(first, Some(view.days.last()), today)) }
            @if let Some(earlier) = earlier { a.step href=(view.address(earlier, 1)) { "← earlier" } }
            @if let Some(later) = later { a.step href=(view.address(later, 1)) { "later →" } }
        }
    }
}

fn pages(view: &View, n_pages: usize, n_rows: usize) -> Markup {
    html! {
        @if 1 < n_pages {
            nav.row.middle aria-label="Machines" {
                span { "Page " (view.page) " of " (n_pages) ", " (words::count(n_rows as u64, "machines")) }
                @if 1 < view.page { a.step href=(view.address(view.days.first, view.page - 1)) { "← before" } }
                @if view.page < n_pages { a.step href=(view.address(view.days.first, view.page + 1)) { "next →" } }
            }
        }
    }
}

/// Where the script says what a move costs, and asks whether to keep it.
fn change(view: &View, may: &May) -> Markup {
    html! {
        @if may_send(may, MOVE) {
            section #change aria-label="The change" hidden {
                p #change-said role="status" {}
                (Sending { class: "row", ..Sending::to(MOVE) }.show(may, html! {
                    input type="hidden" name="day";
                    input type="hidden" name="keeper";
                    (view.hidden())
                    button { "Keep it there" }
                    button.quiet type="button" { "Leave it where it was" }
                }))
            }
        }
    }
}

/// Moves, locks, frees or calls off a visit.
pub(in super::super) async fn on_visit(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path((visit, what)): Path<(i64, String)>,
    Form(pairs): Form<Pairs>,
) -> Answer {
    let typed = Typed::new(pairs);
    let action = match what.as_str() {
        "move" => VisitAction::Move { visit, to: typed.text("day"), keeper: typed.some("keeper") },
        "lock" => VisitAction::Lock { visit },
        "free" => VisitAction::Free { visit },
        "off" => VisitAction::Off { visit, why: typed.text("why") },
        _ => return super::missing(&around, "no page has that address"),
    };
    match act(&app, &Command::Visit(cli::Visit { action: Some(action) })).await {
        Ok(answer) => {
            let view = View::of(&typed, app.now().date());
            let to = if what == "off" { view.here() } else { format!("{}#visit-{visit}", view.here()) };
            Ok(Reply::Done { to, said: sentence(&said(&answer)) })
        }
        Err(trouble) => {
            let refusal = Refusal::new(&format!("{what}-{visit}"), trouble, typed.clone());
            Ok(Reply::Refused(page(&app, &around, &typed, &refusal, None).await?))
        }
    }
}
