//! How fast the meter is, beside other things that read the same file, in one run:
//! `cargo bench -p motion --bench meter -- FILE`.
//!
//! A round takes each once; the best of the rounds counts. Every ratio is to `md5sum` of the same run.

use std::fs::File;
use std::hint::black_box;
use std::io::{Read, Write};
use std::ops::ControlFlow;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use gcode_peer::core as peer;
use motion::{Kinematics, Machine, Options, meter_reader, meter_reader_on_two_cores};

const ROUNDS: usize = 5;

type Job = (&'static str, fn(&Path));

const JOBS: [Job; 7] = [
    ("md5sum", md5sum),
    ("scan for line ends", scan),
    ("reader alone", reader),
    ("meter without planner", untimed),
    ("meter", timed),
    ("meter on two cores", two_cores),
    ("peer parser, gcode 0.7 (a tenth of the file, times ten)", peer_parser),
];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let Some(path) = std::env::args().skip(1).find(|argument| !argument.starts_with('-')) else {
        return Ok(writeln!(
            std::io::stdout(),
            "give a file of some 200 MB: cargo bench -p motion --bench meter -- FILE"
        )?);
    };
    let path = Path::new(&path);
    let bytes = path.metadata()?.len() as f64;
    let mut best = [f64::INFINITY; JOBS.len()];
    for _ in 0..ROUNDS {
        for ((_, job), best) in JOBS.iter().zip(&mut best) {
            let start = Instant::now();
            job(path);
            *best = best.min(start.elapsed().as_secs_f64());
        }
    }
    let mut out = std::io::stdout();
    for ((name, _), seconds) in JOBS.iter().zip(&best) {
        writeln!(
            out,
            "{name:<56} {seconds:7.3} s {:8.0} MB/s {:6.2} x md5sum",
            bytes / seconds / 1e6,
            seconds / best[0]
        )?;
    }
    Ok(())
}

fn md5sum(path: &Path) {
    let output = Command::new("md5sum").arg(path).output().expect("md5sum runs");
    assert!(output.status.success());
}

fn pieces(path: &Path, mut each: impl FnMut(&[u8])) {
    let mut file = File::open(path).expect("the file opens");
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece).expect("the file reads") {
            0 => return,
            length => each(&piece[..length]),
        }
    }
}

fn scan(path: &Path) {
    let mut lines = 0;
    pieces(path, |piece| lines += memchr::memchr_iter(b'\n', piece).count());
    black_box(lines);
}

struct Sum(f64);

impl gcode::Sink for Sum {
    fn line(&mut self, line: gcode::Line<'_>) -> ControlFlow<()> {
        if let gcode::Line::Command(command) = line {
            self.0 += command.words.get(b'X').unwrap_or(0.0);
        }
        ControlFlow::Continue(())
    }
}

fn reader(path: &Path) {
    let (mut reader, mut sum) = (gcode::Reader::new(), Sum(0.0));
    pieces(path, |piece| {
        let _ = reader.push(piece, &mut sum).expect("G-code");
    });
    black_box(sum.0);
}

fn machine() -> Machine {
    Machine { kinematics: Kinematics::CoreXy, ..Machine::default() }
}

fn meter(path: &Path, options: Options) {
    let file = File::open(path).expect("the file opens");
    black_box(meter_reader(file, &machine(), options).expect("the file meters"));
}

fn untimed(path: &Path) {
    meter(path, Options { timed: false, ..Options::default() });
}

fn timed(path: &Path) {
    meter(path, Options::default());
}

fn two_cores(path: &Path) {
    let file = File::open(path).expect("the file opens");
    black_box(meter_reader_on_two_cores(file, &machine(), Options::default()).expect("the file meters"));
}

/// Adds up the X words, as [`reader`] does. Its values are 32-bit floats, and it wants the whole text in memory.
#[derive(Default)]
struct PeerSum {
    sum: f64,
    diagnostics: peer::Noop,
}

struct PeerBlock<'a>(&'a mut PeerSum);
struct PeerCommand<'a>(&'a mut PeerSum);

impl peer::HasDiagnostics for PeerSum {
    fn diagnostics(&mut self) -> &mut dyn peer::Diagnostics {
        &mut self.diagnostics
    }
}

impl peer::HasDiagnostics for PeerBlock<'_> {
    fn diagnostics(&mut self) -> &mut dyn peer::Diagnostics {
        &mut self.0.diagnostics
    }
}

impl peer::HasDiagnostics for PeerCommand<'_> {
    fn diagnostics(&mut self) -> &mut dyn peer::Diagnostics {
        &mut self.0.diagnostics
    }
}

#[expect(refining_impl_trait, reason = "nobody else calls it")]
impl peer::ProgramVisitor for PeerSum {
    fn start_block(&mut self) -> peer::ControlFlow<PeerBlock<'_>> {
        peer::ControlFlow::Continue(PeerBlock(self))
    }
}

#[expect(refining_impl_trait, reason = "nobody else calls it")]
impl peer::BlockVisitor for PeerBlock<'_> {
    fn start_general_code(&mut self, _number: peer::Number) -> peer::ControlFlow<PeerCommand<'_>> {
        peer::ControlFlow::Continue(PeerCommand(self.0))
    }
}

impl peer::CommandVisitor for PeerCommand<'_> {
    fn argument(&mut self, letter: char, value: peer::Value<'_>, _span: peer::Span) {
        if let ('X', peer::Value::Literal(x)) = (letter, value) {
            self.0.sum += f64::from(x);
        }
    }
}

fn peer_parser(path: &Path) {
    let mut text = Vec::new();
    let length = path.metadata().expect("the file is there").len() / 10;
    File::open(path).expect("the file opens").take(length).read_to_end(&mut text).expect("the file reads");
    let text = String::from_utf8_lossy(&text);
    let mut sum = PeerSum::default();
    for _ in 0..10 {
        peer::parse(&text, &mut sum);
    }
    black_box(sum.sum);
}
