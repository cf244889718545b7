//! Forms that foam is bent or put together to → their flat blanks, with what a builder has to know.

use super::piece::Note;
use crate::build_file::{Build, Core, PieceSpec, Wrap};
use crate::hardware::{Foam, foam_called, pipe};
use crate::problem::Problem;
use crate::space::{Pattern, Point};
use crate::units::Length;
use crate::unrolled::{
    Blank, Tilt, cone, cone_blank, gore, oval_around, panel, panel_side, sleeve, strand_radius, stretch, strip,
    tapering_tilt, turns_length, twist_pitch, wrapped as around,
};

/// A blank, and how it becomes its form.
#[derive(Clone, Debug)]
pub struct Wrapped {
    /// What is cut.
    pub blank: Blank,
    /// How many make one form.
    pub each: u32,
    /// What a builder has to know.
    pub notes: Vec<Note>,
    /// How the seam edges are cut; `None`: square.
    pub tilt: Option<Tilt>,
    /// What is risky about it.
    pub problems: Vec<Problem>,
}

impl Wrapped {
    /// The straight edges that are glued to each other, where it is closed around something; those of cords and strips are not.
    pub fn closing(&self) -> &[[Point<Pattern>; 2]] {
        let wound = self.notes.iter().any(|note| matches!(note, Note::Turns(_)));
        if wound { &[] } else { &self.blank.seams }
    }
}

/// Outer faces stretch by at most so much cold, and warm, as parts (common practice, no source).
const STRETCH: [f64; 2] = [0.10, 0.25];
/// Cords and strips give so much when they are wound, as a part (common practice, no source).
const TAKE_UP: f64 = 0.03;

