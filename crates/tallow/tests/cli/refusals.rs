//! Bad input: each is refused with what is wrong, where, and what to do, and leaves the records as they were.

use std::fs;

use sqlx::{Connection, SqliteConnection};

use crate::programs::{gzip, ladder, zstandard};
use crate::shop::{Shop, testdata};

/// A shop with bowline and a good `part.gcode`.
fn shop_with_part() -> Shop {
    let shop = Shop::with_bowline();
    shop.write("part.gcode", ladder(100));
    shop
}

/// Asserts that both `meter` and `run` refuse a file, and that nothing is booked.
#[track_caller]
fn refuses(name: &str, bytes: impl AsRef<[u8]>, parts: &[&str]) {
    let shop = Shop::with_bowline();
    shop.write(name, bytes);
    let parts = [&[name], parts].concat();
    shop.refused(&format!("meter {name} --build delta"), &parts);
    shop.refused(&format!("run {name} --on bowline --material PLA"), &parts);
    assert_eq!(shop.entries().len(), 1);
}

#[test]
fn a_binary_file_is_no_gcode() {
    let binary = fs::read(testdata("toolpaths/nasty/31_binary.gcode")).unwrap();
    refuses("photo.gcode", binary, &["G-code", "give the G-code itself"]);
}

#[test]
fn a_file_without_motion_is_refused() {
    refuses("empty.gcode", "", &["empty", "give a print file"]);
    refuses("remarks.gcode", "; nothing\n(at all)\n", &["only comments", "give a print file"]);
    refuses("garbled.gcode", "G1 X\nG1 Y\n", &["nothing to meter", "2 warnings", "line 1"]);
}

#[test]
fn packed_files_that_end_early_are_refused_and_not_counted_short() {
    for (name, packed) in [("cut.gcode.gz", gzip(&ladder(2000))), ("cut.gcode.zst", zstandard(&ladder(2000)))] {
        refuses(name, &packed[..packed.len() / 2], &["is not whole", "nothing was counted", "copy the file again"]);
    }
}

#[test]
fn packed_data_that_are_damaged_are_refused() {
    let mut packed = gzip(&ladder(2000));
    let middle = packed.len() / 2;
    packed[middle..middle + 40].fill(0xff);
    refuses("hurt.gcode.gz", packed, &["can't be unpacked", "copy the file again"]);
}

#[test]
fn a_file_whose_last_line_may_be_cut_is_metered_with_a_warning() {
    let shop = Shop::with_bowline();
    let text = ladder(100);
    // The last line is `G1 X0 E10`: what is left of it still reads as a whole line.
    shop.write("cut.gcode", &text[..text.len() - 2]);
    let metered = shop.json("meter cut.gcode --build delta");
    assert_eq!(metered["ends_mid_line"], true);
    let text = shop.told("meter cut.gcode --build delta");
    assert!(text.contains("cut off"), "{text}");
    let said = shop.told("run cut.gcode --on bowline --material PLA");
    assert!(said.contains("cut off"), "a run of such a file says so too: {said}");
    shop.write("whole.gcode", ladder(100));
    assert_eq!(shop.json("meter whole.gcode --build delta")["ends_mid_line"], false);
}

#[test]
fn a_file_that_is_not_there_or_is_a_folder_is_named() {
    let shop = shop_with_part();
    fs::create_dir(shop.path("parts")).unwrap();
    for command in ["meter {} --build delta", "run {} --on bowline --material PLA"] {
        shop.refused(&command.replace("{}", "parts"), &["parts is a folder", "name the files"]);
        shop.refused(&command.replace("{}", "prat.gcode"), &["there is no file prat.gcode", "check the name"]);
    }
    shop.refused("build check parts", &["parts"]);
    shop.refused("build check absent.toml", &["absent.toml"]);
    shop.refused("due --shop parts", &["parts"]);
}

