use super::scene::{Anchor, Ink, Mark, scene};
use super::svg::FACE;
use super::words::WORDS;
use super::{Plot, Shape, Size, cycle, day};
use crate::core::cycle::verdict::{Reason, Verdict};
use crate::core::effect::{Trace, TraceReading};
use crate::core::reader::{Language, Reader, Scale};
use crate::core::record::{Basis, Cycle};
use crate::core::time::Timestamp;
use crate::core::units::Celsius;
use crate::report::row::samples;
use jiff::tz::TimeZone;
use std::path::PathBuf;
use std::time::Duration;

fn reader(language: Language, scale: Scale) -> Reader {
    Reader { language, scale, zone: TimeZone::get("America/New_York").expect("the zone data is built in") }
}

/// 4 Hz readings of a line that leaves 55 °C for `plateau` at 45 s with a time constant of 2 s,
/// and of a wash tank at 67 °C. Made up; only its shape matters.
fn trace(cycle: &Cycle, plateau: f64) -> Trace {
    let reading = |quarter: u32, celsius: f64| TraceReading {
        at: cycle.started.plus(Duration::from_millis(u64::from(quarter) * 250)),
        celsius: Celsius((celsius * 16.0).round() / 16.0),
    };
    let rinse = |quarter: u32| {
        let second = f64::from(quarter) / 4.0;
        let ripple = (second * 1.7).sin() * 0.3;
        match second {
            ..45.0 => 55.0 + ripple,
            45.0..57.0 => plateau - (plateau - 55.0) * (-(second - 45.0) / 2.0).exp() + ripple,
            _ => 60.0 + (plateau - 60.0) * (-(second - 57.0) / 20.0).exp(),
        }
    };
    Trace {
        rinse: (0..260).map(|quarter| reading(quarter, rinse(quarter))).collect(),
        wash: (0..180)
            .map(|quarter| reading(quarter, 67.3 + (f64::from(quarter) / 30.0).sin() * 0.6))
            .collect(),
    }
}

fn cold_cycle() -> Plot {
    let mut cold = samples::cycle(0, Verdict::Cold, 71.31, Vec::new());
    cold.reasons = vec![Reason::RinseBelowLimit { measured_c: 71.31, limit_c: 82.222 }];
    let trace = trace(&cold, 72.0);
    cycle::plot("Dish machine 1", &cold, &trace, &reader(Language::English, Scale::Fahrenheit))
}

/// The same rack in Spanish, judged by its corrected minimum: the longest words there are.
fn cold_cycle_in_spanish() -> Plot {
    let mut cold = samples::cycle(0, Verdict::Cold, 75.06, Vec::new());
    cold.reasons = vec![Reason::RinseBelowLimit { measured_c: 75.06, limit_c: 82.222 }];
    cold.basis = Basis::LagCorrected;
    let trace = trace(&cold, 76.0);
    cycle::plot("Lavavajillas 1", &cold, &trace, &reader(Language::Spanish, Scale::Fahrenheit))
}

fn a_day(language: Language, scale: Scale) -> Plot {
    let from: Timestamp = "2023-11-14T05:00:00Z".parse().expect("midnight in New York");
    let to = from.plus(Duration::from_secs(86_400));
    let start = from.plus(Duration::from_secs(7 * 3600));
    let shift = start.since(samples::cycle(0, Verdict::Pass, 85.0, Vec::new()).started).as_secs();
    assert_eq!(shift, 0, "the sample lies later in the day");
    let cycles: Vec<Cycle> = (0..86_u32)
        .map(|number| {
            let swing = (f64::from(number) * 0.9).sin();
            let (verdict, minimum) = match number {
                40..46 => (Verdict::Cold, 80.0 - f64::from(number - 40) * 2.1),
                50 => (Verdict::Unproven, 83.0),
                60 | 61 => (Verdict::Narrow, 82.7),
                70 => (Verdict::Brief, 84.0),
                _ => (Verdict::Pass, 85.0 + swing),
            };
            let mut cycle = samples::cycle(0, verdict, minimum, Vec::new());
            let begin = start.plus(Duration::from_secs(u64::from(number) * 560));
            cycle.rinse_started = begin.plus(Duration::from_secs(45));
            cycle.started = begin;
            if verdict == Verdict::Unproven {
                cycle.rinse_min_c = None;
            }
            cycle
        })
        .collect();
    let cycles: Vec<&Cycle> = cycles.iter().collect();
    let hour = |hour: u64| from.plus(Duration::from_secs(hour * 3600));
    let day = day::Day {
        machine: "Lavavajillas <1>",
        from,
        to,
        cycles: &cycles,
        in_doubt: &[],
        gaps: &[(hour(2), hour(4))],
    };
    day::plot(day, &reader(language, scale))
}

