//! Settings are read, refused and overridden as settings.example.toml says.

use super::{LogFormat, Settings, Sources, read};
use crate::domain::gs1::own::Codes;
use crate::domain::profile::{OwnSetting, Rules, own};
use crate::domain::review::Ladder;
use crate::domain::shop::Jurisdiction;

const EXAMPLE: &str = include_str!("../../../settings.example.toml");

fn read_alone(text: &str) -> Result<Settings, Vec<String>> {
    read(text, &Sources::default(), &|_| None)
}

/// What a person sees of a result, for comparing.
fn words(settings: &Settings) -> String {
    format!("{settings:?}")
}

#[test]
fn the_example_says_the_defaults() {
    let example = read_alone(EXAMPLE).unwrap();
    let defaults = read_alone("").unwrap();
    assert_eq!(words(&example), words(&defaults));
    assert_eq!(defaults.shop.ladder, Ladder::default());
    assert_eq!(defaults.listen, "127.0.0.1:8080");
    assert_eq!(defaults.database, "sakudana.db");
}

/// Every key of the example is one that is read: an unknown one would be refused. This is the other way round.
#[test]
fn the_example_names_every_key() {
    let keys: Vec<&str> = own::names().collect();
    for key in &keys {
        assert!(EXAMPLE.contains(&format!("\n#{key} = ")), "settings.example.toml does not say {key}");
    }
    for section in
        ["shop", "labels", "server", "customer_page", "limits", "tls", "following", "database", "log", "webhooks"]
    {
        let problems = read_alone(&format!("[{section}]\nnobody = 1")).unwrap_err();
        let known = problems.first().and_then(|p| p.split_once("known are ")).unwrap().1;
        for key in known.split(", ").filter(|key| !["codes", "hours", "ladder", "rules", "terms"].contains(key)) {
            assert!(EXAMPLE.contains(&format!("\n{key} = ")), "settings.example.toml does not say {key}");
        }
    }
    let problems = read_alone("[shop.codes]\nnobody = 1").unwrap_err();
    for key in problems.first().and_then(|p| p.split_once("known are ")).unwrap().1.split(", ") {
        let said = [format!("\n{key} = "), format!("\n#{key} = ")].iter().any(|line| EXAMPLE.contains(line));
        assert!(said, "settings.example.toml does not say {key}");
    }
    for section in ["hours", "terms"] {
        let problems = read_alone(&format!("[shop.{section}]\nnobody = 1")).unwrap_err();
        for key in problems.first().and_then(|p| p.split_once("known are ")).unwrap().1.split(", ") {
            assert!(EXAMPLE.contains(&format!("\n{key} = ")), "settings.example.toml does not say {key}");
        }
        assert!(EXAMPLE.contains(&format!("\n[shop.{section}]\n")));
    }
    assert!(EXAMPLE.contains("\n[shop.codes]\n"));
    assert!(EXAMPLE.contains("\n[[shop.ladder]]\n"));
    let problems = read_alone("[[printers]]\nnobody = 1").unwrap_err();
    let known = problems.iter().find_map(|p| p.split_once("known are ")).unwrap().1;
    for key in known.split(", ") {
        assert!(EXAMPLE.contains(&format!("\n#{key} = ")), "settings.example.toml does not say {key}");
    }
}

#[test]
fn limits_have_their_ranges_and_a_certificate_its_key() {
    let wrong = |text: &str| read_alone(text).unwrap_err().join("\n");
    for (line, key) in [
        ("requests_a_second = 0", "limits.requests_a_second"),
        ("requests_at_once_of_strangers = 1_000_001", "limits.requests_at_once_of_strangers"),
        ("connections_of_one_address = 3", "limits.connections_of_one_address"),
        ("connections = 15", "limits.connections"),
        ("calls_at_once = \"many\"", "limits.calls_at_once"),
    ] {
        assert!(wrong(&format!("[limits]\n{line}")).starts_with(key), "{line}");
    }
    let few = read_alone("[limits]\nconnections = 16").unwrap().limits;
    assert_eq!((few.connections, few.connections_of_one_address), (16, 16), "one address has no more than all");
    for text in ["key = \"a\"", "certificate = \"a\"", "certificate = \"a\"\nkey = \"b\"\nown_authority = true"] {
        assert!(wrong(&format!("[tls]\n{text}")).contains("given together"), "{text}");
    }
    for name in ["Shop.local", "shop_1", "-a.local", "a..b", "", "*.local", "a b"] {
        assert!(wrong(&format!("[tls]\nown_authority = true\nnames = [{name:?}]")).starts_with("tls.names"), "{name}");
    }
    let own = read_alone("[tls]\nown_authority = true\nnames = [\"till-1.local\", \"fd00::7\"]").unwrap();
    assert!(own.tls.is_some() && own.secure_cookies, "cookies go over HTTPS alone, without being told");
}

