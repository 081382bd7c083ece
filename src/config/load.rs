//! The way in: files and environment become a configuration, or all problems at once.

use std::path::PathBuf;

use sha2::{Digest, Sha256};

use super::check::{Canonical, all_channels, check};
use super::layers::merge;
use super::note::Section;
use super::problem::{Findings, Problem};
use super::resolve::Configuration;
use crate::wire::directory::Directory;

/// A configuration and what is worth telling about it.
#[derive(Clone, Debug)]
pub struct Loaded {
    /// The configuration.
    pub configuration: Configuration,
    /// What is legal but should be looked at.
    pub warnings: Vec<Problem>,
    canonical: String,
    sections: Vec<Section>,
}

impl Loaded {
    /// The configuration in force as TOML: every key, defaults too, in a fixed
    /// order and spelling; limits and times that follow from elsewhere as
    /// comments with their origin; secrets only by path. Reading it back gives
    /// the same configuration.
    #[must_use]
    pub fn to_toml(&self) -> &str {
        &self.canonical
    }

    /// The same as [`Loaded::to_toml`], section by section, with where each value comes from.
    #[must_use]
    pub fn sections(&self) -> &[Section] {
        &self.sections
    }

    /// SHA-256 of [`Loaded::to_toml`] in lower-case hexadecimal.
    #[must_use]
    pub fn sha256(&self) -> String {
        Sha256::digest(self.canonical.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

impl Configuration {
    /// Reads the files, the later over the earlier, and the variables over all
    /// (see [`super::layers`] for their names).
    ///
    /// ```
    /// use rinseward::config::resolve::Configuration;
    ///
    /// let missing = ["nowhere.toml".into()];
    /// let problems = Configuration::load(&missing, []).expect_err("there is no such file");
    /// assert_eq!(problems[0].slug(), "config-file");
    /// ```
    ///
    /// # Errors
    /// Every problem of every layer, in the order of the files' keys.
    pub fn load(
        paths: &[PathBuf],
        env: impl IntoIterator<Item = (String, String)>,
    ) -> Result<Loaded, Vec<Problem>> {
        let mut findings = Findings::default();
        let merged = merge(paths, env, &mut findings);
        let unreadable = findings.problems.iter().any(|problem| problem.slug() == "config-file");
        let checked = if unreadable { None } else { check(&merged, &mut findings) };
        match checked {
            Some((configuration, canonical)) => {
                let Canonical { text, sections } = canonical;
                Ok(Loaded { configuration, warnings: findings.warnings, canonical: text, sections })
            }
            None => {
                findings.problems.sort_by(|one, other| one.place.cmp(&other.place));
                Err(findings.problems)
            }
        }
    }

    /// The directory of every channel: what a replay from the command line may deliver.
    #[must_use]
    pub fn directory(&self) -> Directory {
        all_channels(&self.channels)
    }
}
