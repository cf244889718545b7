//! Pipes, tubes and rods as their standards or the trade sell them.

use std::sync::LazyLock;

use serde::Deserialize;

use super::rows;
use crate::units::Length;

/// A pipe, tube or rod of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct PipeSize {
    /// As in the table file: `pvc_sch40_3_4`; empty where the table has none.
    pub id: String,
    /// As a maker says it: `PVC schedule 40 3/4 in`, `wooden dowel 8 mm`.
    pub name: String,
    /// Outside diameter.
    pub outside: Length,
    /// Inside diameter as it usually comes out, at the middle of the wall's tolerance, and the largest that the standard
    /// allows, at the least wall; `None`: solid.
    pub bore: Option<[Length; 2]>,
}

#[derive(Deserialize)]
struct File {
    pipe: Vec<PipeRow>,
    dowel: Vec<DowelRow>,
    tube: Vec<TubeRow>,
}

#[derive(Deserialize)]
struct PipeRow {
    id: String,
    system: String,
    nominal_in: Option<String>,
    nominal_mm: Option<f64>,
    od_mm: f64,
    id_max_mm: f64,
    id_mean_mm: Option<f64>,
}

#[derive(Deserialize)]
struct DowelRow {
    nominal_in: Option<String>,
    od_mm: f64,
}

#[derive(Deserialize)]
struct TubeRow {
    alloy: String,
    od_in: Option<f64>,
    wall_in: Option<f64>,
    od_mm: f64,
    wall_mm: f64,
    id_mm: f64,
}

static PIPES: LazyLock<Vec<PipeSize>> = LazyLock::new(|| {
    let file: File = rows("pipe");
    let pipe = |row: &PipeRow| {
        let nominal = match (&row.nominal_in, row.nominal_mm) {
            (Some(inches), _) => format!("{inches} in"),
            (None, mm) => format!("{} mm", mm.unwrap_or(row.od_mm)),
        };
        PipeSize {
            id: row.id.clone(),
            name: format!("{} {nominal}", row.system),
            outside: Length::mm(row.od_mm),
            // Where the wall's tolerance is not known, neither is more than its least.
            bore: Some([row.id_mean_mm.unwrap_or(row.id_max_mm), row.id_max_mm].map(Length::mm)),
        }
    };
    let dowel = |row: &DowelRow| {
        let nominal =
            row.nominal_in.as_ref().map_or_else(|| format!("{} mm", row.od_mm), |inches| format!("{inches} in"));
        PipeSize {
            id: String::new(),
            name: format!("wooden dowel {nominal}"),
            outside: Length::mm(row.od_mm),
            bore: None,
        }
    };
    let tube = |row: &TubeRow| {
        let sides = match (row.od_in, row.wall_in) {
            (Some(outside), Some(wall)) => format!("{outside} x {wall} in"),
            _ => format!("{} x {} mm", row.od_mm, row.wall_mm),
        };
        PipeSize {
            id: String::new(),
            name: format!("aluminium {} tube {sides}", row.alloy),
            outside: Length::mm(row.od_mm),
            bore: Some([Length::mm(row.id_mm); 2]),
        }
    };
    let pipes = file.pipe.iter().map(pipe);
    pipes.chain(file.dowel.iter().map(dowel)).chain(file.tube.iter().map(tube)).collect()
});

/// All pipes, tubes and rods, in the order of the table.
pub fn pipe_sizes() -> &'static [PipeSize] {
    &PIPES
}

/// The pipe, tube or rod called `name`, its words in any order: `PVC schedule 40 3/4 in`, `3/4 in schedule 40 PVC pipe`,
/// `pvc_sch40_3_4`.
pub fn pipe_size(name: &str) -> Option<&'static PipeSize> {
    let asked = words(name);
    PIPES.iter().find(|size| size.id == name || words(&size.name) == asked)
}

/// The words of a name, sorted; a nominal size of "1-1/4" is as good as "1 1/4".
fn words(name: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in name.split(|c: char| c.is_whitespace() || c == ',') {
        let word = word.trim_matches('"').to_lowercase();
        let parts = match word.split_once('-') {
            Some((whole, part)) if whole.parse::<u32>().is_ok() && part.contains('/') => {
                vec![whole.to_owned(), part.to_owned()]
            }
            _ => vec![word],
        };
        words.extend(
            parts.into_iter().filter(|word| !["", "in", "inch", "mm", "pipe", "x", "×"].contains(&word.as_str())),
        );
    }
    words.sort();
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pipes_have_the_sizes_of_their_standards() {
        // ASTM D1785, tables 1 and 2: outside, and least wall; the largest bore is the one less twice the other.
        for (name, outside_in, wall_in) in [
            ("PVC schedule 40 1/2 in", 0.84, 0.109),
            ("3/4 in schedule 40 PVC pipe", 1.05, 0.113),
            ("pvc schedule 40 1 1/4", 1.66, 0.140),
            ("PVC schedule 80 1-1/2 in", 1.9, 0.2),
        ] {
            let found = pipe_size(name).expect(name);
            let [usual, most] = found.bore.expect("a bore").map(Length::to_inches);
            assert!((found.outside.to_inches() - outside_in).abs() < 1e-4, "{name}");
            assert!((most - (outside_in - 2.0 * wall_in)).abs() < 1e-4 && usual < most, "{name}: {usual} {most}");
        }
        assert_eq!(pipe_size("pvc_sch40_3_4"), pipe_size("PVC schedule 40 3/4 in"));
        // The outside of metric pipes is their name (EN ISO 1452-2, DIN 8062).
        for size in pipe_sizes().iter().filter(|size| size.name.starts_with("PVC-U")) {
            let nominal: f64 = size.name.split(' ').rev().nth(1).and_then(|n| n.parse().ok()).expect("a number");
            assert_eq!(size.outside.to_mm(), nominal, "{}", size.name);
        }
    }

    #[test]
    fn every_pipe_has_a_name_of_its_own_and_is_found_by_it() {
        for size in pipe_sizes() {
            assert_eq!(pipe_size(&size.name), Some(size), "{}", size.name);
            assert!(size.bore.is_none_or(|[usual, most]| usual <= most && most < size.outside), "{}", size.name);
        }
        assert_eq!(pipe_size("wooden dowel 8 mm").map(|size| size.bore), Some(None));
        assert_eq!(pipe_size("schedule 40"), None);
    }
}
