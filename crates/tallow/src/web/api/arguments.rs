//! The command line's own parameters, as programs give them: their names, kinds and helps, and a line of words made of values.
//!
//! A value can't become an option: it stands behind its option's `=`, or after `--`.

use std::any::TypeId;
use std::path::PathBuf;

use clap::{Arg, ArgAction, Command, CommandFactory};
use serde_json::{Map, Value};

use super::Given;
use super::forms::Form;
use super::routes::{Does, Place, Route, Text, Within};
use crate::cli::Cli;
use crate::trouble::Trouble;

/// A parameter of a command.
pub(super) struct Argument {
    /// Its name: the option's, or the place's.
    pub(super) name: String,
    /// What it takes.
    pub(super) kind: Kind,
    /// What it means.
    pub(super) help: String,
    /// Whether it must be given.
    pub(super) is_required: bool,
    /// Whether it may be given several times.
    pub(super) is_many: bool,
    /// How many times it must be given, where that is one figure.
    pub(super) times: Option<usize>,
    /// Its bounds, where the route has some.
    pub(super) within: Option<&'static Within>,
    /// The words that it takes; empty for any.
    pub(super) choices: Vec<String>,
    id: String,
    is_option: bool,
}

/// What a parameter takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Text,
    Number,
    Whole,
    Boolean,
}

/// A route's command, as the command line defines it.
pub(super) fn command(route: &Route) -> Command {
    let of = |command: Command, word: &&str| {
        // OK because a test looks for each route's command.
        command.find_subcommand(word).cloned().unwrap_or_else(|| panic!("no command {word}"))
    };
    route.words.iter().fold(Cli::command(), of)
}

/// The parameters that a route offers: all of its command's but those that name files, which nobody may over the network.
pub(super) fn arguments(route: &Route) -> Vec<Argument> {
    let is_offered = |argument: &Argument| !route.without.contains(&argument.id.as_str());
    let mut arguments: Vec<Argument> = harmless(route).into_iter().filter(is_offered).collect();
    match route.text {
        Text::None => {}
        Text::Alone => arguments.push(Argument::text(true)),
        Text::InsteadOf(name) => {
            arguments.iter_mut().filter(|argument| argument.name == name).for_each(|argument| {
                argument.is_required = false;
                argument.help = "A known build".to_owned();
            });
            arguments.push(Argument::text(false));
        }
    }
    arguments
}

/// Whether a route's command does nothing without a file.
pub(super) fn needs_file(route: &Route) -> bool {
    command(route).get_positionals().any(|arg| names_file(arg) && arg.is_required_set())
}

fn names_file(arg: &Arg) -> bool {
    arg.get_value_parser().type_id() == TypeId::of::<PathBuf>()
}

/// All parameters of a route's command but those that name files; in the places the route's own, where it has some.
fn harmless(route: &Route) -> Vec<Argument> {
    let command = command(route);
    let all = command.get_arguments().filter(|arg| !names_file(arg));
    let own = route.places.iter().map(Argument::at);
    let theirs = all.filter(|arg| route.places.is_empty() || !arg.is_positional()).map(Argument::of);
    own.chain(theirs)
        .map(|argument| {
            let within = route.within.iter().find(|within| within.name == argument.name);
            Argument { within, ..argument }
        })
        .collect()
}

/// Refuses parameters that a route does not offer.
///
/// # Errors
/// The first of them.
pub(super) fn check(route: &Route, given: &Given) -> Result<(), Trouble> {
    let arguments = arguments(route);
    let stranger = given.iter().find(|(name, _)| !arguments.iter().any(|argument| argument.name == *name));
    stranger.map_or(Ok(()), |(name, _)| Err(unknown(route, name)))
}

