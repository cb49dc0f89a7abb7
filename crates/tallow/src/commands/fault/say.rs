//! `tallow fault say`: an answer, and what follows from it.

use ledger::Ledger;
use upkeep::fault::said::{Answered, Asked, Over, Was};
use upkeep::fault::{Answer, Case, Step};
use upkeep::{Event, Unknown};

use super::{Known, Search, all, end, of_number, open_of_number, screen, shape, words};
use crate::cli::{self, AnswerWord};
use crate::context::Context;
use crate::trouble::Trouble;

pub(super) async fn say(context: &Context, args: &cli::FaultSay) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let cases = all(&ledger).await?;
    let case = open_of_number(&cases, args.fault)?;
    let known = Known::of(context, &ledger, &case.machine, &cases).await?;
    let said = record(context, &ledger, case, &known, args).await?;
    answer(context, &ledger, case, &said).await
}

/// Records an answer; what was done about it, in words.
///
/// # Errors
/// A name that nothing has, and an answer that its question can't have.
pub(super) async fn record(
    context: &Context,
    ledger: &Ledger,
    case: &Case,
    known: &Known,
    args: &cli::FaultSay,
) -> Result<String, Trouble> {
    let asked = match &args.of {
        Some(name) => named(known, name)?,
        None => Search::of(case, known).next.asked().ok_or_else(|| {
            Trouble::refused(format!("nothing is asked in fault {}", case.id))
                .help("name what you answer: --of \"belts: pluck the belt\"")
        })?,
    };
    let answer = fitting(&asked, args.answer)?;
    let answered = Event::FaultAnswered(Answered { fault: case.id, asked: asked.clone(), answer });
    let guide = known.guide();
    let mut events = vec![answered];
    if let Some(Step::Remedy(remedy)) = guide.step(&asked) {
        let mends = &guide.remedies[remedy].mends;
        match answer {
            Answer::FixedIt => {
                let cause = which(known, case, mends, args.cause.as_deref())?;
                events.push(Event::FaultOver(Over {
                    fault: case.id,
                    was: Was::Cause(known.faults.causes[cause].title()),
                }));
                return end::book(
                    context,
                    ledger,
                    case,
                    known,
                    end::Mended { cause, helped: true, events },
                    &args.mending,
                )
                .await;
            }
            // It was done, though it did not help: that counts all the same.
            Answer::No => {
                let mended = end::Mended { cause: mends[0], helped: false, events };
                return end::book(context, ledger, case, known, mended, &args.mending).await;
            }
            _ => {}
        }
    }
    end::write(context, ledger, case, events, &args.mending.note).await
}

/// What somebody names, as what is asked of it.
fn named(known: &Known, name: &str) -> Result<Asked, Trouble> {
    let guide = known.guide();
    let symptoms = known.faults.symptoms.iter().map(|symptom| Asked::Symptom(symptom.name.clone()));
    let checks = known.faults.checks.iter().map(|check| Asked::Check(check.title()));
    let remedies = (0..guide.remedies.len()).map(|place| Asked::Remedy(guide.remedy_name(place)));
    let stops = known.faults.symptoms.iter().filter(|symptom| symptom.stop.is_some());
    let stops = stops.map(|symptom| Asked::Stop(symptom.name.clone()));
    let all = symptoms.chain(checks).chain(remedies).chain(stops);
    let all: Vec<(String, Asked)> = all.map(|asked| (words::asked(&asked), asked)).collect();
    let found = Unknown::find("symptom, check or remedy", name, &all, |(words, _)| words);
    Ok(found.map_err(Trouble::from)?.1.clone())
}

/// The answer, where its question can have it.
fn fitting(asked: &Asked, answer: AnswerWord) -> Result<Answer, Trouble> {
    let is_remedy = matches!(asked, Asked::Remedy(_));
    match answer {
        AnswerWord::Yes if is_remedy => Ok(Answer::FixedIt),
        AnswerWord::Yes => Ok(Answer::Yes),
        AnswerWord::No => Ok(Answer::No),
        AnswerWord::CannotTell => Ok(Answer::CannotTell),
        AnswerWord::DidAlready => Ok(Answer::DidThatAlready),
        AnswerWord::Fixed if is_remedy => Ok(Answer::FixedIt),
        AnswerWord::Fixed => Err(Trouble::refused(format!("\"{}\" tells something, but mends nothing", asked.name()))
            .help("answer it by yes, no or cannot-tell; if it is mended, say what it was: tallow fault end FAULT --cause \"…\"")),
    }
}

/// The cause that a remedy mended: the one named, or the likeliest.
fn which(known: &Known, case: &Case, mends: &[usize], named: Option<&str>) -> Result<usize, Trouble> {
    let titles: Vec<(usize, String)> = mends.iter().map(|&place| (place, known.faults.causes[place].title())).collect();
    if let Some(name) = named {
        return Ok(Unknown::find("cause", name, &titles, |(_, title)| title).map_err(Trouble::from)?.0);
    }
    let ranked = Search::of(case, known).ranked;
    let likeliest = ranked.iter().find_map(|ranked| titles.iter().find(|(_, title)| *title == ranked.title));
    Ok(likeliest.map_or(mends[0], |(place, _)| *place))
}

/// Shows where the search stands after something was recorded.
pub(super) async fn answer(context: &Context, ledger: &Ledger, case: &Case, said: &str) -> Result<(), Trouble> {
    let cases = all(ledger).await?;
    let case = of_number(&cases, case.id.0)?;
    let known = Known::of(context, ledger, &case.machine, &cases).await?;
    let search = Search::of(case, &known);
    if context.json {
        let mut shape = shape::search(&search);
        shape["said"] = serde_json::json!(said);
        return context.out.json(&shape);
    }
    said.lines().try_for_each(|line| context.out.prose("", line))?;
    context.out.line("")?;
    if case.end.is_some() { Ok(()) } else { screen::search(context, &search, screen::FEW) }
}
