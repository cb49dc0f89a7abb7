//! Ways in by which runs come by themselves: messages, and tables of print history.

use jiff::{SignedDuration, Timestamp};
use tallow::handed_in::{Follows, History, Listener, Run};

use super::signals::says_something;

/// When the first message comes, and how long after it the next.
const FIRST: Timestamp = Timestamp::constant(1_795_593_600, 0);
const EVERY: SignedDuration = SignedDuration::from_mins(10);

/// Messages are heard twice until so much followed: beyond it a machine's row no longer remembers all prints that are over, and it is
/// the ledger that knows them again.
const TOLD_TWICE: usize = 16;

/// Takes messages in by a map; map, topics and payloads are parted by a byte 0. What is kept of both reads back; amounts are numbers,
/// and what says when it happened changes nothing when it comes again.
pub fn mqtt(bytes: &[u8]) {
    let mut parts = bytes.split(|byte| *byte == 0);
    let map = String::from_utf8_lossy(parts.next().unwrap_or_default());
    let mut listener = match Listener::new(&map) {
        Ok(listener) => listener,
        Err(error) => return says_something(&error),
    };
    let (mut at, mut followed) = (FIRST, 0);
    while let (Some(topic), Some(payload)) = (parts.next(), parts.next()) {
        let topic = String::from_utf8_lossy(topic);
        let (follows, tells_its_time) = listener.hear(&topic, payload, at);
        follows.iter().for_each(may_follow);
        assert_eq!(listener.kept().as_ref(), Ok(&listener));
        at += EVERY;
        followed += follows.len();
        if tells_its_time && followed <= TOLD_TWICE {
            let mut again = listener.clone();
            assert_eq!(again.hear(&topic, payload, at), (Vec::new(), true));
            assert_eq!(again, listener);
        }
    }
}

fn may_follow(follows: &Follows) {
    match follows {
        Follows::Run(run) => may_be_booked(run),
        Follows::Figure(value) => assert!(value.is_finite(), "{value}"),
        Follows::Refused(why) => says_something(why),
    }
}

/// Asserts that a run takes a time that can be, or that it is told why it can't be booked.
fn may_be_booked(run: &Run) {
    match &run.hours {
        Ok(hours) => {
            assert!(
                hours.iter().copied().chain(run.grams).all(|amount| amount.is_finite() && 0.0 <= amount),
                "{run:?}"
            );
            assert!(run.start.zip(run.end).is_none_or(|(start, end)| start <= end), "{run:?}");
        }
        Err(why) => says_something(why),
    }
    let is_sum = |sha256: &String| sha256.len() == 64 && sha256.bytes().all(|byte| byte.is_ascii_hexdigit());
    assert!(run.sha256.as_ref().is_none_or(is_sum), "{run:?}");
}

/// A minute: times may be told to the minute only, and durations more closely.
const MINUTE_H: f64 = 1.0 / 60.0;

/// Reads a table of print history by the settings in the first line: each row is a run that can have been, or its flaws are told.
pub fn table(bytes: &[u8]) {
    let line = bytes.iter().position(|byte| *byte == b'\n').unwrap_or(bytes.len());
    let (settings, table) = bytes.split_at(line);
    let history = match History::read(&String::from_utf8_lossy(settings)) {
        Ok(history) => history,
        Err(error) => return says_something(&error),
    };
    assert_eq!(history.kept().as_ref(), Ok(&history));
    let table = table.get(1..).unwrap_or_default();
    let rows = match history.rows(table) {
        Ok(rows) => rows,
        Err(error) => return says_something(&error),
    };
    let lines = 1 + table.iter().filter(|byte| **byte == b'\n').count() as u64;
    let numbers = rows.iter().map(|(line, _)| *line);
    assert!(numbers.clone().is_sorted() && numbers.max().is_none_or(|last| last <= lines), "{rows:?}");
    for (_, row) in &rows {
        match row {
            Ok(run) => is_run_of_a_row(run),
            Err(flaws) => {
                assert!(!flaws.is_empty());
                flaws.iter().for_each(|flaw| says_something(flaw));
            }
        }
    }
}

/// Asserts that a row's run can be booked: its machine is the shop's, it has a time, and its times agree.
fn is_run_of_a_row(run: &Run) {
    may_be_booked(run);
    assert!(["bowline", "clove hitch"].contains(&run.machine.as_str()), "{run:?}");
    assert!(run.start.or(run.end).is_some() && run.hours.is_ok(), "{run:?}");
    if let (Some(start), Some(end), Ok(Some(hours))) = (run.start, run.end, &run.hours) {
        let between = end.duration_since(start).as_secs_f64() / 3600.0;
        assert!(0.0 < *hours && *hours <= between + MINUTE_H, "{run:?}");
    }
}
