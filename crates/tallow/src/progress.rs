//! A bar on standard error for work that takes over a second, on a terminal only.

use std::io::{self, IsTerminal, Read};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};

const PATIENCE: Duration = Duration::from_secs(1);

/// Counts work that several threads may do, and shows a bar once it has taken longer than a second.
pub(crate) struct Progress(Mutex<State>);

struct State {
    started: Instant,
    total: Option<u64>,
    done: u64,
    unit: Unit,
    bar: Option<ProgressBar>,
}

/// What is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Unit {
    /// Bytes of a file.
    Bytes,
    /// Things.
    Pieces,
}

impl Progress {
    /// Work of `total` units, where that is known.
    pub(crate) fn new(total: Option<u64>, unit: Unit) -> Progress {
        Progress(Mutex::new(State { started: Instant::now(), total, done: 0, unit, bar: None }))
    }

    /// Says that `count` more units are done.
    pub(crate) fn advance(&self, count: u64) {
        // OK because a count is right whatever happened to the thread that held it.
        let mut state = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        state.done += count;
        if state.bar.is_none() && PATIENCE < state.started.elapsed() && io::stderr().is_terminal() {
            state.bar = Some(new_bar(state.total, state.unit));
        }
        if let Some(bar) = &state.bar {
            bar.set_position(state.done);
        }
    }
}

impl Drop for State {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

fn new_bar(total: Option<u64>, unit: Unit) -> ProgressBar {
    let counts = match unit {
        Unit::Bytes => "{bytes} of {total_bytes}, {bytes_per_sec}",
        Unit::Pieces => "{pos} of {len}",
    };
    let style = ProgressStyle::with_template(&format!("[{{bar:40}}] {counts}, {{eta}} left"));
    let bar = total.map_or_else(ProgressBar::new_spinner, ProgressBar::new);
    match (total, style) {
        (Some(_), Ok(style)) => bar.with_style(style.progress_chars("=> ")),
        _ => bar,
    }
}

/// A reader that tells a progress how much has passed.
pub(crate) struct Watched<R> {
    reader: R,
    progress: Arc<Progress>,
}

impl<R: Read> Watched<R> {
    /// Watches `reader`.
    pub(crate) fn new(reader: R, progress: Arc<Progress>) -> Watched<R> {
        Watched { reader, progress }
    }
}

impl<R: Read> Read for Watched<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.reader.read(buffer)?;
        self.progress.advance(count as u64);
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_has_its_length_for_bytes_and_for_pieces() {
        for unit in [Unit::Bytes, Unit::Pieces] {
            assert_eq!(new_bar(Some(7), unit).length(), Some(7));
        }
        assert_eq!(new_bar(None, Unit::Bytes).length(), None);
    }

    #[test]
    fn what_several_threads_do_adds_up() {
        let progress = Arc::new(Progress::new(Some(300), Unit::Bytes));
        std::thread::scope(|scope| {
            for _ in 0..3 {
                let mut watched = Watched::new(&[0u8; 100][..], progress.clone());
                scope.spawn(move || io::copy(&mut watched, &mut io::sink()));
            }
        });
        assert_eq!(progress.0.lock().unwrap().done, 300);
    }
}
