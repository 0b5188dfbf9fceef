//! The outline of a guitar's rim: named shapes of our own invention, or the maker's mould as points.

/// A closed curve in metres, as a fine polygon; it runs counterclockwise from the tail (the lowest point of the middle line).
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    points: Vec<(f64, f64)>,
    /// Length along the curve up to each point; the last is the whole.
    along: Vec<f64>,
}

#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum OutlineError {
    #[error("line {line}: {text:?} is no point; write x and y in millimetres, like 120.5, 33")]
    Point { line: usize, text: String },
    #[error("{0} points are too few for an outline; 8 or more along the mould are needed")]
    Few(usize),
    #[error(
        "the outline crosses itself near x {0:.0} mm, y {1:.0} mm: write the points in their order around the mould"
    )]
    Crosses(f64, f64),
    #[error("the outline is {0:.0} mm around; a guitar's is 1000 to 4000 mm: are the numbers millimetres?")]
    Size(f64),
    #[error("the outline is {0:.0} mm wide and {1:.0} mm long: x goes across the guitar, y from tail to neck")]
    Lies(f64, f64),
    #[error(
        "the outline is not alike on both sides of its middle line x = {0:.0} mm: near y {1:.0} mm it reaches {2:.0} and {3:.0} mm \
         from it. Give all of the mould, left and right"
    )]
    OneSided(f64, f64, f64, f64),
    #[error("the wider bout is at the top: y goes from the tail up to the neck")]
    UpsideDown,
    #[error("{0}")]
    Drawing(String),
    #[error(
        "no outline called {0:?}; there are: {names}. A mould's own can be given as a CSV file of points or an SVG drawing",
        names = names()
    )]
    Unknown(String),
}

/// Names, and half an outline each: (height above the tail, half width) in mm, from the tail up to the neck.
pub const OUTLINES: &[(&str, &[(f64, f64)])] = &[
    (
        "parlour",
        &[
            (0.0, 0.0),
            (18.0, 98.0),
            (72.0, 158.0),
            (130.0, 168.0),
            (195.0, 140.0),
            (258.0, 110.0),
            (320.0, 116.0),
            (375.0, 125.0),
            (425.0, 112.0),
            (455.0, 66.0),
            (462.0, 0.0),
        ],
    ),
    (
        "concert",
        &[
            (0.0, 0.0),
            (19.0, 112.0),
            (78.0, 182.0),
            (142.0, 194.0),
            (212.0, 160.0),
            (276.0, 121.0),
            (342.0, 130.0),
            (400.0, 142.0),
            (452.0, 126.0),
            (482.0, 72.0),
            (489.0, 0.0),
        ],
    ),
    (
        "large",
        &[
            (0.0, 0.0),
            (17.0, 120.0),
            (74.0, 190.0),
            (140.0, 199.0),
            (220.0, 168.0),
            (290.0, 138.0),
            (360.0, 142.0),
            (420.0, 147.0),
            (472.0, 132.0),
            (503.0, 78.0),
            (510.0, 0.0),
        ],
    ),
];

fn names() -> String {
    OUTLINES.iter().map(|o| o.0).collect::<Vec<_>>().join(", ")
}

/// Points between two given ones.
const STEPS: usize = 24;

impl Outline {
    /// One of the named shapes.
    pub fn named(name: &str) -> Result<Self, OutlineError> {
        let wanted = name.trim().to_lowercase();
        let (_, half) =
            OUTLINES.iter().find(|o| o.0 == wanted).ok_or_else(|| OutlineError::Unknown(name.to_owned()))?;
        let right = half.iter().map(|(y, x)| (*x, *y));
        let left = half.iter().rev().skip(1).take(half.len() - 2).map(|(y, x)| (-x, *y));
        Self::through(&right.chain(left).collect::<Vec<_>>())
    }

    /// A circle of a radius (m), for checks.
    pub fn circle(radius_m: f64) -> Self {
        let count = 3600;
        let at = |i: usize| {
            let angle = std::f64::consts::TAU * (i as f64 / count as f64 - 0.25);
            (radius_m * angle.cos(), radius_m * angle.sin())
        };
        Self::of((0..count).map(at).collect())
    }

    /// The text of a CSV file: a point a line, x and y in millimetres around the mould; a heading and `#` lines are passed over.
    pub fn from_csv(text: &str) -> Result<Self, OutlineError> {
        let mut points = Vec::new();
        for (index, line) in text.lines().enumerate() {
            let line_text = line.trim();
            if line_text.is_empty() || line_text.starts_with('#') {
                continue;
            }
            let cells: Vec<Option<f64>> = line_text
                .split([',', ';', '\t'])
                .map(|c| c.trim().parse().ok().filter(|v: &f64| v.is_finite()))
                .collect();
            match cells[..] {
                [Some(x), Some(y)] => points.push((x, y)),
                _ if points.is_empty() && index == 0 => {}
                _ => return Err(OutlineError::Point { line: index + 1, text: line.to_owned() }),
            }
        }
        // A last point that repeats the first closes the curve for people; here it is closed anyway.
        if points.len() > 1 && points.first() == points.last() {
            points.pop();
        }
        Self::through(&points)
    }

