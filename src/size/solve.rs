//! Marks → for every picture its plane and its scale.

use std::sync::Arc;

use kurbo::Affine;
use nalgebra::DMatrix;

use crate::build_file::SizeFrom;
use crate::problem::{Place, Placed, Problem, Problems};
use crate::space::{Map, Pattern, Pixels, Plane, Point};

use super::remarks::remarks;
use super::view::{View, area, heights_known, larger_than_others, misplaced, unlikely};
use super::yardsticks::{Against, Doubts, Fit, Pairs, Yardsticks, sensitivities};
use super::{Marks, Measured, PictureMarks, Spot, chi_square, extent, figure};

/// Beyond this many standard deviations an estimate is a little off: 1 in 20 by chance.
const A_LITTLE_OFF: f64 = 1.96;

/// Known lengths of one picture, or its rectangle, that make it larger than one another by this are slips, not errors of
/// measurement: no average of them is a size (common practice, no source).
const SLIP: f64 = 1.25;

/// The two-sided 95 % point of the normal distribution.
const TWO_SIDED_95: f64 = 1.96;

/// Beyond this many standard deviations it does not fit: 1 in 370 by chance (common practice, no source).
const DOES_NOT_FIT: f64 = 3.0;

/// The plane and the scale of every picture.
#[derive(Clone, Debug)]
pub struct Solved {
    /// As in the marks.
    pub pictures: Vec<PictureScale>,
    /// What the maker should know about the size; no errors.
    pub remarks: Problems,
}

impl Solved {
    /// From the pixels of a picture to its pattern frame, whose origin is that of its plane.
    ///
    /// # Panics
    ///
    /// If there is no such picture.
    pub fn pattern_map(&self, picture: usize) -> Map<Pixels, Pattern> {
        self.pattern_map_above(picture, None)
    }

    /// The same for what lies so many mm `above` the plane of the picture's rectangle; `None`: as the prop's face.
    ///
    /// # Panics
    ///
    /// If there is no such picture.
    pub fn pattern_map_above(&self, picture: usize, above: Option<f64>) -> Map<Pixels, Pattern> {
        self.pictures[picture].pattern_map(above)
    }
}

/// The plane and the scale of one picture, and how they were found.
#[derive(Clone, Debug)]
pub struct PictureScale {
    /// Straightens the picture; leaves it as it is when neither rectangle nor lens is marked on it.
    pub view: View,
    /// Pattern mm per plane unit, above 0.
    pub factor: f64,
    /// Where the factor comes from.
    pub from: ScaleFrom,
    /// Everything that speaks for a factor of its own.
    pub estimates: Vec<Estimate>,
    /// How far the estimates differ for the errors they may have.
    pub chi_square: f64,
    /// Estimates beyond the one that is needed.
    pub freedom: usize,
    /// Every standard deviation of this picture's scale is to be multiplied by this; above 1 where the estimates
    /// differ by more than their errors explain.
    pub widening: f64,
    doubts: PictureDoubts,
}

/// How what gives a picture its scale may be off.
#[derive(Clone, Debug)]
struct PictureDoubts {
    yardsticks: Arc<Doubts>,
    /// Relative change of what the plane takes the rectangle's place for, where the rectangle gives the scale; a column
    /// for each number of the marks.
    rectangle: Arc<DMatrix<f64>>,
    /// Of several rectangles that give the scale.
    rectangles: Arc<Vec<Compared>>,
}

/// A rectangle beside others.
#[derive(Clone, Copy, Debug)]
struct Compared {
    against: Against,
    /// Standard deviation of how much larger it is than the others say, as a part.
    sd: f64,
    /// Its share in the scale.
    share: f64,
}

/// Where the factor of a picture comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScaleFrom {
    /// Its known lengths.
    KnownLengths,
    /// Its rectangle, with its known lengths.
    Rectangle,
    /// Its figure.
    Figure,
    /// The hand at the prop.
    Hand,
    /// The finished length.
    Finished,
    /// Known lengths that also stand in this picture.
    Tie(usize),
}

