//! The meter: a file's bytes in, its duty out.

use std::collections::VecDeque;
use std::fmt;
use std::io;
use std::ops::ControlFlow;
use std::sync::mpsc;
use std::thread;

use gcode::{Line, Reader, Refused, Sink};

use crate::clock::Clock;
use crate::duty::Duty;
use crate::event::{Batch, Event, Work};
use crate::machine::{Corner, Machine};
use crate::program::{End, Program};
use crate::report::Report;
use crate::tally::Tally;
use crate::wear::WearMaps;

/// How a file is metered.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// The rule by which corners limit speed.
    pub corner: Corner,
    /// Where the print stopped, if it did not end by itself.
    pub stop: Option<Stop>,
    /// Width of the wear maps' bins, mm; above 0.
    pub bin: f64,
    /// Whether to plan the moves; without, all times are 0 and metering is faster.
    pub timed: bool,
}

impl Default for Options {
    fn default() -> Options {
        Options { corner: Corner::Jerk, stop: None, bin: 10.0, timed: true }
    }
}

/// Where a print stopped before its program was over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stop {
    /// After this line, counted from 1.
    Line(u64),
    /// After the last line that ends within so many bytes.
    Byte(u64),
    /// After this layer, counted from 1: before the move that begins the next. A layer begins with the first extruding
    /// move, with XY motion, that ends at a higher Z than the last extruding move did.
    Layer(u32),
    /// After so many seconds of the program: before the first line that is not over by then. Needs [`Options::timed`].
    Seconds(f64),
}

impl Stop {
    /// The stop at a share, 0 to 1, of a file's bytes.
    pub fn byte_share(share: f64, bytes: u64) -> Stop {
        Stop::Byte((share.clamp(0.0, 1.0) * bytes as f64) as u64)
    }
}

/// All that the meter says of a file.
#[derive(Clone, Debug)]
pub struct Metered {
    /// What the run asked of this machine. Mass is left at 0: it needs the material's density.
    pub duty: Duty,
    /// Counts, lengths and times by fixed conventions.
    pub report: Report,
    /// Where the axes' travel fell.
    pub wear: WearMaps,
    /// Layers begun, as [`Stop::Layer`] counts them.
    pub layers: u32,
    /// Where a [`Stop`] took effect; `None` if the program was over before.
    pub stopped: Option<Stopped>,
}

/// Where a stop took effect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stopped {
    /// The first line that was not carried out.
    pub line: u64,
    /// Where that line begins, in bytes.
    pub byte: u64,
}

/// Why there is nothing to meter.
#[derive(Debug)]
pub enum MeterError {
    /// The file has no bytes.
    Empty,
    /// It is not text.
    NotGcode {
        /// The line at which that was clear.
        line: u64,
    },
    /// It has no commands, only comments or blank lines.
    NoCommands,
    /// It has commands, but none that moves anything or takes time. What was read is in the report.
    NothingToMeter(Box<Report>),
    /// It could not be read.
    Io(io::Error),
}

impl fmt::Display for MeterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            MeterError::Empty => Refused::Empty.fmt(f),
            MeterError::NotGcode { line } => Refused::NotGcode { line: *line }.fmt(f),
            MeterError::NoCommands => Refused::NoCommands.fmt(f),
            MeterError::NothingToMeter(report) => {
                write!(f, "nothing to meter: none of the file's {} lines moves anything or takes time", report.lines)
            }
            MeterError::Io(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for MeterError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            MeterError::Io(error) => Some(error),
            _ => None,
        }
    }
}

impl From<Refused> for MeterError {
    fn from(refused: Refused) -> MeterError {
        match refused {
            Refused::Empty => MeterError::Empty,
            Refused::NotGcode { line } => MeterError::NotGcode { line },
            Refused::NoCommands => MeterError::NoCommands,
        }
    }
}

impl From<io::Error> for MeterError {
    fn from(error: io::Error) -> MeterError {
        MeterError::Io(error)
    }
}