#[test]
fn a_share_of_standard_input_cannot_be_known() {
    let shop = shop_with_part();
    let answer = shop.ask_with_input("meter - --build delta --stop \"40 %\"", ladder(10).as_bytes());
    assert_eq!((answer.code, answer.out.as_str()), (Some(1), ""));
    answer.mentions(&["standard input", "name the file", "layer"]);
}

#[test]
fn of_many_names_a_few_are_told_and_where_the_others_stand() {
    let shop = Shop::with_machine("enclosed-corexy");
    let answer = shop.ask("done \"feed the cat\" --on bowline");
    answer.mentions(&["no task is called \"feed the cat\"", "all of them: tallow due MACHINE --all"]);
    let (_, listed) = answer.err.split_once("among them: ").unwrap();
    let between = if listed.contains("; ") { "; " } else { ", " };
    assert_eq!(listed.lines().next().unwrap().split(between).count(), 8, "{listed}");
}

#[test]
fn a_name_that_nothing_has_is_answered_with_the_nearest() {
    let shop = shop_with_part();
    shop.refused("run part.gcode --on bowlin --material PLA", &["\"bowlin\"", "did you mean bowline?"]);
    shop.refused("machine show bowlnie", &["\"bowlnie\"", "did you mean bowline?"]);
    shop.refused("due bowlin", &["\"bowlin\"", "did you mean bowline?"]);
    shop.refused("done \"wipe the x rod\" --on bowline", &["\"wipe the x rod\"", "did you mean wipe the x rods?"]);
    shop.refused("steps \"wipe rods\" --on bowline", &["\"wipe rods\"", "grease the z screws"]);
    shop.refused("replace \"x rod\" --on bowline --because worn", &["\"x rod\"", "did you mean x rods?"]);
    shop.refused("failure nozle blocked --on bowline", &["\"nozle\"", "did you mean nozzle?"]);
    shop.refused("reading nozle bore \"0.4 mm\" --on bowline", &["\"nozle\"", "did you mean nozzle?"]);
    shop.refused("run part.gcode --on bowline --material PTEG", &["\"PTEG\"", "did you mean PETG?", "material add"]);
    shop.refused("run part.gcode --on bowline --material T7=PLA", &["T7 prints nothing", "it uses T0"]);
    shop.refused("machine add second --build deltaa", &["\"deltaa\"", "did you mean delta?", "moving-bed"]);
    shop.refused("meter part.gcode --build deltaa", &["\"deltaa\"", "did you mean delta?"]);
    shop.refused("build print deltaa", &["\"deltaa\"", "did you mean delta?"]);
    shop.refused("material add X --density 1.2 --class abrasiv", &["\"abrasiv\"", "did you mean abrasive?"]);
    shop.refused("history bowlin", &["\"bowlin\"", "did you mean bowline?"]);
    shop.refused("replay bowlin", &["\"bowlin\"", "did you mean bowline?"]);
    assert_eq!(shop.entries().len(), 1);
}

#[test]
fn the_first_machine_is_asked_for_where_there_is_none() {
    let shop = Shop::new();
    shop.refused("run --on bowline --hours 1 --material PLA", &["bowline", "machine add"]);
    assert!(shop.told("due").contains("machine add"));
    assert!(shop.told("machine list").contains("machine add"));
}

#[test]
fn the_future_is_not_recorded() {
    let shop = shop_with_part();
    for line in [
        "run part.gcode --on bowline --material PLA --when tomorrow",
        "done \"wipe the x rods\" --on bowline --when 2026-11-26",
        "replace nozzle --on bowline --because worn --when \"today 15:31\"",
        "failure nozzle blocked --on bowline --when 2030-01-01",
        "machine add second --build delta --when tomorrow",
    ] {
        shop.refused(line, &["future", "now is Wed 25 Nov 2026 15:30"]);
    }
    let run = shop.ask("run part.gcode --on bowline --material PLA --when tomorrow");
    run.mentions(&["for what is still to come use `tallow queue`"]);
    shop.refused("queue part.gcode --on bowline --material PLA --day yesterday", &["past", "2026-11-25"]);
    assert_eq!(shop.entries().len(), 1);
}

