//! Where a piece that is too large for its foam could be split.

use kurbo::{Affine, Shape as _};

use crate::shape::Region;
use crate::size::farthest_apart;
use crate::space::{Path, Pattern, Point};

/// Lines are drawn so far beyond the edge, mm.
const BEYOND: f64 = 4.0;
/// More parts than this are for the maker to think about.
const MOST: u32 = 8;
/// Places across which a line may be laid, looked at in each stretch.
const TRIED: u32 = 60;

/// Lines that split what `outline` encloses into parts that each fit `sheet`, square to its longest way, or upright or level, at its narrow places;
/// `None`: it fits already, or no eight parts do.
pub fn splits(outline: &Path<Pattern>, sheet: [f64; 2]) -> Option<Vec<[Point<Pattern>; 2]>> {
    if fits(outline, sheet) {
        return None;
    }
    let [a, b] = farthest_apart(&outline.flatten(0.2).concat())?;
    let longest = (b.raw() - a.raw()).atan2();
    let all = [longest, 0.0, std::f64::consts::FRAC_PI_2].map(|turn| across(outline, turn, sheet));
    all.into_iter().flatten().min_by_key(Vec::len)
}

/// Lines square to a direction.
fn across(outline: &Path<Pattern>, turn: f64, sheet: [f64; 2]) -> Option<Vec<[Point<Pattern>; 2]>> {
    // Lying along the x axis.
    let level = Affine::rotate(-turn);
    let lying = Path::<Pattern>::new(level * outline.raw().clone());
    let bounds = lying.bounds();
    let body = Region::of(&lying);
    (2..=MOST).find_map(|parts| {
        let step = bounds.width() / f64::from(parts);
        // Each line may move by a quarter of what lies between two.
        let line = |k: u32| {
            let middle = bounds.x0 + f64::from(k) * step;
            let tried = (0..=TRIED).map(|i| middle + step * 0.5 * (f64::from(i) / f64::from(TRIED) - 0.5));
            let breadth = |x: f64| {
                let [low, high] = crossed(&body, x, bounds);
                (high - low).max(0.0)
            };
            let cost = |(x, broad): &(f64, f64)| broad + 0.02 * (x - middle).abs();
            let (x, _) = tried.map(|x| (x, breadth(x))).min_by(|p, q| cost(p).total_cmp(&cost(q)))?;
            Some((x, crossed(&body, x, bounds)))
        };
        let lines: Vec<(f64, [f64; 2])> = (1..parts).map(line).collect::<Option<_>>()?;
        let mut edges: Vec<f64> = vec![bounds.x0];
        edges.extend(lines.iter().map(|(x, _)| *x));
        edges.push(bounds.x1);
        let all_fit = edges.windows(2).all(|pair| {
            let window = Region::of(&Path::new(
                kurbo::Rect::new(pair[0], bounds.y0 - 1.0, pair[1], bounds.y1 + 1.0).to_path(0.1),
            ));
            body.and(&window).parts().iter().all(|part| fits(&part.path(), sheet))
        });
        let back = |x: f64, y: f64| Point::from(level.inverse() * kurbo::Point::new(x, y));
        all_fit.then(|| {
            lines.into_iter().map(|(x, [low, high])| [back(x, low - BEYOND), back(x, high + BEYOND)]).collect()
        })
    })
}

/// From where to where a body reaches across at `x`.
fn crossed(body: &Region<Pattern>, x: f64, bounds: kurbo::Rect) -> [f64; 2] {
    let line = [Point::new(x, bounds.y0 - 1.0), Point::new(x, bounds.y1 + 1.0)];
    let found = body.and(&Region::band(&line, 0.2)).bounds();
    [found.y0, found.y1]
}

/// Whether a shape fits a sheet, upright or lying, or turned so that its longest way lies along a side.
pub(super) fn fits(outline: &Path<Pattern>, sheet: [f64; 2]) -> bool {
    let [long, short] = [sheet[0].max(sheet[1]), sheet[0].min(sheet[1])];
    let room = |size: kurbo::Size| size.width.max(size.height) <= long && size.width.min(size.height) <= short;
    let turned = |turn: f64| (Affine::rotate(turn) * outline.raw().clone()).bounding_box().size();
    // Every two degrees: the extents change by less than 0.1 % of it between.
    (0..90).any(|k| room(turned(f64::from(2 * k).to_radians())))
}

#[cfg(test)]
mod tests {
    use kurbo::Rect;

    use super::*;
    use crate::pattern::divide;

    #[test]
    fn a_long_lath_is_split_where_it_is_narrow_into_parts_that_fit() {
        // A lath of 1400 with waists.
        let lath = "M0 0H600V12H640V0H1400V60H640V48H600V60H0Z";
        let outline = Path::new(Affine::rotate(0.4) * kurbo::BezPath::from_svg(lath).expect("path data"));
        let sheet = [750.0, 500.0];
        let lines = splits(&outline, sheet).expect("it is too long");
        let found = divide(&outline, &lines.iter().map(|line| line.to_vec()).collect::<Vec<_>>()).expect("it splits");
        assert_eq!(found.parts.len(), lines.len() + 1);
        assert!(found.parts.iter().all(|part| fits(&part.outline, sheet)));
        let narrow = lines.iter().any(|line| line[0].distance(line[1]) < 36.0 + 2.0 * BEYOND + 1.0);
        assert!(narrow, "through the waist: {lines:?}");
    }

    #[test]
    fn what_fits_lying_aslant_is_not_split() {
        let outline = Path::new(Rect::new(0.0, 0.0, 690.0, 40.0).to_path(0.1));
        assert!(splits(&outline, [700.0, 50.0]).is_none() && splits(&outline, [600.0, 600.0]).is_none());
        assert!(splits(&outline, [500.0, 500.0]).is_some());
    }
}
