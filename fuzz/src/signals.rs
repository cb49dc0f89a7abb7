//! Recordings and photos.

use signal::marks::{Point, Scale, dominant_spacing, profile};
use signal::{Estimate, pluck, wav};

/// Reads a recording and listens for a pluck: samples and figures are numbers.
pub fn wav(bytes: &[u8]) {
    match wav::read(bytes, 0.1) {
        Ok(recording) => {
            assert!(recording.samples.iter().all(|sample| sample.is_finite()) && 0.0 < recording.rate_hz);
            match pluck::fundamental(&recording) {
                Ok(found) => is_figure(found.frequency_hz),
                Err(error) => says_something(&error),
            }
        }
        Err(error) => says_something(&error),
    }
}

/// Lines in a photo, from left to right and from corner to corner.
const LINES: [[f64; 4]; 2] = [[0.0, 3.0, 31.0, 3.0], [0.5, 0.25, 24.0, 17.5]];

/// Reads the grey values of a photo along lines, and looks for marks in them.
pub fn photo(bytes: &[u8]) {
    let scale = Estimate::new(0.06, 0.001).map(Scale::MmPerPixel).expect("a scale that can be");
    for [x0, y0, x1, y1] in LINES {
        match profile(bytes, Point { x: x0, y: y0 }, Point { x: x1, y: y1 }, Some(scale)) {
            Ok(profile) => {
                assert!(profile.grey.iter().all(|grey| (0.0..=255.0).contains(grey)), "{:?}", profile.grey);
                match dominant_spacing(&profile) {
                    Ok(spacing) => is_figure(spacing),
                    Err(error) => says_something(&error),
                }
            }
            Err(error) => says_something(&error),
        }
    }
}

/// Asserts that a figure and its uncertainty are numbers.
pub(crate) fn is_figure(figure: Estimate) {
    assert!(figure.value.is_finite() && 0.0 <= figure.uncertainty, "{figure:?}");
}

/// Asserts that an error has words.
pub(crate) fn says_something(error: &dyn std::fmt::Display) {
    assert!(!error.to_string().trim().is_empty());
}
