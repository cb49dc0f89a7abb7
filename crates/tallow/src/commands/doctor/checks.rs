//! What is looked at: each check takes plain facts and says how it stands, and what to do for each thing that it finds.

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use ledger::{Condition, Job, Stands, Verdict};
use upkeep::Build;

use crate::trouble::Trouble;
use crate::{when, words};

/// One thing that was looked at.
#[derive(Debug)]
pub(super) struct Checked {
    /// Its name.
    pub(super) check: &'static str,
    /// How it stands.
    pub(super) says: String,
    /// What was found that somebody should know of.
    pub(super) findings: Vec<Finding>,
}

/// One thing that was found.
#[derive(Debug)]
pub(super) struct Finding {
    /// What.
    pub(super) what: String,
    /// What to do, a line each.
    pub(super) to_do: Vec<String>,
    /// Whether something must be done; else it is good to know.
    pub(super) must: bool,
}

impl Finding {
    fn must(what: impl Into<String>, to_do: &[&str]) -> Finding {
        Finding { must: true, ..Finding::may(what, to_do) }
    }

    fn may(what: impl Into<String>, to_do: &[&str]) -> Finding {
        Finding { what: what.into(), to_do: to_do.iter().map(|line| (*line).to_owned()).collect(), must: false }
    }
}

impl Checked {
    fn new(check: &'static str, says: impl Into<String>) -> Checked {
        Checked { check, says: says.into(), findings: Vec::new() }
    }

    fn with(mut self, finding: impl IntoIterator<Item = Finding>) -> Checked {
        self.findings.extend(finding);
        self
    }

    /// What could not be looked at; that must be put right first.
    pub(super) fn failed(check: &'static str, trouble: &Trouble) -> Checked {
        let lines: Vec<&str> = trouble.help_lines().iter().map(String::as_str).collect();
        Checked::new(check, "could not be looked at").with([Finding::must(trouble.what(), &lines)])
    }
}

/// So many differences are told one by one.
const TOLD: usize = 5;

/// Whether the sums equal the entries; `machines` is how many the shop has had, and `verdict` may be of some of them.
pub(super) fn records(verdict: &Verdict, machines: usize) -> Checked {
    let Verdict { machines: proved, entries, differences } = verdict;
    let entries = if *entries == 1 { "1 entry that holds".to_owned() } else { format!("{entries} entries that hold") };
    let rest = match machines.saturating_sub(*proved) {
        0 => String::new(),
        1 => "; 1 more is proved with --whole".to_owned(),
        rest => format!("; {rest} more are proved with --whole"),
    };
    let of = words::count(*proved as u64, "machines");
    if differences.is_empty() {
        return Checked::new("records", format!("the sums of {of} equal the {entries}{rest}"));
    }
    let told = differences.iter().take(TOLD).map(|difference| format!("\n{difference}"));
    let what = format!("sums do not equal the entries: {} of {of}{}", differences.len(), told.collect::<String>());
    let to_do =
        ["keep a copy of the records as they are", "make the sums anew from the entries: tallow shop verify --rebuild"];
    Checked::new("records", "not whole").with([Finding::must(what, &to_do)])
}

/// The version of the tables, and whether entries are guarded from being edited.
pub(super) fn tables(condition: &Condition) -> Checked {
    let version = condition.version;
    if condition.unguarded.is_empty() {
        return Checked::new("tables", format!("version {version}; no entry can be edited or deleted"));
    }
    let what = format!(
        "nothing keeps entries from being edited or deleted any more: {} was taken away",
        condition.unguarded.join(" and ")
    );
    let to_do = ["go back to a copy from before that, for nobody can tell what was edited since"];
    Checked::new("tables", format!("version {version}")).with([Finding::must(what, &to_do)])
}

/// How much room a file's disk has.
#[derive(Clone, Copy, Debug)]
pub(super) struct Room {
    /// The file, bytes.
    pub(super) file: u64,
    /// What was written and has not been taken into the file yet, bytes.
    pub(super) log: u64,
    /// Free on its disk for this user, bytes.
    pub(super) free: u64,
}

/// With less than this free a disk is taken for full, bytes: a photo has up to 1 MiB, and a busy hall's day less. Judgement, no
/// source.
const LITTLE: u64 = 256 << 20;
/// What has not been taken into the file is large from here on, bytes: it is usually taken in every 4 MiB. Judgement, no source.
const LONG_LOG: u64 = 64 << 20;

