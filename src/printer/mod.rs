//! What was measured on a printed page → why it is not what it should be, in words.

use std::f64::consts::TAU;

use crate::build_file::PaperSize;
use crate::tables;

/// How far a length on paper is misread with a rule, as a standard deviation in mm (common practice, no source).
const READING_SD_MM: f64 = 0.25;
/// Printers are about so true, as a standard deviation, along and across the paper each for itself (common practice, no source: 0 to
/// 0.6 %).
const OWN_SD: f64 = 0.003;
/// As good as true, mm: what the cover calls good.
const GOOD_MM: f64 = 0.5;
/// How often it is something that is not known here, and within which part of the true size (judgement, no source).
const UNKNOWN: f64 = 0.3;
const UNKNOWN_WITHIN: f64 = 0.5;
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
    /// The size it gives, as a part of the true one; `None` of what is not known here.
    pub factor: Option<f64>,
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
const GOOD: &str = "Nothing to mend: print the rest, all pages on one printer, turned the same way.";
const OWN: &str = "Nothing to mend in the settings. Go on only if the rulers of all pages agree, and print all pages on one printer, \
                   turned the same way; below half a percent it hardly matters where pieces meet their likes.";
const SEEK: &str = "Measure again, from line to line with a steel rule, both sides; then print page 1 again at 100 % or “actual size”.";
const FULL: &str = "Print again at 100 %, with borderless printing off.";
const UNITS: &str = "Print the PDF itself, not a picture or an import of it.";

/// Every cause that gives what was read, within the error of reading; the likeliest first. Last what is not known here, as likely
/// as that leaves it. `paper`: what the document is for; A4 and Letter when left out. Both may lie in the tray, and that paper.
///
/// Every cause is as likely as it is usual, times how likely the readings are with it (Bayes): a cause makes both sides alike, up to
/// what the printer does to each of them.
pub fn explain(sides: &[Side], paper: Option<&PaperSize>) -> Vec<Cause> {
    let own = OWN_SD * OWN_SD;
    let mut causes: Vec<(f64, Cause)> = usual(sides, paper)
        .into_iter()
        .filter_map(|usual| {
            let alike = usual.sd * usual.sd;
            // What is left of the sides, one after the other, once those before have told how far the cause itself is off.
            let (mut off, mut doubt, mut weight) = (0.0, alike, usual.weight);
            for side in sides {
                let each = (READING_SD_MM / side.should_be).powi(2) + own;
                let odd = side.read / side.should_be - usual.factor - off;
                let variance = doubt + each;
                if odd * odd > WITHIN * WITHIN * variance {
                    return None;
                }
                weight *= (-0.5 * odd * odd / variance).exp() / (TAU * variance).sqrt();
                let gain = doubt / variance;
                off += gain * odd;
                doubt -= gain * doubt;
            }
            Some((weight, Cause { what: usual.what, next: usual.next, factor: Some(usual.factor), sure: 0.0 }))
        })
        .collect();
    causes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let what = "something that is not known here".to_owned();
    let unknown = UNKNOWN * (2.0 * UNKNOWN_WITHIN).powf(-(sides.len() as f64));
    causes.push((unknown, Cause { what, next: SEEK, factor: None, sure: 0.0 }));
    let sum: f64 = causes.iter().map(|(weight, _)| weight).sum();
    causes.into_iter().map(|(weight, cause)| Cause { sure: weight / sum, ..cause }).collect()
}

fn usual(sides: &[Side], paper: Option<&PaperSize>) -> Vec<Usual> {
    let trays: Vec<PaperSize> = ["A4", "Letter"].iter().filter_map(|name| PaperSize::named(name).ok()).collect();
    let documents = paper.map_or_else(|| trays.clone(), |paper| vec![paper.clone()]);
    let good = sides.iter().all(|side| (side.read - side.should_be).abs() <= GOOD_MM);
    let (what, next) =
        if good { ("all is well", GOOD) } else { ("the printer itself stretches or shrinks a little", OWN) };
    let mut all = vec![Usual { what: what.to_owned(), next, factor: 1.0, sd: OWN_SD, weight: 3.0 }];
    for document in &documents {
        let own = trays.iter().all(|tray| tray.name != document.name).then_some(document);
        // What comes off a roll is as long as it must be, so only its width can be shrunk.
        for tray in trays.iter().filter(|_| !document.roll).chain(own) {
            all.extend(fitted(document, tray));
        }
    }
    for percent in [90.0, 94.0, 95.0, 96.0, 97.0, 98.0, 99.0, 101.0, 102.0, 103.0, 104.0, 105.0, 110.0] {
        let what = format!("a scale of {percent:.0} % is set in the print dialog");
        all.push(Usual { what, next: FIT, factor: percent / 100.0, sd: 0.001, weight: 0.1 });
    }
    let borderless = "borderless printing enlarges the page by a few percent".to_owned();
    all.push(Usual { what: borderless, next: FULL, factor: 1.03, sd: 0.01, weight: 0.5 });
    for (is, taken) in [(72, 96), (96, 72), (90, 96), (96, 90)] {
        let what = format!("another program drew the page, of {is} units to the inch, at {taken} to the inch");
        let factor = f64::from(is) / f64::from(taken);
        all.push(Usual { what, next: UNITS, factor, sd: 0.001, weight: 0.1 });
    }
    all
}

