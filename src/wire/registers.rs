//! Modbus registers: from words of 16 bits to the value of a channel.
//!
//! A register holds 16 bits, the high byte first on the wire (MODBUS Application Protocol
//! V1.1b3 §4.2). What they mean is the device's own: whole or floating-point, scaled, one register
//! or two, and of two which comes first, which the standard leaves open. Addresses here are those
//! of the wire, counted from 0; manuals that count from 1 call register 0 «1», «30001» or «40001».

use crate::core::reading::{Fault, Value};
use crate::wire::directory::WireUnit;

/// Most registers of one request (MODBUS Application Protocol V1.1b3 §6.3 and §6.4).
pub const REGISTERS_MAX: u16 = 125;

/// Which of the two kinds of registers, by the function that reads it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Function {
    /// Read Holding Registers, function 3.
    Holding,
    /// Read Input Registers, function 4.
    Input,
}

impl Function {
    /// Its code on the wire.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Holding => 3,
            Self::Input => 4,
        }
    }
}

/// How the bits of a value are to be taken.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum RegisterType {
    /// Whole, with sign, one register.
    I16,
    /// Whole, without sign, one register.
    U16,
    /// Whole, with sign, two registers.
    I32,
    /// Whole, without sign, two registers.
    U32,
    /// Floating-point of IEEE 754, two registers.
    F32,
}

impl RegisterType {
    /// How many registers it takes.
    #[must_use]
    pub const fn registers(self) -> u16 {
        match self {
            Self::I16 | Self::U16 => 1,
            Self::I32 | Self::U32 | Self::F32 => 2,
        }
    }

    /// The number that these bits stand for; those of one register are the low 16.
    fn number(self, bits: u32) -> f64 {
        match self {
            Self::I16 => {
                let [_, _, high, low] = bits.to_be_bytes();
                f64::from(i16::from_be_bytes([high, low]))
            }
            Self::U16 | Self::U32 => f64::from(bits),
            Self::I32 => f64::from(i32::from_be_bytes(bits.to_be_bytes())),
            Self::F32 => f64::from(f32::from_bits(bits)),
        }
    }
}

/// Which of two registers holds the high half.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum WordOrder {
    /// The first.
    HighFirst,
    /// The second.
    LowFirst,
}

/// What a device puts in place of a value to say that something is wrong.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct FaultValue {
    /// Which bits.
    raw: Raw,
    /// What they mean.
    fault: Fault,
}

#[derive(Clone, Copy, PartialEq, Debug)]
enum Raw {
    Bits(u32),
    Number(f64),
}

/// Why a text is no fault value.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum FaultValueError {
    /// Neither a number nor hexadecimal bits.
    #[error("it begins with no number")]
    NoNumber,
    /// A number that the type cannot hold, so that it never comes.
    #[error("the type of the register cannot hold it")]
    OutOfType,
    /// The word behind the number is no fault.
    #[error("the word behind the number is no fault")]
    NoFault,
}

impl FaultValue {
    /// Reads `"-32768"`, `"0x7fff"` or either with a fault behind it, `"-32768 open-circuit"`; without
    /// one it is [`Fault::Reported`]. Numbers are those of the register, before scale and offset.
    ///
    /// # Errors
    /// [`FaultValueError`] says what is wrong with the text.
    pub fn parse(text: &str, kind: RegisterType) -> Result<Self, FaultValueError> {
        let mut words = text.split_whitespace();
        let number = words.next().ok_or(FaultValueError::NoNumber)?;
        let fault = match (words.next(), words.next()) {
            (None, _) => Fault::Reported,
            (Some(word), None) => word.parse().map_err(|_| FaultValueError::NoFault)?,
            (Some(_), Some(_)) => return Err(FaultValueError::NoFault),
        };
        let raw = match number.strip_prefix("0x").or_else(|| number.strip_prefix("0X")) {
            Some(digits) => {
                let bits = u32::from_str_radix(digits, 16).map_err(|_| FaultValueError::NoNumber)?;
                if kind.registers() == 1 && bits > u32::from(u16::MAX) {
                    return Err(FaultValueError::OutOfType);
                }
                Raw::Bits(bits)
            }
            None => {
                let number: f64 = number.parse().map_err(|_| FaultValueError::NoNumber)?;
                let holds = match kind {
                    RegisterType::I16 => whole(number, f64::from(i16::MIN), f64::from(i16::MAX)),
                    RegisterType::U16 => whole(number, 0.0, f64::from(u16::MAX)),
                    RegisterType::I32 => whole(number, f64::from(i32::MIN), f64::from(i32::MAX)),
                    RegisterType::U32 => whole(number, 0.0, f64::from(u32::MAX)),
                    RegisterType::F32 => number.is_finite() && number.abs() <= f64::from(f32::MAX),
                };
                if !holds {
                    return Err(FaultValueError::OutOfType);
                }
                Raw::Number(number)
            }
        };
        Ok(Self { raw, fault })
    }

