//! The demonstration: an invented shop and parlour guitar, every number of its sounds from the physics of its plies.

use super::blank::Blank;
use super::frame::frame_sound;
use super::noise::NoiseColour;
use super::take::{Mishap, TakeSpec, TrueMode};
use crate::part::LiningKind;
use crate::plan::{Layer, RIM_BAND_HZ, RimWish, SIDE_BRACE, joined, side_section};
use crate::rim::{Outline, Rim, RimPiece, Section};
use crate::stiffness::{Constants, Size};

/// The left blank: black walnut, cut on the quarter. E from the Wood Handbook's table for black walnut, across and shear from
/// its ratios 0.106 and 0.085; density 616 kg/m3 at 12 % moisture. Damping: of the order published for walnut along the grain
/// (loss factor 0.008 to 0.013, from memory), twice that across.
pub const EXAMPLE_BLANK: Blank = Blank {
    size: Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.133_056 },
    constants: Constants { along_pa: 11.6e9, across_pa: 1.23e9, shear_pa: 0.986e9, poisson: 0.45 },
    damping: [0.005, 0.011, 0.008],
};

/// The right blank: the next board of the same stack, a little softer and lighter.
const RIGHT_BLANK: Blank = Blank {
    size: Size { mass_kg: 0.131_2, ..EXAMPLE_BLANK.size },
    constants: Constants { along_pa: 11.1e9, across_pa: 1.20e9, shear_pa: 0.97e9, poisson: 0.45 },
    damping: EXAMPLE_BLANK.damping,
};

/// Depth of the sides (m); outline.
const DEPTH_M: f64 = 0.1;
const OUTLINE: &str = "parlour";
const ELEMENTS: usize = 200;
/// An inner ply of maple (E and ratios of the Wood Handbook's sugar maple, 706 kg/m3) and a film of epoxy.
const INNER_M: f64 = 2.0e-3;
const FILM_M: f64 = 0.1e-3;
/// Damping ratios: the plies' own, and what joints add (assumed).
const PLAIN_DAMPING: f64 = 0.0055;
const LAMINATED_DAMPING: f64 = 0.0060;
const JOINED_DAMPING: f64 = 0.0085;

fn walnut(stiffer: f64) -> Layer {
    Layer {
        thickness_m: 2.25e-3,
        along_pa: 11.6e9 * stiffer,
        across_pa: 1.23e9 * stiffer,
        shear_pa: 0.986e9 * stiffer,
        poisson: 0.45,
        density_kg_m3: 616.0,
        angle_rad: 0.0,
        loss: [0.010, 0.022, 0.016],
    }
}

fn plies(stiffer: f64) -> [Layer; 3] {
    let maple = Layer {
        thickness_m: INNER_M,
        along_pa: 12.6e9,
        across_pa: 1.66e9,
        shear_pa: 1.40e9,
        poisson: 0.424,
        density_kg_m3: 706.0,
        ..walnut(1.0)
    };
    let epoxy = Layer {
        thickness_m: FILM_M,
        along_pa: 3.0e9,
        across_pa: 3.0e9,
        shear_pa: 1.1e9,
        poisson: 0.35,
        density_kg_m3: 1150.0,
        ..walnut(1.0)
    };
    [walnut(stiffer), epoxy, maple]
}

/// A side of some layers, `DEPTH_M` deep.
fn side(layers: &[Layer]) -> Option<Section> {
    side_section(layers, DEPTH_M)
}

/// Neck and tail blocks 18 mm thick, and kerfed linings.
fn braced(layers: &[Layer], outline: &Outline) -> Option<(Section, Vec<RimPiece>)> {
    let wish = RimWish {
        outline: outline.clone(),
        depth_m: DEPTH_M,
        block_m: Some(18e-3),
        linings: LiningKind::Kerfed,
        held: false,
        braces: Vec::new(),
        brace: SIDE_BRACE,
        band_hz: RIM_BAND_HZ,
        stations: Vec::new(),
    };
    Some(joined(&side(layers)?, layers.iter().map(|l| l.thickness_m).sum(), &wish))
}

/// A stage of a part in the demonstration, as its frame model has it.
#[derive(Debug, Clone)]
pub struct ExampleStage {
    pub part: &'static str,
    pub stage: &'static str,
    pub rim: Rim,
    pub damping_ratio: f64,
    /// Where it is tapped: name, node, and the masses (g) that are stuck on there, one after the other.
    pub stations: Vec<(&'static str, usize, &'static [f64])>,
}

