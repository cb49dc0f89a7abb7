//! `tallow doctor`: looks a shop over, and says what to do for each thing that is found.
//!
//! Facts are gathered here; what they mean is said by `checks`. A further check is a function there, and a line in [`look_over`].

mod checks;

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use ledger::{Condition, Ledger};
use serde_json::{Value, json};
use upkeep::Build;
use upkeep::build::shipped;

use self::checks::{Checked, Finding, InUse, Room};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::ways::Way;
use crate::{when, words};

/// The machines whose records are proved unless all are asked for.
const NEWEST: u32 = 3;

pub(crate) async fn doctor(context: &Context, args: &cli::Doctor) -> Result<(), Trouble> {
    let (ledger, checked) = match context.open_if_there().await {
        Ok(Some(ledger)) => {
            let checked = look_over(context, &ledger, args.whole).await;
            (Some(ledger), checked)
        }
        // Whoever opens what is not there is told how to make it.
        Ok(None) => return context.open().await.map(drop),
        Err(trouble) => (None, vec![Checked::failed("opening", &trouble)]),
    };
    match context.json {
        true => context.out.json(&shape(ledger.as_ref(), args.whole, &checked))?,
        false => tell(context, ledger.as_ref(), &checked)?,
    }
    let must = checked.iter().flat_map(|checked| &checked.findings).filter(|finding| finding.must).count();
    // Over the network what was found is the answer.
    if must == 0 || context.is_served() {
        return Ok(());
    }
    Err(Trouble::refused(format!("{} must be done", words::count(must as u64, "things"))))
}

async fn look_over(context: &Context, ledger: &Ledger, whole: bool) -> Vec<Checked> {
    let mut checked =
        vec![records(ledger, whole).await, builds(ledger).await, ways(ledger).await, jobs(ledger, context.now).await];
    let condition = match ledger.condition(checks::latest(context.now)).await {
        Ok(condition) => condition,
        Err(error) => {
            checked.push(Checked::failed("tables", &error.into()));
            return checked;
        }
    };
    // A clock that was set by hand proves nothing about another.
    let asked = context.fixed_now().is_none().then_some(context.now);
    checked.push(checks::tables(&condition));
    checked.push(checks::clock(context.now, &ledger.shop().zone, &condition, asked));
    if let Some(file) = &condition.file {
        let shown = if context.is_served() { "FILE".to_owned() } else { file.display().to_string() };
        checked.extend(of_the_file(file, &shown, &condition));
    }
    checked
}

async fn records(ledger: &Ledger, whole: bool) -> Checked {
    let verdict = if whole { ledger.verify().await } else { ledger.verify_newest(NEWEST).await };
    let proved = async { Ok::<_, Trouble>((verdict?, ledger.machines().await?.len())) };
    match proved.await {
        Ok((verdict, machines)) => checks::records(&verdict, machines),
        Err(trouble) => Checked::failed("records", &trouble),
    }
}

async fn builds(ledger: &Ledger) -> Checked {
    let kept = async { Ok::<_, Trouble>((ledger.builds().await?, ledger.machines().await?)) };
    let (kept, machines) = match kept.await {
        Ok(kept) => kept,
        Err(trouble) => return Checked::failed("builds", &trouble),
    };
    let in_use = kept.into_iter().filter(|build| machines.iter().any(|machine| machine.build == build.name));
    let in_use: Vec<InUse> = in_use.map(|build| InUse { name: build.name, text: build.text }).collect();
    let named =
        shipped().into_iter().filter_map(|(short, text)| Some((short, Build::parse(short, text).ok()?.name, text)));
    checks::builds(&in_use, &named.collect::<Vec<_>>())
}

async fn ways(ledger: &Ledger) -> Checked {
    let ways = match Way::all(ledger).await {
        Ok(ways) => ways,
        Err(trouble) => return Checked::failed("ways in", &trouble),
    };
    let (count, mut folders, mut with_password) = (ways.len(), Vec::new(), Vec::new());
    for (name, way) in ways {
        match way {
            Way::Folder(way) => folders.push((name, way.folder.display().to_string(), way.folder.is_dir())),
            Way::Mqtt(way) if way.broker.password.is_some() => with_password.push(name),
            Way::Mqtt(_) | Way::Table(_) => {}
        }
    }
    checks::ways(count, &folders, &with_password)
}

