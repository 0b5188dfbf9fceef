//! How the takes of a stage scatter: all modes of a take together, and each mode by itself.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::part::HUNG_AGAIN_DOF;
use crate::uncertainty::Contribution;

/// Chance at which a mode's own scatter is called larger than its readings explain.
const SURE: f64 = 0.95;

/// One reading of a mode's frequency or damping: the take's place, the value, and the reading's own standard uncertainty.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    pub take: usize,
    pub value: f64,
    pub u: f64,
}

/// A mode's mean over the takes and its two independent standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Mean {
    pub value: f64,
    /// From holding anew, which moves all modes of a take together: to be counted as one source for all modes.
    pub held: Contribution,
    /// The mode's own.
    pub own: Contribution,
}

/// How takes of one thing scatter about their means, in one quantity: sums that add up over stages, spots and parts.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Spread {
    /// Sum of squares of what all modes of a take share (shifts of the logarithm).
    shared: f64,
    shared_dof: f64,
    /// Sums of squares of what is left of each mode: in units of its readings' own variance, and of that with holding anew as assumed.
    left_by_read: f64,
    left_by_expected: f64,
    left_dof: f64,
}

impl Spread {
    pub fn and(self, other: Self) -> Self {
        Self {
            shared: self.shared + other.shared,
            shared_dof: self.shared_dof + other.shared_dof,
            left_by_read: self.left_by_read + other.left_by_read,
            left_by_expected: self.left_by_expected + other.left_by_expected,
            left_dof: self.left_dof + other.left_dof,
        }
    }

    /// Degrees of freedom of what holding anew does to one take: the assumption's and the takes' own.
    pub fn held_dof(&self) -> f64 {
        HUNG_AGAIN_DOF + self.shared_dof
    }

    /// What holding anew does to all modes of one take (standard deviation of the logarithm): the takes' scatter pooled with the
    /// assumption.
    pub fn held(&self, assumed: f64) -> Contribution {
        let dof = self.held_dof();
        Contribution { size: ((HUNG_AGAIN_DOF * assumed * assumed + self.shared) / dof).sqrt(), dof }
    }

    /// The variance of a mode's single reading by itself, in units of the expected, where it is surely more than was read.
    fn surely_left(&self) -> Option<f64> {
        let limit = || ChiSquared::new(self.left_dof).map_or(f64::INFINITY, |c| c.inverse_cdf(SURE));
        (self.left_dof >= 1.0 && self.left_by_read > limit()).then(|| self.left_by_expected / self.left_dof)
    }
}

/// A mode's readings seen beside those of the other modes: the shifts that all share are taken off.
struct Readings<'a> {
    modes: &'a [Vec<Reading>],
    assumed: f64,
    shifts: Vec<f64>,
    /// Differences between takes that can be seen; and readings beyond the first of each mode.
    shared_dof: f64,
    repeated: f64,
}

impl<'a> Readings<'a> {
    fn new(modes: &'a [Vec<Reading>], assumed: f64) -> Self {
        let takes = modes.iter().flatten().map(|r| r.take + 1).max().unwrap_or(0);
        let shared: Vec<&Vec<Reading>> = modes.iter().filter(|m| m.len() > 1).collect();
        Self {
            shifts: shifts(&shared, takes, &|r| weight(r, assumed)),
            shared_dof: freedom_of_shifts(&shared, takes),
            repeated: shared.iter().map(|m| m.len() as f64 - 1.0).sum(),
            modes,
            assumed,
        }
    }

    fn left_dof(&self) -> f64 {
        self.repeated - self.shared_dof
    }

    /// Sum of squares of what is left of a mode.
    fn left(&self, mode: &[Reading]) -> f64 {
        let mean = log_mean(mode, &self.shifts, &|r| weight(r, self.assumed));
        mode.iter().map(|r| (r.value.ln() - mean - self.shifts[r.take]).powi(2)).sum()
    }

    /// The variance of one reading of a mode that holding anew, as assumed, and reading make.
    fn expected(&self, mode: &[Reading]) -> f64 {
        read_variance(mode) + self.assumed * self.assumed
    }

