//! Faults on a terminal.

use jiff::tz::TimeZone;
use upkeep::build::SignalWord;
use upkeep::fault::Case;

use super::search::{Ask, Next, Search};
use super::{Known, all, drawing, of_number, shape, words};
use crate::cli;
use crate::commands::steps;
use crate::context::Context;
use crate::out::{Align, Dress, Out, Table};
use crate::trouble::Trouble;
use crate::when;
use crate::words::{money, percent};

/// How many causes are shown, unless more are asked for.
pub(super) const FEW: u16 = 6;

pub(super) async fn list(context: &Context) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let cases = all(&ledger).await?;
    let open: Vec<&Case> = cases.iter().filter(|case| case.end.is_none()).collect();
    if context.json {
        return context.out.json(&open.into_iter().map(shape::case).collect());
    }
    if open.is_empty() {
        return context
            .out
            .line("No fault is open. If something squeals, slips or starves: tallow fault new MACHINE \"squeal\"");
    }
    let mut table = Table::new([
        ("fault", Align::Right),
        ("machine", Align::Left),
        ("shows", Align::Left),
        ("since", Align::Left),
        ("answers", Align::Right),
    ]);
    for case in &open {
        let since = spoken(case, &ledger.shop().zone);
        let cells = [
            case.id.to_string(),
            case.machine.clone(),
            case.symptoms.join("; "),
            since,
            case.answers.len().to_string(),
        ];
        table.row(cells, Dress::Plain);
    }
    context.out.table(&table)?;
    context.out.line(format!("\nGo on with one: tallow fault walk {}", open[0].id))
}

pub(super) async fn show(context: &Context, args: &cli::FaultShow) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let cases = all(&ledger).await?;
    let case = of_number(&cases, args.fault)?;
    let known = Known::of(context, &ledger, &case.machine, &cases).await?;
    let found = Search::of(case, &known);
    if let Some(file) = &args.svg {
        context.write(file, drawing::causes(&found, usize::from(args.most)))?;
    }
    if context.json {
        return context.out.json(&shape::search(&found));
    }
    search(context, &found, args.most)?;
    if known.assumed.is_empty() || found.expected_cost.is_none() {
        return Ok(());
    }
    context.out.prose("", &crate::words::assumed(&known.assumed))
}

/// Where a search stands: what was told, the likeliest causes with their reasons, and what comes next.
pub(super) fn search(context: &Context, search: &Search, most: u16) -> Result<(), Trouble> {
    let out = &context.out;
    let case = &search.case;
    out.dressed_line(&format!("Fault {} on {}: {}", case.id, case.machine, case.symptoms.join("; ")), Dress::Bold)?;
    if !case.note.is_empty() {
        out.prose("  ", &case.note)?;
    }
    trail(out, case)?;
    if let Some(end) = &case.end {
        return out.line(format!("It is over: {}", words::was(&end.was)));
    }
    if !search.unknown.is_empty() {
        out.prose(
            "",
            &format!("This machine's build knows no more of: {}. It counts for nothing.", search.unknown.join("; ")),
        )?;
    }
    if !search.ranked.is_empty() {
        out.line("")?;
    }
    for ranked in search.ranked.iter().take(usize::from(most)) {
        out.prose(&format!("{:>5}  ", percent(ranked.chance)), &ranked.title)?;
        let why: Vec<&str> = ranked.speaks.iter().map(String::as_str).chain([ranked.history.as_str()]).collect();
        out.prose("       ", &why.join("; "))?;
    }
    if 0.005 <= search.unlisted {
        out.line(format!("{:>5}  something that is not listed", percent(search.unlisted)))?;
    }
    out.line("")?;
    next(out, search)
}

/// What was answered so far.
fn trail(out: &Out, case: &Case) -> Result<(), Trouble> {
    for said in case.holding() {
        let note = if said.note.is_empty() { String::new() } else { format!(" ({})", said.note) };
        out.prose("  ", &format!("{}: {}{note}", words::asked(&said.asked), words::answer(said.answer)))?;
    }
    Ok(())
}

/// What comes next, with its cautions before the steps they belong to.
pub(super) fn next(out: &Out, search: &Search) -> Result<(), Trouble> {
    let fault = search.case.id;
    match &search.next {
        Next::Over => Ok(()),
        Next::Stop { symptom, order } => {
            out.caution(SignalWord::Danger, &format!("{symptom}: {order}"))?;
            out.line(format!("When that is done: tallow fault say {fault} yes"))
        }
        Next::Contradiction(why) => {
            out.prose("", &steps::capital(why))?;
            out.line(format!("Take one back: tallow fault say {fault} cannot-tell --of \"NAME\""))
        }
        Next::AskSomebody => {
            out.prose("", "Nothing that is listed is left. Ask somebody who knows the machine, or its maker.")?;
            out.line(format!("When it is found: tallow fault end {fault} --other \"what it was\""))
        }
        Next::Check(ask) => {
            asked(out, "Check", ask, search)?;
            out.line(format!("\nThen: tallow fault say {fault} yes | no | cannot-tell"))
        }
        Next::Remedy(ask) => {
            asked(out, if ask.replaces() { "Replace" } else { "Do" }, ask, search)?;
            out.line(format!("\nThen: tallow fault say {fault} fixed | no | did-already"))
        }
    }
}

fn asked(out: &Out, does: &str, ask: &Ask, search: &Search) -> Result<(), Trouble> {
    out.dressed_line(&format!("{does}: {}, about {} min", ask.name, ask.minutes), Dress::Bold)?;
    if let Some(cost) = search.expected_cost {
        let cost = money(cost, &search.currency);
        out.prose(
            "",
            &format!("By this way it is likely to cost about {cost} until it is mended, work and standing still."),
        )?;
    }
    if !ask.of.is_empty() {
        let tells = if does == "Check" { "It tells of" } else { "It mends" };
        out.prose("", &format!("{tells}: {}", ask.of.join("; ")))?;
    }
    out.line(format!("Machine: {}", steps::state_words(ask.state)))?;
    if ask.qualified {
        out.line("Beyond looking, this is work for a qualified person under the local code.")?;
    }
    steps::numbered(out, &ask.steps, &ask.cautions)?;
    out.line(format!("\n{}", steps::ABOVE))
}

fn spoken(case: &Case, zone: &TimeZone) -> String {
    when::spoken(&case.since.to_zoned_datetime(zone.clone()))
}
