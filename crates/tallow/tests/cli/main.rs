//! End-to-end tests: the real program, each test in a folder of its own. Answers are compared by what they mean, as the
//! program's own `--json` gives them; text is compared only where its layout is what is tested.
//!
//! Every JSON answer that any test receives is held against docs/JSON.md (see [`shapes`]).

mod before;
mod buy;
mod care;
mod demo;
mod endurance;
mod facts;
mod faults;
mod hours;
mod import;
mod laws;
mod lives;
mod measure;
mod metering;
mod money;
mod moves;
mod output;
mod people;
mod plan;
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
