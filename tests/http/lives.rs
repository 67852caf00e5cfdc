//! Remaining life and its story as they are told over HTTP, against amounts reckoned here by hand. Where nothing is measured every hour
//! counts at the upper limit of its place.

use serde_json::{Value, json};

use sakudana::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use sakudana::web::clock;

use crate::setting::{Shop, act, arrival, text};

/// What an hour costs at 2 °C, (1 + 0.1 T)^2 (Olley & Ratkowsky 1973; FAO Fisheries Technical Paper 348 Eq. 6.b; the coefficients are from
/// memory, and so is that it is the faster of both models here), in ice minutes.
const AT_2: f64 = 60.0 * 1.44;
/// The same at 15 °C, the upper limit of the bench.
const AT_15: f64 = 60.0 * 6.25;

pub fn are_told(shop: &Shop) {
    a_whole_fish_that_stood_two_hours(shop);
    a_block_takes_over_what_its_fish_lived_through(shop);
    a_tub_takes_over_by_pouring(shop);
    a_frozen_tray_stands_still(shop);
    a_lot_that_needs_freezing(shop);
    a_stretch_of_a_place(shop);
    a_case_that_was_measured(shop);
    the_rules_in_force(shop);
    what_cannot_be_asked(shop);
}

fn get(shop: &Shop, path: &str) -> Value {
    shop.reader.get(path).send().expect(200).json()
}

fn hours_ago(hours: i64) -> String {
    clock::now().plus_micros(-hours * MICROS_PER_HOUR).to_string()
}

/// Receives a fish that came hours ago; gives the lot code and the code of its tray.
fn came(shop: &Shop, species: &str, hours: i64) -> (String, String) {
    let mut body = arrival();
    body["received_at"] = json!(hours_ago(hours));
    body["species_code"] = json!(species);
    let made = act(&shop.cutter, "/v1/lots", &body).expect(201).json();
    (text(&made["lot"]["lot_code"]), text(&made["tray_code"]))
}

/// A number of minutes as expected, rounded up, with what passes while a test runs.
#[track_caller]
fn near(found: &Value, expected: f64) {
    let found = found.as_f64().unwrap_or_else(|| panic!("{found} is no number"));
    assert!(found >= expected && found <= expected + 10.0, "{found} against {expected}");
}

fn instant(value: &Value) -> Instant {
    Instant::parse(&text(value)).unwrap()
}

