//! Rulers along two edges of the core: proof on every page that it was printed at full size.

use super::lines::{Class, Drawing};
use crate::paper::Core;
use crate::space::Page;
use crate::text::{REGULAR, Wording};
use crate::units::MM_PER_INCH;

/// Base line of the figures of the upright ruler, from the left edge of the core.
const SIDE_FIGURES: f64 = 4.4;
/// Em of the figures, in mm.
const FIGURES: f64 = 1.6;

/// On large sheets a ruler is as long as the rule it is checked by.
pub(super) const LONGEST: f64 = 1000.0;

/// The longest ruler that fits into `room` mm: 180.0 and 240.0 on the core of A4 and Letter, 1000.0 on sheets from A0 on.
pub(super) fn length(room: f64) -> f64 {
    ((room / 20.0).floor() * 20.0).min(LONGEST)
}

/// A ruler along the foot of the core and one up its left side: millimetres on one side of the line, inches on the
/// other, the whole length in figures.
pub(super) fn rulers(core: &Core, wording: Wording) -> Drawing<Page> {
    let mut drawing = Drawing::default();
    let across = length(core.size.width - core.field.x0);
    let down = length(core.field.height());
    let left = core.field.x0 + (core.field.width() - across).min(5.0) / 2.0;
    let y = core.size.height - 2.2;
    ruler(&mut drawing, across, |along, aside| (left + along, y + aside));
    figures(&mut drawing, across, wording, |text, along| {
        let x = left + along - REGULAR.width(text, FIGURES) - 0.8;
        (kurbo::Point::new(x, core.size.height - 0.1), 0.0)
    });
    let (x, foot) = (2.6, core.field.y1 - (core.field.height() - down) / 2.0);
    ruler(&mut drawing, down, |along, aside| (x + aside, foot - along));
    figures(&mut drawing, down, wording, |text, along| {
        let y = foot - along + REGULAR.width(text, FIGURES) + 0.8;
        (kurbo::Point::new(SIDE_FIGURES, y), -90.0)
    });
    drawing
}

fn ruler(drawing: &mut Drawing<Page>, length: f64, at: impl Fn(f64, f64) -> (f64, f64)) {
    drawing.straight(Class::SettingOut, at(0.0, 0.0), at(length, 0.0));
    let mut tick = |along: f64, from: f64, to: f64| drawing.straight(Class::SettingOut, at(along, from), at(along, to));
    for (index, along) in steps(length, 10.0) {
        tick(along, if index % 5 == 0 { -2.2 } else { -1.3 }, 0.0);
    }
    // The ends stand out on both sides: they are what is measured.
    tick(0.0, -2.2, 2.2);
    tick(length, -2.2, 2.2);
    for (_, along) in steps(length, MM_PER_INCH).into_iter().skip(1) {
        tick(along, 0.0, 0.6);
    }
}

fn figures(
    drawing: &mut Drawing<Page>,
    length: f64,
    wording: Wording,
    place: impl Fn(&str, f64) -> (kurbo::Point, f64),
) {
    let last_inch = (length / MM_PER_INCH).floor();
    let mut label = |text: String, along: f64| {
        let (at, turn) = place(&text, along);
        drawing.labels.push(super::Label { at: at.into(), text, size: FIGURES, bold: false, turn });
    };
    label(wording.tenths(length), length);
    // Half way between two inches, so that the mm figure at the end keeps its place.
    label(wording.whole_inches(last_inch - 1.0), (last_inch - 1.0) * MM_PER_INCH);
}

fn steps(length: f64, step: f64) -> Vec<(usize, f64)> {
    (0..)
        .zip(std::iter::successors(Some(0.0), |along| Some(along + step)))
        .take_while(|(_, along)| *along <= length + 1e-9)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paper::cores;
    use crate::problem::{Place, Placed};
    use crate::units::{Length, Shown};

    fn core() -> Core {
        let placed = |mm| Placed::new(Length::mm(mm), Place::default());
        let sheet = |name: &str, w, h| {
            let size = crate::build_file::PaperSize {
                name: name.into(),
                width: Length::mm(w),
                height: Length::mm(h),
                roll: false,
            };
            Placed::new(size, Place::default())
        };
        let spec = crate::build_file::PaperSpec {
            sheets: vec![sheet("A4", 210.0, 297.0), sheet("Letter", 215.9, 279.4)],
            overlap: placed(10.0),
            margin: placed(10.0),
            last_page_first: false,
            check_distances: 3,
        };
        cores(&spec).expect("A4 and Letter do").remove(0)
    }

    #[test]
    fn the_rulers_of_a4_and_letter_are_180_and_240_mm_and_stay_outside_the_pattern() {
        let (core, drawing) = (core(), rulers(&core(), Wording::english(Shown::Metric)));
        let longest = |horizontal: bool| {
            let bounds = drawing.lines.iter().map(|line| line.path.bounds());
            bounds.map(|b| if horizontal { b.width() } else { b.height() }).fold(0.0, f64::max)
        };
        assert_eq!((longest(true), longest(false)), (180.0, 240.0));
        for line in &drawing.lines {
            let bounds = line.path.bounds();
            assert!(core.size.to_rect().inflate(1e-9, 1e-9).contains_rect(bounds), "{bounds:?}");
            assert!(bounds.x1 <= core.field.x0 + 1e-9 || bounds.y0 >= core.field.y1 - 1e-9, "{bounds:?}");
        }
    }
}
