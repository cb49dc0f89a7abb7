//! The command line's own parameters, as programs give them: their names, kinds and helps, and a line of words made of values.
//!
//! A value can't become an option: it stands behind its option's `=`, or after `--`.

use std::any::TypeId;
use std::path::PathBuf;

use clap::{Arg, ArgAction, Command, CommandFactory};
use serde_json::{Map, Value};

use super::Given;
use super::routes::{Does, Route};
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
    /// The words that it takes; empty for any.
    pub(super) choices: Vec<String>,
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
    let command = command(route);
    let is_offered = |arg: &&Arg| !route.without.contains(&arg.get_id().as_str());
    harmless(&command).filter(is_offered).map(Argument::of).collect()
}

fn harmless(command: &Command) -> impl Iterator<Item = &Arg> {
    command.get_arguments().filter(|arg| arg.get_value_parser().type_id() != TypeId::of::<PathBuf>())
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
            choices,
            is_option: arg.get_long().is_some(),
        }
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
                    given.push((name.clone(), argument.text(&value)?));
                }
            }
            value => given.push((name, argument.text(&value)?)),
        }
    }
    Ok(given)
}

impl Argument {
    fn text(&self, value: &Value) -> Result<String, Trouble> {
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

fn unknown(route: &Route, name: &str) -> Trouble {
    let names: Vec<String> = arguments(route).into_iter().map(|argument| argument.name).collect();
    let has = if names.is_empty() { "it has none".to_owned() } else { format!("it has: {}", names.join(", ")) };
    Trouble::refused(format!("{} has no parameter \"{name}\"", route.path())).help(has)
}

/// The command line that gives a route's command with these values, and the file that came along by its name.
///
/// # Errors
/// A parameter given more often than it may be; a value that can't stand there.
pub(super) fn command_line(route: &Route, given: &Given, file: Option<&str>) -> Result<Vec<String>, Trouble> {
    let command = command(route);
    let arguments: Vec<Argument> = harmless(&command).map(Argument::of).collect();
    let mut line: Vec<String> = ["tallow"].iter().chain(route.words).map(|&word| word.to_owned()).collect();
    let mut places = Vec::new();
    let mut is_left_out = None;
    for argument in &arguments {
        let name = &argument.name;
        let values: Vec<&String> = given.iter().filter(|(key, _)| key == name).map(|(_, value)| value).collect();
        if 1 < values.len() && !argument.is_many {
            return Err(Trouble::refused(format!("\"{name}\" was given {} times", values.len())).help("give it once"));
        }
        if !argument.is_option {
            if let (false, Some(before)) = (values.is_empty(), is_left_out) {
                return Err(Trouble::refused(format!("\"{name}\" was given without \"{before}\"")).help("give both"));
            }
            is_left_out = is_left_out.or(Some(name).filter(|_| values.is_empty()));
            places.extend(values.into_iter().cloned());
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
    if let (Does::TakesFile(_), Some(file)) = (route.does, file) {
        places.push(file.to_owned());
    }
    if !places.is_empty() {
        line.push("--".to_owned());
        line.extend(places);
    }
    Ok(line)
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::super::routes::ROUTES;
    use super::*;

    fn route(words: &[&str], does: Does) -> &'static Route {
        ROUTES.iter().find(|route| route.words == words && route.does == does).unwrap()
    }

    fn pairs(pairs: &[(&str, &str)]) -> Given {
        pairs.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect()
    }

    #[test]
    fn every_route_is_a_command_and_takes_no_path() {
        for route in &ROUTES {
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
            let line = command_line(done, &pairs(&[("task", value), ("on", value), ("note", value)]), None).unwrap();
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
        assert!(command_line(due, &pairs(&[("days", "1"), ("days", "2")]), None).is_err());
        assert!(command_line(due, &pairs(&[("all", "perhaps")]), None).is_err());
    }

    #[test]
    fn a_file_comes_by_its_name_alone() {
        let run = route(&["run"], Does::TakesFile("file"));
        assert!(check(run, &pairs(&[("file", "/etc/passwd")])).is_err());
        let line = command_line(run, &pairs(&[("on", "bowline"), ("material", "PLA")]), Some("--rib.gcode")).unwrap();
        assert_eq!(line, ["tallow", "run", "--on=bowline", "--material=PLA", "--", "--rib.gcode"]);
    }
}
