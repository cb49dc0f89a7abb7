//! Hostile files. Each test is a row of `testdata/toolpaths/nasty/TABLE.md`, whose last column gives the numbers.

use std::collections::BTreeSet;
use std::f64::consts::PI;

use crate::common::{close, core_xy, meter_with, toolpath};
use motion::{MeterError, Options, Report};

fn outcome(name: &str) -> Result<Report, MeterError> {
    meter_with(&core_xy(), Options::default(), &toolpath(&format!("nasty/{name}.gcode"))).map(|metered| metered.report)
}

fn report(name: &str) -> Report {
    outcome(name).unwrap()
}

/// Travel of X and Y, and the lines warned of.
#[track_caller]
fn check(name: &str, x: f64, y: f64, warned: &[u64]) -> Report {
    let report = report(name);
    close(report.travel_mm.x, x, 1e-9);
    close(report.travel_mm.y, y, 1e-9);
    let lines: BTreeSet<u64> = report.warnings.iter().map(|warning| warning.line).collect();
    assert_eq!(lines, warned.iter().copied().collect(), "{:?}", report.warnings);
    report
}

#[test]
fn crlf_ends_a_line() {
    let report = check("01_crlf", 10.0, 10.0, &[]);
    close(report.filament_mm.net, 1.0, 1e-12);
}

#[test]
fn the_last_line_counts_without_an_end() {
    let report = check("02_no_final_newline", 20.0, 0.0, &[]);
    assert_eq!((report.reversals.x, report.ends_mid_line), (1, true));
}

#[test]
fn a_lone_cr_ends_a_line() {
    assert_eq!(check("03_lone_cr", 10.0, 5.0, &[]).lines, 6);
}

#[test]
fn a_byte_order_mark_is_skipped() {
    check("04_bom", 15.0, 0.0, &[]);
}

#[test]
fn bytes_above_127_are_harmless_in_comments() {
    check("05_utf8_comment", 15.0, 0.0, &[]);
}

#[test]
fn lines_with_nul_bytes_are_skipped_and_named() {
    assert_eq!(check("06_nul_bytes", 20.0, 0.0, &[2, 3]).skipped_lines, 2);
}

#[test]
fn a_comment_of_a_megabyte_is_passed_over() {
    check("07_long_line_1mb", 20.0, 0.0, &[]);
}

#[test]
fn a_line_of_a_megabyte_of_words_is_refused_and_named() {
    // All that is left is a move to where the head already stands.
    let Err(MeterError::NothingToMeter(report)) = outcome("08_long_line_words") else {
        panic!("something was metered")
    };
    assert_eq!((report.travel_mm.x, report.warnings[0].line, report.warnings_total), (0.0, 1, 1));
}

#[test]
fn a_bare_g1_moves_nothing() {
    let report = check("09_g1_bare", 10.0, 0.0, &[]);
    assert_eq!((report.motion_commands, report.blocks), (5, 1));
}

#[test]
fn words_need_no_spaces() {
    let report = check("10_no_spaces", 5.0, 8.5, &[]);
    close(report.filament_mm.net, 6.0, 1e-12);
    assert_eq!(report.reversals.x, 1);
}

#[test]
fn lower_case_letters_are_the_same_words() {
    let report = check("11_lower_case", 1.0, 2.5, &[]);
    close(report.filament_mm.net, 0.5, 1e-12);
    assert_eq!(report.toolchanges, 1);
}

#[test]
fn leading_zeros_change_no_command() {
    assert_eq!(check("12_leading_zeros", 25.0, 0.0, &[]).motion_commands, 3);
}

#[test]
fn numbers_are_read_in_all_their_forms() {
    check("13_number_forms", 3.5, 3.0, &[]);
}

#[test]
fn an_e_behind_a_number_is_the_extruder_never_an_exponent() {
    let report = check("14_exponent", 2.5, 0.0, &[]);
    let filament = report.filament_mm;
    assert_eq!((filament.net, filament.forward, filament.retracted), (-2.0, 4.0, 6.0));
}

#[test]
fn words_without_a_number_spoil_their_line_only() {
    let report = check("15_nan_inf", 20.0, 0.0, &[2, 3, 4, 5, 6]);
    assert!(report.time.total_s.is_finite());
    assert_eq!(report.warnings[0].column, 4);
}

#[test]
fn percent_lines_and_program_numbers_move_nothing() {
    assert_eq!(check("16_percent", 20.0, 0.0, &[]).unknown_commands, 1);
}

#[test]
fn right_checksums_pass_in_silence() {
    check("17_checksums_right", 20.0, 5.0, &[]);
}

#[test]
fn wrong_checksums_are_named_and_their_lines_metered() {
    check("18_checksums_wrong", 20.0, 7.0, &[2, 3]);
}

#[test]
fn comments_in_parentheses_do_not_nest() {
    check("19_paren_comments", 30.0, 5.0, &[1]);
}