    fn spread(&self) -> Spread {
        let left = |scale: &dyn Fn(&[Reading]) -> f64| {
            self.modes.iter().filter(|m| m.len() > 1).map(|m| self.left(m) / scale(m)).sum::<f64>()
        };
        Spread {
            shared: self.shifts.iter().map(|s| s * s).sum(),
            shared_dof: self.shared_dof,
            left_by_read: left(&read_variance),
            left_by_expected: left(&|m| self.expected(m)),
            left_dof: self.left_dof(),
        }
    }

    fn mean(&self, mode: &[Reading], known: &Spread) -> Mean {
        let weights: f64 = mode.iter().map(|r| weight(r, self.assumed)).sum();
        let shares = || mode.iter().map(|r| weight(r, self.assumed) / weights);
        let value = mode.iter().zip(shares()).map(|(r, share)| share * r.value).sum::<f64>();
        let takes_left = shares().map(|s| s * s).sum::<f64>().sqrt();
        let within = mode.iter().zip(shares()).map(|(r, share)| (share * r.u).powi(2)).sum::<f64>().sqrt();
        let read = Contribution { size: within, dof: f64::INFINITY };
        let own = known.surely_left().map_or(read, |pooled| {
            let variance = self.by_itself(mode).max(pooled * self.expected(mode));
            let scatter = Contribution { size: value * variance.sqrt() * takes_left, dof: known.left_dof };
            if scatter.size_95() > within { scatter } else { read }
        });
        let held = known.held(self.assumed);
        Mean { value, held: Contribution { size: value * held.size * takes_left, ..held }, own }
    }

    /// The variance of one reading of a mode that its own readings show; 0 where they show none.
    fn by_itself(&self, mode: &[Reading]) -> f64 {
        if mode.len() < 2 || self.left_dof() <= 0.0 {
            return 0.0;
        }
        self.left(mode) * self.repeated / self.left_dof() / (mode.len() as f64 - 1.0)
    }
}

/// No reading is better than the holding lets it be, so one clear take or mode does not outweigh the others.
fn weight(r: &Reading, assumed: f64) -> f64 {
    1.0 / ((r.u / r.value).powi(2) + assumed * assumed)
}

/// Mean square of the readings' own uncertainties (relative).
fn read_variance(mode: &[Reading]) -> f64 {
    mode.iter().map(|r| (r.u / r.value).powi(2)).sum::<f64>() / mode.len() as f64
}

/// How the takes of a stage scatter.
pub(super) fn spread(modes: &[Vec<Reading>], assumed: f64) -> Spread {
    Readings::new(modes, assumed).spread()
}

/// Means of all modes of a stage over its takes (some modes may be missing in some takes).
///
/// ln(value of mode i in take t) = mean_i + shift_t + rest_it: holding the part anew moves all modes of a take by the same share, and
/// each by a little of its own. Means and shifts are fitted by weighted least squares. `known` is what is known of the scatter, these
/// takes' own included: with n degrees of freedom of shifts their variance is (6 a^2 + sum of shift^2)/(6 + n), a the assumed
/// standard uncertainty: the takes pooled with an assumption that counts as six degrees of freedom, known with all 6 + n. (Readings'
/// noise in the shifts is left in: it errs to the wide side.) What is left of each mode counts where it is surely larger than the
/// readings' own uncertainties: pooled over the modes, or the mode's own scatter if that is larger.
pub(super) fn means(modes: &[Vec<Reading>], assumed: f64, known: &Spread) -> Vec<Mean> {
    let readings = Readings::new(modes, assumed);
    modes.iter().map(|mode| readings.mean(mode, known)).collect()
}

/// Weighted mean of a mode's logarithms, the takes' shifts taken off.
fn log_mean(mode: &[Reading], shifts: &[f64], weight: &impl Fn(&Reading) -> f64) -> f64 {
    let weights: f64 = mode.iter().map(weight).sum();
    mode.iter().map(|r| weight(r) * (r.value.ln() - shifts[r.take])).sum::<f64>() / weights
}

