//! What is told of a run, whichever way it comes.

use jiff::{Timestamp, ZonedDateTime};
use serde::{Deserialize, Serialize};

use crate::cli::{self, Outcome};
use crate::input;
use crate::stop::Point;
use crate::trouble::Trouble;
use crate::when;

/// A run as far as whoever tells of it knows it; its file comes beside it, if it does.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct Told {
    /// The machine's name.
    pub(crate) on: String,
    /// What was printed: a material for every tool, or `T0=MATERIAL` once per tool.
    pub(crate) materials: Vec<String>,
    /// The SHA-256 of the file's plain bytes, lower-case hexadecimal, where the file itself is not at hand.
    pub(crate) sha256: Option<String>,
    /// When it started.
    pub(crate) start: Option<Timestamp>,
    /// When it ended.
    pub(crate) end: Option<Timestamp>,
    /// Hours printed.
    pub(crate) hours: Option<f64>,
    /// Filament used, g.
    pub(crate) grams: Option<f64>,
    /// What to call it.
    pub(crate) label: Option<String>,
    /// Where it stopped, as [`Point::parse`] reads it.
    pub(crate) stop: Option<String>,
    /// Whether it stopped before its end; where, its length tells if `stop` does not.
    pub(crate) is_stopped: bool,
    /// Words to keep with it.
    pub(crate) note: String,
}

impl Told {
    /// What the options of a command tell of a program.
    pub(crate) fn of_program(args: &cli::Program) -> Told {
        Told {
            on: args.on.clone(),
            materials: args.materials.clone(),
            hours: args.hours,
            grams: args.grams,
            label: args.label.clone(),
            note: args.note.clone(),
            ..Told::default()
        }
    }

    /// What `tallow run` tells.
    ///
    /// # Errors
    /// A time that can't be, and what is no SHA-256.
    pub(crate) fn of_run(args: &cli::Run, now: &ZonedDateTime) -> Result<Told, Trouble> {
        let instant = |text: &Option<String>| -> Result<Option<Timestamp>, Trouble> {
            Ok(text.as_deref().map(|text| when::past_run(text, now)).transpose()?.map(|at| at.timestamp()))
        };
        Ok(Told {
            sha256: args.sha256.as_deref().map(input::read_sha256).transpose()?,
            start: instant(&args.when)?,
            end: instant(&args.ended)?,
            stop: args.stop.clone(),
            is_stopped: args.outcome == Outcome::Stopped,
            ..Told::of_program(&args.program)
        })
    }

    /// The point at which it stopped, where that was told.
    ///
    /// # Errors
    /// What is no such point.
    pub(super) fn point(&self) -> Result<Option<Point>, Trouble> {
        self.stop.as_deref().map(Point::parse).transpose()
    }

    /// How long it took, h: as told, or from its start to its end.
    ///
    /// # Errors
    /// An end that is before the start, or at the same instant where nothing else tells how long it took.
    pub(crate) fn length(&self) -> Result<Option<f64>, Trouble> {
        match (self.hours, self.start, self.end) {
            (hours, Some(start), Some(end)) if end < start || end == start && hours.is_none() => {
                Err(Trouble::refused(format!("the run ended at {end}, which is not after its start at {start}"))
                    .help("check both times"))
            }
            (Some(hours), ..) => Ok(Some(hours)),
            (None, Some(start), Some(end)) => Ok(Some(end.duration_since(start).as_secs_f64() / 3600.0)),
            _ => Ok(None),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_end_before_the_start_is_refused_whatever_else_tells_how_long_it_took() {
        let at = |text: &str| Some(text.parse().unwrap());
        let told = |hours, end| Told { hours, start: at("2026-11-24T08:00:00Z"), end: at(end), ..Told::default() };
        for hours in [None, Some(2.0)] {
            assert!(told(hours, "2026-11-24T07:00:00Z").length().is_err(), "{hours:?}");
        }
        assert!(told(None, "2026-11-24T08:00:00Z").length().is_err());
        assert_eq!(told(Some(2.0), "2026-11-24T08:00:00Z").length().unwrap(), Some(2.0));
        assert_eq!(told(None, "2026-11-24T09:30:00Z").length().unwrap(), Some(1.5));
    }
}
