//! The tables `[[position]]`: where parts sit.

use super::raw::{Section, Value, all};
use super::{Axis, Ban, Position, belt, life};
use crate::supply::{Kind, Supplies};

/// The keys of the table.
pub(super) const KEYS: &[&str] =
    &["name", "kind", "along", "tool", "life", "rating", "belt_span_mm", "belt_mass_g_per_m", "idler", "never"];

/// The highest tool number, as G-code has it: `T99`.
pub(super) const LAST_TOOL: u8 = 99;

/// Reads one position.
pub(super) fn read(section: &Section<'_>) -> Option<Position> {
    let name = section.need("name").and_then(|value| value.name());
    let kind = section.need("kind").and_then(|value| kind(&value));
    let along = section.get("along").and_then(|value| value.choice(Axis::ALL.map(|axis| (axis.name(), axis))));
    let tool = section.get("tool").and_then(|value| value.whole(0, u16::from(LAST_TOOL)));
    let life = life::read(section);
    let own = section.get("never").map_or(Some(Vec::new()), |value| bans(&value));
    let (kind, own) = (kind?, own?);
    let belt = belt::belt(section, &kind.name);
    let idler = belt::idler(section, &kind.name);
    Some(Position {
        name: name?,
        kind: kind.name.clone(),
        along,
        // OK because `LAST_TOOL` is a `u8`.
        tool: tool.map(|tool| tool as u8),
        life,
        belt: belt?,
        idler: idler?,
        never: kind.never.iter().cloned().chain(own).collect(),
    })
}

fn kind(value: &Value<'_>) -> Option<&'static Kind> {
    let name = value.text()?;
    let kind = Kind::from_name(name);
    if kind.is_none() {
        let names = Kind::all().iter().map(|kind| kind.name.as_str());
        value.report.add_unknown(&value.span, format!("there is no kind of part \"{name}\""), name, names);
    }
    kind
}

fn bans(value: &Value<'_>) -> Option<Vec<Ban>> {
    all(value.sections("a ban", &["substance", "reason"])?.iter().map(ban))
}

fn ban(section: &Section<'_>) -> Option<Ban> {
    let substance = section.need("substance").and_then(|value| substance(&value));
    let reason = section.need("reason").and_then(|value| value.prose());
    Some(Ban { substance: substance?, reason: reason? })
}

fn substance(value: &Value<'_>) -> Option<String> {
    let name = value.text()?;
    let known = Supplies::built_in();
    if known.substance(name).is_some() {
        return Some(name.to_owned());
    }
    let names = known.substances().map(|substance| substance.name.as_str()).collect::<Vec<_>>();
    value.report.add_unknown(&value.span, format!("there is no substance \"{name}\""), name, names);
    None
}
