//! Builds: what is right is read, what is wrong is told with its place and what to do.

use std::fs;
use std::path::{Path, PathBuf};

use motion::{Corner, Kinematics, Quantity};
use proptest::prelude::*;
use upkeep::build::{
    Access, Allowance, Belt, Caution, Heat, LONGEST_TOUCH_C, Outside, Position, SignalWord, State, Task, Work, shipped,
};
use upkeep::material::Materials;
use upkeep::rules::refusal;
use upkeep::{Build, Kind, Supplies};

const GUIDE: &str = include_str!("../../../docs/BUILDS.md");
const REFERENCE: &str = include_str!("../../../testdata/builds/reference.toml");

#[track_caller]
fn read(file: &str, text: &str) -> Build {
    Build::parse(file, text).unwrap_or_else(|errors| panic!("{errors}"))
}

/// The complete build in the guide.
fn example() -> &'static str {
    let start = GUIDE.find("```toml\n").expect("the guide has an example") + "```toml\n".len();
    let end = GUIDE[start..].find("```").expect("the example ends");
    &GUIDE[start..start + end]
}

#[test]
fn every_shipped_build_is_read() {
    for (name, text) in shipped() {
        let build = read(name, text);
        assert!(!build.positions.is_empty() && !build.tasks.is_empty(), "{name}");
    }
}

#[test]
fn every_shipped_task_that_is_hot_carries_a_caution_and_none_touches_what_it_must_not() {
    for (name, text) in shipped() {
        let build = read(name, text);
        for task in &build.tasks {
            assert!(task.state != State::Hot || !task.cautions.is_empty(), "{name}: {}", task.name);
            let position = build.position(&task.at).unwrap();
            let supplies = task.uses.iter().map(|supply| supply.name.as_str());
            assert_eq!(refusal(position, supplies, Supplies::built_in()), None, "{name}: {}", task.name);
        }
    }
}

#[test]
fn the_example_in_the_guide_is_a_build() {
    let build = read("docs/BUILDS.md", example());
    assert_eq!(build.tasks.len(), 2);
    assert_eq!(build.machine.corner, Corner::Jerk);
    assert!((build.machine.drive.belt_per_turn - 32.0).abs() < 1e-12, "2 mm pitch times 16 teeth");
    assert_eq!(build.position("nozzle").unwrap().tool, Some(0));
    let oil = build.task("oil the x rods").unwrap();
    assert_eq!(oil.limits[0].every, Allowance::Elapsed { months: 1, days: 0 });
    assert_eq!(oil.limits[1].every, Allowance::Amount { quantity: Quantity::TravelX, amount: 30_000.0 });
    let clean = build.task("clean the nozzle outside").unwrap();
    assert_eq!(clean.limits[0].every, Allowance::Amount { quantity: Quantity::FilamentMass, amount: 5.0 });
    assert_eq!(clean.cautions[0].before, 1, "the second step, counted from 0");
}

#[test]
fn the_guide_lists_every_word_that_a_build_may_use() {
    let quantities = Quantity::ALL.iter().filter(|q| **q != Quantity::PeakFlow).map(|q| q.name());
    let kinds = Kind::all().iter().map(|kind| kind.name.as_str());
    let supplies = Supplies::built_in().iter().map(|supply| supply.name.as_str());
    let substances = Supplies::built_in().substances().map(|substance| substance.name.as_str());
    let materials = Materials::built_in().iter().map(|info| info.name.as_str());
    for word in quantities.chain(kinds).chain(supplies).chain(substances).chain(materials) {
        assert!(GUIDE.contains(&format!("| `{word}` |")), "docs/BUILDS.md does not list \"{word}\"");
    }
}

#[test]
fn the_reference_build_has_the_meters_default_limits() {
    // Convention 20 of the reference toolpaths: max speed 300 300 15 80; max acceleration 5000 5000 300 5000;
    // P 3000 R 3000 T 4000; jerk 8 8 0.4 5; J 0.013.
    let machine = read("reference.toml", REFERENCE).machine;
    assert_eq!(machine.kinematics, Kinematics::CoreXy);
    let axes = |x, y, z, e| motion::PerAxis { x, y, z, e };
    let expected = motion::Limits {
        max_speed: axes(300.0, 300.0, 15.0, 80.0),
        max_acceleration: axes(5000.0, 5000.0, 300.0, 5000.0),
        print_acceleration: 3000.0,
        retract_acceleration: 3000.0,
        travel_acceleration: 4000.0,
        jerk: axes(8.0, 8.0, 0.4, 5.0),
        junction_deviation: 0.013,
    };
    assert_eq!(machine.limits, expected);
    assert!((machine.hot_nozzle - 180.0).abs() < f64::EPSILON);
}