/// Labels of the marks of a day in New York with racks and gaps at these minutes.
fn marks(racks: &[u64], gaps: &[(u64, u64)]) -> String {
    let from: Timestamp = "2023-11-14T05:00:00Z".parse().expect("midnight in New York");
    let at = |minute: u64| from.plus(Duration::from_secs(minute * 60));
    let rack = |minute: &u64| {
        let mut cycle = samples::cycle(0, Verdict::Pass, 85.0, Vec::new());
        cycle.rinse_started = at(*minute);
        cycle
    };
    let cycles: Vec<Cycle> = racks.iter().map(rack).collect();
    let cycles: Vec<&Cycle> = cycles.iter().collect();
    let gaps: Vec<(Timestamp, Timestamp)> = gaps.iter().map(|(from, to)| (at(*from), at(*to))).collect();
    let day = day::Day { machine: "Bar", from, to: at(24 * 60), cycles: &cycles, in_doubt: &[], gaps: &gaps };
    let plot = day::plot(day, &reader(Language::English, Scale::Celsius));
    assert!(plot.points.iter().all(|point| (plot.x.from..=plot.x.to).contains(&point.x)), "{racks:?}");
    let labels: Vec<String> = plot.x.ticks.into_iter().map(|tick| tick.label).collect();
    labels.join(" ")
}

// Worked by hand: whole hours around what happened, at least three of them.
#[test]
fn a_day_is_drawn_as_close_as_its_racks() {
    for (racks, gaps, expected) in [
        (&[730_u64, 860] as &[u64], &[] as &[(u64, u64)], "12:00 13:00 14:00 15:00"),
        (&[12 * 60], &[], "12:00 13:00 14:00 15:00"),
        (&[23 * 60 + 50], &[], "21:00 22:00 23:00 00:00"),
        (&[0], &[], "00:00 01:00 02:00 03:00"),
        (&[9 * 60], &[(600, 17 * 60 + 30)], "10:00 12:00 14:00 16:00 18:00"),
        (&[], &[(600, 700)], "00:00 03:00 06:00 09:00 12:00 15:00 18:00 21:00 00:00"),
    ] {
        assert_eq!(marks(racks, gaps), expected, "{racks:?} {gaps:?}");
    }
}

/// The week in which the clock goes back, 169 hours; a limit that was raised on its fourth day.
fn a_week() -> Plot {
    let from: Timestamp = "2026-10-26T04:00:00Z".parse().expect("midnight in New York");
    let to = from.plus(Duration::from_secs(169 * 3600));
    let cycles: Vec<Cycle> = (0..140_u64)
        .map(|number| {
            let minimum = 85.5 - 0.017 * number as f64;
            let late = number > 60;
            let verdict = if late && minimum < 83.9 { Verdict::Narrow } else { Verdict::Pass };
            let mut cycle = samples::cycle(0, verdict, minimum, Vec::new());
            cycle.rinse_started =
                from.plus(Duration::from_secs((number / 20) * 86_400 + 32_400 + number % 20 * 1800));
            cycle.limit_c = if late { 83.0 } else { 82.222 };
            cycle
        })
        .collect();
    let cycles: Vec<&Cycle> = cycles.iter().collect();
    let day = day::Day { machine: "Dish machine 1", from, to, cycles: &cycles, in_doubt: &[], gaps: &[] };
    day::plot(day, &reader(Language::English, Scale::Celsius))
}

fn empty_day() -> Plot {
    let from: Timestamp = "2026-11-01T04:00:00Z".parse().expect("midnight in New York");
    let to = from.plus(Duration::from_secs(25 * 3600));
    let day = day::Day { machine: "Bar", from, to, cycles: &[], in_doubt: &[], gaps: &[] };
    day::plot(day, &reader(Language::English, Scale::Celsius))
}

