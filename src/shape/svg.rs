//! An SVG file → a [`Shape`], in the user units of the file or at full size.
//!
//! `usvg` resolves the file (styles, `use`, basic shapes, transforms); it keeps coordinates in single precision, which
//! is 0.1 µm at 1.5 m. Round shapes become at least four cubics a turn: within 0.03 % of their radius.

use kurbo::{Affine, BezPath, Shape as _};
use usvg::tiny_skia_path::{PathSegment, Point as SkiaPoint};
use usvg::{FillRule, Node};

use super::Shape;
use super::flaws::{self, told};
use super::loops::{self, Loop};
use crate::problem::Problem;
use crate::space::{Path, Pattern, Pixels, Space};
use crate::units::MM_PER_INCH;

/// CSS pixels in an inch (CSS Values and Units 3, 5.2), which usvg's coordinates are.
const PX_PER_INCH: f64 = 96.0;
/// A line whose ends are nearer than this part of its size is closed: drawing programs write few decimals.
const NEARLY_CLOSED: f64 = 1e-4;
/// A drawn line wider than this part of its shape makes its middle a doubtful edge; common practice, no source.
const THICK: f64 = 0.01;
/// Elements whose content is drawn only where something refers to it.
const KEPT_ASIDE: [&str; 7] = ["clipPath", "defs", "linearGradient", "marker", "mask", "pattern", "symbol"];
/// Elements that can be asked for by their id.
const DRAWN: [&str; 10] = ["a", "circle", "ellipse", "g", "line", "path", "polygon", "polyline", "rect", "use"];

/// A space that an SVG file can be drawn in.
///
/// [`Pixels`]: the file's user units (the coordinates of its `viewBox`) are the pixels of a picture, whatever width
/// and height the file claims. [`Pattern`]: millimetres at full size, by the file's width, height and `viewBox`;
/// 96 px are 25.4 mm.
pub trait SvgSpace: Space {
    #[doc(hidden)]
    const FULL_SIZE: bool;
}

impl SvgSpace for Pixels {
    const FULL_SIZE: bool = false;
}

impl SvgSpace for Pattern {
    const FULL_SIZE: bool = true;
}

/// What was found in an SVG file.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn<S> {
    /// The drawn shapes. Where one lies in another, it is a hole in it.
    pub shape: Shape<S>,
    /// What was left out or may surprise.
    pub warnings: Vec<Problem>,
}

/// The shape or group of that `id` in the file; without one, everything drawn. No other file is ever opened.
///
/// Of each shape its outline is taken, the middle of its line if it has one; `fill-rule` is obeyed, stacking and
/// colours are not: shapes one in the other alternate between foam and hole. A filled line is closed as SVG says, one
/// that is not filled must come back to its start.
///
/// # Errors
/// No plain SVG text; no such id, or an id that is not drawn; nothing to cut; an open line that is not filled; shapes
/// that cross or touch. Coordinates in the text are in the units of `S`.
pub fn from_svg<S: SvgSpace>(bytes: &[u8], id: Option<&str>) -> Result<Drawn<S>, Problem> {
    let text = plain_text(bytes)?;
    let xml = parse_xml(text)?;
    let root = xml.root_element();
    let (tree, to_units) = if S::FULL_SIZE {
        (usvg::Tree::from_xmltree(&xml, &options()), Affine::scale(MM_PER_INCH / PX_PER_INCH))
    } else {
        in_user_units(text, root)?
    };
    let tree = tree.map_err(|cause| unreadable(&cause))?;
    let id = id.filter(|id| root.attribute("id") != Some(id));

    let wanted = id.map(|id| element(&xml, id)).transpose()?.unwrap_or(root);
    let mut warnings = left_out(wanted);
    let mut gathered = Gathered::default();
    gathered.walk(tree.root(), id, id.is_none(), false);
    if gathered.paths.is_empty() {
        return Err(nothing_drawn(&xml, wanted, id, &warnings));
    }
    if S::FULL_SIZE {
        warnings.extend(without_physical_size(root));
    }
    if gathered.clipped {
        let text = "a clip or mask hides parts of the shape; it is not applied, cut the shape in your drawing program";
        warnings.push(Problem::warning("svg_clip", text));
    }
    warnings.extend(gathered.paths.iter().find_map(|path| thick_line(path, to_units)));

    let mut all = Vec::new();
    for path in gathered.paths {
        all.extend(outlines::<S>(path, to_units)?);
    }
    match Shape::new(Path::new(loops::join(&all))) {
        Ok(shape) => Ok(Drawn { shape, warnings }),
        Err(problems) => Err(first_of(problems)),
    }
}