impl Argument {
    fn of(arg: &Arg) -> Argument {
        let parser = arg.get_value_parser().type_id();
        let whole = [TypeId::of::<i64>(), TypeId::of::<u16>(), TypeId::of::<u32>()];
        let kind = match arg.get_action() {
            ArgAction::SetTrue => Kind::Boolean,
            _ if parser == TypeId::of::<f64>() => Kind::Number,
            _ if whole.iter().any(|whole| parser == *whole) => Kind::Whole,
            _ => Kind::Text,
        };
        let choices = match kind {
            Kind::Text => arg.get_possible_values().iter().map(|value| value.get_name().to_owned()).collect(),
            _ => Vec::new(),
        };
        Argument {
            name: arg.get_long().unwrap_or(arg.get_id().as_str()).to_owned(),
            kind,
            help: arg.get_help().map(ToString::to_string).unwrap_or_default(),
            is_required: arg.is_required_set(),
            is_many: matches!(arg.get_action(), ArgAction::Append),
            times: arg.get_num_args().map(|range| range.min_values()).filter(|&times| 1 < times),
            within: None,
            choices,
            id: arg.get_id().to_string(),
            is_option: arg.get_long().is_some(),
        }
    }

    /// A place of the command, as the route has it.
    fn at(place: &Place) -> Argument {
        Argument {
            name: place.name.to_owned(),
            kind: Kind::Text,
            help: place.help.to_owned(),
            is_required: place.is_required,
            is_many: false,
            times: None,
            within: None,
            choices: Vec::new(),
            id: place.name.to_owned(),
            is_option: false,
        }
    }

    /// The text of a build.
    fn text(is_required: bool) -> Argument {
        let help = if is_required { "A build's text" } else { "A build's text, in place of a known build" };
        Argument::at(&Place { name: "text", help, is_required })
    }
}

/// The members of a JSON object as parameters; null says nothing.
///
/// # Errors
/// A member that is of none of the parameters' kinds.
pub(super) fn given(route: &Route, members: Map<String, Value>) -> Result<Given, Trouble> {
    let arguments = arguments(route);
    let mut given = Given::new();
    for (name, value) in members {
        let Some(argument) = arguments.iter().find(|argument| argument.name == name) else {
            return Err(unknown(route, &name));
        };
        match value {
            Value::Null => {}
            Value::Array(values) if argument.is_many => {
                for value in values {
                    given.push((name.clone(), argument.words(&value)?));
                }
            }
            value => given.push((name, argument.words(&value)?)),
        }
    }
    Ok(given)
}

impl Argument {
    fn words(&self, value: &Value) -> Result<String, Trouble> {
        match (self.kind, value) {
            (Kind::Text, Value::String(text)) => Ok(text.clone()),
            (Kind::Number | Kind::Whole, Value::Number(number)) => Ok(number.to_string()),
            (Kind::Boolean, Value::Bool(is)) => Ok(is.to_string()),
            (kind, value) => {
                let wanted = match kind {
                    Kind::Text => "text",
                    Kind::Number => "a number",
                    Kind::Whole => "a whole number",
                    Kind::Boolean => "true or false",
                };
                Err(Trouble::refused(format!("\"{}\" can't be {value}", self.name)).help(format!("give {wanted}")))
            }
        }
    }
}

impl Argument {
    /// Refuses values that are too many or too few, and numbers outside of the route's bounds.
    fn check(&self, values: &[&String]) -> Result<(), Trouble> {
        let name = &self.name;
        let wrong = |value: &str, help: String| Trouble::refused(format!("\"{name}\" can't be \"{value}\"")).help(help);
        if 1 < values.len() && !self.is_many {
            return Err(Trouble::refused(format!("\"{name}\" was given {} times", values.len())).help("give it once"));
        }
        // What the command line can't miss, since it knows no such place.
        if values.is_empty() && self.is_required && !self.is_option {
            return Err(Trouble::refused(format!("\"{name}\" is missing")).help(format!("it is: {}", self.help)));
        }
        if let Some(times) = self.times.filter(|times| !values.is_empty() && values.len() != *times) {
            return Err(
                Trouble::refused(format!("\"{name}\" was given {} values", values.len())).help(format!("give {times}"))
            );
        }
        for value in values {
            if self.times.is_some() && value.parse::<f64>().is_err() {
                return Err(wrong(value, "give a number".to_owned()));
            }
            if let Some(Within { from, to, .. }) = self.within
                && !value.parse().is_ok_and(|number: u16| (*from..=*to).contains(&number))
            {
                return Err(wrong(value, format!("give a whole number from {from} to {to}")));
            }
        }
        Ok(())
    }
}

