//! What a place did and what a tray lived through, as the pages show it in a real browser: two days of a shop played through the acts, a
//! door that stood open, a logger that fell silent; alarms noted by a click; letters and targets large enough on a phone.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

mod counter;
mod support;

use counter::{PASSWORD, actor, add_manager, arrival, catalogue, shop};
use sakudana::domain::life::curve::Reading;
use sakudana::domain::logger::Line;
use sakudana::domain::place::PlaceDraft;
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::desk::Desk;
use sakudana::ops::edit_catalogue::{Expected, put_place};
use sakudana::ops::place_tray::{Way, take_to};
use sakudana::ops::press::Press;
use sakudana::ops::receive::receive;
use sakudana::ops::{label, story, stretch, take_readings, watch};
use sakudana::store::StoreOptions;
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE};
use sakudana::units::temperature::MilliCelsius;
use sakudana::web::clock;
use support::browser::Browser;
use support::server::Server;

/// A name that would break a page that forgot to write it as text.
const NASTY: &str = "<b>&\"ice\"";

/// Codes of the trays of the played days.
struct Played {
    now: Instant,
    stayed: String,
    moved: String,
    fish: String,
}

fn minutes(count: i64) -> i64 {
    count * MICROS_PER_MINUTE
}

/// Two days ending now: a fish comes 30 h ago, is cut 26 h ago, one block moves 10 h ago. The case reads every ten minutes; its door stands
/// open from 20 h to 18 h 30 min ago; its logger says nothing from 12 h to 8 h ago, and nothing any more since two hours.
fn play(database: &str) -> Played {
    let desk = Desk::open(&StoreOptions { database: database.into(), readers: 2 }, shop()).unwrap();
    let now = clock::now();
    let ago = move |count: i64| now.plus_micros(-minutes(count));
    catalogue(&desk, ago(3_000));
    desk.act(move |tx, shop| {
        let place = |name: &str, method: &str, set, limit| PlaceDraft {
            name: name.into(),
            method: method.into(),
            set_point_mc: set,
            upper_limit_mc: limit,
            expects_readings: Some(name == "Logged case"),
            ..PlaceDraft::default()
        };
        let begin = ago(3_000);
        put_place(tx, shop, &actor(), begin, "logged", &place("Logged case", "chill", 500, 2_000), Expected::New)?;
        put_place(tx, shop, &actor(), begin, "bench", &place("Bench", "ambient", 10_000, 10_000), Expected::New)?;
        put_place(tx, shop, &actor(), begin, "nasty", &place(NASTY, "chill", 0, 1_000), Expected::New)
    })
    .unwrap();
    let mut whole = arrival(Some(ago(1_800)));
    whole.place = "logged".into();
    let fish = desk.act(move |tx, shop| receive(tx, shop, &actor(), ago(1_800), &whole)).unwrap().tray.code.to_string();
    let cutting = Cutting {
        inputs: vec![InputDraft { tray: fish.clone(), grams: None }],
        outputs: [280, 300].map(|net_g| OutputDraft { cut: "lean-saku".into(), place: "logged".into(), net_g }).into(),
        losses: vec![LossDraft { name: "all the rest".into(), grams: 3_420 }],
        place: "bench".into(),
        bench_minutes: None,
        reason: None,
    };
    let made = desk.act(move |tx, shop| break_down(tx, shop, &actor(), ago(1_560), &cutting)).unwrap();
    let codes: Vec<String> = made.trays.iter().map(|tray| tray.code.to_string()).collect();
    let moved = codes[1].clone();
    desk.act(move |tx, shop| take_to(tx, shop, &actor(), ago(600), &moved, "nasty", Way::Move, None)).unwrap();
    read(&desk, now);
    let stayed = codes[0].clone();
    desk.act(move |tx, shop| label::issue(tx, shop, &Press::default(), &actor(), now, &stayed, None)).unwrap();
    desk.act(move |tx, shop| watch::go_round(tx, shop, now)).unwrap();
    drop(desk);
    add_manager(database, "Marta");
    Played { now, stayed: codes[0].clone(), moved: codes[1].clone(), fish }
}

