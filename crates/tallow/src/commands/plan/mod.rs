//! `tallow plan`: the visits of the days to come, as cheap as they can be made, with the reasons.

mod assembled;
mod keep;
mod outlook;
mod proposal;
mod shape;

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, Instant};

use jiff::civil::Date;
use upkeep::MachineState;
use upkeep::agenda::{Agenda, Held, Spent};
use upkeep::build::Task;
use upkeep::rounds::{self, Effort, Placed, Plan, Reason, Unplaced};
use upkeep::shop::Visit;
use upkeep::stores::supplied;

pub(crate) use assembled::{Assembled, Risks};
pub(crate) use keep::{Becomes, Change, Changes, Telling, keep};
pub(crate) use outlook::{Outlook, Price, ROUND_DAYS};
pub(crate) use proposal::Proposal;

use crate::cli;
use crate::commands::stores::told;
use crate::context::{self, Context};
use crate::out::Dress;
use crate::trouble::Trouble;
use crate::words;

pub(crate) async fn plan(context: &Context, args: &cli::Plan) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let shop = Assembled::read(context, &ledger).await?;
    if shop.states.is_empty() {
        return Err(context::no_machine());
    }
    let risks = Risks::read(context, &ledger, &shop.materials).await?;
    let round = Round::of(&shop, &risks, usize::from(args.days), Duration::from_secs(u64::from(args.seconds)))?;
    let changes = if args.keep { Some(keep(context, &ledger, &Telling::of(&shop, &round)).await?) } else { None };
    if context.json {
        return context.out.json(&shape::shape(&shop, &round, changes.as_ref()));
    }
    let screen = Screen { context, shop: &shop, round: &round };
    screen.show(args.why)?;
    match changes {
        Some(changes) => context.out.line(format!("\n{changes}")),
        None => context.out.line("\nTo tell people, and keep it when planning anew: tallow plan --keep"),
    }
}

/// A plan with what it is a plan of, and what two simple rules would cost.
pub(crate) struct Round {
    /// What is open.
    pub(crate) agenda: Agenda,
    /// The plan.
    pub(crate) plan: Plan,
    /// Each task on its own day.
    pub(crate) on_due_days: Plan,
    /// Everything of a machine in one visit.
    pub(crate) at_once: Plan,
}

impl Round {
    /// Plans `days` days within about `time`. The same shop gives the same plan, unless time runs out.
    ///
    /// # Errors
    /// A shop that the planner can't hold.
    pub(crate) fn of(shop: &Assembled, risks: &Risks, days: usize, time: Duration) -> Result<Round, Trouble> {
        let mut agenda = shop.agenda(risks, days);
        agenda.problem.check().map_err(|wrong| Trouble::refused(wrong.to_string()))?;
        let start = Instant::now();
        let effort = Effort { stop: &|| time <= start.elapsed(), ..Effort::default() };
        let mut plan = rounds::plan(&agenda.problem, &effort);
        // What waits for a visit runs after it, and then keeps other visits off.
        let states: Vec<&MachineState> = shop.states.iter().collect();
        for _ in 0..RELEASES {
            if !agenda.release(&states, &plan) {
                break;
            }
            plan = rounds::plan(&agenda.problem, &effort);
        }
        let (on_due_days, at_once) = (rounds::on_due_days(&agenda.problem), rounds::monthly(&agenda.problem));
        Ok(Round { agenda, plan, on_due_days, at_once })
    }

    /// What no plan can cost less than, in money, and the share of this one's cost that may be saved at most; `None` where work
    /// that may injure is late.
    pub(super) fn bound(&self) -> Option<(f64, f64)> {
        let (bound, money) = (self.agenda.bound(&self.plan)?, self.agenda.spent(&self.plan).money);
        Some((bound, if 0.0 < money { (money - bound).max(0.0) / money } else { 0.0 }))
    }

    /// The day of that number, from 0 for today.
    pub(crate) fn date(&self, day: usize) -> Date {
        upkeep::days_after(self.agenda.today, day)
    }

