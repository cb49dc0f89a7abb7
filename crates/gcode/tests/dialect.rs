//! Lines valid and invalid in strict RS-274, and what this dialect makes of each.
//!
//! Source of the lines and of the strict reading: Kramer, Proctor, Messina (2000), NISTIR 6556, sections 3.3 to 3.5 and
//! Appendix E. The right-hand column is ours; where it differs from the strict reading, the crate's table says why.

use std::ops::ControlFlow;

use gcode::{Code, Line, Reader, Refused, Sink};

/// Writes down what it gets.
#[derive(Default)]
struct Heard(Vec<String>);

impl Sink for Heard {
    fn line(&mut self, line: Line<'_>) -> ControlFlow<()> {
        self.0.push(match line {
            Line::Command(command) => {
                let mut text = match command.code {
                    Code::G(number) => format!("G{number}"),
                    Code::M(number) => format!("M{number}"),
                    Code::T(number) => format!("T{number:?}"),
                    Code::Modal => "-".to_owned(),
                };
                for letter in b'A'..=b'Z' {
                    match command.words.get(letter) {
                        Some(value) => text += &format!(" {}{value}", char::from(letter)),
                        None if command.words.names(letter) => text += &format!(" {}?", char::from(letter)),
                        None => {}
                    }
                }
                for note in command.notes.iter() {
                    text += &format!(" [{:?} at {}]", note.fault, note.column());
                }
                text
            }
            Line::Unknown { name, .. } => format!("unknown {}", name.escape_ascii()),
            Line::Skipped { note, .. } => format!("skipped [{:?} at {}]", note.fault, note.column()),
        });
        ControlFlow::Continue(())
    }
}

fn read(text: &[u8]) -> String {
    let (mut reader, mut heard) = (Reader::new(), Heard::default());
    let _ = reader.push(text, &mut heard).unwrap();
    match reader.finish(&mut heard) {
        Ok(_) => heard.0.join("\n"),
        Err(refused) => format!("{refused:?}"),
    }
}

#[track_caller]
fn check(line: &str, expected: &str) {
    assert_eq!(read(line.as_bytes()), expected, "{line}");
}

#[test]
fn lines_that_are_valid_in_both_read_alike() {
    check("", "Empty");
    check("\n", "NoCommands");
    check("G1 X1 (a) Y2 (b)", "G1 X1 Y2");
    check("g1 X.5 Y-.5 Z+5.", "G1 X0.5 Y-0.5 Z5");
    check("G1 X0001.500000 Y0", "G1 X1.5 Y0");
    check("N5", "NoCommands");
}

#[test]
fn what_only_machining_centres_write_is_noted_not_guessed() {
    check("g0x +0. 12 34y 7", "G0 X0 Y7 [Unreadable at 9]");
    check("/N10 G1 X1", "unknown /N10");
    check("G80 M5 (stop motion)", "G80 [SecondCommand at 5]");
    check("#3=15 #3=6", "unknown #3");
    check("#3=6 G1 x#3", "unknown #3");
    check("G1 X[1+2*3] Y##2", "G1 X? [NoChecksum at 9] [NoNumber at 4]");
    check(
        "G1 X[ 1 + acos[0] - [#3 ** [4.0/2]]]",
        "G1 A? C? O? S? X? [NoChecksum at 25] [NoNumber at 4] [Unreadable at 7]",
    );
    check("G[2*5] L[1+1] P1", "unknown G");
    check("M3 M8 M48 G1 X1", "M3 [SecondCommand at 4]");
    check(
        "G1 X[2.0 / 3 * 1.5 - 5.5 / 11.0] Y fix[-2.8] Z fup[-2.8]",
        "G1 X? [NoChecksum at 14] [NoNumber at 4] [Unreadable at 10]",
    );
}

#[test]
fn lines_that_strict_readers_refuse_are_read_as_printers_do() {
    check("N100000 G1 X1", "G1 X1");
    check("N-5 G1 X1", "G1 X1");
    check("G1 X1 (open comment", "G1 X1");
    check("G1 X1 X2", "G1 X2 [Twice at 7]");
    check("G0 G1 X1", "G0 [SecondCommand at 4]");
    check("G1 E5", "G1 E5");
    check("G1 X1 ; comment", "G1 X1");
}

