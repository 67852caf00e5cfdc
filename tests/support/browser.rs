//! A real Chromium, driven through chromedriver by a small client of the W3C WebDriver protocol.
//! Knows no page of ours.

use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use serde_json::{Value, json};
use tempfile::TempDir;

use super::child::Watched;
use super::http::Client;

/// How long the driver may take to start while others build and test.
const START: Duration = Duration::from_secs(60);

/// How long a page may take to show what a test waits for, unless the test says otherwise.
const PATIENCE: Duration = Duration::from_secs(10);

/// The Enter key (W3C WebDriver, keyboard actions).
const ENTER: &str = "\u{E007}";

/// The name under which WebDriver hands out an element.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// Without these a starting Chromium looks for hosts outside this machine. The sandbox needs rights
/// that root and containers do not have, and the only pages opened are our own.
const ARGUMENTS: [&str; 11] = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-proxy-server",
    "--hide-scrollbars",
];

/// One browser with one page. Dropped, it closes.
pub struct Browser {
    /// How long `find` and `wait_for` go on asking.
    pub patience: Duration,
    client: Client,
    session: String,
    // Fields drop in this order: the driver ends before the profile it writes to goes.
    _driver: Watched,
    _profile: TempDir,
}

/// An element of the page that is open now.
pub struct Element(String);

/// One entry of the browser's console.
#[derive(Debug, Clone)]
pub struct ConsoleEntry {
    /// `INFO`, `WARNING` or `SEVERE`.
    pub level: String,
    pub message: String,
}

impl Browser {
    pub fn open() -> Self {
        Self::open_with(&[])
    }

    /// Opens with more command-line arguments for Chromium, such as those of a fake camera.
    pub fn open_with(more: &[&str]) -> Self {
        let profile = tempfile::tempdir().expect("a temporary directory");
        let mut command = Command::new(super::from_tests_run("SAKUDANA_TEST_CHROMEDRIVER"));
        command.arg("--port=0").current_dir(profile.path());
        let driver = Watched::start(command);
        let port = driver.await_line(START, |line| {
            let (_, rest) = line.split_once("started successfully on port ")?;
            rest.trim_end_matches('.').parse::<u16>().ok()
        });
        let mut arguments: Vec<String> = ARGUMENTS.iter().chain(more).map(|&word| word.to_owned()).collect();
        arguments.push(format!("--user-data-dir={}", profile.path().join("profile").display()));
        let client = Client::new(&format!("http://127.0.0.1:{port}"));
        let opened = answer(&client, "POST", "/session", Some(&capabilities(&arguments)));
        let session = opened["sessionId"].as_str().expect("a session id").to_owned();
        Self { patience: PATIENCE, client, session, _driver: driver, _profile: profile }
    }

    /// Opens an address and waits for its load event.
    pub fn goto(&self, url: &str) {
        self.post("/url", &json!({ "url": url }));
    }

    /// The address that is open now.
    pub fn url(&self) -> String {
        text_of(&self.get("/url"))
    }

    /// Presses and releases the key of each character, into whatever has the focus: what a wedge
    /// scanner does.
    pub fn type_keys(&self, text: &str) {
        let strokes: Vec<Value> = text
            .chars()
            .flat_map(|key| {
                let key = key.to_string();
                [json!({"type": "keyDown", "value": key}), json!({"type": "keyUp", "value": key})]
            })
            .collect();
        let keyboard = json!({"type": "key", "id": "keyboard", "actions": strokes});
        self.post("/actions", &json!({ "actions": [keyboard] }));
    }

    pub fn press_enter(&self) {
        self.type_keys(ENTER);
    }

    /// A whole scan: the code, then Enter.
    pub fn scan(&self, code: &str) {
        self.type_keys(code);
        self.press_enter();
    }

    /// The first element that matches `css` and holds `text`; an empty text matches any. Waits for
    /// it to appear.
    ///
    /// # Panics
    /// When none has come while `patience` lasts.
    pub fn find(&self, css: &str, text: &str) -> Element {
        let query = json!({"using": "css selector", "value": css});
        self.wait_for(&format!("{css} with the text {text:?}"), || {
            let found = self.post("/elements", &query);
            let ids = found.as_array().into_iter().flatten();
            ids.filter_map(|element| element[ELEMENT].as_str())
                .map(|id| Element(id.to_owned()))
                .find(|element| self.try_text(element).is_some_and(|shown| shown.contains(text)))
        })
    }

