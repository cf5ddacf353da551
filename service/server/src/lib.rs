//! The service: HTTP, pages, alert delivery, recurring work, settings, the command line.
//!
//! Responsible for: everything that touches the world outside. The only room with status numbers, time zones and
//! environment variables.
//! Never knows: SQL, how a cure is computed, how a script is run.
//! Start reading at `run.rs`, then `state.rs`, then a route.

mod access;
mod alerts;
mod believed;
mod body;
mod calendar;
mod certificate;
mod chart;
pub mod cli;
mod coating;
mod compose;
mod course_chart;
mod demo;
pub mod doors;
mod earlier;
mod held_back;
mod inches;
mod intake;
mod keys;
mod meters;
mod mixing;
mod news;
mod now;
mod openapi;
mod others;
mod pages;
mod photos;
mod plan;
mod problem;
mod procedures;
mod recurring;
mod routes;
mod run;
mod schedules;
mod scripts;
mod settings;
mod setup_chart;
mod shop;
mod shops;
mod state;
mod strength_chart;
mod string_up;
mod tidy;
mod twins;
mod units;
mod wall;
mod whole;
mod wire;
mod workshop;

pub use access::Role;
pub use demo::fill as fill_demo;
pub use now::Now;
pub use problem::{Kind, Problem};
pub use run::{Service, StartError};
pub use settings::{
    Access, Alerts, Certainty, Email, Hours, NamedShop, Person, Place, Plan, Push, Secret, Settings, SettingsError,
    Shop, Webhook,
};
pub use state::{Shared, State};
pub use units::{LengthUnit, TempUnit};
