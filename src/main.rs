//! The program `spanwright`.

fn main() {}
