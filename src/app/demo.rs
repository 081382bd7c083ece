//! demo
mod scene;
mod screen;

use super::{Failure, Streams};
use crate::cli::{Command, DemoArgs};

pub(super) fn takes_the_screen(_command: &Command) -> bool {
    false
}

pub(super) fn demo(_arguments: &DemoArgs, _streams: &mut Streams<'_>) -> Result<(), Failure> {
    Ok(())
}
