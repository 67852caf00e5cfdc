//! The power goes under a real server on a real file system: ext4 on a loop device, stopped at once without flushing anything. The disk of
//! `power/disk.rs` tears and reorders and is cut more often; here nothing is of our own making.
//!
//! Needs root and a loop device. Where there are none this test fails and says so; whoever accepts that sets `SAKUDANA_WITHOUT_LOOP=1`.
//! `SAKUDANA_REAL_CUTS` sets how many cuts (3).
//!
//! Only what was acknowledged before the cut began must be there. The kernel takes some milliseconds to shut a file system down, and a sync
//! that comes back with success meanwhile may be lost: seen in 1 of 30 cuts (Linux 6.18) with a loop of pwrite and fsync and nothing else.

use crate::dice::Dice;
use crate::setting::Shop;
use crate::support::python;
use crate::support::server::{Kind, Server};
use crate::till::{Till, verify};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;
use tempfile::TempDir;

/// EXT4_IOC_SHUTDOWN with EXT4_GOING_FLAGS_NOLOGFLUSH (Linux, fs/ext4/ext4.h): from now on nothing reaches the device.
const SHUT_DOWN: &str = "\
import fcntl, os, struct, sys
for line in sys.stdin:
    mount, lost = line.split()
    folder = os.open(mount, os.O_RDONLY)
    with open(os.path.join(mount, lost), 'w') as file:
        file.write('B')
    fcntl.ioctl(folder, 0x8004587d, struct.pack('I', 2))
    print('off')
";

fn run(program: &str, arguments: &[&str]) -> Result<String, String> {
    let output = Command::new(program).args(arguments).output().map_err(|error| format!("{program}: {error}"))?;
    let said = format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    if output.status.success() { Ok(said) } else { Err(format!("{program} {arguments:?}: {said}")) }
}

/// A file system in a file, mounted.
struct RealDisk {
    folder: TempDir,
}

impl RealDisk {
    fn make() -> Result<RealDisk, String> {
        let disk = RealDisk { folder: tempfile::tempdir().unwrap() };
        std::fs::create_dir(disk.mount()).unwrap();
        run("truncate", &["-s", "64M", &disk.image()])?;
        run("mkfs.ext4", &["-q", "-F", &disk.image()])?;
        disk.plug_in().map(|()| disk)
    }

    fn image(&self) -> String {
        self.folder.path().join("disk.img").to_str().unwrap().to_owned()
    }

    fn mount(&self) -> PathBuf {
        self.folder.path().join("mnt")
    }

    fn plug_in(&self) -> Result<(), String> {
        run("mount", &["-o", "loop", &self.image(), self.mount().to_str().unwrap()]).map(drop)
    }

    fn unplug(&self) {
        run("umount", &[self.mount().to_str().unwrap()]).unwrap();
    }

    /// What must survive the next cut. Its counterpart is written just before the cut and must not, or it was no cut.
    fn set_control(&self, round: usize) {
        let kept = self.mount().join(format!("kept-{round}"));
        std::fs::write(&kept, "A").unwrap();
        run("sync", &[kept.to_str().unwrap(), self.mount().to_str().unwrap()]).unwrap();
    }

    fn check_controls(&self, round: usize) {
        // A sync of the server may bring the name of the other to the disk, but not what is in it.
        let holds = |name: &str| std::fs::read(self.mount().join(format!("{name}-{round}"))).unwrap_or_default();
        assert_eq!((holds("kept"), holds("lost")), (b"A".to_vec(), Vec::new()), "that was no cut");
    }

    fn cut(&self, round: usize) {
        let line = format!("{} lost-{round}", self.mount().display());
        assert_eq!(python::lines(SHUT_DOWN, &[line]), ["off"]);
    }
}

impl Drop for RealDisk {
    fn drop(&mut self) {
        // After a failed test something may still hold it; then it goes when that goes.
        let _ = run("umount", &["-l", self.mount().to_str().unwrap()]);
    }
}

