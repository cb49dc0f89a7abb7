//! Print files whose duty can be worked out by hand.

use std::fs;
use std::io::{Read, Write};

use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;

use crate::shop::testdata;

/// X travel of one layer of a [`ladder`], m: 200 mm there and 200 mm back.
pub(crate) const LAYER_TRAVEL_M: f64 = 0.4;

/// Filament that one layer of a [`ladder`] takes, m: 10 mm there and 10 mm back.
pub(crate) const LAYER_FILAMENT_M: f64 = 0.02;

/// Lines of a [`ladder`] before its first layer.
pub(crate) const HEAD_LINES: usize = 2;

/// Lines of each layer of a [`ladder`].
pub(crate) const LAYER_LINES: usize = 3;

/// A wall one line wide, 200 mm along X, drawn to and fro once in each layer of 0.2 mm.
pub(crate) fn ladder(layers: usize) -> String {
    let mut text = "G90\nM83\n".to_owned();
    for layer in 1..=layers {
        text.push_str(&format!("G1 Z{:.1} F600\nG1 X200 E10 F6000\nG1 X0 E10\n", 0.2 * layer as f64));
    }
    text
}

/// `text` in the gzip format.
pub(crate) fn gzip(text: &str) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(text.as_bytes()).unwrap();
    encoder.finish().unwrap()
}

/// `text` in the Zstandard format.
pub(crate) fn zstandard(text: &str) -> Vec<u8> {
    zstd::stream::encode_all(text.as_bytes(), 3).unwrap()
}

/// The text of a reference toolpath, unpacked.
pub(crate) fn reference(name: &str) -> Vec<u8> {
    let packed = fs::read(testdata(&format!("toolpaths/files/{name}.gcode.gz"))).unwrap();
    let mut text = Vec::new();
    GzDecoder::new(&packed[..]).read_to_end(&mut text).unwrap();
    text
}
