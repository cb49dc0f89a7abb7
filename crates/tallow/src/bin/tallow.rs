//! tallow, the command line: keeps filament printers running.

use std::process::ExitCode;

fn main() -> ExitCode {
    tallow::main()
}
