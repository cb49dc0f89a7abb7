//! Runs that come by themselves: by whichever ways the same one comes, it counts once; and what was known by hours alone is
//! corrected when its file turns up.

use std::fs::{self, File};
use std::path::Path;
use std::time::{Duration, UNIX_EPOCH};

use jiff::Timestamp;
use serde_json::Value;

use crate::programs::{LAYER_TRAVEL_M, gzip, ladder};
use crate::shop::{Shop, amount, answer, near};

/// A run of `part.gcode` that took an hour by its machine's clock.
const MORNING: &str = "--on bowline --material PLA --when \"24 Nov 8:00\" --once";

/// 24 November 2026, 8:00 in Oslo.
const EIGHT: &str = "2026-11-24T07:00:00Z";

fn shop_with_part() -> Shop {
    let shop = Shop::with_bowline();
    shop.write("part.gcode", ladder(100));
    shop
}

/// The runs that count, each with the hours of its use.
fn runs(shop: &Shop) -> Vec<Value> {
    let standing = |entry: &Value| entry["kind"] == "run" && entry["replaced_by"].is_null();
    shop.entries().into_iter().filter(standing).collect()
}

fn travel(shop: &Shop) -> f64 {
    let shown = shop.json("machine show bowline");
    amount(&shown["parts"][0]["use"], "travel x")
}

fn sha256(shop: &Shop, file: &str) -> String {
    let output = std::process::Command::new("sha256sum").arg(shop.path(file)).output().unwrap();
    String::from_utf8(output.stdout).unwrap()[..64].to_owned()
}

/// Sets a file's time of last change.
fn dated(path: &Path, at: &str) {
    let at: Timestamp = at.parse().unwrap();
    let time = UNIX_EPOCH + Duration::from_micros(u64::try_from(at.as_microsecond()).unwrap());
    File::options().write(true).open(path).unwrap().set_modified(time).unwrap();
}

#[test]
fn the_same_run_told_twice_counts_once() {
    let shop = shop_with_part();
    let first = shop.json(&format!("run part.gcode {MORNING}"));
    assert_eq!(first["came"], "booked");
    let again = shop.json(&format!("run part.gcode {MORNING}"));
    assert_eq!((&again["came"], &again["entry"]), (&"already".into(), &first["entry"]));
    // Packed, under another name, a moment later by another clock, or by its hash alone, it is the same run.
    shop.write("other.gcode.gz", gzip(&ladder(100)));
    for told in [
        "run other.gcode.gz --on bowline --material PLA --when \"24 Nov 8:00\" --once".to_owned(),
        format!("run --sha256 {} {MORNING}", sha256(&shop, "part.gcode")),
        format!("run --hours 0.1 {MORNING}"),
    ] {
        assert_eq!(shop.json(&told)["came"], "already", "{told}");
    }
    assert_eq!(runs(&shop).len(), 1);
    near(&travel(&shop).into(), 100.0 * LAYER_TRAVEL_M, 1e-6);
}

#[test]
fn what_was_known_by_hours_is_corrected_when_the_file_turns_up() {
    let shop = shop_with_part();
    let ended = "--ended \"24 Nov 8:10\"";
    let hash = sha256(&shop, "part.gcode");
    let told = shop.json(&format!("run {MORNING} {ended} --sha256 {hash} --label part"));
    assert_eq!(told["came"], "booked");
    // Another run of the same program, of which no file comes: it is corrected along with the first.
    shop.json(&format!("run --on bowline --material PLA --when \"23 Nov 8:00\" --hours 0.2 --sha256 {hash} --once"));
    let came = shop.json(&format!("run part.gcode {MORNING}"));
    assert_eq!(came["came"], "refined");
    assert_eq!(runs(&shop).len(), 2);
    near(&travel(&shop).into(), 2.0 * 100.0 * LAYER_TRAVEL_M, 1e-6);
    // What was estimated stays in the ledger, and the sums are those of the corrections.
    let replaced = shop.entries().iter().filter(|entry| !entry["replaced_by"].is_null()).count();
    assert_eq!(replaced, 2);
    assert_eq!(shop.json("shop verify")["differences"], Value::Array(vec![]));
}

#[test]
fn a_short_run_within_a_long_one_is_not_taken_for_it() {
    let shop = shop_with_part();
    shop.json("run --hours 4 --on bowline --material PLA --when \"24 Nov 7:00\" --once");
    shop.refused(&format!("run part.gcode {MORNING}"), &["busy", "nothing was booked"]);
    assert_eq!(runs(&shop).len(), 1);
}

