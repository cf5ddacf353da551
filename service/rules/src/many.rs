//! Numbers that stand in a script where one would: the temperatures or the humidities of many airs. So the interpreter goes
//! through `rate` once for all of them, and what goes by the temperature or the humidity alone is worked out once for each.
//!
//! Every operation is done number by number, as the engine does it to one. A comparison holds for many only if it holds for
//! all of them or for none; where the airs part there is no answer, and each side is asked for by itself. What could slip
//! through unnoticed is kept from them: the engine of [`register`] knows numbers only, and [`asked_of_many`] looks at what
//! the engine does by itself.

use std::{any::TypeId, cell::Cell, collections::BTreeSet, sync::Arc};

use rhai::{AST, ASTNode, Dynamic, Engine, EvalAltResult, Expr, Position, Stmt};

use crate::functions::number;

type Answer<T> = Result<T, Box<EvalAltResult>>;

/// Numbers made in one call. Each takes eight bytes and well under a microsecond, so that a script that makes more holds no
/// more memory and time than other scripts do.
const MADE_AT_MOST: usize = 1_000_000;

thread_local! {
    static MADE: Cell<usize> = const { Cell::new(0) };
}

/// One number for each of the airs asked about, or for all of a temperature, or for all of a humidity. Shared, because the
/// engine copies a value wherever it is named.
#[derive(Clone)]
pub(crate) struct Many {
    numbers: Arc<[f64]>,
    /// How many temperatures and humidities they are for: one number stands for all.
    by: [usize; 2],
}

impl Many {
    pub(crate) fn of_temps(temps: &[f64]) -> Self {
        Self { numbers: temps.into(), by: [temps.len(), 1] }
    }

    pub(crate) fn of_rhs(rhs: &[f64]) -> Self {
        Self { numbers: rhs.into(), by: [1, rhs.len()] }
    }
}

/// Why many have no answer together that they may have apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Parting {
    /// A comparison comes out otherwise from this temperature on.
    Temps(usize),
    /// A comparison comes out otherwise from this humidity on.
    Rhs(usize),
    /// A comparison goes by both, or they are too many at once.
    Both,
}

/// An argument: one number for all airs, or many.
enum Given {
    One([f64; 1]),
    Many(Many),
}

impl Given {
    fn of(value: &Dynamic) -> Answer<Self> {
        many(value).map_or_else(|| number(value).map(|number| Self::One([number])), |many| Ok(Self::Many(many)))
    }

    fn by(&self) -> [usize; 2] {
        match self {
            Self::One(_) => [1, 1],
            Self::Many(many) => many.by,
        }
    }

    /// The numbers of one temperature, and how far it is from each to that of the next humidity.
    fn of_temp(&self, temp: usize) -> (&[f64], usize) {
        match self {
            Self::One(number) => (number, 0),
            Self::Many(Many { numbers, by: [temps, rhs] }) => {
                let from = if *temps == 1 { 0 } else { temp * rhs };
                (&numbers[from..from + rhs], usize::from(*rhs > 1))
            }
        }
    }
}

fn many(value: &Dynamic) -> Option<Many> {
    value.read_lock::<Many>().map(|many| many.clone())
}

fn is_many(value: &Dynamic) -> bool {
    value.is::<Many>()
}

/// What `call` gives for one number each, or many of that where there are many among them.
pub(crate) fn each<const N: usize>(given: [&Dynamic; N], call: impl Fn([f64; N]) -> Answer<f64>) -> Answer<Dynamic> {
    if !given.iter().any(|value| is_many(value)) {
        let mut numbers = [0.0; N];
        for (to, value) in numbers.iter_mut().zip(given) {
            *to = number(value)?;
        }
        return call(numbers).map(Into::into);
    }
    let (given, by) = together(given)?;
    let mut numbers = Vec::with_capacity(by[0] * by[1]);
    for temp in 0..by[0] {
        let of_temp = given.each_ref().map(|given| given.of_temp(temp));
        for rh in 0..by[1] {
            numbers.push(call(of_temp.map(|(numbers, step)| numbers[rh * step]))?);
        }
    }
    Ok(Dynamic::from(Many { numbers: numbers.into(), by }))
}

/// Arguments, and how many temperatures and humidities they are for together. Counts what is made of them.
fn together<const N: usize>(given: [&Dynamic; N]) -> Answer<([Given; N], [usize; 2])> {
    let mut all = [const { Given::One([0.0]) }; N];
    for (to, value) in all.iter_mut().zip(given) {
        *to = Given::of(value)?;
    }
    let by = all.iter().map(Given::by).fold([1, 1], |[a, b], [x, y]| [a.max(x), b.max(y)]);
    let made = MADE.get() + by[0] * by[1];
    if made > MADE_AT_MOST {
        return Err(apart(Parting::Both));
    }
    MADE.set(made);
    Ok((all, by))
}