/// One estimate of a picture's factor.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// Of the known length or landmark.
    pub name: String,
    /// Where it stands in the build file.
    pub place: Place,
    /// Mm per plane unit by this estimate alone.
    pub factor: f64,
    /// Standard deviation of that.
    pub sd: f64,
    /// Its share in the picture's factor; below 0 where a shared error is cancelled.
    pub weight: f64,
    /// How it stands against what the others say together; `None` when there are no others.
    pub against: Option<Against>,
}

/// Whether an estimate agrees with the others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// As near as its error lets expect.
    Agrees,
    /// 1 in 20 lies so far off by chance.
    ALittleOff,
    /// Something is wrong with it or with the others.
    DoesNotFit,
}

impl PictureScale {
    /// From pixels to the pattern, for what lies so many mm above the plane; `None`: as the prop's face.
    pub(super) fn pattern_map(&self, above: Option<f64>) -> Map<Pixels, Pattern> {
        self.view.map(above).then(&Map::affine(Affine::scale(self.factor)))
    }
}

impl PictureScale {
    /// Counts what several rectangles say of each other, and refuses slips.
    fn compare_rectangles(&mut self, picture: &PictureMarks) -> Result<(), Problem> {
        // As if each were as sure as the others: Σ z² (n − 1) / n is their χ² then.
        let count = self.doubts.rectangles.len().max(1);
        let squares: f64 = self.doubts.rectangles.iter().map(|compared| compared.against.z.powi(2)).sum();
        self.chi_square += squares * (count - 1) as f64 / count as f64;
        self.freedom += count - 1;
        self.widen();
        if self.widening > 1.0 {
            // Where it cannot be told which is wrong, the interval reaches what each of them would give.
            let apart =
                self.doubts.rectangles.iter().map(|compared| compared.against.excess.ln_1p().abs()).fold(0.0, f64::max);
            let reach = apart / (TWO_SIDED_95 * self.doubts.rectangle.norm()).max(f64::MIN_POSITIVE);
            self.widening = self.widening.max(reach);
        }
        if self.widening > 1.0 { refuse_slips(picture, &self.estimates) } else { Ok(()) }
    }

    fn widen(&mut self) {
        if self.freedom > 0 && self.chi_square > chi_square::limit_95(self.freedom) {
            self.widening = (self.chi_square / self.freedom as f64).sqrt();
        }
    }
}

impl Estimate {
    /// Whether it agrees with the others; `None` when there are none.
    pub fn verdict(&self) -> Option<Verdict> {
        self.against.map(|against| match against.z.abs() {
            z if z <= A_LITTLE_OFF => Verdict::Agrees,
            z if z <= DOES_NOT_FIT => Verdict::ALittleOff,
            _ => Verdict::DoesNotFit,
        })
    }
}

impl Verdict {
    /// For a person.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Agrees => "agrees",
            Self::ALittleOff => "a little off",
            Self::DoesNotFit => "does not fit the others",
        }
    }
}

/// The planes and scales that `marks` tell. Pure: every interval comes from moving the marks, see [`super::Spread`].
///
/// Errors: a rectangle that cannot be one, something beyond its horizon, a figure that does not stand upright, a
/// picture without a size.
pub fn solve(marks: &Marks) -> Result<Solved, Problems> {
    solve_near(marks, None)
}

