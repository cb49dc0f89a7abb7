//! The program's state and what its commands do to it: positions, units, feeds. Moves are found here; what they add up
//! to is found in `tally` and `clock`.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use gcode::{Code, Command, Fault, Line, Note, Words, bit};

use crate::arc::{Arc, Form, NoArc};
use crate::clock::FANS;
use crate::duty::{Amounts, Tool};
use crate::event::{Batch, Change, Event, Move};
use crate::machine::{Limits, Machine, PerAxis};
use crate::quantity::Quantity;
use crate::report::{Report, Warning};
use crate::track::NOTHING;

/// A coordinate, centre, radius or feed above this is refused, mm or mm/min.
const TOO_LARGE: f64 = 1e6;
/// How many warnings are kept.
const MOST_WARNINGS: usize = 1000;
/// How many different unknown commands are named.
const MOST_UNKNOWN: usize = 100;
/// Tools that a program may name: T0 to T99.
pub(crate) const TOOLS: usize = 100;
const INCH: f64 = 25.4;
/// Words of motion commands, other than coordinates, that have a length in them.
const OTHER_LENGTHS: u32 = bit(b'F') | bit(b'I') | bit(b'J') | bit(b'R');

/// G commands that change nothing that is metered.
const QUIET_G: [u16; 1] = [17];
/// M commands that change nothing that is metered: motors on and off, card and print control, reports, stored settings,
/// and the ones whose line is text.
const QUIET_M: [u16; 35] = [
    16, 17, 18, 20, 21, 22, 23, 24, 25, 27, 28, 29, 30, 31, 32, 73, 75, 76, 77, 84, 105, 110, 111, 112, 114, 115, 117,
    118, 119, 155, 500, 501, 502, 503, 928,
];
/// M commands that only wait until motion has come to rest.
const STOPS_M: [u16; 6] = [0, 1, 116, 226, 400, 600];

/// Where to end, each at its largest value if not wanted.
#[derive(Clone, Copy, Debug)]
pub(crate) struct End {
    /// The last line to carry out.
    pub(crate) line: u64,
    /// The byte by which a line must have ended.
    pub(crate) byte: u64,
    /// The last layer.
    pub(crate) layer: u32,
}

/// Firmware retraction (G10, G11).
#[derive(Clone, Copy, Debug)]
struct Retraction {
    length: f64,
    speed: f64,
    lift: f64,
    extra: f64,
    recover_speed: f64,
}

/// The state of a program while it is read.
#[derive(Clone, Debug)]
pub(crate) struct Program {
    /// Millimetres per unit of the program.
    unit: f64,
    /// Whether X, Y, Z are relative (G91).
    relative: bool,
    /// Whether E is relative by M83.
    relative_e: bool,
    plane_is_xy: bool,
    /// X, Y, Z, E as the program calls them, mm.
    at: [f64; 4],
    /// What to add to X, Y, Z for machine coordinates, mm.
    offset: [f64; 3],
    /// mm/min, before M220.
    feed: f64,
    speed_factor: f64,
    /// mm/s.
    speed: f64,
    tool: usize,
    /// How many of G0 to G3 were carried out.
    pub(crate) carried_out: [u64; 4],
    /// The number of the last motion command.
    modal: Option<u16>,
    limits: Limits,
    retraction: Retraction,
    /// Per tool: what M221 multiplies E by.
    flow: [f64; TOOLS],
    /// Per tool: what the firmware has pulled back and lifted.
    pulled: BTreeMap<usize, (f64, f64)>,
    targets: BTreeMap<usize, f64>,
    bed: f64,
    hot_nozzle: f64,
    /// Tool changes and heat cycles by tool.
    pub(crate) counted: BTreeMap<Tool, Amounts>,
    /// Z of the last extruding move, mm.
    layer_z: f64,
    pub(crate) layers: u32,
    pub(crate) end: End,
    /// The line before which `end` stopped the program, and its offset.
    pub(crate) ended: Option<(u64, u64)>,
    pub(crate) report: Report,
    /// What happened and was not handed on yet.
    pub(crate) batch: Batch,
}

