//! Moving a visit by hand: a person decides, but is told what speaks against it.

use jiff::civil::Date;
use jiff::{ToSpan, ZonedDateTime};
use ledger::{Ledger, Told};
use upkeep::agenda::past_before;
use upkeep::build::Neglect;
use upkeep::shop::{Keeper, Rostered, Visit};

use super::{change, standing};
use crate::commands::keeper;
use crate::context::{self, Context};
use crate::trouble::Trouble;
use crate::words::HISTORY_DAYS;
use crate::{when, words};

/// A visit as somebody wants it to be.
pub(crate) struct Wanted {
    /// What people have been told of.
    pub(crate) told: Told,
    /// The visit elsewhere. Whoever moves one by hand wants it there: it is locked.
    pub(crate) visit: Visit,
    /// What speaks against it, if something does.
    pub(crate) doubt: Option<String>,
}

/// Looks at what moving a visit would come to.
///
/// # Errors
/// No such visit to be walked, a day that is past or can't be read, nobody of that name, and whoever may not do its tasks.
pub(crate) async fn wanted(
    ledger: &Ledger,
    now: &ZonedDateTime,
    visit: i64,
    to: &str,
    goes: Option<&str>,
) -> Result<Wanted, Trouble> {
    let told = standing(ledger, visit).await?;
    let day = when::coming_day(to, now)?;
    let keepers = ledger.keepers().await?;
    let goes = match goes {
        Some(name) => keeper::named(&keepers, name)?,
        None => keeper::named(&keepers, &told.visit.keeper)
            .map_err(|trouble| trouble.help("say who goes instead: --keeper NAME"))?,
    };
    may_go(ledger, &told, &goes.keeper, &keepers).await?;
    let others = ledger.visits(day).await?;
    let others = others.iter().filter(|other| is_beside(other, &told, &goes.keeper.name, day));
    let taken: f64 = others.map(|other| other.visit.took.unwrap_or(other.visit.minutes)).sum();
    let doubts = [doubt(goes, day, told.visit.minutes, taken), harm(ledger, now, &told, day).await?];
    let doubts: Vec<String> = doubts.into_iter().flatten().collect();
    let doubt = (!doubts.is_empty()).then(|| doubts.join("; and "));
    let visit = Visit { day, keeper: goes.keeper.name.clone(), is_locked: true, ..told.visit.clone() };
    Ok(Wanted { told, visit, doubt })
}

pub(super) async fn moved(
    context: &Context,
    ledger: &Ledger,
    visit: i64,
    to: &str,
    goes: Option<&str>,
) -> Result<(), Trouble> {
    let now = context.now_in(ledger);
    let Wanted { told, visit, doubt } = wanted(ledger, &now, visit, to, goes).await?;
    let doubt = doubt.map_or_else(String::new, |doubt| format!(". But {doubt}"));
    let day = words::weekday(visit.day, now.date());
    let said = format!("visit {} to {}: moved to {day}, {}{doubt}", told.id, told.machine, visit.keeper);
    change(context, ledger, &told, visit, &said).await
}

/// Which of the visit's tasks, neglect of which may injure or damage, will be past their limit by a later day than was told.
async fn harm(ledger: &Ledger, now: &ZonedDateTime, told: &Told, day: Date) -> Result<Option<String>, Trouble> {
    if day <= told.visit.day {
        return Ok(None);
    }
    let state = ledger.machine_state(&told.machine, now.date().saturating_sub(HISTORY_DAYS.days())).await?;
    let materials = context::materials(ledger).await?;
    let past = past_before(&state, &materials, now, &told.visit.tasks, day);
    let words = past.into_iter().filter_map(|(task, from)| {
        let task = &state.build.tasks[task];
        let since =
            if from == now.date() { String::new() } else { format!(" from {} on", words::weekday(from, now.date())) };
        (Neglect::Damage <= task.neglect).then(|| format!("\"{}\" is past its limit{since}", task.name))
    });
    let words: Vec<String> = words.collect();
    Ok((!words.is_empty()).then(|| format!("until then {}: neglect of it may injure or damage", words.join(", "))))
}

/// Whether `other` takes minutes of the same keeper's day.
fn is_beside(other: &Told, told: &Told, keeper: &str, day: Date) -> bool {
    other.id != told.id && !other.is_cancelled && other.visit.day == day && keeper::is_of(other, keeper)
}

/// Refuses whoever may not do one of the visit's tasks.
async fn may_go(ledger: &Ledger, told: &Told, goes: &Keeper, keepers: &[Rostered]) -> Result<(), Trouble> {
    let machine = context::machine(ledger, &told.machine).await?;
    let is_of_it = |name: &String| told.visit.tasks.contains(name);
    let Some(task) = machine.build.tasks.iter().find(|task| is_of_it(&task.name) && !goes.may_do(task)) else {
        return Ok(());
    };
    let trouble = Trouble::refused(format!("\"{}\" is for somebody qualified, and {} is not", task.name, goes.name));
    let may: Vec<&str> =
        keepers.iter().map(|one| &one.keeper).filter(|one| one.may_do(task)).map(|one| one.name.as_str()).collect();
    Err(match may.is_empty() {
        true => trouble.help("name somebody who is: tallow keeper set NAME --minutes \"fri 60\" --skill qualified"),
        false => trouble.help(format!("who is: {}", may.join(", "))),
    })
}

/// What speaks against that day: the keeper is not there, has no time on such days, or too little beside the `taken`
/// minutes of other visits.
fn doubt(goes: &Rostered, day: Date, minutes: f64, taken: f64) -> Option<String> {
    let (name, has) = (&goes.keeper.name, goes.minutes_on(day));
    let (minutes, taken) = (minutes.ceil(), taken.ceil());
    if goes.is_away(day) {
        Some(format!("{name} is away that day"))
    } else if has == 0 {
        Some(format!("{name} has no minutes for care on a {}", day.strftime("%A")))
    } else if f64::from(has) < minutes + taken {
        let beside = if 0.0 < taken { format!(", and other visits take {taken} of them") } else { String::new() };
        Some(format!("it takes {minutes} min, {name} has {has} min that day{beside}"))
    } else {
        None
    }
}
