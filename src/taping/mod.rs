//! Joined sheets → in which order to tape their pages, how true that comes out, and which distances prove it.
//!
//! | step | file |
//! | --- | --- |
//! | pages → strips, and which are joined to which by which marks | `joining` |
//! | what taping does to every page, over and over | `runs` |
//! | the few distances between marks that tell the most | `distances` |
//! | distances as they were read → the join most likely at fault | `faults` |
//!
//! The model of errors: pages are true and stiff; whoever tapes lays each new part onto what lies there so that all marks they
//! share agree as well as they can, and misses each mark by [`MARK_SD_MM`] along each axis. On a sheet with a base line the ends
//! of each strip's part of it are laid on a taut thread or a long rule instead, and the marks tell only how far along. Over and
//! over with seeded draws, so that the same build is always told the same.

mod distances;
mod faults;
mod joining;
mod runs;

use crate::paper::Layout;

pub use distances::{CheckDistance, READING_SD_MM};
pub use faults::{Fault, FaultKind, Reading, Unusable, Verdict, judge};
pub use joining::Joining;
pub use runs::Runs;

/// How far a mark is missed in taping, on each axis, as a standard deviation in mm (common practice, no source: 0.3 to 0.5).
pub const MARK_SD_MM: f64 = 0.35;

/// How one joined sheet is taped.
#[derive(Clone, Debug)]
pub struct Taping {
    /// Its strips, and how they are joined.
    pub joining: Joining,
    /// How far the worst corner of a page ends up from where it belongs, the sheet as a whole laid as well as can be: in half of
    /// all tapings, and in 19 of 20, mm.
    pub worst_corner: [f64; 2],
    /// The most telling first.
    pub distances: Vec<CheckDistance>,
}

/// `layout` with its strips laid the way that tapes truest, its pages in that order; and how each of its sheets is taped, `None`
/// for a single page. On each, so many distances are to be measured.
pub fn in_order(mut layout: Layout, checks: usize) -> (Layout, Vec<Option<Taping>>) {
    let tapings: Vec<Option<Taping>> = (0..layout.sheets.len()).map(|sheet| taping(&layout, sheet, checks)).collect();
    for (sheet, taping) in layout.sheets.iter_mut().zip(&tapings) {
        sheet.base_line = taping.as_ref().and_then(|taping| taping.joining.base_line).map(|line| line.map(Into::into));
    }
    let all: Vec<_> = tapings.iter().map(|taping| taping.as_ref().map(|taping| &taping.joining)).collect();
    joining::rename(&mut layout, &all);
    (layout, tapings)
}

/// The best of strips across and strips down, on a long sheet along a base line or without one.
fn taping(layout: &Layout, sheet: usize, checks: usize) -> Option<Taping> {
    let size = layout.sheets[sheet].size;
    let long = size.width.max(size.height) > LONG_MM;
    let plain = [true, false].map(|across| Joining::of(layout, sheet, across));
    let lined = plain.clone().map(|way| way.filter(|_| long).and_then(Joining::along_a_line));
    let ways = plain.into_iter().chain(lined);
    let ways = ways.into_iter().flatten().map(|joining| {
        let runs = Runs::of(&joining, RUNS, SEED);
        (runs.worst_corner(), joining, runs)
    });
    let (worst_corner, joining, runs) = ways.reduce(|a, b| if b.0[1] < SURELY * a.0[1] { b } else { a })?;
    let distances = distances::most_telling(&joining, &runs, checks);
    Some(Taping { joining, worst_corner, distances })
}

/// Tapings that are drawn for each way, and where the draws begin.
const RUNS: usize = 1000;
const SEED: u64 = 1;
/// Below this share of the other's error a way is better by more than chance.
const SURELY: f64 = 0.97;
/// From here on a sheet may have a base line (common practice, no source).
const LONG_MM: f64 = 1500.0;

