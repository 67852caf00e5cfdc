//! A filled shop, served, with somebody signed in.

use crate::counter::{Counter, PASSWORD, fill};
use crate::support::browser::Browser;
use crate::support::server::Server;

pub struct Visit {
    pub browser: Browser,
    pub server: Server,
    pub counter: Counter,
    _folder: tempfile::TempDir,
}

pub fn visit() -> Visit {
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("shop.db").to_str().unwrap().to_owned();
    let counter = fill(&database);
    let settings = folder.path().join("settings.toml");
    let text = "[shop]\nname = \"Test Counter\"\naddress = \"1 Quay\"\ntime_zone = \"Europe/Lisbon\"\nweb_address = \"https://counter.example\"\n";
    std::fs::write(&settings, text).unwrap();
    let server = Server::start_with(&["--settings", settings.to_str().unwrap()], &database, None);
    let browser = Browser::open();
    browser.goto(&server.url("/"));
    browser.type_keys("Marta");
    browser.click("#password", "");
    browser.type_keys(PASSWORD);
    browser.press_enter();
    browser.find("h1", "Board");
    Visit { browser, server, counter, _folder: folder }
}
