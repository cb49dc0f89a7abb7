//! What is printed for the people who do the work: the sheet of a visit, a keeper's sheet for a day, and the bench list of
//! a round; each as a page for paper and as text for a terminal.
//!
//! Tasks come here as builds state them, whole: their cautions, gear and supplies are taken from there and cannot be left
//! out. [`VisitSheet::check`] refuses what must not be printed, and nothing is printed without it.

mod bench;
mod carry;
mod day;
mod html;
mod laid_out;
mod measure;
mod page;
mod text;

use jiff::civil::Date;
use upkeep::build::{State, Task};
use upkeep::visit::Sinks;

pub(crate) use bench::bench_list;
pub(crate) use carry::{Carry, Spare};
pub(crate) use day::{DaySheet, day_sheets};
pub(crate) use html::{html, style};
pub(crate) use laid_out::head_words;
pub(crate) use page::Paper;
pub(crate) use text::text;

/// What stands before power comes on.
const UNLESS: &str = "Unless a finding keeps it off (then leave it unplugged, mark it, note it)";

/// Stands on everything that is printed.
pub(crate) const ABOVE: &str = "The maker's manual stands above this sheet.";

/// All that is handed to a keeper for one visit.
#[derive(Clone, Debug)]
pub(crate) struct VisitSheet {
    /// The shop's name.
    pub(crate) shop: String,
    /// The machine's name.
    pub(crate) machine: String,
    /// The name of the machine's build.
    pub(crate) build: String,
    /// The day.
    pub(crate) day: Date,
    /// Who does it.
    pub(crate) keeper: String,
    /// The visit's number in the records; `None` while nobody has been told of it.
    pub(crate) number: Option<i64>,
    /// What a reader of the square code on the sheet gets: an address, or a few words. `None` prints none.
    pub(crate) code: Option<String>,
    /// Why the machine must not run before it is put right.
    pub(crate) not_to_be_run: Option<String>,
    /// Whether the visit begins on a hot machine, because a print has just ended.
    pub(crate) starts_hot: bool,
    /// What is done, one after another.
    pub(crate) stages: Vec<Stage>,
    /// Parts to take along.
    pub(crate) spares: Vec<Spare>,
    /// What the stores lack for it, in words: `NLGI 2 lithium grease: 1 g too little, order by 26 Nov`.
    pub(crate) missing: Vec<String>,
    /// How long the whole visit takes, set-up included, min.
    pub(crate) minutes: f64,
    /// How much of that is set-up: powering down, opening, homing, a test move; min.
    pub(crate) setup_minutes: f64,
}

/// One thing after another.
#[derive(Clone, Debug)]
pub(crate) enum Stage {
    /// The machine is brought into another condition.
    Change(Change),
    /// A task is done.
    Task(Box<TaskStage>),
}

/// Another condition of the machine.
#[derive(Clone, Debug)]
pub(crate) struct Change {
    /// Which.
    pub(crate) what: What,
    /// How long it takes, min; nought for what set-up includes.
    pub(crate) minutes: f64,
}

/// What is done to the machine between tasks.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum What {
    /// Switch off and pull the plug.
    SwitchOff {
        /// What comes down by itself without current, and is lowered before.
        sinks: Option<Sinks>,
        /// What the tasks that follow ask to be done before, each once.
        before: Vec<String>,
    },
    /// Plug in and switch on, after taking out what held up what sinks.
    PowerOn {
        /// What came down by itself, and was supported.
        sinks: Option<Sinks>,
    },
    /// Hot work follows; each of its tasks says when to heat.
    HotWork {
        /// What its tasks ask to wear.
        gear: Vec<String>,
    },
    /// Switch off every heater that is still on.
    HeatersOff,
    /// Wait until the machine may be touched.
    CoolDown {
        /// Until nozzle and bed are at or below this, °C.
        to_c: f64,
    },
    /// Open a way of access.
    Open(String),
    /// Close it again.
    Close(String),
    /// Home the axes and try the machine.
    TestMove,
}

