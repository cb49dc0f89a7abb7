//! Which commands programs may give, and what they need.
//!
//! Every command of the command line stands here, or in the list of docs/API.md of those that are left out; a test holds to it.

use ledger::Role;

use super::forms::{CALENDAR, DRAWING, Form, How, JSON, PAGE, TABLE, TEXT};
use super::shapes;
use crate::input::{MOST_OF_A_RECORDING, MOST_OF_A_TABLE};
use crate::web::upload::MOST_BYTES;

/// A command at an address.
pub(super) struct Route {
    /// The command's words.
    pub(super) words: &'static [&'static str],
    /// What it does.
    pub(super) does: Does,
    /// What whoever asks must be allowed.
    pub(super) role: Role,
    /// Parameters of the command line that are not offered; those that name files never are.
    pub(super) without: &'static [&'static str],
    /// The forms in which it answers; the first unless another is asked for.
    pub(super) forms: &'static [Form],
    /// What stands for the command's places, where one may be left out before others: those given then move up.
    pub(super) places: &'static [Place],
    /// Whether a build's text may be sent along.
    pub(super) text: Text,
    /// Parameters that are bounded closer than on the command line.
    pub(super) within: &'static [Within],
    /// Whether it makes a plan: one is made at a time.
    pub(super) plans: bool,
}

/// What a route does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Does {
    /// It reads: GET, parameters in the query.
    Reads,
    /// It records or reckons: POST, parameters in a JSON object.
    Records,
    /// As that, or with a file as the body, and then parameters in the query.
    TakesFile(Taken),
}

/// A file that is sent as a body.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Taken {
    /// A print file.
    Print,
    /// A table of lives or readings.
    Table,
    /// A recording or a photo.
    Recording,
    /// A log of accelerations or temperatures.
    Log,
}

/// A place of a command, by a name of its own.
pub(super) struct Place {
    pub(super) name: &'static str,
    pub(super) help: &'static str,
    pub(super) is_required: bool,
}

/// Whether a build's text may be sent along, as the parameter `text`: what is a file on the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Text {
    /// None may.
    None,
    /// It must.
    Alone,
    /// It may, instead of a build's name in this parameter.
    InsteadOf(&'static str),
}

/// Bounds of a whole number, and what it is if left out.
pub(super) struct Within {
    pub(super) name: &'static str,
    pub(super) from: u16,
    pub(super) to: u16,
    pub(super) usual: u16,
}

const fn route(words: &'static [&'static str], does: Does, role: Role) -> Route {
    Route { words, does, role, without: &[], forms: &[JSON], places: &[], text: Text::None, within: &[], plans: false }
}

const fn reads(words: &'static [&'static str]) -> Route {
    route(words, Does::Reads, Role::Look)
}

const fn reckons(words: &'static [&'static str]) -> Route {
    route(words, Does::Records, Role::Look)
}

const fn records(words: &'static [&'static str]) -> Route {
    route(words, Does::Records, Role::Record)
}

const fn plans(words: &'static [&'static str]) -> Route {
    route(words, Does::Records, Role::Plan)
}

const fn owns(words: &'static [&'static str]) -> Route {
    route(words, Does::Records, Role::Own)
}

/// Statistics on a table that is sent, or on figures alone where the command does without one.
const fn of_table(words: &'static [&'static str]) -> Route {
    Route { forms: DRAWN, ..route(words, Does::TakesFile(Taken::Table), Role::Look) }
}

/// A measurement of a file that is sent; it may record what it finds.
const fn measures(words: &'static [&'static str], taken: Taken) -> Route {
    Route { forms: DRAWN, ..route(words, Does::TakesFile(taken), Role::Record) }
}

const DRAWN: &[Form] = &[JSON, DRAWING];

const SETS_RATES: &[&str] = &["currency", "labour", "standing", "nuisance", "failed_print", "damage", "note"];

const SETS_A_GRADE: &[&str] = &["cause", "finding", "grade", "why"];

const AGE: &[Place] = &[
    Place { name: "machine", help: "The machine", is_required: true },
    Place { name: "position", help: "The part's position; every part that was there if left out", is_required: false },
    Place {
        name: "amount",
        help: "Its age when the machine joined, an amount or a span of the calendar",
        is_required: true,
    },
];

const MOVES: &[Place] = &[
    Place { name: "machine", help: "The machine; not with build", is_required: false },
    Place { name: "name", help: "The move; lists them if left out", is_required: false },
];

