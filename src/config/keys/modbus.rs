//! Keys of Modbus sources.

use super::source::PARITY_WORDS;
use super::{Default, Form, Key, millis, secs, words};
use crate::wire::registers::{Function, RegisterType, WordOrder};

/// Words for types of registers.
pub const REGISTER_TYPES: [(&str, RegisterType); 5] = [
    ("i16", RegisterType::I16),
    ("u16", RegisterType::U16),
    ("i32", RegisterType::I32),
    ("u32", RegisterType::U32),
    ("f32", RegisterType::F32),
];
static TYPE_WORDS: [&str; 5] = words(&REGISTER_TYPES);

/// Words for the order of two registers.
pub const WORD_ORDERS: [(&str, WordOrder); 2] =
    [("high-first", WordOrder::HighFirst), ("low-first", WordOrder::LowFirst)];
static ORDER_WORDS: [&str; 2] = words(&WORD_ORDERS);

/// What a register usually looks like: type, order and scale under one name.
pub const PRESETS: [(&str, (RegisterType, WordOrder, f64)); 5] = [
    ("whole", (RegisterType::I16, WordOrder::HighFirst, 1.0)),
    ("tenths", (RegisterType::I16, WordOrder::HighFirst, 0.1)),
    ("hundredths", (RegisterType::I16, WordOrder::HighFirst, 0.01)),
    ("float", (RegisterType::F32, WordOrder::HighFirst, 1.0)),
    ("float-swapped", (RegisterType::F32, WordOrder::LowFirst, 1.0)),
];
static PRESET_WORDS: [&str; 5] = words(&PRESETS);

/// Function by its code.
pub const FUNCTIONS: [(u8, Function); 2] = [(3, Function::Holding), (4, Function::Input)];

/// Keys of a line of Modbus RTU.
pub static MODBUS_RTU: [Key; 5] = [
    Key {
        name: "device",
        form: Form::Path,
        default: Default::Required,
        example: "\"/dev/serial/by-id/usb-converter-1\"",
        meaning: "The port, best by a name below /dev/serial/by-id. No other program may be the master of this line.",
    },
    Key {
        name: "baud",
        form: Form::Integer { min: 300, max: 4_000_000 },
        default: Default::Value("19200"),
        example: "9600",
        meaning: "Speed in bits a second, the same in every unit (default of MODBUS over Serial Line V1.02).",
    },
    Key {
        name: "parity",
        form: Form::Choice(&PARITY_WORDS),
        default: Default::Value("even"),
        example: "\"none\"",
        meaning: "Parity bit, the same in every unit (default of the same standard; many units come set to none).",
    },
    Key {
        name: "stop-bits",
        form: Form::Integer { min: 1, max: 2 },
        default: Default::Value("1"),
        example: "1",
        meaning: "Stop bits. The standard asks for 2 without parity; many units then use 1 all the same.",
    },
    Key {
        name: "turnaround",
        form: Form::Duration { min: millis(1), max: secs(1) },
        default: Default::Follows("3.5 characters, above 19,200 baud 1.75 ms, as the standard has it"),
        example: "\"5ms\"",
        meaning: "Silence on the line before each request; longer where units or the converter are slow to listen again.",
    },
];

/// Keys of an address of Modbus TCP.
pub static MODBUS_TCP: [Key; 2] = [
    Key {
        name: "host",
        form: Form::Text,
        default: Default::Required,
        example: "\"192.0.2.10\"",
        meaning: "Host name or address of the unit, or of the gateway before a line of them.",
    },
    Key {
        name: "port",
        form: Form::Integer { min: 1, max: 65_535 },
        default: Default::Value("502"),
        example: "502",
        meaning: "Its port (502 is registered with IANA).",
    },
];

/// Keys of both.
pub static MODBUS: [Key; 3] = [
    Key {
        name: "retry-after-max",
        form: Form::Duration { min: millis(100), max: secs(3_600) },
        default: Default::Value("5s"),
        example: "\"5s\"",
        meaning: "Longest wait before a unit that does not answer is asked again; meanwhile it costs the others nothing.",
    },
    Key {
        name: "reopen-after-max",
        form: Form::Duration { min: millis(100), max: secs(3_600) },
        default: Default::Value("10s"),
        example: "\"10s\"",
        meaning: "Longest wait between two tries to open the port or the connection.",
    },
    Key {
        name: "unit",
        form: Form::Tables(&MODBUS_UNIT),
        default: Default::Required,
        example: "",
        meaning: "The units to read; at least one.",
    },
];

