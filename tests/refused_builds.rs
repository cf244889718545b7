//! Every way to get a build file wrong, through the whole program: exit code 1, a message at the place, nothing written.

use std::collections::BTreeSet;
use std::fs;
use std::ops::Range;
use std::path::PathBuf;

use assert_cmd::Command;
use image::{GrayImage, Luma};
use serde_json::Value;
use tempfile::TempDir;

/// Every key that the program knows, each on a line of its own; a test holds it to that.
const COMPLETE: &str = r#"# The beacon-keepers of the outer coast.
[build]
name  = "Beacon-keeper's signal staff"
units = "both"
language = "german"
date  = 2026-05-01

[wearer]
height      = "168 cm"
shoes       = "35 mm"
heel        = "50 mm"
platform    = "10 mm"
hand_length = "176 mm"
fist        = "84 mm"

[picture.front]
file   = "staff.png"
pixels = [400, 300]
light  = "drawing"

[[picture.front.known_length]]
name         = "grip"
from         = [81.0, 141.5]
to           = [81.5, 163.0]
length       = "140 mm"
give_or_take = "2 mm"
above        = "5 mm"

[[picture.front.known_length]]
name   = "ring"
from   = [70, 50]
to     = [90, 50]
length = "5 1/8 in"

[picture.front.known_rectangle]
corners         = [[41.0, 30.0], [121.0, 30.0], [121.0, 86.6], [41.0, 86.6]]
size            = "A4"
give_or_take    = "1 mm"
camera_distance = "2.5 m"
above           = "-20 mm"
sides_in_picture = false

[[picture.front.known_rectangle.place]]
at = [80.0, 60.0]
on = ["148 mm", "105 mm"]

[[picture.front.further_rectangle]]
corners          = [[50.0, 100.0], [73.0, 100.0], [73.0, 114.5], [50.0, 114.5]]
size             = "ID-1"
give_or_take     = "0.2 mm"
sides_in_picture = false

[picture.front.lens]
straight_edges = [[[1.0, 2.0], [90.0, 3.1], [180.0, 2.5]]]

[picture.front.figure]
heads = 7.5
like  = "stature"
blend = 0.5

[picture.front.figure.landmarks]
sole     = [10.0, 290.0]
knee     = [10.0, 220.0]
hip      = [10.0, 160.0]
shoulder = [10.0, 84.0]
chin     = [10.4, 70.0]
eye      = [10.4, 42.0]
crown    = [10.4, 30.0]

[picture.front.figure.limbs]
head_and_neck = [[10.4, 30.0], [10.0, 84.0]]
trunk         = [[10.0, 84.0], [10.0, 160.0]]
thigh         = [[10.0, 160.0], [10.0, 220.0]]
shank         = [[10.0, 220.0], [10.0, 280.0]]
upper_arm     = [[10.0, 84.0], [24.0, 120.0]]
forearm       = [[24.0, 120.0], [40.0, 150.0]]
hand          = [[40.0, 150.0], [50.0, 170.0]]

[picture.front.hand]
fist   = [[80.0, 141.0], [86.0, 141.2]]
length = [[80.0, 141.0], [80.2, 153.5]]
drawn  = false

[picture.back]
file            = "staff.png"
camera_distance = "3 m"
above           = "12 mm"

[picture.back.ring]
longest  = [[300.0, 120.0], [340.0, 121.0]]
shortest = [[320.0, 114.0], [320.0, 126.0]]

[[picture.back.known_length]]
name   = "grip"
from   = [81.0, 141.5]
to     = [81.5, 163.0]
length = "140 mm"

[size]
from     = "finished"
finished = "1.42 m"

[finished]
picture = "front"
from    = [81.0, 12.0]
to      = [81.0, 210.0]

[other_heights]
heights = ["150 cm", "1.6 m"]

[paper]
use     = ["A4", "Letter", "300 x 400 mm"]
overlap = "10 mm"
margin  = "10 mm"
last_page_first = true
check_distances = 6

[[foam_at_hand]]
sold_as  = "5 mm"
measured = "5.2 mm"

[[foam_at_hand]]
sold_as  = "10 mm"
measured = "9.6 mm"
sheet    = ["2 m", "1 m"]

[foam_at_hand.test_card]
stack_of_five     = "48.5 mm"
strip             = "113.5 mm"
strip_round       = "26.7 mm"
square_after_heat = ["99.3 mm", "99.2 mm"]
scores            = ["0.5 mm", "1 mm"]

[[piece]]
name    = "handle washer"
fixed   = true
through = [[0.0, 0.0], [20.0, 0.0], { corner = [20.0, 20.0] }]

[[piece]]
name = "lamp"
foam = "5 mm"

[piece.wrap]
form          = "oval"
inside        = "60 mm"
inside_across = "40 mm"
length        = "120 mm"

[[piece]]
name   = "crest"
letter = "A"
svg    = "crest.svg#outer"

[[piece]]
name = "tower"
foam = "5 mm"

[piece.wrap]
form      = "sided"
inside    = "60 mm"
to_inside = "35 mm"
length    = "120 mm"
sides     = 8

[[piece]]
name       = "beam"
picture    = "front"
outline    = "M 190 150 H 214 V 240 H 190 Z"
thickness  = "34 mm"
section    = "rounded"
edge       = "15 mm"
land       = "3 mm"
both_sides = true
layers     = ["10 mm", "3 mm", "4 mm"]
pipe       = "shaft"
channel    = "slot"
on         = "vane, outer"

[[piece.line]]
for   = "score"
along = [[195.0, 200.0], [210.0, 200.0]]
depth = "1 mm"

[[piece.slot]]
from  = [198.0, 220.0]
to    = [204.0, 220.0]
width = "5 mm"

[[piece]]
name = "cord"

[piece.wrap]
form    = "cord"
strands = 3
thick   = "10 mm"
pitch   = "60 mm"
length  = "300 mm"
tab     = "15 mm"

[[piece]]
name    = "fin"
picture = "front"
outline = "M 260 20 H 300 V 80 H 260 Z"
foam    = "5 mm"
copies  = 2
split   = [[[250.0, 50.0], [310.0, 50.0]]]

[[piece.part]]
at        = [280.0, 30.0]
name      = "fin, tip"
letter    = "T"
foam      = "6 mm"
copies    = 2
face_down = 1

[[piece]]
name = "streamer"

[piece.wrap]
form   = "twisted"
width  = "12 mm"
pitch  = "60 mm"
length = "300 mm"
warmed = true

[[piece]]
name    = "stud"
fixed   = true
outline = "M 0 0 H 9 V 9 H 0 Z"

[[piece]]
name = "grip"
foam = "5 mm"

[piece.wrap]
form   = "round"
pipe   = "shaft"
length = "120 mm"
slant  = 22.5

[[piece]]
name    = "disc"
fixed   = true
outline = "M 0 0 H 9 V 9 H 0 Z"

[[piece]]
name      = "vane, outer"
letter    = "B"
picture   = "front"
outline   = "M 200 100 L 300 250 L 120 250 Z"
foam      = "10 mm"
copies    = 2
face_down = 1
symmetric = true
axis      = [[210.0, 90.0], [210.0, 260.0]]
repeats   = 1
fixed     = false
above     = "3 mm"

[piece.trace]
around = [[180.0, 80.0], [320.0, 280.0], [100.0, 280.0]]
inside = [200.0, 200.0]
outside = [[[110.0, 90.0], [120.0, 100.0]]]
drawn_line = "outside"
within = "0.2 mm"
ignore_below = "2 mm"

[[piece.hole]]
at       = [200.0, 200.0]
diameter = "8 mm"
fit      = "slip"

[cutting]
template = "traced round"
line     = "inside"
pen      = "1 mm"
sanding  = "0.7 mm"
coats    = "0.3 mm"
punches  = ["6 mm", "8 mm"]

