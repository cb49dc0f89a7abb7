//! `tallow keeper`: who looks after machines, for how long on which weekday, and days off.

use jiff::civil::Date;
use ledger::{Ledger, NewEntry, Told};
use serde_json::{Value, json};
use upkeep::shop::{Away, Keeper, QUALIFIED, Rostered, week};
use upkeep::{EntryId, Event, ShopError, Unknown};

use crate::cli::{self, KeeperWord};
use crate::commands::record::say_recorded;
use crate::context::Context;
use crate::out::{Align, Dress, Table, remark};
use crate::trouble::Trouble;
use crate::{when, words};

pub(crate) async fn keeper(context: &Context, args: &cli::Keeper) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let keepers = ledger.keepers().await?;
    match &args.what {
        None => list(context, &keepers, context.now_in(&ledger).date()),
        Some(KeeperWord::Set(args)) => set(context, &ledger, &keepers, args).await,
        Some(KeeperWord::Away(args)) => away(context, &ledger, &keepers, args).await,
        Some(KeeperWord::Remove(args)) => remove(context, &ledger, &keepers, args).await,
    }
}

/// The keeper called `name`, whatever its case.
///
/// # Errors
/// Where the shop has none of that name; the nearest is named.
pub(crate) fn named<'a>(keepers: &'a [Rostered], name: &str) -> Result<&'a Rostered, Trouble> {
    let found = Unknown::find("keeper", name, keepers, |rostered| &rostered.keeper.name);
    found.map_err(|unknown| {
        let trouble = Trouble::from(unknown);
        match keepers {
            [] => trouble.help("say who there is: tallow keeper set NAME --minutes \"mon-fri 60\""),
            _ => trouble,
        }
    })
}

/// What an entry says of a keeper: `keeper mate: Mon–Fri 60 min, qualified`.
pub(crate) fn keeper_words(keeper: &Keeper) -> String {
    if keeper.is_gone {
        return format!("keeper {} looks after machines no more", keeper.name);
    }
    let said = [vec![week::print(&keeper.minutes)], keeper.skills.clone()].concat();
    format!("keeper {}: {}", keeper.name, said.join(", "))
}

/// What an entry says of days off: `mate is away 24–26 Dec, at sea`.
pub(crate) fn away_words(away: &Away, today: Date) -> String {
    let why = if away.why.is_empty() { String::new() } else { format!(", {}", away.why) };
    format!("{} is away {}{why}", away.keeper, words::days(away.from, Some(away.to), today))
}

fn list(context: &Context, keepers: &[Rostered], today: Date) -> Result<(), Trouble> {
    if context.json {
        return context.out.json(&keepers.iter().map(|rostered| shape(rostered, today)).collect());
    }
    if keepers.is_empty() {
        return context.out.prose("", NONE);
    }
    let columns = [("keeper", Align::Left), ("for care", Align::Left), ("may", Align::Left), ("away", Align::Left)];
    let mut table = Table::new(columns);
    for rostered in keepers {
        let keeper = &rostered.keeper;
        let off: Vec<String> = ahead(rostered, today)
            .map(|(id, away)| format!("{} (entry {id})", words::days(away.from, Some(away.to), today)))
            .collect();
        let cells = [keeper.name.clone(), week::print(&keeper.minutes), keeper.skills.join(", "), off.join("; ")];
        table.row(cells, Dress::Plain);
    }
    context.out.table(&table)
}

const NONE: &str =
    "The shop has named no keepers. To name one: tallow keeper set NAME --minutes \"mon-fri 60, sat 30\"";

/// Days off that are not over.
fn ahead(rostered: &Rostered, today: Date) -> impl Iterator<Item = &(EntryId, Away)> {
    rostered.away.iter().filter(move |(_, away)| today <= away.to)
}

fn shape(rostered: &Rostered, today: Date) -> Value {
    let away = |(id, away): &(EntryId, Away)| json!({ "from": away.from.to_string(), "to": away.to.to_string(), "why": away.why, "entry": id.0 });
    let keeper = &rostered.keeper;
    json!({
        "keeper": keeper.name, "minutes": keeper.minutes, "skills": keeper.skills, "entry": rostered.entry.0,
        "away": ahead(rostered, today).map(away).collect::<Value>(),
    })
}