impl Program {
    pub(crate) fn new(machine: &Machine, end: End, batch: Batch) -> Program {
        Program {
            unit: 1.0,
            relative: false,
            relative_e: false,
            plane_is_xy: true,
            at: [0.0; 4],
            offset: [0.0; 3],
            feed: 1500.0,
            speed_factor: 1.0,
            speed: 1500.0 / 60.0,
            tool: 0,
            carried_out: [0; 4],
            modal: None,
            limits: machine.limits,
            retraction: Retraction { length: 0.8, speed: 35.0, lift: 0.0, extra: 0.0, recover_speed: 35.0 },
            flow: [1.0; TOOLS],
            pulled: BTreeMap::new(),
            targets: BTreeMap::new(),
            bed: 0.0,
            hot_nozzle: machine.hot_nozzle,
            counted: BTreeMap::new(),
            layer_z: f64::NEG_INFINITY,
            layers: 0,
            end,
            ended: None,
            report: Report::default(),
            batch,
        }
    }

    /// Takes the next line of the file.
    #[inline(always)]
    pub(crate) fn line(&mut self, line: Line<'_>) -> ControlFlow<()> {
        match line {
            Line::Command(command) => {
                if self.end.line < command.line || self.end.byte < command.offset + command.raw.len() as u64 {
                    return self.end_before(command.line, command.offset);
                }
                match command.code {
                    Code::G(number @ 0..=3) => return self.motion(number, &command),
                    _ => return self.command(&command),
                }
            }
            Line::Unknown { line, offset, name, raw, notes } => {
                if self.end.line < line || self.end.byte < offset + raw.len() as u64 {
                    return self.end_before(line, offset);
                }
                for note in notes.iter() {
                    self.warn_note(line, raw, note);
                }
                self.unknown(name);
            }
            Line::Skipped { line, offset, raw, note } => {
                if self.end.line < line || self.end.byte < offset + raw.len() as u64 {
                    return self.end_before(line, offset);
                }
                self.report.skipped_lines += 1;
                self.warn_note(line, raw, &note);
            }
        }
        ControlFlow::Continue(())
    }

    fn end_before(&mut self, line: u64, offset: u64) -> ControlFlow<()> {
        self.ended = Some((line, offset));
        ControlFlow::Break(())
    }

    // Warnings.

    fn warn(&mut self, line: u64, column: u32, what: String) {
        self.report.warnings_total += 1;
        if self.report.warnings.len() < MOST_WARNINGS {
            self.report.warnings.push(Warning { line, column, what });
        }
    }

    fn warn_note(&mut self, line: u64, raw: &[u8], note: &Note) {
        self.warn(line, note.column(), note.describe(raw));
    }

    fn warn_all(&mut self, command: &Command<'_>) {
        for note in command.notes.iter() {
            self.warn_note(command.line, command.raw, note);
        }
    }

    fn warn_line(&mut self, command: &Command<'_>, what: &str) {
        self.warn(command.line, 1, what.to_owned());
    }

    fn skip(&mut self, command: &Command<'_>, why: &str) {
        self.report.skipped_lines += 1;
        self.warn_line(command, &format!("{why}: the line is skipped"));
    }

    fn unknown(&mut self, name: &[u8]) {
        self.report.unknown_commands += 1;
        let name = name.escape_ascii().to_string().to_uppercase();
        let unknown = &mut self.report.unknown;
        if unknown.len() < MOST_UNKNOWN || unknown.contains_key(&name) {
            *unknown.entry(name).or_default() += 1;
        }
    }

    // Motion.

    /// G0 to G3.
    #[inline(always)]
    fn motion(&mut self, number: u16, command: &Command<'_>) -> ControlFlow<()> {
        if !command.notes.is_empty() && !self.accepts_notes(command) {
            return ControlFlow::Continue(());
        }
        let words = command.words;
        let (to, delta, mut large) = self.targets(words);
        if words.valued() & OTHER_LENGTHS != 0 {
            let is_large = |letter| TOO_LARGE < (words.get_or(letter, 0.0) * self.unit).abs();
            large |= [b'F', b'I', b'J', b'R'].into_iter().any(is_large);
        }
        if large {
            self.skip(command, "a value above 1000000 mm");
            return ControlFlow::Continue(());
        }
        let arc = if number < 2 { None } else { Some(self.arc(number, command, &delta)) };
        if let Some(None) = arc {
            return ControlFlow::Continue(());
        }
        if 0.0 < delta[3] && (delta[0] != 0.0 || delta[1] != 0.0) && self.new_layer(to[2]) {
            return self.end_before(command.line, command.offset);
        }
        if let Some(feed) = words.get(b'F')
            && 0.0 < feed
        {
            self.feed = feed * self.unit;
            self.set_speed();
        }
        self.modal = Some(number);
        self.carried_out[usize::from(number % 4)] += 1;
        match arc {
            Some(Some(arc)) => self.curved(arc, delta, to, command.line),
            _ if delta.iter().any(|delta| *delta != 0.0) => self.straight(delta, to, self.speed, command.line),
            _ => {}
        }
        self.at = to;
        ControlFlow::Continue(())
    }

