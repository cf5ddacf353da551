//! The text of a script written from a sheet: numbers at the top, each with where it comes from, and what follows.

use std::fmt::Write;

use super::{DataSheet, Warmth, Written, class::Row};

const ASSUMED: &str = "Assumed from the class, not on the sheet.";

/// Text being written, and what was assumed on the way.
struct Page {
    text: String,
    assumed: Vec<&'static str>,
}

impl Page {
    /// One constant with its unit, as the sheet states it or as the class does.
    fn constant(&mut self, name: &'static str, unit: &str, stated: Option<f64>, of_class: f64) {
        let (value, from) = match stated {
            Some(value) => (value, "The sheet."),
            None => (of_class, ASSUMED),
        };
        if stated.is_none() {
            self.assumed.push(name);
        }
        self.line(&format!("const {name} = {value:?};"), &format!("{unit} {from}"));
    }

    fn line(&mut self, code: &str, comment: &str) {
        let _ = writeln!(self.text, "{code:<34} // {comment}");
    }

    fn raw(&mut self, text: &str) {
        self.text.push_str(text);
    }
}

fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

/// The stages of a coat or joint: stage, constant, spread, what follows.
type Stage = (&'static str, &'static str, &'static str, &'static str);

const OF_GLUE: [Stage; 2] = [
    ("clamp_off", "CLAMP_OFF_H", "[0.7, 1.5]", "Take the clamps off and leave the joint unloaded."),
    ("full_strength", "FULL_STRENGTH_H", "[0.8, 1.5]", "The joint may be worked and loaded."),
];
const OF_COAT: [Stage; 5] = [
    ("dust_free", "DUST_FREE_H", "[0.6, 1.8]", "Dust no longer sticks; air may move."),
    ("recoat_opens", "RECOAT_OPENS_H", "[0.75, 1.5]", "Lay the next thin coat."),
    ("sandable", "SANDABLE_H", "[0.75, 1.8]", "Sand lightly; paper that clogs says wait."),
    ("recoat_closes", "RECOAT_CLOSES_H", "[0.6, 1.5]", "Lay the next coat before now, or scuff the surface first."),
    ("dry_through", "DRY_THROUGH_H", "[0.7, 1.8]", "It may be handled and fitted."),
];

pub(super) fn write(sheet: &DataSheet, class: &Row, reference_c: f64, warmth: Warmth) -> Written {
    let mut page = Page { text: String::new(), assumed: Vec::new() };
    let finish = sheet.class.is_finish();
    let stages: Vec<(Stage, Option<f64>)> = stages(sheet, class, finish);
    head(&mut page, sheet, class);
    page.constant("REF_TEMP_C", "°C. The air in which the hours below hold.", sheet.temp_c, reference_c);
    page.constant("REF_RH_PCT", "% RH.", sheet.rh_pct, class.rh_pct);
    for ((stage, name, ..), stated) in &stages {
        page.constant(name, "h.", *stated, class.time(stage).unwrap_or_default());
    }
    if let Some(open_min) = sheet.open_time_min {
        page.line(&format!("const OPEN_TIME_MIN = {open_min:?};"), "min from spreading to pressure. The sheet.");
    }
    numbers(&mut page, sheet, class, warmth);
    page.raw("\n// What follows from it -------------------------------------------------------------------------------------\n\n");
    material(&mut page, sheet, class, finish);
    rate(&mut page, sheet, warmth);
    milestones(&mut page, sheet, finish, &stages);
    checks(&mut page, sheet, finish);
    expected(&mut page, sheet, reference_c, sheet.rh_pct.unwrap_or(class.rh_pct));
    Written { text: page.text, assumed: page.assumed }
}