#[test]
fn a_build_that_says_nothing_of_visits_has_the_defaults_of_the_guide() {
    let build = read("docs/BUILDS.md", example());
    assert!((build.visit_minutes - 10.0).abs() < f64::EPSILON);
    assert_eq!((build.heat, build.accesses.len()), (Heat::default(), 0));
    let [oil, clean] = build.tasks.as_slice() else { panic!("the example has two tasks") };
    assert_eq!((oil.work, clean.work), (Work::Lubricate, Work::Clean));
    assert!(!oil.while_cooling && oil.access.is_none() && oil.after.is_empty());
    for value in [Heat::default().touch_c, Heat::default().nozzle_cool_s, Heat::default().bed_cool_s, LONGEST_TOUCH_C] {
        assert!(GUIDE.contains(&format!("{value}")), "docs/BUILDS.md does not state {value}");
    }
}

#[test]
fn what_a_build_says_of_visits_is_read() {
    let tables = "[visit]\nminutes = 15\n\n[heat]\nroom_C = 30\nbed_cool_s = 1200\n\n\
                  [[access]]\nname = \"panels off\"\nminutes = 6\n\n[[position]]\nname = \"x rods\"";
    let keys = "at = \"nozzle\"\nwork = \"look\"\naccess = \"panels off\"\nafter = [\"oil the x rods\"]";
    let text = example().replace("[[position]]\nname = \"x rods\"", tables).replace("at = \"nozzle\"", keys);
    let build = read("visits.toml", &text);
    assert!((build.visit_minutes - 15.0).abs() < f64::EPSILON);
    assert_eq!(build.heat, Heat { room_c: 30.0, bed_cool_s: 1200.0, ..Heat::default() });
    assert_eq!(build.accesses, [Access { name: "panels off".to_owned(), minutes: 6.0 }]);
    let clean = build.task("clean the nozzle outside").unwrap();
    assert_eq!((clean.work, clean.access.as_deref()), (Work::Look, Some("panels off")));
    assert_eq!(clean.after, ["oil the x rods"]);
}

#[test]
fn a_reading_is_taken_where_it_says_or_where_its_task_cares_and_is_judged_by_its_limits() {
    let tell = "reading = [{ name = \"play\", unit = \"mm\", most = 0.1, source = \"common practice, no source\" }, \
                { name = \"bore\", at = \"nozzle\", source = \"the maker's manual\" }]\n[[task.limit]]";
    let build = read("readings.toml", &example().replacen("[[task.limit]]", tell, 1));
    let (task, play) = build.reading("x rods", " Play ").expect("it is there, whatever its case");
    assert_eq!(
        (task.name.as_str(), play.unit.as_str(), play.least, play.most),
        ("oil the x rods", "mm", None, Some(0.1))
    );
    assert_eq!(play.outside(0.1), None, "the limit itself is good");
    let Some(Outside::Above { most, by }) = play.outside(0.25) else { panic!("0.25 mm is above 0.1 mm") };
    assert!((most - 0.1).abs() < 1e-12 && (by - 0.15).abs() < 1e-12);
    let (_, bore) = build.reading("nozzle", "bore").expect("it is taken elsewhere");
    assert_eq!((bore.unit.as_str(), bore.outside(1e6)), ("", None), "nobody states a limit");
    assert_eq!(build.reading("nozzle", "play"), None);
}

#[test]
fn every_limit_of_a_shipped_reading_says_that_it_has_no_source_and_what_has_none_where_to_look() {
    let mut n_limited = 0;
    for (name, task) in shipped_tasks() {
        for reading in &task.readings {
            let is_limited = reading.least.or(reading.most).is_some();
            n_limited += usize::from(is_limited);
            assert_eq!(is_limited, reading.source == "common practice, no source", "{name}: {}", reading.name);
        }
    }
    assert!(0 < n_limited);
}

