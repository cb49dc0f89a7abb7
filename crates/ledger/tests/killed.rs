//! A kill at any instant leaves the ledger whole, with every entry that it had acknowledged.
//!
//! This file has its own `main`: it starts itself again as the child to be killed.

mod support;

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use jiff::SignedDuration;
use ledger::{Ledger, NewEntry};
use support::*;
use upkeep::EntryId;

/// How often a child is killed on each engine.
const KILLS: u64 = 12;

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    match args.get(1).map(String::as_str) {
        Some("child") => runtime.block_on(append_for_ever(&args[2], args[3].parse().unwrap())),
        _ => runtime.block_on(async {
            kill_and_prove(Ground::sqlite()).await;
            kill_and_prove(Ground::postgres().await).await;
        }),
    }
}

/// The child: books runs and tasks until it is killed, and says the number of each once it is acknowledged.
async fn append_for_ever(at_: &str, child: i64) {
    let ledger = Ledger::open(at_).await.unwrap();
    for n in 0.. {
        let event = if n % 5 == 4 { done("wipe") } else { run("a1", 1.0) };
        let when = at(JOINED) + SignedDuration::from_secs(child * 50_000 + n * 10);
        let id = ledger.append(NewEntry { at: when, ..entry("bowline", RECORDED, event) }).await.unwrap();
        if n % 7 == 6 {
            // A correction rewrites all that is derived of the machine: the longest transaction that there is.
            ledger.withdraw(id, at(RECORDED), "").await.unwrap();
        }
        let mut out = std::io::stdout().lock();
        writeln!(out, "{id}").unwrap();
        out.flush().unwrap();
    }
}

/// Kills pairs of children that write to one shop, and proves it after each.
async fn kill_and_prove(ground: Ground) {
    let shop = TestShop::new(ground).await;
    let mut acknowledged = 0;
    for kill in 0..KILLS {
        let mut children: Vec<Child> = (0..2).map(|n| start(&shop.ground.at, kill * 2 + n)).collect();
        let readers: Vec<_> = children.iter_mut().map(|child| read_ids(child.stdout.take().unwrap())).collect();
        // Long enough that both are writing, and each time another instant.
        tokio::time::sleep(Duration::from_millis(250 + 17 * kill)).await;
        for child in &mut children {
            child.kill().unwrap();
            child.wait().unwrap();
        }
        for reader in readers {
            for id in reader.join().unwrap() {
                acknowledged += 1;
                shop.ledger.entry(id).await.unwrap_or_else(|error| panic!("entry {id} was acknowledged: {error}"));
            }
        }
        shop.prove().await;
    }
    assert!(2 * KILLS < acknowledged, "the children must have been writing, but only {acknowledged} entries came");
}

fn start(at: &str, number: u64) -> Child {
    let own = std::env::current_exe().unwrap();
    Command::new(own).args(["child", at, &number.to_string()]).stdout(Stdio::piped()).spawn().unwrap()
}

/// Collects the numbers that a child says until it is killed; half a number at the end was not yet said.
fn read_ids(out: impl std::io::Read + Send + 'static) -> std::thread::JoinHandle<Vec<EntryId>> {
    std::thread::spawn(move || {
        let mut out = BufReader::new(out);
        let (mut ids, mut line) = (Vec::new(), String::new());
        while out.read_line(&mut line).unwrap() != 0 && line.ends_with('\n') {
            ids.push(EntryId(line.trim_end().parse().unwrap()));
            line.clear();
        }
        ids
    })
}
