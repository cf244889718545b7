//! The skeleton: which pipes are taken, and how one sits in another.

use crate::build_file::Build;
use crate::hardware::{NoShim, Pipe, Shim, engagement, pipe, shim, stock};
use crate::problem::{Problem, Problems};
use crate::space::{Pattern, Point};
use crate::units::Length;

/// A pipe as it is taken.
#[derive(Clone, Debug)]
pub struct PipeFacts {
    /// Which, and how thick.
    pub pipe: Pipe,
    /// How long, mm; `None`: nothing tells.
    pub length: Option<f64>,
}

/// One pipe in the bore of another.
#[derive(Clone, Debug)]
pub struct Joint {
    /// Index of the inner pipe.
    pub inner: usize,
    /// Index of the outer one.
    pub outer: usize,
    /// What holds it in the middle.
    pub shim: Shim,
    /// How far it reaches in, mm.
    pub engagement: f64,
}

/// Every pipe of the build in the kind that was chosen for it, and how long it is by its run.
pub(super) fn pipe_facts(build: &Build, choices: &[usize], runs: &[Option<[Point<Pattern>; 2]>]) -> Vec<PipeFacts> {
    let one = |((spec, choice), run): ((&crate::build_file::PipeSpec, &usize), &Option<[Point<Pattern>; 2]>)| {
        let taken = pipe(spec, *choice).or_else(|| pipe(spec, 0)).expect("a pipe has a kind or an outside");
        let given = spec.length.map(|length| build.ratio * length.to_mm());
        PipeFacts { pipe: taken, length: run.map(|[a, b]| a.distance(b)).or(given) }
    };
    build.pipes.iter().zip(choices).zip(runs).map(one).collect()
}

/// How pipes sit in each other.
///
/// Errors: a bore smaller than the rod in it; a pipe without a bore that is to hold another.
pub(super) fn joints(build: &Build, pipes: &[PipeFacts]) -> Result<(Vec<Joint>, Problems), Problems> {
    let foams = stock(&build.foam_at_hand);
    let (mut joints, mut errors, mut told) = (Vec::new(), Problems::new(), Problems::new());
    for (inner, spec) in build.pipes.iter().enumerate() {
        let Some(into) = &spec.into else { continue };
        let (rod, around) = (&pipes[inner].pipe, &pipes[into.value].pipe);
        let Some(bore) = around.bore else {
            let text =
                format!("\"{}\" is solid, so that nothing goes into it; give its bore, or name a pipe", around.name);
            errors.push(Problem::error("no_bore", text).at(into.place));
            continue;
        };
        let needed = engagement(rod.outside, spec.moment);
        let reach = spec.engagement.as_ref().map_or(needed, |length| length.value.to_mm());
        if let Some(short) = spec.engagement.as_ref().filter(|_| reach < needed - 0.5) {
            let text = format!(
                "\"{}\" reaches {reach:.0} mm into \"{}\" and has to reach {needed:.0} mm, or the joint works loose; make engagement \
                 longer",
                rod.name, around.name
            );
            told.push(Problem::warning("joint_short", text).at(short.place));
        }
        let longest = pipes[into.value].length.unwrap_or(f64::INFINITY);
        if reach > longest {
            let text = format!(
                "\"{}\" would reach {reach:.0} mm into \"{}\", which is only {longest:.0} mm long; make that longer",
                rod.name, around.name
            );
            errors.push(Problem::error("joint_too_long", text).at(into.place));
        }
        match shim(rod.outside, bore, &foams) {
            Ok(shim) => joints.push(Joint { inner, outer: into.value, shim, engagement: reach }),
            Err(NoShim::TooLarge(by)) => {
                let text = format!(
                    "\"{}\" is {:.1} mm thick and the bore of \"{}\" is {bore:.1} mm, {by:.1} mm too small; take a thinner rod or a wider \
                     pipe{}",
                    rod.name,
                    rod.outside,
                    around.name,
                    if around.bore_most.is_some() { ", and measure its real bore" } else { "" }
                );
                errors.push(Problem::error("bore_too_small", text).at(into.place));
            }
            Err(NoShim::NoFoam { gap, loose, tight }) => {
                let foams = |foams: &[Length]| {
                    let each: Vec<String> = foams.iter().map(|foam| format!("{}", foam.to_mm())).collect();
                    each.join(" + ")
                };
                let loose = loose.map(|(all, _)| format!("{} mm is too loose", foams(&all)));
                let tight =
                    tight.map(|(all, by)| format!("{} mm would be squeezed by {:.0} %", foams(&all), 100.0 * by));
                let nearest: Vec<String> = loose.into_iter().chain(tight).collect();
                let text = format!(
                    "no foam at hand holds \"{}\" in \"{}\": the gap is {gap:.2} mm all around, and foam has to be squeezed by 5 to 20 % \
                     in it{}{}; take another pair, or name a foam of {:.1} to {:.1} mm",
                    rod.name,
                    around.name,
                    if nearest.is_empty() { "" } else { ": " },
                    nearest.join(", "),
                    gap / 0.95,
                    gap / 0.8
                );
                told.push(Problem::warning("no_shim", text).at(into.place));
            }
        }
    }
    if errors.is_empty() { Ok((joints, told)) } else { Err(errors) }
}
