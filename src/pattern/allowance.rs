//! What is taken off the paper because pen, knife, sanding, coats and heat put it on, and the other way around.

use crate::build_file::{CutLine, Cutting, Template};
use crate::hardware::Foam;
use crate::shape::Region;
use crate::space::{Path, Pattern, Point};

/// How the edge of the finished part lies beside that of its template.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Allowance {
    /// What pen and knife leave, mm outwards: on every edge.
    pub knife: f64,
    /// What sanding and coats do besides, mm outwards: on free edges.
    pub finish: f64,
    /// What heat takes off every length, as a part.
    pub shrinks: f64,
}

impl Allowance {
    /// Of a cutting, for one foam: 0, half or all of a traced line, less sanding, and coats.
    pub fn new(cutting: &Cutting, foam: Option<&Foam>) -> Self {
        if cutting.place.is_none() {
            return Self::default();
        }
        let knife = match (cutting.template, cutting.line) {
            (Template::CutThrough, _) | (_, CutLine::Inside) => 0.0,
            (_, CutLine::On) => cutting.pen.to_mm() / 2.0,
            (_, CutLine::Outside) => cutting.pen.to_mm(),
        };
        let finish = cutting.coats.to_mm() - cutting.sanding.to_mm();
        Self { knife, finish, shrinks: foam.map_or(0.0, |foam| foam.shrinks) }
    }

    /// How much larger a part of this size comes out than its template, mm: 2·shift − shrink·size.
    pub fn change(&self, size: f64) -> f64 {
        2.0 * self.shift() - self.shrinks * size
    }

    /// How far a free edge of the finished part lies outside of that of its template, mm.
    pub fn shift(&self) -> f64 {
        self.knife + self.finish
    }

    /// Whether a template is as large as its part.
    pub fn is_none(&self) -> bool {
        *self == Self::default()
    }

    /// The template of a part that is to come out as `part`, whose `free` edges are sanded and coated while the others are `glued`.
    pub fn template(&self, part: &Region<Pattern>, free: &[Path<Pattern>], glued: &[Path<Pattern>]) -> Region<Pattern> {
        let grown =
            |region: Region<Pattern>, by: f64| if by >= 0.0 { region.widened(by) } else { region.narrowed(-by) };
        let cut = grown(part.clone(), -self.knife);
        if self.finish == 0.0 {
            return cut;
        }
        let shift = self.shift();
        let near = |edges: &[Path<Pattern>], far: f64| {
            let lines = edges.iter().flat_map(|edge| edge.flatten(0.01)).filter(|line| line.len() > 1);
            lines.fold(Region::empty(), |all, line| all.or(&beside(&line, far)))
        };
        if self.finish > 0.0 {
            cut.minus(&near(free, shift))
        } else {
            // A little more, so that no sliver is left between the two.
            let more = grown(part.clone(), -shift).and(&near(free, self.knife.max(shift.abs()) + 0.05));
            // Where both meet, the glued edge has the corner.
            cut.or(&more.minus(&near(glued, self.knife)))
        }
    }
}

/// What lies nearer than `far` to an edge, on both sides of it and not beyond its ends.
fn beside(line: &[Point<Pattern>], far: f64) -> Region<Pattern> {
    if line.first() != line.last() {
        return Region::band(line, 2.0 * far);
    }
    let around = Region::polygons(&[line[..line.len() - 1].to_vec()]);
    around.widened(far).minus(&around.narrowed(far))
}

#[cfg(test)]
mod tests {
    use kurbo::{Rect, Shape as _};

    use super::*;
    use crate::problem::Place;
    use crate::units::Length;

    fn cutting(template: Template, line: CutLine, sanding: f64, coats: f64) -> Cutting {
        let [pen, sanding, coats] = [1.0, sanding, coats].map(Length::mm);
        Cutting { template, line, pen, sanding, coats, punches: Vec::new(), place: Some(Place { line: 1, column: 1 }) }
    }

    /// Worked example of this project.
    #[test]
    fn a_part_of_100_mm_comes_out_as_the_worked_example_says() {
        let foam = Foam { shrinks: 0.007, ..Foam::as_called(Length::mm(10.0)) };
        for (line, expected) in [(CutLine::On, -0.6), (CutLine::Outside, 0.4)] {
            let found = Allowance::new(&cutting(Template::TracedRound, line, 0.7, 0.25), Some(&foam)).change(100.0);
            assert!((found - expected).abs() < 1e-9, "{found} is not {expected}");
        }
        let through = Allowance::new(&cutting(Template::CutThrough, CutLine::Outside, 0.0, 0.0), Some(&foam));
        assert_eq!(through.shift(), 0.0);
    }

    #[test]
    fn templates_are_smaller_by_what_is_put_on_and_larger_by_what_is_taken_off() {
        let outline = Path::new(Rect::new(0.0, 0.0, 100.0, 60.0).to_path(0.1));
        let part = Region::of(&outline);
        for (line, sanding, coats) in [
            (CutLine::On, 0.0, 0.0),
            (CutLine::On, 0.7, 0.2),
            (CutLine::Outside, 0.0, 0.4),
            (CutLine::Inside, 0.9, 0.3),
        ] {
            let allowance = Allowance::new(&cutting(Template::TracedRound, line, sanding, coats), None);
            let bounds = allowance.template(&part, std::slice::from_ref(&outline), &[]).path().bounds();
            let by = allowance.shift();
            assert!((bounds.width() - (100.0 - 2.0 * by)).abs() < 0.03, "{line:?}: {bounds:?} by {by}");
        }
    }

    #[test]
    fn a_glued_edge_is_not_sanded() {
        let outline = Path::new(Rect::new(0.0, 0.0, 100.0, 60.0).to_path(0.1));
        let allowance = Allowance { knife: 0.0, finish: -0.5, shrinks: 0.0 };
        // Only its left and its upper edge are free.
        let mut free = kurbo::BezPath::new();
        free.move_to((0.0, 60.0));
        free.line_to((0.0, 0.0));
        free.line_to((100.0, 0.0));
        let bounds = allowance.template(&Region::of(&outline), &[Path::new(free)], &[]).path().bounds();
        assert!((bounds.x0 + 0.5).abs() < 0.02 && (bounds.y0 + 0.5).abs() < 0.02, "{bounds:?}");
        assert!((bounds.x1 - 100.0).abs() < 0.02 && (bounds.y1 - 60.0).abs() < 0.02, "{bounds:?}");
    }
}
