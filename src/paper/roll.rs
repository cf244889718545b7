//! How long a sheet is cut off a roll.

use super::core::Core;
use crate::units::Length;

/// Sheets are cut to whole centimetres.
const STEP: f64 = 10.0;

/// `core` on a sheet no longer than its pieces need: the shortest one on which there are no more `pages` than on the longest.
/// The core of a sheet that is no roll's stays what it is.
pub fn cut_to_length(core: Core, pages: &dyn Fn(&Core) -> usize) -> Core {
    if !core.is_roll() {
        return core;
    }
    let fewest = pages(&core);
    let shorter = |by: f64| {
        let mut shorter = core.clone();
        shorter.size.height -= by;
        shorter.field.y1 -= by;
        for paper in &mut shorter.papers {
            paper.height = Length::mm(paper.height.to_mm() - by);
        }
        shorter
    };
    // Between a cut that is short enough and one that is too much.
    let (mut good, mut bad) = (0.0, ((core.field.height() - core.field.width().min(100.0)) / STEP).floor());
    while bad - good > 1.0 {
        let middle = ((good + bad) / 2.0_f64).floor();
        if pages(&shorter(middle * STEP)) <= fewest { good = middle } else { bad = middle }
    }
    shorter(good * STEP)
}
