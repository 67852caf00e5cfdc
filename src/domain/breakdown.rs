//! One cutting act: does what came out agree with what went in? Scales and drip may explain a little; the rest needs a name.

use super::refusal::{Code, Refusal};
use crate::units::mass::Grams;

/// A weighing: the mass and the verification scale interval `e` of the scale, both in grams.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weighing {
    pub mass: Grams,
    pub interval_g: i64,
}

/// Maximum permissible error in service of a class III scale, in grams (Directive 90/384/EEC as in UK SI 1995/1907 Schedule 2,
/// Table 3: 0.5, 1.0, 1.5 e at verification, twice that in service). Above 10 000 e a class III scale does not reach; the last
/// band is kept there, which allows less than a coarser scale would.
pub const fn error_in_service_g(weighing: Weighing) -> i64 {
    let (mass, e) = (weighing.mass.get(), weighing.interval_g);
    if mass <= 500 * e {
        e
    } else if mass <= 2_000 * e {
        2 * e
    } else {
        3 * e
    }
}

/// How much may go missing without a word: scale error of every weighing, and drip as a share of the input.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Allowance {
    pub scale_g: i64,
    pub drip_g: i64,
}

impl Allowance {
    /// Worst-case scale error (all weighings of one scale share its calibration, so errors add) plus drip. The share of drip is
    /// the shop's own setting: no published figure for raw tuna is known.
    pub fn of(inputs: &[Weighing], outputs: &[Weighing], drip_permille: i64) -> Allowance {
        let scale_g = inputs.iter().chain(outputs).map(|w| error_in_service_g(*w)).sum();
        let input: i64 = inputs.iter().map(|w| w.mass.get()).sum();
        Allowance { scale_g, drip_g: input * drip_permille / 1_000 }
    }
}

/// A balance that was accepted. `unexplained_g` is what is neither on trays nor a named loss; negative when scales made more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Balance {
    pub input_g: i64,
    pub output_g: i64,
    pub named_loss_g: i64,
    pub unexplained_g: i64,
    pub allowance: Allowance,
}

/// Weighs outputs and named losses against the input. More out than the scales allow is refused always; more missing than
/// scales and drip explain needs a reason.
pub fn balance(
    inputs: &[Weighing],
    outputs: &[Weighing],
    named_loss_g: i64,
    drip_permille: i64,
    reason: Option<&str>,
) -> Result<Balance, Refusal> {
    let allowance = Allowance::of(inputs, outputs, drip_permille);
    let input_g: i64 = inputs.iter().map(|w| w.mass.get()).sum();
    let output_g: i64 = outputs.iter().map(|w| w.mass.get()).sum();
    let unexplained_g = input_g - output_g - named_loss_g;
    if unexplained_g < -allowance.scale_g {
        let reason = format!(
            "{} g more came out than went in; the scales explain at most {} g",
            -unexplained_g, allowance.scale_g
        );
        return Err(Refusal::new(Code::MassExceedsInput, "outputs", reason));
    }
    let allowed = allowance.scale_g + allowance.drip_g;
    if unexplained_g > allowed && reason.is_none() {
        let text = format!(
            "{unexplained_g} g are missing; scales and drip explain at most {allowed} g: name a loss or give a reason"
        );
        return Err(Refusal::new(Code::LossUnexplained, "losses", text));
    }
    Ok(Balance { input_g, output_g, named_loss_g, unexplained_g, allowance })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weighing(mass: i64, interval_g: i64) -> Weighing {
        Weighing { mass: Grams::new(mass).unwrap_or_default(), interval_g }
    }

    /// In-service errors computed from UK SI 1995/1907 Schedule 2, Table 3.
    #[test]
    fn errors_in_service_of_class_three() {
        let rows = [
            (1, 500, 1),
            (1, 501, 2),
            (2, 1_000, 2),
            (2, 2_000, 4),
            (2, 10_000, 6),
            (5, 2_500, 5),
            (5, 2_501, 10),
            (5, 20_001, 15),
            (10, 20_001, 30),
            (10, 40_000, 30),
        ];
        for (e, mass, expected) in rows {
            assert_eq!(error_in_service_g(weighing(mass, e)), expected, "{mass} g at e = {e} g");
        }
    }

    /// 40 kg on e = 20 g into seven outputs on e = 5 g: the scales explain 100 g, 500 g are missing (computed).
    #[test]
    fn half_a_kilogram_is_not_scale_error() {
        let input = [weighing(40_000, 20)];
        let outputs: Vec<Weighing> =
            [2_400, 5_200, 11_200, 2_100, 1_900, 9_800, 6_900].iter().map(|g| weighing(*g, 5)).collect();
        assert_eq!(Allowance::of(&input, &outputs, 0).scale_g, 100);
        assert_eq!(balance(&input, &outputs, 0, 0, None).map_err(|r| r.code), Err(Code::LossUnexplained));
        assert_eq!(balance(&input, &outputs, 400, 0, None).map(|b| b.unexplained_g), Ok(100));
        assert!(balance(&input, &outputs, 0, 0, Some("head ice thrown out")).is_ok());
        assert!(balance(&input, &outputs, 601, 0, Some("any")).is_err());
        assert_eq!(balance(&input, &outputs, 600, 0, None).map(|b| b.unexplained_g), Ok(-100));
    }
}
