//! Resonances from an acceleration log: where they are, how well damped, and what changed since.

use crate::error::{at_least, positive};
use crate::spectrum::{Density, welch};
use crate::{Estimate, SignalError, table};

/// How far a step of time may be off the middle one, as a share of it.
const STEP_TOLERANCE: f64 = 0.2;
/// How many times the middle density a resonance stands out (judgement).
const CLEAR: f64 = 10.0;
/// How many times deeper than a peak the density lies on both sides before it rises above the peak again (judgement): flanks of a
/// higher peak ripple by chance, twice up and down where the spectrum is the mean of few segments.
const VALLEY: f64 = 4.0;
/// Peaks of two logs within this share of each other may be the same one (judgement).
const SAME: f64 = 0.2;

/// The unit of a log's time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeUnit {
    /// s.
    Seconds,
    /// ms.
    Milliseconds,
    /// µs.
    Microseconds,
}

impl TimeUnit {
    fn seconds(self) -> f64 {
        match self {
            TimeUnit::Seconds => 1.0,
            TimeUnit::Milliseconds => 1e-3,
            TimeUnit::Microseconds => 1e-6,
        }
    }

    /// The unit that a header such as "time_ms", "time (s)" or "t [us]" names at its end.
    fn named(header: &str) -> Option<TimeUnit> {
        match header.split(|c: char| !c.is_alphanumeric()).rfind(|word| !word.is_empty())? {
            "s" | "sec" | "seconds" => Some(TimeUnit::Seconds),
            "ms" | "milliseconds" => Some(TimeUnit::Milliseconds),
            "us" | "µs" | "μs" | "microseconds" => Some(TimeUnit::Microseconds),
            _ => None,
        }
    }
}

/// Accelerations at equal steps of time, in the sensor's unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Acceleration {
    /// Samples a second, in Hz.
    pub rate_hz: f64,
    /// The axes x, y and z.
    pub axes: [Vec<f64>; 3],
}

/// Reads a CSV table with the columns time, x, y, z; the header names the unit of time, or the caller does.
///
/// # Errors
/// If the unit of time is not told, or told twice and differently; if a line can't be read, a step of time is missing or
/// unequal, with its line; or if there are fewer than 64 rows.
pub fn read(bytes: &[u8], unit: Option<TimeUnit>) -> Result<Acceleration, SignalError> {
    let table = table::read(bytes, 4)?;
    let named = table.header.as_deref().and_then(<[String]>::first).and_then(|name| TimeUnit::named(name));
    let unit = match (named, unit) {
        (Some(named), Some(told)) if named != told => {
            let why = format!("it names {named:?} for the time, but {told:?} was told; tell only one");
            return Err(SignalError::Header { why });
        }
        (Some(unit), _) | (None, Some(unit)) => unit,
        (None, None) => {
            let why =
                "the unit of the time is not told; name the first column \"time (s)\", \"time (ms)\" or \"time (us)\"";
            return Err(SignalError::Header { why: why.to_owned() });
        }
    };
    if let Some(header) = &table.header {
        one_unit(header)?;
    }
    at_least("rows", table.rows.len(), 64)?;
    let step = even_step(&table.rows)?;
    let axis = |i: usize| table.rows.iter().map(|(_, row)| row[i]).collect();
    let rate_hz = positive("the log's rate (Hz)", 1.0 / (step * unit.seconds()))?;
    Ok(Acceleration { rate_hz, axes: [axis(1), axis(2), axis(3)] })
}

/// Refuses axes whose headers name different units, such as "x (g)" beside "y (m/s2)".
fn one_unit(header: &[String]) -> Result<(), SignalError> {
    let unit =
        |name: &String| name.split_once(['(', '[']).map(|(_, unit)| unit.trim_end_matches([')', ']']).to_owned());
    let units: Vec<Option<String>> = header.iter().skip(1).take(3).map(unit).collect();
    if units.windows(2).all(|two| two[0] == two[1]) {
        return Ok(());
    }
    let why = "the axes have different units; convert x, y and z to one, and name it for each or for none".to_owned();
    Err(SignalError::Header { why })
}

