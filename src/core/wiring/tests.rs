use super::*;
use crate::core::cycle::fixture::at;

type Readings = Vec<Result<Celsius, Fault>>;

fn steady(celsius: f64) -> Readings {
    (0..24).map(|i| Ok(Celsius(celsius + if i % 2 == 0 { 0.05 } else { -0.05 }))).collect()
}

/// A tip that cools to 22 °C from a hand at 33 °C, with a time constant of 15 s, from this second on.
fn cooling(from_s: f64) -> Readings {
    (0..24).map(|i| Ok(Celsius(22.0 + 11.0 * (-(from_s + 0.25 * f64::from(i)) / 15.0).exp()))).collect()
}

fn ramp(from: f64, to: f64) -> Readings {
    (0..24).map(|i| Ok(Celsius(from + (to - from) * f64::from(i) / 23.0))).collect()
}

/// Readings four times a second: the first stretch at rest, the second while it was warmed.
fn course(name: &str, rest: Readings, warmed: Readings) -> Course {
    let mut course = Course::new(name);
    let begun = rest.len();
    for (place, reading) in rest.into_iter().enumerate() {
        course.rests(at(0.25 * place as f64), reading);
    }
    for (place, reading) in warmed.into_iter().enumerate() {
        course.warms(at(0.25 * (begun + place) as f64), reading);
    }
    course
}

/// What is said of it in English.
fn seen(asked: &str, found: &Found) -> String {
    found.seen(asked, Language::English, Scale::Celsius)
}

fn fault(fault: Fault) -> Readings {
    vec![Err(fault); 24]
}

fn noisy(celsius: f64) -> Readings {
    (0..24).map(|i| Ok(Celsius(celsius + if i % 2 == 0 { 1.0 } else { -1.0 }))).collect()
}

// The limits are this program's own; a reversed thermocouple falls below its terminals as fast
// as the tip rises above them (IEC 60584-1: emf(a,b) = −emf(b,a)).
#[test]
fn each_mistake_of_the_wiring_has_its_finding() {
    use Finding::{Answers, Dead, NotAtRest, Reversed, Swapped, TooWarm, WrongPlace, WrongType};
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
        ("a fall from 38 °C", water, (steady(38.0), ramp(38.0, 30.0)), still(), still(), Reversed, None),
        // A hand at 33 °C takes warmth from it.
        ("a fall from 45 °C", hand, (steady(45.0), ramp(45.0, 37.0)), still(), still(), TooWarm, None),
        ("a warm tip", hand, (cooling(0.0), cooling(6.0)), still(), still(), NotAtRest, None),
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
        assert_eq!((found.finding, found.instead.as_deref()), (expected, instead), "{name}: {found:?}");
        assert!(seen("dm1/wash", &found).starts_with("dm1/wash"), "{name}: {found:?}");
        for (language, scale) in [(Language::Spanish, Scale::Celsius), (Language::English, Scale::Fahrenheit)]
        {
            let said = found.seen("dm1/wash", language, scale);
            assert!(said.contains("dm1/wash"), "{name}: {said}");
        }
    }
    assert_eq!(judge("dm9/wash", hand, &[]).finding, Dead);
}

// Own promise: of what was not heard for a while nobody says that it stayed where it was; a fault of its own is one all
// the same.
#[test]
fn silence_at_any_time_is_told_as_silence() {
    let silent_then = |readings: Readings| [fault(Fault::Silent), readings].concat();
    for (name, rest, warmed, expected) in [
        ("at rest", fault(Fault::Silent), steady(22.0), Fault::Silent),
        ("at rest, at first", silent_then(steady(22.0)), steady(22.0), Fault::Silent),
        ("while warmed", steady(22.0), silent_then(steady(22.0)), Fault::Silent),
        ("a wire that is off", silent_then(steady(22.0)), fault(Fault::OpenCircuit), Fault::OpenCircuit),
    ] {
        let found = judge("dm1/wash", Warmth::Hand, &[course("dm1/wash", rest, warmed)]);
        let evidence = Evidence::NoValue { fault: Some(expected) };
        assert_eq!((found.finding, found.evidence), (Finding::Dead, evidence), "{name}");
    }
}

