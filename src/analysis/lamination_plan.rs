//! What laminations and rims will be worth before the glue is mixed.

use crate::plan::{
    Forecast, Glue, Material, Patch, Ply, RimStage, RimWish, ShopFactor, Target, forecast, outer_for_stiffness,
    rim_patches, rim_stages, thickness_for_stiffness, to_be_made,
};
use crate::uncertainty::Figure;

/// What was asked of a lamination, and what is to be expected of it.
#[derive(Debug, Clone)]
pub struct LaminationPlan {
    pub outer: String,
    pub outer_thickness: Figure,
    pub outer_from_table: bool,
    /// Name, and thickness of its film (m).
    pub glue: Option<(&'static str, f64)>,
    pub most_mass: Option<f64>,
    pub series: Vec<PlanSeries>,
    /// Thickness (m), and each tone now (Hz) and then.
    pub sanded: Option<(f64, Vec<(f64, Figure)>)>,
    pub rim: Option<RimPlan>,
    /// The shop's own factor, which the tables hold already, and the file that it is from.
    pub record: Option<(ShopFactor, String)>,
    pub cautions: Vec<String>,
    pub remark: Option<String>,
}

impl Default for LaminationPlan {
    fn default() -> Self {
        Self {
            outer: String::new(),
            outer_thickness: Figure::exact(0.0),
            outer_from_table: false,
            glue: None,
            most_mass: None,
            series: Vec::new(),
            sanded: None,
            rim: None,
            record: None,
            cautions: Vec::new(),
            remark: None,
        }
    }
}

/// An inner ply over its thickness.
#[derive(Debug, Clone)]
pub struct PlanSeries {
    pub inner: String,
    pub from_table: bool,
    pub grain_deg: f64,
    pub rows: Vec<PlanRow>,
    pub targets: Vec<PlanTarget>,
}

#[derive(Debug, Clone)]
pub struct PlanRow {
    pub thickness: Figure,
    pub forecast: Forecast,
}

/// A wish and what reaches it, or why nothing does.
#[derive(Debug, Clone)]
pub struct PlanTarget {
    pub wish: String,
    /// The ply whose thickness is asked for.
    pub ply: &'static str,
    pub found: Result<Target, String>,
}

/// What the model of its wall says of a rim.
#[derive(Debug, Clone)]
pub struct RimPlan {
    pub outline: String,
    /// Names, and shares of the way around.
    pub stations: Vec<(String, f64)>,
    /// Length around (m).
    pub around_m: f64,
    /// Plates hold the edges of the sides.
    pub held: bool,
    pub stages: Vec<RimStage>,
    pub patches: Vec<Patch>,
    /// The inner ply that was planned.
    pub inner: String,
}

/// A ply as it was named: its material, its thickness if known, and the tones of a tapped blank (Hz).
#[derive(Debug, Clone)]
pub struct NamedPly {
    pub material: Material,
    pub thickness: Option<Figure>,
    pub tones: Vec<Figure>,
}

/// What a lamination is made of and what is wished of it.
#[derive(Debug, Clone, Default)]
pub struct LaminationWish {
    /// Grain of the inner ply to the length (degrees).
    pub grain_deg: f64,
    /// Thicknesses of the inner ply to try (m), where its own is not known.
    pub thicknesses_m: Vec<f64>,
    /// The inner thickness that gives so many times the plain side's stiffness is sought.
    pub times: Option<f64>,
    /// How thin the outer ply may go over each inner one is sought.
    pub keep: bool,
}

/// The plain side, the glue with its film (m), and the shop's own factor on stiffness.
#[derive(Debug, Clone, Copy)]
pub struct Lamination<'a> {
    pub plain: &'a Ply,
    pub glue: Option<(&'static Glue, f64)>,
    pub factor: Option<&'a Figure>,
}

impl Lamination<'_> {
    /// A factor below 1 asks for more by the plies alone.
    fn by_plies(&self, times: f64) -> f64 {
        times / self.factor.map_or(1.0, |f| f.value)
    }

    fn corrected(&self, forecast: Forecast) -> Forecast {
        match self.factor {
            Some(factor) => forecast.with_factor(factor),
            None => forecast,
        }
    }

    fn target(&self, found: Result<Target, String>) -> Result<Target, String> {
        found.map(|target| Target { forecast: self.corrected(target.forecast), ..target })
    }