#[test]
fn what_is_no_date_is_answered_with_the_forms_that_are() {
    let shop = shop_with_part();
    for when in ["soon", "31 feb", "25:00", "2026-13-01"] {
        let line = format!("run part.gcode --on bowline --material PLA --when \"{when}\"");
        shop.refused(&line, &[when, "is not a date", "yesterday 14:10"]);
    }
    // Summer time in Oslo began on 29 March 2026 at 02:00 (EU directive 2000/84/EC: last Sunday of March).
    let line = "run part.gcode --on bowline --material PLA --when \"2026-03-29 02:30\"";
    shop.refused(line, &["went forward"]);
}

#[test]
fn before_the_machine_joined_nothing_is_recorded() {
    let shop = shop_with_part();
    shop.refused("run part.gcode --on bowline --material PLA --when \"30 Oct\"", &["before", "bowline", "joined"]);
}

#[test]
fn a_run_booked_twice_counts_once_and_names_its_entry() {
    let shop = shop_with_part();
    shop.told("run part.gcode --on bowline --material PLA");
    let parts = ["part.gcode is already booked", "entry 2", "--when", "tallow correct 2 --withdraw"];
    shop.refused("run part.gcode --on bowline --material PLA", &parts);
    // The same content by another name, in the same minutes.
    shop.write("again.gcode", ladder(100));
    shop.refused("run again.gcode --on bowline --material PETG", &["already booked", "entry 2"]);
    assert_eq!(shop.entries().len(), 2);
}

#[test]
fn a_machine_runs_one_program_at_a_time() {
    let shop = shop_with_part();
    shop.told("run --on bowline --hours 4 --material PLA --label knots --when \"yesterday 8:00\"");
    let parts = ["busy with knots", "entry 2", "one program at a time", "--when", "tallow correct 2 --withdraw"];
    for start in ["yesterday 9:00", "yesterday 7:00", "yesterday 11:30"] {
        shop.refused(&format!("run --on bowline --hours 2 --material PLA --when \"{start}\""), &parts);
    }
    // Planned and typed times are not so sure that a few minutes count, nor does a run of another machine.
    shop.told("run --on bowline --hours 2 --material PLA --when \"yesterday 11:50\"");
    shop.told("run --on bowline --hours 2 --material PLA --when \"yesterday 6:10\"");
    shop.told(&format!("machine add reef --build \"{}\" --when \"1 Nov 2026\"", testdata("builds/reference.toml")));
    shop.told("run --on reef --hours 2 --material PLA --when \"yesterday 9:00\"");
}

#[test]
fn what_must_not_touch_a_part_is_refused_in_a_record_too() {
    let shop = shop_with_part();
    let done = |supply: &str| format!("done \"wipe the x rods\" --on bowline --used \"{supply}\"");
    let parts = ["must not touch \"x rods\"", "grease is forbidden", "nothing was recorded", "clean it off"];
    for supply in ["NLGI 2 lithium grease=2 g", "White Lithium Grease", "silicone GREASE"] {
        shop.refused(&done(supply), &parts);
    }
    // What no rule can judge might be a slip of the pen for grease.
    shop.refused(&done("NLGI 2 lithium greese"), &["no supply", "did you mean NLGI 2 lithium grease?", "nothing was"]);
    shop.refused(&done("butter"), &["no supply is called \"butter\"", "say what it is", "--note"]);
    assert_eq!(shop.entries().len(), 1);
    shop.told(&done("ISOPROPYL alcohol, 90 % or more=3 ml"));
    shop.told(&done("IPA"));
}

