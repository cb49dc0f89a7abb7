//! Published checks of spectra and of the string.

use std::f64::consts::TAU;

use signal::spectrum::{hann, hann_ratio_offset, log_parabola_offset, transform, welch};
use signal::{Estimate, pluck};

#[track_caller]
fn check(got: f64, expected: f64, relative: f64) {
    assert!((got - expected).abs() <= relative * expected.abs(), "{got} is not {expected}");
}

/// The highest bin of a windowed sine of 110.3 Hz at 1000 Hz, and the amplitudes about it.
fn sine_peak(window: &[f64]) -> (usize, [f64; 3]) {
    let n = window.len();
    let wave: Vec<f64> = (0..n).map(|i| (TAU * 110.3 * i as f64 / 1000.0 + 0.4).sin() * window[i]).collect();
    let amplitudes: Vec<f64> = transform(&wave).iter().map(|bin| bin.norm()).collect();
    let bin = (1..n / 2).max_by(|&a, &b| amplitudes[a].total_cmp(&amplitudes[b])).unwrap();
    (bin, [amplitudes[bin - 1], amplitudes[bin], amplitudes[bin + 1]])
}

#[test]
fn a_sine_between_bins_is_found_as_published_formulas_find_it() {
    // Grandke (1983) and the parabola through logarithms, computed by numpy's FFT; relative 1e-8.
    let (bin, [a, b, c]) = sine_peak(&[1.0; 1024]);
    assert_eq!(bin, 113);
    check(log_parabola_offset(a, b, c), -0.008192596018631988, 1e-8);
    let (bin, [a, b, c]) = sine_peak(&hann(1024));
    assert_eq!(bin, 113);
    check(log_parabola_offset(a, b, c), -0.05708435538028899, 1e-8);
    check(hann_ratio_offset(a, b, c), -0.05280000785870252, 1e-8);
}

#[test]
fn welchs_density_of_a_reproducible_noise_is_that_of_another_program() {
    // Welch (1967) as computed by scipy.signal.welch 1.17.1 with its defaults, segments of 256; relative 1e-9.
    let mut state: u32 = 12345;
    let noise: Vec<f64> = (0..4096)
        .map(|_| {
            state = state.wrapping_mul(1664525).wrapping_add(1013904223);
            f64::from(state) / 2_f64.powi(32) - 0.5
        })
        .collect();
    check(noise[0], -0.4795973142609, 1e-12);
    let spectrum = welch(&noise, 1000.0, 256).unwrap();
    assert_eq!(spectrum.segment_count, 31);
    for (bin, expected) in [
        (0, 2.3269025414136883e-05),
        (1, 0.00013540688827609786),
        (10, 0.00014532635459080223),
        (64, 0.00015982092700792092),
        (128, 0.00015920704689951102),
    ] {
        check(spectrum.density[bin], expected, 1e-9);
    }
    check(spectrum.density.iter().sum::<f64>() * spectrum.step_hz, 0.08258963835672652, 1e-9);
}

#[test]
fn a_plucked_span_has_the_tension_of_the_ideal_string() {
    // Mersenne: f = √(T/μ)/(2L), for 0.15 m, 0.0084 kg/m, 110 Hz; closed form, relative 1e-8.
    let exact = |value| Estimate::new(value, 0.0).unwrap();
    check(pluck::tension(exact(110.0), exact(150.0), exact(8.4)).unwrap().value, 9.147599999999999, 1e-8);
    check(pluck::tension(exact(140.85904245475277), exact(150.0), exact(8.4)).unwrap().value, 15.0, 1e-8);
    let doubtful = pluck::tension(Estimate::new(110.0, 1.1).unwrap(), exact(150.0), exact(8.4)).unwrap();
    check(doubtful.relative().unwrap(), 0.02, 1e-12);
}

#[test]
fn what_both_belts_share_makes_no_difference_between_them() {
    let with = |value, uncertainty| Estimate::new(value, uncertainty).unwrap();
    // A fifth of the mass is in doubt, but it is the same belt.
    let (span, mass) = (with(150.0, 1.0), with(8.4, 1.7));
    let equal = pluck::tension_difference(with(110.0, 0.1), with(110.1, 0.1), span, mass).unwrap();
    assert!(!equal.beyond_doubt(), "{equal:?}");
    let other = pluck::tension_difference(with(110.0, 0.1), with(112.0, 0.1), span, mass).unwrap();
    assert!(other.beyond_doubt() && other.value < 0.0, "{other:?}");
}