/// The shift of each take (of the logarithm; 0 where nothing shows it), by turns with the modes' means until neither moves.
fn shifts(shared: &[&Vec<Reading>], takes: usize, weight: &impl Fn(&Reading) -> f64) -> Vec<f64> {
    let groups = groups(shared, takes);
    let mut shifts = vec![0.0; takes];
    for _ in 0..500 {
        let mut sums = vec![(0.0, 0.0); takes];
        for mode in shared {
            let mean = log_mean(mode, &shifts, weight);
            for r in *mode {
                sums[r.take].0 += weight(r) * (r.value.ln() - mean);
                sums[r.take].1 += weight(r);
            }
        }
        let mut new: Vec<f64> = sums.iter().map(|(s, w)| if *w > 0.0 { s / w } else { 0.0 }).collect();
        // Only differences between takes can be seen: about their mean, within what has modes in common.
        for group in 0..takes {
            let own: Vec<usize> = (0..takes).filter(|t| groups[*t] == group && sums[*t].1 > 0.0).collect();
            let mean = own.iter().map(|t| new[*t]).sum::<f64>() / own.len().max(1) as f64;
            own.iter().for_each(|t| new[*t] -= mean);
        }
        let moved = new.iter().zip(&shifts).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        shifts = new;
        if moved < 1e-12 {
            break;
        }
    }
    shifts
}

/// For each take the first of those that it has modes in common with, by way of others too.
fn groups(shared: &[&Vec<Reading>], takes: usize) -> Vec<usize> {
    let mut groups: Vec<usize> = (0..takes).collect();
    for mode in shared {
        let joined: Vec<usize> = mode.iter().map(|r| groups[r.take]).collect();
        let first = joined.iter().copied().min().unwrap_or(0);
        groups.iter_mut().filter(|g| joined.contains(g)).for_each(|g| *g = first);
    }
    groups
}

