//! Recording what was done, replaced, failed or measured on a machine.

use std::collections::BTreeMap;

use jiff::{Timestamp, ZonedDateTime};
use ledger::{Ledger, NewEntry};
use motion::Quantity;
use serde_json::json;
use upkeep::build::Position;
use upkeep::entry::Because;
use upkeep::{Entry, EntryId, Event, Material, Supplies, Usage, amount, rules};

use crate::cli::{self, Occasion, Reason};
use crate::commands::history::use_words;
use crate::commands::run::ratios;
use crate::context::{self, Context, OnMachine};
use crate::printed;
use crate::trouble::Trouble;
use crate::when;

pub(crate) async fn done(context: &Context, args: &cli::Done) -> Result<(), Trouble> {
    let scene = Scene::open(context, &args.occasion).await?;
    let task = scene.machine.build.task(&args.task)?;
    let supplies = args.supplies.iter().map(|text| supply(text)).collect::<Result<BTreeMap<_, _>, _>>()?;
    allowed(scene.machine.build.position(&task.at)?, &supplies)?;
    let said = format!("{} on {}: done", task.name, scene.name());
    let event = Event::Done { task: task.name.clone(), supplies };
    scene.record(context, event, &said).await
}

pub(crate) async fn replace(context: &Context, args: &cli::Replace) -> Result<(), Trouble> {
    let scene = Scene::open(context, &args.occasion).await?;
    let position = scene.machine.build.position(&args.position)?.name.clone();
    let said = format!("{position} on {}: replaced; its meters start at zero", scene.name());
    scene.record(context, Event::Replaced { position, because: because(args.because) }, &said).await
}

pub(crate) async fn failure(context: &Context, args: &cli::Failure) -> Result<(), Trouble> {
    let scene = Scene::open(context, &args.occasion).await?;
    let position = scene.machine.build.position(&args.position)?.name.clone();
    let mode = worded(&args.mode, "how the failure shows", "feed tube 2: \"filament sticks in the tube\"")?;
    let said = format!("{position} on {}: failure recorded", scene.name());
    scene.record(context, Event::Failed { position, mode }, &said).await
}

pub(crate) async fn reading(context: &Context, args: &cli::Reading) -> Result<(), Trouble> {
    let scene = Scene::open(context, &args.occasion).await?;
    let position = scene.machine.build.position(&args.position)?.name.clone();
    let (value, unit) = measured(&args.value)?;
    let what = worded(&args.what, "what was measured", "\"belt frequency\"")?;
    let said = format!("{position} on {}: {what} {value} {unit}", scene.name());
    let event = Event::Reading { position, what, value, unit };
    scene.record(context, event, said.trim_end()).await
}

pub(crate) async fn hour_meter(context: &Context, args: &cli::HourMeter) -> Result<(), Trouble> {
    let scene = Scene::open(context, &args.occasion).await?;
    let hours = args.hours;
    if !(0.0..=1e7).contains(&hours) {
        return Err(
            Trouble::refused(format!("an hour meter can't show {hours} h")).help("give what it shows, 0 or more")
        );
    }
    let (last, entries) = before_reading(&scene).await?;
    let (unbooked, finding) = match last {
        // What it ran before the records began is nobody's to book.
        None => (Usage::new(), "from here on it is compared with the runs booked".to_owned()),
        Some(last) => {
            let unbooked = unbooked(&scene, args, last, &entries).await?;
            let finding = match unbooked.is_empty() {
                true => "which agrees with the runs booked".to_owned(),
                false => format!("{} that no run accounts for are added, as an estimate", use_words(&unbooked)),
            };
            (unbooked, finding)
        }
    };
    let said = format!("{}: the hour meter shows {hours} h; {finding}", scene.name());
    scene.record(context, Event::HourMeter { hours, unbooked }, &said).await
}

/// A reading of the hour meter: when, and how many hours it showed.
type Reading = (Timestamp, f64);

/// The last reading before this one, and all entries before it.
async fn before_reading(scene: &Scene<'_>) -> Result<(Option<Reading>, Vec<Entry>), Trouble> {
    let at = scene.at.timestamp();
    let mut entries = scene.ledger.effective(scene.name()).await?;
    entries.retain(|entry| entry.at < at);
    let last = entries.iter().rev().find_map(|entry| match entry.event {
        Event::HourMeter { hours, .. } => Some((entry.at, hours)),
        _ => None,
    });
    Ok((last, entries))
}

