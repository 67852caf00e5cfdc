//! The settings of one process: a TOML file, the environment over it, the command line over both; every value checked before anything
//! starts. Each room gets its own small part; nobody else reads the file.

mod codes;
mod customer_page;
mod following;
mod hours;
pub mod labels;
mod limits;
mod printers;
mod reader;
mod rules;
mod shop;
mod terms;
#[cfg(test)]
mod tests;
pub mod tls;
pub mod webhooks;

use super::stop::Stop;
use crate::domain::shop::Shop;
use crate::jobs::printing::Served;
use crate::web::api::events::FollowOptions;
use crate::web::limits::LimitOptions;
use crate::web::pages::customer::CustomerPage;
use labels::LabelSettings;
use reader::Section;
use std::net::SocketAddr;
use std::path::PathBuf;
use tls::TlsSettings;
use toml::Table;
use tracing_subscriber::EnvFilter;
use webhooks::WebhookSettings;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LogFormat {
    Text,
    Json,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogSettings {
    /// A level, or levels by room, as `tracing` filters read it.
    pub level: String,
    pub format: LogFormat,
}

/// Everything that can be set, checked.
#[derive(Debug, Clone)]
pub struct Settings {
    pub shop: Shop,
    pub labels: LabelSettings,
    /// Name or address were left at their defaults, which no label should carry.
    pub shop_is_unnamed: bool,
    pub listen: String,
    pub workers: usize,
    pub secure_cookies: bool,
    pub customer_page: CustomerPage,
    pub limits: LimitOptions,
    /// None for plain HTTP.
    pub tls: Option<TlsSettings>,
    pub following: FollowOptions,
    /// A file path or a `postgres://` address.
    pub database: String,
    pub readers: u32,
    pub log: LogSettings,
    pub printers: Vec<Served>,
    pub webhooks: WebhookSettings,
}

/// What the command line says.
#[derive(Debug, Clone, Default)]
pub struct Sources {
    pub settings: Option<PathBuf>,
    pub database: Option<String>,
    pub listen: Option<String>,
}

/// Reads the file, the environment of this process and the command line.
pub fn load(sources: &Sources) -> Result<Settings, Stop> {
    let environment = |name: &str| std::env::var(name).ok().filter(|value| !value.is_empty());
    let file = sources.settings.clone().or_else(|| environment("SAKUDANA_SETTINGS").map(PathBuf::from));
    let Some(file) = file else { return read("", sources, &environment).map_err(Stop::Wrong) };
    let named = |line: String| format!("settings {}: {line}", file.display());
    let text = std::fs::read_to_string(&file).map_err(|e| Stop::wrong(named(e.to_string())))?;
    read(&text, sources, &environment).map_err(|lines| Stop::Wrong(lines.into_iter().map(named).collect()))
}

/// The value of a variable of the environment, if it is set.
pub type Environment<'a> = &'a dyn Fn(&str) -> Option<String>;

/// Reads settings from the text of a file; every wrong value is found at once.
pub fn read(text: &str, sources: &Sources, environment: Environment<'_>) -> Result<Settings, Vec<String>> {
    let mut file: Table = text.parse().map_err(|e: toml::de::Error| vec![e.to_string().trim().to_owned()])?;
    let mut problems = Vec::new();
    let shop = shop::read(&mut file, &mut problems);
    let labels = labels::read(&mut file, &mut problems);
    let (listen, workers, secure_cookies) = read_server(&mut file, &shop, &mut problems);
    let customer_page = customer_page::read(&mut file, &mut problems);
    let limits = limits::read(&mut file, &customer_page, &mut problems);
    let tls = tls::read(&mut file, &mut problems);
    let secure_cookies = secure_cookies || tls.is_some();
    let following = following::read(&mut file, &mut problems);
    let (database, readers) = read_database(&mut file, &mut problems);
    let mut log = read_log(&mut file, &mut problems);
    let printers = printers::read(&mut file, &mut problems);
    let webhooks = webhooks::read(&mut file, &mut problems);
    for key in file.keys() {
        problems.push(format!(
            "{key}: unknown; known are [shop], [labels], [server], [customer_page], [limits], [tls], [following], [database], [log], [webhooks] and [[printers]]"
        ));
    }
    let listen = over(("--listen", sources.listen.clone()), ("SAKUDANA_LISTEN", environment), listen, |text| {
        text.parse::<SocketAddr>().map(drop).map_err(|_| LISTEN.to_owned())
    });
    let database =
        over(("--database", sources.database.clone()), ("SAKUDANA_DATABASE", environment), database, |text| {
            if database_fits(text) { Ok(()) } else { Err(DATABASE.to_owned()) }
        });
    let level = over(("", None), ("SAKUDANA_LOG", environment), log.level.clone(), |text| {
        if level_fits(text) { Ok(()) } else { Err(LEVEL.to_owned()) }
    });
    let [listen, database, level] = [listen, database, level].map(|value| value.map_err(|e| problems.push(e)));
    let shop_is_unnamed = shop.name == shop::UNNAMED || shop.address == shop::NO_ADDRESS;
    match (listen, database, level) {
        (Ok(listen), Ok(database), Ok(level)) if problems.is_empty() => {
            log.level = level;
            Ok(Settings {
                shop,
                labels,
                shop_is_unnamed,
                listen,
                workers,
                secure_cookies,
                customer_page,
                limits,
                tls,
                following,
                database,
                readers,
                log,
                printers,
                webhooks,
            })
        }
        _ => Err(problems),
    }
}

const LISTEN: &str = "must be an address and a port, such as 127.0.0.1:8080 or [::1]:8080";
const DATABASE: &str = "must be the path of a file or a postgres:// address";
const LEVEL: &str = "must be error, warn, info, debug or trace, or such levels by room: info,sakudana::web=debug";

/// The value of the command line, else of the environment, else of the file (checked already).
fn over(
    (option, given): (&str, Option<String>),
    (variable, environment): (&str, Environment<'_>),
    from_file: String,
    check: impl Fn(&str) -> Result<(), String>,
) -> Result<String, String> {
    let (name, value) = match (given, environment(variable)) {
        (Some(given), _) => (option, given),
        (None, Some(found)) => (variable, found),
        (None, None) => return Ok(from_file),
    };
    match check(&value) {
        Ok(()) => Ok(value),
        Err(must) => Err(format!("{name} = {value:?}: {must}")),
    }
}

fn read_server(file: &mut Table, shop: &Shop, problems: &mut Vec<String>) -> (String, usize, bool) {
    let mut section = Section::take(file, "server", problems);
    let listen = section.text("listen", "127.0.0.1:8080".to_owned(), LISTEN, |text| {
        text.parse::<SocketAddr>().ok().map(|_| text.to_owned())
    });
    let workers = section.count("workers", 4, 1..=64);
    // A cookie marked secure is not sent back over plain HTTP, so the address that people open decides.
    let secure_cookies = section.flag("secure_cookies", shop.web_address.starts_with("https://"));
    section.finish();
    (listen, workers, secure_cookies)
}

fn database_fits(text: &str) -> bool {
    !text.trim().is_empty() && !text.chars().any(char::is_control)
}

fn read_database(file: &mut Table, problems: &mut Vec<String>) -> (String, u32) {
    let mut section = Section::take(file, "database", problems);
    let database = section
        .text("path_or_url", "sakudana.db".to_owned(), DATABASE, |text| database_fits(text).then(|| text.to_owned()));
    let readers = section.count("readers", 8, 1..=64);
    section.finish();
    (database, readers)
}

fn level_fits(text: &str) -> bool {
    // A bare word that is no level would be read as the name of a room and silence everything else.
    let known = |part: &str| {
        let level = part.rsplit('=').next().unwrap_or("").trim();
        ["off", "error", "warn", "info", "debug", "trace"].contains(&level.to_lowercase().as_str())
    };
    text.split(',').all(known) && EnvFilter::try_new(text).is_ok()
}

fn read_log(file: &mut Table, problems: &mut Vec<String>) -> LogSettings {
    let mut section = Section::take(file, "log", problems);
    let level = section.text("level", "info".to_owned(), LEVEL, |text| level_fits(text).then(|| text.to_owned()));
    let format = section.text("format", LogFormat::Text, "must be \"text\" or \"json\"", |text| match text {
        "text" => Some(LogFormat::Text),
        "json" => Some(LogFormat::Json),
        _ => None,
    });
    section.finish();
    LogSettings { level, format }
}