/// Like [`solve`], but with the slopes that were found for marks `near` these. They would differ in the second order
/// only, and finding them takes longer than all the rest.
pub(super) fn solve_near(marks: &Marks, near: Option<&Solved>) -> Result<Solved, Problems> {
    let known = |k: usize| near.map(|near| near.pictures[k].doubts.clone());
    let mut problems: Problems = (0..marks.pictures.len()).filter_map(|k| seen_in_plane(marks, k).err()).collect();
    if !problems.is_empty() {
        return Err(problems);
    }
    if near.is_none() {
        problems.extend(heights_known(marks));
        if !problems.is_empty() {
            return Err(problems);
        }
    }
    let mut scales: Vec<Option<PictureScale>> = Vec::new();
    for k in 0..marks.pictures.len() {
        match own_source(marks, k).and_then(|s| s.map(|source| source.scale(marks, k, known(k))).transpose()) {
            Ok(scale) => scales.push(scale),
            Err(problem) => problems.push(problem),
        }
    }
    // What is wrong with the build as a whole was met at every picture.
    problems.dedup();
    if !problems.is_empty() {
        return Err(problems);
    }
    while let Some((k, source)) = next_tie(marks, &scales) {
        let mut scale = source.scale(marks, k, known(k)).map_err(|problem| vec![problem])?;
        if let ScaleFrom::Tie(parent) = scale.from {
            scale.widening = scale.widening.max(scales[parent].as_ref().map_or(1.0, |parent| parent.widening));
        }
        scales[k] = Some(scale);
    }
    let sizeless = marks.pictures.iter().zip(&scales).filter(|(_, scale)| scale.is_none());
    problems.extend(sizeless.map(|(picture, _)| without_size(marks, picture)));
    if !problems.is_empty() {
        return Err(problems);
    }
    let mut pictures: Vec<PictureScale> = scales.into_iter().flatten().collect();
    for scale in &mut pictures {
        scale.factor *= marks.times;
        for estimate in &mut scale.estimates {
            estimate.factor *= marks.times;
            estimate.sd *= marks.times;
        }
    }
    let remarks = marks.pictures.iter().zip(&pictures).flat_map(|(picture, scale)| remarks(marks, picture, scale));
    let first = marks.pictures.iter().filter(|_| near.is_none());
    let unlikely = first.flat_map(|picture| misplaced(picture).into_iter().chain(unlikely(picture)));
    Ok(Solved { remarks: unlikely.chain(remarks).collect(), pictures })
}

/// What gives a picture its scale.
enum Source {
    KnownLengths,
    Rectangle,
    Figure,
    Hand,
    /// This long, mm.
    Finished(f64),
    /// Lengths of this picture, each with its true size as another picture tells it.
    Tie(usize, Vec<TiedLength>),
}

/// Known length `here` is known length `there` of a picture whose pattern frame is known.
struct TiedLength {
    here: usize,
    picture: usize,
    there: usize,
    scale: PictureScale,
}

/// What gives picture `k` a scale of its own.
fn own_source(marks: &Marks, k: usize) -> Result<Option<Source>, Problem> {
    let picture = &marks.pictures[k];
    let lengths = (!picture.lengths.is_empty()).then_some(Source::KnownLengths);
    Ok(match marks.from.value {
        SizeFrom::KnownLengths => lengths,
        SizeFrom::AsPictured if picture.rectangle.as_ref().is_some_and(|r| r.size.is_some()) => Some(Source::Rectangle),
        SizeFrom::AsPictured => lengths,
        SizeFrom::Figure => match &picture.figure {
            None => None,
            Some(_) if marks.barefoot.is_none() => {
                let text = "the size comes from the figure, but nothing says how tall the wearer is; add [wearer] with \
                            height = \"168 cm\" or what it is";
                return Err(Problem::error("no_wearer", text).at(marks.from.place));
            }
            Some(marked) => {
                figure::stands_upright(marked)?;
                Some(Source::Figure)
            }
        },
        SizeFrom::Hand => (!picture.hand.is_empty()).then_some(Source::Hand),
        SizeFrom::Finished(length) => (finished_on(marks)? == k).then(|| Source::Finished(length.to_mm())),
    })
}

/// The picture on which the finished length is seen.
fn finished_on(marks: &Marks) -> Result<usize, Problem> {
    if let Some(ends) = &marks.finished {
        return Ok(ends.picture);
    }
    let drawn: Vec<usize> = (0..marks.pictures.len()).filter(|k| marks.pictures[*k].is_drawn_on()).collect();
    match drawn[..] {
        [only] => Ok(only),
        [] => Err(Problem::error(
            "finished_without_ends",
            "the size comes from the finished length, but neither its two ends nor an outline say what is that long; \
             add [finished] with picture, from and to",
        )),
        _ => Err(Problem::error(
            "finished_without_ends",
            format!(
                "the size comes from the finished length, but {} pictures carry pieces and nothing says on which that \
                 length is seen; add [finished] with picture, from and to",
                drawn.len()
            ),
        )),
    }
    .map_err(|problem| problem.at(marks.from.place))
}

