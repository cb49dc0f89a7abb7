//! A machine's history, a page of it at a time.

use jiff::ZonedDateTime;
use ledger::{Filter, Ledger, Listed};
use maud::{Markup, html};
use upkeep::EntryId;

use super::super::machines::address;
use super::super::records::entry_address;
use crate::commands::history::said;
use crate::trouble::Trouble;
use crate::when;

/// Entries on a page.
const MOST: u32 = 20;

/// Entries, the latest to happen first.
pub(super) struct Past {
    entries: Vec<Listed>,
}

impl Past {
    /// Those before the entry of that number; the latest where it names none.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(super) async fn read(ledger: &Ledger, machine: &str, before: Option<&str>) -> Result<Past, Trouble> {
        let before = match before.and_then(|text| text.parse().ok()).map(EntryId) {
            // A number that is none of an entry begins at the end, as if there were none.
            Some(id) => ledger.entry(id).await.ok().map(|entry| (entry.at, id)),
            None => None,
        };
        let filter = Filter { machine: Some(machine.to_owned()), before, ..Filter::default() };
        Ok(Past { entries: ledger.entries(&filter, MOST).await? })
    }

    /// The latest of what is about any of these: a position, its tasks.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(super) async fn about(ledger: &Ledger, machine: &str, names: &[&str]) -> Result<Past, Trouble> {
        let mut entries: Vec<Listed> = Vec::new();
        for name in names {
            let about = Some((*name).to_owned());
            let filter = Filter { machine: Some(machine.to_owned()), about, ..Filter::default() };
            entries.extend(ledger.entries(&filter, MOST).await?);
        }
        entries.sort_by_key(|listed| std::cmp::Reverse((listed.entry.at, listed.entry.id)));
        entries.dedup_by_key(|listed| listed.entry.id);
        entries.truncate(MOST as usize);
        Ok(Past { entries })
    }

    /// The machine's section.
    pub(super) fn section(&self, machine: &str, now: &ZonedDateTime) -> Markup {
        html! {
            section aria-labelledby="history" {
                h2 #history { "History" }
                (self.table(now))
                @if let Some(last) = self.entries.last().filter(|_| self.entries.len() == MOST as usize) {
                    p { a rel="next" href=(format!("{}?before={}#history", address(machine), last.entry.id)) { "Earlier" } }
                }
            }
        }
    }

    /// The entries as a table, each with the way to correct or withdraw it.
    pub(super) fn table(&self, now: &ZonedDateTime) -> Markup {
        html! {
            @if self.entries.is_empty() { p { "Nothing was recorded." } } @else {
                table.stacks {
                    thead { tr { th scope="col" { "When" } th scope="col" { "What" } th scope="col" { "Entry" } } }
                    tbody {
                        @for listed in &self.entries {
                            @let entry = &listed.entry;
                            tr {
                                th scope="row" { (when::spoken(&entry.at.to_zoned_datetime(now.time_zone().clone()))) }
                                td {
                                    @if listed.replaced_by.is_some() { s { (said(entry, now)) } " (no longer holds)" } @else { (said(entry, now)) }
                                    @if !entry.note.is_empty() { br; span.hint { (entry.note) } }
                                }
                                td data-name="Entry" { a.target href=(entry_address(entry.id)) aria-label=(format!("Entry {}: look, correct or withdraw", entry.id)) { (entry.id) } }
                            }
                        }
                    }
                }
            }
        }
    }
}
