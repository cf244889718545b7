//! The part of a page that is printed, and the part of that which carries pattern.

use kurbo::{Rect, Size};

use crate::build_file::{PaperSize, PaperSpec};
use crate::problem::Problem;
use crate::units::Length;

/// At the foot of the core: page number, neighbours, legend and a ruler.
pub(crate) const FOOT: f64 = 12.0;
/// At the left of the core: a ruler.
pub(crate) const SIDE: f64 = 5.0;
/// Of front pages that are of another size than the pattern, mm.
const MARGIN: f64 = 10.0;
/// The smallest pattern area that is still worth taping, in mm.
const LEAST_FIELD: Size = Size::new(80.0, 100.0);
/// Papers share a core, and so one numbering, while each keeps at least this share of its own printable area.
const SHARED_AREA: f64 = 0.85;

/// The printed part of a page, the same on every paper that shares it. Millimetres from its own top left corner.
#[derive(Clone, Debug)]
pub struct Core {
    /// Width and height of all that is printed.
    pub size: Size,
    /// The part that carries pattern.
    pub field: Rect,
    /// How much of the pattern two neighbouring pages both show.
    pub overlap: f64,
    /// The papers it fits, each with at least the margin asked for.
    pub papers: Vec<PaperSize>,
}

impl Core {
    /// Where the core stands on `paper`: in its middle.
    pub fn on(&self, paper: &PaperSize) -> Rect {
        let left = (paper.width.to_mm() - self.size.width) / 2.0;
        let top = (paper.height.to_mm() - self.size.height) / 2.0;
        Rect::from_origin_size((left, top), self.size)
    }

    /// The core and the paper of the pages in front of the pattern: these. Where they are so large that a copy shop prints them,
    /// A4, which is printed at home.
    ///
    /// # Panics
    /// Never: A4 stands in the tables.
    pub fn front(&self, paper: &PaperSize) -> (Self, PaperSize) {
        /// Larger than A3, which is the largest that people print at home.
        const LARGE: f64 = 450.0;
        if paper.height.to_mm() <= LARGE {
            return (self.clone(), paper.clone());
        }
        let sheet = crate::tables::sheet("A4").expect("A4 stands in the tables");
        let a4 = PaperSize { name: sheet.name.clone(), width: sheet.width, height: sheet.height, roll: false };
        let size = printable(&a4, MARGIN);
        let field = Rect::new(SIDE, 0.0, size.width, size.height - FOOT);
        (Self { size, field, overlap: self.overlap, papers: vec![a4.clone()] }, a4)
    }

    /// Whether its pages are cut off a roll.
    pub(super) fn is_roll(&self) -> bool {
        self.papers.iter().any(|paper| paper.roll)
    }

    /// Whether something of `size` goes on one page, upright or turned.
    pub fn holds(&self, size: Size) -> bool {
        let field = self.field.size();
        size.min_side() <= field.min_side() && size.max_side() <= field.max_side()
    }

    /// From one page to the next, across and down.
    pub fn step(&self) -> Size {
        Size::new(self.field.width() - self.overlap, self.field.height() - self.overlap)
    }
}