/// What the logger of the case says.
fn read(desk: &Desk, now: Instant) {
    let said = (120..=2_880).step_by(10).filter(|ago| !(481..720).contains(ago));
    let lines: Vec<Line> = (1..)
        .zip(said)
        .map(|(number, ago)| {
            let warmth = if (1_110..=1_200).contains(&ago) { 6_000 } else { 800 + (ago / 10 % 5) * 100 };
            let reading = Reading { at: now.plus_micros(-minutes(ago)), temperature: MilliCelsius::clamped(warmth) };
            Line { number, found: Ok(reading) }
        })
        .collect();
    let delivery = desk.look(|reading, _| take_readings::begin(reading, "logged")).unwrap();
    let count = lines.len() as u64;
    let taken = desk.act(move |tx, shop| take_readings::take(tx, shop, &actor(), now, &delivery, &lines)).unwrap();
    assert_eq!(taken.tally.lines(), count);
    assert!(taken.follows.alarms_changed >= 1, "the door raised an alarm");
}

struct Visit {
    browser: Browser,
    server: Server,
    played: Played,
    _folder: tempfile::TempDir,
}

fn visit() -> Visit {
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("shop.db").to_str().unwrap().to_owned();
    let played = play(&database);
    let settings = folder.path().join("settings.toml");
    let text = "[shop]\nname = \"Test Counter\"\naddress = \"1 Quay\"\ntime_zone = \"Europe/Lisbon\"\nweb_address = \"https://counter.example\"\n";
    std::fs::write(&settings, text).unwrap();
    let server = Server::start_with(&["--settings", settings.to_str().unwrap()], &database, None);
    let browser = Browser::open();
    browser.goto(&server.url("/"));
    browser.type_keys("Marta");
    browser.click("#password", "");
    browser.type_keys(PASSWORD);
    browser.press_enter();
    browser.find("h1", "Board");
    Visit { browser, server, played, _folder: folder }
}

impl Visit {
    fn goto(&self, path: &str) {
        self.browser.goto(&self.server.url(path));
    }

    /// How many elements that can be seen match.
    fn seen(&self, css: &str) -> u64 {
        let script = format!(
            "return [...document.querySelectorAll({css:?})].filter(e => e.getClientRects().length > 0 && e.closest('svg') \
             ? e.closest('svg').getClientRects().length > 0 : e.getClientRects().length > 0).length"
        );
        self.browser.execute(&script).as_u64().unwrap()
    }

    /// Sizes in CSS pixels of the letters of all pictures that can be seen.
    fn letters(&self) -> Vec<f64> {
        let sizes = self.browser.execute(
            "return [...document.querySelectorAll('svg.plot')].filter(s => s.getClientRects().length > 0).flatMap(s => {
                const scale = s.getBoundingClientRect().width / s.viewBox.baseVal.width;
                return [...s.querySelectorAll('text')].map(t => parseFloat(getComputedStyle(t).fontSize) * scale);
            })",
        );
        sizes.as_array().unwrap().iter().map(|size| size.as_f64().unwrap()).collect()
    }
}

#[test]
fn a_place_shows_its_curve_and_what_it_did() {
    let v = visit();
    v.goto("/places");
    v.browser.find("ul.places li", "Logged case");
    v.browser.find("ul.places li", "No reading for 2 h");
    v.browser.find("ul.places li", NASTY);
    v.browser.click("ul.places a", "Logged case");
    v.browser.find("h1", "Logged case");
    v.browser.click("nav.spans a", "3 days");
    v.browser.find("nav.spans a[aria-current]", "3 days");
    assert_eq!(v.seen("svg.plot"), 1, "one of the two sizes");
    // Three stretches were not measured: before the logger began, when it was silent, and since two hours.
    assert_eq!(v.seen("svg.plot rect[fill='#EEE4CE']"), 3);
    assert_eq!(v.seen("svg.plot polyline[stroke='#8E1B12']"), 1, "the limit");
    assert_eq!(v.seen("svg.plot rect[fill='#B43A24']"), 1, "the alarm");
    let description = v.browser.execute("return document.querySelector('svg.plot desc').textContent");
    assert!(description.as_str().unwrap().contains("Measured: 0.8 °C to 6.0 °C."), "{description}");
    v.browser.find("section.card li", "up to 6.0 °C, too long");
    v.browser.find("section.card li", "for 4 h: counted at 2.0 °C");
    // 26 h of the block that stayed: 22 h at about 1 °C, with the open door and four plus two hours at the limit.
    v.browser.find("table tr", &v.played.stayed);
    v.browser.find("table tr", "now in nasty");
    v.browser.click("table a", &v.played.stayed);
    v.browser.find("h1", "Lean saku");
}

