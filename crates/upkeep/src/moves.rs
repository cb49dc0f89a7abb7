//! Programs for service: moves that a machine makes for its keeper, as G-code.
//!
//! All go slowly, stay well inside the travel, begin with the heaters off and home first. None lets go of the motors at its
//! end: a gantry or effector without current may come down. Words as in RS-274; nothing beyond what the meter reads.

use std::fmt;

use motion::{Kinematics, Tool};

use crate::Build;
use crate::build::{Axis, SignalWord};

/// How far every move stays inside the travel, mm.
pub const MARGIN_MM: f64 = 5.0;

/// The fastest that X and Y move, mm/s; half as fast as a hand moves. Judgement, no source.
pub const XY_SPEED_MM_S: f64 = 20.0;

/// The fastest that Z moves, mm/s. Judgement, no source.
pub const Z_SPEED_MM_S: f64 = 5.0;

/// How long the nozzle is held hot for cleaning, s.
const HOT_S: f64 = 600.0;

/// How often the screws and belts are run from end to end.
const PASSES: usize = 5;

/// How often an axis is swept there and back to feel for rough spots.
const SWEEPS: usize = 2;

/// A program for service.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Move {
    /// Carries fresh grease along the screws.
    SpreadGrease,
    /// Moves an axis over its whole length, so that rough spots can be felt and heard.
    Sweep(Axis),
    /// Runs the belts over their whole length.
    RunBelts,
    /// Heats the nozzle for cleaning, holds it, and switches it off.
    WarmUp,
}

/// A move that this machine cannot make, and why.
#[derive(Clone, Debug, PartialEq)]
pub enum MoveError {
    /// No screw moves its Z.
    NoScrews {
        /// The build's name.
        build: String,
    },
    /// Its travel leaves nothing inside the margins.
    TooShort {
        /// The axis.
        axis: Axis,
        /// Its travel, mm.
        travel: f64,
    },
}

impl fmt::Display for MoveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            MoveError::NoScrews { build } => {
                write!(
                    f,
                    "no screw moves Z on \"{build}\", so there is no grease to spread (its build has no screw_lead_mm)"
                )
            }
            MoveError::TooShort { axis, travel } => {
                write!(f, "{axis} travels {travel} mm, too little for moves that stay {MARGIN_MM} mm from both ends")
            }
        }
    }
}

impl std::error::Error for MoveError {}

impl Move {
    /// Every move.
    pub const ALL: [Move; 6] = [
        Move::SpreadGrease,
        Move::Sweep(Axis::X),
        Move::Sweep(Axis::Y),
        Move::Sweep(Axis::Z),
        Move::RunBelts,
        Move::WarmUp,
    ];

    /// The word by which it is asked for.
    pub const fn name(self) -> &'static str {
        match self {
            Move::SpreadGrease => "spread grease",
            Move::Sweep(Axis::X) => "sweep x",
            Move::Sweep(Axis::Y) => "sweep y",
            Move::Sweep(Axis::Z) => "sweep z",
            Move::RunBelts => "run belts",
            Move::WarmUp => "warm up",
        }
    }

    /// What it is for, in one sentence.
    pub const fn about(self) -> &'static str {
        match self {
            Move::SpreadGrease => "Runs Z from end to end to carry fresh grease along the screws.",
            Move::Sweep(_) => "Moves one axis slowly over its whole length: listen and look for rough spots.",
            Move::RunBelts => "Runs the belts slowly over their whole length.",
            Move::WarmUp => {
                "Heats the nozzle, holds it in the middle for ten minutes of cleaning, and switches it off."
            }
        }
    }

    /// What can hurt, and how to avoid it, worst first; they stand at the head of the program too.
    pub const fn cautions(self) -> &'static [(SignalWord, &'static str)] {
        const READ: (SignalWord, &str) =
            (SignalWord::Notice, "Read the maker's manual first; it stands above this program.");
        const CLEAR: (SignalWord, &str) = (
            SignalWord::Warning,
            "The machine moves by itself and can crush fingers. Hands, tools and plate clips clear, and any door shut, while it moves.",
        );
        match self {
            Move::WarmUp => &[
                (
                    SignalWord::Warning,
                    "The nozzle burns at once. Reach in only once the machine stands still, with heat-proof gloves and eye protection on.",
                ),
                (
                    SignalWord::Warning,
                    "No solvent, oil or spray near a hot nozzle: their vapour burns. Stay beside the machine.",
                ),
                CLEAR,
                READ,
            ],
            _ => &[
                CLEAR,
                (SignalWord::Caution, "Switch off at once if it grinds, skips or meets a stop."),
                (SignalWord::Notice, "The plate is empty and no spool pulls on the head."),
                READ,
            ],
        }
    }
}

