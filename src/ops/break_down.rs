//! One cutting act: trays go in, trays come out, losses are named, the rest is explained. Life and dates are inherited from the most
//! consumed and the oldest input; cost is shared by sales value.

use super::bench::{self, OnBench};
use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::{budgets, cut_by_code, place_by_code, place_of, require_in_stock, require_no_hold};
use super::receive::next_tray_code;
use super::resolve::tray_by_scan;
use super::tray_ledger::{Movement, leave, spread};
use crate::domain::breakdown::{Balance, Weighing, balance};
use crate::domain::catalogue::Cut;
use crate::domain::cost::share_by_value;
use crate::domain::holding::{Holding, Pool};
use crate::domain::ledger::Account;
use crate::domain::life::budget::Form;
use crate::domain::life::lived::{Lived, oldest_if_all};
use crate::domain::life::wear::{Budgets, Wear, inherit};
use crate::domain::place::Place;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::{Fate, Kind, LabelReason, Tray};
use crate::store::acts::{self, NewAct};
use crate::store::breakdowns::{self, Line, Side};
use crate::store::{Tx, stays, trays};
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use chrono::NaiveDate;
use std::collections::{BTreeMap, HashMap};

/// Most trays one cutting act may make.
pub const OUTPUT_LIMIT: usize = 500;
pub const INPUT_LIMIT: usize = 50;

#[derive(Debug, Clone)]
pub struct InputDraft {
    pub tray: String,
    /// Only part of a bulk tray; all of it when absent.
    pub grams: Option<i64>,
}

#[derive(Debug, Clone)]
pub struct OutputDraft {
    pub cut: String,
    pub place: String,
    pub net_g: i64,
}

#[derive(Debug, Clone)]
pub struct LossDraft {
    pub name: String,
    pub grams: i64,
}

#[derive(Debug, Clone)]
pub struct Cutting {
    pub inputs: Vec<InputDraft>,
    pub outputs: Vec<OutputDraft>,
    pub losses: Vec<LossDraft>,
    /// Where it is cut.
    pub place: String,
    /// How long it lay there before it was cut; what the shop reckons with when absent.
    pub bench_minutes: Option<i64>,
    pub reason: Option<String>,
}

#[derive(Debug, Clone)]
pub struct BrokenDown {
    pub id: i64,
    pub balance: Balance,
    pub trays: Vec<Tray>,
}

struct Input {
    tray: Tray,
    grams: Grams,
    cut: Cut,
    place: Place,
    /// The cutting it hands on: its own, or now for what was never cut.
    cut_at: Instant,
}

struct Output {
    cut: Cut,
    place: Place,
    net: Grams,
}

/// Breaks trays down.
pub fn break_down(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    cutting: &Cutting,
) -> Result<BrokenDown, Failure> {
    let reason = text::optional_note("reason", cutting.reason.as_deref())?;
    let bench = place_by_code(tx, "place_code", &cutting.place)?;
    let minutes = bench::minutes(shop, cutting.bench_minutes)?;
    let inputs = load_inputs(tx, shop, now, &cutting.inputs)?;
    let outputs = load_outputs(tx, &cutting.outputs)?;
    let losses = check_losses(&cutting.losses)?;
    let named: i64 = losses.iter().map(|(_, grams)| grams).sum();
    let weigh = |form: Form, mass: Grams| Weighing {
        mass,
        interval_g: if form == Form::Whole { shop.receiving_scale_g } else { shop.bench_scale_g },
    };
    let weighed_in: Vec<Weighing> = inputs.iter().map(|i| weigh(i.cut.form, i.grams)).collect();
    let weighed_out: Vec<Weighing> = outputs.iter().map(|o| weigh(o.cut.form, o.net)).collect();
    let balance = balance(&weighed_in, &weighed_out, named, shop.drip_permille, reason.as_deref())?;

    // Of two requests that came together the later may be done first: no life goes back.
    let at = inputs.iter().map(|i| i.tray.lived.as_of).fold(now, Instant::max);
    let mut lives = Vec::with_capacity(inputs.len());
    for input in &inputs {
        lives.push(bench::until_cut(tx, &input.tray, &input.place, &bench, minutes, at)?);
    }
    let act = NewAct {
        kind: "break_down",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: reason.as_deref(),
        reverses: None,
    };
    let act_id = acts::append(tx, &act)?;
    let id = breakdowns::insert(tx, act_id, at, &bench.code, &balance, reason.as_deref())?;
    for (name, grams) in &losses {
        breakdowns::insert_loss(tx, id, name, *grams)?;
    }
    let mut movement = Movement::default();
    let heritage = Heritage::of(&inputs, &lives, at);
    let taken = take_inputs(tx, &mut movement, id, inputs, lives, &bench)?;
    let trays = make_outputs(tx, shop, &mut movement, id, &heritage, taken, &balance, outputs)?;
    movement.post(tx, act_id)?;
    Ok(BrokenDown { id, balance, trays })
}

