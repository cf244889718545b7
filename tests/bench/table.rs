//! Lines of the table.

use std::io::Write as _;

/// One measurement beside what it is measured against.
#[derive(Clone, Debug)]
pub(crate) struct Row {
    pub(crate) what: String,
    pub(crate) measured: f64,
    pub(crate) reference: f64,
    pub(crate) unit: &'static str,
    /// Largest ratio of the two that is within; `None`: only shown.
    pub(crate) budget: Option<f64>,
}

/// The line above the rows.
pub(crate) fn print_head() {
    print_line(["what", "measured", "reference", "", "ratio", "budget", ""]);
}

impl Row {
    /// At once: the whole bench takes minutes.
    pub(crate) fn print(&self) {
        let ratio = self.measured / self.reference;
        let verdict = self.budget.map_or("", |budget| if ratio <= budget { "within" } else { "over" });
        let budget = self.budget.map_or_else(|| "-".into(), |budget| format!("{budget:.2}"));
        let [measured, reference] = [self.measured, self.reference].map(|value| format!("{value:.3}"));
        print_line([&self.what, &measured, &reference, self.unit, &format!("{ratio:.2}"), &budget, verdict]);
    }
}

fn print_line([what, measured, reference, unit, ratio, budget, verdict]: [&str; 7]) {
    let line = format!("{what:<60} {measured:>11} {reference:>11} {unit:<4} {ratio:>8} {budget:>6} {verdict}");
    writeln!(std::io::stdout().lock(), "{}", line.trim_end()).expect("standard output can be written");
}
