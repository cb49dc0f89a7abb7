//! What the moves add up to: travel, reversals, filament and wear, by axis, motor and tool; and, by the clock, time.

use std::collections::BTreeMap;

use crate::arc::{Arc, Axis};
use crate::clock::{Clock, Clocked};
use crate::duty::{Amounts, Tool};
use crate::event::{Batch, Change, Event, Move, Work};
use crate::feed::Feed;
use crate::machine::{Drive, Kinematics, Machine};
use crate::program::TOOLS;
use crate::quantity::Quantity;
use crate::report::{Filament, PerMotor, PerXyz, Report, Reversals, ReversalsDeadBand};
use crate::towers::Towers;
use crate::track::{Track, Tracks};
use crate::wear::WearMaps;

/// Sums over all moves so far.
#[derive(Clone, Debug)]
pub(crate) struct Tally {
    kinematics: Kinematics,
    drive: Drive,
    tool: Tool,
    /// X, Y, and a CoreXY's motors.
    plane: Tracks,
    z: Track,
    towers: Option<Towers>,
    feeds: Vec<Feed>,
    path_xy: f64,
    pub(crate) wear: WearMaps,
    /// What the tracks counted, by the tool that was active.
    tools: BTreeMap<Tool, Amounts>,
    /// The tracks' totals that were charged to a tool already.
    charged: Amounts,
    pub(crate) clock: Option<Clock>,
    /// Lengths of the paths of the moves at hand, mm.
    paths: Vec<f64>,
}

impl Work for Tally {
    fn take(&mut self, batch: &mut Batch) {
        let mut done = 0;
        for (before, event) in &batch.events {
            self.straight(&batch.moves[done..*before]);
            done = *before;
            self.event(event);
        }
        self.straight(&batch.moves[done..]);
        batch.clear();
    }
}

impl Tally {
    pub(crate) fn new(machine: &Machine, bin: f64, clock: Option<Clock>) -> Tally {
        let towers = match machine.kinematics {
            Kinematics::Delta { rod, radius } => Some(Towers::new(rod, radius)),
            Kinematics::Cartesian | Kinematics::CoreXy => None,
        };
        Tally {
            kinematics: machine.kinematics,
            drive: machine.drive,
            tool: 0,
            plane: Tracks::default(),
            z: Track::default(),
            towers,
            feeds: vec![Feed::default(); TOOLS],
            path_xy: 0.0,
            wear: WearMaps::new(bin),
            tools: BTreeMap::new(),
            charged: Amounts::default(),
            clock,
            paths: Vec::new(),
        }
    }

    fn straight(&mut self, moves: &[Move]) {
        if moves.is_empty() {
            return;
        }
        self.measure(moves);
        self.plane.push_all(moves.iter().map(|of| of.delta));
        self.z_and_wear(moves);
        let feed = &mut self.feeds[usize::from(self.tool)];
        moves.iter().for_each(|of| feed.push(of.delta[3]));
        if let Some(towers) = &mut self.towers {
            moves.iter().for_each(|of| towers.straight(of.from(), of.to));
        }
        if let Some(clock) = &mut self.clock {
            clock.straight(moves, &self.paths);
        }
    }

    /// Finds the lengths of the moves' paths.
    fn measure(&mut self, moves: &[Move]) {
        self.paths.clear();
        self.paths.extend(moves.iter().map(|of| (of.delta[0] * of.delta[0] + of.delta[1] * of.delta[1]).sqrt()));
        // One after the other, so that the sum does not depend on the batches.
        self.path_xy = self.paths.iter().fold(self.path_xy, |sum, path| sum + path);
        for (path, of) in self.paths.iter_mut().zip(moves) {
            if of.delta[2] != 0.0 {
                *path = (*path * *path + of.delta[2] * of.delta[2]).sqrt();
            }
        }
    }

    fn z_and_wear(&mut self, moves: &[Move]) {
        for of in moves {
            let [dx, dy, dz, _] = of.delta;
            let [x, y, z] = of.to;
            if dx != 0.0 {
                self.wear.x.add(x - dx, x);
            }
            if dy != 0.0 {
                self.wear.y.add(y - dy, y);
            }
            if dz != 0.0 {
                self.z.push(dz);
                self.wear.z.add(z - dz, z);
            }
        }
    }

    fn event(&mut self, event: &Event) {
        match *event {
            Event::Arc(of, arc) => self.arc(&of, &arc),
            Event::Change(Change::Tool(tool)) => {
                self.charge();
                self.tool = tool;
                self.tell_clock(event);
            }
            _ => self.tell_clock(event),
        }
    }

    fn tell_clock(&mut self, event: &Event) {
        if let Some(clock) = &mut self.clock {
            clock.event(event);
        }
    }

    fn arc(&mut self, of: &Move, arc: &Arc) {
        let [_, _, dz, de] = of.delta;
        self.path_xy += arc.length();
        self.arc_travel(of.from(), arc, dz);
        if dz != 0.0 {
            self.z.push(dz);
            self.wear.z.add(of.to[2] - dz, of.to[2]);
        }
        self.feeds[usize::from(self.tool)].push(de);
        if let Some(clock) = &mut self.clock {
            clock.arc(of, arc);
        }
    }

