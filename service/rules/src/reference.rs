//! The script reference, `scripts/README.md`, made from the host so that it cannot say what is not so.

use crate::{
    functions::FUNCTIONS,
    hooks::{HOOKS, SET_ASIDE_AFTER},
    host::LIMITS,
};

const HEAD: &str = "\
# Rules

One file per material class, named for it, in `materials/`. The numbers at the top of each file are what you edit; the
service reads the file again when you save it, runs its table of expected values, and puts it in force only if they
hold. A file with a fault leaves the last good version in force, and the service says which line to mend. Glue-ups
already curing keep the version they began with.

`schedules/*.toml` are finish schedules: a `name`, a `source`, and `[[steps]]` with `id`, `kind` (`coat`, `hands_on`, `wait`,
`check`), `title`, for a coat its `material`, and how many `times`. They are read when they are asked for;
`POST /api/v1/schedules/{name}/jobs` opens a job by one.

This page is made from the program: `cargo run -p rules --example contract > scripts/README.md`.

## What a rule says

```rhai
fn material() -> #{
    name: \"aliphatic resin\",            // the generic class
    kind: \"adhesive\",                   // or \"finish\"
    reference: #{ temp_c: 20, rh_pct: 50 }, // the air in which the rate is 1
    cautions: [\"...\"],                  // always deferring to the safety data sheet
    sources: [\"...\"],                   // or \"common practice, no source\"
    storage_days: 365,                  // how long an opened container keeps (optional)
    working_life_min: 5,                // how long a mix can be used (optional)
    creep_hold_h: 48,                   // hours on the wall before a lasting load, if it creeps (optional)
    limits: [                           // airs that spoil it while it is young (optional)
        #{ name: \"film-forming temperature\", below_temp_c: 10, until_h: 1, says: \"...\" },
        // or above_temp_c, below_rh_pct, above_rh_pct, below_spread_k (kelvins above the dew point)
    ],
    film: #{                            // a finish: what the coats of a stack must know of each other (optional)
        usual_wet_um: 100,              // one usual coat, wet
        solids_pct: 25,                 // share of the wet film that stays, by volume
        trapped_pct: 20,                // solvent it holds once its surface has set, of its dry volume
        diffusion_um2_h: 46,            // how fast that gets out, µm² per reference hour
        sets_h: 96,                     // falls to 1/e in so many reference hours by setting where it lies, as oil does (optional)
        sprayed: true,                  // false for what is only wiped or brushed (optional)
        retarder: #{ slows: 1.5, up_to_rh_pct: 75 }, // a tenth of it; dampest air it helps in (optional)
        exposure: #{ critical_mj_cm2: 40, penetration_um: 120 }, // cured by light (optional)
        marked_by: [\"stand_foam\"],     // marks it for life: hands, cloth, clamp_cauls_with_cork, case, strap, stand_foam
    },
    mix: #{                             // what is mixed before use; needs working_life_min (optional)
        by: \"volume\",                 // or \"weight\"
        parts: [#{ name: \"resin\", parts: 2, density_g_ml: 1.1 }, #{ name: \"hardener\", parts: 1, density_g_ml: 0.95 }],
        tolerance_pct: 5,               // how far a part may be off
        thinner_up_to_pct: 10,          // by volume of the mix (optional)
        life_spread: [0.7, 1.3],        // quickest and slowest working life, as shares (optional)
        mode: \"\",                     // the mode a pot goes by, for a rule with fn mode (optional)
    },
}

fn rate(air) -> number           // air.temp_c, air.rh_pct; how fast it cures, 1 at the reference, never negative
fn milestones(joint) -> [        // joint.gap_um, joint.film_um, joint.porosity: \"sealed\", \"dense\", \"normal\", \"open\"
    #{ stage: \"clamp_off\",       // the trade's or the standard's word
       hours: 0.75,              // reference hours for this joint
       spread: [0.7, 1.5],       // quickest and surest, as shares of `hours`
       floor_h: 0,               // wall-clock hours that no warm room shortens (optional)
       closes: false,            // true for the end of a window: told early instead of late (optional)
       next: \"...\" },            // what to do then
]
fn expected() -> [               // what the rule must give, or it is not put in force
    #{ temp_c: 20, rh_pct: 50, stage: \"clamp_off\", hours: 0.75, within: 0.01, source: \"...\" },
    #{ temp_c: 5, rh_pct: 50, stage: \"clamp_off\", never: true, source: \"...\" },
    // gap_um, film_um and porosity may be added to a row
]

fn mode(joint) -> text           // optional: a few named laws, then fn rate(air, mode)
fn strength(age_h, joint) -> 0.0 to 1.0  // optional: share of full strength, for load-bearing materials
fn checks(air, joint) -> [       // optional: what to say at application; the air is that at the surface, as cold as it is
    #{ level: \"caution\", what: \"...\", mend: \"...\" },   // level: \"note\", \"caution\", \"defect\"
]
fn fitted() -> #{                // optional: what was fitted at the bench and accepted; written by a fit, yours to take out
    stages: #{ clamp_off: #{ times: 1.3, spread: [0.8, 1.3] } },  // times the hours above; spread in place of the sheet's
    per_10_k: 1.1,               // times faster per 10 K than rate() says
}
```

