//! What the program remembers of this computer: `settings.toml` in the platform's place for settings.

use std::path::PathBuf;

use anyhow::{Context, anyhow};
use etcetera::{AppStrategy, AppStrategyArgs, choose_app_strategy};
use serde::{Deserialize, Serialize};

use crate::files::save;
use crate::files::{MOST_WRITTEN_BYTES, read_text};

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// The microphone to listen to: a part of its name, or its id.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub microphone: Option<String>,
}

/// Where the settings lie on this system.
pub fn place() -> anyhow::Result<PathBuf> {
    let names =
        AppStrategyArgs { top_level_domain: "org".into(), author: "ringwright".into(), app_name: "ringwright".into() };
    let strategy = choose_app_strategy(names).map_err(|e| anyhow!("there is no home folder for settings: {e}"))?;
    Ok(strategy.config_dir().join("settings.toml"))
}

impl Settings {
    /// As they were kept; the usual ones if none were.
    pub fn read() -> anyhow::Result<Self> {
        let file = place()?;
        match read_text(&file, MOST_WRITTEN_BYTES) {
            Ok(text) => toml::from_str(&text)
                .with_context(|| format!("{}: cannot be understood. Mend it, or delete it", file.display())),
            Err(error) if error.is_missing() => Ok(Self::default()),
            Err(error) => Err(error).with_context(|| format!("{}: cannot be read", file.display())),
        }
    }

    /// Keeps them; says where.
    pub fn keep(&self) -> anyhow::Result<PathBuf> {
        let file = place()?;
        let text = toml::to_string(self).context("the settings cannot be written down")?;
        save(&file, text.as_bytes(), true).context("the choice was not kept")?;
        Ok(file)
    }
}
