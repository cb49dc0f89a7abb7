//! Time: blocks are planned, and their seconds go to whatever was on.

use std::collections::{BTreeMap, VecDeque};

use crate::arc::Arc;
use crate::block::{Block, Rates};
use crate::duty::{Amounts, Tool};
use crate::event::{Change, Event, Move};
use crate::lookahead::{Lookahead, Settled};
use crate::machine::{Corner, Machine};
use crate::order::larger;
use crate::quantity::Quantity;
use crate::report::Times;

/// How many blocks may wait for their speeds. Real files need about a braking distance, some hundred.
const MOST_WAITING: usize = 1 << 18;
/// How many changes may wait for the blocks before them.
const MOST_CHANGES: usize = 65536;
/// Fans that are told apart, from 0.
pub(crate) const FANS: usize = 16;
/// A nozzle target at or above this is hot for the report, °C.
const REPORT_HOT: f64 = 180.0;

const TIME_FAN: [Quantity; 4] = [Quantity::TimeFan0, Quantity::TimeFan1, Quantity::TimeFan2, Quantity::TimeFan3];
const WEIGHTED_FAN: [Quantity; 4] =
    [Quantity::WeightedFan0, Quantity::WeightedFan1, Quantity::WeightedFan2, Quantity::WeightedFan3];

/// Plans the moves and books their time.
#[derive(Clone, Debug)]
pub(crate) struct Clock {
    corner: Corner,
    rates: Rates,
    lookahead: Lookahead,
    /// The newest block, to which the next makes a corner; none after a stop.
    newest: Option<Block>,
    /// The blocks at hand.
    blocks: Vec<Block>,
    /// Blocks that came in.
    issued: u64,
    /// Changes, each with the number of blocks before it.
    changes: VecDeque<(u64, Change)>,
    book: Book,
}

/// What the clock found.
#[derive(Clone, Debug, Default)]
pub(crate) struct Clocked {
    /// Times for the report.
    pub(crate) times: Times,
    /// Times and peak flow per tool.
    pub(crate) tools: BTreeMap<Tool, Amounts>,
    /// How often the look-ahead had to settle early.
    pub(crate) forced: u64,
}

impl Clock {
    pub(crate) fn new(machine: &Machine, corner: Corner, until: f64) -> Clock {
        Clock {
            corner,
            rates: Rates::new(&machine.limits),
            lookahead: Lookahead::new(MOST_WAITING),
            newest: None,
            blocks: Vec::new(),
            issued: 0,
            changes: VecDeque::new(),
            book: Book::new(machine, until),
        }
    }

    /// Takes straight moves, or such of the extruder alone, and the lengths of their paths, mm.
    pub(crate) fn straight(&mut self, moves: &[Move], paths: &[f64]) {
        let mut blocks = std::mem::take(&mut self.blocks);
        blocks.clear();
        blocks.extend(moves.iter().zip(paths).map(|(of, path)| Block::straight(&self.rates, of, *path)));
        self.plan(&blocks);
        self.blocks = blocks;
    }

    /// Takes an arc.
    pub(crate) fn arc(&mut self, of: &Move, arc: &Arc) {
        if let Some(block) = Block::arc(&self.rates, of, arc) {
            self.plan(&[block]);
        }
    }

    /// Takes another event.
    pub(crate) fn event(&mut self, event: &Event) {
        match *event {
            Event::Arc(of, arc) => self.arc(&of, &arc),
            Event::Stop => self.stop(),
            Event::Dwell(seconds, line) => {
                self.stop();
                self.book.dwell(seconds, line);
            }
            Event::Change(change) => self.change(change),
            Event::Limits(limits) => self.rates = Rates::new(&limits),
        }
    }

    /// The line that was not over when the time ran out, if it did.
    pub(crate) fn unfinished_line(&self) -> Option<u64> {
        self.book.unfinished_line
    }

    /// The line of the oldest block that has no time yet, if there is one.
    pub(crate) fn oldest_waiting_line(&self) -> Option<u64> {
        self.lookahead.oldest_line()
    }

    pub(crate) fn finish(mut self) -> Clocked {
        self.stop();
        self.book.close();
        let mut times = self.book.times;
        times.total_s = times.motion_s + self.book.dwelt;
        times.corner = self.corner;
        Clocked { times, tools: self.book.tools, forced: self.lookahead.forced }
    }

    /// Finds the corners before and between blocks, and hands them to the look-ahead.
    fn plan(&mut self, blocks: &[Block]) {
        let (book, changes) = (&mut self.book, &mut self.changes);
        let mut before = self.newest.as_ref();
        for block in blocks {
            let cap = match before {
                Some(before) => block.corner_speed(before, self.corner, &self.rates),
                None => block.start_speed(self.corner),
            };
            self.lookahead.push(block, cap, &mut |settled| book.settle(changes, settled));
            before = Some(block);
        }
        self.newest = blocks.last().copied().or(self.newest);
        self.issued += blocks.len() as u64;
    }

    fn stop(&mut self) {
        if let Some(last) = self.newest.take() {
            let (book, changes) = (&mut self.book, &mut self.changes);
            self.lookahead.stop(last.end_speed(self.corner), &mut |settled| book.settle(changes, settled));
        }
        self.book.apply_due(&mut self.changes);
    }

    fn change(&mut self, change: Change) {
        if self.lookahead.is_empty() {
            self.book.apply_due(&mut self.changes);
            return self.book.apply(change);
        }
        let here = self.issued;
        let same_place = self.changes.iter_mut().rev().take_while(|(before, _)| *before == here);
        match same_place.map(|(_, old)| old).find(|old| old.is_overruled_by(&change)) {
            Some(old) => *old = change,
            None => self.changes.push_back((here, change)),
        }
        if MOST_CHANGES < self.changes.len() {
            let (book, changes) = (&mut self.book, &mut self.changes);
            self.lookahead.settle_half(&mut |settled| book.settle(changes, settled));
        }
    }
}

