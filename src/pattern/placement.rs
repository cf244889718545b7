//! What lies on what: placement outlines, glue zones, and the order in which they are glued.

use std::collections::BTreeSet;

use super::piece::{Marking, MarkingKind};
use crate::build_file::Build;
use crate::problem::{Place, Problem, Problems};
use crate::shape::Region;
use crate::space::Pattern;

/// The placement outline is drawn so far inside, so that the piece hides its ink, and glue stays so far inside, mm (common
/// practice, no source).
const HIDDEN: f64 = 1.0;
const CLEAN: f64 = 1.5;
/// Where two cover each other by less than this, they touch, mm².
const TOUCHING: f64 = 25.0;
/// Glue zones smaller than this hold nothing, mm².
const HOLDS: f64 = 20.0;

/// One cut piece among those of a build: a layer of a part, or a part.
pub(super) struct Laid {
    /// Index of the piece of the build.
    pub(super) of: usize,
    pub(super) letter: String,
    /// What of its face is seen once its own layers are glued.
    pub(super) face: Region<Pattern>,
    /// It is the lowest layer, so that what is glued below it is its underside.
    pub(super) lowest: bool,
    /// All that it covers.
    pub(super) region: Region<Pattern>,
}

/// The pieces of the build in an order in which each comes after all that it lies on.
pub(super) fn gluing_order(build: &Build) -> Vec<usize> {
    let mut order = Vec::new();
    let mut left: Vec<usize> = (0..build.pieces.len()).collect();
    while !left.is_empty() {
        let ready = |&piece: &usize| build.pieces[piece].building.on.iter().all(|on| order.contains(&on.value));
        // The reader refuses circles.
        let at = left.iter().position(ready).unwrap_or(0);
        order.push(left.remove(at));
    }
    order
}

/// One piece on another.
struct Zone {
    /// Index among the laid ones.
    below: usize,
    /// Index among the pieces of the build.
    upper: usize,
    /// What it covers there.
    region: Region<Pattern>,
}

/// What is drawn on each of those that were laid, and what lies on which.
pub(super) struct Placements {
    pub(super) markings: Vec<Vec<Marking>>,
    /// For each piece of the build, the letters of what its underside is glued onto.
    pub(super) onto: Vec<Vec<String>>,
    pub(super) problems: Problems,
}

/// For each of `laid` the outlines and glue of what lies on it.
pub(super) fn placements(build: &Build, laid: &[Laid]) -> Placements {
    let mut markings: Vec<Vec<Marking>> = vec![Vec::new(); laid.len()];
    let mut onto: Vec<Vec<String>> = vec![Vec::new(); build.pieces.len()];
    let mut problems = Problems::new();
    let mut zones: Vec<Zone> = Vec::new();
    // What lies lower comes first, so that what it covers is covered already for what lies on it.
    for upper in gluing_order(build) {
        let spec = &build.pieces[upper];
        for on in &spec.building.on {
            let mut covers = 0.0;
            for above in laid.iter().filter(|one| one.of == upper && one.lowest) {
                for (index, below) in laid.iter().enumerate().filter(|(_, one)| one.of == on.value) {
                    let between = |zone: &&Zone| zone.below == index && over(build, upper, zone.upper);
                    let whole = above.region.and(&below.face);
                    covers += whole.area();
                    let region = zones.iter().filter(between).fold(whole, |left, zone| left.minus(&zone.region));
                    if region.area() < TOUCHING {
                        continue;
                    }
                    let placed = MarkingKind::Placement(Some(above.letter.clone()));
                    markings[index].extend(marking(placed, &region.narrowed(HIDDEN)));
                    let glue = region.narrowed(CLEAN);
                    if glue.area() > HOLDS {
                        markings[index].extend(marking(MarkingKind::Glue(above.letter.clone()), &glue));
                    }
                    let marked = !region.narrowed(HIDDEN).is_empty();
                    if marked && !onto[upper].contains(&below.letter) {
                        onto[upper].push(below.letter.clone());
                    }
                    zones.push(Zone { below: index, upper, region });
                }
            }
            if covers < TOUCHING {
                let below = &build.pieces[on.value].name.value;
                let text = format!(
                    "\"{}\" is to lie on \"{below}\", and the two do not cover each other as they are drawn; draw them where they belong, \
                     or leave out on",
                    spec.name.value
                );
                problems.push(Problem::warning("lies_on_nothing", text).at(on.place));
            }
        }
    }
    problems.extend(hidden(build, laid, &zones));
    problems.extend((0..build.pieces.len()).filter_map(|upper| beyond(build, laid, upper)));
    problems.extend((0..build.pieces.len()).filter_map(|upper| more_than_carried(build, upper)));
    Placements { markings, onto, problems }
}