#[test]
fn a_file_can_be_given_to_a_run_by_hand() {
    let shop = shop_with_part();
    let run = shop.json(&format!("run --hours 0.3 {MORNING}"));
    shop.json(&format!("correct {} --file part.gcode", run["entry"]));
    near(&travel(&shop).into(), 100.0 * LAYER_TRAVEL_M, 1e-6);
    let done = shop.json("done \"wipe the x rods\" --on bowline");
    shop.refused(&format!("correct {} --file part.gcode", done["entry"]), &["--file", "a run"]);
}

#[test]
fn a_hash_that_is_known_needs_no_file() {
    let shop = shop_with_part();
    let hash = sha256(&shop, "part.gcode");
    shop.refused(&format!("run --sha256 {hash} {MORNING}"), &["does not know that file", "--hours"]);
    shop.json(&format!("run part.gcode {MORNING}"));
    let by_hash = shop.json(&format!("run --sha256 {hash} --on bowline --material PLA --when \"24 Nov 18:00\" --once"));
    assert_eq!(by_hash["came"], "booked");
    near(&travel(&shop).into(), 200.0 * LAYER_TRAVEL_M, 1e-6);
    shop.refused(&format!("run --sha256 12ab {MORNING}"), &["is no SHA-256", "sha256sum"]);
}

#[test]
fn a_run_that_stopped_counts_for_as_long_as_it_took() {
    let shop = shop_with_part();
    let metered = shop.json("run part.gcode --on bowline --material PLA --when \"2 Nov 8:00\"");
    let (seconds, whole) = (amount(&metered["use"], "time"), amount(&metered["use"], "travel x"));
    let end = EIGHT.parse::<Timestamp>().unwrap() + jiff::SignedDuration::from_secs_f64(seconds / 2.0);
    let ended =
        end.to_zoned_datetime(jiff::tz::TimeZone::get("Europe/Oslo").unwrap()).strftime("%d %b %H:%M:%S").to_string();
    let stopped = shop.json(&format!("run part.gcode {MORNING} --ended \"{ended}\" --outcome stopped"));
    let share = amount(&stopped["use"], "travel x") / whole;
    assert!((share - 0.5).abs() < 0.02, "half of its time is half of a ladder, not {share}");
    shop.refused("run part.gcode --on bowline --material PLA --outcome stopped", &["stopped, but where?", "--ended"]);
}

#[test]
fn many_who_tell_of_one_run_at_once_book_it_once() {
    let shop = shop_with_part();
    shop.json("run part.gcode --on bowline --material PLA --when \"2 Nov 8:00\"");
    let hash = sha256(&shop, "part.gcode");
    let lines = [
        format!("run part.gcode {MORNING}"),
        format!("run --sha256 {hash} {MORNING}"),
        format!("run --hours 0.1 --label other {MORNING}"),
    ];
    let started: Vec<_> = (0..9).map(|number| shop.command(&lines[number % 3]).spawn().unwrap()).collect();
    for child in started {
        let answer = answer(child);
        assert_eq!(answer.code, Some(0), "{}", answer.err);
    }
    assert_eq!(runs(&shop).len(), 2);
    near(&travel(&shop).into(), 200.0 * LAYER_TRAVEL_M, 1e-6);
    assert_eq!(shop.json("shop verify")["differences"], Value::Array(vec![]));
}

#[test]
fn files_put_into_a_watched_folder_are_booked_once_wherever_they_are_moved() {
    let shop = shop_with_part();
    fs::create_dir_all(shop.path("in/bowline")).unwrap();
    shop.json("way folder hall in --pattern \"{machine}/*\" --material PLA --time start");
    let put = |name: &str, text: &str, at: &str| {
        fs::write(shop.path(name), text).unwrap();
        dated(&shop.path(name), at);
    };
    put("in/bowline/part.gcode", &ladder(100), EIGHT);
    put("in/bowline/notes.txt", "no print file", EIGHT);
    put("in/loose.gcode", &ladder(100), EIGHT);
    shop.told("watch --until-idle");
    assert_eq!(runs(&shop).len(), 1);
    assert_eq!(runs(&shop)[0]["at"], EIGHT);
    // Under another name, or told of by hand, it is the same run; another time makes another run.
    fs::rename(shop.path("in/bowline/part.gcode"), shop.path("in/bowline/renamed.gcode")).unwrap();
    shop.told("watch hall --until-idle");
    assert_eq!(shop.json(&format!("run part.gcode {MORNING}"))["came"], "already");
    assert_eq!(runs(&shop).len(), 1);
    put("in/bowline/renamed.gcode", &ladder(100), "2026-11-24T18:00:00Z");
    shop.told("watch --until-idle");
    assert_eq!(runs(&shop).len(), 2);
    // Nothing is new, so nothing is looked into again.
    assert_eq!(shop.told("watch --until-idle"), "");
}