#[test]
fn only_cold_tasks_away_from_heat_fill_the_time_of_cooling() {
    for (name, text) in shipped() {
        for task in read(name, text).tasks.iter().filter(|task| task.while_cooling) {
            assert_eq!(task.state, State::Cold, "{name}: {}", task.name);
            assert!(!["bed", "nozzle", "hot end", "build plate"].contains(&task.at.as_str()), "{name}: {}", task.name);
        }
    }
}

#[test]
fn a_task_is_found_whatever_the_case_and_a_misspelt_one_is_guessed() {
    let build = read("docs/BUILDS.md", example());
    assert_eq!(build.task("Oil the X rods ").unwrap().name, "oil the x rods");
    let error = build.task("oil the x rod").unwrap_err();
    assert_eq!(
        error.to_string(),
        "no task is called \"oil the x rod\"\n  there are: oil the x rods, clean the nozzle outside\n  \
         did you mean oil the x rods?"
    );
}

/// The files of `tests/build_errors` with that extension, in order.
fn error_files(extension: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/build_errors");
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<PathBuf> = entries.filter(|path| path.extension().is_some_and(|e| e == extension)).collect();
    files.sort();
    files
}

#[test]
fn each_mistake_is_told_as_the_file_beside_it_says() {
    let files = error_files("toml");
    assert!(!files.is_empty());
    for path in files {
        let file = path.file_name().unwrap().to_str().unwrap();
        let errors = Build::parse(file, &fs::read_to_string(&path).unwrap()).expect_err(file).to_string();
        let expected = fs::read_to_string(path.with_extension("expected")).unwrap_or_default();
        assert_eq!(errors.trim_end(), expected.trim_end(), "\n{errors}\n");
    }
}

#[test]
fn no_expected_message_has_lost_its_build() {
    for path in error_files("expected") {
        assert!(path.with_extension("toml").exists(), "{}", path.display());
    }
}

#[test]
fn a_file_far_too_long_for_a_build_is_refused_unread() {
    let text = "# nothing but words\n".repeat(20_000);
    let errors = Build::parse("long.toml", &text).unwrap_err();
    assert_eq!(errors.errors.len(), 1);
    assert_eq!(errors.errors[0].found, "the file has 400000 bytes");
}

#[test]
fn a_hundred_mistakes_are_counted_but_not_all_printed() {
    let text: String = (0..100).map(|n| format!("mistake{n} = 1\n")).collect();
    let errors = Build::parse("many.toml", &text).unwrap_err();
    assert_eq!(errors.errors.len(), 101, "a hundred unknown keys, and all that are missing told as one");
    let printed = errors.to_string();
    assert!(printed.ends_with("101 errors in many.toml, of which the first 20 stand here"), "{printed}");
    assert_eq!(printed.matches("many.toml:").count(), 20);
}

#[track_caller]
fn at(kind: &str) -> Position {
    let kind = Kind::from_name(kind).expect("the kind is listed");
    Position {
        name: "here".to_owned(),
        kind: kind.name.clone(),
        along: None,
        tool: None,
        life: None,
        belt: Belt::default(),
        idler: None,
        never: kind.never.clone(),
    }
}

#[track_caller]
fn check_refused(kind: &str, supply: &str, reason: &str) {
    let refusal = refusal(&at(kind), [supply], Supplies::built_in()).expect("it is refused");
    assert_eq!((refusal.supply.as_str(), refusal.position.as_str()), (supply, "here"));
    assert_eq!(refusal.reason, reason);
}

#[track_caller]
fn check_allowed(kind: &str, supply: &str) {
    assert_eq!(refusal(&at(kind), [supply], Supplies::built_in()), None);
}

#[test]
fn grease_and_oil_on_dry_running_carbon_rods_are_refused() {
    let reason = "grease binds carbon dust into a paste that clogs and grinds the dry bushings";
    check_refused("carbon rod in dry bushings", "NLGI 2 lithium grease", reason);
    check_refused("carbon rod in dry bushings", "some white grease", reason);
    let reason = "oil swells the dry bushings and binds carbon dust into a paste";
    check_refused("carbon rod in dry bushings", "ISO VG 32 light oil", reason);
    check_allowed("carbon rod in dry bushings", "isopropyl alcohol, 90 % or more");
}

