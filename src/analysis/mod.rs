//! The journey of a tap as a library: recording to take, with the part's sizes to named modes, moduli and loss; takes to stages,
//! stages to comparisons and predictions.
//!
//! Plain structs in, plain structs out. Nothing here prints, draws, or knows of flags; the faces call it and render what it returns.

mod held_anew;
mod lamination_plan;
mod lowest_mode;
mod material;
mod options;
mod part_findings;
mod prediction;
mod problem;
mod reference;
mod same_name;
mod shop;
mod spot;
mod spot_motion;
mod stage;
mod take;

pub use held_anew::{damping_ratio_of_part, frequency_of_part, ring_time_of_part};
pub use lamination_plan::{
    Lamination, LaminationPlan, LaminationWish, NamedPly, PlanRow, PlanSeries, PlanTarget, RimPlan, tones_when_sanded,
};
pub use material::{best_take, material_of};
pub use options::Options;
pub use part_findings::{PartFindings, RivalNumbering};
pub use prediction::{Plies, predict_plies, predict_rim};
pub use problem::{Missing, Problem};
pub use reference::{
    BarCheck, Lack, NoBarCheck, OTHER_HAND, PARTS_WANTED, PartCount, ReferenceSet, check_bar, reference_set,
};
pub use shop::{AmongEarlier, Mates, Shop, SpotComparison};
pub use spot::{PowerDrawn, SpotFindings, against_first, spots, station_name};
pub use stage::{StageTake, repeatability_of, stage_knowing, stage_of};
pub use take::{NamedMode, RecordingFacts, Take, measure, measure_with};