[[pipe]]
name    = "shaft"
kind    = "PVC schedule 40 3/4 in"
instead = ["PVC schedule 40 1/2 in"]
outside = "26.7 mm"
bore    = "20.8 mm"
picture = "front"
from    = [202.0, 100.0]
to      = [202.0, 260.0]

[[pipe]]
name       = "tang"
outside    = "15.9 mm"
length     = "300 mm"
into       = "shaft"
engagement = "80 mm"
moment     = 0.9

[[seam]]
join    = ["vane, outer", "beam"]
first   = [[300.0, 250.0], [120.0, 250.0]]
second  = [[190.0, 240.0], [214.0, 240.0]]
stretch = false

[[measure]]
name    = "vane tip to ring"
picture = "front"
from    = [81.0, 34.0]
to      = [81.0, 90.0]

[[measure]]
name    = "ring to pommel"
picture = "front"
from    = [81.0, 90.0]
to      = [81.0, 190.0]
"#;

/// A wrong value, the part of it to blame (empty: all of it), and what the message has to say.
type Wrong = (&'static str, &'static str, &'static str);

const TEXT: &[Wrong] = &[
    ("7", "", "a text on one line of 1 to 80 characters"),
    ("true", "", "a text on one line"),
    ("[]", "", "a text on one line"),
    ("{ a = 1 }", "", "a text on one line"),
    ("\"\"", "", "of 1 to 80 characters"),
    ("\"  \"", "", "of 1 to 80 characters"),
    (r#""two\nlines""#, "", "a text on one line"),
    (
        "\"an endless name, an endless name, an endless name, an endless name, an endless name\"",
        "",
        "of 1 to 80 characters",
    ),
];
const A_PICTURE: &[Wrong] = &[
    ("\"frnt\"", "", "did you mean \"front\"?"),
    ("\"stern\"", "", "there is front, back; or write a table [picture.stern]"),
];
const A_FILE: &[Wrong] = &[
    ("7", "", "the name of a file, relative to the build file"),
    ("[\"staff.png\"]", "", "the name of a file"),
    ("\"\"", "", "the name of a file"),
    ("\"#outer\"", "", "the name of a file"),
    ("\"shots/\"", "", "the name of a file"),
    ("\"/shots/staff.png\"", "", "absolute path; write it relative"),
    (r"'C:\staff.png'", "", "absolute path; write it relative"),
    ("\"none.png\"", "", "there is no file “none.png” beside the build file; put it there or mend the name"),
    ("\".\"", "", "is a folder; name a file in it"),
];
const LENGTH: &[Wrong] = &[
    ("true", "", "a length from"),
    ("[1]", "", "a length from"),
    ("2026-05-01", "", "a length from"),
    ("nan", "", "a length from"),
    ("inf", "", "a length from"),
    ("-inf", "", "a length from"),
    ("1e300", "", "a length from"),
    ("-1e9", "", "a length from"),
    ("\"9000 m\"", "", "a length from"),
    ("\"\"", "", "an empty text is no length; write it like"),
    ("\"long\"", "", "has no number at \"long\"; write it like"),
    ("\"12 elbows\"", "", "\"elbows\" is no unit of length; the units are mm"),
    ("\"1,5 m\"", "", "has a comma; write 1.5 m"),
    ("\"5 in 6 ft\"", "", "only a smaller unit"),
    ("\"1/0 in\"", "", "has no number at \"/0 in\"; write it like"),
];
const NOT_BELOW_0: &[Wrong] = &[("\"-5 mm\"", "", "is below zero; write the length without the minus")];
const NOT_0: &[Wrong] = &[("0", "", "a length from"), ("\"0 mm\"", "", "a length from")];
const POINT: &[Wrong] = &[
    ("7", "", "a place [x, y]"),
    ("\"here\"", "", "a place [x, y]"),
    ("[]", "", "a place [x, y]"),
    ("[1]", "", "a place [x, y]"),
    ("[1, 2, 3]", "", "a place [x, y]"),
    ("[1, true]", "true", "a place [x, y]"),
    ("[nan, 1]", "nan", "within 1000000 of 0"),
    ("[1, -inf]", "-inf", "within 1000000 of 0"),
    ("[1, 2e6]", "2e6", "within 1000000 of 0"),
];
const ON_PICTURE: &[Wrong] = &[
    ("[-1, 5]", "", "outside the picture, which is 400 pixels wide and 300 high; mark it again"),
    ("[5, 300.5]", "", "outside the picture"),
];
const ABOVE: &[Wrong] = &[
    ("true", "", "a length from"),
    ("inf", "", "a length from"),
    ("\"high\"", "", "has no number at \"high\"; write it like"),
    ("\"-2 m\"", "", "from -1000 mm to 1000 mm"),
    ("1000.5", "", "from -1000 mm to 1000 mm"),
];
const TWO_ENDS: &[Wrong] = &[
    ("7", "", "a list of 2 places [x, y]"),
    ("[[10, 20]]", "", "a list of 2 places"),
    ("[[10, 20], [30]]", "[30]", "a list of 2 places"),
    ("[[10, 20], [30, nan]]", "nan", "a list of 2 places"),
    ("[[10, 20], [30, 600]]", "[30, 600]", "outside the picture"),
    ("[[10, 20], [10, 22]]", "", "lie 2.00 px apart, at least 3 are needed"),
];
const EDGE_ENDS: &[Wrong] = &[
    ("7", "", "a list of 2 places [x, y]"),
    ("[[10, 20]]", "", "a list of 2 places"),
    ("[[10, 20], [30, nan]]", "nan", "a list of 2 places"),
    ("[[10, 20], [30, 600]]", "[30, 600]", "outside the picture"),
    ("[[10, 20], [10, 20]]", "[10, 20]]", "begins and ends in one place"),
];
const SWITCH: &[Wrong] = &[
    ("1", "", "true or false"),
    ("\"true\"", "", "true or false"),
    ("\"\"", "", "true or false"),
    ("[]", "", "true or false"),
];
const WORD: &[Wrong] = &[("7", "", "one of \""), ("\"\"", "", "one of \""), ("[\"both\"]", "", "one of \"")];
const WHOLE: &[Wrong] = &[
    ("1.5", "", "a whole number from"),
    ("\"2\"", "", "a whole number from"),
    ("-1", "", "a whole number from"),
    ("201", "", "a whole number from"),
    ("99999999999", "", "a whole number from"),
    ("nan", "", "a whole number from"),
];
const LETTER: &[Wrong] = &[
    ("7", "", "one or two capital letters other than I and O"),
    ("\"\"", "", "one or two capital letters"),
    ("\"a\"", "", "one or two capital letters"),
    ("\"I\"", "", "other than I and O"),
    ("\"AO\"", "", "other than I and O"),
    ("\"ABC\"", "", "one or two capital letters"),
];
const LENGTHS: &[Wrong] = &[
    ("7", "", "a list of lengths"),
    ("[]", "", "a list of lengths"),
    ("[\"\"]", "\"\"", "an empty text is no length"),
    ("[nan]", "nan", "a list of lengths"),
    ("[\"12 elbows\"]", "\"12", "is no unit of length"),
];
const SIDES: &[Wrong] = &[
    ("7", "", "two lengths"),
    ("[]", "", "two lengths"),
    ("[\"100 mm\"]", "", "two lengths"),
    ("[\"100 mm\", nan]", "nan", "two lengths"),
    ("[\"100 mm\", \"12 elbows\"]", "\"12", "is no unit of length"),
];
const TABLE: &[Wrong] = &[("7", "", "a table"), ("\"that\"", "", "a table"), ("[]", "", "there is only one")];
const TABLES: &[Wrong] = &[("7", "", "one table for each"), ("\"that\"", "", "one table"), ("[1]", "", "one table")];

/// The key, with `#2` the second of that name, and what is wrong for it. `*` stands for a name of the maker's own.
const WRONG: &[(&str, &[&[Wrong]])] = &[
    ("build", &[TABLE]),
    ("build.name", &[TEXT]),
    (
        "build.units",
        &[WORD, &[("\"metrical\"", "", "did you mean \"metric\"?"), ("\"ells\"", "", "one of \"metric\"")]],
    ),
    (
        "build.language",
        &[
            WORD,
            &[("\"germany\"", "", "did you mean \"german\"?"), ("\"latin\"", "", "one of \"english\", \"german\"")],
        ],
    ),
    (
        "build.date",
        &[&[
            ("\"2026-05-01\"", "", "a date, year-month-day without quotes"),
            ("2026", "", "a date, year-month-day"),
            ("10:30:00", "", "a date, year-month-day"),
            ("2026-05-01T10:30:00", "", "a date, year-month-day"),
        ]],
    ),
    ("wearer", &[TABLE]),
    ("wearer.height", &[LENGTH, NOT_BELOW_0, NOT_0, &[("\"499 mm\"", "", "from 500 mm to 2500 mm")]]),
    ("wearer.shoes", &[LENGTH, NOT_BELOW_0, &[("\"301 mm\"", "", "from 0 mm to 300 mm")]]),
    ("wearer.heel", &[LENGTH, NOT_BELOW_0, &[("\"301 mm\"", "", "from 0 mm to 300 mm")]]),
    (
        "wearer.platform",
        &[LENGTH, NOT_BELOW_0, &[("\"60 mm\"", "", "needs a heel at least as high, and heel is 50 mm")]],
    ),
    ("wearer.hand_length", &[LENGTH, NOT_BELOW_0, NOT_0, &[("301", "", "from 50 mm to 300 mm")]]),
    ("wearer.fist", &[LENGTH, NOT_BELOW_0, NOT_0, &[("29.9", "", "from 30 mm to 200 mm")]]),
    ("picture", &[&[("7", "", "under a name"), ("\"staff.png\"", "", "under a name"), ("[]", "", "under a name")]]),
    ("picture.*.file", &[A_FILE]),
    (
        "picture.*.pixels",
        &[&[
            ("400", "", "width and height in whole pixels"),
            ("\"400 x 300\"", "", "width and height"),
            ("[]", "", "width and height"),
            ("[400]", "", "width and height"),
            ("[400, 300, 3]", "", "width and height"),
            ("[0, 300]", "0", "width and height"),
            ("[400, -300]", "-300", "width and height"),
            ("[400, 300.0]", "300.0", "whole pixels"),
            ("[400, 99999999999]", "99999999999", "width and height"),
            ("[800, 600]", "", "the picture is 400 x 300 pixels, the marks were made on 800 x 600"),
            ("[400, 301]", "", "put the former file back, or mark this one anew"),
        ]],
    ),
    (
        "picture.*.light",
        &[WORD, &[("\"drawn\"", "", "did you mean \"drawing\"?"), ("\"sun\"", "", "one of \"camera\", \"drawing\"")]],
    ),
    ("picture.*.known_length", &[TABLES]),
    ("picture.*.known_length.name", &[TEXT]),
    ("picture.*.known_length.name#2", &[&[("\"grip\"", "", "already; give each its own name")]]),
    ("picture.*.known_length.from", &[POINT, ON_PICTURE]),
    (
        "picture.*.known_length.to",
        &[POINT, ON_PICTURE, &[("[81, 141.5]", "", "the same place, [81, 141.5]; mark the two ends")]],
    ),
    ("picture.*.known_length.length", &[LENGTH, NOT_BELOW_0, NOT_0]),
    (
        "picture.*.known_length.give_or_take",
        &[LENGTH, NOT_BELOW_0, &[("\"140 mm\"", "", "give_or_take is how far the length may be off")]],
    ),
    ("picture.*.known_rectangle", &[TABLE]),
    (
        "picture.*.known_rectangle.corners",
        &[&[
            ("7", "", "a list of 4 places [x, y]"),
            ("[]", "", "a list of 4 places"),
            ("[[1, 2], [3, 4], [5, 7]]", "", "a list of 4 places"),
            ("[[41, 30], [121, 30], [121, 86], 41]", "41]", "a list of 4 places"),
            ("[[41, 30], [121, 30], [121, 86], [41]]", "[41]", "a list of 4 places"),
            ("[[41, 30], [121, 30], [121, 86], [41, nan]]", "nan", "a list of 4 places"),
            ("[[41, 30], [121, 30], [121, 386], [41, 86]]", "[121, 386]", "outside the picture"),
            ("[[41, 30], [41, 86], [121, 86], [121, 30]]", "", "anticlockwise; list them clockwise"),
            ("[[41, 30], [121, 86], [121, 30], [41, 86]]", "", "the sides cross"),
            ("[[41, 30], [121, 30], [121, 86], [41, 30]]", "", "lie on one line; mark the four corners"),
        ]],
    ),
    (
        "picture.*.known_rectangle.size",
        &[&[
            ("7", "", "the name of a sheet or card, \"unknown\", or two lengths"),
            ("\"\"", "", "the name of a sheet or card"),
            ("\"A44\"", "", "did you mean \"A4\"?"),
            ("\"tablecloth\"", "", "or write [\"297 mm\", \"210 mm\"]"),
            ("[\"297 mm\"]", "", "two lengths"),
            ("[\"297 mm\", 0]", "0]", "two lengths of 5 mm to 10 m"),
            ("[\"297 mm\", \"20 elbows\"]", "\"20", "\"elbows\" is no unit of length"),
            ("[\"297 mm\", nan]", "nan", "two lengths"),
        ]],
    ),
    (
        "picture.*.known_rectangle.give_or_take",
        &[LENGTH, NOT_BELOW_0, &[("\"210 mm\"", "", "give_or_take is how far the length may be off")]],
    ),
    ("picture.*.camera_distance", &[LENGTH, NOT_BELOW_0, NOT_0]),
    ("picture.*.above", &[ABOVE]),
    ("picture.*.known_length.above", &[ABOVE]),
    ("piece.above", &[ABOVE]),
    ("picture.*.known_rectangle.camera_distance", &[LENGTH, NOT_BELOW_0, NOT_0]),
    ("picture.*.known_rectangle.above", &[ABOVE]),
    ("picture.*.known_rectangle.sides_in_picture", &[SWITCH]),
    ("picture.*.known_rectangle.place", &[TABLES]),
    ("picture.*.known_rectangle.place.at", &[POINT, ON_PICTURE]),
    (
        "picture.*.known_rectangle.place.on",
        &[&[
            ("7", "", "two lengths"),
            ("[]", "", "two lengths"),
            ("[\"148 mm\"]", "", "two lengths"),
            ("[\"148 mm\", \"11 m\"]", "\"11", "of at most 10 m either way"),
            ("[\"148 mm\", nan]", "nan", "two lengths"),
        ]],
    ),
    ("picture.*.further_rectangle", &[TABLES]),
    (
        "picture.*.further_rectangle.corners",
        &[&[
            ("[[41, 30], [121, 30], [121, 386], [41, 86]]", "[121, 386]", "outside the picture"),
            ("[[41, 30], [41, 86], [121, 86], [121, 30]]", "", "anticlockwise; list them clockwise"),
        ]],
    ),
    (
        "picture.*.further_rectangle.size",
        &[&[
            ("\"A44\"", "", "did you mean \"A4\"?"),
            ("\"unknown\"", "", "beside another rectangle it has to be known"),
        ]],
    ),
    (
        "picture.*.further_rectangle.give_or_take",
        &[LENGTH, NOT_BELOW_0, &[("\"54 mm\"", "", "give_or_take is how far the length may be off")]],
    ),
    ("picture.*.further_rectangle.sides_in_picture", &[SWITCH]),
    ("picture.*.ring", &[TABLE]),
    ("picture.*.ring.longest", &[TWO_ENDS]),
    ("picture.*.ring.shortest", &[&[("[[300.125, 100.125], [345.125, 101.125]]", "", "mark an oval")]]),
    ("picture.*.figure.like", &[WORD, &[("\"heads\"", "", "did you mean \"head\"?")]]),
    (
        "picture.*.figure.blend",
        &[&[("true", "", "a number from 0 to 1"), ("1.01", "", "a number from 0 to 1"), ("nan", "", "a number")]],
    ),
    ("picture.*.figure.limbs", &[TABLE]),
    ("picture.*.figure.limbs.head_and_neck", &[TWO_ENDS]),
    ("picture.*.figure.limbs.trunk", &[TWO_ENDS]),
    ("picture.*.figure.limbs.thigh", &[TWO_ENDS]),
    ("picture.*.figure.limbs.shank", &[TWO_ENDS]),
    ("picture.*.figure.limbs.upper_arm", &[TWO_ENDS]),
    ("picture.*.figure.limbs.forearm", &[TWO_ENDS]),
    ("picture.*.figure.limbs.hand", &[TWO_ENDS]),
    ("picture.*.hand", &[TABLE]),
    ("picture.*.hand.fist", &[TWO_ENDS]),
    ("picture.*.hand.length", &[TWO_ENDS]),
    ("picture.*.hand.drawn", &[SWITCH]),
    ("other_heights", &[TABLE]),
    (
        "other_heights.heights",
        &[&[
            ("7", "", "a list of lengths"),
            ("[]", "", "a list of lengths"),
            ("[\"150 cm\", 1]", "1]", "from 500 mm to 2500 mm"),
            ("[\"150 cm\", \"tall\"]", "\"tall", "has no number at \"tall\""),
            ("[\"150 cm\", \"1500 mm\"]", "\"1500", "is listed twice"),
        ]],
    ),
    ("picture.*.lens", &[TABLE]),
    (
        "picture.*.lens.straight_edges",
        &[&[
            ("7", "", "a list of lines, each a list of 3 or more places"),
            ("[]", "", "a list of lines"),
            ("[[]]", "[]", "3 or more places"),
            ("[[[1, 2], [3, 4]]]", "[[1", "3 or more places"),
            ("[[[1, 2], [3, 4], [5, inf]]]", "inf", "a list of lines"),
            ("[[[1, 2], [3, 4], [5, 600]]]", "[5, 600]", "outside the picture"),
        ]],
    ),
    ("picture.*.figure", &[TABLE]),
    (
        "picture.*.figure.heads",
        &[&[
            ("\"7.5\"", "", "a number from 1 to 20"),
            ("0", "", "a number from 1 to 20"),
            ("-7.5", "", "a number from 1 to 20"),
            ("nan", "", "a number from 1 to 20"),
            ("1e300", "", "a number from 1 to 20"),
        ]],
    ),
    ("picture.*.figure.landmarks", &[TABLE]),
    ("picture.*.figure.landmarks.sole", &[POINT, ON_PICTURE]),
    ("picture.*.figure.landmarks.knee", &[POINT, ON_PICTURE]),
    ("picture.*.figure.landmarks.hip", &[POINT, ON_PICTURE]),
    ("picture.*.figure.landmarks.shoulder", &[POINT, ON_PICTURE]),
    ("picture.*.figure.landmarks.chin", &[POINT, ON_PICTURE]),
    ("picture.*.figure.landmarks.eye", &[POINT, ON_PICTURE]),
    (
        "picture.*.figure.landmarks.crown",
        &[POINT, ON_PICTURE, &[("[10, 290]", "", "the same place as the sole, [10, 290]; mark")]],
    ),
    ("size", &[TABLE]),
    (
        "size.from",
        &[
            WORD,
            &[
                ("\"finish\"", "", "did you mean \"finished\"?"),
                ("\"guess\"", "", "one of \"known lengths\", \"as pictured\""),
            ],
        ],
    ),
    ("size.finished", &[LENGTH, NOT_BELOW_0, NOT_0, &[("\"9 mm\"", "", "from 10 mm to 20 m")]]),
    ("finished", &[TABLE]),
    ("finished.picture", &[TEXT, A_PICTURE]),
    ("finished.from", &[POINT, ON_PICTURE]),
    ("finished.to", &[POINT, ON_PICTURE, &[("[81, 12]", "", "the same place, [81, 12]; mark the two ends")]]),
    ("paper", &[TABLE]),
    (
        "paper.use",
        &[&[
            ("\"A4\"", "", "a list of names of sheets"),
            ("[]", "", "a list of names of sheets"),
            ("[7]", "7", "a list of names of sheets"),
            ("[\"\"]", "\"\"", "there is no sheet"),
            ("[\"A4\", \"Leter\"]", "\"Leter\"", "did you mean \"Letter\"?"),
            ("[\"parchment\"]", "\"parchment\"", "or write \"300 x 400 mm\""),
            ("[\"A4\", \"A4\"]", "\"A4\"]", "listed twice; keep one"),
            ("[\"20 x 30 mm\"]", "\"20", "a side is 50 to 5080 mm long"),
            ("[\"9000 x 300 mm\"]", "\"9000", "a side is 50 to 5080 mm long"),
            ("[\"90 mm roll\"]", "\"90", "a roll is 200 to 1700 mm wide"),
            ("[\"wide roll\"]", "\"wide", "has no number"),
            ("[\"3 x 4 elbows\"]", "\"3", "is no unit of length"),
        ]],
    ),
    ("paper.overlap", &[LENGTH, NOT_BELOW_0, NOT_0, &[("\"61 mm\"", "", "from 5 mm to 60 mm")]]),
    ("paper.margin", &[LENGTH, NOT_BELOW_0, &[("\"51 mm\"", "", "from 0 mm to 50 mm")]]),
    ("paper.last_page_first", &[SWITCH]),
    ("paper.check_distances", &[WHOLE, &[("0", "", "from 1 to 12"), ("13", "", "from 1 to 12")]]),
    ("foam_at_hand", &[TABLES]),
    ("foam_at_hand.sold_as", &[LENGTH, NOT_BELOW_0, NOT_0, &[("101", "", "from 0.5 mm to 100 mm")]]),
    ("foam_at_hand.sold_as#2", &[&[("\"5 mm\"", "", "foam sold as 5 mm is listed twice; keep one")]]),
    ("foam_at_hand.measured", &[LENGTH, NOT_BELOW_0, NOT_0]),
    ("piece", &[TABLES, &[("[]", "", "there is no piece to make yet; add one with [[piece]]")]]),
    ("piece.name", &[TEXT]),
    ("piece.name#2", &[&[("\"handle washer\"", "", "already; give each its own name")]]),
    ("piece.letter", &[LETTER]),
    ("piece.letter#2", &[&[("\"A\"", "", "the letter A is taken at line")]]),
    ("piece.picture", &[TEXT, A_PICTURE]),
    (
        "piece.trace",
        &[&[
            ("7", "", "\"plain ground\" or a table"),
            ("\"plane ground\"", "", "\"plain ground\" or a table"),
            ("\"\"", "", "\"plain ground\" or a table"),
            ("{}", "", "trace says nothing; write trace ="),
        ]],
    ),
    (
        "piece.trace.around",
        &[&[
            ("7", "", "a list of 3 or more places"),
            ("[]", "", "a list of 3 or more places"),
            ("[[1, 2], [3, 4]]", "", "a list of 3 or more places"),
            ("[[1, 2], [3, 4], [5]]", "[5]", "3 or more places"),
            ("[[1, 2], [3, 4], [5, nan]]", "nan", "3 or more places"),
            ("[[1, 2], [3, 4], [5, 600]]", "[5, 600]", "outside the picture"),
        ]],
    ),
    (
        "piece.trace.inside",
        &[
            ON_PICTURE,
            &[
                ("7", "", "a place [x, y], or a list of places and of strokes"),
                ("[]", "", "a place [x, y], or a list of places and of strokes"),
                ("[1]", "", "a place [x, y], or a list of places and of strokes"),
                ("[[1, 2], [nan, 4]]", "nan", "a place [x, y], or a list of places and of strokes"),
            ],
        ],
    ),
    (
        "piece.trace.outside",
        &[
            ON_PICTURE,
            &[
                ("7", "", "a place [x, y], or a list of places and of strokes"),
                ("[[[1, 2], [3]]]", "[3]", "a place [x, y], or a list of places and of strokes"),
                ("[[[1, 2], [3, 600]]]", "[3, 600]", "outside the picture"),
            ],
        ],
    ),
    ("piece.trace.within", &[LENGTH, NOT_BELOW_0, NOT_0, &[("\"0.5 mm\"", "", "from 0.02 mm to 0.4 mm")]]),
    ("piece.trace.ignore_below", &[LENGTH, NOT_BELOW_0, NOT_0, &[("101", "", "from 0.1 mm to 100 mm")]]),
    ("piece.trace.drawn_line", &[WORD, &[("\"midle\"", "", "did you mean \"middle\"?")]]),
    (
        "piece.outline",
        &[&[
            ("7", "", "SVG path data of closed outlines"),
            ("\"\"", "", "SVG path data"),
            ("\"L 1 2\"", "", "path data starts with M"),
            ("\"M 0 0 L 5 x Z\"", "", "\"x\" stands where a number should"),
            ("\"M 0 0 L 9 0 L 9 9\"", "", "is open; end it with Z"),
            ("\"M 0 0 L 9 9 Z\"", "", "encloses no area; give it three or more places"),
            ("\"M 0 0 L 9e9 0 L 9 9 Z\"", "", "at most 1000000 is allowed"),
            ("\"M 10 10 L 90 90 L 90 10 L 10 50 Z\"", "", "crosses or touches itself at (36.67, 36.67)"),
        ]],
    ),
    (
        "piece.through",
        &[&[
            ("7", "", "a list of 3 or more places"),
            ("[]", "", "a list of 3 or more places"),
            ("[[1, 2], [3, 4]]", "", "a list of 3 or more places"),
            ("[[1, 2], [3, 4], { edge = [5, 6] }]", "{", "{ corner = [x, y] }"),
            ("[[1, 2], [3, 4], { corner = [5] }]", "[5]", "{ corner = [x, y] }"),
            ("[[1, 2], [3, 4], [5, inf]]", "inf", "a list of 3 or more places"),
            ("[[1, 2], [1, 2], [5, 9]]", "[[1", "lie in one place, (1, 2); leave one of them out"),
        ]],
    ),
    ("piece.svg", &[A_FILE, &[("\"crest.svg#inner\"", "", "inner")]]),
    ("piece.foam", &[LENGTH, NOT_BELOW_0, NOT_0, &[("0.4", "", "from 0.5 mm to 100 mm")]]),
    ("piece.copies", &[WHOLE, &[("0", "", "from 1 to 200")]]),
    ("piece.face_down", &[WHOLE, &[("3", "", "3 face down of 2 in all; copies counts all of them, so raise copies")]]),
    (
        "piece.symmetric",
        &[&[
            ("1", "", "true, false, or one of \"left\""),
            ("\"true\"", "", "one of \"left\""),
            ("\"rigth\"", "", "did you mean \"right\"?"),
            ("\"upper\"", "", "has no upper or lower half; write symmetric = \"left\" or \"right\""),
        ]],
    ),
    (
        "piece.axis",
        &[&[
            ("7", "", "a list of 2 places"),
            ("[[210, 90]]", "", "a list of 2 places"),
            ("[[210, 90], [210, nan]]", "nan", "a list of 2 places"),
            ("[[210, 90], [211, 91]]", "[211, 91]", "1.41 px from where it begins; place the two at least 3 px apart"),
            ("[[210, 90], [210, 900]]", "[210, 900]", "outside the picture"),
        ]],
    ),
    ("piece.repeats", &[WHOLE, &[("0", "", "from 1 to 64"), ("65", "", "from 1 to 64")]]),
    ("piece.fixed", &[SWITCH]),
    ("piece.hole", &[TABLES]),
    ("piece.hole.at", &[POINT]),
    ("piece.hole.diameter", &[LENGTH, NOT_BELOW_0, NOT_0, &[("501", "", "from 0.5 mm to 500 mm")]]),
    ("piece.hole.fit", &[WORD, &[("\"slp\"", "", "did you mean \"slip\"?")]]),
    ("piece.thickness", &[LENGTH, NOT_BELOW_0, NOT_0, &[("401", "", "from 1 mm to 400 mm")]]),
    ("piece.section", &[WORD, &[("\"roundet\"", "", "did you mean \"rounded\"?")]]),
    ("piece.edge", &[LENGTH, NOT_BELOW_0, NOT_0, &[("501", "", "from 0.5 mm to 500 mm")]]),
    ("piece.land", &[LENGTH, NOT_BELOW_0, &[("\"34 mm\"", "", "leaves nothing of 34 mm of thickness")]]),
    ("piece.both_sides", &[SWITCH]),
    (
        "piece.layers",
        &[
            LENGTHS,
            &[
                ("[\"10 mm\"]", "\"10 mm\"", "10 mm, come to 19.4 mm, and thickness is 34.0 mm"),
                ("[\"101 mm\"]", "\"101 mm\"", "lengths from"),
            ],
        ],
    ),
    ("piece.pipe", &[TEXT, &[("\"shft\"", "", "did you mean \"shaft\"?"), ("\"tang\"", "", "not marked where pipe")]]),
    ("piece.channel", &[WORD, &[("\"grove\"", "", "did you mean \"groove\"?")]]),
    (
        "piece.on",
        &[&[
            ("7", "", "a name, or a list of names"),
            ("[]", "", "a name, or a list of names"),
            ("\"\"", "", "a name, or a list of names"),
            ("[\"\"]", "\"\"", "a name, or a list of names"),
            ("\"vane, inner\"", "", "did you mean \"vane, outer\"?"),
            ("\"beam\"", "", "cannot lie on itself"),
            ("\"crest\"", "", "is not on the picture of this piece"),
        ]],
    ),
    ("piece.line", &[TABLES]),
    ("piece.line.for", &[WORD, &[("\"scores\"", "", "did you mean \"score\"?")]]),
    (
        "piece.line.along",
        &[&[
            ("7", "", "a list of 2 or more places"),
            ("[]", "", "a list of 2 or more places"),
            ("[[195, 200]]", "", "a list of 2 or more places"),
            ("[[195, 200], [nan, 200]]", "nan", "a list of 2 or more places"),
            ("[[195, 200], [195, 200]]", "[195, 200]]", "are the same; leave one out"),
            ("[[195, 200], [195, 900]]", "[195, 900]", "outside the picture"),
        ]],
    ),
    ("piece.line.depth", &[LENGTH, NOT_BELOW_0, NOT_0, &[("51", "", "from 0.3 mm to 50 mm")]]),
    ("piece.slot", &[TABLES]),
    ("piece.slot.from", &[POINT, ON_PICTURE]),
    ("piece.slot.to", &[POINT, ON_PICTURE, &[("[198, 220]", "", "both ends of the slot are in one place")]]),
    ("piece.slot.width", &[LENGTH, NOT_BELOW_0, NOT_0, &[("501", "", "from 0.5 mm to 500 mm")]]),
    (
        "piece.split",
        &[&[
            ("7", "", "a list of lines, each a list of 2 or more places"),
            ("[]", "", "a list of lines"),
            ("[[[250, 50]]]", "[[250", "2 or more places"),
            ("[[[250, 50], [310, inf]]]", "inf", "2 or more places"),
            ("[[[250, 50], [280, 50]]]", "", "ends inside \"fin\""),
            ("[[[10, 50], [40, 50]]]", "", "does not cross \"fin\""),
        ]],
    ),
    ("piece.part", &[TABLES]),
    ("piece.part.at", &[POINT, ON_PICTURE, &[("[20, 30]", "", "in no part of \"fin\"")]]),
    ("piece.part.name", &[TEXT]),
    ("piece.part.letter", &[LETTER]),
    ("piece.part.foam", &[LENGTH, NOT_BELOW_0, NOT_0, &[("0.4", "", "from 0.5 mm to 100 mm")]]),
    ("piece.part.copies", &[WHOLE, &[("0", "", "from 1 to 200")]]),
    ("piece.part.face_down", &[WHOLE, &[("3", "", "3 face down of 2 in all; raise copies")]]),
    ("piece.wrap", &[TABLE]),
    ("piece.wrap.form", &[WORD, &[("\"ovl\"", "", "did you mean \"oval\"?")]]),
    ("piece.wrap.inside", &[LENGTH, NOT_BELOW_0, NOT_0, &[("5001", "", "from 1 mm to 5000 mm")]]),
    ("piece.wrap.inside_across", &[LENGTH, NOT_BELOW_0, NOT_0, &[("\"61 mm\"", "", "give the longer one as inside")]]),
    ("piece.wrap.to_inside", &[LENGTH, NOT_BELOW_0, &[("\"61 mm\"", "", "give the larger end as inside")]]),
    ("piece.wrap.pipe", &[TEXT, &[("\"shft\"", "", "did you mean \"shaft\"?")]]),
    ("piece.wrap.length", &[LENGTH, NOT_BELOW_0, NOT_0]),
    ("piece.wrap.sides", &[WHOLE, &[("2", "", "from 3 to 48"), ("49", "", "from 3 to 48")]]),
    (
        "piece.wrap.slant",
        &[&[("\"steep\"", "", "a number from 0 to 70"), ("71", "", "a number from 0 to 70"), ("nan", "", "a number")]],
    ),
    ("piece.wrap.strands", &[WHOLE, &[("4", "", "from 2 to 3")]]),
    ("piece.wrap.thick", &[LENGTH, NOT_BELOW_0, NOT_0]),
    ("piece.wrap.width", &[LENGTH, NOT_BELOW_0, NOT_0]),
    ("piece.wrap.pitch", &[LENGTH, NOT_BELOW_0, NOT_0]),
    ("piece.wrap.tab", &[LENGTH, NOT_BELOW_0]),
    ("piece.wrap.warmed", &[SWITCH]),
    ("cutting", &[TABLE]),
    ("cutting.template", &[WORD, &[("\"traced rond\"", "", "did you mean \"traced round\"?")]]),
    ("cutting.line", &[WORD, &[("\"outsid\"", "", "did you mean \"outside\"?")]]),
    ("cutting.pen", &[LENGTH, NOT_BELOW_0, &[("5.1", "", "from 0 mm to 5 mm")]]),
    ("cutting.sanding", &[LENGTH, NOT_BELOW_0, &[("5.1", "", "from 0 mm to 5 mm")]]),
    ("cutting.coats", &[LENGTH, NOT_BELOW_0, &[("5.1", "", "from 0 mm to 5 mm")]]),
    ("cutting.punches", &[LENGTHS, &[("[\"201 mm\"]", "\"201 mm\"", "lengths from 0.5 mm to 200 mm")]]),
    ("pipe", &[TABLES]),
    ("pipe.name", &[TEXT]),
    ("pipe.name#2", &[&[("\"shaft\"", "", "already; give each its own name")]]),
    (
        "pipe.kind",
        &[
            TEXT,
            &[
                ("\"PVC schedule 40 3/5 in\"", "", "did you mean \"PVC schedule 40 3/"),
                ("\"straw\"", "", "there is no pipe or rod"),
            ],
        ],
    ),
    (
        "pipe.instead",
        &[&[
            ("7", "", "a name, or a list of names"),
            ("[]", "", "a name, or a list of names"),
            ("[\"straw\"]", "\"straw\"", "there is no pipe or rod \"straw\""),
        ]],
    ),
    ("pipe.outside", &[LENGTH, NOT_BELOW_0, NOT_0, &[("301", "", "from 1 mm to 300 mm")]]),
    ("pipe.bore", &[LENGTH, NOT_BELOW_0, NOT_0, &[("\"26.7 mm\"", "", "leaves no wall in a pipe of 26.7 mm outside")]]),
    ("pipe.picture", &[TEXT, A_PICTURE]),
    ("pipe.from", &[POINT, ON_PICTURE]),
    ("pipe.to", &[POINT, ON_PICTURE, &[("[202, 100]", "", "mark the two ends")]]),
    ("pipe.length", &[LENGTH, NOT_BELOW_0, NOT_0]),
    (
        "pipe.into",
        &[TEXT, &[("\"shft\"", "", "did you mean \"shaft\"?"), ("\"tang\"", "", "would be in itself in the end")]],
    ),
    ("pipe.engagement", &[LENGTH, NOT_BELOW_0, NOT_0]),
    (
        "pipe.moment",
        &[&[("\"much\"", "", "a number from 0 to 1000"), ("-1", "", "a number from 0"), ("nan", "", "a number")]],
    ),
    ("seam", &[TABLES]),
    (
        "seam.join",
        &[&[
            ("7", "", "a list of 2 names"),
            ("[\"beam\"]", "", "a list of 2 names"),
            ("\"beam\"", "", "a list of 2 names"),
            ("[\"beam\", \"beem\"]", "\"beem\"", "did you mean \"beam\"?"),
        ]],
    ),
    ("seam.first", &[EDGE_ENDS]),
    ("seam.second", &[EDGE_ENDS]),
    ("seam.stretch", &[SWITCH]),
    ("foam_at_hand.sheet", &[SIDES, &[("[\"40 mm\", \"1 m\"]", "\"40 mm\"", "two lengths from 50 mm")]]),
    ("foam_at_hand.test_card", &[TABLE]),
    ("foam_at_hand.test_card.stack_of_five", &[LENGTH, NOT_BELOW_0, NOT_0]),
    ("foam_at_hand.test_card.strip", &[LENGTH, NOT_BELOW_0, NOT_0]),
    ("foam_at_hand.test_card.strip_round", &[LENGTH, NOT_BELOW_0, NOT_0]),
    (
        "foam_at_hand.test_card.square_after_heat",
        &[SIDES, &[("[\"99 mm\", \"111 mm\"]", "\"111 mm\"", "two lengths from 80 mm to 110 mm")]],
    ),
    ("foam_at_hand.test_card.scores", &[LENGTHS, &[("[\"21 mm\"]", "\"21 mm\"", "lengths from 0 mm to 20 mm")]]),
    ("measure", &[TABLES]),
    ("measure.name", &[TEXT]),
    ("measure.name#2", &[&[("\"vane tip to ring\"", "", "already; give each its own name")]]),
    ("measure.picture", &[TEXT, A_PICTURE]),
    ("measure.from", &[POINT, ON_PICTURE]),
    ("measure.to", &[POINT, ON_PICTURE, &[("[81, 34]", "", "the same place, [81, 34]; mark the two ends")]]),
];

/// A folder with what the complete file names, to break build files in.
struct Scene(TempDir);

impl Scene {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        GrayImage::from_pixel(400, 300, Luma([230])).save(folder.path().join("staff.png")).expect("written");
        let crest = "<svg xmlns='http://www.w3.org/2000/svg'><path id='outer' d='M0 0H96V96Z'/></svg>";
        fs::write(folder.path().join("crest.svg"), crest).expect("written");
        Self(folder)
    }

    fn file(&self) -> PathBuf {
        self.0.path().join("staff.toml")
    }

    fn run(&self, text: &[u8], command: &str) -> Output {
        fs::write(self.file(), text).expect("written");
        let out = self.0.path().join("out");
        let mut program = Command::new(env!("CARGO_BIN_EXE_spanwright"));
        program.arg(command).arg(self.file());
        if command == "make" {
            program.arg("--out").arg(&out);
        }
        let run = program.output().expect("it runs");
        assert!(fs::read(self.file()).expect("there") == text, "the build file was changed");
        assert!(!out.exists(), "something was written");
        Output {
            code: run.status.code(),
            told: String::from_utf8(run.stderr).expect("text"),
            shown: String::from_utf8(run.stdout).expect("text"),
        }
    }

    /// `make` ends with 1 and tells `words` of the byte at `offset`.
    #[track_caller]
    fn refuses(&self, text: &str, offset: usize, words: &str) -> String {
        let (line, column) = place(text, offset);
        let output = self.run(text.as_bytes(), "make");
        let start = format!("staff.toml:{line}:{column}: error: ");
        let told = output.told.lines().find(|told| told.starts_with(&start) && told.contains(words));
        let told = told.unwrap_or_else(|| panic!("wanted: {start}… {words}\ntold: {}", output.told));
        assert_eq!((output.code, output.shown.as_str()), (Some(1), ""), "{}", output.told);
        told.to_owned()
    }
}

struct Output {
    code: Option<i32>,
    told: String,
    shown: String,
}

/// Line and column, both from 1, by walking over the characters.
fn place(text: &str, offset: usize) -> (usize, usize) {
    text[..offset].chars().fold((1, 1), |(line, column), c| match c {
        '\n' => (line + 1, 1),
        '\u{feff}' => (line, column),
        _ => (line, column + 1),
    })
}

/// A header or a key with its value, found by reading line by line.
struct Spot {
    /// As in [`WRONG`], without a number.
    path: String,
    /// Of the last word of a header, of the key.
    name: Range<usize>,
    /// None of a header.
    value: Option<Range<usize>>,
    line: Range<usize>,
}

fn spots(text: &str) -> Vec<Spot> {
    let (mut all, mut table, mut start) = (Vec::new(), String::new(), 0);
    let known = |path: &str| path.replace("picture.front", "picture.*").replace("picture.back", "picture.*");
    for line in text.split_inclusive('\n') {
        let words = line.trim_end();
        let range = start..start + line.len();
        if let Some((key, value)) = words.split_once(" = ").filter(|_| !words.starts_with(['#', '['])) {
            let value = start + words.len() - value.len()..start + words.len();
            let name = start..start + key.trim_end().len();
            all.push(Spot {
                path: known(&format!("{table}.{}", key.trim_end())),
                name,
                value: Some(value),
                line: range,
            });
        } else if words.starts_with('[') {
            words.trim_matches(['[', ']']).clone_into(&mut table);
            let end = start + words.trim_end_matches(']').len();
            let last = table.rsplit('.').next().unwrap_or_default().len();
            all.push(Spot { path: known(&table), name: end - last..end, value: None, line: range });
        }
        start += line.len();
    }
    all
}

/// The key at `path`, with `#2` the second of that name.
fn spot<'a>(spots: &'a [Spot], path: &str) -> Option<&'a Spot> {
    let (path, number) = path.split_once('#').unwrap_or((path, "1"));
    spots.iter().filter(|spot| spot.path == path).nth(number.parse::<usize>().expect("a number") - 1)
}

