//! The tone of a plucked belt span, and its tension.
//!
//! Hum of the mains, which goes on all the time, and a harmonic tone that begins with the pluck and decays are fitted
//! together by least squares, so that a tone beside the hum is told from it (nonlinear least squares: Kay (1993),
//! Fundamentals of Statistical Signal Processing I, chapter 8). The fit starts from the sum of harmonics less what lies
//! between them, after Hermes (1988), JASA 83: 257–264.

use std::f64::consts::TAU;

use realfft::RealFftPlanner;
use realfft::num_complex::Complex;

use crate::error::positive;
use crate::estimate::propagate;
use crate::least_squares::solve;
use crate::spectrum::transform;
use crate::wav::Recording;
use crate::{Estimate, SignalError};

/// The lowest fundamental that is looked for, in Hz.
pub const LOWEST_HZ: f64 = 18.0;
/// The highest fundamental that is looked for, in Hz.
pub const HIGHEST_HZ: f64 = 450.0;
/// The least that must be heard after the pluck, in s: six periods of 20 Hz.
pub const SHORTEST_AFTER_S: f64 = 0.3;

/// How much is looked at after the pluck and before it, in s.
const AFTER_S: f64 = 1.2;
const BEFORE_S: f64 = 0.5;
/// The stretch whose energy is compared before and after the pluck, in s.
const ONSET_S: f64 = 0.06;
/// The least quiet before the pluck in which hum is recognised, in s: it tells 50 Hz from 60.
const HUM_S: f64 = 0.15;
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
const HUM_LINES: usize = 4;
/// Mains are kept within this of their nominal frequency in Europe's and other grids, save in distress (from memory).
const MAINS_OFF: f64 = 0.005;
/// Harmonics of the tone in the fit; higher ones are weak and, in a stiff belt, too sharp.
const HARMONICS: usize = 5;
/// The rate at which the fit works, in Hz: its half holds five harmonics of the highest fundamental.
const FIT_RATE_HZ: f64 = 5000.0;
/// How many times the noise's own share a tone must explain (judgement; noise alone reaches about five).
const CLEAR: f64 = 15.0;
/// What a sound card's clock may be off, as a share (common practice, no source).
const CLOCK: f64 = 1e-4;

/// The fundamental of a plucked span.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fundamental {
    /// The frequency, in Hz, with its standard uncertainty: from the curvature of the sum of squares, u² = 2s²/S″(f), and
    /// the recorder's clock.
    pub frequency_hz: Estimate,
    /// When the pluck was, in s from the start.
    pub onset_s: f64,
    /// The time in which the tone falls to 1/e, in s.
    pub decay_s: f64,
    /// The mains' frequency, if hum was heard before the pluck, in Hz.
    pub hum_hz: Option<f64>,
}

/// Finds the fundamental of a pluck.
///
/// # Errors
/// If the recording is too short after the pluck, if no tone stands out, or if the tone may be the mains' hum.
pub fn fundamental(recording: &Recording) -> Result<Fundamental, SignalError> {
    let rate_hz = positive("the rate (Hz)", recording.rate_hz)?;
    let needed_rate = 2.0 * HIGHEST_HZ;
    if rate_hz < needed_rate {
        return Err(SignalError::OutOfRange {
            what: "the recording's rate (Hz)",
            got: rate_hz,
            from: needed_rate,
            to: f64::MAX,
        });
    }
    let shortest = |got_s| SignalError::TooShort { what: "sound after the pluck", got_s, needed_s: SHORTEST_AFTER_S };
    if recording.duration_s() < SHORTEST_AFTER_S {
        return Err(shortest(recording.duration_s()));
    }
    let onset = onset(&recording.samples, rate_hz);
    let onset_s = onset as f64 / rate_hz;
    if recording.duration_s() - onset_s < SHORTEST_AFTER_S {
        return Err(shortest(recording.duration_s() - onset_s));
    }
    let from = onset.saturating_sub((BEFORE_S * rate_hz) as usize);
    let to = recording.samples.len().min(onset + (AFTER_S * rate_hz) as usize);
    let scene = Scene::new(&recording.samples[from..to], rate_hz, (onset - from) as f64 / rate_hz);
    let hum_hz = scene.hum();
    let none = SignalError::NoTone { onset_s };
    let start = scene.harmonic_sum(hum_hz).ok_or(none.clone())?;
    let without = scene.fit(None, hum_hz).ok_or(none.clone())?;
    let tone = scene.refine(start, hum_hz).ok_or(none.clone())?;
    let frequency_hz = scene.uncertain(&tone).ok_or(none.clone())?;
    let explained = (without.squares - tone.squares) / (2 * scene.harmonics(tone.at.frequency_hz)) as f64;
    let clear = CLEAR * tone.squares / (scene.samples.len() as f64) < explained;
    if !clear || 0.01 * frequency_hz.value < frequency_hz.uncertainty {
        return Err(none);
    }
    if scene.onset_s < HUM_S && is_mains(frequency_hz.value) {
        return Err(SignalError::MainsHum { frequency_hz: frequency_hz.value });
    }
    Ok(Fundamental { frequency_hz, onset_s, decay_s: 1.0 / tone.at.decay_per_s, hum_hz: tone.hum_hz })
}

