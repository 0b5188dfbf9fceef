//! Figures drawn together within their uncertainties: for what no straight line describes.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal, StudentT};

use super::figure::Figure;
use super::source::Source;

/// Draws of several figures; those that share a source move together in each draw (JCGM 101:2008, propagation by a Monte Carlo method).
#[derive(Debug, Clone)]
pub struct Draws<'a> {
    values: Vec<f64>,
    /// For each source the figures that it moves, by how much of their value, and its degrees of freedom.
    sources: Vec<(f64, Vec<(usize, f64)>)>,
    names: Vec<&'a Source>,
    chance: ChaCha8Rng,
}

impl<'a> Draws<'a> {
    /// Positive figures; equal seeds give equal draws.
    pub fn new(figures: &[&'a Figure], seed: u64) -> Self {
        let mut draws = Self {
            values: figures.iter().map(|f| f.value).collect(),
            sources: Vec::new(),
            names: Vec::new(),
            chance: ChaCha8Rng::seed_from_u64(seed),
        };
        for (index, figure) in figures.iter().enumerate() {
            for (source, part) in figure.contributions().filter(|(_, part)| part.size != 0.0) {
                let place = draws.names.iter().position(|s| *s == source).unwrap_or_else(|| {
                    draws.names.push(source);
                    draws.sources.push((f64::INFINITY, Vec::new()));
                    draws.names.len() - 1
                });
                let (dof, moved) = &mut draws.sources[place];
                *dof = dof.min(part.dof);
                moved.push((index, part.size / figure.value));
            }
        }
        draws
    }

    /// The next draw: each figure times the exponential of its relative change, so that it stays positive.
    pub fn next_draw(&mut self) -> Vec<f64> {
        let mut logs = vec![0.0; self.values.len()];
        for (dof, moved) in &self.sources {
            let normal = |chance: &mut ChaCha8Rng| -> f64 { StandardNormal.sample(chance) };
            let z = match StudentT::new(*dof) {
                Ok(student) if dof.is_finite() => student.sample(&mut self.chance),
                _ => normal(&mut self.chance),
            };
            moved.iter().for_each(|(index, share)| logs[*index] += share * z);
        }
        self.values.iter().zip(logs).map(|(value, log)| value * log.exp()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean and spread of the logarithm as given; what is shared falls out of a ratio.
    #[test]
    fn figures_that_share_a_source_move_together() {
        let (a, b) = (Figure::new(2.0, 0.1, "one"), Figure::new(5.0, 0.25, "one"));
        let c = Figure::with_dof(3.0, 0.3, "other", 5.0);
        let mut draws = Draws::new(&[&a, &b, &c], 1);
        let all: Vec<Vec<f64>> = (0..4000).map(|_| draws.next_draw()).collect();
        assert!(all.iter().all(|x| (x[1] / x[0] - 2.5).abs() < 1e-12));
        let spread = |of: usize, value: f64| {
            (all.iter().map(|x| (x[of] / value).ln().powi(2)).sum::<f64>() / all.len() as f64).sqrt()
        };
        assert!((spread(0, 2.0) / 0.05 - 1.0).abs() < 0.05, "{}", spread(0, 2.0));
        // Student's t with five degrees of freedom has the variance 5/3.
        assert!((spread(2, 3.0) / 0.1 / (5f64 / 3.0).sqrt() - 1.0).abs() < 0.1, "{}", spread(2, 3.0));
        let again = Draws::new(&[&a, &b, &c], 1).next_draw();
        assert_eq!(again, all[0]);
    }
}