/// Whether there is room to go on, and for a copy.
pub(super) fn room(room: Room) -> Checked {
    let Room { file, log, free } = room;
    let all = file.saturating_add(log);
    let says = format!("the records have {}, and {} are free", size(all), size(free));
    let short = if free < LITTLE {
        Some(Finding::must(
            format!("the disk is nearly full: {} are free", size(free)),
            &["make room on it, or move the records to a larger one while nothing uses them"],
        ))
    } else if free < all {
        let what = format!(
            "a copy of the records has no room beside them: they have {}, and {} are free",
            size(all),
            size(free)
        );
        Some(Finding::may(what, &["keep copies on another disk"]))
    } else {
        None
    };
    let long = (LONG_LOG < log && file < log).then(|| {
        Finding::must(
            format!("{} were written and never taken into the file, which has {}", size(log), size(file)),
            &[
                "end what has read the records for long: a copy under way, another program that has the file open",
                "then end and start what serves the shop; the last that closes the file takes everything in",
            ],
        )
    });
    Checked::new("disk", says).with(short).with(long)
}

/// Bytes as people read them.
fn size(bytes: u64) -> String {
    match bytes {
        0..1_000_000 => format!("{} kB", bytes.div_ceil(1000)),
        1_000_000..1_000_000_000 => format!("{} MB", bytes / 1_000_000),
        _ => format!("{:.1} GB", bytes as f64 / 1e9),
    }
}

/// By how much two clocks may differ that are set by a time server now and then. Judgement, no source.
const ASTRAY: SignedDuration = SignedDuration::from_mins(2);

/// The instant after which nothing can have been recorded, by a clock that is right.
pub(super) fn latest(now: Timestamp) -> Timestamp {
    now.saturating_add(ASTRAY).unwrap_or(now)
}

/// Whether the clocks that wrote the records, this one and a server's agree; `condition` was asked about [`latest`]. `asked` is
/// when the server's was asked, `None` where this one was set by hand.
pub(super) fn clock(now: Timestamp, zone: &TimeZone, condition: &Condition, asked: Option<Timestamp>) -> Checked {
    let spoken = |at: Timestamp| when::spoken(&at.to_zoned_datetime(zone.clone()));
    let set = "set this computer's clock by a time server (timedatectl set-ntp true)";
    let ahead = condition.last_recorded.filter(|_| 0 < condition.recorded_later).map(|last| {
        let (last, now) = (spoken(last), spoken(now));
        let what = match condition.recorded_later {
            1 => format!("1 entry was recorded later than now: {last}, and it is {now}"),
            many => format!("{many} entries were recorded later than now: the last {last}, and it is {now}"),
        };
        let then = "if the clock was ahead when they were recorded: tallow history shows them, and tallow correct puts \
                    right when they happened";
        Finding::must(what, &[set, then])
    });
    let apart = condition.clock.zip(asked).map(|(theirs, ours)| theirs.duration_since(ours));
    let astray = apart.filter(|apart| ASTRAY < apart.abs()).map(|apart| {
        let which = if apart.is_positive() { "ahead of" } else { "behind" };
        let what = format!("the database's clock is {} s {which} this computer's", apart.abs().as_secs());
        Finding::must(what, &[set, "and the server's clock as well"])
    });
    let says = match condition.last_recorded {
        Some(last) => format!("the last entry was recorded {}", spoken(last)),
        None => "nothing was recorded yet".to_owned(),
    };
    Checked::new("clock", says).with(ahead).with(astray)
}

/// A build that machines have.
#[derive(Debug)]
pub(super) struct InUse {
    /// Its name.
    pub(super) name: String,
    /// Its text in the shop.
    pub(super) text: String,
}

/// Whether the builds that machines have can be read, and whether those that come with tallow, by name and text, say the same.
pub(super) fn builds(in_use: &[InUse], shipped: &[(&str, String, &str)]) -> Checked {
    let mut findings = Vec::new();
    for InUse { name, text } in in_use {
        if let Err(errors) = Build::parse(name, text) {
            let what = format!("the build \"{name}\" can't be read by this version:\n{errors}");
            findings.push(Finding::must(
                what,
                &["put its file right, let tallow check it, and give it to the machines: tallow build change FILE"],
            ));
        } else if let Some((short, ..)) = shipped.iter().find(|(_, full, theirs)| full == name && theirs != text) {
            let what = format!("the build \"{name}\" is not the one that comes with this version");
            let look = format!(
                "to see what would change: tallow build print {short} > {short}.toml, and hold it against your own"
            );
            let change = format!("to take it over: tallow build change {short}.toml");
            findings.push(Finding::may(what, &[&look, &change]));
        }
    }
    let says = match in_use.len() {
        0 => "no machine has one yet".to_owned(),
        many => format!("{} in use", words::count(many as u64, "builds")),
    };
    Checked::new("builds", says).with(findings)
}