/// What the hour meter has run since its last reading and no run accounts for, estimated.
async fn unbooked(
    scene: &Scene<'_>,
    args: &cli::HourMeter,
    (since, before): Reading,
    entries: &[Entry],
) -> Result<Usage, Trouble> {
    let elapsed = scene.at.timestamp().duration_since(since).as_secs_f64() / 3600.0;
    if elapsed + 1.0 < args.hours - before {
        let hours = args.hours;
        return Err(Trouble::refused(format!(
            "the hour meter showed {before} h only {elapsed:.1} h ago, so it can't show {hours} h"
        ))
        .help("correct this reading, or the one before it: tallow history shows its entry"));
    }
    let runs = entries.iter().filter(|entry| since <= entry.at && matches!(entry.event, Event::Run(_)));
    let booked: f64 = runs.filter_map(|entry| entry.event.usage()).map(|usage| usage.amount(Quantity::Time)).sum();
    let ratios = ratios(&scene.ledger, &scene.machine).await?;
    let material = Material::new(&material_of(scene, args).await?);
    let estimate = ratios.unbooked(before, args.hours, booked / 3600.0, 0, &material);
    let estimate = estimate.map_err(|error| Trouble::refused(error.to_string()))?;
    Ok(estimate.map(|estimate| estimate.usage).unwrap_or_default())
}

/// The material to charge unbooked hours to: as said, or none.
async fn material_of(scene: &Scene<'_>, args: &cli::HourMeter) -> Result<String, Trouble> {
    match args.material.trim() {
        "" => Ok(String::new()),
        name => Ok(printed::known(name, &context::materials(&scene.ledger).await?)?.name),
    }
}

/// A machine at an instant, about which something is to be recorded.
struct Scene<'a> {
    ledger: Ledger,
    machine: OnMachine,
    at: ZonedDateTime,
    occasion: &'a Occasion,
}

impl<'a> Scene<'a> {
    async fn open(context: &Context, occasion: &'a Occasion) -> Result<Scene<'a>, Trouble> {
        let ledger = context.open().await?;
        let machine = context::machine(&ledger, &occasion.on).await?;
        let at = when::past(&occasion.when, &context.now_in(&ledger))?;
        machine.joined_by(&at)?;
        Ok(Scene { ledger, machine, at, occasion })
    }

    fn name(&self) -> &str {
        &self.machine.info.name
    }

    async fn record(&self, context: &Context, event: Event, said: &str) -> Result<(), Trouble> {
        let new = NewEntry {
            machine: self.name().to_owned(),
            at: self.at.timestamp(),
            recorded: context.now,
            note: self.occasion.note.clone(),
            event,
        };
        let entry = self.ledger.append(new).await?;
        say_recorded(context, entry, self.at.timestamp(), &format!("{said}, {}", when::spoken(&self.at)))
    }
}

/// Says that an entry was written.
///
/// # Errors
/// Where the answer can't be written.
pub(crate) fn say_recorded(context: &Context, entry: EntryId, at: Timestamp, said: &str) -> Result<(), Trouble> {
    if context.json {
        return context.out.json(&json!({ "entry": entry.0, "at": at.to_string(), "said": said }));
    }
    context.out.line(format!("entry {entry}: {said}"))
}

/// A measured value with its unit: `110 Hz`, `0.15 mm`, `3`.
///
/// # Errors
/// Text that is no number, or a negative one.
pub(crate) fn measured(text: &str) -> Result<(f64, String), Trouble> {
    let (value, unit) = amount::parse_measured(text).map_err(|_| {
        Trouble::refused(format!("\"{text}\" is not a measured value"))
            .help("write a decimal number and its unit: \"110 Hz\"")
    })?;
    if value < 0.0 {
        return Err(Trouble::refused(format!("a reading of {} can't be: it is negative", text.trim())).help(
            "readings are sizes: give it without the sign, and say the direction in what was measured or in --note",
        ));
    }
    Ok((value, unit))
}

/// Words that must be there.
fn worded(text: &str, what: &str, example: &str) -> Result<String, Trouble> {
    match text.trim() {
        "" => Err(Trouble::refused(format!("{what} is not said")).help(format!("say it in a few words: {example}"))),
        words => Ok(words.to_owned()),
    }
}

/// Why a part was replaced, in the ledger's words.
pub(crate) fn because(reason: Reason) -> Because {
    match reason {
        Reason::Failed => Because::Failed,
        Reason::Worn => Because::Worn,
        Reason::Good => Because::Good,
    }
}

/// A supply as typed: `light oil=2 ml`, or its name alone.
fn supply(text: &str) -> Result<(String, String), Trouble> {
    let (name, amount) = text.split_once('=').unwrap_or((text, ""));
    match name.trim() {
        "" => {
            Err(Trouble::refused(format!("\"{text}\" names no supply"))
                .help("write it as \"ISO VG 32 light oil=2 ml\""))
        }
        name => {
            let named = Supplies::built_in().named(name).map_err(|unknown| {
                Trouble::from(unknown)
                    .help("nothing was recorded, since no rule can tell whether it may touch this part")
                    .help("say what it is, for example \"ball bearing grease\"; what is no supply can go into --note")
            });
            Ok((named?, amount.trim().to_owned()))
        }
    }
}

/// Refuses supplies that must never touch the part.
fn allowed(position: &Position, supplies: &BTreeMap<String, String>) -> Result<(), Trouble> {
    match rules::refusal(position, supplies.keys().map(String::as_str), Supplies::built_in()) {
        None => Ok(()),
        Some(refusal) => Err(Trouble::refused(refusal.to_string()).help(
            "nothing was recorded; if it has been used there, clean it off and record that as a failure of the part",
        )),
    }
}
