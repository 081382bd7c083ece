//! A scene as SVG.
//!
//! Presentation attributes only, no `style`: such a picture keeps its look under
//! a strict content security policy, and a page may still restyle it by class: every mark has one, and the style
//! sheet of the pages has dark colours for all of them.

use std::fmt::Write as _;

use super::scene::{Anchor, Face, Ink, Mark, Scene, Spot, scene};
use super::{Plot, Shape, Size};

/// Lettering of 13 px; the mean width is that of common sans-serif fonts, on the safe side.
pub(super) const FACE: Face = Face { advance: 7.4, line: 18.0 };

/// Writes the plot as one SVG document.
pub(super) fn write(plot: &Plot, size: Size) -> String {
    let Scene { size: (width, height), marks } = scene(plot, size, FACE);
    let mut out = String::with_capacity(8192);
    let _fits = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"{width}\" height=\"{height}\" \
         viewBox=\"0 0 {width} {height}\" font-family=\"sans-serif\" font-size=\"13\">\n\
         <title>{}</title>\n<desc>{}</desc>\n",
        escaped(&plot.title),
        escaped(&plot.description)
    );
    let plain = |mark: &Mark| matches!(mark, Mark::Shape { shape: Shape::Dot, .. });
    for run in marks.chunk_by(|one, next| plain(one) && plain(next)) {
        let [mark] = run else {
            dots(&mut out, run);
            continue;
        };
        match mark {
            Mark::Fill { points, ink } => fill(&mut out, points, *ink),
            Mark::Stroke { points, ink, dash, width } => stroke(&mut out, points, *ink, dash, *width),
            Mark::Shape { at, shape } => drawn(&mut out, *at, *shape),
            Mark::Text { at, text, anchor, bold, ink } => {
                let anchor = match anchor {
                    Anchor::Start => "",
                    Anchor::Middle => " text-anchor=\"middle\"",
                    Anchor::End => " text-anchor=\"end\"",
                };
                let weight = if *bold { " font-weight=\"bold\"" } else { "" };
                let _fits = writeln!(
                    out,
                    "<text class=\"{}\" x=\"{:.1}\" y=\"{:.1}\"{anchor}{weight} fill=\"{}\">{}</text>",
                    class(*ink),
                    at.0,
                    at.1,
                    hex(*ink),
                    escaped(text)
                );
            }
        }
    }
    out.push_str("</svg>\n");
    out
}

/// Dots behind one another as one path of points: a busy day has hundreds.
fn dots(out: &mut String, run: &[Mark]) {
    let _fits = write!(
        out,
        "<path class=\"plot-pass\" fill=\"none\" stroke=\"{}\" stroke-width=\"6\" stroke-linecap=\"round\" d=\"",
        hex(Ink::Good)
    );
    for mark in run {
        if let Mark::Shape { at: (x, y), .. } = mark {
            let _fits = write!(out, "M{x:.1} {y:.1}h0");
        }
    }
    out.push_str("\"/>\n");
}

fn fill(out: &mut String, points: &[Spot], ink: Ink) {
    let _fits = writeln!(
        out,
        "<polygon class=\"{}\" points=\"{}\" fill=\"{}\"/>",
        class(ink),
        list(points),
        hex(ink)
    );
}

fn stroke(out: &mut String, points: &[Spot], ink: Ink, dash: &[f64], width: f64) {
    let dashes: Vec<String> = dash.iter().map(f64::to_string).collect();
    let dashes =
        if dashes.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{}\"", dashes.join(" ")) };
    let _fits = writeln!(
        out,
        "<polyline class=\"{}\" points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{width}\"{dashes}/>",
        class(ink),
        list(points),
        hex(ink)
    );
}

fn drawn(out: &mut String, at: Spot, shape: Shape) {
    let (bad, good, ground) = (hex(Ink::Bad), hex(Ink::Good), hex(Ink::Ground));
    let (x, y) = at;
    let _fits = match shape {
        Shape::Cross => writeln!(
            out,
            "<path class=\"plot-cold\" d=\"M{:.1} {:.1}l10 10m0 -10l-10 10\" fill=\"none\" stroke=\"{bad}\" stroke-width=\"3\"/>",
            x - 5.0,
            y - 5.0
        ),
        Shape::HalfCircle => writeln!(
            out,
            "<circle class=\"plot-ring\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"5\" fill=\"{ground}\" stroke=\"{bad}\" stroke-width=\"2\"/>\
             <path class=\"plot-brief\" d=\"M{x:.1} {:.1}a5 5 0 0 1 0 10z\" fill=\"{bad}\"/>",
            y - 5.0
        ),
        Shape::Triangle => writeln!(
            out,
            "<path class=\"plot-weak\" d=\"M{:.1} {:.1}h12l-6 10z\" fill=\"{bad}\"/>",
            x - 6.0,
            y - 5.0
        ),
        Shape::Square => writeln!(
            out,
            "<rect class=\"plot-unproven\" x=\"{:.1}\" y=\"{:.1}\" width=\"9\" height=\"9\" fill=\"{ground}\" \
             stroke=\"{}\" stroke-width=\"2\"/>",
            x - 4.5,
            y - 4.5,
            hex(Ink::Muted)
        ),
        Shape::Diamond => writeln!(
            out,
            "<path class=\"plot-narrow\" d=\"M{x:.1} {:.1}l6 6l-6 6l-6 -6z\" fill=\"{ground}\" stroke=\"{good}\" \
             stroke-width=\"2\"/>",
            y - 6.0
        ),
        Shape::Dot => {
            writeln!(out, "<circle class=\"plot-pass\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3\" fill=\"{good}\"/>")
        }
        Shape::Ring => writeln!(
            out,
            "<circle class=\"plot-doubt\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4.5\" fill=\"{ground}\" stroke=\"{}\" \
             stroke-width=\"2\"/>",
            hex(Ink::Muted)
        ),
    };
}

fn list(points: &[Spot]) -> String {
    let pairs: Vec<String> = points.iter().map(|(x, y)| format!("{x:.1},{y:.1}")).collect();
    pairs.join(" ")
}

fn hex(ink: Ink) -> String {
    let [red, green, blue] = ink.rgb();
    format!("#{red:02x}{green:02x}{blue:02x}")
}

const fn class(ink: Ink) -> &'static str {
    match ink {
        Ink::Ground => "plot-ground",
        Ink::Text => "plot-text",
        Ink::Muted => "plot-axis",
        Ink::Grid => "plot-grid",
        Ink::Light => "plot-window",
        Ink::Strong => "plot-window-strong",
        Ink::Band => "plot-band",
        Ink::Rinse => "plot-rinse",
        Ink::Wash => "plot-wash",
        Ink::Limit => "plot-limit",
        Ink::Bad => "plot-bad",
        Ink::Good => "plot-good",
    }
}

/// Text for element content; characters that XML 1.0 forbids (§2.2) become U+FFFD.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '"' => out.push_str("&quot;"),
            '\t' | '\n' | '\r' => out.push(' '),
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            other => out.push(other),
        }
    }
    out
}
