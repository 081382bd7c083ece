//! demo
mod scene;
mod screen;
