//! Plots for pages, mail and paper: one small model, two writers.
//!
//! A [`Plot`] says what is to be seen; `scene` places it, and [`Plot::svg`] and
//! [`Plot::png`] write the very same scene, so that the picture in a mail and
//! the one on a page cannot differ. Two plots are made here: the trace of one
//! [`cycle`] and the settled minima of one [`day`].
//!
//! Nothing is told by colour alone: every line has its own dashes, every verdict
//! its own shape, and the key names both. The ground is always light, so that a
//! plot reads the same in a dark mail program, on paper and on a copy of it.
//!
//! Limits: a line is thinned to its extremes, two points for each pixel
//! column, before it is written.

mod area;
pub mod cycle;
pub mod day;
pub mod days;
pub mod live;
mod raster;
mod scene;
mod svg;
mod ticks;
pub mod words;

#[cfg(test)]
mod tests;

pub use raster::PngError;

use crate::core::cycle::sign::Sign as Shape;

/// What is to be seen.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Plot {
    /// What stands over the plot.
    pub title: String,
    /// What the plot shows, in sentences, for whoever does not see it.
    pub description: String,
    /// Horizontal axis.
    pub x: Axis,
    /// Vertical axis.
    pub y: Axis,
    /// Shaded stretches of the horizontal axis, drawn first.
    pub windows: Vec<Window>,
    /// Bands between two lines.
    pub bands: Vec<Band>,
    /// Lines.
    pub lines: Vec<Line>,
    /// Marked points, drawn last; later ones over earlier ones.
    pub points: Vec<Point>,
    /// Shapes that the key explains, beside the lines and bands that have a name.
    pub key: Vec<(Shape, String)>,
}

/// One axis.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Axis {
    /// What is on it, with its unit.
    pub label: String,
    /// Its lower end.
    pub from: f64,
    /// Its upper end.
    pub to: f64,
    /// Marks on it, in order.
    pub ticks: Vec<Tick>,
}

/// One mark on an axis.
#[derive(Clone, PartialEq, Debug)]
pub struct Tick {
    /// Where.
    pub at: f64,
    /// What is written beside it.
    pub label: String,
}

/// A shaded stretch of the horizontal axis.
#[derive(Clone, PartialEq, Debug)]
pub struct Window {
    /// Where it begins.
    pub from: f64,
    /// Where it ends.
    pub to: f64,
    /// What is written at its top where it fits, else in the key.
    pub label: String,
    /// How it is shaded.
    pub shade: Shade,
}

/// How a window is shaded.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Shade {
    /// Lightly: a stretch with a name.
    Light,
    /// More strongly: the stretch that matters.
    Strong,
    /// Crossed by slanted lines: nothing is known here.
    Hatched,
}

/// A band between two lines.
#[derive(Clone, PartialEq, Debug)]
pub struct Band {
    /// Horizontal place, lower and upper edge, in order.
    pub edges: Vec<(f64, f64, f64)>,
    /// Its name in the key.
    pub name: String,
}

/// One line.
#[derive(Clone, PartialEq, Debug)]
pub struct Line {
    /// Its points in order; a value that is not finite breaks it.
    pub points: Vec<(f64, f64)>,
    /// What it stands for, which decides its colour and dashes.
    pub stroke: Stroke,
    /// Its name in the key.
    pub name: String,
}

/// What a line stands for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Stroke {
    /// The water of the final rinse: solid.
    Rinse,
    /// The wash tank: dash and dot.
    Wash,
    /// A limit: long dashes.
    Limit,
}

/// One marked point.
#[derive(Clone, PartialEq, Debug)]
pub struct Point {
    /// Horizontal place.
    pub x: f64,
    /// Vertical place.
    pub y: f64,
    /// Its shape.
    pub shape: Shape,
    /// What the key says of it, beside its shape; empty for nothing.
    pub label: String,
}

/// Width and height of a picture, px.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Size {
    /// Width, 200 to 4,000 px; values outside are brought to the nearer end.
    pub width: u16,
    /// Height, 120 to 4,000 px; values outside are brought to the nearer end.
    pub height: u16,
}

impl Size {
    /// The size in a mail: as wide as its text, and lettering that stays readable on a phone.
    pub const MAIL: Self = Self { width: 640, height: 360 };

    /// The size on a phone: drawn as it is on the narrowest screen.
    pub const PHONE: Self = Self { width: 340, height: 360 };
    /// The size on a page of a wider screen.
    pub const PAGE: Self = Self { width: 760, height: 400 };

    fn bounded(self) -> Self {
        Self { width: self.width.clamp(200, 4000), height: self.height.clamp(120, 4000) }
    }
}

impl Plot {
    /// The plot as a whole SVG document, which may also stand inside a page.
    #[must_use]
    pub fn svg(&self, size: Size) -> String {
        svg::write(self, size.bounded())
    }

    /// The plot as a PNG picture.
    ///
    /// # Errors
    /// [`PngError`] where the encoder refuses, which no size of [`Size`] makes it do.
    pub fn png(&self, size: Size) -> Result<Vec<u8>, PngError> {
        raster::write(self, size.bounded())
    }
}
