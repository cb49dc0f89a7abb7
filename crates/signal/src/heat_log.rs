//! What a temperature log tells of a heater and its sensor.

use crate::error::{at_least, positive};
use crate::estimate::propagate;
use crate::spectrum::welch;
use crate::{Estimate, Line, SignalError, table};

/// How far a step of time may be off the middle one, as a share of it, before readings are put at equal steps.
const STEP_TOLERANCE: f64 = 0.2;
/// How many middle steps a pause may last (judgement): what happened in a longer one is not known.
const LONGEST_PAUSE: f64 = 5.0;
/// Within this of the target it is reached, in K (judgement).
const REACHED_K: f64 = 1.0;
/// Rises from or to temperatures further apart than this are not compared, in K (judgement): the rate of heating falls with the
/// temperature.
const SAME_RISE_K: f64 = 10.0;

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
    pub amplitude_k: Estimate,
    /// The swing's period, in s, where one stands out.
    pub period_s: Option<f64>,
}

/// The longest stretch at one target after that was reached within 1 K; empty where none was.
pub fn held(samples: &[HeatSample]) -> &[HeatSample] {
    let same_target = |a: &HeatSample, b: &HeatSample| (a.target_c - b.target_c).abs() <= 0.0;
    let is_reached = |sample: &HeatSample| (sample.measured_c - sample.target_c).abs() <= REACHED_K;
    let duration = |stretch: &&[HeatSample]| match stretch {
        [first, .., last] => last.time_s - first.time_s,
        _ => 0.0,
    };
    let stretches = samples.chunk_by(same_target);
    let from_reached = |stretch: &'_ [HeatSample]| stretch.iter().position(is_reached);
    stretches
        .filter_map(|stretch| from_reached(stretch).map(|from| &stretch[from..]))
        .max_by(|a, b| duration(a).total_cmp(&duration(b)))
        .unwrap_or_default()
}

/// How a held temperature stands to its target; give the samples after it was reached. Uneven steps of time are put at equal
/// ones by straight lines between readings.
///
/// # Formula
/// error = mean(measured − target), whose standard error takes neighbouring readings as one where they hang together:
/// n′ = n(1 − r)/(1 + r) with r their lag-one correlation (Bayley & Hammersley (1946), JRSS Supplement 8: 184–197, from
/// memory). The period is the highest line of the spectrum. amplitude A = √2 · standard deviation; where at least three whole
/// periods are there its uncertainty is the standard error of their amplitudes, else A/√(2(n′ − 1)) (GUM E.4.3).
///
/// # Errors
/// If there are fewer than 16 samples, their time does not go on, or pauses for more than five of its steps.
pub fn hold(samples: &[HeatSample]) -> Result<Hold, SignalError> {
    at_least("samples at the held temperature", samples.len(), 16)?;
    let (rate_hz, errors) = even(samples)?;
    let n = errors.len() as f64;
    let plain = Estimate::mean("temperatures (°C)", &errors)?;
    let centred: Vec<f64> = errors.iter().map(|error| error - plain.value).collect();
    let power: f64 = centred.iter().map(|value| value * value).sum();
    let neighbours: f64 = centred.windows(2).map(|two| two[0] * two[1]).sum();
    let correlation = if 0.0 < power { (neighbours / power).clamp(0.0, 0.99) } else { 0.0 };
    let worth = (n * (1.0 - correlation) / (1.0 + correlation)).clamp(2.0, samples.len() as f64);
    let error_k = Estimate {
        value: plain.value,
        uncertainty: plain.uncertainty * (n / worth).sqrt(),
        degrees_of_freedom: worth - 1.0,
    };
    let spectrum = welch(&centred, rate_hz, centred.len())?;
    // Ten times the noise: one spectrum in 20 of noise alone with a few hundred lines reaches it (judgement).
    let line = spectrum.peaks(10.0).first().copied().filter(|line| 0.0 < line.frequency_hz);
    let amplitude = (2.0 * power / n).sqrt();
    let period = line.map(|line| (rate_hz / line.frequency_hz).round() as usize);
    let by_period = period.and_then(|period| amplitude_by_period(&centred, period));
    let amplitude_k = by_period.map_or_else(
        || Estimate {
            value: amplitude,
            uncertainty: amplitude / (2.0 * (worth - 1.0)).sqrt(),
            degrees_of_freedom: worth - 1.0,
        },
        |mean| Estimate { value: amplitude, ..mean },
    );
    Ok(Hold { error_k, amplitude_k, period_s: line.map(|line| 1.0 / line.frequency_hz) })
}