fn first_of(problems: Vec<Problem>) -> Problem {
    let more = problems.len() - 1;
    let first = problems.into_iter().next().expect("a refused shape has a problem");
    if more == 0 {
        return first;
    }
    let places = if more == 1 { "place" } else { "places" };
    Problem { text: format!("{}; so at {more} more {places}", first.text), ..first }
}

fn plain_text(bytes: &[u8]) -> Result<&str, Problem> {
    if bytes.starts_with(&[0x1f, 0x8b]) {
        let text = "the SVG file is compressed; save it as plain SVG (.svg, not .svgz)";
        return Err(Problem::error("svg_compressed", text));
    }
    std::str::from_utf8(bytes).map_err(|cause| {
        let text = format!("the SVG file is no UTF-8 text from byte {} on; save it as plain SVG", cause.valid_up_to());
        Problem::error("svg_not_text", text)
    })
}

fn parse_xml(text: &str) -> Result<roxmltree::Document<'_>, Problem> {
    // Drawing programs put entities of their own into a DTD; roxmltree bounds their growth and opens no file.
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
    let broken = |cause: roxmltree::Error| {
        Problem::error("svg_broken", format!("the SVG file is broken: {cause}; save it again as plain SVG"))
    };
    let xml = roxmltree::Document::parse_with_options(text, options).map_err(broken)?;
    let name = xml.root_element().tag_name().name();
    if name == "svg" {
        return Ok(xml);
    }
    Err(Problem::error("svg_broken", format!("the file is no SVG: it starts with <{name}>, not <svg>")))
}

fn unreadable(cause: &usvg::Error) -> Problem {
    let text = match cause {
        usvg::Error::InvalidSize => {
            "the SVG file has a width or height of 0 or less; give it the size of its drawing".to_owned()
        }
        usvg::Error::ElementsLimitReached => {
            "the SVG file has more than 1 000 000 elements; leave in it only the shapes to cut".to_owned()
        }
        cause => format!("the SVG file cannot be read: {cause}; save it again as plain SVG"),
    };
    Problem::error("svg_broken", text)
}

/// No file, no font, no decoding; no arrow heads, which are decoration and would come as shapes; no filters, because a
/// broken one would hide its shape.
fn options() -> usvg::Options<'static> {
    usvg::Options {
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        style_sheet: Some("* { marker: none !important; filter: none !important }".to_owned()),
        ..usvg::Options::default()
    }
}

/// The tree of the file and the map from its coordinates to user units.
///
/// usvg maps the `viewBox` onto the width and height before everything else. Without these the size is that of the
/// `viewBox`, and all that is left of that map is the shift of its origin.
fn in_user_units(
    text: &str,
    root: roxmltree::Node<'_, '_>,
) -> Result<(Result<usvg::Tree, usvg::Error>, Affine), Problem> {
    let Some(view_box) = root.attribute("viewBox") else {
        return Ok((usvg::Tree::from_str(text, &options()), Affine::IDENTITY));
    };
    let numbers: Vec<f64> = view_box
        .split([' ', ',', '\t', '\n', '\r'])
        .filter(|word| !word.is_empty())
        .map_while(|word| word.parse().ok())
        .collect();
    let [x, y, width, height] = numbers[..] else {
        let text = format!("the SVG file's viewBox is \"{view_box}\"; it must be four numbers: x, y, width, height");
        return Err(Problem::error("svg_view_box", text));
    };
    if !(x.is_finite() && y.is_finite() && width > 0.0 && height > 0.0) {
        let text = format!("the SVG file's viewBox is \"{view_box}\"; its width and height must be above 0");
        return Err(Problem::error("svg_view_box", text));
    }
    let mut plain = text.to_owned();
    for attribute in root.attributes() {
        if attribute.namespace().is_none() && ["width", "height", "preserveAspectRatio"].contains(&attribute.name()) {
            let range = attribute.range();
            plain.replace_range(range.clone(), &" ".repeat(range.len()));
        }
    }
    Ok((usvg::Tree::from_str(&plain, &options()), Affine::translate((x, y))))
}

