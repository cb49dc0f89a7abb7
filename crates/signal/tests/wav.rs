//! Recordings of every coding, and files that are none.

use proptest::prelude::*;
use signal::SignalError;
use signal::wav::{Recording, read};

const PCM: u16 = 1;
const FLOAT: u16 = 3;

/// A WAV file, by the published layout of its chunks.
fn file(format: u16, bits: u16, channels: u16, extensible: bool, sound: &[u8]) -> Vec<u8> {
    let width = bits / 8 * channels;
    let mut head = Vec::new();
    head.extend((if extensible { 0xFFFE } else { format }).to_le_bytes());
    head.extend(channels.to_le_bytes());
    head.extend(8000_u32.to_le_bytes());
    head.extend((8000 * u32::from(width)).to_le_bytes());
    head.extend(width.to_le_bytes());
    head.extend(bits.to_le_bytes());
    if extensible {
        head.extend(22_u16.to_le_bytes());
        head.extend(bits.to_le_bytes());
        head.extend(0_u32.to_le_bytes());
        head.extend(format.to_le_bytes());
        head.extend([0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71]);
    }
    let mut bytes = b"RIFF\0\0\0\0WAVE".to_vec();
    // A chunk of odd length that is of no interest, with its padding.
    for (name, body) in [(b"note", &b"odd"[..]), (b"fmt ", &head), (b"data", sound)] {
        bytes.extend(name);
        bytes.extend((body.len() as u32).to_le_bytes());
        bytes.extend(body);
        bytes.extend(vec![0; body.len() % 2]);
    }
    bytes
}

#[track_caller]
fn check(bytes: &[u8], expected: &[f64]) {
    let Recording { samples, rate_hz } = read(bytes, 0.0).unwrap();
    assert!((rate_hz - 8000.0).abs() < 1e-9);
    assert_eq!(samples.len(), expected.len());
    for (got, expected) in samples.iter().zip(expected) {
        assert!((got - expected).abs() < 1e-6, "{got} is not {expected}");
    }
}

#[test]
fn every_coding_reads_the_same() {
    let wave: [f64; 4] = [0.5, -0.25, 0.0, -0.5];
    check(&file(PCM, 8, 1, false, &[192, 96, 128, 64]), &wave);
    let sixteen: Vec<u8> = wave.iter().flat_map(|v| ((v * 32768.0) as i16).to_le_bytes()).collect();
    check(&file(PCM, 16, 1, false, &sixteen), &wave);
    check(&file(PCM, 16, 1, true, &sixteen), &wave);
    check(&file(PCM, 16, 2, false, &sixteen), &[0.125, -0.25]);
    let whole: Vec<[u8; 4]> = wave.iter().map(|v| ((v * 2147483648.0) as i32).to_le_bytes()).collect();
    let upper: Vec<u8> = whole.iter().flat_map(|four| four[1..].to_vec()).collect();
    check(&file(PCM, 24, 1, true, &upper), &wave);
    check(&file(PCM, 32, 1, false, &whole.concat()), &wave);
    let single: Vec<u8> = wave.iter().flat_map(|v| (*v as f32).to_le_bytes()).collect();
    check(&file(FLOAT, 32, 1, true, &single), &wave);
    let double: Vec<u8> = wave.iter().flat_map(|v| v.to_le_bytes()).collect();
    check(&file(FLOAT, 64, 1, false, &double), &wave);
}

#[test]
fn what_is_no_recording_is_refused_by_what_is_wrong() {
    assert!(matches!(read(b"not a recording", 0.0), Err(SignalError::NotWav { .. })));
    assert!(matches!(read(&file(2, 4, 1, false, &[0; 8]), 0.0), Err(SignalError::WavCoding { format: 2, bits: 4 })));
    assert!(matches!(read(&file(PCM, 16, 1, false, &[0; 80]), 0.0), Err(SignalError::Silent)));
    assert!(matches!(read(&file(PCM, 8, 1, false, &[1, 99]), 1.0), Err(SignalError::TooShort { .. })));
    let clipped = file(PCM, 8, 1, false, &[128, 0, 0, 0, 0, 128]);
    assert!(matches!(read(&clipped, 0.0), Err(SignalError::Clipped { clipped: 4, .. })));
    let mut cut = file(PCM, 8, 1, false, &[1, 99, 3, 4]);
    cut.truncate(cut.len() - 2);
    assert!(matches!(read(&cut, 0.0), Err(SignalError::CutOff { announced: 4, got: 2, .. })));
    let nan: Vec<u8> = [0.1_f32, f32::NAN].iter().flat_map(|v| v.to_le_bytes()).collect();
    assert!(matches!(read(&file(FLOAT, 32, 1, false, &nan), 0.0), Err(SignalError::NotFinite { .. })));
}

proptest! {
    #[test]
    fn no_bytes_make_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..300), at in 0_usize..120) {
        prop_assert!(read(&bytes, 0.0).is_err());
        let mut spoilt = file(PCM, 16, 2, true, &[7; 60]);
        let at = at.min(spoilt.len());
        let end = spoilt.len().min(at + 4);
        spoilt.splice(at..end, bytes.into_iter().take(4));
        let _ = read(&spoilt, 0.0);
    }
}
