//! Which probe answered when one was warmed: the proof that each is wired as it is configured.
//!
//! Each temperature channel of the site is looked at over two stretches: at rest, and while the
//! tip of one probe is held in a dry hand or in a cup of warm water. The probe that was meant must
//! rise, and no other as much. Limits are this program's own; the sources of what they stand on
//! are beside them. Nothing here is a measurement: a proof says which wire is which, a calibration
//! how true it reads.

use super::reading::Fault;
use super::units::Celsius;

/// Least rise or fall that counts as an answer, °C. Skin is at about 33 °C (common practice, no
/// source), a warm kitchen at 30 °C at most, so that a hand warms a tip by 3 K or more.
pub const ANSWER_MIN_C: f64 = 2.0;
/// And so many standard deviations of the readings at rest.
const ANSWER_SIGMAS: f64 = 6.0;
/// Another probe that moves by more than this share of the one that was warmed is warmed with it.
const SHARE_MAX: f64 = 0.5;
/// Warmest that a tip gets in a hand, °C: the body's core is at 37 °C (common practice, no source).
const HAND_MAX_C: f64 = 42.0;
/// A probe may be off by this in water of a known temperature, °C: twice the ±2.5 °C of a
/// thermocouple of class 2 (IEC 60584-1); a wrong type is off by more from 45 °C on.
const WATER_OFF_MAX_C: f64 = 5.0;
/// Coldest and warmest that a probe at rest may show, °C: between a cold store and a tank in service.
const REST_C: (f64, f64) = (-2.0, 95.0);
/// Readings that a stretch must hold.
const READINGS_MIN: usize = 3;

/// What the tip was warmed with.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Warmth {
    /// A dry hand.
    Hand,
    /// A cup of warm water; its temperature where a thermometer tells it.
    Water(Option<Celsius>),
}

/// One channel while a probe was warmed: temperature before calibration, or fault.
#[derive(Clone, PartialEq, Debug)]
pub struct Course {
    /// Name of the channel, `<machine>/<probe>`.
    pub name: String,
    /// At rest.
    pub rest: Vec<Result<Celsius, Fault>>,
    /// While it was warmed.
    pub warmed: Vec<Result<Celsius, Fault>>,
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
}

impl Finding {
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
        }
    }
}

/// What was found, and why.
#[derive(Clone, PartialEq, Debug)]
pub struct Found {
    /// In one word.
    pub finding: Finding,
    /// What was seen, in a sentence.
    pub seen: String,
    /// The channel that answered instead, or as well.
    pub instead: Option<String>,
}

/// How one channel moved.
#[derive(Clone, Copy, Debug)]
struct Moved {
    rest_c: f64,
    high_c: f64,
    low_c: f64,
    /// Least rise or fall that is an answer.
    least_c: f64,
}

impl Moved {
    /// `None` where a stretch holds too few values.
    fn of(course: &Course) -> Option<Self> {
        let values = |readings: &[Result<Celsius, Fault>]| -> Vec<f64> {
            readings.iter().filter_map(|reading| reading.ok().map(|celsius| celsius.0)).collect()
        };
        let (rest, warmed) = (values(&course.rest), values(&course.warmed));
        if rest.len() < READINGS_MIN || warmed.len() < READINGS_MIN {
            return None;
        }
        let count = rest.len() as f64;
        let rest_c = rest.iter().sum::<f64>() / count;
        let square: f64 = rest.iter().map(|value| (value - rest_c).powi(2)).sum();
        let sigma_c = (square / (count - 1.0)).sqrt();
        // Three in a row: one outlier is no answer.
        let means =
            || warmed.windows(READINGS_MIN).map(|three| three.iter().sum::<f64>() / three.len() as f64);
        let (high_c, low_c) = (means().fold(f64::MIN, f64::max), means().fold(f64::MAX, f64::min));
        Some(Self { rest_c, high_c, low_c, least_c: ANSWER_MIN_C.max(ANSWER_SIGMAS * sigma_c) })
    }

    fn rise_c(self) -> f64 {
        self.high_c - self.rest_c
    }

    fn rises(self) -> bool {
        self.rise_c() >= self.least_c
    }

