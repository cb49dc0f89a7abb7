//! *Money*: what keeping the machines running has cost, for each hour run; by month, by machine and by cause.

mod bars;

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use jiff::ToSpan;
use jiff::civil::Date;
use maud::{Markup, html};
use tokio::runtime::Handle;
use upkeep::spent::{Cause, Cost};

use super::super::app::App;
use super::super::asked::Paged;
use super::super::form::{Field, Refusal, Typed};
use super::super::frame::{self, Around, Page, Place};
use super::super::reply::{Answer, Reply};
use super::{machines, new_machine};
use crate::commands::money::{ASSUMPTIONS, Report, checked, figure, months_back, report};
use crate::trouble::Trouble;

/// Machines on a page.
const PAGE: usize = 100;

/// The ranges that one press asks for, in months that end with this one.
const MONTHS: [i32; 2] = [3, 12];

pub(crate) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Paged(typed, of_list): Paged,
) -> Answer {
    let now = app.now();
    let today = now.date();
    let usual = [months_back(today, MONTHS[0]), today];
    let range = match asked(&typed, usual) {
        Ok(range) => range,
        Err(why) => return Ok(Reply::Refused(page(&around, form(&Refusal::new("range", why, typed), usual, today)))),
    };
    let (ledger, on, of) = (app.ledger.clone(), Handle::current(), app.of().await?);
    let name = format!("{} {}", range[0], range[1]);
    let reckon = move || on.block_on(report(&ledger, &now, range, None));
    let fields = form(&Refusal::default(), range, today);
    let body = match app.later.money.get(&name, of, reckon).await {
        Ok(None) => {
            let body = html! { p role="status" { "The money is being added up from the records; this page looks again by itself." } };
            return Ok(new_machine::waiting(page(&around, body)));
        }
        Err(why) => html! { (super::super::form::trouble(&why)) },
        Ok(Some(report)) => html! { (fields) (shown(&report, of_list)) },
    };
    Ok(Reply::Page(page(&around, body)))
}

fn page(around: &Around, body: Markup) -> Page {
    Page::new(around, Place::Records, "/money", "Money", body)
}

/// The range that was asked for.
fn asked(typed: &Typed, usual: [Date; 2]) -> Result<[Date; 2], Trouble> {
    let day = |name: &str, usual: Date| match typed.some(name) {
        None => Ok(usual),
        Some(text) => {
            text.parse().map_err(|_| Trouble::refused(format!("\"{text}\" is no day")).help("write it as 2026-11-02"))
        }
    };
    checked([day("from", usual[0])?, day("to", usual[1])?], usual[1])
}

fn form(refusal: &Refusal, [from, to]: [Date; 2], today: Date) -> Markup {
    let day = |name: &'static str, label: &'static str, value: Date| {
        let value = value.to_string();
        Field { value: &value, kind: "date", ..Field::text("range", name, label) }.show(refusal)
    };
    html! {
        form.filter action="/money" method="get" {
            (refusal.shown("range"))
            div.row {
                (day("from", "From", from))
                (day("to", "To", to))
                p.field { button type="submit" { "Show" } }
                @for months in MONTHS {
                    @let first = months_back(today, months);
                    p.field {
                        a.button.quiet href=(format!("/money?from={first}&to={today}")) aria-current=[([first, today] == [from, to]).then_some("true")] {
                            (months) " months"
                        }
                    }
                }
            }
        }
    }
}

fn shown(report: &Report, page: usize) -> Markup {
    let months = months(report);
    let says = format!(
        "Money by month: {}",
        months
            .iter()
            .map(|(month, cost)| format!("{} {}", name(*month), report.money(cost.total())))
            .collect::<Vec<_>>()
            .join(", ")
    );
    html! {
        (frame::hatches())
        p { strong { (report.in_short()) } }
        @if !report.left_out().is_empty() { p { "Not everything has a price: " a href="#left-out" { "what is in no figure" } "." } }
        @if !report.assumed.is_empty() {
            p { "Assumed, since the shop has not set them: " (report.assumed.join(", ")) ". " a href="/shop" { "Set them" } }
        }
        h2 { "By month" }
        figure {
            (bars::draw(&months, &says))
            figcaption { (bars::keys()) @if !report.currency.is_empty() { "Money in " (report.currency) ", by month." } }
        }
        (table("Month", months.iter().map(|(month, cost)| (html! { (name(*month)) }, *cost))))
        h2 { "By machine" }
        (by_machine(report, page))
        @if !report.left_out().is_empty() {
            h2 #left-out { "In no figure" }
            @for words in report.left_out() { p { (words) } }
        }
        h2 { "Against a calendar" }
        p { (report.compared()) }
        h2 { "What the figures rest on" }
        ul { @for words in ASSUMPTIONS { li { (words) } } }
    }
}

/// The dearest first, a page at a time.
fn by_machine(report: &Report, page: usize) -> Markup {
    let all = report.machines();
    let last = all.len().div_ceil(PAGE).max(1);
    let page = page.min(last);
    let rows = all.iter().skip((page - 1) * PAGE).take(PAGE);
    let [from, to] = report.range;
    let link = |page: usize| format!("/money?from={from}&to={to}&page={page}");
    html! {
        (table("Machine", rows.map(|(name, cost)| (html! { a href=(machines::address(name)) { (name) } }, *cost))))
        @if 1 < last {
            nav.pages aria-label="Pages" {
                @if 1 < page { a rel="prev" href=(link(page - 1)) { "Before" } " " }
                "Page " (page) " of " (last)
                @if page < last { " " a rel="next" href=(link(page + 1)) { "Next" } }
            }
        }
    }
}

fn table(of: &str, rows: impl Iterator<Item = (Markup, Cost)>) -> Markup {
    let cell = |name: &str, text: String| html! { td.figure data-name=(name) { (text) } };
    html! {
        table.stacks {
            thead {
                tr {
                    th scope="col" { (of) }
                    @for cause in Cause::ALL { th.figure scope="col" { (cause.name()) } }
                    th.figure scope="col" { "all" }
                    th.figure scope="col" { "hours run" }
                    th.figure scope="col" { "per hour" }
                }
            }
            tbody {
                @for (name, cost) in rows {
                    tr {
                        th scope="row" { (name) }
                        @for cause in Cause::ALL { (cell(cause.name(), figure(cost.of(cause)))) }
                        (cell("all", figure(cost.total())))
                        (cell("hours run", format!("{:.0}", cost.hours)))
                        (cell("per hour", cost.per_hour().map_or_else(|| "not run".to_owned(), figure)))
                    }
                }
            }
        }
    }
}

/// Every month of the range, those without cost too.
fn months(report: &Report) -> Vec<(Date, Cost)> {
    let known = report.spent.by_month();
    let [from, to] = report.range;
    let all = from.first_of_month().series(1.month()).take_while(|month| *month <= to);
    all.map(|month| (month, known.get(&month).copied().unwrap_or_default())).collect()
}

fn name(month: Date) -> String {
    month.strftime("%b %Y").to_string()
}
