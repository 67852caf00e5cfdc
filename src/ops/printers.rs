//! The printers of the shop: which there are, how each last was, and the bell that wakes whoever serves them. In memory alone: what must outlive
//! the process stands in the queue.

use super::bell::Bell;
use super::failure::{Failure, refuse};
use crate::domain::printing::{Heard, Printer};
use crate::domain::refusal::Code;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// The printers, in the order of the settings.
#[derive(Debug, Default)]
pub struct Printers {
    each: Vec<Known>,
    bell: Bell,
}

#[derive(Debug)]
struct Known {
    printer: Printer,
    heard: Mutex<Heard>,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // What is inside is replaced whole: a panic elsewhere leaves nothing half done.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Printers {
    pub fn of(printers: Vec<Printer>) -> Printers {
        let known = |printer| Known { printer, heard: Mutex::default() };
        Printers { each: printers.into_iter().map(known).collect(), ..Printers::default() }
    }

    pub fn is_empty(&self) -> bool {
        self.each.is_empty()
    }

    /// Each printer, and how it last was.
    pub fn all(&self) -> Vec<(&Printer, Heard)> {
        self.each.iter().map(|known| (&known.printer, locked(&known.heard).clone())).collect()
    }

    /// The printer that a request names, or the only one there is.
    pub fn named(&self, name: Option<&str>) -> Result<&Printer, Failure> {
        match (name, self.each.as_slice()) {
            (None, [only]) => Ok(&only.printer),
            (None, []) => {
                refuse(Code::UnknownReference, "printer", "no printer is set up; see [[printers]] in the settings")
            }
            (None, _) => refuse(Code::InvalidValue, "printer", "say which printer: there are several"),
            (Some(name), each) => match each.iter().find(|known| known.printer.name == name) {
                Some(known) => Ok(&known.printer),
                None => refuse(Code::UnknownReference, "printer", format!("there is no printer {name}")),
            },
        }
    }

    /// Notes how a printer is.
    pub fn hear(&self, name: &str, heard: Heard) {
        if let Some(known) = self.each.iter().find(|known| known.printer.name == name) {
            *locked(&known.heard) = heard;
        }
    }

    /// Rings when there is something to print, or to stop for.
    pub const fn bell(&self) -> &Bell {
        &self.bell
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::printing::Standing;

    fn printer(name: &str) -> Printer {
        Printer { name: name.into(), stock: "62x40".into(), dpi: 203, width_um: 62_000, height_um: 40_000 }
    }

    #[test]
    fn a_printer_is_named_or_the_only_one() {
        let (none, one) = (Printers::default(), Printers::of(vec![printer("a")]));
        let two = Printers::of(vec![printer("a"), printer("b")]);
        assert!(none.is_empty() && none.named(None).is_err());
        assert_eq!(one.named(None).map(|p| p.name.as_str()), Ok("a"));
        assert_eq!(two.named(Some("b")).map(|p| p.name.as_str()), Ok("b"));
        assert!(two.named(None).is_err() && two.named(Some("c")).is_err());
        two.hear("b", Heard { standing: Standing::Idle, ..Heard::default() });
        two.hear("c", Heard::default());
        let standing: Vec<Standing> = two.all().into_iter().map(|(_, heard)| heard.standing).collect();
        assert_eq!(standing, [Standing::NotAsked, Standing::Idle]);
    }
}