/// A picture without scale that shares a known length with one that has a scale.
fn next_tie(marks: &Marks, scales: &[Option<PictureScale>]) -> Option<(usize, Source)> {
    let partner = |name: &str| {
        let scaled = (0..scales.len()).filter_map(|k| Some((k, scales[k].as_ref()?)));
        scaled
            .filter_map(|(k, scale)| {
                Some((k, scale, marks.pictures[k].lengths.iter().position(|l| l.name.value == name)?))
            })
            .next()
    };
    (0..scales.len()).filter(|k| scales[*k].is_none()).find_map(|k| {
        let lengths = marks.pictures[k].lengths.iter().enumerate();
        let tied: Vec<TiedLength> = lengths
            .filter_map(|(here, length)| {
                let (picture, scale, there) = partner(&length.name.value)?;
                Some(TiedLength { here, picture, there, scale: scale.clone() })
            })
            .collect();
        let parent = tied.first()?.picture;
        Some((k, Source::Tie(parent, tied)))
    })
}

impl Source {
    fn scale(&self, marks: &Marks, k: usize, known: Option<PictureDoubts>) -> Result<PictureScale, Problem> {
        let held = matches!(self, Self::Rectangle);
        let measured = matches!(self, Self::KnownLengths | Self::Tie(..));
        let picture = &marks.pictures[k];
        let doubts = known.map_or_else(|| self.doubts(marks, k), Ok)?;
        let mut scale = PictureScale {
            view: View::of(picture)?,
            factor: 1.0,
            from: self.name(),
            estimates: Vec::new(),
            chi_square: 0.0,
            freedom: 0,
            widening: 1.0,
            doubts,
        };
        let names = self.names(marks, picture);
        if held {
            scale.estimates.extend(rectangle_estimates(picture, &scale.doubts));
        }
        if names.is_empty() {
            scale.compare_rectangles(picture)?;
            return Ok(scale);
        }
        let pairs = self.read(marks, k)?;
        if let Some((name, _)) = names.iter().zip(&pairs).find(|(_, [_, span])| *span <= 0.0) {
            let text = format!(
                "the two ends of \"{}\" on picture \"{}\" fall together; mark them again",
                name.value, picture.name.value
            );
            return Err(Problem::error("no_span", text).at(name.place));
        }
        let yardsticks = Yardsticks::new(&pairs, &scale.doubts.yardsticks);
        let mut fit = yardsticks.fit(held.then_some(1.0));
        if !held && let Some(against) = yardsticks.odd_one(&fit) {
            fit.against = against;
        }
        scale.estimates.extend(estimates(&names, &yardsticks, &fit));
        if held {
            let shares = yardsticks.shares(1.0, &scale.doubts.rectangle);
            let rectangles = scale.estimates.len() - names.len();
            share_with_rectangles(&mut scale.estimates, rectangles, &shares, &fit);
        } else {
            scale.factor = fit.factor;
        }
        scale.chi_square = fit.chi_square;
        scale.freedom = names.len() - usize::from(!held);
        if held {
            scale.compare_rectangles(picture)?;
        } else {
            scale.widen();
        }
        if measured && scale.widening > 1.0 {
            refuse_slips(picture, &scale.estimates)?;
        }
        // Sizes that disagree also say where the corners of the rectangle must have been.
        if picture.rectangle.is_some() || picture.lens.is_some() {
            let mut corrected = marks.clone();
            for (number, error) in corrected.numbers().into_iter().zip(&fit.errors) {
                number.value -= error * number.sd;
            }
            scale.view = View::of(&corrected.pictures[k])?;
        }
        Ok(scale)
    }

    fn doubts(&self, marks: &Marks, k: usize) -> Result<PictureDoubts, Problem> {
        let rectangle = if matches!(self, Self::Rectangle) { size_in_plane(marks, k)? } else { DMatrix::zeros(0, 0) };
        let rectangles = if matches!(self, Self::Rectangle) { rectangles_compared(marks, k)? } else { Vec::new() };
        let yardsticks = Arc::new(Doubts::of(marks, &|marks| self.read(marks, k))?);
        Ok(PictureDoubts { yardsticks, rectangle: Arc::new(rectangle), rectangles: Arc::new(rectangles) })
    }