/// Differences between takes that can be seen.
fn freedom_of_shifts(shared: &[&Vec<Reading>], takes: usize) -> f64 {
    let groups = groups(shared, takes);
    groups.iter().enumerate().filter(|(take, group)| take != *group).count() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    const ASSUMED: f64 = 1e-3;

    /// Means with what these takes say alone.
    fn alone(modes: &[Vec<Reading>]) -> Vec<Mean> {
        means(modes, ASSUMED, &spread(modes, ASSUMED))
    }

    fn read(take: usize, value: f64, relative_u: f64) -> Reading {
        Reading { take, value, u: relative_u * value }
    }

    /// Three modes, two takes that lie 0.004 apart in all of them: shifts of 0.002 each way, so a variance of
    /// (6 x 1e-6 + 8e-6)/7 = 2e-6, over two takes 1e-6; t of seven degrees of freedom is 2.36462 (table). Nothing is left for
    /// the modes but what they were read to.
    #[test]
    fn what_all_modes_share_is_the_takes() {
        let modes: Vec<Vec<Reading>> = [100.0, 200.0, 300.0]
            .map(|hz: f64| vec![read(0, hz * (-2e-3f64).exp(), 1e-5), read(1, hz * 2e-3f64.exp(), 1e-5)])
            .into();
        for (mean, hz) in alone(&modes).iter().zip([100.0, 200.0, 300.0]) {
            assert!((mean.value / hz - 1.0).abs() < 1e-5, "{mean:?}");
            assert!((mean.held.size_95() / mean.value / (1e-3 * 2.364_62 / 1.959_964) - 1.0).abs() < 1e-4, "{mean:?}");
            assert!((mean.own.size_95() / mean.value / (1e-5 / 2f64.sqrt()) - 1.0).abs() < 1e-3, "{mean:?}");
        }
    }

    /// One of three modes moves by 0.006 between two takes and the others stay: shifts of 0.001 each way, remainders of 0.002 for
    /// the one and 0.001 for the others, a sum of squares of 1.2e-5 over two degrees of freedom; t is 4.30265 (table).
    #[test]
    fn what_one_mode_does_alone_is_its_own() {
        let modes = vec![
            vec![read(0, (-3e-3f64).exp(), 1e-5), read(1, 3e-3f64.exp(), 1e-5)],
            vec![read(0, 1.0, 1e-5), read(1, 1.0, 1e-5)],
            vec![read(0, 1.0, 1e-5), read(1, 1.0, 1e-5)],
        ];
        let all = alone(&modes);
        let held = ((6.0 * 1e-6 + 2e-6) / 7.0 / 2.0f64).sqrt() * 2.364_62 / 1.959_964;
        assert!(all.iter().all(|m| (m.held.size_95() / held - 1.0).abs() < 1e-3), "{all:?}");
        // By itself the first has 8e-6 over two thirds of a degree of freedom, the others the pooled 6e-6.
        let own = |variance: f64| (variance / 2.0).sqrt() * 4.302_65 / 1.959_964;
        assert!((all[0].own.size_95() / own(1.2e-5) - 1.0).abs() < 1e-3, "{all:?}");
        assert!((all[1].own.size_95() / own(6e-6) - 1.0).abs() < 1e-3, "{all:?}");
    }

    /// Heard once, held once, whatever the other modes say; takes without a mode in common say nothing of each other.
    #[test]
    fn what_was_heard_once_has_the_assumed_size() {
        let apart = alone(&[vec![read(0, 100.0, 1e-5)], vec![read(1, 200.0, 1e-5)]]);
        // t(6) = 2.44691 (table): the assumption itself is worth six degrees of freedom.
        let assumed = ASSUMED * 2.446_91 / 1.959_964;
        assert!(apart.iter().all(|m| (m.held.size_95() / m.value / assumed - 1.0).abs() < 1e-5), "{apart:?}");
        let modes = vec![
            vec![read(0, 100.0, 1e-5), read(1, 100.0, 1e-5)],
            vec![read(1, 200.0, 1e-5)],
            vec![read(2, 300.0, 1e-5)],
        ];
        let all = alone(&modes);
        let once = (6.0f64 / 7.0).sqrt() * 2.364_62 / 1.959_964 * ASSUMED;
        for (mean, expected) in all.iter().zip([once / 2f64.sqrt(), once, once]) {
            assert!((mean.held.size_95() / mean.value / expected - 1.0).abs() < 1e-4, "{all:?}");
        }
    }

    /// The second mode is missing in the last take: shifts of -0.002, 0 and 0.002 are found as they were put in.
    #[test]
    fn a_missing_mode_moves_no_shift() {
        let at = |take: usize, hz: f64| read(take, hz * (2e-3 * (take as f64 - 1.0)).exp(), 1e-5);
        let modes = [vec![at(0, 100.0), at(1, 100.0), at(2, 100.0)], vec![at(0, 200.0), at(1, 200.0)]];
        let found = shifts(&modes.iter().collect::<Vec<_>>(), 3, &|r: &Reading| 1.0 / r.u.powi(2));
        for (shift, truth) in found.iter().zip([-2e-3, 0.0, 2e-3]) {
            assert!((shift - truth).abs() < 1e-9, "{found:?}");
        }
    }

    /// Learned elsewhere: twelve shifts of twice the assumed size, so (6 + 12 x 4)/18 = 3 times the variance, known with 18 degrees of
    /// freedom (t = 2.10092, table). Modes that scatter alone elsewhere, by four times the expected variance, do so here.
    #[test]
    fn what_other_stages_show_counts_here() {
        let known = Spread {
            shared: 48.0 * ASSUMED * ASSUMED,
            shared_dof: 12.0,
            left_by_read: 4e5,
            left_by_expected: 80.0,
            left_dof: 20.0,
        };
        let [mean] = means(&[vec![read(0, 100.0, 1e-5)]], ASSUMED, &known)[..] else { panic!("one mode") };
        let held = ASSUMED * 3f64.sqrt() * 2.100_92 / 1.959_964;
        assert!((mean.held.size_95() / 100.0 / held - 1.0).abs() < 1e-4, "{mean:?}");
        // t(20) = 2.08596.
        let own = ASSUMED * 2.0 * 2.085_96 / 1.959_964;
        assert!((mean.own.size_95() / 100.0 / own - 1.0).abs() < 1e-3, "{mean:?}");
    }
}
