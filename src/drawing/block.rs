//! The words on a piece: its letter, its name, how it is cut, how large it is, and which way is up.

use kurbo::{BezPath, Size, Vec2};

use super::building::note_words;
use super::lines::{Class, Drawing};
use crate::pattern::Piece;
use crate::space::Page;
use crate::text::{BOLD, Face, REGULAR, Wording, fill};
use crate::units::Length;

/// How a block of words is set: the width its lines are wrapped to, and how much smaller than usual.
#[derive(Clone, Copy, Debug)]
pub(super) struct Setting {
    wrap: f64,
    scale: f64,
}

/// Settings in the order of preference: readable first, then whatever fits.
pub(super) const SETTINGS: [Setting; 12] = [
    Setting { wrap: 62.0, scale: 1.0 },
    Setting { wrap: 90.0, scale: 1.0 },
    Setting { wrap: 46.0, scale: 1.0 },
    Setting { wrap: 150.0, scale: 1.0 },
    Setting { wrap: 46.0, scale: 0.8 },
    Setting { wrap: 80.0, scale: 0.8 },
    Setting { wrap: 34.0, scale: 0.8 },
    Setting { wrap: 130.0, scale: 0.8 },
    Setting { wrap: 34.0, scale: 0.65 },
    Setting { wrap: 70.0, scale: 0.65 },
    Setting { wrap: 26.0, scale: 0.65 },
    Setting { wrap: 120.0, scale: 0.65 },
];

/// For words that stand beside a piece too small to hold them.
pub(super) const BESIDE: [Setting; 8] = [
    Setting { wrap: 44.0, scale: 0.8 },
    Setting { wrap: 62.0, scale: 0.8 },
    Setting { wrap: 34.0, scale: 0.8 },
    Setting { wrap: 90.0, scale: 0.8 },
    Setting { wrap: 44.0, scale: 0.65 },
    Setting { wrap: 30.0, scale: 0.65 },
    Setting { wrap: 70.0, scale: 0.65 },
    Setting { wrap: 110.0, scale: 0.65 },
];

/// Beside a piece, room is kept for these; larger ones stand there where there is more.
pub(super) const KEPT: Setting = BESIDE[4];

/// Small, but better than no words at all.
pub(super) const SMALLEST: [Setting; 4] = [
    Setting { wrap: 40.0, scale: 0.55 },
    Setting { wrap: 24.0, scale: 0.55 },
    Setting { wrap: 64.0, scale: 0.55 },
    Setting { wrap: 110.0, scale: 0.55 },
];

/// Words in place, from their own top left corner.
pub(super) struct Block {
    pub(super) size: Size,
    pub(super) drawing: Drawing<Page>,
}

/// Which way the top of a piece that is not turned points on the page.
pub(super) const UP: Vec2 = Vec2::new(0.0, -1.0);

/// The words of `piece`, whose top points along `up`; `sideways` sets them from below to above.
pub(super) fn block(piece: &Piece, wording: Wording, setting: Setting, up: Vec2, sideways: bool) -> Block {
    let Setting { wrap, scale } = setting;
    let mut set = Setter { drawing: Drawing::default(), y: 0.0, width: 0.0 };
    // Sideways words are turned a quarter to the left at the end, so their arrow is turned to the right first.
    let arrow = if sideways { Vec2::new(-up.y, up.x) } else { up };
    set.heading(&piece.letter, wording.words.top, 11.0 * scale, arrow);
    set.paragraph(&BOLD, true, &piece.name, 4.0 * scale, wrap);
    set.paragraph(&REGULAR, false, &cut_words(piece, wording), 3.1 * scale, wrap);
    let (width, height) = piece.size();
    let size = fill(wording.words.wide_high, &[&wording.length(width), &wording.length(height)]);
    set.paragraph(&REGULAR, false, &size, 3.1 * scale, wrap);
    if let Some(holes) = holes_words(piece, wording) {
        set.paragraph(&REGULAR, false, &holes, 3.1 * scale, wrap);
    }
    for note in note_words(piece, wording) {
        set.paragraph(&REGULAR, false, &note, 2.7 * scale, wrap);
    }
    set.block(sideways)
}