    /// Warns of what is wrong with a motion command; whether it can be carried out all the same.
    #[cold]
    fn accepts_notes(&mut self, command: &Command<'_>) -> bool {
        self.warn_all(command);
        let spoilt = command.notes.iter().any(|note| note.fault.spoils_words());
        self.report.skipped_lines += u64::from(spoilt);
        !spoilt
    }

    /// Where the words of a motion command lead, how far the axes move for that, and whether a word is beyond reason.
    #[inline(always)]
    fn targets(&self, words: &Words) -> ([f64; 4], [f64; 4], bool) {
        let (mut to, mut deltas, mut large) = (self.at, [0.0; 4], false);
        for (axis, letter) in [b'X', b'Y', b'Z', b'E'].into_iter().enumerate() {
            if let Some(value) = words.get(letter) {
                let given = value * self.unit;
                large |= TOO_LARGE < given.abs();
                let from = if self.relative || axis == 3 && self.relative_e { 0.0 } else { self.at[axis] };
                let delta = (given - from) * if axis == 3 { self.flow[self.tool] } else { 1.0 };
                to[axis] = self.at[axis] - from + given;
                deltas[axis] = if delta.abs() <= NOTHING { 0.0 } else { delta };
            }
        }
        (to, deltas, large)
    }

    /// Counts a layer if an extruding move ends higher than the last one did; whether that is one too many.
    #[inline]
    fn new_layer(&mut self, z: f64) -> bool {
        let z = z + self.offset[2];
        if self.layer_z + NOTHING < z {
            if self.end.layer <= self.layers {
                return true;
            }
            self.layers += 1;
        }
        self.layer_z = z;
        false
    }

    fn set_speed(&mut self) {
        self.speed = self.feed / 60.0 * self.speed_factor;
    }

    /// A straight move to where the program calls `to`.
    #[inline(always)]
    fn straight(&mut self, delta: [f64; 4], to: [f64; 4], speed: f64, line: u64) {
        self.report.blocks += 1;
        let to = std::array::from_fn(|axis| to[axis] + self.offset[axis]);
        self.batch.moves.push(Move { delta, to, speed, line });
    }

    /// The arc of a G2 or G3, or none with a warning.
    #[inline(never)]
    fn arc(&mut self, number: u16, command: &Command<'_>, delta: &[f64; 4]) -> Option<Arc> {
        if !self.plane_is_xy {
            self.skip(command, "an arc outside the XY plane");
            return None;
        }
        let get = |letter| command.words.get(letter).map(|value| value * self.unit);
        let Some(form) = arc_form(get(b'I'), get(b'J'), get(b'R')) else {
            self.skip(command, "an arc without I, J or R");
            return None;
        };
        match Arc::new(number == 2, delta[0], delta[1], form) {
            Ok(arc) => {
                if arc.off_circle {
                    self.warn_line(command, "the arc's end is off its circle by more than 0.05 mm");
                }
                Some(arc)
            }
            Err(why) => {
                self.skip(
                    command,
                    match why {
                        NoArc::RadiusTooSmall => "the arc's radius is too small to reach its end",
                        NoArc::EndsCoincide => "an arc by radius whose ends coincide",
                    },
                );
                None
            }
        }
    }

    #[inline(never)]
    fn curved(&mut self, arc: Arc, delta: [f64; 4], to: [f64; 4], line: u64) {
        self.report.arcs += 1;
        self.report.blocks += u64::from(0.0 < arc.length() || delta[2] != 0.0);
        let to = std::array::from_fn(|axis| to[axis] + self.offset[axis]);
        self.batch.tell(Event::Arc(Move { delta, to, speed: self.speed, line }, arc));
    }

