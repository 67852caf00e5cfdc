//! Before the first day of the demo: the people with fresh passwords, the catalogue, and what each case should hold. The days themselves are `replay`'s.

use super::contradiction::Contradiction;
use super::files::{Files, Line};
use super::rows::{CasePlanRow, CutRow, PersonRow, PlaceRow, SpeciesRow, SupplierRow, YesNo};
use crate::cli::clock::random32;
use crate::cli::stop::Stop;
use crate::domain::catalogue::{CutDraft, SpeciesDraft, SupplierDraft};
use crate::domain::language::Language;
use crate::domain::permissions::Role;
use crate::domain::picking::plan::PlanLine;
use crate::domain::place::PlaceDraft;
use crate::domain::refusal::Refusal;
use crate::domain::shop::Shop;
use crate::ops::access::{self, NewPerson};
use crate::ops::case_plan;
use crate::ops::desk::{Actor, Desk};
use crate::ops::edit_catalogue::{Expected, put_cut, put_place, put_species, put_supplier};
use crate::ops::failure::Failure;
use crate::ops::secret::first_password;
use crate::store::Tx;
use crate::units::instant::Instant;
use std::collections::BTreeMap;

/// A person of the demo with the password that was made for them.
#[derive(Debug, Clone)]
pub struct SignIn {
    pub actor: Actor,
    pub password: String,
}

/// Who stands in the record for what was there before anybody.
fn founder() -> Actor {
    Actor { name: "demo".to_owned(), role: Role::Manager }
}

/// Creates the people.
pub fn people(desk: &Desk, files: &Files, at: Instant, wrong: &mut Vec<Contradiction>) -> Result<Vec<SignIn>, Stop> {
    let mut sign_ins = Vec::new();
    let mut checked = Vec::new();
    for line in files.people.rows::<PersonRow>(wrong) {
        let password = first_password(&random32()?);
        match (NewPerson::check(&line.row.name, &line.row.role, &password), Role::parse(&line.row.role)) {
            (Ok(new), Some(role)) => {
                sign_ins.push(SignIn { actor: Actor { name: line.row.name.clone(), role }, password });
                checked.push((line, new));
            }
            (Ok(_), None) => wrong.push(line.contradiction("there is no such role")),
            (Err(refusal), _) => wrong.push(line.contradiction(refusal)),
        }
    }
    let refused = desk.act(move |tx, _| {
        refusals(
            &checked,
            |(_, new)| access::create_person(tx, &founder(), at, new).map(drop),
            |(line, _), why| line.contradiction(why),
        )
    })?;
    wrong.extend(refused);
    Ok(sign_ins)
}

/// Does every row; a refusal is noted, a failing database ends it.
fn refusals<T>(
    rows: &[T],
    mut act: impl FnMut(&T) -> Result<(), Failure>,
    name: impl Fn(&T, &str) -> Contradiction,
) -> Result<Vec<Contradiction>, Failure> {
    let mut refused = Vec::new();
    for row in rows {
        match act(row) {
            Ok(()) => {}
            Err(Failure::Refused(refusal)) => refused.push(name(row, &refusal.to_string())),
            Err(stopped) => return Err(stopped),
        }
    }
    Ok(refused)
}

/// Creates species, suppliers, cuts and places.
pub fn catalogue(desk: &Desk, files: &Files, at: Instant, wrong: &mut Vec<Contradiction>) -> Result<(), Stop> {
    let species: Vec<Line<SpeciesRow>> = files.species.rows(wrong);
    let suppliers: Vec<Line<SupplierRow>> = files.suppliers.rows(wrong);
    let cuts: Vec<Line<CutRow>> = files.cuts.rows(wrong);
    let places: Vec<Line<PlaceRow>> = files.places.rows(wrong);
    let refused = desk.act(move |tx, shop: &Shop| {
        let mut refused =
            refusals(&species, |line| add_species(tx, shop, at, &line.row), |line, why| line.contradiction(why))?;
        refused.extend(refusals(&suppliers, |l| add_supplier(tx, at, &l.row), |l, why| l.contradiction(why))?);
        refused.extend(refusals(&cuts, |l| add_cut(tx, at, &l.row), |l, why| l.contradiction(why))?);
        refused.extend(refusals(&places, |l| add_place(tx, shop, at, &l.row), |l, why| l.contradiction(why))?);
        Ok(refused)
    })?;
    wrong.extend(refused);
    Ok(())
}