/// The words of `piece` where they stand apart from it; `page` is the one that it lies on.
pub(super) fn block_apart(piece: &Piece, wording: Wording, setting: Setting, up: Vec2, page: &str) -> Block {
    let mut set = Setter { drawing: Drawing::default(), y: 0.0, width: 0.0 };
    let apart = fill(wording.words.words_apart, &[&piece.letter, page]);
    set.paragraph(&BOLD, true, &apart, 2.7 * setting.scale, setting.wrap);
    let words = block(piece, wording, setting, up, false);
    set.drawing.add(words.drawing, Vec2::new(0.0, set.y));
    set.width = set.width.max(words.size.width);
    set.y += words.size.height;
    set.block(false)
}

/// "cut 2 from 10 mm (3/8 in) foam: 1 as printed, 1 with the paper turned over"
pub fn cut_words(piece: &Piece, wording: Wording) -> String {
    let words = wording.words;
    let count =
        if piece.copies == 1 { words.cut_one.to_owned() } else { fill(words.cut_many, &[&piece.copies.to_string()]) };
    let from = match piece.foam {
        Some(foam) => fill(words.from_foam, &[&count, &wording.foam(foam)]),
        None => count,
    };
    match (piece.face_down, piece.copies - piece.face_down) {
        (0, _) => from,
        (_, 0) if piece.copies == 1 => fill(words.turned_over, &[&from]),
        (_, 0) => fill(words.all_turned_over, &[&from]),
        (down, up) => fill(words.as_printed, &[&from, &up.to_string(), &down.to_string()]),
    }
}

/// "round holes: 8 of 15 mm, 1 of 116 mm", so that a punch can be chosen; `None` where there are none.
fn holes_words(piece: &Piece, wording: Wording) -> Option<String> {
    let counted = sizes_words(piece.round_holes().map(|(_, diameter)| diameter), wording)?;
    Some(fill(wording.words.round_holes, &[&counted]))
}

/// Lengths in mm, the shortest first, as "8 of 15 mm, 1 of 116 mm"; `None` for none.
pub fn sizes_words(lengths: impl Iterator<Item = f64>, wording: Wording) -> Option<String> {
    let mut lengths: Vec<f64> = lengths.collect();
    lengths.sort_by(f64::total_cmp);
    let sizes: Vec<String> = lengths.into_iter().map(|mm| wording.length(Length::mm(mm))).collect();
    let count_of = wording.words.count_of;
    let each = sizes.chunk_by(|a, b| a == b).map(|same| fill(count_of, &[&same.len().to_string(), &same[0]]));
    let counted: Vec<String> = each.collect();
    (!counted.is_empty()).then(|| counted.join(", "))
}

struct Setter {
    drawing: Drawing<Page>,
    y: f64,
    width: f64,
}

impl Setter {
    fn block(self, sideways: bool) -> Block {
        let size = Size::new(self.width, self.y);
        if sideways {
            Block { size: Size::new(size.height, size.width), drawing: turned_left(self.drawing, size) }
        } else {
            Block { size, drawing: self.drawing }
        }
    }

    /// The letter, and beside it the arrow with its word.
    fn heading(&mut self, letter: &str, top: &str, size: f64, up: Vec2) {
        let cap = BOLD.cap_height(size);
        self.drawing.text(0.0, cap, size, true, letter);
        let half = cap / 2.0;
        let left = BOLD.width(letter, size) + 0.35 * size;
        let middle = kurbo::Point::new(left + half, half);
        self.drawing.line(Class::SettingOut, arrow(middle, up, cap));
        let word = 0.3 * size;
        let x = left + cap + 0.12 * size;
        self.drawing.text(x, half + BOLD.cap_height(word) / 2.0, word, true, top);
        self.width = x + BOLD.width(top, word);
        self.y = cap + 0.25 * size;
    }

    fn paragraph(&mut self, face: &Face, bold: bool, text: &str, size: f64, wrap: f64) {
        for line in super::wrap(face, text, size, wrap) {
            self.width = self.width.max(face.width(&line, size));
            self.drawing.text(0.0, self.y + 0.95 * size, size, bold, line);
            self.y += 1.3 * size;
        }
    }
}

/// An arrow of length `length` around `middle`.
fn arrow(middle: kurbo::Point, direction: Vec2, length: f64) -> BezPath {
    let (tip, tail) = (middle + direction * (length / 2.0), middle - direction * (length / 2.0));
    let aside = Vec2::new(-direction.y, direction.x) * (length * 0.22);
    let back = tip - direction * (length * 0.35);
    let mut path = BezPath::new();
    path.move_to(tail);
    path.line_to(tip);
    path.move_to(back + aside);
    path.line_to(tip);
    path.line_to(back - aside);
    path
}