/// A plan may be sought for no longer, s: whoever asks waits for the answer.
pub(super) const LONGEST_SEEKING: u16 = 5;
const SEEKING: &[Within] = &[Within { name: "seconds", from: 1, to: LONGEST_SEEKING, usual: 2 }];

/// Every route.
pub(super) static ROUTES: &[Route] = &[
    reads(&["shop", "show"]),
    Route { role: Role::Plan, ..reckons(&["shop", "verify"]) },
    owns(&["doctor"]),
    reads(&["machine", "list"]),
    reads(&["machine", "show"]),
    Route { text: Text::InsteadOf("build"), ..plans(&["machine", "add"]) },
    reads(&["build", "list"]),
    Route { forms: &[TEXT], ..reads(&["build", "print"]) },
    Route { text: Text::Alone, ..reckons(&["build", "check"]) },
    Route { text: Text::InsteadOf("build"), ..plans(&["build", "change"]) },
    reads(&["material", "list"]),
    plans(&["material", "add"]),
    route(&["meter"], Does::TakesFile(Taken::Print), Role::Look),
    route(&["before"], Does::TakesFile(Taken::Print), Role::Look),
    route(&["run"], Does::TakesFile(Taken::Print), Role::Record),
    route(&["queue"], Does::TakesFile(Taken::Print), Role::Record),
    reads(&["due"]),
    reads(&["steps"]),
    Route { places: MOVES, forms: &[JSON, TEXT], ..reads(&["moves"]) },
    records(&["done"]),
    records(&["replace"]),
    records(&["failure"]),
    reads(&["fault"]),
    reads(&["fault", "symptoms"]),
    records(&["fault", "new"]),
    Route { forms: DRAWN, ..reads(&["fault", "show"]) },
    records(&["fault", "say"]),
    records(&["fault", "end"]),
    Route { without: SETS_A_GRADE, ..reads(&["fault", "grade"]) },
    plans(&["fault", "grade"]),
    records(&["skip"]),
    records(&["reading"]),
    measures(&["measure", "belt"], Taken::Recording),
    measures(&["measure", "marks"], Taken::Recording),
    records(&["measure", "feed"]),
    records(&["measure", "backlash"]),
    records(&["measure", "square"]),
    records(&["measure", "pair"]),
    measures(&["measure", "shake"], Taken::Log),
    measures(&["measure", "heat"], Taken::Log),
    records(&["hour-meter"]),
    records(&["correct"]),
    plans(&["limit"]),
    Route { places: AGE, ..records(&["age"]) },
    Route { without: SETS_RATES, ..reads(&["rates"]) },
    plans(&["rates"]),
    reads(&["keeper"]),
    plans(&["keeper", "set"]),
    plans(&["keeper", "away"]),
    plans(&["keeper", "remove"]),
    reads(&["stores"]),
    reads(&["stores", "buy"]),
    records(&["stores", "order"]),
    records(&["stores", "receive"]),
    records(&["stores", "count"]),
    records(&["stores", "discard"]),
    plans(&["stores", "terms"]),
    // The interface has its own way to read a list in parts.
    Route { without: &["most", "before"], ..reads(&["history"]) },
    Route { without: &["csv"], forms: &[JSON, TABLE, DRAWING], ..reads(&["lives"]) },
    of_table(&["life", "fit"]),
    of_table(&["life", "believe"]),
    of_table(&["life", "curve"]),
    reckons(&["life", "mtbf"]),
    of_table(&["life", "remain"]),
    of_table(&["life", "repairs"]),
    of_table(&["life", "drift"]),
    of_table(&["life", "replace"]),
    Route { forms: DRAWN, ..reckons(&["life", "look"]) },
    of_table(&["life", "hidden"]),
    Route { forms: DRAWN, ..reckons(&["life", "bearing"]) },
    // The answer has the reasons always.
    Route { without: &["why"], within: SEEKING, plans: true, ..plans(&["plan"]) },
    reads(&["rhythm"]),
    reads(&["money"]),
    reads(&["visit"]),
    plans(&["visit", "move"]),
    plans(&["visit", "lock"]),
    plans(&["visit", "free"]),
    plans(&["visit", "off"]),
    records(&["visit", "walked"]),
    Route { forms: &[JSON, TEXT, PAGE], ..reads(&["sheet"]) },
    Route { forms: &[JSON, CALENDAR], ..reads(&["calendar"]) },
    reads(&["replay"]),
    Route { role: Role::Own, ..reads(&["person"]) },
    // No password goes this way.
    Route { without: &["new_password", "password_stdin"], ..owns(&["person", "set"]) },
    owns(&["person", "remove"]),
    Route { role: Role::Own, ..reads(&["token"]) },
    owns(&["token", "new"]),
    owns(&["token", "revoke"]),
    reads(&["way"]),
    reads(&["job"]),
    plans(&["job", "retry"]),
    plans(&["job", "forget"]),
    reads(&["quantities"]),
];

