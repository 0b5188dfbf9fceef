//! A small drawing surface: panels with axes in SVG, and SVG to PNG with the fonts that ship with the program.

use std::fmt::Write;
use std::sync::{Arc, OnceLock};

use crate::report::text::numbers::minus;

/// Colours that people with any colour vision tell apart (Okabe and Ito, "Color Universal Design", 2008, from memory).
pub(super) const SERIES: [&str; 6] = ["#0072b2", "#d55e00", "#009e73", "#cc79a7", "#8a6d00", "#56a0d9"];
pub(super) const INK: &str = "#1c1c1c";
pub(super) const MUTED: &str = "#666666";
pub(super) const GRID: &str = "#dddddd";
pub(super) const BAD: &str = "#b3261e";

/// SVG under construction.
pub(super) struct Drawing {
    width: f64,
    height: f64,
    body: String,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// How a piece of text looks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Style<'a> {
    pub size: f64,
    pub colour: &'a str,
    pub bold: bool,
    pub anchor: Anchor,
    /// A white rim that keeps text legible on lines.
    pub halo: bool,
}

impl Default for Style<'_> {
    fn default() -> Self {
        Self { size: 18.0, colour: INK, bold: false, anchor: Anchor::Start, halo: false }
    }
}

fn escape(text: &str) -> String {
    let clean: String = text.chars().filter(|c| !c.is_control()).collect();
    clean.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

impl Drawing {
    pub(super) fn new(width: f64, height: f64) -> Self {
        Self { width, height, body: String::new() }
    }

    fn put(&mut self, piece: std::fmt::Arguments<'_>) {
        // Writing to a string cannot fail.
        let _ = self.body.write_fmt(piece);
        self.body.push('\n');
    }

    pub(super) fn text(&mut self, x: f64, y: f64, text: &str, style: Style<'_>) {
        let anchor = match style.anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let weight = if style.bold { "bold" } else { "normal" };
        let halo = if style.halo {
            r#" stroke="white" stroke-width="5" stroke-linejoin="round" paint-order="stroke""#
        } else {
            ""
        };
        self.put(format_args!(
            r#"<text x="{x:.1}" y="{y:.1}" font-size="{}" font-weight="{weight}" fill="{}" text-anchor="{anchor}"{halo}>{}</text>"#,
            style.size,
            style.colour,
            escape(text)
        ));
    }

    pub(super) fn line(&mut self, from: (f64, f64), to: (f64, f64), colour: &str, width: f64, dashed: bool) {
        let dash = if dashed { r#" stroke-dasharray="9 6""# } else { "" };
        self.put(format_args!(
            r#"<line x1="{:.1}" y1="{:.1}" x2="{:.1}" y2="{:.1}" stroke="{colour}" stroke-width="{width}"{dash}/>"#,
            from.0, from.1, to.0, to.1
        ));
    }

    pub(super) fn polyline(&mut self, points: &[(f64, f64)], colour: &str, width: f64, opacity: f64) {
        let mut path = String::with_capacity(points.len() * 14);
        for (x, y) in points.iter().filter(|p| p.0.is_finite() && p.1.is_finite()) {
            let _ = write!(path, "{x:.1},{y:.1} ");
        }
        self.put(format_args!(
            r#"<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="{width}" stroke-opacity="{opacity}" stroke-linejoin="round"/>"#
        ));
    }

    pub(super) fn dot(&mut self, x: f64, y: f64, radius: f64, colour: &str) {
        self.put(format_args!(
            r#"<circle cx="{x:.1}" cy="{y:.1}" r="{radius}" fill="{colour}" stroke="white" stroke-width="1"/>"#
        ));
    }

    pub(super) fn area(&mut self, points: &[(f64, f64)], colour: &str) {
        let mut path = String::with_capacity(points.len() * 14);
        for (x, y) in points {
            let _ = write!(path, "{x:.1},{y:.1} ");
        }
        self.put(format_args!(r#"<polygon points="{path}" fill="{colour}" stroke="{colour}" stroke-width="0.7"/>"#));
    }

    /// The finished SVG document.
    pub(super) fn finish(self) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {w} {h}\" \
             font-family=\"DejaVu Sans\">\n<rect width=\"{w}\" height=\"{h}\" fill=\"white\"/>\n{body}</svg>\n",
            w = self.width,
            h = self.height,
            body = self.body
        )
    }
}

/// How values map to a side of a panel.
#[derive(Debug, Clone, Copy)]
pub(super) struct Axis {
    pub low: f64,
    pub high: f64,
    pub logarithmic: bool,
}

impl Axis {
    pub(super) fn linear(low: f64, high: f64) -> Self {
        // A range without width would divide by zero; one unit shows the constant.
        let high = if high > low { high } else { low + 1.0 };
        Self { low, high, logarithmic: false }
    }
    pub(super) fn logarithmic(low: f64, high: f64) -> Self {
        Self { low, high: high.max(low * 1.1), logarithmic: true }
    }
    /// Position of a value, 0 at the low end and 1 at the high one.
    pub(super) fn place(&self, value: f64) -> f64 {
        if self.logarithmic {
            (value / self.low).ln() / (self.high / self.low).ln()
        } else {
            (value - self.low) / (self.high - self.low)
        }
    }
    /// Round values to mark.
    pub(super) fn ticks(&self, wished: usize) -> Vec<f64> {
        if self.logarithmic {
            let mut ticks = Vec::new();
            let mut decade = 10f64.powf(self.low.log10().floor());
            while decade <= self.high {
                for step in [1.0, 2.0, 5.0] {
                    let tick = decade * step;
                    if tick >= self.low * 0.999 && tick <= self.high * 1.001 {
                        ticks.push(tick);
                    }
                }
                decade *= 10.0;
            }
            // Over a narrow range 1, 2, 5 hardly occur: even steps then.
            if ticks.len() < 2 {
                return Self { logarithmic: false, ..*self }.ticks(wished.min(4));
            }
            return ticks;
        }
        let rough = (self.high - self.low) / wished.max(1) as f64;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].iter().map(|s| s * power).find(|s| *s >= rough * 0.999).unwrap_or(rough);
        let first = (self.low / step).ceil() as i64;
        let last = (self.high / step + 1e-9).floor() as i64;
        (first..=last).map(|i| i as f64 * step).collect()
    }
}

/// A rectangle with two axes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Panel {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
    pub x: Axis,
    pub y: Axis,
}

