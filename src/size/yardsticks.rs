//! The factor that lengths of known size agree on.

use std::sync::Arc;

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use crate::problem::Problem;

use super::Marks;
use super::chi_square::limit_95;

/// Step of a central difference in standard deviations: small enough to be a slope, large enough for rounding.
pub(super) const STEP: f64 = 0.05;

/// Two lengths that are called exact still differ by a nanometre in a metre; keeps their weights finite.
const NEARLY_EXACT: f64 = 1e-9;

/// Sizes in mm against spans in the plane, and how both may be off.
pub(super) struct Yardsticks {
    pub(super) mm: DVector<f64>,
    pub(super) span: DVector<f64>,
    doubts: Arc<Doubts>,
}

/// How much one standard deviation of each number of the marks moves each yardstick.
#[derive(Debug)]
pub(super) struct Doubts {
    /// A row for each yardstick, a column for each number.
    mm_by: DMatrix<f64>,
    span_by: DMatrix<f64>,
    /// Covariances that follow: of sizes, of sizes with spans and the other way round, of spans.
    mm_mm: DMatrix<f64>,
    mm_span: DMatrix<f64>,
    span_span: DMatrix<f64>,
}

/// Yardsticks as mm and span, as some marks tell them.
pub(super) type Pairs = Result<Vec<[f64; 2]>, Problem>;

/// What the yardsticks say together.
pub(super) struct Fit {
    /// Mm per plane unit.
    pub(super) factor: f64,
    /// Standard deviation of that.
    pub(super) factor_sd: f64,
    /// Weighted sum of squares left over.
    pub(super) chi_square: f64,
    /// For each yardstick, standard deviation of its own factor.
    pub(super) sd: Vec<f64>,
    /// For each yardstick, its share in `factor`; 1 together.
    pub(super) weight: Vec<f64>,
    /// For each yardstick, how it stands against the others; empty for a single one that nothing holds.
    pub(super) against: Vec<Against>,
    /// For each number of the marks, the most likely error it was measured with, in its standard deviations.
    pub(super) errors: Vec<f64>,
}

/// One estimate of the factor against all the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Against {
    /// How much larger it is than the others say, as a fraction.
    pub excess: f64,
    /// The same in standard deviations.
    pub z: f64,
}

/// By how much each of `values` changes with one standard deviation of each number of `marks`; a row for each value,
/// a column for each number.
pub(super) fn sensitivities(
    marks: &Marks,
    values: &(dyn Fn(&Marks) -> Result<Vec<f64>, Problem> + Sync),
) -> Result<DMatrix<f64>, Problem> {
    let numbers: Vec<_> = marks.clone().numbers().into_iter().map(|number| *number).collect();
    let rows = values(marks)?.len();
    let slope = |(i, number): (usize, &super::Measured)| {
        if number.sd <= 0.0 {
            return Ok(DVector::zeros(rows));
        }
        let mut moved = marks.clone();
        let mut at = |steps: f64| {
            moved.numbers()[i].value = number.value + steps * STEP * number.sd;
            values(&moved).map(DVector::from_vec)
        };
        Ok((at(1.0)? - at(-1.0)?) / (2.0 * STEP))
    };
    let columns: Vec<DVector<f64>> = numbers.par_iter().enumerate().map(slope).collect::<Result<_, Problem>>()?;
    Ok(DMatrix::from_fn(rows, columns.len(), |row, column| columns[column][row]))
}

impl Doubts {
    /// How the yardsticks that `read` finds in `marks` may be off.
    pub(super) fn of(marks: &Marks, read: &(dyn Fn(&Marks) -> Pairs + Sync)) -> Result<Self, Problem> {
        let by = sensitivities(marks, &|marks| Ok(read(marks)?.concat()))?;
        let every_second = |first: usize| DMatrix::from_fn(by.nrows() / 2, by.ncols(), |i, j| by[(2 * i + first, j)]);
        Ok(Self::from_slopes(every_second(0), every_second(1)))
    }

    fn from_slopes(mm_by: DMatrix<f64>, span_by: DMatrix<f64>) -> Self {
        let mm_span = &mm_by * span_by.transpose();
        Self {
            mm_mm: &mm_by * mm_by.transpose(),
            mm_span: &mm_span + mm_span.transpose(),
            span_span: &span_by * span_by.transpose(),
            mm_by,
            span_by,
        }
    }
}

impl Yardsticks {
    /// Yardsticks of these sizes and spans; at least one, all above 0.
    pub(super) fn new(pairs: &[[f64; 2]], doubts: &Arc<Doubts>) -> Self {
        let column = |j: usize| DVector::from_iterator(pairs.len(), pairs.iter().map(|pair| pair[j]));
        Self { mm: column(0), span: column(1), doubts: Arc::clone(doubts) }
    }

