//! How answers look: colours, layout, standard output and standard error.

use std::fs::{File, OpenOptions};
use std::io::Read;
use std::process::Stdio;

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

use crate::programs::ladder;
use crate::shop::{Shop, testdata};

/// A shop in which a task is due and a run is booked.
fn busy_shop() -> Shop {
    let mut shop = Shop::with_bowline();
    shop.write("part.gcode", ladder(100));
    shop.told("run part.gcode --on bowline --material PLA --when \"3 Nov 9:00\"");
    shop.now = "2026-12-03T12:00[Europe/Oslo]".to_owned();
    shop
}

/// What a command writes to a terminal.
fn on_terminal(shop: &Shop, line: &str, no_color: Option<&str>) -> String {
    let terminal = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&terminal).unwrap();
    unlockpt(&terminal).unwrap();
    let name = ptsname(&terminal, Vec::new()).unwrap().into_string().unwrap();
    let screen = OpenOptions::new().read(true).write(true).open(name).unwrap();
    let mut command = shop.command(line);
    command.stdout(Stdio::from(screen)).envs(no_color.map(|value| ("NO_COLOR", value)));
    let mut child = command.spawn().unwrap();
    // The screen must be closed here, so that reading ends when the program does.
    drop(command);
    let mut shown = Vec::new();
    // The system tells the end of a terminal as an error.
    let _ = File::from(terminal).read_to_end(&mut shown);
    assert!(child.wait().unwrap().success(), "{line}");
    String::from_utf8(shown).unwrap()
}

#[test]
fn a_terminal_gets_colours_and_everything_else_does_not() {
    let shop = busy_shop();
    for line in ["due", "steps \"wipe the x rods\" --on bowline"] {
        assert!(!shop.told(line).contains('\x1b'), "{line} into a pipe");
        assert!(on_terminal(&shop, line, None).contains("\x1b["), "{line} on a terminal");
        assert!(!on_terminal(&shop, line, Some("1")).contains('\x1b'), "{line} where NO_COLOR is set");
        // no-color.org: an empty value asks for nothing.
        assert!(on_terminal(&shop, line, Some("")).contains("\x1b["), "{line} where NO_COLOR is empty");
    }
    assert!(!on_terminal(&shop, "due --json", None).contains('\x1b'), "JSON");
}

#[test]
fn errors_carry_no_escape_codes() {
    let answer = busy_shop().ask("due bowlin");
    assert!(!answer.err.contains('\x1b'), "{}", answer.err);
}

#[test]
fn the_due_list_is_laid_out_in_columns() {
    let expected = "\
Test bench, Thursday 3 December 2026

machine  care             used  by       likely due
bowline  wipe the x rods  107 %  1 month  since 1 Dec
";
    let shown = busy_shop().told("due --days 1");
    let blanks = |text: &str| text.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" ")).collect();
    let (shown_words, expected_words): (Vec<String>, Vec<String>) = (blanks(&shown), blanks(expected));
    assert_eq!(shown_words[..4], expected_words[..], "{shown}");
    let lines: Vec<&str> = shown.lines().collect();
    assert_eq!(lines[2].find("care"), lines[3].find("wipe"), "{shown}");
    assert_eq!(lines[2].find("used").unwrap() + 4, lines[3].find(" %").unwrap() + 2, "figures end together: {shown}");
    assert!(lines.iter().all(|line| line.trim_end() == *line), "no line ends in blanks: {shown}");
    assert!(shown.contains("tallow steps \"wipe the x rods\" --on \"bowline\""), "{shown}");
}

#[test]
fn why_shows_every_limit_with_its_source_and_since_when_it_counts() {
    let text = busy_shop().told("due bowline --all --why");
    for part in
        ["counted since 1 Nov (the machine joined the shop)", "travel x", "common practice, no source", "1 month"]
    {
        assert!(text.contains(part), "{part} is missing:\n{text}");
    }
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let shop = Shop::folder();
    let mut child = shop.command("build print moving-bed").spawn().unwrap();
    drop(child.stdout.take());
    let answer = crate::shop::answer(child);
    assert_eq!((answer.code, answer.err.as_str()), (Some(0), ""));
}

#[test]
fn progress_and_remarks_never_stand_among_the_answer() {
    let shop = Shop::folder();
    let file = testdata("toolpaths/files/a_bracket.gcode.gz");
    let answer = shop.ask(&format!("meter {file} --build delta --json"));
    assert_eq!((answer.code, answer.err.as_str()), (Some(0), ""));
    assert!(answer.out.starts_with('{') && answer.out.ends_with("}\n"));
}
