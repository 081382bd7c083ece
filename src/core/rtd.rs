//! Pt100 by IEC 60751.
