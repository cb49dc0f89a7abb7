//! Asking at a terminal which column of a table means what.

use std::collections::BTreeMap;
use std::io::{BufRead, Write};

use clap::ValueEnum;

use crate::printed;
use crate::trouble::Trouble;
use crate::ways::TableWay;
use crate::ways::table::{DateOrder, DurationColumn, DurationUnit, Given, Knows, OutcomeColumn, Table};

/// What a column may mean.
const MEANINGS: [&str; 10] =
    ["machine", "material", "start", "end", "duration", "label", "sha256", "grams", "outcome", "note"];

/// Of how many different names or words of a table it is asked what they mean; further ones are listed as bad rows.
const MOST_ASKED: usize = 40;

/// Somebody who is asked.
pub(super) struct Asker<R, W> {
    from: R,
    to: W,
}

impl<R: BufRead, W: Write> Asker<R, W> {
    pub(super) fn new(from: R, to: W) -> Asker<R, W> {
        Asker { from, to }
    }

    /// Asks for everything that a table must be known by; gives it with the name under which it is to be kept.
    ///
    /// # Errors
    /// An end of the answers before the end of the questions, and neither a start nor an end; nothing is kept then.
    pub(super) fn ask(mut self, table: &Table, knows: &Knows) -> Result<(String, TableWay), Trouble> {
        let means = self.columns(table)?;
        let column = |meaning: &str| means.get(meaning).map(|at| table.header[*at].clone());
        if column("start").is_none() && column("end").is_none() {
            return Err(Trouble::refused("no column says when a run started or ended; nothing was kept")
                .help("without it a run can't be told from another: add such a column to the table"));
        }
        let values = |meaning: &str| means.get(meaning).map(|at| table.values(*at, MOST_ASKED)).unwrap_or_default();
        let machine = |name: &str| knows.machine(name);
        let material = |name: &str| printed::known(name, &knows.materials).map(|info| info.name);
        let (machine, machine_names) = self.given("machine", column("machine"), values("machine"), machine)?;
        let (material, material_names) = self.given("material", column("material"), values("material"), material)?;
        let duration = match column("duration") {
            Some(column) => {
                let unit = self.until("In what are durations written: h, min, s or h:mm:ss?", |answer| {
                    DurationUnit::from_str(answer, true).map_err(|_| "write h, min, s or h:mm:ss".to_owned())
                })?;
                Some(DurationColumn { column, unit })
            }
            None => None,
        };
        let outcome = match column("outcome") {
            Some(column) => Some(self.outcome(column, values("outcome"))?),
            None => None,
        };
        let has_parted = ["start", "end"].into_iter().flat_map(&values).any(|text| {
            let day = text.split_whitespace().next().unwrap_or_default();
            day.contains('/') || day.matches('.').count() == 2
        });
        let dates = match has_parted {
            true => Some(self.until("What comes first in its dates: day or month?", |answer| match answer {
                "day" => Ok(DateOrder::DayFirst),
                "month" => Ok(DateOrder::MonthFirst),
                _ => Err("write day or month".to_owned()),
            })?),
            false => None,
        };
        let name = self.until("Under what name is this to be kept?", |answer| match answer {
            "" => Err("give it a name, for example loft".to_owned()),
            name => Ok(name.to_owned()),
        })?;
        let way = TableWay {
            machine,
            material,
            start: column("start"),
            end: column("end"),
            duration,
            label: column("label"),
            sha256: column("sha256"),
            grams: column("grams"),
            outcome,
            note: column("note"),
            dates,
            machine_names,
            material_names,
        };
        Ok((name, way))
    }

    /// Asks column by column; gives where each meaning stands.
    fn columns(&mut self, table: &Table) -> Result<BTreeMap<&'static str, usize>, Trouble> {
        let mut means: BTreeMap<&'static str, usize> = BTreeMap::new();
        self.say(&format!("What does each column mean: {}? Enter leaves a column out.", MEANINGS.join(", ")))?;
        for (at, name) in table.header.iter().enumerate() {
            let samples = table.values(at, 2).join("\", \"");
            let question = format!("{name}, for example \"{samples}\"");
            let meaning = self.until(&question, |answer| {
                if answer.is_empty() {
                    return Ok(None);
                }
                let found = MEANINGS.into_iter().find(|meaning| answer.eq_ignore_ascii_case(meaning));
                match found {
                    Some(meaning) if means.contains_key(meaning) => Err(format!("another column is {meaning} already")),
                    Some(meaning) => Ok(Some(meaning)),
                    None => Err(format!("write one of: {}", MEANINGS.join(", "))),
                }
            })?;
            means.extend(meaning.map(|meaning| (meaning, at)));
        }
        Ok(means)
    }

    /// Asks for one name for all rows, or what the names of a column are in the shop.
    fn given(
        &mut self,
        what: &str,
        column: Option<String>,
        values: Vec<String>,
        known: impl Fn(&str) -> Result<String, Trouble>,
    ) -> Result<(Given, BTreeMap<String, String>), Trouble> {
        let mut names = BTreeMap::new();
        let Some(column) = column else {
            let always = self.until(&format!("Which {what} is it, in all rows?"), |answer| {
                known(answer).map_err(|trouble| trouble.to_string())
            })?;
            return Ok((Given::Always(always), names));
        };
        for there in values {
            let Err(trouble) = known(&there) else { continue };
            let question = format!("{trouble}\nWhich {what} of the shop is it? Enter leaves its rows out.");
            let here = self.until(&question, |answer| match answer {
                "" => Ok(None),
                name => known(name).map(Some).map_err(|trouble| trouble.to_string()),
            })?;
            names.extend(here.map(|here| (there, here)));
        }
        Ok((Given::Column(column), names))
    }

    fn outcome(&mut self, column: String, words: Vec<String>) -> Result<OutcomeColumn, Trouble> {
        let mut outcome = OutcomeColumn { column, finished: Vec::new(), stopped: Vec::new() };
        for word in words {
            let question = format!("Does \"{word}\" mean finished or stopped? Enter leaves its rows out.");
            let stopped = self.until(&question, |answer| match answer {
                "" => Ok(None),
                "finished" => Ok(Some(false)),
                "stopped" => Ok(Some(true)),
                _ => Err("write finished or stopped".to_owned()),
            })?;
            match stopped {
                Some(true) => outcome.stopped.push(word),
                Some(false) => outcome.finished.push(word),
                None => {}
            }
        }
        Ok(outcome)
    }

    /// Asks until the answer can be read.
    fn until<T>(&mut self, question: &str, read: impl Fn(&str) -> Result<T, String>) -> Result<T, Trouble> {
        self.say(question)?;
        loop {
            write!(self.to, "> ").and_then(|()| self.to.flush()).map_err(|error| unasked(&error))?;
            let mut line = String::new();
            if self.from.read_line(&mut line).map_err(|error| unasked(&error))? == 0 {
                return Err(Trouble::refused("the answers ended before the questions; nothing was kept")
                    .help("begin again, or say it by options: tallow way table --help"));
            }
            match read(line.trim()) {
                Ok(answer) => return Ok(answer),
                Err(why) => self.say(&why)?,
            }
        }
    }

    fn say(&mut self, text: &str) -> Result<(), Trouble> {
        writeln!(self.to, "{text}").map_err(|error| unasked(&error))
    }
}

fn unasked(error: &std::io::Error) -> Trouble {
    Trouble::refused(format!("nothing can be asked: {error}")).help("say it by options: tallow way table --help")
}
