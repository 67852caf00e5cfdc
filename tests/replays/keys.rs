//! One key, one sale: told again in other words, told of one that got through, and of one that was reversed meanwhile.

use crate::ground::{Which, actor};
use crate::till::{BLOCK_CENTS, Counter, at, found, sale};
use sakudana::ops::replay::Taken;
use sakudana::ops::sell::reverse;

fn undo(counter: &Counter, sale_id: i64, minutes: i64) {
    counter.act(move |tx, shop| reverse(tx, shop, &actor(), at(minutes), sale_id, "nobody knows of it").map(drop));
}

pub fn a_sale_that_was_reversed_is_sold_again(which: Which) {
    let counter = Counter::open(which, 3, 0);
    let b = &counter.blocks;
    let customer = counter.account("customer");
    let one = sale("one", 40, &[(&b[0], None, BLOCK_CENTS)]);
    let through = counter.sell_under("till-1", &one, 40);
    undo(&counter, through, 41);
    assert_eq!(counter.left(&b[0]), (300, "here"));
    // The goods went: they leave the stock, and a manager is told.
    let outcome = counter.send("till-1", 60, vec![one.clone()]).remove(0);
    assert_eq!((outcome.taken, found(&outcome)), (Taken::WithExceptions, vec![(0, "was_reversed")]));
    assert_ne!(outcome.sale_id, through);
    assert_eq!((counter.left(&b[0]), counter.account("customer")), ((0, "sold"), customer + 300));
    // Once.
    let again = counter.send("till-1", 61, vec![one]).remove(0);
    assert_eq!((again.taken, again.sale_id, found(&again)), (Taken::Replayed, outcome.sale_id, found(&outcome)));
    assert_eq!((counter.account("customer"), counter.exceptions().len()), (customer + 300, 1));
    // One that was replayed before it was reversed was known to whoever reversed it.
    let other = sale("other", 62, &[(&b[1], None, BLOCK_CENTS)]);
    let replayed = counter.send("till-1", 63, vec![other.clone()]).remove(0).sale_id;
    undo(&counter, replayed, 64);
    assert_eq!(counter.send("till-1", 65, vec![other])[0].taken, Taken::Replayed);
    assert_eq!(counter.left(&b[1]), (300, "here"));
    // One that nobody reversed is not sold again.
    let third = sale("third", 66, &[(&b[2], None, BLOCK_CENTS)]);
    let through = counter.sell_under("till-1", &third, 66);
    let outcome = counter.send("till-1", 67, vec![third]).remove(0);
    assert_eq!((outcome.taken, outcome.sale_id, found(&outcome)), (Taken::Replayed, through, vec![]));
    counter.sound();
}

pub fn told_with_another_time_it_is_the_same_sale(which: Which) {
    let counter = Counter::open(which, 0, 1);
    let tub = &counter.tubs[0];
    let sales = [50, 49, 51].map(|minutes| sale("one", minutes, &[(tub, Some(100), 233)]));
    let mut taken: Vec<Taken> = Vec::new();
    for (number, mut sale) in (1..).zip(sales) {
        sale.sequence = Some(number);
        taken.push(counter.send("till-1", 60, vec![sale]).remove(0).taken);
    }
    assert_eq!(taken, [Taken::Accepted, Taken::Replayed, Taken::Replayed]);
    assert_eq!((counter.left(tub), counter.exceptions().len()), ((400, "here"), 0));
    // Other goods, or other money, are another sale.
    for (grams, cents) in [(101, 236), (100, 234)] {
        let outcome = counter.send("till-1", 61, vec![sale("one", 50, &[(tub, Some(grams), cents)])]).remove(0);
        assert_eq!(found(&outcome)[0], (0, "key_reused"));
    }
    assert_eq!(counter.left(tub), (199, "here"));
    // A sale that got through stays known by its content when another was sent under its key first.
    let through = sale("two", 62, &[(tub, Some(10), 23)]);
    let sale_id = counter.sell_under("till-1", &through, 62);
    let outcome = counter.send("till-1", 63, vec![sale("two", 62, &[(tub, Some(20), 47)])]).remove(0);
    assert_eq!(found(&outcome), [(0, "key_reused")]);
    let outcome = counter.send("till-1", 64, vec![through]).remove(0);
    assert_eq!((outcome.taken, outcome.sale_id), (Taken::Replayed, sale_id));
    assert_eq!(counter.left(tub), (169, "here"));
    assert_eq!(counter.ground.desk.figures().sales.get(), 4, "each new sale of a queue is counted once");
    counter.sound();
}

pub fn a_code_that_became_ambiguous_is_no_other_sale(which: Which) {
    let counter = Counter::open(which, 2, 0);
    counter.label(&counter.blocks[0]);
    let linear = counter.linear(BLOCK_CENTS);
    let one = sale("one", 40, &[(&linear, None, BLOCK_CENTS)]);
    let sale_id = counter.sell_under("till-1", &one, 40);
    assert_eq!(counter.left(&counter.blocks[0]), (0, "sold"));
    // Its twin has the same price on its label by now.
    counter.label(&counter.blocks[1]);
    let outcome = counter.send("till-1", 60, vec![one]).remove(0);
    assert_eq!((outcome.taken, outcome.sale_id, found(&outcome)), (Taken::Replayed, sale_id, vec![]));
    assert_eq!((counter.left(&counter.blocks[1]), counter.exceptions().len()), ((300, "here"), 0));
    counter.sound();
}
