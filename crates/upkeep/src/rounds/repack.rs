//! Which keeper goes to which visit of a day: free minutes are brought together, so that longer visits find room.
//!
//! A visit goes to another keeper, or two change places, as long as the sum of the squares of the free minutes grows: the same
//! minutes in larger pieces. Costs nothing, since no cost depends on who goes.

use super::problem::Skills;

/// Up to how many keepers change visits at once.
const KEEPERS: usize = 5;

/// A visit that may go to another keeper.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Movable {
    pub(crate) keeper: usize,
    pub(crate) minutes: f64,
    pub(crate) skills: Skills,
}

/// Gives visits of one day, longest first, to others of the keepers `around`. `free` are the minutes that each has left, with what they may do.
pub(crate) fn repack(visits: &mut [Movable], free: &mut [(f64, Skills)], around: &[usize]) {
    let mut keepers: Vec<usize> = around.to_vec();
    keepers.sort_unstable();
    keepers.dedup();
    keepers.truncate(KEEPERS);
    // Every change makes the sum of squares larger; the count only bounds the time.
    for _ in 0..4 {
        let moved = move_one(visits, free, &keepers);
        let swapped = swap_two(visits, free, &keepers);
        if !moved && !swapped {
            break;
        }
    }
}

fn move_one(visits: &mut [Movable], free: &mut [(f64, Skills)], keepers: &[usize]) -> bool {
    let mut any = false;
    for visit in visits.iter_mut().filter(|visit| keepers.contains(&visit.keeper)) {
        let from = free[visit.keeper].0 + visit.minutes;
        let better = |to: &usize| {
            let (room, skills) = free[*to];
            *to != visit.keeper && skills.hold(visit.skills) && visit.minutes <= room && room + 1e-6 < from
        };
        let Some(to) = keepers.iter().copied().filter(better).min_by(|a, b| free[*a].0.total_cmp(&free[*b].0)) else {
            continue;
        };
        free[visit.keeper].0 += visit.minutes;
        free[to].0 -= visit.minutes;
        visit.keeper = to;
        any = true;
    }
    any
}

fn swap_two(visits: &mut [Movable], free: &mut [(f64, Skills)], keepers: &[usize]) -> bool {
    let mut any = false;
    for longer in 0..visits.len() {
        for shorter in longer + 1..visits.len() {
            let (a, b) = (visits[longer].keeper, visits[shorter].keeper);
            let extra = visits[longer].minutes - visits[shorter].minutes;
            if a == b || extra < 1e-6 || !keepers.contains(&a) || !keepers.contains(&b) {
                continue;
            }
            // The longer goes to the keeper with less room, if that grows the squares.
            let fits = extra <= free[b].0 && free[b].0 + 1e-6 < free[a].0 + extra;
            if fits && free[b].1.hold(visits[longer].skills) && free[a].1.hold(visits[shorter].skills) {
                free[a].0 += extra;
                free[b].0 -= extra;
                (visits[longer].keeper, visits[shorter].keeper) = (b, a);
                any = true;
            }
        }
    }
    any
}

#[cfg(test)]
mod tests {
    use super::*;

    fn movable(keeper: usize, minutes: f64) -> Movable {
        Movable { keeper, minutes, skills: Skills(0) }
    }

    #[test]
    fn free_minutes_come_together_and_none_are_lost() {
        // Two days of 100 minutes: 60 + 20 and 40 + 30 leave 20 and 30. As 60 + 40 and 20 + 30 they leave 0 and 50.
        let mut visits = [movable(0, 60.0), movable(0, 20.0), movable(1, 40.0), movable(1, 30.0)];
        let mut free = [(20.0, Skills(0)), (30.0, Skills(0))];
        repack(&mut visits, &mut free, &[0, 1]);
        let largest = free[0].0.max(free[1].0);
        assert!((largest - 50.0).abs() < 1e-9, "{free:?}");
        assert!((free[0].0 + free[1].0 - 50.0).abs() < 1e-9);
    }

    #[test]
    fn nobody_gets_a_visit_that_they_may_not_do() {
        let mut visits = [Movable { keeper: 0, minutes: 10.0, skills: Skills(1) }];
        let mut free = [(90.0, Skills(1)), (20.0, Skills(0))];
        repack(&mut visits, &mut free, &[0, 1]);
        assert_eq!(visits[0].keeper, 0);
    }
}
