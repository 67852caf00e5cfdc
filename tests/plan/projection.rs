//! A stock by days in whole grams, and a shelf filled up every morning, whose exact long run is known.

use sakudana::domain::plan::{Day, Stock, project};

/// PROJ-1 (computed, exact).
#[test]
fn the_projection_is_exact() {
    let stock = [(600, 1), (900, 2), (400, 2), (1_500, 4)].map(|(grams, last_day)| Stock { grams, last_day });
    let days = project(&stock, &[500, 800, 700, 900]);
    let day = |sold, expired, lost, end| Day { sold, expired, lost, end };
    assert_eq!(days, [day(500, 100, 0, 2_800), day(800, 500, 0, 1_500), day(700, 0, 0, 800), day(800, 0, 100, 0)]);
}

/// Numbers that are always the same, and look like none.
fn dice(seed: u64) -> impl FnMut(i64) -> i64 {
    let mut state = seed;
    move |below| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        i64::try_from((state >> 33) % u64::try_from(below).unwrap()).unwrap()
    }
}

/// LED-9: nothing asked and nothing ending, the stock stays; and on every day what was there is sold, expired or still there.
#[test]
fn nothing_is_lost_in_a_projection() {
    let mut dice = dice(9);
    for _ in 0..500 {
        let stock: Vec<Stock> = (0..dice(6))
            .map(|_| Stock { grams: dice(2_000), last_day: usize::try_from(dice(6)).unwrap() + 1 })
            .collect();
        let total: i64 = stock.iter().map(|part| part.grams).sum();
        let lasting: Vec<Stock> = stock.iter().map(|part| Stock { last_day: 9, ..*part }).collect();
        assert!(project(&lasting, &[0; 5]).iter().all(|day| *day == Day { end: total, ..Day::default() }));
        let asked: Vec<i64> = (0..6).map(|_| dice(1_500)).collect();
        let mut there = total;
        for (day, asked) in project(&stock, &asked).iter().zip(&asked) {
            assert_eq!(day.sold + day.expired + day.end, there);
            assert_eq!(day.sold + day.lost, *asked);
            assert!(day.lost == 0 || day.end + day.expired == 0, "nobody goes away while something is there");
            there = day.end;
        }
        assert_eq!(there, 0, "all has ended by the sixth day");
    }
}

const MOST: usize = 60;

fn poisson(mean: f64) -> Vec<f64> {
    let mut shares = vec![(-mean).exp()];
    for k in 1..MOST {
        shares.push(shares[k - 1] * mean / k as f64);
    }
    shares
}

/// What is sold and expires a day in the long run: a chain over what is left of yesterday in the morning, by repeated steps.
fn long_run(target: i64, morning: impl Fn(i64, i64) -> Day) -> (f64, f64) {
    let shares = poisson(3.0);
    let states = usize::try_from(target).unwrap() + 1;
    let mut likely = vec![1.0 / states as f64; states];
    let (mut sold, mut expired) = (0.0, 0.0);
    for _ in 0..400 {
        let mut next = vec![0.0; states];
        (sold, expired) = (0.0, 0.0);
        for (old, weight) in likely.iter().enumerate() {
            for (asked, share) in shares.iter().enumerate() {
                let day = morning(i64::try_from(old).unwrap(), i64::try_from(asked).unwrap());
                sold += weight * share * day.sold as f64;
                expired += weight * share * day.expired as f64;
                next[usize::try_from(day.end).unwrap()] += weight * share;
            }
        }
        likely = next;
    }
    (sold / 3.0, expired)
}

/// PBS-3 to PBS-7 (computed, exact stationary chain): life of two days, filled up to S every morning, Poisson(3), who finds nothing goes
/// away. S, fill, outdated a day oldest first, newest first, and with a life of one day.
const SHELF: [(i64, f64, f64, f64, f64); 5] = [
    (3, 0.775_958, 0.065_939, 0.168_524, 0.672_125),
    (4, 0.893_548, 0.170_177, 0.439_968, 1.319_357),
    (5, 0.955_126, 0.344_551, 0.832_008, 2.134_621),
    (6, 0.983_099, 0.591_114, 1.299_068, 3.050_703),
    (7, 0.994_269, 0.902_612, 1.801_753, 4.017_194),
];

#[test]
fn a_shelf_filled_up_every_morning_wastes_what_the_chain_says() {
    for (target, fill, oldest, newest, one_day) in SHELF {
        let parts = |old: i64| [Stock { grams: old, last_day: 1 }, Stock { grams: target - old, last_day: 2 }];
        let ours = long_run(target, |old, asked| project(&parts(old), &[asked])[0]);
        let single = long_run(target, |_, asked| project(&[Stock { grams: target, last_day: 1 }], &[asked])[0]);
        // Ours sells the oldest first; the other order is the test's own, to see that it makes the difference that is published for it.
        let reversed = long_run(target, |old, asked| {
            let sold = asked.min(target);
            let new = (target - old - asked).max(0);
            Day { sold, expired: (target - sold) - new, lost: asked - sold, end: new }
        });
        for (found, wanted, what) in [
            (ours.0, fill, "fill"),
            (ours.1, oldest, "oldest first"),
            (reversed.0, fill, "fill, newest first"),
            (reversed.1, newest, "newest first"),
            (single.1, one_day, "one day"),
        ] {
            assert!((found - wanted).abs() <= 1e-6, "PBS-{target}, {what}: {found} is not {wanted}");
        }
    }
}
