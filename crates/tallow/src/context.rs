//! What every command needs: where the shop is, what time it is, how to answer.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use jiff::{Timestamp, ZonedDateTime};
use ledger::{Ledger, MachineInfo};
use upkeep::build::Position;
use upkeep::{Build, Materials, Unknown};

use crate::cli::Cli;
use crate::files::Files;
use crate::input::{Sent, Source};
use crate::out::{self, Out};
use crate::trouble::Trouble;
use crate::when;

/// What every command needs.
pub(crate) struct Context {
    /// Where answers go.
    pub(crate) out: Out,
    /// Whether answers are JSON.
    pub(crate) json: bool,
    /// The present. The only clock that is ever read is read here.
    pub(crate) now: Timestamp,
    /// Whether the present was named, and stands still.
    is_rehearsal: bool,
    shop: Option<String>,
    /// Where files are kept until they are metered, as it was named.
    files: Option<String>,
    opened: Mutex<Option<Ledger>>,
    /// `None` for a command line, which opens and writes what it names.
    served: Option<Served>,
}

/// Where a served shop is, and where it keeps files.
#[derive(Clone, Debug, Default)]
pub(crate) struct Place {
    shop: String,
    files: Option<String>,
}

/// What stands for files where a command comes over the network: it opens none but those that came along, and writes none.
#[derive(Default)]
struct Served {
    sent: Vec<Sent>,
    written: Mutex<Vec<String>>,
}

impl Context {
    /// The context of a command line.
    ///
    /// # Errors
    /// A `--now` that is no instant.
    pub(crate) fn new(cli: &Cli) -> Result<Context, Trouble> {
        Ok(Context {
            out: Out::standard(),
            json: cli.json,
            now: present(cli.now.as_deref())?,
            is_rehearsal: cli.now.is_some(),
            shop: cli.shop.clone(),
            files: cli.files.clone(),
            opened: Mutex::new(None),
            served: None,
        })
    }

    /// The context of a command that comes over the network: its answer is JSON, kept, and it works on the open shop.
    pub(crate) fn served(ledger: &Ledger, of: &Place, now: Timestamp) -> Context {
        let opened = Mutex::new(Some(ledger.clone()));
        let served = Some(Served::default());
        let Place { shop, files } = of.clone();
        Context { out: Out::kept(), json: true, now, is_rehearsal: false, shop: Some(shop), files, opened, served }
    }

    /// The same with the files that came along.
    pub(crate) fn with_files(self, sent: Vec<Sent>) -> Context {
        Context { served: Some(Served { sent, written: Mutex::default() }), ..self }
    }

    /// The same, answering in the words of the command line instead of as JSON.
    pub(crate) fn in_words(self) -> Context {
        Context { json: false, ..self }
    }

    /// Whether the command comes over the network: whoever gave it sees neither this terminal nor these files.
    pub(crate) fn is_served(&self) -> bool {
        self.served.is_some()
    }

    /// Whether a file of that name came along with a command over the network.
    pub(crate) fn came_along(&self, name: &Path) -> bool {
        self.served.as_ref().is_some_and(|served| served.sent.iter().any(|sent| Path::new(&sent.name) == name))
    }

    /// The file that a command names: for a command line one on disk, over the network one of those that came along.
    ///
    /// # Errors
    /// A name over the network with which no file came.
    pub(crate) fn source(&self, name: &Path) -> Result<Source, Trouble> {
        let Some(served) = &self.served else { return Ok(Source::named(name)) };
        let found = served.sent.iter().find(|sent| Path::new(&sent.name) == name);
        found.cloned().map(Source::Sent).ok_or_else(|| {
            Trouble::refused(format!("no file came along as \"{}\"", name.display())).help("send the file itself")
        })
    }

    /// Writes an answer into the file that a command names; over the network it is kept for [`Context::written`].
    ///
    /// # Errors
    /// A file that can't be written.
    pub(crate) fn write(&self, path: &Path, text: String) -> Result<(), Trouble> {
        let Some(served) = &self.served else { return out::file(path, &text) };
        served.written.lock().unwrap_or_else(PoisonError::into_inner).push(text);
        Ok(())
    }

