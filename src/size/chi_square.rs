//! The chi-square distribution, as far as a test of agreement needs it.

/// The value that chi-square with `freedom` degrees of freedom exceeds in 5 % of cases; `freedom` at least 1.
pub(super) fn limit_95(freedom: usize) -> f64 {
    let k = freedom as f64;
    // The mean and twelve standard deviations: far beyond the limit.
    let (mut low, mut high) = (0.0, k + 12.0 * (2.0 * k).sqrt());
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if below(freedom, middle) < 0.95 { low = middle } else { high = middle }
    }
    high
}

/// The share of chi-square with `freedom` degrees of freedom below `x`, by the series 26.4.6 of M. Abramowitz and
/// I. Stegun, Handbook of Mathematical Functions, 1964.
fn below(freedom: usize, x: f64) -> f64 {
    let k = freedom as f64;
    // ln Γ(k/2 + 1), down to Γ(1) = 1 or Γ(1/2) = √π.
    let mut ln_gamma = if freedom.is_multiple_of(2) { 0.0 } else { std::f64::consts::PI.ln() / 2.0 };
    ln_gamma += (1..=freedom).rev().step_by(2).map(|j| (j as f64 / 2.0).ln()).sum::<f64>();
    let (mut term, mut sum, mut j) = (1.0, 1.0, k + 2.0);
    while term > 1e-17 * sum {
        term *= x / j;
        sum += term;
        j += 2.0;
    }
    ((x / 2.0).ln() * (k / 2.0) - x / 2.0 - ln_gamma).exp() * sum
}

#[cfg(test)]
mod tests {
    use super::limit_95;

    #[test]
    fn limits_are_those_of_the_printed_table() {
        // M. Abramowitz and I. Stegun, Handbook of Mathematical Functions, 1964, table 26.8, column Q = 0.05.
        let table =
            [(1, 3.84146), (2, 5.99147), (3, 7.81473), (4, 9.48773), (5, 11.0705), (10, 18.3070), (30, 43.7729)];
        for (freedom, printed) in table {
            let found = limit_95(freedom);
            assert!((found - printed).abs() < 1e-4, "{freedom}: {found}, printed {printed}");
        }
    }
}
