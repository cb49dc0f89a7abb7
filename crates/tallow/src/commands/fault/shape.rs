//! Faults as JSON. The keys and their meanings are in docs/JSON.md.

use serde_json::{Value, json};
use upkeep::fault::said::{Answered, Asked, Over, OwnGrade, Was};
use upkeep::fault::{Answer, Case};

use super::search::{Ask, Next, Ranked, Search};

pub(crate) fn answered(answered: &Answered) -> Value {
    let mut shape = asked_and_answered(&answered.asked, answered.answer);
    shape["fault"] = json!(answered.fault.0);
    shape
}

fn asked_and_answered(asked: &Asked, answer: Answer) -> Value {
    let chance = match answer {
        Answer::Likely(chance) => Some(chance),
        _ => None,
    };
    json!({ "asked": asked_word(asked), "name": asked.name(), "answer": answer_word(answer), "chance": chance })
}

fn asked_word(asked: &Asked) -> &'static str {
    match asked {
        Asked::Symptom(_) => "symptom",
        Asked::Check(_) => "check",
        Asked::Remedy(_) => "remedy",
        Asked::Stop(_) => "stop",
    }
}

fn answer_word(answer: Answer) -> &'static str {
    match answer {
        Answer::Yes => "yes",
        Answer::No => "no",
        Answer::CannotTell => "cannot-tell",
        Answer::DidThatAlready => "did-already",
        Answer::FixedIt => "fixed",
        Answer::Likely(_) => "measured",
    }
}

pub(crate) fn over(over: &Over) -> Value {
    let mut shape = was(&over.was);
    shape["fault"] = json!(over.fault.0);
    shape
}

fn was(was: &Was) -> Value {
    let kind = match was {
        Was::Cause(_) => "cause",
        Was::Unlisted(_) => "other",
        Was::Unknown(_) => "unknown",
    };
    json!({ "was": kind, "words": was.words() })
}

pub(crate) fn own_grade(own: &OwnGrade) -> Value {
    json!({ "cause": own.cause, "finding": own.finding, "grade": own.grade.name(), "reason": own.reason })
}

/// A fault without its causes.
pub(super) fn case(case: &Case) -> Value {
    json!({
        "fault": case.id.0, "machine": case.machine, "since": case.since.to_string(), "symptoms": case.symptoms,
        "note": case.note, "over": case.end.as_ref().map(|end| was(&end.was)),
    })
}

/// A fault, and where its search stands.
pub(super) fn search(search: &Search) -> Value {
    let mut shape = case(&search.case);
    let answers = search.case.answers.iter().map(|said| {
        let mut shape = asked_and_answered(&said.asked, said.answer);
        shape["entry"] = json!(said.entry.0);
        shape["at"] = json!(said.at.to_string());
        shape["note"] = json!(said.note);
        shape
    });
    shape["answers"] = answers.collect();
    shape["causes"] = search.ranked.iter().map(ranked).collect();
    shape["not_listed"] = json!(search.unlisted);
    shape["next"] = next(&search.next);
    shape["expected_cost"] = json!(search.expected_cost);
    shape["currency"] = json!(search.currency);
    shape["unknown_names"] = json!(search.unknown);
    shape
}

fn ranked(ranked: &Ranked) -> Value {
    json!({
        "cause": ranked.title, "position": ranked.at, "mode": ranked.mode, "chance": ranked.chance,
        "history": ranked.history, "speaks_for_it": ranked.speaks,
    })
}

fn next(next: &Next) -> Value {
    match next {
        Next::Over => Value::Null,
        Next::Stop { symptom, order } => json!({ "does": "stop", "name": symptom, "order": order }),
        Next::Check(asked) => ask("check", asked),
        Next::Remedy(asked) => ask("remedy", asked),
        Next::AskSomebody => json!({ "does": "ask somebody" }),
        Next::Contradiction(why) => json!({ "does": "take back", "order": why }),
    }
}

fn ask(does: &str, ask: &Ask) -> Value {
    let cautions = ask.cautions.iter();
    let cautions = cautions
        .map(|caution| json!({ "word": caution.word.name(), "text": caution.text, "before": caution.before + 1 }));
    json!({
        "does": does, "name": ask.name, "steps": ask.steps, "cautions": cautions.collect::<Vec<_>>(),
        "minutes": ask.minutes, "money": ask.money, "state": ask.state.name(), "qualified": ask.qualified,
        "of": ask.of, "replaces": ask.replaces(),
    })
}
