//! Who a request is by. It is known for as long as the request is being answered, wherever in the program that is: so a
//! new address cannot forget to say by whom.

use std::sync::Arc;

use super::Role;

/// Whoever made a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Who {
    /// Name of the token.
    pub(crate) name: String,
    pub(crate) role: Role,
    /// Zones a sensor may post readings of.
    pub(super) zones: Vec<String>,
    /// Hash of the token or session that was shown.
    pub(super) shown: String,
    /// Whether it is a browser's session.
    pub(crate) session: bool,
}

impl Who {
    /// Whether it may post readings of a zone.
    pub(crate) fn reads(&self, zone: &str) -> bool {
        self.role != Role::Sensor || self.zones.iter().any(|own| own == zone)
    }
}

tokio::task_local! {
    static WHO: Option<Arc<Who>>;
}

/// Answers a request as one by somebody; none for one from this machine that showed no token.
pub(super) async fn answering<T>(who: Option<Arc<Who>>, answer: impl Future<Output = T>) -> T {
    WHO.scope(who, answer).await
}

/// Who the request under way is by, if it showed a token.
pub(crate) fn current() -> Option<Arc<Who>> {
    WHO.try_with(Clone::clone).ok().flatten()
}

/// By whom something is said: the token's name, which cannot be claimed, before the name that was given.
pub(crate) fn said_by(given: &str) -> String {
    current().map_or_else(|| given.into(), |who| who.name.clone())
}