#[test]
fn renaming_the_position_moves_nothing() {
    let report = check("20_g92_midfile", 21.0, 0.0, &[]);
    close(report.filament_mm.net, 11.0, 1e-12);
    assert_eq!((report.reversals.x, report.reversals.e), (0, 0));
}

#[test]
fn relative_arcs_take_end_and_centre_from_the_start() {
    let report = check("21_g91_arcs", 20.0, 20.0, &[]);
    close(report.path_xy_mm, 10.0 * PI, 1e-9);
    assert_eq!((report.reversals.x, report.reversals.y), (1, 3));
}

#[test]
fn arcs_by_radius_take_the_way_that_its_sign_tells() {
    let report = report("22_arc_radius");
    // To 1e-6 of the table's closed form; its last term is rounded to three decimals.
    let table = 5.0 * PI + 10.0 * (2.0 * PI - PI / 3.0) + 5.0 * PI + 5.00001 * (PI - 0.004);
    close(report.path_xy_mm, table, 1e-5);
    assert_eq!(report.warnings.iter().map(|warning| warning.line).collect::<Vec<_>>(), [3]);
}

#[test]
fn an_arc_to_its_own_start_is_a_full_turn_if_it_has_a_centre() {
    let report = report("23_full_circle");
    close(report.path_xy_mm, 10.0 * 2f64.sqrt() + 16.0 * PI, 1e-9);
    close(report.filament_mm.net, 2.0, 1e-12);
    assert_eq!(report.warnings.iter().map(|warning| warning.line).collect::<Vec<_>>(), [4, 5]);
}

#[test]
fn moves_of_no_length_take_no_time() {
    let report = check("24_zero_moves", 1.0, 0.0, &[]);
    assert!(0.0 < report.time.total_s && report.time.total_s < 1.0);
}

#[test]
fn several_pulls_in_a_row_are_one_retraction() {
    let filament = report("25_e_only").filament_mm;
    assert_eq!((filament.net, filament.forward, filament.retracted, filament.retractions), (5.0, 9.0, 4.0, 1));
}

#[test]
fn numbers_that_no_machine_has_are_refused() {
    assert!(check("26_huge_numbers", 20.0, 0.0, &[2, 3, 4, 5]).time.total_s.is_finite());
}

#[test]
fn a_tool_that_cannot_be_is_named_and_the_tool_stays() {
    let report = check("27_tool_odd", 2.0, 0.0, &[2, 5, 8]);
    assert_eq!(report.toolchanges, 2);
    assert_eq!(report.filament_per_tool_mm[&0].net, 1.0);
}

#[test]
fn absolute_positions_do_not_make_the_extruder_absolute() {
    assert_eq!(report("28_m82_m83").filament_mm.net, 7.0);
}

#[test]
fn a_target_without_a_number_stays() {
    let report = check("29_temp_without_s", 0.0, 0.0, &[1, 2, 3, 4, 5, 9]);
    assert_eq!((report.time.hot_s[&0], report.time.fan_on_s[&0], report.time.fan_duty_s[&0]), (10.0, 10.0, 10.0));
}

#[test]
fn a_file_that_ends_in_mid_line_says_so() {
    let report = report("30_truncated");
    assert_eq!((report.travel_mm.x, report.ends_mid_line), (190.0, true));
}

#[test]
fn a_binary_file_is_refused_in_one_line() {
    let error = outcome("31_binary").unwrap_err();
    assert!(matches!(error, MeterError::NotGcode { .. }), "{error:?}");
    assert!(!error.to_string().contains('\n'));
}

#[test]
fn an_empty_file_has_nothing_to_meter() {
    assert!(matches!(outcome("32_empty"), Err(MeterError::Empty)));
}

#[test]
fn a_file_of_comments_has_no_commands() {
    assert!(matches!(outcome("33_only_comments"), Err(MeterError::NoCommands)));
}

#[test]
fn message_text_is_no_motion() {
    let report = check("34_text_args", 20.0, 0.0, &[]);
    assert_eq!((report.toolchanges, report.unknown["EXCLUDE_START"]), (0, 1));
}

#[test]
fn only_the_first_command_of_a_line_is_carried_out() {
    check("35_two_commands", 21.0, 0.0, &[1, 2, 3]);
}

#[test]
fn inches_and_millimetres_may_alternate() {
    check("36_inch_mm_mixed", 25.4 + 25.4 + 2.54 + 1.0, 0.0, &[]);
}

#[test]
fn fan_values_are_clamped_to_255_and_fans_told_apart() {
    let time = report("37_temp_units_fan").time;
    assert_eq!((time.fan_on_s[&0], time.fan_on_s[&1]), (3.0, 2.0));
    close(time.fan_duty_s[&0], 1.0 + 2.0 * 0.5 / 255.0, 1e-12);
}