impl Route {
    /// Its address.
    pub(super) fn path(&self) -> String {
        format!("/api/{}", self.words.join("/"))
    }

    /// The heading of its answer's table in docs/JSON.md.
    pub(super) fn table(&self) -> String {
        self.words.join(" ")
    }

    /// Whether it answers as JSON.
    pub(super) fn has_json(&self) -> bool {
        self.forms.iter().any(|form| form.how == How::Json)
    }

    /// Whether it reads a list, page by page.
    pub(super) fn is_list(&self) -> bool {
        self.does == Does::Reads && self.has_json() && shapes::is_list(&self.table())
    }

    /// Whether the command itself cuts its list.
    pub(super) fn pages_itself(&self) -> bool {
        self.words == ["history"]
    }
}

impl Taken {
    /// The media type under which it is documented.
    pub(super) fn media(self) -> &'static str {
        match self {
            Taken::Print | Taken::Recording => "application/octet-stream",
            Taken::Table | Taken::Log => "text/csv",
        }
    }

    /// What it is.
    pub(super) fn about(self) -> &'static str {
        match self {
            Taken::Print => "The print file: plain, gzip or zstd. Parameters then stand in the query.",
            Taken::Table => {
                "The table, its columns as `tallow life` has them, at most 64 KiB. Parameters then stand in the query."
            }
            Taken::Recording => {
                "The recording (WAV) or photo (PNG, JPEG), at most 16 MiB. Parameters then stand in the query."
            }
            Taken::Log => {
                "The log, its columns as `tallow measure` has them, at most 16 MiB. Parameters then stand in the query."
            }
        }
    }

    /// What it is called where nobody says.
    pub(super) fn usual_name(self) -> &'static str {
        match self {
            Taken::Print => "print file",
            Taken::Table => "table",
            Taken::Recording => "recording",
            Taken::Log => "log",
        }
    }

    /// The largest, bytes, as packed.
    pub(super) fn most_bytes(self) -> usize {
        match self {
            Taken::Print => MOST_BYTES,
            Taken::Table => MOST_OF_A_TABLE,
            Taken::Recording | Taken::Log => MOST_OF_A_RECORDING,
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use clap::{Command, CommandFactory};

    use super::*;
    use crate::cli::Cli;

    /// The words of each command that can be given.
    fn commands(command: &Command, words: &[String]) -> Vec<String> {
        let below = command.get_subcommands().flat_map(|below| {
            let words = [words, &[below.get_name().to_owned()]].concat();
            commands(below, &words)
        });
        let is_one = !words.is_empty() && !command.is_subcommand_required_set();
        is_one.then(|| words.join(" ")).into_iter().chain(below).collect()
    }

    /// Those that docs/API.md says are left out.
    fn left_out() -> BTreeSet<String> {
        let document = include_str!("../../../../../docs/API.md");
        let section = document.split("\n## ").find(|section| section.starts_with("Left out")).expect("the section");
        let items = section.lines().filter_map(|line| line.strip_prefix("- `"));
        // Several share a reason: `one`, `another`: …
        let commands = items.flat_map(|item| item.split_once("`: ").expect("a reason").0.split('`').step_by(2));
        commands.map(str::to_owned).collect()
    }

    #[test]
    fn every_command_is_a_route_or_left_out_with_a_reason() {
        let all: BTreeSet<String> = commands(&Cli::command(), &[]).into_iter().collect();
        let offered: BTreeSet<String> = ROUTES.iter().map(|route| route.words.join(" ")).collect();
        let left_out = left_out();
        let told: BTreeSet<String> = offered.union(&left_out).cloned().collect();
        assert_eq!(all, told, "routes and docs/API.md against the command line");
        assert!(offered.is_disjoint(&left_out), "{left_out:?}");
    }
}
