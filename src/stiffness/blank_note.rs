//! What is said of a blank's moduli, and of why one is not given.

use std::fmt;

use super::tone::{LEAST_BENDING, LEAST_NAMED};
use super::wood::ORDINARY_SPEED_M_S;
use crate::uncertainty::COVERAGE_95;

/// One of a blank's three moduli.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Modulus {
    Along,
    Across,
    Shear,
}

impl Modulus {
    pub(super) const ALL: [Self; 3] = [Self::Along, Self::Across, Self::Shear];

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Along => "E along",
            Self::Across => "E across",
            Self::Shear => "G",
        }
    }
}

/// A reason or a caution.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum BlankNote {
    /// So many tones alone.
    TooFewTones(usize),
    NoAssignment,
    /// The best assignment names so many of so many tones.
    MostDoNotFit {
        named: usize,
        of: usize,
    },
    /// It names so few, or so few in bending along the grain.
    TooFewNamed {
        named: usize,
        bending: usize,
    },
    /// Sound would go at such a speed (m/s) along the grain.
    UnusualSpeed(f64),
    /// More than one assignment fits about equally well; E along (Pa) by each.
    Competing {
        along_pa: Vec<f64>,
    },
    /// All of them agree in these moduli.
    Agree(Vec<Modulus>),
    /// They do not agree in these.
    Differ(Vec<Modulus>),
    TooFewOfItsModes(Modulus),
    Uneven,
    /// The misfit leaves these moduli open.
    UnevenWithholds(Vec<Modulus>),
    /// The grain goes so far off the length (degrees, standard deviation), as the tones say.
    GrainOff {
        deg: f64,
        u_deg: f64,
    },
    /// The blank is curved: so much over its length (m, standard deviation), and what is not given for it.
    Bowed {
        rise_m: f64,
        u_m: f64,
        withheld: Vec<Modulus>,
    },
    /// The angle of the grain, or a bow, that nobody read leaves it open.
    GrainLeavesOpen(Modulus),
    BowLeavesOpen(Modulus),
    /// Nobody read the bow, and these tones hardly show it.
    BowUnread,
    /// The thickness' readings rise or fall in their order.
    ThicknessTrend,
    /// Loud tones (Hz) that are in no assignment.
    LoudUnnamed {
        unnamed_hz: Vec<f64>,
        withheld: Vec<Modulus>,
    },
}

impl BlankNote {
    /// Whether it doubts a modulus that is given beside it; E of the blank along its length goes with E along.
    pub fn speaks_against(&self, which: Modulus) -> bool {
        match self {
            Self::Uneven | Self::Competing { .. } => true,
            Self::Bowed { .. } => which != Modulus::Along,
            Self::BowUnread => which == Modulus::Across,
            _ => false,
        }
    }

    /// Stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::TooFewTones(_) => "too_few_tones",
            Self::NoAssignment => "no_assignment",
            Self::MostDoNotFit { .. } => "most_tones_do_not_fit",
            Self::TooFewNamed { .. } => "too_few_tones_fit",
            Self::UnusualSpeed(_) => "unusual_sound_speed",
            Self::Competing { .. } => "competing_assignments",
            Self::Agree(_) => "assignments_agree",
            Self::Differ(_) => "assignments_differ",
            Self::TooFewOfItsModes(Modulus::Along) => "too_few_bending_modes",
            Self::TooFewOfItsModes(Modulus::Across) => "too_few_crosswise_modes",
            Self::TooFewOfItsModes(Modulus::Shear) => "too_few_twist_modes",
            Self::Uneven => "not_a_uniform_plate",
            Self::UnevenWithholds(_) => "uneven_withholds",
            Self::GrainOff { .. } => "grain_off_the_length",
            Self::Bowed { .. } => "bowed",
            Self::GrainLeavesOpen(_) => "grain_angle_leaves_open",
            Self::BowLeavesOpen(_) => "bow_leaves_open",
            Self::BowUnread => "bow_not_read",
            Self::ThicknessTrend => "thickness_trend",
            Self::LoudUnnamed { .. } => "loud_tones_unnamed",
        }
    }
}

fn list(moduli: &[Modulus]) -> String {
    let names: Vec<&str> = moduli.iter().map(|m| m.name()).collect();
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => names.concat(),
    }
}

fn is_or_are(moduli: &[Modulus]) -> &'static str {
    if moduli.len() == 1 { "is" } else { "are" }
}