#[test]
fn a_file_still_being_written_is_waited_for_and_one_that_cannot_be_booked_is_told_of() {
    let shop = shop_with_part();
    fs::create_dir(shop.path("in")).unwrap();
    shop.json("way folder bench in --on bowline --material PLA --time end");
    fs::write(shop.path("in/no.gcode"), "this is no G-code\n").unwrap();
    dated(&shop.path("in/no.gcode"), EIGHT);
    let watching = shop.command("watch").spawn().unwrap();
    let whole = ladder(100);
    // Its time is that of the last write, so it must be set when it is whole; each part must be seen to change.
    for part in whole.as_bytes().chunks(whole.len() / 4 + 1) {
        let mut file = File::options().create(true).append(true).open(shop.path("in/part.gcode")).unwrap();
        std::io::Write::write_all(&mut file, part).unwrap();
        std::thread::sleep(Duration::from_millis(700));
    }
    dated(&shop.path("in/part.gcode"), "2026-11-24T18:00:00Z");
    let until = std::time::Instant::now() + Duration::from_secs(30);
    while runs(&shop).is_empty() && std::time::Instant::now() < until {
        std::thread::sleep(Duration::from_millis(200));
    }
    stopped(watching);
    near(&travel(&shop).into(), 100.0 * LAYER_TRAVEL_M, 1e-6);
    let jobs = shop.json("job");
    assert_eq!((jobs.as_array().unwrap().len(), &jobs[0]["stands"]), (1, &"given up".into()), "{jobs:#}");
    assert!(jobs[0]["said"].as_str().unwrap().contains("no.gcode"), "{jobs:#}");
    shop.json(&format!("job forget {}", jobs[0]["job"]));
    assert_eq!(shop.json("job"), Value::Array(vec![]));
}

/// Ends a program that goes on until it is told to end.
fn stopped(mut child: std::process::Child) {
    std::process::Command::new("kill").arg(child.id().to_string()).status().unwrap();
    child.wait().unwrap();
}

#[test]
fn a_file_left_for_later_is_booked_by_a_worker_once() {
    let shop = shop_with_part();
    let told = format!("run part.gcode {} --later", MORNING.replace(" --once", ""));
    let first = shop.json(&told);
    assert_eq!(shop.json(&told)["job"], first["job"]);
    fs::remove_file(shop.path("part.gcode")).unwrap();
    assert_eq!(runs(&shop).len(), 0);
    shop.told("work --until-idle");
    assert_eq!(runs(&shop).len(), 1);
    near(&travel(&shop).into(), 100.0 * LAYER_TRAVEL_M, 1e-6);
    let jobs = shop.json("job");
    assert_eq!((jobs.as_array().unwrap().len(), &jobs[0]["stands"]), (1, &"done".into()));
    assert_eq!(fs::read_dir(shop.path("shop.tallow.files")).unwrap().count(), 0, "a file done with is forgotten");
    // Sent once more, it is known to be done.
    shop.write("part.gcode", ladder(100));
    assert_eq!(shop.json(&told)["job"], first["job"]);
    shop.told("work --until-idle");
    assert_eq!(runs(&shop).len(), 1);
}

