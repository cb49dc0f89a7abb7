//! Prints that stopped before their program was over.

use crate::common::{close, core_xy, meter_with, toolpath};
use motion::{Meter, Metered, Options, Stop, Stopped, meter_to_time_share};

const LAYERS: &str = "G1 Z.2\nG1 X10 E1\nG1 Z.6\nG1 X0\nG1 Z.4\nG1 X10 E2\nG1 X0 E3\nG1 Z.6\nG1 X10 E4\n";

fn stopped(stop: Stop, program: &[u8]) -> Metered {
    meter_with(&core_xy(), Options { stop: Some(stop), ..Options::default() }, program).unwrap()
}

#[test]
fn layers_begin_with_the_first_extrusion_at_a_new_height_not_with_a_hop() {
    assert_eq!(stopped(Stop::Layer(9), LAYERS.as_bytes()).layers, 3);
    let two = stopped(Stop::Layer(2), LAYERS.as_bytes());
    assert_eq!((two.layers, two.stopped), (2, Some(Stopped { line: 9, byte: 63 })));
    assert_eq!(two.report.filament_mm.net, 3.0);
}

#[test]
fn a_stop_at_a_byte_counts_whole_lines_only() {
    // "G1 Z.2\n" ends with byte 7, "G1 X10 E1" with byte 16.
    for (byte, lines) in [(0, 0), (5, 0), (6, 1), (15, 1), (16, 2)] {
        assert_eq!(stopped(Stop::Byte(byte), LAYERS.as_bytes()).report.lines, lines, "{byte}");
    }
    assert_eq!(Stop::byte_share(0.5, 84), Stop::Byte(42));
}

#[test]
fn a_comment_is_part_of_its_line_in_whatever_pieces_it_comes() {
    // The second line is of bytes 7 to 99, its comment included; the stop lies in that comment.
    let program = format!("G1 Z.2\nG1 X10 E1 ;{}\nG1 X20 E1\n{LAYERS}", "-".repeat(81));
    let options = Options { stop: Some(Stop::Byte(60)), ..Options::default() };
    for piece in [1, program.len()] {
        let mut meter = Meter::new(&core_xy(), options);
        program.as_bytes().chunks(piece).for_each(|piece| meter.push(piece).unwrap());
        assert_eq!(meter.finish().unwrap().report.lines, 1, "in pieces of {piece}");
    }
}

#[test]
fn half_the_time_of_a_real_file_is_metered_to_within_a_line() {
    let file = toolpath("files/a_bracket.gcode");
    let whole = meter_with(&core_xy(), Options::default(), &file).unwrap();
    let half = meter_to_time_share(|| Ok(file.as_slice()), &core_xy(), Options::default(), 0.5).unwrap();
    close(half.report.time.total_s, whole.report.time.total_s / 2.0, 2.0);
    assert!(half.layers < whole.layers && 0.0 < half.report.filament_mm.net);
}
