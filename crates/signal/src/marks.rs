//! Marks that come back at equal distances on a print, and what on the machine comes back as often.

use std::io::Cursor;

use image::{GrayImage, ImageReader, Limits};

use crate::error::{at_least, finite, positive};
use crate::estimate::propagate;
use crate::spectrum::{hann, hann_ratio_offset, transform};
use crate::{Estimate, Line, SignalError, png};

/// The largest photo that is read, in pixels a side.
const LARGEST_SIDE: u32 = 20_000;
/// The most memory that a photo may ask for, in bytes.
const LARGEST_BYTES: u64 = 1 << 29;
/// How many times the middle power a line must reach to be a period (judgement; the highest of 500 lines of noise reaches nine).
const CLEAR: f64 = 20.0;

/// The spacing of marks whose positions, in mm, were measured one by one; a mark that was missed counts as two steps.
///
/// # Formula
/// The slope of the positions over the marks' numbers ([`Line::fit`]); numbers come from the median distance.
///
/// # Errors
/// If there are fewer than four marks, one is not finite, or their distances have no common step.
pub fn spacing(positions_mm: &[f64]) -> Result<Estimate, SignalError> {
    at_least("marks", positions_mm.len(), 4)?;
    for &position in positions_mm {
        finite("a mark's position (mm)", position)?;
    }
    let mut sorted = positions_mm.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut steps: Vec<f64> = sorted.windows(2).map(|two| two[1] - two[0]).collect();
    let by_order = steps.clone();
    steps.sort_by(f64::total_cmp);
    let middle = positive("the middle distance of the marks (mm)", steps[steps.len() / 2])?;
    let mut number = 0.0;
    let mut points = vec![(0.0, sorted[0])];
    for (step, &position) in by_order.iter().zip(&sorted[1..]) {
        let count = (step / middle).round();
        // A third of a step off is no spacing, but marks at random.
        if count < 1.0 || middle / 3.0 < (step - count * middle).abs() {
            return Err(SignalError::NoPeriod);
        }
        number += count;
        points.push((number, position));
    }
    Ok(Line::fit("marks", &points)?.slope)
}

/// A point of a photo, in pixels from its upper left corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// To the right.
    pub x: f64,
    /// Down.
    pub y: f64,
}

/// How large a pixel is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scale {
    /// Millimetres for each pixel.
    MmPerPixel(Estimate),
    /// The distance of the line's two points, in mm.
    LengthMm(Estimate),
}

/// Grey values along a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    /// Grey values, 0 black to 255 white, at equal steps.
    pub grey: Vec<f64>,
    /// The step, in mm.
    pub step_mm: Estimate,
}

/// Reads the grey values of a PNG or JPEG photo along a line, one for each pixel of its length, between pixels linearly.
///
/// # Errors
/// If there is no scale or it is not positive, the photo can't be read, or the line is outside or shorter than 16 pixels.
pub fn profile(photo: &[u8], from: Point, to: Point, scale: Option<Scale>) -> Result<Profile, SignalError> {
    let scale = scale.ok_or(SignalError::NoScale)?;
    let grey = read_grey(photo)?;
    let (width, height) = grey.dimensions();
    for Point { x, y } in [from, to] {
        let inside = 0.0 <= x && x <= f64::from(width) - 1.0 && 0.0 <= y && y <= f64::from(height) - 1.0;
        if !inside {
            return Err(SignalError::OutsideImage { x, y, width, height });
        }
    }
    let length = (to.x - from.x).hypot(to.y - from.y);
    let steps = length.floor() as usize;
    at_least("pixels between the two points", steps, 16)?;
    let step_pixels = length / steps as f64;
    let step_mm = match scale {
        Scale::MmPerPixel(mm) => propagate(mm.value * step_pixels, &[(step_pixels, mm)]),
        Scale::LengthMm(mm) => propagate(mm.value / steps as f64, &[(1.0 / steps as f64, mm)]),
    };
    positive("the scale (mm)", step_mm.value)?;
    let at = |i: usize| {
        let share = i as f64 / steps as f64;
        between_pixels(&grey, from.x + share * (to.x - from.x), from.y + share * (to.y - from.y))
    };
    Ok(Profile { grey: (0..=steps).map(at).collect(), step_mm })
}

