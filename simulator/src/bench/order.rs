//! What a person does with the probes, the leads and the machine, as a line of words.

use std::str::FromStr;

use crate::fault::Place;

/// Air pressure where nobody says it, hPa: the standard atmosphere at sea level (ISO 2533:1975).
const STANDARD_HPA: f64 = 1_013.25;
/// Air pressures of kitchens, hPa (own choice: from 5,000 m up to the shore of the Dead Sea).
const PRESSURE_RANGE: std::ops::RangeInclusive<f64> = 500.0..=1_120.0;
/// Temperatures of a pot that does not boil, °C.
const POT_RANGE: std::ops::RangeInclusive<f64> = 0.0..=100.0;

/// Where a tip is.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Spot {
    /// In the still air of the room.
    Air,
    /// In a dry hand.
    Hand,
    /// In ice and water.
    Ice,
    /// In a stirred pot that keeps its temperature.
    Pot {
        /// Temperature, °C.
        water_c: f64,
    },
    /// In boiling water.
    Boil {
        /// Pressure of the air, hPa.
        hpa: f64,
    },
    /// At its place in the machine: wash tank or rinse line.
    Line,
}

/// What is to be done.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Order {
    /// Take a tip somewhere.
    Hold(Place, Spot),
    /// Run a whole cycle.
    Rack {
        /// The booster has failed, and what was hot in it is used up.
        cold: bool,
    },
    /// Exchange the leads of the two probes where they are connected.
    Swap,
    /// Pull a probe's lead out.
    Unplug(Place),
    /// Put it back.
    Plug(Place),
    /// Say what can be done.
    Help,
    /// End.
    Quit,
}

/// What can be done, in one line.
pub const HELP: &str = "wash or rinse, then air, hand, ice, pot 80, boil [1013.25] (hPa) or line; rack; cold rack; \
                        swap; unplug or plug, then wash or rinse; quit";

/// A line that asks for nothing that can be done.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum NoOrder {
    /// It begins with no known word, or has a word too many.
    #[error("not understood; help says what can be done")]
    Unknown,
    /// No such place for a tip.
    #[error("a tip goes to air, hand, ice, pot 80, boil, boil 1002.5 or line")]
    Spot,
    /// No such pot.
    #[error("a pot has 0 to 100 °C, as in pot 80")]
    Pot,
    /// No such air.
    #[error("the air has 500 to 1120 hPa, as in boil 1002.5")]
    Pressure,
    /// No such probe.
    #[error("the probes are wash and rinse")]
    Probe,
}

impl FromStr for Order {
    type Err = NoOrder;

    fn from_str(line: &str) -> Result<Self, NoOrder> {
        let lower = line.to_lowercase();
        let words: Vec<&str> = lower.split_whitespace().collect();
        match words[..] {
            ["rack"] => Ok(Self::Rack { cold: false }),
            ["cold", "rack"] => Ok(Self::Rack { cold: true }),
            ["swap"] => Ok(Self::Swap),
            ["unplug", ref probe @ ..] => Ok(Self::Unplug(place(probe)?)),
            ["plug", ref probe @ ..] => Ok(Self::Plug(place(probe)?)),
            ["help"] => Ok(Self::Help),
            ["quit"] => Ok(Self::Quit),
            [probe, ref spot @ ..] => {
                let place = place(&[probe]).map_err(|_| NoOrder::Unknown)?;
                Ok(Self::Hold(place, spot_of(spot)?))
            }
            [] => Err(NoOrder::Unknown),
        }
    }
}

fn place(words: &[&str]) -> Result<Place, NoOrder> {
    match words {
        ["wash"] => Ok(Place::Wash),
        ["rinse"] => Ok(Place::Rinse),
        _ => Err(NoOrder::Probe),
    }
}

fn spot_of(words: &[&str]) -> Result<Spot, NoOrder> {
    match words {
        ["air"] => Ok(Spot::Air),
        ["hand"] => Ok(Spot::Hand),
        ["ice"] => Ok(Spot::Ice),
        ["line"] => Ok(Spot::Line),
        ["pot", rest @ ..] => {
            let water_c = number(rest, &["°c", "c"]).filter(|celsius| POT_RANGE.contains(celsius));
            Ok(Spot::Pot { water_c: water_c.ok_or(NoOrder::Pot)? })
        }
        ["boil"] => Ok(Spot::Boil { hpa: STANDARD_HPA }),
        ["boil", rest @ ..] => {
            let hpa = number(rest, &["hpa", "mbar"]).filter(|hpa| PRESSURE_RANGE.contains(hpa));
            Ok(Spot::Boil { hpa: hpa.ok_or(NoOrder::Pressure)? })
        }
        _ => Err(NoOrder::Spot),
    }
}

/// A number with or without its unit, which may be a word of its own.
fn number(words: &[&str], units: &[&str]) -> Option<f64> {
    let text = words.concat();
    let bare = units.iter().find_map(|unit| text.strip_suffix(unit)).unwrap_or(&text);
    bare.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_an_order_or_says_why_not() {
        let rinse = |spot| Ok(Order::Hold(Place::Rinse, spot));
        for (line, expected) in [
            ("rinse air", rinse(Spot::Air)),
            ("  Rinse   HAND ", rinse(Spot::Hand)),
            ("wash ice", Ok(Order::Hold(Place::Wash, Spot::Ice))),
            ("rinse pot 80", rinse(Spot::Pot { water_c: 80.0 })),
            ("rinse pot 79.5 °C", rinse(Spot::Pot { water_c: 79.5 })),
            ("rinse boil", rinse(Spot::Boil { hpa: 1_013.25 })),
            ("rinse boil 1002.5", rinse(Spot::Boil { hpa: 1_002.5 })),
            ("rinse boil 1002.5 hPa", rinse(Spot::Boil { hpa: 1_002.5 })),
            ("rinse line", rinse(Spot::Line)),
            ("rack", Ok(Order::Rack { cold: false })),
            ("cold rack", Ok(Order::Rack { cold: true })),
            ("swap", Ok(Order::Swap)),
            ("unplug rinse", Ok(Order::Unplug(Place::Rinse))),
            ("plug wash", Ok(Order::Plug(Place::Wash))),
            ("help", Ok(Order::Help)),
            ("quit", Ok(Order::Quit)),
            ("", Err(NoOrder::Unknown)),
            ("rinses ice", Err(NoOrder::Unknown)),
            ("rack rack", Err(NoOrder::Unknown)),
            ("rinse", Err(NoOrder::Spot)),
            ("rinse oven", Err(NoOrder::Spot)),
            ("rinse ice ice", Err(NoOrder::Spot)),
            ("rinse pot", Err(NoOrder::Pot)),
            ("rinse pot 101", Err(NoOrder::Pot)),
            ("rinse pot nan", Err(NoOrder::Pot)),
            ("rinse boil 100.25", Err(NoOrder::Pressure)),
            ("rinse boil high", Err(NoOrder::Pressure)),
            ("unplug", Err(NoOrder::Probe)),
            ("unplug running", Err(NoOrder::Probe)),
        ] {
            assert_eq!(line.parse(), expected, "{line}");
        }
    }
}
