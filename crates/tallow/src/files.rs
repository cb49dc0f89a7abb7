//! Where files are kept that were sent and are still to be metered: a folder, or a bucket of any S3-compatible store.

use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use futures_util::TryStreamExt;
use jiff::Timestamp;
use object_store::aws::AmazonS3Builder;
use object_store::{ObjectStore, ObjectStoreExt, WriteMultipart, path};
use tokio_rustls::rustls::crypto::ring;

use crate::input::{Sent, Source};
use crate::secret;
use crate::trouble::Trouble;

/// Bytes that go to a bucket at once: the least that S3 takes for a part of an upload is 5 MiB.
const PART: usize = 8 * 1024 * 1024;

/// Parts of one file that are under way at once.
const PARTS_AT_ONCE: usize = 4;

/// A place for files.
#[derive(Clone, Debug)]
pub(crate) enum Files {
    /// A folder.
    Folder(PathBuf),
    /// A bucket, and what the names of files in it begin with.
    Bucket(Arc<dyn ObjectStore>, path::Path),
}

impl Files {
    /// The place that was named, `s3://bucket/prefix` or a folder; else beside the shop's own file.
    ///
    /// # Errors
    /// A shop on a server, for which no place was named; a bucket that can't be used.
    pub(crate) fn at(named: Option<&str>, shop: &str) -> Result<Files, Trouble> {
        match named {
            Some(address) if address.starts_with("s3://") => bucket(address),
            Some(folder) => Ok(Files::Folder(PathBuf::from(folder))),
            None if ledger::is_on_a_server(shop) => {
                Err(Trouble::refused("it is not known where files are kept until they are metered")
                    .help("name a folder that every server and worker sees, or a bucket: --files FOLDER, or --files s3://BUCKET/PREFIX"))
            }
            None => Ok(Files::Folder(PathBuf::from(format!("{shop}.files")))),
        }
    }

    /// Keeps a file as it is, packed or not, and gives the name by which it is found again, which begins with `of`. When this
    /// returns, it has reached the disk, or the bucket.
    ///
    /// # Errors
    /// What can't be read or written.
    pub(crate) async fn keep(&self, source: &Source, of: &str) -> Result<String, Trouble> {
        let mut raw = raw(source)?;
        let key = format!("{of}-{}", secret::token()?);
        match self {
            Files::Folder(folder) => {
                tokio::task::block_in_place(|| into_folder(folder, &key, &mut raw)).map_err(|error| {
                    Trouble::refused(format!("the file could not be kept: {error}"))
                        .help("make room for it, or check the permissions of the place for files (--files)")
                })?
            }
            Files::Bucket(store, prefix) => {
                let upload = store.put_multipart(&prefix.clone().join(key.as_str())).await.map_err(unkept)?;
                let mut writer = WriteMultipart::new_with_chunk_size(upload, PART);
                let mut buffer = vec![0; PART];
                loop {
                    let count = raw.read(&mut buffer).map_err(|error| source.trouble(&error))?;
                    if count == 0 {
                        break;
                    }
                    writer.wait_for_capacity(PARTS_AT_ONCE).await.map_err(unkept)?;
                    writer.write(&buffer[..count]);
                }
                writer.finish().await.map_err(unkept)?;
            }
        }
        Ok(key)
    }

    /// The file that was kept under that name, to be called `name`.
    ///
    /// # Errors
    /// Where it is gone or can't be read.
    pub(crate) async fn fetch(&self, key: &str, name: &str) -> Result<Source, Trouble> {
        let gone = |error: &dyn std::fmt::Display| {
            Trouble::refused(format!("{name} can't be read where it was kept: {error}"))
                .help("check the place for files (--files), or send the file again")
        };
        let file = match self {
            Files::Folder(folder) => File::open(folder.join(key)).map_err(|error| gone(&error))?,
            Files::Bucket(store, prefix) => {
                let mut chunks =
                    store.get(&prefix.clone().join(key)).await.map_err(|error| gone(&error))?.into_stream();
                let mut file = tempfile::tempfile().map_err(|error| gone(&error))?;
                while let Some(chunk) = chunks.try_next().await.map_err(|error| gone(&error))? {
                    file.write_all(&chunk).map_err(|error| gone(&error))?;
                }
                file
            }
        };
        Ok(Source::Sent(Sent { name: name.to_owned(), file: Arc::new(file) }))
    }

