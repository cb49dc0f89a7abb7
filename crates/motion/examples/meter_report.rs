//! Meters one file and prints the report as JSON: `meter_report FILE [jerk|deviation]`. For comparing meters.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::File;
use std::io::Write as _;

use motion::report::Filament;
use motion::{Corner, Kinematics, Machine, MeterError, Options, Report, meter_reader};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let path = arguments.next().ok_or("give a file")?;
    let corner = match arguments.next().as_deref() {
        None | Some("jerk") => Corner::Jerk,
        Some("deviation" | "jd") => Corner::Deviation,
        Some(other) => return Err(format!("no corner rule {other}: jerk or deviation").into()),
    };
    let machine = Machine { kinematics: Kinematics::CoreXy, ..Machine::default() };
    let report = match meter_reader(File::open(path)?, &machine, Options { corner, ..Options::default() }) {
        Ok(metered) => metered.report,
        Err(MeterError::NothingToMeter(report)) => *report,
        Err(error) => return Err(error.into()),
    };
    Ok(writeln!(std::io::stdout(), "{}", json(&report)?)?)
}

fn json(report: &Report) -> Result<String, std::fmt::Error> {
    let r = report;
    let mut out = String::from("{");
    for (name, count) in [
        ("lines", r.lines),
        ("bytes", r.bytes),
        ("motion_commands", r.motion_commands),
        ("g0", r.g0),
        ("g1", r.g1),
        ("g2", r.g2),
        ("g3", r.g3),
        ("g28", r.g28),
        ("toolchanges", r.toolchanges),
        ("unknown_commands", r.unknown_commands),
        ("skipped_lines", r.skipped_lines),
        ("blocks", r.blocks),
        ("arcs", r.arcs),
    ] {
        write!(out, "\"{name}\":{count},")?;
    }
    let (t, m, v) = (r.travel_mm, r.corexy_motor_mm, r.reversals);
    write!(out, "\"travel_mm\":{{\"X\":{},\"Y\":{},\"Z\":{}}},", t.x, t.y, t.z)?;
    write!(out, "\"corexy_motor_mm\":{{\"A\":{},\"B\":{}}},\"path_xy_mm\":{},", m.a, m.b, r.path_xy_mm)?;
    write!(
        out,
        "\"reversals\":{{\"X\":{},\"Y\":{},\"Z\":{},\"A\":{},\"B\":{},\"E\":{}}},",
        v.x, v.y, v.z, v.a, v.b, v.e
    )?;
    let f = &r.filament_mm;
    write!(out, "\"filament_mm\":{{\"net\":{},\"forward\":{},", f.net, f.forward)?;
    write!(out, "\"retracted\":{},\"retractions\":{}}},\"filament_per_tool_mm\":{{", f.retracted, f.retractions)?;
    let tools: Vec<_> = r.filament_per_tool_mm.iter().map(|(tool, f)| format!("\"T{tool}\":{}", filament(f))).collect();
    write!(out, "{}}},\"retracted_at_end_mm\":{},", tools.join(","), map("T", &r.retracted_at_end_mm))?;
    let time = &r.time;
    write!(out, "\"dwell_s\":{},\"time\":{{\"total_s\":{},\"motion_s\":{},", r.dwell_s, time.total_s, time.motion_s)?;
    write!(out, "\"hot_s\":{},\"any_nozzle_hot_s\":{},", map("T", &time.hot_s), time.any_nozzle_hot_s)?;
    write!(out, "\"bed_on_s\":{},\"fan_on_s\":{},", time.bed_on_s, map("P", &time.fan_on_s))?;
    let corner = if time.corner == Corner::Jerk { "jerk" } else { "jd" };
    write!(out, "\"fan_duty_s\":{},\"corner\":\"{corner}\"}},\"warnings\":[", map("P", &time.fan_duty_s))?;
    let warnings: Vec<_> = r
        .warnings
        .iter()
        .map(|w| {
            format!("{{\"line\":{},\"column\":{},\"what\":{:?}}}", w.line, w.column, w.what.replace(['"', '\\'], "'"))
        })
        .collect();
    write!(out, "{}]}}", warnings.join(","))?;
    Ok(out)
}

fn filament(f: &Filament) -> String {
    format!(
        "{{\"net\":{},\"forward\":{},\"retracted\":{},\"retractions\":{},\"reversals\":{}}}",
        f.net, f.forward, f.retracted, f.retractions, f.reversals
    )
}

fn map(prefix: &str, values: &BTreeMap<u8, f64>) -> String {
    let entries: Vec<_> = values.iter().map(|(key, value)| format!("\"{prefix}{key}\":{value}")).collect();
    format!("{{{}}}", entries.join(","))
}