/// Forgets the numbers made in the call before.
pub(crate) fn begin() {
    MADE.set(0);
}

/// The rates of so many temperatures and humidities as a script answered: one for all of them, or many. None if it is neither.
pub(crate) fn spread(answer: &Dynamic, [temps, rhs]: [usize; 2]) -> Option<Vec<f64>> {
    let given = Given::of(answer).ok()?;
    let of_temp = |temp| {
        let (numbers, step) = given.of_temp(temp);
        (0..rhs).map(move |rh| numbers[rh * step])
    };
    Some((0..temps).flat_map(of_temp).collect())
}

/// Every mixture of whole numbers, decimal numbers and many as arguments of a function.
pub(crate) fn mixtures<const N: usize>() -> impl Iterator<Item = [TypeId; N]> {
    let kinds = [TypeId::of::<f64>(), TypeId::of::<i64>(), TypeId::of::<Many>()];
    (0..3_usize.pow(N as u32)).map(move |mixture| {
        let mut rest = mixture;
        [(); N].map(|()| {
            let kind = kinds[rest % 3];
            rest /= 3;
            kind
        })
    })
}

fn with_many<const N: usize>() -> impl Iterator<Item = [TypeId; N]> {
    mixtures().filter(|kinds| kinds.contains(&TypeId::of::<Many>()))
}

/// Teaches an engine the operators and functions of numbers for many. It must know nothing of texts, lists or maps: joined
/// to a text they would become one without a fault.
pub(crate) fn register(engine: &mut Engine) {
    // So that whatever goes by the name of a kind takes them for what the numbers are.
    engine.register_type_with_name::<Many>(std::any::type_name::<f64>());
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
    compare(engine, "==", |x, y| x == y);
    compare(engine, "!=", |x, y| x != y);
    compare(engine, "<", |x, y| x < y);
    compare(engine, "<=", |x, y| x <= y);
    compare(engine, ">", |x, y| x > y);
    compare(engine, ">=", |x, y| x >= y);
}

fn of_one(engine: &mut Engine, name: &str, call: impl Fn(f64) -> f64 + Send + Sync + 'static) {
    engine.register_raw_fn(name, [TypeId::of::<Many>()], move |_, given| each([&*given[0]], |[x]| Ok(call(x))));
}

fn of_two(engine: &mut Engine, name: &str, call: impl Fn(f64, f64) -> f64 + Copy + Send + Sync + 'static) {
    for kinds in with_many::<2>() {
        engine.register_raw_fn(name, kinds, move |_, given| each([&*given[0], &*given[1]], |[x, y]| Ok(call(x, y))));
    }
}

/// Numbers nearer to each other than this share of them are compared by the engine, which takes those for equal that differ
/// by their last digit.
const NEAR: f64 = 1e-12;

fn compare(engine: &mut Engine, name: &'static str, call: impl Fn(f64, f64) -> bool + Copy + Send + Sync + 'static) {
    for kinds in with_many::<2>() {
        engine.register_raw_fn(name, kinds, move |engine, given| {
            let (given, by) = together([&*given[0], &*given[1]])?;
            let holds = |temp, rh| {
                let [x, y]: [f64; 2] = given.each_ref().map(|given| {
                    let (numbers, step) = given.of_temp(temp);
                    numbers[rh * step]
                });
                match (x - y).abs() > NEAR * x.abs().max(y.abs()).max(1.0) {
                    true => Ok(call(x, y)),
                    false => engine.call_native_fn::<bool>(name, (x, y)),
                }
            };
            let first = holds(0, 0)?;
            for temp in 0..by[0] {
                for rh in 0..by[1] {
                    if holds(temp, rh)? != first {
                        return Err(apart(match by {
                            [_, 1] => Parting::Temps(temp),
                            [1, _] => Parting::Rhs(rh),
                            _ => Parting::Both,
                        }));
                    }
                }
            }
            Ok(first)
        });
    }
}

fn apart(parting: Parting) -> Box<EvalAltResult> {
    EvalAltResult::ErrorRuntime(Dynamic::from(parting), Position::NONE).into()
}

/// How they part, if that is why there is no answer.
pub(crate) fn parting(error: &EvalAltResult) -> Option<Parting> {
    match error.unwrap_inner() {
        EvalAltResult::ErrorRuntime(value, _) => value.clone().try_cast(),
        _ => None,
    }
}

/// What `rate` leads to by name, which is all that many can reach; none where they would not pass for their numbers: a
/// `switch` would take them for none of its cases, a text would take them in, and a fault that they met could be caught. Nor
/// may a script ask which functions there are.
pub(crate) fn asked_of_many(ast: &AST) -> Option<AST> {
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