/// The blank of a piece that is a wrap; `None` for any other. `choices` are the kinds taken of the pipes, by their numbers; the
/// first kind where they do not say.
pub fn wrapped(build: &Build, spec: &PieceSpec, choices: &[usize]) -> Option<Wrapped> {
    let crate::build_file::Source::Wrap(wrap) = &spec.source.value else { return None };
    let ratio = if spec.fixed { 1.0 } else { build.ratio };
    let mm = |length: Length| ratio * length.to_mm();
    let foam = foam_called(spec.foam.unwrap_or(Length::mm(5.0)), &build.foam_at_hand);
    let Foam { thickness, neutral, .. } = foam;
    let core = |core: Core| match core {
        Core::Diameter(inside) => mm(inside),
        // Hardware keeps its size.
        Core::Pipe(index) => {
            let choice = choices.get(index).copied().unwrap_or(0);
            pipe(&build.pipes[index], choice).map_or(0.0, |pipe| pipe.outside)
        }
    };
    let name = &spec.name.value;
    let place = spec.source.place;
    let found = match *wrap {
        Wrap::Round { core: inside, to, length, slant } => {
            let (from, length) = (core(inside), mm(length));
            let to = to.map_or(from, mm);
            let mut found = round(from, to, length, slant, &foam);
            let rise = from * slant.to_radians().tan();
            if rise > length {
                let text = format!(
                    "an end tilted by {slant}° rises by {rise:.0} mm over {from:.0} mm, and the sleeve is {length:.0} mm long; make it longer, or \
                     slant smaller"
                );
                found.problems.push(Problem::warning("slant_too_steep", text).at(place));
            }
            found
        }
        Wrap::Oval { inside, length } => {
            let [long, across] = inside.map(mm);
            let whole = oval_around([long, across], thickness, neutral);
            // It is bent most at the ends of the longer way, where its radius is b²/a.
            let tightest = across * across / long;
            let pieces = parts_on(whole, mm(length), &foam);
            let blank = sleeve(whole / f64::from(pieces), mm(length), 0.0, 1.0);
            bent(blank, pieces, stretch(tightest, thickness, neutral))
        }
        Wrap::Sided { sides, inside, to, length } => {
            let (from, length) = (mm(inside), mm(length));
            let to = to.map_or(from, mm);
            let slope = ((from - to) / 2.0 / length).atan();
            let tilt = tapering_tilt(sides, slope.to_degrees(), thickness);
            // The outer face lies so much farther out, square to the axis.
            let out = thickness / slope.cos();
            let [broad, narrow] = [from, to].map(|inside| panel_side(sides, inside / 2.0 + out));
            let blank = panel(broad, narrow, length / slope.cos());
            let notes = vec![Note::OneOf(sides), Note::Tilted { degrees: tilt.blade, setback: tilt.setback }];
            Wrapped { blank, each: sides, notes, tilt: Some(tilt), problems: Vec::new() }
        }
        Wrap::Ball { gores, inside } => {
            let radius = mm(inside) / 2.0 + neutral * thickness;
            let bend = stretch(mm(inside), thickness, neutral);
            Wrapped {
                notes: [Note::OneOf(gores)].into_iter().chain(stretched(bend)).collect(),
                ..bent(gore(radius, gores), gores, bend)
            }
        }
        Wrap::Cord { strands, thick, pitch, length, tab } => {
            let thick = mm(thick);
            let long =
                turns_length(mm(length), strand_radius(strands, thick), mm(pitch)) * (1.0 + TAKE_UP) + 2.0 * mm(tab);
            let mut found =
                plain(strip(thick, long), strands, vec![Note::OneOf(strands), Note::Turns(mm(pitch)), Note::TakesUp]);
            let least = f64::from(strands) * thick;
            if mm(pitch) < least {
                let text = format!(
                    "{strands} strands of {thick:.0} mm do not lie beside each other within a pitch of {:.0} mm; make it {least:.0} mm or more",
                    mm(pitch)
                );
                found.problems.push(Problem::warning("cord_too_tight", text).at(place));
            }
            found
        }
        Wrap::Twisted { width, pitch, length, tab, warmed } => {
            let width = mm(width);
            let long = mm(length) * (1.0 + TAKE_UP) + 2.0 * mm(tab);
            let least = twist_pitch(width, STRETCH[usize::from(warmed)]);
            let mut found = plain(strip(width, long), 1, vec![Note::Turns(mm(pitch)), Note::TakesUp]);
            if mm(pitch) < least {
                let text = format!(
                    "\"{name}\" twists once around in {:.0} mm, and a strip of {width:.0} mm {} does so in {least:.0} mm or more; its edges \
                     tear or it springs back: make pitch longer{}",
                    mm(pitch),
                    if warmed { "under hot air" } else { "cold" },
                    if warmed { ", or the strip narrower" } else { ", or warm it" }
                );
                found.problems.push(Problem::warning("twist_too_tight", text).at(place));
            }
            found
        }
        Wrap::Wound { core: inside, width, pitch, length, tab } => {
            let middle = core(inside) + 2.0 * neutral * thickness;
            let long = turns_length(mm(length), middle / 2.0, mm(pitch)) + 2.0 * mm(tab);
            let mut found = plain(strip(mm(width), long), 1, vec![Note::Turns(mm(pitch))]);
            // Edge to edge the strip is the pitch times the cosine of its lead.
            let (width, around) = (mm(width), std::f64::consts::PI * middle);
            let edge_to_edge = width / (1.0 - (width / around).powi(2)).max(0.0).sqrt();
            if mm(pitch) < 0.97 * edge_to_edge {
                let next = if width < around {
                    format!("edge to edge its pitch is {edge_to_edge:.0} mm")
                } else {
                    format!("it is as broad as it is around there; make it narrower than {around:.0} mm")
                };
                let text = format!(
                    "a strip of {width:.0} mm wound once around in {:.0} mm overlaps itself; {next}",
                    mm(pitch)
                );
                found.problems.push(Problem::warning("turns_overlap", text).at(place));
            }
            found
                .problems
                .extend(too_much(name, stretch(core(inside), thickness, neutral)).map(|problem| problem.at(place)));
            found
        }
    };
    let mut found = found;
    if found.each > 1
        && let Some(sheet) = foam.sheet.map(|sheet| sheet.map(Length::to_mm))
        && matches!(wrap, Wrap::Round { .. } | Wrap::Oval { .. })
    {
        let text = format!(
            "\"{name}\" is longer than a sheet of {} by {} mm, so {} alike are cut for it, edge to edge; get a larger sheet for one alone",
            sheet[0], sheet[1], found.each
        );
        found.problems.push(Problem::note("wrap_divided", text).at(place));
    }
    let bend = found.notes.iter().find_map(|note| if let Note::Stretched(by) = note { Some(*by) } else { None });
    found.problems.extend(bend.and_then(|by| too_much(name, by)).map(|problem| problem.at(place)));
    if let Some(tilt) = found.tilt.filter(Tilt::is_thin) {
        let text = format!(
            "the edges of \"{name}\" are tilted by {:.0}° and leave a lip too thin to be glued; butt them instead, every second panel \
             {thickness:.1} mm narrower at each edge, or take more sides",
            tilt.blade
        );
        found.problems.push(Problem::warning("thin_lip", text).at(place));
    }
    Some(found)
}

