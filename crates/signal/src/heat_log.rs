//! What a temperature log tells of a heater and its sensor.

use crate::error::{at_least, positive};
use crate::spectrum::welch;
use crate::{Estimate, Line, SignalError, table};

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeatSample {
    /// The time, in s.
    pub time_s: f64,
    /// What was asked for, in °C.
    pub target_c: f64,
    /// What was measured, in °C.
    pub measured_c: f64,
}

/// Reads a CSV table with the columns time (s), target (°C), measured (°C), with a header or without.
///
/// # Errors
/// If a line can't be read, or the time does not go on, with its line.
pub fn read(bytes: &[u8]) -> Result<Vec<HeatSample>, SignalError> {
    let mut samples: Vec<HeatSample> = Vec::new();
    for (line, row) in table::read(bytes, 3)?.rows {
        let sample = HeatSample { time_s: row[0], target_c: row[1], measured_c: row[2] };
        if samples.last().is_some_and(|last| sample.time_s <= last.time_s) {
            let why = format!("the time {} s does not come after the one before; sort the log by time", sample.time_s);
            return Err(SignalError::Line { line, why });
        }
        samples.push(sample);
    }
    Ok(samples)
}

/// How steadily a temperature is held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// Measured less target, in K.
    pub error_k: Estimate,
    /// The swing's amplitude (half of peak to peak, of a sine of the same power), in K.
    pub amplitude_k: f64,
    /// The swing's period, in s, where one stands out.
    pub period_s: Option<f64>,
}

/// How a held temperature stands to its target; give the samples after it was reached, at equal steps of time.
///
/// # Formula
/// error = mean(measured − target), whose standard error takes neighbouring readings as one where they hang together:
/// n′ = n(1 − r)/(1 + r) with r their lag-one correlation (Bayley & Hammersley (1946), JRSS Supplement 8: 184–197, from
/// memory). amplitude = √2 · standard deviation. The period is the highest line of the spectrum.
///
/// # Errors
/// If there are fewer than 16 samples, or their time does not go on.
pub fn hold(samples: &[HeatSample]) -> Result<Hold, SignalError> {
    at_least("samples at the held temperature", samples.len(), 16)?;
    let n = samples.len() as f64;
    let duration = samples[samples.len() - 1].time_s - samples[0].time_s;
    let rate_hz = (n - 1.0) / positive("the log's duration (s)", duration)?;
    let errors: Vec<f64> = samples.iter().map(|sample| sample.measured_c - sample.target_c).collect();
    let plain = Estimate::mean("temperatures (°C)", &errors)?;
    let centred: Vec<f64> = errors.iter().map(|error| error - plain.value).collect();
    let power: f64 = centred.iter().map(|value| value * value).sum();
    let neighbours: f64 = centred.windows(2).map(|two| two[0] * two[1]).sum();
    let correlation = if 0.0 < power { (neighbours / power).clamp(0.0, 0.99) } else { 0.0 };
    let worth = (n * (1.0 - correlation) / (1.0 + correlation)).max(2.0);
    let error_k = Estimate {
        value: plain.value,
        uncertainty: plain.uncertainty * (n / worth).sqrt(),
        degrees_of_freedom: worth - 1.0,
    };
    let spectrum = welch(&centred, rate_hz, samples.len())?;
    // Ten times the noise: one spectrum in 20 of noise alone with a few hundred lines reaches it (judgement).
    let line = spectrum.peaks(10.0).first().copied();
    Ok(Hold {
        error_k,
        amplitude_k: (2.0 * power / n).sqrt(),
        period_s: line.filter(|line| 0.0 < line.frequency_hz).map(|line| 1.0 / line.frequency_hz),
    })
}

/// The rate of heating, in K/s, between 30 % and 70 % of the rise from the first sample to the first target.
///
/// # Formula
/// The slope of a least-squares line, with its standard error; the middle of the rise is free of the start's delay and of
/// the controller's easing off (judgement). Compare two with [`Estimate::less`].
///
/// # Errors
/// If it does not rise by at least 10 K, or fewer than three samples lie between.
pub fn heating_rate(samples: &[HeatSample]) -> Result<Estimate, SignalError> {
    at_least("samples of the rise", samples.len(), 3)?;
    let start = samples[0].measured_c;
    let target = samples.iter().map(|sample| sample.target_c).find(|target| start + 10.0 <= *target);
    let Some(target) = target else {
        let to = f64::MAX;
        let what = "the rise from the first temperature to the target (K)";
        return Err(SignalError::OutOfRange { what, got: samples[0].target_c - start, from: 10.0, to });
    };
    let share = |sample: &HeatSample| (sample.measured_c - start) / (target - start);
    let points: Vec<(f64, f64)> = samples
        .iter()
        .skip_while(|sample| share(sample) < 0.3)
        .take_while(|sample| share(sample) <= 0.7)
        .map(|sample| (sample.time_s, sample.measured_c))
        .collect();
    Ok(Line::fit("samples between 30 % and 70 % of the rise", &points)?.slope)
}

