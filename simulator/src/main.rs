//! The command `rinseward-simulator`.

fn main() {}
