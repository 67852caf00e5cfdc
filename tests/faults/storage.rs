//! A real server on a disk that is full, and on one whose syncs fail: over HTTP it says what it cannot do, goes on with what it can, and
//! comes back by itself.

use crate::setting::Shop;
use crate::support::child::Watched;
use crate::support::server::{Kind, Server};
use crate::till::{Till, expect_read_only, seen_from, verify};
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

/// Serves on a small disk of its own, a mount that only this process sees and that goes with it. Without root, `unshare` makes the server
/// root of a namespace; where neither is allowed the server does not start, and the test says so.
fn on_a_small_disk() -> (Till, PathBuf) {
    let mut disk = PathBuf::new();
    let shop = Shop::served(Kind::Sqlite, |settings, _, _| {
        disk = Path::new(settings).parent().unwrap().join("disk");
        std::fs::create_dir(&disk).unwrap();
        let script = "mount -t tmpfs -o size=12m tmpfs \"$1\" && exec \"$2\" serve --settings \"$3\" --database \"$1/shop.db\" --listen 127.0.0.1:0";
        let mut command = Command::new("unshare");
        command.arg(if is_root() { "-m" } else { "-rm" }).args(["sh", "-c", script, "sh"]);
        command.arg(&disk).arg(env!("CARGO_BIN_EXE_sakudana")).arg(settings);
        Server::from_command(command, None)
    });
    let seen = PathBuf::from(seen_from(shop.server.process_id(), &disk));
    (Till::at(shop), seen)
}

fn is_root() -> bool {
    let id = Command::new("id").arg("-u").output().unwrap();
    String::from_utf8_lossy(&id.stdout).trim() == "0"
}

/// Writes until there is no room for a byte more.
fn fill(file: &Path) {
    let mut filler = OpenOptions::new().create(true).append(true).open(file).unwrap();
    for size in [65_536, 4_096, 1] {
        while filler.write_all(&vec![1; size]).is_ok() {}
    }
}

#[test]
fn a_full_disk_stops_acts_and_nothing_else() {
    let (till, disk) = on_a_small_disk();
    let before = till.sell("full-disk-before-1", None).expect(201).json();
    let filler = disk.join("filler");
    fill(&filler);
    // What the log has room for already may still be written over.
    let mut sold = 0;
    let refused = loop {
        let answer = till.sell(&format!("full-disk-{sold:08}"), None);
        if answer.status != 201 {
            break answer;
        }
        sold += 1;
        assert!(sold < 2_000, "the disk never got full");
    };
    expect_read_only(&refused, "the disk is full");
    till.everything_is_read();
    assert_eq!(till.tub_grams(), 9_000 - 1 - sold, "what was refused was not done");
    let replayed = till.sell("full-disk-before-1", None);
    expect_read_only(&replayed, "the disk is full");

    // Still full: it tries, and stays as it is. The first pause is a second.
    till.await_log("still read-only", 1);
    expect_read_only(&till.sell("full-disk-block-1", Some(0)), "the disk is full");
    std::fs::remove_file(&filler).unwrap();
    till.await_log("writable again", 1);
    let answer = till.sell(&format!("full-disk-{sold:08}"), None).expect(201);
    assert_eq!(answer.header("idempotent-replayed"), None, "it had not been done");
    let again = till.sell(&format!("full-disk-{sold:08}"), None).expect(201);
    assert_eq!((again.header("idempotent-replayed"), &again.body), (Some("true"), &answer.body));
    assert_eq!(till.sell("full-disk-before-1", None).expect(201).json(), before);
    assert_eq!(till.tub_grams(), 9_000 - 2 - sold);
    verify(disk.join("shop.db").to_str().unwrap());
}

/// Lets every sync of a process fail, until it is dropped.
struct FailingSyncs {
    tracer: Watched,
    log: tempfile::NamedTempFile,
}

impl FailingSyncs {
    fn of(process: u32) -> FailingSyncs {
        let log = tempfile::NamedTempFile::new().unwrap();
        let mut command = Command::new("strace");
        command.args(["-f", "-e", "trace=fsync,fdatasync", "-e", "inject=fsync,fdatasync:error=EIO"]);
        command.args(["-p", &process.to_string(), "-o"]).arg(log.path());
        let tracer = Watched::start(command);
        for _ in 0..600 {
            if tracer.said().contains("attached") {
                return FailingSyncs { tracer, log };
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("strace does not attach: {}", tracer.said());
    }

    fn hits(&self) -> usize {
        let log = std::io::read_to_string(File::open(self.log.path()).unwrap()).unwrap();
        log.lines().filter(|line| line.contains("EIO") && line.contains("INJECTED")).count()
    }

    fn end(mut self) {
        self.tracer.stop();
    }
}

#[test]
fn failing_syncs_stop_acts_and_nothing_else() {
    let till = Till::at(Shop::open(Kind::Sqlite));
    till.sell("failing-sync-0001", Some(0)).expect(201);
    let faults = FailingSyncs::of(till.shop.server.process_id());
    let first = till.sell("failing-sync-0002", Some(1));
    assert_eq!((first.status, first.json()["code"].as_str()), (503, Some("outcome_unknown")), "{}", first.text());
    assert!(faults.hits() > 0, "no sync failed");
    expect_read_only(&till.sell("failing-sync-0003", Some(2)), "the disk is failing");
    till.everything_is_read();
    till.await_log("still read-only", 1);
    faults.end();
    till.await_log("writable again", 1);
    // The second is settled by its key, the third was not done.
    let settled = till.sell("failing-sync-0002", Some(1)).expect(201);
    assert_eq!(till.sell("failing-sync-0002", Some(1)).expect(201).body, settled.body);
    assert_eq!(till.sell("failing-sync-0003", Some(2)).expect(201).header("idempotent-replayed"), None);
    till.everything_but_sold_is_whole();
    verify(&till.shop.database);
}

impl Till {
    /// Three blocks went, each once.
    fn everything_but_sold_is_whole(&self) {
        for (index, block) in self.blocks.iter().enumerate() {
            let sold = self.shop.tray(block)["fate"] == "sold";
            assert_eq!(sold, index < 3, "{block}");
        }
    }
}
