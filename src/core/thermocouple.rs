//! Thermocouples by ITS-90.

/// Type of a thermocouple by its letter (IEC 60584-1).
#[derive(Clone, Copy, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize)]
pub enum ThermocoupleType {
    /// Nickel-chromium / nickel-aluminium.
    K,
    /// Copper / copper-nickel.
    T,
    /// Iron / copper-nickel.
    J,
    /// Nickel-chromium / copper-nickel.
    E,
    /// Nickel-chromium-silicon / nickel-silicon.
    N,
    /// Platinum-13 % rhodium / platinum.
    R,
    /// Platinum-10 % rhodium / platinum.
    S,
}
