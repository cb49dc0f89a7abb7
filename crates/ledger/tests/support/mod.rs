//! A throw-away shop on either engine, and short ways to say what happens in it.

#![allow(dead_code)] // Each test file uses its own part.

pub(crate) mod postgres;

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;
use ledger::{Error, Ledger, NewEntry};
use motion::{Duty, Quantity};
use upkeep::build::shipped;
use upkeep::entry::{Basis, Because, Queued, Run};
use upkeep::shop::{Counted, Keeper, Received, Visit};
use upkeep::{EntryId, Event, Material, Usage};

use postgres::Server;

/// The time zone of every shop here: one with summer time.
pub(crate) const ZONE: &str = "Europe/Lisbon";

/// When the machines join.
pub(crate) const JOINED: &str = "2026-10-01T00:00:00Z";

/// When everything is written down.
pub(crate) const RECORDED: &str = "2026-12-31T00:00:00Z";

/// Where a throw-away database is, until this is dropped.
pub(crate) struct Ground {
    pub at: String,
    _folder: Option<tempfile::TempDir>,
    _server: Option<Arc<Server>>,
}

impl Ground {
    /// A path in a folder of its own.
    pub(crate) fn sqlite() -> Ground {
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path().join("test.shop").to_str().unwrap().to_owned();
        Ground { at, _folder: Some(folder), _server: None }
    }

    /// An empty database on a server of this process.
    pub(crate) async fn postgres() -> Ground {
        let server = Server::shared();
        let at = server.new_database().await;
        Ground { at, _folder: None, _server: Some(server) }
    }

    /// A connection past the ledger, to look at or spoil its rows.
    pub(crate) async fn raw(&self) -> sqlx::AnyConnection {
        use sqlx::Connection;
        sqlx::any::install_default_drivers();
        let url = if self.at.starts_with("postgres") { self.at.clone() } else { format!("sqlite:{}", self.at) };
        sqlx::AnyConnection::connect(&url).await.unwrap()
    }

    /// Runs one statement past the ledger and gives how many rows it touched.
    pub(crate) async fn spoil(&self, statement: &str) -> u64 {
        let mut raw = self.raw().await;
        sqlx::query(sqlx::AssertSqlSafe(statement)).execute(&mut raw).await.unwrap().rows_affected()
    }
}

/// A shop with one machine, `bowline`.
pub(crate) struct TestShop {
    pub ground: Ground,
    pub ledger: Ledger,
}

impl TestShop {
    pub(crate) async fn new(ground: Ground) -> TestShop {
        let ledger = Ledger::create(&ground.at, "pattern loft", ZONE).await.unwrap();
        for (file, text) in shipped() {
            let name = upkeep::Build::parse(file, text).unwrap().name;
            ledger.add_build(&name, text, at(JOINED)).await.unwrap();
        }
        let shop = TestShop { ground, ledger };
        shop.join("bowline").await.unwrap();
        shop
    }

    /// Adds a machine.
    pub(crate) async fn join(&self, name: &str) -> Result<EntryId, Error> {
        self.ledger.add_machine(name, &self.build().await, at(JOINED), at(RECORDED), "").await
    }

    /// The name of a build that is in the shop.
    pub(crate) async fn build(&self) -> String {
        self.ledger.builds().await.unwrap()[0].name.clone()
    }

    /// Writes down what happened to `bowline` at `when`.
    pub(crate) async fn append(&self, when: &str, event: Event) -> Result<EntryId, Error> {
        self.ledger.append(entry("bowline", when, event)).await
    }

    /// Metres that X of `bowline` has travelled in all.
    pub(crate) async fn travelled(&self) -> f64 {
        self.state().await.total.amount(Quantity::TravelX)
    }

    /// Metres that X of `bowline` had travelled before `task` was last done; `None` if it never was.
    pub(crate) async fn travelled_before(&self, task: &str) -> Option<f64> {
        let standings = self.state().await.standings;
        standings.get(&upkeep::Care::Task(task.to_owned())).map(|standing| standing.base.amount(Quantity::TravelX))
    }