fn golden(name: &str, found: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/golden/plot").join(name);
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("the folder can be made");
        std::fs::write(&path, found).expect("the golden file is writable");
    }
    let kept = std::fs::read_to_string(&path).expect("a golden file; UPDATE_GOLDEN=1 writes it");
    assert_eq!(found, kept, "{name}; UPDATE_GOLDEN=1 rewrites it");
}

#[test]
fn svg_is_as_agreed() {
    golden("cycle-cold-en.svg", &cold_cycle().svg(Size { width: 720, height: 360 }));
    golden("cycle-cold-es-phone.svg", &cold_cycle_in_spanish().svg(Size::PHONE));
    golden("day-es.svg", &a_day(Language::Spanish, Scale::Celsius).svg(Size { width: 720, height: 360 }));
    golden("week-en.svg", &a_week().svg(Size { width: 720, height: 360 }));
    golden("day-empty.svg", &empty_day().svg(Size { width: 720, height: 360 }));
}

/// The header of PNG (ISO/IEC 15948, 5.2 and 11.2.2), and pictures that no mail program refuses for their size.
#[test]
fn png_has_its_header_and_stays_small() {
    let folder = std::env::var_os("PLOT_PNG").map(PathBuf::from);
    for (name, plot) in [
        ("cycle.png", cold_cycle()),
        ("cycle-es.png", cold_cycle_in_spanish()),
        ("day.png", a_day(Language::Spanish, Scale::Celsius)),
        ("week.png", a_week()),
        ("empty.png", empty_day()),
    ] {
        let bytes = plot.png(Size::MAIL).expect("a picture");
        assert!(bytes.starts_with(b"\x89PNG\r\n\x1a\n"));
        assert_eq!(&bytes[16..24], [0, 0, 2, 128, 0, 0, 1, 104], "640 × 360");
        assert!(bytes.len() < 60_000, "{} bytes", bytes.len());
        if let Some(folder) = &folder {
            std::fs::write(folder.join(name), bytes).expect("the folder is there");
        }
    }
}

/// Own rule: nothing is written over the curves, nothing is painted over them, and no text is cut or leaves the
/// picture, on the narrowest screen, on a page, in a mail and on paper.
#[test]
fn no_text_hides_what_it_explains() {
    let plots = [
        cold_cycle(),
        cold_cycle_in_spanish(),
        a_day(Language::English, Scale::Fahrenheit),
        a_day(Language::Spanish, Scale::Celsius),
        a_week(),
        empty_day(),
    ];
    for plot in &plots {
        for size in [Size::PHONE, Size::PAGE, Size::MAIL, Size { width: 640, height: 252 }] {
            let told = scene(plot, size, FACE);
            let curves = |mark: &Mark| match mark {
                Mark::Stroke { points, ink: Ink::Muted, .. } if points.len() == 3 => Some(points.clone()),
                Mark::Stroke { .. } | Mark::Fill { .. } | Mark::Shape { .. } | Mark::Text { .. } => None,
            };
            // The frame: down the left side, then along the bottom.
            let frame = told.marks.iter().find_map(curves).expect("a frame");
            let (left, top, right, bottom) = (frame[0].0, frame[0].1, frame[2].0, frame[2].1);
            assert!(bottom - top > 100.0, "{}: {} px are left for the curves", plot.title, bottom - top);
            for (place, mark) in told.marks.iter().enumerate() {
                match mark {
                    Mark::Text { at: (x, base), text, anchor, .. } => {
                        let width = FACE.width(text);
                        let from = match anchor {
                            Anchor::Start => *x,
                            Anchor::Middle => x - width / 2.0,
                            Anchor::End => x - width,
                        };
                        assert!(!text.contains('…'), "{text} is cut at {size:?}");
                        let inside = from >= 0.0 && from + width <= told.size.0 && *base <= told.size.1;
                        assert!(inside, "{text} leaves the picture at {size:?}");
                        // The strip with the names of the windows lies above the curves.
                        let over = from + width > left && from < right && *base > top + FACE.line;
                        assert!(!over || *base > bottom, "{text} lies over the curves at {size:?}");
                        // Regression: the unit of the axis read on from the last row of the key.
                        let is_unit = text == &plot.y.label;
                        assert!(!is_unit || *base > top, "{text} stands in the key at {size:?}");
                    }
                    Mark::Fill { ink, .. } => {
                        assert!(*ink != Ink::Ground || place == 0, "a box over the data")
                    }
                    Mark::Stroke { .. } | Mark::Shape { .. } => {}
                }
            }
        }
    }
}

