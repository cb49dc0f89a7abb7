//! Laws that hold for every input.

use std::ops::ControlFlow;

use gcode::{Line, Reader, Refused, Sink, decimal};
use proptest::prelude::*;

#[derive(Default, PartialEq, Debug)]
struct Seen(Vec<String>);

impl Sink for Seen {
    fn line(&mut self, line: Line<'_>) -> ControlFlow<()> {
        self.0.push(match line {
            Line::Command(command) => {
                let values: Vec<_> = (b'A'..=b'Z').map(|letter| command.words.get(letter).map(f64::to_bits)).collect();
                let notes: Vec<_> = command.notes.iter().map(|note| note.fault).collect();
                format!("{} {:?} {:?} {values:?} {notes:?}", command.line, command.raw, command.code)
            }
            Line::Unknown { line, name, notes, .. } => format!("{line} {name:?} {notes:?}"),
            Line::Skipped { line, raw, note, .. } => format!("{line} {raw:?} {note:?}"),
        });
        ControlFlow::Continue(())
    }
}

fn read(pieces: &[&[u8]]) -> (Seen, Result<gcode::Read, Refused>) {
    let (mut reader, mut seen) = (Reader::new(), Seen::default());
    for piece in pieces {
        if let Err(refused) = reader.push(piece, &mut seen) {
            return (seen, Err(refused));
        }
    }
    let outcome = reader.finish(&mut seen);
    (seen, outcome)
}

/// Bytes that look like a program, with line ends, comments, checksums and damage of all kinds.
fn program() -> impl Strategy<Value = Vec<u8>> {
    let line = prop_oneof![
        8 => "G[0-3]( ?[XYZEF]-?[0-9]{0,5}\\.?[0-9]{0,6}){0,4}( ?;[ -~]{0,20})?",
        2 => "[ -~]{0,40}",
        1 => "(N[0-9]{1,3} )?[GMT][0-9]{0,3}.{0,12}(\\*[0-9]{0,3})?",
        1 => "[;(%].{0,30}",
    ];
    let end = prop_oneof![6 => Just("\n"), 2 => Just("\r\n"), 1 => Just("\r")];
    proptest::collection::vec((line, end), 0..40)
        .prop_map(|lines| lines.into_iter().flat_map(|(line, end)| [line.into_bytes(), end.into()].concat()).collect())
}

proptest! {
    #[test]
    fn a_file_in_pieces_reads_as_the_whole(text in program(), sizes in proptest::collection::vec(1usize..50, 1..200)) {
        let mut pieces = Vec::new();
        let mut rest = text.as_slice();
        for size in sizes.iter().cycle() {
            if rest.is_empty() { break }
            let (piece, behind) = rest.split_at(rest.len().min(*size));
            pieces.push(piece);
            rest = behind;
        }
        prop_assert_eq!(read(&pieces), read(&[&text]));
    }

    #[test]
    fn single_bytes_read_as_the_whole(text in program()) {
        let pieces: Vec<&[u8]> = text.chunks(1).collect();
        prop_assert_eq!(read(&pieces), read(&[&text]));
    }

    #[test]
    fn any_bytes_are_read_without_a_panic(bytes in proptest::collection::vec(any::<u8>(), 0..2000)) {
        let _ = read(&[&bytes]);
    }

    #[test]
    fn the_quick_way_reads_what_the_careful_way_does(
        text in "[GM][0-9]{0,4}( ?[A-Z][+-]{0,2}[0-9]{0,9}\\.{0,2}[0-9]{0,9}){0,6}( ?[;(*].{0,9})?",
        plain in "G[0-3]( ?[XYZEF]-?[0-9]{0,7}\\.?[0-9]{0,7}){0,8}",
        far in "G1 [XYZ]0{40,70}(1.5)? [EF]2[0-9]{0,40}",
    ) {
        for text in [text, plain, far] {
            // A line that arrives in two pieces is read the careful way, and so is one near the end of a piece.
            let line = format!("{text}\n{}", "\n".repeat(100));
            let (one, rest) = line.as_bytes().split_at(1);
            prop_assert_eq!(read(&[line.as_bytes()]), read(&[one, rest]));
        }
    }

    #[test]
    fn numbers_are_rounded_as_the_standard_library_rounds(text in "[+-]?[0-9]{1,12}(\\.[0-9]{0,12})?|-?\\.[0-9]{1,24}") {
        let (value, length) = decimal(text.as_bytes()).unwrap();
        prop_assert_eq!(length, text.len());
        prop_assert_eq!(value.to_bits(), text.parse::<f64>().unwrap().to_bits());
    }

    #[test]
    fn numbers_on_a_line_are_rounded_so_too(text in "-?[0-9]{1,9}\\.[0-9]{1,9}") {
        struct X(f64);
        impl Sink for X {
            fn line(&mut self, line: Line<'_>) -> ControlFlow<()> {
                if let Line::Command(command) = line {
                    self.0 = command.words.get(b'X').unwrap();
                }
                ControlFlow::Continue(())
            }
        }
        let mut x = X(f64::NAN);
        let line = format!("G1 X{text} Y1 ; {}\n", "some comment ".repeat(9));
        Reader::new().push(line.as_bytes(), &mut x).map(|_| ()).unwrap();
        prop_assert_eq!(x.0.to_bits(), text.parse::<f64>().unwrap().to_bits());
    }
}