fn replaced(text: &str, span: Range<usize>, by: &str) -> String {
    format!("{}{by}{}", &text[..span.start], &text[span.end..])
}

/// `text` with `value` at the key `path`, and where the value begins.
fn with_value(path: &str, value: &str) -> (String, usize) {
    let spots = spots(COMPLETE);
    if let Some(value_at) = spot(&spots, path).and_then(|spot| spot.value.clone()) {
        return (replaced(COMPLETE, value_at.clone(), value), value_at.start);
    }
    // A table: its lines go, and the value stands in the table above it.
    let mut text = String::new();
    let (above, name) = path.rsplit_once('.').unwrap_or(("", path));
    let line = format!("{name} = {value}\n");
    let mut at = None;
    let mut start = 0;
    if above.is_empty() {
        text.push_str(&line);
        at = Some(line.len() - value.len() - 1);
    }
    let below = format!("{path}.");
    let mut skipping = false;
    for each in COMPLETE.split_inclusive('\n') {
        let here = spots.iter().find(|spot| spot.line.start == start);
        if let Some(header) = here.filter(|spot| spot.value.is_none()) {
            skipping = header.path == path || header.path.starts_with(&below);
        }
        if !skipping {
            text.push_str(each);
        }
        start += each.len();
        // The last [[piece]] is the one with tables of its own.
        let last =
            |spot: &Spot| !spots.iter().any(|s| s.value.is_none() && s.path == above && s.line.start > spot.line.start);
        if here.is_some_and(|spot| spot.value.is_none() && spot.path == above && last(spot)) {
            text.push_str(&line);
            at = Some(text.len() - value.len() - 1);
        }
    }
    (text, at.unwrap_or_else(|| panic!("no table above {path}")))
}

