//! A shop in a folder of its own, spoken to through the real program.

use std::ffi::OsString;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;

use serde_json::Value;
use tempfile::TempDir;

use crate::postgres::Server;
use crate::shapes;

/// The instant that all tests take for the present, a Wednesday: half past two in the afternoon, UTC.
pub(crate) const NOW: &str = "2026-11-25T15:30[Europe/Oslo]";

/// A folder with, as a rule, a shop in it.
pub(crate) struct Shop {
    folder: TempDir,
    /// A database on a server and that server, where the tests run on one; else the records are in a file of the folder.
    database: Option<(String, Arc<Server>)>,
    /// The present, as `TALLOW_NOW` takes it.
    pub(crate) now: String,
}

/// An empty database, where the tests are to run on a server: `TALLOW_TEST_STORE=postgres`.
fn database() -> Option<(String, Arc<Server>)> {
    std::env::var_os("TALLOW_TEST_STORE").filter(|store| store == "postgres")?;
    let server = Server::shared();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    Some((runtime.block_on(server.new_database()), server))
}

/// What the program answered.
#[derive(Debug)]
pub(crate) struct Answer {
    /// Its exit code; `None` when it was killed.
    pub(crate) code: Option<i32>,
    /// Standard output.
    pub(crate) out: String,
    /// Standard error.
    pub(crate) err: String,
}

impl Shop {
    /// A folder without a shop.
    pub(crate) fn folder() -> Shop {
        Shop { folder: tempfile::tempdir().unwrap(), database: database(), now: NOW.to_owned() }
    }

    /// A shop without machines, whose days are those of Oslo.
    pub(crate) fn new() -> Shop {
        let shop = Shop::folder();
        shop.told("shop new \"Test bench\" --zone Europe/Oslo");
        shop
    }

    /// A shop in which `bowline` has been since 1 November, of the build of `testdata/builds/reference.toml`.
    pub(crate) fn with_bowline() -> Shop {
        Shop::with_machine(&testdata("builds/reference.toml"))
    }

    /// As [`Shop::with_bowline`], of another build.
    pub(crate) fn with_machine(build: &str) -> Shop {
        let shop = Shop::new();
        shop.told(&format!("machine add bowline --build \"{build}\" --when \"1 Nov 2026\""));
        shop
    }

    /// The path of something in the folder.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The path of the shop's records, where they are in a file.
    pub(crate) fn place(&self) -> PathBuf {
        self.path("shop.tallow")
    }

    /// Writes a file into the folder.
    pub(crate) fn write(&self, name: &str, bytes: impl AsRef<[u8]>) {
        fs::write(self.path(name), bytes).unwrap();
    }

    /// The program with this command line, not yet started, in the folder and with nothing of this process' surroundings.
    pub(crate) fn command(&self, line: &str) -> Command {
        self.command_of(Path::new(env!("CARGO_BIN_EXE_tallow")), line)
    }

    /// As [`Shop::command`], of another copy of the program.
    pub(crate) fn command_of(&self, program: &Path, line: &str) -> Command {
        let mut command = Command::new(program);
        command
            .args(words(line))
            .current_dir(self.folder.path())
            .env_clear()
            .env(
                "TALLOW_SHOP",
                self.database.as_ref().map_or_else(|| self.place().into(), |(at, _)| OsString::from(at)),
            )
            .env("TALLOW_FILES", self.path("shop.tallow.files"))
            .env("TALLOW_NOW", &self.now)
            .env("HOME", self.folder.path())
            .env("XDG_DATA_HOME", self.path("data"))
            .env("TZ", "Europe/Oslo")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        command
    }

    /// Runs a command line to its end.
    pub(crate) fn ask(&self, line: &str) -> Answer {
        answer(self.command(line).spawn().unwrap())
    }

    /// Runs a command line with something on its standard input.
    pub(crate) fn ask_with_input(&self, line: &str, input: &[u8]) -> Answer {
        let mut child = self.command(line).stdin(Stdio::piped()).spawn().unwrap();
        // The program may have seen enough before it has read all; what it answers is what counts.
        let _ = child.stdin.take().unwrap().write_all(input);
        answer(child)
    }

    /// What a command says; it must succeed.
    #[track_caller]
    pub(crate) fn told(&self, line: &str) -> String {
        let answer = self.ask(line);
        assert_eq!(answer.code, Some(0), "tallow {line}\n{}{}", answer.out, answer.err);
        answer.out
    }