/// The lines of the printer that begin with `#` and a key are one that can be set so.
#[test]
fn the_example_says_a_printer() {
    let said = EXAMPLE.split("\n#[[printers]]\n").nth(1).unwrap();
    let lines = said.lines().filter_map(|line| line.strip_prefix('#')).filter(|line| !line.starts_with(' '));
    let text = lines.collect::<Vec<_>>().join("\n");
    let settings = read_alone(&format!("[[printers]]\n{text}")).unwrap();
    assert_eq!(settings.printers.len(), 1);
    assert_eq!(settings.printers[0].printer.name, "counter");
}

/// The lines that begin with `#` and a key are the profile's own values; said aloud, they change nothing.
#[test]
fn the_example_says_the_rules_of_the_profile() {
    let rules = EXAMPLE.split("\n#[shop.rules]\n").nth(1).and_then(|after| after.split("\n\n").next()).unwrap();
    let said: Vec<&str> =
        rules.lines().filter_map(|line| line.strip_prefix('#')).filter(|l| !l.starts_with(' ')).collect();
    assert_eq!(said.len(), own::names().count());
    let settings = read_alone(&format!("[shop.rules]\n{}", said.join("\n"))).unwrap();
    assert_eq!(settings.shop.rules, Rules::of(Jurisdiction::Eu));
    assert_eq!(read_alone("").unwrap().shop.rules, Rules::of(Jurisdiction::Eu));
}

#[test]
fn own_rules_are_stricter_or_say_their_ground() {
    let rules =
        |text: &str| read_alone(&format!("[shop]\njurisdiction = 'us'\n[shop.rules]\n{text}")).map(|s| s.shop.rules);
    let stricter = rules("date_mark_days = 4\nraw_clock = 'on'").unwrap();
    assert_eq!(stricter.date_mark.days, Some(4));
    let own = |value: &str, validated: Option<&str>| OwnSetting {
        name: "date_mark_days",
        value: value.into(),
        profile_value: "7".into(),
        validated: validated.map(str::to_owned),
    };
    assert_eq!(stricter.own, [own("4", None)]);
    let looser = rules("date_mark_days = { value = 'none', validated = 'inspector, letter of May' }").unwrap();
    assert_eq!(
        (looser.date_mark.days, looser.own.as_slice()),
        (None, &[own("none", Some("inspector, letter of May"))][..])
    );
    let wrong = "date_mark_days = 8\ncolour_clock = 'off'\nraw_model = 'fast'\nnobody = 1\nexposure_minutes = { value = 1 }\n\
                 frozen_q10_permille = { value = 3_500, validated = ' ' }\nthawed_colour_permille = true";
    let problems = rules(wrong).unwrap_err();
    let names = [
        "exposure_minutes",
        "thawed_colour_permille",
        "date_mark_days",
        "colour_clock",
        "raw_model",
        "nobody",
        "frozen_q10_permille",
    ];
    assert_eq!(problems.len(), names.len(), "{problems:#?}");
    for name in names {
        assert!(problems.iter().any(|p| p.starts_with(&format!("shop.rules.{name} = "))), "{name}: {problems:#?}");
    }
    assert!(rules("date_mark_days = { value = 8, validated = 'x', by = 'y' }").is_err());
    assert!(read_alone("[shop]\nrules = 3").is_err());
}

#[test]
fn the_shop_of_the_demo_is_a_shop() {
    let demo = read_alone(include_str!("../../../demo-data/shop.toml")).unwrap();
    assert_eq!(demo.shop.zone.name(), "Europe/Dublin");
    assert!(demo.secure_cookies && !demo.shop_is_unnamed);
    assert!(demo.shop.hours.days[0].is_none() && demo.shop.hours.days[1..].iter().all(Option::is_some));
}

