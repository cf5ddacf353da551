//! The book of tokens and sessions, in memory as it is on disk. It is read again every few seconds, so that what another
//! process gave or took away (the command line, another instance) holds here soon too.

use std::{
    collections::HashMap,
    sync::{Arc, PoisonError, RwLock},
    time::Duration,
};

use store::Token;

use super::{
    Role, Who,
    secret::{PREFIX, id_of, new_session, new_token},
};
use crate::{
    now::LastSeen,
    problem::{Kind, Problem},
    state::State,
};

/// Longest a token goes on after another process took it away.
const FRESH: Duration = Duration::from_secs(5);
/// Longest until one is known that another process gave.
const NEW: Duration = Duration::from_secs(1);
/// When a token was last used is noted to the minute.
const NOTED_MS: i64 = 60_000;
/// A session that was not used for so long has ended. The nightly tidying goes by the same fortnight.
const SESSION_MS: i64 = 14 * 24 * 3_600_000;
/// And this is the longest one lasts, however much it is used.
const LONGEST_MS: i64 = 365 * 24 * 3_600_000;
/// Names that facts carry already when nobody in particular said them.
const TAKEN: [&str; 5] = ["bench", "clock", "demo", "scripts", "shop"];

/// Tokens and sessions by the hash of their secret.
#[derive(Default)]
pub(crate) struct Book {
    all: RwLock<Arc<HashMap<String, Token>>>,
    read: LastSeen,
}

/// A token to be made.
#[derive(Debug, Clone)]
pub(crate) struct NewToken {
    pub(crate) name: String,
    pub(crate) role: Role,
    pub(crate) zones: Vec<String>,
    pub(crate) by: String,
    pub(crate) at_ms: i64,
}

/// A token that was made: what is kept of it, and the secret that is shown once.
pub(crate) struct Made {
    pub(crate) token: Token,
    pub(crate) secret: String,
}

impl NewToken {
    /// Makes its secret, if its name and zones can be.
    ///
    /// # Errors
    /// What is wrong with them.
    pub(crate) fn make(self) -> Result<Made, Problem> {
        let Self { name, role, zones, by, at_ms } = self;
        let letters = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        let good = (1..=48).contains(&name.len()) && name.chars().all(letters) && !name.starts_with('-');
        if !good || TAKEN.contains(&name.as_str()) {
            let why = if good { "stands for nobody in particular" } else { "is no name" };
            let mend = "write who or what shows it, for example \"mia-phone\": a-z, 0-9 and hyphens, at most 48";
            return Err(Problem::new(Kind::Invalid, format!("\"{name}\" {why}"), mend).about("name"));
        }
        if zones.is_empty() == (role == Role::Sensor) {
            let (what, mend) = match role {
                Role::Sensor => ("a sensor posts readings of its zones, and none is named", "name at least one"),
                _ => ("only a sensor is bound to zones", "leave zones out, or choose the role sensor"),
            };
            return Err(Problem::new(Kind::Invalid, what, mend).about("zones"));
        }
        for zone in &zones {
            facts::ZoneId::new(zone.as_str())?;
        }
        let secret = new_token();
        let (id, role) = (id_of(&secret), role.word().into());
        let token =
            Token { id, name, role, zones, session: false, made_ms: at_ms, made_by: by, used_ms: None, revoked: None };
        Ok(Made { token, secret })
    }
}

/// The name was given before.
pub(crate) fn name_taken(name: &str) -> Problem {
    let mend = "choose another: facts say by whom they are by name, so a name is never given twice";
    Problem::new(Kind::Conflict, format!("there is or was a token \"{name}\""), mend).about("name")
}

