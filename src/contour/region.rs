//! Rows of runs → connected regions, and which lies in which.

/// The runs of one row of pixels, `from..to`, left to right, none touching the next.
pub(super) type Row = Vec<(usize, usize)>;

/// One connected region.
#[derive(Clone, Debug)]
pub(super) struct Region {
    /// Pixels.
    pub(super) area: usize,
    /// Left, top, right, bottom; the last two exclusive.
    pub(super) bounds: [usize; 4],
    /// (row, from, to), top to bottom.
    pub(super) runs: Vec<(usize, usize, usize)>,
    /// The region of the other kind that it lies in; `None` for what reaches the picture's border.
    pub(super) parent: Option<usize>,
}

/// What stands off the ground, what is ground, and which lies in which.
pub(super) struct Regions {
    pub(super) objects: Vec<Region>,
    pub(super) grounds: Vec<Region>,
    object_labels: Labels,
    ground_labels: Labels,
    width: usize,
    height: usize,
}

/// For each row its runs, each with the region it belongs to.
type Labels = Vec<Vec<(usize, usize, usize)>>;

fn label_at(labels: &Labels, x: usize, y: usize) -> Option<usize> {
    let row = labels.get(y)?;
    let i = row.partition_point(|&(_, to, _)| to <= x);
    row.get(i).filter(|(from, _, _)| *from <= x).map(|r| r.2)
}

impl Regions {
    /// Objects hang together over corners, grounds only over sides.
    pub(super) fn new(rows: &[Row], width: usize) -> Self {
        let height = rows.len();
        let (mut objects, object_labels) = connect(rows, 1);
        let gaps: Vec<Row> = rows.iter().map(|row| complement(row, width)).collect();
        let (mut grounds, ground_labels) = connect(&gaps, 0);
        // Left of the first pixel of a region's top row lies what surrounds it.
        let around = |region: &Region, labels: &Labels| {
            let &(y, x, _) = region.runs.first()?;
            label_at(labels, x.checked_sub(1)?, y)
        };
        for object in &mut objects {
            object.parent = around(object, &ground_labels);
        }
        for ground in &mut grounds {
            let [left, top, right, bottom] = ground.bounds;
            let inner = left > 0 && top > 0 && right < width && bottom < height;
            ground.parent = if inner { around(ground, &object_labels) } else { None };
        }
        Self { objects, grounds, object_labels, ground_labels, width, height }
    }

    pub(super) fn object_at(&self, x: usize, y: usize) -> Option<usize> {
        label_at(&self.object_labels, x, y)
    }

    pub(super) fn ground_at(&self, x: usize, y: usize) -> Option<usize> {
        label_at(&self.ground_labels, x, y)
    }

    /// The sides of the picture that an object touches.
    pub(super) fn sides(&self, object: usize) -> Vec<&'static str> {
        let [left, top, right, bottom] = self.objects[object].bounds;
        let touched =
            [(left == 0, "left"), (top == 0, "top"), (right == self.width, "right"), (bottom == self.height, "bottom")];
        touched.into_iter().filter(|t| t.0).map(|t| t.1).collect()
    }

    /// The enclosed grounds `filled` and everything that lies in them, as flags per object and per ground.
    pub(super) fn within(&self, filled: &[usize]) -> (Vec<bool>, Vec<bool>) {
        let mut grounds: Vec<bool> = (0..self.grounds.len()).map(|g| filled.contains(&g)).collect();
        let mut objects = vec![false; self.objects.len()];
        loop {
            let mut grown = false;
            for (flag, object) in objects.iter_mut().zip(&self.objects) {
                let inside = object.parent.is_some_and(|g| grounds[g]);
                grown |= inside && !*flag;
                *flag |= inside;
            }
            for (flag, ground) in grounds.iter_mut().zip(&self.grounds) {
                *flag |= ground.parent.is_some_and(|o| objects[o]);
            }
            if !grown {
                return (objects, grounds);
            }
        }
    }
}

fn complement(row: &Row, width: usize) -> Row {
    let mut gaps = Row::new();
    let mut pen = 0;
    for &(from, to) in row {
        if from > pen {
            gaps.push((pen, from));
        }
        pen = to;
    }
    if pen < width {
        gaps.push((pen, width));
    }
    gaps
}

/// Joins runs of neighbouring rows that overlap, or that come within `reach` pixels of overlapping.
fn connect(rows: &[Row], reach: usize) -> (Vec<Region>, Labels) {
    let starts: Vec<usize> = rows
        .iter()
        .scan(0, |sum, row| {
            let start = *sum;
            *sum += row.len();
            Some(start)
        })
        .collect();
    let mut parents: Vec<usize> = (0..rows.iter().map(Vec::len).sum()).collect();
    for y in 1..rows.len() {
        let (upper, lower) = (&rows[y - 1], &rows[y]);
        let (mut i, mut j) = (0, 0);
        while i < upper.len() && j < lower.len() {
            let ((a, b), (c, d)) = (upper[i], lower[j]);
            if a < d + reach && c < b + reach {
                let (p, q) = (root(&mut parents, starts[y - 1] + i), root(&mut parents, starts[y] + j));
                parents[p.max(q)] = p.min(q);
            }
            if b < d {
                i += 1;
            } else {
                j += 1;
            }
        }
    }
    let mut regions: Vec<Region> = Vec::new();
    let mut numbers = vec![usize::MAX; parents.len()];
    let mut labels = Labels::with_capacity(rows.len());
    for (y, row) in rows.iter().enumerate() {
        let mut labelled = Vec::with_capacity(row.len());
        for (i, &(from, to)) in row.iter().enumerate() {
            let top = root(&mut parents, starts[y] + i);
            if numbers[top] == usize::MAX {
                numbers[top] = regions.len();
                regions.push(Region { area: 0, bounds: [from, y, to, y + 1], runs: Vec::new(), parent: None });
            }
            let region = &mut regions[numbers[top]];
            let [left, upper, right, _] = region.bounds;
            region.area += to - from;
            region.bounds = [left.min(from), upper, right.max(to), y + 1];
            region.runs.push((y, from, to));
            labelled.push((from, to, numbers[top]));
        }
        labels.push(labelled);
    }
    (regions, labels)
}

fn root(parents: &mut [usize], mut i: usize) -> usize {
    while parents[i] != i {
        parents[i] = parents[parents[i]];
        i = parents[i];
    }
    i
}

/// The parts of each row that lie inside a polygon, even-odd, by pixel centres.
pub(super) fn polygon_rows(corners: &[(f64, f64)], width: usize, height: usize) -> Vec<Row> {
    let mut rows = vec![Row::new(); height];
    for (y, row) in rows.iter_mut().enumerate() {
        #[expect(clippy::cast_precision_loss, reason = "pixel coordinates are small")]
        let level = y as f64 + 0.5;
        let mut crossings: Vec<f64> = (0..corners.len())
            .filter_map(|i| {
                let ((ax, ay), (bx, by)) = (corners[i], corners[(i + 1) % corners.len()]);
                ((ay <= level) != (by <= level)).then(|| ax + (level - ay) / (by - ay) * (bx - ax))
            })
            .collect();
        crossings.sort_by(f64::total_cmp);
        for pair in crossings.chunks_exact(2) {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "not negative; `as` saturates")]
            let pixel = |x: f64| ((x - 0.5).ceil().max(0.0) as usize).min(width);
            let (from, to) = (pixel(pair[0]), pixel(pair[1]));
            match row.last_mut() {
                Some(last) if from <= last.1 => last.1 = last.1.max(to),
                _ if from < to => row.push((from, to)),
                _ => {}
            }
        }
    }
    rows
}