/// Whether a frequency could be the mains' or one of its harmonics'.
fn is_mains(frequency_hz: f64) -> bool {
    MAINS_HZ.iter().any(|mains| {
        let nearest = (frequency_hz / mains).round().max(1.0) * mains;
        (frequency_hz - nearest).abs() < 2.0 * MAINS_OFF * nearest
    })
}

/// The sample after which the energy rises most.
fn onset(samples: &[f64], rate_hz: f64) -> usize {
    let mut sums = Vec::with_capacity(samples.len() + 1);
    sums.push(0.0);
    let mean = samples.iter().sum::<f64>() / samples.len() as f64;
    for sample in samples {
        sums.push(sums[sums.len() - 1] + (sample - mean).powi(2));
    }
    let stretch = ((ONSET_S * rate_hz) as usize).max(1);
    let last = samples.len();
    let rise = |at: usize| {
        let after = sums[last.min(at + stretch)] - sums[at];
        after - (sums[at] - sums[at.saturating_sub(stretch)])
    };
    (0..last).max_by(|&a, &b| rise(a).total_cmp(&rise(b))).unwrap_or(0)
}

/// What a tone is apart from its amplitudes.
#[derive(Clone, Copy, Debug)]
struct Tone {
    frequency_hz: f64,
    decay_per_s: f64,
}

/// A tone, the hum, and the sum of squares that they leave.
#[derive(Clone, Copy, Debug)]
struct Fitted {
    at: Tone,
    hum_hz: Option<f64>,
    squares: f64,
}

/// What remains after a linear fit.
struct Left {
    squares: f64,
    residual: Vec<f64>,
}

/// The stretch about the pluck, at the rate of the fit.
struct Scene {
    samples: Vec<f64>,
    rate_hz: f64,
    onset_s: f64,
}

impl Scene {
    /// Thins the samples out by leaving away all frequencies that the lower rate can't hold.
    fn new(samples: &[f64], rate_hz: f64, onset_s: f64) -> Scene {
        let n = samples.len();
        let mean = samples.iter().sum::<f64>() / n as f64;
        let centred: Vec<f64> = samples.iter().map(|sample| sample - mean).collect();
        let fewer = (n as f64 * FIT_RATE_HZ / rate_hz) as usize;
        if n <= fewer {
            return Scene { samples: centred, rate_hz, onset_s };
        }
        let plan = RealFftPlanner::new().plan_fft_inverse(fewer);
        let mut bins: Vec<Complex<f64>> = transform(&centred)[..=fewer / 2].to_vec();
        bins[0].im = 0.0;
        if fewer.is_multiple_of(2) {
            bins[fewer / 2].im = 0.0;
        }
        let mut thinned = plan.make_output_vec();
        // OK because the lengths are the plan's, and the bins at 0 and half the rate are real.
        plan.process(&mut bins, &mut thinned).expect("the plan is of this length");
        thinned.iter_mut().for_each(|sample| *sample /= n as f64);
        Scene { samples: thinned, rate_hz: rate_hz * fewer as f64 / n as f64, onset_s }
    }