#[test]
fn an_alarm_is_noted_by_a_click_with_a_name() {
    let v = visit();
    v.browser.find("#alarms li", "Logged case: above 2.0 °C");
    v.browser.find("#alarms li", "Logged case: no reading for longer than 90 minutes");
    let first = v.browser.text("#alarms li strong");
    assert!(first.contains("above"), "the oldest stands first: {first}");
    v.browser.click("#alarms form input", "");
    v.browser.type_keys("door seal <replaced>");
    v.browser.click("#alarms form button", "Take note");
    v.browser.find("#alarms h2", "1 alarm");
    let all = v.browser.execute_async("fetch('/v1/alarms?state=all').then(a => a.json()).then(done)");
    let warm = all.as_array().unwrap().iter().find(|alarm| alarm["kind"] == "place_too_warm").unwrap();
    assert_eq!((&warm["acknowledged_by"], &warm["note"]), (&"Marta".into(), &"door seal <replaced>".into()));
    assert!(warm["cleared_at"].is_string(), "it is cold again, and someone knows");
    // Without a note, and an alarm whose cause goes on stays with the name of who knows.
    v.browser.click("#alarms form button", "Take note");
    v.browser.find("#alarms li.noted", "Marta took note on");
    assert_eq!(v.seen("#alarms form"), 0);
    // Pressed twice by two people: the second is shown who was first, not an error.
    let id = all.as_array().unwrap().iter().find(|alarm| alarm["kind"] == "place_silent").unwrap()["alarm_id"].clone();
    let again = v.browser.execute_async(&format!(
        "fetch('/alarms/{id}/note', {{method: 'POST', body: new URLSearchParams({{note: ''}})}}).then(a => done([a.status, a.redirected]))"
    ));
    assert_eq!(again, serde_json::json!([200, true]));
    let none = v.browser.execute_async(
        "fetch('/alarms/x/note', {method: 'POST', body: new URLSearchParams({note: ''})}).then(a => done(a.status))",
    );
    assert_eq!(none, 404);
}

#[test]
fn a_tray_tells_its_life() {
    let v = visit();
    v.goto(&format!("/trays/{}", v.played.moved));
    for clock in ["Raw eating", "Colour", "Time above the cold limit"] {
        v.browser.find("ul.clocks li", clock);
    }
    v.browser.find("ul.clocks li.limiting", "ends first");
    v.browser.find("section.card p", "Cut on");
    v.browser.find("section.card p a", &v.played.fish);
    v.browser.find("ol.stays li", "Logged case");
    v.browser.find("ol.stays li", NASTY);
    let words = v.browser.execute("return [...document.querySelectorAll('svg.plot.wide text, svg.plot.narrow text')].map(t => t.textContent.trim())");
    assert!(words.as_array().unwrap().iter().any(|word| word.as_str().unwrap().ends_with(NASTY)), "{words}");
    assert_eq!(v.browser.execute("return document.querySelectorAll('b').length"), 0, "a name is text");
    v.goto(&format!("/trays/{}", v.played.fish));
    v.browser.find("dd", "no longer in stock: broken_down");
    v.browser.find("ol.stays li", "Bench");
    v.goto("/trays/CCCCCCC");
    v.goto("/places/nowhere");
    assert!(v.browser.execute("return document.body.innerText").as_str().unwrap().contains("not_found"));
}

#[test]
fn rules_and_cautions_are_there_for_whom_they_concern() {
    let v = visit();
    v.browser.click("footer a", "All rules in use");
    v.browser.find("h1", "Rules in use: EU");
    v.browser.find("#own", "the profile is in use as it is");
    v.browser.find("table tr", "exposure_minutes");
    let anonymous = v.server.client();
    let cautions = anonymous.get("/cautions").send().expect(200).text();
    for said in [
        "Histamine",
        "never starts anew",
        "Do not freeze again",
        "the local food code",
        "Listeria",
        "No log, no extension",
    ] {
        assert!(cautions.contains(said), "{said} is missing");
    }
    assert_eq!(anonymous.get("/profile").send().status, 303);
    assert_eq!(anonymous.get("/places").send().status, 303);
}

