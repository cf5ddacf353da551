//! The functions a script may call, in one list: registered from it and documented from it, so that neither can
//! be forgotten. All are pure; arguments may be whole or decimal numbers.

use std::any::TypeId;

use physics::{OutOfRange, air, film, rate, strength, wood};
use rhai::{Array, Dynamic, Engine, EvalAltResult, ImmutableString};
use serde::Serialize;

use crate::{host::host_error, many};

type Answer = Result<f64, OutOfRange>;

/// One host function.
pub(crate) struct HostFunction {
    pub(crate) name: &'static str,
    pub(crate) arguments: &'static str,
    pub(crate) says: &'static str,
    call: Call,
}

enum Call {
    Two(fn(f64, f64) -> Answer),
    Three(fn(f64, f64, f64) -> Answer),
    Four(fn(f64, f64, f64, f64) -> Answer),
    Table,
    Solvent,
}

/// What a host function is called with and gives, for whoever writes a rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct FunctionDoc {
    /// Its name.
    pub name: &'static str,
    /// Its arguments in order, with their units.
    pub arguments: &'static str,
    /// What it gives and where it comes from.
    pub says: &'static str,
}

/// Every host function with its docs, in the order of the script reference.
pub fn functions() -> impl Iterator<Item = FunctionDoc> {
    FUNCTIONS.iter().map(|f| FunctionDoc { name: f.name, arguments: f.arguments, says: f.says })
}

/// Every host function, in the order of the script reference.
pub(crate) const FUNCTIONS: &[HostFunction] = &[
    HostFunction {
        name: "arrhenius",
        arguments: "temp_c, ref_temp_c, activation_kj_mol",
        says: "How much faster a reaction runs at temp_c than at ref_temp_c. 50 kJ/mol doubles it about every 10 K. \
               ASTM C1074 form.",
        call: Call::Three(rate::arrhenius),
    },
    HostFunction {
        name: "q10",
        arguments: "temp_c, ref_temp_c, q10",
        says: "How much faster a reaction runs at temp_c, if it runs q10 times as fast 10 K warmer.",
        call: Call::Three(rate::q10),
    },
    HostFunction {
        name: "vpd_pa",
        arguments: "temp_c, rh_pct",
        says: "Vapour pressure deficit of the air, Pa: how thirsty it is. ASHRAE Fundamentals.",
        call: Call::Two(air::vpd_pa),
    },
    HostFunction {
        name: "vpd_ratio",
        arguments: "temp_c, rh_pct, ref_temp_c, ref_rh_pct",
        says: "Vapour pressure deficit compared with that of a reference air: how much faster water leaves.",
        call: Call::Four(film::evaporation_factor),
    },
    HostFunction {
        name: "dew_point_c",
        arguments: "temp_c, rh_pct",
        says: "Temperature at which this air would begin to wet a surface, °C. ASHRAE Fundamentals.",
        call: Call::Two(air::dew_point_c),
    },
    HostFunction {
        name: "emc_pct",
        arguments: "temp_c, rh_pct",
        says: "Equilibrium moisture content of wood in this air, %. Wood Handbook eq. 4-5.",
        call: Call::Two(wood::emc_pct),
    },
    HostFunction {
        name: "thickness_factor",
        arguments: "film_um, ref_film_um, exponent",
        says: "How much longer a film of this thickness takes: exponent 1 while evaporation limits, 2 while diffusion \
               through the film does.",
        call: Call::Three(film::wet_film_drying_factor),
    },
    HostFunction {
        name: "solvent_factor",
        arguments: "solvent, temp_c, ref_temp_c",
        says: "How much faster a solvent leaves than at ref_temp_c, by its vapour pressure: \"ethanol\", \"acetone\", \
               \"toluene\", \"butyl_acetate\", \"xylene\", \"decane\" (mineral spirit). Antoine.",
        call: Call::Solvent,
    },
    HostFunction {
        name: "hyperbolic",
        arguments: "age_h, k_per_h, start_age_h",
        says: "Share of full strength at an age, k·t/(1 + k·t) from start_age_h on. ASTM C1074 / Carino.",
        call: Call::Three(strength::hyperbolic),
    },
    HostFunction {
        name: "exponential",
        arguments: "age_h, tau_h, shape",
        says: "Share of full strength at an age, exp(-(tau/t)^shape).",
        call: Call::Three(strength::exponential),
    },
    HostFunction {
        name: "table",
        arguments: "points, x",
        says: "Straight lines through points [[x, y], ...] with rising x, held flat beyond both ends.",
        call: Call::Table,
    },
];

pub(crate) fn register(engine: &mut Engine) {
    for function in FUNCTIONS {
        let name = function.name;
        match function.call {
            Call::Two(call) => of_numbers(engine, name, move |[a, b]| call(a, b)),
            Call::Three(call) => of_numbers(engine, name, move |[a, b, c]| call(a, b, c)),
            Call::Four(call) => of_numbers(engine, name, move |[a, b, c, d]| call(a, b, c, d)),
            Call::Solvent => {
                engine.register_fn(name, |solvent: ImmutableString, a: Dynamic, b: Dynamic| {
                    let known = film::Solvent::named(&solvent);
                    let names = film::Solvent::ALL.map(film::Solvent::name).join(", ");
                    let known =
                        known.ok_or_else(|| host_error(format!("solvent_factor knows {names}, not {solvent}")))?;
                    many::each([&a, &b], |[a, b]| answer("solvent_factor", film::solvent_factor(known, a, b)))
                });
            }
            Call::Table => {
                engine.register_fn(name, |points: Array, x: Dynamic| {
                    let points = points.iter().map(point).collect::<Result<Vec<_>, _>>()?;
                    many::each([&x], |[x]| answer("table", strength::monotone_table(&points, x)))
                });
            }
        }
    }
}

/// Registers a function of whole or decimal numbers and many of them: for every mixture of them, because the engine finds a
/// function by the exact kinds of its arguments at once and one of anything only when it has tried every mixture; and for
/// anything, to say what is needed.
fn of_numbers<const N: usize>(
    engine: &mut Engine,
    name: &'static str,
    call: impl Fn([f64; N]) -> Answer + Copy + Send + Sync + 'static,
) {
    let asked = move |given: &[&mut Dynamic]| {
        many::each(std::array::from_fn(|place| &*given[place]), |numbers: [f64; N]| answer(name, call(numbers)))
    };
    for kinds in many::mixtures::<N>() {
        engine.register_raw_fn(name, kinds, move |_, given| asked(given));
    }
    engine.register_raw_fn(name, [TypeId::of::<Dynamic>(); N], move |_, given| asked(given));
}

pub(crate) fn number(value: &Dynamic) -> Result<f64, Box<EvalAltResult>> {
    value
        .as_float()
        .or_else(|_| value.as_int().map(|n| n as f64))
        .map_err(|given| host_error(format!("a number is needed here, not a {given}")))
}

fn point(pair: &Dynamic) -> Result<(f64, f64), Box<EvalAltResult>> {
    let pair = pair.read_lock::<Array>();
    match pair.as_deref().map(Vec::as_slice) {
        Some([x, y]) => Ok((number(x)?, number(y)?)),
        _ => Err(host_error("table takes points of two numbers, like [[0, 0.0], [24, 0.9]]".into())),
    }
}

fn answer(name: &str, answer: Answer) -> Result<f64, Box<EvalAltResult>> {
    answer.map_err(|e| host_error(format!("{name}: {e}")))
}
