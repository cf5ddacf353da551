//! Who may do what. Requests from this machine need no login; any other shows a token, or the session of a browser that
//! showed one. The gate stands before every address: `caller.rs` finds out where a request comes from, `book.rs` whose
//! token it shows, `role.rs` what that role may do, `limits.rs` how often. `who.rs` lets what is said be said by a name.

mod bodies;
mod book;
mod caller;
mod gate;
mod headers;
pub(crate) mod host;
mod limits;
mod listen;
mod role;
mod secret;
mod who;

pub(crate) use book::{Book, NewToken, name_taken};
pub(crate) use caller::Caller;
pub(crate) use gate::{gate, session_cookie, wrong_token};
pub(crate) use headers::secured;
pub(crate) use limits::Limits;
pub(crate) use listen::may_listen;
pub use role::Role;
pub(crate) use who::{Who, current, said_by};
