//! The sizes that the marks may mean, side by side at one scale: the prop by each source, a door, the wearer.

use kurbo::{Affine, BezPath, Rect, Shape as _, Size, Vec2};

use super::lines::{Class, Drawing};
use super::preview::{Figure, flat_figure};
use super::{shorten, wrap};
use crate::space::Page;
use crate::text::{BOLD, REGULAR, Words};

/// The prop by one source.
#[derive(Clone, Debug)]
pub struct SizeShown {
    /// "by the figure"
    pub by: String,
    /// "1415 mm, give or take 22 mm"
    pub length: String,
    /// Over the size that was chosen.
    pub times: f64,
    /// It is the one that was chosen.
    pub chosen: bool,
}

/// A door as it is commonly made, mm (common practice, no source).
const DOOR: Size = Size::new(800.0, 2000.0);
/// White between shapes and em of words, as parts of the height of the drawing.
const GAP: f64 = 0.05;
const EM: f64 = 0.023;

/// `outline`: all that is to be seen of the prop at the size that was chosen, mm, standing upright on y = 0 and about x = 0.
/// The drawing and its size, in mm at full size.
pub fn sizes(outline: &BezPath, shown: &[SizeShown], figure: Option<&Figure>, words: &Words) -> (Drawing<Page>, Size) {
    let own = outline.bounding_box();
    let tallest = shown.iter().map(|size| size.times * own.height()).fold(DOOR.height, f64::max);
    let height = figure.map_or(tallest, |figure| tallest.max(figure.height.to_mm()));
    let (gap, em) = (GAP * height, EM * height);
    let mut drawing = Drawing::default();
    let ground = gap + height;
    let mut x = gap;
    let mut lowest = ground;
    let mut stand = |drawing: &mut Drawing<Page>, class: Class, path: BezPath, words: &[(bool, &str)]| {
        let bounds = path.bounding_box();
        // As wide as its widest word, and as a column that can be read.
        let widest =
            words.iter().flat_map(|(_, words)| words.split(' ')).map(|w| BOLD.width(w, em)).fold(0.0, f64::max);
        let width = bounds.width().max(widest).max(8.0 * em);
        let middle = x + width / 2.0;
        let placed = Affine::translate(Vec2::new(middle - bounds.center().x, ground)) * path;
        if class == Class::SettingOut && words.len() > 1 {
            drawing.dashed(class, placed, [0.012 * height, 0.006 * height]);
        } else {
            drawing.line(class, placed);
        }
        let mut y = ground + 0.6 * em;
        for (bold, words) in words {
            let face = if *bold { &BOLD } else { &REGULAR };
            for line in wrap(face, words, em, width) {
                y += 1.4 * em;
                drawing.text(middle - face.width(&line, em) / 2.0, y, em, *bold, line);
            }
        }
        lowest = lowest.max(y);
        x += width + gap;
    };
    let door = Rect::new(0.0, -DOOR.height, DOOR.width, 0.0).to_path(0.1);
    stand(&mut drawing, Class::SettingOut, door, &[(false, words.door)]);
    if let Some(figure) = figure {
        let person = flat_figure(figure.height.to_mm());
        stand(&mut drawing, Class::SettingOut, person, &[(false, figure.caption.as_str())]);
    }
    for size in shown {
        let path = Affine::scale(size.times) * outline.clone();
        let class = if size.chosen { Class::Cut } else { Class::SettingOut };
        let chosen = if size.chosen { words.size_chosen } else { "" };
        stand(&mut drawing, class, path, &[(true, size.by.as_str()), (false, size.length.as_str()), (false, chosen)]);
    }
    let mut floor = BezPath::new();
    floor.move_to((0.0, ground));
    floor.line_to((x, ground));
    drawing.line(Class::SettingOut, floor);
    (drawing, Size::new(x, lowest + gap))
}

/// `drawing`, of `size`, as large as it fits on a page of `core` below a heading and the `name` of the build.
pub fn sizes_page(drawing: &Drawing<Page>, size: Size, core: Size, name: &str, words: &Words) -> Drawing<Page> {
    /// Room for the heading, in mm.
    const ABOVE: f64 = 20.0;
    /// Em of the heading and of the line below it.
    const HEADING: [f64; 2] = [5.0, 2.7];
    let mut page = Drawing::default();
    page.text(0.0, 2.7, HEADING[1], false, shorten(&REGULAR, name, HEADING[1], core.width));
    page.text(0.0, 9.5, HEADING[0], true, words.sizes_heading);
    for (i, line) in wrap(&REGULAR, words.sizes_below, HEADING[1], core.width).into_iter().take(2).enumerate() {
        page.text(0.0, 14.0 + 3.6 * f64::from(u8::from(i == 1)), HEADING[1], false, line);
    }
    let scale = (core.width / size.width).min((core.height - ABOVE) / size.height);
    let map = Affine::translate((0.0, ABOVE)) * Affine::scale(scale);
    for line in &drawing.lines {
        let path = map * line.path.raw().clone();
        match line.dash {
            Some(dash) => page.dashed(line.class, path, dash.map(|mm| mm * scale)),
            None => page.line(line.class, path),
        }
    }
    for label in &drawing.labels {
        let at = map * label.at.raw();
        page.text(at.x, at.y, label.size * scale, label.bold, label.text.clone());
    }
    page
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::ENGLISH;

    #[test]
    fn everything_stands_on_one_floor_at_one_scale_and_no_words_meet() {
        let staff = Rect::new(-30.0, -1400.0, 30.0, 0.0).to_path(0.1);
        let one = |by: &str, times: f64, chosen| SizeShown {
            by: by.to_owned(),
            length: format!("{:.0} mm, give or take 22 mm", 1400.0 * times),
            times,
            chosen,
        };
        let shown = [
            one("by the figure", 1.0, true),
            one("by the known rectangle", 1.1, false),
            one("by the hand", 0.9, false),
        ];
        let (drawing, size) = sizes(&staff, &shown, None, &ENGLISH);
        let heights: Vec<f64> = drawing.lines.iter().map(|line| line.path.bounds().height()).collect();
        for (found, expected) in heights.iter().zip([2000.0, 1400.0, 1540.0, 1260.0, 0.0]) {
            assert!((found - expected).abs() < 1e-6, "{heights:?}");
        }
        let floor = drawing.lines[4].path.bounds().y0;
        assert!(drawing.lines[..4].iter().all(|line| (line.path.bounds().y1 - floor).abs() < 1e-6));
        assert!(drawing.lines.iter().filter(|line| line.class == Class::Cut).count() == 1);
        let boxes: Vec<Rect> = drawing
            .labels
            .iter()
            .map(|label| {
                let face = if label.bold { &BOLD } else { &REGULAR };
                Rect::new(
                    label.at.x,
                    label.at.y - label.size,
                    label.at.x + face.width(&label.text, label.size),
                    label.at.y,
                )
            })
            .collect();
        for (i, one) in boxes.iter().enumerate() {
            assert!(one.x0 >= 0.0 && one.x1 <= size.width && one.y1 <= size.height);
            assert!(boxes[..i].iter().all(|other| one.intersect(*other).area() < 1e-9), "{:?}", drawing.labels[i]);
        }
    }
}
