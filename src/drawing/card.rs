//! The foam test card: one page of things to cut from one batch of foam, and what to read on them.

use kurbo::{BezPath, Circle, Rect, Shape as _, Vec2};

use super::lines::{Class, Drawing};
use super::{rulers, wrap};
use crate::paper::Core;
use crate::space::Page;
use crate::text::{BOLD, REGULAR, Wording, fill};
use crate::units::Length;

/// Em of running text, mm.
const EM: f64 = 2.6;
const LEADING: f64 = 1.4;
/// The square that is measured before and after heat, and the strip that is closed around something round, mm.
const SQUARE: f64 = 100.0;
const STRIP: [f64; 2] = [180.0, 25.0];
/// Scores of 1 mm depth, 2 mm and so on.
const SCORES: u32 = 5;
const SCORE_LONG: f64 = 62.0;

/// The card, in the frame of `core`, which is that of A4 and Letter or larger; with a disc for each of `punches` that has room.
pub fn test_card(core: &Core, build: &str, punches: &[Length], wording: Wording) -> Drawing<Page> {
    let words = wording.words;
    // The figures of the upright ruler stand close to the field.
    let field = Rect { x0: core.field.x0 + 1.5, ..core.field };
    let mut page = Drawing::default();
    page.add(rulers::rulers(core, wording), Vec2::ZERO);
    let (x, mut y) = (field.x0, field.y0 + 4.0);
    let text = |page: &mut Drawing<Page>, x: f64, y: &mut f64, width: f64, text: &str| {
        for line in wrap(&REGULAR, text, EM, width) {
            *y += EM * LEADING;
            page.text(x, *y, EM, false, line);
        }
        *y += 0.8;
    };
    page.text(x, y + 1.5, 6.5, true, words.card_title);
    y += 3.0;
    text(&mut page, x, &mut y, field.width(), &fill(words.card_intro, &[build]));
    y += 2.0;
    let square = Rect::from_origin_size((x, y), (SQUARE, SQUARE));
    page.line(Class::Cut, square.to_path(0.1));
    let mut inside = y + 2.0;
    let narrow = SQUARE - 8.0;
    for line in [words.card_square, words.card_stack, words.card_weigh] {
        text(&mut page, x + 4.0, &mut inside, narrow, line);
    }
    // A fifth of the square, five times on itself, is what is stacked.
    let fifth = Rect::from_origin_size((x + 4.0, square.y1 - 44.0), (40.0, 40.0));
    page.line(Class::SettingOut, fifth.to_path(0.1));
    scores(&mut page, square.x1 + 10.0, y, wording);
    y = square.y1 + 8.0;
    strip(&mut page, x, y, wording);
    y += STRIP[1] + 3.0;
    text(&mut page, x, &mut y, field.width(), words.card_strip);
    y += 2.0;
    discs(&mut page, Rect::new(x, y, field.x1, y + 34.0), punches, wording);
    y += 36.0;
    for line in [words.card_punches, words.card_glue, words.care_heat, words.care_blade] {
        text(&mut page, x, &mut y, field.width(), line);
    }
    page
}

fn scores(page: &mut Drawing<Page>, x: f64, y: f64, wording: Wording) {
    let words = wording.words;
    const APART: f64 = 14.0;
    for depth in 1..=SCORES {
        let at = y + APART * (f64::from(depth) - 0.5);
        page.straight(Class::Score, (x, at), (x + SCORE_LONG, at));
        let label = fill(words.score_at, &[&wording.length(Length::mm(f64::from(depth)))]);
        page.text(x, at - 1.0, EM, false, label);
    }
    let mut below = y + APART * f64::from(SCORES);
    for line in wrap(&REGULAR, words.card_scores, EM, SCORE_LONG) {
        below += EM * LEADING;
        page.text(x, below, EM, false, line);
    }
}

/// The strip, with a tick at every millimetre and a figure at every ten.
fn strip(page: &mut Drawing<Page>, x: f64, y: f64, wording: Wording) {
    let [long, broad] = STRIP;
    page.line(Class::Cut, Rect::from_origin_size((x, y), (long, broad)).to_path(0.1));
    let mut ticks = BezPath::new();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "its length in whole millimetres")]
    let count = long as u32;
    for mm in 1..count {
        let at = x + f64::from(mm);
        let tall = if mm % 10 == 0 {
            5.0
        } else if mm % 5 == 0 {
            3.5
        } else {
            2.0
        };
        ticks.move_to((at, y));
        ticks.line_to((at, y + tall));
        if mm % 10 == 0 {
            let figure = mm.to_string();
            page.text(at - REGULAR.width(&figure, 2.0) / 2.0, y + 8.0, 2.0, false, figure);
        }
    }
    page.line(Class::SettingOut, ticks);
    let name = fill(wording.words.card_strip_name, &[&wording.tenths(broad)]);
    page.text(x + 4.0, y + broad - 4.0, EM, true, name);
}

/// Discs in a row, the smallest first, as many as have room.
fn discs(page: &mut Drawing<Page>, room: Rect, punches: &[Length], wording: Wording) {
    const USUAL: [f64; 5] = [6.0, 8.0, 10.0, 15.0, 20.0];
    let mut sizes: Vec<f64> = punches.iter().map(|punch| punch.to_mm()).collect();
    if sizes.is_empty() {
        sizes = USUAL.to_vec();
    }
    sizes.sort_by(f64::total_cmp);
    let mut x = room.x0;
    for size in sizes.into_iter().filter(|size| *size <= room.height() - 6.0) {
        let label = wording.length(Length::mm(size));
        let wide = size.max(BOLD.width(&label, EM)) + 4.0;
        if x + wide > room.x1 {
            break;
        }
        let centre = kurbo::Point::new(x + wide / 2.0, room.y0 + size / 2.0);
        page.line(Class::Cut, Circle::new(centre, size / 2.0).to_path(0.01));
        page.text(centre.x - REGULAR.width(&label, EM) / 2.0, room.y0 + size + 4.2, EM, false, label);
        x += wide;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::Language;
    use crate::units::Shown;

    #[test]
    fn the_card_has_its_square_and_its_strip_and_no_word_leaves_it() {
        let build = crate::build_file::read(
            "[build]\nname = \"Vane\"\n[[piece]]\nname = \"vane\"\nfixed = true\noutline = \"M 0 0 H 9 V 9 Z\"\n",
        );
        let cores = crate::paper::cores(&build.build.expect("it reads").paper).expect("paper to print on");
        for language in [Language::English, Language::German] {
            let wording = Wording { words: language.words(), shown: Shown::Both };
            let card = test_card(&cores[0], "Vane", &[6.0, 8.0, 25.4].map(Length::mm), wording);
            let cut: Vec<kurbo::Size> = card
                .lines
                .iter()
                .filter(|line| line.class == Class::Cut)
                .map(|line| line.path.bounds().size())
                .collect();
            assert!(cut.iter().any(|size| (size.width - 100.0).abs() < 1e-9 && (size.height - 100.0).abs() < 1e-9));
            assert!(cut.iter().any(|size| (size.width - 180.0).abs() < 1e-9 && (size.height - 25.0).abs() < 1e-9));
            assert_eq!(cut.iter().filter(|size| (size.width - size.height).abs() < 1e-6).count(), 4, "{cut:?}");
            for label in card.labels.iter().filter(|label| label.turn == 0.0) {
                let face = if label.bold { &*BOLD } else { &*REGULAR };
                let right = label.at.x + face.width(&label.text, label.size);
                assert!(right <= cores[0].size.width && label.at.y <= cores[0].size.height, "{label:?}");
            }
        }
    }
}
