//! A row of numbers that stands in a script where one number would: the humidities of many airs of one temperature. So the
//! interpreter goes through `rate` once for all of them, and what goes by the temperature alone is worked out once.
//!
//! Every operation is done number by number, as the engine does it to one. A comparison holds for a row only if it holds
//! for all of it or for none; where the airs part there is no answer, and they are asked for in shorter rows. What a row
//! could slip through unnoticed is kept from it: the engine of [`register`] knows numbers only, and [`asked_in_rows`] looks
//! at what the engine does by itself.

use std::{any::TypeId, collections::BTreeSet, sync::Arc};

use rhai::{AST, ASTNode, Array, Dynamic, Engine, EvalAltResult, Expr, Stmt};

use crate::{functions::number, host::host_error};

type Answer<T> = Result<T, Box<EvalAltResult>>;

/// Numbers of the airs asked about, in their order. Shared, because the engine copies a value wherever it is named.
#[derive(Clone)]
pub(crate) struct Row(Arc<[f64]>);

impl From<&[f64]> for Row {
    fn from(numbers: &[f64]) -> Self {
        Self(numbers.into())
    }
}

/// An argument: one number for all airs, or one for each.
enum Given {
    One(f64),
    Each(Row),
}

impl Given {
    fn of(value: &Dynamic) -> Answer<Self> {
        row(value).map_or_else(|| number(value).map(Self::One), |row| Ok(Self::Each(row)))
    }

    fn at(&self, place: usize) -> f64 {
        match self {
            Self::One(number) => *number,
            Self::Each(row) => row.0[place],
        }
    }

    fn places(&self) -> Option<usize> {
        match self {
            Self::One(_) => None,
            Self::Each(row) => Some(row.0.len()),
        }
    }
}

fn row(value: &Dynamic) -> Option<Row> {
    value.read_lock::<Row>().map(|row| row.clone())
}

/// What `call` gives for one number each, or a row of that where there is a row among them.
pub(crate) fn each<const N: usize>(given: [&Dynamic; N], call: impl Fn([f64; N]) -> Answer<f64>) -> Answer<Dynamic> {
    let mut numbers = [const { Given::One(0.0) }; N];
    for (place, value) in numbers.iter_mut().zip(given) {
        *place = Given::of(value)?;
    }
    let at = |place| call(numbers.each_ref().map(|given| given.at(place)));
    match numbers.iter().find_map(Given::places) {
        None => at(0).map(Into::into),
        Some(places) => Ok(Dynamic::from(Row((0..places).map(at).collect::<Answer<_>>()?))),
    }
}

/// The rates of `n` airs of one temperature as a script answered: one for all of them or a row. None if it is neither.
pub(crate) fn spread(answer: &Dynamic, n: usize) -> Option<Vec<f64>> {
    match Given::of(answer).ok()? {
        Given::One(rate) => Some(vec![rate; n]),
        Given::Each(row) => Some(row.0.to_vec()),
    }
}

/// Every mixture of whole numbers, decimal numbers and rows as arguments of a function.
pub(crate) fn mixtures<const N: usize>() -> impl Iterator<Item = [TypeId; N]> {
    let kinds = [TypeId::of::<f64>(), TypeId::of::<i64>(), TypeId::of::<Row>()];
    (0..3_usize.pow(N as u32)).map(move |mixture| {
        let mut rest = mixture;
        [(); N].map(|()| {
            let kind = kinds[rest % 3];
            rest /= 3;
            kind
        })
    })
}

fn with_a_row<const N: usize>() -> impl Iterator<Item = [TypeId; N]> {
    mixtures().filter(|kinds| kinds.contains(&TypeId::of::<Row>()))
}

/// Teaches an engine the operators and functions of numbers for rows. It must know nothing of texts, lists or maps: joined
/// to a text a row would become one without a fault.
pub(crate) fn register(engine: &mut Engine) {
    // So that whatever goes by the name of a kind takes a row for what its numbers are.
    engine.register_type_with_name::<Row>(std::any::type_name::<f64>());
    of_one(engine, "-", |x| -x);
    of_one(engine, "abs", f64::abs);
    of_one(engine, "sqrt", f64::sqrt);
    of_one(engine, "exp", f64::exp);
    of_one(engine, "ln", f64::ln);
    of_one(engine, "log", f64::log10);
    of_one(engine, "floor", f64::floor);
    of_one(engine, "ceiling", f64::ceil);
    of_one(engine, "round", f64::round);
    of_two(engine, "+", |x, y| x + y);
    of_two(engine, "-", |x, y| x - y);
    of_two(engine, "*", |x, y| x * y);
    of_two(engine, "/", |x, y| x / y);
    of_two(engine, "%", |x, y| x % y);
    of_two(engine, "**", f64::powf);
    of_two(engine, "log", f64::log);
    of_two(engine, "max", |x, y| if x >= y { x } else { y });
    of_two(engine, "min", |x, y| if x <= y { x } else { y });
    ["==", "!=", "<", "<=", ">", ">="].into_iter().for_each(|name| compare(engine, name));
    // What asking along temperatures needs of lists.
    engine.register_iterator::<Array>();
    engine.register_fn("push", |list: &mut Array, value: Dynamic| list.push(value));
}

fn of_one(engine: &mut Engine, name: &str, call: fn(f64) -> f64) {
    engine.register_raw_fn(name, [TypeId::of::<Row>()], move |_, given| each([&*given[0]], |[x]| Ok(call(x))));
}

fn of_two(engine: &mut Engine, name: &str, call: fn(f64, f64) -> f64) {
    for kinds in with_a_row::<2>() {
        engine.register_raw_fn(name, kinds, move |_, given| each([&*given[0], &*given[1]], |[x, y]| Ok(call(x, y))));
    }
}

/// Two numbers are compared by the engine, which takes those for equal that differ by their last digit.
fn compare(engine: &mut Engine, name: &'static str) {
    for kinds in with_a_row::<2>() {
        engine.register_raw_fn(name, kinds, move |engine, given| {
            let (x, y) = (Given::of(given[0])?, Given::of(given[1])?);
            let holds = |place| engine.call_native_fn::<bool>(name, (x.at(place), y.at(place)));
            let first = holds(0)?;
            for place in 1..x.places().or_else(|| y.places()).unwrap_or(1) {
                if holds(place)? != first {
                    return Err(host_error("the airs part here".into()));
                }
            }
            Ok(first)
        });
    }
}

/// What `rate` leads to by name, which is all a row can reach; none where a row would not pass for its numbers: a `switch`
/// would take it for none of its cases, a text would take it in, and a fault that it met could be caught. Nor may a script ask
/// which functions there are.
pub(crate) fn asked_in_rows(ast: &AST) -> Option<AST> {
    let mut names = BTreeSet::from(["rate".to_owned()]);
    loop {
        let mut led_to = ast.clone();
        led_to.retain_functions(|_, _, name, _| names.contains(name));
        let known = names.len();
        let plain = led_to.walk(&mut |path| {
            match path.last() {
                Some(
                    ASTNode::Stmt(Stmt::FnCall(call, _))
                    | ASTNode::Expr(Expr::FnCall(call, _) | Expr::MethodCall(call, _)),
                ) => {
                    names.insert(call.name.to_string());
                    return call.name != "is_def_fn";
                }
                Some(ASTNode::Stmt(Stmt::Switch(..) | Stmt::TryCatch(..)))
                | Some(ASTNode::Expr(Expr::InterpolatedString(..))) => return false,
                _ => {}
            }
            true
        });
        if !plain {
            return None;
        }
        if names.len() == known {
            return Some(led_to);
        }
    }
}
