//! A keeper's day on one sheet: the visits in their order, and what to carry.

use jiff::civil::Date;
use maud::{Markup, html};

use super::bench::carry_markup;
use super::carry::Carry;
use super::html::document;
use super::page::Paper;
use super::text::Plain;
use super::{ABOVE, SheetError, VisitSheet, check_all, day_words, minutes_words};

/// What a keeper does on a day.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct DaySheet {
    /// The shop's name.
    pub(crate) shop: String,
    /// Who.
    pub(crate) keeper: String,
    /// The day.
    pub(crate) day: Date,
    /// The visits in their order.
    pub(crate) visits: Vec<DayVisit>,
    /// What to carry for all of them.
    pub(crate) carry: Carry,
}

/// One visit of a day.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct DayVisit {
    /// The machine.
    pub(crate) machine: String,
    /// Its tasks, in the order in which they are done.
    pub(crate) tasks: Vec<String>,
    /// How long it takes, set-up included, min.
    pub(crate) minutes: f64,
    /// Why the machine must not run before it is put right.
    pub(crate) not_to_be_run: Option<String>,
}

/// The days of the keepers in some visits: by day, then by keeper in the order in which they come; the visits of each in
/// their given order.
///
/// # Errors
/// What [`VisitSheet::check`] refuses, and no visit at all.
pub(crate) fn day_sheets(sheets: &[VisitSheet]) -> Result<Vec<DaySheet>, SheetError> {
    check_all(sheets)?;
    let mut days: Vec<Vec<&VisitSheet>> = Vec::new();
    for sheet in sheets {
        let same = |day: &&mut Vec<&VisitSheet>| day.iter().all(|other| is_same_day(other, sheet));
        match days.iter_mut().find(same) {
            Some(day) => day.push(sheet),
            None => days.push(vec![sheet]),
        }
    }
    days.sort_by_key(|day| day.first().map(|sheet| sheet.day));
    Ok(days.iter().filter_map(|day| DaySheet::of(day)).collect())
}

fn is_same_day(one: &VisitSheet, other: &VisitSheet) -> bool {
    (one.day, &one.keeper, &one.shop) == (other.day, &other.keeper, &other.shop)
}

impl DaySheet {
    fn of(sheets: &[&VisitSheet]) -> Option<DaySheet> {
        let first = sheets.first()?;
        let visit = |sheet: &&VisitSheet| DayVisit {
            machine: sheet.machine.clone(),
            tasks: sheet.tasks().map(|stage| stage.task.name.clone()).collect(),
            minutes: sheet.minutes,
            not_to_be_run: sheet.not_to_be_run.clone(),
        };
        Some(DaySheet {
            shop: first.shop.clone(),
            keeper: first.keeper.clone(),
            day: first.day,
            visits: sheets.iter().map(visit).collect(),
            carry: Carry::of(sheets),
        })
    }

    /// How long the whole day's visits take, min.
    pub(crate) fn minutes(&self) -> f64 {
        self.visits.iter().map(|visit| visit.minutes).sum()
    }

    /// The sheets of some days as pages for paper.
    pub(crate) fn html(days: &[DaySheet], paper: Paper) -> String {
        document("Days", paper, &html! { @for day in days { (day.markup()) } })
    }

    fn markup(&self) -> Markup {
        html! {
            section.page.list {
                header {
                    h1 { (self.keeper) }
                    p.day { (day_words(self.day)) }
                    p { (self.shop) }
                }
                table {
                    thead { tr { th { "" } th { "Machine" } th { "Tasks" } th.minutes { "Minutes" } th { "Done" } } }
                    tbody { @for (index, visit) in self.visits.iter().enumerate() { (visit.markup(index + 1)) } }
                }
                p.sum { "Together " (minutes_words(self.minutes())) "." }
                (carry_markup("To carry", &self.carry))
                p.above { (ABOVE) }
            }
        }
    }

    /// The sheet in lines of at most `width` letters.
    pub(crate) fn text(&self, width: usize) -> String {
        let mut plain = Plain::new(width);
        plain.says("", &format!("{}, {}, {}", self.keeper, day_words(self.day), self.shop));
        for (index, visit) in self.visits.iter().enumerate() {
            plain.blank();
            let lead = format!("{}  ", index + 1);
            plain.says(&lead, &format!("{}, {}", visit.machine, minutes_words(visit.minutes)));
            if let Some(why) = &visit.not_to_be_run {
                plain.says("   DO NOT RUN: ", why);
            }
            plain.says("   ", &visit.tasks.join(" · "));
        }
        plain.blank();
        plain.says("", &format!("Together {}.", minutes_words(self.minutes())));
        plain.carry(&self.carry);
        plain.blank();
        plain.says("", ABOVE);
        plain.out
    }
}

impl DayVisit {
    fn markup(&self, number: usize) -> Markup {
        html! {
            tr {
                td { (number) }
                td.machine { (self.machine) }
                td {
                    @if let Some(why) = &self.not_to_be_run { p { b { "DO NOT RUN: " } (why) } }
                    (self.tasks.join(" · "))
                }
                td.minutes { (minutes_words(self.minutes)) }
                td { span.tick {} }
            }
        }
    }
}