fn a_whole_fish_that_stood_two_hours(shop: &Shop) {
    let (lot, fish) = came(shop, "YFT", 2);
    let life = get(shop, &format!("/v1/trays/{fish}/life"));
    near(&life["lived"]["raw_ice_minutes"], 2.0 * AT_2);
    near(&life["lived"]["assumed_minutes"], 120.0);
    assert_eq!(life["lived"]["measured_minutes"], 0);
    assert_eq!(life["lived"]["exposed_minutes"], 0, "2 °C is cold");
    assert_eq!(life["budgets"]["raw_ice_minutes"], 96 * 60);
    assert_eq!((&life["limiting_clock"], &life["profile"]), (&json!("raw"), &json!("eu")));
    // 96 h at 0 °C are 66 h 40 min at 2 °C; two hours of them have gone.
    let left = (96.0 / 1.44 - 2.0) * 60.0;
    let told = life["minutes_left"].as_f64().unwrap();
    assert!(told <= left && told >= left - 10.0, "{told} against {left}");
    let span = instant(&life["ends_at"]).since(instant(&life["as_of"]));
    assert_eq!(span / MICROS_PER_MINUTE, life["minutes_left"].as_i64().unwrap());
    assert_eq!((&life["use_by"], &life["sell_until"]), (&Value::Null, &life["ends_at"]), "no label was issued");
    let clocks = life["clocks"].as_array().unwrap();
    let named: Vec<&str> = clocks.iter().map(|c| c["clock"].as_str().unwrap()).collect();
    assert_eq!(named, ["raw", "exposure"], "a whole fish shows no colour, was never cut and never frozen");
    assert_eq!(clocks[0]["used_permille"], 31, "2 h of 66 h 40 min, rounded up");
    assert_eq!(life["projection"]["because"], "no_sensor");
    assert_eq!(life["projection"]["temperature_mc"], 2_000);
    assert_eq!(life["warnings"][0]["name"], "mostly_assumed");
    // The one looser setting of this shop, with its ground, shows wherever it is in force.
    let looser = json!([{"name": "cold_limit_mc", "value": "5000", "profile_value": "2000", "validated": "the test's own ground"}]);
    assert_eq!(life["validated"], looser);
    assert_eq!(life["warnings"][1]["name"], "validated_by_shop");
    assert_eq!(get(shop, "/v1/profile")["own_settings"], looser);

    let story = get(shop, &format!("/v1/trays/{fish}/temperatures"));
    assert_eq!(story["taken_over"], json!([]));
    let stay = &story["stays"][0];
    assert_eq!(
        (&stay["place_code"], &stay["place_name"], &stay["method"]),
        (&json!("cold-room"), &json!("Cold room"), &json!("chill"))
    );
    near(&stay["cost"]["raw_ice_minutes"], 2.0 * AT_2);
    let points: Vec<(i64, bool)> = stay["curve"]["points"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| (p["temperature_mc"].as_i64().unwrap(), p["measured"].as_bool().unwrap()))
        .collect();
    assert_eq!(points, [(2_000, false), (2_000, false)]);
    assert_eq!(stay["curve"]["gaps"][0]["from"], stay["from"]);
    assert_eq!(stay["curve"]["points_left_out"], 0);
    let hours = story["hours"].as_array().unwrap();
    assert!((3..=4).contains(&hours.len()), "two hours touch three or four of the clock: {hours:?}");
    near(&json!(hours.iter().map(|h| h["raw_ice_seconds"].as_f64().unwrap()).sum::<f64>() / 60.0), 2.0 * AT_2);
    assert_eq!(hours[1]["raw_ice_seconds"], 5_184, "a whole hour at 2 °C");
    assert_eq!(hours[1]["assumed_seconds"], 3_600);

    let told = get(shop, &format!("/v1/lots/{lot}/life"));
    assert_eq!((&told["parasites"], &told["first_to_end"]), (&json!("not_needed"), &json!(fish)));
    assert_eq!(told["trays"][0]["limiting_clock"], "raw");
    near(&told["trays"][0]["minutes_left"], told["trays"][0]["minutes_left"].as_f64().unwrap().min(left));
}

/// 100 minutes in the cold room, then the shop's 20 on the bench, whose upper limit is 15 °C.
fn a_block_takes_over_what_its_fish_lived_through(shop: &Shop) {
    let (lot, fish) = came(shop, "YFT", 2);
    let blocks = shop.cut(&fish, 31_400, &[("lean-saku", "cold-room", 280), ("day-saku", "front-case", 260)]);
    let spent = 100.0 / 60.0 * AT_2 + 20.0 / 60.0 * AT_15;
    let story = get(shop, &format!("/v1/trays/{}/temperatures", blocks[0]));
    let taken = &story["taken_over"][0];
    assert_eq!((&taken["how"], &taken["from_tray_codes"]), (&json!("cut"), &json!([fish])));
    near(&taken["added"]["raw_ice_minutes"], spent);
    near(&taken["added"]["exposed_minutes"], 20.0);
    let life = get(shop, &format!("/v1/trays/{}/life", blocks[0]));
    near(&life["lived"]["raw_ice_minutes"], spent);
    near(&life["lived"]["exposed_minutes"], 20.0);
    let named: Vec<&str> = life["clocks"].as_array().unwrap().iter().map(|c| c["clock"].as_str().unwrap()).collect();
    assert_eq!(named, ["raw", "colour", "exposure"]);
    // Of a budget of 5 h the same share is gone as of 96 h, and no less time than that.
    let short = get(shop, &format!("/v1/trays/{}/life", blocks[1]));
    assert_eq!(short["budgets"]["raw_ice_minutes"], 300);
    near(&short["lived"]["raw_ice_minutes"], 300.0 * spent / 5_760.0);

    let gone = get(shop, &format!("/v1/trays/{fish}/life"));
    near(&gone["lived"]["raw_ice_minutes"], spent);
    assert_eq!(gone["place_code"], "bench", "its life ended where it was cut");
    let told = get(shop, &format!("/v1/trays/{fish}/temperatures"));
    let places: Vec<&str> =
        told["stays"].as_array().unwrap().iter().map(|s| s["place_code"].as_str().unwrap()).collect();
    assert_eq!(places, ["cold-room", "bench"]);
    near(&told["stays"][1]["cost"]["raw_ice_minutes"], 20.0 / 60.0 * AT_15);
    assert_eq!(told["as_of"], gone["as_of"]);

    let lot = get(shop, &format!("/v1/lots/{lot}/life"));
    assert_eq!(lot["first_to_end"], json!(blocks[1]));
    let ends: Vec<Instant> = lot["trays"].as_array().unwrap().iter().map(|t| instant(&t["ends_at"])).collect();
    assert!(ends.len() == 2 && ends[0] <= ends[1], "{ends:?}");
}

