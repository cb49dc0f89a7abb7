//! What can be wrong with a measurement.

/// Why a measurement gives no figure: what is wrong, where, and what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SignalError {
    /// A value that must be positive and finite is not.
    #[error("{what} is {got}, but must be positive and finite")]
    NotPositive {
        /// What it is, with its unit.
        what: &'static str,
        /// Its value.
        got: f64,
    },
    /// A value is not a finite number.
    #[error("{what} is {got}, but must be a finite number")]
    NotFinite {
        /// What it is, with its unit.
        what: &'static str,
        /// Its value.
        got: f64,
    },
    /// A value lies outside what is possible.
    #[error("{what} is {got}, but must lie between {from} and {to}")]
    OutOfRange {
        /// What it is, with its unit.
        what: &'static str,
        /// Its value.
        got: f64,
        /// The least.
        from: f64,
        /// The greatest.
        to: f64,
    },
    /// Fewer values than the method needs.
    #[error("found {got} {what}, but at least {needed} are needed; measure more often")]
    TooFew {
        /// What was counted.
        what: &'static str,
        /// How many there are.
        got: usize,
        /// How many are needed.
        needed: usize,
    },
    /// The bytes are no WAV recording.
    #[error("this is not a WAV recording: {why}; save the recording as WAV (PCM), not renamed from another format")]
    NotWav {
        /// What is missing.
        why: &'static str,
    },
    /// A WAV recording that is coded in another way than PCM or float.
    #[error(
        "the recording's samples are coded in a way that is not read (format {format}, {bits} bits); \
             save it as WAV with 8, 16, 24 or 32 bit PCM, or 32 or 64 bit float"
    )]
    WavCoding {
        /// The number of the format.
        format: u16,
        /// The bits of a sample.
        bits: u16,
    },
    /// The file ends before what it announces.
    #[error(
        "the recording is cut off at byte {at}: {announced} bytes of sound are announced, but only {got} are there; \
             copy the file again"
    )]
    CutOff {
        /// Where the sound begins.
        at: usize,
        /// How many bytes are announced.
        announced: usize,
        /// How many are there.
        got: usize,
    },
    /// Nothing is heard.
    #[error("the recording is silent; check which microphone was chosen, and record again")]
    Silent,
    /// The microphone was overdriven.
    #[error(
        "{clipped} samples are clipped, the first at {first_s:.3} s; \
             move the microphone away or turn it down, and record again"
    )]
    Clipped {
        /// How many samples are at full scale.
        clipped: usize,
        /// The time of the first, in s.
        first_s: f64,
    },
    /// Too short to tell.
    #[error("the {what} lasts {got_s:.3} s, but must last at least {needed_s:.3} s; record longer")]
    TooShort {
        /// What is too short.
        what: &'static str,
        /// How long it is, in s.
        got_s: f64,
        /// How long it must be, in s.
        needed_s: f64,
    },
    /// A log pauses.
    #[error(
        "nothing is logged between {from_s} s and {to_s} s, far longer than its other steps; log again without a pause"
    )]
    Pause {
        /// The last time before the pause, in s.
        from_s: f64,
        /// The first time after it, in s.
        to_s: f64,
    },
    /// No tone stands out.
    #[error(
        "no clear tone is heard after {onset_s:.2} s; pluck the middle of the span harder, hold the microphone nearer, \
             and keep the room quiet"
    )]
    NoTone {
        /// Where the pluck was taken to be, in s.
        onset_s: f64,
    },
    /// The tone may be the mains' hum.
    #[error(
        "the tone of {frequency_hz:.2} Hz may be the hum of the mains; leave half a second of quiet before the pluck, \
             so that the two can be told apart"
    )]
    MainsHum {
        /// The tone, in Hz.
        frequency_hz: f64,
    },
    /// The picture can't be read.
    #[error("the photo can't be read: {why}; give a PNG or JPEG file")]
    NotImage {
        /// What the reader says.
        why: String,
    },
    /// The photo has no scale.
    #[error(
        "the photo has no scale, so nothing can be measured in it; \
             lay a ruler beside the print and give mm per pixel, or the distance between the two points"
    )]
    NoScale,
    /// A point lies outside the picture.
    #[error("the point ({x}, {y}) lies outside the photo, which is {width} by {height} pixels; give a point inside it")]
    OutsideImage {
        /// Its column, in pixels.
        x: f64,
        /// Its row, in pixels.
        y: f64,
        /// The picture's width, in pixels.
        width: u32,
        /// The picture's height, in pixels.
        height: u32,
    },
    /// No period stands out.
    #[error("no regular spacing stands out; take a longer stretch, or light it from the side")]
    NoPeriod,
    /// A line of a table can't be read.
    #[error("line {line}: {why}")]
    Line {
        /// The line, from 1.
        line: u64,
        /// What is wrong and what to do.
        why: String,
    },
    /// The header of a table can't be used.
    #[error("the table's header: {why}")]
    Header {
        /// What is wrong and what to do.
        why: String,
    },
}

/// Passes on `got` if it is positive and finite; NaN is neither.
pub(crate) fn positive(what: &'static str, got: f64) -> Result<f64, SignalError> {
    if 0.0 < got && got < f64::INFINITY { Ok(got) } else { Err(SignalError::NotPositive { what, got }) }
}

/// Passes on `got` if it is finite.
pub(crate) fn finite(what: &'static str, got: f64) -> Result<f64, SignalError> {
    if got.is_finite() { Ok(got) } else { Err(SignalError::NotFinite { what, got }) }
}

/// Refuses fewer than `needed`.
pub(crate) fn at_least(what: &'static str, got: usize, needed: usize) -> Result<(), SignalError> {
    if needed <= got { Ok(()) } else { Err(SignalError::TooFew { what, got, needed }) }
}
