//! Power spectra: Hann window, one-sided density, Welch's method, and peaks between bins.
//!
//! Welch (1967), IEEE Transactions on Audio and Electroacoustics 15: 70–73; windows and the scaling of densities: Harris
//! (1978), Proceedings of the IEEE 66: 51–83.

use std::f64::consts::TAU;

use realfft::RealFftPlanner;
use realfft::num_complex::Complex;

use crate::SignalError;
use crate::error::{at_least, finite, positive};

/// A one-sided power spectral density.
#[derive(Clone, Debug, PartialEq)]
pub struct Density {
    /// The distance of two bins, in Hz (or in cycles for each unit of the samples' distance).
    pub step_hz: f64,
    /// The density of each bin from 0 Hz on, in the samples' unit squared for each Hz.
    pub density: Vec<f64>,
    /// How many segments it is the mean of.
    pub segment_count: usize,
}

/// A maximum of a density.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    /// Its bin.
    pub bin: usize,
    /// Its frequency between bins, in Hz.
    pub frequency_hz: f64,
    /// Its density.
    pub density: f64,
}

impl Density {
    /// The middle density without 0 Hz: that of the noise, where lines are few.
    pub fn floor(&self) -> f64 {
        let mut sorted = self.density.get(1..).unwrap_or_default().to_vec();
        sorted.sort_by(f64::total_cmp);
        sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)
    }

    /// The independent segments that the mean is worth.
    ///
    /// # Formula
    /// K / (1 + 2ρ), ρ = 1/36 for a Hann window and half overlap; Welch (1967), eq. 8.
    pub fn effective_segments(&self) -> f64 {
        self.segment_count as f64 / (1.0 + 2.0 / 36.0)
    }

    /// The local maxima that stand `ratio` times above the floor, the highest first.
    pub fn peaks(&self, ratio: f64) -> Vec<Peak> {
        let least = ratio * self.floor();
        let mut peaks: Vec<Peak> = self
            .density
            .windows(3)
            .enumerate()
            .filter(|(_, three)| three[0] < three[1] && three[2] <= three[1] && least < three[1])
            .map(|(before, three)| {
                let bin = before + 1;
                let offset = log_parabola_offset(three[0].sqrt(), three[1].sqrt(), three[2].sqrt());
                Peak { bin, frequency_hz: (bin as f64 + offset) * self.step_hz, density: three[1] }
            })
            .collect();
        peaks.sort_by(|a, b| b.density.total_cmp(&a.density));
        peaks
    }
}

/// The periodic Hann window: w_i = ½ − ½·cos(2πi/n).
pub fn hann(n: usize) -> Vec<f64> {
    (0..n).map(|i| 0.5 - 0.5 * (TAU * i as f64 / n as f64).cos()).collect()
}

/// The discrete Fourier transform of real samples: bins 0 to n/2, not scaled.
pub fn transform(samples: &[f64]) -> Vec<Complex<f64>> {
    if samples.is_empty() {
        return Vec::new();
    }
    let plan = RealFftPlanner::new().plan_fft_forward(samples.len());
    let mut output = plan.make_output_vec();
    // OK because both lengths are the plan's own.
    plan.process(&mut samples.to_vec(), &mut output).expect("the plan is of this length");
    output
}

/// Welch's density: segments that overlap by half, each without its mean, under a periodic Hann window.
///
/// # Formula
/// P_k = 2·|X_k|² / (rate · Σw²), bins 0 and n/2 not doubled; the mean over segments.
///
/// # Errors
/// If the rate is not positive, a sample is not finite, or there are fewer samples than one segment of at least 8.
pub fn welch(samples: &[f64], rate_hz: f64, segment_len: usize) -> Result<Density, SignalError> {
    positive("the rate (Hz)", rate_hz)?;
    at_least("samples in a segment", segment_len, 8)?;
    at_least("samples", samples.len(), segment_len)?;
    for &sample in samples {
        finite("a sample", sample)?;
    }
    let window = hann(segment_len);
    let scale = 1.0 / (rate_hz * window.iter().map(|w| w * w).sum::<f64>());
    let mut density = vec![0.0; segment_len / 2 + 1];
    let mut segment_count = 0;
    for segment in samples.windows(segment_len).step_by(segment_len - segment_len / 2) {
        let mean = segment.iter().sum::<f64>() / segment_len as f64;
        let weighted: Vec<f64> = segment.iter().zip(&window).map(|(sample, w)| (sample - mean) * w).collect();
        for (sum, value) in density.iter_mut().zip(transform(&weighted)) {
            *sum += value.norm_sqr();
        }
        segment_count += 1;
    }
    let last = segment_len / 2;
    for (bin, value) in density.iter_mut().enumerate() {
        let alone = bin == 0 || (bin == last && segment_len.is_multiple_of(2));
        *value *= scale / segment_count as f64 * if alone { 1.0 } else { 2.0 };
    }
    Ok(Density { step_hz: rate_hz / segment_len as f64, density, segment_count })
}

/// How far, in bins, a peak lies from its highest bin, by a parabola through the logarithms of three amplitudes.
pub fn log_parabola_offset(before: f64, peak: f64, after: f64) -> f64 {
    if !(0.0 < before && 0.0 < peak && 0.0 < after) {
        return 0.0;
    }
    let (a, b, c) = (before.ln(), peak.ln(), after.ln());
    let bend = a - 2.0 * b + c;
    if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

/// How far, in bins, a steady tone lies from its highest bin under a Hann window, by the ratio of the two highest amplitudes.
///
/// # Formula
/// δ = (2a − 1)/(a + 1), a the ratio of the higher neighbour to the peak; Grandke (1983), IEEE Transactions on
/// Instrumentation and Measurement 32: 350–355.
pub fn hann_ratio_offset(before: f64, peak: f64, after: f64) -> f64 {
    if peak <= 0.0 || peak.is_nan() {
        return 0.0;
    }
    let (neighbour, sign) = if before < after { (after, 1.0) } else { (before, -1.0) };
    let ratio = neighbour / peak;
    sign * (2.0 * ratio - 1.0) / (ratio + 1.0)
}