/// Every bent side and rim of the demonstration.
pub fn example_stages() -> Vec<ExampleStage> {
    // The outline is one of our own and the plies are sound: the tests see that nothing is missing.
    stages().unwrap_or_default()
}

fn stages() -> Option<Vec<ExampleStage>> {
    let outline = Outline::named(OUTLINE).ok()?;
    let bout = outline.station("lower bout").unwrap_or(0.166);
    let half: Vec<(f64, f64)> = (0..=100).map(|i| outline.at(f64::from(i) / 200.0)).collect();
    let masses: &[f64] = &[0.0, 5.0, 10.0];
    let bare: &[f64] = &[0.0];
    let mut all = Vec::new();
    for (stage, section, damping_ratio) in
        [("bent", side(&[walnut(1.0)])?, PLAIN_DAMPING), ("laminated", side(&plies(1.0))?, LAMINATED_DAMPING)]
    {
        let stations = vec![("lower-bout", (200.0 * bout).round() as usize, masses)];
        let rim = Rim::open(&half, &section);
        all.push(ExampleStage { part: "left-side", stage, rim, damping_ratio, stations });
    }
    let mut rim = |part, stage, (section, pieces): (Section, Vec<RimPiece>), damping_ratio, loaded: bool| {
        let rim = Rim::closed(&outline, ELEMENTS, &section, &pieces);
        let mut stations = vec![("lower-bout", rim.node_at(bout), bare)];
        // Masses go on the middle line, where a rim does not slide sideways.
        stations.extend(loaded.then_some(("tail", rim.node_at(0.0), masses)));
        all.push(ExampleStage { part, stage, rim, damping_ratio, stations });
    };
    rim("rim", "plain", (side(&[walnut(1.0)])?, Vec::new()), PLAIN_DAMPING, true);
    rim("rim", "laminated", (side(&plies(1.0))?, Vec::new()), LAMINATED_DAMPING, true);
    rim("rim", "braced", braced(&plies(1.0), &outline)?, JOINED_DAMPING, true);
    // Two earlier guitars of the same pattern, their walnut a little softer and stiffer.
    rim("rim-1", "braced", braced(&plies(0.96), &outline)?, JOINED_DAMPING * 1.05, false);
    rim("rim-2", "braced", braced(&plies(1.03), &outline)?, JOINED_DAMPING * 0.97, false);
    Some(all)
}

const RATE_HZ: f64 = 24_000.0;

/// The takes of the demonstration: name and specification.
pub fn example_takes() -> Vec<(String, TakeSpec)> {
    let take = |seed: u64, modes: Vec<TrueMode>| TakeSpec {
        sample_rate_hz: RATE_HZ,
        modes,
        contact_s: 1.5e-3,
        interval_s: 1.3,
        after_last_s: 1.3,
        noise_colour: NoiseColour::Pink,
        noise_sigma: 2e-4,
        steady_lines: vec![(50.0, 1e-3), (100.0, 5e-4), (150.0, 3e-4)],
        seed,
        ..TakeSpec::default()
    };
    let blank = |blank: &Blank, seed| take(seed, blank.sound((0.06, 0.12), (0.3, 0.35), 0.06));
    let mut mishaps = blank(&EXAMPLE_BLANK, 13);
    mishaps.taps = 6;
    mishaps.clip_at = 0.9;
    mishaps.mishaps =
        vec![Mishap::TooLoud { tap: 1, times: 20.0 }, Mishap::DoubleHit { tap: 3, after_s: 0.09, strength: 0.6 }];
    let mut short = blank(&EXAMPLE_BLANK, 12);
    short.taps = 3;
    let mut all = vec![
        ("left-blank/flat/corner/take-01".to_owned(), blank(&EXAMPLE_BLANK, 11)),
        ("left-blank/flat/corner/take-02".to_owned(), short),
        ("left-blank/flat/corner/take-03-mishaps".to_owned(), mishaps),
        ("right-blank/flat/corner/take-01".to_owned(), blank(&RIGHT_BLANK, 14)),
    ];
    let mut seed = 20;
    for stage in example_stages() {
        for (station, node, added_g) in &stage.stations {
            for grams in *added_g {
                let added = if *grams > 0.0 { format!("+{grams}g") } else { String::new() };
                let modes = frame_sound(&stage.rim, *node, 1e-3 * grams, stage.damping_ratio, 0.05);
                let mut spec = take(seed, modes);
                spec.taps = 4;
                all.push((format!("{}/{}/{station}{added}/take-01", stage.part, stage.stage), spec));
                seed += 1;
            }
        }
    }
    all
}

