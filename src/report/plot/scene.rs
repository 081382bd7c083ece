//! Where everything of a plot goes: shapes and texts at their places, in px.
//! Both writers draw a [`Scene`] from its first mark to its last.
//!
//! No text lies over the curves: what is to be said of a point stands in the key, beside its shape, and a
//! window that is too narrow for its name has it there as well. A text that is wider than the picture is
//! broken into lines.

use super::area::{Area, cut, decimated};
use super::{Plot, Shade, Shape, Size, Stroke, Window};

/// A place in px from the upper left corner.
pub(super) type Spot = (f64, f64);

/// A plot laid out.
#[derive(Debug)]
pub(super) struct Scene {
    /// Width and height, px.
    pub(super) size: (f64, f64),
    /// What to draw, in order.
    pub(super) marks: Vec<Mark>,
}

/// Something to draw.
#[derive(Debug)]
pub(super) enum Mark {
    /// A filled polygon.
    Fill { points: Vec<Spot>, ink: Ink },
    /// A line.
    Stroke { points: Vec<Spot>, ink: Ink, dash: &'static [f64], width: f64 },
    /// A marked point.
    Shape { at: Spot, shape: Shape },
    /// One line of text; the place is on its base line.
    Text { at: Spot, text: String, anchor: Anchor, bold: bool, ink: Ink },
}

/// Which point of a text its place is.
#[derive(Clone, Copy, Debug)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// What a colour is for. The colours of lines and shapes are from the palette of Okabe and Ito
/// («Color Universal Design», 2008), told apart by every kind of colour vision.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Ink {
    Ground,
    Text,
    Muted,
    Grid,
    Light,
    Strong,
    Band,
    Rinse,
    Wash,
    Limit,
    Bad,
    Good,
}

impl Ink {
    /// Red, green and blue.
    pub(super) const fn rgb(self) -> [u8; 3] {
        match self {
            Self::Ground => [255, 255, 255],
            Self::Text => [26, 26, 26],
            Self::Muted => [85, 85, 85],
            Self::Grid => [216, 216, 216],
            Self::Light => [241, 241, 241],
            Self::Strong => [221, 234, 243],
            Self::Band => [236, 222, 200],
            Self::Rinse => [0, 114, 178],
            Self::Wash => [90, 90, 90],
            Self::Limit | Self::Bad => [190, 60, 0],
            Self::Good => [0, 96, 70],
        }
    }
}

/// The lettering of a writer, px.
#[derive(Clone, Copy, Debug)]
pub(super) struct Face {
    /// Mean width of a character.
    pub(super) advance: f64,
    /// Height of a line.
    pub(super) line: f64,
}

impl Face {
    pub(super) fn width(self, text: &str) -> f64 {
        self.advance * text.chars().count() as f64
    }

    /// The text in lines no wider than `room`.
    fn wrapped(self, text: &str, room: f64) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            match lines.last_mut() {
                Some(line) if self.width(line) + self.advance + self.width(word) <= room => {
                    line.push(' ');
                    line.push_str(word);
                }
                Some(_) | None => lines.push(self.fitted(word, room)),
            }
        }
        lines
    }

    /// The text, cut with an ellipsis where it is wider than `room`: a word that no line can hold.
    fn fitted(self, text: &str, room: f64) -> String {
        if self.width(text) <= room {
            return text.to_owned();
        }
        let keep = cut(room / self.advance).max(1);
        let mut kept: String = text.chars().take(keep.saturating_sub(1)).collect();
        kept.truncate(kept.trim_end().len());
        kept.push('…');
        kept
    }
}

impl Stroke {
    const fn pen(self) -> (Ink, &'static [f64], f64) {
        match self {
            Self::Rinse => (Ink::Rinse, &[], 2.2),
            Self::Wash => (Ink::Wash, &[8.0, 3.0, 2.0, 3.0], 1.8),
            Self::Limit => (Ink::Limit, &[9.0, 5.0], 1.8),
        }
    }
}

/// Space between the edge of the picture and anything else, px.
const EDGE: f64 = 10.0;
/// Length of the sample of a line in the key, px.
const SAMPLE: f64 = 22.0;
/// Most lines of a title; what a longer one says more is in the description.
const TITLE_LINES_MAX: usize = 3;