    /// Finds, then clicks the middle of the element, as a finger would.
    pub fn click(&self, css: &str, text: &str) {
        let Element(id) = self.find(css, text);
        self.post(&format!("/element/{id}/click"), &json!({}));
    }

    /// The text of the first match that a person would see.
    pub fn text(&self, css: &str) -> String {
        let Element(id) = self.find(css, "");
        text_of(&self.get(&format!("/element/{id}/text")))
    }

    /// Runs the body of a function in the page; gives what it returns.
    pub fn execute(&self, script: &str) -> Value {
        self.post("/execute/sync", &json!({"script": script, "args": []}))
    }

    /// Runs a script that answers by calling `done(value)`.
    pub fn execute_async(&self, script: &str) -> Value {
        let script = format!("const done = arguments[arguments.length - 1];\n{script}");
        self.post("/execute/async", &json!({"script": script, "args": []}))
    }

    /// What the console has received since the last call.
    pub fn console(&self) -> Vec<ConsoleEntry> {
        let entries = self.post("/se/log", &json!({"type": "browser"}));
        let entries = entries.as_array().into_iter().flatten();
        entries
            .map(|entry| ConsoleEntry { level: text_of(&entry["level"]), message: text_of(&entry["message"]) })
            .collect()
    }

    /// Writes what the page shows now to `file`, as PNG.
    pub fn screenshot(&self, file: &Path) {
        let encoded = text_of(&self.get("/screenshot"));
        let png = BASE64_STANDARD.decode(encoded).expect("base64 from the driver");
        std::fs::write(file, png).expect("room for a picture");
    }

    /// Sets the size of the page in CSS pixels. A window would stay at least 500 wide.
    pub fn set_viewport(&self, width: u32, height: u32) {
        let params = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false});
        self.devtools("Emulation.setDeviceMetricsOverride", &params);
    }

    /// A command of the Chrome DevTools protocol.
    pub fn devtools(&self, command: &str, params: &Value) -> Value {
        self.post("/goog/cdp/execute", &json!({"cmd": command, "params": params}))
    }

    /// Asks again and again until there is something.
    ///
    /// # Panics
    /// When `patience` is over.
    pub fn wait_for<T>(&self, what: &str, mut ask: impl FnMut() -> Option<T>) -> T {
        let end = Instant::now() + self.patience;
        loop {
            if let Some(found) = ask() {
                return found;
            }
            if Instant::now() > end {
                let page = text_of(&self.execute("return document.body?.innerText ?? ''"));
                panic!("{} never showed {what}; it shows:\n{page}", self.url());
            }
            thread::sleep(Duration::from_millis(50));
        }
    }

    /// `None` when the page has replaced the element meanwhile.
    fn try_text(&self, Element(id): &Element) -> Option<String> {
        let path = format!("/session/{}/element/{id}/text", self.session);
        let answer = self.client.get(&path).send();
        (answer.status == 200).then(|| text_of(&answer.json()["value"]))
    }

    fn get(&self, path: &str) -> Value {
        answer(&self.client, "GET", &format!("/session/{}{path}", self.session), None)
    }

    fn post(&self, path: &str, body: &Value) -> Value {
        answer(&self.client, "POST", &format!("/session/{}{path}", self.session), Some(body))
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // Chromium is the driver's child, not ours: closing the session is what ends it.
        let path = format!("/session/{}", self.session);
        if self.client.delete(&path).try_send().is_err() {
            eprintln!("the browser's session did not close");
        }
    }
}

fn capabilities(arguments: &[String]) -> Value {
    let chromium = super::from_tests_run("SAKUDANA_TEST_CHROMIUM");
    json!({"capabilities": {"alwaysMatch": {
        "browserName": "chrome",
        "goog:chromeOptions": {"binary": chromium, "args": arguments},
        "goog:loggingPrefs": {"browser": "ALL"},
    }}})
}

/// One command; its `value`, or a panic with the driver's own words.
#[track_caller]
fn answer(client: &Client, method: &str, path: &str, body: Option<&Value>) -> Value {
    let call = client.call(method, path);
    let call = match body {
        Some(body) => call.json(body),
        None => call,
    };
    let answer = call.send();
    let value = answer.json()["value"].clone();
    assert!(answer.status == 200, "{method} {path}: {}: {}", value["error"], value["message"]);
    value
}

fn text_of(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}
