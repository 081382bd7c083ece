//! A scene as PNG: shapes by area coverage, so that slanted lines are smooth;
//! lettering by a fixed font of ISO 8859-1 at its own size, so that it is crisp.

use embedded_graphics::Drawable as _;
use embedded_graphics::mono_font::MonoTextStyle;
use embedded_graphics::mono_font::iso_8859_1::{FONT_9X18, FONT_9X18_BOLD};
use embedded_graphics::pixelcolor::Rgb888;
use embedded_graphics::prelude::{DrawTarget, OriginDimensions, Pixel, RgbColor as _};
use embedded_graphics::text::{Alignment, Text};

use super::area::cut;
use super::scene::{Anchor, Face, Ink, Mark, Scene, Spot, scene};
use super::{Plot, Shape, Size};

/// The lettering: 9 × 18 px, still readable where a phone shows a mail at half its width.
const FACE: Face = Face { advance: 9.0, line: 19.0 };
/// Rows of samples in a px.
const SAMPLES: usize = 4;

/// A picture could not be encoded.
#[derive(Debug, thiserror::Error)]
#[error("the encoder refused a picture of {width} × {height} px")]
pub struct PngError {
    /// Its width.
    pub width: u16,
    /// Its height.
    pub height: u16,
    /// What the encoder says.
    #[source]
    pub source: png::EncodingError,
}

/// Draws the plot and encodes it.
pub(super) fn write(plot: &Plot, size: Size) -> Result<Vec<u8>, PngError> {
    let Scene { marks, .. } = scene(plot, size, FACE);
    let mut canvas = Canvas::new(size);
    for mark in &marks {
        match mark {
            Mark::Fill { points, ink } => canvas.fill(std::slice::from_ref(points), *ink),
            Mark::Stroke { points, ink, dash, width } => canvas.stroke(points, *ink, dash, *width),
            Mark::Shape { at, shape } => canvas.shape(*at, *shape),
            Mark::Text { at, text, anchor, bold, ink } => canvas.text(*at, text, *anchor, *bold, *ink),
        }
    }
    let refused = |source| PngError { width: size.width, height: size.height, source };
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, u32::from(size.width), u32::from(size.height));
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().map_err(refused)?;
    writer.write_image_data(&canvas.bytes).map_err(refused)?;
    writer.finish().map_err(refused)?;
    Ok(bytes)
}

struct Canvas {
    width: usize,
    height: usize,
    /// Red, green, blue of each px, row by row.
    bytes: Vec<u8>,
    /// How much of each px the shape under way covers, 0 to 1.
    cover: Vec<f32>,
}

impl Canvas {
    fn new(size: Size) -> Self {
        let (width, height) = (usize::from(size.width), usize::from(size.height));
        Self { width, height, bytes: vec![255; width * height * 3], cover: vec![0.0; width * height] }
    }

    /// Fills the union of polygons.
    fn fill(&mut self, polygons: &[Vec<Spot>], ink: Ink) {
        let (mut first, mut last) = (self.height, 0);
        for polygon in polygons {
            let rows = self.cover_polygon(polygon);
            (first, last) = (first.min(rows.0), last.max(rows.1));
        }
        let rgb = ink.rgb();
        for place in first * self.width..last * self.width {
            let cover = std::mem::take(&mut self.cover[place]);
            if cover > 0.0 {
                for (channel, colour) in rgb.into_iter().enumerate() {
                    let byte = &mut self.bytes[place * 3 + channel];
                    *byte = mixed(*byte, colour, cover.min(1.0));
                }
            }
        }
    }

    /// Adds the coverage of one polygon by the even-odd rule; where shapes overlap, the larger
    /// coverage stays. Gives the rows touched, the end not included.
    fn cover_polygon(&mut self, polygon: &[Spot]) -> (usize, usize) {
        let low = polygon.iter().map(|spot| spot.1).fold(f64::INFINITY, f64::min);
        let high = polygon.iter().map(|spot| spot.1).fold(0.0, f64::max).ceil();
        let (low, high) = (cut(low).min(self.height), cut(high).min(self.height));
        let mut row = vec![0.0_f32; self.width];
        for y in low..high {
            row.fill(0.0);
            for sample in 0..SAMPLES {
                let height = y as f64 + (sample as f64 + 0.5) / SAMPLES as f64;
                for (left, right) in spans(polygon, height) {
                    add_span(&mut row, left, right);
                }
            }
            let stretch = &mut self.cover[y * self.width..(y + 1) * self.width];
            for (cover, new) in stretch.iter_mut().zip(&row) {
                *cover = cover.max(*new);
            }
        }
        (low, high)
    }

