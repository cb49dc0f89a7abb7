//! Every input that once made the fuzzing fail (fuzz/findings) is tried again, and every seed (fuzz/seeds).

use std::fs;
use std::panic::catch_unwind;
use std::path::{Path, PathBuf};

use crate::shop::testdata;

#[path = "../../../../fuzz/src/lib.rs"]
#[allow(unreachable_pub)] // Public for the fuzz targets, which are programs of their own.
mod tries;

/// A target's name, and what it tries on bytes.
type Target = (&'static str, fn(&[u8]));

/// The targets, as the fuzz workspace has them.
const TARGETS: [Target; 11] = [
    ("builds", tries::builds),
    ("gcode", tries::gcode),
    ("json", tries::json),
    ("lives", tries::lives),
    ("meter", tries::meter),
    ("mqtt", tries::mqtt),
    ("packed", tries::packed),
    ("photo", tries::photo),
    ("readings", tries::readings),
    ("table", tries::table),
    ("wav", tries::wav),
];

fn in_folder(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths
}

#[test]
fn what_once_failed_fails_no_more() {
    let fuzz = PathBuf::from(testdata("../fuzz"));
    for (target, tried) in TARGETS {
        for folder in ["findings", "seeds"] {
            for input in in_folder(&fuzz.join(folder).join(target)) {
                let bytes = fs::read(&input).unwrap();
                assert!(catch_unwind(|| tried(&bytes)).is_ok(), "{}", input.display());
            }
        }
    }
}

#[test]
fn every_target_is_tried_here_too() {
    let targets = in_folder(&PathBuf::from(testdata("../fuzz/targets")));
    let names: Vec<&str> = targets.iter().map(|path| path.file_stem().unwrap().to_str().unwrap()).collect();
    assert_eq!(names, TARGETS.map(|(name, _)| name));
    let findings = in_folder(&PathBuf::from(testdata("../fuzz/findings")));
    assert!(findings.iter().all(|folder| names.iter().any(|name| folder.ends_with(name))), "{findings:?}");
}
