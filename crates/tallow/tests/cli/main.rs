//! End-to-end tests: the real program, each test in a folder of its own. Answers are compared by what they mean, as the
//! program's own `--json` gives them; text is compared only where its layout is what is tested.
//!
//! Every JSON answer that any test receives is held against docs/JSON.md (see [`shapes`]).

mod before;
#[path = "../support/broker.rs"]
mod broker;
mod buy;
mod care;
mod demo;
mod doctor;
mod endurance;
mod facts;
mod faults;
mod findings;
mod hours;
mod import;
mod keep;
mod laws;
mod lives;
mod manual;
mod measure;
mod metering;
mod money;
mod moves;
mod mqtt;
mod output;
mod people;
mod plan;
#[path = "../../../ledger/tests/support/postgres.rs"]
mod postgres;
mod programs;
mod readme;
mod records;
mod refusals;
mod rhythm;
mod runs;
mod shapes;
mod sheets;
mod shop;
mod stores;
mod visits;
mod ways;
