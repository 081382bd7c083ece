//! What the log is told of each unit: that it answers, is silent, refuses or cannot be read. Each
//! once, when it changes.

use std::collections::BTreeMap;

use tracing::{info, warn};

use super::link::{Ask, meaning};
use crate::config::modbus::{ModbusLink, ModbusSource};
use crate::config::text;

/// How a unit was told to be last.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Told {
    Nothing,
    Answers,
    Silent,
    Late,
    Garbled,
}

/// The log of the units of one source.
#[derive(Debug)]
pub(super) struct Journal<'s> {
    source: &'s str,
    settings: &'s ModbusSource,
    told: Vec<Told>,
    /// What is refused, with the exception told last.
    refused: BTreeMap<(usize, u8, u16), u8>,
}

impl<'s> Journal<'s> {
    pub(super) fn new(source: &'s str, settings: &'s ModbusSource) -> Self {
        Self { source, settings, told: vec![Told::Nothing; settings.units.len()], refused: BTreeMap::new() }
    }

    pub(super) fn answers(&mut self, place: usize) {
        if self.changed(place, Told::Answers) {
            info!(source = self.source, unit = self.unit(place), "a unit answers");
        }
    }

    pub(super) fn silent(&mut self, place: usize) {
        if self.changed(place, Told::Silent) {
            let (source, unit) = (self.source, self.unit(place));
            let waited = self.settings.units.get(place).map(|unit| text::of_duration(unit.time_out));
            let advice = match &self.settings.link {
                ModbusLink::Rtu(_) => {
                    "look at its supply, its address, baud rate and parity, and whether the two wires are exchanged"
                }
                ModbusLink::Tcp { .. } => "look at its supply, its address, and the gateway before it",
            };
            warn!(
                slug = "modbus-silent",
                source, unit, waited, advice, "a unit does not answer; it is asked again, the others go on"
            );
        }
    }

    pub(super) fn late(&mut self, place: usize) {
        if self.changed(place, Told::Late) {
            let (source, unit) = (self.source, self.unit(place));
            let waited = self.settings.units.get(place).map(|unit| text::of_duration(unit.time_out));
            let advice = "raise its time-out in the configuration; poll must leave room for it";
            warn!(
                slug = "modbus-late",
                source,
                unit,
                waited,
                advice,
                "a unit answers after its time-out, so that nothing is read of it"
            );
        }
    }

    pub(super) fn garbled(&mut self, place: usize) {
        if self.changed(place, Told::Garbled) {
            let (source, unit) = (self.source, self.unit(place));
            let advice = "look for two units of one address, another parity, a missing terminating resistor, \
                          another master on the line, or a time-out shorter than the unit needs";
            warn!(slug = "modbus-garbled", source, unit, advice, "what a unit answers cannot be read");
        }
    }

    /// A request was refused.
    pub(super) fn refused(&mut self, place: usize, ask: Ask, code: u8) {
        let key = (place, ask.function.code(), ask.first);
        if self.refused.insert(key, code) == Some(code) {
            return;
        }
        let (source, unit, function) = (self.source, self.unit(place), ask.function.code());
        let (register, count, cause) = (ask.first, ask.count, meaning(code));
        let advice = "look up in its manual which function reads this register; registers count from 0 here";
        warn!(
            slug = "modbus-exception",
            source,
            unit,
            function,
            register,
            count,
            exception = code,
            cause,
            advice,
            "a unit refuses a request"
        );
    }

    /// A request was answered.
    pub(super) fn read(&mut self, place: usize, ask: Ask) {
        if self.refused.remove(&(place, ask.function.code(), ask.first)).is_some() {
            let (source, unit, function) = (self.source, self.unit(place), ask.function.code());
            info!(
                source,
                unit,
                function,
                register = ask.first,
                "a unit answers a request that it had refused"
            );
        }
    }

    fn unit(&self, place: usize) -> u8 {
        self.settings.units.get(place).map_or(0, |unit| unit.address)
    }

    fn changed(&mut self, place: usize, now: Told) -> bool {
        self.told.get_mut(place).is_some_and(|told| std::mem::replace(told, now) != now)
    }
}
