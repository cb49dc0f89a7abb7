//! WAV recordings: bytes in, samples out.
//!
//! RIFF chunks as in Multimedia Programming Interface and Data Specifications 1.0 (1991); `WAVE_FORMAT_EXTENSIBLE`'s
//! sub-format as published later (both from memory).

use crate::SignalError;
use crate::error::positive;

/// A recording, mixed down to one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// The samples, full scale ±1.
    pub samples: Vec<f64>,
    /// How many samples a second has, in Hz.
    pub rate_hz: f64,
}

impl Recording {
    /// How long it lasts, in s.
    pub fn duration_s(&self) -> f64 {
        self.samples.len() as f64 / self.rate_hz
    }
}

const PCM: u16 = 1;
const FLOAT: u16 = 3;
const EXTENSIBLE: u16 = 0xFFFE;

/// As many samples in a row at full scale are no chance peak, but cut (judgement).
const CLIPPED_RUN: usize = 3;
/// Samples from this on are taken for full scale.
const FULL_SCALE: f64 = 0.999;

/// How a sample is written.
#[derive(Clone, Copy)]
struct Coding {
    format: u16,
    bits: u16,
    channels: usize,
    rate_hz: f64,
}

/// Reads a recording; channels are mixed down to their mean.
///
/// # Errors
/// If it is no WAV, is cut off, coded in another way than PCM or float, silent, clipped, or shorter than `shortest_s`.
pub fn read(bytes: &[u8], shortest_s: f64) -> Result<Recording, SignalError> {
    let (coding, sound) = chunks(bytes)?;
    let width = usize::from(coding.bits / 8);
    let rate_hz = coding.rate_hz;
    // Channels one after another within each frame, as they are in the file.
    let values: Vec<f64> = sound
        .chunks_exact(width * coding.channels)
        .flat_map(|frame| frame.chunks_exact(width).map(|bytes| sample(coding, bytes)))
        .collect();
    if values.iter().any(|value| !value.is_finite()) {
        return Err(SignalError::NotFinite { what: "a sample of the recording", got: f64::NAN });
    }
    let got_s = (values.len() / coding.channels) as f64 / rate_hz;
    if got_s < shortest_s || values.is_empty() {
        return Err(SignalError::TooShort { what: "recording", got_s, needed_s: shortest_s.max(1.0 / rate_hz) });
    }
    refuse_clipped(&values, coding)?;
    let mean = |frame: &[f64]| frame.iter().sum::<f64>() / frame.len() as f64;
    let samples: Vec<f64> = values.chunks_exact(coding.channels).map(mean).collect();
    let first = samples[0];
    // Less than one step of 16 bits up and down is no sound.
    if samples.iter().all(|value| (value - first).abs() < 1.0 / 65536.0) {
        return Err(SignalError::Silent);
    }
    Ok(Recording { samples, rate_hz })
}

/// The coding and the sound's bytes.
fn chunks(bytes: &[u8]) -> Result<(Coding, &[u8]), SignalError> {
    if bytes.get(..4) != Some(b"RIFF") || bytes.get(8..12) != Some(b"WAVE") {
        return Err(SignalError::NotWav { why: "it does not begin with RIFF and WAVE" });
    }
    let mut at = 12;
    let mut coding = None;
    while let Some(head) = bytes.get(at..at + 8) {
        let announced = u32::from_le_bytes([head[4], head[5], head[6], head[7]]) as usize;
        at += 8;
        let body = &bytes[at..bytes.len().min(at.saturating_add(announced))];
        match &head[..4] {
            b"fmt " => coding = Some(self::coding(body)?),
            b"data" => {
                let coding = coding.ok_or(SignalError::NotWav { why: "its sound comes before its format" })?;
                return if body.len() < announced {
                    Err(SignalError::CutOff { at, announced, got: body.len() })
                } else {
                    Ok((coding, body))
                };
            }
            _ => {}
        }
        // Chunks begin at even bytes.
        at = at.saturating_add(announced).saturating_add(announced % 2);
    }
    Err(SignalError::NotWav { why: "it has no sound in it (no data chunk)" })
}

fn coding(body: &[u8]) -> Result<Coding, SignalError> {
    let word = |at: usize| body.get(at..at + 2).map(|two| u16::from_le_bytes([two[0], two[1]]));
    let short = SignalError::NotWav { why: "its format chunk is cut off" };
    let (Some(tag), Some(channels), Some(low), Some(high), Some(bits)) = (word(0), word(2), word(4), word(6), word(14))
    else {
        return Err(short);
    };
    let format = if tag == EXTENSIBLE { word(24).ok_or(short)? } else { tag };
    if !matches!((format, bits), (PCM, 8 | 16 | 24 | 32) | (FLOAT, 32 | 64)) {
        return Err(SignalError::WavCoding { format, bits });
    }
    if channels == 0 {
        return Err(SignalError::NotWav { why: "it has no channel" });
    }
    let rate_hz = positive("the recording's rate (Hz)", f64::from(low) + 65536.0 * f64::from(high))?;
    Ok(Coding { format, bits, channels: usize::from(channels), rate_hz })
}

/// One sample, full scale ±1; `bytes` are as many as its coding has.
fn sample(coding: Coding, bytes: &[u8]) -> f64 {
    let mut eight = [0; 8];
    eight[..bytes.len()].copy_from_slice(bytes);
    let raw = u64::from_le_bytes(eight);
    match (coding.format, coding.bits) {
        // Eight bits are unsigned, all others signed.
        (PCM, 8) => (raw as f64 - 128.0) / 128.0,
        (PCM, bits) => {
            let half = 2_f64.powi(i32::from(bits) - 1);
            let value = raw as f64;
            (if value < half { value } else { value - 2.0 * half }) / half
        }
        (_, 32) => f64::from(f32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]])),
        _ => f64::from_le_bytes(eight),
    }
}

fn refuse_clipped(values: &[f64], coding: Coding) -> Result<(), SignalError> {
    let mut clipped = 0;
    let mut first = None;
    for channel in 0..coding.channels {
        let mut run = 0;
        for (i, frame) in values.chunks_exact(coding.channels).enumerate() {
            run = if FULL_SCALE <= frame[channel].abs() { run + 1 } else { 0 };
            if run == CLIPPED_RUN {
                clipped += CLIPPED_RUN;
                let start = i + 1 - CLIPPED_RUN;
                first = Some(first.map_or(start, |first: usize| first.min(start)));
            } else if CLIPPED_RUN < run {
                clipped += 1;
            }
        }
    }
    match first {
        Some(first) => Err(SignalError::Clipped { clipped, first_s: first as f64 / coding.rate_hz }),
        None => Ok(()),
    }
}
