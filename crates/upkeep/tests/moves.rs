//! Service moves: the project's own meter reads each, and none leaves the travel or goes too fast.

use motion::{Kinematics, Options, meter_reader};
use upkeep::Build;
use upkeep::build::{Axis, SignalWord, shipped};
use upkeep::moves::{MARGIN_MM, Move, MoveError, XY_SPEED_MM_S, Z_SPEED_MM_S, program};

fn builds() -> Vec<Build> {
    shipped().into_iter().map(|(file, text)| Build::parse(file, text).expect("a shipped build is valid")).collect()
}

/// Every program that a shipped machine can run.
fn programs() -> Vec<(Build, Move, String)> {
    let all = builds().into_iter().flat_map(|build| Move::ALL.map(|wanted| (build.clone(), wanted)));
    all.filter_map(|(build, wanted)| Some((program(&build, wanted).ok()?, build, wanted)))
        .map(|(text, build, wanted)| (build, wanted, text))
        .collect()
}

/// The number after a letter in a line of G-code without its comment.
fn word(line: &str, letter: char) -> Option<f64> {
    let command = line.split(';').next()?;
    command.split_whitespace().find_map(|word| word.strip_prefix(letter)?.parse().ok())
}

/// The places that a program leads to after homing, with the feed of the way there, mm/s.
fn places(text: &str) -> Vec<([f64; 3], f64)> {
    let mut at = [0.0; 3];
    let moves = text.lines().filter(|line| line.starts_with("G1 "));
    moves
        .map(|line| {
            for (axis, letter) in ['X', 'Y', 'Z'].into_iter().enumerate() {
                at[axis] = word(line, letter).unwrap_or(at[axis]);
            }
            (at, word(line, 'F').expect("every move has its feed") / 60.0)
        })
        .collect()
}

#[test]
fn the_meter_reads_every_program_without_a_remark() {
    for (build, wanted, text) in programs() {
        let metered =
            meter_reader(text.as_bytes(), &build.machine, Options::default()).expect("there is something to meter");
        let report = metered.report;
        assert_eq!((report.unknown_commands, report.skipped_lines), (0, 0), "{wanted:?}: {:?}", report.unknown);
        assert_eq!(report.warnings, [], "{wanted:?} on {}", build.name);
        assert_eq!(report.g28, 1);
    }
}

#[test]
fn nothing_that_the_meter_maps_lies_outside_the_travel_and_a_sweep_wears_the_whole_of_it() {
    for (build, wanted, text) in programs() {
        let options = Options { bin: 5.0, ..Options::default() };
        let wear = meter_reader(text.as_bytes(), &build.machine, options).expect("there is something to meter").wear;
        let is_delta = matches!(build.machine.kinematics, Kinematics::Delta { .. });
        for (axis, map) in Axis::ALL.into_iter().zip([wear.x, wear.y, wear.z]) {
            let travel = build.travel[axis as usize];
            let from = if is_delta && axis != Axis::Z { -travel / 2.0 } else { 0.0 };
            let worn: Vec<f64> =
                map.bins().into_iter().filter(|(_, mm)| 0.0 < *mm).map(|(start, _)| start - from).collect();
            assert!(worn.iter().all(|start| (0.0..travel).contains(start)), "{wanted:?} along {axis}: {worn:?}");
            if wanted == Move::Sweep(axis) {
                // All bins but the margin's: the first from the end, and the last.
                let n_bins = (travel / 5.0).round() as usize;
                let inner = worn.iter().filter(|start| 4.0 < **start && **start < travel - 6.0).count();
                assert_eq!(inner, n_bins - 2, "{wanted:?}: {worn:?}");
            }
        }
    }
}

#[test]
fn every_move_stays_inside_the_travel_and_slow() {
    for (build, wanted, text) in programs() {
        let is_delta = matches!(build.machine.kinematics, Kinematics::Delta { .. });
        let mut last_z = f64::NAN;
        for ([x, y, z], speed) in places(&text) {
            let [reach_x, reach_y, reach_z] = build.travel;
            let from = if is_delta { [-reach_x / 2.0, -reach_y / 2.0] } else { [0.0, 0.0] };
            let is_inside = |at: f64, from: f64, reach: f64| from + MARGIN_MM <= at && at <= from + reach - MARGIN_MM;
            // The first move after homing goes by Z alone, from wherever X and Y were homed.
            if !last_z.is_nan() {
                assert!(is_inside(x, from[0], reach_x) && is_inside(y, from[1], reach_y), "{wanted:?}: {x} {y}");
            }
            assert!(is_inside(z, 0.0, reach_z), "{wanted:?}: {z}");
            if is_delta {
                assert!(x.hypot(y) <= reach_x / 2.0 - MARGIN_MM + 1e-9, "{wanted:?}: {x} {y} is off the plate");
            }
            #[expect(clippy::float_cmp, reason = "a move that does not name Z leaves it as it is")]
            let most = if z == last_z { XY_SPEED_MM_S } else { Z_SPEED_MM_S };
            assert!(0.0 < speed && speed <= most, "{wanted:?}: {speed} mm/s");
            last_z = z;
        }
    }
}