/// The stages to write: those of the class, and those only the sheet has.
fn stages(sheet: &DataSheet, class: &Row, finish: bool) -> Vec<(Stage, Option<f64>)> {
    let stated = sheet.stated();
    let of = |stage: &str| stated.iter().find(|(name, _)| *name == stage).and_then(|(_, hours)| *hours);
    let all: &[Stage] = if finish { &OF_COAT } else { &OF_GLUE };
    let all = all.iter().map(|stage| (*stage, of(stage.0)));
    all.filter(|(stage, stated)| stated.is_some() || class.time(stage.0).is_some()).collect()
}

fn head(page: &mut Page, sheet: &DataSheet, class: &Row) {
    let name = sheet.name.as_deref().unwrap_or(class.name);
    let _ = write!(
        page.text,
        "// {name}: written from its data sheet; the class is {}.\n//\n\
         // \"The sheet\" behind a number says that the data sheet states it. \"Assumed from the class, not on the sheet\"\n\
         // says that the class's usual value stands in: common practice, no source. Correct those when you know better.\n\
         // Cautions: see material(); they defer to the safety data sheet and local codes.\n\n\
         // What you may edit --------------------------------------------------------------------------------------------\n\n",
        class.name
    );
}

fn numbers(page: &mut Page, sheet: &DataSheet, class: &Row, warmth: Warmth) {
    match warmth {
        Warmth::Q10(q10) => page.constant("TEMP_Q10", "So much faster 10 K warmer.", Some(q10), q10),
        Warmth::Assumed(q10) => page.constant("TEMP_Q10", "So much faster 10 K warmer.", None, q10),
        Warmth::Activation(kj_mol) => page.line(
            &format!("const ACTIVATION_KJ_MOL = {kj_mol:.3};"),
            "kJ/mol. Worked out from the sheet's times at two temperatures (ASTM C1074 form).",
        ),
    }
    page.assumed.push("HUMIDITY");
    let _ = write!(page.text, "\n// % RH and how fast it cures. {ASSUMED}\nconst HUMIDITY = {};\n", class.humidity);
    for (name, what, value) in [
        ("MIN_TEMP_C", "°C below which it does not cure. The sheet.", sheet.min_temp_c),
        ("FILM_FORMS_C", "°C below which it dries chalky (ISO 2115). The sheet.", sheet.film_forming_c),
        ("MIN_RH_PCT", "% RH below which it is starved. The sheet.", sheet.min_rh_pct),
        ("MAX_RH_PCT", "% RH above which it is spoiled. The sheet.", sheet.max_rh_pct),
    ] {
        if let Some(value) = value {
            page.line(&format!("const {name} = {value:?};"), what);
        }
    }
    if sheet.class.is_finish() {
        page.constant("REF_FILM_UM", "µm wet, the film those times are for.", sheet.film_um, class.film_um);
        return;
    }
    page.assumed.extend(["GAP", "SEALED", "DENSE", "OPEN"]);
    let (sealed, dense, open) = class.faces;
    let _ = write!(
        page.text,
        "\n// Gap in µm and how much longer it takes. {ASSUMED}\nconst GAP = {};\n\
         // Hours for faces that take up nothing, for close oily wood, for very open wood, as shares. {ASSUMED}\n\
         const SEALED = {sealed:?};\nconst DENSE = {dense:?};\nconst OPEN = {open:?};\n",
        class.gap
    );
}

fn material(page: &mut Page, sheet: &DataSheet, class: &Row, finish: bool) {
    let name = sheet.name.as_deref().unwrap_or(class.name);
    let last = "The safety data sheet of your product and local codes decide.";
    let cautions = class.cautions.iter().chain([&last]).map(|caution| format!("            {},\n", quoted(caution)));
    let storage = sheet.storage_days.unwrap_or(class.storage_days);
    if sheet.storage_days.is_none() {
        page.assumed.push("storage_days");
    }
    let from = if sheet.storage_days.is_some() { "The sheet." } else { ASSUMED };
    let working = sheet
        .working_life_min
        .map_or_else(String::new, |min| format!("        working_life_min: {min:?}, // The sheet.\n"));
    let _ = write!(
        page.text,
        "fn material() {{\n    #{{\n        name: {},\n        kind: \"{}\",\n        \
         reference: #{{ temp_c: REF_TEMP_C, rh_pct: REF_RH_PCT }},\n        cautions: [\n{}        ],\n        \
         sources: [\n            \"The product's data sheet, as entered\",\n            \
         \"What is marked as assumed: the class's usual value, common practice, no source\",\n        ],\n        \
         storage_days: {storage:?}, // {from}\n{working}        limits: [\n{}        ],\n    }}\n}}\n\n",
        quoted(name),
        if finish { "finish" } else { "adhesive" },
        cautions.collect::<String>(),
        limits(sheet, finish)
    );
}