/// The paths that are drawn, and whether a clip or mask cuts into them.
#[derive(Default)]
struct Gathered<'a> {
    paths: Vec<&'a usvg::Path>,
    clipped: bool,
}

impl<'a> Gathered<'a> {
    fn walk(&mut self, group: &'a usvg::Group, id: Option<&str>, inside: bool, clipped: bool) {
        let clipped = clipped || group.mask().is_some() || group.clip_path().is_some_and(|clip| cuts(clip, group));
        for node in group.children() {
            let inside = inside || id == Some(node.id());
            match node {
                Node::Group(group) => self.walk(group, id, inside, clipped),
                Node::Path(path) if inside && path.is_visible() => {
                    self.paths.push(path);
                    self.clipped |= clipped;
                }
                _ => {}
            }
        }
    }
}

/// Whether the clip is anything but an upright rectangle around all of the group; such rectangles come with every
/// `symbol` and inner `svg`.
fn cuts(clip: &usvg::ClipPath, group: &usvg::Group) -> bool {
    let ([Node::Path(path)], None) = (clip.root().children(), clip.clip_path()) else { return true };
    let outline = bezier(path.data(), affine(clip.transform()) * affine(path.abs_transform()));
    let (window, content) = (outline.bounding_box(), group.bounding_box());
    let [x0, y0, x1, y1] = [content.left(), content.top(), content.right(), content.bottom()].map(f64::from);
    let slack = 1e-6 * (window.width() + window.height());
    let rectangle = (outline.area().abs() - window.area()).abs() <= 1e-6 * window.area();
    !(rectangle && window.inflate(slack, slack).contains_rect(kurbo::Rect::new(x0, y0, x1, y1)))
}

fn affine(t: usvg::Transform) -> Affine {
    Affine::new([t.sx, t.ky, t.kx, t.sy, t.tx, t.ty].map(f64::from))
}

fn bezier(data: &usvg::tiny_skia_path::Path, map: Affine) -> BezPath {
    let at = |p: SkiaPoint| map * kurbo::Point::new(f64::from(p.x), f64::from(p.y));
    let mut path = BezPath::new();
    for segment in data.segments() {
        match segment {
            PathSegment::MoveTo(p) => path.move_to(at(p)),
            PathSegment::LineTo(p) => path.line_to(at(p)),
            PathSegment::QuadTo(p, q) => path.quad_to(at(p), at(q)),
            PathSegment::CubicTo(p, q, r) => path.curve_to(at(p), at(q), at(r)),
            PathSegment::Close => path.close_path(),
        }
    }
    path
}

/// The closed loops of one drawn path, to be filled by the even-odd rule.
fn outlines<S: SvgSpace>(path: &usvg::Path, to_units: Affine) -> Result<Vec<Loop>, Problem> {
    let bezier = bezier(path.data(), to_units * affine(path.abs_transform()));
    let bounds = bezier.control_box();
    let size = bounds.width().hypot(bounds.height());
    let mut loops = loops::split(&bezier, 0.0);
    for l in &mut loops {
        let gap = l.end().distance(l.start());
        if path.fill().is_none() && !l.closed && gap > NEARLY_CLOSED * size {
            let text = format!(
                "the line from {} to {} is open and not filled; close it in your drawing program, or ask for the id \
                 of a shape without it",
                told(l.start()),
                told(l.end())
            );
            return Err(Problem::error("svg_open", text));
        }
        if !l.closed {
            l.close(NEARLY_CLOSED * size);
        }
    }
    let non_zero = path.fill().is_some_and(|fill| fill.rule() == FillRule::NonZero);
    if !non_zero || loops.len() < 2 {
        return Ok(loops);
    }
    match flaws::sound(&Path::<S>::new(loops::join(&loops))) {
        Ok(loops) => Ok(loops::even_odd_from_non_zero(&loops)),
        Err(flaws) => Err(first_of(flaws.iter().map(flaws::Flaw::problem).collect())),
    }
}

