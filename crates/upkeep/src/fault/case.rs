//! A fault out of what was recorded of it: what was told and answered, in order, and what that means on its machine.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::learn;
use super::network::Evidence;
use super::said::{Answered, Asked, Over, OwnGrade, Was};
use super::{Answer, Faults, Guide, Progress, RemedyKind, Step, Symptom};
use crate::entry::Because;
use crate::{Entry, EntryId, Event};

/// A fault of a machine, as its entries tell it.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// The entry that it began with: its number.
    pub id: EntryId,
    /// The machine.
    pub machine: String,
    /// Since when it shows.
    pub since: Timestamp,
    /// The symptoms that it began with, by name.
    pub symptoms: Vec<String>,
    /// Words added by the keeper; may be empty.
    pub note: String,
    /// What was answered, oldest first.
    pub answers: Vec<Said>,
    /// How it ended; `None` while it is open.
    pub end: Option<End>,
}

/// An answer and its entry.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// The entry.
    pub entry: EntryId,
    /// When it was given.
    pub at: Timestamp,
    /// What was asked.
    pub asked: Asked,
    /// The answer.
    pub answer: Answer,
    /// Words added by the keeper; may be empty.
    pub note: String,
}

/// The end of a fault.
#[derive(Clone, Debug, PartialEq)]
pub struct End {
    /// The entry.
    pub entry: EntryId,
    /// When.
    pub at: Timestamp,
    /// What it was.
    pub was: Was,
}

/// The faults that `entries` tell of, oldest first. An answer to a fault that was withdrawn tells of none.
pub fn cases(entries: &[Entry]) -> Vec<Case> {
    let mut cases: BTreeMap<EntryId, Case> = entries.iter().filter_map(begun).map(|case| (case.id, case)).collect();
    for entry in entries {
        let Entry { id, at, note, .. } = entry;
        match &entry.event {
            Event::FaultAnswered(Answered { fault, asked, answer }) => {
                let said = Said { entry: *id, at: *at, asked: asked.clone(), answer: *answer, note: note.clone() };
                cases.entry(*fault).and_modify(|case| case.answers.push(said));
            }
            Event::FaultOver(Over { fault, was }) => {
                let end = End { entry: *id, at: *at, was: was.clone() };
                cases.entry(*fault).and_modify(|case| case.end = Some(end));
            }
            _ => {}
        }
    }
    cases.into_values().collect()
}

fn begun(entry: &Entry) -> Option<Case> {
    let Event::FaultShown(shown) = &entry.event else { return None };
    Some(Case {
        id: entry.id,
        machine: entry.machine.clone(),
        since: entry.at,
        symptoms: shown.symptoms.clone(),
        note: entry.note.clone(),
        answers: Vec::new(),
        end: None,
    })
}

impl Case {
    /// The answers that hold: of several to one question the last.
    pub fn holding(&self) -> Vec<&Said> {
        let is_last =
            |place: usize| self.answers[place + 1..].iter().all(|later| later.asked != self.answers[place].asked);
        (0..self.answers.len()).filter(|place| is_last(*place)).map(|place| &self.answers[place]).collect()
    }

    /// The symptoms that show, by name: those that it began with and that were not taken back, and those that were told since.
    pub fn showing(&self) -> Vec<&str> {
        let told = |name: &str| self.found().find(|(asked, _)| **asked == Asked::Symptom(name.to_owned()));
        let began = self.symptoms.iter().map(String::as_str).filter(|name| told(name).is_none());
        let since = self.found().filter_map(|(asked, answer)| match asked {
            Asked::Symptom(name) if answer.sure().is_some_and(|sure| 0.5 < sure) => Some(name.as_str()),
            _ => None,
        });
        began.chain(since).collect()
    }

