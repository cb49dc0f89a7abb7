//! The causes of a fault as bars, for paper and screen: black on white, each with its figure.

use maud::html;

use super::Search;
use crate::words::percent;

const WIDTH: f64 = 720.0;
const ROW: f64 = 30.0;
const TOP: f64 = 56.0;
/// Where bars begin, and how long one of certainty is.
const LEFT: f64 = 330.0;
const LENGTH: f64 = 320.0;

/// The drawing, whole.
pub(super) fn causes(search: &Search, most: usize) -> String {
    let ranked: Vec<(&str, f64)> = search
        .ranked
        .iter()
        .take(most)
        .map(|ranked| (ranked.title.as_str(), ranked.chance))
        .chain([("something that is not listed", search.unlisted)])
        .collect();
    let title = format!("Fault {} on {}: how likely each cause is, %", search.case.id, search.case.machine);
    let says =
        ranked.iter().map(|(name, chance)| format!("{name} {}", percent(*chance))).collect::<Vec<_>>().join(", ");
    let height = TOP + ROW * ranked.len() as f64 + 10.0;
    let drawing = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {WIDTH} {height}")) role="img" font-family="sans-serif" font-size="14" {
            title { (title) }
            desc { (says) }
            rect width=(WIDTH) height=(height) fill="white" {}
            text x="10" y="28" font-size="17" font-weight="bold" { (title) }
            @for (place, (name, chance)) in ranked.iter().enumerate() {
                @let y = TOP + ROW * place as f64;
                @let length = format!("{:.1}", LENGTH * chance);
                text x=(LEFT - 10.0) y=(y + 14.0) text-anchor="end" { (name) }
                rect x=(LEFT) y=(y) width=(length) height="18" fill="#808080" stroke="black" {}
                text x=(format!("{:.1}", LEFT + LENGTH * chance + 6.0)) y=(y + 14.0) { (percent(*chance)) }
            }
        }
    };
    drawing.into_string() + "\n"
}
