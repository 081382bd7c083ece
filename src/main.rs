//! The command `rinseward`.

fn main() {}