fn program(arguments: &[&str]) -> String {
    let run = Command::new(env!("CARGO_BIN_EXE_spanwright")).args(arguments).assert().code(0);
    String::from_utf8(run.get_output().stdout.clone()).expect("text")
}

/// Every table and key that `schema` knows, as in [`WRONG`].
fn keys_of(schema: &Value, path: &str, keys: &mut BTreeSet<String>) {
    for (name, below) in schema["properties"].as_object().into_iter().flatten() {
        let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
        keys_of(below, &path, keys);
        keys.insert(path);
    }
    // Places and lengths are described apart and hold no keys; a corner of a curve is a value.
    if schema["items"]["properties"].is_object() {
        keys_of(&schema["items"], path, keys);
    }
    if schema["additionalProperties"].is_object() {
        keys_of(&schema["additionalProperties"], &format!("{path}.*"), keys);
    }
    for either in schema["anyOf"].as_array().into_iter().flatten() {
        keys_of(either, path, keys);
    }
}

#[test]
fn the_complete_file_passes_and_the_table_holds_every_key_of_the_schema() {
    let schema = serde_json::from_str(&program(&["schema"])).expect("JSON");
    let mut known = BTreeSet::new();
    keys_of(&schema, "", &mut known);
    let listed: BTreeSet<String> =
        WRONG.iter().map(|(path, _)| path.to_string()).filter(|p| !p.contains('#')).collect();
    assert_eq!(known, listed, "each key of the schema has its wrong values in this test");
    for path in known.iter().filter(|path| *path != "picture") {
        assert!(spot(&spots(COMPLETE), path).is_some(), "{path} is not in the complete file");
    }
    let output = Scene::new().run(COMPLETE.as_bytes(), "check");
    assert_eq!(output.code, Some(0), "{}", output.told);
    assert!(!output.told.contains("error") && output.shown.contains("vane, outer"), "{}", output.told);
}