    /// Those that show and may hurt somebody. The machine must not be run before the fault is over.
    pub fn dangers<'a>(&self, faults: &'a Faults) -> Vec<&'a Symptom> {
        let known = self.showing().into_iter().filter_map(|name| faults.symptom(name));
        known.map(|place| &faults.symptoms[place]).filter(|symptom| symptom.stop.is_some()).collect()
    }

    /// Everything that was found, by name: the symptoms that it began with, and what was answered since.
    fn found(&self) -> impl Iterator<Item = (&Asked, Answer)> {
        self.holding().into_iter().map(|said| (&said.asked, said.answer))
    }

    /// How far a search by `guide` is; and the names that the guide does not know, which count for nothing.
    pub fn progress(&self, guide: &Guide<'_>) -> (Progress, Vec<String>) {
        let (mut progress, mut unknown) = (Progress::default(), Vec::new());
        let asked: Vec<Asked> = self.found().map(|(asked, _)| asked.clone()).collect();
        for name in &self.symptoms {
            let symptom = Asked::Symptom(name.clone());
            // What was told first may have been taken back since.
            if asked.contains(&symptom) {
                continue;
            }
            match guide.faults().symptom(name) {
                Some(place) => progress.evidence.push(evidence(place, 1.0)),
                None => unknown.push(name.clone()),
            }
        }
        for (asked, answer) in self.found() {
            let step = match asked {
                Asked::Symptom(name) => match (guide.faults().symptom(name), answer.sure()) {
                    (Some(place), Some(sure)) => {
                        progress.evidence.push(evidence(place, sure));
                        continue;
                    }
                    (Some(_), None) => continue,
                    (None, _) => None,
                },
                asked => guide.step(asked),
            };
            match step {
                Some(step) => guide.answer(&mut progress, step, answer),
                None => unknown.push(asked.name().to_owned()),
            }
        }
        (progress, unknown)
    }
}

fn evidence(finding: usize, sure: f64) -> Evidence {
    Evidence { finding, sure }
}

impl Guide<'_> {
    /// What a step asks, by name; `None` where there is nothing left to ask.
    pub fn asked(&self, step: Step) -> Option<Asked> {
        let faults = self.faults();
        Some(match step {
            Step::Check(check) => Asked::Check(faults.checks[check].title()),
            Step::Remedy(remedy) => Asked::Remedy(self.remedy_name(remedy)),
            Step::Stop(symptom) => Asked::Stop(faults.symptoms[symptom].name.clone()),
            Step::AskSomebody => return None,
        })
    }

    /// The step of that name; `None` where there is none, or it asks for a symptom.
    pub fn step(&self, asked: &Asked) -> Option<Step> {
        let faults = self.faults();
        match asked {
            Asked::Check(name) => faults.checks.iter().position(|check| check.title() == *name).map(Step::Check),
            Asked::Remedy(name) => {
                (0..self.remedies.len()).find(|remedy| self.remedy_name(*remedy) == *name).map(Step::Remedy)
            }
            Asked::Stop(name) => faults.symptom(name).map(Step::Stop),
            Asked::Symptom(_) => None,
        }
    }

    /// What a remedy is called: its task, else the cause that it mends.
    pub fn remedy_name(&self, remedy: usize) -> String {
        let cause = &self.faults().causes[self.remedies[remedy].mends[0]];
        match &cause.remedy.kind {
            RemedyKind::Task(task) => task.clone(),
            RemedyKind::Replace | RemedyKind::Setting => format!("mend {}", cause.title()),
        }
    }
}

impl Faults {
    /// The place of the symptom of that name.
    pub fn symptom(&self, name: &str) -> Option<usize> {
        self.symptoms.iter().position(|symptom| symptom.name == name)
    }

    /// The place of the cause of that title.
    pub fn cause(&self, title: &str) -> Option<usize> {
        self.causes.iter().position(|cause| cause.title() == title)
    }

