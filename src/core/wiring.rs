//! Which probe answered when one was warmed: the proof that each is wired as it is configured.
//!
//! Each temperature channel of the site is looked at over two stretches: at rest, and while the
//! tip of one probe is held in a dry hand or in a cup of warm water. The probe that was meant must
//! rise, and no other as much. A tip that still cools proves nothing: a fall counts as one of
//! exchanged leads only where it goes further than the cooling that was seen at rest. Limits are
//! this program's own; the sources of what they stand on are beside them. Nothing here is a
//! measurement: a proof says which wire is which, a calibration how true it reads.

mod course;
pub mod proofs;
#[cfg(test)]
mod tests;
mod words;

use std::ops::RangeInclusive;

use serde::{Deserialize, Serialize};

use self::course::Moved;
pub use self::course::{Course, Standing};
pub use self::words::{too_warm, water_for_hands};
use super::reader::{Language, Scale};
use super::reading::Fault;
use super::units::Celsius;

/// Least rise or fall that counts as an answer, °C. Skin is at about 33 °C (common practice, no
/// source), a warm kitchen at 30 °C at most, so that a hand warms a tip by 3 K or more.
pub const ANSWER_MIN_C: f64 = 2.0;
/// And so many standard deviations of the readings at rest (own choice: noise alone does not come so far in a
/// lifetime of proofs).
const ANSWER_SIGMAS: f64 = 6.0;
/// Another probe that moves by more than this share of the one that was warmed is warmed with it (own choice: a
/// neighbour that feels the hand through the air gets a tenth of it).
const SHARE_MAX: f64 = 0.5;
/// Warmest that a tip gets in a hand, °C: the body's core is at 37 °C (common practice, no source).
const HAND_MAX_C: f64 = 42.0;
/// A probe may be off by this in water of a known temperature, °C: twice the ±2.5 °C of a
/// thermocouple of class 2 (IEC 60584-1); a wrong type is off by more from 45 °C on.
const WATER_OFF_MAX_C: f64 = 5.0;
/// Coldest and warmest that a probe at rest may show, °C: between a cold store and a tank in service (own choice).
const REST_C: (f64, f64) = (-2.0, 95.0);
/// Readings that a stretch must hold, and that make one mean (own choice: one outlier is no answer).
const READINGS_MIN: usize = 3;
/// Water that somebody may be told to hold a probe in by hand, °C (own choice: above 50 °C a hand scalds within
/// minutes, below 30 °C a probe at the temperature of a kitchen hardly moves).
pub const WATER_C: RangeInclusive<f64> = 30.0..=50.0;

/// What the tip was warmed with.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Warmth {
    /// A dry hand.
    Hand,
    /// A cup of warm water; its temperature where a thermometer tells it.
    Water(Option<Celsius>),
}

impl Warmth {
    /// A cup of water of this temperature; `None` where it is not for hands: it scalds, or warms nothing
    /// ([`WATER_C`]).
    #[must_use]
    pub fn of_water(water: Celsius) -> Option<Self> {
        WATER_C.contains(&water.0).then_some(Self::Water(Some(water)))
    }
}

/// Warmth of a hand's skin, °C (common practice, no source).
const SKIN_C: f64 = 33.0;

impl Warmth {
    /// How warm the tip gets at most, °C: by skin, by the water that was told, else by the warmest that is for hands.
    const fn warmest_c(self) -> f64 {
        match self {
            Self::Hand => SKIN_C,
            Self::Water(Some(water)) => water.0,
            Self::Water(None) => *WATER_C.end(),
        }
    }

    /// Whether a tip that shows this is too warm already for an answer of [`ANSWER_MIN_C`].
    #[must_use]
    pub const fn cannot_warm(self, shown_c: f64) -> bool {
        shown_c + ANSWER_MIN_C > self.warmest_c()
    }
}

/// What was found of a probe.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Finding {
    /// It answered, and no other did.
    Answers,
    /// Another probe of the same machine answered in its place.
    Swapped,
    /// It fell where it should rise.
    Reversed,
    /// It did not move, or has no value.
    Dead,
    /// It moved to where nothing is.
    WrongType,
    /// A probe of another machine answered in its place, or several at once.
    WrongPlace,
    /// Its tip was not at rest before, so that nothing can be said.
    NotAtRest,
    /// Its tip was as warm already as what was to warm it, so that nothing can be said: of a machine that washes others
    /// rise and fall by themselves.
    TooWarm,
    /// It answered, and the time was over before it was seen where it ends: nothing is said of its type.
    StillRising,
}

impl Finding {
    /// Every finding.
    pub const ALL: [Self; 9] = [
        Self::Answers,
        Self::Swapped,
        Self::Reversed,
        Self::Dead,
        Self::WrongType,
        Self::WrongPlace,
        Self::NotAtRest,
        Self::TooWarm,
        Self::StillRising,
    ];