/// The program for a move on a machine of this build.
///
/// # Errors
/// If the machine has nothing to move, or no room to move it.
///
/// # Example
/// ```
/// use upkeep::moves::{Move, program};
/// let (file, text) = upkeep::build::shipped()[0];
/// let build = upkeep::Build::parse(file, text).expect("a shipped build is valid");
/// let text = program(&build, Move::SpreadGrease).expect("it has screws");
/// assert!(text.contains("G28") && text.contains("M104 S0"));
/// ```
pub fn program(build: &Build, wanted: Move) -> Result<String, MoveError> {
    let field = Field::of(build)?;
    if wanted == Move::SpreadGrease && build.machine.drive.screw_lead.is_none() {
        return Err(MoveError::NoScrews { build: build.name.clone() });
    }
    let mut pen = Pen { build, field, text: String::new() };
    pen.head(wanted);
    match wanted {
        Move::SpreadGrease => pen.run(Axis::Z, PASSES),
        Move::Sweep(axis) => pen.run(axis, SWEEPS),
        Move::RunBelts => pen.belts(),
        Move::WarmUp => pen.warm_up(),
    }
    pen.line("M400", "wait until the last move is over; the motors stay on, for Z may come down without them");
    Ok(pen.text)
}

/// Where moves may go, mm: the travel less the margins, lowest and highest for each axis.
#[derive(Clone, Copy)]
struct Field([[f64; 2]; 3]);

impl Field {
    fn of(build: &Build) -> Result<Field, MoveError> {
        let is_delta = matches!(build.machine.kinematics, Kinematics::Delta { .. });
        let mut field = [[0.0; 2]; 3];
        for (axis, ends) in Axis::ALL.into_iter().zip(&mut field) {
            let travel = build.travel[axis as usize];
            if travel <= 2.0 * MARGIN_MM {
                return Err(MoveError::TooShort { axis, travel });
            }
            // A delta's X and Y are counted from the middle of its round plate.
            let from = if is_delta && axis != Axis::Z { -travel / 2.0 } else { 0.0 };
            *ends = [from + MARGIN_MM, from + travel - MARGIN_MM];
        }
        Ok(Field(field))
    }

    fn ends(&self, axis: Axis) -> [f64; 2] {
        self.0[axis as usize]
    }

    fn middle(&self, axis: Axis) -> f64 {
        let [low, high] = self.ends(axis);
        f64::midpoint(low, high)
    }
}

/// The program as it is written.
struct Pen<'a> {
    build: &'a Build,
    field: Field,
    text: String,
}

/// The moves that a machine of this build can make.
pub fn possible(build: &Build) -> Vec<Move> {
    Move::ALL.into_iter().filter(|wanted| program(build, *wanted).is_ok()).collect()
}

