//! What a build file may hold: every table and key, described once.
//!
//! The check, the JSON Schema and the reference all read this description, so that none of them can say something else.

/// No coordinate is farther from the origin than this: beyond any picture, in pixels, and any prop, in millimetres.
pub(super) const FARTHEST: f64 = 1e6;

/// A table of the file.
pub(super) struct Table {
    pub(super) keys: &'static [Key],
}

/// A key of a table.
pub(super) struct Key {
    pub(super) name: &'static str,
    pub(super) kind: Kind,
    pub(super) need: Need,
    /// One sentence: what it means.
    pub(super) doc: &'static str,
    /// A valid value as written in TOML; empty for tables.
    pub(super) example: &'static str,
}

/// Whether a key has to be there.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Need {
    Required,
    Optional,
    /// Left out, it is as if this were written.
    Default(&'static str),
}

/// What a key takes.
pub(super) enum Kind {
    /// A text on one line, of at most so many characters.
    Text(usize),
    /// Path data of at least one closed outline.
    Path,
    /// A pinned letter.
    Letter,
    /// A file, relative to the build file.
    File,
    /// One word of a list.
    Word(&'static [&'static str]),
    /// A length from least to most, in millimetres.
    Length(f64, f64),
    /// A number from least to most.
    Number(f64, f64),
    /// A whole number from least to most.
    Whole(u32, u32),
    Switch,
    /// True or false, or a word that says more than true.
    SwitchOrWord(&'static [&'static str]),
    Date,
    /// Width and height in whole pixels.
    Pixels,
    Point,
    /// From least to most places.
    Points(usize, usize),
    /// A place, or places and lines through places.
    Strokes,
    /// Places on a smooth closed curve, corners marked.
    Spline,
    /// Lines, each of so many places or more.
    Lines(usize),
    /// A named sheet or card, or two lengths.
    Rectangle,
    /// Two lengths, across and down.
    Offsets,
    /// Two lengths from least to most, in millimetres.
    Sides(f64, f64),
    /// From least to most texts on one line; a single one may stand by itself.
    Names(usize, usize),
    /// Lengths from least to most, in millimetres.
    Lengths(f64, f64),
    /// Names of sheets, or sizes.
    Papers,
    Table(&'static Table),
    /// An array of tables.
    Tables(&'static Table),
    /// A table of tables, named by the maker.
    Named(&'static Table),
    /// A fixed word, or a table.
    WordOrTable(&'static str, &'static Table),
}

use Need::{Default, Optional, Required};

const fn key(name: &'static str, kind: Kind, need: Need, example: &'static str, doc: &'static str) -> Key {
    Key { name, kind, need, doc, example }
}

/// The whole file.
pub(super) static FILE: Table = Table {
    keys: &[
        key("build", Kind::Table(&BUILD), Required, "", "What is built."),
        key("wearer", Kind::Table(&WEARER), Optional, "", "Who carries the prop."),
        key("picture", Kind::Named(&PICTURE), Optional, "", "A reference picture and what is marked on it."),
        key("size", Kind::Table(&SIZE), Optional, "", "Where the size comes from; left out, the only source there is."),
        key("finished", Kind::Table(&FINISHED), Optional, "", "The prop's two ends; left out, its pieces tell."),
        key("other_heights", Kind::Table(&OTHER_HEIGHTS), Optional, "", "Other wearers, for whom it is made too."),
        key("paper", Kind::Table(&PAPER), Default("{}"), "", "The paper to print on."),
        key("foam_at_hand", Kind::Tables(&FOAM_AT_HAND), Optional, "", "A foam as sold and as it measures."),
        key(
            "cutting",
            Kind::Table(&CUTTING),
            Optional,
            "",
            "How pieces are cut, and what is lost and put on afterwards.",
        ),
        key("pipe", Kind::Tables(&PIPE), Optional, "", "A pipe or rod of the skeleton; its thickness never scales."),
        key("piece", Kind::Tables(&PIECE), Required, "", "A piece of the prop."),
        key("seam", Kind::Tables(&SEAM), Optional, "", "Edges of two pieces that are glued together."),
        key("measure", Kind::Tables(&MEASURE), Optional, "", "A distance the maker wants to know, with its interval."),
    ],
};

static BUILD: Table = Table {
    keys: &[
        key("name", Kind::Text(80), Required, "\"Beacon-keeper's signal staff\"", "Printed on every page."),
        key(
            "units",
            Kind::Word(&["metric", "imperial", "both"]),
            Default("\"metric\""),
            "\"metric\"",
            "How sizes are shown.",
        ),
        key(
            "language",
            Kind::Word(&["english", "german"]),
            Default("\"english\""),
            "\"german\"",
            "The language of the pages.",
        ),
        key("date", Kind::Date, Optional, "2026-05-01", "Printed on every page when given."),
    ],
};

static WEARER: Table = Table {
    keys: &[
        key(
            "height",
            Kind::Length(500.0, 2500.0),
            Required,
            "\"168 cm\"",
            "Height of the wearer, barefoot, as measured: people say some 25 mm more on average than they measure.",
        ),
        key(
            "shoes",
            Kind::Length(0.0, 300.0),
            Default("0"),
            "\"35 mm\"",
            "What the costume's shoes add to it, as measured standing in them.",
        ),
        key(
            "heel",
            Kind::Length(0.0, 300.0),
            Optional,
            "\"80 mm\"",
            "Height of their heel, where shoes is left out: it adds 0.6 to 0.9 of what it stands above the platform, and the \
             platform.",
        ),
        key(
            "platform",
            Kind::Length(0.0, 300.0),
            Optional,
            "\"10 mm\"",
            "Thickness of their sole under the ball of the foot, beside heel; left out, 0.",
        ),
        key(
            "hand_length",
            Kind::Length(50.0, 300.0),
            Optional,
            "\"176 mm\"",
            "From the crease of the wrist to the tip of the middle finger.",
        ),
        key("fist", Kind::Length(30.0, 200.0), Optional, "\"84 mm\"", "Breadth across the closed hand."),
    ],
};

static OTHER_HEIGHTS: Table = Table {
    keys: &[key(
        "heights",
        Kind::Lengths(500.0, 2500.0),
        Required,
        "[\"150 cm\", \"160 cm\"]",
        "Their heights, barefoot; what is fixed, and holes, stay as large as they are.",
    )],
};

static PICTURE: Table = Table {
    keys: &[
        key("file", Kind::File, Required, "\"signal-staff.jpg\"", "The picture, relative to this file."),
        key(
            "pixels",
            Kind::Pixels,
            Optional,
            "[4000, 3000]",
            "Width and height of the upright picture when it was marked, so that a re-saved or turned one is noticed.",
        ),
        key(
            "light",
            Kind::Word(&["camera", "drawing"]),
            Optional,
            "\"camera\"",
            "How its edges are blended: in linear light, as a camera does, or in encoded values, as most drawing \
             programs \
             do; left out, it is found.",
        ),
        key("known_length", Kind::Tables(&KNOWN_LENGTH), Optional, "", "A marked length whose true size is known."),
        key(
            "known_rectangle",
            Kind::Table(&KNOWN_RECTANGLE),
            Optional,
            "",
            "A rectangle of known size in the prop's plane; it straightens the picture.",
        ),
        key(
            "further_rectangle",
            Kind::Tables(&FURTHER_RECTANGLE),
            Optional,
            "",
            "Another one in the same plane; both are used together, and compared.",
        ),
        key("lens", Kind::Table(&LENS), Optional, "", "How the lens bows straight edges."),
        key(
            "ring",
            Kind::Table(&RING),
            Optional,
            "",
            "A round ring about the prop's own axis that is seen as an oval, because the prop leans towards the camera or away.",
        ),
        key(
            "camera_distance",
            Kind::Length(50.0, 100_000.0),
            Optional,
            "\"2.5 m\"",
            "From the camera to the plane that is measured, square to it; left out, it is as the known rectangle shows it.",
        ),
        ABOVE,
        key("figure", Kind::Table(&FIGURE), Optional, "", "The figure that carries the prop."),
        key(
            "hand",
            Kind::Table(&HAND),
            Optional,
            "",
            "The hand of the figure at the prop, as far from the camera as that.",
        ),
    ],
};

/// How far something lies above the plane that is measured.
const ABOVE: Key = key(
    "above",
    Kind::Length(-1000.0, 1000.0),
    Optional,
    "\"20 mm\"",
    "How far the face of the prop lies above the plane that is measured, towards the camera, so that it looks larger; left \
     out, as on the picture, else in that plane.",
);

static KNOWN_LENGTH: Table = Table {
    keys: &[
        key("name", Kind::Text(80), Required, "\"grip\"", "What it is; lengths of one name tie pictures together."),
        key("from", Kind::Point, Required, "[812.0, 1410.5]", "One end, in pixels."),
        key("to", Kind::Point, Required, "[812.5, 1630.0]", "The other end, in pixels."),
        key("length", Kind::Length(1.0, 100_000.0), Required, "\"140 mm\"", "Its true length."),
        key(
            "give_or_take",
            Kind::Length(0.0, 10_000.0),
            Optional,
            "\"2 mm\"",
            "The truth is within this of the length 19 times in 20; left out, 1 % of the length, at least 1 mm.",
        ),
        ABOVE,
    ],
};

static RING: Table = Table {
    keys: &[
        key(
            "longest",
            Kind::Points(2, 2),
            Required,
            "[[300.0, 1200.0], [420.0, 1210.0]]",
            "Both ends of its longest diameter as it is seen, in pixels.",
        ),
        key(
            "shortest",
            Kind::Points(2, 2),
            Required,
            "[[361.0, 1187.0], [359.0, 1223.0]]",
            "Both ends of its shortest diameter as it is seen, in pixels.",
        ),
    ],
};

const CORNERS: Key = key(
    "corners",
    Kind::Points(4, 4),
    Required,
    "[[410.0, 300.0], [1210.0, 310.0], [1200.0, 880.0], [402.0, 870.0]]",
    "Its corners in pixels, clockwise from its top left.",
);

const SIDES_GIVE_OR_TAKE: Key = key(
    "give_or_take",
    Kind::Length(0.0, 1000.0),
    Optional,
    "\"1 mm\"",
    "Each side is within this of its size 19 times in 20; left out, the tolerance of the named sheet or card, else 1 % of the \
     longer side, at least 1 mm.",
);

const SIDES_IN_PICTURE: Key = key(
    "sides_in_picture",
    Kind::Switch,
    Default("true"),
    "false",
    "Whether its sides are looked for in the picture along the lines between the corners, which makes them far surer than \
     clicks; false: the corners count as they are marked.",
);

static FURTHER_RECTANGLE: Table = Table {
    keys: &[
        CORNERS,
        key("size", Kind::Rectangle, Required, "\"ID-1\"", "Its size, as for the known rectangle; never unknown."),
        SIDES_GIVE_OR_TAKE,
        SIDES_IN_PICTURE,
    ],
};

static KNOWN_RECTANGLE: Table = Table {
    keys: &[
        CORNERS,
        key(
            "size",
            Kind::Rectangle,
            Required,
            "\"A4\"",
            "Its size; of two lengths the first is the side from the first corner to the second; a named one lies as \
             its \
             corners do; \"unknown\": only that it is a rectangle, in a picture that is not cropped.",
        ),
        SIDES_GIVE_OR_TAKE,
        key(
            "place",
            Kind::Tables(&PLACE),
            Optional,
            "",
            "A further place on it, such as the crossing of two ruled lines.",
        ),
        SIDES_IN_PICTURE,
        key(
            "camera_distance",
            Kind::Length(50.0, 100_000.0),
            Optional,
            "\"2.5 m\"",
            "The same as camera_distance of the picture.",
        ),
        key(
            "above",
            Kind::Length(-1000.0, 1000.0),
            Optional,
            "\"20 mm\"",
            "The same as above of the picture: how far the prop's face lies above this rectangle.",
        ),
    ],
};

static PLACE: Table = Table {
    keys: &[
        key("at", Kind::Point, Required, "[800.0, 600.0]", "Where it is seen, in pixels."),
        key(
            "on",
            Kind::Offsets,
            Required,
            "[\"148 mm\", \"105 mm\"]",
            "Where it lies: from the first corner along the first side, and along the last.",
        ),
    ],
};

static LENS: Table = Table {
    keys: &[key(
        "straight_edges",
        Kind::Lines(3),
        Required,
        "[[[10.0, 20.0], [900.0, 31.0], [1800.0, 25.0]]]",
        "Places along edges that are straight in truth, in pixels.",
    )],
};

static FIGURE: Table = Table {
    keys: &[
        key(
            "landmarks",
            Kind::Table(&LANDMARKS),
            Optional,
            "{ sole = [100.0, 2900.0], eye = [104.0, 420.0] }",
            "Levels of the body marked on the figure: the sole and at least one other.",
        ),
        key(
            "limbs",
            Kind::Table(&LIMBS),
            Optional,
            "{ thigh = [[90.0, 1600.0], [140.0, 2190.0]] }",
            "Limbs from joint to joint, for a figure that does not stand upright: however they are bent, the likeliest height \
             is found.",
        ),
        key("heads", Kind::Number(1.0, 20.0), Default("7.5"), "7.5", "How many heads tall the figure is drawn."),
        key(
            "like",
            Kind::Word(&["stature", "head", "shoulder", "blend"]),
            Default("\"stature\""),
            "\"head\"",
            "In what a figure of another number of heads is to be like the wearer: as tall, with a head as large, with shoulders \
             as high, or between stature and head.",
        ),
        key(
            "blend",
            Kind::Number(0.0, 1.0),
            Default("0.5"),
            "0.5",
            "With like = \"blend\", how far from stature, 0, to head, 1.",
        ),
    ],
};

static LIMBS: Table = Table {
    keys: &[
        limb("head_and_neck", "From the crown to the level of the shoulder joints, in pixels."),
        limb("trunk", "From the level of the shoulder joints to the hip joint, in pixels."),
        limb("thigh", "From the hip joint to the knee, in pixels."),
        limb("shank", "From the knee to the ankle, in pixels."),
        limb("upper_arm", "From the shoulder joint to the elbow, in pixels."),
        limb("forearm", "From the elbow to the wrist, in pixels."),
        limb("hand", "From the wrist to the tip of the middle finger, in pixels."),
    ],
};

const fn limb(name: &'static str, doc: &'static str) -> Key {
    key(name, Kind::Points(2, 2), Optional, "[[90.0, 1600.0], [140.0, 2190.0]]", doc)
}

static HAND: Table = Table {
    keys: &[
        key(
            "fist",
            Kind::Points(2, 2),
            Optional,
            "[[800.0, 1410.0], [860.0, 1412.0]]",
            "Both ends of the breadth across the closed hand, over the knuckles, in pixels.",
        ),
        key(
            "length",
            Kind::Points(2, 2),
            Optional,
            "[[800.0, 1410.0], [802.0, 1535.0]]",
            "From the crease of the wrist to the tip of the middle finger, in pixels.",
        ),
        key(
            "drawn",
            Kind::Switch,
            Default("true"),
            "false",
            "Whether the hand is drawn, and so of a size that is a matter of style, 5 % either way; false: it is photographed.",
        ),
    ],
};

static LANDMARKS: Table = Table {
    keys: &[
        key("sole", Kind::Point, Required, "[100.0, 2900.0]", "Where the soles stand."),
        key("knee", Kind::Point, Optional, "[100.0, 2200.0]", "The knee joint."),
        key("hip", Kind::Point, Optional, "[100.0, 1600.0]", "The hip joint."),
        key("shoulder", Kind::Point, Optional, "[100.0, 840.0]", "The shoulder joint."),
        key("chin", Kind::Point, Optional, "[104.0, 700.0]", "The lower end of the head."),
        key("eye", Kind::Point, Optional, "[104.0, 420.0]", "The line of the eyes."),
        key("crown", Kind::Point, Optional, "[104.0, 300.0]", "The top of the bare head, not of a hat or hair."),
    ],
};

static SIZE: Table = Table {
    keys: &[
        key(
            "from",
            Kind::Word(&["known lengths", "as pictured", "figure", "hand", "finished"]),
            Optional,
            "\"figure\"",
            "\"known lengths\": they are lengths of the finished prop, and a known rectangle gives shape only; \"as \
             pictured\": \
             what is pictured has its real size; \"figure\": the figure is as tall as the wearer in shoes; \
             \"hand\": the hand at the prop is as large as the wearer's; \"finished\": \
             the prop is as long as `finished` says.",
        ),
        key(
            "finished",
            Kind::Length(10.0, 20_000.0),
            Optional,
            "\"1.42 m\"",
            "How long the finished prop is, with from = \"finished\": between the ends that [finished] marks, or straight \
             across between its two farthest points.",
        ),
    ],
};

static FINISHED: Table = Table {
    keys: &[
        key("picture", Kind::Text(80), Required, "\"front\"", "The name of the picture that shows both ends."),
        key("from", Kind::Point, Required, "[812.0, 120.0]", "One end, in pixels."),
        key("to", Kind::Point, Required, "[812.0, 2100.0]", "The other end, in pixels."),
    ],
};

static PAPER: Table = Table {
    keys: &[
        key(
            "use",
            Kind::Papers,
            Default("[\"A4\", \"Letter\"]"),
            "[\"A4\", \"300 x 400 mm\"]",
            "One set of pages for each: a sheet by its name, a size, or a roll by its width, as in \"914 mm roll\", which is cut as \
             long as it must be.",
        ),
        key(
            "overlap",
            Kind::Length(5.0, 60.0),
            Default("\"10 mm\""),
            "\"10 mm\"",
            "Pattern printed on both of two neighbouring pages.",
        ),
        key(
            "margin",
            Kind::Length(0.0, 50.0),
            Default("\"10 mm\""),
            "\"10 mm\"",
            "Kept free at every edge of the sheet, because most printers cannot print there.",
        ),
        key(
            "last_page_first",
            Kind::Switch,
            Default("false"),
            "true",
            "The last page stands first in the file, for printers that lay page on page with the print up.",
        ),
        key(
            "check_distances",
            Kind::Whole(1, 12),
            Default("3"),
            "6",
            "How many distances are given to be measured on each joined sheet.",
        ),
    ],
};

/// Foam thicker than this is no sheet.
const FOAM: Kind = Kind::Length(0.5, 100.0);

static FOAM_AT_HAND: Table = Table {
    keys: &[
        key("sold_as", FOAM, Required, "\"10 mm\"", "Its thickness as the shop calls it."),
        key("measured", FOAM, Required, "\"9.6 mm\"", "Its thickness as the calliper says."),
        key(
            "sheet",
            Kind::Sides(50.0, 5000.0),
            Optional,
            "[\"600 mm\", \"600 mm\"]",
            "Sides of the sheets it comes in, so that pieces that are too large are told.",
        ),
        key(
            "test_card",
            Kind::Table(&TEST_CARD),
            Optional,
            "",
            "What was read on its test card; it goes before every usual value.",
        ),
    ],
};

static TEST_CARD: Table = Table {
    keys: &[
        key(
            "stack_of_five",
            Kind::Length(1.0, 500.0),
            Optional,
            "\"48.5 mm\"",
            "Height of five pieces on each other, not pressed; a fifth of it goes before measured.",
        ),
        key(
            "strip",
            Kind::Length(10.0, 2000.0),
            Optional,
            "\"99.5 mm\"",
            "Length of the strip that just closes around something round.",
        ),
        key("strip_round", Kind::Length(1.0, 500.0), Optional, "\"26.7 mm\"", "The diameter of that, beside strip."),
        key(
            "square_after_heat",
            Kind::Sides(80.0, 110.0),
            Optional,
            "[\"99.3 mm\", \"99.2 mm\"]",
            "Both sides, after hot air, of the square that was 100 mm.",
        ),
        key(
            "scores",
            Kind::Lengths(0.0, 20.0),
            Optional,
            "[\"0.5 mm\", \"1 mm\", \"1.4 mm\"]",
            "How wide the scores of 1 mm depth, of 2 mm and so on have opened under hot air.",
        ),
    ],
};

static CUTTING: Table = Table {
    keys: &[
        key(
            "template",
            Kind::Word(&["cut through", "traced round"]),
            Default("\"cut through\""),
            "\"traced round\"",
            "Whether paper and foam are cut in one, or a pen goes around the paper.",
        ),
        key(
            "line",
            Kind::Word(&["inside", "on", "outside"]),
            Default("\"on\""),
            "\"inside\"",
            "Where the blade runs along a traced line: inside of it, so that the line stays on the waste; on it; or outside of it.",
        ),
        key("pen", Kind::Length(0.0, 5.0), Default("\"1 mm\""), "\"1 mm\"", "Breadth of the traced line."),
        key("sanding", Kind::Length(0.0, 5.0), Default("0"), "\"0.7 mm\"", "What sanding takes off a free edge."),
        key(
            "coats",
            Kind::Length(0.0, 5.0),
            Default("0"),
            "\"0.3 mm\"",
            "What all coats together put onto a free edge.",
        ),
        key(
            "punches",
            Kind::Lengths(0.5, 200.0),
            Optional,
            "[\"6 mm\", \"8 mm\", \"10 mm\"]",
            "Diameters of the punches at hand; round holes and discs that are near enough are made with them.",
        ),
    ],
};

static PIPE: Table = Table {
    keys: &[
        key("name", Kind::Text(80), Required, "\"shaft\"", "What it is called here."),
        key(
            "kind",
            Kind::Text(80),
            Optional,
            "\"PVC schedule 40 3/4 in\"",
            "What it is sold as: a pipe, tube or rod of `spanwright tables pipe`, its words in any order.",
        ),
        key(
            "instead",
            Kind::Names(1, 8),
            Optional,
            "[\"PVC schedule 40 1/2 in\"]",
            "Kinds that are taken, in this order, where the foam around it is too thin for the first, as for other heights.",
        ),
        key(
            "outside",
            Kind::Length(1.0, 300.0),
            Optional,
            "\"26.7 mm\"",
            "Its outside diameter as measured; without a kind it is needed.",
        ),
        key("bore", Kind::Length(0.5, 300.0), Optional, "\"20.8 mm\"", "Its inside diameter as measured."),
        key("picture", Kind::Text(80), Optional, "\"front\"", "The picture on which it is marked where it runs."),
        key(
            "from",
            Kind::Point,
            Optional,
            "[812.0, 300.0]",
            "One end of it, in pixels; without picture in millimetres at full size.",
        ),
        key("to", Kind::Point, Optional, "[812.0, 2100.0]", "The other end, in pixels."),
        key("length", Kind::Length(5.0, 10_000.0), Optional, "\"900 mm\"", "Its length, where its run is not given."),
        key("into", Kind::Text(80), Optional, "\"sleeve\"", "The name of the pipe whose bore holds its end."),
        key(
            "engagement",
            Kind::Length(5.0, 2000.0),
            Optional,
            "\"80 mm\"",
            "How far it reaches into that; left out, as far as it has to.",
        ),
        key(
            "moment",
            Kind::Number(0.0, 1000.0),
            Default("0"),
            "2.9",
            "What that joint has to bear, in N m: weight beyond it times how far out that is.",
        ),
    ],
};

static SEAM: Table = Table {
    keys: &[
        key("join", Kind::Names(2, 2), Required, "[\"vane, outer\", \"collar\"]", "The names of the two pieces."),
        key(
            "first",
            Kind::Points(2, 2),
            Required,
            "[[812.0, 340.0], [900.0, 700.0]]",
            "Where the edge of the first begins and ends, going around it clockwise; in its own units.",
        ),
        key(
            "second",
            Kind::Points(2, 2),
            Required,
            "[[812.0, 340.0], [900.0, 700.0]]",
            "Where the edge of the second begins and ends, going around it the other way, so that the beginnings meet.",
        ),
        key(
            "stretch",
            Kind::Switch,
            Default("false"),
            "true",
            "Whether the shorter edge is stretched on purpose, by 3 % at most.",
        ),
    ],
};

static PIECE: Table = Table {
    keys: &[
        key("name", Kind::Text(80), Required, "\"vane, outer\"", "What a builder calls it."),
        key(
            "letter",
            Kind::Letter,
            Optional,
            "\"A\"",
            "Pins its letter, so that it stays when pieces are added; left out, the next free one.",
        ),
        key(
            "picture",
            Kind::Text(80),
            Optional,
            "\"front\"",
            "The name of its picture; left out, the piece is at full size by itself.",
        ),
        key(
            "trace",
            Kind::WordOrTable("plain ground", &TRACE),
            Optional,
            "{ around = [[700.0, 200.0], [1100.0, 210.0], [900.0, 900.0]] }",
            "How it is told from the rest of the picture; left out, and no outline given, it is what stands on a plain \
             ground.",
        ),
        key(
            "outline",
            Kind::Path,
            Optional,
            "\"M 812 340 L 900 700 L 724 700 Z\"",
            "Its outline as SVG path data in picture pixels, even-odd; tracing fills it in. Millimetres when fixed.",
        ),
        key(
            "through",
            Kind::Spline,
            Optional,
            "[{ corner = [812.0, 340.0] }, [900.0, 500.0], [724.0, 500.0]]",
            "Places that its outline passes as a smooth closed curve, corners marked; in picture pixels, millimetres \
             when \
             fixed.",
        ),
        key(
            "svg",
            Kind::File,
            Optional,
            "\"vane.svg#outer\"",
            "An SVG file, and behind # the id of a shape in it. With a picture its units are the picture's pixels; \
             without \
             one it is at full size, 96 units to the inch.",
        ),
        key("foam", FOAM, Optional, "\"10 mm\"", "The thickness of foam it is cut from."),
        key("copies", Kind::Whole(1, 200), Default("1"), "2", "How many are cut."),
        key(
            "face_down",
            Kind::Whole(0, 200),
            Default("0"),
            "1",
            "Of those, how many are cut with the paper turned over.",
        ),
        key(
            "symmetric",
            Kind::SwitchOrWord(&["left", "right", "upper", "lower"]),
            Default("false"),
            "true",
            "Its two halves are made to mirror each other exactly: with true both go half way, with a word that half is \
             kept.",
        ),
        key(
            "axis",
            Kind::Points(2, 2),
            Optional,
            "[[812.0, 340.0], [812.0, 900.0]]",
            "Two places on the axis between the halves; left out, it is found.",
        ),
        key(
            "repeats",
            Kind::Whole(1, 64),
            Default("1"),
            "5",
            "How many times its shape comes again in one full turn; it is made to do so exactly.",
        ),
        key(
            "fixed",
            Kind::Switch,
            Default("false"),
            "false",
            "Sized by hardware: its numbers are millimetres and never scale.",
        ),
        ABOVE,
        key(
            "wrap",
            Kind::Table(&WRAP),
            Optional,
            "",
            "A form that foam is bent or put together to, instead of an outline: the piece is its flat blank.",
        ),
        key(
            "thickness",
            Kind::Length(1.0, 400.0),
            Optional,
            "\"34 mm\"",
            "Thickness of the finished part, where it is made of layers; foams are chosen for it from those at hand.",
        ),
        key(
            "section",
            Kind::Word(&["flat", "rounded", "domed", "bevelled", "knife edge"]),
            Default("\"flat\""),
            "\"rounded\"",
            "How its surface falls to the edge: not at all; in a quarter of an ellipse; as a cap over its whole breadth; straight, \
             over a given breadth; straight up to its middle line. The last two follow how broad the part is from place to place; a point \
             of 60° or less keeps a ridge of its own, blunter corners fall off like the edges beside them.",
        ),
        key(
            "edge",
            Kind::Length(0.5, 500.0),
            Optional,
            "\"15 mm\"",
            "How far in from the outline a rounding or a bevel reaches; left out, half of the thickness.",
        ),
        key(
            "land",
            Kind::Length(0.0, 300.0),
            Default("0"),
            "\"3 mm\"",
            "How much of the thickness stands upright at the edge, so that it is no sharp one.",
        ),
        key(
            "both_sides",
            Kind::Switch,
            Optional,
            "false",
            "Whether a part of layers is seen from both sides: it is made of two halves that mirror each other. False: its back is \
             flat. Left out, a part with a section or a pipe in it is seen from both.",
        ),
        key(
            "layers",
            Kind::Lengths(0.5, 100.0),
            Optional,
            "[\"10 mm\", \"5 mm\", \"2 mm\"]",
            "The foams of one half as they are sold, from the middle, or the back, to the outside; left out, they are chosen.",
        ),
        key(
            "pipe",
            Kind::Text(80),
            Optional,
            "\"shaft\"",
            "The name of the pipe that lies in it: the inner layers get a channel where that runs.",
        ),
        key(
            "channel",
            Kind::Word(&["slot", "groove"]),
            Default("\"slot\""),
            "\"groove\"",
            "How that pipe lies: in a slot through the inner foams, or, where it is thin, in a groove with sides at 45°, cut into the \
             innermost one.",
        ),
        key(
            "split",
            Kind::Lines(2),
            Optional,
            "[[[690.0, 520.0], [930.0, 520.0]]]",
            "Lines that it is split along into parts with letters of their own, each line through two or more places from outside to \
             outside or to another line.",
        ),
        key("part", Kind::Tables(&PART), Optional, "", "What is different about one of the parts it is split into."),
        key("line", Kind::Tables(&LINE), Optional, "", "A line on it that is not cut through."),
        key("slot", Kind::Tables(&SLOT), Optional, "", "A straight slot for hardware."),
        key(
            "on",
            Kind::Names(1, 24),
            Optional,
            "\"vane, outer\"",
            "The names of the pieces of the same picture that it is glued onto; its outline and the glue are drawn on them.",
        ),
        key("hole", Kind::Tables(&HOLE), Optional, "", "A round hole for hardware."),
    ],
};

static WRAP: Table = Table {
    keys: &[
        key(
            "form",
            Kind::Word(&["round", "oval", "sided", "ball", "cord", "twisted", "wound"]),
            Required,
            "\"round\"",
            "A sleeve or cut-off cone; a sleeve around an oval; a tube of flat sides; a ball of gores; a cord of two or three strands; a \
             strip twisted about itself; a strip wound around something.",
        ),
        key(
            "inside",
            Kind::Length(1.0, 5000.0),
            Optional,
            "\"60 mm\"",
            "Inner diameter; of an oval the longer one, of flat sides from side to side, of a wound strip what it goes around.",
        ),
        key(
            "inside_across",
            Kind::Length(1.0, 5000.0),
            Optional,
            "\"40 mm\"",
            "The shorter inner diameter of an oval.",
        ),
        key("pipe", Kind::Text(80), Optional, "\"shaft\"", "The pipe that it goes around, instead of inside."),
        key(
            "to_inside",
            Kind::Length(0.0, 5000.0),
            Optional,
            "\"35 mm\"",
            "The inner diameter at the other end, where that is another; 0: a point.",
        ),
        key("length", Kind::Length(1.0, 10_000.0), Optional, "\"120 mm\"", "Along its axis; a ball has none."),
        key("sides", Kind::Whole(3, 48), Optional, "8", "How many flat sides, or gores of a ball."),
        key(
            "slant",
            Kind::Number(0.0, 70.0),
            Default("0"),
            "22.5",
            "How far the end of a sleeve is tilted from square, in degrees.",
        ),
        key("strands", Kind::Whole(2, 3), Default("2"), "3", "How many strands a cord has."),
        key("thick", Kind::Length(0.5, 100.0), Optional, "\"10 mm\"", "Diameter of one strand."),
        key("width", Kind::Length(1.0, 500.0), Optional, "\"12 mm\"", "Width of a strip."),
        key(
            "pitch",
            Kind::Length(1.0, 5000.0),
            Optional,
            "\"60 mm\"",
            "How far along the axis a strand or strip goes once around.",
        ),
        key(
            "tab",
            Kind::Length(0.0, 200.0),
            Default("\"15 mm\""),
            "\"15 mm\"",
            "More at each end of a strand or strip, to fix it.",
        ),
        key("warmed", Kind::Switch, Default("true"), "false", "Whether a strip is twisted under hot air."),
    ],
};

static PART: Table = Table {
    keys: &[
        key("at", Kind::Point, Required, "[812.0, 420.0]", "A place in it, in the units of its piece."),
        key(
            "name",
            Kind::Text(80),
            Optional,
            "\"vane, tip\"",
            "What a builder calls it; left out, the name of the piece and a number.",
        ),
        key("letter", Kind::Letter, Optional, "\"B\"", "Pins its letter."),
        key("foam", FOAM, Optional, "\"6 mm\"", "The thickness of foam it is cut from; left out, that of the piece."),
        key("copies", Kind::Whole(1, 200), Optional, "2", "How many are cut; left out, as many as of the piece."),
        key(
            "face_down",
            Kind::Whole(0, 200),
            Optional,
            "1",
            "Of those, how many with the paper turned over; left out, as of the piece.",
        ),
    ],
};

static LINE: Table = Table {
    keys: &[
        key(
            "for",
            Kind::Word(&["score", "fold toward you", "fold away", "paint border", "placement"]),
            Required,
            "\"score\"",
            "A score opened with heat; a fold, as seen from the printed face; where one paint ends; where something is put.",
        ),
        key(
            "along",
            Kind::Points(2, usize::MAX),
            Required,
            "[[720.0, 500.0], [810.0, 480.0], [900.0, 500.0]]",
            "Places along it, smooth between them, in the units of its piece.",
        ),
        key(
            "depth",
            Kind::Length(0.3, 50.0),
            Optional,
            "\"2 mm\"",
            "Depth of a score; left out, two fifths of the foam.",
        ),
    ],
};

static SLOT: Table = Table {
    keys: &[
        key("from", Kind::Point, Required, "[800.0, 700.0]", "The middle of one end, in the units of its piece."),
        key("to", Kind::Point, Required, "[830.0, 700.0]", "The middle of the other end."),
        key("width", Kind::Length(0.5, 500.0), Required, "\"5 mm\"", "Its width, never scaled."),
    ],
};

static TRACE: Table = Table {
    keys: &[
        key(
            "around",
            Kind::Points(3, usize::MAX),
            Optional,
            "[[700.0, 200.0], [1100.0, 210.0], [900.0, 900.0]]",
            "A loose loop around it, in pixels.",
        ),
        key(
            "inside",
            Kind::Strokes,
            Optional,
            "[812.0, 500.0]",
            "A place inside it, or several, or strokes [[x, y], [x, y]], in pixels.",
        ),
        key(
            "outside",
            Kind::Strokes,
            Optional,
            "[[[640.0, 300.0], [660.0, 420.0]]]",
            "Places and strokes on what is not the shape, such as its shadow, in pixels.",
        ),
        key(
            "drawn_line",
            Kind::Word(&["outside", "inside", "middle"]),
            Default("\"outside\""),
            "\"middle\"",
            "For a shape drawn in ink around its edge: the side of the line that is its edge.",
        ),
        key(
            "within",
            Kind::Length(0.02, 0.4),
            Optional,
            "\"0.2 mm\"",
            "How far its lines and curves may keep from the edge, at full size; left out, a tenth of a pixel.",
        ),
        key(
            "ignore_below",
            Kind::Length(0.1, 100.0),
            Optional,
            "\"2 mm\"",
            "Holes and specks that are nowhere so long, at full size, are left out.",
        ),
    ],
};

static HOLE: Table = Table {
    keys: &[
        key(
            "at",
            Kind::Point,
            Required,
            "[812.0, 700.0]",
            "Its centre, in picture pixels; millimetres for a fixed piece.",
        ),
        key("diameter", Kind::Length(0.5, 500.0), Required, "\"8 mm\"", "Its diameter, never scaled."),
        key(
            "fit",
            Kind::Word(&["slip", "press"]),
            Optional,
            "\"slip\"",
            "What goes through it has this diameter, and comes out again though both are coated, or is pressed in for good; left out, \
             the hole itself has this diameter.",
        ),
    ],
};

static MEASURE: Table = Table {
    keys: &[
        key("name", Kind::Text(80), Required, "\"vane tip to ring\"", "What it is."),
        key("picture", Kind::Text(80), Required, "\"front\"", "The name of its picture."),
        key("from", Kind::Point, Required, "[812.0, 340.0]", "One end, in pixels."),
        key("to", Kind::Point, Required, "[812.0, 900.0]", "The other end, in pixels."),
    ],
};

impl Kind {
    /// What it takes, in words that follow "it takes".
    pub(super) fn words(&self) -> String {
        let millimetres = |mm: f64| if mm >= 10_000.0 { format!("{} m", mm / 1000.0) } else { format!("{mm} mm") };
        match self {
            Self::Text(most) => format!("a text on one line of 1 to {most} characters"),
            Self::Path => "SVG path data of closed outlines".to_owned(),
            Self::Letter => {
                "one or two capital letters other than I and O, with a digit behind them if wanted".to_owned()
            }
            Self::File => "the name of a file, relative to the build file".to_owned(),
            Self::Word(words) => {
                let quoted: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
                format!("one of {}", quoted.join(", "))
            }
            Self::Length(least, most) => format!("a length from {} to {}", millimetres(*least), millimetres(*most)),
            Self::Number(least, most) => format!("a number from {least} to {most}"),
            Self::Whole(least, most) => format!("a whole number from {least} to {most}"),
            Self::Switch => "true or false".to_owned(),
            Self::SwitchOrWord(words) => {
                let quoted: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
                format!("true, false, or one of {}", quoted.join(", "))
            }
            Self::Date => "a date, year-month-day without quotes".to_owned(),
            Self::Pixels => "width and height in whole pixels".to_owned(),
            Self::Point => format!("a place [x, y], each within {FARTHEST} of 0"),
            Self::Points(least, most) if least == most => format!("a list of {least} places [x, y]"),
            Self::Points(least, _) => format!("a list of {least} or more places [x, y]"),
            Self::Strokes => "a place [x, y], or a list of places and of strokes [[x, y], [x, y]]".to_owned(),
            Self::Spline => "a list of 3 or more places, each [x, y] or { corner = [x, y] }".to_owned(),
            Self::Lines(least) => format!("a list of lines, each a list of {least} or more places [x, y]"),
            Self::Rectangle => "the name of a sheet or card, \"unknown\", or two lengths of 5 mm to 10 m".to_owned(),
            Self::Offsets => "two lengths, each of at most 10 m either way".to_owned(),
            Self::Sides(least, most) => format!("two lengths from {} to {}", millimetres(*least), millimetres(*most)),
            Self::Names(1, _) => "a name, or a list of names".to_owned(),
            Self::Names(least, most) if least == most => format!("a list of {least} names"),
            Self::Names(least, most) => format!("a list of {least} to {most} names"),
            Self::Lengths(least, most) => {
                format!("a list of lengths from {} to {}", millimetres(*least), millimetres(*most))
            }
            Self::Papers => "a list of names of sheets, or sizes like \"300 x 400 mm\"".to_owned(),
            Self::Table(_) => "a table".to_owned(),
            Self::Tables(_) => "one table for each".to_owned(),
            Self::Named(_) => "one table for each, under a name".to_owned(),
            Self::WordOrTable(word, _) => format!("\"{word}\" or a table"),
        }
    }

    /// The table below, if there is one.
    pub(super) fn table(&self) -> Option<&'static Table> {
        match self {
            Self::Table(table) | Self::Tables(table) | Self::Named(table) | Self::WordOrTable(_, table) => Some(table),
            _ => None,
        }
    }
}

impl Key {
    /// How a value of it is written, below the table headed `path`.
    pub(super) fn written(&self, path: &str) -> String {
        let full = if path.is_empty() { self.name.to_owned() } else { format!("{path}.{}", self.name) };
        match self.kind {
            _ if !self.example.is_empty() => format!("{} = {}", self.name, self.example),
            Kind::Tables(_) => format!("[[{full}]]"),
            Kind::Named(_) => format!("[{full}.front]"),
            _ => format!("[{full}]"),
        }
    }
}

/// Every key of the build file as plain text, table by table.
pub fn reference() -> String {
    let mut out = String::new();
    for key in FILE.keys {
        section(key, "", &mut out);
    }
    out
}

/// The table of `key`, below the one headed `path`, and the tables below it.
fn section(key: &Key, path: &str, out: &mut String) {
    let Some(table) = key.kind.table() else { return };
    let dot = if path.is_empty() { "" } else { "." };
    let name = if matches!(key.kind, Kind::Named(_)) { ".front" } else { "" };
    let path = format!("{path}{dot}{}{name}", key.name);
    let heading = if matches!(key.kind, Kind::Tables(_)) { format!("[[{path}]]") } else { format!("[{path}]") };
    out.push_str(&format!("{heading}  {}\n", key.doc));
    for key in table.keys.iter().filter(|key| !key.example.is_empty()) {
        let need = match key.need {
            Required => " Required.".to_owned(),
            Optional => String::new(),
            Default(value) => format!(" Default: {value}."),
        };
        out.push_str(&format!("  {}: {} Takes {}.{need}\n", key.name, key.doc, key.kind.words()));
    }
    out.push('\n');
    for key in table.keys {
        section(key, &path, out);
    }
}
