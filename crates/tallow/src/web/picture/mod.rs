//! Pictures that the server draws: a machine by its build, where a part is worn, what readings say, what a print takes.
//!
//! A machine is drawn as a sheet (first angle projection, ISO 5456-2): from the front, from above, its head enlarged, and
//! what stands beside it. Each position of its build is one shape with one leader line (ISO 128-22), hatched by how much is
//! used of the task that is most used there. It is a scheme by kinematics and kinds of part, not to scale.

mod belt;
mod cartesian;
mod corexy;
mod delta;
mod geometry;
mod graph;
mod label;
mod layout;
mod mark;
mod outline;
mod role;
mod stage;
mod title;

use maud::{Markup, html};
use upkeep::Build;

use self::geometry::{Cell, Point, at, cell};
use self::label::{Column, Spot, spots};
use self::layout::{Part, parts};
use self::mark::{Mark, Paper};
use super::frame::hatch;
use crate::words;

pub(crate) use self::graph::{Readings, Wear, readings, taken, wear};
pub(crate) use self::outline::outline;

/// A machine to be drawn.
pub(crate) struct Subject<'a> {
    /// The shop.
    pub(crate) shop: &'a str,
    /// Its name.
    pub(crate) machine: &'a str,
    /// Its build.
    pub(crate) build: &'a Build,
    /// How long it has run, in words.
    pub(crate) hours: &'a str,
    /// As of which day.
    pub(crate) day: &'a str,
    /// Of each position: how much is used of the task that is most used there, and where its page is.
    pub(crate) positions: &'a [Place],
}

/// What is drawn of a position besides its shape.
#[derive(Clone, Debug)]
pub(crate) struct Place {
    /// How much is used of the task that is most used there; `None` where it has no task.
    pub(crate) used: Option<f64>,
    /// Its page.
    pub(crate) address: String,
    /// Whether a likely cause of an open fault sits there: the end of its leader line is ringed, and its label underlined.
    pub(crate) is_suspect: bool,
}

/// A sheet: how large, and what stands where.
struct Sheet {
    name: &'static str,
    width: f64,
    height: f64,
    paper: Paper,
    columns: [Column; 2],
    /// The least distance between two labels.
    gap: f64,
    title: Cell,
    /// Whether labels are names with figures; else numbers of the list below.
    is_named: bool,
}

impl Sheet {
    /// For a desk: names and figures on both sides.
    fn wide(count: usize) -> Sheet {
        let gap = 22.0;
        let more = (count as f64 - 64.0).max(0.0) / 2.0 * gap;
        let height = 824.0 + more;
        Sheet {
            name: "wide",
            width: 1060.0,
            height,
            paper: Paper { corner: at(299.0, 24.0), scale: 1.1 },
            columns: [Column { x: 252.0, y: 22.0..height - 22.0 }, Column { x: 808.0, y: 22.0..height - 134.0 }],
            gap,
            title: cell(752.0, height - 108.0, 300.0, 100.0),
            is_named: true,
        }
    }

    /// For a phone: numbers.
    fn narrow(count: usize) -> Sheet {
        let gap = 18.0;
        let more = (count as f64 - 46.0).max(0.0) / 2.0 * gap;
        let foot = 470.0 + more;
        Sheet {
            name: "narrow",
            width: 366.0,
            height: foot + 112.0,
            paper: Paper { corner: at(53.0, 16.0), scale: 0.62 },
            columns: [Column { x: 30.0, y: 16.0..foot - 10.0 }, Column { x: 336.0, y: 16.0..foot - 10.0 }],
            gap,
            title: cell(8.0, foot, 350.0, 104.0),
            is_named: false,
        }
    }
}

/// The machine as a drawing, for a desk and for a phone; the style shows the one that fits.
pub(crate) fn machine(subject: &Subject<'_>) -> Markup {
    let (ghost, captions, parts) = parts(subject.build);
    let count = parts.len();
    html! {
        @for sheet in [Sheet::wide(count), Sheet::narrow(count)] {
            @let spots = spots(&leaders(&sheet, &parts), &sheet.columns, sheet.gap);
            (drawing(subject, &sheet, &ghost, &captions, &parts, &spots))
        }
    }
}

/// Where the leader line of each part ends, on the paper.
fn leaders(sheet: &Sheet, parts: &[Part]) -> Vec<Point> {
    parts.iter().map(|part| sheet.paper.place(part.member.at)).collect()
}

