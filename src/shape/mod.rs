//! Outlines, splines and SVG → [`Shape`]s, each checked to be closed and free of self-crossings; arcs of circles
//! found in shapes; shapes made to mirror themselves or to come again; areas joined, cut and made narrower.

mod arcs;
mod contact;
mod flaws;
mod loops;
mod nodes;
mod region;
mod spline;
mod svg;
mod symmetry;

use kurbo::Shape as _;

use crate::problem::{Problem, Problems};
use crate::space::{Path, Space};

pub use arcs::{Round, rounded};
pub use flaws::{Flaw, FlawKind, check};
pub(crate) use loops::direction;
pub use nodes::{NodeWork, work_nodes};
pub use region::Region;
pub use spline::{Knot, closed_spline, open_spline};
pub use svg::{Drawn, SvgSpace, from_svg};
pub use symmetry::{Alike, Found, Refused, Symmetry, find as find_symmetry, made_alike};

/// One or more loops that can be cut out.
///
/// Guaranteed: at least one loop; every loop closed by `Z` and enclosing something; only lines and cubics; every
/// coordinate finite; no loop crosses, touches or runs along itself or another; outer edges run clockwise on a screen,
/// edges of holes the other way, so that the even-odd and the non-zero rule fill the same.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape<S> {
    path: Path<S>,
}

impl<S: Space> Shape<S> {
    /// `path`, filled by the even-odd rule, with its loops turned the right way around and specks shorter than a
    /// thousand-millionth of its diagonal left out. Otherwise every flaw as an error that tells its coordinates.
    pub fn new(path: Path<S>) -> Result<Self, Problems> {
        let loops = flaws::sound(&path).map_err(|flaws| flaws.iter().map(Flaw::problem).collect::<Problems>())?;
        if loops.is_empty() {
            let text = "the outline is empty; give at least one closed loop";
            return Err(vec![Problem::error("outline_empty", text)]);
        }
        Ok(Self { path: Path::new(loops::join(&loops::oriented(&loops))) })
    }

    /// The loops, one subpath each.
    pub const fn path(&self) -> &Path<S> {
        &self.path
    }

    /// The loops, given away.
    pub fn into_path(self) -> Path<S> {
        self.path
    }

    /// What is filled, holes taken off; square units of `S`, above 0. Exact but for rounding.
    pub fn area(&self) -> f64 {
        self.path.raw().area()
    }

    /// The length of every edge, those of holes included; units of `S`, to a millionth of the shape's half perimeter.
    pub fn perimeter(&self) -> f64 {
        let bounds = self.path.bounds();
        let per_edge = self.path.raw().elements().len().max(1);
        let accuracy = 1e-6 * (bounds.width() + bounds.height()) / per_edge as f64;
        self.path.raw().perimeter(accuracy)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Pattern;

    fn shape(d: &str) -> Result<Shape<Pattern>, Problems> {
        Shape::new(Path::new(kurbo::BezPath::from_svg(d).unwrap()))
    }

    /// A disc of radius 50 with a square hole of 20, drawn the wrong way around.
    #[test]
    fn a_shape_measures_what_is_filled_and_every_edge() {
        let disc = kurbo::Circle::new((0.0, 0.0), 50.0).to_path(1e-9).reverse_subpaths().to_svg();
        let shape = shape(&format!("{disc} M-10 -10H10V10H-10Z")).unwrap();
        let (area, length) = (std::f64::consts::PI * 2500.0 - 400.0, std::f64::consts::TAU * 50.0 + 80.0);
        assert!((shape.area() - area).abs() < 1e-4, "{} is not {area}", shape.area());
        assert!((shape.perimeter() - length).abs() < 1e-3, "{} is not {length}", shape.perimeter());
    }

    #[test]
    fn the_non_zero_rule_fills_a_shape_as_the_even_odd_rule_does() {
        let shape = shape("M0 0V90H90V0Z M10 10V80H80V10Z M20 20V70H70V20Z").unwrap();
        for (place, filled) in [((5.0, 5.0), 1), ((15.0, 15.0), 0), ((45.0, 45.0), 1)] {
            assert_eq!(shape.path().raw().winding(place.into()), filled, "{place:?}");
        }
    }

    #[test]
    fn a_flaw_is_refused_with_its_place() {
        let problems = shape("M0 0L10 10V0L0 10Z").unwrap_err();
        assert_eq!(problems[0].code, "outline_meets_itself");
        assert!(problems[0].text.contains("(5.00, 5.00)"), "{}", problems[0]);
    }

    #[test]
    fn nothing_is_no_shape() {
        assert_eq!(shape("").unwrap_err()[0].code, "outline_empty");
        assert_eq!(shape("M3 3Z").unwrap_err()[0].code, "outline_empty");
    }
}
