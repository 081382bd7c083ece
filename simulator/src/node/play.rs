//! Plays a world onto links.
