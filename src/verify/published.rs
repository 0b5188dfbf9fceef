//! Published values, each with its source, beside what this program gives.

use crate::compare::Chart;
use crate::loss::energy_lost_per_cycle;
use crate::part::equilibrium_moisture;
use crate::plan::{Layer, laminate, stiffness_matrix};
use crate::rim::{Outline, Plane, Rim, Section};
use crate::stiffness::{Constants, Size, bending_stiffnesses, free_plate_modes};

/// A published value and ours.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    pub what: &'static str,
    pub source: &'static str,
    pub unit: &'static str,
    pub expected: f64,
    pub got: f64,
    /// Largest difference that passes, as a share of what is expected.
    pub tolerance: f64,
}

impl Check {
    pub fn passed(&self) -> bool {
        ((self.got - self.expected) / self.expected).abs() <= self.tolerance
    }
}

/// The lowest modes of a frame (Hz); none if it cannot be solved.
fn tones(rim: &Rim, plane: Plane, count: usize) -> Vec<f64> {
    rim.modes(plane, count).unwrap_or_default().iter().map(|m| m.frequency_hz).collect()
}

/// All checks. What cannot be computed is not a number, and fails.
pub fn published_checks() -> Vec<Check> {
    let mut all = Vec::new();
    let mut add = |what, source, unit, expected, got: Option<f64>, tolerance| {
        all.push(Check { what, source, unit, expected, got: got.unwrap_or(f64::NAN), tolerance });
    };
    let strip = Section::strip(2.25e-3, 0.1, 12e9, 12e9, 700.0);
    let ring = Rim::closed(&Outline::circle(0.2), 240, &strip, &[]);
    let in_plane = tones(&ring, Plane::In, 5);
    let love = "Love, Rayleigh: thin ring";
    add("ring of 0.2 m radius, two waves", love, "Hz", 28.71176, in_plane.first().copied(), 1e-3);
    add("the same, three waves", love, "Hz", 81.20913, in_plane.get(2).copied(), 1e-3);
    add("the same, four waves", love, "Hz", 155.71141, in_plane.get(4).copied(), 1e-3);
    let squeezed =
        ring.squeeze(ring.node_at(0.0), ring.node_at(0.5), 1.0).map(|g| g * strip.in_plane_n_m2 / 0.2f64.powi(3));
    add("squeezed ring, times F R3/EI", "Roark: thin ring", "1", 0.148_779, squeezed, 2e-3);
    let points: Vec<(f64, f64)> = (0..=100).map(|i| (0.008 * f64::from(i), 0.0)).collect();
    let thin = Section::strip(1e-3, 2e-3, 12e9, 12e9, 700.0);
    let unit = (thin.in_plane_n_m2 / thin.mass_per_length_kg_m).sqrt() / 0.64 / std::f64::consts::TAU;
    let bar = tones(&Rim::open(&points, &thin), Plane::In, 3);
    for (place, expected) in [22.3733, 61.6728, 120.9034].into_iter().enumerate() {
        let what = ["free bar, mode 1, (beta L)2", "free bar, mode 2", "free bar, mode 3"][place];
        add(what, "any textbook of vibration", "1", expected, bar.get(place).map(|f| f / unit), 5e-4);
    }
    // Square plate with free edges, nu 0.3: omega a^2 sqrt(rho h/D), the first three (from memory; Leissa's own, 13.489, 19.789 and
    // 24.432, are upper bounds with fewer terms).
    let constants = Constants { along_pa: 10e9, across_pa: 10e9, shear_pa: 10e9 / 2.6, poisson: 0.3 };
    let size = Size { length_m: 0.3, width_m: 0.3, thickness_m: 1e-3, mass_kg: 0.3 * 0.3 * 1e-3 * 500.0 };
    let stiffnesses = bending_stiffnesses(&constants, size.thickness_m);
    let scale = 0.09 * (size.mass_kg / 0.09 / stiffnesses[0]).sqrt();
    let plate: Vec<f64> = {
        let mut found: Vec<f64> = free_plate_modes(&stiffnesses, &size, (14, 14), 500.0)
            .iter()
            .map(|m| m.omega_squared.sqrt() * scale)
            .collect();
        found.sort_by(f64::total_cmp);
        found
    };
    let leissa = "Gorman (1978), after Leissa: free plate, nu 0.3";
    add("free square plate, mode 1", leissa, "1", 13.468, plate.first().copied(), 1e-3);
    add("free square plate, mode 2", leissa, "1", 19.596, plate.get(1).copied(), 1e-3);
    add("free square plate, mode 3", leissa, "1", 24.270, plate.get(2).copied(), 1e-3);
    let graphite = |degrees: f64| Layer {
        thickness_m: 5e-3,
        along_pa: 181e9,
        across_pa: 10.3e9,
        shear_pa: 7.17e9,
        poisson: 0.28,
        density_kg_m3: 1600.0,
        angle_rad: degrees.to_radians(),
        loss: [0.01; 3],
    };
    let kaw = "Kaw, Mechanics of Composite Materials, ex. 2.7, 4.2";
    add("ply at 60 degrees, Q-bar 11", kaw, "GPa", 23.65, Some(1e-9 * stiffness_matrix(&graphite(60.0))[(0, 0)]), 6e-4);
    let three = laminate(&[graphite(0.0), graphite(30.0), graphite(-45.0)]);
    add("three plies, D 11", kaw, "kPa m3", 33.43, three.as_ref().map(|l| 1e-3 * l.d[(0, 0)]), 6e-4);
    add("three plies, B 11", kaw, "MPa m2", -3.129, three.as_ref().map(|l| 1e-6 * l.b[(0, 0)]), 6e-4);
    add(
        "energy lost a cycle at damping 0.05",
        "1 - exp(-4 pi zeta/sqrt(1 - zeta2)), any textbook",
        "1",
        0.466_94,
        Some(energy_lost_per_cycle(0.05)),
        1e-4,
    );
    let flows = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1].map(|flow| (flow, 0.0));
    let chart = Chart::new("flow".into(), ("", 1.0), &flows, (50.0, 0.0));
    add("upper control limit", "NIST/SEMATECH e-Handbook, 6.3.2.2", "1", 55.8041, chart.map(|c| c.high), 1e-5);
    let wet = equilibrium_moisture(21.1, 0.65).map(|m| 100.0 * m);
    add("moisture of wood at 21.1 C, 65 %", "Wood Handbook, Table 4-2", "%", 12.0, wet, 1e-2);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_published_value_is_met() {
        let all = published_checks();
        assert!(all.len() > 15, "{}", all.len());
        let failed: Vec<Check> = all.into_iter().filter(|c| !c.passed()).collect();
        assert!(failed.is_empty(), "{failed:#?}");
    }
}
