//! The interface for programs: held to what it says of itself, to the command line, and to what a machine's token opens.

use std::io::Write;
use std::path::PathBuf;
use std::process::Command;

use serde_json::Value;

use crate::harness::{Server, Shop};
use crate::plain::{Ask, Heard, get, post, send};
use crate::who::{peopled, signed_in};

/// Slow enough to have metered something, short enough to fit between the demo's runs.
const PROGRAM: &str = "M83\nG28\nG1 X10 Y10 Z0.2 F1200\nG1 X90 E5\nG1 Y90 E5\nG1 X10 E5\n";

fn json(heard: &Heard) -> Value {
    serde_json::from_str(&heard.body).unwrap_or_else(|error| panic!("{error}: {heard:?}"))
}

fn post_json(path: &str, body: &Value) -> Ask {
    send(path, "application/json", body.to_string())
}

#[test]
fn an_address_answers_what_the_command_line_prints() {
    let shop = Shop::demo();
    let server = shop.serve();
    let pairs: [(&str, &[&str]); 7] = [
        ("/api/machine/list?limit=1000", &["machine", "list"]),
        ("/api/machine/show?name=bowline", &["machine", "show", "bowline"]),
        ("/api/due?machine=bowline&days=30&all=true&limit=1000", &["due", "bowline", "--days", "30", "--all"]),
        ("/api/steps?task=wipe%20the%20x%20rods&on=bowline", &["steps", "wipe the x rods", "--on", "bowline"]),
        ("/api/history?machine=bowline&limit=5", &["history", "bowline", "--most", "5"]),
        ("/api/stores?limit=1000", &["stores"]),
        ("/api/rates", &["rates"]),
    ];
    for (address, words) in pairs {
        let heard = get(address).to(&server);
        assert_eq!(heard.status, 200, "{address}: {}", heard.body);
        let printed: Value = serde_json::from_str(&shop.run(&[words, &["--json"]].concat())).expect("JSON");
        assert_eq!(json(&heard), printed, "{address}");
    }
}

#[test]
fn what_is_recorded_by_a_program_stands_in_the_record() {
    let shop = Shop::demo();
    let server = shop.serve();
    let body = serde_json::json!({ "task": "wipe the x rods", "on": "bowline", "note": "--shop=/tmp/x" });
    let heard = post_json("/api/done", &body).to(&server);
    assert_eq!(heard.status, 200, "{}", heard.body);
    let entry = json(&heard)["entry"].clone();
    let history: Value =
        serde_json::from_str(&shop.run(&["history", "bowline", "--most", "1", "--json"])).expect("JSON");
    assert_eq!((&history[0]["entry"], &history[0]["note"]), (&entry, &"--shop=/tmp/x".into()));
}

#[test]
fn a_print_file_is_sent_metered_and_booked_and_a_path_is_never_opened() {
    let shop = Shop::demo();
    let server = shop.serve();
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packed.write_all(PROGRAM.as_bytes()).expect("it is packed");
    let packed = packed.finish().expect("it is packed");
    let before =
        send("/api/before?material=PLA&label=rib.gcode", "application/octet-stream", packed.clone()).to(&server);
    assert_eq!(before.status, 200, "{}", before.body);
    assert!(json(&before)[0]["machines"].as_array().is_some_and(|machines| !machines.is_empty()), "{}", before.body);
    let run = "/api/run?on=bowline&material=PLA&label=rib.gcode";
    let heard = send(run, "application/octet-stream", packed).to(&server);
    assert_eq!(heard.status, 200, "{}", heard.body);
    // The same bytes, unpacked and from a disk, are the same use by the command line's meter.
    let file = shop.place().with_file_name("rib.gcode");
    std::fs::write(&file, PROGRAM).expect("the file is written");
    shop.run(&["queue", file.to_str().expect("UTF-8"), "--on", "bowline", "--material", "PLA"]);
    let history: Value =
        serde_json::from_str(&shop.run(&["history", "bowline", "--most", "20", "--json"])).expect("JSON");
    let all = history.as_array().expect("a list").iter();
    let uses: Vec<&Value> = all
        .map(|entry| &entry["event"])
        .filter(|event| event["label"] == "rib.gcode")
        .map(|event| &event["use"])
        .collect();
    assert_eq!(uses.len(), 2, "{history:#}");
    assert_eq!(uses[0], uses[1], "{history:#}");
    // What names a file is no parameter.
    for path in ["/etc/passwd", file.to_str().expect("UTF-8"), "-"] {
        let body = serde_json::json!({ "file": path, "on": "bowline", "material": ["PLA"] });
        let heard = post_json("/api/run", &body).to(&server);
        assert_eq!(heard.status, 422, "{path}");
        assert!(heard.body.contains("no parameter \\\"file\\\""), "{}", heard.body);
    }
}

