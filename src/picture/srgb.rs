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

/// [`to_linear`] to within 1e-6, without its power: for what is asked millions of times.
pub fn to_linear_fast(encoded: f64) -> f64 {
    const STEPS: u16 = 1024;
    static TABLE: LazyLock<Vec<f64>> =
        LazyLock::new(|| (0..=STEPS).map(|step| to_linear(f64::from(step) / f64::from(STEPS))).collect());
    let place = encoded * f64::from(STEPS);
    if !(0.0..f64::from(STEPS)).contains(&place) {
        return to_linear(encoded);
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "just checked to be a step")]
    let step = place as usize;
    TABLE[step] + place.fract() * (TABLE[step + 1] - TABLE[step])
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
        }
    }

    #[test]
    fn the_table_holds_the_formula() {
        for sample in 0..=255u8 {
            assert_eq!(byte_to_linear(sample), to_linear(f64::from(sample) / 255.0));
        }
    }
}
