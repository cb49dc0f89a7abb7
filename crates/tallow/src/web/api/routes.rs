//! Which commands programs may give, and what they need.

use ledger::Role;

use super::shapes;

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
}

/// What a route does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Does {
    /// It reads: GET, parameters in the query.
    Reads,
    /// It records or reckons: POST, parameters in a JSON object.
    Records,
    /// As that, or with a print file as the body, and then parameters in the query.
    TakesFile(&'static str),
}

const fn reads(words: &'static [&'static str], without: &'static [&'static str]) -> Route {
    Route { words, does: Does::Reads, role: Role::Look, without }
}

const fn records(words: &'static [&'static str]) -> Route {
    Route { words, does: Does::Records, role: Role::Record, without: &[] }
}

const fn plans(words: &'static [&'static str]) -> Route {
    Route { words, does: Does::Records, role: Role::Plan, without: &[] }
}

const SETS_RATES: &[&str] = &["currency", "labour", "standing", "nuisance", "failed_print", "damage", "note"];

/// Every route.
pub(super) static ROUTES: [Route; 42] = [
    reads(&["due"], &[]),
    reads(&["steps"], &[]),
    reads(&["history"], &["most", "before"]),
    reads(&["machine", "list"], &[]),
    reads(&["machine", "show"], &[]),
    reads(&["build", "list"], &[]),
    reads(&["material", "list"], &[]),
    reads(&["lives"], &["csv"]),
    reads(&["money"], &[]),
    reads(&["rates"], SETS_RATES),
    reads(&["keeper"], &[]),
    reads(&["stores"], &[]),
    reads(&["stores", "buy"], &[]),
    reads(&["visit"], &[]),
    reads(&["replay"], &[]),
    reads(&["quantities"], &[]),
    Route { words: &["before"], does: Does::TakesFile("files"), role: Role::Look, without: &[] },
    Route { words: &["run"], does: Does::TakesFile("file"), role: Role::Record, without: &[] },
    Route { words: &["queue"], does: Does::TakesFile("file"), role: Role::Record, without: &[] },
    records(&["hour-meter"]),
    records(&["done"]),
    records(&["replace"]),
    records(&["failure"]),
    records(&["skip"]),
    records(&["reading"]),
    records(&["correct"]),
    records(&["stores", "order"]),
    records(&["stores", "receive"]),
    records(&["stores", "count"]),
    records(&["stores", "discard"]),
    records(&["visit", "walked"]),
    plans(&["limit"]),
    plans(&["rates"]),
    plans(&["keeper", "set"]),
    plans(&["keeper", "away"]),
    plans(&["keeper", "remove"]),
    plans(&["stores", "terms"]),
    plans(&["material", "add"]),
    plans(&["visit", "move"]),
    plans(&["visit", "lock"]),
    plans(&["visit", "free"]),
    plans(&["visit", "off"]),
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

    /// Whether it reads a list, page by page.
    pub(super) fn is_list(&self) -> bool {
        self.does == Does::Reads && shapes::is_list(&self.table())
    }

    /// Whether the command itself cuts its list.
    pub(super) fn pages_itself(&self) -> bool {
        self.words == ["history"]
    }
}
