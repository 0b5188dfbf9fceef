//! What the maker of the demonstration wrote down: the text of `bench.toml`.

use super::stages::{DEPTH_M, OUTLINE, example_stages};
use super::woods::example_blanks;

/// The plies as the maker names them: what they were cut from, and the thickness.
const WALNUT: &str = "    [[part.stage.ply]]\n    wood = \"left-blank\"     # the part of this bench that it was cut from\n    \
                      thickness = \"1.9 mm\"\n";
const MAPLE: &str = "    [[part.stage.ply]]\n    wood = \"maple-ply\"\n    thickness = \"1.4 mm\"\n";

/// The day on which a stage was tapped, and its air (C, %): from the blanks in one week to the glued-up rim in another.
fn air(stage: &str) -> String {
    let (date, celsius, percent) = match stage {
        "flat" => ("2026-03-02", 20, 46),
        "bent" | "plain" => ("2026-03-14", 21, 45),
        "laminated" => ("2026-03-20", 21, 43),
        _ => ("2026-04-09", 22, 41),
    };
    format!("  date = \"{date}\"\n  temperature = \"{celsius} C\"\n  humidity = \"{percent} %\"\n")
}

/// The text of `bench.toml`. Masses are rounded as a kitchen scale shows them.
pub fn example_bench() -> String {
    let mut text = "# The demonstration: an invented shop and guitar, every recording simulated. truth.toml says what is true of them.\n\
                    format = 1\nshop = \"an invented shop (simulated)\"\n"
        .to_owned();
    for blank in example_blanks() {
        let (mate, notes) = match blank.part {
            "left-blank" => (
                "",
                "Side blank of black walnut for a parlour guitar, flat. Its third take is a phone's, with mishaps on purpose.",
            ),
            "right-blank" => ("mate = \"left-blank\"\n", "The next board of the same stack."),
            _ => ("", "Sugar maple for the inner plies, flat."),
        };
        text += &format!(
            "\n[[part]]\nname = \"{}\"\nkind = \"strip\"\nnotes = \"{notes}\"\n{mate}\n  [[part.stage]]\n  name = \"flat\"\n  length = \"760 \
             mm\"\n  width = \"112 mm\"\n  thickness = \"{} mm\"\n  mass = \"{} g\"\n{}",
            blank.part,
            blank.thickness_mm,
            blank.scale_g,
            air("flat")
        );
    }
    let stages = example_stages();
    let mut part = |name: &str, kind: &str, more: &str| {
        text += &format!("\n[[part]]\nname = \"{name}\"\nkind = \"{kind}\"\n{more}");
        for stage in stages.iter().filter(|s| s.part == name) {
            let maple = if ["bent", "plain"].contains(&stage.stage) { "" } else { MAPLE };
            let joints = "    blocks = \"20 mm\"\n    linings = \"kerfed\"\n    braces = \"waist\"\n";
            let joints = if stage.stage == "braced" { joints } else { "" };
            let depth = 1e3 * DEPTH_M;
            let mean = "    # 98 at the tail, 92 at the neck";
            let rim = format!(
                "    [part.stage.rim]\n    outline = \"{OUTLINE}\"\n    depth = \"{depth:.0} mm\"{mean}\n{joints}"
            );
            let rim = if kind == "rim" { rim } else { String::new() };
            text += &format!(
                "\n  [[part.stage]]\n  name = \"{}\"\n  mass = \"{:.0} g\"\n{}{WALNUT}{maple}{rim}",
                stage.stage,
                1e3 * stage.solid.mass_kg,
                air(stage.stage)
            );
        }
    };
    part(
        "left-side",
        "side",
        "notes = \"The left side: bent, then with an inner ply of maple glued in with 0.1 mm of epoxy.\"\n",
    );
    part(
        "rim",
        "rim",
        "notes = \"The rim: plain sides glued up, laminated ones, then with blocks, linings and a brace at either waist.\"\nearlier = \
         [\"rim-1\", \"rim-2\"]\n",
    );
    part("rim-1", "rim", "notes = \"An earlier guitar of the same pattern.\"\n");
    part("rim-2", "rim", "notes = \"Another.\"\n");
    text
}
