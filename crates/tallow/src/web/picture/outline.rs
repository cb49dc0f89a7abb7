//! A machine drawn small, without names, to be told from others.

use maud::{Markup, html};
use upkeep::Build;

use super::geometry::at;
use super::layout::parts;
use super::mark::Paper;

/// The machine by its kinematics: from the front, and from above.
pub(crate) fn outline(build: &Build) -> Markup {
    let (ghost, _, parts) = parts(build);
    let paper = Paper { corner: at(0.0, 0.0), scale: 1.0 };
    html! {
        svg.sheet.small viewBox="0 0 460 470" aria-hidden="true" focusable="false" {
            @for mark in &ghost { (paper.draw(mark, "")) }
            @for mark in parts.iter().flat_map(|part| &part.member.marks) { (paper.draw(mark, "hatch blank")) }
        }
    }
}
