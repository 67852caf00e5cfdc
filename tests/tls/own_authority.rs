//! The shop's own authority, as a device meets it: found over plain HTTP, compared, trusted, and good for this shop alone.

use crate::ground::{Ground, NOT_TRUSTED, curl, port, trusting};
use crate::support::http::Client;
use crate::support::server::Server;
use sha2::{Digest, Sha256};
use std::io::Read;
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt;
use std::time::Duration;

const SETTINGS: &str =
    "[tls]\nown_authority = true\nnames = [\"shop.local\", \"192.0.2.7\"]\nhttp_listen = \"127.0.0.1:0\"\n";

/// Where plain HTTP is answered, as the program says it.
fn plain(server: &Server) -> String {
    let log = server.log();
    let line = log.lines().find_map(|line| line.strip_prefix("plain HTTP on ")).unwrap().to_owned();
    line.split_whitespace().next().unwrap().to_owned()
}

fn fingerprint_said(server: &Server) -> String {
    let log = server.log();
    log.lines().find_map(|line| line.strip_prefix("the shop's own authority, SHA-256: ")).unwrap().to_owned()
}

#[test]
fn a_device_learns_to_trust_the_shop_and_nothing_else() {
    let ground = Ground::new();
    let mut server = ground.serve(SETTINGS);
    assert!(server.url("").starts_with("https://127.0.0.1:"));
    let web = Client::new(&plain(&server));

    let page = web.get("/trust").send().expect(200).text();
    assert!(page.contains(&fingerprint_said(&server)), "the page and the program say one fingerprint");
    let file = web.get("/trust/authority.crt").send().expect(200);
    assert_eq!(file.header("content-type"), Some("application/x-x509-ca-cert"));
    let print = Sha256::digest(&file.body).iter().map(|b| format!("{b:02X}")).collect::<Vec<_>>().join(":");
    assert_eq!(print, fingerprint_said(&server));
    std::fs::write(ground.path("authority.crt"), &file.body).unwrap();
    ground.openssl("x509 -inform der -in authority.crt -out authority.pem");
    let authority = ground.path("authority.pem");

    // Everything else over plain HTTP leads to HTTPS.
    let led = web.post("/v1/sales?x=1").send().expect(308);
    assert_eq!(led.header("location"), Some(format!("https://127.0.0.1:{}/v1/sales?x=1", port(&server)).as_str()));
    web.get("/livez").send().expect(308);

    let address = server.url("/livez");
    let (code, said) = trusting(&authority, &[&address]);
    assert!(code == Some(0) && said.starts_with("HTTP/1.1 200"), "{code:?} {said}");
    assert!(
        !said.to_lowercase().contains("strict-transport-security"),
        "whoever makes a new authority must be able to come back"
    );
    assert_eq!(curl(&[&address]).0, Some(NOT_TRUSTED), "nobody else trusts it");

    // By each of its names, and by no other.
    for (host, expected) in [
        ("shop.local", Some(0)),
        ("192.0.2.7", Some(0)),
        ("other.local", Some(NOT_TRUSTED)),
        ("192.0.2.8", Some(NOT_TRUSTED)),
    ] {
        let to = format!("{host}:{0}:127.0.0.1:{0}", port(&server));
        let named = format!("https://{host}:{}/livez", port(&server));
        assert_eq!(trusting(&authority, &["--connect-to", &to, &named]).0, expected, "{host}");
    }

    // The sign-in cookie is for HTTPS alone, without being told.
    let owner = server.owner();
    let form = format!("name={}&password={}", owner.name, owner.password);
    let origin = format!("origin: {}", server.url(""));
    let (_, said) = trusting(&authority, &["--data", &form, "--header", &origin, &server.url("/sign-in")]);
    let cookie =
        said.lines().find(|line| line.to_lowercase().starts_with("set-cookie:")).unwrap_or_default().to_owned();
    assert!(cookie.contains("__Host-sakudana=") && cookie.contains("Secure"), "{said}");

    // A second start shows another certificate of the same authority.
    let said_first = fingerprint_said(&server);
    server.stop();
    let server = ground.serve(SETTINGS);
    assert_eq!(fingerprint_said(&server), said_first);
    assert_eq!(trusting(&authority, &[&server.url("/livez")]).0, Some(0));
}

#[test]
fn old_versions_are_refused() {
    let ground = Ground::new();
    let server = ground.serve(SETTINGS);
    let connect = |version: &str| {
        // The lowest security level, so that it is not OpenSSL that refuses.
        let line = format!("s_client -connect 127.0.0.1:{} {version} -cipher ALL@SECLEVEL=0", port(&server));
        let output = ground.try_openssl(&line);
        String::from_utf8_lossy(&output.stdout).contains("BEGIN CERTIFICATE")
    };
    assert_eq!(["-tls1_3", "-tls1_2", "-tls1_1", "-tls1"].map(connect), [true, true, false, false]);
}

#[test]
fn the_authority_is_kept_from_others_and_bound_to_the_shop() {
    let ground = Ground::new();
    drop(ground.serve(SETTINGS));
    let file = ground.path("sakudana-authority.pem");
    assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);

    // Whoever stole the key could make certificates, but devices would not take them for anything but the shop.
    ground.openssl("req -new -newkey rsa:2048 -nodes -keyout leaf.key -out leaf.csr -subj /CN=A");
    for (name, expected) in [
        ("DNS:shop.local", true),
        ("DNS:case.local", true),
        ("IP:192.168.1.9", true),
        ("DNS:bank.example", false),
        ("IP:198.51.100.9", false),
    ] {
        std::fs::write(ground.path("names"), format!("subjectAltName={name}\n")).unwrap();
        let authority = "-CA sakudana-authority.pem -CAkey sakudana-authority.pem -CAcreateserial";
        ground.openssl(&format!("x509 -req -in leaf.csr {authority} -days 5 -extfile names -out leaf.pem"));
        let verified = ground.try_openssl("verify -CAfile sakudana-authority.pem leaf.pem");
        let said =
            format!("{}{}", String::from_utf8_lossy(&verified.stdout), String::from_utf8_lossy(&verified.stderr));
        assert_eq!(verified.status.success(), expected, "{name}: {said}");
        assert!(expected || said.contains("permitted subtree violation"), "{name}: {said}");
    }

    // A name it was not made for is found at the start, not by the first phone.
    let (code, said) = ground.refused(&SETTINGS.replace("shop.local", "fish.example"));
    assert!(code == Some(1) && said.contains("cannot vouch for fish.example"), "{code:?} {said}");
    std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o644)).unwrap();
    let (code, said) = ground.refused(SETTINGS);
    assert!(code == Some(1) && said.contains("others can read it"), "{code:?} {said}");
}

/// A client that begins no handshake holds nothing.
#[test]
fn a_handshake_that_does_not_come_is_not_waited_for() {
    let ground = Ground::new();
    let server = ground.serve(SETTINGS);
    let mut silent = TcpStream::connect(("127.0.0.1", port(&server).parse::<u16>().unwrap())).unwrap();
    silent.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    let mut buffer = [0; 16];
    assert!(matches!(silent.read(&mut buffer), Ok(0)), "the server ends it");
}