    /// How many harmonics the rate holds.
    fn harmonics(&self, frequency_hz: f64) -> usize {
        ((0.5 * self.rate_hz / frequency_hz) as usize).clamp(1, HARMONICS)
    }

    /// The mains' nominal frequency, if its hum is heard before the pluck.
    fn hum(&self) -> Option<f64> {
        if self.onset_s < HUM_S {
            return None;
        }
        let quiet = ((self.onset_s - 0.01) * self.rate_hz) as usize;
        let before = Scene { samples: self.samples[..quiet].to_vec(), rate_hz: self.rate_hz, onset_s: self.onset_s };
        let all: f64 = before.samples.iter().map(|sample| sample * sample).sum();
        MAINS_HZ
            .into_iter()
            .filter_map(|mains| Some((mains, before.fit(None, Some(mains))?.squares)))
            .filter(|(_, left)| CLEAR * left / quiet as f64 <= (all - left) / (2 * HUM_LINES) as f64)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(mains, _)| mains)
    }

    /// The frequency whose harmonics sum up highest.
    fn harmonic_sum(&self, hum_hz: Option<f64>) -> Option<f64> {
        let residual = self.fit(None, hum_hz)?.residual;
        let start = (self.onset_s * self.rate_hz) as usize;
        let heard = &residual[start.min(residual.len())..];
        let n = heard.len();
        // The falling half of a Hann window: the tone is strongest at its start.
        let mut padded: Vec<f64> = heard
            .iter()
            .enumerate()
            .map(|(i, sample)| sample * (0.5 + 0.5 * (0.5 * TAU * i as f64 / n as f64).cos()))
            .collect();
        padded.resize((4 * n).next_power_of_two(), 0.0);
        let per_hz = padded.len() as f64 / self.rate_hz;
        let power: Vec<f64> = transform(&padded).iter().map(|bin| bin.norm_sqr()).collect();
        let mut sorted = power.clone();
        sorted.sort_by(f64::total_cmp);
        // Of noise, one bin in 250 stands so high: eight times the middle one.
        let floor = 8.0 * sorted[sorted.len() / 2];
        let amplitude = |frequency_hz: f64| {
            let bin = (frequency_hz * per_hz).round() as usize;
            power.get(bin).map_or(0.0, |power| (power - floor).max(0.0).sqrt())
        };
        let score = |frequency_hz: f64| -> f64 {
            (1..=8)
                .map(|k| {
                    let k = f64::from(k);
                    let between = amplitude((k - 0.5) * frequency_hz);
                    0.84_f64.powf(k - 1.0) * (amplitude(k * frequency_hz) - between)
                })
                .sum()
        };
        let steps = ((HIGHEST_HZ - LOWEST_HZ) / 0.05) as usize;
        let best = (0..=steps).map(|i| LOWEST_HZ + 0.05 * i as f64).max_by(|a, b| score(*a).total_cmp(&score(*b)))?;
        (0.0 < score(best)).then_some(best)
    }

    /// Goes downhill from a start in frequency, decay and the mains' frequency, in steps that shrink.
    fn refine(&self, start_hz: f64, hum_hz: Option<f64>) -> Option<Fitted> {
        let fitted =
            |at: Tone, hum_hz: Option<f64>| Some(Fitted { at, hum_hz, squares: self.fit(Some(at), hum_hz)?.squares });
        let mut best: Option<Fitted> = None;
        for decay_per_s in [2.0, 6.0, 18.0] {
            for i in -8..=8 {
                let frequency_hz = start_hz + 0.15 * f64::from(i);
                let next = fitted(Tone { frequency_hz, decay_per_s }, hum_hz);
                best = lower(best, next);
            }
        }
        let mut best = best?;
        let (mut step_hz, mut factor, mut mains_step) = (0.1, 1.5_f64, 0.1);
        while 1e-4 < step_hz {
            let Tone { frequency_hz, decay_per_s } = best.at;
            let mut tries = vec![
                (Tone { frequency_hz: frequency_hz + step_hz, decay_per_s }, best.hum_hz),
                (Tone { frequency_hz: frequency_hz - step_hz, decay_per_s }, best.hum_hz),
                (Tone { frequency_hz, decay_per_s: (decay_per_s * factor).min(60.0) }, best.hum_hz),
                (Tone { frequency_hz, decay_per_s: (decay_per_s / factor).max(0.2) }, best.hum_hz),
            ];
            if let (Some(mains), Some(nominal)) = (best.hum_hz, hum_hz) {
                for moved in [mains + mains_step, mains - mains_step] {
                    if (moved - nominal).abs() <= MAINS_OFF * nominal {
                        tries.push((best.at, Some(moved)));
                    }
                }
            }
            let before = best.squares;
            for (at, hum_hz) in tries {
                best = lower(Some(best), fitted(at, hum_hz))?;
            }
            if before <= best.squares {
                step_hz *= 0.5;
                mains_step *= 0.5;
                factor = factor.sqrt().max(1.01);
            }
        }
        Some(best)
    }

    /// The frequency with its uncertainty, by the curvature of the sum of squares.
    fn uncertain(&self, tone: &Fitted) -> Option<Estimate> {
        // Far smaller than the width of the valley, and large enough for its digits.
        let h = 0.02;
        let beside = |step: f64| {
            let at = Tone { frequency_hz: tone.at.frequency_hz + step, ..tone.at };
            Some(self.fit(Some(at), tone.hum_hz)?.squares)
        };
        let bend = (beside(h)? - 2.0 * tone.squares + beside(-h)?) / (h * h);
        if bend <= 0.0 || bend.is_nan() {
            return None;
        }
        let variance = tone.squares / self.samples.len() as f64;
        let clock = CLOCK * tone.at.frequency_hz;
        Estimate::new(tone.at.frequency_hz, (2.0 * variance / bend + clock * clock).sqrt()).ok()
    }

    /// Fits amplitudes and phases of a tone from the pluck on, and of the hum throughout.
    fn fit(&self, tone: Option<Tone>, hum_hz: Option<f64>) -> Option<Left> {
        let mut columns: Vec<Vec<f64>> = Vec::new();
        let n = self.samples.len();
        let start = (self.onset_s * self.rate_hz).round() as usize;
        if let Some(Tone { frequency_hz, decay_per_s }) = tone {
            for k in 1..=self.harmonics(frequency_hz) {
                wave(&mut columns, n, start.min(n), k as f64 * frequency_hz / self.rate_hz, decay_per_s / self.rate_hz);
            }
        }
        if let Some(mains) = hum_hz {
            for k in 1..=HUM_LINES {
                wave(&mut columns, n, 0, k as f64 * mains / self.rate_hz, 0.0);
            }
        }
        let m = columns.len();
        let mut matrix = vec![0.0; m * m];
        for i in 0..m {
            for j in 0..=i {
                matrix[i * m + j] = dot(&columns[i], &columns[j]);
            }
        }
        let right: Vec<f64> = columns.iter().map(|column| dot(column, &self.samples)).collect();
        let weights = solve(matrix, right)?;
        let mut residual = self.samples.clone();
        for (weight, column) in weights.iter().zip(&columns) {
            residual.iter_mut().zip(column).for_each(|(left, value)| *left -= weight * value);
        }
        Some(Left { squares: dot(&residual, &residual), residual })
    }
}