/// A drawing of `size` turned a quarter to the left, back at its top left corner.
fn turned_left(drawing: Drawing<Page>, size: Size) -> Drawing<Page> {
    let turn = kurbo::Affine::new([0.0, -1.0, 1.0, 0.0, 0.0, size.width]);
    Drawing {
        lines: drawing
            .lines
            .into_iter()
            .map(|line| super::Line { path: crate::space::Path::new(turn * line.path.raw().clone()), ..line })
            .collect(),
        labels: drawing
            .labels
            .into_iter()
            .map(|label| super::Label { at: (turn * label.at.raw()).into(), turn: label.turn - 90.0, ..label })
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::{Path, Point};
    use crate::text::Language;
    use crate::units::Shown;

    const METRIC: Wording = Wording::english(Shown::Metric);

    fn piece(copies: u32, face_down: u32) -> Piece {
        Piece {
            letter: "A".into(),
            name: "vane, outer".into(),
            picture: None,
            outline: Path::new(kurbo::Shape::to_path(&kurbo::Rect::new(0.0, 0.0, 40.0, 60.0), 0.1)),
            symmetry: None,
            rounds: Vec::new(),
            holes: vec![crate::pattern::RoundHole { at: Point::new(20.0, 20.0), diameter: Length::mm(8.0) }],
            copies,
            face_down,
            foam: Some(Length::mm(10.0)),
            fixed: false,
            of: 0,
            markings: Vec::new(),
            notes: Vec::new(),
        }
    }

    #[test]
    fn a_builder_reads_how_many_and_how_many_turned_over() {
        let words = |copies, down| cut_words(&piece(copies, down), METRIC);
        assert_eq!(words(2, 1), "cut 2 from 10 mm (3/8 in) foam: 1 as printed, 1 with the paper turned over");
        assert_eq!(words(1, 0), "cut 1 from 10 mm (3/8 in) foam");
        assert_eq!(words(1, 1), "cut 1 from 10 mm (3/8 in) foam with the paper turned over");
        assert_eq!(words(3, 3), "cut 3 from 10 mm (3/8 in) foam: all with the paper turned over");
    }

    #[test]
    fn a_builder_reads_which_punch_to_take() {
        let round = |radius, sweep| crate::shape::Round {
            centre: Point::new(10.0, 10.0),
            radius,
            start: 0.0,
            sweep,
            rms: 0.0,
            worst: 0.0,
        };
        let whole = std::f64::consts::TAU;
        let rounds = vec![round(4.0, -whole), round(12.0, -whole), round(30.0, whole), round(5.0, 2.0)];
        let words = holes_words(&Piece { rounds, ..piece(1, 0) }, METRIC);
        assert_eq!(words.as_deref(), Some("round holes: 2 of 8 mm, 1 of 24 mm"));
        assert_eq!(holes_words(&Piece { holes: Vec::new(), ..piece(1, 0) }, METRIC), None);
    }

    #[test]
    fn every_word_stays_inside_its_block() {
        let languages = [Language::English, Language::German].map(|language| language.words());
        for (setting, words) in SETTINGS.into_iter().flat_map(|setting| languages.map(|words| (setting, words))) {
            for sideways in [false, true] {
                let wording = Wording { words, shown: Shown::Both };
                let block = block(&piece(2, 1), wording, setting, UP, sideways);
                for label in &block.drawing.labels {
                    let face = if label.bold { &*BOLD } else { &*REGULAR };
                    let run = Vec2::from_angle(label.turn.to_radians()) * face.width(&label.text, label.size);
                    for p in [label.at.raw(), label.at.raw() + run] {
                        assert!(
                            p.x >= -1e-6
                                && p.y >= -1e-6
                                && p.x <= block.size.width + 1e-6
                                && p.y <= block.size.height + 1e-6,
                            "{label:?} in {:?}",
                            block.size
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn the_arrow_of_sideways_words_still_points_to_the_top() {
        let plain = block(&piece(1, 0), METRIC, SETTINGS[0], UP, false);
        let side = block(&piece(1, 0), METRIC, SETTINGS[0], UP, true);
        let direction = |b: &Block| {
            let path = b.drawing.lines[0].path.raw().clone();
            let ends: Vec<_> = path.elements()[..2].iter().filter_map(kurbo::PathEl::end_point).collect();
            (ends[1] - ends[0]).normalize()
        };
        assert!((direction(&plain) - direction(&side)).hypot() < 1e-9);
    }
}
