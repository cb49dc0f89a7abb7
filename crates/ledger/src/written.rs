//! Writing entries down, many to a statement.

use std::collections::{BTreeSet, HashMap, VecDeque};

use sqlx::{AnyConnection, AssertSqlSafe, Row};
use upkeep::EntryId;

use crate::alike::{self, Alike};
use crate::names::Names;
use crate::record::Columns;
use crate::rows::{pieces, places};
use crate::{Error, Kind, NewEntry, codec, record, tables, time};

/// An entry as it will be written down.
pub(crate) struct Line<'a> {
    /// The machine's number.
    pub machine: i64,
    /// What it says.
    pub new: &'a NewEntry,
    /// The entry that it corrects.
    pub corrects: Option<EntryId>,
    /// Who records it.
    pub by: Option<&'a str>,
}

/// The columns of one row that are not plain in a [`Line`].
struct Said {
    columns: Columns,
    usage: Option<Vec<u8>>,
    alike: Option<Alike>,
}

impl Said {
    fn of(line: &Line<'_>, names: &Names) -> Said {
        let mut columns = record::to_columns(&line.new.event);
        let mut usage = record::usage_of(&line.new.event).map(|usage| codec::usage_to_bytes(usage, names));
        let alike = match (columns.alike.take(), usage.take()) {
            (Some(body), Some(usage)) => Some(Alike { body, usage }),
            (_, own) => {
                usage = own;
                None
            }
        };
        Said { columns, usage, alike }
    }
}

/// Writes entries down and gives their numbers, which rise in the order of `lines`.
pub(crate) async fn write(
    connection: &mut AnyConnection,
    lines: &[Line<'_>],
    names: &Names,
) -> Result<Vec<EntryId>, Error> {
    let said: Vec<Said> = lines.iter().map(|line| Said::of(line, names)).collect();
    let numbers = alike::numbers(connection, said.iter().filter_map(|said| said.alike.as_ref()).collect()).await?;
    let besides_runs = lines.iter().zip(&said).filter(|(_, said)| said.columns.kind != Kind::Run);
    for machine in besides_runs.map(|(line, _)| line.machine).collect::<BTreeSet<_>>() {
        tables::note_besides_runs(connection, machine).await?;
    }
    let rows: Vec<(&Line<'_>, &Said)> = lines.iter().zip(&said).collect();
    let mut ids = Vec::with_capacity(lines.len());
    for piece in pieces(&rows) {
        ids.extend(insert(connection, piece, &numbers).await?);
    }
    Ok(ids)
}

async fn insert(
    connection: &mut AnyConnection,
    rows: &[(&Line<'_>, &Said)],
    numbers: &HashMap<Alike, i64>,
) -> Result<Vec<EntryId>, Error> {
    let text = format!(
        "insert into entry (machine, kind, at, recorded, corrects, about, body, note, usage, recorded_by, alike) \
         values {} returning id, machine, at",
        places(rows.len(), 11)
    );
    let mut query = sqlx::query(AssertSqlSafe(text));
    for (line, said) in rows {
        query = query
            .bind(line.machine)
            .bind(said.columns.kind.word())
            .bind(time::to_micros(line.new.at))
            .bind(time::to_micros(line.new.recorded))
            .bind(line.corrects.map(|id| id.0))
            .bind(said.columns.about.as_str())
            .bind(said.columns.body.as_str())
            .bind(line.new.note.as_str())
            .bind(said.usage.as_deref())
            .bind(line.by)
            .bind(said.alike.as_ref().and_then(|alike| numbers.get(alike)).copied());
    }
    let mut given: Vec<(i64, i64, i64)> = Vec::with_capacity(rows.len());
    for row in query.fetch_all(connection).await? {
        given.push((row.try_get(0)?, row.try_get(1)?, row.try_get(2)?));
    }
    // Both engines number the rows in the order of the values, but neither promises to return them in that order.
    given.sort_unstable();
    let mut by_place: HashMap<(i64, i64), VecDeque<i64>> = HashMap::new();
    for (id, machine, at) in given {
        by_place.entry((machine, at)).or_default().push_back(id);
    }
    let id_of = |(line, _): &(&Line<'_>, &Said)| {
        let place = (line.machine, time::to_micros(line.new.at));
        let id = by_place.get_mut(&place).and_then(VecDeque::pop_front);
        id.map(EntryId).ok_or_else(|| Error::Damaged { what: format!("the entry of \"{}\"", line.new.machine) })
    };
    rows.iter().map(id_of).collect()
}
