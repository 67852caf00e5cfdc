//! A certificate from files, made by OpenSSL: checked at the start, changed while serving.

use crate::ground::{Ground, port, trusting};
use crate::support::server::Server;
use std::process::Command;
use std::thread;
use std::time::Duration;

fn settings(ground: &Ground, certificate: &str, key: &str) -> String {
    format!("[tls]\ncertificate = {:?}\nkey = {:?}\n", ground.path(certificate), ground.path(key))
}

/// A certificate for 127.0.0.1 that vouches for itself.
fn make(ground: &Ground, name: &str, days: &str) {
    ground.openssl(&format!(
        "req -x509 -newkey rsa:2048 -nodes -keyout {name}.key -out {name}.pem -subj /CN=counter -days {days} -addext subjectAltName=IP:127.0.0.1"
    ));
}

fn hang_up(server: &Server) {
    let sent = Command::new("kill").args(["-HUP", &server.process_id().to_string()]).status().unwrap();
    assert!(sent.success());
}

#[test]
fn changed_files_are_taken_over_and_broken_ones_are_not() {
    let ground = Ground::new();
    make(&ground, "first", "30");
    make(&ground, "second", "30");
    let into_place = |name: &str| {
        for end in ["key", "pem"] {
            std::fs::copy(ground.path(&format!("{name}.{end}")), ground.path(&format!("now.{end}"))).unwrap();
        }
    };
    into_place("first");
    let server = ground.serve(&settings(&ground, "now.pem", "now.key"));
    let trusted = |name: &str| trusting(&ground.path(name), &[&server.url("/livez")]);
    let (code, said) = trusted("first.pem");
    assert_eq!(code, Some(0), "{said}");
    assert!(said.to_lowercase().contains("strict-transport-security: max-age=31536000"), "{said}");
    assert!(trusted("second.pem").0 != Some(0));
    let (_, said) = trusting(&ground.path("first.pem"), &[&server.url("/trust")]);
    assert!(said.starts_with("HTTP/1.1 404"), "there is no authority to trust: {said}");

    // Broken: told, and not taken.
    std::fs::write(ground.path("now.pem"), "nothing").unwrap();
    hang_up(&server);
    until(|| server.log().contains("the certificate stays as it was"));
    assert_eq!(trusted("first.pem").0, Some(0));

    into_place("second");
    hang_up(&server);
    until(|| trusted("second.pem").0 == Some(0));
    assert!(trusted("first.pem").0 != Some(0), "the old one is gone");
    assert!(!port(&server).is_empty());
}

fn until(what: impl Fn() -> bool) {
    for _ in 0..300 {
        if what() {
            return;
        }
        thread::sleep(Duration::from_millis(100));
    }
    panic!("it never came to that");
}

#[test]
fn what_does_not_do_is_said_before_the_shop_opens() {
    let ground = Ground::new();
    make(&ground, "good", "30");
    make(&ground, "other", "30");
    std::fs::write(ground.path("empty.pem"), "").unwrap();
    // OpenSSL 3 makes no certificate that has ended already with `req`; `ca`-less signing with negative days does.
    ground.openssl("req -new -key good.key -out ended.csr -subj /CN=counter");
    ground.openssl("x509 -req -in ended.csr -signkey good.key -days -1 -out ended.pem");
    let rows = [
        ("none.pem", "good.key", "tls.certificate"),
        ("empty.pem", "good.key", "holds no certificate"),
        ("good.pem", "none.key", "tls.key"),
        ("good.pem", "empty.pem", "tls.key"),
        ("good.pem", "other.key", "is not the key of tls.certificate"),
        ("ended.pem", "good.key", "has ended"),
    ];
    for (certificate, key, expected) in rows {
        let (code, said) = ground.refused(&settings(&ground, certificate, key));
        assert!(code == Some(1) && said.contains(expected), "{certificate} {key}: {code:?} {said}");
        assert!(!said.contains("PRIVATE"), "{said}");
    }
    let (code, said) = ground.refused("[tls]\ncertificate = \"a.pem\"\n");
    assert!(code == Some(2) && said.contains("certificate and key are given together"), "{code:?} {said}");
    let (code, said) = ground.refused("[tls]\nown_authority = true\nnames = [\"Shop_1\"]\n");
    assert!(code == Some(2) && said.contains("tls.names"), "{code:?} {said}");
}