/// The mean step of time, if all are alike.
fn even_step(rows: &[(u64, Vec<f64>)]) -> Result<f64, SignalError> {
    let mut steps: Vec<f64> = rows.windows(2).map(|two| two[1].1[0] - two[0].1[0]).collect();
    let by_order = steps.clone();
    steps.sort_by(f64::total_cmp);
    let middle = steps[steps.len() / 2];
    for (step, (line, row)) in by_order.iter().zip(&rows[1..]) {
        let why = if *step <= 0.0 {
            format!("the time {} does not come after the one before; sort the log by time", row[0])
        } else if 1.5 * middle < *step {
            format!("samples are missing before the time {}: a step of {step} instead of {middle}; log again", row[0])
        } else if STEP_TOLERANCE * middle < (step - middle).abs() {
            format!("the step before the time {} is {step}, but most are {middle}; log at a steady rate", row[0])
        } else {
            continue;
        };
        return Err(SignalError::Line { line: *line, why });
    }
    Ok((rows[rows.len() - 1].1[0] - rows[0].1[0]) / by_order.len() as f64)
}

/// A resonance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resonance {
    /// Its frequency, in Hz.
    pub frequency_hz: Estimate,
    /// Its damping ratio (1 is critical), if the peak is wide enough for the spectrum's steps and stands free.
    pub damping_ratio: Option<Estimate>,
    /// Its height, in the samples' unit squared for each Hz.
    pub density: f64,
}

/// The density of one axis by Welch's method, in steps of at most `step_hz`.
///
/// # Errors
/// If the step is not positive, or the log is too short for it.
pub fn spectrum(samples: &[f64], rate_hz: f64, step_hz: f64) -> Result<Density, SignalError> {
    let step_hz = positive("the step of the spectrum (Hz)", step_hz)?;
    let rate_hz = positive("the rate (Hz)", rate_hz)?;
    let needed = (rate_hz / step_hz).ceil().max(8.0);
    if (samples.len() as f64) < needed {
        let got_s = samples.len() as f64 / rate_hz;
        return Err(SignalError::TooShort { what: "acceleration log", got_s, needed_s: needed / rate_hz });
    }
    welch(samples, rate_hz, needed as usize)
}

/// The resonances of a spectrum, the highest first.
///
/// # Formula
/// Damping by half-power bandwidth: ζ = Δf/(2f), Δf between the points at half the peak's density (Ewins (2000), Modal
/// Testing, section 4.2; for ζ below 0.1). Judgement: u(f)² = step²/12 + (Δf/2)²/K and u(ζ)² = 2(step/(2f))²/12 + ζ²/K,
/// with K the spectrum's effective segments.
pub fn resonances(spectrum: &Density) -> Vec<Resonance> {
    let effective = spectrum.effective_segments().max(1.0);
    let step = spectrum.step_hz;
    let mut found: Vec<Resonance> = Vec::new();
    for peak in spectrum.peaks(CLEAR).into_iter().filter(|peak| stands_free(&spectrum.density, peak.bin)) {
        let width = half_power_width(&spectrum.density, peak.bin).map(|bins| bins * step);
        // Ripples on the flank of a higher peak are not resonances of their own.
        let flank = 4.0 * step;
        if found.iter().any(|higher| (higher.frequency_hz.value - peak.frequency_hz).abs() < flank) {
            continue;
        }
        let f = peak.frequency_hz;
        let spread = width.map_or(0.0, |width| (width / 2.0).powi(2) / effective);
        let with =
            |value, variance: f64| Estimate { value, uncertainty: variance.sqrt(), degrees_of_freedom: f64::INFINITY };
        let damping_ratio = width.filter(|width| 4.0 * step <= *width).map(|width| {
            let ratio = width / (2.0 * f);
            with(ratio, 2.0 * (step / (2.0 * f)).powi(2) / 12.0 + ratio * ratio / effective)
        });
        found.push(Resonance {
            frequency_hz: with(f, step * step / 12.0 + spread),
            damping_ratio,
            density: peak.density,
        });
    }
    found
}