/// Lays a plot out.
pub(super) fn scene(plot: &Plot, size: Size, face: Face) -> Scene {
    let size = (f64::from(size.width), f64::from(size.height));
    let mut scene = Scene { size, marks: Vec::new() };
    scene.fill(0.0, 0.0, size.0, size.1, Ink::Ground);
    let mut top = EDGE;
    for line in face.wrapped(&plot.title, size.0 - 2.0 * EDGE).into_iter().take(TITLE_LINES_MAX) {
        top += face.line;
        scene.text((EDGE, top - face.line * 0.25), line, Anchor::Start, true, Ink::Text);
    }
    let labels = plot.y.ticks.iter().map(|tick| face.width(&tick.label)).fold(0.0, f64::max);
    let left = EDGE + labels.max(face.width(&plot.y.label)) + 8.0;
    let right = size.0 - EDGE - 4.0;
    top = key(&mut scene, plot, face, (left, top), right) + 4.0;
    // The unit of the axis, and over the curves the names of the windows, stand in a strip of their own.
    let strip = face.line + 2.0;
    let unit = (left - 8.0, top + face.line * 0.6);
    scene.text(unit, plot.y.label.clone(), Anchor::End, false, Ink::Muted);
    let below = face.line + if plot.x.label.is_empty() { 0.0 } else { face.line };
    let area = Area { left, right, top, curves: top + strip, bottom: size.1 - below - EDGE };
    windows(&mut scene, plot, face, &area);
    grid(&mut scene, plot, face, &area);
    curves(&mut scene, plot, &area);
    points(&mut scene, plot, &area);
    scene
}

impl Scene {
    fn fill(&mut self, left: f64, top: f64, right: f64, bottom: f64, ink: Ink) {
        let points = vec![(left, top), (right, top), (right, bottom), (left, bottom)];
        self.marks.push(Mark::Fill { points, ink });
    }

    fn line(&mut self, points: Vec<Spot>, ink: Ink, width: f64) {
        self.marks.push(Mark::Stroke { points, ink, dash: &[], width });
    }

    fn text(&mut self, at: Spot, text: String, anchor: Anchor, bold: bool, ink: Ink) {
        if !text.is_empty() {
            self.marks.push(Mark::Text { at, text, anchor, bold, ink });
        }
    }
}

/// What stands before a name in the key.
enum Sample {
    Line(Stroke),
    Window(Shade),
    Band,
    Shape(Shape),
}

/// Everything that the key explains, in order; the area of the curves reaches from `left` to `right`.
fn explained(plot: &Plot, face: Face, left: f64, right: f64) -> Vec<(Sample, &str)> {
    let points = plot.points.iter().map(|point| (Sample::Shape(point.shape), point.label.as_str()));
    let lines = plot.lines.iter().map(|line| (Sample::Line(line.stroke), line.name.as_str()));
    let bands = plot.bands.iter().map(|band| (Sample::Band, band.name.as_str()));
    let width = |window: &Window| (window.to - window.from) / (plot.x.to - plot.x.from) * (right - left);
    let narrow = plot
        .windows
        .iter()
        .filter(|window| window.shade != Shade::Hatched && !named_inside(window, face, width(window)))
        .map(|window| (Sample::Window(window.shade), window.label.as_str()));
    let unknown = plot.windows.iter().find(|window| window.shade == Shade::Hatched);
    let unknown = unknown.map(|window| (Sample::Window(window.shade), window.label.as_str()));
    let shapes = plot.key.iter().map(|(shape, name)| (Sample::Shape(*shape), name.as_str()));
    let all = points.chain(lines).chain(bands).chain(narrow).chain(unknown).chain(shapes);
    all.filter(|(_, name)| !name.is_empty()).collect()
}

/// Whether a window of this width, px, has its name at its top.
fn named_inside(window: &Window, face: Face, width: f64) -> bool {
    window.shade != Shade::Hatched && face.width(&window.label) + 4.0 <= width
}

/// Draws the key from `from` on, in as many rows as it takes, and gives the bottom of the last row.
fn key(scene: &mut Scene, plot: &Plot, face: Face, from: Spot, right: f64) -> f64 {
    let (mut x, mut bottom) = (from.0, from.1 + face.line);
    let end = scene.size.0 - EDGE;
    for (sample, name) in explained(plot, face, from.0, right) {
        let length = if matches!(sample, Sample::Shape(_)) { 12.0 } else { SAMPLE };
        let lead = length + 5.0;
        if x > from.0 && x + lead + face.width(name) > end {
            (x, bottom) = (from.0, bottom + face.line);
        }
        sample.draw(scene, x, length, bottom - face.line * 0.5);
        let lines = face.wrapped(name, end - x - lead);
        let widest = lines.iter().map(|line| face.width(line)).fold(0.0, f64::max);
        for (number, line) in lines.into_iter().enumerate() {
            if number > 0 {
                bottom += face.line;
            }
            scene.text((x + lead, bottom - face.line * 0.25), line, Anchor::Start, false, Ink::Text);
        }
        x += lead + widest + 12.0;
    }
    bottom
}

impl Sample {
    fn draw(self, scene: &mut Scene, x: f64, length: f64, middle: f64) {
        match self {
            Self::Line(stroke) => {
                let (ink, dash, width) = stroke.pen();
                let points = vec![(x, middle), (x + length, middle)];
                scene.marks.push(Mark::Stroke { points, ink, dash, width });
            }
            Self::Window(Shade::Light) => {
                scene.fill(x, middle - 5.0, x + length, middle + 5.0, Ink::Light);
            }
            Self::Window(Shade::Strong) => {
                scene.fill(x, middle - 5.0, x + length, middle + 5.0, Ink::Strong);
            }
            Self::Window(Shade::Hatched) => {
                let (top, bottom) = (middle - 6.0, middle + 6.0);
                hatch(scene, x, x + length, &Area { left: x, right: x, top, curves: top, bottom });
            }
            Self::Band => scene.fill(x, middle - 5.0, x + length, middle + 5.0, Ink::Band),
            Self::Shape(shape) => scene.marks.push(Mark::Shape { at: (x + 6.0, middle), shape }),
        }
    }
}

