//! An outline from a drawing of the mould (SVG): its largest closed curve.

use resvg::tiny_skia::PathSegment;
use resvg::usvg::{Group, ImageHrefResolver, Node, Options, Path, Tree, roxmltree};

use super::outline::{Outline, OutlineError};

/// Points that a curved piece of a path is parted into.
const PARTS: usize = 24;
/// Of more points than these so many are kept, evenly.
const MOST: usize = 3000;
/// Of SVG: 96 px are an inch.
const MM_PER_PX: f64 = 25.4 / 96.0;

impl Outline {
    /// The text of an SVG drawing: its largest closed path, neck upwards, at the size that its width in mm, cm or in tells.
    ///
    /// # Errors
    /// `Drawing` if it is none, has no closed path, or does not tell its size; else as for points.
    pub fn from_svg(text: &str) -> Result<Self, OutlineError> {
        let wrong = |why: String| OutlineError::Drawing(why);
        let document = roxmltree::Document::parse(text).map_err(|e| wrong(format!("no SVG drawing: {e}")))?;
        let width = document.root_element().attribute("width").unwrap_or_default().trim();
        if !["mm", "cm", "in", "pt", "pc"].iter().any(|unit| width.ends_with(unit)) {
            return Err(wrong(format!(
                "its size is not told (width is {width:?}): set the page's width and height in millimetres in the drawing program"
            )));
        }
        let tree = Tree::from_str(text, &alone()).map_err(|e| wrong(format!("no SVG drawing: {e}")))?;
        let mut curves = Vec::new();
        gather(tree.root(), &mut curves);
        let extent = |curve: &Vec<(f64, f64)>| {
            let span = |pick: fn(&(f64, f64)) -> f64| {
                let all = || curve.iter().map(pick);
                all().fold(f64::NEG_INFINITY, f64::max) - all().fold(f64::INFINITY, f64::min)
            };
            span(|p| p.0) * span(|p| p.1)
        };
        let largest = curves.into_iter().max_by(|a, b| extent(a).total_cmp(&extent(b)));
        let curve = largest.ok_or_else(|| {
            wrong("no closed path: draw the whole outline, left and right, as one path and close it".into())
        })?;
        // A drawing's y goes down the page.
        let curve: Vec<(f64, f64)> = curve.iter().map(|(x, y)| (1e-3 * MM_PER_PX * x, -1e-3 * MM_PER_PX * y)).collect();
        let kept = curve.len().min(MOST);
        Self::along(&(0..kept).map(|i| curve[i * curve.len() / kept]).collect::<Vec<_>>())
    }
}

/// A drawing is read by itself: no picture, no other file and no font that it names is opened. (The fonts that are known are those that
/// were loaded: none.)
fn alone() -> Options<'static> {
    let image_href_resolver =
        ImageHrefResolver { resolve_data: Box::new(|_, _, _| None), resolve_string: Box::new(|_, _| None) };
    Options { image_href_resolver, ..Options::default() }
}

/// All closed curves of a group, in px of the page.
fn gather(group: &Group, curves: &mut Vec<Vec<(f64, f64)>>) {
    for node in group.children() {
        match node {
            Node::Group(inner) => gather(inner, curves),
            Node::Path(path) => closed(path, curves),
            Node::Image(_) | Node::Text(_) => {}
        }
    }
}

fn closed(path: &Path, curves: &mut Vec<Vec<(f64, f64)>>) {
    let Some(data) = path.data().clone().transform(path.abs_transform()) else { return };
    let mut curve: Vec<(f64, f64)> = Vec::new();
    let point = |p: resvg::tiny_skia::Point| (f64::from(p.x), f64::from(p.y));
    for segment in data.segments() {
        let from = curve.last().copied().unwrap_or_default();
        // Points of a curved piece between its end points: Bernstein's polynomials.
        let mut along = |pull: &[(f64, f64)]| {
            for i in 1..=PARTS {
                let t = i as f64 / PARTS as f64;
                let at = |pick: fn(&(f64, f64)) -> f64| match pull {
                    [b, c] => (1.0 - t).powi(2) * pick(&from) + 2.0 * t * (1.0 - t) * pick(b) + t * t * pick(c),
                    [b, c, d] => {
                        (1.0 - t).powi(3) * pick(&from)
                            + 3.0 * t * (1.0 - t).powi(2) * pick(b)
                            + 3.0 * t * t * (1.0 - t) * pick(c)
                            + t.powi(3) * pick(d)
                    }
                    _ => pick(&from),
                };
                curve.push((at(|p| p.0), at(|p| p.1)));
            }
        };
        match segment {
            PathSegment::MoveTo(p) => curve = vec![point(p)],
            PathSegment::LineTo(p) => curve.push(point(p)),
            PathSegment::QuadTo(b, c) => along(&[point(b), point(c)]),
            PathSegment::CubicTo(b, c, d) => along(&[point(b), point(c), point(d)]),
            PathSegment::Close => {
                let (first, last) = (curve[0], curve[curve.len() - 1]);
                if curve.len() > 1 && (first.0 - last.0).hypot(first.1 - last.1) < 1e-3 {
                    curve.pop();
                }
                curves.push(std::mem::take(&mut curve));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A parlour's points as a path of straight lines and as an ellipse's cubic arcs, in several units and under a transform.
    #[test]
    fn a_drawing_has_its_size() {
        // An ellipse of 300 by 400 mm: around by Ramanujan's formula.
        let (a, b) = (150.0f64, 200.0f64);
        let h = ((a - b) / (a + b)).powi(2);
        let around = std::f64::consts::PI * (a + b) * (1.0 + 3.0 * h / (10.0 + (4.0 - 3.0 * h).sqrt()));
        for (page, scale) in [
            (r#"width="400mm" height="500mm" viewBox="0 0 400 500""#, 1.0),
            (r#"width="40cm" height="50cm" viewBox="0 0 4000 5000""#, 10.0),
        ] {
            let svg = format!(
                r#"<svg xmlns="http://www.w3.org/2000/svg" {page}><rect x="0" y="0" width="5" height="5"/>
                <g transform="translate({0} {1}) scale({scale})"><ellipse rx="150" ry="200"/></g></svg>"#,
                200.0 * scale,
                250.0 * scale
            );
            let outline = Outline::from_svg(&svg).unwrap_or_else(|e| panic!("{e}"));
            assert!((1e3 * outline.length_m() / around - 1.0).abs() < 1e-3, "{} {around}", outline.length_m());
            assert!(outline.at(0.0).0.abs() < 0.21 && outline.at(0.5).1 - outline.at(0.0).1 > 0.399);
        }
    }

    #[test]
    fn what_is_no_mould_is_refused() {
        let error = |svg: &str| Outline::from_svg(svg).expect_err("it is wrong").to_string();
        assert!(error("x,y\n1,2").contains("no SVG drawing"));
        let open = r#"<svg xmlns="http://www.w3.org/2000/svg" width="4cm" height="5cm"><path d="M0 0L9 9L0 9" stroke="red"/></svg>"#;
        assert!(error(open).contains("no closed path"), "{}", error(open));
        let unit = r#"<svg xmlns="http://www.w3.org/2000/svg" width="400" height="500"><circle r="90"/></svg>"#;
        assert!(error(unit).contains("size is not told"));
        let small = r#"<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="50mm" viewBox="0 0 40 50"><circle cx="20" cy="25" r="9"/></svg>"#;
        assert!(error(small).contains("mm around"), "{}", error(small));
    }
}
