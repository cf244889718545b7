//! Pieces as an SVG file for cutters, and the preview as a picture.

use std::fmt::Write as _;

use kurbo::{Affine, PathEl, Size};
use tiny_skia::{Color, FillRule, Paint, PathBuilder, Pixmap, Stroke, Transform};

use crate::drawing::{Drawing, WORDS_GREY};
use crate::pattern::Piece;
use crate::space::Page;
use crate::text::{BOLD, REGULAR};

/// White around every piece, in mm.
const GAP: f64 = 10.0;

/// The cut lines of all pieces in a row, at full size: one user unit is one millimetre, and the file says how large it
/// is in millimetres, so that no program has to guess its unit.
pub fn pieces_svg(pieces: &[Piece], title: &str) -> String {
    let bounds: Vec<kurbo::Rect> = pieces.iter().map(|piece| piece.outline.bounds()).collect();
    let width = bounds.iter().map(|b| b.width() + GAP).sum::<f64>() + GAP;
    let height = bounds.iter().map(kurbo::Rect::height).fold(0.0, f64::max) + 2.0 * GAP;
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.2}mm\" height=\"{height:.2}mm\" \
         viewBox=\"0 0 {width:.2} {height:.2}\">\n<title>{}</title>",
        escaped(title)
    );
    let mut x = GAP;
    for (piece, bounds) in pieces.iter().zip(&bounds) {
        let path = Affine::translate((x - bounds.x0, GAP - bounds.y0)) * piece.cut_path().raw().clone();
        let _ = writeln!(
            out,
            "<path id=\"piece-{}\" fill=\"none\" stroke=\"#000\" stroke-width=\"0.1\" d=\"{}\"><title>{}</title></path>",
            piece.letter,
            path_data(&path),
            escaped(&format!("{} {}", piece.letter, piece.name)),
        );
        x += bounds.width() + GAP;
    }
    out.push_str("</svg>\n");
    out
}

/// Path data with thousandths of a millimetre.
pub(crate) fn path_data(path: &kurbo::BezPath) -> String {
    let mut out = String::new();
    let mut put = |command: char, points: &[kurbo::Point]| {
        if !out.is_empty() {
            out.push(' ');
        }
        out.push(command);
        for p in points {
            let _ = write!(out, " {} {}", short(p.x), short(p.y));
        }
    };
    for el in path.elements() {
        match *el {
            PathEl::MoveTo(p) => put('M', &[p]),
            PathEl::LineTo(p) => put('L', &[p]),
            PathEl::QuadTo(a, p) => put('Q', &[a, p]),
            PathEl::CurveTo(a, b, p) => put('C', &[a, b, p]),
            PathEl::ClosePath => put('Z', &[]),
        }
    }
    out
}

/// A number to three decimals, without needless zeros.
fn short(value: f64) -> String {
    let rounded = (value * 1000.0).round() / 1000.0 + 0.0;
    format!("{rounded}")
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// `drawing`, `size` mm large, as a PNG `height` pixels high on white.
pub fn preview_png(drawing: &Drawing<Page>, size: Size, height: u32) -> Vec<u8> {
    let scale = f64::from(height) / size.height;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to a few thousand pixels")]
    let width = (size.width * scale).ceil().clamp(1.0, 8000.0) as u32;
    let mut pixmap = Pixmap::new(width, height).expect("both sides are at least one pixel");
    pixmap.fill(Color::WHITE);
    let to_pixels = Affine::scale(scale);
    for line in &drawing.lines {
        let Some(path) = skia_path(&(to_pixels * line.path.raw().clone())) else { continue };
        let style = line.class.stroke();
        let stroke = Stroke { width: if style.grey == 0.0 { 1.6 } else { 1.2 }, ..Stroke::default() };
        pixmap.stroke_path(&path, &paint(style.grey), &stroke, Transform::identity(), None);
    }
    for label in &drawing.labels {
        let face = if label.bold { &*BOLD } else { &*REGULAR };
        let place = to_pixels * Affine::translate(label.at.raw().to_vec2()) * Affine::rotate(label.turn.to_radians());
        let Some(path) = skia_path(&(place * face.outline(&label.text, label.size))) else { continue };
        pixmap.fill_path(&path, &paint(WORDS_GREY), FillRule::Winding, Transform::identity(), None);
    }
    pixmap.encode_png().expect("a picture in memory can be encoded")
}

fn paint(grey: f64) -> Paint<'static> {
    let mut paint = Paint { anti_alias: true, ..Paint::default() };
    let level = narrow(grey);
    paint.set_color(Color::from_rgba(level, level, level, 1.0).expect("a grey level is between 0 and 1"));
    paint
}

pub(super) fn skia_path(path: &kurbo::BezPath) -> Option<tiny_skia::Path> {
    let mut builder = PathBuilder::new();
    let n = |p: kurbo::Point| (narrow(p.x), narrow(p.y));
    for el in path.elements() {
        match *el {
            PathEl::MoveTo(p) => builder.move_to(n(p).0, n(p).1),
            PathEl::LineTo(p) => builder.line_to(n(p).0, n(p).1),
            PathEl::QuadTo(a, p) => builder.quad_to(n(a).0, n(a).1, n(p).0, n(p).1),
            PathEl::CurveTo(a, b, p) => builder.cubic_to(n(a).0, n(a).1, n(b).0, n(b).1, n(p).0, n(p).1),
            PathEl::ClosePath => builder.close(),
        }
    }
    builder.finish()
}

#[expect(clippy::cast_possible_truncation, reason = "the border to tiny-skia, which counts in f32")]
const fn narrow(value: f64) -> f32 {
    value as f32
}