fn serve(settings: &Path, disk: &RealDisk, port: u16) -> Server {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sakudana"));
    command.arg("serve").arg("--settings").arg(settings).arg("--database").arg(disk.mount().join("shop.db"));
    command.arg("--listen").arg(format!("127.0.0.1:{port}"));
    Server::from_command(command, None)
}

/// A key, and what was acknowledged of it.
type Asked = (String, Option<Vec<u8>>);

/// Sells from several tills until the disk is gone; gives everything asked, and how much of it before the cut began.
fn sell_until_cut(till: &Till, disk: &RealDisk, round: usize, after: usize) -> (Vec<Asked>, usize) {
    let (sold, over, keys) = (AtomicUsize::new(0), AtomicBool::new(false), Mutex::new(Vec::new()));
    let before = std::thread::scope(|scope| {
        for thread in 0..4 {
            let (sold, over, keys) = (&sold, &over, &keys);
            let (client, body) = (till.shop.till.clone(), till.body(None));
            scope.spawn(move || {
                for number in 0.. {
                    let key = format!("real-cut-{round}-{thread}-{number:04}");
                    let answer = client.post("/v1/sales").idempotency_key(&key).json(&body).send();
                    let acknowledged = (answer.status == 201).then_some(answer.body);
                    sold.fetch_add(usize::from(acknowledged.is_some()), Ordering::SeqCst);
                    keys.lock().unwrap().push((key, acknowledged));
                    if answer.status != 201 {
                        assert!(over.load(Ordering::SeqCst), "{} before the cut", answer.status);
                        return;
                    }
                }
            });
        }
        while sold.load(Ordering::SeqCst) < after {
            std::thread::sleep(Duration::from_millis(2));
        }
        over.store(true, Ordering::SeqCst);
        let before = keys.lock().unwrap().len();
        disk.cut(round);
        before
    });
    (keys.into_inner().unwrap(), before)
}

#[test]
fn what_was_acknowledged_survives_a_cut_of_a_real_disk() {
    let disk = match RealDisk::make() {
        Ok(disk) => disk,
        Err(why) if std::env::var("SAKUDANA_WITHOUT_LOOP").is_ok_and(|set| set == "1") => {
            eprintln!("NOT TESTED, as SAKUDANA_WITHOUT_LOOP says: a cut of a real disk: {why}");
            return;
        }
        Err(why) => panic!("no real disk to cut; SAKUDANA_WITHOUT_LOOP=1 leaves this test out: {why}"),
    };
    let cuts = std::env::var("SAKUDANA_REAL_CUTS").map_or(3, |text| text.parse().unwrap());
    let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let settings = disk.folder.path().join("shop.toml");
    let mut till = Till::at(Shop::served(Kind::Sqlite, |made, _, _| {
        std::fs::copy(made, &settings).unwrap();
        serve(&settings, &disk, port)
    }));
    let (mut dice, mut asked, mut acknowledged) = (Dice::new(5), 0, 0);
    for round in 0..cuts {
        disk.set_control(round);
        let (keys, before) = sell_until_cut(&till, &disk, round, dice.below(60) + 5);
        till.shop.server.kill();
        disk.unplug();
        disk.plug_in().unwrap();
        disk.check_controls(round);
        till.shop.server = serve(&settings, &disk, port);
        for (index, (key, body)) in keys.iter().enumerate() {
            let again = till.sell(key, None).expect(201);
            if let Some(body) = body.as_ref().filter(|_| index < before) {
                assert_eq!(again.header("idempotent-replayed"), Some("true"), "{key} is lost");
                assert_eq!(&again.body, body, "{key}");
                acknowledged += 1;
            }
        }
        asked += i64::try_from(keys.len()).unwrap();
        assert_eq!(till.tub_grams(), 9_000 - asked, "each once");
        verify(disk.mount().join("shop.db").to_str().unwrap());
    }
    println!(
        "{cuts} cuts of a real disk: {asked} sales, of which {acknowledged} had been acknowledged, are there once"
    );
    till.shop.server.stop();
    disk.unplug();
    run("e2fsck", &["-fn", &disk.image()]).unwrap();
}