    #[expect(clippy::float_cmp, reason = "a device sends the very number, or another one")]
    fn is(self, bits: u32, kind: RegisterType) -> bool {
        match self.raw {
            Raw::Bits(raw) => raw == bits,
            // A fraction has to be the same one in the precision of the register.
            Raw::Number(number) if kind == RegisterType::F32 => {
                kind.number(bits) == kind.number(nearest_f32(number).to_bits())
            }
            Raw::Number(number) => kind.number(bits) == number,
        }
    }
}

fn whole(number: f64, min: f64, max: f64) -> bool {
    number.fract().abs() < f64::EPSILON && (min..=max).contains(&number)
}

#[expect(clippy::cast_possible_truncation, reason = "the precision of the register is what is asked for")]
const fn nearest_f32(number: f64) -> f32 {
    number as f32
}

/// From the registers of a value to the value.
#[derive(Clone, PartialEq, Debug)]
pub struct RegisterShape {
    /// How the bits are taken.
    pub kind: RegisterType,
    /// Which of two registers comes first.
    pub order: WordOrder,
    /// What the number is multiplied with.
    pub scale: f64,
    /// What is added after that, in the unit of the channel.
    pub offset: f64,
    /// What is a fault and no value.
    pub faults: Vec<FaultValue>,
}

impl RegisterShape {
    /// The value that these registers hold for a channel of this unit. Of a run signal anything but
    /// 0 is on. A number that is none, or too few registers, is a fault.
    #[must_use]
    pub fn read(&self, words: &[u16], unit: WireUnit) -> Value {
        let Some(bits) = self.bits(words) else { return Value::Fault(Fault::Reported) };
        if let Some(known) = self.faults.iter().find(|fault| fault.is(bits, self.kind)) {
            return Value::Fault(known.fault);
        }
        let number = self.scaled(self.kind.number(bits));
        match unit {
            _ if !number.is_finite() => Value::Fault(Fault::Reported),
            WireUnit::Flag => Value::Flag(number.abs() > 0.0),
            WireUnit::Celsius
            | WireUnit::Fahrenheit
            | WireUnit::Kelvin
            | WireUnit::Volt
            | WireUnit::Ohm
            | WireUnit::MilligramPerLitre
            | WireUnit::Ph => Value::Number(number),
        }
    }

    fn bits(&self, words: &[u16]) -> Option<u32> {
        let join = |high: u16, low: u16| u32::from(high) << 16 | u32::from(low);
        match (self.kind.registers(), self.order, words) {
            (1, _, [word]) => Some(u32::from(*word)),
            (2, WordOrder::HighFirst, [first, second]) => Some(join(*first, *second)),
            (2, WordOrder::LowFirst, [first, second]) => Some(join(*second, *first)),
            _ => None,
        }
    }