    /// One inner ply: the table over its thickness, and the wishes.
    ///
    /// # Errors
    /// A sentence, if a ply has no possible moduli.
    pub fn series(&self, inner: &NamedPly, wish: &LaminationWish) -> Result<PlanSeries, String> {
        let with = |thickness: Figure| inner_ply(inner, thickness, wish);
        // What is measured is what there is; anything else is to be made.
        let thicknesses: Vec<Figure> = match &inner.thickness {
            Some(known) => vec![known.clone()],
            None => wish.thicknesses_m.iter().map(|t| to_be_made(*t, "the inner ply")).collect(),
        };
        let mut rows = Vec::new();
        for thickness in &thicknesses {
            let plies = [self.plain.clone(), with(thickness.clone())];
            let forecast = self.corrected(forecast(self.plain, &plies, self.glue)?);
            rows.push(PlanRow { thickness: thickness.clone(), forecast });
        }
        let mut targets = Vec::new();
        if let (Some(times), Some(first)) = (wish.times, thicknesses.first()) {
            let found = thickness_for_stiffness(self.plain, &with(first.clone()), self.glue, self.by_plies(times));
            let found = self.target(found);
            targets.push(PlanTarget { wish: format!("{times} times as stiff"), ply: "inner ply", found });
        }
        for thickness in thicknesses.iter().filter(|_| wish.keep) {
            let found = outer_for_stiffness(self.plain, &with(thickness.clone()), self.glue, self.by_plies(1.0));
            let wish = format!("as stiff as the plain side, over {:.2} mm", 1e3 * thickness.value);
            targets.push(PlanTarget { wish, ply: "outer ply", found: self.target(found) });
        }
        Ok(PlanSeries {
            inner: inner.material.name.clone(),
            from_table: inner.material.from_table,
            grain_deg: wish.grain_deg,
            rows,
            targets,
        })
    }

    /// The rim of an inner ply: at its own thickness, at the one that reaches the wish, or at the middle of those tried.
    ///
    /// # Errors
    /// A sentence, if a section has no stiffness, or no thickness of the inner ply is known or tried.
    pub fn rim(
        &self,
        inner: &NamedPly,
        wish: &LaminationWish,
        outline: String,
        rim: RimWish,
    ) -> Result<RimPlan, String> {
        let with = |thickness: Figure| inner_ply(inner, thickness, wish);
        let middle = wish.thicknesses_m.get(wish.thicknesses_m.len() / 2).map(|t| to_be_made(*t, "the inner ply"));
        let Some(start) = inner.thickness.clone().or(middle) else {
            return Err(format!("{}: no thickness of it is known, and none is tried", inner.material.name));
        };
        let thickness = match (&inner.thickness, wish.times) {
            (None, Some(times)) => {
                let found = thickness_for_stiffness(self.plain, &with(start.clone()), self.glue, self.by_plies(times));
                found.map_or(start, |target| to_be_made(target.thickness_m, "the inner ply"))
            }
            _ => start,
        };
        let named = format!("{:.2} mm of {} inside", 1e3 * thickness.value, inner.material.name);
        let named = match rim.braces.len() / 2 {
            0 => named,
            count => format!("{named}, {count} brace{} on each side", if count == 1 { "" } else { "s" }),
        };
        let plies = [self.plain.clone(), with(thickness)];
        let stages = rim_stages(self.plain, &plies, self.glue, &rim, self.factor)?;
        let loss_factor = stages.last().map_or(0.0, |s| s.loss_factor);
        let patches = rim_patches(&plies, self.glue, loss_factor, &rim, self.factor).unwrap_or_default();
        Ok(RimPlan {
            outline,
            around_m: rim.outline.length_m(),
            held: rim.held,
            stations: rim.stations,
            stages,
            patches,
            inner: named,
        })
    }
}

fn inner_ply(inner: &NamedPly, thickness: Figure, wish: &LaminationWish) -> Ply {
    Ply { material: inner.material.clone(), thickness, angle_rad: wish.grain_deg.to_radians() }
}

/// Tones of a flat blank, now (Hz) and when it is thinned to a thickness (m): all of a thin plate's frequencies go with it.
pub fn tones_when_sanded(plain: &Ply, tones: &[Figure], to_m: f64) -> Vec<(f64, Figure)> {
    let made = to_be_made(to_m, "the sanded blank");
    let then = |now: &Figure| Figure::combine(&[now, &plain.thickness, &made], |x| x[0] * x[2] / x[1]);
    tones.iter().map(|now| (now.value, then(now))).collect()
}
