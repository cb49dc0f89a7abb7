//! `tallow fault grade`: how often causes show what they show, as the knowledge has it, as the shop's cases have moved it,
//! and as the shop judges.

use ledger::{Ledger, NewEntry};
use serde_json::{Value, json};
use upkeep::fault::said::OwnGrade;
use upkeep::fault::{Case, Faults, Grade, learn, of};
use upkeep::{EntryId, Event, Unknown};

use super::known::grade_entries;
use super::{all, words};
use crate::cli::{self, GradeWord};
use crate::commands::record::{say_recorded, worded};
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::words::percent;

/// How often a cause shows something.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Link {
    /// The cause, without a position.
    pub(crate) cause: String,
    /// The symptom or check, without a position.
    pub(crate) finding: String,
    /// The grade of the knowledge.
    pub(crate) shipped: Grade,
    /// The shop's own, where it has one, with its entry.
    pub(crate) own: Option<(Grade, EntryId)>,
    /// The chance that is reckoned with: the grade's, as confirmed cases have moved it.
    pub(crate) chance: f64,
    /// Confirmed cases that spoke of it.
    pub(crate) cases: usize,
}

impl Link {
    /// Whether the shop has a grade of its own for it, or cases.
    pub(crate) fn is_moved(&self) -> bool {
        self.own.is_some() || 0 < self.cases
    }
}

pub(super) async fn grade(context: &Context, args: &cli::FaultGrade) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    if let cli::FaultGrade { cause: Some(cause), finding: Some(finding), grade: Some(grade), why: Some(why) } = args {
        return set(context, &ledger, cause, finding, *grade, why).await;
    }
    let links = links(&ledger).await?;
    if context.json {
        return context.out.json(&links.iter().map(shape).collect());
    }
    let moved: Vec<&Link> = links.iter().filter(|link| link.is_moved()).collect();
    if moved.is_empty() {
        return context.out.line(
            "No grade of the shop's own yet, and no confirmed case: faults go by the knowledge that comes with tallow.",
        );
    }
    let mut table = Table::new([
        ("cause", Align::Left),
        ("shows", Align::Left),
        ("known as", Align::Left),
        ("own grade", Align::Left),
        ("cases", Align::Right),
        ("counts as", Align::Right),
    ]);
    for link in moved {
        let own = link.own.map_or_else(String::new, |(grade, _)| grade.to_string());
        let cells = [
            link.cause.clone(),
            link.finding.clone(),
            link.shipped.to_string(),
            own,
            link.cases.to_string(),
            percent(link.chance),
        ];
        table.row(cells, Dress::Plain);
    }
    context.out.table(&table)?;
    context
        .out
        .prose("\n", "A case or a grade that was wrong is taken back by its entry: tallow correct ENTRY --withdraw")
}

async fn set(
    context: &Context,
    ledger: &Ledger,
    cause: &str,
    finding: &str,
    grade: GradeWord,
    why: &str,
) -> Result<(), Trouble> {
    let links = links(ledger).await?;
    let mut causes: Vec<&str> = links.iter().map(|link| link.cause.as_str()).collect();
    causes.dedup();
    let cause = (*Unknown::find("cause", cause, &causes, |name| name).map_err(Trouble::from)?).to_owned();
    let shown: Vec<&str> = links.iter().filter(|link| link.cause == cause).map(|link| link.finding.as_str()).collect();
    let finding = (*Unknown::find("symptom or check of that cause", finding, &shown, |name| name)
        .map_err(Trouble::from)?)
    .to_owned();
    let reason = worded(why, "why", "--why \"ours sing before they stick\"")?;
    let own = OwnGrade { cause, finding, grade: meant(grade), reason };
    let said = words::own_grade(&own);
    let event = Event::FaultGrade(own);
    let new = NewEntry { machine: String::new(), at: context.now, recorded: context.now, note: String::new(), event };
    let entry = ledger.append(new).await?;
    say_recorded(context, entry, context.now, &said)
}

fn meant(word: GradeWord) -> Grade {
    match word {
        GradeWord::HardlyEver => Grade::HardlyEver,
        GradeWord::Seldom => Grade::Seldom,
        GradeWord::Often => Grade::Often,
        GradeWord::NearlyAlways => Grade::NearlyAlways,
    }
}

/// All links of the builds of the shop, each once, in the order of the knowledge.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn links(ledger: &Ledger) -> Result<Vec<Link>, Trouble> {
    let (cases, own) = (all(ledger).await?, grade_entries(ledger).await?);
    let mut builds: Vec<String> = ledger.machines().await?.into_iter().map(|machine| machine.build).collect();
    builds.sort();
    builds.dedup();
    let mut links: Vec<Link> = Vec::new();
    for build in builds {
        let shipped = of(&*ledger.build(&build).await?)?;
        for link in of_build(&shipped, &own, &cases) {
            if !links.iter().any(|other| (&other.cause, &other.finding) == (&link.cause, &link.finding)) {
                links.push(link);
            }
        }
    }
    links.sort_by(|one, other| one.cause.cmp(&other.cause));
    Ok(links)
}

fn of_build(shipped: &Faults, own: &[(EntryId, OwnGrade)], cases: &[Case]) -> Vec<Link> {
    let grades: Vec<OwnGrade> = own.iter().map(|(_, own)| own.clone()).collect();
    let graded = shipped.clone().graded(&grades);
    let confirmed = graded.confirmed(cases);
    let network = learn::learned(&graded.network(&[]), &confirmed);
    let mut links = Vec::new();
    for (place, finding) in network.findings.iter().enumerate() {
        let (name, grades) = match place.checked_sub(shipped.symptoms.len()) {
            None => (shipped.symptoms[place].name.as_str(), None),
            Some(check) => (shipped.checks[check].name.as_str(), Some(&shipped.checks[check].tells)),
        };
        for &(cause, chance) in &finding.links {
            let known = &shipped.causes[cause];
            let grade = match grades {
                None => known.shows.iter().find(|(symptom, _)| *symptom == place),
                Some(tells) => tells.iter().find(|(told, _)| *told == cause),
            };
            let Some((_, grade)) = grade else { continue };
            let own = own.iter().rev().find(|(_, own)| own.cause == known.name && own.finding == name);
            let spoke = |case: &&learn::Case| {
                case.cause == cause && case.found.iter().any(|evidence| evidence.finding == place)
            };
            links.push(Link {
                cause: known.name.clone(),
                finding: name.to_owned(),
                shipped: *grade,
                own: own.map(|(entry, own)| (own.grade, *entry)),
                chance,
                cases: confirmed.iter().filter(spoke).count(),
            });
        }
    }
    links
}

fn shape(link: &Link) -> Value {
    json!({
        "cause": link.cause, "finding": link.finding, "grade": link.shipped.name(),
        "own_grade": link.own.map(|(grade, _)| grade.name()), "chance": link.chance, "cases": link.cases,
    })
}
