//! One module per command, or per few that belong together.

mod age;
pub(crate) mod before;
pub(crate) mod build;
pub(crate) mod buy;
pub(crate) mod calendar;
mod correct;
pub(crate) mod demo;
mod doctor;
pub(crate) mod due;
pub(crate) mod fault;
pub(crate) mod history;
pub(crate) mod hours;
mod import;
mod keep;
pub(crate) mod keeper;
pub(crate) mod life;
mod limit;
pub(crate) mod lives;
pub(crate) mod machine;
mod manual;
mod material;
pub(crate) mod measure;
mod meter;
pub(crate) mod money;
mod moves;
mod night;
pub(crate) mod person;
pub(crate) mod plan;
mod quantities;
mod rates;
pub(crate) mod readings;
mod record;
mod replay;
mod rhythm;
pub(crate) mod run;
mod serve;
pub(crate) mod sheet;
pub(crate) mod shop;
mod skip;
mod slot;
pub(crate) mod steps;
pub(crate) mod stores;
pub(crate) mod visit;
mod way;
mod work;

pub(crate) use life::separator;
pub(crate) use quantities::symbol;

use crate::cli::Command;
use crate::context::Context;
use crate::trouble::Trouble;

/// Carries a command out.
///
/// # Errors
/// What was refused or failed, in the user's words.
pub(crate) async fn carry_out(context: &Context, command: &Command) -> Result<(), Trouble> {
    match command {
        Command::Demo(args) => demo::demo(context, args).await,
        Command::Shop(args) => shop::shop(context, args).await,
        Command::Machine(args) => machine::machine(context, args).await,
        Command::Build(args) => build::build(context, args).await,
        Command::Material(args) => material::material(context, args).await,
        Command::Meter(args) => meter::meter(context, args).await,
        Command::Run(args) => run::run(context, args).await,
        Command::Queue(args) => run::queue(context, args).await,
        Command::Before(args) => before::before(context, args).await,
        Command::Due(args) => due::due(context, args).await,
        Command::Fault(args) => fault::fault(context, args).await,
        Command::Steps(args) => steps::steps(context, args).await,
        Command::Moves(args) => moves::moves(context, args).await,
        Command::Done(args) => record::done(context, args).await,
        Command::Replace(args) => record::replace(context, args).await,
        Command::Failure(args) => record::failure(context, args).await,
        Command::Skip(args) => skip::skip(context, args).await,
        Command::Reading(args) => record::reading(context, args).await,
        Command::Measure(args) => measure::measure(context, args).await,
        Command::HourMeter(args) => record::hour_meter(context, args).await,
        Command::Lives(args) => lives::lives(context, args).await,
        Command::Life(args) => life::life(context, args),
        Command::Plan(args) => plan::plan(context, args).await,
        Command::Rhythm(args) => rhythm::rhythm(context, args).await,
        Command::Money(args) => money::money(context, args).await,
        Command::Visit(args) => visit::visit(context, args).await,
        Command::Sheet(args) => sheet::sheet(context, args).await,
        Command::Calendar(args) => calendar::calendar(context, args).await,
        Command::Limit(args) => limit::limit(context, args).await,
        Command::Age(args) => age::age(context, args).await,
        Command::Rates(args) => rates::rates(context, args).await,
        Command::Keeper(args) => keeper::keeper(context, args).await,
        Command::Stores(args) => stores::stores(context, args).await,
        Command::History(args) => history::history(context, args).await,
        Command::Correct(args) => correct::correct(context, args).await,
        Command::Replay(args) => replay::replay(context, args).await,
        Command::Serve(args) => serve::serve(context, args).await,
        Command::Person(args) => person::person(context, args).await,
        Command::Token(args) => person::token(context, args).await,
        Command::Way(args) => way::way(context, args).await,
        Command::Import(args) => import::import(context, args).await,
        Command::Watch(args) => way::watch(context, args).await,
        Command::Work(args) => work::work(context, args).await,
        Command::Job(args) => work::job(context, args).await,
        Command::Quantities => quantities::quantities(context),
        Command::Doctor(args) => doctor::doctor(context, args).await,
        Command::Manual(args) => manual::manual(context, args),
        Command::Completions(args) => manual::completions(context, args),
    }
}
