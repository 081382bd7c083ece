//! Configuration: read in layers, checked as a whole, every problem told at once.