fn load_inputs(tx: &mut Tx<'_>, shop: &Shop, now: Instant, drafts: &[InputDraft]) -> Result<Vec<Input>, Failure> {
    if drafts.is_empty() || drafts.len() > INPUT_LIMIT {
        return refuse(Code::InvalidValue, "inputs", format!("must be 1 to {INPUT_LIMIT} trays"));
    }
    let mut inputs: Vec<Input> = Vec::with_capacity(drafts.len());
    for (index, draft) in drafts.iter().enumerate() {
        let at = format!("inputs/{index}");
        let input = load_input(tx, shop, now, draft).map_err(|f| f.under(&at))?;
        if inputs.iter().any(|i| i.tray.id == input.tray.id) {
            return refuse(Code::DuplicateLine, format!("{at}/tray_code"), "stands on an earlier line");
        }
        if inputs.first().is_some_and(|first| first.tray.species != input.tray.species) {
            return refuse(Code::NotTheSame, format!("{at}/tray_code"), "one cutting act is of one species");
        }
        inputs.push(input);
    }
    Ok(inputs)
}

fn load_input(tx: &mut Tx<'_>, shop: &Shop, now: Instant, draft: &InputDraft) -> Result<Input, Failure> {
    let tray = tray_by_scan(tx, shop, now, "tray_code", &draft.tray)?;
    require_in_stock(&tray, "tray_code")?;
    require_no_hold(tx, &tray, "tray_code")?;
    let place = place_of(tx, &tray)?;
    if place.is_frozen() {
        return refuse(Code::Frozen, "tray_code", format!("tray {} is frozen; thaw it first", tray.code));
    }
    let grams = match draft.grams {
        None => tray.net,
        Some(_) if tray.kind != Kind::Bulk => {
            return refuse(Code::WrongKind, "grams", "only a bulk tray is taken in part");
        }
        Some(grams) => Grams::new(grams).map_err(|e| Refusal::new(Code::InvalidValue, "grams", e.to_string()))?,
    };
    if grams.is_zero() {
        return refuse(Code::InvalidValue, "grams", "must be above zero");
    }
    if grams > tray.net {
        return refuse(Code::InsufficientStock, "grams", format!("tray {} holds {} g", tray.code, tray.net.get()));
    }
    let cut = cut_by_code(tx, "tray_code", &tray.cut)?;
    // Only what came as it is was never cut.
    let cut_at = if tray.batch_id.is_none() && cut.form == Form::Whole { now } else { tray.cut_at };
    Ok(Input { tray, grams, cut, place, cut_at })
}

fn load_outputs(tx: &mut Tx<'_>, drafts: &[OutputDraft]) -> Result<Vec<Output>, Failure> {
    if drafts.is_empty() || drafts.len() > OUTPUT_LIMIT {
        return refuse(Code::InvalidValue, "outputs", format!("must be 1 to {OUTPUT_LIMIT} trays"));
    }
    let mut cuts: HashMap<&str, Cut> = HashMap::new();
    let mut places: HashMap<&str, Place> = HashMap::new();
    let mut outputs = Vec::with_capacity(drafts.len());
    for (index, draft) in drafts.iter().enumerate() {
        let field = |name: &str| format!("outputs/{index}/{name}");
        if !cuts.contains_key(draft.cut.as_str()) {
            cuts.insert(&draft.cut, cut_by_code(tx, &field("cut_code"), &draft.cut)?);
        }
        if !places.contains_key(draft.place.as_str()) {
            let place = place_by_code(tx, &field("place_code"), &draft.place)?;
            if place.is_frozen() {
                return refuse(
                    Code::UseFreezeOrThaw,
                    field("place_code"),
                    "what was just cut is frozen by a freeze, not by a breakdown",
                );
            }
            places.insert(&draft.place, place);
        }
        let net = Grams::new(draft.net_g)
            .map_err(|e| Refusal::new(Code::InvalidValue, field("net_weight_g"), e.to_string()))?;
        if net.is_zero() {
            return refuse(Code::InvalidValue, field("net_weight_g"), "must be above zero");
        }
        if let (Some(cut), Some(place)) = (cuts.get(draft.cut.as_str()), places.get(draft.place.as_str())) {
            outputs.push(Output { cut: cut.clone(), place: place.clone(), net });
        }
    }
    Ok(outputs)
}