    /// Takes what a command over the network would have written into files.
    pub(crate) fn written(&self) -> Vec<String> {
        let lock = self.served.as_ref().map(|served| served.written.lock().unwrap_or_else(PoisonError::into_inner));
        lock.map(|mut written| std::mem::take(&mut *written)).unwrap_or_default()
    }

    /// The present, where it was named: a rehearsal's clock stands still.
    pub(crate) fn fixed_now(&self) -> Option<Timestamp> {
        self.is_rehearsal.then_some(self.now)
    }

    /// Where the shop is and where it keeps files, for whoever serves it.
    ///
    /// # Errors
    /// As [`Context::place`].
    pub(crate) fn places(&self) -> Result<Place, Trouble> {
        Ok(Place { shop: self.place()?, files: self.files.clone() })
    }

    /// Where files are kept until they are metered.
    ///
    /// # Errors
    /// As [`Files::at`].
    pub(crate) fn files(&self) -> Result<Files, Trouble> {
        Files::at(self.files.as_deref(), &self.place()?)
    }

    /// Where the shop is: the place that was named, or the user's data folder.
    ///
    /// # Errors
    /// Where there is no such folder on this system.
    pub(crate) fn place(&self) -> Result<String, Trouble> {
        self.place_or("shop.tallow")
    }

    /// Where the demo is: the place that was named, or beside the user's own shop.
    ///
    /// # Errors
    /// As [`Context::place`].
    pub(crate) fn demo_place(&self) -> Result<String, Trouble> {
        self.place_or("demo.tallow")
    }

    fn place_or(&self, file: &str) -> Result<String, Trouble> {
        match &self.shop {
            Some(place) if place.trim().is_empty() => Err(Trouble::refused("the shop's place is empty")
                .help("name a file: --shop FILE; or leave TALLOW_SHOP unset for the one in your data folder")),
            Some(place) => Ok(place.clone()),
            None => Ok(data_folder()?.join(file).display().to_string()),
        }
    }

    /// Opens the shop.
    ///
    /// # Errors
    /// Where there is none, or it can't be read.
    pub(crate) async fn open(&self) -> Result<Ledger, Trouble> {
        if let Some(ledger) = self.already_open() {
            return Ok(ledger);
        }
        self.opened(&self.place()?).await.map_err(|error| match error {
            ledger::Error::NoShop { place } => Trouble::refused(format!("there is no shop at {place} yet"))
                .help("make one: tallow shop new \"My bench\"")
                .help("or look at an invented one: tallow demo"),
            error => error.into(),
        })
    }

    /// Opens the shop, if there is one.
    ///
    /// # Errors
    /// Where it can't be read.
    pub(crate) async fn open_if_there(&self) -> Result<Option<Ledger>, Trouble> {
        if let Some(ledger) = self.already_open() {
            return Ok(Some(ledger));
        }
        match self.opened(&self.place()?).await {
            Err(ledger::Error::NoShop { .. }) => Ok(None),
            opened => Ok(Some(opened?)),
        }
    }

    async fn opened(&self, place: &str) -> Result<Ledger, ledger::Error> {
        let ledger = Ledger::open(place).await?;
        self.will_close(&ledger);
        Ok(ledger)
    }

    /// The shop, where it is open: what can be asked without one does not open it for that.
    pub(crate) fn already_open(&self) -> Option<Ledger> {
        self.opened.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Takes note of a shop that was opened, so that [`Context::close`] closes it.
    pub(crate) fn will_close(&self, ledger: &Ledger) {
        *self.opened.lock().unwrap_or_else(PoisonError::into_inner) = Some(ledger.clone());
    }

    /// Closes the shop that was opened, so that all its records stand in its one file.
    pub(crate) async fn close(&self) {
        let opened = self.opened.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(ledger) = opened {
            ledger.close().await;
        }
    }

    /// The present, by the shop's clock.
    pub(crate) fn now_in(&self, ledger: &Ledger) -> ZonedDateTime {
        self.now.to_zoned_datetime(ledger.shop().zone.clone())
    }
}

/// A machine of the shop with its build.
pub(crate) struct OnMachine {
    /// What the shop knows of it.
    pub(crate) info: MachineInfo,
    /// Its build.
    pub(crate) build: Arc<Build>,
}

impl OnMachine {
    /// The position of that name.
    ///
    /// # Errors
    /// Where the machine has none; the help says how to see all of them.
    pub(crate) fn position(&self, name: &str) -> Result<&Position, Trouble> {
        self.build.position(name).map_err(|unknown| {
            Trouble::from_text(&unknown.to_string())
                .help(format!("all of them: tallow machine show \"{}\"", self.info.name))
        })
    }