/// Every task of the shipped builds, with the name of its build.
fn shipped_tasks() -> Vec<(&'static str, Task)> {
    let tasks = |(name, text)| read(name, text).tasks.into_iter().map(move |task| (name, task));
    shipped().into_iter().flat_map(tasks).collect()
}

#[test]
fn no_shipped_task_leaves_an_aid_in_the_machine() {
    let aids = [
        ("block of foam", "foam"),
        ("wooden block", "block"),
        ("two equal blocks", "blocks"),
        ("sheet of card", "card"),
        ("metal tray", "tray"),
    ];
    for (build, task) in shipped_tasks() {
        // What a visit puts under a machine that sinks when it is switched off, it takes out again itself.
        let is_visits = |word: &str| build == "delta" && task.state == State::Isolated && word == "foam";
        assert!(!is_visits("foam") || !task.steps.concat().contains("take the foam out"), "{}", task.name);
        for (tool, word) in aids.into_iter().filter(|(_, word)| !is_visits(word)) {
            let says = |step: &&String| step.split(|c: char| !c.is_alphabetic()).any(|one| one == word);
            let last = task.steps.iter().rfind(says);
            let is_laid_out = task.tools.iter().any(|laid_out| laid_out == tool);
            // Neither a heater block nor the foam of soap is an aid.
            let is_other = word.starts_with("block") || task.at.contains("plate");
            assert!(last.is_none() || is_laid_out || is_other, "{build}: {}: {tool} is not laid out", task.name);
            if is_laid_out {
                let is_taken = last.is_some_and(|step| step.to_lowercase().contains("take "));
                assert!(is_taken, "{build}: {}: {tool} stays", task.name);
            }
        }
    }
}

#[test]
fn no_step_of_an_isolated_shipped_task_asks_for_what_only_a_powered_machine_can_do() {
    let mut n_prepared = 0;
    for (build, task) in shipped_tasks().into_iter().filter(|(_, task)| task.state == State::Isolated) {
        n_prepared += usize::from(!task.before_off.is_empty());
        for step in &task.steps {
            let lower = step.to_lowercase();
            for words in
                ["before switching off", "was switched off", "was unloaded", "were unloaded", "take out the filament"]
            {
                assert!(!lower.contains(words), "{build}: {}: {step}", task.name);
            }
            let is_empty = ["filament is out", "is unloaded", "are unloaded"].iter().any(|words| lower.contains(words));
            assert!(!is_empty || !task.before_off.is_empty(), "{build}: {}: nobody unloads", task.name);
        }
    }
    assert!(10 < n_prepared);
}

#[test]
fn a_powered_shipped_task_that_pulls_the_plug_puts_it_back() {
    let mut n_pulled = 0;
    for (build, task) in shipped_tasks().into_iter().filter(|(_, task)| task.state != State::Isolated) {
        let steps = task.steps.join(" ").to_lowercase();
        // What is done only if something is wrong ends the visit.
        let is_planned = |sentence: &&str| !format!(" {sentence}").contains(" if ") || sentence.contains("plug in");
        let done = steps.split(". ").filter(is_planned).collect::<Vec<_>>().join(". ");
        if let Some(pulled) = done.rfind("pull the plug") {
            n_pulled += 1;
            assert!(done.rfind("plug in").is_some_and(|plugged| pulled < plugged), "{build}: {}", task.name);
        }
    }
    assert!(4 < n_pulled, "some tasks need the machine both ways");
}

#[test]
fn a_hot_shipped_task_heats_by_itself_after_a_caution_and_switches_off() {
    let heats = [" heat the ", " heat bed", " heat to ", " heat it "];
    let off = ["heater off", "heaters off", "heater and fans off", "bed to off"];
    for (build, task) in shipped_tasks().into_iter().filter(|(_, task)| task.state == State::Hot) {
        let steps: Vec<String> = task.steps.iter().map(|step| format!(" {}", step.to_lowercase())).collect();
        let does = |step: &String| heats.iter().any(|words| step.contains(words));
        let heating = steps.iter().position(does).unwrap_or_else(|| panic!("{build}: {} does not heat", task.name));
        assert!(steps[heating].contains("°c") || steps[heating].contains("temperature"), "{build}: {}", task.name);
        let is_warned = |caution: &Caution| caution.word < SignalWord::Notice && caution.before <= heating;
        assert!(task.cautions.iter().any(is_warned), "{build}: {} heats before its caution", task.name);
        let text = steps.concat();
        let last_heat = heats.iter().filter_map(|words| text.rfind(words)).max();
        let last_off = off.iter().filter_map(|words| text.rfind(words)).max();
        assert!(last_heat < last_off, "{build}: {} leaves the heaters on", task.name);
    }
}

