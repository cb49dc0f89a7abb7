//! What many entries say alike, kept once: a hall runs the same files again and again, and of each run the program, the
//! materials and the use are those of the last one.

use std::collections::HashMap;

use sqlx::{AnyConnection, AssertSqlSafe, Row};

use crate::Error;
use crate::rows::{padded, places};

/// What an entry says as others do.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Alike {
    /// The event but for its use and what is its own, as a JSON object.
    pub body: String,
    /// The use, as bytes.
    pub usage: Vec<u8>,
}

impl Alike {
    /// By what it is looked for: a hash of the body, a zero and the use. Two that differ may have the same.
    fn hash(&self) -> i64 {
        fnv_1a(self.body.bytes().chain([0]).chain(self.usage.iter().copied())).cast_signed()
    }
}

/// FNV-1a of 64 bits (Fowler, Noll & Vo): it must be the same in every version, which the standard library's hash
/// is not.
fn fnv_1a(bytes: impl Iterator<Item = u8>) -> u64 {
    bytes.fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3))
}

/// The numbers of all these, those that nothing said before written down. Two writers at once may both write one down; that
/// costs a row and nothing else.
pub(crate) async fn numbers(connection: &mut AnyConnection, wanted: Vec<&Alike>) -> Result<HashMap<Alike, i64>, Error> {
    let mut known = find(connection, &wanted).await?;
    for alike in wanted {
        if !known.contains_key(alike) {
            let id = sqlx::query_scalar("insert into alike (hash, body, usage) values ($1, $2, $3) returning id")
                .bind(alike.hash())
                .bind(alike.body.as_str())
                .bind(alike.usage.as_slice())
                .fetch_one(&mut *connection)
                .await?;
            known.insert(alike.clone(), id);
        }
    }
    Ok(known)
}

async fn find(connection: &mut AnyConnection, wanted: &[&Alike]) -> Result<HashMap<Alike, i64>, Error> {
    let mut hashes: Vec<i64> = wanted.iter().map(|alike| alike.hash()).collect();
    hashes.sort_unstable();
    hashes.dedup();
    if hashes.is_empty() {
        return Ok(HashMap::new());
    }
    let hashes = padded(hashes);
    let text = format!("select id, body, usage from alike where hash in {}", places(1, hashes.len()));
    let query = hashes.into_iter().fold(sqlx::query(AssertSqlSafe(text)), |query, hash| query.bind(hash));
    let rows = query.fetch_all(connection).await?;
    rows.iter().map(|row| Ok((Alike { body: row.try_get(1)?, usage: row.try_get(2)? }, row.try_get(0)?))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The published test vectors of FNV-1a: the empty text, "a" and "foobar".
    #[test]
    fn what_is_alike_is_looked_for_by_a_hash_that_lasts() {
        assert_eq!(fnv_1a("".bytes()), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv_1a("a".bytes()), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv_1a("foobar".bytes()), 0x8594_4171_f739_67e8);
    }
}