impl Change {
    /// How long it takes, in words; empty for nought. Hot work has the time of heating, which its tasks begin themselves.
    fn minutes_words(&self) -> String {
        match self.what {
            _ if self.minutes <= 0.0 => String::new(),
            What::HotWork { .. } => format!("heating takes {}", minutes_words(self.minutes)),
            _ => minutes_words(self.minutes),
        }
    }
}

impl What {
    /// What to do, as an order.
    pub(crate) fn words(&self) -> String {
        match self {
            What::SwitchOff { sinks, before } => {
                let before =
                    before_off(*sinks, before).into_iter().map(|order| format!("{order} Then ")).collect::<String>();
                format!("{before}MACHINE: ISOLATED. Switch off, pull the plug, keep it in sight")
            }
            What::PowerOn { sinks } => {
                let out = support_out(*sinks).map(|out| format!("{out}, ")).unwrap_or_default();
                format!("{UNLESS}: MACHINE: POWERED. Hands and tools out, {out}plug in, switch on")
            }
            What::HotWork { gear } => {
                let wear = if gear.is_empty() { String::new() } else { format!("wear {}; ", gear.join(", ")) };
                format!("MACHINE: HEATERS STILL OFF. WARNING: hot work follows; {wear}heat only where a step says so")
            }
            What::HeatersOff => "HEATERS OFF, any that is still on. The machine is hot".to_owned(),
            What::CoolDown { to_c } => {
                format!(
                    "MACHINE: COLD. Wait until nozzle and bed are at {to_c:.0} °C or below; read it, do not feel it"
                )
            }
            What::Open(access) => format!("Open: {access}"),
            What::Close(access) => format!("Close again: {access}"),
            What::TestMove => {
                format!("TEST. {UNLESS}: hands and tools out, home the axes, try the machine; heaters off")
            }
        }
    }
}

/// What is done with the power on before switching off, in order: what tasks ask for, while nothing hot can meet the foam
/// yet, then lowering what sinks.
pub(crate) fn before_off(sinks: Option<Sinks>, orders: &[String]) -> Vec<String> {
    let asked = (!orders.is_empty()).then(|| {
        let orders = orders.join("; ");
        format!("Before switching off: {orders}. Heaters off, and wait until nozzle and bed are cool to the touch.")
    });
    asked.into_iter().chain(lowered(sinks).map(str::to_owned)).collect()
}

/// What is taken out again before power comes on.
pub(crate) fn support_out(sinks: Option<Sinks>) -> Option<&'static str> {
    match sinks? {
        Sinks::Head => Some("lift the head, take the foam out, let the head down gently onto the bed"),
        Sinks::Z => Some("take the blocks out"),
    }
}

/// What is laid out for lowering what sinks.
pub(crate) fn support(sinks: Option<Sinks>) -> Option<&'static str> {
    match sinks? {
        Sinks::Head => Some("block of foam"),
        Sinks::Z => Some("firm blocks"),
    }
}

/// What is done before switching off, its caution first. Common practice, no source.
fn lowered(sinks: Option<Sinks>) -> Option<&'static str> {
    match sinks? {
        Sinks::Head => Some(
            "CAUTION: the head falls when the motors lose their current. With the power on, lower it onto a block of foam on \
             the bed, fingers clear.",
        ),
        Sinks::Z => Some(
            "CAUTION: what Z carries sinks when the motors lose their current. With the power on, lower it to its end or onto \
             firm blocks, fingers clear.",
        ),
    }
}

/// A task of the visit.
#[derive(Clone, Debug)]
pub(crate) struct TaskStage {
    /// The task as the machine's build states it.
    pub(crate) task: Task,
    /// Why it is done now: `131 % of 1 month`.
    pub(crate) why: String,
    /// What to measure and write down.
    pub(crate) readings: Vec<Blank>,
}

