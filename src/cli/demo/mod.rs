//! `sakudana demo`: builds the invented counter of `demo-data` through the acts of the shop, and serves it to look around in.

mod contradiction;
mod files;
mod guide;
mod opening;
mod replay;
mod rows;
mod temperatures;
mod timeline;

use super::settings::{self, Settings, Sources};
use super::speak::{say, tell};
use super::stop::Stop;
use super::{clock, database, logging, serve, verify};
use crate::ops::access::all_people;
use crate::ops::desk::Desk;
use crate::units::instant::Instant;
use crate::units::zone::write_day;
use contradiction::Contradiction;
use files::Files;
use opening::SignIn;
use replay::{Shelf, replay};
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use timeline::{Calendar, Day, What};

/// Build an invented shop with three weeks behind it, and serve it
///
/// Every fish, cutting, label and sale of the demo goes through the same rules as in a real shop, each at its own time; the last day is
/// today, or yesterday before 08:15. Without --database the shop lives in a temporary folder and goes when the demo ends. An existing
/// database is never touched.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  sakudana demo
  sakudana demo --listen 127.0.0.1:9000
  sakudana demo --database demo.db --no-serve && sakudana verify --database demo.db

Environment: SAKUDANA_LISTEN, SAKUDANA_LOG (not SAKUDANA_DATABASE: the demo keeps away from a shop's own)")]
pub struct DemoArguments {
    /// New database to build and keep: a file, or the postgres:// address of an empty database
    #[arg(long, value_name = "FILE-OR-URL")]
    database: Option<String>,
    /// Address and port; port 0 takes a free one [default: 127.0.0.1:8080]
    #[arg(long, value_name = "ADDR:PORT")]
    listen: Option<String>,
    /// Folder to read the shop from, instead of the one built in
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Build, check every invariant, and end
    #[arg(long, visible_alias = "check-only")]
    no_serve: bool,
}

pub fn run(arguments: &DemoArguments) -> Result<(), Stop> {
    let files = match &arguments.data {
        Some(folder) => Files::of_folder(folder)?,
        None => Files::embedded(),
    };
    let home = Home::of(arguments.database.as_deref())?;
    let settings = settings_of(arguments, &files, &home)?;
    logging::start(&settings.log)?;
    let desk = database::open(&settings)?;
    if !desk.look(|reading, _| all_people(reading))?.is_empty() {
        return Err(not_empty(&settings.database));
    }
    let (shelf, people) = match build(&desk, &files) {
        Ok(built) => built,
        Err(stop) => {
            home.discard();
            return Err(stop);
        }
    };
    say(format_args!("database: {} ({})", database::shown(&settings.database), desk.database_kind()));
    if arguments.no_serve {
        return verify::report(&desk);
    }
    let key = guide::till_key(&desk, &people)?;
    let worth = guide::worth_scanning(&desk, shelf.last_sold.as_deref())?;
    guide::say_sign_ins(&people, &key);
    serve::serve(Arc::new(desk), &settings, |address| guide::say_where(address, &worth))
}

fn not_empty(database: &str) -> Stop {
    Stop::unusable(format!("{} is not empty: the demo builds a new database", database::shown(database)))
}

/// Where the demo's database lives: in a folder of its own that goes with this value, or where the person said.
struct Home {
    database: String,
    folder: Option<PathBuf>,
}

impl Home {
    fn of(given: Option<&str>) -> Result<Home, Stop> {
        if let Some(database) = given {
            let taken = database::file_of(database).is_some_and(|file| database::holds_something(&file));
            let home = Home { database: database.to_owned(), folder: None };
            return if taken { Err(not_empty(database)) } else { Ok(home) };
        }
        let [a, b, c, d, ..] = clock::random32()?;
        let folder = std::env::temp_dir().join(format!("sakudana-demo-{a:02x}{b:02x}{c:02x}{d:02x}"));
        let unusable = |e: std::io::Error| Stop::unusable(format!("{}: {e}", folder.display()));
        std::fs::DirBuilder::new().mode(0o700).create(&folder).map_err(unusable)?;
        let file = folder.join("demo.db");
        let database = file.to_str().ok_or_else(|| Stop::unusable("the temporary folder's path is not valid text"))?;
        Ok(Home { database: database.to_owned(), folder: Some(folder) })
    }

    /// Takes away a file that holds half a shop. A half-built PostgreSQL database is its owner's to drop.
    fn discard(&self) {
        if let Some(file) = database::file_of(&self.database) {
            for end in ["", "-wal", "-shm"] {
                remove(Path::new(&format!("{}{end}", file.display())));
            }
        }
    }
}

impl Drop for Home {
    fn drop(&mut self) {
        if let Some(folder) = &self.folder
            && let Err(error) = std::fs::remove_dir_all(folder)
        {
            tracing::warn!(%error, folder = %folder.display(), "the demo's folder stays behind");
        }
    }
}

fn remove(file: &Path) {
    match std::fs::remove_file(file) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            tracing::warn!(%error, file = %file.display(), "half a demo stays behind");
        }
        _ => {}
    }
}

