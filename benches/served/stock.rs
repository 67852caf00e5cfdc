//! A shop full of labelled blocks, the key of a till, and what the till sends.

use crate::counter::actor;
use crate::shop;
use sakudana::ops::keys::create_key;
use sakudana::store::{issued_labels, trays};
use sakudana::web::clock;
use std::path::{Path, PathBuf};

pub struct Stock {
    pub file: PathBuf,
    /// What stands in the code of each block's label.
    pub links: Vec<String>,
    key: String,
}

pub fn make(file: &Path, count: usize) -> Stock {
    let now = clock::now();
    let codes = shop::make(file, count, now);
    let desk = shop::open(file);
    let random = (clock::random().expect("chance"), clock::random().expect("chance"));
    let key = desk.act(move |tx, _| create_key(tx, &actor(), now, &random, "till 1", "till", 30)).expect("a key").1;
    let links = codes.iter().map(|code| link(&desk, code)).collect();
    Stock { file: file.to_owned(), links, key }
}

fn link(desk: &sakudana::ops::desk::Desk, code: &str) -> String {
    let says = desk
        .look(|reading, _| {
            let code = sakudana::domain::tray_code::TrayCode::parse("code", code)?;
            let tray = trays::find(reading, &code)?.expect("a block of the shop");
            Ok(issued_labels::of_tray(reading, tray.id)?.pop().expect("its label").says)
        })
        .expect("the label is read");
    let said: serde_json::Value = serde_json::from_str(&says).expect("a record of a label");
    said["fields"]["qr_text"].as_str().expect("the text of its code").to_owned()
}

/// How many lines were sold in a shop.
pub fn sold(file: &Path) -> usize {
    let mut bare = crate::shop::open(file);
    let lines = bare.act_alone(|tx, _| Ok(sakudana::store::sales::page(tx, None, i64::MAX)?.len()));
    lines.expect("the sales are counted")
}

impl Stock {
    pub fn scan(&self, link: &str) -> Vec<u8> {
        self.request("/v1/scans", "", &format!(r#"{{"text":"{link}"}}"#))
    }

    pub fn sale(&self, link: &str, number: usize) -> Vec<u8> {
        let key = format!("Idempotency-Key: \"till-1-sale-{number:012}\"\r\n");
        self.request("/v1/sales", &key, &format!(r#"{{"lines":[{{"tray_code":"{link}"}}]}}"#))
    }

    fn request(&self, path: &str, more: &str, body: &str) -> Vec<u8> {
        let length = body.len();
        format!(
            "POST {path} HTTP/1.1\r\nHost: counter.example\r\nAuthorization: Bearer {}\r\n{more}Content-Type: application/json\r\nContent-Length: {length}\r\n\r\n{body}",
            self.key
        )
        .into_bytes()
    }
}