/// A blank for a reading.
#[derive(Clone, Debug)]
pub(crate) struct Blank {
    /// The position at which it is measured.
    pub(crate) position: String,
    /// What is measured: `tone of the x belt`.
    pub(crate) name: String,
    /// In what: `Hz`; empty for a bare number.
    pub(crate) unit: String,
    /// What is good, in words: `80 to 95 Hz`; empty where nobody says.
    pub(crate) good: String,
    /// What it was last, in words: `was 84 on 3 Nov`; empty where it was never taken.
    pub(crate) last: String,
}

impl Blank {
    /// Where and what, as it is typed when it is booked: `x belt: tone`.
    fn what(&self) -> String {
        format!("{}: {}", self.position, self.name)
    }

    /// What stands behind the place for the value: `(good: 80 to 95 Hz; was 84 on 3 Nov)`.
    fn hint(&self) -> String {
        let good = (!self.good.is_empty()).then(|| format!("good: {}", self.good));
        let last = (!self.last.is_empty()).then(|| self.last.clone());
        let words: Vec<String> = [good, last].into_iter().flatten().collect();
        if words.is_empty() { String::new() } else { format!("({})", words.join("; ")) }
    }
}

/// Why a sheet is not printed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub(crate) enum SheetError {
    /// There is nothing to print.
    #[error("there is no visit to print (plan one, or choose another day)")]
    NoVisits,
    /// A visit without tasks.
    #[error("the visit of \"{machine}\" has no task (give it one, or call it off)")]
    NoTasks {
        /// The machine.
        machine: String,
    },
    /// A task that does not say what to do.
    #[error("the task \"{task}\" has no steps (add them to the machine's build)")]
    NoSteps {
        /// The task.
        task: String,
    },
    /// A task in a condition of the machine in which it must not be done.
    #[error(
        "the task \"{task}\" needs the machine {needs}, but it is {is} at that point of the visit \
         (change the order of the stages)"
    )]
    WrongCondition {
        /// The task.
        task: String,
        /// The state that it needs.
        needs: State,
        /// What the machine is.
        is: &'static str,
    },
    /// Minutes that are no span of time.
    #[error("the visit of \"{machine}\" takes {minutes} min, of which {setup} min are set-up (both must be a time)")]
    Minutes {
        /// The machine.
        machine: String,
        /// All.
        minutes: f64,
        /// Set-up alone.
        setup: f64,
    },
    /// A square code that would not be read off paper.
    #[error("the code for \"{machine}\" holds {octets} octets, of which {most} can be read off paper (shorten it)")]
    Code {
        /// The machine.
        machine: String,
        /// Its length.
        octets: usize,
        /// What is allowed.
        most: usize,
    },
}

/// A code with more is too fine to be read at its size on the sheet: the capacity of version 5 at level M (ISO/IEC 18004,
/// table 7; from memory).
const MOST_CODE_OCTETS: usize = 84;

/// The condition of a machine in the course of a visit.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Condition {
    Isolated,
    Cold,
    Hot,
    Cooling,
}

impl Condition {
    fn words(self) -> &'static str {
        match self {
            Condition::Isolated => "isolated",
            Condition::Cold => "powered and cold",
            Condition::Hot => "hot",
            Condition::Cooling => "cooling",
        }
    }

    /// The condition after a change.
    fn after(self, what: &What) -> Condition {
        match what {
            What::SwitchOff { .. } => Condition::Isolated,
            What::PowerOn { .. } | What::CoolDown { .. } => Condition::Cold,
            What::HotWork { .. } => Condition::Hot,
            What::HeatersOff => Condition::Cooling,
            What::Open(_) | What::Close(_) | What::TestMove => self,
        }
    }

    fn allows(self, task: &Task) -> bool {
        match self {
            Condition::Isolated => task.state == State::Isolated,
            Condition::Cold => task.state == State::Cold,
            Condition::Hot => task.state == State::Hot,
            Condition::Cooling => task.while_cooling,
        }
    }
}

