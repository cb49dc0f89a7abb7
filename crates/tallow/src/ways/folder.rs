//! A watched folder: print files that are put there when they are printed.
//!
//! A file's time says when its print started or ended, as the way in was set up; so a file that is renamed or moved is the same run
//! still, and one that is put there again later is another. A file counts as whole when it has not changed between two looks.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use jiff::{SignedDuration, Timestamp};
use ledger::Ledger;
use serde::{Deserialize, Serialize};

use super::come;
use crate::commands::run::{Came, Told};
use crate::input::Source;
use crate::trouble::Trouble;

/// Endings of print files; packed ones have another behind.
const ENDINGS: [&str; 5] = ["gcode", "gco", "gc", "g", "nc"];
const PACKED: [&str; 2] = ["gz", "zst"];

/// How long a file is left alone that can't be booked yet, because its print is not over or the shop can't be written.
const WAIT: SignedDuration = SignedDuration::from_secs(60);

/// How deep below the folder files are looked for.
const DEEPEST: usize = 4;

/// How a folder is watched.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FolderWay {
    /// The folder.
    pub(crate) folder: PathBuf,
    /// Whose files these are.
    pub(crate) whose: Whose,
    /// What is printed, as `--material` takes it.
    pub(crate) materials: Vec<String>,
    /// What a file's time says.
    pub(crate) time: FileTime,
}

/// Whose the files of a folder are.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Whose {
    /// All of one machine.
    On(String),
    /// Each of the machine that its path names, as this pattern tells.
    Pattern(Pattern),
}

/// What a file's time of last change says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum FileTime {
    /// When its print started.
    Start,
    /// When its print ended.
    End,
}

/// A path with a place for a machine's name: `{machine}/*.gcode`. `*` is any text within a name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub(crate) struct Pattern(String);

const MACHINE: &str = "{machine}";

impl Pattern {
    /// Reads a pattern.
    ///
    /// # Errors
    /// One in which the machine stands nowhere, or twice.
    pub(crate) fn parse(text: &str) -> Result<Pattern, Trouble> {
        match text.matches(MACHINE).count() {
            1 => Ok(Pattern(text.trim_start_matches("./").to_owned())),
            _ => Err(Trouble::refused(format!("\"{text}\" does not say once where a machine's name stands"))
                .help("write {machine} in its place: --pattern \"{machine}/*.gcode\"")),
        }
    }

    /// The machine that a path below the folder names; `None` where the path does not fit.
    pub(crate) fn machine<'a>(&self, path: &'a str) -> Option<&'a str> {
        let (before, after) = self.0.split_once(MACHINE)?;
        // The shortest name that lets the rest fit.
        (0..path.len()).filter(|&from| path.is_char_boundary(from) && fits(before, &path[..from])).find_map(|from| {
            let rest = &path[from..];
            let ends = (1..=rest.len()).filter(|&to| rest.is_char_boundary(to));
            let mut names = ends.take_while(|&to| !rest[..to].contains('/'));
            names.find(|&to| fits(after, &rest[to..])).map(|to| &rest[..to])
        })
    }
}

impl TryFrom<String> for Pattern {
    type Error = String;

    fn try_from(text: String) -> Result<Pattern, String> {
        Pattern::parse(&text).map_err(|trouble| trouble.to_string())
    }
}

impl From<Pattern> for String {
    fn from(pattern: Pattern) -> String {
        pattern.0
    }
}

/// Whether a text fits a pattern in which `*` is any text without `/`.
fn fits(pattern: &str, text: &str) -> bool {
    match pattern.split_once('*') {
        None => pattern == text,
        Some((before, after)) => text.strip_prefix(before).is_some_and(|rest| {
            let within = rest.find('/').unwrap_or(rest.len());
            (0..=within).any(|length| rest.is_char_boundary(length) && fits(after, &rest[length..]))
        }),
    }
}

/// What tells that a file has changed: its size, bytes, and its time of last change, µs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Stamp(u64, i64);

/// What came of one file.
pub(crate) struct Taken {
    /// Its path below the folder.
    pub(crate) path: String,
    /// What became of it.
    pub(crate) came: Result<Came, Trouble>,
}

