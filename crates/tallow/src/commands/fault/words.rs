//! Faults in a line.

use upkeep::fault::Answer;
use upkeep::fault::said::{Answered, Asked, Over, OwnGrade, Was};

use crate::words::percent;

/// `fault 812: belts: pluck the belt, yes`.
pub(crate) fn answered(answered: &Answered) -> String {
    format!("fault {}: {}, {}", answered.fault, asked(&answered.asked), answer(answered.answer))
}

/// What was asked.
pub(crate) fn asked(asked: &Asked) -> String {
    match asked {
        Asked::Stop(symptom) => format!("stop because of \"{symptom}\""),
        asked => asked.name().to_owned(),
    }
}

/// The answer.
pub(crate) fn answer(answer: Answer) -> String {
    match answer {
        Answer::Yes => "yes".to_owned(),
        Answer::No => "no".to_owned(),
        Answer::CannotTell => "can't tell".to_owned(),
        Answer::DidThatAlready => "did that already".to_owned(),
        Answer::FixedIt => "fixed it".to_owned(),
        Answer::Likely(chance) => format!("measured, {} likely", percent(chance)),
    }
}

/// `fault 812 over: belts: slack belt`.
pub(crate) fn over(over: &Over) -> String {
    format!("fault {} over: {}", over.fault, was(&over.was))
}

/// What it was.
pub(crate) fn was(was: &Was) -> String {
    match was {
        Was::Cause(title) => title.clone(),
        Was::Unlisted(words) => format!("{words} (not listed)"),
        Was::Unknown(why) => format!("never found, {why}"),
    }
}

/// `dry rod nearly always shows "squeal while moving", ours sing before they stick`.
pub(crate) fn own_grade(own: &OwnGrade) -> String {
    format!("own grade: {} {} shows \"{}\", {}", own.cause, own.grade, own.finding, own.reason)
}
