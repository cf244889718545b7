//! Rectangles → as few pages as can be, without overlap.
//!
//! Maximal rectangles, best short side fit, in many orders (J. Jylänki, "A thousand ways to pack the bin", 2010).

use kurbo::{Rect, Size};

use crate::chance::Dice;

/// Where one rectangle went.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Slot {
    pub(super) page: usize,
    pub(super) rect: Rect,
    /// Turned a quarter.
    pub(super) turned: bool,
}

/// Orders that are tried beside the four that are usually good.
const SHUFFLED: u64 = 60;

/// A slot for each of `sizes`, in their order, on pages of size `page`. Every size must fit on a page by itself, upright
/// or turned.
///
/// Of many orders in which they are put down, the one with the fewest pages; of those, the one whose last page is emptiest.
pub(super) fn pack(sizes: &[Size], page: Size) -> Vec<Slot> {
    let area = |size: &Size| size.area();
    let longer = |size: &Size| size.width.max(size.height);
    let shorter = |size: &Size| size.width.min(size.height);
    let around = |size: &Size| size.width + size.height;
    let mut orders: Vec<Vec<usize>> = vec![
        largest_first(sizes, &|i| (longer(&sizes[i]), area(&sizes[i]))),
        largest_first(sizes, &|i| (area(&sizes[i]), longer(&sizes[i]))),
        largest_first(sizes, &|i| (shorter(&sizes[i]), longer(&sizes[i]))),
        largest_first(sizes, &|i| (around(&sizes[i]), area(&sizes[i]))),
    ];
    // Near to largest first: places changed with some that are not much smaller.
    orders.extend((0..SHUFFLED).map(|seed| {
        let mut dice = Dice(seed);
        let worth: Vec<f64> = sizes.iter().map(|size| longer(size) * (0.3 * dice.normal()).exp()).collect();
        largest_first(sizes, &|i| (worth[i], area(&sizes[i])))
    }));
    let total: f64 = sizes.iter().map(area).sum();
    let bound = (total / page.area() - 1e-9).ceil();
    let mut best: Option<((usize, f64), Vec<Slot>)> = None;
    for order in orders {
        let slots = put_down(sizes, page, &order);
        let last = slots.iter().map(|slot| slot.page).max().unwrap_or(0);
        let on_last: f64 = slots.iter().filter(|slot| slot.page == last).map(|slot| slot.rect.area()).sum();
        if best.as_ref().is_none_or(|((pages, rest), _)| (last, on_last) < (*pages, *rest)) {
            best = Some(((last, on_last), slots));
        }
        if (last + 1) as f64 <= bound {
            break;
        }
    }
    best.map(|(_, slots)| slots).unwrap_or_default()
}

fn largest_first(sizes: &[Size], key: &dyn Fn(usize) -> (f64, f64)) -> Vec<usize> {
    let mut order: Vec<usize> = (0..sizes.len()).collect();
    order.sort_by(|&a, &b| key(b).partial_cmp(&key(a)).expect("sizes are finite").then(a.cmp(&b)));
    order
}

fn put_down(sizes: &[Size], page: Size, order: &[usize]) -> Vec<Slot> {
    let mut pages: Vec<Vec<Rect>> = Vec::new();
    let mut slots: Vec<Option<Slot>> = vec![None; sizes.len()];
    for &index in order {
        let slot = pages
            .iter()
            .enumerate()
            .find_map(|(at, free)| best(free, sizes[index]).map(|(rect, turned)| Slot { page: at, rect, turned }))
            .unwrap_or_else(|| {
                pages.push(vec![page.to_rect()]);
                let (rect, turned) =
                    best(&pages[pages.len() - 1], sizes[index]).expect("every size fits on an empty page");
                Slot { page: pages.len() - 1, rect, turned }
            });
        take(&mut pages[slot.page], slot.rect);
        slots[index] = Some(slot);
    }
    slots.into_iter().map(|slot| slot.expect("every rectangle got a slot")).collect()
}

/// The place among the free rectangles whose shorter left-over is least, and whether `size` has to be turned for it.
fn best(free: &[Rect], size: Size) -> Option<(Rect, bool)> {
    let mut found: Option<(f64, Rect, bool)> = None;
    for room in free {
        for (turned, size) in [(false, size), (true, Size::new(size.height, size.width))] {
            let left = (room.width() - size.width).min(room.height() - size.height);
            if left >= -1e-9 && found.is_none_or(|(least, ..)| left < least - 1e-9) {
                found = Some((left, Rect::from_origin_size(room.origin(), size), turned));
            }
        }
    }
    found.map(|(_, rect, turned)| (rect, turned))
}

/// Takes `used` out of the free rectangles, which stay the largest ones possible.
fn take(free: &mut Vec<Rect>, used: Rect) {
    let mut rest = Vec::new();
    for room in free.drain(..) {
        if room.intersect(used).area() <= 0.0 {
            rest.push(room);
            continue;
        }
        rest.extend(
            [
                Rect::new(room.x0, room.y0, used.x0, room.y1),
                Rect::new(used.x1, room.y0, room.x1, room.y1),
                Rect::new(room.x0, room.y0, room.x1, used.y0),
                Rect::new(room.x0, used.y1, room.x1, room.y1),
            ]
            .into_iter()
            .filter(|part| part.x1 - part.x0 > 1e-9 && part.y1 - part.y0 > 1e-9),
        );
    }
    for (index, room) in rest.iter().enumerate() {
        let within = |(other, larger): (usize, &Rect)| {
            other != index && larger.contains_rect(*room) && (larger != room || other < index)
        };
        if !rest.iter().enumerate().any(within) {
            free.push(*room);
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn four_quarters_fill_one_page() {
        let slots = pack(&[Size::new(50.0, 100.0); 4], Size::new(100.0, 200.0));
        assert!(slots.iter().all(|slot| slot.page == 0));
    }

    proptest! {
        #[test]
        fn nothing_overlaps_and_nothing_lies_outside(sizes in prop::collection::vec((5.0..180.0f64, 5.0..180.0f64), 1..40)) {
            let sizes: Vec<Size> = sizes.into_iter().map(Size::from).collect();
            let page = Size::new(185.0, 247.0);
            let slots = pack(&sizes, page);
            for (index, slot) in slots.iter().enumerate() {
                prop_assert!(page.to_rect().inset(1e-6).contains_rect(slot.rect));
                let (w, h) = if slot.turned { (sizes[index].height, sizes[index].width) } else { (sizes[index].width, sizes[index].height) };
                prop_assert!((slot.rect.width() - w).abs() < 1e-9 && (slot.rect.height() - h).abs() < 1e-9);
                for other in &slots[..index] {
                    prop_assert!(other.page != slot.page || other.rect.intersect(slot.rect).area() < 1e-6);
                }
            }
        }
    }
}
