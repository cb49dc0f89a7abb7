//! Our calendar files, read by the package icalendar.

use std::path::PathBuf;
use std::process::Command;

use jiff::civil::date;
use serde_json::{Value, json};

use crate::calendar::{Calendar, CalendarEvent, uid};

/// The Python that `./test` sets up.
fn python() -> PathBuf {
    let target = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("..");
    let python = target.join("python/bin/python");
    assert!(python.exists(), "there is no {}: run ./test, which sets it up", python.display());
    python
}

/// What the package reads in a calendar file.
fn read(text: &str) -> Value {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("visits.ics");
    std::fs::write(&file, text).expect("the file is written");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/pages/read_calendar.py");
    let done = Command::new(python()).arg(script).arg(&file).output().expect("Python starts");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    serde_json::from_slice(&done.stdout).expect("the script answers in JSON")
}

#[test]
fn another_parser_finds_the_values_that_were_written() {
    let summary = "bowline, 40 min; x rods \\ \"wipe\" — Säule 漆 \u{1f527}";
    let description =
        "1. wipe the x rods, then look;\n2. oil: 0,3 ml\n\n".to_owned() + &"long line ".repeat(30) + "end";
    let calendar = Calendar {
        // The package leaves what is escaped in a calendar's name as it stands.
        name: "Visits of the pattern loft".into(),
        now: "2026-11-25T17:30:00Z".parse().expect("an instant"),
        events: vec![
            CalendarEvent {
                uid: uid(812, "Pattern loft"),
                sequence: 3,
                is_cancelled: false,
                day: date(2026, 12, 31),
                summary: summary.into(),
                description: description.clone(),
                location: "loft, upper floor".into(),
                keeper: "First keeper".into(),
            },
            CalendarEvent {
                uid: uid(813, "Pattern loft"),
                sequence: 1,
                is_cancelled: true,
                day: date(2026, 11, 27),
                summary: "sheet bend".into(),
                description: String::new(),
                location: String::new(),
                keeper: "Second keeper".into(),
            },
        ],
    };
    let expected = json!({
        "version": "2.0", "method": "PUBLISH", "name": "Visits of the pattern loft", "errors": [],
        "events": [
            {
                "uid": "visit-812@pattern-loft", "stamp": "2026-11-25T17:30:00+00:00", "sequence": 3,
                "status": "CONFIRMED", "start": "2026-12-31", "end": "2027-01-01", "summary": summary,
                "description": description, "location": "loft, upper floor", "contact": "First keeper",
            },
            {
                "uid": "visit-813@pattern-loft", "stamp": "2026-11-25T17:30:00+00:00", "sequence": 1,
                "status": "CANCELLED", "start": "2026-11-27", "end": "2026-11-28",
                "summary": "sheet bend", "description": null, "location": null, "contact": "Second keeper",
            },
        ],
    });
    assert_eq!(read(&calendar.text()), expected);
}
