//! What a reference set must hold, and what is missing.

use crate::bench::{Bench, BenchPart, Found};

/// Parts that make a set, the bar not counted: among ten, one or two whose answer is wrong show.
pub const PARTS_WANTED: usize = 10;
/// Name of the stage that holds the take of another hand: the diary then compares it with the first by itself.
pub const OTHER_HAND: &str = "other-hand";
/// Takes of one spot, the part lifted off and hung again between them.
const TAKES_WANTED: usize = 2;

/// What is there of a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartCount {
    pub part: String,
    /// Bare takes in all stages but that of the other hand.
    pub takes: usize,
    /// The most bare takes at one spot of one stage: the part was hung again for each.
    pub hung_again: usize,
    pub other_hand: usize,
    /// Takes with a mass stuck on.
    pub with_mass: usize,
}

/// Something that a reference set lacks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Lack {
    FewParts { have: usize },
    FewTakes { part: String, have: usize },
    NoOtherHand { part: String },
    NoMass { part: String, stage: String },
    NoAir { part: String, stage: String },
    NoDate { part: String, stage: String },
    NoNotes { part: String },
    NoStuckOnMass,
    NoDial,
    NoBar,
    BarNotDescribed { part: String, missing: String },
}

impl Lack {
    /// Stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::FewParts { .. } => "few_parts",
            Self::FewTakes { .. } => "few_takes",
            Self::NoOtherHand { .. } => "no_other_hand",
            Self::NoMass { .. } => "no_mass",
            Self::NoAir { .. } => "no_air",
            Self::NoDate { .. } => "no_date",
            Self::NoNotes { .. } => "no_notes",
            Self::NoStuckOnMass => "no_stuck_on_mass",
            Self::NoDial => "no_dial",
            Self::NoBar => "no_bar",
            Self::BarNotDescribed { .. } => "bar_not_described",
        }
    }

    /// In plain words, with what to do.
    pub fn sentence(&self) -> String {
        match self {
            Self::FewParts { have } => format!("{have} of {PARTS_WANTED} parts. Tap more, of any kind"),
            Self::FewTakes { part, have } => format!(
                "{part}: {have} of {TAKES_WANTED} takes at one spot. Lift it off, hang it again, and tap once more"
            ),
            Self::NoOtherHand { part } => format!(
                "{part}: no take held by another hand. Let somebody else hang and tap it, and keep the take in the stage {OTHER_HAND:?}"
            ),
            Self::NoMass { part, stage } => format!("{part}, {stage}: no mass. Weigh it"),
            Self::NoAir { part, stage } => {
                format!("{part}, {stage}: no air. Write temperature and humidity beside the mass")
            }
            Self::NoDate { part, stage } => format!("{part}, {stage}: no date. Write the day of the tapping"),
            Self::NoNotes { part } => {
                format!("{part}: no notes. Write what wood it is, how it was cut, and how it was held")
            }
            Self::NoStuckOnMass => {
                "no take with a known mass stuck on. Stick one on at one spot of one part (folder SPOT+5g)".into()
            }
            Self::NoDial => {
                "no part was squeezed with a weight and a dial. Do it for one side or rim ([deflection])".into()
            }
            Self::NoBar => "no bar of known modulus. Tap a flat steel or aluminium bar (known_modulus)".into(),
            Self::BarNotDescribed { part, missing } => format!("{part}: {missing} not given. Measure the bar"),
        }
    }
}

/// What a bench holds of a reference set.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ReferenceSet {
    pub counts: Vec<PartCount>,
    /// Places in the bench's parts of bars of known modulus.
    pub bars: Vec<usize>,
    pub lacks: Vec<Lack>,
}

fn is_bar(part: &BenchPart) -> bool {
    part.stages.iter().any(|(_, described)| described.known_modulus.is_some())
}

/// Counts what is there, and lists what is missing.
pub fn reference_set(bench: &Bench, found: &Found) -> ReferenceSet {
    let mut set = ReferenceSet::default();
    let mut lacks = Vec::new();
    for (place, part) in bench.parts.iter().enumerate() {
        let count = count(bench, found, place);
        if is_bar(part) {
            set.bars.push(place);
            let missing = part.stages.iter().find_map(|(_, s)| s.known_modulus.as_ref().and(s.sizes().err()));
            if let Some(missing) = missing {
                lacks.push(Lack::BarNotDescribed { part: part.name.clone(), missing: missing.join(", ") });
            }
            if count.takes == 0 {
                lacks.push(Lack::FewTakes { part: part.name.clone(), have: 0 });
            }
        } else {
            lacks.extend(lacks_of(part, &count));
        }
        set.counts.push(count);
    }
    let parts = bench.parts.iter().zip(&set.counts).filter(|(part, count)| !is_bar(part) && count.takes > 0).count();
    let whole = [
        (parts < PARTS_WANTED, Lack::FewParts { have: parts }),
        (!set.counts.iter().any(|c| c.with_mass > 0), Lack::NoStuckOnMass),
        (!bench.parts.iter().flat_map(|p| &p.stages).any(|(_, s)| s.deflection.is_some()), Lack::NoDial),
        (set.bars.is_empty(), Lack::NoBar),
    ];
    set.lacks = whole.into_iter().filter(|(is, _)| *is).map(|(_, lack)| lack).chain(lacks).collect();
    set
}

fn count(bench: &Bench, found: &Found, place: usize) -> PartCount {
    let part = &bench.parts[place];
    let mut count = PartCount { part: part.name.clone(), takes: 0, hung_again: 0, other_hand: 0, with_mass: 0 };
    for station in found.stations.iter().filter(|s| s.part == place) {
        let bare = station.takes.iter().filter(|(_, s)| s.added.value == 0.0).count();
        count.with_mass += station.takes.len() - bare;
        if part.stages[station.stage].0 == OTHER_HAND {
            count.other_hand += bare;
        } else {
            count.takes += bare;
            count.hung_again = count.hung_again.max(bare);
        }
    }
    count
}

fn lacks_of(part: &BenchPart, count: &PartCount) -> Vec<Lack> {
    let name = || part.name.clone();
    let mut lacks = Vec::new();
    if count.hung_again < TAKES_WANTED {
        lacks.push(Lack::FewTakes { part: name(), have: count.hung_again });
    }
    if count.other_hand == 0 {
        lacks.push(Lack::NoOtherHand { part: name() });
    }
    for (stage, described) in part.stages.iter().map(|(stage, described)| (stage.clone(), described)) {
        if described.mass.is_none() {
            lacks.push(Lack::NoMass { part: name(), stage: stage.clone() });
        }
        if described.temperature.is_none() || described.humidity.is_none() {
            lacks.push(Lack::NoAir { part: name(), stage: stage.clone() });
        }
        if described.date.is_none() {
            lacks.push(Lack::NoDate { part: name(), stage });
        }
    }
    if part.notes.is_none() && part.stages.iter().all(|(_, s)| s.notes.is_none()) {
        lacks.push(Lack::NoNotes { part: name() });
    }
    lacks
}
