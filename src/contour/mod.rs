//! Picture + loop or inside points → outlines in pixels: closed, simple, finite, sub-pixel, corners kept.
