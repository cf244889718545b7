//! Reference values, each with its source and how sure it is, embedded in the program.