#[test]
fn every_wrong_value_of_every_key_is_refused_at_its_place() {
    let scene = Scene::new();
    let mut tried = 0;
    for (path, families) in WRONG {
        for (value, part, words) in families.iter().copied().flatten() {
            let (text, at) = with_value(path, value);
            let told = scene.refuses(&text, at + value.find(part).expect("a part of it"), words);
            // The value met stands in the message, but for long ones and path data, of which it tells the character.
            let met = if part.is_empty() { value } else { part };
            let mut met = met.split(|c: char| !c.is_alphanumeric() && c != '.').filter(|_| met.len() < 40);
            assert!(*path == "piece.outline" || met.all(|word| told.contains(word)), "{path} = {value}: {told}");
            tried += 1;
        }
    }
    assert!(tried > 400, "only {tried} wrong values were tried");
}

#[test]
fn every_misspelt_key_and_table_is_refused_with_the_nearest_known_one() {
    let scene = Scene::new();
    for spot in spots(COMPLETE) {
        let name = &COMPLETE[spot.name.clone()];
        // The name of a picture is the maker's own.
        let (name, span) = match spot.path.as_str() {
            "picture.*" => ("picture", spot.line.start + 1..spot.line.start + 8),
            _ => (name, spot.name.clone()),
        };
        let text = replaced(COMPLETE, span.end..span.end, "x");
        scene.refuses(&text, span.start, &format!("has no key \"{name}x\"; did you mean {name}?"));
    }
}