#[test]
fn lines_that_no_reader_can_read_are_noted_with_their_column() {
    check("G1 /X1", "G1 X1 [Unreadable at 4]");
    check("G1 X", "G1 X? [NoNumber at 4]");
    check("G1 X+.", "G1 X? [NoNumber at 4]");
    check("G1 X1..2", "G1 X? [Unreadable at 4]");
}

#[test]
fn words_may_stand_in_any_order_and_before_the_command() {
    check("F3000 G1 X1", "G1 F3000 X1");
    check("X5 G1 Y3", "G1 X5 Y3");
    check("X5 Y3", "- X5 Y3");
}

#[test]
fn a_tool_word_is_a_command_except_behind_an_m_word() {
    check("M104 S200 T1", "M104 S200 T1");
    check("T1", "TSome(1)");
    check("T-1", "TNone");
    check("G1 T1", "G1 [SecondCommand at 4]");
}

#[test]
fn exponents_are_words_of_their_own() {
    check("G1 X1e3", "G1 E3 X1");
}

#[test]
fn text_commands_take_the_rest_as_text() {
    check("M117 G1 X50 (Gr\u{fc}\u{df}e) *", "M117");
    check("N7 M23 x5.gco", "M23");
}

#[test]
fn names_in_letters_are_unknown_commands() {
    check("PRINT_START TOOL=T1", "unknown PRINT_START");
    check("XY5", "unknown XY5");
    check("G29.1 X5", "unknown G29.1");
}

#[test]
fn checksums_cover_all_bytes_before_the_star() {
    // Worked by hand: the exclusive or of the bytes of "N1 G1 X10 F600" is 0, of "N2 G1 Y5" 102.
    check("N1 G1 X10 F600*0", "G1 F600 X10");
    check("N2 G1 Y5* 102 ; yes", "G1 Y5");
    check("N2 G1 Y5*99", "G1 Y5 [Checksum { computed: 102 } at 9]");
    check("N2 G1 Y5*", "G1 Y5 [NoChecksum at 9]");
}

#[test]
fn line_ends_of_all_three_kinds_are_counted_alike() {
    for end in ["\n", "\r\n", "\r"] {
        let text = ["G1 X1", "", "G1 X2"].join(end);
        let (mut reader, mut heard) = (Reader::new(), Heard::default());
        let _ = reader.push(text.as_bytes(), &mut heard).unwrap();
        let read = reader.finish(&mut heard).unwrap();
        assert_eq!((read.lines, read.bytes, read.ends_mid_line), (3, text.len() as u64, true), "{end:?}");
    }
}

#[test]
fn bytes_that_are_not_text_are_harmless_in_comments_only() {
    assert_eq!(read(b"G1 X1 ; \xe6\xb8\xa9\x00"), "G1 X1");
    assert_eq!(read(b"G1 X1 (\xe6\xb8\xa9) Y2"), "G1 X1 Y2");
    assert_eq!(read(b"G1 X1\x00\nG1 X2"), "skipped [NotText at 6]\nG1 X2");
}

#[test]
fn a_comment_of_a_megabyte_hides_nothing() {
    let long = "x".repeat(1 << 20);
    check(&format!("G1 X1 ;{long}"), "G1 X1");
    check(&format!("G1 X1 ({long}"), "G1 X1");
    check(&format!("G1 X1 ({long}) ; {long}"), "G1 X1");
    check(&format!("G1 X1 ({long}) Y2\nG1 X2"), "skipped [TooLong at 1]\nG1 X2");
}

#[test]
fn files_that_are_not_text_are_refused_in_one_word() {
    let bytes: Vec<u8> = (0..20_000u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    let (mut reader, mut heard) = (Reader::new(), Heard::default());
    let outcome = reader.push(&bytes, &mut heard);
    assert!(matches!(outcome, Err(Refused::NotGcode { line }) if line < 100), "{outcome:?}");
    assert_eq!(read(&[0; 4096]), "NotGcode { line: 1 }");
}

#[test]
fn a_damaged_block_in_a_good_file_is_skipped_and_the_rest_read() {
    let mut text = "G1 X1\n".repeat(100).into_bytes();
    text.extend(b"\xff\n".repeat(300));
    text.extend(b"G1 X2\n");
    let heard = read(&text);
    assert!(heard.ends_with("G1 X2"));
}
