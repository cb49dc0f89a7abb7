//! Print history from a table: nothing is booked before it is asked for, each run counts once, and what is wrong is told row by row.

use std::fs;

use serde_json::Value;

use crate::programs::ladder;
use crate::shop::Shop;

const HEADER: &str = "Machine;Material;Start;End;Name;Grams;Result";

/// Three runs that can be booked.
const GOOD: &str = "K1;PLA;2026-11-20 08:00;2026-11-20 10:30;cleat;12,5;done\n\
                    K1;PLA;2026-11-21 08:00;2026-11-21 09:00;rib;3,0;aborted\n\
                    bowline;PETG;2026-11-22T07:00:00Z;2026-11-22T08:00:00Z;\"name\nboard\";;done\n";

fn shop_with_way() -> Shop {
    let shop = Shop::with_bowline();
    shop.json(
        "way table loft --machine-column Machine --machine-named K1=bowline --material-column Material --start Start --end End \
         --label Name --grams Grams --outcome Result --finished done --stopped aborted",
    );
    shop
}

fn table(shop: &Shop, rows: &str) {
    shop.write("loft.csv", format!("{HEADER}\n{rows}"));
}

fn runs(shop: &Shop) -> Vec<Value> {
    let standing = |entry: &Value| entry["kind"] == "run" && entry["replaced_by"].is_null();
    shop.entries().into_iter().filter(standing).collect()
}

/// How many rows are new, there already, refined, and bad.
fn counts(answer: &Value) -> [u64; 4] {
    ["new", "already", "refined", "bad_rows"].map(|key| answer[key].as_u64().unwrap())
}

/// The reasons, each with its line and column.
fn bad(answer: &Value) -> Vec<(u64, &str, &str)> {
    let rows = answer["bad"].as_array().unwrap().iter();
    rows.map(|row| {
        (row["line"].as_u64().unwrap(), row["column"].as_str().unwrap_or(""), row["reason"].as_str().unwrap())
    })
    .collect()
}

#[test]
fn a_table_is_booked_when_asked_for_and_twice_counts_once() {
    let shop = shop_with_way();
    table(&shop, GOOD);
    let dry = shop.json("import loft.csv");
    assert_eq!((counts(&dry), &dry["separator"], &dry["way"]), ([3, 0, 0, 0], &"semicolon".into(), &"loft".into()));
    assert_eq!(runs(&shop).len(), 0, "a dry run books nothing");
    assert_eq!(counts(&shop.json("import loft.csv --book")), [3, 0, 0, 0]);
    let booked = runs(&shop);
    assert_eq!(booked.len(), 3);
    assert_eq!(booked[0]["at"], "2026-11-20T07:00:00Z");
    assert!(booked[1]["event"]["stopped"].is_string(), "{:#}", booked[1]);
    assert_eq!(counts(&shop.json("import loft.csv --by loft --book")), [0, 3, 0, 0]);
    assert_eq!(runs(&shop).len(), 3);
    assert_eq!(shop.json("shop verify")["differences"], Value::Array(vec![]));
}

#[test]
fn runs_known_by_other_ways_count_once_and_are_refined() {
    let shop = Shop::with_bowline();
    shop.write("part.gcode", ladder(100));
    let metered = shop.json("run part.gcode --on bowline --material PLA --when \"2 Nov 8:00\"");
    let program = shop.entries().iter().find(|entry| entry["entry"] == metered["entry"]).unwrap().clone();
    let sha256 = program["event"]["program"].as_str().unwrap().to_owned();
    shop.json("run --on bowline --material PLA --when \"20 Nov 8:00\" --hours 0.2 --once");
    shop.json("way table bench --on bowline --material PLA --start Start --duration Took --unit min --sha256 Sum");
    shop.write(
        "bench.csv",
        format!("Start,Took,Sum\n2026-11-02 08:00,12,\n2026-11-20 08:00,12,{sha256}\n2026-11-21 08:00,,{sha256}\n"),
    );
    assert_eq!(counts(&shop.json("import bench.csv")), [1, 1, 1, 0]);
    assert_eq!(counts(&shop.json("import bench.csv --book")), [1, 1, 1, 0]);
    assert_eq!(runs(&shop).len(), 3);
    assert_eq!(counts(&shop.json("import bench.csv --book")), [0, 3, 0, 0]);
    assert_eq!(shop.json("shop verify")["differences"], Value::Array(vec![]));
}

