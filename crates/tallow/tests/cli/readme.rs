//! The commands of README.md, as they stand there.

use std::fs;

use crate::programs::ladder;
use crate::shop::{Shop, testdata};

/// The lines of README.md that are commands of tallow's, without their remarks.
fn commands() -> Vec<String> {
    let text = fs::read_to_string(testdata("../README.md")).unwrap();
    let blocks = text.split("```").skip(1).step_by(2).flat_map(str::lines);
    let commands = blocks.filter_map(|line| line.strip_prefix("tallow "));
    commands.map(|line| line.split(" #").next().unwrap().trim().to_owned()).collect()
}

#[test]
fn every_command_of_the_readme_works_in_its_order() {
    let shop = Shop::folder();
    shop.write("bracket.gcode", ladder(300));
    let commands = commands();
    assert!(12 <= commands.len(), "{commands:?}");
    let mut failed = Vec::new();
    for line in commands {
        let (line, file) = line.split_once(" > ").map_or((line.as_str(), None), |(line, file)| (line, Some(file)));
        let answer = shop.ask(line);
        if let Some(file) = file {
            shop.write(file, &answer.out);
        }
        if answer.code != Some(0) {
            failed.push(format!("tallow {line}\n{}", answer.err));
        }
    }
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

#[test]
fn a_shop_is_made_in_the_users_data_folder_unless_a_place_is_named() {
    let shop = Shop::folder();
    let made = shop.command("shop new \"My bench\" --json").env_remove("TALLOW_SHOP").output().unwrap();
    assert!(made.status.success());
    assert!(shop.path("data/tallow/shop.tallow").is_file(), "{}", String::from_utf8_lossy(&made.stdout));
    shop.told("shop new \"Elsewhere\" --shop other.tallow");
    assert!(shop.path("other.tallow").is_file());
}

#[test]
fn the_help_of_every_command_ends_well() {
    let shop = Shop::folder();
    for line in ["--help", "run --help", "due --help", "shop new --help", "machine add --help", "correct --help"] {
        assert!(shop.told(line).contains("Usage: tallow"), "{line}");
    }
    assert_eq!(shop.told("--version"), format!("tallow {}\n", env!("CARGO_PKG_VERSION")));
}
