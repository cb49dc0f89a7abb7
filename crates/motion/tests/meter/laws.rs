//! Laws of motion and of counting, over random programs.

use crate::common::{close, core_xy, meter_with, with_corner};
use motion::{
    Corner, Kinematics, Machine, Meter, Metered, Options, Quantity, Stop, meter_reader_on_two_cores,
    meter_to_time_share,
};
use proptest::prelude::*;

fn run(program: &str, options: Options) -> Metered {
    meter_with(&core_xy(), options, program.as_bytes()).unwrap()
}

/// Points in tenths of a millimetre, of which no two in a row are the same.
fn points() -> impl Strategy<Value = Vec<(i32, i32, i32)>> {
    proptest::collection::vec((0..2000i32, 0..2000i32, 0..40i32), 2..60).prop_map(|mut points| {
        points.dedup();
        points
    })
}

/// A path through the points, `scale` mm a unit, at the given feed.
fn path(points: &[(i32, i32, i32)], scale: f64, feed: u32) -> String {
    let at = |(x, y, z): &(i32, i32, i32)| {
        format!("X{:.3} Y{:.3} Z{:.3}\n", f64::from(*x) * scale, f64::from(*y) * scale, f64::from(*z) * scale)
    };
    let mut text = format!("G92 {}G1 F{feed}\n", at(&points[0]));
    for point in &points[1..] {
        text += &format!("G1 {}", at(point));
    }
    text
}

/// Moves, arcs, retractions, dwells, switches and tool changes of all kinds.
fn program() -> impl Strategy<Value = String> {
    let line = prop_oneof![
        8 => (0..200i32, 0..200i32, -20..100i32).prop_map(|(x, y, e)| format!("G1 X{x} Y{y} E{e}")),
        2 => (0..20i32).prop_map(|z| format!("G1 Z.{z}")),
        2 => (-30..30i32, 1..30i32).prop_map(|(i, j)| format!("G2 I{i} J{j}")),
        1 => (1..20_000u32).prop_map(|feed| format!("G1 F{feed}")),
        1 => (0..256u32, 0..3u8).prop_map(|(s, fan)| format!("M106 P{fan} S{s}")),
        1 => (0..2u8, 0..250u32).prop_map(|(tool, target)| format!("M104 T{tool} S{target}")),
        1 => (0..3000u32).prop_map(|ms| format!("G4 P{ms}")),
        1 => (0..2u8).prop_map(|tool| format!("T{tool}")),
        1 => Just("G10".to_owned()),
        1 => Just("G11".to_owned()),
        1 => Just("M83".to_owned()),
        1 => (100..9000u32).prop_map(|a| format!("M204 S{a}")),
    ];
    proptest::collection::vec(line, 1..120).prop_map(|lines| format!("G1 X1\n{}\n", lines.join("\n")))
}

