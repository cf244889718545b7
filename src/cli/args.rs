//! What can be typed.

use std::path::PathBuf;

use clap::{Parser, Subcommand};

use crate::units::Length;

/// From a reference picture of a costume prop to a full-size pattern on household printer pages.
#[derive(Debug, Parser)]
#[command(name = "spanwright", version, arg_required_else_help = true, after_help = AFTER)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// Say nothing but errors.
    #[arg(long, global = true)]
    pub quiet: bool,
}

const AFTER: &str = "Exit codes: 0 done; 1 something in your file needs mending, nothing was written; 2 wrong usage; \
                     3 the machine failed (disk full, no permission).";

/// The commands, the everyday ones first.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Start a build file beside a picture.
    New {
        /// The reference picture.
        picture: PathBuf,
        /// How long the finished prop is, e.g. "1.42 m", measured straight across between its two farthest points: on a
        /// plain ground nothing else is needed.
        #[arg(long, value_name = "LENGTH")]
        finished: Option<Length>,
    },
    /// Mark on the picture in the browser (not built yet: this version takes marks from the build file).
    Mark {
        /// The build file.
        build: Option<PathBuf>,
    },
    /// Show sizes, pieces and every problem; writes nothing.
    Check {
        /// The build file.
        build: PathBuf,
        /// Print one JSON document on standard output.
        #[arg(long)]
        json: bool,
    },
    /// Write the pattern and everything beside it.
    Make {
        /// The build file.
        build: PathBuf,
        /// The folder to write into; output/<name of the build file> when left out.
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Heights of other wearers, barefoot, e.g. 150cm,160cm: each gets a pattern in a folder of its own within.
        #[arg(long, value_name = "LENGTHS", value_delimiter = ',')]
        height: Vec<Length>,
        /// Print the manifest on standard output.
        #[arg(long)]
        json: bool,
    },
    /// Find sheets of paper and cards that lie in the pictures, and put their corners into the build file.
    Find {
        /// The build file.
        build: PathBuf,
        /// Also on pictures that have a known rectangle already: its corners and size are replaced.
        #[arg(long)]
        again: bool,
        /// Print one JSON document on standard output.
        #[arg(long)]
        json: bool,
    },
    /// Trace outlines from the pictures and put them into the build file.
    Trace {
        /// The build file.
        build: PathBuf,
        /// Only the piece of this name.
        #[arg(long, value_name = "NAME")]
        piece: Option<String>,
        /// Also pieces that have an outline already: it is replaced.
        #[arg(long)]
        again: bool,
        /// Also write a picture with the outlines on it, nodes and corners marked.
        #[arg(long)]
        overlay: bool,
        /// Print one JSON document on standard output.
        #[arg(long)]
        json: bool,
    },
    /// Show a table of reference values with its sources.
    Tables {
        /// Its name; all names when left out.
        name: Option<String>,
    },
    /// Print the JSON Schema of the build file, for editors.
    Schema,
    /// Print a completion script.
    Completions {
        /// For this shell.
        shell: clap_complete::Shell,
    },
    /// Print the manual page.
    Man,
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory as _;

    #[test]
    fn the_arguments_are_sound_and_the_everyday_commands_stand_first() {
        let command = super::Args::command();
        command.clone().debug_assert();
        let names: Vec<&str> = command.get_subcommands().map(clap::Command::get_name).take(4).collect();
        assert_eq!(names, ["new", "mark", "check", "make"]);
    }
}