#[test]
fn names_that_differ_in_their_case_alone_are_one_name() {
    let shop = shop_with_part();
    let build = testdata("builds/reference.toml");
    shop.refused(&format!("machine add Bowline --build \"{build}\""), &["already is a machine \"bowline\""]);
    shop.told("material add PLA-STONE --density 1.4 --class abrasive");
    let said = shop.told("material add Pla-Stone --density 1.5");
    assert!(said.contains("PLA-STONE is known now: 1.50 g/cm3; it was 1.40 g/cm3, abrasive"), "{said}");
    for name in ["abrasive", "T0=X", " "] {
        shop.refused(&format!("material add \"{name}\" --density 1.2"), &["can't be a material's name"]);
    }
}

#[test]
fn a_run_that_is_not_over_is_refused() {
    let shop = shop_with_part();
    let parts = ["lies in the future", "when it is over", "tallow queue"];
    shop.refused("run --on bowline --hours 3 --material PLA --when \"1 hour ago\"", &parts);
    // A planned time may be a little longer than the real one.
    shop.told("run --on bowline --hours 3 --material PLA --when \"170 minutes ago\"");
}

#[test]
fn hours_and_masses_beyond_any_machine_are_refused_and_nothing_overflows() {
    let shop = shop_with_part();
    for hours in ["1e8", "1e300", "inf"] {
        let answer = shop.ask(&format!("run --on bowline --hours {hours} --material PLA"));
        assert_eq!((answer.code, answer.out.as_str()), (Some(2), ""));
        answer.mentions(&["a number with a point"]);
    }
    for hours in ["100000000", "9000", &"9".repeat(300)] {
        let most = ["no run has more than 8784"];
        shop.refused(&format!("run --on bowline --hours {hours} --material PLA --when 2026-11-02"), &most);
        shop.refused(&format!("queue --on bowline --hours {hours} --material PLA"), &most);
    }
    shop.refused("run --on bowline --hours 1 --grams 10000000 --material PLA", &["no run has more than 5000"]);
    shop.refused("run --on bowline --grams 12 --material PLA", &["neither a print file nor hours", "--hours 5.5"]);
}

#[test]
fn a_corrected_run_may_not_take_another_ones_time() {
    let shop = shop_with_part();
    shop.told("run --on bowline --hours 4 --material PLA --label knots --when \"2 days ago\"");
    shop.told("run --on bowline --hours 4 --material PLA --label bends --when \"3 days ago\"");
    shop.refused("correct 3 --when \"47 hours ago\"", &["busy with knots", "entry 2"]);
    shop.told("correct 3 --when \"71 hours ago\"");
    shop.told("correct 2 --withdraw");
    shop.refused("correct 5 --withdraw", &["entry 5 is itself a withdrawal"]);
    shop.refused("correct 4 --when \"2026-10-01\"", &["before bowline joined"]);
}

#[test]
fn amounts_of_supplies_and_units_of_readings_must_make_sense() {
    let shop = shop_with_part();
    let done = |used: &str| format!("done \"wipe the x rods\" --on bowline --used \"{used}\"");
    for used in ["lint-free wipe=many", "lint-free wipe=-1", "lint-free wipe=3 kg", "isopropyl alcohol, 90 % or more=2"]
    {
        shop.refused(&done(used), &["can't be what was used"]);
    }
    shop.refused(
        "done \"replace the nozzle\" --on bowline --used \"isopropyl alcohol, 90 % or more=5 ml\"",
        &["burns", "hot machine", "cooled down"],
    );
    shop.told("reading \"x rods\" play \"0.10 mm\" --on bowline");
    shop.refused("reading \"x rods\" play \"110\" --on bowline", &["measured in mm before", "entry 2", "no unit"]);
    shop.refused("reading \"x rods\" play \"0x10 mm\" --on bowline", &["not a measured value"]);
}

#[test]
fn a_shop_without_a_place_is_refused() {
    let shop = shop_with_part();
    shop.refused("shop show --shop \"\"", &["place is empty", "--shop FILE"]);
    shop.refused("correct 1 --withdraw --shop nowhere.tallow", &["no shop at nowhere.tallow"]);
}