    const fn name(&self) -> ScaleFrom {
        match self {
            Self::KnownLengths => ScaleFrom::KnownLengths,
            Self::Rectangle => ScaleFrom::Rectangle,
            Self::Figure => ScaleFrom::Figure,
            Self::Hand => ScaleFrom::Hand,
            Self::Finished(_) => ScaleFrom::Finished,
            Self::Tie(parent, _) => ScaleFrom::Tie(*parent),
        }
    }

    /// What each yardstick is called, and where it stands.
    fn names(&self, marks: &Marks, picture: &PictureMarks) -> Vec<Placed<String>> {
        match self {
            Self::KnownLengths | Self::Rectangle => picture.lengths.iter().map(|l| l.name.clone()).collect(),
            Self::Figure => picture
                .figure
                .iter()
                .flat_map(|figure| {
                    let landmarks = figure::used_landmarks(figure)
                        .map(|l| Placed::new(l.landmark.value.name().to_owned(), l.landmark.place));
                    let limbs = figure::uses_limbs(figure).then(|| Placed::new("limbs".to_owned(), figure.place));
                    landmarks.chain(limbs)
                })
                .collect(),
            Self::Hand => picture.hand.iter().map(|hand| Placed::new(hand.name.to_owned(), hand.place)).collect(),
            Self::Finished(_) => {
                let place = marks.finished.as_ref().map_or(marks.from.place, |ends| ends.place);
                vec![Placed::new("finished length".to_owned(), place)]
            }
            Self::Tie(_, tied) => tied.iter().map(|tie| picture.lengths[tie.here].name.clone()).collect(),
        }
    }

    /// Each yardstick as mm and span in the plane.
    fn read(&self, marks: &Marks, k: usize) -> Pairs {
        let picture = &marks.pictures[k];
        let view = View::of(picture)?;
        let plane = view.map(None);
        let span = |from: &Spot, to: &Spot, above: Option<Measured>| {
            let plane = view.map(above.map(|above| above.value));
            plane.point(from.at()).distance(plane.point(to.at()))
        };
        Ok(match self {
            Self::KnownLengths | Self::Rectangle => {
                picture.lengths.iter().map(|l| [l.length.value, span(&l.from, &l.to, l.above)]).collect()
            }
            Self::Figure => figure::heights(marks, picture, &view.body_map()),
            Self::Hand => figure::hands(marks, picture, &plane),
            Self::Finished(mm) => {
                let span = match &marks.finished {
                    Some(ends) => span(&ends.from, &ends.to, None),
                    None => {
                        let hull = picture.hulls.iter().flat_map(|hull| {
                            let plane = view.map(hull.above.map(|above| above.value));
                            hull.points.iter().map(move |p| plane.point(*p))
                        });
                        let hull: Vec<Point<Plane>> = hull.collect();
                        extent::farthest(&extent::hull(&hull)).map_or(0.0, |[a, b]| a.distance(b))
                    }
                };
                vec![[*mm, span]]
            }
            Self::Tie(_, tied) => tied
                .iter()
                .map(|tie| {
                    let there = &marks.pictures[tie.picture].lengths[tie.there];
                    let here = &picture.lengths[tie.here];
                    let map = tie.scale.pattern_map(there.above.map(|above| above.value));
                    let mm = map.point(there.from.at()).distance(map.point(there.to.at()));
                    [mm, span(&here.from, &here.to, here.above)]
                })
                .collect(),
        })
    }
}