/// WCAG 2.2: 1.4.10 reflow at 320 CSS pixels; 2.5.5 targets of 44 by 44. Letters of a picture are 11 pixels at 360 and wider.
#[test]
fn everything_can_be_read_and_touched_on_a_phone() {
    let v = visit();
    let trays = [&v.played.stayed, &v.played.moved, &v.played.fish].map(|code| format!("/trays/{code}"));
    let paths =
        ["/", "/places", "/places/logged?span=14d", "/places/nasty", "/places/freezer", "/profile", "/cautions"];
    for path in paths.into_iter().chain(trays.iter().map(String::as_str)) {
        for (width, height) in [(320, 640), (360, 740), (768, 1_024), (1_280, 800)] {
            v.browser.set_viewport(width, height);
            v.goto(path);
            let wide = v.browser.execute("return document.documentElement.scrollWidth").as_u64().unwrap();
            assert!(wide <= u64::from(width), "{path} is {wide} wide on {width}");
            let small = v.browser.execute(
                "return [...document.querySelectorAll('main button, main input, main a, header a, header button, footer a')]
                    .filter(e => e.offsetParent !== null && !e.closest('dl') && (e.offsetHeight < 44 || e.offsetWidth < 44 && !e.closest('footer')))
                    .map(e => e.outerHTML)",
            );
            assert_eq!(small.as_array().map(Vec::len), Some(0), "{path} at {width}: {small}");
            if width >= 360 {
                let smallest = v.letters().into_iter().fold(f64::INFINITY, f64::min);
                assert!(smallest >= 11.0, "{path} at {width}: {smallest} px");
            }
        }
    }
    assert!(v.browser.console().iter().all(|entry| entry.level != "SEVERE"), "{:?}", v.browser.console());
}

/// Whatever a story tells in parts sums to what the clocks are reckoned from.
#[test]
fn the_parts_of_a_story_sum_to_the_life() {
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("shop.db").to_str().unwrap().to_owned();
    let played = play(&database);
    let desk = Desk::open(&StoreOptions { database, readers: 1 }, shop()).unwrap();
    for code in [&played.stayed, &played.moved, &played.fish] {
        let (life, told) = desk
            .look(|reading, shop| {
                let life = story::tray_life(reading, shop, played.now, code)?;
                Ok((life, story::of_tray(reading, played.now, code, None)?))
            })
            .unwrap();
        let parts = told.taken_over.iter().map(|taken| taken.added).chain(told.stays.iter().map(|stay| stay.cost));
        let sum = parts.reduce(|sum, part| sum.plus(part)).unwrap();
        assert_eq!(sum, life.facts.life.wear, "{code}");
        let hours: i64 = told.hours.iter().map(|told| told.hour.raw_micros).sum();
        assert_eq!(hours, told.stays.iter().map(|stay| stay.cost.raw_micros).sum::<i64>(), "{code}");
    }
    // The block that stayed: what the stretch of its place cost it is the cost of its one stay there.
    let from = played.now.plus_micros(-minutes(2_000));
    let told = desk.look(|reading, _| stretch::of_place(reading, played.now, "logged", Some(from), None)).unwrap();
    let line = told.trays.iter().find(|line| line.tray_code == played.stayed).unwrap();
    let own = desk.look(|reading, _| story::of_tray(reading, played.now, &played.stayed, None)).unwrap();
    assert_eq!(line.cost, own.stays[0].cost);
    assert!(told.trays.iter().any(|line| line.tray_code == played.moved && line.place_code == "nasty"));
    assert!(!told.trays.iter().any(|line| line.tray_code == played.fish), "it is no longer in stock");
}

/// Pictures for whoever changes the look: written only when asked for.
#[test]
fn pictures_on_request() {
    let Ok(folder) = std::env::var("SAKUDANA_PICTURES") else { return };
    let v = visit();
    let tray = format!("/trays/{}", v.played.moved);
    let pages = [("board", "/"), ("places", "/places"), ("place", "/places/logged"), ("tray-story", tray.as_str())];
    for (name, path) in pages.into_iter().chain([("profile", "/profile"), ("cautions", "/cautions")]) {
        for width in [390, 1_200] {
            v.browser.set_viewport(width, 800);
            v.goto(path);
            let height = v.browser.execute("return document.documentElement.scrollHeight").as_u64().unwrap();
            v.browser.set_viewport(width, u32::try_from(height).unwrap().min(4_000));
            v.browser.screenshot(&std::path::Path::new(&folder).join(format!("{name}-{width}.png")));
        }
    }
}