fn a_tub_takes_over_by_pouring(shop: &Shop) {
    let ((_, young), (_, old)) = (came(shop, "YFT", 1), came(shop, "YFT", 8));
    let tub = shop.cut(&young, 31_400, &[("scrape", "cold-room", 400)]).remove(0);
    let source = shop.cut(&old, 31_400, &[("scrape", "cold-room", 300)]).remove(0);
    let before = get(shop, &format!("/v1/trays/{tub}/life"))["lived"]["raw_ice_minutes"].as_f64().unwrap();
    let worse = get(shop, &format!("/v1/trays/{source}/life"))["lived"]["raw_ice_minutes"].as_f64().unwrap();
    act(&shop.cutter, &format!("/v1/trays/{tub}/top-ups"), &json!({"source_tray_code": source})).expect(201);
    let life = get(shop, &format!("/v1/trays/{tub}/life"));
    near(&life["lived"]["raw_ice_minutes"], worse);
    let story = get(shop, &format!("/v1/trays/{tub}/temperatures"));
    let taken = story["taken_over"].as_array().unwrap();
    assert_eq!((taken.len(), &taken[1]["how"], &taken[1]["from_tray_codes"]), (2, &json!("poured"), &json!([source])));
    near(&json!(taken[1]["added"]["raw_ice_minutes"].as_f64().unwrap() + 4.0), worse - before);
    let all: f64 = taken
        .iter()
        .map(|t| &t["added"])
        .chain(story["stays"].as_array().unwrap().iter().map(|s| &s["cost"]))
        .map(|w| w["raw_ice_minutes"].as_f64().unwrap())
        .sum();
    let lived = life["lived"]["raw_ice_minutes"].as_f64().unwrap();
    assert!((all - lived).abs() <= 4.0, "{all} against {lived}: each part is rounded up");
}

fn a_frozen_tray_stands_still(shop: &Shop) {
    let (_, fish) = came(shop, "YFT", 1);
    let block = shop.cut(&fish, 31_400, &[("lean-saku", "cold-room", 280)]).remove(0);
    act(&shop.cutter, &format!("/v1/trays/{block}/freezes"), &json!({"place_code": "freezer"})).expect(201);
    let life = get(shop, &format!("/v1/trays/{block}/life"));
    assert_eq!(life["sell_until"], Value::Null);
    let ends = |clock: &str| {
        life["clocks"].as_array().unwrap().iter().find(|c| c["clock"] == clock).map(|c| c["ends_at"].clone())
    };
    assert_eq!(ends("raw"), Some(Value::Null), "freezing stops it");
    assert!(ends("frozen").is_some_and(|end| end.is_string()), "frozen storage runs");
    let story = get(shop, &format!("/v1/trays/{block}/temperatures"));
    assert_eq!(story["stays"][1]["method"], "frozen");
    assert_eq!(story["stays"][1]["cost"]["raw_ice_minutes"], 0);
}

fn a_lot_that_needs_freezing(shop: &Shop) {
    let (lot, _) = came(shop, "SAL", 1);
    assert_eq!(get(shop, &format!("/v1/lots/{lot}/life"))["parasites"], "missing");
    let mut body = arrival();
    body["species_code"] = json!("SAL");
    body["parasite_letter"] = json!({"reference": "letter of 2026-01-02", "temperature_mc": -35_000, "hours": 15});
    let made = act(&shop.cutter, "/v1/lots", &body).expect(201).json();
    let lot = text(&made["lot"]["lot_code"]);
    assert_eq!(get(shop, &format!("/v1/lots/{lot}/life"))["parasites"], "on_record");
}

