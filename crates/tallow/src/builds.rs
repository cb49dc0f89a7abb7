//! Builds by name or by file.

use std::fs;
use std::path::Path;

use upkeep::{Build, build::shipped, nearest};

use crate::trouble::Trouble;

/// A build with the text that it was read from.
pub(crate) struct Read {
    /// The build.
    pub(crate) build: Build,
    /// Its text.
    pub(crate) text: String,
}

/// The build that a command line names: one that comes with tallow, by its short or its full name, or a file.
///
/// # Errors
/// A name that nothing has, a file that can't be read, and a build that is wrong.
pub(crate) fn named(name: &str) -> Result<Read, Trouble> {
    if let Some(read) = known(name)? {
        return Ok(read);
    }
    let path = Path::new(name);
    if path.exists() { from_file(path) } else { Err(unknown(name)) }
}

/// The build in a file.
///
/// # Errors
/// A file that can't be read, and a build that is wrong.
pub(crate) fn from_file(path: &Path) -> Result<Read, Trouble> {
    let bytes =
        fs::read(path).map_err(|error| Trouble::refused(format!("{} can't be read: {error}", path.display())))?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let line =
            1 + error.as_bytes()[..error.utf8_error().valid_up_to()].iter().filter(|&&byte| byte == b'\n').count();
        Trouble::refused(format!("{} is not a text file: line {line} is not UTF-8", path.display()))
            .help("save it as UTF-8 text")
    })?;
    let build = Build::parse(&path.display().to_string(), &text)?;
    Ok(Read { build, text })
}

fn known(name: &str) -> Result<Option<Read>, Trouble> {
    let all = shipped();
    let short = all.iter().find(|(short, _)| *short == name);
    // A full name stands in the text, so that only then need it be read.
    for (short, text) in short.into_iter().chain(all.iter().filter(|(_, text)| text.contains(name))) {
        let build = Build::parse(&format!("{short}.toml"), text)?;
        if *short == name || build.name == name {
            return Ok(Some(Read { build, text: (*text).to_owned() }));
        }
    }
    Ok(None)
}

fn unknown(name: &str) -> Trouble {
    let shorts = shipped().map(|(short, _)| short);
    let trouble = Trouble::refused(format!("no build is called \"{name}\", and there is no such file"))
        .help(format!("the known builds are: {}", shorts.join(", ")))
        .help("a file of your own is named with its path: ./mine.toml");
    match nearest(name, shorts) {
        Some(near) => trouble.help(format!("did you mean {near}?")),
        None => trouble,
    }
}