    /// A smooth closed curve through points in mm (Catmull and Rom's spline).
    fn through(points: &[(f64, f64)]) -> Result<Self, OutlineError> {
        let n = points.len();
        if n < 8 {
            return Err(OutlineError::Few(n));
        }
        let at = |i: isize| points[i.rem_euclid(n as isize) as usize];
        let mut curve = Vec::with_capacity(n * STEPS);
        for i in 0..n as isize {
            let (a, b, c, d) = (at(i - 1), at(i), at(i + 1), at(i + 2));
            for step in 0..STEPS {
                let t = step as f64 / STEPS as f64;
                let blend = |a: f64, b: f64, c: f64, d: f64| {
                    b + 0.5 * t * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a)))
                };
                curve.push((1e-3 * blend(a.0, b.0, c.0, d.0), 1e-3 * blend(a.1, b.1, c.1, d.1)));
            }
        }
        Self::along(&curve)
    }

    /// The closed curve along many points in m.
    pub(super) fn along(curve: &[(f64, f64)]) -> Result<Self, OutlineError> {
        let mut curve = curve.to_vec();
        if curve.len() < 8 {
            return Err(OutlineError::Few(curve.len()));
        }
        if let Some((x, y)) = crossing(&curve) {
            return Err(OutlineError::Crosses(1e3 * x, 1e3 * y));
        }
        let area: f64 = curve.iter().zip(curve.iter().cycle().skip(1)).map(|(a, b)| a.0 * b.1 - b.0 * a.1).sum();
        if area < 0.0 {
            curve.reverse();
        }
        // Begin at the tail: the lowest point.
        let lowest = (0..curve.len()).min_by(|a, b| curve[*a].1.total_cmp(&curve[*b].1)).unwrap_or(0);
        curve.rotate_left(lowest);
        mirrored(&curve)?;
        let outline = Self::of(curve);
        if let (Some(lower), Some(upper)) = (outline.station("lower bout"), outline.station("upper bout"))
            && outline.at(upper).0.abs() > outline.at(lower).0.abs() * 1.02
        {
            return Err(OutlineError::UpsideDown);
        }
        if !(1.0..=4.0).contains(&outline.length_m()) {
            return Err(OutlineError::Size(1e3 * outline.length_m()));
        }
        Ok(outline)
    }

    fn of(points: Vec<(f64, f64)>) -> Self {
        let mut along = vec![0.0];
        for (i, a) in points.iter().enumerate() {
            let b = points[(i + 1) % points.len()];
            along.push(along[i] + (b.0 - a.0).hypot(b.1 - a.1));
        }
        Self { points, along }
    }

    /// Length around (m).
    pub fn length_m(&self) -> f64 {
        self.along.last().copied().unwrap_or(0.0)
    }

    /// The point at a share of the way around (0 and 1: the tail).
    pub fn at(&self, share: f64) -> (f64, f64) {
        let wanted = share.rem_euclid(1.0) * self.length_m();
        let next = self.along.partition_point(|a| *a <= wanted).clamp(1, self.points.len());
        let (from, to) = (self.points[next - 1], self.points[next % self.points.len()]);
        let part = (wanted - self.along[next - 1]) / (self.along[next] - self.along[next - 1]).max(1e-12);
        (from.0 + part * (to.0 - from.0), from.1 + part * (to.1 - from.1))
    }

    /// Share of the way around of a named place on the right half, or of a number such as "0.25".
    ///
    /// The widest place below is the lower bout, the narrowest between the bouts the waist, the widest above the upper bout.
    pub fn station(&self, name: &str) -> Option<f64> {
        if let Ok(share) = name.trim().parse::<f64>() {
            return (0.0..=1.0).contains(&share).then_some(share);
        }
        let half: Vec<(f64, f64)> = (0..=500).map(|i| f64::from(i) / 1000.0).map(|s| (s, self.at(s).0.abs())).collect();
        let widest = |from: usize, to: usize| half[from..to].iter().max_by(|a, b| a.1.total_cmp(&b.1)).copied();
        // The waist is the narrowest place between two wider ones.
        let waist = half[180..400].iter().min_by(|a, b| a.1.total_cmp(&b.1)).copied().filter(|w| {
            let at = (1000.0 * w.0) as usize;
            let wider = |p: Option<(f64, f64)>| p.is_some_and(|p| p.1 > 1.01 * w.1);
            wider(widest(20, at)) && wider(widest(at, 480))
        });
        let middle = waist.map(|w| (1000.0 * w.0) as usize);
        match name.trim().to_lowercase().replace('-', " ").as_str() {
            "tail" | "tail block" => Some(0.0),
            "neck" | "neck block" => Some(0.5),
            "waist" => waist.map(|w| w.0),
            "lower bout" => widest(20, middle?).map(|p| p.0),
            "upper bout" => widest(middle?, 480).map(|p| p.0),
            _ => None,
        }
    }
}