    /// How long a visit takes in the order in which its tasks are done, min.
    pub(crate) fn minutes(&self, shop: &Assembled, visit: &Placed) -> f64 {
        let build = &shop.states[visit.machine].build;
        let jobs = visit.jobs.iter().flat_map(|&job| &self.agenda.tasks[visit.machine][job]);
        let tasks: Vec<&Task> = jobs.map(|&task| &build.tasks[task]).collect();
        upkeep::visit::minutes(build, &tasks).ceil()
    }

    /// The names of the tasks of a visit, in the build's order.
    pub(crate) fn tasks<'a>(&self, shop: &'a Assembled, visit: &Placed) -> Vec<&'a str> {
        let jobs = visit.jobs.iter().flat_map(|&job| &self.agenda.tasks[visit.machine][job]);
        let mut tasks: Vec<usize> = jobs.copied().collect();
        tasks.sort_unstable();
        let build = &shop.states[visit.machine].build;
        tasks.into_iter().map(|task| build.tasks[task].name.as_str()).collect()
    }

    /// The machine that a visit is to.
    pub(crate) fn machine(&self, visit: &Placed) -> &str {
        &self.agenda.problem.machines[visit.machine].name
    }

    /// What people would be told of a visit.
    pub(crate) fn visit(&self, shop: &Assembled, placed: &Placed, is_locked: bool) -> Visit {
        Visit {
            day: self.date(placed.day),
            keeper: self.agenda.problem.keepers[placed.keeper].name.clone(),
            tasks: self.tasks(shop, placed).into_iter().map(str::to_owned).collect(),
            minutes: self.minutes(shop, placed),
            is_locked,
            took: None,
        }
    }

    /// What a plan of these days costs, and by how much it leaves work that may injure late.
    pub(crate) fn spent(&self, plan: &Plan, currency: &str) -> String {
        spent_words(self.agenda.spent(plan), currency)
    }

    /// What doing a job of a visit costs today, and on the days after.
    pub(crate) fn why(&self, visit: &Placed, job: usize, currency: &str) -> String {
        why_words(&self.agenda, visit.machine, job, visit.day, currency)
    }

    /// What could not be placed though it should be, by reason and machine, so that one reason for all is told once.
    pub(crate) fn unplaced(&self, shop: &Assembled) -> Vec<(String, BTreeMap<usize, Vec<&str>>)> {
        let mut by_reason: Vec<(String, BTreeMap<usize, Vec<&str>>)> = Vec::new();
        for unplaced in self.worst_first(shop) {
            let reason = reason_words(&unplaced.why, shop, &self.agenda, unplaced.machine);
            let place = by_reason.iter().position(|(other, _)| *other == reason).unwrap_or_else(|| {
                by_reason.push((reason, BTreeMap::new()));
                by_reason.len() - 1
            });
            let job = &self.agenda.problem.machines[unplaced.machine].jobs[unplaced.job].name;
            by_reason[place].1.entry(unplaced.machine).or_default().push(job);
        }
        by_reason
    }

    /// What could not be placed: what may injure first, then what may damage, and so on.
    fn worst_first(&self, shop: &Assembled) -> Vec<&Unplaced> {
        let worst = |unplaced: &&Unplaced| {
            let tasks = &shop.states[unplaced.machine].build.tasks;
            let group = &self.agenda.tasks[unplaced.machine][unplaced.job];
            Reverse(group.iter().map(|&task| tasks[task].neglect).max())
        };
        let mut all: Vec<&Unplaced> = self.plan.unplaced.iter().collect();
        all.sort_by_key(worst);
        all
    }
}

/// What doing a job costs today, on the days after, and on `on_day`.
fn why_words(agenda: &Agenda, machine: usize, job: usize, on_day: usize, currency: &str) -> String {
    let money = |day: usize| {
        let cost = agenda.cost_on(machine, job, day);
        let late = if 0 < cost.days_late { " and danger" } else { "" };
        format!("{}{late}", words::money(cost.money, currency))
    };
    let is_urgent = agenda.problem.machines[machine].jobs[job].is_urgent;
    let urgent = if is_urgent { "before all else, for neglect of it may injure or damage; " } else { "" };
    format!(
        "{urgent}today {}, a day later {}, a week later {}; on this day {}",
        money(0),
        money(1),
        money(7),
        money(on_day)
    )
}

