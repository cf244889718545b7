//! What was measured on a printed page → why it is not what it should be, in words.

use crate::tables;

/// How far a length on paper is misread with a rule, as a standard deviation in mm (common practice, no source).
const READING_SD_MM: f64 = 0.25;
/// Printers are about so true along and across the paper, as a standard deviation (common practice, no source: 0 to 0.6 %).
const OWN_SD: f64 = 0.004;
/// Causes whose sizes lie within so many standard deviations of what was read are told.
const WITHIN: f64 = 2.5;

/// A side of the test square, as it should be and as it was read, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Side {
    /// As it should be.
    pub should_be: f64,
    /// As it was read.
    pub read: f64,
}

/// Something that makes a page print at another size.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    /// In words.
    pub what: String,
    /// What to do now.
    pub next: &'static str,
    /// The size it gives, as a part of the true one.
    pub factor: f64,
    /// How likely it is, of all causes that are known here; 0 to 1.
    pub sure: f64,
}

/// A cause before anything was read: how usual it is beside the others (judgement, no source), and how far its factor spreads.
struct Usual {
    what: String,
    next: &'static str,
    factor: f64,
    sd: f64,
    weight: f64,
}

const FIT: &str = "Print again at 100 % or “actual size”, with the paper of the printer set to what lies in the tray.";
const PAPER: &str = "Open the PDF of the paper that lies in the tray, and print at 100 %.";
const OWN: &str = "Nothing to mend in the settings. Below half a percent it hardly matters where pieces meet their likes; print all pages \
                   on one printer, turned the same way.";
const FULL: &str = "Print again at 100 %, with borderless printing off.";
const UNITS: &str = "Print the PDF itself, not a picture or an import of it.";

/// Every cause that gives what was read, within the error of reading; the likeliest first. `paper`: what the document is for and
/// what lies in the tray may be, by name; both A4 and Letter when left out.
pub fn explain(sides: &[Side], paper: Option<&str>) -> Vec<Cause> {
    let mut causes: Vec<(f64, Cause)> = usual(paper)
        .into_iter()
        .filter_map(|usual| {
            // A printer may stretch each side by another little: beside a cause, that is part of the doubt.
            let z = |side: &Side| {
                let sd = (READING_SD_MM / side.should_be).hypot(usual.sd);
                ((side.read / side.should_be - usual.factor) / sd, sd)
            };
            let all: Vec<(f64, f64)> = sides.iter().map(z).collect();
            if all.iter().any(|(z, _)| z.abs() > WITHIN) {
                return None;
            }
            let log: f64 = all.iter().map(|(z, sd)| -0.5 * z * z - sd.ln()).sum();
            let cause = Cause { what: usual.what, next: usual.next, factor: usual.factor, sure: 0.0 };
            Some((usual.weight * log.exp(), cause))
        })
        .collect();
    let sum: f64 = causes.iter().map(|(weight, _)| weight).sum();
    causes.sort_by(|a, b| b.0.total_cmp(&a.0));
    causes.into_iter().map(|(weight, cause)| Cause { sure: weight / sum, ..cause }).collect()
}

fn usual(paper: Option<&str>) -> Vec<Usual> {
    let names: Vec<&str> = paper.map_or_else(|| vec!["A4", "Letter"], |name| vec![name]);
    let sheets =
        |names: &[&str]| -> Vec<&'static tables::Sheet> { names.iter().filter_map(|n| tables::sheet(n)).collect() };
    let (documents, trays) = (sheets(&names), sheets(&["A4", "Letter"]));
    let mut all = vec![Usual {
        what: "the printer itself is a little off, or all is well".to_owned(),
        next: OWN,
        factor: 1.0,
        sd: OWN_SD,
        weight: 3.0,
    }];
    for document in &documents {
        let size = [document.width.to_mm(), document.height.to_mm()];
        let own = trays.iter().all(|tray| tray.id != document.id).then_some(document);
        for tray in trays.iter().chain(own) {
            all.extend(fitted(document, tray, size));
        }
    }
    for percent in [90.0, 94.0, 95.0, 96.0, 97.0, 98.0, 99.0, 101.0, 102.0, 103.0, 104.0, 105.0, 110.0] {
        let what = format!("a scale of {percent:.0} % is set in the print dialog");
        all.push(Usual { what, next: FIT, factor: percent / 100.0, sd: 0.001, weight: 0.1 });
    }
    let borderless = "borderless printing enlarges the page by a few percent".to_owned();
    all.push(Usual { what: borderless, next: FULL, factor: 1.03, sd: 0.012, weight: 0.5 });
    for (is, taken) in [(72, 96), (96, 72), (90, 96), (96, 90)] {
        let what = format!("another program drew the page, of {is} units to the inch, at {taken} to the inch");
        let factor = f64::from(is) / f64::from(taken);
        all.push(Usual { what, next: UNITS, factor, sd: 0.001, weight: 0.1 });
    }
    all
}