    /// Its word on record.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Answers => "answers",
            Self::Swapped => "swapped",
            Self::Reversed => "reversed",
            Self::Dead => "dead",
            Self::WrongType => "wrong-type",
            Self::WrongPlace => "wrong-place",
            Self::NotAtRest => "not-at-rest",
            Self::TooWarm => "too-warm",
            Self::StillRising => "still-rising",
        }
    }
}

/// What is on record as found, in the words of a reader; a word that is not known stays as it is.
#[must_use]
pub fn finding(on_record: &str, language: Language) -> &str {
    let known = Finding::ALL.into_iter().find(|known| known.as_str() == on_record);
    known.map_or(on_record, |finding| words::word(finding, language))
}

/// What was found, and why.
#[derive(Clone, PartialEq, Debug)]
pub struct Found {
    /// In one word.
    pub finding: Finding,
    /// What was seen.
    pub evidence: Evidence,
    /// The channel that answered instead, or as well.
    pub instead: Option<String>,
}

impl Found {
    /// What was seen of the probe that was asked for, in a sentence without its stop.
    #[must_use]
    pub fn seen(&self, asked: &str, language: Language, scale: Scale) -> String {
        self.evidence.told(asked, self.instead.as_deref(), language, scale)
    }
}

impl Evidence {
    /// In a sentence without its stop: of the probe that was asked for, and the channel that answered instead, or as
    /// well.
    #[must_use]
    pub fn told(&self, asked: &str, instead: Option<&str>, language: Language, scale: Scale) -> String {
        words::seen((asked, instead), self, language, scale)
    }
}

/// What was seen while a probe was warmed, as it stands on record. Temperatures and differences in °C.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Evidence {
    /// It rose, and no other did.
    Rose {
        /// At rest.
        from_c: f64,
        /// Warmest.
        to_c: f64,
        /// Why that cannot be.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        off: Option<Off>,
        /// Channels of which too little was read to say that they did not rise.
        #[serde(skip_serializing_if = "Vec::is_empty", default)]
        unseen: Vec<String>,
    },
    /// It rose alone, and had not come to its end when the time was over.
    StillRose {
        /// At rest.
        from_c: f64,
        /// Warmest so far.
        to_c: f64,
        /// Slope at the end, °C a minute; `None` where too little was read to see it.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        c_per_min: Option<f64>,
    },
    /// It rose, and another with it.
    RoseWith {
        /// By how much.
        rise_c: f64,
        /// And the other.
        other_c: f64,
    },
    /// It did not, and another did.
    OtherRose {
        /// By how much.
        other_c: f64,
        /// Whether it is of the same machine.
        same_machine: bool,
    },
    /// It fell from rest, further than a tip that cools.
    Fell {
        /// At rest.
        from_c: f64,
        /// Lowest.
        to_c: f64,
    },
    /// It fell as a tip that cools.
    Cooled {
        /// Slope at rest, °C a minute.
        c_per_min: f64,
        /// At rest.
        from_c: f64,
        /// Lowest.
        to_c: f64,
    },
    /// It was at rest, and did not rise: what was told could not warm it.
    TooWarm {
        /// At rest.
        at_c: f64,
        /// As warm as it could get.
        warmest_c: f64,
    },
    /// It was not at rest for as long as was waited.
    Moved {
        /// Slope, °C a minute.
        c_per_min: f64,
    },
    /// It stayed where it was.
    Stayed {
        /// At rest.
        at_c: f64,
        /// Highest above it.
        rise_c: f64,
        /// What would have been an answer.
        least_c: f64,
    },
    /// It gave no value.
    NoValue {
        /// Its last fault, where it gave one.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        fault: Option<Fault>,
    },
}

/// Why a rise cannot be.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
#[serde(tag = "against", rename_all = "kebab-case")]
pub enum Off {
    /// No hand is so warm.
    Hand {
        /// The warmest, °C.
        max_c: f64,
    },
    /// The water is not.
    Water {
        /// Its temperature, °C.
        water_c: f64,
    },
    /// No probe at rest shows that.
    Rest,
}

/// A probe that was not at rest for as long as was waited: nothing was warmed.
#[must_use]
pub const fn not_at_rest(c_per_min: f64) -> Found {
    Found { finding: Finding::NotAtRest, evidence: Evidence::Moved { c_per_min }, instead: None }
}

impl Found {
    /// What stays of it once the time is over, where the probe was in water of a known temperature: below the
    /// warmest that a sound one shows there, and not at its end, it may be slow or of the wrong type.
    #[must_use]
    pub fn at_the_end(self, warmth: Warmth, course: &Course) -> Self {
        let (
            Evidence::Rose { from_c, to_c, off: None | Some(Off::Water { .. }), .. },
            Warmth::Water(Some(water)),
        ) = (&self.evidence, warmth)
        else {
            return self;
        };
        if !course.may_rise() || *to_c > water.0 + WATER_OFF_MAX_C {
            return self;
        }
        let (from_c, to_c, c_per_min) = (*from_c, *to_c, course.rises_c_per_min());
        let evidence = Evidence::StillRose { from_c, to_c, c_per_min };
        Self { finding: Finding::StillRising, evidence, instead: None }
    }
}

