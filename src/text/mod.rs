//! Words of one language, the font they are set in, and how wide they come out.