proptest! {
    #[test]
    fn travel_scales_with_the_coordinates(points in points()) {
        let (one, two) = (run(&path(&points, 0.1, 6000), Options::default()), run(&path(&points, 0.2, 6000), Options::default()));
        close(two.report.travel_mm.x, 2.0 * one.report.travel_mm.x, 1e-9 * two.report.travel_mm.x);
        close(two.report.path_xy_mm, 2.0 * one.report.path_xy_mm, 1e-9 * two.report.path_xy_mm);
        prop_assert_eq!(one.report.reversals, two.report.reversals);
    }

    #[test]
    fn a_path_backwards_travels_as_far_and_takes_as_long(points in points()) {
        let back: Vec<_> = points.iter().rev().copied().collect();
        for corner in [Corner::Jerk, Corner::Deviation] {
            let one = run(&path(&points, 0.1, 6000), with_corner(corner)).report;
            let other = run(&path(&back, 0.1, 6000), with_corner(corner)).report;
            close(one.path_xy_mm, other.path_xy_mm, 1e-9 * one.path_xy_mm);
            close(one.corexy_motor_mm.a, other.corexy_motor_mm.a, 1e-9 * one.corexy_motor_mm.a);
            prop_assert_eq!(one.reversals, other.reversals);
            // By deviation the corner speed is the same both ways, and so is the time.
            if corner == Corner::Deviation {
                close(one.time.total_s, other.time.total_s, 1e-9 * one.time.total_s);
            }
        }
    }

    #[test]
    fn no_path_is_faster_than_its_length_at_full_speed(points in points(), feed in 100..20_000u32) {
        for corner in [Corner::Jerk, Corner::Deviation] {
            let report = run(&path(&points, 0.1, feed), with_corner(corner)).report;
            prop_assert!(report.path_xy_mm / (f64::from(feed) / 60.0) <= report.time.total_s * (1.0 + 1e-12));
        }
    }

    #[test]
    fn more_acceleration_is_never_slower_where_corners_stop(points in points(), acceleration in 100..3000u32) {
        // Without jerk or deviation every corner is a stop, so that acceleration changes nothing else.
        let with = |a: u32| run(&format!("M205 X0 Y0 Z0 E0\nM204 S{a}\n{}", path(&points, 0.1, 9000)), Options::default());
        let (weak, strong) = (with(acceleration).report.time.total_s, with(2 * acceleration).report.time.total_s);
        prop_assert!(strong <= weak * (1.0 + 1e-12), "{strong} {weak}");
    }

    #[test]
    fn pieces_of_any_size_meter_as_the_whole(program in program(), size in 1usize..40) {
        let mut meter = Meter::new(&core_xy(), Options::default());
        for piece in program.as_bytes().chunks(size) {
            meter.push(piece).unwrap();
        }
        let (pieces, whole) = (meter.finish().unwrap(), run(&program, Options::default()));
        prop_assert_eq!(pieces.report, whole.report);
        prop_assert_eq!(pieces.duty, whole.duty);
    }

    #[test]
    fn what_is_no_text_behind_a_stop_does_not_matter_in_pieces_of_any_size(
        program in program(), size in 1usize..40, seconds in 0.1..60.0f64,
    ) {
        let mut bytes = program.into_bytes();
        for _ in 0..16 + 5 * bytes.iter().filter(|byte| **byte == b'\n').count() {
            bytes.extend([0xff, 0x00, 0xfe, b'\n']);
        }
        let metered = |size| {
            let mut meter = Meter::new(&core_xy(), Options { stop: Some(Stop::Seconds(seconds)), ..Options::default() });
            for piece in bytes.chunks(size) {
                meter.push(piece)?;
            }
            meter.finish()
        };
        let (pieces, whole) = (metered(size), metered(bytes.len()));
        let told = |metered: Result<motion::Metered, motion::MeterError>| {
            metered.map(|metered| (metered.report, metered.duty, metered.stopped)).map_err(|error| error.to_string())
        };
        prop_assert_eq!(told(pieces), told(whole));
    }

    #[test]
    fn two_cores_meter_as_one(program in program(), line in 1u64..200) {
        for stop in [None, Some(Stop::Line(line)), Some(Stop::Seconds(2.0))] {
            let options = Options { stop, ..Options::default() };
            let (one, two) = (run(&program, options), meter_reader_on_two_cores(program.as_bytes(), &core_xy(), options).unwrap());
            prop_assert_eq!(one.report, two.report);
            prop_assert_eq!(one.duty, two.duty);
            prop_assert_eq!(one.stopped, two.stopped);
        }
    }

    #[test]
    fn wear_maps_hold_all_travel(program in program(), bin in 1u8..40) {
        let metered = run(&program, Options { bin: f64::from(bin), ..Options::default() });
        let travel = metered.report.travel_mm;
        for (map, travel) in [(&metered.wear.x, travel.x), (&metered.wear.y, travel.y), (&metered.wear.z, travel.z)] {
            close(map.travel_mm(), travel, 1e-9 * travel.max(1.0));
        }
    }

    #[test]
    fn duty_and_report_tell_the_same(program in program()) {
        let metered = run(&program, Options::default());
        let (total, report) = (metered.duty.total(), &metered.report);
        for (quantity, millimetres) in [
            (Quantity::TravelX, report.travel_mm.x),
            (Quantity::BeltA, report.corexy_motor_mm.a),
            (Quantity::BeltB, report.corexy_motor_mm.b),
            (Quantity::FilamentFed, report.filament_mm.forward),
            (Quantity::FilamentPulled, report.filament_mm.retracted),
        ] {
            close(total[quantity], millimetres * 1e-3, 1e-9 * (1.0 + millimetres));
        }
        close(total[Quantity::Time], report.time.total_s, 1e-9 * report.time.total_s);
        close(total[Quantity::TimeMoving], report.time.motion_s, 1e-9 * report.time.total_s);
        close(total[Quantity::TimeHot], report.time.hot_s.values().sum(), 1e-9 * (1.0 + report.time.total_s));
        close(total[Quantity::TimeFan0], report.time.fan_on_s.get(&0).copied().unwrap_or(0.0), 1e-9 * report.time.total_s);
        prop_assert_eq!(total[Quantity::ReversalsE], report.reversals.e as f64);
        prop_assert_eq!(total[Quantity::ToolChanges], report.toolchanges as f64);
    }

    #[test]
    fn a_stop_meters_as_the_lines_before_it_alone(program in program(), line in 1u64..100) {
        let stopped = run(&program, Options { stop: Some(Stop::Line(line)), ..Options::default() });
        let alone: String = program.split_inclusive('\n').take(line as usize).collect();
        let alone = run(&alone, Options::default());
        prop_assert_eq!(stopped.duty, alone.duty);
        prop_assert_eq!(stopped.report, alone.report);
    }

    #[test]
    fn a_stop_by_time_is_a_stop_before_the_first_line_too_late(program in program(), share in 0.0..1.0f64, size in 1usize..300) {
        let whole = run(&program, Options::default()).report.time.total_s;
        let options = Options { stop: Some(Stop::Seconds(share * whole)), ..Options::default() };
        let mut meter = Meter::new(&core_xy(), options);
        for piece in program.as_bytes().chunks(size) {
            meter.push(piece).unwrap();
        }
        let metered = meter.finish().unwrap();
        let Some(stopped) = metered.stopped else { return Ok(()) };
        let by_line = run(&program, Options { stop: Some(Stop::Line(stopped.line - 1)), ..Options::default() });
        prop_assert_eq!(&metered.report, &by_line.report);
        prop_assert_eq!(&metered.duty, &by_line.duty);
        let shared = meter_to_time_share(|| Ok(program.as_bytes()), &core_xy(), Options::default(), share).unwrap();
        prop_assert_eq!(shared.stopped, metered.stopped);
    }

    #[test]
    fn carriages_of_a_delta_travel_as_far_as_many_small_steps_do(points in proptest::collection::vec((-75..75i32, -75..75i32, 0..200i32), 2..8)) {
        let (rod, radius) = (215.0, 105.0);
        let machine = Machine { kinematics: Kinematics::Delta { rod, radius }, ..Machine::default() };
        let mut text = String::new();
        for (x, y, z) in &points {
            text += &format!("G1 X{x} Y{y} Z{z}\n");
        }
        text += "G1 X0 Y0\nG2 X20 I10 Z5\n";
        let duty = meter_with(&machine, Options { timed: false, ..Options::default() }, text.as_bytes()).unwrap().duty.total();
        let mut path: Vec<[f64; 3]> = vec![[0.0; 3]];
        path.extend(points.iter().map(|(x, y, z)| [f64::from(*x), f64::from(*y), f64::from(*z)]));
        let z = path[path.len() - 1][2];
        path.push([0.0, 0.0, z]);
        let mut steps: Vec<[f64; 3]> = path
            .windows(2)
            .flat_map(|ends| (0..4000).map(|k| f64::from(k) / 4000.0).map(|t| std::array::from_fn(|i| ends[0][i] + t * (ends[1][i] - ends[0][i]))))
            .collect();
        // G2 from (0, 0) to (20, 0) about (10, 0): clockwise over +y.
        steps.extend((0..=4000).map(|k| f64::from(k) / 4000.0).map(|t| {
            let angle = std::f64::consts::PI * (1.0 - t);
            [10.0 + 10.0 * angle.cos(), 10.0 * angle.sin(), z + t * (5.0 - z)]
        }));
        for (quantity, degrees) in [(Quantity::BeltA, 210.0f64), (Quantity::BeltB, 330.0), (Quantity::BeltC, 90.0)] {
            let (tx, ty) = (radius * degrees.to_radians().cos(), radius * degrees.to_radians().sin());
            let heights = steps.iter().map(|[x, y, z]| z + (rod * rod - (x - tx).powi(2) - (y - ty).powi(2)).sqrt());
            let heights: Vec<f64> = heights.collect();
            let sampled: f64 = heights.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
            close(duty[quantity] * 1e3, sampled, 1e-4 * sampled);
        }
    }
}
