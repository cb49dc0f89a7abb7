//! The checklist of a visit: what keepers ticked off, read, used and photographed at the machine, beside the record until the
//! visit is booked. Marks are only ever added; of what contradicts itself the latest holds.

use std::collections::BTreeMap;

use jiff::Timestamp;
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use upkeep::EntryId;

use crate::{Error, Ledger, time};

/// Something that was said of a task of a visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Mark {
    /// It is done.
    Done,
    /// It is not done, because of this.
    Skipped(String),
    /// It is still to be done, whatever was said before.
    Open,
    /// What was measured (`belts: belt frequency`), and the value with its unit.
    Reading(String, String),
    /// A supply that was used, and how much of it.
    Used(String, String),
    /// Words to keep.
    Note(String),
    /// The whole visit is over. It is of no task, and is kept with the booking alone ([`Ledger::finish_visit`]).
    Finish,
}

impl Mark {
    /// Its columns: kind, what it is about, text.
    fn columns(&self) -> (&'static str, &str, &str) {
        match self {
            Mark::Done => ("done", "", ""),
            Mark::Skipped(reason) => ("skipped", "", reason),
            Mark::Open => ("open", "", ""),
            Mark::Reading(what, value) => ("reading", what, value),
            Mark::Used(supply, amount) => ("used", supply, amount),
            Mark::Note(note) => ("note", "", note),
            Mark::Finish => ("finish", "", ""),
        }
    }

    fn from_columns(kind: &str, about: String, text: String) -> Option<Mark> {
        match kind {
            "done" => Some(Mark::Done),
            "skipped" => Some(Mark::Skipped(text)),
            "open" => Some(Mark::Open),
            "reading" => Some(Mark::Reading(about, text)),
            "used" => Some(Mark::Used(about, text)),
            "note" => Some(Mark::Note(text)),
            "finish" => Some(Mark::Finish),
            _ => None,
        }
    }
}

/// Who made a mark, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Maker<'a> {
    /// Their name; `None` where nobody had been asked.
    pub by: Option<&'a str>,
    /// When.
    pub at: Timestamp,
    /// What the device made up for this one press; the same press sent again has the same.
    pub key: &'a str,
}

/// What was ticked off of a visit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Checklist {
    /// How many marks it was made of; it rises with each.
    pub n_marks: usize,
    /// What was said of each task that anything was said of.
    pub tasks: BTreeMap<String, Ticked>,
    /// When the first task was ticked or skipped.
    pub first: Option<Timestamp>,
    /// The key of the press that booked the visit, if it was one.
    pub finish: Option<String>,
}

/// What was said of one task.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ticked {
    /// What became of it; `None` while it is open.
    pub outcome: Option<Outcome>,
    /// The readings that were taken, by position and name: `belts: belt frequency` to `104 Hz`.
    pub readings: BTreeMap<String, String>,
    /// What was used otherwise than usual, by supply: `5 ml`.
    pub used: BTreeMap<String, String>,
    /// Words to keep; may be empty.
    pub note: String,
}

/// What became of a task.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// Why it was skipped; `None` where it was done.
    pub skipped: Option<String>,
    /// Who said so; `None` where nobody had been asked.
    pub by: Option<String>,
    /// When.
    pub at: Timestamp,
}

impl Checklist {
    /// Takes one more mark in, later than all before.
    fn push(&mut self, key: &str, task: &str, mark: Mark, by: Option<String>, at: Timestamp) {
        self.n_marks += 1;
        if mark == Mark::Finish {
            self.finish = Some(key.to_owned());
            return;
        }
        if matches!(mark, Mark::Done | Mark::Skipped(_)) {
            self.first = Some(self.first.map_or(at, |first| first.min(at)));
        }
        let ticked = self.tasks.entry(task.to_owned()).or_default();
        match mark {
            // Ticked twice is ticked once, by whoever was first.
            Mark::Done if ticked.outcome.as_ref().is_some_and(|outcome| outcome.skipped.is_none()) => {}
            Mark::Done => ticked.outcome = Some(Outcome { skipped: None, by, at }),
            Mark::Skipped(reason) => ticked.outcome = Some(Outcome { skipped: Some(reason), by, at }),
            Mark::Open => ticked.outcome = None,
            Mark::Reading(what, value) => drop(ticked.readings.insert(what, value)),
            Mark::Used(supply, amount) => drop(ticked.used.insert(supply, amount)),
            Mark::Note(note) => ticked.note = note,
            Mark::Finish => {}
        }
    }
}

/// What pictures a photo may be, as its first bytes tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PhotoKind {
    /// ISO/IEC 10918-1.
    Jpeg,
    /// ISO/IEC 15948.
    Png,
    /// RFC 9649.
    WebP,
}

