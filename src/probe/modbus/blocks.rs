//! Which registers of a unit are asked for together.

use crate::config::modbus::ModbusUnit;
use crate::wire::registers::Function;

/// Registers that one request asks for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Block {
    /// Which function reads them.
    pub function: Function,
    /// The first of them, counted from 0.
    pub first: u16,
    /// How many.
    pub count: u16,
    /// Places of the values in the unit's list whose registers these are.
    pub members: Vec<usize>,
}

impl Block {
    /// The words of a value that begins at register `address`.
    #[must_use]
    pub fn words<'w>(&self, words: &'w [u16], address: u16, count: u16) -> &'w [u16] {
        let start = usize::from(address.saturating_sub(self.first));
        words.get(start..start + usize::from(count)).unwrap_or_default()
    }
}

/// As few requests as possible: what lies side by side, or within the permitted gap, goes together
/// up to the most that one request may ask for. A value is never cut.
#[must_use]
pub fn blocks(unit: &ModbusUnit) -> Vec<Block> {
    let mut order: Vec<usize> = (0..unit.registers.len()).collect();
    order.sort_by_key(|place| {
        let register = &unit.registers[*place];
        (register.function, register.address, register.shape.kind.registers())
    });
    let mut blocks: Vec<Block> = Vec::new();
    for place in order {
        let register = &unit.registers[place];
        let (first, count) = (register.address, register.shape.kind.registers());
        let end = u32::from(first) + u32::from(count);
        let fits = |block: &&mut Block| {
            let block_end = u32::from(block.first) + u32::from(block.count);
            block.function == register.function
                && u32::from(first) <= block_end + u32::from(unit.gap_max)
                && end.max(block_end) - u32::from(block.first) <= u32::from(unit.block_max)
        };
        if let Some(block) = blocks.last_mut().filter(fits) {
            let block_end = u32::from(block.first) + u32::from(block.count);
            block.count = u16::try_from(end.max(block_end) - u32::from(block.first)).unwrap_or(block.count);
            block.members.push(place);
        } else {
            blocks.push(Block { function: register.function, first, count, members: vec![place] });
        }
    }
    blocks
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::config::modbus::ModbusRegister;
    use crate::core::id::ChannelId;
    use crate::wire::directory::WireUnit;
    use crate::wire::registers::{RegisterShape, RegisterType, WordOrder};

    fn register((code, address, words): (u8, u16, u16)) -> ModbusRegister {
        let kind = if words == 1 { RegisterType::I16 } else { RegisterType::F32 };
        let order = WordOrder::HighFirst;
        ModbusRegister {
            channel: ChannelId(0),
            unit: WireUnit::Celsius,
            function: if code == 3 { Function::Holding } else { Function::Input },
            address,
            shape: RegisterShape { kind, order, scale: 1.0, offset: 0.0, faults: Vec::new() },
        }
    }

    // Own rules, stated at `blocks`.
    #[test]
    fn neighbours_go_together() {
        for (block_max, gap_max, registers, expected) in [
            (125, 0, &[(4, 0, 1), (4, 1, 1)][..], &[(4, 0, 2)][..]),
            (125, 0, &[(4, 1, 1), (4, 0, 1)], &[(4, 0, 2)]),
            (125, 0, &[(4, 0, 1), (3, 1, 1)], &[(3, 1, 1), (4, 0, 1)]),
            (125, 0, &[(4, 0, 1), (4, 2, 1)], &[(4, 0, 1), (4, 2, 1)]),
            (125, 1, &[(4, 0, 1), (4, 2, 1)], &[(4, 0, 3)]),
            (125, 0, &[(3, 0, 2), (3, 2, 2), (3, 4, 1)], &[(3, 0, 5)]),
            (4, 0, &[(3, 0, 2), (3, 2, 2), (3, 4, 1)], &[(3, 0, 4), (3, 4, 1)]),
            (3, 0, &[(3, 0, 2), (3, 2, 2)], &[(3, 0, 2), (3, 2, 2)]),
            // Two values of the same bits, read in two ways.
            (125, 0, &[(3, 0, 2), (3, 0, 1), (3, 1, 1)], &[(3, 0, 2)]),
            (125, 123, &[(3, 0, 1), (3, 124, 1), (3, 125, 1)], &[(3, 0, 125), (3, 125, 1)]),
            (125, 0, &[(3, 65_534, 2), (3, 65_533, 1)], &[(3, 65_533, 3)]),
        ] {
            let unit = ModbusUnit {
                address: 1,
                poll: Duration::from_secs(1),
                time_out: Duration::from_secs(1),
                block_max,
                gap_max,
                registers: registers.iter().copied().map(register).collect(),
            };
            let blocks = blocks(&unit);
            let found: Vec<_> =
                blocks.iter().map(|block| (block.function.code(), block.first, block.count)).collect();
            assert_eq!(found, expected, "{registers:?}");
            let mut members: Vec<usize> = blocks.into_iter().flat_map(|block| block.members).collect();
            members.sort_unstable();
            assert_eq!(members, (0..registers.len()).collect::<Vec<_>>(), "each once: {registers:?}");
        }
    }
}
