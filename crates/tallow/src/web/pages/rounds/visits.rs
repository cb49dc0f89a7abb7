//! The visits of the chart one by one: what they do, and forms to move, lock, free and call them off.

use jiff::civil::Date;
use ledger::Told;
use maud::{Markup, html};

use super::super::super::form::{Field, Refusal, Typed, choice};
use super::super::super::guard::May;
use super::super::super::sending::Sending;
use super::super::today::{visit_address, visit_words};
use super::chart::{Chart, Row};
use super::{Priced, View};
use crate::commands::plan::Outlook;
use crate::words;

/// What the visits' forms are drawn with.
pub(super) struct Forms<'a> {
    pub(super) view: &'a View,
    pub(super) refusal: &'a Refusal,
    pub(super) typed: &'a Typed,
    /// The visit whose move was asked the price of, and that.
    pub(super) asked: Option<&'a (i64, Priced)>,
    pub(super) outlook: Option<&'a Outlook>,
    pub(super) may: &'a May,
}

/// The visits of the machines that are shown, by day.
pub(super) fn section(chart: &Chart<'_>, forms: &Forms<'_>) -> Markup {
    let mut visits: Vec<&Told> = chart.rows.iter().flat_map(|row: &Row<'_>| row.visits.iter().copied()).collect();
    visits.sort_by_key(|told| (told.visit.day, told.id));
    let mut days: Vec<Date> = visits.iter().map(|told| told.visit.day).collect();
    days.dedup();
    let keepers: Vec<(String, String)> =
        chart.glance.keepers.iter().map(|one| (one.keeper.name.clone(), one.keeper.name.clone())).collect();
    let today = chart.days.today;
    html! {
        @if !visits.is_empty() {
            section aria-labelledby="one-by-one" {
                h2 #one-by-one { "Visits, day by day" }
                @for day in days {
                    h3 { @if day == today { "Today" } @else { (words::weekday(day, today)) } }
                    @for told in visits.iter().filter(|told| told.visit.day == day) { (visit(told, forms, &keepers, today)) }
                }
            }
        }
    }
}

fn visit(told: &Told, forms: &Forms<'_>, keepers: &[(String, String)], today: Date) -> Markup {
    let (id, may) = (told.id, forms.may);
    let visit = &told.visit;
    let asked = forms.asked.filter(|(asked, _)| *asked == id.0).map(|(_, priced)| priced);
    let [moving, off] = ["move", "off"].map(|form| format!("{form}-{id}"));
    let asks_why = forms.typed.text("why") == id.to_string();
    let is_open = asks_why
        || asked.is_some()
        || ["move", "lock", "free", "off"].iter().any(|form| forms.refusal.is_of(&format!("{form}-{id}")));
    html! {
        details.visit-form #{ "visit-" (id) } open[is_open] {
            summary {
                strong { (told.machine) } ", " (visit.keeper) ", " (visit.minutes) " min, "
                (words::count(visit.tasks.len() as u64, "tasks")) @if visit.is_locked { ", locked" }
            }
            p { "Visit " (id) ": " (visit.tasks.join(" · ")) }
            p.row {
                a.button href=(visit_address(told)) { (visit_words(told, may)) }
                a.step href={ "/visits/" (id) "/sheet" } { "Sheet" }
                a.step href={ (forms.view.with(&format!("why={id}"))) "#visit-" (id) } { "Why each task is there" }
            }
            @if asks_why { (why(told, forms.outlook)) }
            (Sending::to(&format!("/rounds/visits/{id}/move")).show(may, html! {
                (forms.view.hidden())
                input type="hidden" name="visit" value=(id);
                div.row {
                    (day_field(&moving, told, forms, asked.is_some(), today))
                    (keeper_field(&moving, told, forms, asked.is_some(), keepers))
                    button.quiet formmethod="get" formaction={ "/rounds#visit-" (id) } { "What would it cost?" }
                    button { "Move it" }
                }
                @if let Some(priced) = asked { p.said role="status" { (priced.sentences().join(" ")) } }
                (forms.refusal.shown(&moving))
            }))
            @let lock = if visit.is_locked { "free" } else { "lock" };
            (Sending::to(&format!("/rounds/visits/{id}/{lock}")).show(may, html! {
                (forms.view.hidden())
                button.quiet { @if visit.is_locked { "Let planning move it" } @else { "Lock it where it is" } }
                (forms.refusal.shown(&format!("{lock}-{id}")))
            }))
            (Sending::to(&format!("/rounds/visits/{id}/off")).show(may, html! {
                (forms.view.hidden())
                div.row {
                    (Field { required: true, ..Field::text(&off, "why", "Call it off, because") }.show(forms.refusal))
                    button.quiet { "Call it off" }
                }
                (forms.refusal.shown(&off))
            }))
        }
    }
}

/// What each task costs today, of waiting, and on its day.
fn why(told: &Told, outlook: Option<&Outlook>) -> Markup {
    let Some(outlook) = outlook else { return html! { p { "That is being reckoned; look again in a moment." } } };
    let tasks = outlook.why(told);
    html! {
        @if tasks.is_empty() { p { "None of its tasks is open in these days, so nothing is known of their costs." } } @else {
            table.stacks {
                caption { "What doing it costs today, and what waiting costs, beside the work itself" }
                thead { tr { th scope="col" { "Tasks" } th scope="col" { "Used by then" } th scope="col" { "Cost" } } }
                tbody {
                    @for (name, used, why) in tasks {
                        tr { th scope="row" { (name) } td data-name="Used by then" { (used) } td data-name="Cost" { (why) } }
                    }
                }
            }
        }
    }
}

fn day_field(form: &str, told: &Told, forms: &Forms<'_>, was_asked: bool, today: Date) -> Markup {
    let usual = if was_asked { forms.typed.text("day") } else { told.visit.day.to_string() };
    let id = format!("{form}-day");
    html! {
        p.field {
            label for=(id) { "Day" }
            input id=(id) name="day" type="date" min=(today) value=(forms.refusal.value(form, "day", &usual)) required;
        }
    }
}

fn keeper_field(form: &str, told: &Told, forms: &Forms<'_>, was_asked: bool, of: &[(String, String)]) -> Markup {
    let usual = if was_asked { forms.typed.text("keeper") } else { told.visit.keeper.clone() };
    choice(forms.refusal, form, "keeper", "Keeper", &usual, of)
}
