//! What is at hand and never scales: foam as it measures, pipes and rods, punches.

mod foam;
mod pipe;
mod punch;
mod shim;

pub use foam::{Foam, foam_called, stock};
pub use pipe::{Pipe, contact_breadth, engagement, pipe};
pub use punch::{from_both_sides, punch_for};
pub use shim::{NoShim, Shim, ShimStrip, shim};