#[test]
fn what_a_task_may_use_obeys_the_rules_of_what_it_uses() {
    let text = REFERENCE.replacen("uses = { \"brass nozzle\" = \"1\" }", "may_use = { \"brass nozzle\" = \"1\" }", 1);
    let build = read("if-needed.toml", &text);
    let task = build.tasks.iter().find(|task| !task.may_use.is_empty()).expect("the task is there");
    assert_eq!((task.may_use[0].name.as_str(), task.uses.len()), ("brass nozzle", 0));
    let oily =
        text.replacen("may_use = { \"brass nozzle\" = \"1\" }", "may_use = { \"silicone grease\" = \"1 g\" }", 1);
    let errors = Build::parse("oily.toml", &oily).expect_err("grease on a nozzle");
    assert!(errors.to_string().contains("must not touch"), "{errors}");
}

#[test]
fn grease_and_oil_on_belts_are_refused() {
    check_refused("toothed belt", "silicone grease", "grease makes the belt jump teeth and rots its rubber");
    check_refused("toothed belt", "sewing machine oil", "oil makes the belt jump teeth and rots its rubber");
    check_allowed("toothed belt", "lint-free wipe");
}

#[test]
fn acetone_on_a_polycarbonate_panel_is_refused_and_soapy_water_is_not() {
    check_refused("polycarbonate panel", "acetone", "acetone crazes and clouds polycarbonate");
    check_refused("acrylic panel", "IPA", "alcohol crazes acrylic under stress");
    check_allowed("polycarbonate panel", "washing-up liquid, unscented");
    check_allowed("polycarbonate panel", "water");
}

#[test]
fn each_plate_has_its_own_rule_for_solvents() {
    check_allowed("glass plate", "acetone");
    check_refused("textured powder-coated plate", "acetone", "acetone attacks the coating");
    check_refused("smooth film-coated plate", "acetone", "acetone makes the film brittle and loosens its glue");
    for plate in ["glass plate", "textured powder-coated plate", "smooth film-coated plate", "polycarbonate plate"] {
        check_allowed(plate, "isopropyl alcohol, 90 % or more");
    }
}

#[test]
fn water_on_electrics_is_refused() {
    check_refused("control board", "water", "water and electrics do not go together");
    check_refused("mains inlet", "glass cleaner without ammonia", "water on mains parts may kill");
}

#[test]
fn a_sealed_idler_stays_dry_but_its_flange_may_have_a_drop_of_oil() {
    let reason = "oil creeps past the seals, thins the grease inside and reaches the belt";
    check_refused("sealed idler", "ISO VG 32 light oil", reason);
    check_allowed("idler flange", "ISO VG 32 light oil");
    check_refused("idler flange", "NLGI 2 lithium grease", "grease is thrown from the flange onto the belt");
}

proptest! {
    #[test]
    fn no_damage_to_a_build_makes_reading_it_panic(
        at in 0.0..1.0f64, length in 0usize..40, put in "[\"\\[\\]{}=.,#a-z0-9 \n\u{202e}é-]{0,12}",
    ) {
        let text = REFERENCE;
        let start = floor(text, (at * text.len() as f64) as usize);
        let end = floor(text, (start + length).min(text.len())).max(start);
        let damaged = format!("{}{put}{}", &text[..start], &text[end..]);
        if let Err(errors) = Build::parse("damaged.toml", &damaged) {
            prop_assert!(!errors.errors.is_empty());
            let lines = damaged.lines().count().max(1);
            prop_assert!(errors.errors.iter().all(|error| 1 <= error.line && error.line <= lines + 1));
            prop_assert!(!errors.to_string().is_empty());
        }
    }
}

/// The nearest character boundary at or below `at`.
fn floor(text: &str, at: usize) -> usize {
    (0..=at).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0)
}