fn limits(sheet: &DataSheet, finish: bool) -> String {
    let until = if finish { "DUST_FREE_H" } else { "CLAMP_OFF_H" };
    let rows = [
        (
            sheet.min_temp_c,
            "minimum temperature",
            "below_temp_c: MIN_TEMP_C",
            "It does not cure in air this cold. Warm it, and count again from there.",
        ),
        (
            sheet.film_forming_c,
            "film-forming temperature",
            "below_temp_c: FILM_FORMS_C",
            "It dries chalky and weak, and warming it later does not mend it. Test it before you rely on it.",
        ),
        (
            sheet.min_rh_pct,
            "too dry",
            "below_rh_pct: MIN_RH_PCT",
            "Too little water in the air to cure it as it should. Test it before you rely on it.",
        ),
        (
            sheet.max_rh_pct,
            "too damp",
            "above_rh_pct: MAX_RH_PCT",
            "Air this damp spoils it while it is young. Test it before you rely on it.",
        ),
    ];
    let row = |(_, name, bound, says): &(Option<f64>, &str, &str, &str)| {
        format!("            #{{ name: \"{name}\", {bound}, until_h: {until}, says: \"{says}\" }},\n")
    };
    rows.iter().filter(|row| row.0.is_some()).map(row).collect()
}

fn rate(page: &mut Page, sheet: &DataSheet, warmth: Warmth) {
    page.raw("fn rate(air) {\n");
    for (value, name) in [(sheet.min_temp_c, "MIN_TEMP_C"), (sheet.film_forming_c, "FILM_FORMS_C")] {
        if value.is_some() {
            let _ = write!(page.text, "    if air.temp_c < {name} {{\n        return 0.0;\n    }}\n");
        }
    }
    let warm = match warmth {
        Warmth::Activation(_) => "arrhenius(air.temp_c, REF_TEMP_C, ACTIVATION_KJ_MOL)",
        _ => "q10(air.temp_c, REF_TEMP_C, TEMP_Q10)",
    };
    let _ =
        write!(page.text, "    {warm}\n        * table(HUMIDITY, air.rh_pct) / table(HUMIDITY, REF_RH_PCT)\n}}\n\n");
}

fn milestones(page: &mut Page, sheet: &DataSheet, finish: bool, stages: &[(Stage, Option<f64>)]) {
    page.raw(match finish {
        true => {
            "// How much longer this film takes; 0 µm means that nobody measured it.\nfn slower(joint) {\n    \
             if joint.film_um <= 0 {\n        return 1.0;\n    }\n    \
             let film_um = min(max(joint.film_um, 0.5 * REF_FILM_UM), 3.0 * REF_FILM_UM);\n    \
             thickness_factor(film_um, REF_FILM_UM, 1.5)\n}\n\n"
        }
        false => {
            "fn slower(joint) {\n    let faces = switch joint.porosity { \"sealed\" => SEALED, \"dense\" => DENSE, \
             \"open\" => OPEN, _ => 1.0 };\n    faces * table(GAP, joint.gap_um)\n}\n\n"
        }
    });
    page.raw("fn milestones(joint) {\n    let slower = slower(joint);\n    [\n");
    if sheet.open_time_min.is_some() {
        page.raw(
            "        #{\n            stage: \"assembly_closes\", hours: OPEN_TIME_MIN / 60.0, spread: [0.7, 1.3], closes: true,\n            \
             next: \"The joint must be closed and under pressure before now.\",\n        },\n",
        );
    }
    for ((stage, name, spread, next), _) in stages {
        let closes = if *stage == "recoat_closes" { ", closes: true" } else { "" };
        let _ = write!(
            page.text,
            "        #{{\n            stage: \"{stage}\", hours: {name} * slower, spread: {spread}{closes},\n            \
             next: \"{next}\",\n        }},\n"
        );
    }
    page.raw("    ]\n}\n\n");
    if !finish {
        page.raw(
            "// Share of full strength. Assumed from the class, not on the sheet: two fifths when the clamps come off.\n\
             fn strength(age_h, joint) {\n    \
             table([[0, 0.0], [CLAMP_OFF_H, 0.4], [FULL_STRENGTH_H, 1.0]], age_h / slower(joint))\n}\n\n",
        );
    }
}

