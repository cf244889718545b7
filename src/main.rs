//! The program `spanwright`.

use std::process::ExitCode;

use clap::Parser as _;
use spanwright::cli::{Args, run};

fn main() -> ExitCode {
    ExitCode::from(run(Args::parse()).code())
}