impl Book {
    fn all(&self) -> Arc<HashMap<String, Token>> {
        self.all.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Reads it from disk if it was not read for so long. What cannot be read leaves it as it was.
    async fn read(&self, state: &Arc<State>, unless_within: Duration) -> Result<(), Problem> {
        if self.read.since().is_some_and(|since| since <= unless_within) {
            return Ok(());
        }
        let tokens = match state.read(|database| database.tokens()).await {
            Ok(tokens) => tokens,
            Err(problem) if self.read.since().is_none() => return Err(problem),
            Err(problem) => {
                tracing::error!(%problem, "the tokens could not be read again; those known go on");
                return Ok(());
            }
        };
        self.read.note();
        let all = tokens.into_iter().map(|token| (token.id.clone(), token)).collect();
        *self.all.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(all);
        Ok(())
    }

    /// Whose secret this is, if it is anybody's and still good; and notes that it was used.
    pub(super) async fn find(&self, state: &Arc<State>, secret: &str) -> Result<Option<Arc<Who>>, Problem> {
        self.read(state, FRESH).await?;
        let id = id_of(secret);
        if !self.all().contains_key(&id) {
            self.read(state, NEW).await?;
        }
        let (all, now_ms) = (self.all(), state.now().ms());
        let Some(who) = who(&all, &id, now_ms) else { return Ok(None) };
        let noted_ms = all[&id].used_ms.unwrap_or(i64::MIN);
        if now_ms.saturating_sub(noted_ms) >= NOTED_MS {
            self.note(state, id, now_ms).await;
        }
        Ok(Some(Arc::new(who)))
    }

    /// Whether somebody who came in is still welcome.
    pub(crate) async fn stands(&self, state: &Arc<State>, who: &Who) -> bool {
        // What cannot be read was known a moment ago.
        let _ = self.read(state, FRESH).await;
        super::book::who(&self.all(), &who.shown, state.now().ms()).is_some()
    }

    async fn note(&self, state: &Arc<State>, id: String, now_ms: i64) {
        {
            let mut all = self.all.write().unwrap_or_else(PoisonError::into_inner);
            if let Some(token) = Arc::make_mut(&mut all).get_mut(&id) {
                token.used_ms = Some(now_ms);
            }
        }
        if let Err(problem) = state.act(move |database| database.token_used(&id, now_ms)).await {
            tracing::warn!(%problem, "when a token was used could not be noted");
        }
    }

    /// Keeps a new token.
    pub(crate) async fn add(&self, state: &Arc<State>, token: Token) -> Result<(), Problem> {
        let name = token.name.clone();
        let added = state.act(move |database| database.add_token(&token)).await?;
        self.read(state, Duration::ZERO).await?;
        if added { Ok(()) } else { Err(name_taken(&name)) }
    }

    /// Every token, without sessions, by name.
    pub(crate) async fn tokens(&self, state: &Arc<State>) -> Result<Vec<Token>, Problem> {
        let all = state.read(|database| database.tokens()).await?;
        Ok(all.into_iter().filter(|token| !token.session).collect())
    }

    /// Takes a token away, with its sessions.
    ///
    /// # Errors
    /// When there is none of that name, or nobody could give another after it.
    pub(crate) async fn revoke(&self, state: &Arc<State>, name: &str, by: String) -> Result<(), Problem> {
        let stands = |token: &&Token| token.revoked.is_none();
        let tokens = self.tokens(state).await?;
        let Some(token) = tokens.iter().find(|token| token.name == name) else {
            return Err(Problem::not_found("token", name));
        };
        let owners = tokens.iter().filter(stands).filter(|token| token.role == Role::Owner.word()).count();
        if token.revoked.is_none() && token.role == Role::Owner.word() && owners == 1 {
            let mend = "make another owner's token first; `benchclock token revoke` on its machine takes the last too";
            return Err(Problem::new(Kind::Conflict, format!("\"{name}\" is the last owner's token"), mend));
        }
        let (name, now_ms) = (name.to_string(), state.now().ms());
        state.act(move |database| database.revoke_token(&name, &by, now_ms)).await?;
        self.read(state, Duration::ZERO).await
    }

    /// Begins the session of a browser that showed a token; gives the session's secret.
    ///
    /// # Errors
    /// When it cannot be kept.
    pub(crate) async fn begin(&self, state: &Arc<State>, who: &Who) -> Result<String, Problem> {
        let secret = new_session();
        let session = Token {
            id: id_of(&secret),
            name: who.name.clone(),
            role: who.role.word().into(),
            zones: vec![],
            session: true,
            made_ms: state.now().ms(),
            made_by: who.name.clone(),
            used_ms: None,
            revoked: None,
        };
        self.add(state, session).await?;
        Ok(secret)
    }

    /// Ends a session.
    ///
    /// # Errors
    /// It goes on then.
    pub(crate) async fn end(&self, state: &Arc<State>, who: &Who) -> Result<(), Problem> {
        let id = who.shown.clone();
        state.act(move |database| database.end_session(&id)).await?;
        self.read(state, Duration::ZERO).await
    }

    /// Whose secret this is, of a person who types it in.
    pub(crate) async fn whose(&self, state: &Arc<State>, secret: &str) -> Result<Option<Arc<Who>>, Problem> {
        let found = if secret.starts_with(PREFIX) { self.find(state, secret).await? } else { None };
        Ok(found.filter(|who| !who.session))
    }
}

/// Whoever a hash stands for. A session is worth what its token is worth now.
fn who(all: &HashMap<String, Token>, id: &str, now_ms: i64) -> Option<Who> {
    let shown = all.get(id)?;
    let unused_ms = now_ms - shown.used_ms.unwrap_or(shown.made_ms);
    if shown.session && (unused_ms > SESSION_MS || now_ms - shown.made_ms > LONGEST_MS) {
        return None;
    }
    let token = match shown.session {
        true => all.values().find(|token| !token.session && token.name == shown.name)?,
        false => shown,
    };
    let role = Role::of_word(&token.role).filter(|_| token.revoked.is_none())?;
    let zones = token.zones.clone();
    Some(Who { name: token.name.clone(), role, zones, shown: id.into(), session: shown.session })
}
