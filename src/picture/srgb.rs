//! Encoded sRGB values ↔ linear light, after IEC 61966-2-1:1999, 5.2. Both run from 0 to 1.

use std::sync::LazyLock;

/// Linear light of an encoded value. Below 0 and above 1 the curve goes on, so that no caller has to clamp first.
pub fn to_linear(encoded: f64) -> f64 {
    if encoded <= 0.04045 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
}

/// Encoded value of linear light, the inverse of [`to_linear`].
pub fn to_encoded(linear: f64) -> f64 {
    if linear <= 0.003_130_8 { linear * 12.92 } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

/// Linear light of an 8 bit sample, from a table: walking over a whole photo costs no powers.
pub fn byte_to_linear(sample: u8) -> f64 {
    static TABLE: LazyLock<[f64; 256]> =
        LazyLock::new(|| std::array::from_fn(|sample| to_linear(sample as f64 / 255.0)));
    TABLE[usize::from(sample)]
}

/// Steps of the tables below.
const STEPS: u16 = 1024;

/// [`to_linear`] to within 1e-6, without its power: for what is asked millions of times.
pub fn to_linear_fast(encoded: f64) -> f64 {
    static TABLE: LazyLock<Vec<f64>> = LazyLock::new(|| table(to_linear));
    between(&TABLE, encoded).unwrap_or_else(|| to_linear(encoded))
}

/// [`to_encoded`] to within 4e-6, likewise. Over the root of the light the curve is even enough for a table.
pub fn to_encoded_fast(linear: f64) -> f64 {
    static TABLE: LazyLock<Vec<f64>> = LazyLock::new(|| table(|root| to_encoded(root * root)));
    between(&TABLE, linear.max(0.0).sqrt()).filter(|_| linear >= 0.0).unwrap_or_else(|| to_encoded(linear))
}

fn table(of: impl Fn(f64) -> f64) -> Vec<f64> {
    (0..=STEPS).map(|step| of(f64::from(step) / f64::from(STEPS))).collect()
}

/// The line between neighbours of a table over 0 to 1; `None` beyond it.
fn between(table: &[f64], at: f64) -> Option<f64> {
    let place = at * f64::from(STEPS);
    if !(0.0..f64::from(STEPS)).contains(&place) {
        return None;
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "just checked to be a step")]
    let step = place as u16;
    let (from, to) = (table[usize::from(step)], table[usize::from(step) + 1]);
    Some(from + (place - f64::from(step)) * (to - from))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn encoding_undoes_decoding_over_the_whole_range() {
        for step in 0..=10_000 {
            let encoded = f64::from(step) / 10_000.0;
            // The standard rounds its two break points separately: the halves miss each other by 3e-8.
            assert!((to_encoded(to_linear(encoded)) - encoded).abs() < 1e-7, "at {encoded}");
        }
    }

    #[test]
    fn a_fifth_of_the_light_is_encoded_near_the_middle() {
        // Mid grey of 18 % reflectance is 118 of 255 (118.4 by the formula, from memory a common check value).
        assert!((to_encoded(0.18) * 255.0 - 117.6).abs() < 1.0);
        assert!((to_linear(0.5) - 0.214_041).abs() < 1e-6);
        assert_eq!((to_linear(0.0), to_linear(1.0)), (0.0, 1.0));
    }

    #[test]
    fn the_fast_way_keeps_to_the_formula() {
        for step in -2_000..=12_000 {
            let encoded = f64::from(step) / 10_000.0;
            assert!((to_linear_fast(encoded) - to_linear(encoded)).abs() < 1e-6, "at {encoded}");
            assert!((to_encoded_fast(encoded) - to_encoded(encoded)).abs() < 4e-6, "at {encoded}");
        }
    }

    #[test]
    fn the_table_holds_the_formula() {
        for sample in 0..=255u8 {
            assert_eq!(byte_to_linear(sample), to_linear(f64::from(sample) / 255.0));
        }
    }
}
