//! The command line of what a technician does at a probe: `calibrate` and `respond`.

use std::time::Duration;

use clap::{Arg, ArgAction, ArgMatches, Args, FromArgMatches, value_parser};

use super::{AnswerArgs, ConfigArgs};
use crate::core::boiling::Kilopascals;
use crate::core::logbook::{self, Impossible};
use crate::core::units::Celsius;

/// What both commands need.
#[derive(Args, Debug)]
pub struct TechnicianArgs {
    /// The probe, `<machine>/<probe>`.
    #[arg(value_name = "PROBE")]
    pub probe: String,
    /// Who makes it: name or initials.
    #[arg(long, value_name = "NAME", value_parser = name)]
    pub by: String,
    /// Longest wait for each step, s.
    #[arg(long, value_name = "N", default_value_t = 900, value_parser = value_parser!(u64).range(1..=86_400))]
    pub seconds_max: u64,
    /// Record without asking; needed where nobody sits at a terminal.
    #[arg(long)]
    pub yes: bool,
    /// Configuration.
    #[command(flatten)]
    pub config: ConfigArgs,
    /// How to answer.
    #[command(flatten)]
    pub answer: AnswerArgs,
}

/// Arguments of `calibrate`.
#[derive(Args, Debug)]
pub struct CalibrateArgs {
    /// What both commands need.
    #[command(flatten)]
    pub own: TechnicianArgs,
    /// The points, in the order in which they are given.
    #[command(flatten)]
    pub points: PointsArgs,
    /// How long it holds, such as 365d; what the configuration says in calibration-due where not given.
    #[arg(long, value_name = "TIME", value_parser = span)]
    pub due: Option<Duration>,
    /// What is to be known beside it.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
}

/// Arguments of `respond`.
#[derive(Args, Debug)]
pub struct RespondArgs {
    /// What both commands need.
    #[command(flatten)]
    pub own: TechnicianArgs,
}

/// One comparison that is asked for.
#[derive(Clone, PartialEq, Debug)]
pub enum PointArg {
    /// In ice and water.
    Ice,
    /// In boiling water under a measured pressure; the bound on its error where one was given.
    Boiling(Kilopascals, Option<Kilopascals>),
    /// In boiling water at an altitude, m.
    BoilingAtAltitude(f64),
    /// Beside a thermometer that shows this: its name and certificate, and its expanded uncertainty, °C.
    Against(Celsius, String, f64),
}

/// The comparisons of a session in the order of the command line.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct PointsArgs(pub Vec<PointArg>);

impl Args for PointsArgs {
    fn augment_args(command: clap::Command) -> clap::Command {
        command.args(arguments())
    }

    fn augment_args_for_update(command: clap::Command) -> clap::Command {
        Self::augment_args(command)
    }
}

fn arguments() -> [Arg; 8] {
    [
        Arg::new("ice").long("ice").action(ArgAction::SetTrue).help("Compare in ice and water, 0 °C"),
        Arg::new("boiling")
            .long("boiling")
            .action(ArgAction::SetTrue)
            .help("Compare in boiling water; needs --pressure, or --altitude, which is worse by a degree"),
        Arg::new("pressure")
            .long("pressure")
            .value_name("PRESSURE")
            .value_parser(pressure)
            .requires("boiling")
            .conflicts_with("altitude")
            .help("Air pressure at this place, not at sea level: 1002.3hPa, 100.23kPa, 29.6inHg"),
        Arg::new("barometer")
            .long("barometer")
            .value_name("PRESSURE")
            .value_parser(pressure)
            .requires("pressure")
            .help("Limit of error of the barometer; 1hPa where not given"),
        Arg::new("altitude")
            .long("altitude")
            .value_name("HEIGHT")
            .value_parser(altitude)
            .allow_hyphen_values(true)
            .requires("boiling")
            .help("Height above the sea in place of the pressure: 340m, 1100ft"),
        Arg::new("against")
            .long("against")
            .value_name("TEMPERATURE")
            .value_parser(temperature)
            .action(ArgAction::Append)
            .requires("reference")
            .requires("reference-uncertainty")
            .help("Compare with a thermometer in the same water that shows this, such as 82.3C"),
        Arg::new("reference")
            .long("reference")
            .value_name("TEXT")
            .requires("against")
            .help("Which thermometer, and its certificate"),
        Arg::new("reference-uncertainty")
            .long("reference-uncertainty")
            .value_name("DIFFERENCE")
            .value_parser(difference)
            .requires("against")
            .help("Its expanded uncertainty (k = 2), such as 0.2C"),
    ]
}

