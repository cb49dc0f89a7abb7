//! Visits as a calendar file (RFC 5545), for any program that keeps a calendar.
//!
//! Visits are on days, without a time, and stamps are in UTC, so that no zone has to be described. The same calendar at the same instant is
//! the same text to the last octet.

use jiff::Timestamp;
use jiff::civil::Date;

/// A calendar of events, published to be read.
#[derive(Clone, Debug)]
pub(crate) struct Calendar {
    /// What its reader calls it (RFC 7986, 5.1).
    pub(crate) name: String,
    /// When it is written: the stamp of every event.
    pub(crate) now: Timestamp,
    /// The events, in any order.
    pub(crate) events: Vec<CalendarEvent>,
}

/// One event.
#[derive(Clone, Debug)]
pub(crate) struct CalendarEvent {
    /// What makes it the same event in a later file; see [`uid`].
    pub(crate) uid: String,
    /// How often it was changed since it was first told: a reader keeps the highest.
    pub(crate) sequence: u32,
    /// Whether it was called off.
    pub(crate) is_cancelled: bool,
    /// Some time on that day; it leaves the day free for other things.
    pub(crate) day: Date,
    /// Its one line.
    pub(crate) summary: String,
    /// More of it; may hold lines.
    pub(crate) description: String,
    /// Where it is.
    pub(crate) location: String,
    /// Who does it: a name, for records know no address.
    pub(crate) keeper: String,
}