    /// A move of the extruder alone, by the firmware.
    fn extruder_alone(&mut self, de: f64, speed: f64, line: u64) {
        if NOTHING < de.abs() {
            self.straight([0.0, 0.0, 0.0, de], self.at, speed, line);
        }
    }

    /// A move of Z alone, by the firmware, which the program's Z does not see.
    fn lift(&mut self, dz: f64, line: u64) {
        if NOTHING < dz.abs() {
            self.offset[2] += dz;
            self.straight([0.0, 0.0, dz, 0.0], self.at, self.limits.max_speed.z, line);
        }
    }

    // Other commands.

    fn command(&mut self, command: &Command<'_>) -> ControlFlow<()> {
        match command.code {
            Code::Modal => return self.repeat(command),
            Code::T(number) => self.tool_change(number, command),
            Code::G(number) => self.g(number, command),
            Code::M(number) => self.m(number, command),
        }
        ControlFlow::Continue(())
    }

    /// A line of words alone repeats the last motion command.
    fn repeat(&mut self, command: &Command<'_>) -> ControlFlow<()> {
        match self.modal {
            Some(number) => {
                self.warn_line(command, &format!("no command on the line: the last one, G{number}, is repeated"));
                self.motion(number, command)
            }
            None => {
                self.skip(command, "no command on the line, and none before it to repeat");
                ControlFlow::Continue(())
            }
        }
    }

    fn tool_change(&mut self, number: Option<u16>, command: &Command<'_>) {
        self.warn_all(command);
        let Some(tool) = number.map(usize::from).filter(|tool| *tool < TOOLS) else {
            return self.warn_line(command, "no tool from T0 to T99: the tool stays");
        };
        if tool != self.tool {
            self.tool = tool;
            self.report.toolchanges += 1;
            self.count(tool, Quantity::ToolChanges);
            self.batch.tell(Event::Stop);
            self.batch.tell(Event::Change(Change::Tool(tool as Tool)));
        }
    }

    fn g(&mut self, number: u16, command: &Command<'_>) {
        match number {
            28 => return self.home(command),
            4 | 10 | 11 | 92 => self.warn_all(command),
            _ => self.warn_but_words(command),
        }
        match number {
            4 => self.dwell(command),
            10 => self.retract(command),
            11 => self.recover(command),
            18 | 19 => self.plane_is_xy = false,
            20 => self.unit = INCH,
            21 => self.unit = 1.0,
            90 => self.relative = false,
            91 => self.relative = true,
            92 => self.rename_position(command),
            _ if QUIET_G.contains(&number) => self.plane_is_xy = true,
            _ => self.unknown(format!("G{number}").as_bytes()),
        }
    }

    /// Warnings about the line, but not about words that mean nothing to its command.
    fn warn_but_words(&mut self, command: &Command<'_>) {
        for note in command.notes.iter().filter(|note| !note.fault.spoils_words() && note.fault != Fault::Twice) {
            self.warn_note(command.line, command.raw, note);
        }
    }

    fn home(&mut self, command: &Command<'_>) {
        self.warn_but_words(command);
        self.report.g28 += 1;
        let named = [b'X', b'Y', b'Z'].map(|letter| command.words.names(letter));
        for axis in 0..3 {
            if named[axis] || named == [false; 3] {
                self.at[axis] = 0.0;
                self.offset[axis] = 0.0;
            }
        }
        self.batch.tell(Event::Stop);
    }

    fn dwell(&mut self, command: &Command<'_>) {
        let milliseconds = || command.words.get(b'P').map(|value| value / 1000.0);
        let seconds = command.words.get(b'S').or_else(milliseconds).unwrap_or(0.0);
        if !(0.0..=TOO_LARGE).contains(&seconds) {
            self.batch.tell(Event::Stop);
            return self.warn_line(command, "a dwell below 0 or above 1000000 s: none is taken");
        }
        self.report.dwell_s += seconds;
        self.batch.tell(Event::Dwell(seconds, command.line));
    }