#[cfg(test)]
mod tests {
    use kurbo::{Rect, Shape as _, Size};

    use super::*;
    use crate::build_file::{PaperSize, PaperSpec};
    use crate::chance::Dice;
    use crate::paper::{Item, cores, lay_out};
    use crate::problem::{Place, Placed};
    use crate::space::Path;
    use crate::units::Length;

    /// A rectangle of so many mm on paper whose pages step by 267 × 180 mm, lying.
    fn laid_out(width: f64, height: f64) -> Layout {
        let placed = |value| Placed::new(value, Place { line: 1, column: 1 });
        let (w, h) = (Length::mm(302.0), Length::mm(222.0));
        let sheets = vec![Placed::new(
            PaperSize { name: "302 x 222 mm".to_owned(), width: w, height: h, roll: false },
            Place { line: 1, column: 1 },
        )];
        let ten = placed(Length::mm(10.0));
        let spec = PaperSpec { sheets, overlap: ten, margin: ten, last_page_first: false, check_distances: 3 };
        let core = cores(&spec).expect("large enough").remove(0);
        assert_eq!(core.step(), Size::new(267.0, 180.0));
        let path = Path::new(Rect::new(0.0, 0.0, width, height).to_path(0.1));
        lay_out(&[Item { path: &path, words: Size::ZERO }], &core)
    }

    fn runs(across: bool) -> (Joining, Runs) {
        let layout = laid_out(6.0 * 267.0 - 20.0, 3.0 * 180.0 - 20.0);
        assert_eq!(layout.tiles.len(), 18);
        let joining = Joining::of(&layout, 0, across).expect("joined");
        let runs = Runs::of(&joining, 4000, 3);
        (joining, runs)
    }

    /// Simulated elsewhere (worked example of this project): 6 × 3 pages of 267 × 180 mm, 0.35 mm on each mark and axis, median
    /// and 95 % of the worst page corner: 1.0 and 1.5 mm by strips across the narrow way, 1.9 and 3.1 by long rows.
    #[test]
    fn strips_across_the_narrow_way_are_the_truer() {
        let [median, most] = runs(false).1.worst_corner();
        assert!((0.8..1.15).contains(&median) && (1.2..1.75).contains(&most), "{median} {most}");
        let [long, longest] = runs(true).1.worst_corner();
        assert!((1.5..2.2).contains(&long) && (2.4..3.6).contains(&longest), "{long} {longest}");
        let (_, tapings) = in_order(laid_out(6.0 * 267.0 - 20.0, 3.0 * 180.0 - 20.0), 3);
        assert!(!tapings[0].as_ref().expect("joined").joining.across);
    }

    #[test]
    fn pages_are_named_and_ordered_as_they_are_taped() {
        let (layout, _) = in_order(laid_out(6.0 * 267.0 - 20.0, 3.0 * 180.0 - 20.0), 3);
        let names: Vec<String> = layout.tiles.iter().map(crate::paper::Tile::name).collect();
        assert_eq!(names[..4], ["1.1", "1.2", "1.3", "2.1"]);
        for tile in &layout.tiles {
            let [left, right] = [tile.field.x0, tile.field.x1];
            for (neighbour, x) in [(tile.neighbours.left, left), (tile.neighbours.right, right)] {
                let Some(name) = neighbour else { continue };
                let other = layout.tiles.iter().find(|t| (t.strip, t.in_strip) == name).expect("it is printed");
                assert!(
                    other.field.x0 < x && x < other.field.x1 && other.field.y0 == tile.field.y0,
                    "{tile:?} {other:?}"
                );
            }
        }
    }

