//! The pages as people meet them: the real program serves, a real browser looks and taps.
//!
//! Needs chromium and chromedriver; `./test` installs both. Every page is photographed at the width of a phone and of a desk
//! into target/screens.

mod anywhere;
mod api;
#[path = "../support/broker.rs"]
mod broker;
mod commands;
mod encrypted;
mod faults;
mod first_run;
mod hall;
mod harness;
mod hostile;
mod kept;
mod lives;
mod machine;
mod measure;
mod money;
mod pages;
mod plain;
#[path = "../../../ledger/tests/support/postgres.rs"]
mod postgres;
mod records;
mod roles;
mod rounds;
mod shop;
mod stores;
mod visit;
mod who;
