//! Builds by name or by file.

use std::path::Path;

use upkeep::{Build, build::shipped, nearest};

use crate::context::Context;
use crate::input::MOST_OF_A_BUILD;
use crate::trouble::Trouble;

/// A build with the text that it was read from.
pub(crate) struct Read {
    /// The build.
    pub(crate) build: Build,
    /// Its text.
    pub(crate) text: String,
}

/// The build that a command names: one that comes with tallow, by its short or its full name, or a file. Over the network no
/// file is opened but the text that came along.
///
/// # Errors
/// A name that nothing has, a file that can't be read, and a build that is wrong.
pub(crate) fn named(context: &Context, name: &str) -> Result<Read, Trouble> {
    let path = Path::new(name);
    if context.came_along(path) {
        return from_file(context, path);
    }
    match known(name)? {
        Some(read) => Ok(read),
        None if !context.is_served() && path.exists() => from_file(context, path),
        None => Err(unknown(context, name)),
    }
}

/// The build in a file.
///
/// # Errors
/// A file that can't be read, and a build that is wrong.
pub(crate) fn from_file(context: &Context, path: &Path) -> Result<Read, Trouble> {
    let source = context.source(path)?;
    let name = source.name();
    let bytes =
        source.bytes(MOST_OF_A_BUILD).map_err(|error| Trouble::refused(format!("{name} can't be read: {error}")))?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let line =
            1 + error.as_bytes()[..error.utf8_error().valid_up_to()].iter().filter(|&&byte| byte == b'\n').count();
        Trouble::refused(format!("{name} is not a text file: line {line} is not UTF-8")).help("save it as UTF-8 text")
    })?;
    let build = Build::parse(&name, &text)?;
    Ok(Read { build, text })
}

/// The build that comes with tallow by that name.
///
/// # Errors
/// One that is wrong, which the tests of those that come with tallow rule out.
pub(crate) fn known(name: &str) -> Result<Option<Read>, Trouble> {
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

fn unknown(context: &Context, name: &str) -> Trouble {
    let shorts = shipped().map(|(short, _)| short);
    let names = format!("the known builds are: {}", shorts.join(", "));
    let trouble = match context.is_served() {
        true => Trouble::refused(format!("no build is called \"{name}\"")).help(names),
        false => Trouble::refused(format!("no build is called \"{name}\", and there is no such file"))
            .help(names)
            .help("a file of your own is named with its path: ./mine.toml"),
    };
    match nearest(name, shorts) {
        Some(near) => trouble.help(format!("did you mean {near}?")),
        None => trouble,
    }
}