impl PhotoKind {
    /// Its word in the database.
    pub fn word(self) -> &'static str {
        match self {
            PhotoKind::Jpeg => "jpeg",
            PhotoKind::Png => "png",
            PhotoKind::WebP => "webp",
        }
    }

    fn from_word(word: &str) -> Option<PhotoKind> {
        [PhotoKind::Jpeg, PhotoKind::Png, PhotoKind::WebP].into_iter().find(|kind| kind.word() == word)
    }

    /// What a file is by its first bytes: the start of image of JPEG (annex B), the signature of PNG (5.2), the container and
    /// its form of WebP (2.4); `None` for anything else.
    pub fn of(bytes: &[u8]) -> Option<PhotoKind> {
        match bytes {
            [0xff, 0xd8, 0xff, ..] => Some(PhotoKind::Jpeg),
            [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1a, b'\n', ..] => Some(PhotoKind::Png),
            [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Some(PhotoKind::WebP),
            _ => None,
        }
    }
}

/// The most octets that a photo may have.
pub const LARGEST_PHOTO: usize = 6_000_000;

/// The most photos of one visit.
pub const MOST_PHOTOS: i64 = 24;

/// Why a photo is not kept.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PhotoError {
    /// It is none of the kinds that every browser shows.
    #[error("the file is no photo of kind JPEG, PNG or WebP\n  take one with the camera, or choose another file")]
    Kind,
    /// It is too large.
    #[error("the photo has more than {} MB\n  choose a smaller size in the camera", LARGEST_PHOTO / 1_000_000)]
    Size,
    /// There are enough.
    #[error("the visit has {MOST_PHOTOS} photos, and takes no more\n  what else is to be seen can be said in a note")]
    Many,
}

/// A photo in the list of a visit's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhotoInfo {
    /// Its place among them, from 1.
    pub place: i64,
    /// The task that it was taken at.
    pub task: String,
    /// Who took it; `None` where nobody had been asked.
    pub by: Option<String>,
    /// When.
    pub at: Timestamp,
}

impl Ledger {
    /// Adds marks about a task of a visit, all that one press said. Those of a key that are there already stay as they are.
    ///
    /// # Errors
    /// [`Error::NoSuchEntry`] for a visit that is none; where the database refuses.
    pub async fn mark(&self, visit: EntryId, task: &str, marks: &[Mark], maker: &Maker<'_>) -> Result<(), Error> {
        self.check_visit(visit).await?;
        let mut transaction = self.begin().await?;
        for mark in marks {
            add(&mut transaction, visit, task, mark, maker).await?;
        }
        transaction.commit().await?;
        Ok(())
    }

    /// What was ticked off of a visit.
    ///
    /// # Errors
    /// Where the database refuses or a mark cannot be read.
    pub async fn checklist(&self, visit: EntryId) -> Result<Checklist, Error> {
        let rows =
            sqlx::query("select id, key, task, kind, about, text, made_by, at from mark where visit = $1 order by id")
                .bind(visit.0)
                .fetch_all(&self.pool)
                .await?;
        let mut checklist = Checklist::default();
        for row in &rows {
            let damaged = || Error::Damaged { what: format!("a mark of visit {visit}") };
            let mark = Mark::from_columns(row.try_get(3)?, row.try_get(4)?, row.try_get(5)?).ok_or_else(damaged)?;
            let at = time::from_micros(row.try_get(7)?).ok_or_else(damaged)?;
            checklist.push(row.try_get(1)?, row.try_get(2)?, mark, row.try_get(6)?, at);
        }
        Ok(checklist)
    }