#[test]
fn each_wrong_value_is_named_with_its_key() {
    let rows = [
        ("shop.name", "[shop]\nname = ''"),
        ("shop.address", "[shop]\naddress = 3"),
        ("shop.time_zone", "[shop]\ntime_zone = 'Dublin'"),
        ("shop.currency", "[shop]\ncurrency = 'eur'"),
        ("shop.currency_sign", "[shop]\ncurrency_sign = 'Euros'"),
        ("shop.jurisdiction", "[shop]\njurisdiction = 'jp'"),
        ("shop.web_address", "[shop]\nweb_address = 'https://fish.example/'"),
        ("shop.reversal_minutes", "[shop]\nreversal_minutes = 241"),
        ("shop.reversal_minutes", "[shop]\nreversal_minutes = -1"),
        ("shop.reversal_minutes", "[shop]\nreversal_minutes = 1.5"),
        ("shop.drip_permille", "[shop]\ndrip_permille = 101"),
        ("shop.receiving_scale_g", "[shop]\nreceiving_scale_g = 0"),
        ("shop.bench_scale_g", "[shop]\nbench_scale_g = 501"),
        ("shop.kitchen_within_hours", "[shop]\nkitchen_within_hours = 10"),
        ("shop.ladder", "[[shop.ladder]]\nwithin_hours = 24"),
        ("shop.ladder", "[[shop.ladder]]\nwithin_hours = 24\noff_permille = 200\nwhy = 'x'"),
        ("shop.ladder", "[[shop.ladder]]\nwithin_hours = 24\noff_permille = 950"),
        ("shop.name_of_shop", "[shop]\nname_of_shop = 'x'"),
        ("server.listen", "[server]\nlisten = '8080'"),
        ("server.workers", "[server]\nworkers = 0"),
        ("server.workers", "[server]\nworkers = 65"),
        ("server.secure_cookies", "[server]\nsecure_cookies = 'yes'"),
        ("customer_page.language", "[customer_page]\nlanguage = 'fr'"),
        ("customer_page.cache_seconds", "[customer_page]\ncache_seconds = 121"),
        ("customer_page.requests_a_minute", "[customer_page]\nrequests_a_minute = 0"),
        ("following.streams", "[following]\nstreams = 901"),
        ("following.streams_per_client", "[following]\nstreams_per_client = -1"),
        ("following.stalled_seconds", "[following]\nstalled_seconds = 0"),
        ("following.snapshot_seconds", "[following]\nsnapshot_seconds = 51"),
        ("customer_page.trusted_proxy_header", "[customer_page]\ntrusted_proxy_header = 'x forwarded'"),
        ("database.path_or_url", "[database]\npath_or_url = ' '"),
        ("database.readers", "[database]\nreaders = 65"),
        ("log.level", "[log]\nlevel = 'loud'"),
        ("log.format", "[log]\nformat = 'xml'"),
        ("shop", "shop = 1"),
        ("prices", "[prices]\na = 1"),
        ("printers", "[printers]\nname = 'counter'"),
    ];
    for (key, text) in rows {
        let problems = read_alone(text).map(|s| words(&s)).unwrap_err();
        assert_eq!(problems.len(), 1, "{text}: {problems:?}");
        assert!(
            problems[0].starts_with(&format!("{key} ")) || problems[0].starts_with(&format!("{key}:")),
            "{problems:?}"
        );
    }
    let problems = read_alone("[shop]\nreversal_minutes = 300").map(|s| words(&s)).unwrap_err();
    assert_eq!(problems, ["shop.reversal_minutes = 300: must be a whole number from 0 to 240"]);
}