/// The lasting name of the visit of that number in a shop: `visit-812@pattern-loft`.
///
/// # Example
/// `uid(812, "Pattern loft")` is `visit-812@pattern-loft`. Letters that are not ASCII are kept.
pub(crate) fn uid(visit: i64, shop: &str) -> String {
    let letters = shop.to_lowercase();
    let words: Vec<&str> =
        letters.split(|letter: char| !letter.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let slug = if words.is_empty() { "shop".to_owned() } else { words.join("-") };
    format!("visit-{visit}@{slug}")
}

impl Calendar {
    /// The whole file.
    pub(crate) fn text(&self) -> String {
        let mut out = Lines::default();
        out.line("BEGIN:VCALENDAR");
        out.line("VERSION:2.0");
        out.line("PRODID:-//tallow//visits//EN");
        out.line("METHOD:PUBLISH");
        out.text("NAME", &self.name);
        for event in &self.events {
            event.write(&stamp(self.now), &mut out);
        }
        out.line("END:VCALENDAR");
        out.0
    }
}

impl CalendarEvent {
    fn write(&self, stamp: &str, out: &mut Lines) {
        out.line("BEGIN:VEVENT");
        out.text("UID", &self.uid);
        out.line(&format!("DTSTAMP:{stamp}"));
        out.line(&format!("SEQUENCE:{}", self.sequence));
        out.line(if self.is_cancelled { "STATUS:CANCELLED" } else { "STATUS:CONFIRMED" });
        out.line(&format!("DTSTART;VALUE=DATE:{}", self.day.strftime("%Y%m%d")));
        // The end is the first day that is free again. The last day of the calendar has none after it; without an end a date
        // lasts that day (3.6.1).
        if let Ok(next) = self.day.tomorrow() {
            out.line(&format!("DTEND;VALUE=DATE:{}", next.strftime("%Y%m%d")));
        }
        out.line("TRANSP:TRANSPARENT");
        out.text("SUMMARY", &self.summary);
        let others = [("DESCRIPTION", &self.description), ("LOCATION", &self.location), ("CONTACT", &self.keeper)];
        for (name, value) in others.into_iter().filter(|(_, value)| !value.trim().is_empty()) {
            out.text(name, value);
        }
        out.line("END:VEVENT");
    }
}

/// An instant as 3.3.5 writes it in UTC: `20261125T173000Z`.
fn stamp(instant: Timestamp) -> String {
    instant.strftime("%Y%m%dT%H%M%SZ").to_string()
}

/// Content lines, folded and ended as 3.1 asks for.
#[derive(Default)]
struct Lines(String);

impl Lines {
    /// Adds a property whose value is TEXT.
    fn text(&mut self, name: &str, value: &str) {
        self.line(&format!("{name}:{}", escaped(value)));
    }

    fn line(&mut self, line: &str) {
        self.0.push_str(&folded(line));
        self.0.push_str("\r\n");
    }
}

/// The most octets of a line, its end not counted (3.1).
const MOST_OCTETS: usize = 75;

/// A line in pieces of at most [`MOST_OCTETS`], none of which cuts a letter.
fn folded(line: &str) -> String {
    let mut out = String::with_capacity(line.len());
    let mut octets = 0;
    for letter in line.chars() {
        if MOST_OCTETS < octets + letter.len_utf8() {
            out.push_str("\r\n ");
            octets = 1;
        }
        out.push(letter);
        octets += letter.len_utf8();
    }
    out
}

/// A value of type TEXT (3.3.11). Ends of lines of every kind become `\n`; other control characters, which no value may
/// hold, become blanks.
fn escaped(value: &str) -> String {
    let mut out = String::with_capacity(value.len());
    for letter in value.replace("\r\n", "\n").chars() {
        match letter {
            '\\' | ';' | ',' => out.extend(['\\', letter]),
            '\n' | '\r' => out.push_str("\\n"),
            '\t' => out.push('\t'),
            letter if letter.is_control() => out.push(' '),
            letter => out.push(letter),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    /// Unfolds as 3.1 says: a line end and one blank after it vanish.
    fn unfolded(text: &str) -> String {
        text.replace("\r\n ", "")
    }

    fn event(day: Date) -> CalendarEvent {
        CalendarEvent {
            uid: uid(812, "Pattern loft"),
            sequence: 2,
            is_cancelled: false,
            day,
            summary: "bowline, 40 min".into(),
            description: "wipe the x rods\noil; look".into(),
            location: String::new(),
            keeper: "First keeper".into(),
        }
    }

    fn text(event: CalendarEvent) -> String {
        let now = "2026-11-25T17:30:00Z".parse().expect("an instant");
        Calendar { name: "Pattern loft".into(), now, events: vec![event] }.text()
    }

    #[test]
    fn the_folded_line_of_the_standard_is_one_with_ours_when_unfolded() {
        // RFC 5545, 3.1: the example of one line folded in three.
        let theirs = "DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.";
        let whole = "DESCRIPTION:This is a long description that exists on a long line.";
        assert_eq!(unfolded(theirs), whole);
        assert_eq!(unfolded(&folded(whole)), whole);
    }

    #[test]
    fn a_line_of_letters_of_two_octets_is_folded_between_them() {
        // The line of 148 octets that the Python package icalendar folds into 74 and 75 octets: ours may break elsewhere,
        // but never beyond 75.
        let line = format!("SUMMARY:{}{}", "\u{e9}".repeat(40), "x".repeat(60));
        assert_eq!(line.len(), 148);
        let folded = folded(&line);
        assert!(folded.split("\r\n").all(|piece| piece.len() <= 75), "{folded:?}");
        assert_eq!(folded.split("\r\n").count(), 2);
        assert_eq!(unfolded(&folded), line);
    }

    #[test]
    fn text_is_escaped_as_the_standard_asks() {
        // RFC 5545, 3.3.11: the example of a value of three lines.
        assert_eq!(
            escaped("Project XYZ Final Review\nConference Room - 3B\nCome Prepared."),
            "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."
        );
        // The rules of the same section, worked by hand: backslash, semicolon and comma get a backslash, a colon none.
        assert_eq!(escaped("a\\b; c, d: e\r\nf\rg"), "a\\\\b\\; c\\, d: e\\nf\\ng");
        assert_eq!(escaped("bell\u{7} escape\u{1b}[2J"), "bell  escape [2J");
    }

    #[test]
    fn a_day_ends_on_the_next() {
        let day = text(event(date(2026, 12, 31)));
        assert!(day.contains("DTSTART;VALUE=DATE:20261231\r\nDTEND;VALUE=DATE:20270101\r\n"), "{day}");
    }

    #[test]
    fn every_line_ends_as_the_standard_says_and_no_value_adds_a_line() {
        let mut event = event(Date::MAX);
        event.location = "bench\r\nEND:VEVENT\r\nBEGIN:VEVENT".into();
        let text = text(event);
        assert!(text.ends_with("END:VCALENDAR\r\n"));
        assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
        assert_eq!(text.lines().filter(|line| *line == "BEGIN:VEVENT").count(), 1, "{text}");
    }

    #[test]
    fn a_visit_keeps_its_name_and_is_called_off_by_its_status() {
        assert_eq!(uid(7, "Pattern loft"), "visit-7@pattern-loft");
        assert_eq!(uid(7, " --  "), "visit-7@shop");
        assert_eq!(uid(7, "École; à 2"), "visit-7@école-à-2");
        let called_off = text(CalendarEvent { is_cancelled: true, ..event(date(2026, 11, 27)) });
        assert!(called_off.contains("UID:visit-812@pattern-loft\r\n"));
        assert!(called_off.contains("SEQUENCE:2\r\nSTATUS:CANCELLED\r\n"));
    }
}