    /// G92: the place gets another name, nothing moves.
    fn rename_position(&mut self, command: &Command<'_>) {
        let given = [b'X', b'Y', b'Z', b'E'].map(|letter| command.words.get(letter).map(|value| value * self.unit));
        if given.iter().flatten().any(|value| TOO_LARGE < value.abs()) {
            return self.skip(command, "a value above 1000000 mm");
        }
        let all = [b'X', b'Y', b'Z', b'E'].iter().all(|&letter| !command.words.names(letter));
        for (axis, value) in given.into_iter().enumerate() {
            let Some(value) = value.or(all.then_some(0.0)) else { continue };
            if axis < 3 {
                self.offset[axis] += self.at[axis] - value;
            }
            self.at[axis] = value;
        }
    }

    fn retract(&mut self, command: &Command<'_>) {
        if command.words.names(b'P') || command.words.names(b'L') {
            return;
        }
        self.report.g10 += 1;
        if self.pulled.contains_key(&self.tool) {
            return;
        }
        let Retraction { length, speed, lift, .. } = self.retraction;
        self.pulled.insert(self.tool, (length, lift));
        self.extruder_alone(-length, speed, command.line);
        self.lift(lift, command.line);
    }

    fn recover(&mut self, command: &Command<'_>) {
        self.report.g11 += 1;
        let Some((length, lift)) = self.pulled.remove(&self.tool) else { return };
        self.lift(-lift, command.line);
        let Retraction { extra, recover_speed, .. } = self.retraction;
        self.extruder_alone(length + extra, recover_speed, command.line);
    }

    fn m(&mut self, number: u16, command: &Command<'_>) {
        match number {
            104 | 106 | 107 | 109 | 140 | 141 | 190 | 191 | 201 | 203..=205 | 207 | 208 | 220 | 221 => {
                self.warn_all(command);
            }
            _ => self.warn_but_words(command),
        }
        match number {
            82 => self.relative_e = false,
            83 => self.relative_e = true,
            104 | 109 | 140 | 141 | 190 | 191 => self.heat(number, command),
            106 | 107 => self.fan(number, command),
            201 | 203 | 204 | 205 => self.limit(number, command),
            207 | 208 => self.set_retraction(number, command),
            220 | 221 => self.scale(number, command),
            _ if STOPS_M.contains(&number) => self.batch.tell(Event::Stop),
            _ if QUIET_M.contains(&number) => {}
            _ => self.unknown(format!("M{number}").as_bytes()),
        }
    }

    /// M104, M109 (nozzle), M140, M190 (bed), M141, M191 (chamber). M109 and M190 wait.
    fn heat(&mut self, number: u16, command: &Command<'_>) {
        let waits = matches!(number, 109 | 190);
        if waits {
            self.batch.tell(Event::Stop);
        }
        let lasting = matches!(number, 109 | 190 | 191);
        let target = command.words.get(b'S').or_else(|| command.words.get(b'R').filter(|_| lasting));
        let Some(target) = target else {
            return self.warn_line(command, "no temperature (S200, for example): the target stays");
        };
        match number {
            104 | 109 => {
                let Some(tool) = self.named_tool(command) else { return };
                let before = self.targets.insert(tool, target).unwrap_or(0.0);
                if before < self.hot_nozzle && self.hot_nozzle <= target {
                    self.count(tool, Quantity::HeatCyclesNozzle);
                }
                self.batch.tell(Event::Change(Change::Nozzle(tool as Tool, target)));
            }
            140 | 190 => {
                if self.bed <= 0.0 && 0.0 < target {
                    self.count(self.tool, Quantity::HeatCyclesBed);
                }
                self.bed = target;
                self.batch.tell(Event::Change(Change::Bed(target)));
            }
            _ => self.batch.tell(Event::Change(Change::Chamber(target))),
        }
    }

    /// The tool of a command's T word, or the active one; `None`, with a warning, if it names none.
    fn named_tool(&mut self, command: &Command<'_>) -> Option<usize> {
        let Some(number) = command.words.get(b'T') else { return Some(self.tool) };
        if 0.0 <= number && number < TOOLS as f64 && number.fract() == 0.0 {
            return Some(number as usize);
        }
        self.warn_line(command, "no tool from T0 to T99: the command is ignored");
        None
    }

    fn fan(&mut self, number: u16, command: &Command<'_>) {
        let fan = command.words.get(b'P').unwrap_or(0.0);
        if !(0.0 <= fan && fan < FANS as f64 && fan.fract() == 0.0) {
            return self.warn_line(command, &format!("no fan from P0 to P{}: the command is ignored", FANS - 1));
        }
        let duty = if number == 107 { 0.0 } else { command.words.get(b'S').unwrap_or(255.0).clamp(0.0, 255.0) / 255.0 };
        self.batch.tell(Event::Change(Change::Fan(fan as u8, duty)));
    }

