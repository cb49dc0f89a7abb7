//! *Lives*: how long parts last here by the shop's own records, and what that advises.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};
use tokio::runtime::Handle;

use super::super::act::act;
use super::super::app::App;
use super::super::asked::{Form, Path};
use super::super::form::{Refusal, Typed, trouble};
use super::super::frame::{self, Around, Page, Place};
use super::super::guard::May;
use super::super::reply::{Answer, Reply, encoded};
use super::super::sending::{Sending, role_wanted};
use super::{machines, new_machine};
use crate::chart::Chart;
use crate::cli::{Command, Limit};
use crate::commands::life::figure;
use crate::commands::lives::{Offer, Report, ends_of_kinds, reports};
use crate::trouble::Trouble;

/// The name under which the kinds of part are reckoned beside the requests.
const KINDS: &str = "kinds";

/// The kinds of part with how theirs ended.
pub(crate) async fn show(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    let of = app.of().await?;
    let (ledger, on, now) = (app.ledger.clone(), Handle::current(), app.now());
    let kinds = app.later.kinds.get(KINDS, of, move || on.block_on(ends_of_kinds(&ledger, now.timestamp()))).await;
    let body = match &kinds {
        Ok(None) => return Ok(reckoning(&around)),
        Err(why) => trouble(why),
        Ok(Some(kinds)) if kinds.is_empty() => {
            html! { p { "No part was replaced or failed yet, so there are no lives to tell of." } }
        }
        Ok(Some(kinds)) => html! {
            p { "How parts of each kind ended: the more failed, the more their lives tell." }
            table.stacks {
                thead { tr { th { "Kind of part" } th.figure { "Failed" } th.figure { "Replaced worn" } th.figure { "Replaced good" } th.figure { "Still there" } th { "Build" } } }
                tbody {
                    @for of in kinds.iter() {
                        @let [failed, worn, good, there] = of.counts;
                        tr {
                            th scope="row" { a href=(address(&of.kind)) { (of.kind) } }
                            td.figure data-name="Failed" { (failed) }
                            td.figure data-name="Replaced worn" { (worn) }
                            td.figure data-name="Replaced good" { (good) }
                            td.figure data-name="Still there" { (there) }
                            td data-name="Build" { (of.build) }
                        }
                    }
                }
            }
        },
    };
    Ok(Reply::Page(Page::new(&around, Place::Records, "/lives", "Lives", body)))
}

fn address(kind: &str) -> String {
    format!("/lives/{}", encoded(kind))
}

fn reckoning(around: &Around) -> Reply {
    let body =
        html! { p role="status" { "The lives are being reckoned from the records; this page looks again by itself." } };
    new_machine::waiting(Page::new(around, Place::Records, "/lives", "Lives", body))
}

/// One kind of part.
pub(crate) async fn kind(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(kind): Path<String>,
) -> Answer {
    page(&app, &around, &kind, &Refusal::default()).await
}

async fn told(app: &App, kind: &str) -> Result<Option<Arc<Vec<Report>>>, Trouble> {
    let of = app.of().await?;
    let (ledger, on, now, name) = (app.ledger.clone(), Handle::current(), app.now(), kind.to_owned());
    app.later.lives.get(kind, of, move || on.block_on(reports(&ledger, &name, now.timestamp()))).await
}

async fn page(app: &App, around: &Around, kind: &str, refusal: &Refusal) -> Answer {
    let reports = match told(app, kind).await {
        Ok(Some(reports)) => reports,
        Ok(None) => return Ok(reckoning(around)),
        Err(why) => return super::missing(around, why.what()),
    };
    let body = html! {
        (refusal.shown("accept"))
        @for report in reports.iter() { (report_of(kind, report, &around.visitor.may)) }
        p { a href="/lives" { "All kinds" } }
    };
    let page = Page::new(around, Place::Records, "/lives", kind, body);
    Ok(if refusal.trouble.is_some() { Reply::Refused(page) } else { Reply::Page(page) })
}

