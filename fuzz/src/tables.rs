//! Text that people write: builds, and tables of readings.

use life::{Family, Fit};
use signal::heat_log;
use signal::resonance::{self, TimeUnit};
use upkeep::Build;

use super::signals::{is_figure, says_something};

/// Reads a build: it can be used, or every error is told.
pub fn builds(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    match Build::parse("build.toml", &text) {
        Ok(build) => {
            assert!(build.tasks.iter().all(|task| build.task(&task.name).is_ok()));
            assert!(build.positions.iter().all(|position| build.position(&position.name).is_ok()));
        }
        Err(errors) => says_something(&errors),
    }
}

/// Reads a table as a log of temperatures, and as one of accelerations.
pub fn readings(bytes: &[u8]) {
    match heat_log::read(bytes) {
        Ok(samples) => heat(&samples),
        Err(error) => says_something(&error),
    }
    for unit in [None, Some(TimeUnit::Seconds)] {
        match resonance::read(bytes, unit) {
            Ok(log) => shake(&log),
            Err(error) => says_something(&error),
        }
    }
}

fn heat(samples: &[heat_log::HeatSample]) {
    match heat_log::heating(samples) {
        Ok(heating) => drop(heat_log::changed(&heating, &heating)),
        Err(error) => says_something(&error),
    }
    if let Err(error) = heat_log::oddities(samples, 20.0, 15.0) {
        says_something(&error);
    }
    if let Ok(rise) = heat_log::rise(samples) {
        is_figure(rise.rate_k_per_s);
    }
}

fn shake(log: &resonance::Acceleration) {
    for axis in &log.axes {
        match resonance::spectrum(axis, log.rate_hz, log.rate_hz / 16.0) {
            Ok(density) => {
                let found = resonance::resonances(&density);
                drop(resonance::changes(&found, &[]));
                found.iter().for_each(|resonance| is_figure(resonance.frequency_hz));
            }
            Err(error) => says_something(&error),
        }
    }
}

/// So many lives at most are fitted: enough for every way that a fit goes.
const FITTED: usize = 40;

/// Reads a table of lives, and fits a law to them: its figures are numbers, or it is told why there is none.
pub fn lives(bytes: &[u8]) {
    let lives = match tallow::handed_in::lives(bytes) {
        Ok(lives) => lives,
        Err(error) => return says_something(&error),
    };
    for family in [Family::Weibull, Family::Lognormal] {
        match Fit::new(&lives[..lives.len().min(FITTED)], family) {
            Ok(fit) => {
                let (shape, scale) = (fit.law().shape(), fit.law().scale());
                assert!(0.0 < shape && shape.is_finite() && 0.0 < scale && scale.is_finite(), "{shape} {scale}");
            }
            Err(error) => says_something(&error),
        }
    }
}
