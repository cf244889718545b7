//! The few distances between marks that tell the most about a taped sheet.

use nalgebra::{DMatrix, DVector};

use super::joining::Joining;
use super::runs::{Lie, Runs};

/// How far a distance is misread with a tape measure, as a standard deviation in mm (common practice, no source).
pub const READING_SD_MM: f64 = 0.5;
/// All pages may be larger or smaller alike by this part, as a standard deviation, though the printer has passed the test square
/// and the paper lay in one room (common practice, no source).
pub(super) const EVEN_PER_MM: f64 = 0.0003;
/// Shortest distance worth a tape measure, mm.
const SHORTEST: f64 = 100.0;
/// Most marks between which distances are sought.
const MOST_MARKS: usize = 24;

/// A distance to be measured on the taped sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CheckDistance {
    /// Numbers of the two marks.
    pub between: [usize; 2],
    /// What it is, mm.
    pub mm: f64,
    /// How far off it may be read before something is wrong, mm: three standard deviations of taping, reading and even stretch.
    pub limit: f64,
}

/// The `count` distances that together leave the least doubt about all the others: each time the one that takes away most of
/// what is left of their covariance.
pub(super) fn most_telling(joining: &Joining, runs: &Runs, count: usize) -> Vec<CheckDistance> {
    let marks = outermost(joining);
    let pairs: Vec<[usize; 2]> = (0..marks.len())
        .flat_map(|i| (i + 1..marks.len()).map(move |j| [i, j]))
        .map(|[i, j]| [marks[i], marks[j]])
        .filter(|[i, j]| joining.marks[*i].at.distance(joining.marks[*j].at) >= SHORTEST)
        .filter(|[i, j]| !joining.on_one_page(*i, *j))
        .collect();
    if pairs.is_empty() {
        return Vec::new();
    }
    let deviations =
        DMatrix::from_fn(runs.lies.len(), pairs.len(), |run, pair| stretched(joining, &runs.lies[run], pairs[pair]));
    let mut left = covariance(&deviations);
    let reading = READING_SD_MM * READING_SD_MM;
    let limit_of = |k: usize| {
        let [from, to] = pairs[k].map(|mark| joining.marks[mark].at.raw());
        let (across, down) = ((to - from).x.powi(2), (to - from).y.powi(2));
        let even = EVEN_PER_MM.powi(2) * across.hypot(down).powi(2) / (across + down);
        limit(left[(k, k)] + reading + even)
    };
    let limits: Vec<f64> = (0..pairs.len()).map(limit_of).collect();
    let mut chosen = Vec::new();
    for _ in 0..count.min(pairs.len()) {
        let tells = |k: usize| left.column(k).norm_squared() / (left[(k, k)] + reading);
        let unused = (0..pairs.len()).filter(|k| !chosen.contains(k));
        let Some(best) = unused.max_by(|a, b| tells(*a).total_cmp(&tells(*b))) else { break };
        let column: DVector<f64> = left.column(best).into();
        let share = 1.0 / (left[(best, best)] + reading);
        left -= share * &column * column.transpose();
        chosen.push(best);
    }
    let told = |k: usize| {
        let [i, j] = pairs[k];
        let [from, to] = [&joining.marks[i], &joining.marks[j]];
        CheckDistance { between: [from.number, to.number], mm: from.at.distance(to.at), limit: limits[k] }
    };
    chosen.into_iter().map(told).collect()
}

/// Beyond this, mm, a distance of that variance is wrong; rounded up as it is printed.
pub(super) fn limit(variance: f64) -> f64 {
    (30.0 * variance.sqrt()).ceil() / 10.0
}

/// By how much the distance of two marks, by their index, is too long.
pub(super) fn stretched(joining: &Joining, lies: &[Lie], [i, j]: [usize; 2]) -> f64 {
    let [from, to] = [i, j].map(|mark| joining.marks[mark].at.raw());
    let off = |mark: usize, at| lies[joining.page_of(mark)].off(at);
    (to - from).normalize().dot(off(j, to) - off(i, from))
}

pub(super) fn covariance(deviations: &DMatrix<f64>) -> DMatrix<f64> {
    let runs = deviations.nrows() as f64;
    let mean = deviations.row_mean();
    let centred = DMatrix::from_fn(deviations.nrows(), deviations.ncols(), |i, j| deviations[(i, j)] - mean[j]);
    centred.transpose() * &centred / (runs - 1.0)
}

/// The marks that reach farthest out in as many directions, and every one of them where there are few.
fn outermost(joining: &Joining) -> Vec<usize> {
    let all = 0..joining.marks.len();
    if all.len() <= MOST_MARKS {
        return all.collect();
    }
    let mut kept: Vec<usize> = (0..MOST_MARKS)
        .filter_map(|i| {
            let to = kurbo::Vec2::from_angle(std::f64::consts::TAU * i as f64 / MOST_MARKS as f64);
            let reach = |mark: &usize| joining.marks[*mark].at.raw().to_vec2().dot(to);
            all.clone().max_by(|a, b| reach(a).total_cmp(&reach(b)))
        })
        .collect();
    // And some between, evenly.
    kept.extend((0..MOST_MARKS / 2).map(|i| i * joining.marks.len() / (MOST_MARKS / 2)));
    kept.sort_unstable();
    kept.dedup();
    kept
}
