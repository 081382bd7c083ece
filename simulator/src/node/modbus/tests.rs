//! Frames of the standard, layouts, faults.

use super::*;

fn frame(body: &[u8]) -> Vec<u8> {
    [body, &crc(body).to_le_bytes()].concat()
}

#[test]
fn crc_values_of_the_standard() {
    for (bytes, expected) in [
        // The check value of CRC-16/MODBUS in catalogues of CRCs.
        (&b"123456789"[..], 0x4B37),
        // MODBUS over Serial Line V1.02 §6.2.2, worked example: 02 07 gives 41 12 on the line.
        (&[0x02, 0x07], 0x1241),
        // Widely copied request and reply: 11 03 006B 0003 7687, and 11 03 06 AE41 5652 4340 49AD.
        (&[0x11, 0x03, 0x00, 0x6B, 0x00, 0x03], 0x8776),
        (&[0x11, 0x03, 0x06, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40], 0xAD49),
        // The others computed with another program.
        (&[0x01, 0x03, 0x00, 0x00, 0x00, 0x0A], 0xCDC5),
        (&[0x11, 0x04, 0x00, 0x08, 0x00, 0x01], 0x98B2),
        (&[0x11, 0x04, 0x02, 0x00, 0x0A], 0xF4F8),
        (&[0x01, 0x04, 0x00, 0x00, 0x00, 0x02], 0xCB71),
        (&[0x01, 0x83, 0x02], 0xF1C0),
    ] {
        assert_eq!(crc(bytes), expected, "{bytes:02X?}");
        assert_eq!(crc(&frame(bytes)), 0, "over its own CRC: {bytes:02X?}");
    }
}

/// The answer of a unit with known registers, CRC included.
fn answer(words: &[(u16, u16)], fault: Option<UnitFault>, body: &[u8]) -> Vec<u8> {
    let mut unit = Unit { fault, ..Unit::new(Layout::Tenths) };
    unit.words.resize(usize::from(REGISTERS).max(200), 0);
    words.iter().for_each(|(register, word)| unit.put(*register, *word));
    let request = frame(body).try_into().expect("eight bytes");
    frame(&unit.answer(&request))
}

#[test]
fn answers_are_those_of_the_standard() {
    let holding = [(0x6B, 0xAE41), (0x6C, 0x5652), (0x6D, 0x4340)];
    assert_eq!(
        answer(&holding, None, &[0x11, 0x03, 0x00, 0x6B, 0x00, 0x03]),
        [0x11, 0x03, 0x06, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40, 0x49, 0xAD]
    );
    // V1.1b3 §6.4: input register 8 holds 10.
    let input = answer(&[(8, 10)], None, &[0x11, 0x04, 0x00, 0x08, 0x00, 0x01]);
    assert_eq!(input, [0x11, 0x04, 0x02, 0x00, 0x0A, 0xF8, 0xF4]);
    // V1.1b3 §7: exceptions 1 function, 2 address, 3 count.
    for (body, code) in [
        ([0x01, 0x06, 0, 0, 0, 1], 1),
        ([0x01, 0x03, 0, 199, 0, 2], 2),
        ([0x01, 0x03, 0xFF, 0xFF, 0, 1], 2),
        ([0x01, 0x03, 0, 0, 0, 0], 3),
        ([0x01, 0x04, 0, 0, 0, 126], 3),
    ] {
        assert_eq!(answer(&[], None, &body)[1..3], [body[1] | 0x80, code], "{body:02X?}");
    }
    let refused = answer(&[], Some(UnitFault::Exception(2)), &[0x01, 0x03, 0, 0, 0, 1]);
    assert_eq!(refused, [0x01, 0x83, 0x02, 0xC0, 0xF1]);
}

#[test]
fn layouts_are_as_the_table_says() {
    let record = |name, value| Record { name, unit: None, value };
    let (wash, rinse) = (RecordValue::Number(71.5), RecordValue::Number(-0.2));
    let mut unit = Unit::new(Layout::Tenths);
    unit.take(&record("wash", wash.clone()));
    unit.take(&record("rinse", rinse));
    unit.take(&record("running", RecordValue::Boolean(true)));
    assert_eq!((unit.words[0], unit.words[1], unit.words[16]), (715, 0xFFFE, 1));
    unit.take(&record("rinse", RecordValue::Text("open-circuit")));
    assert_eq!(unit.words[1], 0x7FFF);
    let mut unit = Unit::new(Layout::FloatSwapped);
    unit.take(&record("rinse", wash));
    // IEEE 754: 71.5 is 428F0000 (computed with another program).
    assert_eq!(unit.words[2..4], [0x0000, 0x428F]);
    unit.take(&record("rinse", RecordValue::Text("open-circuit")));
    assert!(f32::from_bits(u32::from(unit.words[3]) << 16 | u32::from(unit.words[2])).is_nan());
}

#[test]
fn faults_are_read_by_their_words() {
    for (text, expected) in [
        ("dead", Some(UnitFault::Dead)),
        ("exception:2", Some(UnitFault::Exception(2))),
        ("slow:150", Some(UnitFault::Slow(Duration::from_millis(150)))),
        ("late:300", Some(UnitFault::Late(Duration::from_millis(300)))),
        ("noise", Some(UnitFault::Noise)),
        ("garbled", Some(UnitFault::Garbled)),
        ("slow", None),
        ("asleep", None),
    ] {
        assert_eq!(text.parse().ok(), expected, "{text}");
    }
}
