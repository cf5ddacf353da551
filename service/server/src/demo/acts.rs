//! What happened in the demo shop: glue-ups and coats, pots stirred, clamps taken off, what somebody saw. All invented, and
//! the observations most of all: they are there so that the page of a fit has something to show.

use facts::Observing::{self, SandingTrial, SqueezeOut, TestPieceBroken, Thumbnail};

/// What happens.
#[derive(Clone, Copy)]
pub(super) enum Act {
    Glue(&'static str, &'static str, &'static str, &'static str, &'static str, &'static [&'static str]),
    Coat(&'static str, &'static str, &'static str, &'static str, &'static str, f64),
    Off(&'static str),
    Move(&'static str, &'static str),
    Done(&'static str, &'static str),
    /// A test piece glued on the test board: its id and material.
    Piece(&'static str, &'static str),
    /// A pot stirred: its id, material, ml.
    Pot(&'static str, &'static str, f64),
    /// Somebody looked: cure, stage, whether it was there, how it was found.
    Look(&'static str, &'static str, bool, Observing),
    /// Every open alert is seen.
    Seen,
    /// A rule that was tried for some days goes back to what it was.
    RuleBack,
}

/// Glue-ups that came out of a pot: cure and pot.
pub(super) const OUT_OF_POT: [(&str, &str); 1] = [("head-1", "head-pot")];

/// Hours ago, in order. Glue: id, job, step, joint, material, clamps. Coat: id, job, step, surface, material, wet film in µm.
pub(super) const ACTS: [(f64, Act); 64] = [
    (172.0, Act::Piece("piece-1", "aliphatic-resin")),
    (171.5, Act::Look("piece-1", "clamp_off", false, TestPieceBroken)),
    (171.2, Act::Look("piece-1", "clamp_off", true, TestPieceBroken)),
    (170.0, Act::Piece("hide-1", "hot-hide-glue")),
    (156.0, Act::Look("hide-1", "clamp_off", false, TestPieceBroken)),
    (151.5, Act::Look("hide-1", "clamp_off", true, TestPieceBroken)),
    (150.0, Act::Glue("binding-1", "binding", "binding", "mandolin-binding", "gap-cyanoacrylate", &["spring-1"])),
    (148.5, Act::Off("binding-1")),
    (148.0, Act::Coat("scroll-seal", "binding", "seal", "scroll", "shellac", 60.0)),
    (147.0, Act::Piece("piece-2", "aliphatic-resin")),
    (146.6, Act::Look("piece-2", "clamp_off", false, TestPieceBroken)),
    (146.3, Act::Look("piece-2", "clamp_off", true, TestPieceBroken)),
    (146.0, Act::Piece("hide-2", "hot-hide-glue")),
    (131.0, Act::Look("hide-2", "clamp_off", false, TestPieceBroken)),
    (127.0, Act::Look("hide-2", "clamp_off", true, TestPieceBroken)),
    (124.0, Act::Coat("scroll-1", "binding", "coat-1", "scroll", "nitrocellulose-lacquer", 80.0)),
    (121.0, Act::Coat("scroll-2", "binding", "coat-2", "scroll", "nitrocellulose-lacquer", 80.0)),
    (119.0, Act::Look("scroll-2", "sandable", false, Thumbnail)),
    (117.0, Act::Look("scroll-2", "sandable", true, SandingTrial)),
    (106.0, Act::Seen),
    (105.0, Act::Piece("hide-3", "hot-hide-glue")),
    (100.0, Act::Piece("piece-3", "aliphatic-resin")),
    (99.4, Act::Look("piece-3", "clamp_off", false, TestPieceBroken)),
    (99.0, Act::Look("piece-3", "clamp_off", true, TestPieceBroken)),
    // The cold night: the heating failed, and the brace was closed into it.
    (98.0, Act::Glue("brace-1", "brace", "glue", "classical-brace", "aliphatic-resin", &["go-bar-1", "deep-1"])),
    (84.0, Act::Look("hide-3", "clamp_off", false, TestPieceBroken)),
    (78.0, Act::Look("hide-3", "clamp_off", true, TestPieceBroken)),
    (77.0, Act::Off("brace-1")),
    (76.5, Act::Seen),
    (72.0, Act::Glue("crack-1", "crack", "wick", "parlour-crack", "thin-cyanoacrylate", &["cam-1"])),
    (70.5, Act::Off("crack-1")),
    (70.0, Act::Glue("cleat-1", "crack", "cleat", "parlour-cleat", "aliphatic-resin", &["cam-1", "cam-2"])),
    (69.2, Act::Look("cleat-1", "clamp_off", true, SqueezeOut)),
    (66.0, Act::Off("cleat-1")),
    // The damp day: lacquer laid into it may blush, hide glue dries slowly.
    (54.0, Act::Glue("violin-1", "seam", "glue", "violin-seam", "liquid-hide-glue", &["spool-1", "spool-2"])),
    (53.0, Act::Glue("slots-1", "neck", "slots", "twelve-slots", "gap-cyanoacrylate", &[])),
    (52.0, Act::Coat("scroll-3", "binding", "coat-3", "scroll", "nitrocellulose-lacquer", 80.0)),
    (50.0, Act::Look("scroll-3", "sandable", false, Thumbnail)),
    (48.5, Act::Look("scroll-3", "sandable", true, SandingTrial)),
    (48.0, Act::Coat("top-1", "crack", "coat-1", "top, along the crack", "nitrocellulose-lacquer", 60.0)),
    (45.0, Act::Coat("top-2", "crack", "coat-2", "top, along the crack", "nitrocellulose-lacquer", 60.0)),
    (44.0, Act::Seen),
    (43.0, Act::Look("top-2", "sandable", false, Thumbnail)),
    (41.5, Act::Look("top-2", "sandable", true, SandingTrial)),
    (34.2, Act::Pot("head-pot", "slow-epoxy", 12.0)),
    (34.0, Act::Glue("head-1", "head", "glue", "ukulele-head", "slow-epoxy", &["cam-3", "cam-4"])),
    (30.0, Act::Glue("back-1", "brace", "seam", "classical-seam", "fish-glue", &["bar-1", "bar-2"])),
    (28.0, Act::Move("head-1", "warm-box")),
    (26.5, Act::Done("bridge", "clean")),
    (26.0, Act::Glue("bridge-1", "bridge", "glue", "parlour-bridge", "hot-hide-glue", &["bridge-caul", "deep-2"])),
    (25.0, Act::RuleBack),
    (24.5, Act::Off("violin-1")),
    (23.0, Act::Seen),
    (20.0, Act::Coat("violin-2", "seam", "varnish", "lower bout edge", "oil-varnish", 50.0)),
    (12.0, Act::Look("bridge-1", "clamp_off", false, SqueezeOut)),
    (9.0, Act::Off("head-1")),
    (8.5, Act::Done("head", "shape")),
    (8.0, Act::Glue("neck-1", "neck", "glue", "twelve-neck", "hot-hide-glue", &["deep-3", "cam-1"])),
    (6.5, Act::Look("bridge-1", "clamp_off", true, SqueezeOut)),
    (6.0, Act::Seen),
    (4.0, Act::Coat("head-2", "head", "coat", "headstock", "water-borne-lacquer", 90.0)),
    (3.0, Act::Glue("pickup-1", "pickup", "tape", "ukulele-pickup", "foam-tape", &[])),
    (1.5, Act::Pot("spray-pot", "acid-cured-lacquer", 80.0)),
    (0.4, Act::Glue("plug-1", "plug", "glue", "classical-plug", "aliphatic-resin", &["cam-2", "spring-1"])),
];
