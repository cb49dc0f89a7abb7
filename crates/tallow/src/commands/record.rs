//! Recording what was done, replaced, failed or measured on a machine.

use std::collections::BTreeMap;

use jiff::{Timestamp, ZonedDateTime};
use ledger::{Ledger, NewEntry};
use serde_json::{Value, json};
use upkeep::build::{Position, Task};
use upkeep::entry::Because;
use upkeep::{EntryId, Event, Supplies, amount, rules, shop, slip_of};

use crate::cli::{self, Occasion, Reason};
use crate::commands::hours;
use crate::commands::readings::{self, Found};
use crate::commands::stores;
use crate::context::{self, Context, OnMachine};
use crate::trouble::Trouble;
use crate::when;

pub(crate) async fn done(context: &Context, args: &cli::Done) -> Result<(), Trouble> {
    let scene = Scene::open(context, &args.occasion).await?;
    let task = scene.machine.build.task(&args.task)?;
    let known = known_supplies(&scene.ledger, args.new).await?;
    let supplies = args.supplies.iter().map(|text| supply(text, &known)).collect::<Result<BTreeMap<_, _>, _>>()?;
    allowed(task, scene.machine.build.position(&task.at)?, &supplies)?;
    let said = format!("{} on {}: done", task.name, scene.name());
    let event = Event::Done { task: task.name.clone(), supplies };
    scene.record(context, event, &said).await
}

pub(crate) async fn replace(context: &Context, args: &cli::Replace) -> Result<(), Trouble> {
    let scene = Scene::open(context, &args.occasion).await?;
    let position = scene.machine.position(&args.position)?.name.clone();
    let said = format!("{position} on {}: replaced; its meters start at zero", scene.name());
    let spare = match &args.spare {
        Some(name) => Some(spare(&scene.ledger, name).await?),
        None => None,
    };
    scene.record(context, Event::Replaced { position, because: because(args.because), spare }, &said).await
}

/// A spare of the stores, of which one can be put in.
///
/// # Errors
/// Where the stores have none of that name, or don't count it in pieces.
pub(crate) async fn spare(ledger: &Ledger, name: &str) -> Result<String, Trouble> {
    let kept = stores::kept(ledger, name).await?;
    if kept.unit.is_empty() {
        return Ok(kept.name);
    }
    Err(Trouble::refused(format!("{} is counted in {}, so one of it can't be put in", kept.name, kept.unit))
        .help("say what was used with the task that was done: --used \"ITEM=AMOUNT\""))
}

pub(crate) async fn failure(context: &Context, args: &cli::Failure) -> Result<(), Trouble> {
    let scene = Scene::open(context, &args.occasion).await?;
    let position = scene.machine.position(&args.position)?.name.clone();
    let mode = worded(&args.mode, "how the failure shows", "feed tube 2: \"filament sticks in the tube\"")?;
    let found = if args.found { ", found by looking" } else { "" };
    let mended = if args.mended { ", mended" } else { "" };
    let said = format!("{position} on {}: failure recorded{found}{mended}", scene.name());
    let event = Event::Failed { position, mode, found: args.found, mended: args.mended };
    scene.record(context, event, &said).await
}

pub(crate) async fn reading(context: &Context, args: &cli::Reading) -> Result<(), Trouble> {
    let cli::Reading { position, what, value, new, occasion } = args;
    let recorded = record_reading(context, occasion, position, what, value, *new).await?;
    if context.json {
        return context.out.json(&recorded.shape());
    }
    context.out.line(format!("entry {}: {}", recorded.entry, recorded.said))?;
    recorded.outside_words.as_ref().map_or(Ok(()), |words| context.out.prose("", words))
}

/// A reading that was recorded.
pub(crate) struct Recorded {
    pub(crate) entry: EntryId,
    at: Timestamp,
    /// What was recorded, in words.
    pub(crate) said: String,
    outside: Option<Value>,
    /// What is wrong with it, where it is outside of its limits.
    pub(crate) outside_words: Option<String>,
}

impl Recorded {
    pub(crate) fn shape(&self) -> Value {
        let outside: Vec<&Value> = self.outside.iter().collect();
        json!({ "entry": self.entry.0, "at": self.at.to_string(), "said": self.said, "outside": outside })
    }
}

/// Records a reading at a machine's position.
///
/// # Errors
/// A machine or position that there is not, words or a value that say nothing, and what [`readings::event`] refuses.
pub(crate) async fn record_reading(
    context: &Context,
    occasion: &Occasion,
    position: &str,
    what: &str,
    value: &str,
    is_new: bool,
) -> Result<Recorded, Trouble> {
    let scene = Scene::open(context, occasion).await?;
    let position = &scene.machine.position(position)?.name;
    let what = worded(what, "what was measured", "\"belt frequency\"")?;
    let (event, words) = readings::event(&scene.ledger, &scene.machine, position, &what, value, is_new).await?;
    let found = Found::in_event(&scene.machine, &event);
    let said = format!("{position} on {}: {words}, {}", scene.name(), when::spoken(&scene.at));
    let (outside, outside_words) = (found.as_ref().map(Found::shape), found.as_ref().map(Found::words));
    let entry = scene.append(context, event).await?;
    Ok(Recorded { entry, at: scene.at.timestamp(), said, outside, outside_words })
}