impl VisitSheet {
    /// The tasks in the order in which they are done.
    pub(crate) fn tasks(&self) -> impl Iterator<Item = &TaskStage> {
        self.stages.iter().filter_map(|stage| match stage {
            Stage::Task(task) => Some(&**task),
            Stage::Change(_) => None,
        })
    }

    /// What is laid out because the machine is switched off: what holds up what would sink.
    fn supports(&self) -> impl Iterator<Item = String> {
        self.stages.iter().filter_map(|stage| match stage {
            Stage::Change(Change { what: What::SwitchOff { sinks, .. }, .. }) => support(*sinks).map(str::to_owned),
            _ => None,
        })
    }

    /// Refuses a sheet that must not be handed to anybody.
    ///
    /// # Errors
    /// No task or one without steps; a task in a condition that it must not be done in (hot work on an isolated machine,
    /// cold work on a hot one); minutes that are none; a code too long to be read.
    pub(crate) fn check(&self) -> Result<(), SheetError> {
        let machine = || self.machine.clone();
        if self.tasks().next().is_none() {
            return Err(SheetError::NoTasks { machine: machine() });
        }
        let (minutes, setup) = (self.minutes, self.setup_minutes);
        if !(0.0 < minutes && minutes < f64::INFINITY && 0.0 <= setup && setup <= minutes) {
            return Err(SheetError::Minutes { machine: machine(), minutes, setup });
        }
        let octets = self.code.as_ref().map_or(0, String::len);
        if MOST_CODE_OCTETS < octets {
            return Err(SheetError::Code { machine: machine(), octets, most: MOST_CODE_OCTETS });
        }
        self.check_stages()
    }

    fn check_stages(&self) -> Result<(), SheetError> {
        let mut condition = if self.starts_hot { Condition::Hot } else { Condition::Cold };
        for stage in &self.stages {
            match stage {
                Stage::Change(change) => condition = condition.after(&change.what),
                Stage::Task(stage) => check_task(&stage.task, condition)?,
            }
        }
        Ok(())
    }
}

fn check_task(task: &Task, condition: Condition) -> Result<(), SheetError> {
    let name = || task.name.clone();
    if task.steps.is_empty() {
        return Err(SheetError::NoSteps { task: name() });
    }
    if !condition.allows(task) {
        return Err(SheetError::WrongCondition { task: name(), needs: task.state, is: condition.words() });
    }
    Ok(())
}

/// Checks visits, of which there must be one.
fn check_all(sheets: &[VisitSheet]) -> Result<(), SheetError> {
    if sheets.is_empty() {
        return Err(SheetError::NoVisits);
    }
    sheets.iter().try_for_each(VisitSheet::check)
}

/// The cautions that stand before a step, those that name a later one than there is before the last.
pub(crate) fn cautions_before(task: &Task, step: usize) -> impl Iterator<Item = &upkeep::build::Caution> {
    let last = task.steps.len().saturating_sub(1);
    task.cautions.iter().filter(move |caution| caution.before.min(last) == step)
}

/// A day as sheets write it: `Fri 27 Nov 2026`.
pub(crate) fn day_words(day: Date) -> String {
    day.strftime("%a %-d %b %Y").to_string()
}

/// Minutes in whole ones, never fewer than they are: `40 min`.
pub(crate) fn minutes_words(minutes: f64) -> String {
    format!("{} min", (minutes - 1e-6).ceil().max(0.0))
}

/// Text with a capital first.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// What set-up is, said on every visit's sheet.
pub(crate) fn time_words(sheet: &VisitSheet) -> String {
    let all = minutes_words(sheet.minutes);
    if sheet.setup_minutes <= 0.0 {
        return all;
    }
    format!("{all}, of these {} to power down, open, home and test", minutes_words(sheet.setup_minutes))
}

#[cfg(test)]
mod tests;