fn windows(scene: &mut Scene, plot: &Plot, face: Face, area: &Area) {
    for window in &plot.windows {
        let (left, right) = (area.x(&plot.x, window.from), area.x(&plot.x, window.to));
        if right - left < 0.5 {
            continue;
        }
        match window.shade {
            Shade::Light => scene.fill(left, area.top, right, area.bottom, Ink::Light),
            Shade::Strong => scene.fill(left, area.top, right, area.bottom, Ink::Strong),
            Shade::Hatched => hatch(scene, left, right, area),
        }
        for edge in [left, right] {
            scene.line(vec![(edge, area.top), (edge, area.bottom)], Ink::Grid, 1.0);
        }
        if named_inside(window, face, right - left) {
            let at = (f64::midpoint(left, right), area.top + face.line * 0.8);
            scene.text(at, window.label.clone(), Anchor::Middle, false, Ink::Muted);
        }
    }
}

/// Slanted lines, 7 px apart, cut at the edges of the stretch.
fn hatch(scene: &mut Scene, left: f64, right: f64, area: &Area) {
    scene.fill(left, area.top, right, area.bottom, Ink::Light);
    let height = area.bottom - area.curves;
    let count = cut((right - left + height) / 7.0);
    for number in 1..=count {
        // From (start, bottom) up to (start + height, curves), both ends brought inside.
        let start = left - height + 7.0 * number as f64;
        let (from, to) = (start.max(left), (start + height).min(right));
        if to > from {
            let points = vec![(from, area.bottom - (from - start)), (to, area.bottom - (to - start))];
            scene.line(points, Ink::Grid, 1.0);
        }
    }
}

fn grid(scene: &mut Scene, plot: &Plot, face: Face, area: &Area) {
    for tick in &plot.y.ticks {
        let y = area.y(&plot.y, tick.at);
        scene.line(vec![(area.left, y), (area.right, y)], Ink::Grid, 1.0);
        scene.text((area.left - 8.0, y + face.line * 0.3), tick.label.clone(), Anchor::End, false, Ink::Text);
    }
    let mut free = f64::NEG_INFINITY;
    for tick in &plot.x.ticks {
        let x = area.x(&plot.x, tick.at);
        scene.line(vec![(x, area.bottom), (x, area.bottom + 5.0)], Ink::Muted, 1.0);
        let half = face.width(&tick.label) / 2.0;
        let middle = x.min(scene.size.0 - 2.0 - half);
        if middle - half > free {
            let at = (middle, area.bottom + face.line * 0.95);
            scene.text(at, tick.label.clone(), Anchor::Middle, false, Ink::Text);
            free = middle + half + face.advance;
        }
    }
    let at = (f64::midpoint(area.left, area.right), area.bottom + face.line * 1.95);
    scene.text(at, plot.x.label.clone(), Anchor::Middle, false, Ink::Muted);
    let frame = vec![(area.left, area.top), (area.left, area.bottom), (area.right, area.bottom)];
    scene.line(frame, Ink::Muted, 1.2);
}

fn curves(scene: &mut Scene, plot: &Plot, area: &Area) {
    for band in &plot.bands {
        let place = |x: f64, y: f64| (area.x(&plot.x, x), area.y(&plot.y, y));
        let upper = band.edges.iter().map(|(x, _, high)| place(*x, *high));
        let lower = band.edges.iter().rev().map(|(x, low, _)| place(*x, *low));
        scene.marks.push(Mark::Fill { points: upper.chain(lower).collect(), ink: Ink::Band });
    }
    // Limits first, so that what was measured lies over them.
    let limits = plot.lines.iter().filter(|line| line.stroke == Stroke::Limit);
    let others = plot.lines.iter().filter(|line| line.stroke != Stroke::Limit);
    for line in limits.chain(others) {
        let (ink, dash, width) = line.stroke.pen();
        for part in line.points.split(|(x, y)| !(x.is_finite() && y.is_finite())) {
            let spots = part.iter().map(|(x, y)| (area.x(&plot.x, *x), area.y(&plot.y, *y))).collect();
            let points = decimated(spots);
            if points.len() > 1 {
                scene.marks.push(Mark::Stroke { points, ink, dash, width });
            }
        }
    }
}

fn points(scene: &mut Scene, plot: &Plot, area: &Area) {
    for point in plot.points.iter().filter(|point| point.x.is_finite() && point.y.is_finite()) {
        let at = (area.x(&plot.x, point.x), area.y(&plot.y, point.y));
        scene.marks.push(Mark::Shape { at, shape: point.shape });
    }
}
