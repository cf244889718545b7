//! The way itself, one readable call per arrow.
