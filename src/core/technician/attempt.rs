//! One of the three attempts, whichever it is.

use std::time::Duration;

use super::Value;
use super::bath::Bath;
use super::calibrating::{self, Calibrating};
use super::proving::{self, Proving};
use super::responding::{self, Responding};

/// What somebody is at.
#[derive(Clone, PartialEq, Debug)]
pub enum Attempt {
    /// A calibration of the probe of this name.
    Calibration(String, Box<Calibrating>),
    /// A response test of the probe of this name.
    Response(String, Responding),
    /// A proof of the wiring of one machine.
    Proof(Box<Proving>),
}

/// What its person does.
#[derive(Clone, PartialEq, Debug)]
pub enum Press {
    /// The step may begin: the probe is in the bath, everything is ready, the tip hangs free.
    Go,
    /// Another bath is next.
    Bath(Bath),
    /// The last point, or the last probe, is to be done again.
    Back,
}

/// Where it stands.
#[derive(Clone, PartialEq, Debug)]
pub enum Stands {
    /// See [`calibrating::Stands`].
    Calibration(calibrating::Stands),
    /// See [`responding::Stands`].
    Response(responding::Stands),
    /// See [`proving::Stands`].
    Proof(proving::Stands),
}

impl Attempt {
    /// Takes what a probe of the site shows.
    pub fn hear(&mut self, probe: &str, value: Value) {
        match self {
            Self::Calibration(own, work) if own == probe => work.hear(value),
            Self::Response(own, work) if own == probe => work.hear(value),
            Self::Proof(work) => work.hear(probe, value),
            Self::Calibration(..) | Self::Response(..) => {}
        }
    }

    /// Takes that so many readings were lost.
    pub fn lost(&mut self, events: u64) {
        match self {
            Self::Calibration(_, work) => work.lost(),
            Self::Response(_, work) => work.lost(events),
            Self::Proof(work) => work.lost(),
        }
    }

    /// Takes that time has passed.
    pub fn tick(&mut self, now: Duration) {
        match self {
            Self::Calibration(_, work) => work.tick(now),
            Self::Response(_, work) => work.tick(now),
            Self::Proof(work) => work.tick(now),
        }
    }

    /// Takes what its person does; what does not fit where it stands changes nothing.
    pub fn press(&mut self, press: Press, now: Duration) {
        match (self, press) {
            (Self::Calibration(_, work), Press::Go) => work.in_place(now),
            (Self::Calibration(_, work), Press::Bath(bath)) => work.go_to(bath),
            (Self::Calibration(_, work), Press::Back) => work.take_back(),
            (Self::Response(_, work), Press::Go | Press::Back) => work.begin(now),
            (Self::Proof(work), Press::Go) => work.hangs(now),
            (Self::Proof(work), Press::Back) => work.again(),
            (Self::Response(..) | Self::Proof(_), Press::Bath(_)) => {}
        }
    }

    /// Where it stands.
    #[must_use]
    pub fn stands(&self, now: Duration) -> Stands {
        match self {
            Self::Calibration(_, work) => Stands::Calibration(work.stands(now)),
            Self::Response(_, work) => Stands::Response(work.stands()),
            Self::Proof(work) => Stands::Proof(work.stands()),
        }
    }
}
