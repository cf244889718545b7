//! What is placed on a picture, and whether it lies there.

use kurbo::Rect;

use super::build::Mark;
use crate::problem::{Problem, Problems};

/// The marks of picture `index` that lie beyond it, when it is so many pixels wide and high. A click there is a slip and
/// an error; a drawn shape may well reach beyond a cropped picture, so that is a warning.
pub fn outside(marks: &[Mark], index: usize, [width, height]: [u32; 2]) -> Problems {
    let whole = Rect::new(0.0, 0.0, f64::from(width), f64::from(height));
    // Half a pixel: a traced edge along the border may well overshoot it.
    let frame = whole.inflate(0.5, 0.5);
    let here = marks.iter().filter(|mark| mark.picture == index);
    here.filter_map(|mark| {
        let limits = if mark.drawn { frame } else { whole };
        if mark.bounds.union(limits) == limits {
            return None;
        }
        let size = format!("the picture, which is {width} pixels wide and {height} high");
        let problem = if mark.drawn {
            Problem::warning("outside_picture", format!("this reaches beyond {size}; mend it if that is not meant"))
        } else {
            let (x, y) = (mark.bounds.x0, mark.bounds.y0);
            Problem::error("outside_picture", format!("the place [{x}, {y}] is outside {size}; mark it again, or mend `pixels` if it is that which is wrong"))
        };
        Some(problem.at(mark.place))
    })
    .collect()
}