/// Money, and by how much work that may injure is late.
pub(crate) fn spent_words(spent: Spent, currency: &str) -> String {
    let money = words::money(spent.money, currency);
    match spent.days_late {
        0 => money,
        days => format!("{money} and leave work that may injure late, by {} in all", words::count(days as u64, "days")),
    }
}

/// How often it is planned anew at most because machines are released on other days than before.
const RELEASES: usize = 3;

struct Screen<'a> {
    context: &'a Context,
    shop: &'a Assembled,
    round: &'a Round,
}

impl Screen<'_> {
    fn show(&self, why: bool) -> Result<(), Trouble> {
        let (out, round) = (&self.context.out, self.round);
        let problem = &round.agenda.problem;
        out.line(format!("{} from {}\n", words::within_days(problem.days), words::long_day(round.agenda.today)))?;
        self.forbidden()?;
        if round.plan.visits.is_empty() && round.plan.unplaced.is_empty() {
            out.line("No visit is worth making in these days.")?;
        }
        for visit in &round.plan.visits {
            self.visit(visit, why)?;
        }
        self.unplaced()?;
        self.held()?;
        self.supplies()?;
        self.costs()
    }

    /// Machines that must not run before something is done.
    fn forbidden(&self) -> Result<(), Trouble> {
        let out = &self.context.out;
        for (machine, (state, forbidden)) in self.shop.states.iter().zip(&self.round.agenda.forbidden).enumerate() {
            if forbidden.is_empty() {
                continue;
            }
            let tasks: Vec<&str> = forbidden.iter().map(|&task| state.build.tasks[task].name.as_str()).collect();
            let text = format!("{} is not to be run until this is done: {}.", state.name, tasks.join("; "));
            out.caution(upkeep::build::SignalWord::Warning, &text)?;
            let held_up = |unplaced: &&Unplaced| {
                let group = &self.round.agenda.tasks[unplaced.machine][unplaced.job];
                unplaced.machine == machine && group.iter().any(|task| forbidden.contains(task))
            };
            if let Some(unplaced) = self.round.plan.unplaced.iter().find(held_up) {
                let why = reason_words(&unplaced.why, self.shop, &self.round.agenda, machine);
                out.prose("  ", &format!("No day is planned for it: {why}."))?;
            }
        }
        if self.round.agenda.forbidden.iter().any(|forbidden| !forbidden.is_empty()) { out.line("") } else { Ok(()) }
    }

    fn visit(&self, visit: &Placed, why: bool) -> Result<(), Trouble> {
        let (out, round) = (&self.context.out, self.round);
        let problem = &round.agenda.problem;
        let day = words::weekday(round.date(visit.day), round.agenda.today);
        let (keeper, machine) = (&problem.keepers[visit.keeper].name, &problem.machines[visit.machine].name);
        out.dressed_line(
            &format!("{day}, {keeper}: {machine}, {:.0} min", round.minutes(self.shop, visit)),
            Dress::Bold,
        )?;
        for &job in &visit.jobs {
            for &task in &round.agenda.tasks[visit.machine][job] {
                let share = round.agenda.ahead[visit.machine].shares[task][visit.day];
                let name = &self.shop.states[visit.machine].build.tasks[task].name;
                out.prose("  ", &format!("{name}, {} used by then", words::percent(share)))?;
            }
            if why {
                out.prose("      ", &round.why(visit, job, &self.shop.currency))?;
            }
        }
        Ok(())
    }

    fn unplaced(&self) -> Result<(), Trouble> {
        let out = &self.context.out;
        if self.round.plan.unplaced.is_empty() {
            return Ok(());
        }
        out.line("\nNot in the plan, though it should be:")?;
        for (reason, machines) in self.round.unplaced(self.shop) {
            for (machine, jobs) in machines {
                let name = &self.round.agenda.problem.machines[machine].name;
                out.prose("  ", &format!("{name}: {}", jobs.join("; ")))?;
            }
            out.prose("  → ", &reason)?;
        }
        Ok(())
    }

    /// What locked visits leave past its limit, though neglect of it may injure or damage.
    fn held(&self) -> Result<(), Trouble> {
        let out = &self.context.out;
        if self.round.agenda.held.is_empty() {
            return Ok(());
        }
        out.line("\nLeft past its limit, for its visit is locked on a later day:")?;
        for held in &self.round.agenda.held {
            let state = &self.shop.states[held.machine];
            let text = held_words(held, self.round.agenda.today);
            out.prose("  ", &format!("{}: {}, {text}", state.name, state.build.tasks[held.task].name))?;
        }
        out.prose("  → ", "neglect of it may injure or damage; have it done before: tallow visit move NUMBER --to DAY")
    }

    /// What the planned visits need of which the stores have too little, or which they do not count.
    fn supplies(&self) -> Result<(), Trouble> {
        let (out, today) = (&self.context.out, self.round.agenda.today);
        let mut sources = self.shop.sources.clone();
        let mut short: BTreeMap<(String, Date), String> = BTreeMap::new();
        let mut uncounted: BTreeSet<String> = BTreeSet::new();
        for visit in &self.round.plan.visits {
            let tasks = &self.shop.states[visit.machine].build.tasks;
            let jobs = visit.jobs.iter().flat_map(|&job| &self.round.agenda.tasks[visit.machine][job]);
            let needs = jobs.flat_map(|&task| &tasks[task].uses);
            let day = self.round.date(visit.day);
            for one in supplied(needs, day, &mut sources, today) {
                if one.there.is_none() {
                    uncounted.insert(one.item.clone());
                } else if 0.0 < one.lacking() {
                    let lacking = told(one.lacking(), &one.unit);
                    let name = &self.shop.states[visit.machine].name;
                    let text = format!("{name}, {}: {lacking} of {} too little", words::weekday(day, today), one.item);
                    short.insert((one.item, day), text);
                }
            }
        }
        if !short.is_empty() {
            out.line("\nOf what these visits use there is too little:")?;
            short.values().try_for_each(|text| out.prose("  ", text))?;
            out.line("  → what to order: tallow stores buy")?;
        }
        if uncounted.is_empty() {
            return Ok(());
        }
        let names: Vec<String> = uncounted.into_iter().collect();
        let text = format!(
            "These visits use what the stores do not count, so nobody knows whether it is there: {}. To count it: tallow stores \
             count ITEM AMOUNT",
            names.join("; ")
        );
        out.line("")?;
        out.prose("", &text)
    }

    /// Work that may injure and that a plan leaves late: which, where, and by how many days.
    fn late(&self) -> Vec<String> {
        let (agenda, plan) = (&self.round.agenda, &self.round.plan);
        let mut all = Vec::new();
        for (machine, jobs) in agenda.late.iter().enumerate() {
            for (job, late) in jobs.iter().enumerate() {
                let is_in = |visit: &&Placed| visit.machine == machine && visit.jobs.contains(&job);
                let day = plan.visits.iter().find(is_in).map(|visit| visit.day);
                let work = &agenda.problem.machines[machine];
                let when = match day {
                    Some(day) => format!("done on {}", words::weekday(self.round.date(day), agenda.today)),
                    None => "left".to_owned(),
                };
                let days = late[day.unwrap_or(agenda.problem.days)];
                if 0 < days {
                    let days = words::count(days as u64, "days");
                    all.push(format!("{}: {} ({when}, {days} late)", work.name, work.jobs[job].name));
                }
            }
        }
        all
    }

    fn costs(&self) -> Result<(), Trouble> {
        let (out, plan) = (&self.context.out, &self.round.plan);
        if plan.visits.is_empty() {
            return Ok(());
        }
        out.line("")?;
        let bound = match self.round.bound() {
            Some((bound, gap)) => format!(
                "No plan can cost less than {} (a gap of {:.1} %).",
                words::money(bound, &self.shop.currency),
                100.0 * gap
            ),
            None => {
                let late = self.late();
                let named = if late.is_empty() { String::new() } else { format!(" Late is {}.", late.join("; ")) };
                format!("Such work goes before money, but there was no earlier day for it.{named}")
            }
        };
        out.prose(
            "",
            &format!(
                "Beside the work itself this plan would cost {} (going to the machines, their standing still, work done early and \
                 risk taken late). {bound}",
                self.round.spent(plan, &self.shop.currency)
            ),
        )?;
        out.prose(
            "",
            &format!(
                "Each task on its own day would cost {}, everything of a machine at once {}.",
                self.round.spent(&self.round.on_due_days, &self.shop.currency),
                self.round.spent(&self.round.at_once, &self.shop.currency)
            ),
        )?;
        let left = plan.unplaced.len() as u64;
        if 0 < left {
            let left = words::count(left, "tasks");
            out.prose(
                "",
                &format!(
                    "In all three, work that is left counts as done after these days; here {left} could not be placed."
                ),
            )?;
        }
        if self.shop.assumed.is_empty() { Ok(()) } else { out.prose("", &words::assumed(&self.shop.assumed)) }
    }
}