/// Whether the density falls far below that at `peak` on both sides before it rises above it.
fn stands_free(density: &[f64], peak: usize) -> bool {
    let height = density[peak];
    let is_decided = |value: &&f64| **value * VALLEY < height || height < **value;
    let falls = |decided: Option<&f64>| decided.is_none_or(|value| *value < height);
    falls(density[..peak].iter().rev().find(is_decided)) && falls(density[peak + 1..].iter().find(is_decided))
}

/// The distance, in bins, of the two points where the density is half of that at `peak`, by straight lines between bins.
fn half_power_width(density: &[f64], peak: usize) -> Option<f64> {
    let half = 0.5 * density[peak];
    let above = (peak + 1..density.len()).find(|&bin| density[bin] <= half)?;
    let below = (0..peak).rev().find(|&bin| density[bin] <= half)?;
    let share = |outer: usize, inner: usize| (half - density[outer]) / (density[inner] - density[outer]);
    Some((above as f64 - share(above, above - 1)) - (below as f64 + share(below, below + 1)))
}

/// What became of a resonance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// It moved beyond doubt; by how much, in Hz.
    Moved {
        /// The earlier.
        before: Resonance,
        /// The later.
        after: Resonance,
        /// Later less earlier, in Hz.
        by_hz: Estimate,
    },
    /// It was not there before.
    Came(Resonance),
    /// It is there no more.
    Went(Resonance),
}