/// Refuses picture `k` if its rectangle cannot be one, or if something on it lies beyond the rectangle's horizon.
fn seen_in_plane(marks: &Marks, k: usize) -> Result<(), Problem> {
    let picture = &marks.pictures[k];
    let view = View::of(picture)?;
    let Some(rectangle) = &picture.rectangle else { return Ok(()) };
    let plane = view.map(None);
    let lengths = picture.lengths.iter().map(|l| (l.name.value.as_str(), [l.from.at(), l.to.at()]));
    let ends = marks.measures.iter().filter(|ends| ends.picture == k).map(|ends| (ends.name.as_str(), ends));
    let ends =
        ends.chain(marks.finished.iter().filter(|ends| ends.picture == k).map(|ends| ("the finished length", ends)));
    let figure = picture.figure.iter().flat_map(|marked| {
        let at = marked.landmarks.iter().map(|l| (l.landmark.value.name(), [l.at.at(); 2]));
        let limbs = marked.limbs.iter().map(|limb| ("a limb", limb.ends));
        at.chain(marked.sole.map(|sole| ("the sole", [sole.at(); 2]))).chain(limbs)
    });
    let all = lengths
        .chain(ends.map(|(name, ends)| (name, [ends.from.at(), ends.to.at()])))
        .chain(figure)
        .chain(picture.hulls.iter().flat_map(|hull| &hull.points).map(|p| ("an outline", [*p; 2])));
    let corner = rectangle.corners[0].at();
    for (what, points) in all {
        if let Some(p) = points.into_iter().find(|p| !plane.sees_together(corner, *p)) {
            let text = format!(
                "picture \"{}\": {what} reaches to ({:.0}, {:.0}), beyond the line where the plane of the rectangle \
                 ends in the distance; check the corners of the rectangle",
                picture.name.value, p.x, p.y
            );
            return Err(Problem::error("beyond_horizon", text).at(rectangle.place));
        }
    }
    Ok(())
}

fn without_size(marks: &Marks, picture: &PictureMarks) -> Problem {
    let own = match marks.from.value {
        SizeFrom::KnownLengths => "a known length",
        SizeFrom::AsPictured => "a known rectangle or a known length",
        SizeFrom::Figure => "a figure",
        SizeFrom::Hand => "a hand",
        SizeFrom::Finished(_) => "the two ends of the finished prop",
    };
    let others = marks.pictures.iter().filter(|other| other.name.value != picture.name.value);
    let shared: Vec<String> = others.flat_map(|p| &p.lengths).map(|l| format!("\"{}\"", l.name.value)).collect();
    let tie = match &shared[..] {
        [] => "a known length of the same name on it and on another picture".to_owned(),
        names => format!("a known length that another picture has too ({})", names.join(", ")),
    };
    let text = format!("nothing gives picture \"{}\" a size; mark {own} on it, or {tie}", picture.name.value);
    Problem::error("picture_without_size", text).at(picture.name.place)
}

fn estimates(names: &[Placed<String>], yardsticks: &Yardsticks, fit: &Fit) -> Vec<Estimate> {
    names
        .iter()
        .enumerate()
        .map(|(i, name)| Estimate {
            name: name.value.clone(),
            place: name.place,
            factor: yardsticks.mm[i] / yardsticks.span[i],
            sd: fit.sd[i],
            weight: fit.weight[i],
            against: fit.against.get(i).copied(),
        })
        .collect()
}

/// Refuses known lengths, or a rectangle beside them, of which some must be slips.
fn refuse_slips(picture: &PictureMarks, estimates: &[Estimate]) -> Result<(), Problem> {
    let by_factor = |a: &&Estimate, b: &&Estimate| a.factor.total_cmp(&b.factor);
    let (Some(least), Some(most)) = (estimates.iter().min_by(by_factor), estimates.iter().max_by(by_factor)) else {
        return Ok(());
    };
    let times = most.factor / least.factor;
    if times < SLIP {
        return Ok(());
    }
    let off = |e: &&Estimate| e.verdict() == Some(Verdict::DoesNotFit);
    let odd: Vec<&Estimate> = estimates.iter().filter(off).collect();
    let (blame, place) = match odd[..] {
        [only] if estimates.len() > 2 => {
            (format!("“{}” is the one that does not fit the others", only.name), only.place)
        }
        _ => ("it cannot be told which is wrong".to_owned(), picture.name.place),
    };
    let text = format!(
        "“{}” makes picture \"{}\" {times:.2} times as large as “{}” does, and {SLIP} is more than measuring is off by: \
         {blame}; mend its length or its places, or take it out",
        most.name, picture.name.value, least.name
    );
    Err(Problem::error("sizes_contradict", text).at(place))
}