#[test]
fn files_that_no_job_knows_are_swept_away_when_they_are_old_and_no_others() {
    let shop = shop_with_part();
    shop.write("no.gcode", "this is no G-code\n");
    shop.json("run no.gcode --on bowline --material PLA --when \"24 Nov 8:00\" --later");
    let folder = shop.path("shop.tallow.files");
    let kept = fs::read_dir(&folder).unwrap().next().unwrap().unwrap().file_name().into_string().unwrap();
    let owner = kept.split_once('-').unwrap().0;
    let names = [&kept, &format!("{owner}-lost"), &format!("{owner}-new"), "of-another-shop", "notes.txt"];
    for name in &names[1..] {
        fs::write(folder.join(name), "G1 X1\n").unwrap();
    }
    for name in names.iter().filter(|name| !name.ends_with("-new")) {
        // Older than a day by the real clock, whatever year this is run in.
        dated(&folder.join(name), "2020-01-01T00:00:00Z");
    }
    // Its job is given up, and its file is needed when it is tried again.
    let said = shop.told("work --until-idle");
    assert!(said.starts_with("1 file of which no job knows"), "{said}");
    assert_eq!(shop.json("job")[0]["stands"], "given up");
    let mut left: Vec<String> =
        fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    left.sort();
    let mut expected = [names[0], names[2], names[3], names[4]];
    expected.sort();
    assert_eq!(left, expected);
}

#[test]
fn a_hall_is_foreseen_once_a_day_shortly_before_the_day_begins() {
    let mut shop = Shop::with_bowline();
    let mut foreseen_at = |now: &str, machines: usize| {
        let there = shop.json("machine list").as_array().unwrap().len();
        for number in there..machines {
            let build = shop.json("machine list")[0]["build"].as_str().unwrap().to_owned();
            shop.told(&format!("machine add m{number} --build \"{build}\" --when \"1 Nov 2026\""));
        }
        shop.now = now.to_owned();
        shop.told("work --until-idle");
        let jobs = shop.json("job").as_array().unwrap().clone();
        jobs.iter().map(|job| job["said"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    let [today, tomorrow] = ["32 machines foreseen on 2026-11-25", "32 machines foreseen on 2026-11-26"];
    assert_eq!(foreseen_at("2026-11-25T12:00[Europe/Oslo]", 31), [""; 0], "of few, nothing need be kept");
    assert_eq!(foreseen_at("2026-11-25T12:00[Europe/Oslo]", 32), [today]);
    assert_eq!(foreseen_at("2026-11-25T23:54[Europe/Oslo]", 32), [today], "it was done");
    assert_eq!(foreseen_at("2026-11-25T23:56[Europe/Oslo]", 32), [tomorrow, today]);
    assert_eq!(foreseen_at("2026-11-26T00:01[Europe/Oslo]", 32), [tomorrow, today]);
}

#[test]
fn what_a_worker_cannot_do_is_told_and_can_be_tried_again() {
    let shop = shop_with_part();
    shop.json("run part.gcode --on bowline --material PLA --when \"24 Nov 8:00\" --later");
    let kept = fs::read_dir(shop.path("shop.tallow.files")).unwrap().next().unwrap().unwrap().path();
    fs::rename(&kept, shop.path("aside")).unwrap();
    shop.told("work --until-idle");
    let jobs = shop.json("job");
    assert_eq!(jobs[0]["stands"], "given up");
    assert!(jobs[0]["said"].as_str().unwrap().starts_with("part.gcode can't be read where it was kept"), "{jobs:#}");
    fs::rename(shop.path("aside"), &kept).unwrap();
    shop.json(&format!("job retry {}", jobs[0]["job"]));
    shop.told("work --until-idle");
    assert_eq!(runs(&shop).len(), 1);
    shop.refused("job retry 1", &["no job 1 that was given up"]);
    shop.refused("job forget 77", &["no job 77 that was given up"]);
}

#[test]
fn ways_in_are_listed_and_taken_away() {
    let shop = Shop::with_bowline();
    assert_eq!(shop.json("way"), Value::Array(vec![]));
    shop.refused("way folder bench nowhere --on bowline --material PLA --time start", &["there is no folder"]);
    fs::create_dir(shop.path("in")).unwrap();
    shop.refused("way folder bench in --on bowlin --material PLA --time start", &["bowline"]);
    shop.refused("way folder bench in --on bowline --material PLAA --time start", &["PLA"]);
    shop.refused("way folder bench in --pattern \"*.gcode\" --material PLA --time start", &["{machine}"]);
    shop.json("way folder bench in --on bowline --material PLA --time start");
    assert_eq!(shop.json("way")[0]["way"], "bench");
    shop.refused("watch bnch", &["bench"]);
    shop.json("way table past --on bowline --material PLA --start Start --end End");
    shop.refused("watch past", &["\"past\" is a table", "tallow import FILE --by"]);
    shop.json("way remove past");
    shop.json("way remove bench");
    assert_eq!(shop.json("way"), Value::Array(vec![]));
    shop.refused("watch", &["no way in"]);
}
