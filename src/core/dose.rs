//! Thermal dose: A0 and HUE.
