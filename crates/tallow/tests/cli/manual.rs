//! The manual and the completions: of every command, as the command line defines it.

use std::collections::BTreeSet;
use std::fs;

use crate::shop::{Shop, testdata};

/// The words of every command, as `--help` lists them, from those of `words` on.
fn commands(shop: &Shop, words: &str) -> BTreeSet<String> {
    let help = shop.told(format!("{words} --help").trim());
    let Some((_, rest)) = help.split_once("\nCommands:\n") else { return BTreeSet::from([words.to_owned()]) };
    let listed = rest.lines().take_while(|line| !line.is_empty()).filter_map(|line| {
        // Two blanks before a name; more before what its help goes on with.
        line.strip_prefix("  ").filter(|line| !line.starts_with(' '))?.split(' ').next()
    });
    let below = listed.filter(|name| *name != "help").flat_map(|name| commands(shop, format!("{words} {name}").trim()));
    below.chain([words.to_owned()]).collect()
}

#[test]
fn every_command_has_a_page_in_the_manual() {
    let shop = Shop::folder();
    let folder = shop.path("man/man1");
    assert_eq!(shop.json("manual man/man1")["folder"], "man/man1");
    let commands = commands(&shop, "");
    assert!(60 < commands.len() && commands.contains("stores buy"), "{commands:?}");
    for command in commands {
        let name = format!("tallow {command}").trim().replace(' ', "-");
        let page =
            fs::read_to_string(folder.join(format!("{name}.1"))).unwrap_or_else(|error| panic!("{name}: {error}"));
        // Two requests of the format (man(7)): the title, and the heading of how it is given.
        assert!(page.contains(&format!(".TH {name} 1")) && page.contains(".SH SYNOPSIS"), "{page}");
    }
    shop.write("taken", "");
    shop.refused("manual taken/man1", &["can't be written", "taken/man1"]);
}

#[test]
fn shells_complete_commands_and_options() {
    let shop = Shop::folder();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let text = shop.told(&format!("completions {shell}"));
        assert!(text.contains("rhythm") && text.contains("doctor") && text.contains("whole"), "{shell}");
    }
    assert_eq!(shop.ask("completions cobol").code, Some(2));
}

#[test]
fn what_the_units_and_the_image_start_are_commands() {
    let shop = Shop::folder();
    let packaging = testdata("../packaging");
    let read = |name: &str| fs::read_to_string(format!("{packaging}/{name}")).unwrap();
    for (unit, command) in [("tallow.service", "serve"), ("tallow-work@.service", "work")] {
        let started = format!("\nExecStart=/usr/bin/tallow {command}");
        assert!(read(unit).contains(&started), "{unit} does not start {command}");
        shop.told(&format!("{command} --help"));
    }
    assert!(read("Containerfile").contains("CMD [\"serve\", \"--listen\", "));
    assert!(shop.told("serve --help").contains("--listen"));
}