    /// These faults with the grades of the shop's own; of several for one link the last holds. What names nothing here
    /// changes nothing: other machines may have it.
    pub fn graded(mut self, own: &[OwnGrade]) -> Faults {
        for OwnGrade { cause, finding, grade, .. } in own {
            let meant: Vec<usize> = (0..self.causes.len()).filter(|place| self.causes[*place].name == *cause).collect();
            if let Some(symptom) = self.symptom(finding) {
                for &place in &meant {
                    let links = self.causes[place].shows.iter_mut().filter(|(link, _)| *link == symptom);
                    links.for_each(|(_, held)| *held = *grade);
                }
            }
            for check in self.checks.iter_mut().filter(|check| check.name == *finding) {
                let links = check.tells.iter_mut().filter(|(link, _)| meant.contains(link));
                links.for_each(|(_, held)| *held = *grade);
            }
        }
        self
    }

    /// What the confirmed ones of `cases` say of the links of these faults. A case counts for its cause wherever that sits:
    /// a dry rod shows the same on either axis.
    pub fn confirmed(&self, cases: &[Case]) -> Vec<learn::Case> {
        cases.iter().flat_map(|case| self.confirmed_by(case)).collect()
    }

    fn confirmed_by(&self, case: &Case) -> Vec<learn::Case> {
        let Some(End { was: Was::Cause(title), .. }) = &case.end else { return Vec::new() };
        let Some((at, name)) = title.split_once(": ") else { return Vec::new() };
        let began = case.symptoms.iter().filter_map(|name| Some((self.symptom(name)?, 1.0)));
        let symptoms: Vec<(usize, f64)> = began
            .chain(case.found().filter_map(|(asked, answer)| match asked {
                Asked::Symptom(name) => Some((self.symptom(name)?, answer.sure()?)),
                _ => None,
            }))
            .collect();
        let checks = |here: &str| {
            let there = |asked: &Asked, answer: Answer| {
                let Asked::Check(title) = asked else { return None };
                // A check at the cause's own position is looked for at this one.
                let title = match title.split_once(": ") {
                    Some((place, check)) if place == at => format!("{here}: {check}"),
                    _ => title.clone(),
                };
                let check = self.checks.iter().position(|check| check.title() == title)?;
                Some((self.symptoms.len() + check, answer.sure()?))
            };
            case.found().filter_map(|(asked, answer)| there(asked, answer)).collect::<Vec<_>>()
        };
        let of_cause = |(place, cause): (usize, &super::Cause)| {
            let found = symptoms.iter().copied().chain(checks(&cause.at));
            let found: BTreeMap<usize, f64> = found.collect();
            let found = found.into_iter().map(|(finding, sure)| evidence(finding, sure)).collect();
            learn::Case { cause: place, found }
        };
        self.causes.iter().enumerate().filter(|(_, cause)| cause.name == name).map(of_cause).collect()
    }

    /// What the record says once this cause was mended, oldest first: that the part failed, when the fault began to show, and
    /// what was done about it. With a part that went before it failed, that it was replaced and no more.
    pub fn mended(&self, cause: usize, mending: Mending) -> [Option<Event>; 2] {
        let cause = &self.causes[cause];
        let position = || cause.at.clone();
        let failed = |mended| Event::Failed { position: position(), mode: cause.mode.clone(), found: false, mended };
        match &cause.remedy.kind {
            RemedyKind::Task(task) => {
                [Some(failed(true)), Some(Event::Done { task: task.clone(), supplies: mending.supplies })]
            }
            RemedyKind::Setting => [Some(failed(true)), None],
            RemedyKind::Replace => {
                let Mending { because, spare, .. } = mending;
                let replaced = Event::Replaced { position: position(), because, spare };
                [Some(failed(false)).filter(|_| because == Because::Failed), Some(replaced)]
            }
        }
    }
}

/// How a cause was mended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mending {
    /// Supplies used that the task does not name, by name and amount as typed.
    pub supplies: BTreeMap<String, String>,
    /// Why a part went that was replaced.
    pub because: Because,
    /// The spare of the stores that was put in.
    pub spare: Option<String>,
}