/// Plans every case that has rows. A plan is one act, so a refusal is laid to the row it names.
pub fn case_plans(desk: &Desk, files: &Files, at: Instant, wrong: &mut Vec<Contradiction>) -> Result<(), Stop> {
    let mut plans: BTreeMap<String, Vec<Line<CasePlanRow>>> = BTreeMap::new();
    for line in files.case_plans.rows::<CasePlanRow>(wrong) {
        plans.entry(line.row.place.clone()).or_default().push(line);
    }
    let refused = desk.act(move |tx, _| {
        let mut refused = Vec::new();
        for (place, rows) in &plans {
            let line = |line: &Line<CasePlanRow>| PlanLine { cut: line.row.cut.clone(), trays: line.row.trays };
            let lines: Vec<PlanLine> = rows.iter().map(line).collect();
            match case_plan::put(tx, &founder(), at, place, &lines, Expected::New) {
                Ok(_) => {}
                Err(Failure::Refused(refusal)) => {
                    refused.extend(at_fault(rows, &refusal).map(|row| row.contradiction(&refusal)));
                }
                Err(stopped) => return Err(stopped),
            }
        }
        Ok(refused)
    })?;
    wrong.extend(refused);
    Ok(())
}

/// The row whose number stands in the first field of a refusal (`lines/3/trays`), or else the first.
fn at_fault<'a>(rows: &'a [Line<CasePlanRow>], refusal: &Refusal) -> Option<&'a Line<CasePlanRow>> {
    let field = refusal.findings.first().and_then(|finding| finding.field.split('/').nth(1));
    field.and_then(|at| at.parse::<usize>().ok()).and_then(|at| rows.get(at)).or_else(|| rows.first())
}

fn in_japanese(name: Option<&String>) -> BTreeMap<Language, String> {
    name.map(|name| (Language::Japanese, name.clone())).into_iter().collect()
}

fn add_species(tx: &mut Tx<'_>, shop: &Shop, at: Instant, row: &SpeciesRow) -> Result<(), Failure> {
    let draft = SpeciesDraft {
        scientific_name: row.scientific_name.clone(),
        market_name: row.market_name.clone(),
        names: in_japanese(row.name_ja.as_ref()),
        group: row.group.clone(),
        parasite_rule: row.parasite_rule.clone(),
        parasite_note: row.parasite_note.clone(),
    };
    put_species(tx, shop, &founder(), at, &row.code, &draft, Expected::New).map(drop)
}

fn add_supplier(tx: &mut Tx<'_>, at: Instant, row: &SupplierRow) -> Result<(), Failure> {
    let draft = SupplierDraft { name: row.name.clone(), address: row.address.clone() };
    put_supplier(tx, &founder(), at, &row.code, &draft, Expected::New).map(drop)
}

fn add_cut(tx: &mut Tx<'_>, at: Instant, row: &CutRow) -> Result<(), Failure> {
    let draft = CutDraft {
        name: row.name.clone(),
        names: in_japanese(row.name_ja.as_ref()),
        kind: row.kind.clone(),
        form: row.form.clone(),
        price_per_kg_cents: row.price_per_kg_cents,
        raw_budget_hours: row.raw_budget_hours,
        raw_budget_validated: None,
        item_number: row.item_number,
        label_note: row.label_note.clone(),
    };
    put_cut(tx, &founder(), at, &row.code, &draft, Expected::New).map(drop)
}

fn add_place(tx: &mut Tx<'_>, shop: &Shop, at: Instant, row: &PlaceRow) -> Result<(), Failure> {
    let draft = PlaceDraft {
        name: row.name.clone(),
        method: row.method.clone(),
        set_point_mc: row.set_point_mc,
        upper_limit_mc: row.upper_limit_mc,
        expects_readings: Some(row.logger == YesNo::Yes),
        ..PlaceDraft::default()
    };
    put_place(tx, shop, &founder(), at, &row.code, &draft, Expected::New).map(drop)
}
