//! Every version of every rule the journal knows, compiled when first asked for. Which is in force is a fact and
//! stands in the bench; this only makes texts into rules.

use std::{
    collections::HashMap,
    sync::{Arc, PoisonError, RwLock},
};

use clock::{Law, Laws};
use facts::VersionId;

use crate::{Fault, Host, Rule};

/// Rules by version.
#[derive(Default)]
pub struct Rulebook {
    host: Arc<Host>,
    texts: RwLock<HashMap<VersionId, (String, String)>>,
    rules: RwLock<HashMap<VersionId, Arc<Rule>>>,
    /// Why a version is in force though its own table fails.
    excused: RwLock<HashMap<VersionId, String>>,
}

impl Rulebook {
    /// An empty book.
    pub fn new() -> Self {
        Self::default()
    }

    /// Holds a text against the contract and its expected values, and remembers it when it passes.
    ///
    /// # Errors
    /// The [`Fault`]; nothing is remembered then.
    pub fn check(&self, file: &str, text: &str) -> Result<Arc<Rule>, Fault> {
        Ok(self.keep(Rule::check(&self.host, file, text)?, file, text))
    }

    fn keep(&self, rule: Rule, file: &str, text: &str) -> Arc<Rule> {
        let rule = Arc::new(rule);
        self.remember(&rule.version, file, text);
        self.rules.write().unwrap_or_else(PoisonError::into_inner).insert(rule.version.clone(), rule.clone());
        rule
    }

    /// Holds a text against the contract, and remembers it though its own table fails: somebody said why.
    ///
    /// # Errors
    /// The [`Fault`] of anything but the table; nothing is remembered then.
    pub fn check_over(&self, file: &str, text: &str) -> Result<Arc<Rule>, Fault> {
        Ok(self.keep(Rule::judged(&self.host, file, text)?.0, file, text))
    }

    /// Judges a text without remembering it: a draft. Also gives what its expected values came to.
    ///
    /// # Errors
    /// The [`Fault`].
    pub fn draft(&self, file: &str, text: &str) -> Result<(Rule, Vec<crate::ExpectedRow>), Fault> {
        Rule::judged(&self.host, file, text)
    }

    /// Remembers the text of a version that was in force, without compiling it yet.
    pub fn remember(&self, version: &VersionId, file: &str, text: &str) {
        let mut texts = self.texts.write().unwrap_or_else(PoisonError::into_inner);
        texts.entry(version.clone()).or_insert_with(|| (file.into(), text.into()));
    }

    /// Remembers why a version came in force though its own expected values fail.
    pub fn excuse(&self, version: &VersionId, reason: &str) {
        self.excused.write().unwrap_or_else(PoisonError::into_inner).insert(version.clone(), reason.into());
    }

    /// Why a version came in force though its own expected values fail; none where they do not.
    pub fn excused(&self, version: &VersionId) -> Option<String> {
        self.excused.read().unwrap_or_else(PoisonError::into_inner).get(version).cloned()
    }

    /// The text of a version and the file it came from.
    pub fn text(&self, version: &VersionId) -> Option<(String, String)> {
        self.texts.read().unwrap_or_else(PoisonError::into_inner).get(version).cloned()
    }

    /// A version as a rule.
    ///
    /// # Errors
    /// When its text is not known, or no longer compiles with this host.
    pub fn rule(&self, version: &VersionId) -> Result<Arc<Rule>, Fault> {
        if let Some(rule) = self.rules.read().unwrap_or_else(PoisonError::into_inner).get(version) {
            return Ok(rule.clone());
        }
        let (file, text) = self.text(version).ok_or_else(|| {
            Fault::whole(
                version.as_str(),
                "this rule version is not in the journal",
                "restore the journal it came from",
            )
        })?;
        let rule = Arc::new(Rule::compile(&self.host, &file, &text)?);
        self.rules.write().unwrap_or_else(PoisonError::into_inner).insert(version.clone(), rule.clone());
        Ok(rule)
    }
}

impl Laws for Rulebook {
    fn law(&self, version: &VersionId, mode: &str) -> Result<Law, String> {
        self.rule(version).and_then(|rule| rule.law(mode)).map_err(|fault| fault.to_string())
    }
}