#[test]
fn several_wrong_fields_are_all_told_in_one_run() {
    let scene = Scene::new();
    let edits = [
        ("\"both\"", "\"bath\""),
        ("\"168 cm\"", "\"16.8 cm\""),
        ("shoes  ", "shose  "),
        ("[400, 300]", "[400, 30.5]"),
        ("\"crest.svg#outer\"", "\"/crest.svg\""),
        ("copies    = 2", "copies    = 0"),
        ("diameter = \"8 mm\"", "diameter = nan"),
        ("picture = \"front\"\nfrom    = [81.0, 34.0]", "picture = \"frnt\"\nfrom    = [81.0, 34.0]"),
    ];
    let text = edits.iter().fold(COMPLETE.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replacen(from, to, 1)
    });
    let output = scene.run(text.as_bytes(), "make");
    let places: Vec<&str> =
        output.told.lines().filter_map(|line| line.split_once(": error: ")).map(|it| it.0).collect();
    let expected: Vec<String> = ["\"bath\"", "\"16.8", "shose", "30.5", "\"/crest", "0\nface", "nan", "\"frnt\""]
        .iter()
        .map(|wrong| place(&text, text.find(wrong).expect("there")))
        .map(|(line, column)| format!("staff.toml:{line}:{column}"))
        .collect();
    assert_eq!(places, expected, "{}", output.told);
    assert_eq!(output.code, Some(1));
}