fn checks(page: &mut Page, sheet: &DataSheet, finish: bool) {
    let what = if finish { "coat" } else { "glue" };
    let rows = [
        (
            sheet.min_temp_c,
            "air.temp_c < MIN_TEMP_C",
            "defect",
            "is below the minimum temperature of this",
            "Warm wood and room first, and keep them warm.",
        ),
        (
            sheet.film_forming_c,
            "air.temp_c < FILM_FORMS_C",
            "defect",
            "is below the film-forming temperature of this",
            "Warm wood and room first, and keep them warm.",
        ),
        (
            sheet.min_rh_pct,
            "air.rh_pct < MIN_RH_PCT",
            "caution",
            "is drier than the sheet of this asks for:",
            "Raise the humidity, and try it on scrap.",
        ),
        (
            sheet.max_rh_pct,
            "air.rh_pct > MAX_RH_PCT",
            "caution",
            "is damper than the sheet of this allows:",
            "Dry the air, and try it on scrap.",
        ),
    ];
    page.raw("fn checks(air, joint) {\n    let found = [];\n");
    for (_, test, level, said, mend) in rows.iter().filter(|row| row.0.is_some()) {
        let _ = write!(
            page.text,
            "    if {test} {{\n        found.push(#{{ level: \"{level}\", what: \"The air {said} {what}.\", mend: \"{mend}\" }});\n    }}\n"
        );
    }
    page.raw("    found\n}\n\n");
}

/// The sheet's own values are what the rule must give.
fn expected(page: &mut Page, sheet: &DataSheet, reference_c: f64, rh_pct: f64) {
    page.raw("fn expected() {\n    [\n");
    let film = if sheet.class.is_finish() { "film_um: REF_FILM_UM, " } else { "" };
    let mut row = |temp_c: f64, stage: &str, hours: f64, source: &str| {
        let within = hours * 0.01;
        let _ = writeln!(
            page.text,
            "        #{{ temp_c: {temp_c:?}, rh_pct: {rh_pct:?}, {film}stage: \"{stage}\", hours: {hours:?}, within: {within:.6}, source: \"{source}\" }},"
        );
    };
    for (stage, hours) in sheet.stated() {
        if let Some(hours) = hours {
            row(reference_c, stage, hours, "the sheet");
        }
    }
    if let Some(min) = sheet.open_time_min {
        row(reference_c, "assembly_closes", min / 60.0, "the sheet");
    }
    if let (Some(second), Some((stage, _))) = (sheet.second, sheet.main_time()) {
        row(second.temp_c, stage, second.hours, "the sheet, at its other temperature");
    }
    if let (Some(coldest), Some((stage, _))) = (sheet.coldest_c(), sheet.main_time()) {
        let colder = coldest - 0.5;
        if colder >= facts::TempC::RANGE.0 {
            let _ = writeln!(
                page.text,
                "        #{{ temp_c: {colder:?}, rh_pct: {rh_pct:?}, stage: \"{stage}\", never: true, source: \"the sheet: colder than it allows\" }},"
            );
        }
    }
    page.raw("    ]\n}\n");
}
