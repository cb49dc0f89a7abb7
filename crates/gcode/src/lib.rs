//! A streaming reader of RS-274 as filament printers speak it: bytes in, commands with line and byte numbers out.
//!
//! The reader is fed pieces of any size ([`Reader::push`]) and hands each command to a [`Sink`]. It holds at most one
//! unfinished line ([`MAX_LINE`] bytes of it), never the file. A line that can't be read becomes a [`Note`] with its
//! column, and reading goes on; only a file that is not G-code at all is an error.
//!
//! # Dialect
//! Kramer, Proctor and Messina, *The NIST RS274NGC Interpreter, Version 3* (NISTIR 6556, 2000) is the ground; what
//! printers' programs write differs, so this reader differs from section 3.3 there:
//!
//! | RS274NGC | here | why |
//! |---|---|---|
//! | blanks may stand inside a number | a blank ends a number | printers' firmware reads so |
//! | several G and M words on a line | the first is the command, the rest is ignored and noted | ditto |
//! | a word given twice is an error | the last counts, noted | ditto |
//! | an unclosed `(` is an error | it runs to the line's end | ditto |
//! | no `;` comments, `*` checksums, E words | all read | every toolpath file has them |
//! | parameters `#3`, expressions `[1+2]`, block delete `/` | not read, noted | no toolpath file has them |
//! | N is at most 99999 | any number | files have more lines than that |
//!
//! # Example
//! ```
//! use std::ops::ControlFlow;
//! use gcode::{Code, Line, Reader, Sink};
//!
//! struct Sum(f64);
//! impl Sink for Sum {
//!     fn line(&mut self, line: Line<'_>) -> ControlFlow<()> {
//!         if let Line::Command(command) = line && command.code == Code::G(1) {
//!             self.0 += command.words.get(b'X').unwrap_or(0.0);
//!         }
//!         ControlFlow::Continue(())
//!     }
//! }
//!
//! let (mut reader, mut sum) = (Reader::new(), Sum(0.0));
//! for piece in ["G1 X1", "0 F600\nG1 ", "X.5"] {
//!     assert!(reader.push(piece.as_bytes(), &mut sum).unwrap().is_continue());
//! }
//! reader.finish(&mut sum).unwrap();
//! assert_eq!(sum.0, 10.5);
//! ```

mod line;
mod note;
mod number;
mod pending;
mod quick;
mod reader;
mod words;

pub use line::{Code, Command, Line};
pub use note::{Fault, Note, Notes};
pub use number::{MAX_NUMBER, decimal};
pub use pending::MAX_LINE;
pub use reader::{Read, Reader, Refused, Sink};
pub use words::{Words, bit};