    fn arc_travel(&mut self, start: [f64; 3], arc: &Arc, dz: f64) {
        if let Some(towers) = &mut self.towers {
            towers.arc(start, arc, dz);
        }
        let centre = [start[0] - arc.radius * arc.leaves[0], start[1] - arc.radius * arc.leaves[1]];
        arc.pieces(Axis::X, |from, to| {
            self.plane.push_one(0, to - from);
            self.wear.x.add(centre[0] + from, centre[0] + to);
        });
        arc.pieces(Axis::Y, |from, to| {
            self.plane.push_one(1, to - from);
            self.wear.y.add(centre[1] + from, centre[1] + to);
        });
        arc.pieces(Axis::Sum, |from, to| self.plane.push_one(2, to - from));
        arc.pieces(Axis::Difference, |from, to| self.plane.push_one(3, to - from));
    }

    /// Charges the active tool with what the tracks counted since the last change.
    fn charge(&mut self) {
        let mut totals = Amounts::default();
        let [x, y, motor_a, motor_b] = self.plane_tracks();
        let z = self.z;
        let [a, b, c] = match (&self.towers, self.kinematics) {
            (Some(towers), _) => towers.carriages,
            (None, Kinematics::CoreXy) => [motor_a, motor_b, Track::default()],
            (None, _) => [x, y, Track::default()],
        };
        for (travel, reversals, track) in [
            (Quantity::TravelX, Quantity::ReversalsX, x),
            (Quantity::TravelY, Quantity::ReversalsY, y),
            (Quantity::TravelZ, Quantity::ReversalsZ, z),
            (Quantity::BeltA, Quantity::ReversalsA, a),
            (Quantity::BeltB, Quantity::ReversalsB, b),
            (Quantity::BeltC, Quantity::ReversalsC, c),
        ] {
            totals[travel] = track.travel * 1e-3;
            totals[reversals] = track.reversals as f64;
        }
        let amounts = self.tools.entry(self.tool).or_default();
        for &quantity in Quantity::ALL {
            amounts[quantity] += totals[quantity] - self.charged[quantity];
        }
        self.charged = totals;
    }

    fn plane_tracks(&self) -> [Track; 4] {
        [0, 1, 2, 3].map(|axis| self.plane.track(axis))
    }

    /// Each tool that moved filament, and how.
    fn feeds(&self) -> impl Iterator<Item = (Tool, &Feed)> {
        (0..).zip(&self.feeds).filter(|(_, feed)| feed.moved())
    }

    /// Writes lengths and reversals into the report.
    pub(crate) fn report(&self, report: &mut Report) {
        let ([x, y, a, b], z) = (self.plane_tracks(), self.z);
        report.travel_mm = PerXyz { x: x.travel, y: y.travel, z: z.travel };
        report.corexy_motor_mm = PerMotor { a: a.travel, b: b.travel };
        let mut total = Filament::default();
        for (tool, feed) in self.feeds() {
            total.add(&feed.filament);
            report.filament_per_tool_mm.insert(tool, feed.filament);
            report.retracted_at_end_mm.insert(tool, feed.retracted_at_end());
        }
        report.path_xy_mm = self.path_xy;
        report.filament_mm = total;
        report.reversals = Reversals {
            x: x.reversals,
            y: y.reversals,
            z: z.reversals,
            a: a.reversals,
            b: b.reversals,
            e: total.reversals,
        };
        let [x, y, a, b] = [0, 1, 2, 3].map(|axis| self.plane.turns(axis));
        report.reversals_dead_band = ReversalsDeadBand { x, y, a, b };
    }

    /// Ends the run: what each tool did, and the times.
    pub(crate) fn finish(&mut self) -> (BTreeMap<Tool, Amounts>, Clocked) {
        self.charge();
        let clocked = self.clock.take().map(Clock::finish).unwrap_or_default();
        let mut tools = std::mem::take(&mut self.tools);
        for (&tool, amounts) in &clocked.tools {
            tools.entry(tool).or_default().add(amounts);
        }
        for (tool, feed) in self.feeds() {
            self.filament(&feed.filament, tools.entry(tool).or_default());
        }
        for amounts in tools.values_mut() {
            self.turns(amounts);
        }
        (tools, clocked)
    }

    fn filament(&self, filament: &Filament, amounts: &mut Amounts) {
        amounts[Quantity::Filament] = filament.net * 1e-3;
        amounts[Quantity::FilamentFed] = filament.forward * 1e-3;
        amounts[Quantity::FilamentPulled] = filament.retracted * 1e-3;
        amounts[Quantity::Retractions] = filament.retractions as f64;
        amounts[Quantity::ReversalsE] = filament.reversals as f64;
        amounts[Quantity::FilamentVolume] = filament.net * self.drive.filament_area_mm2() * 1e-9;
        amounts[Quantity::TurnsExtruder] = (filament.forward + filament.retracted) / self.drive.extruder_per_turn;
    }

    fn turns(&self, amounts: &mut Amounts) {
        for (turns, belt) in [
            (Quantity::TurnsA, Quantity::BeltA),
            (Quantity::TurnsB, Quantity::BeltB),
            (Quantity::TurnsC, Quantity::BeltC),
        ] {
            amounts[turns] = amounts[belt] * 1e3 / self.drive.belt_per_turn;
        }
        if let Some(lead) = self.drive.screw_lead {
            amounts[Quantity::TurnsScrew] = amounts[Quantity::TravelZ] * 1e3 / lead;
        }
    }
}
