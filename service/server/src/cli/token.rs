//! Giving and taking away tokens on the service's own machine, before its first start too. A running service knows of it
//! within seconds.

use clap::Subcommand;
use comfy_table::{Table, TableStyle};
use store::Database;

use super::keep::folder_of;
use crate::{
    access::{NewToken, Role, name_taken},
    now::{Now, instant},
    run::StartError,
    settings::Settings,
};

/// By whom a token is made or taken away at the command line.
const BY: &str = "command line";

#[derive(Subcommand)]
pub(super) enum Verb {
    /// Make a token and print it: the only time it is shown.
    Add {
        /// Who or what will show it: a-z, 0-9 and hyphens. It is never given twice.
        name: String,
        /// What it may do.
        #[arg(long, value_enum)]
        role: Role,
        /// A zone a sensor may post readings of; say it once for each.
        #[arg(long = "zone")]
        zones: Vec<String>,
    },
    /// List the tokens: name, role, when made, last used, taken away.
    List,
    /// Take a token away, and end the sessions begun by it.
    Revoke {
        /// Its name.
        name: String,
    },
}

pub(super) fn run(settings: &Settings, verb: Verb) -> Result<(), StartError> {
    folder_of(&settings.store.path)?;
    let mut database = settings.store.open(&settings.shop.id)?;
    match verb {
        Verb::Add { name, role, zones } => {
            let made = NewToken { name: name.clone(), role, zones, by: BY.into(), at_ms: Now::system().ms() }.make()?;
            if !database.add_token(&made.token)? {
                return Err(name_taken(&name).into());
            }
            eprintln!("Keep it where nobody else reads it; it is not shown again.");
            println!("{}", made.secret);
        }
        Verb::List => println!("{}", table(settings, database.as_mut())?),
        Verb::Revoke { name } => {
            if !database.revoke_token(&name, BY, Now::system().ms())? {
                return Err(crate::problem::Problem::not_found("token in force", &name).into());
            }
            println!("{name} was taken away");
        }
    }
    Ok(())
}

fn table(settings: &Settings, database: &mut dyn Database) -> Result<Table, StartError> {
    let zone = settings.zone()?;
    let at = |at_ms: i64| instant(at_ms).with_timezone(&zone).format("%Y-%m-%d %H:%M").to_string();
    let mut table = Table::new();
    table.load_style(TableStyle::new()).set_header(["token", "role", "zones", "made", "last used", "taken away"]);
    for token in database.tokens()?.into_iter().filter(|token| !token.session) {
        let zones = token.zones.join(" ");
        let (used, revoked) = (token.used_ms.map(at), token.revoked.map(|(at_ms, _)| at(at_ms)));
        table.add_row([
            token.name,
            token.role,
            zones,
            at(token.made_ms),
            used.unwrap_or_default(),
            revoked.unwrap_or_default(),
        ]);
    }
    Ok(table)
}
