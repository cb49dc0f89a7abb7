//! `tallow doctor`: looks a shop over, and says what to do for each thing that is found.
//!
//! Facts are gathered here; what they mean is said by `checks`. A further check is a function there, and a line in [`look_over`].

mod checks;

use std::path::{Path, PathBuf};

use ledger::{Condition, Ledger};
use serde_json::json;
use upkeep::Build;
use upkeep::build::shipped;

use self::checks::{Checked, InUse, Room};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::{when, words};

/// The machines whose records are proved unless all are asked for.
const NEWEST: u32 = 3;

pub(crate) async fn doctor(context: &Context, args: &cli::Doctor) -> Result<(), Trouble> {
    let (shop, checked) = match context.open_if_there().await {
        Ok(Some(ledger)) => (Some(ledger.shop().name.clone()), look_over(context, &ledger, args.whole).await?),
        // Whoever opens what is not there is told how to make it.
        Ok(None) => return context.open().await.map(drop),
        Err(trouble) => (None, vec![Checked::failed("opening", &trouble)]),
    };
    tell(context, shop.as_deref(), args.whole, &checked)?;
    let must = checked.iter().flat_map(|checked| &checked.findings).filter(|finding| finding.must).count();
    // Over the network what was found is the answer.
    if must == 0 || context.is_served() {
        return Ok(());
    }
    Err(Trouble::refused(format!("{} must be done", words::count(must as u64, "things"))))
}

async fn look_over(context: &Context, ledger: &Ledger, whole: bool) -> Result<Vec<Checked>, Trouble> {
    let condition = ledger.condition(checks::latest(context.now)).await?;
    // A clock that was set by hand proves nothing about another.
    let asked = context.fixed_now().is_none().then_some(context.now);
    let mut checked = vec![
        records(ledger, whole).await,
        checks::tables(&condition),
        builds(ledger).await,
        checks::clock(context.now, &condition, asked),
    ];
    if let Some(file) = &condition.file {
        let shown = if context.is_served() { "FILE".to_owned() } else { file.display().to_string() };
        checked.extend(of_the_file(file, &shown, &condition));
    }
    Ok(checked)
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
    let named = shipped().into_iter().filter_map(|(short, text)| Some((short, Build::parse(short, text).ok()?.name, text)));
    checks::builds(&in_use, &named.collect::<Vec<_>>())
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

fn tell(context: &Context, shop: Option<&str>, whole: bool, checked: &[Checked]) -> Result<(), Trouble> {
    if context.json {
        let findings = |checked: &Checked| -> Vec<serde_json::Value> {
            let each = checked.findings.iter();
            each.map(|finding| json!({ "what": finding.what, "to_do": finding.to_do, "must": finding.must })).collect()
        };
        let checks = checked.iter().map(|checked| {
            json!({ "check": checked.check, "says": checked.says, "findings": findings(checked) })
        });
        return context.out.json(&json!({ "shop": shop, "whole": whole, "checks": checks.collect::<Vec<_>>() }));
    }
    let out = &context.out;
    if let Some(shop) = shop {
        let now = context.now.to_zoned_datetime(jiff::tz::TimeZone::system());
        out.dressed_line(&format!("{shop}, {}", when::spoken(&now)), Dress::Bold)?;
        out.line("")?;
    }
    let mut table = Table::new([("looked at", Align::Left), ("how it stands", Align::Left)]);
    for Checked { check, says, findings } in checked {
        let dress = if findings.iter().any(|finding| finding.must) { Dress::Bold } else { Dress::Plain };
        table.row([(*check).to_owned(), says.clone()], dress);
    }
    out.table(&table)?;
    for (must, heading) in [(true, "To be done"), (false, "Good to know")] {
        let findings = checked.iter().flat_map(|checked| &checked.findings).filter(|finding| finding.must == must);
        for (place, finding) in findings.enumerate() {
            if place == 0 {
                out.line("")?;
                out.dressed_line(heading, Dress::Bold)?;
            }
            let lead = format!("{}  ", place + 1);
            let mut lines = finding.what.lines();
            out.prose(&lead, lines.next().unwrap_or_default())?;
            let indent = " ".repeat(lead.len());
            lines.try_for_each(|line| out.prose(&format!("{indent}  "), line))?;
            finding.to_do.iter().try_for_each(|line| out.prose(&format!("{indent}- "), line))?;
        }
    }
    if checked.iter().all(|checked| checked.findings.is_empty()) {
        out.line("")?;
        out.line("Nothing needs doing.")?;
    }
    Ok(())
}