#[test]
fn what_was_not_read_is_not_said_to_have_stayed() {
    let silent = |name: &str| course(name, vec![], vec![]);
    let mut courses = vec![course("dm1/wash", steady(22.0), ramp(22.0, 31.0))];
    let said = |courses: &[Course]| {
        let seen = seen("dm1/wash", &judge("dm1/wash", Warmth::Hand, courses));
        seen.split_once("and no other did").expect("it answers").1.to_owned()
    };
    assert_eq!(said(&courses), "");
    courses.push(silent("dm2/wash"));
    assert_eq!(said(&courses), ", as far as they were read: dm2/wash gave too little to see it by");
    courses.extend(["dm3/wash", "dm4/wash", "dm5/wash", "dm6/wash"].map(silent));
    assert!(said(&courses).contains("dm2/wash, dm3/wash, dm4/wash and 2 more gave"), "{}", said(&courses));
}

// The limits are this program's own: 5 s and eight readings, 0.2 °C over them, or three standard deviations of noise.
#[test]
fn a_probe_is_at_rest_once_it_stays_where_it_is() {
    let standing = |hertz: f64, seconds: f64, celsius: &dyn Fn(f64) -> f64| {
        let mut course = Course::new("dm1/wash");
        for t in (0..).map(|i| f64::from(i) / hertz).take_while(|t| *t <= seconds) {
            course.rests(at(t), Ok(Celsius(celsius(t))));
        }
        course.standing()
    };
    let noise = |t: f64| 0.1 * (t * 37.0).sin();
    let cools = |t: f64| 22.0 + 11.0 * (-t / 60.0).exp() + noise(t);
    assert_eq!(standing(4.0, 4.0, &|_| 22.0), Standing::TooFew);
    assert_eq!(standing(4.0, 6.0, &|t| 22.0 + noise(t)), Standing::AtRest);
    assert_eq!(standing(4.0, 6.0, &|t| 22.0 + 20.0 * noise(t)), Standing::AtRest, "noise is no movement");
    assert_eq!(standing(0.2, 30.0, &|_| 22.0), Standing::TooFew, "seven readings");
    assert_eq!(standing(0.2, 35.0, &|_| 22.0), Standing::AtRest);
    let Standing::Moving { c_per_min } = standing(4.0, 6.0, &cools) else { panic!("it cools") };
    assert!((-12.0..-8.0).contains(&c_per_min), "{c_per_min}");
    assert_eq!(standing(4.0, 300.0, &cools), Standing::AtRest, "it has cooled");
    let mut broken = Course::new("dm1/wash");
    (0..30).for_each(|i| broken.rests(at(0.25 * f64::from(i)), Err(Fault::OpenCircuit)));
    assert_eq!(broken.standing(), Standing::AtRest, "no waiting mends a wire");
}

// A course holds what it is judged by, however long it lasts: 100 Hz for an hour.
#[test]
fn a_long_course_takes_no_more_room() {
    let mut course = Course::new("dm1/wash");
    let times = || (0..360_000).map(|i| f64::from(i) / 100.0);
    times().for_each(|t| course.rests(at(t), Ok(Celsius(22.0))));
    times().for_each(|t| course.warms(at(3_600.0 + t), Ok(Celsius(if t < 1.0 { 31.0 } else { 22.0 }))));
    let held = format!("{course:?}").len();
    assert!(held < 100_000, "{held} characters of its Debug form");
    assert_eq!(judge("dm1/wash", Warmth::Hand, [&course]).finding, Finding::Answers, "the peak is kept");
}

