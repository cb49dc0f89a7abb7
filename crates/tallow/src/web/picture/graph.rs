//! Small graphs: where a part is worn, and what readings say over time.

use jiff::civil::Date;
use maud::{Markup, html};

use super::px;
use crate::web::frame::hatch;

/// Where a part is worn along its axis.
pub(crate) struct Wear<'a> {
    /// The axis' name.
    pub(crate) axis: &'a str,
    /// Where each bin begins, mm, and the travel in it, mm.
    pub(crate) bins: &'a [(f64, f64)],
    /// A bin's width, mm.
    pub(crate) bin: f64,
    /// What the graph says, in a sentence.
    pub(crate) says: &'a str,
}

/// Readings of one thing over time.
pub(crate) struct Readings<'a> {
    /// What was measured.
    pub(crate) what: &'a str,
    /// In what.
    pub(crate) unit: &'a str,
    /// Each reading's day and value, oldest first.
    pub(crate) values: &'a [(Date, f64)],
    /// Days on which the part was replaced.
    pub(crate) replaced: &'a [Date],
    /// The least that is good and the most, where the build states them.
    pub(crate) good: [Option<f64>; 2],
}

const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 150.0;
/// From the left edge to the scale, from the top, from the foot to the scale, from the right edge.
const LEFT: f64 = 64.0;
const TOP: f64 = 16.0;
const FOOT: f64 = 28.0;
const RIGHT: f64 = 14.0;

/// Draws travel per bin as bars over the axis.
pub(crate) fn wear(of: &Wear<'_>) -> Markup {
    let most = of.bins.iter().map(|(_, travel)| *travel).fold(0.0, f64::max);
    let (Some(first), Some(last)) = (of.bins.first(), of.bins.last()) else { return html! {} };
    let (from, to) = (first.0, last.0 + of.bin);
    let x = |at: f64| LEFT + (at - from) / (to - from) * (WIDTH - LEFT - RIGHT);
    let y = |travel: f64| HEIGHT - FOOT - travel / most.max(f64::MIN_POSITIVE) * (HEIGHT - FOOT - TOP);
    html! {
        svg.graph viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(of.says) {
            @for (start, travel) in of.bins {
                rect class="bar-of-wear" x=(px(x(*start))) y=(px(y(*travel))) width=(px(x(from + of.bin) - x(from))) height=(px(HEIGHT - FOOT - y(*travel))) {}
            }
            (axes())
            text x=(px(LEFT - 6.0)) y=(px(TOP + 4.0)) text-anchor="end" { (metres(most)) }
            text x=(px(LEFT - 6.0)) y=(px(HEIGHT - FOOT)) text-anchor="end" { "0" }
            text x=(px(LEFT)) y=(px(HEIGHT - 8.0)) { (from) }
            text x=(px((LEFT + WIDTH - RIGHT) / 2.0)) y=(px(HEIGHT - 8.0)) text-anchor="middle" { "mm along " (of.axis) }
            text x=(px(WIDTH - RIGHT)) y=(px(HEIGHT - 8.0)) text-anchor="end" { (to) }
        }
    }
}

/// Draws readings as marks joined by a line, with a chain line on each day on which the part was replaced.
pub(crate) fn readings(of: &Readings<'_>) -> Markup {
    let (Some((first, _)), Some((last, _))) = (of.values.first(), of.values.last()) else { return html! {} };
    let days = |date: Date| f64::from(date.duration_since(*first).as_hours() as i32) / 24.0;
    let span = days(*last).max(1.0);
    let shown = || of.values.iter().map(|(_, value)| *value).chain(of.good.into_iter().flatten());
    let (high, low) = (shown().fold(f64::MIN, f64::max), shown().fold(f64::MAX, f64::min));
    let margin = if high - low < 1e-9 { high.abs().max(1.0) * 0.1 } else { (high - low) * 0.1 };
    let (bottom, top) = ((low - margin).max(0.0), high + margin);
    let x = |date: Date| LEFT + 6.0 + days(date) / span * (WIDTH - LEFT - RIGHT - 12.0);
    let y = |value: f64| HEIGHT - FOOT - (value - bottom) / (top - bottom) * (HEIGHT - FOOT - TOP);
    let line: String = of
        .values
        .iter()
        .enumerate()
        .map(|(index, (date, value))| format!("{}{:.1} {:.1}", if index == 0 { 'M' } else { 'L' }, x(*date), y(*value)))
        .collect();
    let limits = ["good from", "good to"].into_iter().zip(of.good).filter_map(|(words, limit)| Some((words, limit?)));
    let replaced = of.replaced.iter().filter(|day| *first <= **day && **day <= *last);
    html! {
        svg.graph viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(format!("{} over time; the table says the same", of.what)) {
            @for day in replaced { path class="chain" d=(format!("M{:.1} {TOP}V{:.1}", x(*day), HEIGHT - FOOT)) {} }
            @for (words, limit) in limits {
                path class="limit" d=(format!("M{LEFT} {:.1}H{:.1}", y(limit), WIDTH - RIGHT)) {}
                text x=(px(WIDTH - RIGHT)) y=(px(y(limit) + if words == "good to" { -4.0 } else { 13.0 })) text-anchor="end" { (words) " " (round(limit)) }
            }
            path class="line" d=(line) {}
            @for (date, value) in of.values { circle class="body" cx=(px(x(*date))) cy=(px(y(*value))) r="3.5" {} }
            (axes())
            text x=(px(LEFT - 6.0)) y=(px(TOP + 4.0)) text-anchor="end" { (round(top)) }
            text x=(px(LEFT - 6.0)) y=(px(HEIGHT - FOOT)) text-anchor="end" { (round(bottom)) }
            text x=(px(LEFT)) y=(px(HEIGHT - 8.0)) { (first.strftime("%-d %b %Y").to_string()) }
            text x=(px(LEFT + 4.0)) y=(px(TOP - 4.0)) { (of.unit) }
            text x=(px(WIDTH - RIGHT)) y=(px(HEIGHT - 8.0)) text-anchor="end" { (last.strftime("%-d %b %Y").to_string()) }
        }
    }
}

/// How much of an allowance is used, hatched, and what is added to it, solid; a line stands where it is due.
pub(crate) fn taken(from: f64, to: f64) -> Markup {
    /// The share that the whole width shows, so that there is something beyond the line.
    const WHOLE: f64 = 1.25;
    let x = |share: f64| share.clamp(0.0, WHOLE) / WHOLE * 100.0;
    let added = (x(to) - x(from)).max(if from < to { 1.0 } else { 0.0 }).min(100.0 - x(from));
    html! {
        svg.bar.taken viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true" focusable="false" {
            rect class=(hatch(from)) x="0" y="0" width=(px(x(from))) height="10" {}
            rect.added x=(px(x(from))) y="0" width=(px(added)) height="10" {}
            rect.all x="0" y="0" width="100" height="10" {}
            path.line d=(format!("M{:.1} 0V10", x(1.0))) {}
        }
    }
}

fn axes() -> Markup {
    html! { path class="hair" d=(format!("M{LEFT} {TOP}V{:.1}H{:.1}", HEIGHT - FOOT, WIDTH - RIGHT)) {} }
}

/// Travel in bins as people read it.
fn metres(travel_mm: f64) -> String {
    upkeep::amount::print(travel_mm / 1e3, motion::Quantity::TravelX)
}

/// A figure of at most three digits that count.
fn round(value: f64) -> String {
    let digits = if value.abs() < 10.0 {
        2
    } else if value.abs() < 100.0 {
        1
    } else {
        0
    };
    let text = format!("{value:.digits$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}