    /// A scale of 0.1 divides by 10: 822 becomes 82.2 and not the double beside it.
    fn scaled(&self, raw: f64) -> f64 {
        let inverse = (1.0 / self.scale).round();
        let decimal = self.scale.abs() < 1.0 && (inverse * self.scale - 1.0).abs() < 1e-12;
        let scaled = if decimal { raw / inverse } else { raw * self.scale };
        scaled + self.offset
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shape(kind: RegisterType, order: WordOrder, scale: f64, offset: f64) -> RegisterShape {
        RegisterShape { kind, order, scale, offset, faults: Vec::new() }
    }

    #[test]
    fn numbers_of_every_type() {
        use RegisterType::{F32, I16, I32, U16, U32};
        use WordOrder::{HighFirst, LowFirst};
        for (kind, order, scale, offset, words, expected) in [
            // MODBUS Application Protocol V1.1b3, §6.3: registers 107 to 109 hold 555, 0 and 100.
            (U16, HighFirst, 1.0, 0.0, &[0x022B][..], 555.0),
            (I16, HighFirst, 1.0, 0.0, &[0x0064], 100.0),
            // §6.4: input register 8 holds 10.
            (U16, HighFirst, 1.0, 0.0, &[0x000A], 10.0),
            // The widely copied example of a reply to function 3: AE41, 5652 and 4340.
            (U16, HighFirst, 1.0, 0.0, &[0xAE41], 44_609.0),
            // Two's complement: 16 and 32 bits.
            (I16, HighFirst, 0.1, 0.0, &[0xFFFE], -0.2),
            (I16, HighFirst, 0.1, 0.0, &[822], 82.2),
            (U16, HighFirst, 0.01, 0.0, &[8_225], 82.25),
            (I32, HighFirst, 1.0, 0.0, &[0xFFFF, 0xFF9C], -100.0),
            (I32, LowFirst, 1.0, 0.0, &[0xFF9C, 0xFFFF], -100.0),
            (U32, HighFirst, 0.001, 0.0, &[0x0001, 0x4118], 82.2),
            (U32, LowFirst, 0.001, 0.0, &[0x4118, 0x0001], 82.2),
            // IEEE 754, computed with another program: 71.5 is 428F0000, 82.2 is 42A46666.
            (F32, HighFirst, 1.0, 0.0, &[0x428F, 0x0000], 71.5),
            (F32, LowFirst, 1.0, 0.0, &[0x0000, 0x428F], 71.5),
            (F32, HighFirst, 1.0, 0.0, &[0x42A4, 0x6666], f64::from(82.2_f32)),
            // Scale, then offset.
            (U16, HighFirst, 0.1, -100.0, &[1_822], 82.2),
            (U16, HighFirst, -2.0, 10.0, &[4], 2.0),
        ] {
            let Value::Number(read) = shape(kind, order, scale, offset).read(words, WireUnit::Celsius) else {
                panic!("{kind:?} {words:?} is a number");
            };
            assert!((read - expected).abs() < 1e-12, "{kind:?} {order:?} {words:?}: {read}");
        }
        let tenths = shape(I16, HighFirst, 0.1, 0.0).read(&[823], WireUnit::Celsius);
        assert_eq!(tenths, Value::Number(82.3), "the very double of 82.3");
    }

    // Fault values of devices differ; these are common ones, from memory.
    #[test]
    fn fault_values_are_faults() {
        use RegisterType::{F32, I16, I32, U16};
        for (kind, text, words, expected) in [
            (I16, "-32768", &[0x8000][..], Some(Fault::Reported)),
            (I16, "-32768", &[0x8001], None),
            (I16, "0x7FFF open-circuit", &[0x7FFF], Some(Fault::OpenCircuit)),
            (U16, "65535 short", &[0xFFFF], Some(Fault::Short)),
            (I16, "32767 open-circuit", &[0x7FFF], Some(Fault::OpenCircuit)),
            (I32, "0x80000000", &[0x8000, 0], Some(Fault::Reported)),
            (F32, "-999.9 open-circuit", &[0xC479, 0xF99A], Some(Fault::OpenCircuit)),
            (F32, "-999.9", &[0xC479, 0xF99B], None),
            (F32, "0", &[0x8000, 0], Some(Fault::Reported)),
            // A quiet NaN and the infinities of IEEE 754 are no temperatures, whatever is configured.
            (F32, "1", &[0x7FC0, 0], Some(Fault::Reported)),
            (F32, "1", &[0x7F80, 0], Some(Fault::Reported)),
            (F32, "0x7fc00000 open-circuit", &[0x7FC0, 0], Some(Fault::OpenCircuit)),
        ] {
            let fault = FaultValue::parse(text, kind).unwrap_or_else(|error| panic!("{text}: {error}"));
            let shape = RegisterShape { faults: vec![fault], ..shape(kind, WordOrder::HighFirst, 0.1, 0.0) };
            let fault = match shape.read(words, WireUnit::Celsius) {
                Value::Fault(fault) => Some(fault),
                Value::Number(_) | Value::Flag(_) => None,
            };
            assert_eq!(fault, expected, "{kind:?} {text} {words:?}");
        }
    }

    #[test]
    fn what_can_never_come_is_no_fault_value() {
        use FaultValueError::{NoFault, NoNumber, OutOfType};
        use RegisterType::{F32, I16, I32, U16, U32};
        for (kind, text, expected) in [
            (I16, "", NoNumber),
            (I16, "open-circuit", NoNumber),
            (I16, "0x", NoNumber),
            (I16, "32768", OutOfType),
            (I16, "0.5", OutOfType),
            (I16, "0x18000", OutOfType),
            (U16, "-1", OutOfType),
            (I32, "2147483648", OutOfType),
            (U32, "-1", OutOfType),
            (F32, "nan", OutOfType),
            (F32, "1e39", OutOfType),
            (I16, "1 open", NoFault),
            (I16, "1 short short", NoFault),
        ] {
            assert_eq!(FaultValue::parse(text, kind), Err(expected), "{kind:?} {text}");
        }
    }

    #[test]
    fn a_run_signal_is_on_unless_it_is_zero() {
        let bit = shape(RegisterType::U16, WordOrder::HighFirst, 1.0, 0.0);
        for (word, on) in [(0, false), (1, true), (0xFF00, true)] {
            assert_eq!(bit.read(&[word], WireUnit::Flag), Value::Flag(on));
        }
        assert_eq!(bit.read(&[], WireUnit::Flag), Value::Fault(Fault::Reported), "nothing is no value");
        assert_eq!(bit.read(&[1, 2], WireUnit::Celsius), Value::Fault(Fault::Reported));
    }
}
