//! The demo's jobs: what each instrument is in for, step by step, with the minutes somebody works on each. All invented.

use facts::{
    Step,
    StepKind::{self, Check, Coat, GlueUp, HandsOn, Wait},
    Work,
};

use super::id;

/// A step: id, kind, title, minutes somebody works on it. Each follows the one above it.
pub(super) type StepRow = (&'static str, StepKind, &'static str, u32);

/// Jobs: id, instrument, title, days until due, steps.
pub(super) const JOBS: [(&str, &str, &str, i64, &[StepRow]); 10] = [
    (
        "bridge",
        "parlour",
        "Re-glue the bridge",
        3,
        &[
            ("clean", HandsOn, "Clean both faces", 45),
            ("glue", GlueUp, "Glue the bridge", 30),
            ("rest", Wait, "Let it come to full strength", 0),
            ("string", Check, "String up and check the action", 25),
        ],
    ),
    (
        "crack",
        "parlour",
        "Close the top crack",
        6,
        &[
            ("wick", GlueUp, "Wick thin adhesive into the crack", 15),
            ("cleat", GlueUp, "Glue cleats across it", 40),
            ("coat-1", Coat, "First touch-up coat", 15),
            ("coat-2", Coat, "Second touch-up coat", 15),
            ("rest", Wait, "Let the film harden", 0),
            ("rub", HandsOn, "Level and rub out", 60),
        ],
    ),
    (
        "brace",
        "classical",
        "Re-glue the loose brace",
        4,
        &[
            ("glue", GlueUp, "Glue the brace", 30),
            ("seam", GlueUp, "Glue the back seam", 25),
            ("tap", Check, "Tap for rattles", 10),
        ],
    ),
    (
        "plug",
        "classical",
        "Plug the jack hole",
        8,
        &[
            ("glue", GlueUp, "Glue the plug to its cleat", 40),
            ("flush", HandsOn, "Level the plug", 30),
            ("coat", Coat, "Drop-fill the finish", 15),
        ],
    ),
    (
        "neck",
        "twelve",
        "Reset the neck",
        12,
        &[
            ("slots", GlueUp, "Fill the nut slots", 20),
            ("glue", GlueUp, "Glue the neck", 50),
            ("rest", Wait, "Let it rest before strings", 0),
            ("string", Check, "String up in stages", 40),
        ],
    ),
    (
        "binding",
        "mandolin",
        "Binding and scroll touch-up",
        9,
        &[
            ("binding", GlueUp, "Glue the binding", 45),
            ("seal", Coat, "Seal with shellac", 15),
            ("coat-1", Coat, "First lacquer coat", 20),
            ("coat-2", Coat, "Second lacquer coat", 20),
            ("coat-3", Coat, "Third lacquer coat", 20),
            ("rest", Wait, "Let the film harden", 0),
            ("rub", HandsOn, "Rub out", 90),
        ],
    ),
    (
        "seam",
        "violin",
        "Close the open seam",
        5,
        &[
            ("glue", GlueUp, "Glue the seam", 30),
            ("varnish", Coat, "Touch up the varnish", 25),
            ("set-up", HandsOn, "Set up", 120),
        ],
    ),
    (
        "nut",
        "violin",
        "Re-glue the nut",
        6,
        &[("glue", GlueUp, "Glue the nut", 15), ("string", Check, "String up", 30)],
    ),
    (
        "pickup",
        "ukulele",
        "Fit the pickup",
        2,
        &[("tape", GlueUp, "Tape the preamp in", 20), ("wire", HandsOn, "Dress the wires", 40)],
    ),
    (
        "head",
        "ukulele",
        "Mend the headstock",
        10,
        &[
            ("glue", GlueUp, "Glue the break", 35),
            ("shape", HandsOn, "Scrape and level", 60),
            ("coat", Coat, "Touch-up coat", 15),
            ("rest", Wait, "Let joint and film come to full strength", 0),
            ("string", Check, "String up", 30),
        ],
    ),
];

/// What is known beforehand of glue-ups and coats still to come: job, step, joint, material.
const PLANNED: [(&str, &str, Option<&str>, &str); 2] =
    [("nut", "glue", Some("violin-nut"), "liquid-hide-glue"), ("plug", "coat", None, "nitrocellulose-lacquer")];

/// A step as its job is opened with it.
pub(super) fn step(job: &str, (of, kind, title, minutes): &StepRow) -> Step {
    let planned = PLANNED.iter().find(|(of_job, of_step, ..)| of_job == &job && of_step == of);
    let work = Work {
        hands_on_min: (*minutes > 0).then_some(*minutes),
        zone: (*kind == Coat).then(|| id("booth")),
        ..Work::default()
    };
    Step {
        id: id(of),
        kind: *kind,
        title: (*title).into(),
        follows: vec![],
        joint: planned.and_then(|(_, _, joint, _)| joint.map(id)),
        material: planned.map(|(.., material)| id(material)),
        before_strings: super::strings::BEFORE.contains(&(job, of)),
        lay: None,
        work,
    }
}