fn read_grey(photo: &[u8]) -> Result<GrayImage, SignalError> {
    let refuse = |why: String| SignalError::NotImage { why };
    if let Some(why) = png::bad_palette(photo) {
        return Err(refuse(why));
    }
    let mut reader = ImageReader::new(Cursor::new(photo)).with_guessed_format().map_err(|e| refuse(e.to_string()))?;
    let mut limits = Limits::default();
    limits.max_image_width = Some(LARGEST_SIDE);
    limits.max_image_height = Some(LARGEST_SIDE);
    limits.max_alloc = Some(LARGEST_BYTES);
    reader.limits(limits);
    Ok(reader.decode().map_err(|e| refuse(e.to_string()))?.into_luma8())
}

/// The grey value at a point inside the photo, bilinearly.
fn between_pixels(grey: &GrayImage, x: f64, y: f64) -> f64 {
    let at = |x: f64, y: f64| {
        let column = (x as u32).min(grey.width() - 1);
        let row = (y as u32).min(grey.height() - 1);
        f64::from(grey.get_pixel(column, row).0[0])
    };
    let (left, top) = (x.floor(), y.floor());
    let (right, down) = (x - left, y - top);
    let upper = at(left, top) * (1.0 - right) + at(left + 1.0, top) * right;
    let lower = at(left, top + 1.0) * (1.0 - right) + at(left + 1.0, top + 1.0) * right;
    upper * (1.0 - down) + lower * down
}

/// The dominant spacing of a profile, in mm.
///
/// # Formula
/// The highest line in the spectrum of the profile less its straight trend, under a Hann window, between bins by Grandke
/// (1983); its variance is that of a sine's frequency in white noise, 12σ²/(A²/2 · n³)/(2π)² cycles² (Rife & Boorstyn
/// (1974), IEEE Transactions on Information Theory 20: 591–598), doubled for the window (judgement), with the scale's
/// uncertainty added relatively.
///
/// # Errors
/// If there are fewer than 16 values, a value is not finite, or no period that fits in at least three times stands out.
pub fn dominant_spacing(profile: &Profile) -> Result<Estimate, SignalError> {
    let n = profile.grey.len();
    at_least("values in the profile", n, 16)?;
    let points: Vec<(f64, f64)> = profile.grey.iter().enumerate().map(|(i, &value)| (i as f64, value)).collect();
    let trend = Line::fit("values in the profile", &points)?;
    let window = hann(n);
    let flat: Vec<f64> = points.iter().zip(&window).map(|((i, value), w)| (value - trend.at(*i)) * w).collect();
    let power: Vec<f64> = transform(&flat).iter().map(|bin| bin.norm_sqr()).collect();
    let mut sorted = power.clone();
    sorted.sort_by(f64::total_cmp);
    let floor = sorted[sorted.len() / 2];
    let peak = (3..power.len() - 1).max_by(|&a, &b| power[a].total_cmp(&power[b])).ok_or(SignalError::NoPeriod)?;
    let rises = power[peak - 1] < power[peak] && power[peak + 1] <= power[peak];
    // Rounding alone must not pass for a period.
    if !rises || power[peak] <= CLEAR * floor || power[peak] < 1e-6 * n as f64 {
        return Err(SignalError::NoPeriod);
    }
    let offset = hann_ratio_offset(power[peak - 1].sqrt(), power[peak].sqrt(), power[peak + 1].sqrt());
    let cycles = (peak as f64 + offset) / n as f64;
    // A Hann window's sum is n/2, its squares' 3n/8; the middle of exponentially spread powers is ln 2 of their mean.
    let amplitude_square = power[peak] * (4.0 / n as f64).powi(2);
    let noise = floor / (std::f64::consts::LN_2 * 0.375 * n as f64);
    let cubed = (n as f64).powi(3);
    let variance = 2.0 * 24.0 * noise / (amplitude_square * cubed * std::f64::consts::TAU.powi(2));
    let found = Estimate::new(cycles, variance.sqrt())?;
    let spacing = profile.step_mm.value / cycles;
    Ok(propagate(spacing, &[(-spacing / cycles, found), (1.0 / cycles, profile.step_mm)]))
}