    /// Against a simulation: the limits are passed by chance in 3 of 1000 tapings, as three standard deviations are.
    #[test]
    fn check_distances_reach_far_and_their_limits_are_hardly_passed_by_chance() {
        let (joining, runs) = runs(false);
        let chosen = distances::most_telling(&joining, &runs, 3);
        assert_eq!(chosen.len(), 3);
        assert!(chosen[..2].iter().all(|d| d.mm > 1500.0) && chosen[2].mm > 300.0, "{chosen:?}");
        let mut dice = Dice(5);
        let other = Runs::of(&joining, 4000, 77);
        for check in &chosen {
            let pair = check.between.map(|n| joining.marks.iter().position(|m| m.number == n).expect("a mark"));
            let [from, to] = pair.map(|mark| joining.marks[mark].at.raw());
            let passed = other.lies.iter().filter(|lies| {
                let read = distances::stretched(&joining, lies, pair) + READING_SD_MM * dice.normal();
                let even = [0; 2].map(|_| distances::EVEN_PER_MM * dice.normal());
                let even = even[0] * (to.x - from.x).powi(2) + even[1] * (to.y - from.y).powi(2);
                (read + even / check.mm).abs() > check.limit
            });
            let passed = passed.count();
            assert!((1..=32).contains(&passed), "{check:?}: {passed} of 4000");
        }
    }

    /// A staff of 3 m, one page wide: simulated elsewhere, 12 × 3 pages of 3.2 m bow by 9.8 mm page by page and by 1.1 along a
    /// line (worked example of this project).
    #[test]
    fn a_long_staff_is_laid_along_a_base_line() {
        let layout = laid_out(3000.0, 70.0);
        let across = layout.sheets[0].size.width > layout.sheets[0].size.height;
        let plain = Joining::of(&layout, 0, !across).expect("joined");
        let lined = plain.clone().along_a_line().expect("marks lie on a line");
        let [_, without] = Runs::of(&plain, 2000, 4).worst_corner();
        let [_, with] = Runs::of(&lined, 2000, 4).worst_corner();
        assert!(without > 4.0 && with < 2.2, "{without} {with}");
        let (ordered, _) = in_order(layout, 3);
        let [from, to] = ordered.sheets[0].base_line.expect("it is worth it").map(crate::space::Point::raw);
        assert!(from.distance(to) > 3000.0 && (from.x == to.x || from.y == to.y), "{from:?} {to:?}");
        let on = |mark: &&crate::paper::Mark| (mark.at.raw() - from).cross((to - from).normalize()).abs() < 0.01;
        assert!(ordered.sheets[0].marks.iter().filter(on).count() >= ordered.tiles.len() - 1, "a mark at each join");
        assert_eq!(in_order(laid_out(1200.0, 70.0), 3).0.sheets[0].base_line, None);
    }

