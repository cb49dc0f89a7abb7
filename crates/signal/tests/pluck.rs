//! Plucks made by a seeded generator, of known frequency.

use std::f64::consts::TAU;

use signal::wav::Recording;
use signal::{SignalError, pluck};

/// A small generator of normal noise: a linear congruence's high bits, twelve of which add up to variance 1.
struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

struct Scene {
    frequency_hz: f64,
    rate_hz: f64,
    /// The mean power of the first half second of the pluck over that of the noise.
    signal_to_noise: f64,
    /// Amplitude of the hum against the root mean square of the pluck.
    hum: f64,
    hum_hz: f64,
    seed: u64,
}

/// One and a half seconds: 0.35 s of quiet, then a pluck of eight harmonics that decay the faster the higher they are.
fn record(scene: &Scene) -> Recording {
    let mut noise = Noise(scene.seed);
    let onset = 0.35 * scene.rate_hz;
    let n = (1.5 * scene.rate_hz) as usize;
    let phases: Vec<f64> = (0..8).map(|_| TAU * noise.uniform()).collect();
    let mut samples: Vec<f64> = (0..n)
        .map(|i| {
            let t = (i as f64 - onset) / scene.rate_hz;
            if t < 0.0 {
                return 0.0;
            }
            (1..=8)
                .map(|k| {
                    let k_f = f64::from(k);
                    let wave = (TAU * k_f * scene.frequency_hz * t + phases[k as usize - 1]).sin();
                    wave * (-t * (3.0 + k_f)).exp() / k_f
                })
                .sum()
        })
        .collect();
    let half_second = (0.5 * scene.rate_hz) as usize;
    let power = samples.iter().skip(onset as usize).take(half_second).map(|sample| sample * sample).sum::<f64>()
        / half_second as f64;
    let hum_phase = TAU * noise.uniform();
    for (i, sample) in samples.iter_mut().enumerate() {
        *sample += (power / scene.signal_to_noise).sqrt() * noise.normal();
        let turn = TAU * scene.hum_hz * i as f64 / scene.rate_hz + hum_phase;
        *sample += scene.hum * power.sqrt() * (turn.sin() + 0.4 * (2.0 * turn).sin() + 0.2 * (3.0 * turn).sin());
    }
    Recording { samples, rate_hz: scene.rate_hz }
}

#[test]
fn fundamentals_are_within_half_a_percent_at_ten_decibels() {
    let mut scaled = Vec::new();
    for rate_hz in [16_000.0, 44_100.0, 48_000.0] {
        for frequency_hz in [20.0, 27.3, 41.0, 49.3, 51.0, 58.9, 77.7, 101.2, 110.3, 149.0, 203.0, 287.5, 400.0] {
            for (seed, hum) in [(1, 0.0), (2, 0.0), (3, 0.5)] {
                let scene = Scene { frequency_hz, rate_hz, signal_to_noise: 10.0, hum, hum_hz: 49.97, seed };
                let found = pluck::fundamental(&record(&scene))
                    .unwrap_or_else(|why| panic!("{frequency_hz} Hz at {rate_hz}, seed {seed}, hum {hum}: {why}"));
                let off = found.frequency_hz.value - frequency_hz;
                assert!(
                    off.abs() < 0.005 * frequency_hz,
                    "{frequency_hz} Hz at {rate_hz}, seed {seed}, hum {hum}: {found:?}"
                );
                scaled.push(off / found.frequency_hz.uncertainty);
            }
        }
    }
    // The uncertainties are honest: errors are no larger than they say, and smaller only as the generator's clock is exact.
    let rms = (scaled.iter().map(|z| z * z).sum::<f64>() / scaled.len() as f64).sqrt();
    assert!(0.1 < rms && rms < 1.7, "{rms}");
}

#[test]
fn noise_and_hum_alone_are_no_tone() {
    for seed in 1..=6 {
        let mut noise = Noise(seed);
        let rate_hz = 16_000.0;
        let samples: Vec<f64> = (0..24_000).map(|_| 0.1 * noise.normal()).collect();
        let hum: Vec<f64> =
            samples.iter().enumerate().map(|(i, s)| s + 0.3 * (TAU * 50.0 * i as f64 / rate_hz).sin()).collect();
        let quiet = pluck::fundamental(&Recording { samples, rate_hz });
        assert!(matches!(quiet, Err(SignalError::NoTone { .. } | SignalError::TooShort { .. })), "{quiet:?}");
        let humming = pluck::fundamental(&Recording { samples: hum, rate_hz });
        assert!(humming.is_err(), "{humming:?}");
    }
}

#[test]
fn without_quiet_before_it_a_tone_of_the_mains_is_refused() {
    let scene =
        Scene { frequency_hz: 100.1, rate_hz: 16_000.0, signal_to_noise: 100.0, hum: 0.0, hum_hz: 50.0, seed: 4 };
    let mut recording = record(&scene);
    assert!(pluck::fundamental(&recording).is_ok(), "with quiet before it, it is the belt's");
    recording.samples.drain(..(0.3 * 16_000.0) as usize);
    let found = pluck::fundamental(&recording);
    assert!(matches!(found, Err(SignalError::MainsHum { .. })), "{found:?}");
}

#[test]
fn a_recording_that_ends_with_the_pluck_is_too_short() {
    let scene =
        Scene { frequency_hz: 110.0, rate_hz: 16_000.0, signal_to_noise: 100.0, hum: 0.0, hum_hz: 50.0, seed: 5 };
    let mut recording = record(&scene);
    recording.samples.truncate((0.55 * 16_000.0) as usize);
    let found = pluck::fundamental(&recording);
    assert!(matches!(found, Err(SignalError::TooShort { .. })), "{found:?}");
}

#[test]
fn belts_differ_by_the_squares_of_their_tones() {
    let tone = |value| signal::Estimate::new(value, 0.1).unwrap();
    let found = pluck::tension_mismatch(tone(110.0), tone(100.0)).unwrap();
    // By hand: 2(110² − 100²)/(110² + 100²).
    assert!((found.value - 4200.0 / 22_100.0).abs() < 1e-12, "{found:?}");
    // The uncertainty is what moving each tone by its own does (GUM 5.1.2, note 2).
    let share = |first: f64, second: f64| 2.0 * (first * first - second * second) / (first * first + second * second);
    let moved = (share(110.1, 100.0) - found.value).hypot(share(110.0, 100.1) - found.value);
    assert!((found.uncertainty - moved).abs() < 0.005 * moved, "{found:?} {moved}");
    assert!(found.beyond_doubt() && !pluck::tension_mismatch(tone(100.1), tone(100.0)).unwrap().beyond_doubt());
}