/// A folder that is being watched.
pub(crate) struct Follower {
    name: String,
    way: FolderWay,
    /// As they were at the last look.
    seen: BTreeMap<String, Stamp>,
    /// As they were when they were taken.
    taken: BTreeMap<String, Stamp>,
    /// Until when those are left alone that could not be booked yet.
    waiting: BTreeMap<String, Timestamp>,
}

impl Follower {
    /// Goes on where the way in of that name left off.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(crate) async fn new(ledger: &Ledger, name: &str, way: FolderWay) -> Result<Follower, Trouble> {
        let marks = ledger.way_marks(name).await?;
        let taken = marks.into_iter().filter_map(|(path, mark)| Some((path, serde_json::from_str(&mark).ok()?)));
        Ok(Follower {
            name: name.to_owned(),
            way,
            seen: BTreeMap::new(),
            taken: taken.collect(),
            waiting: BTreeMap::new(),
        })
    }

    /// The folder.
    pub(crate) fn folder(&self) -> &Path {
        &self.way.folder
    }

    /// Looks once, and takes the files that have not changed since the look before. Whether more may come of files that are
    /// there is told by [`Follower::waits`]. A file that can't be booked yet is left alone for a while.
    ///
    /// # Errors
    /// A folder that can't be read, and a shop that can't be written just now: what was not taken is taken at another look.
    pub(crate) async fn look(&mut self, ledger: &Ledger, now: Timestamp) -> Result<Vec<Taken>, Trouble> {
        let there = files_below(&self.way.folder).map_err(|error| {
            Trouble::refused(format!("{} can't be looked at: {error}", self.way.folder.display()))
                .help("check that the folder is there, and that it may be read")
        })?;
        self.forget_those_gone(ledger, &there, now).await?;
        let before = std::mem::replace(&mut self.seen, there.clone());
        let mut all = Vec::new();
        for (path, stamp) in there {
            let is_settled = before.get(&path) == Some(&stamp);
            let waits = self.waiting.get(&path).is_some_and(|until| now < *until);
            if self.taken.get(&path) == Some(&stamp) || !is_settled || waits {
                continue;
            }
            match self.take(ledger, &path, stamp, now).await {
                Ok(came) => all.extend(came.map(|came| Taken { path: path.clone(), came })),
                Err(_) => {
                    self.waiting.insert(path, now.saturating_add(WAIT).unwrap_or(now));
                    continue;
                }
            }
            let mark = serde_json::to_string(&stamp).unwrap_or_default();
            ledger.put_way_mark(&self.name, &path, Some(&mark), now).await?;
            self.waiting.remove(&path);
            self.taken.insert(path, stamp);
        }
        Ok(all)
    }

    /// Whether files are there that another look may take: all but those that were taken and those that must wait longer.
    pub(crate) fn waits(&self) -> bool {
        self.seen.iter().any(|(path, stamp)| self.taken.get(path) != Some(stamp) && !self.waiting.contains_key(path))
    }

    async fn take(
        &self,
        ledger: &Ledger,
        path: &str,
        stamp: Stamp,
        now: Timestamp,
    ) -> Result<Option<Result<Came, Trouble>>, Trouble> {
        let on = match &self.way.whose {
            Whose::On(machine) => machine.clone(),
            Whose::Pattern(pattern) => match pattern.machine(path) {
                Some(machine) => machine.to_owned(),
                // It is not meant.
                None => return Ok(None),
            },
        };
        let at = Timestamp::from_microsecond(stamp.1).unwrap_or(now);
        let (start, end) = match self.way.time {
            FileTime::Start => (Some(at), None),
            FileTime::End => (None, Some(at)),
        };
        let told = Told { on, materials: self.way.materials.clone(), start, end, ..Told::default() };
        let source = Source::File(self.way.folder.join(path));
        come(ledger, told, Some(&source), now).await.map(Some)
    }

    /// Forgets files that are no longer there: under another name they are known again by what is booked.
    async fn forget_those_gone(
        &mut self,
        ledger: &Ledger,
        there: &BTreeMap<String, Stamp>,
        now: Timestamp,
    ) -> Result<(), Trouble> {
        let gone: Vec<String> = self.taken.keys().filter(|path| !there.contains_key(*path)).cloned().collect();
        for path in gone {
            ledger.put_way_mark(&self.name, &path, None, now).await?;
            self.taken.remove(&path);
        }
        Ok(())
    }
}

