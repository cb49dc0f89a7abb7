//! Each position's place in the drawing.

use motion::Kinematics;
use upkeep::Build;

use super::geometry::Point;
use super::mark::{Mark, Member};
use super::role::Role;
use super::stage::{self, BESIDE, Row, Stage};
use super::{cartesian, corexy, delta};

/// A position as it is drawn.
#[derive(Clone, Debug)]
pub(super) struct Part {
    /// Its index in the build.
    pub(super) position: usize,
    /// What is drawn.
    pub(super) member: Member,
}

/// How many stand beside the machine in a row.
const ABREAST: usize = 4;
/// For how many there is room at least, so that few are not drawn as if they were large.
const ROOM: usize = 12;

/// What is drawn of a build: the machine without its parts, what the views are called, and each position's part, in the
/// order in which they are drawn.
pub(super) fn parts(build: &Build) -> (Vec<Mark>, Vec<(Point, &'static str)>, Vec<Part>) {
    let (stage, has_towers) = match build.machine.kinematics {
        Kinematics::CoreXy => (corexy::stage(), false),
        Kinematics::Cartesian => (cartesian::stage(), false),
        Kinematics::Delta { rod, radius } => (delta::stage(rod, radius), true),
    };
    let role = |position| if has_towers { Role::of(position) } else { Role::of(position).without_towers() };
    let roles: Vec<Role> = build.positions.iter().map(role).collect();
    let Stage { mut ghost, captions, members, rows } = stage;
    let mut parts = Vec::with_capacity(roles.len());
    for (place, (role, members)) in members.iter().enumerate() {
        let mut sharing = with_roles(&roles, &[*role]);
        // `x belt` before `y belt`, as the drawing has them.
        sharing.sort_by(|one, other| build.positions[*one].name.cmp(&build.positions[*other].name));
        if sharing.is_empty() && role.is_of_every_machine() {
            ghost.extend(members.iter().flat_map(|member| &member.marks).map(Mark::unnamed));
        } else if sharing.len() <= members.len() {
            parts.extend(shared(&sharing, members, place % 2 == 1));
        }
    }
    for Row { roles: of, cell, across } in &rows {
        let sharing = with_roles(&roles, of);
        if let ([], [role]) = (&sharing[..], of)
            && role.is_of_every_machine()
        {
            ghost.extend(stage::glyph(*role, *cell).marks.iter().map(Mark::unnamed));
        }
        let cells = cell.grid(sharing.len(), *across);
        parts.extend(
            sharing
                .into_iter()
                .zip(cells)
                .map(|(position, cell)| Part { position, member: stage::glyph(roles[position], cell) }),
        );
    }
    let rest: Vec<usize> = (0..roles.len()).filter(|index| parts.iter().all(|part| part.position != *index)).collect();
    let cells = BESIDE.grid(rest.len().max(ROOM), ABREAST);
    parts.extend(
        rest.into_iter()
            .zip(cells)
            .map(|(position, cell)| Part { position, member: stage::glyph(roles[position], cell.inset(3.0)) }),
    );
    (ghost, captions, parts)
}

fn with_roles(roles: &[Role], of: &[Role]) -> Vec<usize> {
    (0..roles.len()).filter(|index| of.contains(&roles[*index])).collect()
}

/// The members shared out among positions: one has all of them, of two each every other one. The leader line points to the
/// first, or to the last, so that both sides of the drawing have their share of labels.
fn shared(sharing: &[usize], members: &[Member], to_last: bool) -> Vec<Part> {
    let of = |turn: usize| members.iter().skip(turn).step_by(sharing.len());
    let part = |(turn, position): (usize, &usize)| {
        let pointed = if to_last { of(turn).next_back() } else { of(turn).next() };
        let at = pointed.map(|member| member.at)?;
        let marks = of(turn).flat_map(|member| member.marks.clone()).collect();
        Some(Part { position: *position, member: Member { marks, at } })
    };
    sharing.iter().enumerate().filter_map(part).collect()
}