fn thick_line(path: &usvg::Path, to_units: Affine) -> Option<Problem> {
    let map = to_units * affine(path.abs_transform());
    let width = f64::from(path.stroke()?.width().get()) * map.determinant().abs().sqrt();
    let bounds = bezier(path.data(), map).bounding_box();
    (width > THICK * bounds.width().max(bounds.height())).then(|| {
        let text = format!(
            "a line is drawn {width:.2} wide, and its middle is taken as the edge; its outer edge lies {:.2} further out",
            width / 2.0
        );
        Problem::warning("svg_thick_line", text)
    })
}

/// The element of that id.
fn element<'a, 'i>(xml: &'a roxmltree::Document<'i>, id: &str) -> Result<roxmltree::Node<'a, 'i>, Problem> {
    let mut found = xml.descendants().filter(|node| node.attribute("id") == Some(id));
    match (found.next(), found.next()) {
        (Some(element), None) => Ok(element),
        (Some(_), Some(_)) => {
            let text = format!("two shapes of the SVG file have the id \"{id}\"; give each an id of its own");
            Err(Problem::error("svg_id_twice", text))
        }
        (None, _) => Err(unknown(xml, id)),
    }
}

fn unknown(xml: &roxmltree::Document<'_>, id: &str) -> Problem {
    let can_be_asked = |node: &roxmltree::Node<'_, '_>| {
        DRAWN.contains(&node.tag_name().name()) && kept_aside(*node).is_none() && node.has_attribute("id")
    };
    // Layers and objects carry the name their maker gave them in a label, which is no id.
    let labelled = xml
        .descendants()
        .filter(|n| n.has_attribute("id"))
        .find(|node| node.attributes().any(|a| a.name() == "label" && a.value() == id));
    let advice = if let Some(own) = labelled.and_then(|node| node.attribute("id")) {
        format!("\"{id}\" is a label; the id of that shape is \"{own}\"")
    } else {
        let mut ids: Vec<&str> = xml.descendants().filter(can_be_asked).filter_map(|n| n.attribute("id")).collect();
        ids.sort_by_cached_key(|other| strsim::damerau_levenshtein(&id.to_lowercase(), &other.to_lowercase()));
        match ids.len() {
            0 => "no shape in it has an id, give the shape one in your drawing program".to_owned(),
            n => format!("the nearest of {n} ids: \"{}\"", ids[..n.min(3)].join("\", \"")),
        }
    };
    Problem::error("svg_no_such_id", format!("the SVG file has no id \"{id}\"; {advice}"))
}

/// The element around `node`, or itself, that keeps it from being drawn where it stands.
fn kept_aside<'a>(node: roxmltree::Node<'a, '_>) -> Option<&'a str> {
    node.ancestors().map(|n| n.tag_name().name()).find(|name| KEPT_ASIDE.contains(name))
}

fn href<'a>(node: &roxmltree::Node<'a, '_>) -> Option<&'a str> {
    node.attributes().find(|a| a.name() == "href").map(|a| a.value())
}

/// Warnings for what stands in `wanted` but is no outline.
fn left_out(wanted: roxmltree::Node<'_, '_>) -> Vec<Problem> {
    let there = |name: &str| {
        wanted.descendants().filter(|n| n.tag_name().name() == name && kept_aside(*n).is_none()).collect::<Vec<_>>()
    };
    let mut warnings = Vec::new();
    if !there("text").is_empty() {
        let text = "text is left out; turn it into paths in your drawing program";
        warnings.push(Problem::warning("svg_text", text));
    }
    if !there("image").is_empty() {
        let text = "an embedded or linked picture is left out; only drawn shapes are outlines";
        warnings.push(Problem::warning("svg_image", text));
    }
    if let Some(other) = there("use").iter().filter_map(href).find(|href| !href.starts_with('#')) {
        let text = format!("\"{other}\" is in another file, which is not opened; copy the shape into this one");
        warnings.push(Problem::warning("svg_other_file", text));
    }
    warnings
}

