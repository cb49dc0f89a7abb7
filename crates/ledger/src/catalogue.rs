//! What the shop keeps besides entries: builds, its own materials, metered programs.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use jiff::Timestamp;
use motion::Duty;
use sqlx::{AnyConnection, Row};
use upkeep::{Build, MaterialClass, MaterialInfo, Unknown};

use crate::codec;
use crate::tables::readable;
use crate::{Error, Ledger, time};

/// A build as the shop keeps it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BuildText {
    /// Its name.
    pub name: String,
    /// Its text, as it was added.
    pub text: String,
    /// When that was.
    pub recorded: Timestamp,
}

/// What a program's duty depends on.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct ProgramKey {
    /// SHA-256 of the file's plain bytes, lower-case hexadecimal.
    pub sha256: String,
    /// What tells the motion of one build from that of another.
    pub motion: String,
    /// The corner rule, `jerk` or `deviation`.
    pub corner: String,
    /// The version of the meter.
    pub meter: u32,
}

/// A program that has been metered.
#[derive(Clone, Debug, PartialEq)]
pub struct Program {
    /// The file's name when it was first seen.
    pub label: String,
    /// The length of the file's plain bytes.
    pub bytes: u64,
    /// What it asks of the machine, to the last bit as it was metered.
    pub duty: Duty,
    /// The meter's report, as JSON.
    pub report: String,
    /// Wear maps, as the meter writes them.
    pub maps: Vec<u8>,
}

impl Ledger {
    /// Keeps the text of a build inside the shop; of several texts of one name the newest holds. Gives whether it is
    /// news.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn add_build(&self, name: &str, text: &str, recorded: Timestamp) -> Result<bool, Error> {
        if name.trim().is_empty() {
            return Err(Error::Nameless { what: "build" });
        }
        let inserted = sqlx::query(
            "insert into build (name, text, recorded) select cast($1 as text), cast($2 as text), cast($3 as bigint) \
             where not exists (select 1 from build b where b.text = $2 \
             and b.id = (select max(id) from build where name = $1))",
        )
        .bind(name)
        .bind(text)
        .bind(time::to_micros(recorded))
        .execute(&self.pool)
        .await?;
        let is_news = 0 < inserted.rows_affected();
        if is_news {
            self.note_recording();
        }
        Ok(is_news)
    }

    /// The builds in the shop, by name.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn builds(&self) -> Result<Vec<BuildText>, Error> {
        let mut connection = self.pool.acquire().await?;
        build_texts(&mut connection).await
    }

    /// The build of that name, as its newest text has it.
    ///
    /// # Errors
    /// [`Error::NoSuchBuild`], [`Error::BadBuild`].
    pub async fn build(&self, name: &str) -> Result<Arc<Build>, Error> {
        let mut connection = self.pool.acquire().await?;
        match builds(&mut connection, &BTreeSet::from([name]), &self.parsed).await?.remove(name) {
            Some(build) => Ok(build),
            None => {
                check_build(&mut connection, name).await?;
                Err(Error::Damaged { what: format!("build \"{name}\"") })
            }
        }
    }

    /// Keeps one of the shop's own materials; of several of one name, whatever the case, the newest holds.
    ///
    /// # Errors
    /// Where its density is no positive number, or the database refuses.
    pub async fn put_material(&self, material: &MaterialInfo, recorded: Timestamp) -> Result<(), Error> {
        if material.name.trim().is_empty() {
            return Err(Error::Nameless { what: "material" });
        }
        if !(0.0 < material.density_kg_m3 && material.density_kg_m3 < f64::INFINITY) {
            return Err(Error::BadAmount { what: "a density", value: material.density_kg_m3 });
        }
        let classes: Vec<&str> = material.classes.iter().map(|class| class.name()).collect();
        sqlx::query("insert into material (name, density_kg_m3, classes, recorded) values ($1, $2, $3, $4)")
            .bind(material.name.as_str())
            .bind(material.density_kg_m3)
            .bind(classes.join(","))
            .bind(time::to_micros(recorded))
            .execute(&self.pool)
            .await?;
        self.note_recording();
        Ok(())
    }

    /// The shop's own materials, newest first.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn materials(&self) -> Result<Vec<MaterialInfo>, Error> {
        let rows = sqlx::query("select name, density_kg_m3, classes from material order by id desc")
            .fetch_all(&self.pool)
            .await?;
        let mut seen = BTreeSet::new();
        let mut materials = Vec::new();
        for row in &rows {
            let name: String = row.try_get(0)?;
            let classes: Option<Vec<MaterialClass>> = row
                .try_get::<&str, _>(2)?
                .split(',')
                .filter(|word| !word.is_empty())
                .map(MaterialClass::from_name)
                .collect();
            let classes = classes.ok_or_else(|| Error::Damaged { what: format!("material \"{name}\"") })?;
            if seen.insert(name.to_lowercase()) {
                materials.push(MaterialInfo { name, density_kg_m3: row.try_get(1)?, classes });
            }
        }
        Ok(materials)
    }

    /// The program that was metered under that key, if it was.
    ///
    /// # Errors
    /// Where the database refuses or the row cannot be read.
    pub async fn program(&self, key: &ProgramKey) -> Result<Option<Program>, Error> {
        let row = sqlx::query(
            "select label, bytes, duty, report, maps from program \
             where sha256 = $1 and motion = $2 and corner = $3 and meter = $4",
        )
        .bind(key.sha256.as_str())
        .bind(key.motion.as_str())
        .bind(key.corner.as_str())
        .bind(i64::from(key.meter))
        .fetch_optional(&self.pool)
        .await?;
        let Some(row) = row else { return Ok(None) };
        let damaged = || format!("the duty of program {}", key.sha256);
        Ok(Some(Program {
            label: row.try_get(0)?,
            bytes: row.try_get::<i64, _>(1)?.unsigned_abs(),
            duty: readable(codec::duty_from_bytes(row.try_get(2)?, &self.quantities), damaged)?,
            report: row.try_get(3)?,
            maps: row.try_get(4)?,
        }))
    }

    /// Keeps what metering a program gave; what is there already stays.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn put_program(&self, key: &ProgramKey, program: &Program) -> Result<(), Error> {
        sqlx::query(
            "insert into program (sha256, motion, corner, meter, label, bytes, duty, report, maps) \
             values ($1, $2, $3, $4, $5, $6, $7, $8, $9) on conflict (sha256, motion, corner, meter) do nothing",
        )
        .bind(key.sha256.as_str())
        .bind(key.motion.as_str())
        .bind(key.corner.as_str())
        .bind(i64::from(key.meter))
        .bind(program.label.as_str())
        // OK because no file is longer than 2^63 bytes.
        .bind(i64::try_from(program.bytes).unwrap_or(i64::MAX))
        .bind(codec::duty_to_bytes(&program.duty, &self.quantities))
        .bind(program.report.as_str())
        .bind(program.maps.as_slice())
        .execute(&self.pool)
        .await?;
        Ok(())
    }
}