/// Keys of `[[source.unit]]`.
pub static MODBUS_UNIT: [Key; 6] = [
    Key {
        name: "address",
        form: Form::Integer { min: 0, max: 255 },
        default: Default::Required,
        example: "1",
        meaning: "Address of the unit: 1 to 247 on a serial line; behind TCP also 0 or 255, which mean the very device.",
    },
    Key {
        name: "poll",
        form: Form::Duration { min: millis(5), max: secs(3_600) },
        default: Default::Value("250ms"),
        example: "\"250ms\"",
        meaning: "How often it is read.",
    },
    Key {
        name: "time-out",
        form: Form::Duration { min: millis(5), max: secs(10) },
        default: Default::Value("200ms"),
        example: "\"200ms\"",
        meaning: "How long it may think before it answers; what the bytes take on the line is added. Too short, and the answer comes late, which counts as none.",
    },
    Key {
        name: "block-max",
        form: Form::Integer { min: 2, max: 125 },
        default: Default::Value("125"),
        example: "16",
        meaning: "Most registers that one request may ask for; fewer where the manual says so.",
    },
    Key {
        name: "gap-max",
        form: Form::Integer { min: 0, max: 123 },
        default: Default::Value("0"),
        example: "4",
        meaning: "How many registers that nobody wants may be read between two that are, to need fewer requests. A unit without such registers refuses the whole request.",
    },
    Key {
        name: "register",
        form: Form::Tables(&MODBUS_REGISTER),
        default: Default::Required,
        example: "",
        meaning: "What is read; at least one.",
    },
];

/// Keys of `[[source.unit.register]]`.
pub static MODBUS_REGISTER: [Key; 9] = [
    Key {
        name: "probe",
        form: Form::Text,
        default: Default::Required,
        example: "\"dm1/rinse\"",
        meaning: "The probe or signal whose value it is. Of a run signal anything but 0 is on.",
    },
    Key {
        name: "function",
        form: Form::Integer { min: 3, max: 4 },
        default: Default::Required,
        example: "4",
        meaning: "Function that reads it: 3 holding registers, 4 input registers.",
    },
    Key {
        name: "address",
        form: Form::Register,
        default: Default::Required,
        example: "0",
        meaning: "Its first register as it stands on the wire, counted from 0: what a manual calls 1, 30001 or 40001 is 0 here.",
    },
    Key {
        name: "preset",
        form: Form::Choice(&PRESET_WORDS),
        default: Default::Value("whole"),
        example: "\"tenths\"",
        meaning: "Type, order and scale by the shape of the value: i16 as it is, in tenths, in hundredths; f32 with the high word first, or the low one. A key beside it wins.",
    },
    Key {
        name: "type",
        form: Form::Choice(&TYPE_WORDS),
        default: Default::Follows("that of the preset"),
        example: "\"i16\"",
        meaning: "How the bits are taken: whole with or without sign in one register or two, floating-point in two.",
    },
    Key {
        name: "word-order",
        form: Form::Choice(&ORDER_WORDS),
        default: Default::Follows("that of the preset, else high-first"),
        example: "\"low-first\"",
        meaning: "Which of two registers comes first; the standard leaves it open.",
    },
    Key {
        name: "scale",
        form: Form::Number { min: -1e6, max: 1e6 },
        default: Default::Follows("that of the preset"),
        example: "0.1",
        meaning: "What the number is multiplied with, so that it is in the unit of the probe's signal.",
    },
    Key {
        name: "offset",
        form: Form::Number { min: -1e6, max: 1e6 },
        default: Default::Value("0"),
        example: "0",
        meaning: "What is added after that. It belongs to the unit's way of writing numbers; a correction of the probe belongs to its calibration.",
    },
    Key {
        name: "fault-values",
        form: Form::Values,
        default: Default::Absent("none; of f32 what is no number is a fault in any case"),
        example: "[\"-32768\", \"0x7fff open-circuit\"]",
        meaning: "What the unit sends in place of a value when something is wrong, before scale and offset, each with the fault behind it where it has a name: open-circuit, short, reversed, out-of-range.",
    },
];
