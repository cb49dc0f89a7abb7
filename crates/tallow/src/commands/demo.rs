//! `tallow demo`: the invented pattern loft, made once and opened again.

use std::collections::BTreeMap;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::Path;
use std::sync::Arc;

use jiff::tz::TimeZone;
use ledger::{Imported, Ledger, NewEntry, Program};
use motion::{Metered, Options, Stop, Tool, meter_reader};
use upkeep::build::shipped;
use upkeep::{Build, EntryId, Event, MaterialInfo, Materials, Usage, booking};

use crate::cli;
use crate::commands::{due, shop};
use crate::context::Context;
use crate::demo::{self, DemoEvent, DemoMachine, DemoProgram, LOFT, ProgramInfo};
use crate::input;
use crate::out;
use crate::parallel;
use crate::programs;
use crate::progress::{Progress, Unit};
use crate::trouble::Trouble;
use crate::web::{self, Reached};

pub(crate) async fn demo(context: &Context, args: &cli::Demo) -> Result<(), Trouble> {
    let place = context.demo_place()?;
    let ledger = match existing(&place, args.anew).await? {
        Some(ledger) => ledger,
        None => make(context, &place).await?,
    };
    context.will_close(&ledger);
    let list = cli::Due { machine: None, days: cli::DUE_DAYS, all: false, why: false };
    due::show_shop(context, &ledger, &list).await?;
    if context.json {
        return Ok(());
    }
    context.out.line(format!(
        "\nThis shop and its records are invented. To look around in it: export TALLOW_SHOP=\"{place}\"\n\
         then try: tallow due bowline --why, tallow plan, tallow lives \"feed tube\", tallow replay\n"
    ))?;
    if args.no_serve {
        return Ok(());
    }
    let reached = Reached { address: free_address(), names: Vec::new(), tls: None, public: None };
    web::serve(context, Some(ledger), reached).await
}

/// The usual address, or, where another server has it, any port that is free.
fn free_address() -> SocketAddr {
    let usual = SocketAddr::from((Ipv4Addr::LOCALHOST, cli::PORT));
    let is_free = TcpListener::bind(usual).is_ok();
    if is_free { usual } else { SocketAddr::from((Ipv4Addr::LOCALHOST, 0)) }
}

/// The demo that was made before, unless it is to be made anew.
async fn existing(place: &str, anew: bool) -> Result<Option<Ledger>, Trouble> {
    match Ledger::open(place).await {
        Err(ledger::Error::NoShop { .. }) => Ok(None),
        Err(error) => Err(error.into()),
        Ok(ledger) if ledger.shop().name != demo::SHOP => {
            Err(Trouble::refused(format!("{place} holds the shop \"{}\", which is not the demo", ledger.shop().name))
                .help("leave --shop and TALLOW_SHOP out, or name a new file for the demo"))
        }
        Ok(_) if anew && ledger::is_on_a_server(place) => {
            Err(Trouble::refused("a database on a server is not removed by this program")
                .help("make an empty one there, and name that: --shop postgres://user@host/name"))
        }
        Ok(ledger) if anew => {
            ledger.close().await;
            remove(place)?;
            Ok(None)
        }
        Ok(ledger) => Ok(Some(ledger)),
    }
}

/// Removes the file of a demo and what SQLite keeps beside it.
fn remove(place: &str) -> Result<(), Trouble> {
    for ending in ["", "-wal", "-shm"] {
        match std::fs::remove_file(format!("{place}{ending}")) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                return Err(Trouble::refused(format!("the old demo at {place} can't be removed: {error}")));
            }
            _ => {}
        }
    }
    Ok(())
}

/// Makes the demo beside its place and moves it there when it is whole, so that a demo is never half made. On a server there is no
/// beside: there an empty database is filled.
async fn make(context: &Context, place: &str) -> Result<Ledger, Trouble> {
    out::remark("Making the demo: generating toolpaths, metering them, booking fourteen months …");
    let zone = TimeZone::system();
    let zone_name = zone.iana_name().unwrap_or("UTC").to_owned();
    if ledger::is_on_a_server(place) {
        let ledger = Ledger::create(place, demo::SHOP, &zone_name).await?;
        fill(context, &ledger).await?;
        return Ok(ledger);
    }
    shop::make_folder_for(place)?;
    let unfinished = format!("{place}.unfinished");
    remove(&unfinished)?;
    let ledger = Ledger::create(&unfinished, demo::SHOP, &zone_name).await?;
    fill(context, &ledger).await?;
    ledger.close().await;
    std::fs::rename(&unfinished, Path::new(place))
        .map_err(|error| Trouble::refused(format!("the demo can't be put at {place}: {error}")))?;
    Ok(Ledger::open(place).await?)
}

