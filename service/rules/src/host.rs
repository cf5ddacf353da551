//! The sandbox: an engine built from nothing, with chosen packages, every limit set, and no way out.

use std::{
    collections::BTreeMap,
    ops::{Range, RangeInclusive},
    time::Duration,
};

use rhai::{
    AST, Array, CallFnOptions, Dynamic, Engine, EvalAltResult, INT, Map, OptimizationLevel, Position, Scope,
    packages::{
        ArithmeticPackage, BasicArrayPackage, BasicMapPackage, BasicMathPackage, BasicStringPackage, LogicPackage,
        MoreStringPackage, Package,
    },
};

use crate::{
    Fault, apart, arrays, deadline, functions,
    many::{self, Many, Parting},
    shape,
};

/// What a script may use. Set by us, because the engine's own defaults differ between build profiles.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Bytes of source. Parsing has no deadline and some sources cost quadratic time: 32 KiB parses in under 50 ms.
    pub source_bytes: usize,
    /// Operations of one call.
    pub operations: u64,
    /// Wall-clock time of one call.
    pub deadline: Duration,
    /// Wall-clock time of all the calls that judge a rule or sample its law: thousands, so each just within its own
    /// deadline would keep the service for half an hour.
    pub judging: Duration,
    /// Nested function calls.
    pub call_levels: usize,
    /// Nesting of an expression, at the top and inside a function. 32/16 refuses an ordinary Arrhenius line.
    pub expr_depths: (usize, usize),
    /// Bytes of a string. `replace` builds its result before the size is checked: 2 KiB keeps that under 4 MiB.
    pub string_bytes: usize,
    /// Elements of an array, with those of the arrays in it.
    pub array_len: usize,
    /// Entries of a map, with those of the maps in it.
    pub map_len: usize,
    /// Variables of one call. The three limits above hold one value; this times nested calls holds all of them.
    pub variables: usize,
    /// Functions of a script.
    pub functions: usize,
    /// Arguments of a function.
    pub arguments: usize,
}

/// The limits in force for every script.
pub const LIMITS: Limits = Limits {
    source_bytes: 32 * 1024,
    operations: 50_000,
    deadline: Duration::from_millis(250),
    judging: Duration::from_secs(5),
    call_levels: 6,
    expr_depths: (64, 32),
    string_bytes: 2048,
    array_len: 512,
    map_len: 128,
    variables: 32,
    functions: 64,
    arguments: 4,
};

/// The engine, shared by all rules. Holds no state of any script.
pub struct Host {
    engine: Engine,
    /// Knows numbers only, and many of them at once.
    of_many: Engine,
    /// [`ALONG`], parsed.
    along: AST,
}

