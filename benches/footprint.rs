//! What the built server costs before anybody asks it anything: time to start, memory at rest, size. Prints rows of Markdown.
//!
//! `cargo bench --bench footprint`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_sakudana");
const STARTS: usize = 5;
/// Whatever a start leaves to be done has been done by then.
const REST: Duration = Duration::from_secs(2);

struct Start {
    took: Duration,
    resident_kib: u64,
    peak_kib: u64,
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder to work in");
    let first: Vec<Start> = (0..STARTS).map(|n| start(&folder.path().join(format!("{n}.db")))).collect();
    let again: Vec<Start> = (0..STARTS).map(|n| start(&folder.path().join(format!("{n}.db")))).collect();
    println!("| what | measured | goal |");
    println!("|---|---:|---:|");
    for (name, starts) in [("first start, empty database", &first), ("later start", &again)] {
        let took = middle(starts, |s| s.took).as_secs_f64();
        println!("| {name}: until it listens | {took:.3} s | {} 0.5 s |", under(took < 0.5));
        let (resident, peak) = (middle(starts, |s| s.resident_kib), middle(starts, |s| s.peak_kib));
        println!(
            "| {name}: resident at rest (peak {}) | {} | {} 40 MB |",
            megabytes(peak),
            megabytes(resident),
            under(resident * 1024 < 40_000_000)
        );
    }
    let size = std::fs::metadata(PROGRAM).expect("the program is there").len();
    println!("| size of the program | {:.1} MB | {} 40 MB |", size as f64 / 1e6, under(size < 40_000_000));
    demo(folder.path());
}

fn under(met: bool) -> &'static str {
    if met { "met: under" } else { "MISSED: under" }
}

fn megabytes(kib: u64) -> String {
    format!("{:.1} MB", kib as f64 * 1024.0 / 1e6)
}

fn middle<T: Ord>(starts: &[Start], of: impl Fn(&Start) -> T) -> T {
    let mut all: Vec<T> = starts.iter().map(of).collect();
    all.sort();
    all.swap_remove(all.len() / 2)
}

/// Starts the server on this database, waits until it listens, lets it rest, and ends it.
fn start(database: &Path) -> Start {
    let mut command = Command::new(PROGRAM);
    command.args(["serve", "--listen", "127.0.0.1:0", "--database"]).arg(database);
    let begun = Instant::now();
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("the server starts");
    let lines = BufReader::new(child.stdout.take().expect("its output is ours"));
    let listening = lines.lines().map(|line| line.expect("text")).any(|line| line.starts_with("listening on"));
    let took = begun.elapsed();
    assert!(listening, "the server ended before it listened");
    std::thread::sleep(REST);
    let found = Start { took, resident_kib: memory(&child, "VmRSS:"), peak_kib: memory(&child, "VmHWM:") };
    child.kill().expect("the server is ended");
    child.wait().expect("and gone");
    found
}

fn memory(child: &Child, field: &str) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).expect("Linux tells of a process");
    let line = status.lines().find_map(|line| line.strip_prefix(field)).expect("the field is there");
    line.trim().trim_end_matches("kB").trim().parse().expect("a number of KiB")
}

fn demo(folder: &Path) {
    let begun = Instant::now();
    let done = Command::new(PROGRAM)
        .args(["demo", "--no-serve", "--database"])
        .arg(folder.join("demo.db"))
        .output()
        .expect("the demo starts");
    let took = begun.elapsed().as_secs_f64();
    if done.status.success() {
        println!("| the demo shop, built and checked | {took:.2} s | {} 15 s |", under(took < 15.0));
    } else {
        println!("\nthe demo shop was not built: {}", String::from_utf8_lossy(&done.stderr).trim());
    }
}