/// Much of a piece that lies on nothing was hardly drawn so on purpose.
fn beyond(build: &Build, laid: &[Laid], upper: usize) -> Option<Problem> {
    /// Of its area (common practice, no source).
    const MUCH: f64 = 0.2;
    let spec = &build.pieces[upper];
    let on = |one: &&Laid| spec.building.on.iter().any(|on| on.value == one.of);
    let below = laid.iter().filter(on).fold(Region::empty(), |all, one| all.or(&one.region));
    let own =
        laid.iter().filter(|one| one.of == upper && one.lowest).fold(Region::empty(), |all, one| all.or(&one.region));
    let (whole, left) = (own.area(), own.minus(&below).area());
    // That it lies on none of them at all is told already.
    if below.is_empty() || left < MUCH * whole || left > whole - TOUCHING {
        return None;
    }
    let text = format!(
        "{:.0} % of \"{}\" reaches beyond what it lies on, where nothing holds it; look whether it is drawn in its place",
        100.0 * left / whole,
        spec.name.value
    );
    Some(Problem::note("reaches_beyond", text).at(place_of(build, upper)))
}

/// A piece has two faces, and one of each kind lies on each at most.
fn more_than_carried(build: &Build, upper: usize) -> Option<Problem> {
    let spec = &build.pieces[upper];
    let carries = |below: usize| {
        let below = &build.pieces[below];
        2 * below.building.parts.iter().filter_map(|part| part.copies).fold(below.copies, u32::max)
    };
    let on = spec.building.on.iter().filter(|on| carries(on.value) < spec.copies).min_by_key(|on| carries(on.value))?;
    let below = &build.pieces[on.value];
    let text = format!(
        "{} of \"{}\" are cut, and {} of \"{}\", which carry one on each face; change copies of one of them",
        spec.copies, spec.name.value, below.copies, below.name.value
    );
    Some(Problem::warning("counts_differ", text).at(on.place))
}

fn marking(kind: MarkingKind, region: &Region<Pattern>) -> Option<Marking> {
    (!region.is_empty()).then(|| Marking { kind, path: region.path() })
}

/// Two that cover one place of a third, of which neither lies on the other: one of them cannot be glued there.
fn hidden(build: &Build, laid: &[Laid], zones: &[Zone]) -> Problems {
    let mut problems = Problems::new();
    let mut told: BTreeSet<(usize, usize)> = BTreeSet::new();
    for (k, one) in zones.iter().enumerate() {
        for other in zones[..k].iter().filter(|other| other.below == one.below && other.upper != one.upper) {
            let (a, b) = (one.upper, other.upper);
            if over(build, a, b) || over(build, b, a) {
                continue;
            }
            let both = one.region.and(&other.region);
            if both.area() < TOUCHING || !told.insert((a.min(b), a.max(b))) {
                continue;
            }
            let centre = both.bounds().center();
            let name = |piece: usize| &build.pieces[piece].name.value;
            let text = format!(
                "\"{}\" and \"{}\" both lie on {} and cover each other by {:.0} mm² around ({:.0}, {:.0}) mm, so that one hides where the other \
                 is glued; say which lies on which, with on = [\"{}\", …]",
                name(b),
                name(a),
                laid[one.below].letter,
                both.area(),
                centre.x,
                centre.y,
                name(b)
            );
            problems.push(Problem::warning("both_on_one_place", text).at(place_of(build, a)));
        }
    }
    problems
}

fn place_of(build: &Build, piece: usize) -> Place {
    let spec = &build.pieces[piece];
    spec.building.on.first().map_or(spec.place, |on| on.place)
}

/// Whether `a` lies on `b`, over however many others.
fn over(build: &Build, a: usize, b: usize) -> bool {
    build.pieces[a].building.on.iter().any(|on| on.value == b || over(build, on.value, b))
}
