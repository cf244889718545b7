//! Pipes and rods of the skeleton.

use crate::build_file::{Build, PipeSpec};
use crate::tables::PipeSize;
use crate::units::Length;

/// A pipe or rod as it is taken.
#[derive(Clone, Debug)]
pub struct Pipe {
    /// What the maker calls it.
    pub name: String,
    /// As its standard or the trade calls it; `None`: only measured.
    pub kind: Option<String>,
    /// Outside diameter, mm: measured, else by its standard.
    pub outside: f64,
    /// Inside diameter, mm; `None`: solid.
    pub bore: Option<f64>,
    /// The largest that its standard allows, mm, where it was not measured.
    pub bore_most: Option<f64>,
    /// Which of the kinds that the maker would take it is, from 0.
    pub choice: usize,
}

/// The `choice`th kind of pipe that `spec` would take; what was measured belongs to the first.
pub fn pipe(spec: &PipeSpec, choice: usize) -> Option<Pipe> {
    let size: Option<&PipeSize> = spec.kinds.get(choice).map(|kind| kind.value);
    if size.is_none() && choice > 0 {
        return None;
    }
    let measured = |length: Option<Length>| length.filter(|_| choice == 0).map(Length::to_mm);
    let outside = measured(spec.outside).or_else(|| size.map(|size| size.outside.to_mm()))?;
    let bore = measured(spec.bore);
    Some(Pipe {
        name: spec.name.value.clone(),
        kind: size.map(|size| size.name.clone()),
        outside,
        bore: bore.or_else(|| size.and_then(|size| size.bore).map(|[usual, _]| usual.to_mm())),
        bore_most: size.and_then(|size| size.bore).map(|[_, most]| most.to_mm()).filter(|_| bore.is_none()),
        choice,
    })
}

impl Pipe {
    /// The pipes of a build, each as it is taken first.
    pub fn all(build: &Build) -> Vec<Self> {
        build.pipes.iter().map(|spec| pipe(spec, 0).expect("a pipe has a kind or an outside")).collect()
    }
}

/// How far a pipe of this outside, in mm, reaches into the one around it: three times its outside, or what carries a
/// bending moment in N·m where that is more, √(6M / (D·p)) with 0.15 N/mm² borne by foam (common practice, no source).
pub fn engagement(outside: f64, moment: f64) -> f64 {
    const BORNE: f64 = 0.15;
    const N_MM_PER_N_M: f64 = 1000.0;
    (3.0 * outside).max((6.0 * moment * N_MM_PER_N_M / (outside * BORNE)).sqrt())
}

/// How broad flat foam touches a bare pipe when it gives by `gives` mm: 2√(2Rδ).
pub fn contact_breadth(outside: f64, gives: f64) -> f64 {
    2.0 * (2.0 * outside / 2.0 * gives).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked examples of this project.
    #[test]
    fn a_joint_is_as_long_as_three_diameters_or_its_moment_needs() {
        assert!((engagement(26.67, 2.870) - 80.0).abs() < 0.05);
        assert!((engagement(26.67, 6.0) - (36_000.0 / (26.67 * 0.15_f64)).sqrt()).abs() < 1e-9);
        assert!((contact_breadth(26.6, 0.5) - 7.3).abs() < 0.01);
    }
}
