//! Kinematics worked by hand.

use crate::common::{close, meter, meter_with};
use motion::{Kinematics, Machine, Options, Quantity};

#[test]
fn a_core_xy_turns_its_motors_by_sum_and_difference() {
    // By hand, from a = x + y and b = x - y; |da| + |db| = 2 max(|dx|, |dy|) in each move.
    let metered = meter("G1 X10\nG1 Y10\nG1 X0 Y0\nG1 X-3 Y7\n");
    let report = &metered.report;
    assert_eq!((report.travel_mm.x, report.travel_mm.y), (23.0, 27.0));
    assert_eq!((report.corexy_motor_mm.a, report.corexy_motor_mm.b), (44.0, 30.0));
    // At 40 mm of belt a turn (2 mm pitch, 20 teeth).
    let total = metered.duty.total();
    close(total[Quantity::TurnsA], 1.1, 1e-12);
    close(total[Quantity::TurnsB], 0.75, 1e-12);
}

#[test]
fn a_cartesian_machine_turns_a_motor_per_axis() {
    let machine = Machine { kinematics: Kinematics::Cartesian, ..Machine::default() };
    let total = meter_with(&machine, Options::default(), b"G1 X10\nG1 Y20\nG1 X0 Y0").unwrap().duty.total();
    assert_eq!((total[Quantity::BeltA], total[Quantity::BeltB], total[Quantity::BeltC]), (0.02, 0.04, 0.0));
    assert_eq!((total[Quantity::ReversalsA], total[Quantity::ReversalsB]), (1.0, 1.0));
}

#[test]
fn screws_turn_once_per_lead() {
    // By hand: 250 mm at a lead of 8 mm.
    let total = meter("G1 Z100\nG1 Z250\n").duty.total();
    close(total[Quantity::TurnsScrew], 31.25, 1e-12);
}

#[test]
fn filament_has_the_volume_of_a_cylinder() {
    // By hand: 1000 mm of 1.75 mm are 2405.281875 mm³ (ten digits).
    let total = meter("G1 X500 E1000 F300\n").duty.total();
    close(total[Quantity::FilamentVolume] * 1e9, 2_405.281_875, 1e-5);
}

#[test]
fn what_is_pulled_back_wears_the_extruder_but_is_not_used() {
    // By hand: E 0, 5, 3, 8 is 8 net, 12 in all: 10 forward, 2 back.
    let total = meter("G1 E5 F300\nG1 E3\nG1 E8\n").duty.total();
    let used = [Quantity::Filament, Quantity::FilamentFed, Quantity::FilamentPulled].map(|quantity| total[quantity]);
    assert_eq!(used, [0.008, 0.01, 0.002]);
    close(total[Quantity::TurnsExtruder], 12.0 / 22.0, 1e-12);
    assert_eq!((total[Quantity::Retractions], total[Quantity::ReversalsE]), (1.0, 2.0));
}

#[test]
fn peak_flow_is_taken_at_the_peak_speed_of_extruding_moves() {
    // 100 mm with 5 mm of filament at 60 mm/s: 3 mm/s of filament; the extruder alone does not count.
    let total = meter("M83\nG1 E10 F3000\nG1 X100 E5 F3600\n").duty.total();
    close(total[Quantity::PeakFlow] * 1e9, 3.0 * 2.405_281_875, 1e-6);
    assert!(total[Quantity::TimeExtruding] < total[Quantity::TimeMoving]);
}

#[test]
fn each_tool_is_charged_with_its_own_heat_and_motion() {
    let metered =
        meter("M104 T1 S210\nG4 S10\nG1 X10\nT1\nG1 X40\nM104 S0\nG4 S5\nM104 S200\nM140 S60\nM140 S0\nM140 S60");
    let [first, second] = [0, 1].map(|tool| &metered.duty.tools[&tool]);
    assert_eq!((first[Quantity::TravelX], second[Quantity::TravelX]), (0.01, 0.03));
    assert_eq!((first[Quantity::TimeHot], second[Quantity::HeatCyclesNozzle]), (0.0, 2.0));
    assert_eq!((second[Quantity::ToolChanges], second[Quantity::HeatCyclesBed]), (1.0, 2.0));
    close(second[Quantity::TimeHot], metered.report.time.total_s - 5.0, 1e-9);
    close(first[Quantity::Time] + second[Quantity::Time], metered.report.time.total_s, 1e-9);
}

#[test]
fn a_dead_band_passes_over_micron_moves() {
    let report = meter("G91\nG1 X10 Y10\nG1 X5 Y5.001\nG1 X5 Y4.999\nG1 X5 Y5.001\nG1 X-1 Y-1\n").report;
    assert_eq!((report.reversals.a, report.reversals.b), (1, 2));
    assert_eq!((report.reversals_dead_band.a, report.reversals_dead_band.b), (1, 0));
}

#[test]
fn a_way_back_of_just_the_dead_band_is_no_turn_whatever_rounding_leaves() {
    let there_and_back: String = (1..200).map(|step| format!("G1 X{step}.31\nG1 X{step}.30\n")).collect();
    let report = meter(&there_and_back).report;
    assert_eq!((report.reversals.x, report.reversals_dead_band.x), (2 * 199 - 1, 0));
}

#[test]
fn the_wear_map_shows_where_the_travel_fell() {
    let bins = |program: &str| meter(program).wear.x.bins();
    assert_eq!(bins("G1 X25\nG1 X5\n"), [(0.0, 15.0), (10.0, 20.0), (20.0, 10.0)]);
    // Renaming the place does not move the head.
    assert_eq!(bins("G1 X25\nG92 X5\nG1 X-15\n"), [(0.0, 15.0), (10.0, 20.0), (20.0, 10.0)]);
    assert_eq!(bins("G1 X-5\n"), [(-10.0, 5.0)]);
    // An arc from 20 to 0 and back: each half covers every bin once.
    let arc = bins("G1 X20\nG2 I-10\n");
    assert_eq!(arc.iter().map(|(start, _)| *start).collect::<Vec<_>>(), [0.0, 10.0]);
    close(arc[0].1, 30.0, 1e-9);
}