/// A page shrunk to what a printer can print on the paper in its tray, or to that paper.
fn fitted(document: &PaperSize, tray: &PaperSize) -> Vec<Usual> {
    let same = document.name == tray.name;
    let [[width, height], [across, down]] = [document, tray].map(|paper| [paper.width.to_mm(), paper.height.to_mm()]);
    let shrunk = |across: f64, down: f64| {
        if document.roll { across / width } else { (across / width).min(down / height) }
    };
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
            (1.0, "all is well"),
            (1.003, "the printer itself"),
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
            let Some(factor) = cause.factor else { continue };
            assert!((173.9 / 180.0 - factor).abs() < 2.5 * (0.25_f64 / 180.0).hypot(0.01).hypot(0.003), "{cause:?}");
        }
        let [known @ .., unknown] = causes.as_slice() else { panic!("nothing") };
        assert!(known.windows(2).all(|pair| pair[0].sure >= pair[1].sure));
        assert!(unknown.factor.is_none() && unknown.sure < 0.1, "{unknown:?}");
        assert!(!known.iter().any(|cause| cause.what.contains("itself")), "3 % is no printer's own stretch");
        assert_eq!(known_of(&explain(&across(60.0), None)), 0, "nothing known makes it a third");
    }

    fn known_of(causes: &[Cause]) -> usize {
        causes.iter().filter(|cause| cause.factor.is_some()).count()
    }

    /// The cover calls half a millimetre good; one side of 239 mm for 240 is not.
    #[test]
    fn all_is_well_where_the_cover_says_so() {
        let read = |across: f64, down: f64| {
            let sides = [Side { should_be: 180.0, read: across }, Side { should_be: 240.0, read: down }];
            explain(&sides, None)[0].clone()
        };
        assert!(read(180.5, 239.5).what.contains("well"));
        assert!(read(180.0, 239.0).what.contains("the printer itself"));
    }

    #[test]
    fn borderless_printing_enlarges_both_sides_alike() {
        let read = |across: f64, down: f64| {
            let sides = [Side { should_be: 180.0, read: across }, Side { should_be: 240.0, read: down }];
            explain(&sides, None)
        };
        assert!(read(185.4, 247.2)[..3].iter().any(|cause| cause.what.contains("borderless")));
        let one = read(185.1, 240.0);
        assert!(one[0].factor.is_none(), "no setting stretches one side alone: {one:?}");
        let beyond = read(190.6, 254.1);
        assert!(!beyond[0].what.contains("borderless"), "{beyond:?}");
    }

    #[test]
    fn a_roll_is_paper_too() {
        let roll = PaperSize::named("914 mm roll").expect("a roll");
        let factor = 210.0 / 914.0;
        let sides = [Side { should_be: 180.0, read: 180.0 * factor }, Side { should_be: 240.0, read: 240.0 * factor }];
        assert_eq!(known_of(&explain(&sides, Some(&roll))), 0, "a roll is not fitted to A4");
        let factor = (914.0 - 2.0 * 4.2333) / 914.0;
        let causes = explain(&[Side { should_be: 180.0, read: 180.0 * factor }], Some(&roll));
        assert!(causes.iter().any(|cause| cause.what.contains("914 mm roll")), "{causes:?}");
    }

    /// Two sides tell more than one: fitted to Letter's printable part or shrunk by hand.
    #[test]
    fn a_second_side_rules_causes_out() {
        let a4 = PaperSize::named("A4").expect("a sheet");
        let read = [Side { should_be: 180.0, read: 180.6 }, Side { should_be: 240.0, read: 239.4 }];
        let causes = explain(&read, Some(&a4));
        assert!(causes[0].what.contains("itself"), "{causes:?}");
        assert!(known_of(&causes) <= known_of(&explain(&read[..1], Some(&a4))));
        let read = [Side { should_be: 180.0, read: 173.0 }, Side { should_be: 240.0, read: 240.0 }];
        assert_eq!(known_of(&explain(&read, Some(&a4))), 0, "no setting shrinks one side alone");
    }
}
