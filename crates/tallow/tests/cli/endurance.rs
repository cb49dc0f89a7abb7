//! What the records stand: two writers at once, a kill at any instant, a full disk, a place that may not be written.

use std::ffi::OsString;
use std::fs::{self, Permissions};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::Value;
use sqlx::{Connection, SqliteConnection};

use crate::shop::{Answer, Shop, answer};

/// A command line that books an hour by the name of `label`, from the `hour`th hour of 2 November on.
fn booking(label: &str, hour: usize) -> String {
    let (day, hour) = (2 + hour / 24, hour % 24);
    format!("run --on bowline --hours 1 --material PLA --label {label} --when \"{day} Nov {hour}:00\" --json")
}

/// The labels of the runs in the records.
fn labels(shop: &Shop) -> Vec<String> {
    let entries = shop.entries();
    let runs = entries.iter().filter(|entry| entry["kind"] == "run");
    runs.map(|entry| entry["event"]["label"].as_str().unwrap().to_owned()).collect()
}

/// Asserts that the sums equal the entries.
#[track_caller]
fn proven(shop: &Shop) {
    assert_eq!(shop.json("shop verify")["differences"], serde_json::json!([]));
}

#[test]
fn two_that_book_at_once_both_succeed() {
    let shop = Shop::with_bowline();
    for round in 0..5 {
        let start = |hand: &str, hour| shop.command(&booking(&format!("{hand}-{round}"), hour)).spawn().unwrap();
        let (left, right) = (start("left", 2 * round), start("right", 2 * round + 1));
        for answer in [answer(left), answer(right)] {
            assert_eq!(answer.code, Some(0), "{}", answer.err);
        }
    }
    assert_eq!(labels(&shop).len(), 10);
    proven(&shop);
}

#[test]
fn a_kill_at_any_instant_loses_nothing_that_was_acknowledged() {
    const KILLS: usize = 10;
    let shop = Shop::with_bowline();
    let began = Instant::now();
    shop.told(&booking("whole", 0));
    let usual = began.elapsed();
    let mut acknowledged = vec!["whole".to_owned()];
    for kill in 0..KILLS {
        let label = format!("killed-{kill}");
        let mut child = shop.command(&booking(&label, 2 * kill + 1)).spawn().unwrap();
        thread::sleep(usual.mul_f64(kill as f64 / (KILLS - 1) as f64));
        child.kill().unwrap();
        if serde_json::from_str::<Value>(&answer(child).out).is_ok() {
            acknowledged.push(label);
        }
        let next = format!("after-{kill}");
        shop.told(&booking(&next, 2 * kill + 2));
        acknowledged.push(next);
    }
    let kept = labels(&shop);
    let lost: Vec<&String> = acknowledged.iter().filter(|label| !kept.contains(label)).collect();
    assert!(lost.is_empty(), "{lost:?}");
    proven(&shop);
}

/// Writes all that was committed into the shop's own file, as the last of its users does in leaving.
fn settle(shop: &Shop) {
    let at = format!("sqlite:{}", shop.place().display());
    let close = async { SqliteConnection::connect(&at).await.unwrap().close().await.unwrap() };
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(close);
}

#[test]
fn all_that_is_recorded_stands_in_the_one_file_once_a_command_has_ended() {
    let shop = Shop::with_bowline();
    // Several, because a program that leaves without waiting for this may be lucky once.
    for count in 1..=10 {
        shop.told(&booking(&format!("kept-{count}"), count));
        let copy = Shop::folder();
        fs::copy(shop.place(), copy.place()).unwrap();
        assert_eq!(labels(&copy).len(), count, "a copy of the file alone is a copy of the records");
    }
}

/// Runs a command line by way of a shell's words, in which `"$@"` is the program with its own words.
fn by_shell(shop: &Shop, before: &[&str], script: &str, line: &str) -> Answer {
    let program = shop.command(line);
    let words = before.iter().map(|word| (*word).into()).chain(["sh".into(), "-c".into(), script.into(), "sh".into()]);
    let words: Vec<OsString> = words.chain([program.get_program().to_owned()]).collect();
    let mut command = Command::new(&words[0]);
    command.args(&words[1..]).args(program.get_args()).current_dir(shop.path("."));
    command.env_clear().envs(program.get_envs().filter_map(|(name, value)| Some((name, value?))));
    command.env("PATH", "/usr/sbin:/usr/bin:/sbin:/bin").stdout(Stdio::piped()).stderr(Stdio::piped());
    answer(command.spawn().unwrap())
}