/// The cores for the papers asked for: one for all papers that are alike enough (A4 and Letter), others apart.
///
/// Errors: a margin or an overlap that leaves too little pattern area, with the most that would do.
pub fn cores(spec: &PaperSpec) -> Result<Vec<Core>, Vec<Problem>> {
    let (margin, overlap) = (spec.margin.value.to_mm(), spec.overlap.value.to_mm());
    let mut problems = Vec::new();
    let mut groups: Vec<(Size, Vec<PaperSize>)> = Vec::new();
    for sheet in &spec.sheets {
        let paper = &sheet.value;
        let printable = printable(paper, margin);
        if let Some(problem) = too_small(paper, printable, margin, overlap) {
            problems.push(problem.at(sheet.place));
            continue;
        }
        let share = |size: Size, of: Size| size.area() >= SHARED_AREA * of.area();
        let joined = groups.iter_mut().find(|(size, papers)| {
            let common = Size::new(size.width.min(printable.width), size.height.min(printable.height));
            share(common, printable) && papers.iter().all(|p| share(common, self::printable(p, margin)))
        });
        match joined {
            Some((size, papers)) => {
                *size = Size::new(size.width.min(printable.width), size.height.min(printable.height));
                papers.push(paper.clone());
            }
            None => groups.push((printable, vec![paper.clone()])),
        }
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    Ok(groups
        .into_iter()
        .map(|(size, papers)| Core {
            size,
            field: Rect::new(SIDE, 0.0, size.width, size.height - FOOT),
            overlap,
            papers,
        })
        .collect())
}

/// Whole millimetres, so that a page is easily measured: 190 × 277 on A4 with a margin of 10 mm.
fn printable(paper: &PaperSize, margin: f64) -> Size {
    Size::new((paper.width.to_mm() - 2.0 * margin).floor(), (paper.height.to_mm() - 2.0 * margin).floor())
}

fn too_small(paper: &PaperSize, printable: Size, margin: f64, overlap: f64) -> Option<Problem> {
    let field = Size::new(printable.width - SIDE, printable.height - FOOT);
    if field.width < LEAST_FIELD.width || field.height < LEAST_FIELD.height {
        let most = ((paper.width.to_mm() - LEAST_FIELD.width - SIDE) / 2.0)
            .min((paper.height.to_mm() - LEAST_FIELD.height - FOOT) / 2.0);
        let next = if most < 0.0 {
            "take a larger paper".to_owned()
        } else {
            format!("use a margin of at most {:.0} mm, or a larger paper", most.floor())
        };
        return Some(Problem::error(
            "paper_too_small",
            format!(
                "{} with a margin of {margin} mm leaves {:.0} × {:.0} mm for the pattern; at least {:.0} × {:.0} mm are \
                 needed: {next}",
                paper.name,
                field.width.max(0.0),
                field.height.max(0.0),
                LEAST_FIELD.width,
                LEAST_FIELD.height
            ),
        ));
    }
    let most = Length::mm((field.width / 3.0).floor());
    (overlap > most.to_mm()).then(|| {
        Problem::error(
            "overlap_too_large",
            format!(
                "an overlap of {overlap} mm leaves too little of a pattern area {:.0} mm wide on {}; use at most {:.0} mm",
                field.width,
                paper.name,
                most.to_mm()
            ),
        )
    })
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::problem::{Place, Placed};

    pub(crate) fn spec(sheets: &[(&str, f64, f64)], overlap: f64, margin: f64) -> PaperSpec {
        let placed = |value| Placed::new(value, Place { line: 3, column: 7 });
        PaperSpec {
            sheets: sheets
                .iter()
                .map(|&(name, width, height)| {
                    placed_size(PaperSize {
                        name: name.to_owned(),
                        width: Length::mm(width),
                        height: Length::mm(height),
                        roll: false,
                    })
                })
                .collect(),
            overlap: placed(Length::mm(overlap)),
            margin: placed(Length::mm(margin)),
            last_page_first: false,
            check_distances: 3,
        }
    }

    fn placed_size(size: PaperSize) -> Placed<PaperSize> {
        Placed::new(size, Place { line: 3, column: 7 })
    }

    const A4: (&str, f64, f64) = ("A4", 210.0, 297.0);
    const LETTER: (&str, f64, f64) = ("Letter", 215.9, 279.4);

    #[test]
    fn a4_and_letter_share_one_core_of_190_by_259() {
        let cores = cores(&spec(&[A4, LETTER], 10.0, 10.0)).expect("both papers are large enough");
        assert_eq!(cores.len(), 1);
        assert_eq!((cores[0].size.width, cores[0].size.height), (190.0, 259.0));
        for paper in &cores[0].papers {
            let core = cores[0].on(paper);
            assert!(core.x0 >= 10.0 - 1e-9 && core.y0 >= 10.0 - 1e-9, "{} has a margin of 10 mm: {core:?}", paper.name);
        }
        assert_eq!(cores[0].on(&cores[0].papers[0]).origin(), kurbo::Point::new(10.0, 19.0));
    }

    #[test]
    fn papers_that_differ_much_get_cores_of_their_own() {
        let cores = cores(&spec(&[A4, ("A3", 297.0, 420.0)], 10.0, 10.0)).expect("both papers are large enough");
        assert_eq!(cores.len(), 2);
        assert_eq!((cores[0].size.width, cores[0].size.height), (190.0, 277.0));
    }

    #[test]
    fn a_margin_that_eats_the_page_names_the_most_that_would_do() {
        let problems = cores(&spec(&[A4], 10.0, 70.0)).expect_err("65 mm is too narrow");
        assert_eq!(problems[0].code, "paper_too_small");
        assert!(problems[0].text.contains("at most 62 mm"), "{}", problems[0].text);
        let widest = cores(&spec(&[A4], 10.0, 62.0)).expect("62 mm does");
        assert_eq!(widest[0].field.width(), 81.0);
        assert_eq!(problems[0].place, Some(Place { line: 3, column: 7 }));
        let problems = cores(&spec(&[("slip", 70.0, 120.0)], 10.0, 10.0)).expect_err("no margin does");
        assert!(problems[0].text.contains("take a larger paper"), "{}", problems[0].text);
    }

    #[test]
    fn an_overlap_wider_than_a_third_of_the_page_is_refused() {
        let problems = cores(&spec(&[A4], 62.0, 10.0)).expect_err("61 mm is the most");
        assert!(problems[0].text.contains("at most 61 mm"), "{}", problems[0].text);
        let widest = cores(&spec(&[A4], 61.0, 10.0)).expect("61 mm does");
        assert_eq!(widest[0].overlap, 61.0);
    }
}
