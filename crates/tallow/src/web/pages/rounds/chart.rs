//! The chart: machines as rows, days as columns, each visit in its place. It is a table, so that it reads without eyes.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::ToSpan;
use jiff::civil::Date;
use ledger::Told;
use maud::{Markup, html};
use upkeep::shop::Rostered;
use upkeep::{Due, Foreseen, When, days_after};

use super::super::super::frame;
use super::super::super::glance::Glance;
use super::super::machines;
use crate::words;

const MINUTES_A_DAY: f64 = 1440.0;

/// The days that are shown.
#[derive(Clone, Copy, Debug)]
pub(super) struct Days {
    /// The day on which somebody looks.
    pub(super) today: Date,
    /// The first that is shown.
    pub(super) first: Date,
}

impl Days {
    /// How many are shown: two weeks.
    pub(super) const SHOWN: usize = 14;

    /// The last day that the chart can begin with.
    pub(super) fn last_start(today: Date) -> Date {
        days_after(today, Foreseen::HORIZON_DAYS - Days::SHOWN)
    }

    /// The last that is shown.
    pub(super) fn last(self) -> Date {
        days_after(self.first, Days::SHOWN - 1)
    }

    fn all(self) -> impl Iterator<Item = Date> {
        self.first.series(1.day()).take(Days::SHOWN)
    }

    fn hold(self, day: Date) -> bool {
        self.first <= day && day <= self.last()
    }
}

/// A machine with its visits, and what falls due and is in none.
pub(super) struct Row<'a> {
    machine: &'a Arc<Foreseen>,
    /// Its visits in the days that are shown, by day.
    pub(super) visits: Vec<&'a Told>,
    due: BTreeMap<Date, Vec<&'a str>>,
}

/// What is shown of a round.
pub(super) struct Chart<'a> {
    /// The machines with something in these days, by name.
    pub(super) rows: Vec<Row<'a>>,
    /// The shop.
    pub(super) glance: &'a Glance,
    /// The days.
    pub(super) days: Days,
}

impl<'a> Chart<'a> {
    /// All machines that have a visit or something due in some days, or that must not be run.
    pub(super) fn of(glance: &'a Glance, days: Days) -> Chart<'a> {
        let mut by_machine: BTreeMap<&str, Vec<&Told>> = BTreeMap::new();
        for told in glance.told.iter().filter(|told| told.stands()) {
            by_machine.entry(&told.machine).or_default().push(told);
        }
        let row = |machine: &'a Arc<Foreseen>| {
            let told = by_machine.remove(machine.name.as_str()).unwrap_or_default();
            let is_promised = |due: &Due| told.iter().any(|told| told.visit.tasks.contains(&due.name));
            let mut due: BTreeMap<Date, Vec<&str>> = BTreeMap::new();
            for one in machine.dues.iter().filter(|due| !is_promised(due)) {
                if let Some(day) = due_on(&one.when, days.today).filter(|day| days.hold(*day)) {
                    due.entry(day).or_default().push(&one.name);
                }
            }
            let visits: Vec<&Told> = told.into_iter().filter(|told| days.hold(told.visit.day)).collect();
            let is_shown = !visits.is_empty() || !due.is_empty() || machine.forbidding().next().is_some();
            is_shown.then_some(Row { machine, visits, due })
        };
        Chart { rows: glance.machines.iter().filter_map(row).collect(), glance, days }
    }