/// Something on the machine that comes back after a length of travel, height or filament.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedPeriod {
    /// Its name.
    pub name: String,
    /// Its period, in mm.
    pub period_mm: f64,
    /// How many of its harmonics may show: 1 for the period alone.
    pub harmonics: u32,
}

/// A named period, or a harmonic of it, that a spacing agrees with.
#[derive(Clone, Debug, PartialEq)]
pub struct Match {
    /// Its name.
    pub name: String,
    /// 1 for the period itself, 2 for its half, and so on.
    pub harmonic: u32,
    /// How far the spacing is off, in standard uncertainties.
    pub off_in_standard_uncertainties: f64,
}

/// The named periods that a spacing agrees with, the nearest first, and of equals the lower harmonic first.
///
/// `tolerance` is what periods are themselves off by, as a standard uncertainty relative to them (such as 0.002).
/// What is off beyond doubt is left out.
///
/// # Errors
/// If the spacing or a period (mm) is not positive, or the tolerance is negative.
pub fn matches(spacing_mm: Estimate, periods: &[NamedPeriod], tolerance: f64) -> Result<Vec<Match>, SignalError> {
    let mut found = Vec::new();
    for period in periods {
        let each = harmonics(spacing_mm, period, tolerance)?;
        found.extend(each.into_iter().filter(|(_, off)| !off.beyond_doubt()).map(|(harmonic, _)| harmonic));
    }
    found.sort_by(nearer);
    Ok(found)
}

/// How far a spacing is off each named period, or the harmonic of it that is nearest; in the periods' order.
///
/// # Errors
/// As [`matches`].
pub fn misfits(spacing_mm: Estimate, periods: &[NamedPeriod], tolerance: f64) -> Result<Vec<Match>, SignalError> {
    let mut found = Vec::with_capacity(periods.len());
    for period in periods {
        let each = harmonics(spacing_mm, period, tolerance)?;
        found.extend(each.into_iter().map(|(harmonic, _)| harmonic).min_by(nearer));
    }
    Ok(found)
}

/// How far a spacing is off each harmonic of a period, in standard uncertainties and in mm.
fn harmonics(
    spacing_mm: Estimate,
    period: &NamedPeriod,
    tolerance: f64,
) -> Result<Vec<(Match, Estimate)>, SignalError> {
    positive("the spacing (mm)", spacing_mm.value)?;
    positive("a named period (mm)", period.period_mm)?;
    let of = |harmonic: u32| {
        let expected = period.period_mm / f64::from(harmonic);
        let off_mm = spacing_mm.less(&Estimate::new(expected, tolerance * expected)?);
        let off = if 0.0 < off_mm.uncertainty { off_mm.value / off_mm.uncertainty } else { 0.0 };
        Ok((Match { name: period.name.clone(), harmonic, off_in_standard_uncertainties: off }, off_mm))
    };
    (1..=period.harmonics).map(of).collect()
}

