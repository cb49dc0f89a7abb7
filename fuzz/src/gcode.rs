//! Print files: lines of G-code, and what they ask of a machine.

use std::ops::ControlFlow;
use std::sync::LazyLock;

use gcode::{Command, Line, Read, Reader, Refused, Sink};
use motion::{Machine, Meter, MeterError, Metered, Options, Quantity, Stop, Unit};

/// What a reader found, in words.
struct Found(Vec<String>);

impl Sink for Found {
    fn line(&mut self, line: Line<'_>) -> ControlFlow<()> {
        self.0.push(match line {
            Line::Command(Command { line, offset, code, words, raw, notes }) => {
                let values: Vec<_> = (b'A'..=b'Z').map(|letter| words.get(letter).map(f64::to_bits)).collect();
                format!("{line} at {offset}: {code:?} {values:?} {raw:?} {notes:?}")
            }
            other => format!("{other:?}"),
        });
        ControlFlow::Continue(())
    }
}

/// Reads G-code: the same lines are found in whatever pieces it comes.
pub fn gcode(bytes: &[u8]) {
    let whole = read(bytes, bytes.len().max(1));
    for piece in [1, 7] {
        assert_eq!(read(bytes, piece), whole, "in pieces of {piece}");
    }
}

fn read(bytes: &[u8], piece: usize) -> (Result<Read, Refused>, Vec<String>) {
    let (mut reader, mut found) = (Reader::new(), Found(Vec::new()));
    for piece in bytes.chunks(piece) {
        if let Err(refused) = reader.push(piece, &mut found) {
            return (Err(refused), found.0);
        }
    }
    (reader.finish(&mut found), found.0)
}

/// A machine whose axes depend on each other, with more than one tool's worth of limits.
static MACHINE: LazyLock<Machine> = LazyLock::new(|| {
    let text = include_str!("../../crates/upkeep/builds/enclosed-corexy.toml");
    let build = upkeep::Build::parse("enclosed-corexy.toml", text);
    build.expect("a build that comes with tallow can be read").machine
});

/// Meters a print file, whole and to stops in it: no amount is less than nothing or no number, a print that stopped travelled no
/// further than the whole one, and the pieces make no difference.
pub fn meter(bytes: &[u8]) {
    let whole = metered(bytes, bytes.len().max(1), None);
    let pieces = metered(bytes, 11, None);
    assert_eq!(told(&pieces), told(&whole), "in pieces");
    for stop in [Stop::Line(3), Stop::Layer(1), Stop::Byte(bytes.len() as u64 / 2), Stop::Seconds(1.5)] {
        let stopped = metered(bytes, bytes.len().max(1), Some(stop));
        assert_eq!(told(&metered(bytes, 11, Some(stop))), told(&stopped), "in pieces, to {stop:?}");
        let (Ok(stopped), Ok(whole)) = (&stopped, &whole) else { continue };
        let (stopped, whole) = (stopped.duty.total(), whole.duty.total());
        // Times may be longer: what stops brakes.
        let lengths = Quantity::ALL.iter().filter(|quantity| quantity.unit() == Unit::Metre && !is_net(**quantity));
        for &quantity in lengths {
            let (part, all) = (stopped[quantity], whole[quantity]);
            assert!(part <= all * (1.0 + 1e-6) + 1e-6, "{quantity} to {stop:?}: {part} of {all}");
        }
    }
}

/// Whether it is what was fed less what was pulled back, which a program may do in any order.
fn is_net(quantity: Quantity) -> bool {
    matches!(quantity, Quantity::Filament | Quantity::FilamentVolume | Quantity::FilamentMass)
}

fn metered(bytes: &[u8], piece: usize, stop: Option<Stop>) -> Result<Metered, MeterError> {
    let mut meter = Meter::new(&MACHINE, Options { stop, ..Options::default() });
    for piece in bytes.chunks(piece) {
        meter.push(piece)?;
    }
    let metered = meter.finish()?;
    for (tool, amounts) in &metered.duty.tools {
        for &quantity in Quantity::ALL {
            let amount = amounts[quantity];
            assert!(amount.is_finite() && (0.0 <= amount || is_net(quantity)), "{quantity} of tool {tool} is {amount}");
        }
    }
    Ok(metered)
}

fn told(metered: &Result<Metered, MeterError>) -> String {
    match metered {
        Ok(Metered { duty, report, layers, stopped, .. }) => format!("{duty:?} {report:?} {layers} {stopped:?}"),
        Err(error) => format!("{error} {error:?}"),
    }
}