fn report_of(kind: &str, report: &Report, may: &May) -> Markup {
    let [failed, worn, good, there] = report.counts;
    html! {
        section {
            h2 { (report.kind) ", on machines with the build \"" (report.build) "\"" }
            p { (failed) " failed, " (worn) " replaced worn, " (good) " replaced good, " (there) " still there." (report.unknown) @if !report.unknown.is_empty() { " " a href="/shop#age" { "Say how old a machine was" } "." } }
            (advice(kind, report, may))
            @if !report.clocks.is_empty() { (clocks(report)) }
            @if let Some(law) = &report.law { p { (law) } }
            @if let Some(alike) = &report.alike { p { (alike) } }
            @for chart in &report.charts {
                figure { (chart.on_page()) figcaption { (chart.says) } }
                (table(chart))
            }
            @if !report.there.is_empty() {
                details {
                    summary { "Parts still there, and their chance to fail" }
                    table.stacks {
                        thead { tr { th { "Machine" } th { "Part" } th.figure { "Age" } th.figure { "Fails in four weeks" } } }
                        tbody {
                            @for [machine, position, age, chance] in &report.there {
                                tr {
                                    th scope="row" { a href=(machines::address(machine)) { (machine) } }
                                    td data-name="Part" { (position) }
                                    td.figure data-name="Age" { (age) }
                                    td.figure data-name="Fails in four weeks" { (chance) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What a chart with a line says, for those who read tables.
fn table(chart: &Chart) -> Markup {
    let rows = chart.rows();
    html! {
        @if !rows.is_empty() {
            details {
                summary { "The same as a table" }
                table {
                    caption { (chart.title) }
                    thead { tr { th.figure scope="col" { (chart.x.label) } th.figure scope="col" { (chart.y.label) } th scope="col" { "Named" } } }
                    tbody {
                        @for (x, y, named) in rows {
                            tr { th.figure scope="row" { (figure(x)) } td.figure { @if let Some(y) = y { (figure(y)) } } td { (named) } }
                        }
                    }
                }
            }
        }
    }
}

fn advice(kind: &str, report: &Report, may: &May) -> Markup {
    let to = format!("{}/accept", address(kind));
    html! {
        @if !report.verdict.is_empty() {
            h3 { "Advice: " (report.word) }
            p { (report.verdict) @if report.weighs_money { " " a href="/shop#prices" { "The shop's prices" } "." } }
        }
        @if let Some(remark) = &report.remark { p { (remark) } }
        @for Offer { command, limit } in &report.offers {
            div.block {
                p {
                    strong { (limit.task) ": every " (limit.every) @if let Some(of) = &limit.of { " of " (of) } }
                    @match &limit.on { Some(machine) => { " on " (machine) }, None => " on all that have it" }
                    ", because of " (limit.reason) "."
                }
                (Sending::to(&to).show(may, html! {
                    input type="hidden" name="command" value=(command);
                    p.row { button type="submit" { "Accept" } a.button.quiet href="/lives" { "Leave it" } }
                }))
                (role_wanted(may, &to, "Accepting it"))
            }
        }
    }
}

/// Which clock the wear runs on, as bars beside their figures.
fn clocks(report: &Report) -> Markup {
    html! {
        h3 { "By which clock they fail" }
        table.stacks {
            thead { tr { th { "Clock" } th { "Evidence" } th { "Half live to" } } }
            tbody {
                @for (clock, share, half) in &report.clocks {
                    tr {
                        th scope="row" { (clock) }
                        td data-name="Evidence" {
                            (frame::likely(*share))
                        }
                        td data-name="Half live to" { (half) }
                    }
                }
            }
        }
        p { (report.sure) }
    }
}

/// Makes what is advised the shop's own limit: only what is advised now, and not what an old page said.
pub(crate) async fn accept(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(kind): Path<String>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let Some(reports) = told(&app, &kind).await? else { return Ok(reckoning(&around)) };
    let command = typed.text("command");
    let offer = reports.iter().flat_map(|report| &report.offers).find(|offer| offer.command == command);
    let Some(Offer { limit, .. }) = offer else {
        let why = Trouble::refused("that is not advised any more: something was recorded since")
            .help("look at the advice anew");
        return page(&app, &around, &kind, &Refusal::new("accept", why, typed)).await;
    };
    let Limit { task, every, of, on, reason } = limit;
    let (task, every, of, on, reason) = (task.clone(), every.clone(), of.clone(), on.clone(), reason.clone());
    let said = format!("{task}: every {every} from now on");
    match act(&app, &Command::Limit(Limit { task, every, of, on, reason })).await {
        Ok(_) => Ok(Reply::Done { to: "/shop".to_owned(), said }),
        Err(why) => page(&app, &around, &kind, &Refusal::new("accept", why, typed)).await,
    }
}
