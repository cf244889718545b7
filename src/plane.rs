//! Marked rectangle → the map from pixels to the straightened plane.