/// From when on a task is past its limit, and when it will be done.
pub(super) fn held_words(held: &Held, today: Date) -> String {
    let day = |day: Date| words::weekday(day, today);
    let past = if held.past_from == today {
        "past its limit".to_owned()
    } else {
        format!("past its limit from {} on", day(held.past_from))
    };
    format!("{past}; its locked visit is on {}, {}", day(held.day), held.keeper)
}

/// Why a job could not be placed, and the cheapest way out.
pub(super) fn reason_words(why: &Reason, shop: &Assembled, agenda: &Agenda, machine: usize) -> String {
    let problem = &agenda.problem;
    match why {
        Reason::NoKeeper => "the shop has no keeper; add one: tallow keeper set NAME --minutes \"mon-fri 60\"".to_owned(),
        Reason::NoSkill => {
            "no keeper may do it; somebody qualified can be added: tallow keeper set NAME --minutes \"fri 60\" --skill qualified"
                .to_owned()
        }
        Reason::NoDayLongEnough { longest: 0.0, .. } => {
            "whoever may do it is away in these days, or has no minutes for care".to_owned()
        }
        Reason::NoDayLongEnough { needed, longest } => format!(
            "it takes {:.0} min with its visit, and no keeper who may do it has more than {:.0} min on a day; one long day would do",
            needed.ceil(),
            longest.floor()
        ),
        Reason::NoWindow { needed, longest } => format!(
            "it takes {:.0} min with its visit, and the queue leaves the machine free for {:.0} min at most; queue less on one day",
            needed.ceil(),
            longest.floor()
        ),
        Reason::NoSupply { stock, needed, most } => {
            let name = &problem.stocks[*stock].name;
            let unit = shop.items.iter().find(|item| item.name == *name).map_or("", |item| item.unit.as_str());
            let amount = |amount: &f64| format!("{amount} {unit}").trim_end().to_owned();
            // Enough comes after the last day, or on one that is too late for whoever would go.
            let enough = shop.sources.iter().find(|(item, _)| item.eq_ignore_ascii_case(name));
            let comes = enough.and_then(|(_, source)| source.shelf.first_day_with(*needed, agenda.today));
            let comes = comes.filter(|day| agenda.today < *day);
            let what_to_do = match comes {
                Some(day) => format!("what is on its way comes on {}, too late for these days", words::weekday(day, agenda.today)),
                None => "tallow stores buy".to_owned(),
            };
            format!("it uses {} of {name}, and there is {}; {what_to_do}", amount(needed), amount(most))
        }
        Reason::Cycle => "it waits for itself through other tasks; mend \"after\" in the build".to_owned(),
        Reason::Waits { job } => format!("it waits for \"{}\", which is not in the plan either", problem.machines[machine].jobs[*job].name),
        Reason::Dear => "on the days on which there is room, it would cost more than leaving it until after these days".to_owned(),
        Reason::Crowded => "other work needs the same minutes or supplies more; more of them on one day would do".to_owned(),
    }
}
