//! What a take's modes make of the part that was tapped: which mode is which, moduli, stiffness and loss.

use serde::{Deserialize, Serialize};

use crate::loss::{NumberedLoss, loss_quantities};
use crate::modes::Mode;
use crate::part::{Kind, PartDescription, Sizes};
use crate::stiffness::{BlankResult, Quantity, QuantityKind, Tone, blank_quantities, mode_name, odd_blank};
use crate::uncertainty::Figure;

/// The part, as far as its description and these modes tell.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct PartFindings {
    pub name: Option<String>,
    pub kind: Kind,
    /// What looks wrong in the description, or is missing, and what these modes do not show.
    pub notes: Vec<String>,
    /// Stable short codes of what the modes do not show, in the order of their notes.
    #[serde(default)]
    pub reasons: Vec<String>,
    /// Whether one numbering of the modes stands alone; `None` where none was sought.
    pub decided: Option<bool>,
    /// The numberings that explain the modes, the best first.
    pub numberings: Vec<RivalNumbering>,
    pub quantities: Vec<Quantity>,
    /// Width over length, and the modes of the best plate, for pictures of their shapes.
    #[serde(skip)]
    pub blank: Option<(f64, BlankResult)>,
}

/// One way to number the modes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RivalNumbering {
    /// Young's modulus along the grain that it gives (Pa).
    pub modulus_along_pa: f64,
    /// Logarithm of how many times less likely it is than the best.
    pub behind: f64,
    /// Name of each mode in it, in the order of the modes; `None` for a tone that is not the part's, or that
    /// may be one of two modes side by side.
    pub names: Vec<Option<String>>,
}

impl PartFindings {
    /// A figure by its kind.
    pub fn quantity(&self, kind: QuantityKind) -> Option<&Figure> {
        self.quantities.iter().find(|q| q.kind == kind).map(|q| &q.figure)
    }

    /// The name and the expected frequency (Hz) of each mode; empty unless one numbering stands alone.
    pub(super) fn names_of_modes(&self) -> (Vec<Option<String>>, Vec<Option<f64>>) {
        let names = self.numberings.first().filter(|_| self.decided == Some(true)).map(|n| n.names.clone());
        let numbering = self.blank.as_ref().and_then(|(_, blank)| blank.numbering());
        (names.unwrap_or_default(), numbering.map_or_else(Vec::new, |n| n.expected_hz.clone()))
    }
}

/// What some modes tell of a described part.
pub(super) fn findings(part: &PartDescription, modes: &[Mode]) -> PartFindings {
    let found = PartFindings { name: part.name.clone(), kind: part.kind, ..PartFindings::default() };
    let sizes = match sizes_of_blank(part) {
        Ok(sizes) => sizes,
        Err(notes) => return PartFindings { notes, ..found },
    };
    let tones: Vec<Tone> =
        modes.iter().map(|m| Tone { frequency_hz: m.frequency.value, frequency_hz_u: m.frequency.u_95() }).collect();
    let levels_db: Vec<f64> = modes.iter().map(|m| m.level_db).collect();
    let blank = odd_blank(&sizes, &part.departures, &tones, &levels_db);
    let numbers = blank.numbering().map_or(&[][..], |n| &n.numbers);
    let numbered = numbers.iter().enumerate().filter_map(|(index, number)| Some((index, (*number)?)));
    let losses: Vec<NumberedLoss> = numbered
        .map(|(index, (_, across_width))| NumberedLoss {
            across_width,
            loss_factor: modes[index].loss_factor().value,
            loss_factor_u: modes[index].loss_factor().u_95(),
        })
        .collect();
    let mut quantities = blank_quantities(part, &sizes, &blank);
    quantities.extend(loss_quantities(&sizes, &blank, &losses));
    let name = |number: &Option<(usize, usize)>| number.map(|(l, w)| mode_name(l, w));
    PartFindings {
        notes: blank.notes.iter().map(ToString::to_string).collect(),
        reasons: blank.notes.iter().map(|n| n.code().to_owned()).collect(),
        decided: Some(blank.decided()),
        numberings: blank
            .numberings
            .iter()
            .map(|n| RivalNumbering {
                modulus_along_pa: n.constants.along_pa,
                behind: n.behind,
                names: n.numbers.iter().map(name).collect(),
            })
            .collect(),
        quantities,
        blank: blank.decided().then(|| (sizes.width.value / sizes.length.value, blank)),
        ..found
    }
}

/// The sizes of a flat blank that a modulus can be computed from, or why not.
fn sizes_of_blank(part: &PartDescription) -> Result<Sizes, Vec<String>> {
    if part.known_modulus.is_some() {
        return Err(vec![
            "a bar of known modulus is a check of the program, not wood: packing the bench sets the modulus by its tones beside the known \
             one"
                .into(),
        ]);
    }
    let mut questions = part.questions();
    if !questions.is_empty() {
        questions.push("no modulus is computed until that is settled".into());
        return Err(questions);
    }
    if part.kind != Kind::Strip {
        return Err(vec![format!(
            "a {} has no modulus that a tap alone could tell: its frequency and mass compare its stages, and takes with a \
             small mass stuck on (folder STATION+5g) give its effective stiffness",
            part.kind.name()
        )]);
    }
    part.sizes().map_err(|missing| {
        vec![format!(
            "{} not given: modes, damping and loss can still be told, the modulus and stiffness cannot",
            missing.join(", ")
        )]
    })
}