#[test]
fn what_is_no_toml_is_refused_where_it_stops() {
    let scene = Scene::new();
    for (from, to, at, words) in [
        ("\"168 cm\"", "\"168 cm", "\nshoes", "texts stand in double quotes"),
        ("\"168 cm\"", "168 cm", "168 cm", "texts stand in double quotes"),
        ("[paper]", "[paper", "\nuse", "square brackets"),
        ("[400, 300]", "[400, 300", "light", "square brackets"),
        ("shoes       =", "height =", "height =", "duplicate key"),
        ("[paper]", "[size]\n[paper]", "size]\n[paper]", "duplicate key"),
        ("2026-05-01", "2026-02-30", "2026-02-30", "date"),
        ("2026-05-01", "2026-13-01", "2026-13-01", "date"),
        ("7.5", "7,5", ",5", "its own line"),
    ] {
        let text = COMPLETE.replacen(from, to, 1);
        scene.refuses(&text, text.find(at).expect("there"), words);
    }
    scene.refuses("", 0, "the file has no build; write for example [build]");
    for (open, close) in [("[", "]"), ("{ a = ", " }")] {
        let text = format!("{COMPLETE}deep = {}1{}\n", open.repeat(100_000), close.repeat(100_000));
        let output = scene.run(text.as_bytes(), "make");
        let line = COMPLETE.lines().count() + 1;
        assert!(output.told.starts_with(&format!("staff.toml:{line}:")), "{}", output.told);
        assert_eq!(output.code, Some(1));
    }
}