fn check_losses(drafts: &[LossDraft]) -> Result<Vec<(String, i64)>, Failure> {
    if drafts.len() > 20 {
        return refuse(Code::InvalidValue, "losses", "must be at most 20");
    }
    let mut losses = Vec::with_capacity(drafts.len());
    for (index, draft) in drafts.iter().enumerate() {
        let name = text::name("name", &draft.name).map_err(|r| r.under(&format!("losses/{index}")))?;
        let mass = Grams::new(draft.grams).ok().filter(|g| !g.is_zero());
        let Some(mass) = mass else {
            return refuse(
                Code::InvalidValue,
                format!("losses/{index}/grams"),
                format!("must be from 1 to {}", Grams::MAXIMUM),
            );
        };
        losses.push((name, mass.get()));
    }
    Ok(losses)
}

/// What every output takes over from the inputs.
struct Heritage {
    species: String,
    lives: Vec<Lived>,
    at: Instant,
    cut_at: Instant,
    use_by: Option<Instant>,
    supplier_until: Option<Instant>,
    thawed_at: Option<Instant>,
    date_day_one: Option<NaiveDate>,
}

impl Heritage {
    fn of(inputs: &[Input], lives: &[OnBench], at: Instant) -> Heritage {
        Heritage {
            species: inputs.first().map(|i| i.tray.species.clone()).unwrap_or_default(),
            lives: lives.iter().map(|life| life.at_cut).collect(),
            at,
            cut_at: inputs.iter().map(|i| i.cut_at).min().unwrap_or(at),
            // A printed date binds what is cut from it.
            use_by: inputs.iter().filter_map(|i| i.tray.use_by).min(),
            supplier_until: inputs.iter().filter_map(|i| i.tray.supplier_until).min(),
            thawed_at: inputs.iter().filter_map(|i| i.tray.thawed_at).min(),
            date_day_one: lives.iter().filter_map(|life| life.at_cut.date_day_one).min(),
        }
    }

    /// The life of a tray made of all of them.
    fn hand_on(&self, shop: &Shop, cut: &Cut, budgets: Budgets) -> Lived {
        let inputs: Vec<(Wear, Budgets)> = self.lives.iter().map(|lived| (lived.wear, lived.budgets)).collect();
        Lived {
            as_of: self.at,
            wear: inherit(&inputs, &budgets),
            budgets,
            raw_budget_validated: cut.raw_budget_validated.is_some(),
            // What was never cut is prepared now.
            date_day_one: Some(self.date_day_one.unwrap_or_else(|| shop.zone.day_of(self.at))),
            wholly_frozen_before: self.lives.iter().all(|lived| lived.wholly_frozen_before),
            parasites_frozen_at: oldest_if_all(self.lives.iter().map(|lived| lived.parasites_frozen_at)),
        }
    }
}

fn take_inputs(
    tx: &mut Tx<'_>,
    movement: &mut Movement,
    breakdown_id: i64,
    inputs: Vec<Input>,
    lives: Vec<OnBench>,
    bench: &Place,
) -> Result<Pool, Failure> {
    let mut pool = Pool::default();
    for (index, (input, life)) in inputs.into_iter().zip(lives).enumerate() {
        let mut tray = input.tray;
        let line = Line { tray_id: tray.id, grams: input.grams.get(), lived: life.at_cut, cut_at: input.cut_at };
        breakdowns::insert_line(tx, breakdown_id, Side::Input, &line)?;
        life.lay_down(tx, &mut tray, bench)?;
        let drawn = movement.take(tx, &mut tray, input.grams, &format!("inputs/{index}/grams"))?;
        drawn.into_iter().for_each(|holding| pool.add(holding));
        if tray.net.is_zero() {
            leave(tx, &mut tray, Fate::BrokenDown, life.at_cut.as_of)?;
        } else {
            life.put_back(tx, &mut tray, &input.place)?;
        }
        trays::save_with_life(tx, &mut tray)?;
    }
    Ok(pool)
}