A rule with a strength may name a stage `string_up`: the least wait before any string, whatever the load. It is told by the
service once everything else of the instrument holds too; without it the wait is that of `full_strength`.

The rate answers to the air alone; what is particular to a joint (gap, film, porosity) scales `hours`. Rates are
sampled every 0.5 °C and 2.5 % RH, from -20 to 60 °C: put a threshold on one of these steps. Constants written at the
top of the file (`const CLAMP_H = 0.75;`) may be used by name in every function.

## Functions

Numbers may be whole or decimal. Besides these there are the language's own: arithmetic, `min`, `max`, `exp`, `ln`,
`sqrt`, `abs`, `floor`, strings, arrays and maps.

| function | what it gives |
| --- | --- |
";

const SHOP: &str = "
## Shop scripts

Files in `shop/` have a say in what the service does with events of the board. `benchclock check` reads them too. A file has
one or more of these hooks; several files are asked in order of their names.

`alert` has `kind`, `title`, `body`, `stage`, `cure`, `material`, `instrument`, `job`, `place` (texts, empty where there is
none), `late`, and the shop's `hour` (0 to 23) and `weekday` (`\"mon\"` ...). `instrument` has `id`, `name`, `family`, `zone`,
`air` (`temp_c`, `rh_pct`; `()` where its zone is not known) and `curing`, a list with `cure`, `kind`, `material`, `hours`,
`age_h` and `reached` of each glue-up and coat on it.

A list or map written as a constant at the top is given to a variable before it is asked something:
`let names = AT_NIGHT; names.len()`.

| hook | what it does |
| --- | --- |
";

/// The whole reference as Markdown.
pub fn contract_markdown() -> String {
    let mut page = HEAD.to_string();
    for function in FUNCTIONS {
        page.push_str(&format!("| `{}({})` | {} |\n", function.name, function.arguments, function.says));
    }
    page.push_str(SHOP);
    for hook in HOOKS {
        page.push_str(&format!("| `{}({})` | {} |\n", hook.name, hook.argument, hook.says));
    }
    page.push_str(&format!(
        "\nA hook that fails {SET_ASIDE_AFTER} times in a row is set aside until its file changes, and an alert says so; what a \
         failed\n`hold_string_up` would have said nobody knows, so it holds back. `GET /api/v1/hooks` and the page `/hooks` \
         show calls, times and\nfailures.\n"
    ));
    page.push_str(&format!(
        "\n## Limits\n\nA script reads its arguments and gives values back; it reaches no file, network, clock or other script. \
         Nothing is assigned by a computed index: an array is built with `push`, an entry of a map is named. `for` goes along \
         ranges such as `0..9` and arrays.\n\n\
         | limit | at most |\n| --- | --- |\n\
         | source | {} KiB |\n| operations of one call | {} |\n| time of one call | {} ms |\n\
         | time of all calls that judge a rule | {} s |\n\
         | nested calls | {} |\n| text | {} bytes |\n| array | {} elements |\n| map | {} entries |\n\
         | variables | {} |\n| functions | {} |\n| arguments of a function | {} |\n",
        LIMITS.source_bytes / 1024,
        LIMITS.operations,
        LIMITS.deadline.as_millis(),
        LIMITS.judging.as_secs(),
        LIMITS.call_levels,
        LIMITS.string_bytes,
        LIMITS.array_len,
        LIMITS.map_len,
        LIMITS.variables,
        LIMITS.functions,
        LIMITS.arguments
    ));
    page
}