/// So many of the newest jobs are looked at.
const JOBS: u32 = 10_000;

async fn jobs(ledger: &Ledger, now: Timestamp) -> Checked {
    match ledger.jobs(JOBS, now).await {
        Ok(jobs) => checks::jobs(now, &jobs),
        Err(error) => Checked::failed("jobs", &error.into()),
    }
}

/// What the file's system tells; what it does not tell is left out.
fn of_the_file(file: &Path, shown: &str, condition: &Condition) -> Vec<Checked> {
    let Ok(metadata) = file.metadata() else { return Vec::new() };
    let mut log = file.as_os_str().to_owned();
    log.push("-wal");
    let log = PathBuf::from(log).metadata().map_or(0, |log| log.len());
    let room = free(file).map(|free| checks::room(Room { file: metadata.len(), log, free }));
    let permissions = mode(&metadata).map(|mode| checks::permissions(mode, condition.keeps_secrets, shown));
    room.into_iter().chain(permissions).collect()
}

#[cfg(unix)]
fn free(file: &Path) -> Option<u64> {
    let disk = rustix::fs::statvfs(file).ok()?;
    disk.f_bavail.checked_mul(disk.f_frsize)
}

#[cfg(not(unix))]
fn free(_file: &Path) -> Option<u64> {
    None
}

#[cfg(unix)]
fn mode(metadata: &std::fs::Metadata) -> Option<u32> {
    use std::os::unix::fs::PermissionsExt;
    Some(metadata.permissions().mode())
}

#[cfg(not(unix))]
fn mode(_metadata: &std::fs::Metadata) -> Option<u32> {
    None
}

fn shape(ledger: Option<&Ledger>, whole: bool, checked: &[Checked]) -> Value {
    let finding = |Finding { what, to_do, must }: &Finding| json!({ "what": what, "to_do": to_do, "must": must });
    let check = |Checked { check, says, findings }: &Checked| json!({ "check": check, "says": says, "findings": findings.iter().map(finding).collect::<Value>() });
    json!({ "shop": ledger.map(|ledger| &ledger.shop().name), "whole": whole,
            "checks": checked.iter().map(check).collect::<Value>() })
}

fn tell(context: &Context, ledger: Option<&Ledger>, checked: &[Checked]) -> Result<(), Trouble> {
    let out = &context.out;
    if let Some(ledger) = ledger {
        let now = when::spoken(&context.now_in(ledger));
        out.dressed_line(&format!("{}, {now}", ledger.shop().name), Dress::Bold)?;
        out.line("")?;
    }
    let mut table = Table::new([("looked at", Align::Left), ("how it stands", Align::Left)]);
    for Checked { check, says, findings } in checked {
        let dress = if findings.iter().any(|finding| finding.must) { Dress::Bold } else { Dress::Plain };
        table.row([(*check).to_owned(), says.clone()], dress);
    }
    out.table(&table)?;
    let all: Vec<&Finding> = checked.iter().flat_map(|checked| &checked.findings).collect();
    for (must, heading) in [(true, "To be done"), (false, "Good to know")] {
        let findings: Vec<&Finding> = all.iter().copied().filter(|finding| finding.must == must).collect();
        if !findings.is_empty() {
            out.line("")?;
            out.dressed_line(heading, Dress::Bold)?;
        }
        findings.iter().enumerate().try_for_each(|(place, finding)| each(context, place + 1, finding))?;
    }
    if all.is_empty() { out.line("\nNothing needs doing.") } else { Ok(()) }
}

/// One finding under its number: what it is, its particulars, and what to do.
fn each(context: &Context, number: usize, finding: &Finding) -> Result<(), Trouble> {
    let lead = format!("{number}  ");
    let indent = " ".repeat(lead.len());
    let mut lines = finding.what.lines().filter(|line| !line.trim().is_empty());
    context.out.prose(&lead, lines.next().unwrap_or_default())?;
    lines.try_for_each(|line| context.out.prose(&format!("{indent}  "), line))?;
    finding.to_do.iter().try_for_each(|line| context.out.prose(&format!("{indent}- "), line))
}
