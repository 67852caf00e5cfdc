//! A client of the event stream: a thread that reads on, and a queue of what it heard. Knows the form of events, nothing of fish.

use crate::PATIENCE;
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Instant;

/// One block of a stream (WHATWG HTML, "Server-sent events": fields up to a blank line).
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Event {
    pub name: String,
    pub id: Option<String>,
    pub data: String,
    pub retry: Option<String>,
    pub is_comment: bool,
}

impl Event {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.data).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }
}

pub struct Listener {
    events: Receiver<Event>,
    pub headers: Vec<(String, String)>,
    /// The last id received, as a browser keeps it.
    pub last_id: String,
}

impl Listener {
    /// The status when there is no stream.
    pub fn open(url: &str, key: &str, more: &[(&str, &str)]) -> Result<Listener, u16> {
        let agent = ureq::Agent::new_with_config(ureq::Agent::config_builder().http_status_as_error(false).build());
        let mut call = agent.get(url).header("Authorization", format!("Bearer {key}"));
        for (name, value) in more {
            call = call.header(*name, *value);
        }
        let response = call.call().expect("the server answers");
        if response.status().as_u16() != 200 {
            return Err(response.status().as_u16());
        }
        let text = |value: &ureq::http::HeaderValue| String::from_utf8_lossy(value.as_bytes()).into_owned();
        let headers = response.headers().iter().map(|(name, value)| (name.to_string(), text(value))).collect();
        let (sender, events) = channel();
        let body = BufReader::new(response.into_body().into_reader());
        std::thread::spawn(move || {
            let mut event = Event::default();
            for line in body.lines().map_while(Result::ok) {
                let (field, value) =
                    line.split_once(':').map_or((line.as_str(), ""), |(f, v)| (f, v.strip_prefix(' ').unwrap_or(v)));
                match field {
                    "" if line.is_empty() => {
                        if sender.send(std::mem::take(&mut event)).is_err() {
                            return;
                        }
                    }
                    "" => event.is_comment = true,
                    "event" => event.name = value.to_owned(),
                    "id" => event.id = Some(value.to_owned()),
                    "data" => event.data.push_str(value),
                    "retry" => event.retry = Some(value.to_owned()),
                    other => panic!("no such field: {other}"),
                }
            }
        });
        Ok(Listener { events, headers, last_id: String::new() })
    }

    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(found, _)| found == name).map(|(_, value)| value.as_str())
    }

    /// The next block; none when the stream has ended.
    pub fn block(&mut self) -> Option<Event> {
        match self.events.recv_timeout(PATIENCE) {
            Ok(event) => {
                if let Some(id) = &event.id {
                    self.last_id.clone_from(id);
                }
                Some(event)
            }
            Err(RecvTimeoutError::Disconnected) => None,
            Err(RecvTimeoutError::Timeout) => panic!("nothing comes"),
        }
    }

    /// The next event that says something.
    pub fn event(&mut self) -> Option<Event> {
        let begun = Instant::now();
        while let Some(event) = self.block() {
            if !event.name.is_empty() {
                return Some(event);
            }
            assert!(begun.elapsed() < PATIENCE, "only comments come");
        }
        None
    }

    /// The next change that fits; those before it are passed over.
    pub fn change(&mut self, fits: impl Fn(&Value) -> bool) -> Value {
        loop {
            let event = self.event().expect("the stream goes on");
            let change = event.json();
            assert_eq!(Some(change["cursor"].as_str().unwrap()), event.id.as_deref());
            assert_eq!(event.name, if change["tray_code"].is_null() { "act" } else { "tray" });
            if fits(&change) {
                return change;
            }
        }
    }
}