    /// Least squares, weighted by the covariance of all errors, so that an error behind several yardsticks counts once.
    /// Where every error is a yardstick's own this is s = Σ w L p / Σ w p², w = 1 / (σL² + s² σp²).
    ///
    /// `held` fixes the factor instead, where the plane itself has the true size.
    pub(super) fn fit(&self, held: Option<f64>) -> Fit {
        let (factor, factor_sd) = self.agreed();
        let used = held.unwrap_or(factor);
        let covariance = self.covariance(used);
        let inverse = self.inverse_covariance(used);
        let left = &self.mm - used * &self.span;
        let pull = &inverse * &left;
        let toward = &inverse * &self.span * factor_sd.powi(2);
        // Each against the others in closed form: W. Baarda, A Testing Procedure for Use in Geodetic Networks, Delft,
        // 1968. A factor that is not held follows each yardstick a little, which leaves less to test.
        let against = |i: usize| {
            let followed = if held.is_none() { (toward[i] / factor_sd).powi(2) } else { 0.0 };
            let cofactor = inverse[(i, i)] - followed;
            let excess_mm = pull[i] / cofactor;
            Against { excess: excess_mm / (self.mm[i] - excess_mm), z: pull[i] / cofactor.sqrt() }
        };
        let all = 0..self.mm.len();
        let alone = all.len() == 1 && held.is_none();
        Fit {
            factor,
            factor_sd,
            chi_square: left.dot(&pull),
            sd: all.clone().map(|i| covariance[(i, i)].sqrt() / self.span[i]).collect(),
            weight: toward.component_mul(&self.span).iter().copied().collect(),
            against: if alone { Vec::new() } else { all.map(against).collect() },
            errors: (self.errors_by(used).transpose() * pull).iter().copied().collect(),
        }
    }

    /// Which yardstick alone keeps the others from agreeing, by leaving out each in turn, with how each then stands: the odd
    /// one against the fit of the others, the others among themselves. `None` when all agree, when even without one they do
    /// not, and when it might be one or another.
    pub(super) fn odd_one(&self, fit: &Fit) -> Option<Vec<Against>> {
        let n = self.mm.len();
        if n < 3 || fit.chi_square <= limit_95(n - 1) {
            return None;
        }
        let rests = (0..n).map(|i| (i, self.without(i).fit(None)));
        let mut agreeing = rests.filter(|(_, rest)| rest.chi_square <= limit_95(n - 2));
        let (odd, rest) = agreeing.next().filter(|_| agreeing.next().is_none())?;
        let excess_mm = self.mm[odd] - rest.factor * self.span[odd];
        let sd = self.covariance(rest.factor)[(odd, odd)].sqrt().hypot(self.span[odd] * rest.factor_sd);
        let own = Against { excess: excess_mm / (self.mm[odd] - excess_mm), z: excess_mm / sd };
        let mut against = rest.against;
        against.insert(odd, own);
        Some(against)
    }

    /// All but one.
    fn without(&self, i: usize) -> Self {
        let Doubts { mm_by, span_by, .. } = &*self.doubts;
        let doubts = Doubts::from_slopes(mm_by.clone().remove_row(i), span_by.clone().remove_row(i));
        Self { mm: self.mm.clone().remove_row(i), span: self.span.clone().remove_row(i), doubts: Arc::new(doubts) }
    }

    /// The share of each yardstick in a `quantity` of the corrected marks that is held in place by other means;
    /// `quantity_by` is its relative change by one standard deviation of each number.
    pub(super) fn shares(&self, factor: f64, quantity_by: &DMatrix<f64>) -> Vec<f64> {
        let shared = self.errors_by(factor) * quantity_by.transpose();
        let shares = -(self.inverse_covariance(factor) * shared).component_mul(&self.mm);
        shares.iter().copied().collect()
    }

    /// The factor and its standard deviation.
    fn agreed(&self) -> (f64, f64) {
        let mut factor = self.mm.component_div(&self.span).mean();
        let mut sd = 0.0;
        // The weights depend on the factor only a little: each round wins two digits or more.
        for _ in 0..20 {
            let weighted = self.inverse_covariance(factor) * &self.span;
            let information = weighted.dot(&self.span);
            let before = factor;
            (factor, sd) = (weighted.dot(&self.mm) / information, information.sqrt().recip());
            if (factor - before).abs() <= 1e-14 * factor {
                break;
            }
        }
        (factor, sd)
    }

    /// Change of the residuals mm − factor · span by one standard deviation of each number.
    fn errors_by(&self, factor: f64) -> DMatrix<f64> {
        &self.doubts.mm_by - factor * &self.doubts.span_by
    }

    /// Of those residuals.
    fn covariance(&self, factor: f64) -> DMatrix<f64> {
        let Doubts { mm_mm, mm_span, span_span, .. } = &*self.doubts;
        mm_mm - factor * mm_span + factor * factor * span_span
    }

    fn inverse_covariance(&self, factor: f64) -> DMatrix<f64> {
        let mut covariance = self.covariance(factor);
        for i in 0..self.mm.len() {
            covariance[(i, i)] += (NEARLY_EXACT * self.mm[i]).powi(2);
        }
        covariance.cholesky().expect("a covariance with a positive diagonal added").inverse()
    }
}
