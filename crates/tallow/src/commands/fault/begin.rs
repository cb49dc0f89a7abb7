//! `tallow fault symptoms` and `tallow fault new`: from a keeper's own words to a fault that is looked for.

use ledger::{Ledger, NewEntry};
use serde_json::json;
use upkeep::fault::said::Shown;
use upkeep::fault::{Faults, Symptom, of, search};
use upkeep::{Build, Event};

use super::{Known, Search, all, of_number, screen, shape};
use crate::cli;
use crate::context::{self, Context};
use crate::trouble::Trouble;
use crate::when;

/// What a keeper's words were found to mean.
pub(crate) enum Found<'a> {
    /// This symptom, and no other.
    One(&'a Symptom),
    /// One of these, the likeliest first.
    Several(Vec<&'a Symptom>),
    /// None.
    None,
}

/// The symptom that words mean. Words that are in a symptom's name or alias mean that one, if no other holds them.
pub(crate) fn found<'a>(faults: &'a Faults, words: &str) -> Found<'a> {
    let symptoms: Vec<&Symptom> = search(faults, words).into_iter().map(|place| &faults.symptoms[place]).collect();
    let is_named = |symptom: &&Symptom| {
        let mut wordings = std::iter::once(&symptom.name).chain(&symptom.aliases);
        wordings.any(|wording| wording.eq_ignore_ascii_case(words.trim()))
    };
    let named: Vec<&Symptom> = symptoms.iter().copied().filter(is_named).collect();
    match (named.as_slice(), symptoms.as_slice()) {
        ([one], _) | (_, [one]) => Found::One(one),
        (_, []) => Found::None,
        _ => Found::Several(symptoms),
    }
}

pub(super) async fn symptoms(context: &Context, args: &cli::FaultSymptoms) -> Result<(), Trouble> {
    let faults = any()?;
    let words = args.words.join(" ");
    let listed: Vec<&Symptom> = match words.trim() {
        "" => faults.symptoms.iter().collect(),
        words => search(&faults, words).into_iter().map(|place| &faults.symptoms[place]).collect(),
    };
    if context.json {
        let shape = |symptom: &&Symptom| json!({ "symptom": symptom.name, "about": symptom.about, "aliases": symptom.aliases, "stop": symptom.stop });
        return context.out.json(&listed.iter().map(shape).collect());
    }
    if listed.is_empty() {
        return Err(no_symptom(&words));
    }
    for symptom in listed {
        context.out.prose(&format!("{:<28}", symptom.name), &symptom.about)?;
    }
    context.out.line("\nBegin with one: tallow fault new MACHINE \"SYMPTOM\"")
}

/// The faults of a build that ships: symptoms are the same for all.
///
/// # Errors
/// Never for what was tested.
pub(crate) fn any() -> Result<Faults, Trouble> {
    let (name, text) = upkeep::build::shipped()[0];
    Ok(of(&Build::parse(name, text)?)?)
}

fn no_symptom(words: &str) -> Trouble {
    Trouble::refused(format!("no symptom is known by \"{words}\""))
        .help("say what you see, hear, smell or measure; all of them: tallow fault symptoms")
}

pub(super) async fn begin(context: &Context, args: &cli::FaultNew) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let machine = context::machine(&ledger, &args.machine).await?;
    let faults = of(&machine.build)?;
    let at = when::past(&args.when, &context.now_in(&ledger))?;
    machine.joined_by(&at)?;
    let mut symptoms: Vec<String> = Vec::new();
    for words in &args.symptoms {
        let name = named(&faults, words)?;
        if !symptoms.contains(&name) {
            symptoms.push(name);
        }
    }
    not_twice(&ledger, &machine.info.name, &symptoms).await?;
    let new = NewEntry {
        machine: machine.info.name.clone(),
        at: at.timestamp(),
        recorded: context.now,
        note: args.note.clone(),
        event: Event::FaultShown(Shown { symptoms }),
    };
    let fault = ledger.append(new).await?;
    let cases = all(&ledger).await?;
    let case = of_number(&cases, fault.0)?;
    let known = Known::of(context, &ledger, &machine.info.name, &cases).await?;
    let search = Search::of(case, &known);
    if context.json {
        let mut shape = shape::search(&search);
        shape["entry"] = json!(fault.0);
        shape["said"] = json!(format!("fault {fault} on {}: {}", case.machine, case.symptoms.join("; ")));
        return context.out.json(&shape);
    }
    screen::search(context, &search, screen::FEW)
}

/// The name of the symptom that words mean.
fn named(faults: &Faults, words: &str) -> Result<String, Trouble> {
    match found(faults, words) {
        Found::One(symptom) => Ok(symptom.name.clone()),
        Found::None => Err(no_symptom(words)),
        Found::Several(symptoms) => {
            let names: Vec<&str> = symptoms.iter().map(|symptom| symptom.name.as_str()).collect();
            Err(Trouble::refused(format!("\"{words}\" may mean several symptoms"))
                .help(format!("give one by its name: {}", names.join(", "))))
        }
    }
}

/// Refuses a fault that shows what an open one of the machine shows already.
async fn not_twice(ledger: &Ledger, machine: &str, symptoms: &[String]) -> Result<(), Trouble> {
    let cases = all(ledger).await?;
    let mut open = cases.iter().filter(|case| case.end.is_none() && case.machine == machine);
    match open.find(|case| symptoms.iter().any(|symptom| case.symptoms.contains(symptom))) {
        None => Ok(()),
        Some(case) => Err(Trouble::refused(format!(
            "fault {} of {machine} is open and shows that already: {}",
            case.id,
            case.symptoms.join("; ")
        ))
        .help(format!("go on with it: tallow fault show {}", case.id))
        .help(format!("say what else shows: tallow fault say {} yes --of \"SYMPTOM\"", case.id))),
    }
}