/// Asks a rule for its rates at many temperatures in one call. The interpreter looks functions up anew in each call from
/// outside, which takes longer than most rates.
const ALONG: &str = "
    fn rates_along(temps, rh_pct) {
        let rates = [];
        for temp_c in temps { rates.push(rate(#{ temp_c: temp_c, rh_pct: rh_pct })); }
        rates
    }
    fn rates_along(temps, rh_pct, mode) {
        let rates = [];
        for temp_c in temps { rates.push(rate(#{ temp_c: temp_c, rh_pct: rh_pct }, mode)); }
        rates
    }
";

/// A script that parses, with its constants worked into its functions.
pub(crate) struct Compiled {
    pub(crate) file: String,
    ast: AST,
    /// The same with [`ALONG`].
    along: AST,
    /// What its rate leads to, if that may be asked of many airs.
    of_many: Option<AST>,
    /// Number of arguments of each function it defines.
    pub(crate) functions: BTreeMap<String, usize>,
}

impl Default for Host {
    fn default() -> Self {
        Self::new()
    }
}

impl Host {
    /// Builds the sandbox.
    pub fn new() -> Self {
        let engine = Self::sandbox();
        let mut of_many = Self::of_numbers();
        many::register(&mut of_many);
        let along = engine.compile(ALONG).expect("a script of our own");
        Self { engine, of_many, along }
    }

    fn sandbox() -> Engine {
        let mut engine = Self::of_numbers();
        BasicStringPackage::new().register_into_engine(&mut engine);
        MoreStringPackage::new().register_into_engine(&mut engine);
        BasicArrayPackage::new().register_into_engine(&mut engine);
        BasicMapPackage::new().register_into_engine(&mut engine);
        arrays::register(&mut engine);
        // The map's own way to add an entry under a computed key, which is held as little as an index is.
        engine.register_fn("set", |_: &mut Map, key: &str, _: Dynamic| {
            Err::<(), _>(host_error(format!("an entry of a map is named, as in m.{key} = 1")))
        });
        engine
    }

    /// The sandbox without texts, lists and maps.
    fn of_numbers() -> Engine {
        let mut engine = Engine::new_raw();
        // No language-core package (it has sleep), no time, blob, bit or debugging package, no module resolver.
        ArithmeticPackage::new().register_into_engine(&mut engine);
        LogicPackage::new().register_into_engine(&mut engine);
        BasicMathPackage::new().register_into_engine(&mut engine);
        // Not the package of iterators: letters that wait to be walked along are no part of a value's size, and one operation
        // makes 500 times 2000 of them.
        engine.register_iterator::<Range<INT>>().register_iterator::<RangeInclusive<INT>>();
        engine.register_fn("contains", |range: &mut Range<INT>, number: INT| range.contains(&number));
        engine.register_fn("contains", |range: &mut RangeInclusive<INT>, number: INT| range.contains(&number));
        functions::register(&mut engine);
        // Curried arguments are no part of a value's size, and doubling them is one operation.
        for symbol in ["eval", "import", "export", "curry"] {
            engine.disable_symbol(symbol);
        }
        engine
            .set_max_operations(LIMITS.operations)
            .set_max_call_levels(LIMITS.call_levels)
            .set_max_expr_depths(LIMITS.expr_depths.0, LIMITS.expr_depths.1)
            .set_max_string_size(LIMITS.string_bytes)
            .set_max_array_size(LIMITS.array_len)
            .set_max_map_size(LIMITS.map_len)
            .set_max_variables(LIMITS.variables)
            .set_max_functions(LIMITS.functions)
            .set_max_modules(0)
            // Constants are worked in when their values are known.
            .set_optimization_level(OptimizationLevel::None)
            .on_progress(|_| deadline::spent(LIMITS.operations).then(|| Dynamic::from("past its limit")));
        engine
    }

    /// Parses a script. Its top-level constants are worked out once and put into its functions as values, so that a
    /// luthier edits numbers at the top of the file and functions use them by name. A name nobody gave a value is a
    /// fault even where no air leads.
    ///
    /// # Errors
    /// A [`Fault`] with line and column.
    pub(crate) fn compile(&self, file: &str, text: &str) -> Result<Compiled, Fault> {
        if text.len() > LIMITS.source_bytes {
            return Err(Fault::whole(
                file,
                format!("the script has {} bytes; at most {} are read", text.len(), LIMITS.source_bytes),
                "a rule is a page of text; move notes elsewhere",
            ));
        }
        apart::run(file, || {
            let ast = self.engine.compile(text).map_err(|e| Fault::of_parse(file, &e))?;
            shape::held(file, &ast)?;
            let mut constants = Scope::new();
            deadline::within(LIMITS.deadline, || self.engine.run_ast_with_scope(&mut constants, &ast))
                .map_err(|e| Fault::of_run(file, &e))?;
            shape::known(file, &ast, &constants)?;
            let mut ast = self.engine.optimize_ast(&constants, ast, OptimizationLevel::Simple);
            let functions = ast.iter_functions().map(|f| (f.name.to_string(), f.params.len())).collect();
            ast.clear_statements();
            let of_many = many::asked_of_many(&ast);
            Ok(Compiled { file: file.into(), along: ast.merge(&self.along), ast, of_many, functions })
        })
    }

    /// Calls a function of a script with values; every limit holds.
    ///
    /// # Errors
    /// A [`Fault`] with line and column, also when the engine itself panics; with the function's name where the engine
    /// knows no place, as for a script that ran past a limit.
    pub(crate) fn call(&self, script: &Compiled, function: &str, args: Vec<Dynamic>) -> Result<Dynamic, Fault> {
        if deadline::passed() {
            let what = format!("the script took more than {} s to judge", LIMITS.judging.as_secs());
            return Err(Fault::whole(&script.file, what, "a rule needs only a few lines per answer; simplify it"));
        }
        let call = || self.run(&self.engine, &script.ast, function, args).map_err(|e| Fault::of_run(&script.file, &e));
        apart::run(&script.file, call).map_err(|fault| if fault.line == 0 { fault.inside(function) } else { fault })
    }

    /// The rates at each of these temperatures in each of these humidities, in that order, in one call within the limits of
    /// one.
    ///
    /// # Errors
    /// How they part, if each side may have an answer; nothing where there is a fault or the script cannot be asked so.
    pub(crate) fn rates_of_many(
        &self,
        script: &Compiled,
        temps: &[f64],
        rhs: &[f64],
        mode: Option<&str>,
    ) -> Result<Vec<f64>, Option<Parting>> {
        let ast = script.of_many.as_ref().ok_or(None)?;
        let air = Map::from([
            ("temp_c".into(), Dynamic::from(Many::of_temps(temps))),
            ("rh_pct".into(), Dynamic::from(Many::of_rhs(rhs))),
        ]);
        let args = [air.into()].into_iter().chain(mode.map(Into::into)).collect();
        let call = || {
            many::begin();
            Ok(self.run(&self.of_many, ast, "rate", args).map_err(|error| many::parting(&error)))
        };
        let answer = apart::run(&script.file, call).map_err(|_| None)??;
        let rates = many::spread(&answer, [temps.len(), rhs.len()]).ok_or(None)?;
        rates.iter().all(|rate| is_rate(*rate)).then_some(rates).ok_or(None)
    }

    /// The rates at each of these temperatures in one humidity, in one call within the limits of one; none where any of it
    /// has no rate.
    pub(crate) fn rates_along(
        &self,
        script: &Compiled,
        temps: &[f64],
        rh_pct: f64,
        mode: Option<&str>,
    ) -> Option<Vec<f64>> {
        let temps = temps.iter().map(|temp_c| (*temp_c).into()).collect::<Array>();
        let args = [temps.into(), rh_pct.into()].into_iter().chain(mode.map(Into::into)).collect();
        let call =
            || self.run(&self.engine, &script.along, "rates_along", args).map_err(|e| Fault::of_run(&script.file, &e));
        let answers = apart::run(&script.file, call).ok()?.into_array().ok()?;
        answers.iter().map(as_rate).collect()
    }

    fn run(
        &self,
        engine: &Engine,
        ast: &AST,
        function: &str,
        args: Vec<Dynamic>,
    ) -> Result<Dynamic, Box<EvalAltResult>> {
        let options = CallFnOptions::new().eval_ast(false);
        deadline::within(LIMITS.deadline, || {
            engine.call_fn_with_options(options, &mut Scope::new(), ast, function, args)
        })
    }
}

/// What a script answered as a rate, if it is one.
pub(crate) fn as_rate(answer: &Dynamic) -> Option<f64> {
    let rate = answer.as_float().or_else(|_| answer.as_int().map(|n| n as f64)).ok()?;
    is_rate(rate).then_some(rate)
}

/// Whether a number may be a rate.
fn is_rate(number: f64) -> bool {
    number.is_finite() && number >= 0.0
}

/// An error a host function gives back to the script.
pub(crate) fn host_error(what: String) -> Box<EvalAltResult> {
    EvalAltResult::ErrorRuntime(what.into(), Position::NONE).into()
}