async fn set(context: &Context, ledger: &Ledger, keepers: &[Rostered], args: &cli::KeeperSet) -> Result<(), Trouble> {
    let before = named(keepers, &args.name).ok().map(|rostered| &rostered.keeper);
    let says_nothing = args.minutes.is_none() && args.skills.is_empty() && !args.no_skills && args.note.is_empty();
    if let (Some(before), true) = (before, says_nothing) {
        return Err(Trouble::refused(format!("nothing is said of {} that could be set", before.name))
            .help("say minutes or skills: --minutes \"mon-fri 60\", --skill qualified, --no-skills"));
    }
    let minutes = match (&args.minutes, before) {
        (Some(text), _) => week::parse(text).map_err(|error| refused(&error))?,
        (None, Some(before)) => before.minutes,
        (None, None) => {
            return Err(Trouble::refused(format!("\"{}\" is new, and has no minutes yet", args.name.trim()))
                .help("say them by weekday: --minutes \"mon-fri 60, sat 30\""));
        }
    };
    let skills = match before {
        Some(before) if args.skills.is_empty() && !args.no_skills => before.skills.clone(),
        _ => skills(&args.skills),
    };
    hint_at_skill(&skills);
    let name = before.map_or_else(|| args.name.trim().to_owned(), |before| before.name.clone());
    let keeper = Keeper { name, minutes, skills, is_gone: false };
    say(context, ledger, Event::Keeper(keeper.clone()), &args.note, &keeper_words(&keeper)).await
}

/// Words for skills, each once, in lower case as builds write them.
fn skills(typed: &[String]) -> Vec<String> {
    let mut skills: Vec<String> = Vec::new();
    for skill in typed.iter().map(|skill| skill.trim().to_lowercase()) {
        if !skills.contains(&skill) {
            skills.push(skill);
        }
    }
    skills
}

/// Says so where a word is near the one that builds ask for; it may be the shop's own all the same.
fn hint_at_skill(skills: &[String]) {
    for skill in skills.iter().filter(|skill| *skill != QUALIFIED) {
        if let Some(meant) = upkeep::nearest(skill, [QUALIFIED]) {
            remark(&format!(
                "\"{skill}\" is kept as a word of your own; builds ask for {meant}. Did you mean {meant}?"
            ));
        }
    }
}

async fn away(context: &Context, ledger: &Ledger, keepers: &[Rostered], args: &cli::KeeperAway) -> Result<(), Trouble> {
    let now = context.now_in(ledger);
    let keeper = named(keepers, &args.name)?.keeper.name.clone();
    let from = when::coming_day(&args.from, &now)?;
    let to = args.to.as_ref().map_or(Ok(from), |text| when::coming_day(text, &now))?;
    let told = ledger.visits(from).await?;
    let falls_in = |told: &&Told| told.stands() && told.visit.day <= to && is_of(told, &keeper);
    let theirs: Vec<&Told> = told.iter().filter(falls_in).collect();
    let away = Away { keeper: keeper.clone(), from, to, why: args.why.trim().to_owned() };
    let said = format!("{}{}", away_words(&away, now.date()), still_theirs(&theirs));
    say(context, ledger, Event::Away(away), "", &said).await
}

async fn remove(
    context: &Context,
    ledger: &Ledger,
    keepers: &[Rostered],
    args: &cli::KeeperRemove,
) -> Result<(), Trouble> {
    let keeper = Keeper { is_gone: true, ..named(keepers, &args.name)?.keeper.clone() };
    let told = ledger.visits(context.now_in(ledger).date()).await?;
    let theirs: Vec<&Told> = told.iter().filter(|told| told.stands() && is_of(told, &keeper.name)).collect();
    let said = format!("{}{}", keeper_words(&keeper), still_theirs(&theirs));
    say(context, ledger, Event::Keeper(keeper), &args.note, &said).await
}

/// Whether the visit was told to that keeper.
pub(crate) fn is_of(told: &Told, keeper: &str) -> bool {
    told.visit.keeper.to_lowercase() == keeper.to_lowercase()
}

/// What is to become of the visits of somebody who goes.
fn still_theirs(visits: &[&Told]) -> String {
    if visits.is_empty() {
        return String::new();
    }
    let locked: Vec<String> =
        visits.iter().filter(|told| told.visit.is_locked).map(|told| told.id.to_string()).collect();
    let by_hand = match locked.is_empty() {
        true => String::new(),
        false => format!(", but for the locked: tallow visit move {} --to DAY --keeper NAME", locked.join(", ")),
    };
    let visits = words::count(visits.len() as u64, "visits");
    format!("; {visits} told to them, still to come. To hand them on: tallow plan --keep{by_hand}")
}

/// Writes an entry of the shop itself, of this moment, and says so.
async fn say(context: &Context, ledger: &Ledger, event: Event, note: &str, said: &str) -> Result<(), Trouble> {
    let (machine, note) = (String::new(), note.to_owned());
    let new = NewEntry { machine, at: context.now, recorded: context.now, note, event };
    let entry = ledger.append(new).await?;
    say_recorded(context, entry, context.now, said)
}

/// A fact that can't stand, in the keeper's words.
pub(crate) fn refused(error: &ShopError) -> Trouble {
    Trouble::from_text(&error.to_string())
}
