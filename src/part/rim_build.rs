//! How a rim is built: what its plies do not say.

use serde::Deserialize;
use toml::Spanned;

use super::reader::{PartError, Reader};
use super::units::Dimension;
use crate::uncertainty::Cause;

/// Strips along both edges of the sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LiningKind {
    #[default]
    None,
    /// Cut through almost to the side.
    Kerfed,
    /// Bent in one piece.
    Solid,
}

/// A rim's shape and joints in a stage.
#[derive(Debug, Clone, PartialEq)]
pub struct RimBuild {
    /// A name, or a file of the bench folder.
    pub outline: String,
    /// Depth of the sides (m).
    pub depth_m: f64,
    /// Thickness of neck and tail block (m); none without.
    pub block_m: Option<f64>,
    pub linings: LiningKind,
    /// Places of side braces, as they are written.
    pub braces: Option<String>,
}

impl RimBuild {
    /// Whether anything is joined to the sides.
    pub fn joined(&self) -> bool {
        self.block_m.is_some() || self.linings != LiningKind::None || self.braces.is_some()
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FileRim {
    outline: String,
    depth: Spanned<String>,
    blocks: Option<Spanned<String>>,
    #[serde(default)]
    linings: LiningKind,
    braces: Option<String>,
}

/// Sizes that a rim's depth and blocks can have (m).
const DEPTHS_M: (f64, f64) = (0.03, 0.2);
const BLOCKS_M: (f64, f64) = (0.003, 0.1);

impl FileRim {
    pub(super) fn read(&self, reader: &Reader<'_>) -> Result<RimBuild, PartError> {
        let size = |field: &str, value: &Spanned<String>, (low, high): (f64, f64)| {
            let size = reader.read(field, value, None, (Cause::Length, Dimension::Length), 0.0)?.value;
            let (from, to) = (1e3 * low, 1e3 * high);
            let wrong =
                || reader.wrong(field, value, format!("{:?}: {from:.0} to {to:.0} mm are expected", value.get_ref()));
            (low..=high).contains(&size).then_some(size).ok_or_else(wrong)
        };
        let block = self.blocks.as_ref().filter(|b| b.get_ref().trim() != "none");
        Ok(RimBuild {
            outline: self.outline.clone(),
            depth_m: size("rim.depth", &self.depth, DEPTHS_M)?,
            block_m: block.map(|b| size("rim.blocks", b, BLOCKS_M)).transpose()?,
            linings: self.linings,
            braces: self.braces.clone(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::PartDescription;

    #[test]
    fn a_rim_is_described() {
        let part = |rim: &str| PartDescription::from_toml(&format!("kind = \"rim\"\n[rim]\n{rim}"));
        let built = part("outline = \"parlour\"\ndepth = \"3 3/4 in\"\nblocks = \"20 mm\"\nlinings = \"kerfed\"\n");
        let built = built.unwrap_or_else(|e| panic!("{e}")).rim.expect("a rim");
        assert!(
            (built.depth_m - 0.09525).abs() < 1e-12
                && built.block_m.is_some_and(|b| (b - 0.020).abs() < 1e-12)
                && built.joined()
        );
        let bare = part("outline = \"mould.svg\"\ndepth = \"95 mm\"\nblocks = \"none\"\n");
        assert!(!bare.unwrap_or_else(|e| panic!("{e}")).rim.expect("a rim").joined());
        let wrong = |rim: &str| part(rim).expect_err("it is wrong").to_string();
        assert!(wrong("outline = \"parlour\"\ndepth = \"95 cm\"\n").starts_with("line 4, rim.depth: \"95 cm\": 30 to"));
        assert!(wrong("outline = \"parlour\"\n").contains("missing field `depth`"));
        assert!(
            wrong("outline = \"parlour\"\ndepth = \"9 cm\"\nlinings = \"many\"\n").contains("unknown variant `many`")
        );
    }
}