/// The nearest first, and of equals the lower harmonic first.
fn nearer(one: &Match, other: &Match) -> std::cmp::Ordering {
    let off = |found: &Match| found.off_in_standard_uncertainties.abs();
    off(one).total_cmp(&off(other)).then(one.harmonic.cmp(&other.harmonic))
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use image::{ImageFormat, Luma};
    use proptest::prelude::*;

    use super::*;

    fn exact(value: f64) -> Estimate {
        Estimate::new(value, 0.0).unwrap()
    }

    /// A photo of bands across it, 12.8 pixels apart, that gets darker to one side.
    fn photo() -> Vec<u8> {
        let bands = GrayImage::from_fn(400, 40, |x, _| {
            Luma([(120.0 + 40.0 * (TAU * f64::from(x) / 12.8).sin() - 0.1 * f64::from(x)) as u8])
        });
        let mut bytes = Cursor::new(Vec::new());
        bands.write_to(&mut bytes, ImageFormat::Png).unwrap();
        bytes.into_inner()
    }

    #[test]
    fn bands_on_a_photo_have_their_spacing() {
        let (from, to) = (Point { x: 5.0, y: 20.0 }, Point { x: 385.0, y: 20.0 });
        let scale = Some(Scale::MmPerPixel(Estimate::new(0.1, 0.001).unwrap()));
        let spacing = dominant_spacing(&profile(&photo(), from, to, scale).unwrap()).unwrap();
        assert!((spacing.value - 1.28).abs() < 0.002, "{spacing:?}");
        assert!((spacing.relative().unwrap() - 0.01).abs() < 0.001, "{spacing:?}");
        let by_length = Some(Scale::LengthMm(exact(38.0)));
        let spacing = dominant_spacing(&profile(&photo(), from, to, by_length).unwrap()).unwrap();
        assert!((spacing.value - 1.28).abs() < 0.002, "{spacing:?}");
    }

    #[test]
    fn a_photo_without_scale_or_outside_is_refused() {
        let (from, to) = (Point { x: 5.0, y: 20.0 }, Point { x: 385.0, y: 20.0 });
        assert_eq!(profile(&photo(), from, to, None), Err(SignalError::NoScale));
        let scale = Some(Scale::MmPerPixel(exact(0.1)));
        let outside = profile(&photo(), from, Point { x: 400.0, y: 0.0 }, scale);
        assert!(matches!(outside, Err(SignalError::OutsideImage { .. })));
        let flat = Profile { grey: vec![7.0; 100], step_mm: exact(0.1) };
        assert_eq!(dominant_spacing(&flat), Err(SignalError::NoPeriod));
    }

    #[test]
    fn marks_one_of_which_was_missed_have_their_spacing() {
        let spacing = spacing(&[0.01, 2.0, 3.99, 8.01, 10.0]).unwrap();
        assert!((spacing.value - 2.0).abs() < 0.01, "{spacing:?}");
        assert_eq!(super::spacing(&[0.0, 1.0, 2.5, 3.0, 7.7]), Err(SignalError::NoPeriod));
    }

    #[test]
    fn the_nearest_period_comes_first_and_the_far_are_left_out() {
        let period = |name: &str, period_mm, harmonics| NamedPeriod { name: name.to_owned(), period_mm, harmonics };
        let periods = [period("belt tooth", 2.0, 2), period("screw", 8.0, 4), period("pulley", 40.0, 1)];
        let found = matches(Estimate::new(2.01, 0.01).unwrap(), &periods, 0.001).unwrap();
        let named: Vec<(&str, u32)> = found.iter().map(|found| (found.name.as_str(), found.harmonic)).collect();
        assert_eq!(named, [("belt tooth", 1), ("screw", 4)]);
        // Each period has its nearest harmonic, however far: (2.01 − 40)/√(0.01² + 0.04²) of the pulley's only one.
        let all = misfits(Estimate::new(2.01, 0.01).unwrap(), &periods, 0.001).unwrap();
        let harmonics: Vec<u32> = all.iter().map(|found| found.harmonic).collect();
        assert_eq!(harmonics, [1, 4, 1]);
        let pulley = all[2].off_in_standard_uncertainties;
        assert!((pulley + 37.99 / 0.01_f64.hypot(0.04)).abs() < 1e-9, "{pulley}");
    }

    proptest! {
        #[test]
        fn no_bytes_make_the_photo_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..400), cut in 0_usize..2000) {
            let point = Point { x: 0.0, y: 0.0 };
            let scale = Some(Scale::MmPerPixel(exact(0.1)));
            prop_assert!(profile(&bytes, point, point, scale).is_err());
            let mut spoilt = photo();
            let at = cut.min(spoilt.len());
            spoilt.splice(at.., bytes);
            prop_assert!(profile(&spoilt, point, point, scale).is_err());
        }
    }
}