#[test]
fn files_that_are_none_bombs_and_nonsense_are_refused_as_problems() {
    let shop = Shop::demo();
    let server = shop.serve();
    let zeros = zstd::stream::encode_all(&vec![b'\n'; 200 * 1024 * 1024][..], 1).expect("it is packed");
    let gzip_cut = [0x1f, 0x8b, 8, 0, 0];
    let bodies: [(&str, Vec<u8>); 6] = [
        ("a bomb", zeros),
        ("cut off", gzip_cut.to_vec()),
        ("nothing", Vec::new()),
        ("noise", (0..5000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect()),
        ("text", b"<html>".repeat(100)),
        ("zeros", vec![0; 100_000]),
    ];
    for (what, body) in bodies {
        let heard = send("/api/before?material=PLA", "application/octet-stream", body).to(&server);
        assert_eq!(heard.status, 422, "{what}: {}", heard.body);
        assert_eq!(heard.header("content-type"), Some("application/problem+json"), "{what}");
        let problem = json(&heard);
        assert_eq!((&problem["status"], problem["help"].is_array()), (&422.into(), true), "{what}");
    }
    for (what, body, status) in [("no JSON", "{", 400), ("a list", "[]", 400), ("deep", &"[".repeat(100_000), 400)] {
        let heard = send("/api/done", "application/json", body).to(&server);
        assert_eq!(heard.status, status, "{what}: {}", heard.body);
    }
    assert_eq!(send("/api/done", "application/json", vec![b' '; 2 * 1024 * 1024]).to(&server).status, 413);
}

#[test]
fn a_machines_token_books_for_its_machine_and_opens_nothing_else() {
    let shop = peopled();
    let server = shop.serve();
    let made: Value = serde_json::from_str(&shop.run(&["token", "new", "bowline", "--json"])).expect("JSON");
    let token = format!("Bearer {}", made["token"].as_str().expect("a token"));
    let with = |ask: Ask| ask.with("authorization", &token).to(&server);
    let body = serde_json::json!({ "hours": 2, "material": ["PLA"] });
    let heard = with(post_json("/api/queue", &body));
    assert_eq!(heard.status, 200, "{}", heard.body);
    let history: Value =
        serde_json::from_str(&shop.run(&["history", "bowline", "--most", "1", "--json"])).expect("JSON");
    assert_eq!(history[0]["by"], format!("bowline (token {})", made["number"]));
    let other = serde_json::json!({ "hours": 2, "material": ["PLA"], "on": "clove hitch" });
    assert_eq!(with(post_json("/api/queue", &other)).status, 403);
    assert_eq!(with(post_json("/api/done", &serde_json::json!({ "task": "x", "on": "bowline" }))).status, 403);
    for path in ["/api/due", "/api/history", "/api/openapi.json"] {
        let heard = with(get(path));
        assert_eq!((heard.status, heard.header("content-type")), (403, Some("application/problem+json")), "{path}");
    }
    assert_eq!(with(get("/machines")).status, 303, "pages take no token");
    assert_eq!(with(get("/metrics")).status, 200);
    assert_eq!(get("/metrics").with("authorization", "Bearer 00").to(&server).status, 401);
    shop.run(&["token", "revoke", &made["number"].to_string()]);
    assert_eq!(with(post_json("/api/queue", &body)).status, 401);
}

#[test]
fn roles_hold_for_programs_too() {
    let shop = peopled();
    let server = shop.serve();
    let asked = |role: &str, ask: Ask| ask.with("cookie", &signed_in(&server, role)).to(&server).status;
    assert_eq!(asked("look", get("/api/due")), 200);
    assert_eq!(asked("look", post_json("/api/done", &serde_json::json!({}))), 403);
    assert_eq!(asked("record", post_json("/api/done", &serde_json::json!({}))), 422);
    assert_eq!(asked("record", post_json("/api/rates", &serde_json::json!({ "labour": 30 }))), 403);
    assert_eq!(asked("plan", post_json("/api/rates", &serde_json::json!({ "labour": 30 }))), 200);
    assert_eq!(get("/api/due").to(&server).status, 401);
    let elsewhere = post("/api/done", &[]).with("origin", "http://example.org");
    assert_eq!(asked("own", elsewhere), 403);
}

#[test]
fn a_tag_saves_a_second_copy_until_something_is_recorded() {
    let shop = Shop::demo();
    let server = shop.serve();
    let heard = get("/api/history?machine=bowline").to(&server);
    let tag = heard.header("etag").expect("a tag").to_owned();
    assert!(tag.starts_with('"') && tag.ends_with('"'), "strong: {tag}");
    let again = || get("/api/history?machine=bowline").with("if-none-match", &tag).to(&server);
    let unchanged = again();
    assert_eq!((unchanged.status, unchanged.body.as_str()), (304, ""));
    let packed = get("/api/history?machine=bowline").with("accept-encoding", "gzip").to(&server);
    assert_eq!(
        (packed.header("content-encoding"), packed.body == heard.body),
        (None, true),
        "the tag is of these very bytes"
    );
    shop.run(&["done", "wipe the x rods", "--on", "bowline"]);
    assert_eq!(again().status, 200);
}

#[test]
fn following_the_links_reads_a_list_whole() {
    let shop = Shop::demo();
    let server = shop.serve();
    for (address, words) in [
        ("/api/machine/list?limit=5", &["machine", "list", "--json"][..]),
        ("/api/history?machine=bowline&limit=40", &["history", "bowline", "--most", "1000000", "--json"]),
    ] {
        let (mut next, mut read) = (Some(address.to_owned()), Vec::new());
        while let Some(address) = next {
            let heard = get(&address).to(&server);
            read.extend(json(&heard).as_array().expect("a list").clone());
            next = heard.header("link").map(|link| {
                let (to, relation) = link.split_once(">; ").expect("RFC 8288");
                assert_eq!(relation, "rel=\"next\"");
                to.trim_start_matches('<').to_owned()
            });
        }
        let whole: Value = serde_json::from_str(&shop.run(words)).expect("JSON");
        assert_eq!(Value::Array(read), whole, "{address}");
    }
}

#[test]
fn figures_are_openmetrics() {
    let shop = Shop::demo();
    let server = shop.serve();
    let heard = get("/metrics").to(&server);
    // OpenMetrics 1.0, "Overall structure" and "Protocol negotiation".
    assert_eq!(heard.header("content-type"), Some("application/openmetrics-text; version=1.0.0; charset=utf-8"));
    assert!(heard.body.ends_with("# EOF\n"));
    let due: Value = serde_json::from_str(&shop.run(&["due", "bowline", "--all", "--json"])).expect("JSON");
    for row in due.as_array().expect("a list") {
        let name =
            format!("tallow_used_ratio{{machine=\"bowline\",task=\"{}\"}} ", row["task"].as_str().expect("a task"));
        let line = heard.body.lines().find_map(|line| line.strip_prefix(&name)).expect("a line for each task");
        let shown: f64 = line.parse().expect("a number");
        // Which of a task's limits comes first depends on how far one looks ahead; the page and the list look differently far.
        let mut used = row["limits"].as_array().expect("a list").iter().filter_map(|limit| limit["used"].as_f64());
        assert!(used.any(|used| (shown - used).abs() < 1e-9), "{name}: {shown}, the due list says {row:#}");
    }
    // A counter's samples end in _total, and its name in its unit ("Metric families").
    let machine: Value = serde_json::from_str(&shop.run(&["machine", "show", "bowline", "--json"])).expect("JSON");
    let time = "tallow_duty_time_seconds_total{machine=\"bowline\"} ";
    let shown = heard.body.lines().find_map(|line| line.strip_prefix(time)).expect("its time");
    let shown: f64 = shown.parse().expect("a number");
    let streams = machine["total"].as_array().expect("a list");
    let metered: f64 = streams.iter().filter_map(|stream| stream["amounts"]["time"].as_f64()).sum();
    assert!((shown - metered).abs() < 1e-6, "{shown} s, the machine says {metered}");
}

#[test]
fn a_server_shows_the_same_of_a_hall_that_workers_have_foreseen() {
    let shop = Shop::demo();
    let machines: Value = serde_json::from_str(&shop.run(&["machine", "list", "--json"])).expect("JSON");
    let build = machines[0]["build"].as_str().expect("a build");
    for number in machines.as_array().expect("a list").len()..32 {
        shop.run(&["machine", "add", &format!("m{number}"), "--build", build]);
    }
    let figures = || get("/metrics").to(&shop.serve()).body;
    let reckoned = figures();
    assert!(reckoned.contains("machine=\"m31\""), "{reckoned}");
    shop.run(&["work", "--until-idle"]);
    assert_eq!(figures(), reckoned);
    // What was kept is of the records as they stood: of a machine that ran since, it is not shown.
    shop.run(&["done", "wipe the x rods", "--on", "bowline"]);
    assert_ne!(figures(), reckoned);
}

#[test]
fn whoever_listens_is_told_that_something_was_recorded() {
    use std::io::{BufRead, BufReader};
    let shop = Shop::demo();
    let server = shop.serve();
    let address = server.address.split_once("://").expect("a scheme").1;
    let mut stream = std::net::TcpStream::connect(address).expect("the server listens");
    stream.set_read_timeout(Some(std::time::Duration::from_secs(20))).expect("a timeout");
    stream.write_all(format!("GET /api/events HTTP/1.1\r\nhost: {address}\r\n\r\n").as_bytes()).expect("it is sent");
    let mut lines = BufReader::new(stream).lines().map_while(Result::ok);
    assert!(lines.any(|line| line.eq_ignore_ascii_case("content-type: text/event-stream")));
    shop.run(&["done", "wipe the x rods", "--on", "bowline"]);
    assert!(lines.any(|line| line == "event: news"), "it is told within seconds");
}

/// The program that makes requests of what the interface says of itself.
fn schemathesis() -> PathBuf {
    let python = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("../python/bin/schemathesis");
    assert!(python.exists(), "there is no {}: run ./test, which sets it up", python.display());
    python
}

fn holds_to_its_document(server: &Server) {
    let checks = "not_a_server_error,status_code_conformance,content_type_conformance,response_schema_conformance";
    let done = Command::new(schemathesis())
        .args(["run", &server.page("/api/openapi.json"), "--checks", checks, "--max-examples", "10"])
        .args(["--phases", "coverage,fuzzing", "--generation-deterministic", "--no-color", "--continue-on-failure"])
        .args(["--suppress-health-check", "all", "--request-timeout", "60", "--workers", "1"])
        .current_dir(std::env::temp_dir())
        .output()
        .expect("schemathesis starts");
    assert!(
        done.status.success(),
        "{}{}",
        String::from_utf8_lossy(&done.stdout),
        String::from_utf8_lossy(&done.stderr)
    );
}

#[test]
fn every_answer_is_of_the_shape_that_its_document_tells() {
    let shop = Shop::demo();
    let server = shop.serve();
    holds_to_its_document(&server);
    shop.run(&["shop", "verify"]);
}
