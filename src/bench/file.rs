//! `bench.toml`: the parts of a shop, their stages, sizes and masses.

use serde::Deserialize;
use toml::Spanned;

use crate::part::{Kind, PartDescription, PartError, PartTable, line_of};

/// Versions of the file that this program reads.
const FORMAT: u32 = 1;

/// What a new bench folder begins with.
pub const NEW_BENCH: &str = "# The parts on this bench. Recordings lie in recordings/PART/STAGE/STATION/take-01.wav;
# STATION+5g/ holds takes with 5 g stuck on. Everything here may be edited by hand.
format = 1
shop = \"\"

[[part]]
name = \"left-side\"            # as the folder in recordings/ is called
kind = \"strip\"                # strip: a flat blank; side: a bent side; rim: a glued-up rim

  [[part.stage]]              # the first stage is the baseline of the others
  name = \"plain\"
  length = \"760 mm\"
  width = \"112 mm\"
  thickness = \"1.88 1.91 1.90 1.92 mm\"
  mass = \"100 g\"
  # date = \"2026-03-02\"     # with the air: stages in other air or of other days are compared with care
  # temperature = \"20 C\"
  # humidity = \"46 %\"
  # notes = \"walnut, quartersawn\"

# A part may name the one that it is to match, and earlier ones that tell what is usual:
#   mate = \"right-side\"
#   earlier = [\"rim-1\", \"rim-2\"]
";

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct BenchTable {
    format: Spanned<u32>,
    #[serde(default)]
    shop: String,
    notes: Option<String>,
    #[serde(default)]
    part: Vec<BenchPartTable>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct BenchPartTable {
    name: Spanned<String>,
    #[serde(default)]
    kind: Kind,
    notes: Option<String>,
    mate: Option<Spanned<String>>,
    #[serde(default)]
    earlier: Vec<Spanned<String>>,
    #[serde(default)]
    stage: Vec<PartTable>,
}

/// A part and its stages, in the order of the file.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchPart {
    pub name: String,
    pub kind: Kind,
    pub notes: Option<String>,
    /// Place of the part that it is to match, as left and right do.
    pub mate: Option<usize>,
    /// Places of the shop's earlier parts of this kind, oldest first.
    pub earlier: Vec<usize>,
    /// Each with its name.
    pub stages: Vec<(String, PartDescription)>,
    /// Line of its name (from 1).
    pub line: usize,
}

/// A bench.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Bench {
    pub shop: String,
    pub notes: Option<String>,
    pub parts: Vec<BenchPart>,
}

/// What is wrong with `bench.toml`, each with its line.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("bench.toml: {}", .0.join("; "))]
pub struct BenchError(pub Vec<String>);

impl Bench {
    /// A stage by the names of its part and its own.
    pub fn stage(&self, part: &str, stage: &str) -> Option<&PartDescription> {
        let part = self.parts.iter().find(|p| p.name == part)?;
        part.stages.iter().find(|(name, _)| name == stage).map(|(_, described)| described)
    }