fn nothing_drawn(
    xml: &roxmltree::Document<'_>,
    wanted: roxmltree::Node<'_, '_>,
    id: Option<&str>,
    left_out: &[Problem],
) -> Problem {
    let Some(id) = id else {
        let reason = left_out.first().map_or("put the shapes to cut into it, and show them", |first| &first.text);
        return Problem::error("svg_nothing_drawn", format!("nothing to cut is drawn in the SVG file; {reason}"));
    };
    let name = wanted.tag_name().name();
    let reason = if let Some(aside) = kept_aside(wanted) {
        let reference = format!("#{id}");
        let users: Vec<&str> = xml
            .descendants()
            .filter(|n| n.tag_name().name() == "use" && href(n) == Some(&reference))
            .filter_map(|n| n.attribute("id"))
            .collect();
        if users.is_empty() {
            format!("it stands in <{aside}>, which draws nothing by itself; move it out of there")
        } else {
            format!("it stands in <{aside}>; ask for what draws it: \"{}\"", users.join("\", \""))
        }
    } else if let Some(first) = left_out.first() {
        first.text.clone()
    } else if DRAWN.contains(&name) {
        "it is hidden, empty or without fill and line; show it in your drawing program".to_owned()
    } else {
        format!("it is a <{name}>; ask for a shape or a group")
    };
    Problem::error("svg_not_drawn", format!("\"{id}\" is in the SVG file, but nothing to cut is drawn there: {reason}"))
}

fn without_physical_size(root: roxmltree::Node<'_, '_>) -> Option<Problem> {
    let physical = |name: &str| {
        root.attribute(name)
            .is_some_and(|size| ["mm", "cm", "in", "pt", "pc"].iter().any(|unit| size.trim().ends_with(unit)))
    };
    (!physical("width") && !physical("height")).then(|| {
        let text = "the SVG file does not say its size in mm or inches, so 96 of its pixels are taken as 25.4 mm; compare \
                    the size of the piece with what you drew";
        Problem::warning("svg_size_in_pixels", text)
    })
}

#[cfg(test)]
mod tests {
    use kurbo::Rect;

    use super::*;

    fn full_size(svg: &str, id: Option<&str>) -> Result<Drawn<Pattern>, Problem> {
        from_svg(svg.as_bytes(), id)
    }

    fn in_pixels(svg: &str, id: Option<&str>) -> Result<Drawn<Pixels>, Problem> {
        from_svg(svg.as_bytes(), id)
    }

    /// `inside` in a file of 210 mm × 297 mm whose user units are millimetres.
    fn sheet(inside: &str) -> String {
        format!(
            r##"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" id="sheet"
                width="210mm" height="297mm" viewBox="0 0 210 297">{inside}</svg>"##
        )
    }

    fn bounds_are<S: SvgSpace>(drawn: &Drawn<S>, want: (f64, f64, f64, f64)) {
        let (got, want) = (drawn.shape.path().bounds(), Rect::new(want.0, want.1, want.2, want.3));
        let off = [got.x0 - want.x0, got.y0 - want.y0, got.x1 - want.x1, got.y1 - want.y1];
        assert!(off.iter().all(|d| d.abs() < 1e-3), "{got:?} is not {want:?}");
    }

