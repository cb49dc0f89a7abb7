//! How answers look: colours, layout, standard output and standard error.

use std::fs::{File, OpenOptions};
use std::io::Read;
use std::process::Stdio;

use jiff::civil::Date;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use serde_json::Value;

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
bowline  wipe the x rods  108 %  1 month  since 1 Dec
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
fn a_machine_and_its_wear_fit_a_narrow_terminal() {
    let shop = Shop::with_machine("enclosed-corexy");
    shop.write("part.gcode", ladder(100));
    shop.told("run part.gcode --on bowline --material PLA --when \"2 Nov 8:00\"");
    for line in ["machine list", "machine show bowline"] {
        let output = shop.command(line).env("COLUMNS", "60").output().unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(text.lines().all(|line| line.chars().count() <= 60), "{text}");
    }
    assert!(shop.told("machine show bowline").contains("the tallest bar is"));
}

#[test]
fn the_due_list_fits_a_narrow_terminal_and_keeps_the_names_whole() {
    let shop = Shop::with_machine("enclosed-corexy");
    let narrow = |line: &str| {
        let output = shop.command(line).env("COLUMNS", "60").output().unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    let text = narrow("due --all");
    let (list, rest) = text.split_once("\nLeft out").unwrap_or_else(|| panic!("{text}"));
    assert!(list.lines().all(|line| line.chars().count() <= 60), "{text}");
    assert!(rest.contains("--why shows it"), "{text}");
    let wide = shop.told("due --all");
    assert!(wide.lines().any(|line| 60 < line.chars().count()) && !wide.contains("Left out"), "{wide}");
}

#[test]
fn what_may_come_due_is_told_apart_from_what_is_likely_to() {
    let shop = Shop::with_bowline();
    // 95 m of X in an hour, by the build: 60 h are 5.7 of the 10 km that it is due by.
    shop.told("done \"wipe the x rods\" --on bowline --when \"19 Nov 8:00\"");
    shop.told("run --on bowline --hours 60 --material PLA --when \"20 Nov 8:00\"");
    let all = shop.json("due --all");
    let likely = |row: &Value, key: &str| row["due"][key].as_str().and_then(|day| day.parse::<Date>().ok());
    let end = all.as_array().unwrap().iter().find_map(|row| {
        let (early, median) = (likely(row, "early")?, likely(row, "median")?);
        (early < median).then_some(early)
    });
    // To this day, on which one task may come due that is likely to come due later.
    let end = end.unwrap_or_else(|| panic!("{all:#}"));
    let days = end.duration_since("2026-11-25".parse().unwrap()).as_hours() / 24;
    let rows = shop.json(&format!("due --days {days}"));
    let count = |key: &str| {
        rows.as_array().unwrap().iter().filter(|row| likely(row, key).is_some_and(|day| day <= end)).count()
    };
    let (may, will) = (count("early"), count("median"));
    assert!(will < may, "{rows:#}");
    let text = shop.told(&format!("due --days {days}")).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains(&format!("{may} more may come due within")), "{may}, {will}\n{text}");
    assert!(text.contains(&format!(", {will} of them likely")), "{may}, {will}\n{text}");
}

#[test]
fn the_share_and_what_it_is_of_belong_to_the_same_limit() {
    let shop = busy_shop();
    for row in shop.json("due --all").as_array().unwrap() {
        assert_eq!(row["used"], row["limits"][row["limit"].as_u64().unwrap() as usize]["used"], "{row:#}");
    }
}

#[test]
fn no_note_commands_the_terminal_or_breaks_a_table() {
    let shop = busy_shop();
    let mut command = shop.command("failure nozzle clogged --on bowline --note");
    assert!(command.arg("one\x1b[2Jtwo\x07\rthree").output().unwrap().status.success());
    let mut command = shop.command("failure nozzle worn --on bowline --note");
    assert!(command.arg("long ".repeat(20_000)).output().unwrap().status.success());
    for text in [shop.told("history bowline"), on_terminal(&shop, "history bowline", Some("1"))] {
        assert!(!text.contains(['\x1b', '\x07']), "{text}");
        assert!(text.contains('…'), "the long note is cut: {text}");
    }
    assert!(shop.told("history bowline").contains("one\\u{1b}[2Jtwo\\u{7}\\u{d}three"));
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