// Regression: in the tank of a machine that washed, a probe that was to be warmed in water for hands was «swapped» with that
// of the final rinse, which rose by itself, and «reversed» where its tank was filled. One that is too warm at rest and rises all
// the same is told as what it is.
#[test]
fn nothing_is_said_of_a_probe_that_nothing_could_warm() {
    let water = Warmth::Water(Some(Celsius(40.5)));
    let rinse = || course("dm1/rinse", steady(52.0), vec![Ok(Celsius(60.8)); 24]);
    for (own, found) in [
        (course("dm1/wash", steady(68.0), steady(68.2)), Finding::TooWarm),
        (course("dm1/wash", steady(68.0), steady(60.0)), Finding::TooWarm),
        (course("dm1/wash", steady(22.0), steady(22.1)), Finding::Swapped),
        (course("dm1/wash", steady(68.0), vec![Ok(Celsius(88.0)); 24]), Finding::WrongType),
    ] {
        assert_eq!(judge("dm1/wash", water, &[own, rinse()]).finding, found);
    }
    let alone = [course("dm1/wash", steady(68.0), vec![Ok(Celsius(88.0)); 24])];
    assert_eq!(judge("dm1/wash", water, &alone).finding, Finding::WrongType);
}

// Own words: one for each finding, and none that is told in the words of a program.
#[test]
fn every_finding_has_its_words_in_both_languages() {
    for known in Finding::ALL {
        let [english, spanish] =
            [Language::English, Language::Spanish].map(|one| finding(known.as_str(), one));
        assert_ne!(english, spanish);
        assert!(!english.contains('-') && !spanish.contains('-'), "{english}, {spanish}");
    }
    assert_eq!(finding("still-rising", Language::Spanish), "aún subía al final");
    assert_eq!(finding("of a later version", Language::Spanish), "of a later version");
}

// 22 °C is 71.6 °F and 31 °C is 87.8 °F (NIST SP 811, B.8: × 1.8 + 32).
#[test]
fn what_is_on_record_is_told_to_each_reader_in_their_own_words() {
    let courses = [
        course("dm1/wash", vec![Ok(Celsius(22.0)); 24], vec![Ok(Celsius(31.0)); 24]),
        course("dm1/rinse", steady(22.0), steady(22.0)),
    ];
    let evidence = judge("dm1/wash", Warmth::Hand, &courses).evidence;
    let kept = serde_json::to_string(&evidence).expect("plain values");
    let read: Evidence = serde_json::from_str(&kept).expect("as it was written");
    assert_eq!(read, evidence, "{kept}");
    for (language, scale, expected) in [
        (Language::English, Scale::Fahrenheit, "dm1/wash rose from 71.6 to 87.8 °F, and no other did"),
        (Language::Spanish, Scale::Celsius, "dm1/wash subió de 22.0 a 31.0 °C, y ninguna otra"),
    ] {
        assert_eq!(read.told("dm1/wash", None, language, scale), expected);
    }
}

// Own choice of bounds; 86 °F and 122 °F are 30 °C and 50 °C (NIST SP 811, B.8).
#[test]
fn water_that_scalds_or_shows_nothing_is_for_no_hand() {
    for (celsius, may) in [
        (10.0, false),
        (29.9, false),
        (30.0, true),
        (45.0, true),
        (50.0, true),
        (50.1, false),
        (90.0, false),
        (f64::NAN, false),
    ] {
        assert_eq!(Warmth::of_water(Celsius(celsius)).is_some(), may, "{celsius}");
    }
    let fahrenheit = |value| Warmth::of_water(Celsius::from_fahrenheit(value));
    assert!(fahrenheit(86.0).is_some() && fahrenheit(122.0).is_some() && fahrenheit(300.0).is_none());
    for language in [Language::English, Language::Spanish] {
        for bound in [*WATER_C.start(), *WATER_C.end()] {
            let said = water_for_hands(language);
            assert!(
                said.contains(&format!("{bound}"))
                    && said.contains(&format!("{}", Celsius(bound).fahrenheit()))
            );
        }
    }
}