/// Shares the pool over outputs and losses: grams lot by lot in proportion, cost lot by lot by sales value.
fn share_out(
    pool: &Pool,
    balance: &Balance,
    outputs: &[Output],
    movement: &mut Movement,
) -> Result<Vec<Vec<Holding>>, Failure> {
    let mut grams = Pool::of(pool.holdings().iter().map(|h| Holding { cost_cents: 0, ..*h }));
    if balance.unexplained_g < 0 {
        // The scales made more than went in: the books follow the scales of the outputs.
        let found = spread(-balance.unexplained_g, pool.holdings());
        movement.outside(Account::Shrink, &found, -1);
        found.into_iter().for_each(|holding| grams.add(holding));
    }
    let short = || {
        Failure::Store(crate::store::error::StoreError::Inconsistent("a pool ran dry in a balanced breakdown".into()))
    };
    let mut shares: Vec<Vec<Holding>> = Vec::with_capacity(outputs.len());
    for output in outputs {
        shares.push(grams.draw(output.net.get()).ok_or_else(short)?);
    }
    let lost = balance.named_loss_g + balance.unexplained_g.max(0);
    let lost = grams.draw(lost).ok_or_else(short)?;
    movement.outside(Account::Shrink, &lost, 1);
    for lot in pool.holdings() {
        let of_lot = |share: &Vec<Holding>| share.iter().find(|h| h.lot_id == lot.lot_id).map_or(0, |h| h.grams);
        let values: Vec<(i64, i64)> =
            outputs.iter().zip(&shares).map(|(o, share)| (o.cut.price.get(), of_lot(share))).collect();
        let costs = share_by_value(lot.cost_cents, &values);
        for (share, cost) in shares.iter_mut().zip(&costs) {
            if let Some(holding) = share.iter_mut().find(|h| h.lot_id == lot.lot_id) {
                holding.cost_cents = *cost;
            }
        }
        // Nothing of this lot came out: its cost went with its grams.
        let left = lot.cost_cents - costs.iter().sum::<i64>();
        movement.outside(Account::Shrink, &[Holding { lot_id: lot.lot_id, grams: 0, cost_cents: left }], 1);
    }
    Ok(shares)
}

#[allow(clippy::too_many_arguments, reason = "the parts of one act, each of its own type")]
fn make_outputs(
    tx: &mut Tx<'_>,
    shop: &Shop,
    movement: &mut Movement,
    breakdown_id: i64,
    heritage: &Heritage,
    pool: Pool,
    balance: &Balance,
    outputs: Vec<Output>,
) -> Result<Vec<Tray>, Failure> {
    let shares = share_out(&pool, balance, &outputs, movement)?;
    let mut batches: BTreeMap<String, i64> = BTreeMap::new();
    let mut made = Vec::with_capacity(outputs.len());
    for (output, share) in outputs.into_iter().zip(shares) {
        let batch = match batches.get(&output.cut.code) {
            Some(batch) => *batch,
            None => trays::insert_batch(tx, Some(breakdown_id), &output.cut.code, heritage.at)?,
        };
        batches.insert(output.cut.code.clone(), batch);
        let budgets = budgets(tx, shop, &heritage.species, &output.cut)?;
        let lived = heritage.hand_on(shop, &output.cut, budgets);
        let mut tray = Tray {
            id: 0,
            code: next_tray_code(tx)?,
            kind: output.cut.kind,
            cut: output.cut.code.clone(),
            species: heritage.species.clone(),
            batch_id: Some(batch),
            place: output.place.code.clone(),
            fate: None,
            gone_at: None,
            net: Grams::ZERO,
            initial: output.net,
            price: output.cut.price,
            list_price: output.cut.price,
            markdown_reason: None,
            lived,
            cut_at: heritage.cut_at,
            use_by: heritage.use_by,
            supplier_until: heritage.supplier_until,
            paused_left_micros: None,
            frozen_at: None,
            thawed_at: heritage.thawed_at,
            label_wanted: output.cut.kind.carries_label().then_some(LabelReason::New),
            version: 1,
        };
        tray.id = trays::insert(tx, &tray)?;
        stays::begin(tx, tray.id, &output.place, heritage.at)?;
        movement.put(tx, &mut tray, &share)?;
        trays::save(tx, &mut tray)?;
        let line = Line { tray_id: tray.id, grams: output.net.get(), lived, cut_at: heritage.cut_at };
        breakdowns::insert_line(tx, breakdown_id, Side::Output, &line)?;
        made.push(tray);
    }
    Ok(made)
}