    /// What a command says as JSON; it must succeed, and docs/JSON.md must tell of all that it says.
    #[track_caller]
    pub(crate) fn json(&self, line: &str) -> Value {
        let value = self.ask_json(line);
        shapes::check(line, &value);
        value
    }

    #[track_caller]
    fn ask_json(&self, line: &str) -> Value {
        let out = self.told(&format!("{line} --json"));
        serde_json::from_str(&out).unwrap_or_else(|error| panic!("tallow {line}: {error}\n{out}"))
    }

    /// Asserts that a command is refused: exit code 1, nothing on standard output, and a message that holds each of
    /// `parts`, as text and as JSON.
    #[track_caller]
    pub(crate) fn refused(&self, line: &str, parts: &[&str]) {
        let answer = self.ask(line);
        assert_eq!((answer.code, answer.out.as_str()), (Some(1), ""), "tallow {line}\n{}", answer.err);
        assert!(answer.err.starts_with("error: "), "tallow {line}\n{}", answer.err);
        answer.mentions(parts);
        let answer = self.ask(&format!("{line} --json"));
        assert_eq!((answer.code, answer.out.as_str()), (Some(1), ""), "tallow {line} --json\n{}", answer.err);
        let error: Value = serde_json::from_str(&answer.err).unwrap_or_else(|error| panic!("{error}\n{}", answer.err));
        shapes::check("errors", &error);
    }

    /// The due list's row of one task.
    #[track_caller]
    pub(crate) fn due(&self, task: &str) -> Value {
        let rows = self.json("due bowline --all");
        let row = rows.as_array().unwrap().iter().find(|row| row["task"] == task);
        row.unwrap_or_else(|| panic!("no {task} in {rows:#}")).clone()
    }

    /// The machine's entries, oldest first.
    #[track_caller]
    pub(crate) fn entries(&self) -> Vec<Value> {
        let mut entries = self.json("history bowline --most 1000").as_array().unwrap().clone();
        entries.sort_by_key(|entry| entry["entry"].as_i64());
        entries
    }
}

impl Answer {
    /// Asserts that the message on standard error holds each of `parts`.
    #[track_caller]
    pub(crate) fn mentions(&self, parts: &[&str]) {
        for part in parts {
            assert!(self.err.contains(part), "\"{part}\" is missing from:\n{}", self.err);
        }
    }
}

/// Waits for a started program's answer.
pub(crate) fn answer(child: Child) -> Answer {
    let output = child.wait_with_output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    Answer { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
}

/// The path of a file in the project's `testdata`.
pub(crate) fn testdata(name: &str) -> String {
    format!("{}/../../testdata/{name}", env!("CARGO_MANIFEST_DIR"))
}

/// A command line's words: parted by blanks, double quotes hold blanks together.
fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let (mut word, mut quoted, mut begun) = (String::new(), false, false);
    for letter in line.chars() {
        match letter {
            '"' => (quoted, begun) = (!quoted, true),
            ' ' if !quoted => {
                if begun {
                    words.push(std::mem::take(&mut word));
                }
                begun = false;
            }
            letter => {
                word.push(letter);
                begun = true;
            }
        }
    }
    if begun {
        words.push(word);
    }
    words
}

/// The share of a limit that is used, by the quantity that it is on; `None` is calendar time.
#[track_caller]
pub(crate) fn limit_on<'a>(row: &'a Value, quantity: &str) -> &'a Value {
    let limits = row["limits"].as_array().unwrap();
    limits.iter().find(|limit| limit["of"] == quantity).unwrap_or_else(|| panic!("no limit on {quantity} in {row:#}"))
}

/// The amount of a quantity in a use, summed over tools and materials.
#[track_caller]
pub(crate) fn amount(used: &Value, quantity: &str) -> f64 {
    let streams = used.as_array().unwrap_or_else(|| panic!("no list: {used:#}"));
    streams.iter().filter_map(|stream| stream["amounts"][quantity].as_f64()).sum()
}

/// Asserts that two numbers differ by at most `tolerance`.
#[track_caller]
pub(crate) fn near(actual: &Value, expected: f64, tolerance: f64) {
    let actual = actual.as_f64().unwrap_or_else(|| panic!("no number: {actual}"));
    assert!((actual - expected).abs() <= tolerance, "{actual}, not {expected} ± {tolerance}");
}
