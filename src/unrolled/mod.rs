//! Surfaces that foam is bent or put together to → the flat blanks they are cut from.
//!
//! Foam has a thickness, so that lengths are those of the layer that keeps its length: `neutral` is where that lies, from
//! the inside face, as a part of the thickness. Lengths in mm, angles in degrees.

mod blank;
mod round;
mod sided;
mod wound;

pub use blank::{Blank, cone, gore, panel, sleeve, strip};
pub use round::{Cone, cone_blank, half_gore, oval_around, sleeve_end, stretch, wrapped};
pub use sided::{Tilt, panel_side, tapering_tilt, tilt};
pub use wound::{strand_radius, turns_length, twist_pitch};
