//! Arguments → calls, messages, exit codes. No geometry here.

mod args;
mod run;
mod say;

pub use args::Args;
pub use run::{Exit, run};
