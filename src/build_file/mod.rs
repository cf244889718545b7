//! The build file: TOML text ↔ [`Build`].
//!
//! What a [`Build`] guarantees to the rooms below: every name resolves, every number is finite and in range, every
//! length is in millimetres, and whatever a later room may have to complain about carries its [`Place`].

mod build;

pub use build::*;