#[test]
fn a_sweep_covers_its_axis_and_moves_no_other() {
    for (build, wanted, text) in programs() {
        let Move::Sweep(axis) = wanted else { continue };
        let axis = axis as usize;
        // Two moves lead to the middle.
        let places: Vec<[f64; 3]> = places(&text).into_iter().skip(1).map(|(at, _)| at).collect();
        let along: Vec<f64> = places.iter().map(|at| at[axis]).collect();
        let (low, high) =
            (along.iter().copied().fold(f64::MAX, f64::min), along.iter().copied().fold(f64::MIN, f64::max));
        assert!((high - low - (build.travel[axis] - 2.0 * MARGIN_MM)).abs() < 1e-9, "{wanted:?}: {low} to {high}");
        for other in (0..3).filter(|other| *other != axis) {
            assert!(places.windows(2).all(|pair| (pair[0][other] - pair[1][other]).abs() < 1e-9), "{wanted:?}");
        }
    }
}

#[test]
fn every_program_begins_with_heaters_off_and_homes_before_it_moves() {
    for (_, wanted, text) in programs() {
        let at = |start: &str| text.lines().position(|line| line.starts_with(start));
        let home = at("G28").expect("it homes");
        assert!(at("M104").unwrap() < home && at("M140 S0").unwrap() < home && at("G21").unwrap() < home, "{wanted:?}");
        assert!(at("G90").unwrap() < home && home < at("G1 ").unwrap(), "{wanted:?}");
        assert!(!text.contains("M84") && !text.contains("M18"), "motors that let go may drop Z");
    }
}

#[test]
fn only_warming_up_heats_and_it_ends_with_every_heater_off() {
    for (_, wanted, text) in programs() {
        let heats =
            |line: &&str| ["M104", "M109", "M140", "M190", "M141"].iter().any(|command| line.starts_with(command));
        let targets: Vec<f64> = text.lines().filter(heats).map(|line| word(line, 'S').expect("a target")).collect();
        let n_hot = targets.iter().filter(|target| 0.0 < **target).count();
        assert_eq!(n_hot, usize::from(wanted == Move::WarmUp));
        assert!(targets.last().is_some_and(|last| last.abs() < f64::EPSILON));
        let last_nozzle = text.lines().rfind(|line| line.starts_with("M104") || line.starts_with("M109")).unwrap();
        assert!(last_nozzle.contains("S0"), "{last_nozzle}");
    }
}

#[test]
fn every_nozzle_of_a_machine_with_two_tools_is_switched_off() {
    let build =
        builds().into_iter().find(|build| build.positions.iter().any(|position| position.name == "hard nozzle"));
    let text = program(&build.expect("a shipped build has two tools"), Move::RunBelts).unwrap();
    assert!(text.contains("M104 T0 S0") && text.contains("M104 T1 S0") && text.contains("M141 S0"), "{text}");
}

#[test]
fn cautions_stand_at_the_head_with_their_signal_words() {
    for (_, wanted, text) in programs() {
        let head: String = text.lines().take_while(|line| line.starts_with(';')).collect();
        assert!(head.contains("WARNING: ") && head.contains("maker's manual"), "{head}");
        let words: Vec<SignalWord> = wanted.cautions().iter().map(|(word, _)| *word).collect();
        assert!(words.is_sorted(), "worst first");
    }
}

#[test]
fn a_machine_without_screws_has_no_grease_to_spread() {
    let mut build = builds().swap_remove(0);
    build.machine.drive.screw_lead = None;
    assert_eq!(program(&build, Move::SpreadGrease), Err(MoveError::NoScrews { build: build.name.clone() }));
}

#[test]
fn a_travel_shorter_than_its_margins_is_refused() {
    let mut build = builds().swap_remove(0);
    build.travel[1] = 10.0;
    let error = program(&build, Move::Sweep(Axis::X)).unwrap_err();
    assert_eq!(error.to_string(), "y travels 10 mm, too little for moves that stay 5 mm from both ends");
}

#[test]
fn a_name_with_a_line_end_cannot_become_a_command() {
    let mut build = builds().swap_remove(0);
    build.name = "box\nM104 S300".to_owned();
    let text = program(&build, Move::RunBelts).unwrap();
    assert!(!text.lines().any(|line| line.starts_with("M104 S300")), "{text}");
}