/// Meters a file that arrives in pieces of any size, in memory that does not depend on its length.
///
/// # Example
/// ```
/// use motion::{Kinematics, Machine, Meter, Options, Quantity};
///
/// let machine = Machine { kinematics: Kinematics::CoreXy, ..Machine::default() };
/// let mut meter = Meter::new(&machine, Options::default());
/// for piece in ["G1 X100 F60", "00\nG1 X0\n"] {
///     meter.push(piece.as_bytes())?;
/// }
/// let metered = meter.finish()?;
/// assert_eq!(metered.report.travel_mm.x, 200.0);
/// assert_eq!(metered.report.reversals.x, 1);
/// assert_eq!(metered.duty.total()[Quantity::TravelX], 0.2);
/// # Ok::<(), motion::MeterError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Meter {
    core: Core,
    /// For a stop after some seconds: what is needed to go back to a line whose time turns out to be too late.
    rewind: Option<Rewind>,
    over: bool,
}

/// The part of the meter that each piece changes.
#[derive(Clone, Debug)]
struct Core {
    reader: Reader,
    program: Program,
    tally: Tally,
}

/// The states before the pieces whose lines may have no time yet, each with its piece.
#[derive(Clone, Debug, Default)]
struct Rewind(VecDeque<(Core, Vec<u8>)>);

/// A piece that [`Rewind`] keeps, in bytes.
const REWIND_PIECE: usize = 1 << 16;

/// How many moves are worked on at a time: what fits into the nearest cache.
const BATCH: usize = 256;

/// The reader's lines go to the program, and its batches to who works on them.
struct Carry<'a, W>(&'a mut Program, &'a mut W);

impl<W: Work> Sink for Carry<'_, W> {
    #[inline(always)]
    fn line(&mut self, line: Line<'_>) -> ControlFlow<()> {
        if self.0.batch.is_full() {
            self.1.take(&mut self.0.batch);
        }
        self.0.line(line)
    }
}

impl Meter {
    /// A meter at the start of a file.
    ///
    /// # Panics
    /// If the bins' width is not above 0.
    pub fn new(machine: &Machine, options: Options) -> Meter {
        let timed_stop = matches!(options.stop, Some(Stop::Seconds(_)));
        Meter { core: Core::new(machine, options, BATCH), rewind: timed_stop.then(Rewind::default), over: false }
    }

    /// Meters the next piece. Once a stop has taken effect, further pieces are ignored ([`Meter::is_over`]).
    ///
    /// # Errors
    /// The file is not G-code.
    pub fn push(&mut self, bytes: &[u8]) -> Result<(), MeterError> {
        if self.rewind.is_none() {
            if !self.over {
                self.over = self.core.push(bytes)?.is_break();
            }
            return Ok(());
        }
        for piece in bytes.chunks(REWIND_PIECE) {
            if !self.over {
                self.push_rewindable(piece)?;
            }
        }
        Ok(())
    }

    /// Whether a stop has taken effect, so that the rest of the file does not matter.
    pub fn is_over(&self) -> bool {
        self.over
    }

    /// Ends the file and adds up.
    ///
    /// # Errors
    /// The file is empty, not G-code, or holds nothing to meter.
    pub fn finish(mut self) -> Result<Metered, MeterError> {
        if !self.over {
            self.keep_for_rewind(&[]);
            let ended = self.core.end_of_file();
            self.unless_stopped_before(ended)?;
        }
        self.core.finish()
    }

    fn push_rewindable(&mut self, piece: &[u8]) -> Result<(), MeterError> {
        self.keep_for_rewind(piece);
        match self.core.push(piece) {
            Ok(flow) => {
                self.over = flow.is_break();
                self.go_back_if_late()
            }
            Err(refused) => self.unless_stopped_before(Err(refused)),
        }
    }

    /// Looks, where nothing more is read, whether the stop lies before: then what `came` of the rest does not matter, however far the
    /// file was read ahead.
    fn unless_stopped_before(&mut self, came: Result<(), MeterError>) -> Result<(), MeterError> {
        self.core.program.batch.tell(Event::Stop);
        self.go_back_if_late()?;
        if self.over { Ok(()) } else { came }
    }

