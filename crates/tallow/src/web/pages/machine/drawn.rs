//! The machine's drawing, and the table of its parts that says the same.

use jiff::ZonedDateTime;
use maud::{Markup, html};
use upkeep::{Foreseen, MachineState, SinceWhat, part_meters};

use super::super::super::frame;
use super::super::super::picture;
use super::{dues_at, position_address, ran, used_at};
use crate::commands::machine::went_through;
use crate::words;

/// The drawing, with the positions of `suspects` ringed: positions, each with the cause that may sit there.
pub(super) fn figure(shop: &str, machine: &Foreseen, suspects: &[(String, String)], now: &ZonedDateTime) -> Markup {
    html! {
        figure {
            (drawing(shop, machine, suspects, now))
            @if !suspects.is_empty() {
                figcaption {
                    "Ringed: where the likeliest causes of an open fault sit. "
                    @for (place, (position, cause)) in suspects.iter().enumerate() {
                        @if place != 0 { "; " }
                        @if let Some(number) = machine.build.positions.iter().position(|other| other.name == *position) { (number + 1) " " }
                        (cause)
                    }
                    "."
                }
            }
        }
    }
}

fn drawing(shop: &str, machine: &Foreseen, suspects: &[(String, String)], now: &ZonedDateTime) -> Markup {
    let place = |position: &upkeep::build::Position| picture::Place {
        used: used_at(machine, &position.name),
        address: position_address(&machine.name, &position.name),
        is_suspect: suspects.iter().any(|(at, _)| *at == position.name),
    };
    let positions: Vec<picture::Place> = machine.build.positions.iter().map(place).collect();
    let (hours, day) = (ran(machine), now.strftime("%-d %b %Y").to_string());
    let build = &machine.build;
    picture::machine(&picture::Subject {
        shop,
        machine: &machine.name,
        build,
        hours: &hours,
        day: &day,
        positions: &positions,
    })
}

/// The table behind the drawing.
pub(super) fn parts(machine: &Foreseen, state: &MachineState, now: &ZonedDateTime) -> Markup {
    let meters = part_meters(state);
    html! {
        section aria-labelledby="parts" {
            h2 #parts { "Parts" }
            details {
                summary { "All " (machine.build.positions.len()) " parts, by the numbers of the drawing" }
                table.stacks {
                    caption { "Used is that of the task that is most used at the part." }
                    thead { tr { th scope="col" { "No." } th scope="col" { "Part" } th scope="col" { "Used" } th scope="col" { "By" } th scope="col" { "In service since" } th scope="col" { "Went through since" } } }
                    tbody {
                        @for (index, (position, (_, since, usage))) in machine.build.positions.iter().zip(&meters).enumerate() {
                            @let most = dues_at(machine, &position.name).max_by(|one, other| one.share().total_cmp(&other.share()));
                            tr {
                                td data-name="No." { (index + 1) }
                                th scope="row" { a.target href=(position_address(&machine.name, &position.name)) { (position.name) } }
                                td data-name="Used" { @if let Some(due) = most { (frame::used(due.share())) } @else { "no task" } }
                                td data-name="By" { @if let Some(due) = most { (due.name) } }
                                td data-name="In service since" { (since_words(since, now)) }
                                td data-name="Went through since" { (went_through(&state.build, position, usage)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Since when a part is there.
pub(super) fn since_words(since: &upkeep::Since, now: &ZonedDateTime) -> String {
    let day = words::day(now.time_zone().to_datetime(since.at).date(), now.date());
    if since.what == SinceWhat::Added { format!("{day}, with the machine") } else { day }
}