/// The mean amplitude of whole periods of so many samples, if there are at least three.
fn amplitude_by_period(centred: &[f64], period: usize) -> Option<Estimate> {
    let amplitude = |whole: &[f64]| {
        let n = whole.len() as f64;
        let mean = whole.iter().sum::<f64>() / n;
        (2.0 * whole.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / n).sqrt()
    };
    let whole: Vec<f64> = centred.chunks_exact(period.max(2)).map(amplitude).collect();
    if whole.len() < 3 { None } else { Estimate::mean("amplitudes (K)", &whole).ok() }
}

/// Measured less target at equal steps of time, and how many of them a second has.
fn even(samples: &[HeatSample]) -> Result<(f64, Vec<f64>), SignalError> {
    let mut steps: Vec<f64> = samples.windows(2).map(|two| two[1].time_s - two[0].time_s).collect();
    steps.sort_by(f64::total_cmp);
    let middle = positive("the log's middle step of time (s)", steps[steps.len() / 2])?;
    for two in samples.windows(2) {
        if LONGEST_PAUSE * middle < two[1].time_s - two[0].time_s {
            return Err(SignalError::Pause { from_s: two[0].time_s, to_s: two[1].time_s });
        }
    }
    let (first, last) = (samples[0].time_s, samples[samples.len() - 1].time_s);
    let error = |sample: &HeatSample| sample.measured_c - sample.target_c;
    if steps.iter().all(|step| (step - middle).abs() <= STEP_TOLERANCE * middle) {
        let rate_hz = (samples.len() - 1) as f64 / positive("the log's duration (s)", last - first)?;
        return Ok((rate_hz, samples.iter().map(error).collect()));
    }
    // No finer than readings are: more points than readings would only look like more knowledge.
    let count = samples.len();
    let step = positive("the log's duration (s)", last - first)? / (count - 1) as f64;
    let mut after = 1;
    let errors = (0..count).map(|i| {
        let time = first + i as f64 * step;
        while after + 1 < count && samples[after].time_s < time {
            after += 1;
        }
        let (one, other) = (&samples[after - 1], &samples[after]);
        let share = (time - one.time_s) / (other.time_s - one.time_s);
        error(one) + share.clamp(0.0, 1.0) * (error(other) - error(one))
    });
    Ok((1.0 / step, errors.collect()))
}

/// How fast it heats up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rise {
    /// The first temperature, in °C.
    pub from_c: f64,
    /// The first target at least 10 K above it, in °C.
    pub to_c: f64,
    /// The rate of heating, in K/s.
    pub rate_k_per_s: Estimate,
}

/// The rise from the first sample to the first target: its rate between 30 % and 70 % of the way.
///
/// # Formula
/// The slope of a least-squares line, with its standard error; the middle of the rise is free of the start's delay and of
/// the controller's easing off (judgement).
///
/// # Errors
/// If it does not rise by at least 10 K, or fewer than three samples lie between.
pub fn rise(samples: &[HeatSample]) -> Result<Rise, SignalError> {
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
    let rate_k_per_s = Line::fit("samples between 30 % and 70 % of the rise", &points)?.slope;
    Ok(Rise { from_c: start, to_c: target, rate_k_per_s })
}

/// What a whole log tells of a heater.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heating {
    /// How fast it heats up, where the log has a rise.
    pub rise: Option<Rise>,
    /// How steadily it holds a temperature, where the log holds one for at least 16 samples.
    pub hold: Option<Hold>,
}

/// Reads off a log what it tells by [`rise`] and [`hold`] of what is [`held`].
///
/// # Errors
/// If the log pauses while a temperature is held.
pub fn heating(samples: &[HeatSample]) -> Result<Heating, SignalError> {
    let hold = match hold(held(samples)) {
        Ok(hold) => Some(hold),
        Err(SignalError::TooFew { .. }) => None,
        Err(pause) => return Err(pause),
    };
    Ok(Heating { rise: rise(samples).ok(), hold })
}

/// What became of a heater since an earlier log; each is `None` where one of the two logs does not tell it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Changed {
    /// By how much slower it heats, as a share of the earlier rate; also `None` where the rises lie at other temperatures.
    pub slower: Option<Estimate>,
    /// The later error of the held temperature less the earlier, in K.
    pub error_k: Option<Estimate>,
    /// The later amplitude of its swing less the earlier, in K.
    pub amplitude_k: Option<Estimate>,
}