impl fmt::Display for BlankNote {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::TooFewTones(heard) => write!(
                f,
                "{heard} modes are too few to tell which they are ({LEAST_NAMED} at least): tap near a corner, where all of them sound"
            ),
            Self::NoAssignment => {
                f.write_str("no numbering explains these modes: are sizes, mass and kind of the part right?")
            }
            Self::MostDoNotFit { named, of } => write!(
                f,
                "no numbering explains these modes: at best {named} of {of} fit a flat blank of this size. Are sizes and mass right, \
                 is it flat, and did anything else ring?"
            ),
            Self::TooFewNamed { named, bending } => write!(
                f,
                "too few modes to be sure which they are: {named} fit, {bending} of them bending along the grain (at least \
                 {LEAST_NAMED} and {LEAST_BENDING} are needed). Tap near a corner, harder, or in a quieter room"
            ),
            Self::UnusualSpeed(speed) => write!(
                f,
                "no modulus is given: sound would go along the grain at {speed:.0} m/s, which is no ordinary wood's ({:.0} to {:.0}). Are \
                 length, thickness and mass right, and does the grain go along the length?",
                ORDINARY_SPEED_M_S.start, ORDINARY_SPEED_M_S.end
            ),
            Self::Competing { along_pa } => {
                let first: Vec<String> = along_pa.iter().take(3).map(|e| format!("{:.1}", e * 1e-9)).collect();
                write!(
                    f,
                    "which mode is which is undecided: {} ways fit about equally well, with E along {} GPa. Tap at a second spot (near a \
                     corner and at the middle of the end), or cut a shorter strip, and measure again",
                    along_pa.len(),
                    first.join(" or ")
                )
            }
            Self::Agree(moduli) => {
                write!(f, "{}: the 95 % interval covers every way to number the modes that fits", list(moduli))
            }
            Self::Differ(moduli) => write!(
                f,
                "{} {} not given: the modes can be numbered in several ways that fit, and these differ in it",
                list(moduli),
                is_or_are(moduli)
            ),
            Self::TooFewOfItsModes(which) => {
                let family = match which {
                    Modulus::Along => "bending",
                    Modulus::Across => "crosswise",
                    Modulus::Shear => "twist",
                };
                write!(f, "{} is not given: too few {family} modes are among those heard", which.name())
            }
            Self::Uneven => f.write_str(
                "the modes lie off those of a uniform plate (by more than 1 % with straight grain, or 0.6 % at any angle): a knot, uneven thickness, a bend, grain far off the length, or a wrong size; what is given beside this is in doubt",
            ),
            Self::UnevenWithholds(withheld) => write!(
                f,
                "{} {} not given: a knot, uneven wood or uneven thickness moves the modes that would show it",
                list(withheld),
                is_or_are(withheld)
            ),
            Self::GrainOff { deg, u_deg } => write!(
                f,
                "the grain goes some {deg:.0} ± {:.0} degrees off the length: E along the grain, E across and G are those of the \
                 wood in its own directions, E of the blank along its length and EI those of the blank as it is cut",
                (COVERAGE_95 * u_deg).max(1.0)
            ),
            Self::Bowed { rise_m, u_m, withheld } => {
                write!(
                    f,
                    "the blank is bowed by some {:.0} ± {:.0} mm over its length, which raises crosswise and twist modes",
                    1e3 * rise_m,
                    (1e3 * COVERAGE_95 * u_m).max(1.0)
                )?;
                if withheld.is_empty() {
                    return Ok(());
                }
                write!(
                    f,
                    ": {} {} not given. Let it lie flat under weights until it stays flat, and tap again",
                    list(withheld),
                    is_or_are(withheld)
                )
            }
            Self::GrainLeavesOpen(which) => write!(
                f,
                "{} is not given: the angle of the grain leaves it open. Read the angle and say it (grain = \"4 deg\")",
                which.name()
            ),
            Self::BowLeavesOpen(which) => write!(
                f,
                "{} is not given: how far the blank is bowed leaves it open. Lay it on a flat table, read how far its middle rises, and \
                 say it (bow = \"3 mm\")",
                which.name()
            ),
            Self::BowUnread => f.write_str(
                "E across counts on a blank that is flat within some 5 mm, which the tones alone do not show for sure. Lay it on a flat table, read how \
                 far its middle rises, and say it (bow = \"0 mm\")",
            ),
            Self::ThicknessTrend => f.write_str(
                "the readings of the thickness rise or fall in their order and count as scatter. If the blank is a wedge, say so \
                 (thickness_profile = \"2.0 1.9 1.8 mm\", from end to end): then they do not",
            ),
            Self::LoudUnnamed { unnamed_hz, withheld } => {
                let tones: Vec<String> = unnamed_hz.iter().map(|hz| format!("{hz:.0}")).collect();
                write!(
                    f,
                    "{} {} not given: loud tones at {} Hz fit no mode of this blank. Check sizes and mass, hang it free of anything that \
                     rings, and tap again",
                    list(withheld),
                    is_or_are(withheld),
                    tones.join(", ")
                )
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_name_moduli_and_tones() {
        let loud = BlankNote::LoudUnnamed {
            unnamed_hz: vec![211.3, 340.0],
            withheld: vec![Modulus::Along, Modulus::Across, Modulus::Shear],
        };
        assert!(loud.to_string().starts_with("E along, E across and G are not given: loud tones at 211, 340 Hz"));
        let differ = BlankNote::Differ(vec![Modulus::Across]);
        assert!(differ.to_string().starts_with("E across is not given"));
        let competing = BlankNote::Competing { along_pa: vec![12e9, 12.4e9, 8e9, 7e9] };
        assert!(competing.to_string().contains("4 ways fit about equally well, with E along 12.0 or 12.4 or 8.0 GPa"));
    }
}