impl Pen<'_> {
    fn comment(&mut self, text: &str) {
        // A line end inside the text would turn the rest of it into a command.
        let one_line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        self.text.extend(["; ", &one_line, "\n"]);
    }

    fn line(&mut self, command: &str, why: &str) {
        self.text.extend([command, " ; ", why, "\n"]);
    }

    /// What stands before every move: cautions, heaters off, units, homing, and the middle of the travel.
    fn head(&mut self, wanted: Move) {
        self.comment(&format!("{} - {}", wanted.name(), self.build.name));
        self.comment(wanted.about());
        for (word, text) in wanted.cautions() {
            self.comment(&format!("{}: {text}", word.name().to_uppercase()));
        }
        self.heaters_off();
        self.line("G21", "millimetres");
        self.line("G90", "positions, not distances");
        self.line("G28", "home all axes");
        let [low, high] = self.field.ends(Axis::Z);
        let clear = self.field.middle(Axis::Z).clamp(low, high);
        self.go(&[(Axis::Z, clear)]);
        self.go(&[(Axis::X, self.field.middle(Axis::X)), (Axis::Y, self.field.middle(Axis::Y))]);
    }

    fn heaters_off(&mut self) {
        for tool in nozzle_tools(self.build) {
            match tool {
                Some(tool) => self.line(&format!("M104 T{tool} S0"), "nozzle heater off"),
                None => self.line("M104 S0", "nozzle heater off"),
            }
        }
        self.line("M140 S0", "bed heater off");
        if self.build.positions.iter().any(|position| position.kind == "chamber heater, mains") {
            self.line("M141 S0", "chamber heater off");
        }
    }

    /// Moves straight to a place, no faster than the slowest axis may.
    fn go(&mut self, to: &[(Axis, f64)]) {
        let speed = to.iter().map(|(axis, _)| self.speed(*axis)).fold(f64::INFINITY, f64::min);
        let feed = format!("F{:.0}", (speed * 60.0).floor());
        let words: Vec<String> = to.iter().map(|(axis, at)| format!("{}{at:.2}", axis.name().to_uppercase())).collect();
        // The feed is for the path; no axis is faster than the whole.
        self.text.extend(["G1 ", &words.join(" "), " ", &feed, "\n"]);
    }

    /// How fast an axis moves here, mm/s.
    fn speed(&self, axis: Axis) -> f64 {
        let most = self.build.machine.limits.max_speed;
        match axis {
            Axis::X => XY_SPEED_MM_S.min(most.x),
            Axis::Y => XY_SPEED_MM_S.min(most.y),
            Axis::Z => Z_SPEED_MM_S.min(most.z),
        }
    }

    /// Moves an axis to one end and the other, so many times.
    fn run(&mut self, axis: Axis, times: usize) {
        let [low, high] = self.field.ends(axis);
        for _ in 0..times {
            self.go(&[(axis, low)]);
            self.go(&[(axis, high)]);
        }
    }

    /// Runs every belt over its whole length: X and Y alone, their diagonals, and Z where belts move it.
    fn belts(&mut self) {
        let is_delta = matches!(self.build.machine.kinematics, Kinematics::Delta { .. });
        if is_delta {
            self.run(Axis::Z, PASSES);
            self.go(&[(Axis::Z, self.field.middle(Axis::Z))]);
        }
        // The corners of a square inside a round plate lie on its rim.
        let inside = if is_delta { std::f64::consts::FRAC_1_SQRT_2 } else { 1.0 };
        let [x, y] = [Axis::X, Axis::Y].map(|axis| {
            let middle = self.field.middle(axis);
            // Towards the middle, so that rounding to 0.01 mm does not lead beyond the rim.
            self.field.ends(axis).map(|end| ((end - middle) * inside * 100.0).trunc() / 100.0 + middle)
        });
        let corners = [
            (x[0], y[0]),
            (x[1], y[0]),
            (x[1], y[1]),
            (x[0], y[1]),
            (x[0], y[0]),
            (x[1], y[1]),
            (x[1], y[0]),
            (x[0], y[1]),
        ];
        for _ in 0..PASSES {
            for (x, y) in corners {
                self.go(&[(Axis::X, x), (Axis::Y, y)]);
            }
        }
    }

    /// Heats, holds, and ends with the heaters off.
    fn warm_up(&mut self) {
        let target = self.build.heat.nozzle_c;
        let tool = nozzle_tools(self.build).into_iter().flatten().next();
        let named = tool.map_or(String::new(), |tool| format!(" T{tool}"));
        self.line("M107", "part fan off");
        self.line(&format!("M109{named} S{target:.0}"), "heat the nozzle and wait: HOT FROM HERE ON");
        self.line(
            &format!("G4 S{HOT_S:.0}"),
            "it stands still: clean now, gloved; the heater goes off by itself after this",
        );
        self.heaters_off();
        self.comment("The nozzle stays hot for minutes. Leave the machine on while it cools, and do not touch it.");
    }
}

/// The tools that have a nozzle of their own; `None` for the only one of a machine whose build names no tool.
fn nozzle_tools(build: &Build) -> Vec<Option<Tool>> {
    let nozzles = build.positions.iter().filter(|position| position.kind.ends_with("nozzle"));
    let mut tools: Vec<Option<Tool>> = nozzles.map(|position| position.tool).collect();
    tools.sort_unstable();
    tools.dedup();
    if tools.is_empty() { vec![None] } else { tools }
}