/// Values that are not finite, an axis without length, sizes of zero, text with markup and control characters.
#[test]
fn nonsense_is_drawn_and_harms_nothing() {
    let mut plot = a_day(Language::English, Scale::Celsius);
    plot.title = "<script>alert(1)</script>\r\n\u{0}&".repeat(20);
    plot.points[0].x = f64::NAN;
    plot.points[1].y = f64::INFINITY;
    plot.lines[0].points.extend([(f64::NAN, 1.0), (5.0, f64::NEG_INFINITY)]);
    plot.x.to = plot.x.from;
    for size in [Size { width: 0, height: 0 }, Size { width: 300, height: 150 }] {
        let svg = plot.svg(size);
        assert!(!svg.contains("<script") && !svg.contains('\u{0}') && !svg.contains("NaN"));
        assert!(plot.png(size).is_ok());
    }
}

/// Told by shape and dash, not by colour alone: own rule, after WCAG 2.2, 1.4.1.
#[test]
fn shapes_and_dashes_differ() {
    let shapes: std::collections::BTreeSet<Shape> = Verdict::ALL.into_iter().map(Shape::of).collect();
    assert_eq!(shapes.len(), Verdict::ALL.len());
    let svg = cold_cycle().svg(Size::MAIL);
    let dashes: std::collections::BTreeSet<&str> =
        svg.split("stroke-dasharray=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    assert_eq!(dashes.len(), 2, "wash and limit; the rinse is solid");
}

#[test]
fn words_are_there_in_both_languages() {
    for word in WORDS {
        let [english, spanish] = Language::ALL.map(|language| word.say(language));
        assert!(!english.is_empty() && !spanish.is_empty() && english != spanish, "{word:?}");
    }
}

// Own rule: a busy day stays small enough for a page of 100 kB, and every rack of it is there.
#[test]
fn a_busy_day_is_drawn_in_few_bytes() {
    let cycles: Vec<Cycle> =
        (0..300).map(|number| samples::cycle(number * 200, Verdict::Pass, 85.0, Vec::new())).collect();
    let cycles: Vec<&Cycle> = cycles.iter().collect();
    let from = cycles[0].started;
    let drawn = day::Day {
        machine: "dm1",
        from,
        to: from.plus(Duration::from_secs(86_400)),
        cycles: &cycles,
        in_doubt: &[],
        gaps: &[],
    };
    let svg = day::plot(drawn, &reader(Language::English, Scale::Celsius)).svg(Size::PHONE);
    // One of the 300 has a label, and all but it and the sample in the key lie behind one another.
    assert!(svg.matches("h0").count() + svg.matches("<circle").count() >= 300, "{svg}");
    assert!(svg.len() < 12_000, "{} bytes", svg.len());
}

/// The relative luminance of a colour (WCAG 2.2, «relative luminance»).
fn luminance(hex: &str) -> f64 {
    let part = |from: usize| {
        let byte = u8::from_str_radix(&hex[from..from + 2], 16).expect("a colour");
        let value = f64::from(byte) / 255.0;
        if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
}

/// The contrast of two colours (WCAG 2.2, «contrast ratio»).
fn contrast(one: &str, other: &str) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// What the pages' style sheet says of a class in the dark, under this property.
fn dark(sheet: &str, class: &str, property: &str) -> Option<String> {
    let rules = sheet.split('}').filter_map(|rule| rule.rsplit_once('{'));
    rules
        .filter(|(selectors, _)| {
            selectors.rsplit('{').next().is_some_and(|own| own.split(',').any(|one| one.ends_with(class)))
        })
        .flat_map(|(_, body)| body.split(';'))
        .find_map(|said| said.strip_prefix(property)?.strip_prefix(':').map(str::to_owned))
}

// WCAG 2.2, 1.4.3 (text, 4.5) and 1.4.11 (graphics, 3): on the ground and on every shaded part that can lie behind;
// grid and shades say nothing that is not said in words too.
#[test]
fn every_mark_has_a_dark_colour_that_is_seen() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/web/frame/rinseward.css");
    let css = std::fs::read_to_string(path).expect("the style sheet of the pages");
    let sheet = css.lines().find(|line| line.contains(".plot-ground{")).expect("dark colours");
    assert!(
        sheet.starts_with("@media screen and (prefers-color-scheme:dark){"),
        "paper stays light: {sheet}"
    );
    let own = |class: &str| dark(sheet, class, "--i");
    let (ground, light) = (own(".plot-ground").expect("a ground"), own(".plot-window").expect("a shade"));
    let behind =
        [ground.clone(), light, own(".plot-window-strong").expect("one"), own(".plot-band").expect("one")];
    for (class, least) in [
        (".plot-text", 4.5),
        (".plot-axis", 4.5),
        (".plot-rinse", 3.0),
        (".plot-wash", 3.0),
        (".plot-limit", 3.0),
        (".plot-bad", 3.0),
        (".plot-good", 3.0),
    ] {
        let colour = own(class).unwrap_or_else(|| panic!("{class} has no dark colour"));
        for behind in &behind {
            let found = contrast(&colour, behind);
            assert!(found >= least, "{class} {colour} on {behind}: {found:.2}");
        }
    }
    for (class, property) in [
        (".plot-cold", "stroke"),
        (".plot-ring", "stroke"),
        (".plot-brief", "fill"),
        (".plot-weak", "fill"),
        (".plot-unproven", "stroke"),
        (".plot-narrow", "stroke"),
        ("circle.plot-pass", "fill"),
        ("path.plot-pass", "stroke"),
    ] {
        let colour = dark(sheet, class, property).unwrap_or_else(|| panic!("{class} has no dark colour"));
        assert!(contrast(&colour, &ground) >= 3.0, "{class} {colour}");
    }
    // A mark without a class of these would stay as it is on paper.
    for plot in [cold_cycle(), a_day(Language::English, Scale::Celsius)] {
        let svg = plot.svg(Size::PHONE);
        for mark in svg.split('<').filter(|mark| {
            ["polygon", "polyline", "text", "path", "circle", "rect"]
                .iter()
                .any(|name| mark.starts_with(name))
        }) {
            let class = mark.split_once("class=\"").and_then(|(_, rest)| rest.split('"').next());
            let class = class.unwrap_or_else(|| panic!("no class: {mark}"));
            assert!(sheet.contains(&format!("{class}{{")) || sheet.contains(&format!("{class},")), "{class}");
        }
    }
}

// Own promise: the chart of a weak rack says what made it so, also where it was cold at once; its temperature, which may
// be fine, stands in the description. 25 mg/L: FDA Food Code 4-501.114(A).
#[test]
fn a_weak_rack_is_headed_by_its_sanitizer() {
    use crate::core::cycle::plate::Sanitizing;
    use crate::core::sanitizer::Refusal;
    let weak = Reason::Concentration { refusal: Refusal::TooWeak, mg_per_l: 10.0, limit: Some(25.0) };
    let cold = Reason::RinseBelowLimit { measured_c: 71.3, limit_c: 82.2 };
    for (verdict, reasons, language, title, spoken) in [
        (
            Verdict::Weak,
            vec![weak.clone()],
            Language::English,
            "off-range: sanitizer 10 mg/L (at least 25 mg/L)",
            "off-range. Sanitizer 10 mg/L (at least 25 mg/L). Settled minimum: 71.3 °C against 82.2 °C.",
        ),
        (
            Verdict::Cold,
            vec![cold, weak],
            Language::Spanish,
            "fría: 71.3 °C frente a 82.2 °C; desinfectante 10 mg/L (al menos 25 mg/L)",
            "fría. Desinfectante 10 mg/L (al menos 25 mg/L). Mínimo estable: 71.3 °C frente a 82.2 °C.",
        ),
    ] {
        let mut cycle = samples::cycle(0, verdict, 71.3, reasons);
        cycle.sanitizing = Sanitizing::Chlorine;
        let trace = trace(&cycle, 72.0);
        let plot = cycle::plot("dm2", &cycle, &trace, &reader(language, Scale::Celsius));
        assert!(plot.title.ends_with(title), "{}", plot.title);
        assert!(plot.description.ends_with(spoken), "{}", plot.description);
    }
}