    fn codes<S>(drawn: &Drawn<S>) -> Vec<&'static str> {
        drawn.warnings.iter().map(|warning| warning.code).collect()
    }

    const VANE: &str = r#"<path id="vane" d="M10 20H110V70H10Z"/>"#;

    #[test]
    fn a_user_unit_is_a_millimetre_where_the_file_says_so() {
        let drawn = full_size(&sheet(VANE), Some("vane")).unwrap();
        bounds_are(&drawn, (10.0, 20.0, 110.0, 70.0));
        assert!((drawn.shape.area() - 5000.0).abs() < 0.01);
        assert_eq!(codes(&drawn), [""; 0]);
    }

    #[test]
    fn inches_and_a_shifted_view_box_are_honoured() {
        let svg = sheet(VANE).replace("210mm", "10in").replace("297mm", "5in").replace("0 0 210 297", "10 20 100 50");
        bounds_are(&full_size(&svg, None).unwrap(), (0.0, 0.0, 254.0, 127.0));
    }

    #[test]
    fn ninety_six_pixels_are_an_inch_and_the_maker_is_told() {
        let svg =
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="500" height="400"><rect width="96" height="192"/></svg>"#;
        let drawn = full_size(svg, None).unwrap();
        bounds_are(&drawn, (0.0, 0.0, 25.4, 50.8));
        assert_eq!(codes(&drawn), ["svg_size_in_pixels"]);
    }

    #[test]
    fn over_a_picture_the_coordinates_are_taken_as_written() {
        for size in [r#"width="210mm" height="297mm""#, r#"width="10" height="900" preserveAspectRatio="none""#, ""] {
            for view_box in ["0 0 210 297", "-40,-30 500 400", "12 7 30 30"] {
                let svg = sheet(VANE).replace(r#"width="210mm" height="297mm""#, size).replace("0 0 210 297", view_box);
                bounds_are(&in_pixels(&svg, Some("vane")).unwrap(), (10.0, 20.0, 110.0, 70.0));
            }
        }
        let bare = r#"<svg xmlns="http://www.w3.org/2000/svg" width="4in"><path d="M10 20H110V70H10Z"/></svg>"#;
        bounds_are(&in_pixels(bare, None).unwrap(), (10.0, 20.0, 110.0, 70.0));
    }

    #[test]
    fn every_transform_on_the_way_is_applied() {
        let svg = sheet(
            r#"<g transform="translate(100 50)"><g id="turned" transform="rotate(90)">
               <rect id="bar" transform="scale(2 1)" x="5" width="10" height="4"/></g></g>"#,
        );
        // x 10..30, y 0..4; turned: x -4..0, y 10..30; moved.
        for id in [Some("bar"), Some("turned"), Some("sheet"), None] {
            bounds_are(&full_size(&svg, id).unwrap(), (96.0, 60.0, 100.0, 80.0));
        }
    }

    #[test]
    fn what_a_use_draws_is_asked_for_by_the_id_of_the_use() {
        let svg = sheet(
            r##"<defs><rect id="cog" width="10" height="10"/></defs><use id="left" xlink:href="#cog" x="30" y="40"/>"##,
        );
        bounds_are(&full_size(&svg, Some("left")).unwrap(), (30.0, 40.0, 40.0, 50.0));
        let problem = full_size(&svg, Some("cog")).unwrap_err();
        assert_eq!(problem.code, "svg_not_drawn");
        assert!(problem.text.contains("<defs>") && problem.text.contains("\"left\""), "{problem}");
    }

    #[test]
    fn an_unknown_id_is_told_from_one_that_is_not_drawn() {
        let problem = full_size(&sheet(VANE), Some("vnae")).unwrap_err();
        assert_eq!(problem.code, "svg_no_such_id");
        assert!(problem.text.contains("\"vane\""), "{problem}");
        let hidden = sheet(&format!(r#"<g style="display:none">{VANE}</g>{}"#, VANE.replace("vane", "other")));
        let problem = full_size(&hidden, Some("vane")).unwrap_err();
        assert_eq!(problem.code, "svg_not_drawn");
        assert!(problem.text.contains("hidden"), "{problem}");
    }

    #[test]
    fn a_label_is_translated_to_its_id() {
        let svg = sheet(r#"<g xmlns:e="urn:editor" id="g12" e:label="Outer vane"><rect width="9" height="9"/></g>"#);
        let problem = full_size(&svg, Some("Outer vane")).unwrap_err();
        assert!(problem.text.contains("\"g12\""), "{problem}");
    }

    #[test]
    fn one_id_on_two_shapes_is_refused() {
        assert_eq!(full_size(&sheet(&format!("{VANE}{VANE}")), Some("vane")).unwrap_err().code, "svg_id_twice");
    }

    #[test]
    fn a_filled_line_is_closed_and_an_unfilled_one_must_be() {
        let triangle = |style: &str, z: &str| sheet(&format!(r#"<path {style} d="M10 10H50V40{z}"/>"#));
        assert!((full_size(&triangle("", ""), None).unwrap().shape.area() - 600.0).abs() < 0.01);
        let line = r#"fill="none" stroke="black" stroke-width="0.1""#;
        assert!((full_size(&triangle(line, "Z"), None).unwrap().shape.area() - 600.0).abs() < 0.01);
        assert!((full_size(&triangle(line, "L10.001 10"), None).unwrap().shape.area() - 600.0).abs() < 0.1);
        let problem = full_size(&triangle(line, ""), None).unwrap_err();
        assert_eq!(problem.code, "svg_open");
        assert!(problem.text.contains("(10.00, 10.00) to (50.00, 40.00)"), "{problem}");
    }

    #[test]
    fn the_fill_rule_decides_what_is_a_hole() {
        let area = |rule: &str, inner: &str| {
            let svg = sheet(&format!(r#"<path fill-rule="{rule}" d="M0 0H90V90H0Z {inner}"/>"#));
            full_size(&svg, None).unwrap().shape.area()
        };
        let (same_way, other_way) = ("M10 10H80V80H10Z", "M10 10V80H80V10Z");
        for (rule, inner, want) in [
            ("evenodd", same_way, 3200.0),
            ("evenodd", other_way, 3200.0),
            ("nonzero", other_way, 3200.0),
            ("nonzero", same_way, 8100.0),
        ] {
            assert!((area(rule, inner) - want).abs() < 0.05, "{rule} {inner}");
        }
    }

    #[test]
    fn overlapping_parts_are_refused_with_what_to_do() {
        let (one, two) = ("M0 0H50V50H0Z", "M30 30H80V80H30Z");
        for svg in [format!(r#"<path d="{one}{two}"/>"#), format!(r#"<path d="{one}"/><path d="{two}"/>"#)] {
            let problem = full_size(&sheet(&svg), None).unwrap_err();
            assert_eq!(problem.code, "outlines_meet");
            assert!(problem.text.contains("unite") && problem.text.contains("at 1 more place"), "{problem}");
        }
    }

    #[test]
    fn text_and_pictures_are_left_out_aloud() {
        let extras =
            r#"<g id="words"><text x="3" y="9">vane</text></g><image href="beacon.jpg" width="9" height="9"/>"#;
        assert_eq!(codes(&full_size(&sheet(&format!("{VANE}{extras}")), None).unwrap()), ["svg_text", "svg_image"]);
        let problem = full_size(&sheet(extras), Some("words")).unwrap_err();
        assert!(problem.text.contains("turn it into paths"), "{problem}");
        assert_eq!(full_size(&sheet(extras), None).unwrap_err().code, "svg_nothing_drawn");
    }

    #[test]
    fn no_other_file_is_opened() {
        let folder = tempfile::tempdir().unwrap();
        let other = folder.path().join("other.svg");
        std::fs::write(&other, sheet(VANE)).unwrap();
        let href = other.display();
        let svg = sheet(&format!(r##"<image href="{href}" width="9" height="9"/><use href="{href}#vane"/>"##));
        let problem = full_size(&svg, None).unwrap_err();
        assert_eq!(problem.code, "svg_nothing_drawn");
        let entity = format!(r#"<!DOCTYPE svg [<!ENTITY vane SYSTEM "{href}">]>{}"#, sheet("&vane;"));
        assert!(full_size(&entity, None).is_err());
    }

    #[test]
    fn a_clip_is_told_only_where_it_cuts() {
        let clipped = |window: &str| {
            full_size(
                &sheet(&format!(r##"<clipPath id="c">{window}</clipPath><g clip-path="url(#c)">{VANE}</g>"##)),
                None,
            )
        };
        assert_eq!(codes(&clipped(r#"<rect width="60" height="60"/>"#).unwrap()), ["svg_clip"]);
        assert_eq!(codes(&clipped(r#"<circle cx="60" cy="45" r="70"/>"#).unwrap()), ["svg_clip"]);
        let around = clipped(r#"<rect width="200" height="200"/>"#).unwrap();
        assert_eq!(codes(&around), [""; 0]);
        bounds_are(&around, (10.0, 20.0, 110.0, 70.0));
    }

    #[test]
    fn arrow_heads_are_no_shapes() {
        let svg = sheet(
            r##"<marker id="m" markerWidth="9" markerHeight="9"><rect width="9" height="9"/></marker>
               <path style="marker-mid:url(#m);marker-end:url(#m)" d="M10 20H110V70H10Z"/>"##,
        );
        assert!((full_size(&svg, None).unwrap().shape.area() - 5000.0).abs() < 0.01);
    }

    #[test]
    fn a_thick_line_is_told() {
        let svg = sheet(r#"<rect x="10" y="10" width="100" height="50" fill="none" stroke="black" stroke-width="4"/>"#);
        let drawn = full_size(&svg, None).unwrap();
        assert!(drawn.warnings[0].text.contains("4.00 wide") && drawn.warnings[0].text.contains("2.00 further"));
    }

    /// Circle, ellipse and rounded corners against their formulas; usvg gives four cubics a turn, 0.03 % off at most.
    #[test]
    fn round_shapes_have_the_area_of_their_formulas() {
        use std::f64::consts::PI;
        for (svg, area) in [
            (r#"<circle cx="100" cy="100" r="80"/>"#, PI * 6400.0),
            (r#"<ellipse cx="100" cy="100" rx="80" ry="30"/>"#, PI * 2400.0),
            (r#"<rect width="100" height="60" rx="10"/>"#, 6000.0 - (4.0 - PI) * 100.0),
            (r#"<path d="M20 100A80 80 0 0 1 180 100Z"/>"#, PI * 3200.0),
        ] {
            let got = full_size(&sheet(svg), None).unwrap().shape.area();
            assert!((got / area - 1.0).abs() < 6e-4, "{svg}: {got} is not {area}");
        }
    }

    #[test]
    fn what_is_no_svg_is_refused_in_words() {
        for (bytes, code) in [
            (&b"\x1f\x8b\x08\x00"[..], "svg_compressed"),
            (b"\xff\xfe<\x00", "svg_not_text"),
            (b"", "svg_broken"),
            (b"<svg xmlns='http://www.w3.org/2000/svg'><g>", "svg_broken"),
            (b"<html/>", "svg_broken"),
            (b"<svg xmlns='http://www.w3.org/2000/svg' width='0' height='5'><path d='M0 0H5V5Z'/></svg>", "svg_broken"),
            (b"<svg xmlns='http://www.w3.org/2000/svg' width='9' height='5'/>", "svg_nothing_drawn"),
        ] {
            assert_eq!(
                from_svg::<Pattern>(bytes, None).unwrap_err().code,
                code,
                "{:?}",
                String::from_utf8_lossy(bytes)
            );
        }
        let odd = sheet(VANE).replace("0 0 210 297", "0 0 wide 297");
        assert_eq!(in_pixels(&odd, None).unwrap_err().code, "svg_view_box");
    }

    /// Entities that grow tenfold at each of nine levels, and groups a hundred thousand deep.
    #[test]
    fn files_made_to_exhaust_a_reader_are_refused() {
        let mut entities = r#"<!ENTITY e0 "<g/>">"#.to_owned();
        for level in 1..10 {
            let ten = format!("&e{};", level - 1).repeat(10);
            entities += &format!(r#"<!ENTITY e{level} "{ten}">"#);
        }
        assert!(full_size(&format!("<!DOCTYPE svg [{entities}]>{}", sheet("&e9;")), None).is_err());
        let deep = sheet(&format!("{}{VANE}{}", "<g>".repeat(100_000), "</g>".repeat(100_000)));
        assert!(full_size(&deep, None).is_err());
    }
}
