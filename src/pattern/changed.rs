//! What is other than for the first wearer beyond being larger or smaller: pipes and foams, which do not scale.

use super::assemble::Assembled;
use super::stacking::Built;

/// Something that was solved anew and came out another way.
#[derive(Clone, Debug, PartialEq)]
pub enum Changed {
    /// Another pipe is taken.
    Pipe {
        /// What the maker calls it.
        name: String,
        /// Outsides before and now, mm.
        outside: [f64; 2],
    },
    /// A part has other layers.
    Part {
        /// Its letters.
        letters: String,
        /// What a builder calls it.
        name: String,
        /// Before and now.
        layers: [Layers; 2],
    },
    /// A joint of pipes has other shims or another depth.
    Joint {
        /// What the maker calls the inner pipe.
        name: String,
        /// How far it reaches in before and now, mm.
        reach: [f64; 2],
    },
}

/// How a part is made up.
#[derive(Clone, Debug, PartialEq)]
pub struct Layers {
    /// The whole thickness, mm.
    pub whole: f64,
    /// Foams of one half, as sold, mm.
    pub foams: Vec<f64>,
}

impl Layers {
    fn of(built: &Built) -> Self {
        let foams = built.stack.foams.iter().map(|foam| foam.sold_as.to_mm()).collect();
        Self { whole: built.thickness(), foams }
    }
}

/// What is other in `now` than in `before`, both of one build for two wearers.
pub fn changed(before: &Assembled, now: &Assembled) -> Vec<Changed> {
    let pipes = before.pipes.iter().zip(&now.pipes).filter(|(a, b)| (a.pipe.outside - b.pipe.outside).abs() > 1e-9);
    let pipes =
        pipes.map(|(a, b)| Changed::Pipe { name: a.pipe.name.clone(), outside: [a.pipe.outside, b.pipe.outside] });
    let parts = before.built.iter().zip(&now.built).filter_map(|(a, b)| {
        let layers = [Layers::of(a), Layers::of(b)];
        let other = layers[0] != layers[1];
        other.then(|| Changed::Part { letters: b.letters.join(" "), name: b.name.clone(), layers })
    });
    let joints =
        before.joints.iter().zip(&now.joints).filter(|(a, b)| a.shim != b.shim || a.engagement != b.engagement);
    let joints = joints.map(|(a, b)| Changed::Joint {
        name: before.pipes[a.inner].pipe.name.clone(),
        reach: [a.engagement, b.engagement],
    });
    pipes.chain(parts).chain(joints).collect()
}