/// A page shrunk to what a printer can print on the paper in its tray, or to that paper.
fn fitted(document: &tables::Sheet, tray: &tables::Sheet, [width, height]: [f64; 2]) -> Vec<Usual> {
    let same = document.id == tray.id;
    let [across, down] = [tray.width.to_mm(), tray.height.to_mm()];
    let shrunk = |across: f64, down: f64| (across / width).min(down / height);
    let mut all = Vec::new();
    if !same {
        let what = format!("the {} page was fitted to {} paper", document.name, tray.name);
        all.push(Usual { what, next: PAPER, factor: shrunk(across, down), sd: 0.001, weight: 1.0 });
    }
    for margin in tables::margins() {
        let factor = shrunk(across - margin.left_mm - margin.right_mm, down - margin.top_mm - margin.bottom_mm);
        let device = margin.device.trim_end_matches(", all sides");
        let what =
            format!("the {} page was shrunk to the printable part of {} paper ({device})", document.name, tray.name);
        let weight = if same { 1.0 } else { 0.5 };
        all.push(Usual { what, next: if same { FIT } else { PAPER }, factor, sd: 0.002, weight });
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn across(read: f64) -> [Side; 1] {
        [Side { should_be: 180.0, read }]
    }

    /// Paper sizes by ISO 216 and PWG 5101.1, margins of 1/6 in: printer driver documentation, 1992 (tables/paper.toml).
    #[test]
    fn usual_mistakes_are_named_first() {
        for (factor, words) in [
            (279.4 / 297.0, "the A4 page was fitted to Letter paper"),
            (210.0 / 215.9, "the Letter page was fitted to A4 paper"),
            ((210.0 - 2.0 * 4.2333) / 210.0, "the A4 page was shrunk to the printable part of A4 paper"),
            (1.0, "the printer itself"),
            (0.75, "units to the inch"),
        ] {
            let sides =
                [Side { should_be: 180.0, read: 180.0 * factor }, Side { should_be: 240.0, read: 240.0 * factor }];
            let causes = explain(&sides, None);
            let two: Vec<&str> = causes.iter().take(2).map(|cause| cause.what.as_str()).collect();
            assert!(two.iter().any(|what| what.contains(words)), "{factor}: {two:?}");
            assert!((causes.iter().map(|cause| cause.sure).sum::<f64>() - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn every_cause_within_the_error_of_reading_is_told_and_no_other() {
        let causes = explain(&across(173.9), None);
        assert!(causes.len() > 1, "{causes:?}");
        for cause in &causes {
            assert!((173.9 / 180.0 - cause.factor).abs() < 2.5 * (0.25_f64 / 180.0).hypot(0.012), "{cause:?}");
        }
        assert!(causes.windows(2).all(|pair| pair[0].sure >= pair[1].sure));
        assert!(!causes.iter().any(|cause| cause.what.contains("itself")), "3 % is no printer's own stretch");
        assert_eq!(explain(&across(60.0), None), [], "nothing known makes it a third");
    }

    /// Two sides tell more than one: fitted to Letter's printable part or shrunk by hand.
    #[test]
    fn a_second_side_rules_causes_out() {
        let read = [Side { should_be: 180.0, read: 180.6 }, Side { should_be: 240.0, read: 239.4 }];
        let causes = explain(&read, Some("A4"));
        assert!(causes[0].what.contains("itself"), "{causes:?}");
        assert!(causes.len() < explain(&read[..1], Some("A4")).len() + 1);
        let read = [Side { should_be: 180.0, read: 173.0 }, Side { should_be: 240.0, read: 240.0 }];
        assert_eq!(explain(&read, Some("A4")), [], "no setting shrinks one side alone");
    }
}