pub(crate) async fn hour_meter(context: &Context, args: &cli::HourMeter) -> Result<(), Trouble> {
    let scene = Scene::open(context, &args.occasion).await?;
    let (material, at) = (hours::material(&scene.ledger, &args.material).await?, scene.at.timestamp());
    let note = &scene.occasion.note;
    let (entry, said) =
        hours::read(&scene.ledger, &scene.machine, at, args.hours, &material, note, context.now).await?;
    say_recorded(context, entry, at, &format!("{said}, {}", when::spoken(&scene.at)))
}

/// A machine at an instant, about which something is to be recorded.
pub(crate) struct Scene<'a> {
    ledger: Ledger,
    pub(crate) machine: OnMachine,
    at: ZonedDateTime,
    occasion: &'a Occasion,
}

impl<'a> Scene<'a> {
    pub(crate) async fn open(context: &Context, occasion: &'a Occasion) -> Result<Scene<'a>, Trouble> {
        let ledger = context.open().await?;
        let machine = context::machine(&ledger, &occasion.on).await?;
        let at = when::past(&occasion.when, &context.now_in(&ledger))?;
        machine.joined_by(&at)?;
        Ok(Scene { ledger, machine, at, occasion })
    }

    pub(crate) fn name(&self) -> &str {
        &self.machine.info.name
    }

    pub(crate) async fn record(&self, context: &Context, event: Event, said: &str) -> Result<(), Trouble> {
        let entry = self.append(context, event).await?;
        say_recorded(context, entry, self.at.timestamp(), &format!("{said}, {}", when::spoken(&self.at)))
    }

    async fn append(&self, context: &Context, event: Event) -> Result<EntryId, Trouble> {
        let new = NewEntry {
            machine: self.name().to_owned(),
            at: self.at.timestamp(),
            recorded: context.now,
            note: self.occasion.note.clone(),
            event,
        };
        Ok(self.ledger.append(new).await?)
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
///
/// # Errors
/// Where there are none.
pub(crate) fn worded(text: &str, what: &str, example: &str) -> Result<String, Trouble> {
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

/// The supplies that a name may be meant for.
pub(crate) struct Known {
    names: Vec<String>,
    /// Whether a name is meant as it stands, however near it is to one of these.
    is_new: bool,
}

/// What the stores have, and the supplies of the list.
pub(crate) async fn known_supplies(ledger: &Ledger, is_new: bool) -> Result<Known, Trouble> {
    let kept = shop::kept(&ledger.of_the_shop().await?).into_iter().map(|kept| kept.name);
    let listed = Supplies::built_in().iter().map(|supply| supply.name.clone());
    Ok(Known { names: kept.chain(listed).collect(), is_new })
}

/// A supply as typed: `ISO VG 32 light oil=2 ml`, or its name alone.
///
/// # Errors
/// A name that tells no substance, one that is near to a known one, and an amount that can't be.
pub(crate) fn supply(text: &str, known: &Known) -> Result<(String, String), Trouble> {
    let (name, amount) = text.split_once('=').unwrap_or((text, ""));
    let amount = amount.trim();
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
            let named = named?;
            not_near("supply", &named, &known.names, known.is_new)?;
            used_amount(&named, amount)?;
            Ok((named, amount.to_owned()))
        }
    }
}

/// Refuses a name that is a slip of the pen for a known one, or a shorter form of it, unless it is said to be new.
///
/// # Errors
/// The name that was probably meant.
pub(crate) fn not_near(what: &str, name: &str, known: &[String], is_new: bool) -> Result<(), Trouble> {
    match slip_of(name, known.iter().map(String::as_str)).filter(|_| !is_new) {
        None => Ok(()),
        Some(meant) => Err(Trouble::refused(format!("\"{name}\" is near to the {what} \"{meant}\""))
            .help(format!("did you mean {meant}? Write it in full"))
            .help("nothing was recorded; if it is another thing, say so: --new")),
    }
}

/// Refuses an amount of a supply that can't be; none at all may be said.
fn used_amount(supply: &str, text: &str) -> Result<(), Trouble> {
    if text.is_empty() {
        return Ok(());
    }
    let parsed = match Supplies::built_in().get(supply) {
        Some(listed) => amount::parse_supply(text, &listed.unit),
        None => amount::parse_measured(text).map(|(number, _)| number),
    };
    let help = match parsed {
        Ok(amount) if 0.0 < amount && amount <= MOST_USED => return Ok(()),
        Ok(_) => format!("give more than 0, and at most {MOST_USED}"),
        Err(error) => error.help(),
    };
    Err(Trouble::refused(format!("\"{text}\" of {supply} can't be what was used")).help(help))
}

/// The most of a supply that one task uses, in its unit. Judgement, no source; it catches slips of the finger.
const MOST_USED: f64 = 10_000.0;

/// Refuses supplies that must never touch the part, or that burn where the machine is hot.
pub(crate) fn allowed(task: &Task, position: &Position, supplies: &BTreeMap<String, String>) -> Result<(), Trouble> {
    let names = || supplies.keys().map(String::as_str);
    if let Some(supply) = rules::burns(task.state, names(), Supplies::built_in()) {
        return Err(Trouble::refused(format!("\"{supply}\" burns, and \"{}\" is done on a hot machine", task.name))
            .help("nothing was recorded; use it on an isolated machine that has cooled down, as a task of its own"));
    }
    match rules::refusal(position, names(), Supplies::built_in()) {
        None => Ok(()),
        Some(refusal) => Err(Trouble::refused(refusal.to_string()).help(
            "nothing was recorded; if it has been used there, clean it off and record that as a failure of the part",
        )),
    }
}