#[test]
fn all_that_is_wrong_is_listed_and_can_be_mended_and_imported_again() {
    let shop = shop_with_way();
    let rows = "bowlin;PLA;2026-11-20 08:00;2026-11-20 09:00;a;;done\n\
                K1;PLA;2026-11-20 08:00;2026-11-20 07:00;b;;done\n\
                K1;PLA;2026-11-30 08:00;2026-11-30 09:00;c;;done\n\
                K1;PLA;2026-10-20 08:00;2026-10-20 09:00;d;;done\n\
                K1;PLA;2026-11-20 08:00;2026-11-20 12:00;e;;done\n\
                K1;PLA;2026-11-20 11:00;2026-11-20 19:00;f;;done\n\
                K1;PLA;2026-11-20 08:00;2026-11-20 12:00;e;;done\n\
                K1;PLA;2026-11-21 08:00;;g;1.234,5;perhaps\n\
                K1;PLA;2026-11-22\n";
    table(&shop, rows);
    let answer = shop.json("import loft.csv --book --rejected mend.csv");
    assert_eq!(counts(&answer), [1, 0, 0, 8], "{answer:#}");
    let expected = [
        (2, "Machine", "no machine is called \"bowlin\""),
        (3, "", "ends before it starts"),
        (4, "", "lies in the future"),
        (5, "", "is before bowline joined the shop"),
        (7, "", "as line 6"),
        (8, "", "the same run as that of line 6"),
        (9, "Grams", "is no number"),
        (9, "Result", "\"perhaps\" is not known to mean finished or stopped"),
        (10, "", "3 cells, but the header names 7 columns"),
    ];
    let told = bad(&answer);
    assert_eq!(told.len(), expected.len(), "{told:#?}");
    for ((line, column, reason), (at, of, why)) in told.iter().zip(expected) {
        assert_eq!((*line, *column), (at, of), "{reason}");
        assert!(reason.contains(why), "{reason}");
    }
    assert!(answer["bad"][0]["help"].to_string().contains("bowline"), "{answer:#}");
    let kept = fs::read_to_string(shop.path("mend.csv")).unwrap();
    assert_eq!((kept.lines().count(), kept.lines().next()), (9, Some(HEADER)), "{kept}");
    let mended = kept.replace("bowlin;PLA;2026-11-20 08:00;2026-11-20", "bowline;PLA;2026-11-19 08:00;2026-11-19");
    shop.write("mend.csv", mended);
    assert_eq!(shop.json("import mend.csv --book")["new"], 1);
    shop.refused("import mend.csv --book --rejected mend.csv", &["names the table itself"]);
}

#[test]
fn a_table_that_cannot_be_read_is_refused_with_what_to_do() {
    let shop = shop_with_way();
    let refused = |text: &[u8], parts: &[&str]| {
        shop.write("loft.csv", text);
        shop.refused("import loft.csv", parts);
    };
    refused(b"", &["is empty"]);
    refused(HEADER.as_bytes(), &["a header and no rows"]);
    refused(b"Machine;Start\nK1;x\n", &["no way in is known", "tallow way table"]);
    refused(b"M\xe9tier;Start\nK1;x\n", &["line 1", "UTF-8"]);
    table(&shop, GOOD);
    shop.refused("import loft.csv --by lof", &["no way in of a table is called", "loft"]);
    shop.write("loft.csv", "Machine;Start\nK1;x\n");
    shop.refused("import loft.csv --by loft", &["no column is called", "set the way in anew"]);
    shop.refused("import none.csv", &["there is no file"]);
    // With a byte order mark, and a byte of Latin-1 in one row.
    let mut text = format!("\u{feff}{HEADER}\r\n").into_bytes();
    text.extend(b"K1;PLA;2026-11-20 08:00;2026-11-20 10:30;cl\xe9at;12,5;done\r\n");
    shop.write("loft.csv", text);
    let answer = shop.json("import loft.csv");
    assert_eq!(bad(&answer), [(2, "Name", "is not UTF-8; save the table as UTF-8")]);
}

#[test]
fn what_a_table_means_is_set_by_options_and_checked() {
    let shop = shop_with_way();
    let way = |words: &str| format!("way table bench {words} --start Start --duration Took --unit h");
    shop.refused(&way("--on bowlin --material PLA"), &["bowline"]);
    shop.refused(&way("--on bowline --material PLAA"), &["PLA"]);
    shop.refused(&way("--machine-column M --machine-named K1 --material PLA"), &["--machine-named"]);
    shop.refused("watch", &["no way in to watch"]);
    shop.json(&way("--on bowline --material PLA"));
    shop.json(&way("--on bowline --material PLA").replace("bench", "other"));
    shop.write("t.csv", "Start\tTook\n2026-11-20 08:00\t1,5\n");
    shop.refused("import t.csv", &["several ways in fit", "--by \"bench\""]);
    let answer = shop.json("import t.csv --by other");
    assert_eq!((counts(&answer), &answer["separator"]), ([1, 0, 0, 0], &"tab".into()));
}