/// Says which probe answered when `asked` was warmed. A name that is not among the courses is dead.
#[must_use]
pub fn judge<'c>(
    asked: &str,
    warmth: Warmth,
    courses: impl IntoIterator<Item = &'c Course, IntoIter: Clone>,
) -> Found {
    let courses = courses.into_iter();
    let own = courses.clone().find(|course| course.name() == asked);
    let moved = own.and_then(Course::moved);
    let own_rise = moved.filter(|moved| moved.rises()).map(Moved::rise_c);
    let others = courses.filter(|course| course.name() != asked);
    let unseen = others.clone().filter(|course| course.moved().is_none());
    let unseen: Vec<String> = unseen.map(|course| course.name().to_owned()).collect();
    let most = others
        .filter_map(|course| course.moved().map(|moved| (course, moved)))
        .filter(|(_, moved)| moved.rises() && moved.rise_c() > SHARE_MAX * own_rise.unwrap_or(0.0))
        .max_by(|(_, one), (_, other)| one.rise_c().total_cmp(&other.rise_c()));
    match (moved, most) {
        (Some(moved), Some((other, too))) if moved.rises() => Found {
            finding: Finding::WrongPlace,
            evidence: Evidence::RoseWith { rise_c: moved.rise_c(), other_c: too.rise_c() },
            instead: Some(other.name().to_owned()),
        },
        (Some(moved), None) if moved.rises() => alone(warmth, moved, unseen),
        (Some(moved), _) if warmth.cannot_warm(moved.rest_c) => {
            let evidence = Evidence::TooWarm { at_c: moved.rest_c, warmest_c: warmth.warmest_c() };
            Found { finding: Finding::TooWarm, evidence, instead: None }
        }
        (_, Some((other, too))) => another(asked, other, too),
        (Some(moved), None) if moved.falls() => fell(moved),
        // It may have moved while nobody heard it.
        (Some(_), None) if own.is_some_and(Course::was_silent) => without_value(Some(Fault::Silent)),
        (Some(moved), None) => {
            let (at_c, rise_c, least_c) = (moved.rest_c, moved.rise_c(), moved.least_c);
            let evidence = Evidence::Stayed { at_c, rise_c, least_c };
            Found { finding: Finding::Dead, evidence, instead: None }
        }
        (None, None) => without_value(own.and_then(Course::fault)),
    }
}

/// The right one answered; is it where warm things are?
fn alone(warmth: Warmth, moved: Moved, unseen: Vec<String>) -> Found {
    let (from_c, to_c) = (moved.rest_c, moved.high_c);
    let off = match warmth {
        Warmth::Hand if to_c > HAND_MAX_C => Some(Off::Hand { max_c: HAND_MAX_C }),
        Warmth::Water(Some(water)) if (to_c - water.0).abs() > WATER_OFF_MAX_C => {
            Some(Off::Water { water_c: water.0 })
        }
        Warmth::Hand | Warmth::Water(_) if !(REST_C.0..=REST_C.1).contains(&from_c) => Some(Off::Rest),
        Warmth::Hand | Warmth::Water(_) => None,
    };
    let finding = if off.is_some() { Finding::WrongType } else { Finding::Answers };
    Found { finding, evidence: Evidence::Rose { from_c, to_c, off, unseen }, instead: None }
}

fn another(asked: &str, other: &Course, too: Moved) -> Found {
    let machine = |name: &str| name.rsplit_once('/').map(|(machine, _)| machine.to_owned());
    let same_machine = machine(asked) == machine(other.name());
    let finding = if same_machine { Finding::Swapped } else { Finding::WrongPlace };
    let evidence = Evidence::OtherRose { other_c: too.rise_c(), same_machine };
    Found { finding, evidence, instead: Some(other.name().to_owned()) }
}

fn fell(moved: Moved) -> Found {
    let (from_c, to_c, c_per_min) = (moved.rest_c, moved.low_c, moved.c_per_min);
    let (finding, evidence) = if moved.falls_from_rest() {
        (Finding::Reversed, Evidence::Fell { from_c, to_c })
    } else {
        (Finding::NotAtRest, Evidence::Cooled { c_per_min, from_c, to_c })
    };
    Found { finding, evidence, instead: None }
}

fn without_value(fault: Option<Fault>) -> Found {
    let finding = match fault {
        Some(Fault::Reversed) => Finding::Reversed,
        Some(Fault::OutOfRange) => Finding::WrongType,
        Some(
            Fault::OpenCircuit
            | Fault::Short
            | Fault::NoColdJunction
            | Fault::Stuck
            | Fault::Silent
            | Fault::Reported,
        )
        | None => Finding::Dead,
    };
    Found { finding, evidence: Evidence::NoValue { fault }, instead: None }
}