#[test]
fn codes_are_chosen_and_all_that_is_wrong_is_told() {
    let codes = |text: &str| read_alone(&format!("[shop.codes]\n{text}")).map(|s| s.shop.codes);
    assert_eq!(read_alone("").unwrap().shop.codes, Codes::default());
    // Said aloud, the lines of the example that begin with `#` and a key are what a shop with prices in its linear code gets anyway.
    let lines = EXAMPLE.split("\n[shop.codes]\n").nth(1).and_then(|after| after.split("\n\n").next()).unwrap();
    let said: Vec<&str> =
        lines.lines().filter_map(|line| line.strip_prefix('#')).filter(|l| !l.starts_with(' ')).collect();
    assert_eq!(said.len(), 3, "{said:?}");
    let aloud = codes(&format!("{}\nlinear = 'price'", said.join("\n"))).unwrap();
    assert_eq!(aloud.gs1_prefix.as_deref(), Some("0614141"));
    assert_eq!(aloud.linear, codes("linear = 'price'").unwrap().linear);
    let weight = codes("linear = 'weight'").unwrap().linear.unwrap();
    assert_eq!((weight.layout.as_str(), weight.decimals), ("29IIIIVWWWWWC", 3));
    let own = codes("linear = 'price'\nlinear_layout = '2IIIIIVPPPPC'\nlinear_decimals = 0").unwrap().linear.unwrap();
    assert_eq!((own.layout.as_str(), own.decimals), ("2IIIIIVPPPPC", 0));
    let wrong =
        "gs1_prefix = '061414x'\nlinear = 'both'\nlinear_layout = '3PPPPPIIIIIC'\nlinear_decimals = 5\nnobody = 1";
    let problems = codes(wrong).unwrap_err();
    let keys = ["gs1_prefix", "linear", "linear_layout", "linear_decimals", "nobody"];
    assert_eq!(problems.len(), keys.len(), "{problems:#?}");
    for (key, problem) in keys.iter().zip(&problems) {
        assert!(problem.starts_with(&format!("shop.codes.{key}")), "{key}: {problem}");
    }
    for alone in [
        "gs1_prefix = '061'",
        "gs1_prefix = '061414112345'",
        "gs1_prefix = '2012345'",
        "gs1_prefix = '0212345'",
        "gs1_prefix = 614141",
        "linear = 'weight'\nlinear_layout = '29IIIIVPPPPPC'",
    ] {
        assert_eq!(codes(alone).map(|_| ()).unwrap_err().len(), 1, "{alone}");
    }
    assert!(read_alone("[shop]\ncodes = 'price'").is_err());
}

#[test]
fn bounds_are_inside() {
    for text in [
        "reversal_minutes = 0",
        "reversal_minutes = 240",
        "drip_permille = 0",
        "drip_permille = 100",
        "bench_scale_g = 1",
        "receiving_scale_g = 500",
        "ladder = []",
    ] {
        assert!(read_alone(&format!("[shop]\n{text}")).is_ok(), "{text}");
    }
    let wide = read_alone("[server]\nworkers = 64\n[database]\nreaders = 1").unwrap();
    assert_eq!((wide.workers, wide.readers), (64, 1));
}

#[test]
fn everything_wrong_is_said_at_once() {
    let text = "colour = 1\n[shop]\ncurrency = 'eur'\nbench = 2\n[server]\nworkers = 0\n[log]\nformat = 'xml'";
    let sources = Sources { listen: Some("here".into()), ..Sources::default() };
    assert_eq!(read(text, &sources, &|_| None).map(|s| words(&s)).unwrap_err().len(), 6);
    assert_eq!(read_alone("[shop").map(|s| words(&s)).unwrap_err().len(), 1);
}

#[test]
fn the_command_line_wins_over_the_environment_and_it_over_the_file() {
    let text = "[server]\nlisten = '127.0.0.1:1'\n[database]\npath_or_url = 'file.db'\n[log]\nformat = 'json'";
    let environment = |name: &str| match name {
        "SAKUDANA_LISTEN" => Some("127.0.0.1:2".to_owned()),
        "SAKUDANA_DATABASE" => Some("environment.db".to_owned()),
        "SAKUDANA_LOG" => Some("warn,sakudana::web=debug".to_owned()),
        _ => None,
    };
    let sources = Sources { listen: Some("127.0.0.1:3".into()), ..Sources::default() };
    let settings = read(text, &sources, &environment).unwrap();
    assert_eq!((settings.listen.as_str(), settings.database.as_str()), ("127.0.0.1:3", "environment.db"));
    assert_eq!((settings.log.level.as_str(), settings.log.format), ("warn,sakudana::web=debug", LogFormat::Json));
    assert_eq!(read_alone(text).unwrap().database, "file.db");
    let wrong = |name: &str| (name == "SAKUDANA_LOG").then(|| "loud".to_owned());
    let problems = read("", &Sources::default(), &wrong).map(|s| words(&s)).unwrap_err();
    assert!(problems[0].starts_with("SAKUDANA_LOG = \"loud\": must be "), "{problems:?}");
}
