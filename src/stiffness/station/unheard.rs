//! What the modes that were not heard may do: rigid motion, modes below the band and above it.

/// One contribution to the law's sum at one frequency: the amount of 1/M that is expected and its standard uncertainty (in units of the
/// heard modes' mean), and what one unit of it adds, with its change with ln w.
#[derive(Debug, Clone, Copy)]
pub(super) struct Term {
    pub expected: f64,
    pub doubt: f64,
    pub factor: f64,
    pub slope: f64,
}

/// 1/M of the heard modes in units of their mean: of the lowest, of the highest, and the largest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Heard {
    pub lowest: f64,
    pub highest: f64,
    pub largest: f64,
    /// How many there are.
    pub count: f64,
}

impl Heard {
    /// Before anything is known.
    pub const ALIKE: Self = Self { lowest: 1.0, highest: 1.0, largest: 1.0, count: 1.0 };

    /// To a tenth.
    pub fn is_like(&self, other: &Self) -> bool {
        let near = |a: f64, b: f64| (a - b).abs() < 0.1 * self.largest;
        near(self.lowest, other.lowest) && near(self.highest, other.highest) && near(self.largest, other.largest)
    }

    /// What a mode beyond the heard one at an edge of the band may add, by judgement: half like that one (near a spot shapes change slowly
    /// from mode to mode), half like their mean, give or take nearly as much as the one that moves the spot most.
    fn beyond(&self, edge: f64) -> (f64, f64) {
        (0.5 * (edge.max(0.0) + 1.0), DOUBT * (1.0 + FEW / (self.count * self.count)) * self.largest.max(1.0))
    }
}

/// Doubt of a mode's 1/M beside the largest of those that were heard.
const DOUBT: f64 = 0.7;
/// A lone mode may stand near a node of its own, where all others move the spot several times as much.
const FEW: f64 = 4.0;
/// So many modes farther above are summed.
const ABOVE: i32 = 10;
/// So many gaps between heard modes at an edge of the band say how far the next one lies.
const EDGE: usize = 2;

#[derive(Debug, Clone)]
pub(super) struct Unheard {
    rigid: (f64, f64),
    below: (f64, f64),
    above: (f64, f64),
    far: (f64, f64),
    /// ln of angular frequencies: those below taken as one, the next above, the highest heard.
    ln_below: f64,
    ln_above: f64,
    ln_highest: f64,
}

impl Unheard {
    /// By the heard modes' ln of angular frequencies, ascending, and the part's mass times the unit of 1/M, if it is known.
    pub fn new(ln_omegas: &[f64], heard: Heard, part: Option<f64>) -> Self {
        let (lowest, highest) = (ln_omegas[0], ln_omegas[ln_omegas.len() - 1]);
        let gaps: Vec<f64> = ln_omegas.windows(2).map(|w| w[1].exp() - w[0].exp()).collect();
        let gap_of = |gaps: &[f64], other: f64| {
            if gaps.is_empty() { other } else { gaps.iter().sum::<f64>() / gaps.len() as f64 }
        };
        let (low, high) = (&gaps[..gaps.len().min(EDGE)], &gaps[gaps.len().saturating_sub(EDGE)..]);
        let low = gap_of(low, lowest.exp());
        // Modes of a free bar lie at (k + 1/2)^2: with the lowest heard the k-th, lowest/gap is nearly (k + 1)/2. Evenly spaced ones
        // would be half as many.
        let below = (2.0 * lowest.exp() / low - 1.0).clamp(0.0, 8.0);
        let (lower, lower_u) = heard.beyond(heard.lowest);
        let (higher, higher_u) = heard.beyond(heard.highest);
        // How many there are is in doubt too.
        let below_u = (lower * (0.5 + 0.3 * below)).hypot(lower_u * below.sqrt());
        let spacing = (gap_of(high, highest.exp()) / highest.exp()).clamp(0.05, 1.0);
        // The sum over modes at w (1 + i spacing) of w^2/(w_i^2 - w^2), without the next one.
        let far: f64 = (2..=ABOVE).map(|i| 1.0 / ((1.0 + f64::from(i) * spacing).powi(2) - 1.0)).sum();
        // Rigid motion: 1/m to and fro, up to three times as much more by turning (at a bar's end), up to six at a plate's corner.
        let rigid = part.map_or((lower, lower_u), |m| (2.5 / m, 1.2 / m));
        Self {
            rigid,
            below: (lower * below, below_u),
            above: (higher, higher_u),
            far: (higher * far, 0.5 * higher.max(1.0) * far),
            ln_below: lowest + (1.0 - low / lowest.exp()).clamp(0.3, 0.8).ln(),
            ln_above: highest + spacing.ln_1p(),
            ln_highest: highest,
        }
    }

    /// Rigid motion, modes below, the next above, those farther above, at ln w.
    pub fn terms(&self, ln_omega: f64) -> [Term; 4] {
        let mode = |(expected, doubt), ln: f64| {
            let e = (2.0 * (ln - ln_omega)).exp();
            let g = 1.0 / (e - 1.0);
            Term { expected, doubt, factor: g, slope: 2.0 * e * g * g }
        };
        let far = (2.0 * (ln_omega - self.ln_highest)).exp();
        [
            Term { expected: self.rigid.0, doubt: self.rigid.1, factor: -1.0, slope: 0.0 },
            mode(self.below, self.ln_below),
            mode(self.above, self.ln_above),
            Term { expected: self.far.0, doubt: self.far.1, factor: far, slope: 2.0 * far },
        ]
    }
}