    /// How much is in a visit's checklist, photos included: it rises with each thing that is added.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn checklist_size(&self, visit: EntryId) -> Result<i64, Error> {
        let query = sqlx::query_scalar(
            "select cast((select count(*) from mark where visit = $1) + (select count(*) from photo where visit = $1) as bigint)",
        );
        Ok(query.bind(visit.0).fetch_one(&self.pool).await?)
    }

    /// Keeps a photo of a visit's task; one of a key that is there already is kept once.
    ///
    /// # Errors
    /// [`Error::BadPhoto`]; [`Error::NoSuchEntry`] for a visit that is none; where the database refuses.
    pub async fn add_photo(&self, visit: EntryId, task: &str, bytes: &[u8], maker: &Maker<'_>) -> Result<(), Error> {
        if LARGEST_PHOTO < bytes.len() {
            return Err(PhotoError::Size.into());
        }
        let kind = PhotoKind::of(bytes).ok_or(PhotoError::Kind)?;
        self.check_visit(visit).await?;
        loop {
            let mut transaction = self.begin().await?;
            let added = sqlx::query(
                "insert into photo (visit, place, key, task, kind, bytes, made_by, at) \
                 select $1, coalesce(max(place), 0) + 1, $2, $3, $4, $5, $6, $7 from photo where visit = $1 \
                 having coalesce(max(place), 0) < $8 on conflict do nothing",
            )
            .bind(visit.0)
            .bind(maker.key)
            .bind(task)
            .bind(kind.word())
            .bind(bytes)
            .bind(maker.by)
            .bind(time::to_micros(maker.at))
            .bind(MOST_PHOTOS)
            .execute(&mut *transaction)
            .await?;
            transaction.commit().await?;
            if added.rows_affected() == 1 || self.has_photo(visit, maker.key).await? {
                return Ok(());
            }
            if MOST_PHOTOS <= self.photos(visit).await?.last().map_or(0, |last| last.place) {
                return Err(PhotoError::Many.into());
            }
            // Another device took the same place at the same instant: the next one is tried.
        }
    }

    /// Whether a photo of that key is with a visit.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn has_photo(&self, visit: EntryId, key: &str) -> Result<bool, Error> {
        let query = sqlx::query_scalar("select count(*) from photo where visit = $1 and key = $2");
        let count: i64 = query.bind(visit.0).bind(key).fetch_one(&self.pool).await?;
        Ok(0 < count)
    }

    /// The photos of a visit, without their bytes, as they were added.
    ///
    /// # Errors
    /// Where the database refuses or a row cannot be read.
    pub async fn photos(&self, visit: EntryId) -> Result<Vec<PhotoInfo>, Error> {
        let query = sqlx::query("select place, task, made_by, at from photo where visit = $1 order by place");
        query.bind(visit.0).fetch_all(&self.pool).await?.iter().map(|row| photo_info(visit, row)).collect()
    }

    /// A photo of a visit with its kind; `None` where there is none at that place.
    ///
    /// # Errors
    /// Where the database refuses or the row cannot be read.
    pub async fn photo(&self, visit: EntryId, place: i64) -> Result<Option<(PhotoKind, Vec<u8>)>, Error> {
        let query = sqlx::query("select kind, bytes from photo where visit = $1 and place = $2");
        let Some(row) = query.bind(visit.0).bind(place).fetch_optional(&self.pool).await? else { return Ok(None) };
        let kind = PhotoKind::from_word(row.try_get(0)?);
        let kind = kind.ok_or_else(|| Error::Damaged { what: format!("photo {place} of visit {visit}") })?;
        Ok(Some((kind, row.try_get(1)?)))
    }

    /// Refuses a number that is no visit's.
    async fn check_visit(&self, visit: EntryId) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        match is_visit(&mut connection, visit).await? {
            true => Ok(()),
            false => Err(Error::NoSuchEntry { id: visit }),
        }
    }
}

/// Whether an entry is the first of a visit.
async fn is_visit(connection: &mut AnyConnection, id: EntryId) -> Result<bool, Error> {
    let query = sqlx::query_scalar("select count(*) from entry where id = $1 and kind = 'visit' and corrects is null");
    let count: i64 = query.bind(id.0).fetch_one(connection).await?;
    Ok(0 < count)
}

fn photo_info(visit: EntryId, row: &AnyRow) -> Result<PhotoInfo, Error> {
    let at = time::from_micros(row.try_get(3)?);
    let at = at.ok_or_else(|| Error::Damaged { what: format!("a photo of visit {visit}") })?;
    Ok(PhotoInfo { place: row.try_get(0)?, task: row.try_get(1)?, by: row.try_get(2)?, at })
}

/// Adds a mark; one of its key, kind and subject that is there already stays as it is.
pub(crate) async fn add(
    connection: &mut AnyConnection,
    visit: EntryId,
    task: &str,
    mark: &Mark,
    maker: &Maker<'_>,
) -> Result<(), Error> {
    let (kind, about, text) = mark.columns();
    sqlx::query(
        "insert into mark (visit, key, task, kind, about, text, made_by, at) values ($1, $2, $3, $4, $5, $6, $7, $8) \
         on conflict (visit, key, kind, about) do nothing",
    )
    .bind(visit.0)
    .bind(maker.key)
    .bind(task)
    .bind(kind)
    .bind(about)
    .bind(text)
    .bind(maker.by)
    .bind(time::to_micros(maker.at))
    .execute(connection)
    .await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_photo_is_known_by_its_first_bytes_and_by_nothing_else() {
        // The signatures as the standards print them.
        assert_eq!(PhotoKind::of(b"\xff\xd8\xff\xe0\x00\x10JFIF"), Some(PhotoKind::Jpeg));
        assert_eq!(PhotoKind::of(b"\x89PNG\r\n\x1a\n\x00"), Some(PhotoKind::Png));
        assert_eq!(PhotoKind::of(b"RIFF\x10\x00\x00\x00WEBPVP8 "), Some(PhotoKind::WebP));
        for other in [&b"<svg xmlns="[..], b"GIF89a", b"RIFF\x10\x00\x00\x00WAVEfmt ", b"\x89PNG\n\x1a\n", b""] {
            assert_eq!(PhotoKind::of(other), None, "{other:?}");
        }
    }
}
