//! The bench list of a round: what is laid out for all its visits.

use jiff::civil::Date;
use maud::{Markup, html};

use super::carry::Carry;
use super::html::document;
use super::page::Paper;
use super::text::{Plain, TICK};
use super::{ABOVE, SheetError, VisitSheet, check_all, day_words, minutes_words};

/// What a round needs.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct BenchList {
    /// The shop's name.
    pub(crate) shop: String,
    /// The first day of the round.
    pub(crate) from: Date,
    /// The last day of the round.
    pub(crate) to: Date,
    /// How many visits it has.
    pub(crate) n_visits: usize,
    /// How long they take, set-up included, min.
    pub(crate) minutes: f64,
    /// What they need.
    pub(crate) carry: Carry,
}

/// The bench list of some visits.
///
/// # Errors
/// What [`VisitSheet::check`] refuses, and no visit at all.
pub(crate) fn bench_list(sheets: &[VisitSheet]) -> Result<BenchList, SheetError> {
    check_all(sheets)?;
    let first = sheets.first().ok_or(SheetError::NoVisits)?;
    let (from, to) =
        sheets.iter().fold((first.day, first.day), |(from, to), sheet| (from.min(sheet.day), to.max(sheet.day)));
    Ok(BenchList {
        shop: first.shop.clone(),
        from,
        to,
        n_visits: sheets.len(),
        minutes: sheets.iter().map(|sheet| sheet.minutes).sum(),
        carry: Carry::of(&sheets.iter().collect::<Vec<_>>()),
    })
}

impl BenchList {
    /// The list as pages for paper.
    pub(crate) fn html(&self, paper: Paper) -> String {
        let body = html! {
            section.page.list {
                header {
                    h1 { "Bench list" }
                    p.day { (self.days()) }
                    p { (self.shop) " · " (self.size()) }
                }
                (carry_markup("To lay out", &self.carry))
                p.above { (ABOVE) }
            }
        };
        document("Bench list", paper, &body)
    }

    /// The list in lines of at most `width` letters.
    pub(crate) fn text(&self, width: usize) -> String {
        let mut plain = Plain::new(width);
        plain.says("", &format!("Bench list, {}, {}", self.days(), self.shop));
        plain.says("", &self.size());
        for (heading, items) in self.carry.lists() {
            plain.blank();
            plain.says("", heading);
            items.iter().for_each(|item| plain.says(TICK, item));
        }
        plain.blank();
        plain.says("", ABOVE);
        plain.out
    }

    fn days(&self) -> String {
        if self.from == self.to {
            return day_words(self.from);
        }
        format!("{} – {}", day_words(self.from), day_words(self.to))
    }

    fn size(&self) -> String {
        let visits = if self.n_visits == 1 { "1 visit".to_owned() } else { format!("{} visits", self.n_visits) };
        format!("{visits}, {}", minutes_words(self.minutes))
    }
}

/// What to lay out, each with a box to tick; nothing where nothing is needed.
pub(super) fn carry_markup(title: &str, carry: &Carry) -> Markup {
    html! {
        @if carry.lists().next().is_none() { p.sum { (title) ": nothing." } }
        @for (heading, items) in carry.lists() {
            h2 { (heading) }
            ul { @for item in items { li { span.tick {} (item) } } }
        }
    }
}
