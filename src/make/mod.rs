//! The way itself, one readable call per arrow.
//!
//! [`survey`] goes from a build to its pieces at full size, [`plan`] on to pages, [`write_out`] on to files in memory.

mod cut;
mod documents;
mod finding;
mod manifest;
mod outlines;
mod sizing;
mod survey;

pub use documents::{Made, one_page, test_cards, write_out};
pub use finding::{FindReport, FoundReport, find_sheets};
pub use manifest::{Manifest, ProblemReport, failed};
pub use outlines::{Files, TraceReport, trace_pieces};
pub use survey::{Survey, survey};

use crate::drawing::words_beside;
use crate::paper::{Core, Item, Layout, cores, cut_to_length, lay_out};
use crate::problem::{Problem, Problems};
use crate::space::{Path, Pattern};
use crate::taping::{Taping, in_order};
use crate::text::REGULAR;

/// A survey laid out on paper.
#[derive(Debug)]
pub struct Plan {
    /// What was found out before.
    pub survey: Survey,
    /// One layout for each core; papers that share a core share a layout.
    pub layouts: Vec<Layout>,
    /// How each sheet of each layout is taped; `None` for a single page.
    pub tapings: Vec<Vec<Option<Taping>>>,
}

/// Lays the pieces of `survey` out on the papers of its build.
///
/// Errors: paper too small for its margin or overlap; a piece that takes more pages than anybody tapes together.
pub fn plan(mut survey: Survey) -> Result<Plan, Problems> {
    let cores = cores(&survey.build.paper)?;
    warn_missing_letters(&mut survey);
    let cut: Vec<Path<Pattern>> = survey.pieces.iter().map(crate::pattern::Piece::cut_path).collect();
    refuse_endless(&survey, &cut, &cores)?;
    let words: Vec<kurbo::Size> =
        survey.pieces.iter().map(|piece| words_beside(piece, survey.build.wording())).collect();
    let laid_out = |core: &Core| {
        let item = |(path, words): (_, &kurbo::Size)| {
            let small = core.holds(Path::bounds(path).size());
            Item { path, words: if small { *words } else { kurbo::Size::ZERO } }
        };
        lay_out(&cut.iter().zip(&words).map(item).collect::<Vec<Item<'_>>>(), core)
    };
    let checks = survey.build.paper.check_distances;
    let (layouts, tapings) = cores
        .into_iter()
        .map(|core| cut_to_length(core, &|core| laid_out(core).tiles.len()))
        .map(|core| in_order(laid_out(&core), checks))
        .unzip();
    Ok(Plan { survey, layouts, tapings })
}

/// A piece of so many pages is a slip in its size or in the place of a hole, and would take hours to lay out.
fn refuse_endless(survey: &Survey, cut: &[Path<Pattern>], cores: &[Core]) -> Result<(), Problems> {
    const MOST_PAGES: f64 = 2000.0;
    let least_step = cores.iter().map(|core| core.step().area()).fold(f64::INFINITY, f64::min);
    let mut problems = Problems::new();
    for (piece, path) in survey.pieces.iter().zip(cut) {
        let piece = &survey.build.pieces[piece.of];
        let size = path.bounds().size();
        let pages = size.area() / least_step;
        if pages > MOST_PAGES {
            let text = format!(
                "piece “{}” reaches over {:.0} by {:.0} mm with its holes, which takes about {pages:.0} pages, and at \
                 most {MOST_PAGES} are made; check what gives it its size, and where its holes are",
                piece.name.value, size.width, size.height
            );
            problems.push(Problem::error("too_many_pages", text).at(piece.source.place));
        }
    }
    if problems.is_empty() { Ok(()) } else { Err(problems) }
}

/// Letters that the font lacks are told: they stand as question marks on paper.
fn warn_missing_letters(survey: &mut Survey) {
    let Survey { build, problems, .. } = survey;
    let names = build.pieces.iter().map(|piece| (&piece.name.value, piece.name.place));
    for (text, place) in names.chain([(&build.name, build.name_place)]) {
        let missing: Vec<String> = REGULAR.missing(text).iter().map(|c| format!("{c:?}")).collect();
        if !missing.is_empty() {
            let text =
                format!("“{text}” holds {}, which cannot be printed; it stands as ? on paper", missing.join(", "));
            problems.push(Problem::warning("letter_not_in_font", text).at(place));
        }
    }
}
