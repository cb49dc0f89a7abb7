//! What others read: sheets as a real browser prints them, and calendar files as another program's parser takes them.
//!
//! Needs chromium, pdfinfo and pdftotext, and a Python with the package icalendar; `./test` installs all of them.

#[path = "../../src/calendar.rs"]
mod calendar;
mod printer;
mod python;
#[path = "../../src/sheet/mod.rs"]
#[allow(
    unused_imports,
    dead_code,
    reason = "some of it is for the pages of the server, which are tried as they are served"
)]
mod sheet;
mod sheets;
