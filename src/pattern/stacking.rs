//! Which foams a part of layers is made of, and what each layer covers.

use crate::build_file::{Build, PieceSpec, Profile};
use crate::hardware::{Foam, foam_called, stock};
use crate::layers::{Bed, Layered, NoStack, Section, Stack, Wanted, layered, rays, stacks};
use crate::problem::Problem;
use crate::space::{Path, Pattern};

/// A part made of layers.
#[derive(Clone, Debug)]
pub struct Built {
    /// Index of its piece in the build.
    pub of: usize,
    /// Its letter; of a split piece, those of all parts.
    pub letters: Vec<String>,
    /// What a builder calls it.
    pub name: String,
    /// As it comes out: as high as the foams are.
    pub section: Section,
    /// The foams of one half.
    pub stack: Stack,
    /// 2: two halves that mirror each other; 1: its back is flat.
    pub halves: u32,
    /// The thickness that was asked for, mm.
    pub asked: Option<f64>,
    /// From the outline to the middle line where it is broadest, mm.
    pub broad: f64,
    /// The most that has to be sanded off anywhere, mm.
    pub deepest: f64,
    /// Index of the pipe that lies in it, and how.
    pub pipe: Option<(usize, Bed)>,
}

impl Built {
    /// How broad the channel for its pipe is at the face where it begins, mm.
    pub fn channel_breadth(&self) -> Option<f64> {
        self.pipe.map(|(_, bed)| bed.breadth(self.halves))
    }

    /// Of the whole part, both halves together, mm.
    pub fn thickness(&self) -> f64 {
        f64::from(self.halves) * self.stack.half()
    }
}

/// Whether a piece is made of layers.
pub(super) const fn is_built(spec: &PieceSpec) -> bool {
    spec.building.thickness.is_some() || spec.building.layers.is_some() || spec.building.pipe.is_some()
}

/// Foams and layers of a piece, with a pipe of this outside in it where one is.
///
/// Errors: no foams make the thickness; the pipe does not lie in it; a layer that would be empty.
pub(super) fn build_up(
    build: &Build,
    spec: &PieceSpec,
    outline: &Path<Pattern>,
    pipe: Option<(usize, f64)>,
) -> Result<(Built, Layered), Problem> {
    let pipe = pipe.map(|(index, outside)| (index, Bed { outside, groove: spec.building.groove }));
    let how = &spec.building;
    let ratio = if spec.fixed { 1.0 } else { build.ratio };
    let halves = if how.both_sides { 2 } else { 1 };
    let pinned_foams: Option<Vec<Foam>> = how
        .layers
        .as_ref()
        .map(|layers| layers.iter().map(|foam| foam_called(foam.value, &build.foam_at_hand)).collect());
    let of_layers =
        pinned_foams.as_ref().map(|foams| f64::from(halves) * foams.iter().map(|foam| foam.thickness).sum::<f64>());
    let thickness = how.thickness.as_ref().map(|thickness| thickness.value.to_mm());
    // For another wearer the maker's own layers are chosen anew.
    let pinned_foams = pinned_foams.filter(|_| ratio == 1.0);
    let asked = thickness.or(of_layers.filter(|_| ratio != 1.0)).map(|whole| ratio * whole);
    let place = how.thickness.as_ref().map_or(spec.place, |thickness| thickness.place);
    let land = ratio * how.land.value.to_mm() / f64::from(halves);
    let section = |half: f64| Section {
        profile: how.profile.value,
        half,
        land: land.min(0.95 * half),
        edge: how.edge.as_ref().map_or(half, |edge| ratio * edge.value.to_mm()),
    };
    let broad = rays(outline).concat().iter().map(|ray| ray.width).fold(0.0, f64::max);
    let name = &spec.name.value;
    let candidates = match pinned_foams {
        Some(foams) => {
            let place = how.layers.as_ref().and_then(|layers| layers.first()).map_or(place, |layer| layer.place);
            vec![pinned(name, foams, halves, asked, pipe).map_err(|problem| problem.at(place))?]
        }
        None => {
            let wanted = Wanted { whole: asked, halves, bed: pipe.map(|(_, bed)| bed) };
            let sanding = |levels: &[f64]| section(levels[levels.len() - 1]).deepest_sanding(levels, broad);
            let foams = stock(&build.foam_at_hand);
            stacks(&wanted, &foams, &sanding).map_err(|why| refused(name, &why, halves, asked).at(place))?
        }
    };
    let bent = matches!(how.profile.value, Profile::Rounded | Profile::Bevelled);
    if let Some(edge) = how.edge.as_ref().filter(|edge| bent && ratio * edge.value.to_mm() > broad) {
        let text = format!(
            "the edge of \"{name}\" reaches {:.1} mm in from both sides, and the piece is {:.1} mm broad at most, so that nothing is left of its \
             full thickness; make edge {} mm or less",
            ratio * edge.value.to_mm(),
            2.0 * broad,
            (broad - 4.0).floor().max(0.5)
        );
        return Err(Problem::error("section_swallows", text).at(edge.place));
    }
    /// Stacks that are tried before a section is said to swallow its part.
    const TRIED: usize = 12;
    let mut swallowed = None;
    for stack in candidates.into_iter().take(TRIED) {
        let section = section(stack.half());
        let stack = Stack { deepest: section.deepest_sanding(&stack.levels(), broad), ..stack };
        let layers = layered(outline, &section, &stack);
        match layers.regions.iter().position(crate::shape::Region::is_empty) {
            None => {
                let deepest = layers.deepest;
                let built = Built {
                    of: spec.index,
                    letters: Vec::new(),
                    name: name.clone(),
                    section,
                    stack,
                    halves,
                    asked,
                    broad,
                    deepest,
                    pipe,
                };
                return Ok((built, layers));
            }
            Some(layer) => swallowed = swallowed.or(Some((section, stack, layer))),
        }
    }
    let (section, stack, layer) = swallowed.expect("there was a stack, and it was swallowed");
    let from = stack.levels()[layer];
    let text = match section.profile {
        Profile::Rounded | Profile::Bevelled => format!(
            "the edge of \"{name}\" swallows it: {from:.1} mm up, where a layer begins, it has come in by {:.1} mm, and the piece is {:.1} \
             mm broad at most; make edge {} mm or less, or the part thinner",
            section.inset(from, broad).unwrap_or_default(),
            2.0 * broad,
            (broad - 4.0).max(0.5).floor().max(0.5)
        ),
        _ => format!(
            "\"{name}\" is too narrow for its thickness: {from:.1} mm up, where a layer begins, nothing is left of it that can be glued, and \
             it is {:.1} mm broad at most; make it thinner",
            2.0 * broad
        ),
    };
    Err(Problem::error("section_swallows", text).at(how.edge.as_ref().map_or(place, |edge| edge.place)))
}