#[test]
fn what_is_no_utf8_is_refused_at_the_first_byte_that_is_none() {
    let scene = Scene::new();
    let latin: Vec<u8> =
        COMPLETE.replace("Beacon", "Phare \u{e9}").chars().map(|c| u8::try_from(c).expect("Latin 1")).collect();
    let utf16: Vec<u8> = "\u{feff}[build]\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    for (bytes, at, byte) in [(&latin, "3:16", "e9"), (&utf16, "1:1", "ff")] {
        let output = scene.run(bytes, "make");
        let start = format!("staff.toml:{at}: error: the byte {byte} here is no UTF-8 text");
        assert!(output.told.starts_with(&start) && output.told.contains("save it as UTF-8"), "{}", output.told);
        assert_eq!(output.code, Some(1));
    }
}

#[test]
fn a_byte_order_mark_and_windows_line_ends_move_no_place() {
    let scene = Scene::new();
    let windows = |text: &str| format!("\u{feff}{}", text.replace('\n', "\r\n"));
    assert_eq!(scene.run(windows(COMPLETE).as_bytes(), "check").code, Some(0));
    let wrong = COMPLETE.replace("copies    = 2", "copies    = 0");
    let at = wrong.find("0\nface").expect("there");
    scene.refuses(&wrong, at, "copies is 0");
    let wrong = windows(&wrong);
    scene.refuses(&wrong, wrong.find("0\r\nface").expect("there"), "copies is 0");
    let first = "\u{feff}biuld.name = \"staff\"\n";
    scene.refuses(first, 3, "did you mean build?");
}

#[test]
fn ten_megabytes_are_read_and_refused_at_their_last_line() {
    let scene = Scene::new();
    let remarks = "# The lamp of the outer coast burns by night, é.\n".repeat(200_000);
    let text = format!("{remarks}{}", COMPLETE.replace("copies    = 2", "copies    = 0"));
    assert!(text.len() > 9_000_000);
    scene.refuses(&text, text.find("0\nface").expect("there"), "copies is 0");
    let name = format!("\"{}\"", "é".repeat(5_000_000));
    let (text, at) = with_value("build.name", &name);
    assert!(scene.refuses(&text, at, "of 1 to 80 characters").len() < 400);
    // Every place of a long line is found without walking over it again.
    let places = format!("[{}nan]", "[1, 2], ".repeat(1_000_000));
    let (text, at) = with_value("piece.through", &places);
    scene.refuses(&text, at + places.find("nan").expect("there"), "a list of 3 or more places");
}

#[test]
fn a_piece_of_endless_pages_is_refused_and_the_smallest_is_made() {
    let scene = Scene::new();
    let piece = |outline: &str, hole: &str| {
        format!("[build]\nname = \"x\"\n[[piece]]\nname = \"y\"\nfixed = true\noutline = \"{outline}\"\n{hole}")
    };
    let far = "[[piece.hole]]\nat = [1e6, 1e6]\ndiameter = 8\n";
    for text in [piece("M 0 0 H 30000 V 30000 Z", ""), piece("M 0 0 H 100 V 100 Z", far)] {
        scene.refuses(&text, text.find("\"M").expect("there"), "at most 2000 are made; check what gives it its size");
    }
    for outline in ["M 0 0 H 0.01 V 0.01 Z", "M 0 0 H 900 V 0.1 H 0 Z"] {
        let output = scene.run(piece(outline, "").as_bytes(), "check");
        assert_eq!(output.code, Some(0), "{}", output.told);
    }
}

#[test]
fn a_folder_or_nothing_in_place_of_the_file_is_wrong_usage() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("out");
    for (file, words) in
        [(folder.path().to_owned(), "is a folder"), (folder.path().join("none.toml"), "spanwright new")]
    {
        let run = Command::new(env!("CARGO_BIN_EXE_spanwright")).arg("make").arg(file).arg("--out").arg(&out).assert();
        let told = String::from_utf8_lossy(&run.code(2).get_output().stderr).into_owned();
        assert!(told.contains(words), "{told}");
        assert!(!out.exists());
    }
}
