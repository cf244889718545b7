//! The outline of each layer of a part.

use super::rays::{level, rays};
use super::section::{HAIR, Section};
use super::stack::Stack;
use crate::shape::Region;
use crate::space::{Path, Pattern};

/// Islands of a layer that are nowhere so broad cannot be glued, and openings that are nowhere so broad cannot be cut, mm
/// (common practice, no source).
const ISLAND: f64 = 8.0;
const OPENING: f64 = 6.0;

/// The layers of a part, from its middle plane outwards.
#[derive(Clone, Debug)]
pub struct Layered {
    /// What each layer covers; the first is the part itself.
    pub regions: Vec<Region<Pattern>>,
    /// Islands too narrow to be glued that were left out, by layer.
    pub dropped: Vec<usize>,
    /// The most that has to be sanded off anywhere, mm.
    pub deepest: f64,
}

/// Each layer of `stack` reaches as far as the section does at its lower face, so that no hollow is left.
pub fn layered(outline: &Path<Pattern>, section: &Section, stack: &Stack) -> Layered {
    let whole = Region::of(outline);
    let levels = stack.levels();
    let rays = rays(outline);
    let region = |z: f64| {
        let area = if section.follows_width() {
            level(&rays, &|width| section.inset(z, width))
        } else {
            whole.narrowed(section.inset(z, f64::INFINITY).unwrap_or(0.0))
        };
        without_hairs(&area)
    };
    let mut dropped = vec![0];
    let mut regions: Vec<Region<Pattern>> = vec![whole.clone()];
    for z in &levels[1..levels.len() - 1] {
        // Never over what is not there.
        let below = &regions[regions.len() - 1];
        let found = region(*z).and(below).without_openings_below(OPENING);
        let (glued, narrow) = without_islands(&found);
        dropped.push(narrow);
        regions.push(glued);
    }
    let narrowest = |width: f64| section.deepest_sanding(&levels, width);
    // Widths that differ by less than half a millimetre are sanded alike. In a corner the ridge falls, and nothing stands far out.
    let ridges = rays.iter().flatten().filter(|ray| ray.along || section.follows_width());
    let mut widths: Vec<f64> = ridges.map(|ray| (2.0 * ray.width).round() / 2.0).collect();
    widths.sort_by(f64::total_cmp);
    widths.dedup();
    let deepest = widths.into_iter().filter(|width| *width > 0.0).map(narrowest).fold(stack.deepest, f64::max);
    Layered { regions, dropped, deepest }
}

/// Without strips that are too narrow to be cut; points of corners stay.
fn without_hairs(area: &Region<Pattern>) -> Region<Pattern> {
    /// What is narrow and covers less is the point of a corner, mm².
    const POINT: f64 = 5.0;
    let narrow = area.minus(&area.where_broader(HAIR));
    let hairs = narrow.parts().into_iter().filter(|part| part.area() > POINT);
    // A little more, so that what is left does not touch itself.
    hairs.fold(area.clone(), |left, hair| left.minus(&hair.widened(0.05)))
}

/// What of a layer can be glued, and how many islands of it cannot.
pub fn without_islands(layer: &Region<Pattern>) -> (Region<Pattern>, usize) {
    let parts = layer.parts();
    let glued: Vec<&Region<Pattern>> = parts.iter().filter(|part| part.holds_disc(ISLAND / 2.0)).collect();
    let dropped = parts.len() - glued.len();
    if dropped == 0 {
        return (layer.clone(), 0);
    }
    (glued.into_iter().fold(Region::empty(), |all, part| all.or(part)), dropped)
}

#[cfg(test)]
mod tests {
    use kurbo::{Rect, Shape as _};

    use super::*;
    use crate::build_file::Profile;
    use crate::hardware::Foam;
    use crate::units::Length;

    fn stack(thicknesses: &[f64]) -> Stack {
        let foams = thicknesses.iter().map(|t| Foam::as_called(Length::mm(*t))).collect();
        Stack { foams, slotted: 0, groove: 0.0, deepest: 0.0 }
    }

    #[test]
    fn layers_of_a_rounding_are_inset_by_the_section() {
        let outline = Path::new(Rect::new(0.0, 0.0, 200.0, 100.0).to_path(0.1));
        let section = Section { profile: Profile::Rounded, half: 20.0, land: 0.0, edge: 15.0 };
        let found = layered(&outline, &section, &stack(&[10.0, 6.0, 4.0]));
        let insets: Vec<f64> = found.regions.iter().map(|region| region.path().bounds().x0).collect();
        for (inset, expected) in insets.iter().zip([0.0, 2.01, 6.0]) {
            assert!((inset - expected).abs() < 0.01, "{insets:?}");
        }
    }

    #[test]
    fn an_inset_that_swallows_the_part_leaves_an_empty_layer() {
        let outline = Path::new(Rect::new(0.0, 0.0, 200.0, 10.0).to_path(0.1));
        let section = Section { profile: Profile::Bevelled, half: 20.0, land: 0.0, edge: 15.0 };
        let found = layered(&outline, &section, &stack(&[10.0, 10.0]));
        assert!(found.regions[1].is_empty());
    }

    #[test]
    fn a_narrow_arm_of_a_dome_is_lower_than_its_body() {
        let body = Rect::new(0.0, 0.0, 100.0, 100.0).to_path(0.1);
        let arm = Rect::new(99.0, 45.0, 200.0, 55.0).to_path(0.1);
        let outline = Region::of(&Path::new(body)).or(&Region::of(&Path::new(arm))).path();
        let section = Section { profile: Profile::Domed, half: 20.0, land: 0.0, edge: 0.0 };
        let found = layered(&outline, &section, &stack(&[10.0, 10.0]));
        assert!(
            found.regions[1].path().bounds().x1 < 110.0,
            "the arm is 5 mm high: {:?}",
            found.regions[1].path().bounds()
        );
    }
}