fn a_stretch_of_a_place(shop: &Shop) {
    let (_, fish) = came(shop, "YFT", 30);
    let told = get(shop, "/v1/places/cold-room/life");
    near(&told["wear"]["raw_ice_minutes"], 48.0 * AT_2);
    assert_eq!(told["wear"]["measured_minutes"], 0);
    assert_eq!(told["last_reading"], Value::Null);
    assert_eq!(told["warm_spells"], json!([]));
    assert_eq!(told["curve"]["gaps"].as_array().map(Vec::len), Some(1), "all of it is assumed");
    let line =
        |told: &Value| told["trays"].as_array().unwrap().iter().find(|t| t["tray_code"] == fish.as_str()).cloned();
    let cost = line(&told).expect("the fish stood there");
    near(&cost["cost"]["raw_ice_minutes"], 30.0 * AT_2);
    assert_eq!(cost["raw_permille"], 451, "30 h of 66 h 40 min, rounded up");
    let (from, to) = (hours_ago(40), hours_ago(29));
    let told = get(shop, &format!("/v1/places/cold-room/life?from={from}&to={to}"));
    near(&told["wear"]["raw_ice_minutes"], 11.0 * AT_2);
    near(&line(&told).expect("one hour of it")["cost"]["raw_ice_minutes"], AT_2);
    assert_eq!(
        line(&told).map(|t| t["from"].clone()),
        Some(get(shop, &format!("/v1/trays/{fish}/temperatures"))["stays"][0]["from"].clone())
    );
    act(&shop.cutter, &format!("/v1/trays/{fish}/moves"), &json!({"place_code": "front-case"})).expect(201);
    let cost = line(&get(shop, "/v1/places/cold-room/life")).expect("it was there for most of the time");
    assert_eq!(cost["place_code"], "front-case", "and stands elsewhere now");
}

/// 1 °C for an hour and a half, up to 5 °C within half an hour and down again, 1 °C for an hour, and then nothing for the last hour.
fn a_case_that_was_measured(shop: &Shop) {
    let place = json!({"name": "Glass case", "method": "chill", "set_point_mc": 500, "upper_limit_mc": 2_000, "expects_readings": true});
    shop.manager.put("/v1/places/glass-case").header("If-None-Match", "*").json(&place).send().expect(201);
    let now = clock::now();
    let before = |minutes: i64| now.plus_micros(-minutes * MICROS_PER_MINUTE).to_string();
    let curve = [(270, 1.0), (240, 1.0), (210, 1.0), (180, 1.0), (150, 5.0), (120, 1.0), (90, 1.0), (60, 1.0)];
    let readings: Vec<Value> =
        curve.iter().map(|(at, celsius)| json!({"at": before(*at), "celsius": celsius})).collect();
    let taken = shop
        .logger
        .post("/v1/places/glass-case/readings")
        .json(&json!({"readings": readings}))
        .send()
        .expect(200)
        .json();
    assert_eq!(taken["accepted"], 8);
    let mut body = arrival();
    body["received_at"] = json!(before(240));
    body["place_code"] = json!("glass-case");
    let fish = text(&act(&shop.cutter, "/v1/lots", &body).expect(201).json()["tray_code"]);

    // The mean of (1 + 0.1 T)^2 over a line from 1 to 5 °C is (1.1^2 + 1.1 * 1.5 + 1.5^2) / 3, by hand.
    let ramps = 60.0 * (1.21 + 1.65 + 2.25) / 3.0;
    let spent = 120.0 * 1.21 + ramps + AT_2;
    let life = get(shop, &format!("/v1/trays/{fish}/life"));
    near(&life["lived"]["raw_ice_minutes"], spent);
    assert_eq!(life["lived"]["measured_minutes"], 180);
    near(&life["lived"]["assumed_minutes"], 60.0);
    // Above 4.444 °C for (5 - 4.444) / 4 of half an hour, twice: 8.34 minutes.
    assert_eq!(life["lived"]["exposed_minutes"], 9);
    assert_eq!(life["projection"]["because"], "upper_limit", "a passing spell is not projected");
    let warnings: Vec<&str> =
        life["warnings"].as_array().unwrap().iter().map(|w| w["name"].as_str().unwrap()).collect();
    assert_eq!(warnings, ["validated_by_shop"], "and not that most of it was assumed");

    let told = get(shop, "/v1/places/glass-case/life");
    let spells = told["warm_spells"].as_array().unwrap();
    assert_eq!((spells.len(), &spells[0]["peak_mc"], &spells[0]["too_long"]), (1, &json!(5_000), &json!(true)));
    let warm = instant(&spells[0]["to"]).since(instant(&spells[0]["from"]));
    assert_eq!(warm / MICROS_PER_MINUTE, 45, "from 2 °C to 5 and back");
    let gaps: Vec<i64> =
        told["curve"]["gaps"].as_array().unwrap().iter().map(|g| g["counted_mc"].as_i64().unwrap()).collect();
    assert_eq!(gaps, [2_000, 2_000], "before the first reading and after the last");
    assert_eq!(told["last_reading"]["temperature_mc"], 1_000);
    let line =
        told["trays"].as_array().unwrap().iter().find(|t| t["tray_code"] == fish.as_str()).expect("it stands there");
    near(&line["cost"]["raw_ice_minutes"], spent);
    let story = get(shop, &format!("/v1/trays/{fish}/temperatures"));
    let points = story["stays"][0]["curve"]["points"].as_array().unwrap();
    assert_eq!(points.iter().filter(|p| p["measured"] == true).count(), 7, "from where it came to the last reading");
    assert_eq!(points.iter().map(|p| p["temperature_mc"].as_i64().unwrap()).max(), Some(5_000));
}