fn plain(blank: Blank, each: u32, notes: Vec<Note>) -> Wrapped {
    Wrapped { blank, each, notes, tilt: None, problems: Vec::new() }
}

fn bent(blank: Blank, each: u32, by: f64) -> Wrapped {
    let first = if each > 1 { Note::OneOf(each) } else { Note::Closes };
    plain(blank, each, [first].into_iter().chain(stretched(by)).collect())
}

fn stretched(by: f64) -> Option<Note> {
    (by > 0.02).then_some(Note::Stretched(by))
}

/// A sleeve or a cut-off cone; of several parts where the sheet is shorter than the blank.
fn round(from: f64, to: f64, length: f64, slant: f64, foam: &Foam) -> Wrapped {
    let Foam { thickness, neutral, .. } = *foam;
    let whole = around(from, thickness, neutral);
    let bend = stretch(from.min(if to > 0.0 { to } else { from }), thickness, neutral);
    if (from - to).abs() < 1e-9 {
        let parts = if slant > 0.0 { 1 } else { parts_on(whole, length, foam) };
        let blank = sleeve(whole / f64::from(parts), length, slant, whole / std::f64::consts::PI);
        return bent(blank, parts, bend);
    }
    let unrolled = cone_blank([from / 2.0, to / 2.0], length, thickness, neutral);
    let both = [whole, around(to, thickness, neutral)];
    let fits = |parts: &u32| {
        let size = cone(&unrolled, both, *parts).outline.bounds().size();
        on_sheet(size.width, size.height, foam)
    };
    let parts = (1..=MOST_PARTS).find(fits).unwrap_or(1);
    bent(cone(&unrolled, both, parts), parts, bend)
}

const MOST_PARTS: u32 = 6;

/// Of how many equal parts side by side a blank is cut so that each fits the sheet; 1 where none do.
fn parts_on(wide: f64, high: f64, foam: &Foam) -> u32 {
    (1..=MOST_PARTS).find(|parts| on_sheet(wide / f64::from(*parts), high, foam)).unwrap_or(1)
}

fn on_sheet(wide: f64, high: f64, foam: &Foam) -> bool {
    let Some(sheet) = foam.sheet else { return true };
    let [a, b] = sheet.map(Length::to_mm);
    wide.max(high) <= a.max(b) && wide.min(high) <= a.min(b)
}

fn too_much(name: &str, by: f64) -> Option<Problem> {
    let [cold, warm] = STRETCH;
    if by <= cold {
        return None;
    }
    let text = if by <= warm {
        format!(
            "the outside of \"{name}\" is stretched by {:.0} % when it is bent, which foam does only warm: heat both faces evenly and hold it \
             until it is cool, or take thinner foam",
            100.0 * by
        )
    } else {
        format!(
            "the outside of \"{name}\" would be stretched by {:.0} %, more than the 25 % that warm foam bears: take thinner foam, or several \
             layers one over the other",
            100.0 * by
        )
    };
    Some(if by <= warm { Problem::note("bent_warm", text) } else { Problem::warning("bent_too_tight", text) })
}
