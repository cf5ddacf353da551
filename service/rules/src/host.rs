//! The sandbox: an engine built from nothing, with chosen packages, every limit set, and no way out.

use std::{
    collections::BTreeMap,
    ops::{Range, RangeInclusive},
    time::Duration,
};

use rhai::{
    AST, Array, CallFnOptions, Dynamic, Engine, EvalAltResult, INT, Map, Position, Scope,
    packages::{
        ArithmeticPackage, BasicArrayPackage, BasicMapPackage, BasicMathPackage, BasicStringPackage, LogicPackage,
        MoreStringPackage, Package,
    },
};

use crate::{Fault, apart, arrays, deadline, functions, row, row::Row, shape};

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
    /// The same, but unknown names pass its parser: on the first reading the constants are not worked out yet.
    lenient: Engine,
    /// Knows numbers only, and rows of them.
    of_rows: Engine,
    /// [`ALONG`], parsed.
    along: AST,
}

/// Asks a rule for its rates at many temperatures in one call. The interpreter looks functions up anew in each call from
/// outside, which takes longer than most rates; an air that came as a map would be copied twice on its way to `rate`.
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
    /// What its rate leads to with [`ALONG`], if that may be asked for rows.
    in_rows: Option<AST>,
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
        let mut engine = Self::sandbox();
        engine.set_strict_variables(true);
        let lenient = Self::sandbox();
        let mut of_rows = Self::of_numbers();
        row::register(&mut of_rows);
        let along = lenient.compile(ALONG).expect("a script of our own");
        Self { engine, lenient, of_rows, along }
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
        let parse = |engine: &Engine, scope: &Scope<'_>| {
            engine.compile_with_scope(scope, text).map_err(|e| Fault::of_parse(file, &e))
        };
        apart::run(file, || {
            let mut constants = Scope::new();
            let first = parse(&self.lenient, &constants)?;
            shape::held(file, &first)?;
            deadline::within(LIMITS.deadline, || self.lenient.run_ast_with_scope(&mut constants, &first))
                .map_err(|e| Fault::of_run(file, &e))?;
            let mut ast = parse(&self.engine, &constants)?;
            let functions = ast.iter_functions().map(|f| (f.name.to_string(), f.params.len())).collect();
            ast.clear_statements();
            let in_rows = row::asked_in_rows(&ast).map(|led_to| led_to.merge(&self.along));
            Ok(Compiled { file: file.into(), along: ast.merge(&self.along), ast, in_rows, functions })
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
        self.run(&self.engine, script, &script.ast, function, args)
            .map_err(|fault| if fault.line == 0 { fault.inside(function) } else { fault })
    }

    /// The rates at each of these temperatures in each of these humidities, in that order, in one call within the limits of
    /// one. None where any of it has no rate, the airs part on their way, or the script cannot be asked for a row.
    pub(crate) fn rates(&self, script: &Compiled, temps: &[f64], rhs: &[f64], mode: Option<&str>) -> Option<Vec<f64>> {
        let (engine, ast, rh_pct) = match rhs {
            [rh_pct] => (&self.engine, &script.along, (*rh_pct).into()),
            _ => (&self.of_rows, script.in_rows.as_ref()?, Dynamic::from(Row::from(rhs))),
        };
        let temps = temps.iter().map(|temp_c| (*temp_c).into()).collect::<Array>();
        let args = [temps.into(), rh_pct].into_iter().chain(mode.map(Into::into)).collect();
        let answers = self.run(engine, script, ast, "rates_along", args).ok()?.into_array().ok()?;
        let rates = answers.iter().map(|answer| row::spread(answer, rhs.len())).collect::<Option<Vec<_>>>()?.concat();
        rates.iter().all(|rate| is_rate(*rate)).then_some(rates)
    }

    fn run(
        &self,
        engine: &Engine,
        script: &Compiled,
        ast: &AST,
        function: &str,
        args: Vec<Dynamic>,
    ) -> Result<Dynamic, Fault> {
        let options = CallFnOptions::new().eval_ast(false);
        apart::run(&script.file, || {
            deadline::within(LIMITS.deadline, || {
                engine
                    .call_fn_with_options(options, &mut Scope::new(), ast, function, args)
                    .map_err(|e| Fault::of_run(&script.file, &e))
            })
        })
    }
}

/// Whether a number may be a rate.
pub(crate) fn is_rate(number: f64) -> bool {
    number.is_finite() && number >= 0.0
}

/// An error a host function gives back to the script.
pub(crate) fn host_error(what: String) -> Box<EvalAltResult> {
    EvalAltResult::ErrorRuntime(what.into(), Position::NONE).into()
}
