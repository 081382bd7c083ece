//! History as table, JSON lines and CSV.