/// The one with the lower sum of squares.
fn lower(best: Option<Fitted>, next: Option<Fitted>) -> Option<Fitted> {
    match (best, next) {
        (Some(best), Some(next)) if best.squares <= next.squares => Some(best),
        (best, None) => best,
        (_, next) => next,
    }
}

/// The sum of products, in four strands, so that one addition need not wait for the other.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut strands = [0.0; 4];
    let (whole_a, rest_a) = a.as_chunks::<4>();
    let (whole_b, rest_b) = b.as_chunks::<4>();
    for (a, b) in whole_a.iter().zip(whole_b) {
        strands.iter_mut().zip(a.iter().zip(b)).for_each(|(sum, (a, b))| *sum += a * b);
    }
    let rest: f64 = rest_a.iter().zip(rest_b).map(|(a, b)| a * b).sum();
    strands.iter().sum::<f64>() + rest
}

/// Adds a cosine and a sine that begin at `start` and decay; both rates are for each sample.
fn wave(columns: &mut Vec<Vec<f64>>, n: usize, start: usize, cycles: f64, decay: f64) {
    let turn = Complex::from_polar((-decay).exp(), TAU * cycles);
    let mut at = Complex::new(1.0, 0.0);
    let (mut cosine, mut sine) = (vec![0.0; n], vec![0.0; n]);
    for i in start..n {
        cosine[i] = at.re;
        sine[i] = at.im;
        at *= turn;
    }
    columns.push(cosine);
    columns.push(sine);
}