/// What is odd in a log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Oddity {
    /// The temperature changed faster than a heater's mass allows: a loose sensor or a broken wire.
    Jump {
        /// When, in s.
        time_s: f64,
        /// How fast, in K/s.
        rate_k_per_s: f64,
    },
    /// The temperature fell, and went on falling, although it was asked for: the heater was cut off.
    CutOut {
        /// From when, in s.
        time_s: f64,
        /// How far it fell, in K.
        fell_k: f64,
    },
}

/// Finds jumps faster than `fastest_k_per_s`, and falls of more than `fall_k` below a target that had been reached.
///
/// # Errors
/// If a limit is not positive.
pub fn oddities(samples: &[HeatSample], fastest_k_per_s: f64, fall_k: f64) -> Result<Vec<Oddity>, SignalError> {
    positive("the fastest possible change (K/s)", fastest_k_per_s)?;
    positive("the fall (K)", fall_k)?;
    let mut found = Vec::new();
    let mut reached = false;
    let mut falling: Option<(f64, f64)> = None;
    for (i, sample) in samples.iter().enumerate() {
        let before = i.checked_sub(1).map(|before| samples[before]);
        let short = sample.target_c - sample.measured_c;
        let Some(before) = before else { continue };
        let rate_k_per_s = (sample.measured_c - before.measured_c) / (sample.time_s - before.time_s);
        let jumps = fastest_k_per_s < rate_k_per_s.abs();
        if jumps {
            found.push(Oddity::Jump { time_s: sample.time_s, rate_k_per_s });
        }
        if (sample.target_c - before.target_c).abs() > 0.0 {
            reached = false;
        }
        reached |= short <= 0.2 * fall_k;
        match &mut falling {
            Some((_, fell)) if reached && fall_k < short => *fell = fell.max(short),
            Some(_) => {
                let (time_s, fell_k) = falling.take().unwrap_or_default();
                found.push(Oddity::CutOut { time_s, fell_k });
            }
            None if reached && fall_k < short && !jumps => falling = Some((sample.time_s, short)),
            None => {}
        }
    }
    if let Some((time_s, fell_k)) = falling {
        found.push(Oddity::CutOut { time_s, fell_k });
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;

    fn log(measured: impl Fn(f64) -> f64, seconds: usize) -> Vec<HeatSample> {
        let at = |i: usize| HeatSample { time_s: i as f64, target_c: 200.0, measured_c: measured(i as f64) };
        (0..seconds).map(at).collect()
    }

    #[test]
    fn a_swing_about_the_target_has_its_period_and_amplitude() {
        let hold = hold(&log(|t| 201.0 + 1.5 * (TAU * t / 25.0).sin(), 250)).unwrap();
        assert!((hold.error_k.value - 1.0).abs() < 1e-9, "{hold:?}");
        assert!((hold.amplitude_k - 1.5).abs() < 1e-9, "{hold:?}");
        assert!((hold.period_s.unwrap() - 25.0).abs() < 0.1, "{hold:?}");
    }

    #[test]
    fn heating_is_measured_in_the_middle_of_the_rise() {
        let rate = heating_rate(&log(|t| 20.0 + 3.0 * t, 60)).unwrap();
        assert!((rate.value - 3.0).abs() < 1e-9, "{rate:?}");
        assert!(heating_rate(&log(|_| 200.0, 60)).is_err());
    }

    #[test]
    fn a_jump_and_a_cut_out_are_found() {
        let cut = oddities(&log(|t| if t < 30.0 { 200.0 } else { 200.0 - (t - 30.0) }, 90), 20.0, 15.0).unwrap();
        assert!(matches!(cut[..], [Oddity::CutOut { .. }]), "{cut:?}");
        let jump = oddities(&log(|t| if (30.0..31.0).contains(&t) { 300.0 } else { 200.0 }, 90), 20.0, 15.0).unwrap();
        assert_eq!(jump.len(), 2, "{jump:?}");
    }

    #[test]
    fn a_log_that_goes_back_in_time_is_refused_with_its_line() {
        assert!(matches!(read(b"time,target,measured\n0,200,20\n0,200,21\n"), Err(SignalError::Line { line: 3, .. })));
        assert_eq!(read(b"0,200,20\n1,200,21").unwrap().len(), 2);
    }
}