/// The system refuses each write that would make a file longer than 33 KiB; the note alone is longer.
#[test]
fn a_write_that_fails_is_told_and_loses_nothing_that_was_acknowledged() {
    let shop = Shop::with_bowline();
    shop.told(&booking("before", 8));
    settle(&shop);
    let line = format!("{} --note {}", booking("during", 9).replace(" --json", ""), "x".repeat(60_000));
    let answer = by_shell(&shop, &[], "trap '' XFSZ; ulimit -f 66; exec \"$@\"", &line);
    assert_eq!((answer.code, answer.out.as_str()), (Some(1), ""), "{}", answer.err);
    answer.mentions(&["error: "]);
    assert_eq!(labels(&shop), ["before"]);
    shop.told(&booking("during", 9));
    assert_eq!(labels(&shop), ["before", "during"]);
    proven(&shop);
}

/// The disk is a memory of 600 KiB, mounted where only this test sees it, and filled. Where no user may mount (inside
/// some containers) the test above is what remains of this one.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told_and_loses_nothing_that_was_acknowledged() {
    let namespaces = [&["unshare", "--mount"][..], &["unshare", "--map-root-user", "--mount"]];
    let shop = Shop::with_bowline();
    shop.told(&booking("before", 8));
    settle(&shop);
    fs::create_dir(shop.path("disk")).unwrap();
    let mount = "mount -t tmpfs -o size=600k none disk";
    let may = |namespace: &&&[&str]| by_shell(&shop, namespace, mount, "").code == Some(0);
    let Some(namespace) = namespaces.iter().find(may) else { return };
    // Room for some of what a booking writes, and room for nothing.
    for spare_kib in [48, 0] {
        let script = format!(
            "{mount} && head -c {spare_kib}k /dev/zero > disk/spare && cp shop.tallow disk/ || exit 9
             export TALLOW_SHOP=disk/shop.tallow
             cat /dev/zero > disk/rest 2>/dev/null; rm disk/spare
             \"$@\"; code=$?
             rm disk/rest && cp disk/shop.tallow* . && exit $code"
        );
        let answer = by_shell(&shop, namespace, &script, &booking("during", 9).replace(" --json", ""));
        assert_eq!((answer.code, answer.out.as_str()), (Some(1), ""), "{spare_kib} KiB: {}", answer.err);
        answer.mentions(&["the disk is full", "make room"]);
        assert_eq!(labels(&shop), ["before"], "{spare_kib} KiB");
        settle(&shop);
    }
    shop.told(&booking("during", 9));
    assert_eq!(labels(&shop), ["before", "during"]);
    proven(&shop);
}

/// Somebody who may not write what the tests' own user may: nobody, where that user may do everything.
const NOBODY: u32 = 65_534;

#[test]
fn a_place_that_may_not_be_written_is_named() {
    let shop = Shop::with_bowline();
    settle(&shop);
    let program = shop.path("tallow");
    fs::copy(Path::new(env!("CARGO_BIN_EXE_tallow")), &program).unwrap();
    fs::set_permissions(shop.path("shop.tallow"), Permissions::from_mode(0o444)).unwrap();
    fs::set_permissions(shop.path("."), Permissions::from_mode(0o555)).unwrap();
    let may_all = fs::metadata("/proc/self").unwrap().uid() == 0;
    let ask = |line: &str| {
        let mut command = shop.command_of(&program, line);
        if may_all {
            command.uid(NOBODY).gid(NOBODY);
        }
        answer(command.spawn().unwrap())
    };
    for (line, parts) in [
        (booking("x", 8).replace(" --json", ""), ["shop", "check"]),
        ("shop new Other --shop other.tallow".to_owned(), ["other.tallow", "check"]),
        ("shop new Other --shop deep/other.tallow".to_owned(), ["deep", "--shop FILE"]),
    ] {
        let answer = ask(&line);
        assert_eq!((answer.code, answer.out.as_str()), (Some(1), ""), "{line}: {}", answer.err);
        answer.mentions(&parts);
    }
    // So that the folder can be removed.
    fs::set_permissions(shop.path("."), Permissions::from_mode(0o755)).unwrap();
}

#[test]
fn a_folder_that_cannot_be_made_is_named() {
    let shop = Shop::folder();
    shop.write("file", "");
    shop.refused("shop new Other --shop file/other.tallow", &["the folder file can't be made", "--shop FILE"]);
}

#[test]
fn booking_waits_for_another_that_writes() {
    let shop = Shop::with_bowline();
    let at = format!("sqlite:{}", shop.place().display());
    let hold = async {
        let mut connection = SqliteConnection::connect(&at).await.unwrap();
        sqlx::raw_sql("begin immediate").execute(&mut connection).await.unwrap();
        let waiting = shop.command(&booking("patient", 8)).spawn().unwrap();
        thread::sleep(Duration::from_millis(500));
        sqlx::raw_sql("commit").execute(&mut connection).await.unwrap();
        waiting
    };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let answer = answer(runtime.block_on(hold));
    assert_eq!(answer.code, Some(0), "{}", answer.err);
    assert_eq!(labels(&shop), ["patient"]);
}
