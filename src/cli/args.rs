//! What can be typed.

use std::path::PathBuf;
use std::str::FromStr;

use clap::{Parser, Subcommand};

use crate::units::Length;

/// From a reference picture of a costume prop to a full-size pattern on household printer pages.
#[derive(Debug, Parser)]
#[command(name = "spanwright", version, after_help = AFTER)]
pub struct Args {
    /// What to do; the marking page on this folder when left out.
    #[command(subcommand)]
    pub command: Option<Command>,
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
    /// Mark, trace and see it at full size in the browser, on a page that this machine alone can open.
    Mark {
        /// The build file, or a folder of them; this folder when left out.
        build: Option<PathBuf>,
        /// Only print the address of the page.
        #[arg(long)]
        no_open: bool,
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
        /// Only this page of the pattern again, by the name on it, e.g. 3.2; nothing else is written.
        #[arg(long, value_name = "NAME", conflicts_with_all = ["height", "json"])]
        page: Option<String>,
        /// Print the manifest on standard output.
        #[arg(long)]
        json: bool,
    },
    /// Write the foam test card: one page to cut from a batch of foam, whose readings go into the build file.
    TestCard {
        /// The build file.
        build: PathBuf,
        /// The folder to write into; output/<name of the build file> when left out.
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
    },
    /// Judge distances measured on a taped sheet, and name the join most likely at fault.
    Readings {
        /// The build file that the pattern was made from, unchanged.
        build: PathBuf,
        /// What was read, marks by their numbers: 1-9=1243.2 is the distance from mark 1 to mark 9; 1-13:7=0.8 says that mark 7
        /// lies 0.8 mm to the right of a straight edge laid from mark 1 to mark 13, as one looks that way (left is below 0:
        /// 1-13:7=-0.8). Lengths may have units.
        #[arg(required = true, value_name = "READING")]
        readings: Vec<Reading>,
        /// The joined sheet.
        #[arg(long, default_value_t = 1)]
        sheet: usize,
        /// The paper it was printed on; the first of the build file when left out.
        #[arg(long, value_name = "NAME")]
        paper: Option<String>,
        /// Print one JSON document on standard output.
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
    /// Explain what was measured on a printed page.
    Printer {
        /// What about it.
        #[command(subcommand)]
        about: PrinterCommand,
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

/// What can be asked about a printer.
#[derive(Debug, Subcommand)]
pub enum PrinterCommand {
    /// Say why the test square is not as large as it should be: every cause within the error of reading, likeliest first.
    Explain {
        /// How wide the square was printed, and how high where that was measured, e.g. 173.9 or "6 7/8 in".
        #[arg(required = true, num_args = 1..=2, value_name = "READ")]
        read: Vec<Length>,
        /// How wide and how high it should be, as the page says.
        #[arg(long, value_name = "LENGTHS", value_delimiter = ',', default_value = "180,240")]
        of: Vec<Length>,
        /// The paper that the document is made for: A4 or another; A4 and Letter when left out.
        #[arg(long, value_name = "NAME")]
        paper: Option<String>,
    },
}

/// What was read on a taped sheet: "1-9=1243.2" or "1-13:7=0.8".
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// As it was typed.
    pub text: String,
    /// What it says.
    pub reading: crate::taping::Reading,
}

impl FromStr for Reading {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let form =
            || format!("“{text}” is no reading; write 1-9=1243.2, or 1-13:7=0.8 for a mark beside a straight edge");
        let number = |text: &str| text.trim().parse::<usize>().map_err(|_| form());
        let (marks, length) = text.split_once('=').ok_or_else(form)?;
        let (between, beside) = match marks.split_once(':') {
            Some((between, beside)) => (between, Some(number(beside)?)),
            None => (marks, None),
        };
        let (from, to) = between.split_once('-').ok_or_else(form)?;
        let (from, to) = (number(from)?, number(to)?);
        let length = length.trim();
        let (sign, size) = length.strip_prefix('-').map_or((1.0, length), |size| (-1.0, size));
        let mm = sign * size.parse::<Length>().map_err(|error| error.to_string())?.to_mm();
        let all = [Some(from), Some(to), beside];
        let twice = (0..3).any(|i| all[..i].contains(&all[i]));
        if twice || beside.is_none() && mm <= 0.0 {
            return Err(form());
        }
        let reading = match beside {
            Some(mark) => crate::taping::Reading::Beside([from, to], mark, mm),
            None => crate::taping::Reading::Distance([from, to], mm),
        };
        Ok(Self { text: text.to_owned(), reading })
    }
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

    #[test]
    fn readings_are_distances_or_lie_beside_a_straight_edge() {
        use crate::taping::Reading::{Beside, Distance};
        let read = |text: &str| text.parse::<super::Reading>().map(|typed| typed.reading);
        assert_eq!(read("1-9=1243.2"), Ok(Distance([1, 9], 1243.2)));
        assert_eq!(read("9-1=49 in"), Ok(Distance([9, 1], 1244.6)));
        assert_eq!(read("1-13:7=-0.8"), Ok(Beside([1, 13], 7, -0.8)));
        for wrong in [
            "",
            "1-9",
            "1=5",
            "1-1=5",
            "a-b=5",
            "1-9=",
            "1-9=-5",
            "1-9=0",
            "1-9:1=2",
            "1-9:=2",
            "1-9=5 ells",
            "1-9=nan",
        ] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }
}
