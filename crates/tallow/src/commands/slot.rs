//! The time that a run takes on its machine: it must be over, and the machine must have been free.

use std::fmt;

use jiff::{SignedDuration, Timestamp, ZonedDateTime};
use ledger::{Filter, Kind, Ledger};
use motion::Quantity;
use upkeep::entry::Run;
use upkeep::{EntryId, Event, Usage};

use crate::trouble::Trouble;
use crate::when;

/// The share by which a run may reach into another, or into the future: planned times are not the clock's.
const SLACK: f64 = 0.1;

/// With how many of the runs before it a new one is compared.
pub(crate) const RUNS_TO_COMPARE: u32 = 50;

/// No run is taken to last longer, s: a thousand years, which every instant can bear.
const LONGEST: f64 = 1000.0 * 365.25 * 86_400.0;

/// How long the use of a run says that it took.
pub(crate) fn duration(usage: &Usage) -> SignedDuration {
    SignedDuration::from_secs_f64(usage.amount(Quantity::Time).clamp(0.0, LONGEST))
}

/// By what a run is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum By {
    /// An entry.
    Entry(EntryId),
    /// A line of a table that is being imported.
    Line(u64),
}

impl fmt::Display for By {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            By::Entry(entry) => write!(f, "entry {entry}"),
            By::Line(line) => write!(f, "line {line}"),
        }
    }
}

/// A run's place in time.
pub(crate) struct Slot<'a> {
    pub(crate) machine: &'a str,
    pub(crate) label: &'a str,
    pub(crate) program: Option<&'a str>,
    pub(crate) start: Timestamp,
    pub(crate) duration: SignedDuration,
    /// The entry that it corrects, which is not in its way.
    pub(crate) corrects: Option<EntryId>,
}

impl Slot<'_> {
    /// Refuses a run that would end in the future, or while the machine was busy with another one: of the same program,
    /// most likely it is booked already; of another, one of the two times is wrong.
    ///
    /// # Errors
    /// Such a run.
    pub(crate) async fn refuse_if_taken(&self, ledger: &Ledger, now: &ZonedDateTime) -> Result<(), Trouble> {
        let listed = ledger.entries(&self.before_its_end(), RUNS_TO_COMPARE).await?;
        let runs = listed.iter().filter(|listed| listed.replaced_by.is_none()).filter_map(|listed| {
            let Event::Run(run) = &listed.entry.event else { return None };
            Some((By::Entry(listed.entry.id), listed.entry.at, run))
        });
        self.refuse_if_among(runs, now)
    }

    /// As [`Slot::refuse_if_taken`], where the runs that count are known.
    ///
    /// # Errors
    /// Such a run.
    pub(crate) fn refuse_if_among<'a>(
        &self,
        runs: impl Iterator<Item = (By, Timestamp, &'a Run)>,
        now: &ZonedDateTime,
    ) -> Result<(), Trouble> {
        self.refuse_if_not_over(now)?;
        for (by, start, run) in runs {
            if matches!(by, By::Entry(id) if Some(id) == self.corrects) {
                continue;
            }
            let (label, program) = (run.label.as_str(), run.program.as_deref());
            let other = Slot { label, program, start, duration: duration(&run.usage), ..*self };
            if self.collides_with(&other) {
                return Err(self.taken_by(&other, by, now));
            }
        }
        Ok(())
    }

    /// What finds the runs that began before this one's end, the latest first.
    pub(crate) fn before_its_end(&self) -> Filter {
        Filter {
            machine: Some(self.machine.to_owned()),
            kind: Some(Kind::Run),
            before: Some((end(self.start, self.duration), EntryId(i64::MAX))),
            ..Filter::default()
        }
    }

    fn refuse_if_not_over(&self, now: &ZonedDateTime) -> Result<(), Trouble> {
        let late = end(self.start, self.duration).duration_since(now.timestamp()).as_secs_f64();
        if late <= SLACK * self.duration.as_secs_f64() {
            return Ok(());
        }
        let spoken = |at: Timestamp| when::spoken(&at.to_zoned_datetime(now.time_zone().clone()));
        Err(Trouble::refused(format!(
            "{} would end {}, which lies in the future; now is {}",
            self.label,
            spoken(end(self.start, self.duration)),
            when::spoken(now)
        ))
        .help("book it when it is over; if it stopped early, say where: --stop \"40 %\"")
        .help("what is still to come: tallow queue")
        .until_it_is_over())
    }

    fn is_same_program(&self, other: &Slot<'_>) -> bool {
        self.label == other.label || (self.program.is_some() && self.program == other.program)
    }

    fn collides_with(&self, other: &Slot<'_>) -> bool {
        let shorter = self.duration.min(other.duration).as_secs_f64();
        let slack = if self.is_same_program(other) { 0.0 } else { SLACK * shorter };
        let (end, start) =
            (end(self.start, self.duration).min(end(other.start, other.duration)), self.start.max(other.start));
        slack < end.duration_since(start).as_secs_f64()
    }

    fn taken_by(&self, other: &Slot<'_>, by: By, now: &ZonedDateTime) -> Trouble {
        let zoned = |at: Timestamp| at.to_zoned_datetime(now.time_zone().clone());
        let over = zoned(end(other.start, other.duration));
        let busy = format!("from {} to {}, as {by}", when::spoken(&zoned(other.start)), when::spoken(&over));
        let what = match self.is_same_program(other) {
            true => format!("{} is already booked on {}, {busy}", other.label, self.machine),
            false => format!("{} was busy with {} {busy}, and runs one program at a time", self.machine, other.label),
        };
        let By::Entry(entry) = by else { return Trouble::refused(what) };
        Trouble::refused(what)
            .help(format!(
                "nothing was booked; if this is another run, say when it started: --when \"{}\" or later",
                over.strftime("%Y-%m-%d %H:%M")
            ))
            .help(format!("if that entry is wrong: tallow correct {entry} --withdraw"))
    }
}

/// When it is over.
pub(crate) fn end(start: Timestamp, duration: SignedDuration) -> Timestamp {
    start.checked_add(duration).unwrap_or(Timestamp::MAX)
}