/// Whether the folders that are watched, by the names of their ways in, are there, and whether brokers' passwords, by the names of
/// theirs, stand in the records; `count` is of all ways in.
pub(super) fn ways(count: usize, folders: &[(String, String, bool)], with_password: &[String]) -> Checked {
    let says = match count {
        0 => "none was set up".to_owned(),
        1 => "1 was set up".to_owned(),
        many => format!("{many} were set up"),
    };
    let gone = folders.iter().filter(|(.., is_there)| !is_there).map(|(name, folder, _)| {
        let away = format!("bring the folder back, for its drive may not be mounted; or take the way in away: tallow way remove \"{name}\"");
        Finding::must(format!("nothing comes by \"{name}\": there is no folder {folder}"), &[&away])
    });
    let readable = with_password.iter().map(|name| {
        let what =
            format!("the password of \"{name}\" at its broker stands readably in the records, and so in each backup");
        let apart =
            format!("keep it in a file: tallow way mqtt \"{name}\" mqtt://USER@HOST --password-file FILE --map FILE");
        Finding::may(what, &[&apart])
    });
    Checked::new("ways in", says).with(gone.chain(readable))
}

/// A job that nobody has begun by then after it was due is waiting for a worker that is not there. Judgement, no source.
const UNTOUCHED: SignedDuration = SignedDuration::from_hours(1);

/// Whether what was left for later gets done.
pub(super) fn jobs(now: Timestamp, jobs: &[Job]) -> Checked {
    let is_late = |job: &&Job| match job.stands {
        Stands::Waits(due) | Stands::Held(due) => UNTOUCHED < now.duration_since(due),
        Stands::Done(_) | Stands::Failed(_) => false,
    };
    let is_open = |job: &&Job| matches!(job.stands, Stands::Waits(_) | Stands::Held(_));
    let failed = jobs.iter().filter(|job| matches!(job.stands, Stands::Failed(_))).count();
    let (late, open) = (jobs.iter().filter(is_late).count(), jobs.iter().filter(is_open).count());
    let given_up = (0 < failed).then(|| {
        Finding::must(
            format!("{} given up", words::count(failed as u64, "jobs")),
            &["see why: tallow job", "then try again or forget it: tallow job retry NUMBER, tallow job forget NUMBER"],
        )
    });
    let waiting = (0 < late).then(|| {
        let what = format!("{} waited for a worker for more than an hour", words::count(late as u64, "jobs"));
        Finding::must(what, &["start one: tallow work, or the unit tallow-work@1"])
    });
    Checked::new("jobs", format!("{} to be done", words::count(open as u64, "jobs"))).with(given_up).with(waiting)
}

