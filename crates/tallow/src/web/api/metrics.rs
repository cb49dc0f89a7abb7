//! Figures for those who watch many machines at once: OpenMetrics 1.0 text.

use std::fmt::Write;
use std::sync::Arc;

use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use motion::{AddsUp, Quantity, Unit};
use upkeep::When;

use super::super::app::App;
use super::super::glance::Glance;
use super::super::problem;

const KIND: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

pub(super) async fn show(State(app): State<Arc<App>>) -> Response {
    match app.glance().await {
        Ok(glance) => ([(header::CONTENT_TYPE, KIND)], text(&glance)).into_response(),
        Err(trouble) => problem::response(problem::status_of(&trouble, StatusCode::INTERNAL_SERVER_ERROR), &trouble),
    }
}

fn text(glance: &Glance) -> String {
    let (mut used, mut until, mut due) = (String::new(), String::new(), String::new());
    for machine in &glance.machines {
        let name = escaped(&machine.name);
        for one in &machine.dues {
            let labels = format!("{{machine=\"{name}\",task=\"{}\"}}", escaped(&one.name));
            line(&mut used, "tallow_used_ratio", &labels, one.share());
            if let Some(days) = days_until(&one.when, glance.now.date()) {
                line(&mut until, "tallow_until_due_days", &labels, days);
            }
        }
        let labels = format!("{{machine=\"{name}\"}}");
        line(&mut due, "tallow_due_tasks", &labels, machine.due_now().count() as f64);
    }
    let duty: String =
        Quantity::ALL.iter().filter(|one| one.adds_up() == AddsUp::Sum).map(|&one| duty(glance, one)).collect();
    [
        family("tallow_used_ratio", "gauge", "ratio", "Share of its allowance that a task has used; 1 is due.", &used),
        family(
            "tallow_until_due_days",
            "gauge",
            "days",
            "Days until a task is likely due, the median; 0 once it is.",
            &until,
        ),
        family("tallow_due_tasks", "gauge", "tasks", "Tasks that are due now.", &due),
        duty,
        "# EOF\n".to_owned(),
    ]
    .concat()
}

/// What was metered of each machine since it joined, in the quantity's own unit.
fn duty(glance: &Glance, quantity: Quantity) -> String {
    let unit = match quantity.unit() {
        Unit::Metre => "metres",
        Unit::Second => "seconds",
        Unit::Kilogram => "kilograms",
        Unit::CubicMetre => "cubic_metres",
        Unit::CubicMetrePerSecond => "cubic_metres_per_second",
        Unit::Turn => "turns",
        Unit::Count => "times",
    };
    let name =
        format!("tallow_duty_{}_{unit}", quantity.name().replace(|sign: char| !sign.is_ascii_alphanumeric(), "_"));
    let mut lines = String::new();
    for machine in &glance.machines {
        let labels = format!("{{machine=\"{}\"}}", escaped(&machine.name));
        line(&mut lines, &format!("{name}_total"), &labels, machine.total.amount(quantity));
    }
    family(&name, "counter", unit, quantity.about(), &lines)
}

/// Days from `today` to the likely day; `None` where it lies beyond what was looked at.
fn days_until(when: &When, today: jiff::civil::Date) -> Option<f64> {
    match when {
        When::Since(_) => Some(0.0),
        When::Likely(likely) => likely.median.map(|day| f64::from((day - today).get_days())),
        When::Beyond => None,
    }
}

fn family(name: &str, kind: &str, unit: &str, help: &str, lines: &str) -> String {
    format!("# TYPE {name} {kind}\n# UNIT {name} {unit}\n# HELP {name} {help}\n{lines}")
}

fn line(text: &mut String, name: &str, labels: &str, value: f64) {
    // OK because writing into a text can't fail.
    let _ = writeln!(text, "{name}{labels} {value}");
}

/// A label's value: what would end it is escaped.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_hold_any_name_and_families_are_told_of_before_their_lines() {
        // OpenMetrics 1.0, "Escaping": backslash, quote and line feed.
        assert_eq!(escaped("a\\b\"c\nd"), "a\\\\b\\\"c\\nd");
        let mut lines = String::new();
        line(&mut lines, "x_seconds_total", "{machine=\"a\"}", 1.5);
        let text = family("x_seconds", "counter", "seconds", "Help.", &lines);
        assert_eq!(
            text,
            "# TYPE x_seconds counter\n# UNIT x_seconds seconds\n# HELP x_seconds Help.\nx_seconds_total{machine=\"a\"} 1.5\n"
        );
    }
}