impl FolderWay {
    /// What it is, in words.
    pub(crate) fn said(&self) -> String {
        let whose = match &self.whose {
            Whose::On(machine) => format!("of {machine}"),
            Whose::Pattern(pattern) => format!("by {}", pattern.0),
        };
        let time = match self.time {
            FileTime::Start => "starts",
            FileTime::End => "ends",
        };
        let folder = self.folder.display();
        format!("print files in {folder}, {whose}; a print {time} at its file's time; {}", self.materials.join(", "))
    }
}

/// The print files below a folder, by their paths from there, written with `/`.
fn files_below(folder: &Path) -> std::io::Result<BTreeMap<String, Stamp>> {
    let mut found = BTreeMap::new();
    let mut open = vec![(folder.to_owned(), String::new(), 0)];
    while let Some((folder, path, depth)) = open.pop() {
        let listed = match fs::read_dir(&folder) {
            Ok(listed) => listed,
            // One that went away between two looks; the folder itself must be there.
            Err(_) if 0 < depth => continue,
            Err(error) => return Err(error),
        };
        for entry in listed {
            let entry = entry?;
            let Some(name) = entry.file_name().to_str().map(str::to_owned) else { continue };
            let below = if path.is_empty() { name.clone() } else { format!("{path}/{name}") };
            let Ok(kind) = entry.file_type() else { continue };
            if kind.is_dir() && depth < DEEPEST {
                open.push((entry.path(), below, depth + 1));
            } else if is_print_file(&name)
                && let Ok(metadata) = fs::metadata(entry.path())
                && metadata.is_file()
                && let Ok(changed) = metadata.modified()
            {
                let since = changed.duration_since(UNIX_EPOCH).unwrap_or_default();
                let micros = i64::try_from(since.as_micros()).unwrap_or(i64::MAX);
                found.insert(below, Stamp(metadata.len(), micros));
            }
        }
    }
    Ok(found)
}

fn is_print_file(name: &str) -> bool {
    let lower = name.to_lowercase();
    let plain = PACKED.iter().find_map(|ending| lower.strip_suffix(&format!(".{ending}"))).unwrap_or(&lower);
    !name.starts_with('.') && plain.rsplit_once('.').is_some_and(|(_, ending)| ENDINGS.contains(&ending))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pattern_tells_the_machine() {
        let found = |pattern: &str, path: &str| Pattern::parse(pattern).unwrap().machine(path).map(str::to_owned);
        assert_eq!(found("{machine}/*.gcode", "clove hitch/rib.gcode").as_deref(), Some("clove hitch"));
        assert_eq!(found("{machine}_*", "bowline_rib_2.gcode").as_deref(), Some("bowline"));
        assert_eq!(found("done/*-{machine}.gcode", "done/rib-1-bowline.gcode").as_deref(), Some("1-bowline"));
        assert_eq!(found("{machine}/*", "bowline/sub/rib.gcode"), None, "a star stays within a folder");
        assert_eq!(found("{machine}/*", "rib.gcode"), None);
        assert_eq!(found("{machine}/*", "/rib.gcode"), None, "a name has letters");
        assert_eq!(found("ørn/{machine}/*", "ørn/é/å.gcode").as_deref(), Some("é"));
        for wrong in ["*.gcode", "{machine}/{machine}", ""] {
            assert!(Pattern::parse(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn print_files_are_known_by_their_endings() {
        for name in ["a.gcode", "a.GCODE.gz", "b.g", "c.gco.zst"] {
            assert!(is_print_file(name), "{name}");
        }
        for name in ["a.stl", "gcode", ".a.gcode", "a.gcode.part", "a.gz", "a.gcode~"] {
            assert!(!is_print_file(name), "{name}");
        }
    }
}