/// What changed beyond doubt between two spectra's resonances; each is paired with the nearest within a fifth of it.
pub fn changes(before: &[Resonance], after: &[Resonance]) -> Vec<Change> {
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for (i, earlier) in before.iter().enumerate() {
        for (j, later) in after.iter().enumerate() {
            let off = (later.frequency_hz.value - earlier.frequency_hz.value).abs();
            if off < SAME * earlier.frequency_hz.value {
                pairs.push((off, i, j));
            }
        }
    }
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut left, mut new) = (vec![true; before.len()], vec![true; after.len()]);
    let mut found = Vec::new();
    for (_, i, j) in pairs {
        if left[i] && new[j] {
            (left[i], new[j]) = (false, false);
            let by_hz = after[j].frequency_hz.less(&before[i].frequency_hz);
            if by_hz.beyond_doubt() {
                found.push(Change::Moved { before: before[i], after: after[j], by_hz });
            }
        }
    }
    found.extend(after.iter().zip(&new).filter(|(_, new)| **new).map(|(later, _)| Change::Came(*later)));
    found.extend(before.iter().zip(&left).filter(|(_, left)| **left).map(|(earlier, _)| Change::Went(*earlier)));
    found
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;
    use std::fmt::Write;

    use proptest::prelude::*;

    use super::*;

    /// Noise through a resonator of known frequency and damping, by the exact step of its free decay.
    fn shaken(frequency_hz: f64, damping: f64, rate_hz: f64, n: usize) -> Vec<f64> {
        let mut state: u64 = 7;
        let omega = TAU * frequency_hz / rate_hz;
        let decay = (-damping * omega).exp();
        let turn = 2.0 * decay * (omega * (1.0 - damping * damping).sqrt()).cos();
        let (mut last, mut before) = (0.0, 0.0);
        (0..n)
            .map(|_| {
                state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                let next = turn * last - decay * decay * before + (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5;
                (last, before) = (next, last);
                next
            })
            .collect()
    }

    #[test]
    fn a_resonator_has_its_frequency_and_damping() {
        let density = spectrum(&shaken(55.0, 0.05, 1000.0, 400_000), 1000.0, 1.0).unwrap();
        let highest = resonances(&density)[0];
        assert!((highest.frequency_hz.value - 55.0).abs() < 3.0 * highest.frequency_hz.uncertainty, "{highest:?}");
        let damping = highest.damping_ratio.unwrap();
        assert!((damping.value - 0.05).abs() < 4.0 * damping.uncertainty.max(0.002), "{damping:?}");
    }

    #[test]
    fn ripples_on_the_flanks_of_a_resonance_are_none_of_their_own() {
        let density = spectrum(&shaken(55.0, 0.05, 1000.0, 20_000), 1000.0, 0.5).unwrap();
        let found = resonances(&density);
        assert_eq!(found.len(), 1, "{found:?}");
        // Two that stand apart are two.
        let both = [shaken(55.0, 0.03, 1000.0, 20_000), shaken(90.0, 0.02, 1000.0, 20_000)];
        let sum: Vec<f64> = both[0].iter().zip(&both[1]).map(|(a, b)| a + b).collect();
        let mut found: Vec<f64> =
            resonances(&spectrum(&sum, 1000.0, 0.5).unwrap()).iter().map(|r| r.frequency_hz.value).collect();
        found.sort_by(f64::total_cmp);
        assert!(matches!(found[..], [a, b] if (a - 55.0).abs() < 1.5 && (b - 90.0).abs() < 1.5), "{found:?}");
    }

    #[test]
    fn what_moved_came_and_went_is_told() {
        let at = |f| Resonance { frequency_hz: Estimate::new(f, 0.3).unwrap(), damping_ratio: None, density: 1.0 };
        let found = changes(&[at(40.0), at(55.0), at(90.0)], &[at(40.2), at(50.0), at(140.0)]);
        assert!(matches!(found[..], [Change::Moved { .. }, Change::Came(_), Change::Went(_)]), "{found:?}");
    }

    fn log(head: &str, times: impl Iterator<Item = f64>) -> String {
        times.fold(head.to_owned(), |mut text, time| {
            // OK because writing to a String can't fail.
            let _ = writeln!(text, "{time},0.1,0.2,9.8");
            text
        })
    }

    #[test]
    fn the_header_or_the_caller_tells_the_unit_of_time() {
        let ms = log("time (ms),x,y,z\n", (0..100).map(f64::from));
        assert!((read(ms.as_bytes(), None).unwrap().rate_hz - 1000.0).abs() < 1e-6);
        assert!(matches!(read(ms.as_bytes(), Some(TimeUnit::Seconds)), Err(SignalError::Header { .. })));
        let bare = log("", (0..100).map(f64::from));
        assert!(matches!(read(bare.as_bytes(), None), Err(SignalError::Header { .. })));
        assert!((read(bare.as_bytes(), Some(TimeUnit::Microseconds)).unwrap().rate_hz - 1e6).abs() < 1e-3);
        let mixed = log("t_s,x (g),y (m/s2),z (g)\n", (0..100).map(f64::from));
        assert!(matches!(read(mixed.as_bytes(), None), Err(SignalError::Header { .. })));
    }

    #[test]
    fn a_gap_is_refused_with_its_line() {
        let gap = log("time_s,x,y,z\n", (0..100).filter(|i| *i != 50).map(|i| f64::from(i) / 1000.0));
        assert!(matches!(read(gap.as_bytes(), None), Err(SignalError::Line { line: 52, .. })));
    }

    proptest! {
        #[test]
        fn no_table_makes_the_readers_panic(text in "[0-9a-z,.\"\n;e-]{0,300}", bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            // Fewer rows than are needed: all are refused.
            prop_assert!(read(text.as_bytes(), Some(TimeUnit::Seconds)).is_err() || 64 <= text.lines().count());
            let _ = crate::heat_log::read(text.as_bytes());
            prop_assert!(read(&bytes, Some(TimeUnit::Seconds)).is_err() || 128 <= bytes.len());
            let _ = crate::heat_log::read(&bytes);
        }
    }
}