/// Who may read and write the file: `mode` are its permissions as POSIX has them (IEEE Std 1003.1, `<sys/stat.h>`).
pub(super) fn permissions(mode: u32, keeps_secrets: bool, file: &str) -> Checked {
    let (others_write, others_read) = (mode & 0o002 != 0, mode & 0o004 != 0);
    let says = match (others_write, others_read) {
        (true, _) => "everybody on this computer may change the records",
        (false, true) => "everybody on this computer may read the records",
        (false, false) => "nobody but their owner and group may read the records",
    };
    let only = format!("chmod o= \"{file}\"");
    let finding = if others_write {
        Some(Finding::must("everybody on this computer may change the records, past tallow", &[&only]))
    } else if others_read && keeps_secrets {
        let what = "everybody on this computer may read the records, with the hashes of passwords and tokens and the secret \
                    addresses of calendars in them";
        Some(Finding::must(
            what,
            &[&only, "give out anew what may have been read: tallow token new, tallow person set"],
        ))
    } else {
        None
    };
    Checked::new("permissions", says).with(finding)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MEGA: u64 = 1_000_000;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn condition() -> Condition {
        Condition {
            file: None,
            version: 8,
            unguarded: vec![],
            recorded_later: 0,
            last_recorded: Some(at("2026-11-25T08:00:00Z")),
            clock: None,
            keeps_secrets: false,
        }
    }

    /// What was found, and whether something must be done.
    fn found(checked: &Checked) -> Vec<(&str, bool)> {
        assert!(checked.findings.iter().all(|finding| !finding.to_do.is_empty()), "{checked:?}");
        checked.findings.iter().map(|finding| (finding.what.as_str(), finding.must)).collect()
    }

    #[test]
    fn a_disk_that_is_nearly_full_must_be_seen_to_and_one_without_room_for_a_copy_told() {
        let (little, much) = (10 * MEGA, 10_000 * MEGA);
        assert!(found(&room(Room { file: 5 * MEGA, log: 0, free: much })).is_empty());
        let full = room(Room { file: 5 * MEGA, log: 0, free: little });
        assert!(matches!(found(&full)[..], [(what, true)] if what.contains("10 MB are free")), "{full:?}");
        let no_copy = room(Room { file: 2 * much, log: 0, free: much });
        assert!(matches!(found(&no_copy)[..], [(what, false)] if what.contains("20.0 GB")), "{no_copy:?}");
    }

    #[test]
    fn a_log_that_is_never_taken_in_is_found_unless_the_file_is_as_large() {
        let free = 10_000 * MEGA;
        assert!(found(&room(Room { file: MEGA, log: 4 * MEGA, free })).is_empty());
        assert!(found(&room(Room { file: 200 * MEGA, log: 100 * MEGA, free })).is_empty());
        let long = room(Room { file: MEGA, log: 100 * MEGA, free });
        assert!(matches!(found(&long)[..], [(what, true)] if what.contains("100 MB were written")), "{long:?}");
    }

    #[test]
    fn clocks_that_do_not_agree_are_told_apart_and_by_how_much() {
        let now = at("2026-11-25T09:00:00Z");
        let with = |theirs: &str| Condition { clock: Some(at(theirs)), ..condition() };
        assert!(found(&clock(now, &TimeZone::UTC, &with("2026-11-25T09:01:59Z"), Some(now))).is_empty());
        let behind = clock(now, &TimeZone::UTC, &with("2026-11-25T08:50:00Z"), Some(now));
        assert!(matches!(found(&behind)[..], [(what, true)] if what.contains("600 s behind")), "{behind:?}");
        let ahead = clock(now, &TimeZone::UTC, &with("2026-11-25T10:00:00Z"), Some(now));
        assert!(matches!(found(&ahead)[..], [(what, true)] if what.contains("3600 s ahead of")), "{ahead:?}");
        assert!(
            found(&clock(now, &TimeZone::UTC, &with("2026-11-25T10:00:00Z"), None)).is_empty(),
            "a clock set by hand proves nothing"
        );
    }

    #[test]
    fn a_file_that_all_may_read_matters_where_it_holds_secrets() {
        assert!(found(&permissions(0o100_640, true, "s")).is_empty());
        assert!(found(&permissions(0o100_644, false, "s")).is_empty());
        let read = permissions(0o100_644, true, "my shop");
        assert!(matches!(found(&read)[..], [(_, true)]), "{read:?}");
        assert_eq!(read.findings[0].to_do[0], "chmod o= \"my shop\"");
        assert!(matches!(found(&permissions(0o100_666, false, "s"))[..], [(what, true)] if what.contains("change")));
    }

    #[test]
    fn a_job_that_nobody_takes_tells_of_a_missing_worker() {
        let now = at("2026-11-25T09:00:00Z");
        let job = |stands| Job {
            id: 1,
            kind: "run".to_owned(),
            key: String::new(),
            body: String::new(),
            made_by: None,
            made: now,
            tries: 0,
            stands,
            said: String::new(),
        };
        let soon = [job(Stands::Waits(at("2026-11-25T08:30:00Z"))), job(Stands::Held(at("2026-11-25T09:10:00Z")))];
        assert!(found(&jobs(now, &soon)).is_empty());
        assert_eq!(jobs(now, &soon).says, "2 jobs to be done");
        // One whose worker died is held until then, and may be taken from then on.
        for late in [Stands::Waits(at("2026-11-25T07:30:00Z")), Stands::Held(at("2026-11-25T07:30:00Z"))] {
            assert!(matches!(found(&jobs(now, &[job(late)]))[..], [(what, true)] if what.contains("1 job waited")));
        }
        assert!(found(&jobs(now, &[job(Stands::Done(at("2026-11-20T07:30:00Z")))])).is_empty());
    }

    #[test]
    fn the_rest_of_a_hall_is_offered() {
        let verdict = Verdict { machines: 3, entries: 1, differences: vec![] };
        assert_eq!(records(&verdict, 3).says, "the sums of 3 machines equal the 1 entry that holds");
        assert!(records(&verdict, 12).says.ends_with("; 9 more are proved with --whole"));
    }
}