/// What changed between two logs; [`Estimate::beyond_doubt`] of each tells whether it did.
///
/// # Formula
/// slower = 1 − v₂/v₁, u² = (u(v₂)/v₁)² + (v₂ u(v₁)/v₁²)² (GUM 5.1.2).
pub fn changed(before: &Heating, after: &Heating) -> Changed {
    let is_same = |a: f64, b: f64| (a - b).abs() <= SAME_RISE_K;
    let rises = before.rise.zip(after.rise);
    let rises = rises.filter(|(a, b)| is_same(a.from_c, b.from_c) && is_same(a.to_c, b.to_c));
    let slower = rises.and_then(|(before, after)| {
        let (earlier, later) = (before.rate_k_per_s, after.rate_k_per_s);
        let rate = positive("the earlier rate of heating (K/s)", earlier.value).ok()?;
        Some(propagate(1.0 - later.value / rate, &[(-1.0 / rate, later), (later.value / (rate * rate), earlier)]))
    });
    let holds = before.hold.zip(after.hold);
    Changed {
        slower,
        error_k: holds.map(|(before, after)| after.error_k.less(&before.error_k)),
        amplitude_k: holds.map(|(before, after)| after.amplitude_k.less(&before.amplitude_k)),
    }
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
        assert!((hold.amplitude_k.value - 1.5).abs() < 1e-9, "{hold:?}");
        assert!(hold.amplitude_k.uncertainty < 1e-6, "ten equal periods leave no doubt: {hold:?}");
        assert!((hold.period_s.unwrap() - 25.0).abs() < 0.1, "{hold:?}");
    }

    #[test]
    fn the_amplitude_of_noise_is_as_uncertain_as_its_readings_are_few() {
        // A linear congruence's high bits: uniform noise of ±1.
        let mut state: u64 = 11;
        let mut noise = || {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            2.0 * (state >> 11) as f64 / (1_u64 << 53) as f64 - 1.0
        };
        let values: Vec<f64> = (0..400).map(|_| noise()).collect();
        let hold = hold(&log(|t| 200.0 + values[t as usize], 400)).unwrap();
        // √2 times the standard deviation 1/√3 of uniform noise; GUM E.4.3 with about 400 readings.
        assert!(
            (hold.amplitude_k.value - (2.0_f64 / 3.0).sqrt()).abs() < 3.0 * hold.amplitude_k.uncertainty,
            "{hold:?}"
        );
        assert!(hold.amplitude_k.relative().unwrap() < 0.1 && hold.period_s.is_none(), "{hold:?}");
    }

    #[test]
    fn uneven_steps_are_put_at_equal_ones_and_a_pause_is_refused() {
        let swing = |t: f64| 201.0 + 1.5 * (TAU * t / 25.0).sin();
        let uneven = |t: f64| t + 0.4 * (t * 0.7).sin();
        let sample = |time_s: f64| HeatSample { time_s, target_c: 200.0, measured_c: swing(time_s) };
        let samples: Vec<HeatSample> = (0..250).map(|i| sample(uneven(f64::from(i)))).collect();
        let found = hold(&samples).unwrap();
        assert!((found.period_s.unwrap() - 25.0).abs() < 0.2, "{found:?}");
        assert!((found.amplitude_k.value - 1.5).abs() < 0.05, "{found:?}");
        let paused: Vec<HeatSample> = samples.iter().filter(|s| !(100.0..110.0).contains(&s.time_s)).copied().collect();
        let refused = hold(&paused);
        assert!(
            matches!(refused, Err(SignalError::Pause { from_s, .. }) if (98.0..100.0).contains(&from_s)),
            "{refused:?}"
        );
    }

    /// Heats from 20 °C at that rate, and then swings about an error of 1 K.
    fn heated(rate: f64, swing: f64) -> Vec<HeatSample> {
        log(|t| (20.0 + rate * t).min(201.0 + swing * (TAU * t / 20.0).sin()), 400)
    }

    #[test]
    fn heating_is_measured_in_the_middle_of_the_rise() {
        let found = rise(&log(|t| 20.0 + 3.0 * t, 60)).unwrap();
        assert!((found.rate_k_per_s.value - 3.0).abs() < 1e-9, "{found:?}");
        assert!(rise(&log(|_| 200.0, 60)).is_err());
    }

    #[test]
    fn against_an_earlier_log_it_is_told_what_changed() {
        let (before, after) = (heating(&heated(3.0, 0.5)).unwrap(), heating(&heated(2.4, 1.5)).unwrap());
        let found = changed(&before, &after);
        let slower = found.slower.unwrap();
        assert!((slower.value - 0.2).abs() < 1e-9, "{slower:?}");
        let swing = found.amplitude_k.unwrap();
        assert!((swing.value - 1.0).abs() < 0.1 && swing.beyond_doubt(), "{found:?}");
        assert!(!found.error_k.unwrap().beyond_doubt(), "{found:?}");
        // A rise that begins warm says nothing of one that began cold.
        let warm = heating(&heated(3.0, 0.5)[25..]).unwrap();
        assert_eq!(changed(&before, &warm).slower, None);
        assert!(changed(&before, &warm).amplitude_k.is_some());
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
