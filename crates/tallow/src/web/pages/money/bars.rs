//! Money by month as bars, each cause with its own hatch: it reads in black and white.

use jiff::civil::Date;
use maud::{Markup, html};
use upkeep::spent::{Cause, Cost};

/// The drawing's size, and what is left free at its sides: left, right, top, bottom.
const SIZE: [f64; 2] = [360.0, 210.0];
const MARGIN: [f64; 4] = [46.0, 4.0, 14.0, 34.0];

/// More months than this are not named each.
const MOST_NAMED: usize = 12;

/// How many lines stand behind the bars at most, the one of nought apart.
const MOST_LINES: f64 = 4.0;

/// The hatch of a cause, as in [`super::super::super::frame::hatch`]. Here it tells which, not how much.
fn hatch(cause: Cause) -> &'static str {
    match cause {
        Cause::Labour => "hatch blank",
        Cause::Supplies => "hatch wide",
        Cause::Failures => "hatch close",
        Cause::Standing => "hatch due",
    }
}

/// Which hatch is which cause.
pub(super) fn keys() -> Markup {
    html! {
        ul.keys {
            @for cause in Cause::ALL {
                li {
                    svg.key viewBox="0 0 36 16" aria-hidden="true" focusable="false" {
                        rect class=(hatch(cause)) x="0.5" y="0.5" width="35" height="15" {}
                    }
                    (cause.name())
                }
            }
        }
    }
}

/// A bar for each month, the causes one upon another; months must follow one another.
pub(super) fn draw(months: &[(Date, Cost)], says: &str) -> Markup {
    let [left, right, top, bottom] = MARGIN;
    let [width, height] = SIZE;
    let most = months.iter().map(|(_, cost)| cost.total()).fold(0.0, f64::max);
    let step = step(most);
    let high = step * (most / step).ceil().max(1.0);
    let y = |money: f64| height - bottom - money / high * (height - top - bottom);
    let slot = (width - left - right) / months.len().max(1) as f64;
    let every = months.len().div_ceil(MOST_NAMED).max(1);
    let lines = (0..=(high / step).round() as usize).map(|line| line as f64 * step);
    let rounded = |value: f64| format!("{value:.1}");
    html! {
        svg.spent viewBox=(format!("0 0 {width} {height}")) role="img" aria-label=(says) focusable="false" {
            @for money in lines {
                line.grid x1=(left) x2=(width - right) y1=(rounded(y(money))) y2=(rounded(y(money))) {}
                text x=(left - 5.0) y=(rounded(y(money) + 4.0)) text-anchor="end" { (money) }
            }
            @for (place, (month, cost)) in months.iter().enumerate() {
                @let x = left + slot * (place as f64 + 0.18);
                rect.under x=(rounded(x)) y=(rounded(y(cost.total()))) width=(rounded(slot * 0.64)) height=(rounded(y(0.0) - y(cost.total()))) {}
                @for (cause, from, to) in stacked(cost) {
                    @if from < to {
                        rect class=(hatch(cause)) x=(rounded(x)) y=(rounded(y(to))) width=(rounded(slot * 0.64)) height=(rounded(y(from) - y(to))) {}
                    }
                }
                @if place % every == 0 {
                    @let middle = rounded(left + slot * (place as f64 + 0.5));
                    text x=(middle) y=(height - bottom + 14.0) text-anchor="middle" { (month.strftime("%b")) }
                    @if month.month() == 1 || (place == 0 && month.month() < 12) {
                        text x=(middle) y=(height - bottom + 28.0) text-anchor="middle" { (month.strftime("%Y")) }
                    }
                }
            }
        }
    }
}

/// Each cause with the money below it and up to its top.
fn stacked(cost: &Cost) -> Vec<(Cause, f64, f64)> {
    let mut below = 0.0;
    let stack = |cause| {
        let from = below;
        below += cost.of(cause);
        (cause, from, below)
    };
    Cause::ALL.into_iter().map(stack).collect()
}

/// The least of 1, 2 and 5 times a power of ten by which so few lines reach so much.
fn step(most: f64) -> f64 {
    if most <= 0.0 {
        return 1.0;
    }
    let power = 10f64.powf((most / MOST_LINES).log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|step| step * power)
        .find(|step| most <= step * MOST_LINES)
        .unwrap_or(power * 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_stand_at_round_amounts_and_are_few() {
        for (most, expected) in [(3.9, 1.0), (4.1, 2.0), (100.0, 50.0), (80.0, 20.0), (410.0, 200.0), (0.0, 1.0)] {
            assert!((step(most) - expected).abs() < 1e-9, "{most}");
        }
    }

    #[test]
    fn causes_stand_one_upon_another_without_a_gap() {
        let cost = Cost { by_cause: [3.0, 0.0, 2.0, 1.0], ..Cost::default() };
        let tops: Vec<_> = stacked(&cost).into_iter().map(|(_, from, to)| (from, to)).collect();
        assert_eq!(tops, [(0.0, 3.0), (3.0, 3.0), (3.0, 5.0), (5.0, 6.0)]);
    }
}
