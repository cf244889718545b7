//! Shapes + sizes → lettered pieces at full size.
