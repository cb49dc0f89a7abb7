//! What metering found, as JSON.

use std::collections::BTreeMap;

use motion::report::Filament;
use motion::{Amounts, Corner, Metered, Quantity, Report, WearMap};
use serde_json::{Map, Value, json};

use crate::commands::symbol;

/// The report of one file. The keys and their meanings are in docs/JSON.md.
pub(crate) fn shape(file: &str, metered: &Metered) -> Value {
    let mut shape = counts(&metered.report);
    let more = json!({
        "file": file,
        "layers": metered.layers,
        "stopped": metered.stopped.map(|stopped| json!({ "line": stopped.line, "byte": stopped.byte })),
        "duty": metered.duty.tools.iter().map(|(tool, amounts)| (format!("T{tool}"), amounts_shape(amounts))).collect::<Map<_, _>>(),
        "units": units(&metered.duty.total()),
        "wear_mm": { "x": map_shape(&metered.wear.x), "y": map_shape(&metered.wear.y), "z": map_shape(&metered.wear.z) },
    });
    extend(&mut shape, more);
    shape
}

fn counts(report: &Report) -> Value {
    let mut shape = json!({
        "lines": report.lines, "bytes": report.bytes, "motion_commands": report.motion_commands,
        "g0": report.g0, "g1": report.g1, "g2": report.g2, "g3": report.g3, "g28": report.g28,
        "g10": report.g10, "g11": report.g11,
        "toolchanges": report.toolchanges, "unknown_commands": report.unknown_commands, "unknown": report.unknown,
        "skipped_lines": report.skipped_lines, "blocks": report.blocks, "arcs": report.arcs,
        "travel_mm": { "X": report.travel_mm.x, "Y": report.travel_mm.y, "Z": report.travel_mm.z },
        "corexy_motor_mm": { "A": report.corexy_motor_mm.a, "B": report.corexy_motor_mm.b },
        "path_xy_mm": report.path_xy_mm,
        "reversals": {
            "X": report.reversals.x, "Y": report.reversals.y, "Z": report.reversals.z,
            "A": report.reversals.a, "B": report.reversals.b, "E": report.reversals.e,
        },
        "reversals_dead_band": {
            "X": report.reversals_dead_band.x, "Y": report.reversals_dead_band.y,
            "A": report.reversals_dead_band.a, "B": report.reversals_dead_band.b,
            "band_mm": motion::DEAD_BAND_MM,
        },
    });
    extend(&mut shape, filament_and_time(report));
    shape
}

fn filament_and_time(report: &Report) -> Value {
    let time = &report.time;
    let warnings = report
        .warnings
        .iter()
        .map(|warning| json!({ "line": warning.line, "column": warning.column, "what": warning.what }));
    json!({
        "filament_mm": filament(&report.filament_mm),
        "filament_per_tool_mm": by_key("T", &report.filament_per_tool_mm, filament),
        "retracted_at_end_mm": by_key("T", &report.retracted_at_end_mm, |mm| json!(mm)),
        "dwell_s": report.dwell_s,
        "time": {
            "total_s": time.total_s, "motion_s": time.motion_s,
            "hot_s": by_key("T", &time.hot_s, |s| json!(s)), "any_nozzle_hot_s": time.any_nozzle_hot_s,
            "bed_on_s": time.bed_on_s, "fan_on_s": by_key("P", &time.fan_on_s, |s| json!(s)),
            "fan_duty_s": by_key("P", &time.fan_duty_s, |s| json!(s)),
            "corner": corner_word(time.corner),
        },
        "planned_short": report.planned_short,
        "ends_mid_line": report.ends_mid_line,
        "warnings": warnings.collect::<Vec<_>>(),
        "warnings_total": report.warnings_total,
    })
}

/// The word of a corner rule.
pub(crate) fn corner_word(corner: Corner) -> &'static str {
    match corner {
        Corner::Jerk => "jerk",
        Corner::Deviation => "deviation",
    }
}

fn extend(shape: &mut Value, more: Value) {
    if let (Value::Object(shape), Value::Object(more)) = (shape, more) {
        shape.extend(more);
    }
}

fn filament(filament: &Filament) -> Value {
    json!({ "net": filament.net, "forward": filament.forward, "retracted": filament.retracted,
            "retractions": filament.retractions, "reversals": filament.reversals })
}

fn by_key<K: std::fmt::Display, V>(prefix: &str, map: &BTreeMap<K, V>, value: impl Fn(&V) -> Value) -> Value {
    map.iter().map(|(key, each)| (format!("{prefix}{key}"), value(each))).collect::<Map<_, _>>().into()
}

fn amounts_shape(amounts: &Amounts) -> Value {
    amounts.iter().map(|(quantity, amount)| (quantity.name().to_owned(), json!(amount))).collect::<Map<_, _>>().into()
}

fn units(amounts: &Amounts) -> Value {
    let unit = |(quantity, _): (Quantity, f64)| (quantity.name().to_owned(), json!(symbol(quantity.unit())));
    amounts.iter().map(unit).collect::<Map<_, _>>().into()
}

fn map_shape(map: &WearMap) -> Value {
    let bins = map.bins().into_iter().map(|(start, travel)| json!([start, travel]));
    json!({ "bin": map.width_mm(), "bins": bins.collect::<Vec<_>>() })
}