    fn stroke(&mut self, points: &[Spot], ink: Ink, dash: &[f64], width: f64) {
        let mut polygons = Vec::new();
        for part in dashed(points, dash) {
            for pair in part.windows(2) {
                polygons.extend(quad(pair[0], pair[1], width));
            }
            // Round joints close the wedge between two stretches of a solid line.
            if dash.is_empty() && part.len() > 2 {
                polygons.extend(part[1..part.len() - 1].iter().map(|at| circle(*at, width / 2.0, 8)));
            }
        }
        self.fill(&polygons, ink);
    }

    fn shape(&mut self, at: Spot, shape: Shape) {
        let (x, y) = at;
        match shape {
            Shape::Cross => {
                let arms =
                    [((x - 5.0, y - 5.0), (x + 5.0, y + 5.0)), ((x - 5.0, y + 5.0), (x + 5.0, y - 5.0))];
                let arms: Vec<_> = arms.into_iter().filter_map(|(from, to)| quad(from, to, 3.0)).collect();
                self.fill(&arms, Ink::Bad);
            }
            Shape::HalfCircle => {
                self.fill(&[circle(at, 6.0, 24)], Ink::Bad);
                let left: Vec<Spot> =
                    circle(at, 4.0, 24).into_iter().map(|spot| (spot.0.min(x), spot.1)).collect();
                self.fill(&[left], Ink::Ground);
            }
            Shape::Triangle => {
                self.fill(&[vec![(x - 6.0, y - 5.0), (x + 6.0, y - 5.0), (x, y + 5.0)]], Ink::Bad);
            }
            Shape::Square => {
                let square = |half: f64| {
                    vec![
                        (x - half, y - half),
                        (x + half, y - half),
                        (x + half, y + half),
                        (x - half, y + half),
                    ]
                };
                self.fill(&[square(5.5)], Ink::Muted);
                self.fill(&[square(3.5)], Ink::Ground);
            }
            Shape::Diamond => {
                self.fill(&[circle(at, 7.0, 4)], Ink::Good);
                self.fill(&[circle(at, 4.2, 4)], Ink::Ground);
            }
            Shape::Dot => self.fill(&[circle(at, 3.0, 16)], Ink::Good),
            Shape::Ring => {
                self.fill(&[circle(at, 5.5, 24)], Ink::Muted);
                self.fill(&[circle(at, 3.5, 24)], Ink::Ground);
            }
        }
    }

    fn text(&mut self, at: Spot, text: &str, anchor: Anchor, bold: bool, ink: Ink) {
        let [red, green, blue] = ink.rgb();
        let font = if bold { &FONT_9X18_BOLD } else { &FONT_9X18 };
        let alignment = match anchor {
            Anchor::Start => Alignment::Left,
            Anchor::Middle => Alignment::Center,
            Anchor::End => Alignment::Right,
        };
        let text: String = text.chars().map(printable).collect();
        let place = embedded_graphics::geometry::Point::new(whole(at.0), whole(at.1));
        let style = MonoTextStyle::new(font, Rgb888::new(red, green, blue));
        match Text::with_alignment(&text, place, style, alignment).draw(self) {
            Ok(_end) => {}
            Err(never) => match never {},
        }
    }
}

impl OriginDimensions for Canvas {
    fn size(&self) -> embedded_graphics::geometry::Size {
        let size = |length: usize| u32::try_from(length).unwrap_or(u32::MAX);
        embedded_graphics::geometry::Size::new(size(self.width), size(self.height))
    }
}

impl DrawTarget for Canvas {
    type Color = Rgb888;
    type Error = std::convert::Infallible;

    fn draw_iter<I>(&mut self, pixels: I) -> Result<(), Self::Error>
    where
        I: IntoIterator<Item = Pixel<Rgb888>>,
    {
        for Pixel(at, colour) in pixels {
            let (Ok(x), Ok(y)) = (usize::try_from(at.x), usize::try_from(at.y)) else { continue };
            if x < self.width && y < self.height {
                let place = (y * self.width + x) * 3;
                self.bytes[place..place + 3].copy_from_slice(&[colour.r(), colour.g(), colour.b()]);
            }
        }
        Ok(())
    }
}

