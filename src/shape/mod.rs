//! Outlines, splines and SVG → paths, each checked to be closed and free of self-crossings.