    /// Keeps the state before `piece`, and drops states that lie before every line without a time.
    fn keep_for_rewind(&mut self, piece: &[u8]) {
        let Some(Rewind(kept)) = &mut self.rewind else { return };
        kept.push_back((self.core.clone(), piece.to_vec()));
        let lines = self.core.reader.read().lines;
        let waiting = self.core.tally.clock.as_ref().and_then(Clock::oldest_waiting_line).unwrap_or(lines + 1);
        while kept.get(1).is_some_and(|(core, _)| core.reader.read().lines < waiting) {
            kept.pop_front();
        }
    }

    /// If a line turned out to end too late, meters again from a state before it, and stops before it.
    fn go_back_if_late(&mut self) -> Result<(), MeterError> {
        let Some(Rewind(kept)) = &mut self.rewind else { return Ok(()) };
        self.core.work_off();
        let Some(line) = self.core.tally.clock.as_ref().and_then(Clock::unfinished_line) else { return Ok(()) };
        let from = kept.partition_point(|(core, _)| core.reader.read().lines < line).saturating_sub(1);
        let mut pieces = std::mem::take(kept).into_iter().skip(from).peekable();
        if let Some((core, _)) = pieces.peek() {
            self.core = core.clone();
        }
        self.core.program.end.line = line - 1;
        self.over = true;
        for (_, piece) in pieces {
            if self.core.push(&piece)?.is_break() {
                return Ok(());
            }
        }
        self.core.end_of_file()
    }
}

impl Core {
    /// # Panics
    /// If the bins' width is not above 0.
    fn new(machine: &Machine, options: Options, batch: usize) -> Core {
        assert!(0.0 < options.bin && options.bin < f64::INFINITY, "a bin has a width above 0");
        let mut end = End { line: u64::MAX, byte: u64::MAX, layer: u32::MAX };
        let mut until = f64::INFINITY;
        match options.stop {
            None => {}
            Some(Stop::Line(line)) => end.line = line,
            Some(Stop::Byte(byte)) => end.byte = byte,
            Some(Stop::Layer(layer)) => end.layer = layer,
            Some(Stop::Seconds(seconds)) => until = seconds,
        }
        let clock = options.timed.then(|| Clock::new(machine, options.corner, until));
        Core {
            reader: Reader::new(),
            program: Program::new(machine, end, Batch::new(batch)),
            tally: Tally::new(machine, options.bin, clock),
        }
    }

    fn push(&mut self, bytes: &[u8]) -> Result<ControlFlow<()>, MeterError> {
        Ok(self.reader.push(bytes, &mut Carry(&mut self.program, &mut self.tally))?)
    }

    /// Works on what the program has not handed on yet.
    fn work_off(&mut self) {
        self.tally.take(&mut self.program.batch);
    }

    fn end_of_file(&mut self) -> Result<(), MeterError> {
        let read = self.reader.finish(&mut Carry(&mut self.program, &mut self.tally))?;
        self.program.report.ends_mid_line = read.ends_mid_line;
        Ok(())
    }

    fn finish(mut self) -> Result<Metered, MeterError> {
        self.work_off();
        let Core { reader, program, mut tally } = self;
        let (tools, clocked) = tally.finish();
        let mut report = program.report;
        [report.g0, report.g1, report.g2, report.g3] = program.carried_out;
        report.motion_commands = program.carried_out.iter().sum();
        tally.report(&mut report);
        let read = reader.read();
        (report.lines, report.bytes) = program.ended.map_or((read.lines, read.bytes), |(line, byte)| (line - 1, byte));
        report.planned_short = clocked.forced;
        report.time = clocked.times;
        let idle = report.blocks + report.toolchanges == 0;
        if idle && report.dwell_s == 0.0 && program.ended.is_none() {
            return Err(MeterError::NothingToMeter(Box::new(report)));
        }
        let mut duty = Duty { tools };
        for (tool, amounts) in &program.counted {
            duty.tools.entry(*tool).or_default().add(amounts);
        }
        duty.tools.retain(|_, amounts| amounts.iter().next().is_some());
        Ok(Metered {
            duty,
            report,
            wear: tally.wear,
            layers: program.layers,
            stopped: program.ended.map(|(line, byte)| Stopped { line, byte }),
        })
    }
}

