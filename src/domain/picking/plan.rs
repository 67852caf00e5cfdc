//! How many trays of each cut a case should hold.

use crate::domain::refusal::{Code, Finding, Refusal};
use std::collections::BTreeSet;

/// Most cuts of one case.
pub const LINES_LIMIT: usize = 100;
/// Most trays of one cut in a case.
pub const TRAYS_LIMIT: i64 = 200;

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanLine {
    pub cut: String,
    pub trays: i64,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CasePlan {
    pub place: String,
    pub lines: Vec<PlanLine>,
    pub version: i64,
}

/// Checks the lines of a plan. No line at all ends the plan.
pub fn check(lines: &[PlanLine]) -> Result<(), Refusal> {
    if lines.len() > LINES_LIMIT {
        return Err(Refusal::new(Code::InvalidValue, "lines", format!("must be at most {LINES_LIMIT}")));
    }
    let (mut findings, mut seen) = (Vec::new(), BTreeSet::new());
    for (at, line) in lines.iter().enumerate() {
        if !(1..=TRAYS_LIMIT).contains(&line.trays) {
            let reason = format!("must be from 1 to {TRAYS_LIMIT}; leave the line out where none is wanted");
            findings.push(Finding { field: format!("lines/{at}/trays"), reason });
        }
        if !seen.insert(&line.cut) {
            findings
                .push(Finding { field: format!("lines/{at}/cut_code"), reason: "stands on an earlier line".into() });
        }
    }
    if findings.is_empty() { Ok(()) } else { Err(Refusal { code: Code::InvalidValue, findings }) }
}