/// What the maker wrote down: the text of `bench.toml`. Masses are rounded as a kitchen scale shows them.
pub fn example_bench() -> String {
    let stages = example_stages();
    let weighed = |part: &str, stage: &str| {
        let found = stages.iter().find(|s| s.part == part && s.stage == stage);
        found.map_or(0.0, |s| (1e3 * s.rim.mass_kg()).round())
    };
    let mut text = "# The demonstration: an invented shop and guitar, every recording simulated.
format = 1
shop = \"an invented shop (simulated)\"

[[part]]
name = \"left-blank\"
kind = \"strip\"
notes = \"Side blank of black walnut for a parlour guitar, flat. Its third take has mishaps on purpose.\"

  [[part.stage]]
  name = \"flat\"
  length = \"800 mm\"
  width = \"120 mm\"
  thickness = \"2.24 2.26 2.25 2.25 mm\"
  mass = \"133 g\"
  temperature = \"21 C\"
  humidity = \"45 %\"

[[part]]
name = \"right-blank\"
kind = \"strip\"
notes = \"The next board of the same stack.\"
mate = \"left-blank\"

  [[part.stage]]
  name = \"flat\"
  length = \"800 mm\"
  width = \"120 mm\"
  thickness = \"2.26 2.25 2.24 2.25 mm\"
  mass = \"131 g\"
  temperature = \"21 C\"
  humidity = \"45 %\"
"
    .to_owned();
    let walnut = "    [[part.stage.ply]]\n    wood = \"left-blank\"     # the part of this bench that it was cut from\n    thickness = \"2.25 mm\"\n";
    let maple = "    [[part.stage.ply]]\n    wood = \"sugar maple\"    # not tapped: from the table\n    thickness = \"2.0 mm\"\n";
    let mut part = |name: &str, kind: &str, more: &str, listed: &[&str]| {
        text += &format!("\n[[part]]\nname = \"{name}\"\nkind = \"{kind}\"\n{more}");
        for stage in listed {
            let plies = match *stage {
                "bent" | "plain" => walnut.to_owned(),
                _ => format!("{walnut}{maple}"),
            };
            let joints = if *stage == "braced" { "    blocks = \"18 mm\"\n    linings = \"kerfed\"\n" } else { "" };
            let shape = format!(
                "    [part.stage.rim]\n    outline = \"{OUTLINE}\"\n    depth = \"{:.0} mm\"\n{joints}",
                1e3 * DEPTH_M
            );
            let rim = if kind == "rim" { shape } else { String::new() };
            text += &format!(
                "\n  [[part.stage]]\n  name = \"{stage}\"\n  mass = \"{} g\"\n{plies}{rim}",
                weighed(name, stage)
            );
        }
    };
    part(
        "left-side",
        "side",
        "notes = \"The left side: bent, then with an inner ply of maple glued in with epoxy.\"\n",
        &["bent", "laminated"],
    );
    part(
        "rim",
        "rim",
        "notes = \"The rim: plain sides glued up, laminated ones, then with blocks and linings.\"\nearlier = [\"rim-1\", \"rim-2\"]\n",
        &["plain", "laminated", "braced"],
    );
    part("rim-1", "rim", "notes = \"An earlier guitar of the same pattern.\"\n", &["braced"]);
    part("rim-2", "rim", "notes = \"Another.\"\n", &["braced"]);
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Bench;

    #[test]
    fn the_example_fits_its_own_bench() {
        let bench = Bench::from_toml(&example_bench()).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(example_stages().len(), 7);
        let takes = example_takes();
        assert_eq!(takes.len(), 24);
        for (name, spec) in takes {
            let names: Vec<&str> = name.split('/').collect();
            assert!(bench.stage(names[0], names[1]).is_some(), "{name}");
            assert!(spec.modes.len() > 4, "{name}: {} modes", spec.modes.len());
        }
        // With a mass stuck on no mode rises, and some sink.
        let stage = &example_stages()[0];
        let with = |kg: f64| frame_sound(&stage.rim, stage.stations[0].1, kg, 0.01, 1.0);
        let (bare, loaded) = (with(0.0), with(0.005));
        let both = || bare.iter().zip(&loaded);
        assert!(both().all(|(a, b)| b.frequency_hz <= a.frequency_hz * (1.0 + 1e-9)));
        assert!(both().any(|(a, b)| b.frequency_hz < 0.999 * a.frequency_hz));
    }
}