/// The size of the pieces in which [`meter_reader`] reads, bytes.
const PIECE: usize = 1 << 16;

/// Meters all that `reader` gives.
///
/// # Errors
/// As [`Meter::finish`], or reading fails.
pub fn meter_reader(reader: impl io::Read, machine: &Machine, options: Options) -> Result<Metered, MeterError> {
    let mut meter = Meter::new(machine, options);
    pieces(reader, |piece| {
        meter.push(piece)?;
        Ok(!meter.is_over())
    })?;
    meter.finish()
}

/// As [`meter_reader`], but reads on this thread and adds up on another, with the same result.
///
/// A stop by time must go back and forth, and is left to one thread.
///
/// # Errors
/// As [`meter_reader`].
pub fn meter_reader_on_two_cores(
    reader: impl io::Read,
    machine: &Machine,
    options: Options,
) -> Result<Metered, MeterError> {
    if matches!(options.stop, Some(Stop::Seconds(_))) {
        return meter_reader(reader, machine, options);
    }
    let Core { reader: lines, program, mut tally } = Core::new(machine, options, SENT_BATCH);
    thread::scope(|scope| {
        let (full, to_do) = mpsc::sync_channel::<Batch>(WAITING_BATCHES);
        let (done, empty) = mpsc::channel();
        let worker = scope.spawn(move || {
            for mut batch in to_do {
                tally.take(&mut batch);
                // The other end is gone once the file is over.
                let _ = done.send(batch);
            }
            tally
        });
        let read = read_lines(reader, lines, program, Sender { full, empty });
        match worker.join() {
            Ok(tally) => read.and_then(|(reader, program)| Core { reader, program, tally }.finish()),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

/// How many moves are sent to the other thread at a time.
const SENT_BATCH: usize = 2048;
/// How many batches may wait for the other thread.
const WAITING_BATCHES: usize = 4;

/// Sends batches to another thread, and gets them back empty.
struct Sender {
    full: mpsc::SyncSender<Batch>,
    empty: mpsc::Receiver<Batch>,
}

impl Work for Sender {
    fn take(&mut self, batch: &mut Batch) {
        let next = self.empty.try_recv().unwrap_or_else(|_| Batch::new(SENT_BATCH));
        // Sending fails only if the other thread panicked, which joining it tells.
        let _ = self.full.send(std::mem::replace(batch, next));
    }
}

/// Reads all lines; what is left of the last batch is in the program.
fn read_lines(
    reader: impl io::Read,
    mut lines: Reader,
    mut program: Program,
    mut sender: Sender,
) -> Result<(Reader, Program), MeterError> {
    let mut over = false;
    pieces(reader, |piece| {
        over = lines.push(piece, &mut Carry(&mut program, &mut sender))?.is_break();
        Ok(!over)
    })?;
    if !over {
        program.report.ends_mid_line = lines.finish(&mut Carry(&mut program, &mut sender))?.ends_mid_line;
    }
    Ok((lines, program))
}

/// Hands `each` the pieces that `reader` gives, until that returns false.
fn pieces(
    mut reader: impl io::Read,
    mut each: impl FnMut(&[u8]) -> Result<bool, MeterError>,
) -> Result<(), MeterError> {
    let mut piece = vec![0; PIECE];
    loop {
        match reader.read(&mut piece) {
            Ok(0) => return Ok(()),
            Ok(length) => {
                if !each(&piece[..length])? {
                    return Ok(());
                }
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error.into()),
        }
    }
}

/// Meters a file up to a share, 0 to 1, of its time. The file is read twice, first for its whole time; `open` opens it.
///
/// # Errors
/// As [`meter_reader`].
pub fn meter_to_time_share<R: io::Read>(
    mut open: impl FnMut() -> io::Result<R>,
    machine: &Machine,
    options: Options,
    share: f64,
) -> Result<Metered, MeterError> {
    let timed = Options { timed: true, stop: None, ..options };
    let whole = meter_reader_on_two_cores(open()?, machine, timed)?;
    let stop = Stop::Seconds(share.clamp(0.0, 1.0) * whole.report.time.total_s);
    meter_reader(open()?, machine, Options { stop: Some(stop), ..timed })
}