/// The newest text of every build, by name.
async fn build_texts(connection: &mut AnyConnection) -> Result<Vec<BuildText>, Error> {
    let rows = sqlx::query(
        "select name, text, recorded from build b where id = (select max(id) from build where name = b.name) order by name",
    )
    .fetch_all(connection)
    .await?;
    let mut builds = Vec::with_capacity(rows.len());
    for row in &rows {
        let name: String = row.try_get(0)?;
        let damaged = || Error::Damaged { what: format!("build \"{name}\"") };
        let recorded = time::from_micros(row.try_get(2)?).ok_or_else(damaged)?;
        builds.push(BuildText { text: row.try_get(1)?, recorded, name });
    }
    Ok(builds)
}

/// The builds of those names, read; the others' texts cost nothing and cannot be in the way.
pub(crate) async fn builds(
    connection: &mut AnyConnection,
    wanted: &BTreeSet<&str>,
    parsed: &Parsed,
) -> Result<BTreeMap<String, Arc<Build>>, Error> {
    let texts = build_texts(connection).await?.into_iter().filter(|text| wanted.contains(text.name.as_str()));
    texts.map(|text| Ok((text.name.clone(), parsed.build(text)?))).collect()
}

/// The builds that were parsed since the shop was opened, by name, with the text that each was parsed from. Shared by
/// the clones of a ledger.
#[derive(Clone, Debug, Default)]
pub(crate) struct Parsed(Arc<Mutex<BTreeMap<String, ParsedText>>>);

/// A text and the build that it describes.
#[derive(Debug)]
struct ParsedText {
    text: String,
    build: Arc<Build>,
}

impl Parsed {
    /// The build of that text, parsed now unless it was before.
    fn build(&self, BuildText { name, text, .. }: BuildText) -> Result<Arc<Build>, Error> {
        let mut parsed = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match parsed.get(&name) {
            Some(before) if before.text == text => Ok(before.build.clone()),
            _ => {
                let build = Build::parse(&name, &text)
                    .map_err(|errors| Error::BadBuild { name: name.clone(), reason: errors.to_string() })?;
                let build = Arc::new(build);
                parsed.insert(name, ParsedText { text, build: build.clone() });
                Ok(build)
            }
        }
    }
}

/// Refuses a build that is not in the shop.
pub(crate) async fn check_build(connection: &mut AnyConnection, name: &str) -> Result<(), Error> {
    let known: Vec<String> =
        sqlx::query_scalar("select distinct name from build order by name").fetch_all(connection).await?;
    if known.iter().any(|known| known == name) {
        return Ok(());
    }
    Err(Error::NoSuchBuild(Unknown::new("build", name, known)))
}
