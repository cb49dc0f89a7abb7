//! What a page tells of how long parts live: the same words and drawings as the command's, as data.

use jiff::Timestamp;
use ledger::Ledger;
use life::Level;
use upkeep::lives::{Ending, Stay, Verdict};

use super::{
    AHEAD, COMPARED, Ends, Money, Said, Shop, age_words, clock_words, ended, half_words, large_unit, law_words,
    limit_args, limit_command, one_row, paper, pooled_words, sure_words, unknown_ages, verdict_word, verdict_words,
    weighs_money, weights,
};
use crate::chart::Chart;
use crate::cli;
use crate::commands::life::chance;
use crate::trouble::Trouble;

/// Parts still there that a report lists: those most likely to fail.
const MOST_THERE: usize = 40;

/// How the parts of a kind on the machines of a build ended.
pub(crate) struct KindEnds {
    pub(crate) build: String,
    pub(crate) kind: String,
    /// Failed, replaced worn, replaced good, still there.
    pub(crate) counts: [usize; 4],
}

/// The kinds of part of which anything ended.
///
/// # Errors
/// A shop without machines, or that can't be read.
pub(crate) async fn ends_of_kinds(ledger: &Ledger, now: Timestamp) -> Result<Vec<KindEnds>, Trouble> {
    let ended = ended(ledger, now).await?;
    Ok(ended.into_iter().map(|(build, kind, Ends(counts))| KindEnds { build, kind, counts }).collect())
}

/// What is told of one kind of part on the machines of one build.
pub(crate) struct Report {
    pub(crate) build: String,
    pub(crate) kind: String,
    /// Failed, replaced worn, replaced good, still there.
    pub(crate) counts: [usize; 4],
    /// How many were of unknown age; may be empty.
    pub(crate) unknown: String,
    /// The clocks with the share of the evidence that speaks for each, and the age to which half live by it.
    pub(crate) clocks: Vec<(String, f64, String)>,
    /// How sure the clock is.
    pub(crate) sure: &'static str,
    /// The law, where there is one.
    pub(crate) law: Option<String>,
    /// Whether the machines may be taken together.
    pub(crate) alike: Option<String>,
    /// Parts still there: machine, position, age, chance to fail within four weeks.
    pub(crate) there: Vec<[String; 4]>,
    /// What is advised.
    pub(crate) verdict: String,
    /// The advice in a word or two.
    pub(crate) word: &'static str,
    /// Whether it rests on the shop's prices.
    pub(crate) weighs_money: bool,
    /// How the advice is followed.
    pub(crate) offers: Vec<Offer>,
    /// What else is to be said of that.
    pub(crate) remark: Option<String>,
    /// Probability paper, still good by age, cost by age: those that there are.
    pub(crate) charts: Vec<Chart>,
}

/// A limit that would make advice the shop's own.
pub(crate) struct Offer {
    /// The command, as it is typed.
    pub(crate) command: String,
    /// The same as it is carried out.
    pub(crate) limit: cli::Limit,
}

/// What is told of a kind of part, for each build that has it.
///
/// # Errors
/// A kind that no machine has; a shop that can't be read.
pub(crate) async fn reports(ledger: &Ledger, kind: &str, now: Timestamp) -> Result<Vec<Report>, Trouble> {
    let mut shop = Shop::new(ledger, ledger.machines().await?).await?;
    let kinds = shop.named(kind)?;
    shop.read_ends(ledger, &kinds, now).await?;
    let rates = ledger.rates().await?;
    let args = cli::Lives {
        kind: None,
        build: None,
        planned_cost: None,
        failure_cost: None,
        level: 0.9,
        csv: false,
        svg: None,
        only: None,
    };
    let level = Level::new(args.level).map_err(|error| Trouble::refused(error.to_string()))?;
    let of = |(build, kind): &(String, String)| {
        let lives = shop.lives(build, kind, now);
        Said { shop: &shop, build, costs: Money::new(&args, &rates, &lives), level, lives }.report()
    };
    kinds.iter().map(of).collect()
}

impl Said<'_> {
    fn report(&self) -> Result<Report, Trouble> {
        let (lives, materials) = (&self.lives, &self.shop.materials);
        let counts = Ends::ORDER.map(|end| lives.count(end));
        let (failed, told) = (counts[0], lives.best_clock());
        let compared = if COMPARED <= failed { &lives.told[..] } else { &[] };
        let mut report = Report {
            build: self.build.to_owned(),
            kind: lives.kind.clone(),
            counts,
            unknown: unknown_ages(lives.of_unknown_age()),
            clocks: compared.iter().map(|told| (one_row(told), told.share, half_words(told))).collect(),
            sure: sure_words(lives),
            law: match told.filter(|_| 0 < failed) {
                Some(told) => law_words(told, self.level)?,
                None => None,
            },
            alike: pooled_words(lives, materials).filter(|_| 0 < failed),
            there: self.there(),
            verdict: String::new(),
            word: "no advice",
            weighs_money: false,
            offers: Vec::new(),
            remark: None,
            charts: Vec::new(),
        };
        let Some(advice) = lives.advice(self.costs.costs, self.level, materials) else { return Ok(report) };
        report.verdict = verdict_words(&advice, &self.costs, self.level);
        report.word = verdict_word(&advice.verdict);
        report.weighs_money = weighs_money(&advice.verdict);
        if let Verdict::Replace { best, .. } = &advice.verdict {
            for wanted in &advice.limits {
                let limits = self
                    .machines_for(&wanted.task)
                    .into_iter()
                    .map(|machine| limit_args(wanted, machine, advice.failures));
                report.offers.extend(limits.map(|limit| Offer { command: limit_command(&limit), limit }));
            }
            report.remark = match (advice.limits.is_empty(), advice.limits.iter().any(|wanted| wanted.is_carried)) {
                (true, _) => Some(format!(
                    "No task of the build puts in a new one by a limit into which that age could be carried, so none can be set: \
                     write {}{} into the diary.",
                    age_words(&advice.clock, best.age),
                    weights(&advice.clock)
                )),
                (false, true) => Some(format!(
                    "The age is by {}; the limit is carried over by the mean paces.",
                    clock_words(&advice.clock)
                )),
                (false, false) => None,
            };
        }
        if let Some(told) = told
            && let Ok(fit) = &told.fit
        {
            let (size, symbol) = large_unit(&told.clock);
            let unit = told
                .clock
                .quantity()
                .map_or_else(|| symbol.to_owned(), |of| format!("{of}, {symbol}{}", weights(&told.clock)));
            report.charts.push(paper(fit, &told.lives, self.level, told.few())?.x_in(size, unit));
        }
        report.charts.extend(self.charts(&advice)?);
        Ok(report)
    }

    /// The parts still there, those most likely to fail first.
    fn there(&self) -> Vec<[String; 4]> {
        let (lives, materials) = (&self.lives, &self.shop.materials);
        let Some(told) = lives.best_clock() else { return Vec::new() };
        let there = lives.stays.iter().filter(|stay| stay.end == Ending::StillThere);
        let mut chances: Vec<(&Stay, f64)> =
            there.filter_map(|stay| Some((stay, lives.fails_within(stay, AHEAD, materials)?))).collect();
        chances.sort_by(|(_, one), (_, other)| other.total_cmp(one));
        let row = |(stay, soon): &(&Stay, f64)| {
            let age = age_words(&told.clock, told.clock.age_of(stay, materials));
            [stay.machine.clone(), stay.position.clone(), age, chance(*soon)]
        };
        chances.iter().take(MOST_THERE).map(row).collect()
    }
}
