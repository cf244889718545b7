//! Shapes + sizes + hardware → lettered pieces at full size.
//!
//! A [`Piece`] has a letter of its own, an outline in millimetres, and words that tell a builder how to cut it. What the maker
//! draws as one piece may become several: the parts that it is split into, and the layers of each.

mod allowance;
mod assemble;
mod changed;
mod cut;
mod divide;
mod frail;
mod joined;
mod letters;
mod lines;
mod parted;
mod piece;
mod pipes;
mod placement;
mod propose;
mod ready;
mod seam;
mod stacking;
mod wraps;

pub use allowance::Allowance;
pub use assemble::{Assembled, Drawn, PunchUse, SeamFacts, Step, assemble};
pub use changed::{Changed, Layers, changed};
pub use divide::{Division, NotDivided, Part, Shared, divide};
pub use frail::{Frail, Frailty, frail, frail_problems};
pub use letters::letters;
pub use piece::{Marking, MarkingKind, Note, Piece, RoundHole};
pub use pipes::{Joint, PipeFacts};
pub use propose::splits;
pub use seam::{Edge, OnEdge, Verdict, fractions, verdict};
pub use stacking::Built;
pub use wraps::{Wrapped, wrapped};
