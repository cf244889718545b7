//! Marks → planes and scales by one pure [`solve`], and every interval by one [`spread`] over it.
