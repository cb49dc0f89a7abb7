//! `tallow fault walk`: question by question on a terminal, for as long as there are answers.

use std::io::{self, BufRead};

use super::{Known, Next, Search, all, of_number, open_of_number, say, screen, words};
use crate::cli::{self, AnswerWord};
use crate::context::Context;
use crate::trouble::Trouble;

pub(super) async fn walk(context: &Context, args: &cli::FaultWalk) -> Result<(), Trouble> {
    if context.json || context.is_served() {
        return Err(Trouble::refused("a walk asks people, at a terminal")
            .help(format!("step by step, for programs: tallow fault say {} yes --json", args.fault)));
    }
    let ledger = context.open().await?;
    let cases = all(&ledger).await?;
    open_of_number(&cases, args.fault)?;
    let mut answers = io::stdin().lock().lines();
    loop {
        let cases = all(&ledger).await?;
        let case = of_number(&cases, args.fault)?;
        let known = Known::of(context, &ledger, &case.machine, &cases).await?;
        let search = Search::of(case, &known);
        screen::search(context, &search, 3)?;
        let allowed = allowed(&search.next);
        if allowed.is_empty() {
            return Ok(());
        }
        let Some(answer) = asked(context, &allowed, &mut answers)? else {
            return context.out.line(format!("Stopped here; go on with: tallow fault walk {}", args.fault));
        };
        let mending = cli::Mending { used: Vec::new(), new: false, spare: None, because: None, note: String::new() };
        let say = cli::FaultSay { fault: args.fault, answer, of: None, cause: None, mending };
        let said = say::record(context, &ledger, case, &known, &say).await?;
        context.out.line("")?;
        said.lines().try_for_each(|line| context.out.prose("", line))?;
        context.out.line("")?;
        let cases = all(&ledger).await?;
        if let Some(end) = &of_number(&cases, args.fault)?.end {
            return context.out.line(format!("Fault {} is over: {}", args.fault, words::was(&end.was)));
        }
    }
}

/// The answers that a question can have, each with the words for it.
fn allowed(next: &Next) -> Vec<(&'static str, AnswerWord)> {
    let (yes, no) = (("yes", AnswerWord::Yes), ("no", AnswerWord::No));
    let already = ("did that already", AnswerWord::DidAlready);
    match next {
        Next::Stop { .. } => vec![yes],
        Next::Check(_) => vec![yes, no, ("can't tell", AnswerWord::CannotTell), already],
        Next::Remedy(_) => vec![("fixed", AnswerWord::Fixed), no, already],
        Next::Over | Next::AskSomebody | Next::Contradiction(_) => Vec::new(),
    }
}

/// Asks until one of the answers is given; `None` at an empty line or the end of input.
fn asked(
    context: &Context,
    allowed: &[(&'static str, AnswerWord)],
    answers: &mut impl Iterator<Item = io::Result<String>>,
) -> Result<Option<AnswerWord>, Trouble> {
    let names: Vec<&str> = allowed.iter().map(|(name, _)| *name).collect();
    loop {
        context.out.line(format!("{}? (an empty line stops here)", names.join(", ")))?;
        let line = match answers.next() {
            None => return Ok(None),
            Some(line) => line.map_err(|error| Trouble::refused(format!("the answer can't be read: {error}")))?,
        };
        let typed = line.trim().to_lowercase();
        if typed.is_empty() {
            return Ok(None);
        }
        let begun: Vec<AnswerWord> =
            allowed.iter().filter(|(name, _)| name.starts_with(&typed)).map(|(_, answer)| *answer).collect();
        match begun.as_slice() {
            [answer] => return Ok(Some(*answer)),
            _ => context.out.line(format!("\"{typed}\" is none of these; their first letters do"))?,
        }
    }
}