    /// The rows of one page, from 1.
    pub(super) fn page(&self, page: usize, n_rows: usize) -> Chart<'a> {
        let rows = self.rows.iter().skip((page - 1) * n_rows).take(n_rows);
        let rows = rows.map(|row| Row { machine: row.machine, visits: row.visits.clone(), due: row.due.clone() });
        Chart { rows: rows.collect(), glance: self.glance, days: self.days }
    }

    /// Draws it, with the keepers' minutes below, and how visits are moved for whoever may.
    pub(super) fn draw(&self, moves: bool) -> Markup {
        let told = self.glance.told_minutes();
        let keepers: Vec<&str> = self.glance.keepers.iter().map(|one| one.keeper.name.as_str()).collect();
        html! {
            p.hint #chart-keys {
                "Hatched, with its hours: queued runs keep the machine."
                @if moves {
                    " With a script, drag a visit to another day, or onto a day of another keeper, or pick it and press ← → for the day, ↑ ↓ for "
                    "the keeper, Enter to keep it there, Escape to leave it, L to lock or free it. Without one, do so below."
                }
            }
            p #chart-name { "Visits that people have been told of, min, and how many tasks fall due that are in none" }
            div.wide tabindex="0" role="region" aria-label="The round over the days" {
                table.round aria-labelledby="chart-name" data-keepers=(keepers.join("\n")) {
                    thead {
                        tr {
                            th scope="col" { "Machine" }
                            @for day in self.days.all() {
                                th scope="col" data-day=(day) data-name=(words::weekday(day, self.days.today)) class=[rest(day)] {
                                    (day.strftime("%a")) br; (day.strftime("%-d %b"))
                                }
                            }
                        }
                    }
                    tbody { @for row in &self.rows { (self.row(row)) } }
                    tbody.keepers {
                        tr { th scope="rowgroup" colspan=(Days::SHOWN + 1) { "Keepers: minutes told / minutes they have" } }
                        @for rostered in &self.glance.keepers { (self.keeper(rostered, &told)) }
                    }
                }
            }
        }
    }

    fn row(&self, row: &Row<'_>) -> Markup {
        let forbidding: Vec<&str> = row.machine.forbidding().map(|due| due.name.as_str()).collect();
        html! {
            tr {
                th scope="row" {
                    a href=(machines::address(&row.machine.name)) { (row.machine.name) }
                    @if !forbidding.is_empty() { span.not-run { "DO NOT RUN" } span.small { (forbidding.join(", ")) } }
                }
                @for day in self.days.all() { (self.cell(row, day)) }
            }
        }
    }

    fn cell(&self, row: &Row<'_>, day: Date) -> Markup {
        let busy = self.busy(row.machine, day);
        let due = row.due.get(&day);
        // Quarters of the day, rounded up, so that a short run is seen.
        let class = match (busy / MINUTES_A_DAY * 4.0).ceil() {
            quarters if 0.0 < quarters => format!("queue q{}", quarters.min(4.0)),
            _ => rest(day).unwrap_or_default().to_owned(),
        };
        html! {
            td class=[Some(class).filter(|class| !class.is_empty())] {
                @for told in row.visits.iter().filter(|told| told.visit.day == day) { (self.visit(told)) }
                @if let Some(tasks) = due { span.due-mark title=(tasks.join(", ")) { (tasks.len()) " due" } }
                @if 0.0 < busy { span.queued { span.unseen { "queue " } (queued(busy)) } }
            }
        }
    }

    fn busy(&self, machine: &Foreseen, day: Date) -> f64 {
        let place = usize::try_from((day - self.days.today).get_days()).ok();
        place.and_then(|place| machine.busy.get(place)).copied().unwrap_or(0.0)
    }

    fn visit(&self, told: &Told) -> Markup {
        let visit = &told.visit;
        let day = words::weekday(visit.day, self.days.today);
        let locked = if visit.is_locked { ", locked" } else { "" };
        let label =
            format!("Visit {} to {}, {day}, {}, {} min{locked}", told.id, told.machine, visit.keeper, visit.minutes);
        html! {
            a.visit.locked[visit.is_locked] href={ "#visit-" (told.id) } aria-label=(label) aria-describedby="chart-keys"
                data-visit=(told.id) data-machine=(told.machine) data-day=(visit.day) data-keeper=(visit.keeper) draggable="false" {
                span.minutes { b { (visit.minutes) } " min" }
                span.who { (visit.keeper) }
                @if visit.is_locked { span { "locked" } }
            }
        }
    }

    fn keeper(&self, rostered: &Rostered, minutes: &BTreeMap<(String, Date), f64>) -> Markup {
        let name = &rostered.keeper.name;
        let told_on = |day: Date| minutes.get(&(name.to_lowercase(), day)).copied().unwrap_or(0.0);
        html! {
            tr data-keeper=(name) {
                th scope="row" { (name) }
                @for day in self.days.all() {
                    @let has = f64::from(rostered.minutes_on(day));
                    @let told = told_on(day);
                    td class=[rest(day)] {
                        @if rostered.is_away(day) { strong { "off" } @if 0.0 < told { br; (told) " told" } }
                        @else if has == 0.0 && told == 0.0 { "–" }
                        @else {
                            span.small { (told) "/" (has) }
                            @if has < told { br; strong { "too much" } } @else {
                                (frame::bar(told / has))
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The day on which something falls due: today where it is past.
fn due_on(when: &When, today: Date) -> Option<Date> {
    match when {
        When::Since(_) => Some(today),
        When::Likely(likely) => likely.median.map(|median| median.max(today)),
        When::Beyond => None,
    }
}

/// The class of a Saturday or Sunday.
fn rest(day: Date) -> Option<&'static str> {
    matches!(day.weekday(), jiff::civil::Weekday::Saturday | jiff::civil::Weekday::Sunday).then_some("rest")
}

/// `7 h`, `40 min`.
fn queued(minutes: f64) -> String {
    if minutes < 90.0 { format!("{minutes:.0} min") } else { format!("{:.0} h", minutes / 60.0) }
}