    /// M201 (acceleration), M203 (speed) and M205 (jerk) per axis, M204 accelerations.
    fn limit(&mut self, number: u16, command: &Command<'_>) {
        let unit = self.unit;
        let limits = &mut self.limits;
        let ignored = match number {
            201 => set_axes(&mut limits.max_acceleration, command, unit, f64::MIN_POSITIVE),
            203 => set_axes(&mut limits.max_speed, command, unit, f64::MIN_POSITIVE),
            204 => set_accelerations(limits, command),
            _ => {
                set_axes(&mut limits.jerk, command, unit, 0.0)
                    | set(&mut limits.junction_deviation, command, b'J', 1.0, 0.0)
            }
        };
        if ignored {
            self.warn_line(command, "a limit of zero or less: that one stays as it was");
        }
        self.batch.tell(Event::Limits(self.limits));
    }

    fn set_retraction(&mut self, number: u16, command: &Command<'_>) {
        let Retraction { length, speed, lift, extra, recover_speed } = &mut self.retraction;
        let (amount, rate) = if number == 207 { (length, speed) } else { (extra, recover_speed) };
        let mut ignored = set(amount, command, b'S', self.unit, if number == 207 { 0.0 } else { f64::MIN });
        ignored |= set(rate, command, b'F', self.unit / 60.0, f64::MIN_POSITIVE);
        if number == 207 {
            ignored |= set(lift, command, b'Z', self.unit, 0.0);
        }
        if ignored {
            self.warn_line(command, "a length or speed below zero: that one stays as it was");
        }
    }

    /// M220 (speed) and M221 (flow of a tool), in percent.
    fn scale(&mut self, number: u16, command: &Command<'_>) {
        let Some(percent) = command.words.get(b'S') else { return };
        if !(0.0 < percent || percent == 0.0 && number == 221) || TOO_LARGE < percent {
            return self.warn_line(command, "a percentage that is not above zero: it stays as it was");
        }
        if number == 220 {
            self.speed_factor = percent / 100.0;
            self.set_speed();
        } else if let Some(tool) = self.named_tool(command) {
            self.flow[tool] = percent / 100.0;
        }
    }

    fn count(&mut self, tool: usize, quantity: Quantity) {
        self.counted.entry(tool as Tool).or_default()[quantity] += 1.0;
    }
}

/// Sets `value` from word `letter` times `unit`. Whether the word is there but below `least` (or beyond reason).
fn set(value: &mut f64, command: &Command<'_>, letter: u8, unit: f64, least: f64) -> bool {
    let Some(given) = command.words.get(letter) else { return false };
    let given = given * unit;
    let sound = least <= given && given < f64::MAX;
    if sound {
        *value = given;
    }
    !sound
}

fn set_axes(of: &mut PerAxis, command: &Command<'_>, unit: f64, least: f64) -> bool {
    set(&mut of.x, command, b'X', unit, least)
        | set(&mut of.y, command, b'Y', unit, least)
        | set(&mut of.z, command, b'Z', unit, least)
        | set(&mut of.e, command, b'E', unit, least)
}

/// S for printing and travel, then P, R and T for each kind.
fn set_accelerations(limits: &mut Limits, command: &Command<'_>) -> bool {
    let least = f64::MIN_POSITIVE;
    set(&mut limits.print_acceleration, command, b'S', 1.0, least)
        | set(&mut limits.travel_acceleration, command, b'S', 1.0, least)
        | set(&mut limits.print_acceleration, command, b'P', 1.0, least)
        | set(&mut limits.retract_acceleration, command, b'R', 1.0, least)
        | set(&mut limits.travel_acceleration, command, b'T', 1.0, least)
}

fn arc_form(i: Option<f64>, j: Option<f64>, r: Option<f64>) -> Option<Form> {
    match (i, j, r) {
        (None, None, None) => None,
        (None, None, Some(radius)) => Some(Form::Radius(radius)),
        _ => Some(Form::Centre { i: i.unwrap_or(0.0), j: j.unwrap_or(0.0) }),
    }
}
