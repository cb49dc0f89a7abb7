//! The title block, its fields as ISO 7200 lays them out.

use maud::{Markup, html};

use super::geometry::{Cell, cell};
use super::{Subject, px, shortened};

/// The block in its place: what the machine is, of which build, how long it has run, as of when, on which sheet.
pub(super) fn block(subject: &Subject<'_>, place: Cell) -> Markup {
    let row = place.height / 3.0;
    let at = |x: f64, y: f64, width: f64| cell(place.x + x * place.width, place.y + y * row, width * place.width, row);
    html! {
        g.title-block {
            (field("Machine", subject.machine, 24, at(0.0, 0.0, 0.62)))
            (field("Has run", subject.hours, 14, at(0.62, 0.0, 0.38)))
            (field("Build", subject.build.name.as_str(), 38, at(0.0, 1.0, 1.0)))
            (field("Shop", subject.shop, 14, at(0.0, 2.0, 0.38)))
            (field("As of", subject.day, 12, at(0.38, 2.0, 0.31)))
            (field("Sheet", "1/1", 4, at(0.69, 2.0, 0.13)))
            (projection(at(0.82, 2.0, 0.18)))
            rect class="outline" x=(px(place.x)) y=(px(place.y)) width=(px(place.width)) height=(px(place.height)) {}
        }
    }
}

fn field(name: &str, value: &str, most: usize, of: Cell) -> Markup {
    html! {
        rect class="hair" x=(px(of.x)) y=(px(of.y)) width=(px(of.width)) height=(px(of.height)) {}
        text class="field-name" x=(px(of.x + 4.0)) y=(px(of.y + 12.0)) { (name) }
        text class="field-value" x=(px(of.x + 4.0)) y=(px(of.y + of.height - 4.0)) { (shortened(value, most)) }
    }
}

/// The symbol of first angle projection (ISO 5456-2): a blunt cone from the side, and from its thin end.
fn projection(of: Cell) -> Markup {
    let (x, y) = (of.x + of.width / 2.0, of.y + of.height / 2.0);
    let cone = format!(
        "M{:.1} {:.1}L{:.1} {:.1}V{:.1}L{:.1} {:.1}Z",
        x - 20.0,
        y - 4.0,
        x - 4.0,
        y - 8.0,
        y + 8.0,
        x - 20.0,
        y + 4.0
    );
    html! {
        rect class="hair" x=(px(of.x)) y=(px(of.y)) width=(px(of.width)) height=(px(of.height)) {}
        path class="hair" d=(cone) {}
        circle class="hair" cx=(px(x + 12.0)) cy=(px(y)) r="8" {}
        circle class="hair" cx=(px(x + 12.0)) cy=(px(y)) r="4" {}
    }
}