/// Fills an empty shop with the loft's machines and their past.
///
/// # Errors
/// Where the shop refuses.
pub(crate) async fn fill(context: &Context, ledger: &Ledger) -> Result<(), Trouble> {
    let mut loads: Vec<Load> = Vec::new();
    for (key, text) in shipped() {
        let build = Arc::new(Build::parse(key, text)?);
        ledger.add_build(&build.name, text, context.now).await?;
        loads.extend(demo::programs(key, &build).into_iter().map(|program| Load {
            key,
            build: build.clone(),
            program,
        }));
    }
    let progress = Progress::new(Some(loads.len() as u64), Unit::Pieces);
    let metered = parallel::map(&loads, |load| load.meter().inspect(|_| progress.advance(1)));
    drop(progress);
    let metered = metered.into_iter().collect::<Result<Vec<_>, Trouble>>()?;
    for (load, metered) in loads.iter().zip(&metered) {
        ledger.put_program(&programs::key(&metered.info.sha256, &load.build.machine), &metered.kept).await?;
    }
    let infos = |key: &str| -> Arc<[ProgramInfo]> {
        loads
            .iter()
            .zip(&metered)
            .filter(|(load, _)| load.key == key)
            .map(|(_, metered)| metered.info.clone())
            .collect()
    };
    let build = |key: &str| loads.iter().find(|load| load.key == key).map(|load| load.build.clone());
    let machines: Vec<DemoMachine> = LOFT
        .iter()
        .filter_map(|berth| {
            Some(DemoMachine {
                name: berth.name.to_owned(),
                build: build(berth.build)?,
                programs: infos(berth.build),
                hours_per_week: berth.hours_per_week,
                joined_after_months: berth.joined_after_months,
            })
        })
        .collect();
    let events = demo::history(demo::SEED, context.now_in(ledger).date(), &ledger.shop().zone, &machines);
    book(ledger, &machines, &events).await?;
    for (at, event) in demo::loft(context.now_in(ledger).date(), &ledger.shop().zone) {
        ledger.append(NewEntry { machine: String::new(), at, recorded: at, note: String::new(), event }).await?;
    }
    Ok(())
}

/// Books the events machine by machine, then the corrections, which name entries by their place in the list.
async fn book(ledger: &Ledger, machines: &[DemoMachine], events: &[DemoEvent]) -> Result<(), Trouble> {
    let mut ids: BTreeMap<usize, EntryId> = BTreeMap::new();
    for machine in machines {
        let of_machine = |(_, event): &(usize, &DemoEvent)| event.machine == machine.name && event.corrects.is_none();
        let mine: Vec<(usize, &DemoEvent)> = events.iter().enumerate().filter(of_machine).collect();
        let (added, rest): (Vec<_>, Vec<_>) =
            mine.into_iter().partition(|(_, event)| matches!(event.event, Event::Added { .. }));
        for (index, event) in added {
            ids.insert(index, ledger.append(entry(event)).await?);
        }
        let imported = ledger.import(&machine.name, rest.iter().map(|(_, event)| entry(event)).collect()).await?;
        ids.extend(rest.iter().zip(imported).map(|((index, _), imported)| match imported {
            Imported::New(id) | Imported::Already(id) => (*index, id),
        }));
    }
    for event in events {
        if let Some(id) = event.corrects.and_then(|index| ids.get(&index)) {
            ledger.correct(*id, entry(event)).await?;
        }
    }
    Ok(())
}

fn entry(event: &DemoEvent) -> NewEntry {
    NewEntry {
        machine: event.machine.clone(),
        at: event.at,
        recorded: event.recorded,
        note: event.note.clone(),
        event: event.event.clone(),
    }
}

/// A program to be metered for a build.
struct Load {
    key: &'static str,
    build: Arc<Build>,
    program: DemoProgram,
}

/// A program metered whole and up to each stop.
struct Loaded {
    info: ProgramInfo,
    kept: Program,
}

impl Load {
    fn meter(&self) -> Result<Loaded, Trouble> {
        let whole = self.metered(None)?;
        let total = whole.report.time.total_s;
        let until = |percent: &u8| self.used(&self.metered(Some(Stop::Seconds(total * f64::from(*percent) / 100.0)))?);
        let stopped = demo::STOPS.iter().map(until).collect::<Result<Vec<_>, Trouble>>()?;
        let sha256 = input::sha256(self.program.gcode.as_bytes());
        Ok(Loaded {
            info: ProgramInfo {
                file_name: self.program.file_name.clone(),
                sha256,
                materials: self.program.materials.clone(),
                whole: self.used(&whole)?,
                // OK because there is one for each stop.
                stopped: stopped.try_into().expect("one for each stop"),
            },
            kept: programs::kept(&self.program.file_name, self.program.gcode.len() as u64, &whole),
        })
    }

    fn metered(&self, stop: Option<Stop>) -> Result<Metered, Trouble> {
        let machine = &self.build.machine;
        let options = Options { corner: machine.corner, stop, ..Options::default() };
        meter_reader(self.program.gcode.as_bytes(), machine, options)
            .map_err(|error| Trouble::refused(format!("{}: {error}", self.program.file_name)))
    }

    fn used(&self, metered: &Metered) -> Result<demo::Metered, Trouble> {
        Ok(demo::Metered { seconds: metered.report.time.total_s, usage: self.usage(metered)? })
    }

    fn usage(&self, metered: &Metered) -> Result<Usage, Trouble> {
        let info = |(&tool, material): (&Tool, &upkeep::Material)| {
            let known: Option<MaterialInfo> = Materials::built_in().get(material.name()).cloned();
            known
                .map(|info| (tool, info))
                .ok_or_else(|| Trouble::refused(format!("the demo prints {material}, which is not known")))
        };
        let printed = self.program.materials.iter().map(info).collect::<Result<BTreeMap<_, _>, _>>()?;
        booking::booked(&metered.duty, &printed).map_err(|unsaid| {
            Trouble::refused(format!("{}: T{} prints nothing known", self.program.file_name, unsaid.tool))
        })
    }
}