fn unknown(route: &Route, name: &str) -> Trouble {
    let names: Vec<String> = arguments(route).into_iter().map(|argument| argument.name).collect();
    let has = if names.is_empty() { "it has none".to_owned() } else { format!("it has: {}", names.join(", ")) };
    Trouble::refused(format!("{} has no parameter \"{name}\"", route.path())).help(has)
}

/// The command line that gives a route's command with these values, and the file that came along by its name, in a form.
///
/// # Errors
/// A parameter given more or less often than it may be; a value that can't stand there.
pub(super) fn command_line(
    route: &Route,
    given: &Given,
    file: Option<&str>,
    form: Form,
) -> Result<Vec<String>, Trouble> {
    let mut line: Vec<String> = ["tallow"].iter().chain(route.words).map(|&word| word.to_owned()).collect();
    let mut places = Vec::new();
    let mut is_left_out = None;
    for argument in &harmless(route) {
        let name = &argument.name;
        let mut values: Vec<&String> = given.iter().filter(|(key, _)| key == name).map(|(_, value)| value).collect();
        let usual = argument.within.map(|within| within.usual.to_string());
        values.extend(usual.as_ref().filter(|_| values.is_empty()));
        argument.check(&values)?;
        if !argument.is_option {
            if let (false, Some(before), true) = (values.is_empty(), &is_left_out, route.places.is_empty()) {
                return Err(Trouble::refused(format!("\"{name}\" was given without \"{before}\"")).help("give both"));
            }
            is_left_out = is_left_out.or(Some(name.clone()).filter(|_| values.is_empty()));
            places.extend(values.into_iter().cloned());
            continue;
        }
        if argument.times.is_some() {
            // OK behind a blank: each is a number, which no option is.
            line.extend(values.first().map(|_| format!("--{name}")));
            line.extend(values.into_iter().cloned());
            continue;
        }
        for value in values {
            match (argument.kind, value.as_str()) {
                (Kind::Boolean, "true" | "") => line.push(format!("--{name}")),
                (Kind::Boolean, "false") => {}
                (Kind::Boolean, _) => {
                    return Err(Trouble::refused(format!("\"{name}\" can't be \"{value}\"")).help("give true or false"));
                }
                _ => line.push(format!("--{name}={value}")),
            }
        }
    }
    if matches!(route.does, Does::TakesFile(_)) || route.text == Text::Alone {
        places.extend(file.map(str::to_owned));
    }
    line.extend(form.word());
    if !places.is_empty() {
        line.push("--".to_owned());
        line.extend(places);
    }
    Ok(line)
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::super::forms::{DRAWING, JSON};
    use super::super::routes::{ROUTES, Taken};
    use super::*;

    fn route(words: &[&str], does: Does) -> &'static Route {
        ROUTES.iter().find(|route| route.words == words && route.does == does).unwrap()
    }

    fn pairs(pairs: &[(&str, &str)]) -> Given {
        pairs.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect()
    }

    #[test]
    fn every_route_is_a_command_and_takes_no_path() {
        for route in ROUTES {
            for argument in arguments(route) {
                let is_file =
                    ["file", "files", "svg", "html", "out", "certificate", "key"].contains(&argument.name.as_str());
                assert!(!is_file, "{} offers {}", route.path(), argument.name);
                assert!(!argument.help.is_empty(), "{} says nothing of {}", route.path(), argument.name);
            }
        }
    }

    #[test]
    fn no_value_becomes_an_option() {
        let done = route(&["done"], Does::Records);
        for value in ["--json", "--shop=/etc/passwd", "-h", "--", "=", "-", "--note=x"] {
            let line =
                command_line(done, &pairs(&[("task", value), ("on", value), ("note", value)]), None, JSON).unwrap();
            let cli = Cli::try_parse_from(line).unwrap();
            let crate::cli::Command::Done(done) = cli.command else { panic!("another command") };
            assert_eq!([&done.task, &done.occasion.on, &done.occasion.note], [value; 3]);
            assert!(!cli.json && cli.shop.as_deref() != Some("/etc/passwd"));
        }
    }

    #[test]
    fn what_there_is_not_is_refused_by_its_name() {
        let due = route(&["due"], Does::Reads);
        for name in ["shop", "json", "now", "help", "svg", "Days", ""] {
            let refused = check(due, &pairs(&[(name, "x")])).unwrap_err();
            assert!(refused.what().contains(&format!("\"{name}\"")), "{refused}");
        }
        assert!(command_line(due, &pairs(&[("days", "1"), ("days", "2")]), None, JSON).is_err());
        assert!(command_line(due, &pairs(&[("all", "perhaps")]), None, JSON).is_err());
    }

    #[test]
    fn a_file_comes_by_its_name_alone() {
        let run = route(&["run"], Does::TakesFile(Taken::Print));
        assert!(check(run, &pairs(&[("file", "/etc/passwd")])).is_err());
        let given = pairs(&[("on", "bowline"), ("material", "PLA")]);
        let line = command_line(run, &given, Some("--rib.gcode"), JSON).unwrap();
        assert_eq!(line, ["tallow", "run", "--on=bowline", "--material=PLA", "--", "--rib.gcode"]);
    }

    #[track_caller]
    fn line(words: &[&str], does: Does, given: &[(&str, &str)]) -> Result<String, String> {
        let made = command_line(route(words, does), &pairs(given), None, JSON);
        made.map(|line| line[words.len() + 1..].join(" ")).map_err(|trouble| trouble.what().to_owned())
    }

    #[test]
    fn a_place_that_is_left_out_is_taken_by_those_after_it() {
        let age = |given: &[(&str, &str)]| line(&["age"], Does::Records, given);
        assert_eq!(
            age(&[("machine", "bowline"), ("position", "nozzle"), ("amount", "3 spools")]).unwrap(),
            "-- bowline nozzle 3 spools"
        );
        assert_eq!(age(&[("amount", "8 months"), ("machine", "bowline")]).unwrap(), "-- bowline 8 months");
        assert!(age(&[("machine", "bowline"), ("position", "nozzle")]).unwrap_err().contains("amount"));
        let moves = |given: &[(&str, &str)]| line(&["moves"], Does::Reads, given);
        assert_eq!(moves(&[("build", "delta"), ("name", "sweep z")]).unwrap(), "--build=delta -- sweep z");
        assert!(line(&["skip"], Does::Records, &[("task", "x"), ("why", "y")]).is_err(), "elsewhere none may be");
    }

    #[test]
    fn a_plan_is_sought_for_seconds_and_no_longer() {
        let plan = |given: &[(&str, &str)]| line(&["plan"], Does::Records, given);
        assert_eq!(plan(&[]).unwrap(), "--seconds=2");
        assert_eq!(plan(&[("seconds", "5")]).unwrap(), "--seconds=5");
        for seconds in ["0", "6", "-1", "2.5", "", "60"] {
            assert!(plan(&[("seconds", seconds)]).is_err(), "{seconds}");
        }
    }

    #[test]
    fn two_figures_are_two_and_figures() {
        let drift = |given: &[(&str, &str)]| line(&["life", "drift"], Does::TakesFile(Taken::Table), given);
        assert_eq!(drift(&[("start", "0.4"), ("start", "-0.005")]).unwrap(), "--start 0.4 -0.005");
        for wrong in [&[("start", "1")][..], &[("start", "1"), ("start", "--json")], &[("start", "1"); 3]] {
            assert!(drift(wrong).is_err(), "{wrong:?}");
        }
    }

    #[test]
    fn what_is_drawn_is_written_nowhere_that_was_named() {
        let look = route(&["life", "look"], Does::Records);
        let line = command_line(look, &pairs(&[("delay", "40")]), None, DRAWING).unwrap();
        assert_eq!(line, ["tallow", "life", "look", "--delay=40", "--svg=answer"]);
    }
}