/// The tension of a span, in N, from its fundamental (Hz), its free length (mm) and the belt's mass per length (g/m).
///
/// # Formula
/// T = 4 L² f² μ, Mersenne's law of the ideal string (Mersenne 1636; Fletcher & Rossing (1998), The Physics of Musical
/// Instruments, section 2.2); (u(T)/T)² = (2u(f)/f)² + (2u(L)/L)² + (u(μ)/μ)² (GUM 5.1.6). A belt is stiffer than a
/// string, so the true tension is somewhat lower, most in short spans; differences between equal spans stand.
///
/// # Errors
/// If one of the three is not positive.
pub fn tension(frequency_hz: Estimate, span_mm: Estimate, mass_g_per_m: Estimate) -> Result<Estimate, SignalError> {
    let f = positive("the frequency (Hz)", frequency_hz.value)?;
    let length = positive("the span (mm)", span_mm.value)?;
    let mass = positive("the mass per length (g/m)", mass_g_per_m.value)?;
    // mm² and g/m to SI: 1e-6 · 1e-3.
    let newtons = positive("the tension (N)", 4e-9 * length * length * f * f * mass)?;
    Ok(propagate(
        newtons,
        &[(2.0 * newtons / f, frequency_hz), (2.0 * newtons / length, span_mm), (newtons / mass, mass_g_per_m)],
    ))
}

/// By how much the first of two belts is tighter than the second, as a share of their mean tension; positive where it is.
///
/// Both spans have the same length and mass per length, which need not be known.
///
/// # Formula
/// 2(T₁ − T₂)/(T₁ + T₂) = 2(f₁² − f₂²)/(f₁² + f₂²) by [`tension`]'s T ∝ f²; ∂/∂f₁ = 8f₁f₂²/(f₁² + f₂²)².
///
/// # Errors
/// If a frequency (Hz) is not positive.
pub fn tension_mismatch(first_hz: Estimate, second_hz: Estimate) -> Result<Estimate, SignalError> {
    let first = positive("the frequency (Hz)", first_hz.value)?;
    let second = positive("the frequency (Hz)", second_hz.value)?;
    let sum = first * first + second * second;
    let slope = 8.0 * first * second / (sum * sum);
    Ok(propagate(
        2.0 * (first * first - second * second) / sum,
        &[(slope * second, first_hz), (-slope * first, second_hz)],
    ))
}

/// By how much the first of two belts is tighter, in N; [`Estimate::beyond_doubt`] of it tells whether they differ.
///
/// Both spans have the same length (mm) and mass per length (g/m), so that an error of these can't make a difference where
/// there is none.
///
/// # Formula
/// T₁ − T₂ = 4 L² μ (f₁² − f₂²), propagated as in [`tension`].
///
/// # Errors
/// If a frequency (Hz), the span or the mass is not positive.
pub fn tension_difference(
    first_hz: Estimate,
    second_hz: Estimate,
    span_mm: Estimate,
    mass_g_per_m: Estimate,
) -> Result<Estimate, SignalError> {
    let first_n = tension(first_hz, span_mm, mass_g_per_m)?.value;
    let second_n = tension(second_hz, span_mm, mass_g_per_m)?.value;
    let difference = first_n - second_n;
    Ok(propagate(
        difference,
        &[
            (2.0 * first_n / first_hz.value, first_hz),
            (-2.0 * second_n / second_hz.value, second_hz),
            (2.0 * difference / span_mm.value, span_mm),
            (difference / mass_g_per_m.value, mass_g_per_m),
        ],
    ))
}