    /// Refuses an instant before the machine joined the shop.
    ///
    /// # Errors
    /// Such an instant; the help says how to let the machine join earlier.
    pub(crate) fn joined_by(&self, at: &ZonedDateTime) -> Result<(), Trouble> {
        let MachineInfo { name, added, entry, .. } = &self.info;
        if *added <= at.timestamp() {
            return Ok(());
        }
        let joined = added.to_zoned_datetime(at.time_zone().clone());
        let (at_words, joined) = (when::spoken(at), when::spoken(&joined));
        Err(Trouble::refused(format!("{at_words} is before {name} joined the shop, {joined}")).help(format!(
            "if its meters are to start earlier: tallow correct {entry} --when \"{}\"",
            at.strftime("%Y-%m-%d 0:00")
        )))
    }
}

/// That there is no machine yet, and how to add one.
pub(crate) fn no_machine() -> Trouble {
    Trouble::refused("the shop has no machine yet").help("add one: tallow machine add NAME --build BUILD")
}

/// The machine called `name`, whatever its case.
///
/// # Errors
/// Where the shop has none of that name; the nearest is named.
pub(crate) async fn machine(ledger: &Ledger, name: &str) -> Result<OnMachine, Trouble> {
    let machines = ledger.machines().await?;
    let found = Unknown::find("machine", name, &machines, |machine| &machine.name);
    let info = found
        .map_err(|unknown| {
            let trouble = Trouble::from(unknown);
            if machines.is_empty() { trouble.help("add one: tallow machine add NAME --build BUILD") } else { trouble }
        })?
        .clone();
    let build = ledger.build(&info.build).await?;
    Ok(OnMachine { info, build })
}

/// The materials that the shop knows.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn materials(ledger: &Ledger) -> Result<Materials, Trouble> {
    Ok(Materials::with(ledger.materials().await?))
}

fn present(named: Option<&str>) -> Result<Timestamp, Trouble> {
    let Some(text) = named else { return Ok(clock()) };
    let zoned = text.parse::<ZonedDateTime>().map(|zoned| zoned.timestamp());
    zoned.or_else(|_| text.parse()).map_err(|_| {
        Trouble::refused(format!("\"{text}\" is not an instant"))
            .help("write it as 2026-11-25T15:30[Europe/Oslo] or 2026-11-25T14:30Z")
    })
}

/// The present of what goes on: by the clock, unless a rehearsal has it stand still.
pub(crate) fn now(fixed: Option<Timestamp>) -> Timestamp {
    fixed.unwrap_or_else(clock)
}

/// The folder in which systemd hands credentials to a service, where it does (systemd.exec(5), LoadCredential=).
pub(crate) fn credentials_folder() -> Option<PathBuf> {
    std::env::var_os("CREDENTIALS_DIRECTORY").map(PathBuf::from)
}

/// The clock, which nothing else reads.
#[expect(clippy::disallowed_methods, reason = "this is the one place where the clock is read")]
pub(crate) fn clock() -> Timestamp {
    Timestamp::now()
}

fn data_folder() -> Result<PathBuf, Trouble> {
    let folders = directories::ProjectDirs::from("", "", "tallow");
    folders
        .map(|folders| folders.data_dir().to_owned())
        .ok_or_else(|| Trouble::refused("this system names no folder for a user's data").help("say where: --shop FILE"))
}