/// What is on, and for how long each thing was.
#[derive(Clone, Debug)]
struct Book {
    hot_nozzle: f64,
    times: Times,
    tools: BTreeMap<Tool, Amounts>,
    dwelt: f64,
    /// Blocks that were settled.
    settled: u64,
    tool: Tool,
    targets: BTreeMap<Tool, f64>,
    bed: f64,
    chamber: f64,
    fans: [f64; FANS],
    /// Since the last change: seconds moving, seconds extruding, seconds at rest, and the largest flow (mm/s of filament).
    moving: f64,
    extruding: f64,
    resting: f64,
    peak_flow: f64,
    filament_area_mm2: f64,
    /// When to say that the time is over, s.
    until: f64,
    elapsed: f64,
    unfinished_line: Option<u64>,
}

impl Book {
    fn new(machine: &Machine, until: f64) -> Book {
        Book {
            hot_nozzle: machine.hot_nozzle,
            times: Times::default(),
            tools: BTreeMap::new(),
            dwelt: 0.0,
            settled: 0,
            tool: 0,
            targets: BTreeMap::new(),
            bed: 0.0,
            chamber: 0.0,
            fans: [0.0; FANS],
            moving: 0.0,
            extruding: 0.0,
            resting: 0.0,
            peak_flow: 0.0,
            filament_area_mm2: machine.drive.filament_area_mm2(),
            until,
            elapsed: 0.0,
            unfinished_line: None,
        }
    }

    #[inline]
    fn settle(&mut self, changes: &mut VecDeque<(u64, Change)>, block: Settled) {
        if changes.front().is_some_and(|(before, _)| *before <= self.settled) {
            self.apply_due(changes);
        }
        self.settled += 1;
        self.moving += block.seconds;
        if 0.0 < block.flow {
            self.extruding += block.seconds;
            self.peak_flow = larger(self.peak_flow, block.flow * block.peak);
        }
        self.pass(block.seconds, block.line);
    }

    fn dwell(&mut self, seconds: f64, line: u64) {
        self.resting += seconds;
        self.dwelt += seconds;
        self.pass(seconds, line);
    }

    #[inline]
    fn pass(&mut self, seconds: f64, line: u64) {
        self.elapsed += seconds;
        if self.until < self.elapsed && self.unfinished_line.is_none() {
            self.unfinished_line = Some(line);
        }
    }

    fn apply_due(&mut self, changes: &mut VecDeque<(u64, Change)>) {
        while let Some((_, change)) = changes.pop_front_if(|(before, _)| *before <= self.settled) {
            self.apply(change);
        }
    }

    fn apply(&mut self, change: Change) {
        self.close();
        match change {
            Change::Tool(tool) => self.tool = tool,
            Change::Nozzle(tool, target) => {
                self.targets.insert(tool, target);
            }
            Change::Bed(target) => self.bed = target,
            Change::Chamber(target) => self.chamber = target,
            Change::Fan(fan, duty) => self.fans[usize::from(fan)] = duty,
        }
    }

    /// Books the time since the last change.
    fn close(&mut self) {
        let seconds = self.moving + self.resting;
        if seconds == 0.0 {
            return;
        }
        self.close_report(seconds);
        let amounts = self.tools.entry(self.tool).or_default();
        amounts[Quantity::Time] += seconds;
        amounts[Quantity::TimeMoving] += self.moving;
        amounts[Quantity::TimeExtruding] += self.extruding;
        let flow = self.peak_flow * self.filament_area_mm2 * 1e-9;
        amounts[Quantity::PeakFlow] = amounts[Quantity::PeakFlow].max(flow);
        let bed_and_chamber = [(Quantity::TimeBedHot, self.bed), (Quantity::TimeChamberHot, self.chamber)];
        for (quantity, _) in bed_and_chamber.into_iter().filter(|(_, target)| 0.0 < *target) {
            amounts[quantity] += seconds;
        }
        for (fan, &duty) in self.fans.iter().take(TIME_FAN.len()).enumerate().filter(|(_, duty)| 0.0 < **duty) {
            amounts[TIME_FAN[fan]] += seconds;
            amounts[WEIGHTED_FAN[fan]] += seconds * duty;
        }
        for (&tool, _) in self.targets.iter().filter(|(_, target)| self.hot_nozzle <= **target) {
            self.tools.entry(tool).or_default()[Quantity::TimeHot] += seconds;
        }
        (self.moving, self.extruding, self.resting, self.peak_flow) = (0.0, 0.0, 0.0, 0.0);
    }

    fn close_report(&mut self, seconds: f64) {
        let times = &mut self.times;
        times.motion_s += self.moving;
        let mut any = false;
        for (&tool, _) in self.targets.iter().filter(|(_, target)| REPORT_HOT <= **target) {
            *times.hot_s.entry(tool).or_default() += seconds;
            any = true;
        }
        times.any_nozzle_hot_s += if any { seconds } else { 0.0 };
        times.bed_on_s += if 0.0 < self.bed { seconds } else { 0.0 };
        for (fan, &duty) in (0u8..).zip(&self.fans).filter(|(_, duty)| 0.0 < **duty) {
            *times.fan_on_s.entry(fan).or_default() += seconds;
            *times.fan_duty_s.entry(fan).or_default() += seconds * duty;
        }
    }
}