/// The rectangle that gives the plane its size; of several, each as the others see it.
fn rectangle_estimates(picture: &PictureMarks, doubts: &PictureDoubts) -> Vec<Estimate> {
    let all = picture.rectangle.iter().chain(&picture.further).enumerate();
    all.map(|(i, rectangle)| {
        let compared = doubts.rectangles.get(i);
        let against = compared.map(|compared| compared.against);
        Estimate {
            name: if i == 0 { "rectangle".to_owned() } else { format!("rectangle {}", i + 1) },
            place: rectangle.place,
            // The first gives the plane its unit.
            factor: if i == 0 { 1.0 } else { against.map_or(1.0, |against| 1.0 + against.excess) },
            sd: compared.map_or_else(|| doubts.rectangle.norm(), |compared| compared.sd),
            weight: compared.map_or(1.0, |compared| compared.share),
            against,
        }
    })
    .collect()
}

/// Tells the rectangles, so many at the head of `estimates`, and the known lengths in their plane what they are worth beside
/// each other.
fn share_with_rectangles(estimates: &mut [Estimate], rectangles: usize, shares: &[f64], fit: &Fit) {
    let (rectangles, lengths) = estimates.split_at_mut(rectangles);
    let left = 1.0 - shares.iter().sum::<f64>();
    let together = Against { excess: 1.0 / fit.factor - 1.0, z: (1.0 - fit.factor) / fit.factor_sd };
    for rectangle in rectangles {
        rectangle.weight *= left;
        rectangle.against.get_or_insert(together);
    }
    for (length, share) in lengths.iter_mut().zip(shares) {
        length.weight = *share;
    }
}

/// Of several rectangles on picture `k`, how each stands against the others, and its share in the scale: by how much the
/// plane follows it.
fn rectangles_compared(marks: &Marks, k: usize) -> Result<Vec<Compared>, Problem> {
    /// A change of size that is a slope still.
    const TOUCH: f64 = 1e-4;
    let picture = &marks.pictures[k];
    let count = 1 + picture.further.len();
    if count == 1 {
        return Ok(Vec::new());
    }
    let larger = |marks: &Marks| (0..count).map(|j| larger_than_others(&marks.pictures[k], j)).collect();
    let by = sensitivities(marks, &larger)?;
    let place = picture.rectangle.as_ref().map(|rectangle| rectangle.corners.map(|c| c.at()));
    let one = |(j, larger): (usize, f64)| {
        let size = |times: f64| {
            let mut touched = picture.clone();
            let rectangle = touched.rectangle.iter_mut().chain(&mut touched.further).nth(j);
            for side in rectangle.and_then(|rectangle| rectangle.size.as_mut()).into_iter().flatten() {
                side.value *= times;
            }
            let plane = View::of(&touched)?.map(None);
            Ok::<f64, Problem>(place.map_or(0.0, |corners| area(&corners.map(|c| plane.point(c))).ln() / 2.0))
        };
        let share = (size(1.0 + TOUCH)? - size(1.0 - TOUCH)?) / (2.0 * TOUCH);
        let sd = by.row(j).norm();
        let against = Against { excess: larger.exp_m1(), z: larger / sd.max(f64::MIN_POSITIVE) };
        Ok(Compared { against, sd, share })
    };
    larger(marks)?.into_iter().enumerate().map(one).collect()
}

/// How the marks move the size that the plane of picture `k` gives to what is seen where its rectangle was clicked:
/// relative change by one standard deviation of each number.
fn size_in_plane(marks: &Marks, k: usize) -> Result<DMatrix<f64>, Problem> {
    let corners = marks.pictures[k].rectangle.as_ref().map(|rectangle| rectangle.corners.map(|c| c.at()));
    sensitivities(marks, &|marks| {
        let plane = View::of(&marks.pictures[k])?.map(None);
        let quad: Vec<_> = corners.iter().flatten().map(|c| plane.point(*c)).collect();
        Ok(vec![area(&quad).ln() / 2.0])
    })
}
