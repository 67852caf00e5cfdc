//! What each policy came to, as a table.

use crate::bound::clairvoyant;
use crate::counter::Books;
use crate::policies::{Policy, run};
use crate::world::Year;
use std::thread;

/// The half-year of all cuts under one policy.
pub struct Line {
    pub name: String,
    pub by_cut: Vec<Books>,
    pub all: Books,
}

impl Line {
    fn of(name: String, by_cut: Vec<Books>) -> Line {
        let mut all = Books::default();
        by_cut.iter().for_each(|books| all.add(books));
        Line { name, by_cut, all }
    }
}

/// All policies in one world, and what nobody can surpass there.
pub struct Season {
    pub by_cut: Vec<i64>,
    pub most: i64,
    pub lines: Vec<Line>,
}

impl Season {
    /// Runs every policy on the same trays and customers, and holds each, cut by cut, against the bound.
    pub fn of(years: &[Year], policies: Vec<Box<dyn Policy + Send + '_>>) -> Season {
        let by_cut: Vec<i64> = years.iter().map(clairvoyant).collect();
        let lines = thread::scope(|scope| {
            let runs: Vec<_> = policies
                .into_iter()
                .map(|mut policy| (policy.name(), scope.spawn(move || run(years, policy.as_mut()))))
                .collect();
            runs.into_iter().map(|(name, run)| Line::of(name, run.join().unwrap())).collect::<Vec<_>>()
        });
        for Line { name, by_cut: books, .. } in &lines {
            for ((books, most), year) in books.iter().zip(&by_cut).zip(years) {
                assert!(books.proceeds() <= *most, "{name}, {}: {books:?} is more than {most}", year.cut.name);
            }
        }
        Season { most: by_cut.iter().sum(), by_cut, lines }
    }

    pub fn books(&self, name: &str) -> &Books {
        &self.lines.iter().find(|line| line.name == name).unwrap_or_else(|| panic!("no policy {name}")).all
    }

    /// Several seasons as one.
    pub fn together(seasons: Vec<Season>) -> Season {
        let mut seasons = seasons.into_iter();
        let mut sum = seasons.next().unwrap();
        for season in seasons {
            sum.most += season.most;
            for (line, other) in sum.lines.iter_mut().zip(&season.lines) {
                line.all.add(&other.all);
                line.by_cut.iter_mut().zip(&other.by_cut).for_each(|(books, other)| books.add(other));
            }
            sum.by_cut.iter_mut().zip(&season.by_cut).for_each(|(most, other)| *most += other);
        }
        sum
    }

    /// Money in whole units, mass in kilograms.
    pub fn print(&self, title: &str) {
        println!("\n{title}");
        println!(
            "  {:<34}{:>10}{:>10}{:>8}{:>9}{:>9}{:>9}{:>7}",
            "policy", "brought", "profit", "bound", "sold", "kitchen", "waste", "waste"
        );
        let cost = self.lines[0].all.cost;
        let whole = |cents: i64| (cents + 50) / 100;
        println!("  {:<34}{:>10}{:>10}{:>8}", "clairvoyant bound", whole(self.most), whole(self.most - cost), "100 %");
        for Line { name, all, .. } in &self.lines {
            let kg = |grams: i64| format!("{:.1}", grams as f64 / 1_000.0);
            let share = |part: i64, of: i64| 100.0 * part as f64 / of as f64;
            println!(
                "  {name:<34}{:>10}{:>10}{:>6.1} %{:>9}{:>9}{:>9}{:>5.1} %",
                whole(all.proceeds()),
                whole(all.profit()),
                share(all.proceeds(), self.most),
                kg(all.sold_g),
                kg(all.kitchen_g),
                kg(all.wasted_g),
                share(all.wasted_g, all.supplied_g),
            );
            assert_eq!(all.left_g, 0, "the half-year ends with an empty counter");
        }
    }

    /// How far each cut is from its bound, under each policy in turn.
    pub fn print_cuts(&self, years: &[Year]) {
        println!("    % of its bound, cut by cut, policies in the order above");
        for (cut, year) in years.iter().enumerate() {
            let shares = self
                .lines
                .iter()
                .map(|line| format!("{:>7.1}", 100.0 * line.by_cut[cut].proceeds() as f64 / self.by_cut[cut] as f64));
            println!("    {:<18}{}", year.cut.name, shares.collect::<String>());
        }
    }
}