/// How far the two sides of an outline may differ, as a share of its width: a mould that is hand-made, or has a cutaway, is refused
/// no sooner than that.
const ALIKE: f64 = 0.1;

/// Whether a curve (m) is that of a guitar lying along y, alike on both sides of its middle line.
fn mirrored(curve: &[(f64, f64)]) -> Result<(), OutlineError> {
    let ends = |pick: fn(&(f64, f64)) -> f64| {
        curve.iter().map(pick).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)))
    };
    let ((left, right), (bottom, top)) = (ends(|p| p.0), ends(|p| p.1));
    let (width, length) = (right - left, top - bottom);
    if width > 1.02 * length {
        return Err(OutlineError::Lies(1e3 * width, 1e3 * length));
    }
    let middle = 0.5 * (left + right);
    for step in 1..20 {
        let y = bottom + length * f64::from(step) / 20.0;
        let near = |p: &&(f64, f64)| (p.1 - y).abs() < 0.02 * length;
        let reach =
            |side: f64| curve.iter().filter(near).map(|p| side * (p.0 - middle)).fold(f64::NEG_INFINITY, f64::max);
        let (a, b) = (reach(1.0), reach(-1.0));
        if (a - b).abs() > ALIKE * width {
            return Err(OutlineError::OneSided(1e3 * middle, 1e3 * y, 1e3 * b, 1e3 * a));
        }
    }
    Ok(())
}

/// Where a closed polygon crosses itself.
fn crossing(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let n = points.len();
    let side = |a: (f64, f64), b: (f64, f64), p: (f64, f64)| (b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0);
    for i in 0..n {
        let (a, b) = (points[i], points[(i + 1) % n]);
        for j in i + 2..n {
            if i == 0 && j == n - 1 {
                continue;
            }
            let (c, d) = (points[j], points[(j + 1) % n]);
            if side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0 {
                return Some(a);
            }
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn named_outlines_are_guitars() {
        for (name, half) in OUTLINES {
            let outline = Outline::named(name).unwrap_or_else(|e| panic!("{name}: {e}"));
            let height = half.last().map_or(0.0, |p| p.0);
            assert!((1e3 * outline.at(0.5).1 - height).abs() < 6.0, "{name}: the neck is at {:?}", outline.at(0.5));
            assert!(1e3 * outline.at(0.0).1.abs() < 6.0, "{name}: the tail is at {:?}", outline.at(0.0));
            let at = |station: &str| outline.at(outline.station(station).expect("a named place"));
            assert!(at("lower bout").0 > at("upper bout").0 && at("upper bout").0 > at("waist").0, "{name}");
            // Left and right alike.
            let (right, left) = (outline.at(0.2), outline.at(0.8));
            assert!((right.0 + left.0).abs() < 2e-3 && (right.1 - left.1).abs() < 2e-3, "{name}: {right:?} {left:?}");
        }
        assert!(Outline::named("banana").is_err_and(|e| e.to_string().contains("parlour, concert, large")));
    }

    #[test]
    fn bad_outlines_are_refused() {
        let error = |text: &str| Outline::from_csv(text).expect_err("it is wrong").to_string();
        assert!(error("x,y\n1,2\nthree,4\n").contains("line 3"));
        assert!(error("0,0\n1,1\n").contains("2 points are too few"));
        let circle = |scale: f64, order: &dyn Fn(usize) -> usize| -> String {
            let at = |i: usize| {
                let angle = order(i) as f64 * std::f64::consts::TAU / 12.0;
                format!("{:.3},{:.3}\n", scale * angle.cos(), scale * angle.sin())
            };
            (0..12).map(at).collect()
        };
        assert!(Outline::from_csv(&circle(200.0, &|i| i)).is_ok());
        let half = &OUTLINES[0].1;
        let text = |of: &dyn Fn(f64, f64) -> (f64, f64)| -> String {
            let right = half.iter().map(|(y, x)| of(*x, *y));
            let left = half.iter().rev().skip(1).take(half.len() - 2).map(|(y, x)| of(-x, *y));
            right.chain(left).map(|(x, y)| format!("{x},{y}\n")).collect()
        };
        assert!(Outline::from_csv(&text(&|x, y| (x, y))).is_ok_and(|o| o.station("waist").is_some()));
        assert!(error(&text(&|x, y| (y, x))).contains("x goes across the guitar"));
        assert!(error(&text(&|x, y| (x, 462.0 - y))).contains("wider bout is at the top"));
        let right: String = half.iter().map(|(y, x)| format!("{x},{y}\n")).collect();
        assert!(error(&right).contains("Give all of the mould"));
        // A circle is alike on both sides, and has no waist.
        assert!(Outline::from_csv(&circle(200.0, &|i| i)).is_ok_and(|o| o.station("waist").is_none()));
        assert!(error(&circle(0.2, &|i| i)).contains("are the numbers millimetres"));
        assert!(
            error(&circle(200.0, &|i| if i == 3 {
                7
            } else if i == 7 {
                3
            } else {
                i
            }))
            .contains("crosses itself")
        );
    }
}
