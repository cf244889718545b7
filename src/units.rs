//! Text → [`Length`]. Everything is kept in millimetres.
//!
//! 1 in = 25.4 mm exactly (international yard and pound agreement, 1959); 1 pt = 1/72 in (ISO 32000-1, 8.3.2.3).

use std::iter::Sum;
use std::ops::{Add, Div, Mul, Neg, Sub};

/// Millimetres in an inch, exactly.
pub const MM_PER_INCH: f64 = 25.4;

/// A length in millimetres, finite.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Length(f64);

impl Length {
    /// No length.
    pub const ZERO: Self = Self(0.0);

    /// `mm` millimetres.
    pub const fn mm(mm: f64) -> Self {
        Self(mm)
    }

    /// `inches` inches.
    pub const fn inches(inches: f64) -> Self {
        Self(inches * MM_PER_INCH)
    }

    /// In millimetres.
    pub const fn to_mm(self) -> f64 {
        self.0
    }

    /// In inches.
    pub const fn to_inches(self) -> f64 {
        self.0 / MM_PER_INCH
    }

    /// In PDF points, 72 to the inch.
    pub const fn to_pt(self) -> f64 {
        self.0 * 72.0 / MM_PER_INCH
    }
}

impl Add for Length {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}
impl Sub for Length {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}
impl Neg for Length {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}
impl Mul<f64> for Length {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self(self.0 * factor)
    }
}
impl Div<f64> for Length {
    type Output = Self;
    fn div(self, by: f64) -> Self {
        Self(self.0 / by)
    }
}
impl Div for Length {
    type Output = f64;
    fn div(self, by: Self) -> f64 {
        self.0 / by.0
    }
}
impl Sum for Length {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::ZERO, Add::add)
    }
}