    /// Readings at every strip: a straight edge along the sheet and a tape from one end.
    fn read_at_every_strip(joining: &Joining, lies: &[runs::Lie], dice: &mut Dice) -> Vec<Reading> {
        let (low, high) =
            joining.marks.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), m| (l.min(m.at.x), h.max(m.at.x)));
        let row = |y: f64| -> Vec<usize> {
            let mut on: Vec<usize> =
                (0..joining.marks.len()).filter(|&m| (joining.marks[m].at.y - y).abs() < 1.0).collect();
            on.sort_by(|a, b| joining.marks[*a].at.x.total_cmp(&joining.marks[*b].at.x));
            on
        };
        // Along the joins between pages of a strip, where marks reach to both ends.
        let (along, edge) = (row(185.0), row(365.0));
        assert!(high - low > 1000.0 && along.len() > 6 && edge.len() > 4, "{} {}", along.len(), edge.len());
        let at = |mark: usize| joining.marks[mark].at.raw();
        let off = |mark: usize| lies[joining.page_of(mark)].off(at(mark));
        let number = |mark: usize| joining.marks[mark].number;
        let mut readings = Vec::new();
        let (first, last) = (along[0], along[along.len() - 1]);
        for &mark in &along[1..along.len() - 1] {
            let share = (at(mark).x - at(first).x) / (at(last).x - at(first).x);
            let beside = off(mark).y - off(first).y * (1.0 - share) - off(last).y * share;
            readings.push(Reading::Beside([number(first), number(last)], number(mark), beside + 0.35 * dice.normal()));
        }
        for &mark in &edge[1..] {
            let mm = at(mark).x - at(edge[0]).x + off(mark).x - off(edge[0]).x + READING_SD_MM * dice.normal();
            readings.push(Reading::Distance([number(edge[0]), number(mark)], mm));
        }
        readings
    }

    /// A bad join of 3 mm between two strips is named in nine of ten trials (what is asked for); good sheets are hardly suspected.
    #[test]
    fn a_bad_join_is_named_from_straight_edge_and_tape() {
        let (joining, runs) = runs(false);
        let mut dice = Dice(11);
        let taped = Runs::of(&joining, 300, 99);
        let mut readings = |lies: &[runs::Lie]| read_at_every_strip(&joining, lies, &mut dice);
        let alarms = taped
            .lies
            .iter()
            .filter(|lies| faults::judge_by(&runs, &joining, 1, &readings(lies)).expect("its marks") != Verdict::Good);
        let alarms = alarms.count();
        assert!(alarms <= 12, "{alarms} of 300 good sheets");
        for (kind, least) in [(FaultKind::Gap, 270), (FaultKind::Slip, 270), (FaultKind::Hinge, 0)] {
            let [_, named] = faults_named(&joining, &runs, &taped, kind, &mut readings);
            assert!(named >= least, "{kind:?}: {named} of 300");
        }
    }

    /// A printer that makes all pages 0.3 % too large is no bad join.
    #[test]
    fn an_even_stretch_is_told_from_a_bad_join() {
        let (joining, runs) = runs(false);
        let taped = Runs::of(&joining, 100, 98);
        let mut dice = Dice(13);
        let marks = distances::most_telling(&joining, &runs, 8);
        let index = |number: usize| joining.marks.iter().position(|mark| mark.number == number).expect("a mark");
        let mut named = 0;
        for lies in &taped.lies {
            let read = |check: &CheckDistance| {
                let off =
                    distances::stretched(&joining, lies, check.between.map(index)) + READING_SD_MM * dice.normal();
                Reading::Distance(check.between, check.mm * 1.003 + off)
            };
            let readings: Vec<Reading> = marks.iter().map(read).collect();
            let Verdict::Wrong(faults) = faults::judge_by(&runs, &joining, 1, &readings).expect("its marks") else {
                continue;
            };
            named += usize::from(faults[0].kind == FaultKind::Stretch && (faults[0].mm - 3.0).abs() < 1.0);
        }
        assert!(named >= 80, "{named} of 100");
    }

    #[test]
    fn a_distance_beyond_its_printed_limit_is_never_good() {
        let (joining, runs) = runs(false);
        let check = distances::most_telling(&joining, &runs, 3)[0];
        for off in [-1.0, 1.0] {
            let good = |by: f64| {
                let read = Reading::Distance(check.between, check.mm + off * by);
                judge(&joining, 1, &[read]).expect("its marks") == Verdict::Good
            };
            assert!(good(0.9 * check.limit) && !good(check.limit + 0.15), "{check:?}");
        }
    }

    #[test]
    fn readings_that_cannot_be_are_refused() {
        let (joining, runs) = runs(false);
        let check = distances::most_telling(&joining, &runs, 3)[0];
        let [a, b] = check.between;
        let judged = |readings: &[Reading]| judge(&joining, 1, readings);
        let metres = Reading::Distance([a, b], check.mm / 1000.0);
        let Err(Unusable::Impossible(0, should_be)) = judged(&[metres]) else { panic!("metres are no mm") };
        assert!((should_be - check.mm).abs() < 1e-9);
        let [once, again] = [([a, b], 0.0), ([b, a], 3.0)].map(|(ends, off)| Reading::Distance(ends, check.mm + off));
        assert_eq!(judged(&[once, again]), Err(Unusable::Differ(0, 1)));
        assert_eq!(judged(&[once, once]), Ok(Verdict::Good));
        assert_eq!(judged(&[Reading::Distance([a, 999], 5.0)]), Err(Unusable::NoMark(999)));
    }

    /// What README.md states of the three distances of the cover: they tell that a join gapes or turns, hardly that it slipped, and
    /// seldom which one it is.
    #[test]
    fn three_distances_tell_of_a_bad_join_now_and_then() {
        let (joining, runs) = runs(false);
        let chosen = distances::most_telling(&joining, &runs, 3);
        let taped = Runs::of(&joining, 300, 99);
        let mut dice = Dice(12);
        let mut readings = |lies: &[runs::Lie]| -> Vec<Reading> {
            let read = |check: &CheckDistance| {
                let pair = check.between.map(|n| joining.marks.iter().position(|m| m.number == n).expect("a mark"));
                let off = distances::stretched(&joining, lies, pair) + READING_SD_MM * dice.normal();
                Reading::Distance(check.between, check.mm + off)
            };
            chosen.iter().map(read).collect()
        };
        let told = [FaultKind::Gap, FaultKind::Slip, FaultKind::Hinge]
            .map(|kind| faults_named(&joining, &runs, &taped, kind, &mut readings));
        let near = |met: usize, stated: usize| met.abs_diff(stated) <= 30;
        let stated = [[269, 67], [35, 9], [277, 97]];
        for (met, stated) in told.iter().flatten().zip(stated.iter().flatten()) {
            assert!(near(*met, *stated), "{told:?} of 300, {stated:?} stated");
        }
    }

    /// Of 300 tapings with a fault of 3 mm between two strips: how many are suspected, and of how many the right join is named.
    fn faults_named(
        joining: &Joining,
        runs: &Runs,
        taped: &Runs,
        kind: FaultKind,
        readings: &mut dyn FnMut(&[runs::Lie]) -> Vec<Reading>,
    ) -> [usize; 2] {
        let strips: Vec<usize> = (0..joining.steps.len())
            .filter(|&s| matches!(joining.steps[s].between[0], joining::Part::Strip(_)))
            .collect();
        let (mut suspected, mut named) = (0, 0);
        for (trial, lies) in taped.lies.iter().enumerate() {
            let step = strips[trial % strips.len()];
            let (middle, along) = joining.join(&joining.steps[step]);
            let reach = joining.steps[step].shared.iter().map(|s| joining.marks[s.0].at.raw().distance(middle));
            let reach = reach.fold(1.0, f64::max);
            let apart = kurbo::Vec2::new(-along.y, along.x);
            let fault = match kind {
                FaultKind::Gap => runs::Lie { shift: apart * 3.0, turn: 0.0 },
                FaultKind::Slip => runs::Lie { shift: along * 3.0, turn: 0.0 },
                _ => {
                    let turn = 3.0 / reach;
                    runs::Lie { shift: kurbo::Vec2::new(middle.y, -middle.x) * turn, turn }
                }
            };
            let wrong = runs::with_fault(joining, step, fault);
            let both: Vec<runs::Lie> = lies
                .iter()
                .zip(&wrong)
                .map(|(a, b)| runs::Lie { shift: a.shift + b.shift, turn: a.turn + b.turn })
                .collect();
            if let Verdict::Wrong(faults) = faults::judge_by(runs, joining, 1, &readings(&both)).expect("its marks") {
                let truth = joining.steps[step].between.map(|part| match part {
                    joining::Part::Strip(strip) => (1 + strip, None),
                    joining::Part::Page(_) => (0, Some(0)),
                });
                let same = faults[0].between == Some(truth);
                suspected += 1;
                named += usize::from(same);
                assert!(!same || faults[0].kind != FaultKind::Gap || faults[0].mm > 0.0, "apart is above 0");
            }
        }
        [suspected, named]
    }
}