/// The maker's own foams.
fn pinned(
    name: &str,
    foams: Vec<Foam>,
    halves: u32,
    asked: Option<f64>,
    pipe: Option<(usize, Bed)>,
) -> Result<Stack, Problem> {
    let stack = Stack { foams, slotted: 0, groove: 0.0, deepest: 0.0 };
    let whole = f64::from(halves) * stack.half();
    if let Some(asked) = asked.filter(|asked| (asked - whole).abs() > 1.0) {
        let text = format!(
            "the layers of \"{name}\", {} mm, come to {whole:.1} mm, and thickness is {asked:.1} mm; change one of the two, or leave out \
             layers and have them chosen",
            called(&stack)
        );
        return Err(Problem::error("layers_off", text));
    }
    let Some((_, bed)) = pipe else { return Ok(stack) };
    let Bed { outside, groove } = bed;
    if groove {
        let depth = bed.groove_depth(halves);
        return if stack.foams.first().is_some_and(|foam| foam.thickness >= depth) && stack.half() - depth >= 4.0 - 1e-9
        {
            Ok(Stack { groove: depth, ..stack })
        } else {
            let half = Some(stack.half());
            Err(refused(name, &NoStack::Channel { bed, depth: [depth; 2], half }, halves, Some(whole)))
        };
    }
    let thicknesses: Vec<f64> = stack.foams.iter().map(|foam| foam.thickness).collect();
    let depth = |count: usize| f64::from(halves) * thicknesses[..count].iter().sum::<f64>();
    let squeezed = |count: &usize| (0.0..=0.07 * outside).contains(&(outside - depth(*count)));
    match (1..thicknesses.len()).rev().find(squeezed) {
        Some(slotted) if stack.half() - depth(slotted) / f64::from(halves) >= 4.0 - 1e-9 => {
            Ok(Stack { slotted, ..stack })
        }
        _ => {
            let depth = [outside * 0.93 / f64::from(halves), outside / f64::from(halves)];
            Err(refused(name, &NoStack::Channel { bed, depth, half: Some(stack.half()) }, halves, Some(whole)))
        }
    }
}

/// "10 + 5": foams as they are sold.
fn called(stack: &Stack) -> String {
    let foams: Vec<String> = stack.foams.iter().map(|foam| format!("{}", foam.sold_as.to_mm())).collect();
    foams.join(" + ")
}

fn refused(name: &str, why: &NoStack, halves: u32, asked: Option<f64>) -> Problem {
    let half = if halves == 2 { "each half" } else { "it" };
    let asked = asked.unwrap_or_default();
    match why {
        NoStack::Thickness(nearest) => {
            let nearest = nearest.as_ref().map_or_else(String::new, |stack| {
                let whole = f64::from(halves) * stack.half();
                format!("; nearest is {whole:.1} mm, {half} of {} mm: change thickness to that", called(stack))
            });
            let text = format!(
                "no layers of the foam at hand make the {asked:.1} mm of \"{name}\" within 1 mm{nearest}, or add a foam"
            );
            Problem::error("no_stack", text)
        }
        NoStack::Channel { bed: Bed { outside: pipe, groove }, depth: [least, most], half: room } => {
            let room = room.map_or_else(String::new, |room| format!("; {half} is {room:.1} mm thick"));
            if *groove {
                let text = format!(
                    "a groove for a pipe of {pipe:.2} mm does not go into \"{name}\": it is {most:.1} mm deep, so the innermost foam of {half} has to be \
                     as thick, and a skin of 4 mm or more has to be left over it{room}; make it thicker, take a thinner pipe, or leave out \
                     channel, for a slot through the inner foams"
                );
                return Problem::error("no_channel", text);
            }
            let text = format!(
                "a pipe of {pipe:.2} mm does not lie in \"{name}\": {half} needs inner layers of {least:.1} to {most:.1} mm together, which the \
                 channel goes through, and a skin of 4 mm or more over them{room}; make it thicker, take a thinner pipe, or add a foam"
            );
            Problem::error("no_channel", text)
        }
        NoStack::TooThick(layers) => {
            let text = format!(
                "\"{name}\" would take {layers} layers of the thickest foam at hand for {asked:.0} mm, and 8 are the most that are glued; \
                 add a thicker foam, or make it thinner"
            );
            Problem::error("too_thick", text)
        }
    }
}