    /// Reads the text of a `bench.toml`.
    ///
    /// # Errors
    /// Everything that is wrong, each with its line.
    pub fn from_toml(text: &str) -> Result<Self, BenchError> {
        let table: BenchTable = toml::from_str(text).map_err(|error| {
            let line = error.span().map_or(1, |span| line_of(text, span.start));
            BenchError(vec![format!("line {line}: {}", error.message())])
        })?;
        let mut wrong = Vec::new();
        if *table.format.get_ref() != FORMAT {
            let line = line_of(text, table.format.span().start);
            return Err(BenchError(vec![format!(
                "line {line}: format {} is not known to this program (it knows {FORMAT}); a newer version may read it",
                table.format.get_ref()
            )]));
        }
        let mut parts: Vec<BenchPart> = Vec::new();
        for part in &table.part {
            let line = line_of(text, part.name.span().start);
            let name = part.name.get_ref().clone();
            check_name(&name, line, "part", &mut wrong);
            if let Some(earlier) = parts.iter().find(|p| p.name == name) {
                wrong.push(format!("line {line}: part {name:?} is there already, in line {}", earlier.line));
            }
            let mut stages: Vec<(String, PartDescription)> = Vec::new();
            for stage in &part.stage {
                let Some(stage_name) = &stage.name else {
                    wrong.push(format!("line {line}: a stage of part {name:?} has no name"));
                    continue;
                };
                let stage_line = line_of(text, stage_name.span().start);
                check_name(stage_name.get_ref(), stage_line, "stage", &mut wrong);
                if stages.iter().any(|(n, _)| n == stage_name.get_ref()) {
                    wrong.push(format!(
                        "line {stage_line}: stage {:?} of {name:?} is there already",
                        stage_name.get_ref()
                    ));
                }
                match PartDescription::from_table(stage, text, Some(part.kind)) {
                    Ok(mut described) => {
                        described.name = Some(format!("{name}, {}", stage_name.get_ref()));
                        wrong.extend(described.questions().into_iter().map(|q| format!("line {stage_line}: {q}")));
                        stages.push((stage_name.get_ref().clone(), described));
                    }
                    Err(PartError::Field { line, field, why }) => wrong.push(format!("line {line}, {field}: {why}")),
                    Err(PartError::File(why)) => wrong.push(why),
                }
            }
            if part.stage.is_empty() {
                wrong.push(format!("line {line}: part {name:?} has no [[part.stage]]"));
            }
            let (mate, earlier) = (None, Vec::new());
            parts.push(BenchPart { name, kind: part.kind, notes: part.notes.clone(), mate, earlier, stages, line });
        }
        let names: Vec<String> = parts.iter().map(|p| p.name.clone()).collect();
        let mut place = |named: &Spanned<String>, own: usize, key: &str| {
            let found = names.iter().position(|n| n == named.get_ref()).filter(|p| *p != own);
            if found.is_none() {
                let line = line_of(text, named.span().start);
                wrong.push(format!("line {line}, {key}: there is no other part {:?}", named.get_ref()));
            }
            found
        };
        for (own, (part, described)) in parts.iter_mut().zip(&table.part).enumerate() {
            part.mate = described.mate.as_ref().and_then(|m| place(m, own, "mate"));
            part.earlier = described.earlier.iter().filter_map(|e| place(e, own, "earlier")).collect();
        }
        if wrong.is_empty() { Ok(Self { shop: table.shop, notes: table.notes, parts }) } else { Err(BenchError(wrong)) }
    }
}

fn check_name(name: &str, line: usize, what: &str, wrong: &mut Vec<String>) {
    wrong.extend(name_trouble(name, what).map(|trouble| format!("line {line}: {trouble}")));
}

/// Why a name cannot be used, if so: it is also a folder's name, on every system.
pub fn name_trouble(name: &str, what: &str) -> Option<String> {
    let bad = |c: char| c.is_control() || "/\\:*?\"<>|+".contains(c);
    (name.trim().is_empty() || name.contains(bad) || name.starts_with('.'))
        .then(|| format!("{what} {name:?} cannot be a folder's name: leave out / \\ : * ? \" < > | + and a first dot"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_new_bench_can_be_read() {
        let bench = Bench::from_toml(NEW_BENCH).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(bench.parts[0].stages[0].0, "plain");
        assert!(bench.parts[0].stages[0].1.sizes().is_ok());
    }

    #[test]
    fn everything_wrong_is_said_with_its_line() {
        let error = |text: &str| Bench::from_toml(text).expect_err("it is wrong").to_string();
        assert!(error("format = 9\n").contains("line 1: format 9 is not known"));
        assert!(error("shop = \"x\"\n").contains("missing field `format`"));
        let text = "format = 1\n[[part]]\nname = \"a/b\"\n[[part.stage]]\nname = \"plain\"\nmass = \"12\"\n[[part.stage]]\nname = \"x\"\n\
                    [[part]]\nname = \"c\"\n[[part]]\nname = \"c\"\n[[part.stage]]\nname = \"y\"\n";
        let told = error(text);
        let mates =
            "format = 1\n[[part]]\nname = \"a\"\nmate = \"a\"\nearlier = [\"b\"]\n[[part.stage]]\nname = \"x\"\n";
        let mates = error(mates);
        assert!(mates.contains("line 4, mate: there is no other part") && mates.contains("line 5, earlier"), "{mates}");
        for words in [
            "line 3: part \"a/b\" cannot",
            "line 6, mass: \"12\" has no unit",
            "line 10: part \"c\" has no",
            "line 12: part \"c\" is there already",
        ] {
            assert!(told.contains(words), "{words}\n{told}");
        }
    }
}