#[test]
fn words_that_would_break_their_line_are_refused() {
    let shop = Shop::with_bowline();
    shop.refused("failure nozzle \"blo\ncked\" --on bowline", &["how the failure shows has a line break", "one line"]);
    shop.refused("reading nozzle \"bo\tre\" \"0.4 mm\" --on bowline", &["what was measured has a line break"]);
}

#[test]
fn words_that_say_nothing_are_refused() {
    let shop = shop_with_part();
    shop.refused("failure nozzle \" \" --on bowline", &["how the failure shows", "in a few words"]);
    shop.refused("reading nozzle \"\" \"0.4 mm\" --on bowline", &["what was measured"]);
    shop.refused("meter part.gcode --build delta --stop \"-1 %\"", &["\"-1 %\"", "40 %"]);
    shop.refused("run part.gcode --on bowline --material PLA=T0", &["\"PLA\" is not a tool", "--material T0=PLA"]);
    shop.refused("correct 99 --withdraw", &["no entry 99", "tallow history MACHINE"]);
}

#[test]
fn the_same_content_and_start_is_one_run() {
    let shop = shop_with_part();
    shop.told("run part.gcode --on bowline --material PLA --when \"yesterday 14:10\" --stop \"layer 1\"");
    shop.write("again.gcode", ladder(100));
    let line = "run again.gcode --on bowline --material PLA --when \"yesterday 14:10\"";
    shop.refused(line, &["already booked", "entry 2", "--withdraw"]);
    shop.told("run again.gcode --on bowline --material PLA --when \"yesterday 18:10\"");
    assert_eq!(shop.entries().len(), 3);
}

#[test]
fn a_stop_beyond_the_end_or_beyond_sense_is_refused() {
    let shop = shop_with_part();
    let stop = |point: &str| format!("run part.gcode --on bowline --material PLA --stop \"{point}\"");
    shop.refused(&stop("layer 101"), &["part.gcode has 100 layers", "layer 101"]);
    shop.refused(&stop("line 9999"), &["part.gcode has 302 lines", "line 9999"]);
    for point in ["half", "140 %", "layer 0", "nan %"] {
        shop.refused(&stop(point), &[point, "40 %", "layer 12"]);
    }
}

#[test]
fn a_build_that_is_wrong_is_told_with_file_line_and_caret() {
    let shop = Shop::new();
    let text = fs::read_to_string(testdata("builds/reference.toml")).unwrap();
    let line_of = |text: &str, what: &str| 1 + text.lines().position(|line| line == what).unwrap();
    let lost = text.replacen("at = \"x rods\"", "at = \"x rod\"", 1);
    shop.write("lost.toml", &lost);
    let place = format!("lost.toml:{}:6", line_of(&lost, "at = \"x rod\""));
    for line in ["build check lost.toml", "machine add bowline --build lost.toml", "meter x.gcode --build lost.toml"] {
        shop.refused(line, &[&place, "no position \"x rod\"", "^^^^^^^", "did you mean \"x rods\"?"]);
    }
    let zero = text.replacen("every = \"10 km\"", "every = \"0 km\"", 1);
    shop.write("zero.toml", &zero);
    let place = format!("zero.toml:{}:9", line_of(&zero, "every = \"0 km\""));
    shop.refused("build check zero.toml", &[&place, "\"0 km\" is always due", "^^^^^^", "write more than 0"]);
    shop.write(
        "greased.toml",
        text.replacen("\"isopropyl alcohol, 90 % or more\" = \"5 ml\"", "\"NLGI 2 lithium grease\" = \"2 g\"", 1),
    );
    shop.refused("build check greased.toml", &["greased.toml:", "grease"]);
    shop.write("latin.toml", b"name = \"caf\xe9\"\n");
    shop.refused("build check latin.toml", &["latin.toml", "line 1", "UTF-8"]);
    assert_eq!(shop.json("machine list"), serde_json::json!([]));
}