    /// The names that begin with `of` of files that nobody has changed since `since`.
    ///
    /// # Errors
    /// A place that can't be read.
    pub(crate) async fn older_than(&self, since: Timestamp, of: &str) -> Result<Vec<String>, Trouble> {
        let unread = |error: &dyn std::fmt::Display| {
            Trouble::refused(format!("the place for files can't be looked at: {error}")).help("check it: --files")
        };
        let begins = format!("{of}-");
        let mut found = Vec::new();
        match self {
            Files::Folder(folder) => {
                let listed = match fs::read_dir(folder) {
                    Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(found),
                    listed => listed.map_err(|error| unread(&error))?,
                };
                for entry in listed {
                    let entry = entry.map_err(|error| unread(&error))?;
                    // What is gone by now, or can't be looked at, is left alone.
                    let changed = entry.metadata().and_then(|about| about.modified()).ok();
                    let is_old = changed.and_then(|at| Timestamp::try_from(at).ok()).is_some_and(|at| at < since);
                    found.extend(
                        entry.file_name().into_string().ok().filter(|name| is_old && name.starts_with(&begins)),
                    );
                }
            }
            Files::Bucket(store, prefix) => {
                let mut listed = store.list(Some(prefix));
                while let Some(about) = listed.try_next().await.map_err(|error| unread(&error))? {
                    let is_old = about.last_modified.timestamp() < since.as_second();
                    let name = about.location.filename().filter(|name| is_old && name.starts_with(&begins));
                    found.extend(name.map(str::to_owned));
                }
            }
        }
        Ok(found)
    }

    /// Forgets a file that is done with. What is gone already stays gone.
    pub(crate) async fn forget(&self, key: &str) {
        // OK to ignore: a file too many takes room and harms nothing.
        let _ = match self {
            Files::Folder(folder) => fs::remove_file(folder.join(key)).is_ok(),
            Files::Bucket(store, prefix) => store.delete(&prefix.clone().join(key)).await.is_ok(),
        };
    }
}

/// A bucket, by its address and what the environment says of it (AWS_ENDPOINT, AWS_REGION, AWS_ACCESS_KEY_ID and so on).
fn bucket(address: &str) -> Result<Files, Trouble> {
    // OK to ignore: another part of the process may have chosen the same before.
    let _ = ring::default_provider().install_default();
    let rest = address.trim_start_matches("s3://");
    let (name, prefix) = rest.split_once('/').unwrap_or((rest, ""));
    let store = AmazonS3Builder::from_env().with_bucket_name(name).build().map_err(|error| {
        Trouble::refused(format!("{address} can't be used: {error}"))
            .help("the environment says how it is reached: AWS_ENDPOINT, AWS_REGION, AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY")
    })?;
    Ok(Files::Bucket(Arc::new(store), path::Path::from(prefix)))
}

/// A file's bytes as they are.
fn raw(source: &Source) -> Result<File, Trouble> {
    let opened = match source {
        Source::File(path) => File::open(path),
        Source::Sent(sent) => sent.file.try_clone().and_then(|mut file| file.seek(SeekFrom::Start(0)).map(|_| file)),
        Source::Standard => Err(io::Error::other("standard input can't be kept for later; name a file")),
    };
    opened.map_err(|error| source.trouble(&error))
}

/// Writes a file under another name first, so that whatever bears its name is whole.
fn into_folder(folder: &Path, key: &str, raw: &mut File) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    let mut into = tempfile::Builder::new().prefix(&format!("{key}.")).tempfile_in(folder)?;
    io::copy(raw, &mut into)?;
    into.as_file().sync_all()?;
    into.persist(folder.join(key)).map_err(|error| error.error)?;
    File::open(folder)?.sync_all()
}

fn unkept(error: object_store::Error) -> Trouble {
    Trouble::refused(format!("the file could not be kept: {error}")).help("check the place for files: --files")
}
