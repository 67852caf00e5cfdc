//! Proves the browser client on a page of its own, with no server of ours: keys arrive as keys, the
//! console is heard, a click lands, the picture is a picture.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

mod support;

use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::thread;
use std::time::Duration;

use serde_json::json;
use support::browser::Browser;

/// Counts key events beside the text: text that is put in at once would leave the count at zero.
const PAGE: &str = r#"<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<link rel="icon" href="data:,">
<title>selfcheck</title>
<form><label>Code <input id="code" autofocus></label></form>
<p id="result">nothing yet</p>
<button type="button">Left</button>
<button type="button">Right</button>
<script>
let keys = 0;
addEventListener('keydown', () => { keys += 1; });
document.querySelector('form').addEventListener('submit', event => {
  event.preventDefault();
  setTimeout(() => { result.textContent = `read ${code.value} in ${keys} keys`; }, 200);
});
document.querySelectorAll('button').forEach(button => button.addEventListener('click', () => {
  result.textContent = `pressed ${button.textContent}`;
  console.error('a button was pressed');
}));
</script>
</html>"#;

#[test]
fn a_scanned_code_arrives_key_by_key() {
    let browser = Browser::open();
    browser.goto(&serve(PAGE));
    let code = "https://example.org/01/09506000134352/21/aB%2F9?17=261231";
    browser.scan(code);
    browser.find("#result", "read");
    let keys = code.chars().count() + 1;
    let typed = browser.execute("return keys").as_u64().unwrap();
    assert_eq!(browser.text("#result"), format!("read {code} in {typed} keys"));
    // A capital letter may bring its Shift with it; a paste would bring nothing.
    assert!(typed >= keys as u64, "{typed} key events for {keys} keys");
    assert!(browser.console().iter().all(|entry| entry.level != "SEVERE"));
}

#[test]
fn a_click_lands_and_the_console_is_heard() {
    let browser = Browser::open();
    browser.goto(&serve(PAGE));
    browser.click("button", "Right");
    assert_eq!(browser.text("#result"), "pressed Right");
    let console = browser.console();
    assert_eq!(console.len(), 1, "{console:?}");
    assert_eq!(console[0].level, "SEVERE");
    assert!(console[0].message.contains("a button was pressed"), "{console:?}");
    let later = browser.execute_async("setTimeout(() => done(keys), 50)");
    assert_eq!(later, json!(0));
}

#[test]
fn a_phone_sized_page_is_that_size_and_can_be_pictured() {
    let browser = Browser::open();
    browser.set_viewport(390, 844);
    browser.goto(&serve(PAGE));
    assert_eq!(browser.execute("return [innerWidth, innerHeight]"), json!([390, 844]));
    let directory = tempfile::tempdir().unwrap();
    let file = directory.path().join("page.png");
    browser.screenshot(&file);
    let picture = image::open(&file).unwrap();
    assert_eq!((picture.width(), picture.height()), (390, 844));
    let pixels = picture.to_luma8();
    assert!(pixels.pixels().any(|dot| dot.0[0] < 100), "the picture is blank");
}

#[test]
#[should_panic(expected = "never showed #absent")]
fn what_is_not_there_is_not_found() {
    let mut browser = Browser::open();
    browser.patience = Duration::from_millis(300);
    browser.goto(&serve(PAGE));
    browser.find("#absent", "");
}

/// Serves one page to whoever asks, until the test program ends; gives the address.
fn serve(page: &'static str) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            // A browser opens connections ahead of need; one that stays silent must not block.
            thread::spawn(move || answer(stream, page));
        }
    });
    format!("http://{address}/")
}

fn answer(mut stream: TcpStream, page: &str) -> std::io::Result<()> {
    let reader = BufReader::new(stream.try_clone()?);
    for line in reader.lines() {
        if line?.is_empty() {
            break;
        }
    }
    let length = page.len();
    write!(
        stream,
        "HTTP/1.1 200 OK\r\nContent-Type: text/html; charset=utf-8\r\n\
         Content-Length: {length}\r\nConnection: close\r\n\r\n{page}"
    )
}