    /// The state of `bowline` with its whole history.
    pub(crate) async fn state(&self) -> upkeep::MachineState {
        self.ledger.machine_state("bowline", jiff::civil::date(2026, 10, 1)).await.unwrap()
    }

    /// Panics unless the derived rows are what the entries say.
    #[track_caller]
    pub(crate) fn prove(&self) -> impl Future<Output = ()> + '_ {
        let caller = std::panic::Location::caller();
        async move {
            let verdict = self.ledger.verify().await.unwrap();
            assert!(verdict.differences.is_empty(), "{caller}: {:#?}", verdict.differences);
        }
    }
}

/// An instant as RFC 3339 writes it.
pub(crate) fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

pub(crate) fn entry(machine: &str, when: &str, event: Event) -> NewEntry {
    NewEntry { machine: machine.to_owned(), at: at(when), recorded: at(RECORDED), note: String::new(), event }
}

/// `metres` of travel along X, with tool 0 and the material.
pub(crate) fn travel(metres: f64, material: &str) -> Usage {
    let mut duty = Duty::default();
    let amounts = duty.tools.entry(0).or_default();
    amounts[Quantity::TravelX] = metres;
    amounts[Quantity::Time] = metres * 10.0;
    amounts[Quantity::Retractions] = 7.0;
    Usage::from_duty(&duty, |_| Material::new(material))
}

/// A run of the program whose hash is made of `program`, over `metres`.
pub(crate) fn run(program: &str, metres: f64) -> Event {
    Event::Run(Run {
        label: format!("{program}.gcode"),
        program: Some(program.repeat(64 / program.len())),
        stopped: None,
        materials: BTreeMap::from([(0, Material::new("PLA"))]),
        usage: travel(metres, "PLA"),
        basis: Basis::Metered,
        queued: None,
    })
}

/// A run of which only the label is known.
pub(crate) fn run_by_label(label: &str, metres: f64) -> Event {
    Event::Run(Run {
        label: label.to_owned(),
        program: None,
        stopped: Some("40 %".to_owned()),
        materials: BTreeMap::new(),
        usage: travel(metres, ""),
        basis: Basis::Estimated { spread: 0.2 },
        queued: None,
    })
}

/// A run of that program is expected.
pub(crate) fn queued(program: &str, metres: f64) -> Event {
    Event::Queued(Queued {
        label: format!("{program}.gcode"),
        program: Some(program.repeat(64 / program.len())),
        on: Some(jiff::civil::date(2026, 11, 30)),
        materials: BTreeMap::from([(0, Material::new("PLA"))]),
        usage: travel(metres, "PLA"),
    })
}

pub(crate) fn done(task: &str) -> Event {
    Event::Done { task: task.to_owned(), supplies: BTreeMap::from([("lint-free wipe".to_owned(), "2".to_owned())]) }
}

pub(crate) fn replaced(position: &str) -> Event {
    Event::Replaced { position: position.to_owned(), because: Because::Worn, spare: None }
}

/// A visit that the first keeper was told of.
pub(crate) fn visit(day: jiff::civil::Date) -> Event {
    let (keeper, tasks) = ("first keeper".to_owned(), vec!["wipe".to_owned(), "oil".to_owned()]);
    Event::Visit(Visit { day, keeper, tasks, minutes: 12.5, is_locked: false, took: None })
}

/// A keeper with so many minutes on every day.
pub(crate) fn keeper(name: &str, minutes: u16) -> Event {
    let skills = vec!["qualified".to_owned()];
    Event::Keeper(Keeper { name: name.to_owned(), minutes: [minutes; 7], skills, is_gone: false })
}

pub(crate) fn received(item: &str, amount: &str) -> Event {
    let (item, amount, supplier) = (item.to_owned(), amount.to_owned(), String::new());
    Event::Received(Received { item, amount, price: None, expires: None, supplier })
}

pub(crate) fn counted(item: &str, amount: &str) -> Event {
    Event::Counted(Counted { item: item.to_owned(), amount: amount.to_owned() })
}