/// What the font has; a few marks of typography become their plain kin.
const fn printable(character: char) -> char {
    match character {
        '−' | '–' | '—' => '-',
        '…' => '.',
        '’' | '‘' => '\'',
        '“' | '”' => '"',
        '\u{2009}' | '\u{202f}' | '\u{a0}' => ' ',
        ' '..='~' | '\u{a1}'..='\u{ff}' => character,
        _ => '?',
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a place on a picture of at most 4,000 px; `as` saturates"
)]
fn whole(place: f64) -> i32 {
    place.round() as i32
}

#[expect(clippy::cast_possible_truncation, reason = "a mean of two bytes is a byte")]
fn mixed(below: u8, above: u8, cover: f32) -> u8 {
    (f32::from(below) * (1.0 - cover) + f32::from(above) * cover).round() as u8
}

/// The stretches of a row that lie inside a polygon, by the even-odd rule.
fn spans(polygon: &[Spot], height: f64) -> Vec<(f64, f64)> {
    let following = polygon.iter().cycle().skip(1);
    let mut crossings: Vec<f64> = polygon
        .iter()
        .zip(following)
        .filter(|(one, next)| (one.1 <= height) != (next.1 <= height))
        .map(|(one, next)| one.0 + (height - one.1) / (next.1 - one.1) * (next.0 - one.0))
        .collect();
    crossings.sort_by(f64::total_cmp);
    crossings.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect()
}

/// Adds one row of samples from `left` to `right` to the coverage of a row of px.
fn add_span(row: &mut [f32], left: f64, right: f64) {
    let (left, right) = (left.max(0.0), right.min(row.len() as f64));
    if right <= left {
        return;
    }
    for (x, cover) in row.iter_mut().enumerate().take(cut(right.ceil())).skip(cut(left)) {
        let part = (right.min(x as f64 + 1.0) - left.max(x as f64)).max(0.0);
        #[expect(clippy::cast_possible_truncation, reason = "a share of one px, 0 to 1")]
        let part = part as f32;
        *cover += part / SAMPLES as f32;
    }
}

/// A line as a rectangle of its width; none where both ends are one.
fn quad(from: Spot, to: Spot, width: f64) -> Option<Vec<Spot>> {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let length = dx.hypot(dy);
    (length > 1e-9).then(|| {
        let (across, down) = (-dy / length * width / 2.0, dx / length * width / 2.0);
        vec![
            (from.0 + across, from.1 + down),
            (to.0 + across, to.1 + down),
            (to.0 - across, to.1 - down),
            (from.0 - across, from.1 - down),
        ]
    })
}

/// A circle as a polygon; with 4 corners a diamond.
fn circle(at: Spot, radius: f64, corners: u32) -> Vec<Spot> {
    (0..corners)
        .map(|corner| {
            let turn = f64::from(corner) / f64::from(corners) * std::f64::consts::TAU;
            (at.0 + radius * turn.cos(), at.1 + radius * turn.sin())
        })
        .collect()
}

/// Cuts a line into its dashes: the first length is drawn, the second left out, and so on.
fn dashed(points: &[Spot], dash: &[f64]) -> Vec<Vec<Spot>> {
    let Some(mut left) = dash.first().copied() else { return vec![points.to_vec()] };
    let (mut parts, mut current) = (Vec::new(), points.first().map(|at| vec![*at]).unwrap_or_default());
    let mut number = 0;
    for pair in points.windows(2) {
        let (mut from, to) = (pair[0], pair[1]);
        loop {
            let length = (to.0 - from.0).hypot(to.1 - from.1);
            let drawn = number % 2 == 0;
            if length < left {
                left -= length;
                if drawn {
                    current.push(to);
                }
                break;
            }
            let share = if length > 0.0 { left / length } else { 1.0 };
            from = (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1));
            if drawn {
                current.push(from);
                parts.push(std::mem::take(&mut current));
            } else {
                current = vec![from];
            }
            number += 1;
            left = dash[number % dash.len()].max(0.5);
        }
    }
    if current.len() > 1 {
        parts.push(current);
    }
    parts
}