fn the_rules_in_force(shop: &Shop) {
    let rules = get(shop, "/v1/profile");
    assert_eq!((&rules["profile"], &rules["validated"]), (&json!("eu"), &json!(1)));
    let constant = |name: &str| {
        rules["constants"].as_array().unwrap().iter().find(|c| c["name"] == name).map(|c| text(&c["value"]))
    };
    // FDA guidance ch. 7, 4th ed. (memory, high): 8 h without heat.
    assert_eq!(constant("exposure_minutes").as_deref(), Some("480"));
    let budget = |form: &str| {
        rules["budgets"]
            .as_array()
            .unwrap()
            .iter()
            .find(|b| b["species_group"] == "tuna" && b["form"] == form)
            .cloned()
            .unwrap()
    };
    // Agustini (yellowfin, K value, J. Coastal Development): 4 days at 0 °C; Liu, Wang & Luo 2010: slices 4 h on ice.
    assert_eq!(
        (&budget("block")["raw_ice_minutes"], &budget("slices")["raw_ice_minutes"]),
        (&json!(5_760), &json!(240))
    );
    // Reg. (EU) 1276/2011 amending Reg. (EC) 853/2004 Annex III s. VIII ch. III D: all parts at -20 °C for 24 h.
    let freezing = &rules["parasite_freezing"][0];
    assert_eq!((&freezing["hold_at_mc"], &freezing["hold_hours"]), (&json!(-20_000), &json!(24)));
}

fn what_cannot_be_asked(shop: &Shop) {
    let (lot, fish) = came(shop, "YFT", 1);
    let now = clock::now();
    let day = 24 * MICROS_PER_HOUR;
    let ago = |days: i64| now.plus_micros(-days * day);
    for (path, status, code) in [
        ("/v1/trays/CCCCCCC/life".to_owned(), 422, "wrong_check_character"),
        (format!("/v1/trays/{lot}/life"), 422, "not_a_code"),
        (format!("/v1/lots/{fish}/life"), 404, "not_found"),
        ("/v1/places/nowhere/life".to_owned(), 404, "not_found"),
        (format!("/v1/trays/{fish}/temperatures?from=yesterday"), 422, "invalid_value"),
        (format!("/v1/trays/{fish}/temperatures?to=2026-01-01T00:00:00Z"), 400, "malformed_request"),
        ("/v1/places/cold-room/life?from=2026-01-01".to_owned(), 422, "invalid_value"),
        (format!("/v1/places/cold-room/life?from={}&to={}", ago(1), ago(2)), 422, "invalid_value"),
        (format!("/v1/places/cold-room/life?from={}&to={}", ago(-1), ago(-2)), 422, "invalid_value"),
        (format!("/v1/places/cold-room/life?from={}", ago(32)), 422, "invalid_value"),
    ] {
        let problem = shop.reader.get(&path).send().expect(status).json();
        assert_eq!(problem["code"], code, "{path}: {problem}");
    }
    // Nothing is told of what lies ahead, and hours before it came are none.
    let ahead = get(shop, &format!("/v1/places/cold-room/life?to={}", ago(-3)));
    assert!(instant(&ahead["to"]) <= clock::now());
    let hours = |from: Instant| {
        get(shop, &format!("/v1/trays/{fish}/temperatures?from={from}"))["hours"].as_array().map(Vec::len)
    };
    assert_eq!((hours(ago(30)), hours(ago(-1))), (Some(0), Some(0)));
    assert!(hours(ago(5)).is_some_and(|count| count >= 2));
}