fn drawing(
    subject: &Subject<'_>,
    sheet: &Sheet,
    ghost: &[Mark],
    captions: &[(Point, &'static str)],
    parts: &[Part],
    spots: &[Spot],
) -> Markup {
    let id = format!("drawing-{}", sheet.name);
    let border = format!("M4 4H{:.1}V{:.1}H4Z", sheet.width - 4.0, sheet.height - 4.0);
    html! {
        svg class=(format!("sheet {}", sheet.name)) viewBox=(format!("0 0 {} {}", sheet.width, sheet.height)) role="group" aria-labelledby=(format!("{id}-title {id}-desc")) {
            title id=(format!("{id}-title")) { "Drawing of " (subject.machine) }
            desc id=(format!("{id}-desc")) { "The machine from the front and from above, its head enlarged. Each part is hatched by how much is used of its most used care; the table of parts says the same." }
            path class="outline" d=(border) {}
            @for mark in ghost { (sheet.paper.draw(mark, "")) }
            @for (place, words) in captions {
                @let place = sheet.paper.place(*place);
                text class="caption" x=(px(place.x)) y=(px(place.y)) text-anchor="middle" { (words) }
            }
            @for (part, spot) in parts.iter().zip(spots) { (labelled(subject, sheet, part, *spot)) }
            (title::block(subject, sheet.title))
        }
    }
}

/// A part with its leader line and label, which lead to its page. The keyboard's way there is the list below.
fn labelled(subject: &Subject<'_>, sheet: &Sheet, part: &Part, spot: Spot) -> Markup {
    let (position, place) = (&subject.build.positions[part.position], &subject.positions[part.position]);
    let class = hatch(place.used.unwrap_or(0.0));
    let suspect = place.is_suspect.then_some("suspect");
    let figure = figure(place.used);
    let to = sheet.paper.place(part.member.at);
    let outward = if spot.is_left { -1.0 } else { 1.0 };
    let leader =
        format!("M{:.1} {:.1}H{:.1}L{:.1} {:.1}", spot.from.x + 4.0 * outward, spot.from.y, spot.from.x, to.x, to.y);
    html! {
        a class=[suspect] href=(place.address) tabindex="-1" {
            title { (position.name) ", " (figure) @if place.is_suspect { ", a likely cause of an open fault" } }
            @for mark in &part.member.marks { (sheet.paper.draw(mark, class)) }
            path class="leader" d=(leader) {}
            circle class="dot" cx=(px(to.x)) cy=(px(to.y)) r="2" {}
            @if place.is_suspect {
                circle class="ring under" cx=(px(to.x)) cy=(px(to.y)) r="8" {}
                circle class="ring" cx=(px(to.x)) cy=(px(to.y)) r="8" {}
            }
            (label(sheet, spot, part.position, &position.name, &figure, class))
        }
    }
}

/// The share in words; a dash where nothing is counted.
fn figure(used: Option<f64>) -> String {
    used.map_or_else(|| "–".to_owned(), words::percent)
}

/// How wide a swatch of hatch is, with a gap on either side of it.
const SWATCH: f64 = 22.0;
/// The size of a label's letters, px on the sheet.
const LETTERS: f64 = 13.0;
/// The longest name that a label holds.
const LONGEST: usize = 22;

fn label(sheet: &Sheet, spot: Spot, position: usize, name: &str, figure: &str, class: &str) -> Markup {
    let (outward, anchor) = if spot.is_left { (-1.0, "end") } else { (1.0, "start") };
    let Point { x, y } = spot.from;
    let base = px(y + LETTERS * 0.35);
    if !sheet.is_named {
        return html! { text x=(px(x + 6.0 * outward)) y=(base) text-anchor=(anchor) { (position + 1) } };
    }
    let left = if spot.is_left { x - SWATCH + 2.0 } else { x + 6.0 };
    html! {
        rect class="body" x=(px(left)) y=(px(y - 6.0)) width="14" height="12" {}
        rect class=(class) x=(px(left)) y=(px(y - 6.0)) width="14" height="12" {}
        text x=(px(x + (SWATCH + 4.0) * outward)) y=(base) text-anchor=(anchor) {
            (shortened(name, LONGEST)) " " tspan class="figure" { (figure) }
        }
    }
}

/// A text of at most so many letters.
fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most { text.to_owned() } else { text.chars().take(most - 1).chain(['…']).collect() }
}

/// A length on the paper.
fn px(length: f64) -> String {
    format!("{length:.1}")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How wide a letter is at most on average, in shares of its size: digits of common sans serifs are 0.55 to 0.6 wide,
    /// running text is narrower.
    const LETTER_WIDTH: f64 = 0.58;

    fn builds() -> Vec<Build> {
        let reference = concat!(env!("CARGO_MANIFEST_DIR"), "/../../testdata/builds/reference.toml");
        let reference = std::fs::read_to_string(reference).unwrap();
        let shipped = upkeep::build::shipped().into_iter().map(|(name, text)| Build::parse(name, text).unwrap());
        shipped.chain([Build::parse("reference", &reference).unwrap()]).collect()
    }

    fn drawn(build: &Build) -> String {
        let place = |index: usize| Place {
            used: Some(index as f64 / 20.0),
            address: format!("/p/{index}"),
            is_suspect: index == 0,
        };
        let positions: Vec<Place> = (0..build.positions.len()).map(place).collect();
        let (shop, hours, day) = ("Pattern loft", "1240 h", "27 Nov 2026");
        let subject = Subject { shop, machine: "bowline", build, hours, day, positions: &positions };
        machine(&subject).into_string()
    }

    #[test]
    fn every_position_of_every_shipped_build_is_drawn_and_labelled_once_on_either_sheet() {
        for build in builds() {
            let drawn = drawn(&build);
            let sheets: Vec<&str> = drawn.split("</svg>").filter(|sheet| sheet.contains("<svg")).collect();
            assert_eq!(sheets.len(), 2);
            for sheet in sheets {
                for index in 0..build.positions.len() {
                    let link = format!("href=\"/p/{index}\"");
                    assert_eq!(sheet.matches(&link).count(), 1, "{}: {}", build.name, build.positions[index].name);
                }
                assert_eq!(sheet.matches("class=\"ring\"").count(), 1, "one is a suspect");
                assert_eq!(sheet.matches("class=\"leader\"").count(), build.positions.len(), "{}", build.name);
            }
            assert!(!drawn.contains("NaN") && !drawn.contains("inf"), "{}", build.name);
        }
    }

    #[test]
    fn no_two_labels_overlap_and_all_lie_on_the_sheet_at_both_widths() {
        for build in builds() {
            let (_, _, parts) = parts(&build);
            for sheet in [Sheet::wide(parts.len()), Sheet::narrow(parts.len())] {
                let spots = spots(&leaders(&sheet, &parts), &sheet.columns, sheet.gap);
                let boxes: Vec<Cell> =
                    spots.iter().zip(&parts).map(|(spot, part)| extent(&sheet, spot, part, &build)).collect();
                for (one, cell) in boxes.iter().enumerate() {
                    let inside = 4.0 < cell.x && cell.x + cell.width < sheet.width - 4.0 && 4.0 < cell.y;
                    assert!(inside && cell.y + cell.height < sheet.height - 4.0, "{}: {cell:?}", build.name);
                    assert!(!overlap(*cell, sheet.title), "{} in the title block: {cell:?}", build.name);
                    for other in &boxes[one + 1..] {
                        assert!(!overlap(*cell, *other), "{}: {cell:?} {other:?}", build.name);
                    }
                }
            }
        }
    }

    #[test]
    fn letters_stay_legible_where_each_sheet_is_shown() {
        // The wide sheet is shown from 62 rem = 992 px on, less the page's margins of 2 rem; the narrow one from 360 px on,
        // less 1.5 rem. 11 px is the least.
        assert!(11.0 <= LETTERS * (992.0 - 32.0) / Sheet::wide(40).width);
        assert!(11.0 <= LETTERS * (360.0 - 24.0) / Sheet::narrow(40).width);
    }

    #[test]
    fn a_kind_that_the_drawing_does_not_know_stands_beside_the_machine() {
        let (_, text) = upkeep::build::shipped().into_iter().find(|(name, _)| *name == "moving-bed").unwrap();
        let mut build = Build::parse("moving-bed", text).unwrap();
        build.positions[0].kind = "something new".to_owned();
        let (_, _, parts) = parts(&build);
        let part = parts.iter().find(|part| part.position == 0).unwrap();
        let Cell { x, y, width, height } = stage::BESIDE;
        let Point { x: at_x, y: at_y } = part.member.at;
        assert!((x..x + width).contains(&at_x) && (y..y + height).contains(&at_y), "{:?}", part.member.at);
    }

    /// The room that a label takes.
    fn extent(sheet: &Sheet, spot: &Spot, part: &Part, build: &Build) -> Cell {
        let position = &build.positions[part.position];
        let text = if sheet.is_named {
            format!("{} {}", shortened(&position.name, LONGEST), figure(Some(1.31)))
        } else {
            (part.position + 1).to_string()
        };
        let before = if sheet.is_named { SWATCH + 4.0 } else { 6.0 };
        let width = before + text.chars().count() as f64 * LETTERS * LETTER_WIDTH;
        let left = if spot.is_left { spot.from.x - width } else { spot.from.x };
        cell(left, spot.from.y - LETTERS / 2.0, width, LETTERS)
    }

    fn overlap(one: Cell, other: Cell) -> bool {
        let across = one.x < other.x + other.width && other.x < one.x + one.width;
        across && one.y < other.y + other.height && other.y < one.y + one.height
    }
}