impl Panel {
    pub(super) fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (
            self.left + self.x.place(x) * (self.right - self.left),
            self.bottom - self.y.place(y).clamp(-0.02, 1.02) * (self.bottom - self.top),
        )
    }

    /// Frame, the x axis with its grid, and nothing at the side.
    pub(super) fn draw_bare(&self, on: &mut Drawing, x_title: &str) {
        let small = Style { size: 16.0, colour: MUTED, ..Style::default() };
        for tick in self.x.ticks(8) {
            let (x, _) = self.at(tick, self.y.low);
            on.line((x, self.top), (x, self.bottom), GRID, 1.0, false);
            on.text(x, self.bottom + 22.0, &tick_label(tick), Style { anchor: Anchor::Middle, ..small });
        }
        on.text(self.right, self.top - 12.0, x_title, Style { anchor: Anchor::End, ..small });
    }

    /// Frame, grid, tick labels and titles.
    pub(super) fn draw(&self, on: &mut Drawing, title: &str, x_title: &str, y_title: &str) {
        let small = Style { size: 16.0, colour: MUTED, ..Style::default() };
        for tick in self.x.ticks(8) {
            let (x, _) = self.at(tick, self.y.low);
            on.line((x, self.top), (x, self.bottom), GRID, 1.0, false);
            on.text(x, self.bottom + 22.0, &tick_label(tick), Style { anchor: Anchor::Middle, ..small });
        }
        for tick in self.y.ticks(5) {
            let (_, y) = self.at(self.x.low, tick);
            on.line((self.left, y), (self.right, y), GRID, 1.0, false);
            on.text(self.left - 8.0, y + 6.0, &tick_label(tick), Style { anchor: Anchor::End, ..small });
        }
        let corners = [
            (self.left, self.top),
            (self.right, self.top),
            (self.right, self.bottom),
            (self.left, self.bottom),
            (self.left, self.top),
        ];
        on.polyline(&corners, "#999999", 1.0, 1.0);
        on.text(self.left, self.top - 12.0, title, Style { size: 20.0, bold: true, ..Style::default() });
        on.text(self.right, self.bottom + 44.0, x_title, Style { anchor: Anchor::End, ..small });
        on.text(self.right, self.top - 12.0, y_title, Style { anchor: Anchor::End, ..small });
    }
}

fn tick_label(value: f64) -> String {
    if value == 0.0 {
        return "0".into();
    }
    let text = format!("{value:.4}");
    minus(text.trim_end_matches('0').trim_end_matches('.'))
}

/// The fonts that ship with the program, read once.
fn fonts() -> Arc<resvg::usvg::fontdb::Database> {
    static FONTS: OnceLock<Arc<resvg::usvg::fontdb::Database>> = OnceLock::new();
    let read = || {
        let mut fonts = resvg::usvg::fontdb::Database::new();
        fonts.load_font_data(include_bytes!("../../../assets/DejaVuSans.ttf").to_vec());
        fonts.load_font_data(include_bytes!("../../../assets/DejaVuSans-Bold.ttf").to_vec());
        Arc::new(fonts)
    };
    FONTS.get_or_init(read).clone()
}

/// Renders an SVG to PNG bytes, `zoom` pixels per unit.
///
/// # Errors
/// A message if the picture cannot be rendered.
pub(super) fn to_png(svg: &str, zoom: f32) -> Result<Vec<u8>, String> {
    use resvg::{tiny_skia, usvg};
    let options = usvg::Options { fontdb: fonts(), font_family: "DejaVu Sans".into(), ..usvg::Options::default() };
    let tree = usvg::Tree::from_str(svg, &options).map_err(|e| format!("the picture cannot be drawn: {e}"))?;
    let size = tree.size();
    let (width, height) = ((size.width() * zoom) as u32, (size.height() * zoom) as u32);
    let mut pixels = tiny_skia::Pixmap::new(width, height).ok_or("the picture is too large to be drawn")?;
    resvg::render(&tree, tiny_skia::Transform::from_scale(zoom, zoom), &mut pixels.as_mut());
    let rgb: Vec<u8> = pixels.data().chunks_exact(4).flat_map(|p| [p[0], p[1], p[2]]).collect();
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let written = encoder.write_header().and_then(|mut w| w.write_image_data(&rgb));
    written.map_err(|e| format!("the picture cannot be written: {e}"))?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(Axis::linear(0.0, 7.2).ticks(8), vec![0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]);
        assert_eq!(Axis::logarithmic(30.0, 1200.0).ticks(0), vec![50.0, 100.0, 200.0, 500.0, 1000.0]);
        assert!(Axis::logarithmic(0.74, 1.4).ticks(8).len() > 2);
        assert_eq!(tick_label(-20.0), "−20");
        assert_eq!(tick_label(0.05), "0.05");
    }
}