    fn falls(self) -> bool {
        self.rest_c - self.low_c >= self.least_c && !self.rises()
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
    let own = courses.clone().find(|course| course.name == asked);
    let moved = own.and_then(Moved::of);
    let own_rise = moved.filter(|moved| moved.rises()).map(Moved::rise_c);
    let others = courses.filter(|course| course.name != asked);
    let unseen = others.clone().filter(|course| Moved::of(course).is_none());
    let unseen: Vec<&str> = unseen.map(|course| course.name.as_str()).collect();
    let most = others
        .filter_map(|course| Moved::of(course).map(|moved| (course, moved)))
        .filter(|(_, moved)| moved.rises() && moved.rise_c() > SHARE_MAX * own_rise.unwrap_or(0.0))
        .max_by(|(_, one), (_, other)| one.rise_c().total_cmp(&other.rise_c()));
    match (moved, most) {
        (Some(moved), Some((other, too))) if moved.rises() => both(asked, moved, other, too),
        (Some(moved), None) if moved.rises() => alone(asked, warmth, moved, &unseen),
        (_, Some((other, too))) => another(asked, other, too),
        (Some(moved), None) if moved.falls() => Found {
            finding: Finding::Reversed,
            seen: format!(
                "{asked} fell from {:.1} to {:.1} °C while it was warmed: its leads are exchanged",
                moved.rest_c, moved.low_c
            ),
            instead: None,
        },
        (Some(moved), None) => still(asked, moved),
        (None, None) => without_value(asked, own),
    }
}

fn both(asked: &str, moved: Moved, other: &Course, too: Moved) -> Found {
    let seen = format!(
        "{asked} rose by {:.1} °C, and {} by {:.1} °C with it: both tips were warmed, or they sit together",
        moved.rise_c(),
        other.name,
        too.rise_c()
    );
    Found { finding: Finding::WrongPlace, seen, instead: Some(other.name.clone()) }
}

/// The right one answered; is it where warm things are?
fn alone(asked: &str, warmth: Warmth, moved: Moved, unseen: &[&str]) -> Found {
    let (from, to) = (moved.rest_c, moved.high_c);
    let off = match warmth {
        Warmth::Hand if to > HAND_MAX_C => Some(format!("no hand is warmer than {HAND_MAX_C:.0} °C")),
        Warmth::Water(Some(water)) if (to - water.0).abs() > WATER_OFF_MAX_C => {
            Some(format!("the water is at {:.1} °C", water.0))
        }
        Warmth::Hand | Warmth::Water(_) if !(REST_C.0..=REST_C.1).contains(&from) => {
            Some(format!("no probe at rest is at {from:.1} °C"))
        }
        Warmth::Hand | Warmth::Water(_) => None,
    };
    let rose = format!("{asked} rose from {from:.1} to {to:.1} °C");
    match off {
        Some(why) => Found {
            finding: Finding::WrongType,
            seen: format!("{rose}, but {why}: look at the type of the probe, its unit and its scale"),
            instead: None,
        },
        None => {
            let seen = format!("{rose}, and no other did{}", but(unseen));
            Found { finding: Finding::Answers, seen, instead: None }
        }
    }
}

/// Most channels without a value that are named.
const NAMED_MAX: usize = 3;

/// Of which channels nobody can say that they did not rise.
fn but(unseen: &[&str]) -> String {
    let named = unseen[..unseen.len().min(NAMED_MAX)].join(", ");
    match unseen.len() {
        0 => String::new(),
        1..=NAMED_MAX => format!(", as far as they were read: {named} gave too little to see it by"),
        count => format!(
            ", as far as they were read: {named} and {} more gave too little to see it by",
            count - NAMED_MAX
        ),
    }
}

fn another(asked: &str, other: &Course, too: Moved) -> Found {
    let machine = |name: &str| name.rsplit_once('/').map(|(machine, _)| machine.to_owned());
    let same = machine(asked) == machine(&other.name);
    let (finding, why) = if same {
        (Finding::Swapped, "the two are exchanged at the terminals or in the configuration")
    } else {
        (Finding::WrongPlace, "it is wired or configured as a probe of another machine")
    };
    let rise_c = too.rise_c();
    let seen = format!("{asked} was warmed, and {} rose by {rise_c:.1} °C in its place: {why}", other.name);
    Found { finding, seen, instead: Some(other.name.clone()) }
}

fn still(asked: &str, moved: Moved) -> Found {
    let seen = format!(
        "{asked} stayed at {:.1} °C ({:+.1} °C; {:.1} °C are needed), and no other rose: it was not its tip \
         that was warmed, or it is not connected",
        moved.rest_c,
        moved.rise_c(),
        moved.least_c
    );
    Found { finding: Finding::Dead, seen, instead: None }
}

fn without_value(asked: &str, own: Option<&Course>) -> Found {
    let mut faults = own.iter().flat_map(|course| &course.warmed).filter_map(|reading| reading.err());
    let (finding, why) = match faults.next_back() {
        Some(Fault::Reversed) => (Finding::Reversed, "reads far below the room: its leads are exchanged"),
        Some(Fault::OutOfRange) => {
            (Finding::WrongType, "reads what no water can be: look at its type, its unit and its scale")
        }
        Some(Fault::OpenCircuit) => (Finding::Dead, "has a broken wire, or a lead that came off"),
        Some(Fault::Short) => (Finding::Dead, "has leads that touch before the tip"),
        Some(Fault::NoColdJunction) => (Finding::Dead, "has terminals that give no temperature"),
        Some(Fault::Stuck | Fault::Silent | Fault::Reported) => (Finding::Dead, "is told to be at fault"),
        None => (Finding::Dead, "sent too little to judge by"),
    };
    Found { finding, seen: format!("{asked} {why}, and no other rose"), instead: None }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Readings = Vec<Result<Celsius, Fault>>;

    fn steady(celsius: f64) -> Readings {
        (0..20).map(|i| Ok(Celsius(celsius + if i % 2 == 0 { 0.05 } else { -0.05 }))).collect()
    }

    fn ramp(from: f64, to: f64) -> Readings {
        (0..20).map(|i| Ok(Celsius(from + (to - from) * f64::from(i) / 19.0))).collect()
    }

    fn course(name: &str, rest: Readings, warmed: Readings) -> Course {
        Course { name: name.to_owned(), rest, warmed }
    }

    fn fault(fault: Fault) -> Readings {
        vec![Err(fault); 20]
    }

    fn noisy(celsius: f64) -> Readings {
        (0..20).map(|i| Ok(Celsius(celsius + if i % 2 == 0 { 1.0 } else { -1.0 }))).collect()
    }

    // The limits are this program's own; a reversed thermocouple falls below its terminals as fast
    // as the tip rises above them (IEC 60584-1: emf(a,b) = −emf(b,a)).
    #[test]
    fn each_mistake_of_the_wiring_has_its_finding() {
        use Finding::{Answers, Dead, Reversed, Swapped, WrongPlace, WrongType};
        let (hand, water) = (Warmth::Hand, Warmth::Water(Some(Celsius(45.0))));
        let still = || (steady(22.0), steady(22.0));
        let to = |celsius| (steady(22.0), ramp(22.0, celsius));
        let at_fault = |found| (fault(found), fault(found));
        let mut outlier = steady(22.0);
        outlier[9] = Ok(Celsius(27.0));
        let out_of_range_while_warm = (steady(22.0), fault(Fault::Reversed));
        for (name, warmth, wash, rinse, other, expected, instead) in [
            ("the right one", hand, to(31.0), still(), still(), Answers, None),
            ("another is a little warmed", hand, to(31.0), to(25.5), still(), Answers, None),
            ("the other of the machine", hand, still(), to(31.0), still(), Swapped, Some("dm1/rinse")),
            ("that of another machine", hand, still(), still(), to(31.0), WrongPlace, Some("dm2/rinse")),
            ("two at once", hand, to(31.0), to(30.0), still(), WrongPlace, Some("dm1/rinse")),
            ("a fall", hand, to(13.0), still(), still(), Reversed, None),
            ("below the range", hand, out_of_range_while_warm, still(), still(), Reversed, None),
            ("nothing moves", hand, still(), still(), still(), Dead, None),
            ("an outlier", hand, (steady(22.0), outlier), still(), still(), Dead, None),
            ("inside the noise", hand, (noisy(22.0), ramp(22.0, 25.0)), still(), still(), Dead, None),
            ("no wire", hand, at_fault(Fault::OpenCircuit), still(), still(), Dead, None),
            ("silence", hand, (vec![], vec![]), still(), still(), Dead, None),
            ("a hand of 60 °C", hand, to(60.0), still(), still(), WrongType, None),
            ("out of range", hand, at_fault(Fault::OutOfRange), still(), still(), WrongType, None),
            ("water by its thermometer", water, to(44.0), still(), still(), Answers, None),
            ("water, wrong type", water, to(38.0), still(), still(), WrongType, None),
        ] {
            let courses = [
                course("dm1/wash", wash.0, wash.1),
                course("dm1/rinse", rinse.0, rinse.1),
                course("dm2/rinse", other.0, other.1),
            ];
            let found = judge("dm1/wash", warmth, &courses);
            assert_eq!(
                (found.finding, found.instead.as_deref()),
                (expected, instead),
                "{name}: {}",
                found.seen
            );
            assert!(found.seen.starts_with("dm1/wash"), "{name}: {}", found.seen);
        }
        assert_eq!(judge("dm9/wash", hand, &[]).finding, Dead);
    }

    #[test]
    fn what_was_not_read_is_not_said_to_have_stayed() {
        let silent = |name: &str| course(name, vec![], vec![]);
        let mut courses = vec![course("dm1/wash", steady(22.0), ramp(22.0, 31.0))];
        let said = |courses: &[Course]| {
            let seen = judge("dm1/wash", Warmth::Hand, courses).seen;
            seen.split_once("and no other did").expect("it answers").1.to_owned()
        };
        assert_eq!(said(&courses), "");
        courses.push(silent("dm2/wash"));
        assert_eq!(said(&courses), ", as far as they were read: dm2/wash gave too little to see it by");
        courses.extend(["dm3/wash", "dm4/wash", "dm5/wash", "dm6/wash"].map(silent));
        assert!(
            said(&courses).contains("dm2/wash, dm3/wash, dm4/wash and 2 more gave"),
            "{}",
            said(&courses)
        );
    }
}