#[test]
fn a_measured_value_that_cannot_be_is_refused() {
    let shop = shop_with_part();
    shop.refused("reading \"x rods\" play \"-0.15 mm\" --on bowline", &["-0.15 mm", "negative", "without the sign"]);
    for value in ["much", "", "mm", "1.2.3 mm", "1e5 mm"] {
        shop.refused(&format!("reading \"x rods\" play \"{value}\" --on bowline"), &["not a measured value", "110 Hz"]);
    }
    shop.refused("hour-meter -3 --on bowline", &["-3", "0 or more"]);
    shop.told("hour-meter 100 --on bowline --when yesterday");
    shop.refused("hour-meter 90 --on bowline", &["90", "100"]);
    shop.told("run --on bowline --hours 10 --material PLA --when \"yesterday 18:00\"");
    shop.refused("hour-meter 101 --on bowline", &["10.0 h of runs are booked"]);
}

#[test]
fn hours_grams_and_densities_that_cannot_be_are_refused() {
    let shop = shop_with_part();
    for (options, parts) in [
        ("--hours 0", ["hours", "above 0"]),
        ("--hours -2", ["hours", "above 0"]),
        ("--hours 2 --grams 0", ["grams", "above 0"]),
    ] {
        shop.refused(&format!("run --on bowline --material PLA {options}"), &parts);
    }
    for density in ["0", "1240"] {
        shop.refused(&format!("material add X --density {density}"), &["density", "between 0.1 and 25"]);
    }
    let line = "run --on bowline --hours 3 --material T0=PLA --material T1=PETG";
    shop.refused(line, &["several materials", "by themselves"]);
}

#[test]
fn what_must_never_touch_a_part_is_not_recorded_as_used() {
    let shop = shop_with_part();
    let line = "done \"wipe the x rods\" --on bowline --used \"ISO VG 32 light oil=2 ml\"";
    shop.refused(line, &["oil", "x rods", "nothing was recorded"]);
    assert_eq!(shop.entries().len(), 1);
}

#[test]
fn a_machine_is_added_once_and_by_a_name_that_can_be_typed() {
    let shop = shop_with_part();
    shop.refused("machine add bowline --build delta", &["bowline"]);
    for name in ["", " ", "two\nlines", &"long".repeat(16)] {
        shop.refused(&format!("machine add \"{name}\" --build delta"), &["can't be a machine's name", "1 to 60"]);
    }
}

#[test]
fn a_shop_is_asked_for_where_there_is_none() {
    let shop = Shop::folder();
    for line in ["due", "machine list", "history bowline", "shop verify", "run x.gcode --on bowline --material PLA"] {
        shop.refused(line, &["there is no shop", "shop.tallow", "tallow shop new", "tallow demo"]);
    }
}

#[test]
fn a_shop_is_not_made_over_another() {
    let shop = Shop::new();
    shop.refused("shop new Other", &["shop.tallow", "Test bench"]);
    shop.refused("shop new Other --shop new.tallow --zone Europe/Nowhere", &["Europe/Nowhere", "IANA"]);
    assert_eq!(shop.json("shop show")["shop"], "Test bench");
}

#[test]
fn a_file_that_is_no_shop_is_left_alone() {
    let shop = Shop::folder();
    let text = "not a database, but long enough to be taken for one by whoever reads only its size\n".repeat(20);
    shop.write("shop.tallow", &text);
    for line in ["due", "shop new Other", "demo"] {
        shop.refused(line, &["shop.tallow", "is not a database", "check the path"]);
    }
    assert_eq!(fs::read_to_string(shop.place()).unwrap(), text);
}

