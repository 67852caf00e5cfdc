//! Published rows our models claim, each with its source.

use super::ground::*;
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::RawModel;

/// A day's even ramp from 0 to 10 °C, exact integral: 7/3 ice-days by the square-root model, (e^1.2 - 1)/1.2 by the exponential one
/// (computed). The rate at the mean temperature would give 2.25: integrating the mean is wrong.
#[test]
fn a_ramp_is_integrated_exactly() {
    let of = |model| curve(model, StorageMethod::Chill, &[(0, 0), (DAY, 10_000)]).raw_micros(at(0), at(DAY));
    assert_eq!(of(RawModel::SquareRoot), 7 * DAY / 3);
    let exponential = of(RawModel::Exponential) as f64 / DAY as f64;
    assert!((exponential - 1.933_431).abs() < 1e-6, "{exponential}");
    assert_eq!(of(RawModel::Cautious), of(RawModel::SquareRoot));
}