impl FromArgMatches for PointsArgs {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let refuse = |why: &str| clap::Error::raw(clap::error::ErrorKind::MissingRequiredArgument, why);
        let mut points = Vec::new();
        if matches.get_flag("ice") {
            points.push((matches.index_of("ice"), PointArg::Ice));
        }
        if matches.get_flag("boiling") {
            let (kpa, metres) =
                (matches.get_one::<Kilopascals>("pressure"), matches.get_one::<f64>("altitude"));
            let point = match (kpa, metres) {
                (Some(kpa), _) => {
                    PointArg::Boiling(*kpa, matches.get_one::<Kilopascals>("barometer").copied())
                }
                (None, Some(metres)) => PointArg::BoilingAtAltitude(*metres),
                (None, None) => {
                    return Err(refuse(
                        "where water boils depends on the air: give --pressure 1002.3hPa as measured at this place, \
                         or --altitude 340m, which is less sure by a degree",
                    ));
                }
            };
            points.push((matches.index_of("boiling"), point));
        }
        let named = matches.get_one::<String>("reference").cloned().unwrap_or_default();
        let expanded_c = matches.get_one::<f64>("reference-uncertainty").copied().unwrap_or_default();
        let shown = matches.get_many::<Celsius>("against").into_iter().flatten();
        for (place, celsius) in matches.indices_of("against").into_iter().flatten().zip(shown) {
            points.push((Some(place), PointArg::Against(*celsius, named.clone(), expanded_c)));
        }
        if points.is_empty() {
            return Err(refuse("give at least one point: --ice, --boiling or --against"));
        }
        points.sort_by_key(|(place, _)| *place);
        Ok(Self(points.into_iter().map(|(_, point)| point).collect()))
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

#[derive(Debug, thiserror::Error)]
enum PointError {
    #[error("a temperature with its unit, such as 82.3C or 180F")]
    Temperature,
    #[error("a difference above zero with its unit, such as 0.2C or 0.4F")]
    Difference,
    #[error("a pressure with its unit, such as 1002.3hPa, 100.2kPa, 29.6inHg or 751mmHg")]
    Pressure,
    #[error("a height with its unit, such as 340m or 1100ft")]
    Altitude,
    #[error("a time of one day to ten years with its unit, such as 365d")]
    Span,
}

/// Units of pressure in kPa: the hectopascal, and conventional millimetre and inch of mercury (ISO 80000-4).
const PRESSURES: [(&str, f64); 5] =
    [("hpa", 0.1), ("mbar", 0.1), ("kpa", 1.0), ("mmhg", 0.133_322_387_415), ("inhg", 3.386_389)];
/// Units of height in m: the international foot is 0.3048 m exactly.
const HEIGHTS: [(&str, f64); 2] = [("m", 1.0), ("ft", 0.304_8)];

fn quantity(text: &str, units: &[(&str, f64)]) -> Option<f64> {
    let text = text.trim().to_ascii_lowercase();
    let (unit, factor) = units.iter().find(|(unit, _)| text.ends_with(unit))?;
    let number: f64 = text[..text.len() - unit.len()].trim_end().parse().ok()?;
    Some(number * factor).filter(|value| value.is_finite())
}

/// A name that can stand on record: a bath takes minutes, and its record would be refused at the end.
fn name(text: &str) -> Result<String, Impossible> {
    logbook::name(logbook::Field::By, text).map(|()| text.to_owned())
}

fn pressure(text: &str) -> Result<Kilopascals, PointError> {
    let kpa = quantity(text, &PRESSURES).filter(|kpa| *kpa > 0.0);
    kpa.map(Kilopascals).ok_or(PointError::Pressure)
}

fn altitude(text: &str) -> Result<f64, PointError> {
    quantity(text, &HEIGHTS).ok_or(PointError::Altitude)
}

fn temperature(text: &str) -> Result<Celsius, PointError> {
    crate::config::text::temperature(text).map_err(|_| PointError::Temperature)
}

fn difference(text: &str) -> Result<f64, PointError> {
    let difference = crate::config::text::difference(text).ok().filter(|value| *value > 0.0);
    difference.ok_or(PointError::Difference)
}

fn span(text: &str) -> Result<Duration, PointError> {
    let day = Duration::from_secs(86_400);
    let span = crate::config::text::duration(text).ok().filter(|span| (day..=day * 3_650).contains(span));
    span.ok_or(PointError::Span)
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;
    use crate::cli::{Cli, Command};

    fn points(line: &str) -> Option<Vec<PointArg>> {
        let words = ["rinseward", "calibrate", "dm1/rinse", "--by", "Eli"];
        let cli = Cli::try_parse_from(words.into_iter().chain(line.split(' '))).ok()?;
        if let Command::Calibrate(arguments) = cli.command { Some(arguments.points.0) } else { None }
    }

    // Own promise: a name that could not stand on record is refused before anybody stands at a bath.
    #[test]
    fn nobody_begins_without_a_name() {
        for name in ["", " ", "a\nb"] {
            let words = ["rinseward", "respond", "dm1/rinse", "--by", name];
            assert!(crate::cli::Cli::try_parse_from(words).is_err(), "{name:?}");
        }
    }

    // 29.53 inHg and 750 mmHg are 1000 hPa within a tenth of a percent (ISO 80000-4); a foot is 0.3048 m.
    #[test]
    fn points_come_in_the_order_of_the_command_line() {
        use PointArg::{Against, Boiling, BoilingAtAltitude, Ice};
        let against = |celsius| Against(Celsius(celsius), "T7".to_owned(), 0.2);
        let boiling = |kpa| Boiling(Kilopascals(kpa), None);
        for (line, expected) in [
            ("--ice --boiling --pressure 1002.5hPa", vec![Ice, boiling(100.25)]),
            ("--boiling --altitude 340m --ice", vec![BoilingAtAltitude(340.0), Ice]),
            (
                "--against 82C --boiling --pressure 100kPa --against 75C --reference T7 --reference-uncertainty 0.2K",
                vec![against(82.0), boiling(100.0), against(75.0)],
            ),
        ] {
            assert_eq!(points(line), Some(expected), "{line}");
        }
        for (text, kpa) in [("29.53inHg", 100.0), ("750 mmHg", 99.99), ("1013.25 mbar", 101.325)] {
            assert!((pressure(text).expect("a pressure").0 - kpa).abs() < 0.01, "{text}");
        }
        assert!((altitude("1000ft").expect("a height") - 304.8).abs() < 1e-9);
    }

    #[test]
    fn what_makes_no_point_is_refused() {
        for line in [
            "--yes",
            "--boiling",
            "--pressure 1002hPa",
            "--boiling --pressure 1002",
            "--boiling --pressure 1002hPa --altitude 10m",
            "--against 82C",
            "--against 82C --reference T7",
            "--against 82C --reference T7 --reference-uncertainty 0K",
            "--ice --due 1h",
            "--ice --seconds-max 0",
        ] {
            assert_eq!(points(line), None, "{line}");
        }
    }
}