#[test]
fn a_damaged_shop_is_told_and_not_mended_in_silence() {
    let shop = shop_with_part();
    shop.told("run part.gcode --on bowline --material PLA");
    let mut bytes = fs::read(shop.place()).unwrap();
    // Every page but the first, which tells the file's kind and size.
    bytes[4096..].fill(0xa5);
    fs::write(shop.place(), &bytes).unwrap();
    for line in ["due", "history bowline", "shop verify"] {
        let answer = shop.ask(line);
        assert_eq!((answer.code, answer.out.as_str()), (Some(1), ""), "{line}: {}", answer.err);
        answer.mentions(&["error: ", "restore"]);
    }
}

/// Runs SQL on the shop's file, as no keeper would.
pub(crate) fn tamper(shop: &Shop, sql: &'static str) {
    let at = format!("sqlite:{}", shop.place().display());
    let change = async {
        let mut connection = SqliteConnection::connect(&at).await.unwrap();
        sqlx::raw_sql(sql).execute(&mut connection).await.unwrap();
        connection.close().await.unwrap();
    };
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(change);
}

#[test]
fn a_shop_of_a_newer_version_is_not_touched() {
    let shop = shop_with_part();
    tamper(
        &shop,
        "update _sqlx_migrations set version = 9001 where version = (select max(version) from _sqlx_migrations)",
    );
    let before = fs::read(shop.place()).unwrap();
    for line in ["due", "run part.gcode --on bowline --material PLA", "shop verify --rebuild"] {
        shop.refused(line, &["newer version", "9001", "update"]);
    }
    assert_eq!(fs::read(shop.place()).unwrap(), before);
}

#[test]
fn a_database_of_something_else_is_not_taken_for_a_shop() {
    let shop = Shop::folder();
    shop.write("shop.tallow", "");
    tamper(&shop, "create table recipes (name text)");
    for line in ["due", "shop new Other", "demo"] {
        shop.refused(line, &["other tables", "another place"]);
    }
}

#[test]
fn sums_that_do_not_equal_the_entries_are_found_and_made_anew() {
    let shop = shop_with_part();
    shop.told("run part.gcode --on bowline --material PLA");
    let right = shop.due("wipe the x rods");
    tamper(&shop, "delete from daily");
    let answer = shop.ask("shop verify");
    assert_eq!((answer.code, answer.out.as_str()), (Some(1), ""));
    answer.mentions(&["do not equal the entries", "shop verify --rebuild"]);
    shop.told("shop verify --rebuild");
    shop.told("shop verify");
    assert_eq!(shop.due("wipe the x rods"), right);
}

#[test]
fn entries_are_never_edited() {
    let shop = Shop::with_bowline();
    let at = format!("sqlite:{}", shop.place().display());
    let change = async {
        let mut connection = SqliteConnection::connect(&at).await.unwrap();
        for sql in ["update entry set note = 'x'", "delete from entry"] {
            assert!(sqlx::raw_sql(sql).execute(&mut connection).await.is_err(), "{sql}");
        }
    };
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(change);
}

#[test]
fn words_that_are_no_command_end_with_2() {
    let shop = shop_with_part();
    for line in [
        "",
        "print",
        "run",
        "run part.gcode --on bowline",
        "run part.gcode --on bowline --material PLA --hours 3",
        "run --on bowline --material PLA --hours nan",
        "material add X --density nan",
        "history bowline --most 0",
        "due --days -1",
        "due --days 0",
        "due --days many",
        "machine",
        "replace nozzle --on bowline --because bored",
        "correct 1 --withdraw --when yesterday",
        "correct one --withdraw",
        "meter part.gcode",
        "meter part.gcode --build delta --corner sharp",
    ] {
        let answer = shop.ask(line);
        assert_eq!((answer.code, answer.out.as_str()), (Some(2), ""), "tallow {line}\n{}", answer.err);
        assert!(answer.err.contains("--help") || answer.err.contains("Usage"), "tallow {line}\n{}", answer.err);
    }
    shop.ask("histroy").mentions(&["histroy", "'history'"]);
}