/// The shop's own settings come with its data; where it listens and what it logs is the person's choice.
fn settings_of(arguments: &DemoArguments, files: &Files, home: &Home) -> Result<Settings, Stop> {
    let sources = Sources { settings: None, database: Some(home.database.clone()), listen: arguments.listen.clone() };
    let environment = |name: &str| std::env::var(name).ok().filter(|value| !value.is_empty());
    let mut settings = settings::read(&files.shop.text, &sources, &environment)
        .map_err(|lines| Stop::Wrong(lines.into_iter().map(|l| format!("demo data shop.toml: {l}")).collect()))?;
    // The demo is opened at its own plain address, not at the one on its labels.
    settings.secure_cookies = false;
    // The closed day of the data falls on another weekday.
    let shop = &mut settings.shop;
    shop.hours = shop.hours.clone().later(Calendar::of(shop.zone, clock::now()).weekdays_later());
    Ok(settings)
}

/// Builds the shop day by day.
fn build(desk: &Desk, files: &Files) -> Result<(Shelf, Vec<SignIn>), Stop> {
    let started = std::time::Instant::now();
    let calendar = Calendar::of(desk.shop().zone, clock::now());
    let mut wrong = Vec::new();
    let days = timeline::merge(files, &calendar, &mut wrong);
    let opening = days.first().and_then(|day| day.events.first()).map(|event| event.at);
    let opening: Instant = opening.ok_or_else(|| Stop::wrong("the demo's files hold no day"))?.plus_micros(-1);
    let people = opening::people(desk, files, opening, &mut wrong)?;
    opening::catalogue(desk, files, opening, &mut wrong)?;
    opening::case_plans(desk, files, opening, &mut wrong)?;
    let readings = temperatures::deliver(desk, files, &calendar, clock::now(), &mut wrong)?;
    tell(format_args!("{readings} readings of {} loggers", files.temperatures().len()));
    let mut shelf = Shelf::of(&people);
    for day in days {
        tell(in_words(&day, &calendar));
        let (start, events, press) = (shelf, Arc::new(day.events), desk.press());
        let (after, refused) = desk.act(move |tx, shop| {
            let mut shelf = start.clone();
            let refused = replay(tx, (shop, &press), calendar, &mut shelf, &events)?;
            Ok((shelf, refused))
        })?;
        shelf = after;
        wrong.extend(refused);
    }
    if wrong.is_empty() {
        tell(format_args!("built in {:.1} s", started.elapsed().as_secs_f64()));
        return Ok((shelf, people));
    }
    let mut lines: Vec<String> = wrong.iter().map(Contradiction::to_string).collect();
    lines.push(format!("{} rows of the demo's files contradict the shop's rules", wrong.len()));
    Err(Stop::Wrong(lines))
}

fn in_words(day: &Day, calendar: &Calendar) -> String {
    let date = calendar.date(day.day).map(write_day).unwrap_or_default();
    let count = |which: fn(&What) -> bool| day.events.iter().filter(|event| which(&event.what)).count();
    format!(
        "day {:>3}, {date}: {} arrivals, {} cuttings, {} acts, {} sales",
        day.day,
        count(|w| matches!(w, What::Lot(_))),
        count(|w| matches!(w, What::Breakdown { .. })),
        count(|w| matches!(w, What::Act(_))),
        count(|w| matches!(w, What::Sale(_))),
    )
}
