//! What `rules` says and the API passes on, as the API describes it.

#![expect(dead_code, reason = "they are described, never made")]

use serde::Deserialize;
use utoipa::ToSchema;

use facts::{MaterialId, VersionId};

/// What a host function is called with and gives, for whoever writes a rule.
#[derive(Deserialize, ToSchema)]
pub(crate) struct FunctionDoc {
    /// Its name.
    pub(crate) name: String,
    /// Its arguments in order, with their units.
    pub(crate) arguments: String,
    /// What it gives and where it comes from.
    pub(crate) says: String,
}

/// What a finish's film is like: what the coats of a stack need to know of each other.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct FilmSheet {
    /// Wet film of one usual coat, µm, 1 to 2000: taken where nobody measured.
    pub(crate) usual_wet_um: f64,
    /// Share of the wet film that stays, spread over the face, % by volume, 1 to 100.
    pub(crate) solids_pct: f64,
    /// Solvent (or, in an oil, what has not reacted) the film holds when its surface has set, % of its dry volume, 0 to 200.
    pub(crate) trapped_pct: f64,
    /// How fast that finds its way through the film, µm² per reference hour.
    pub(crate) diffusion_um2_h: f64,
    /// Reference hours in which what it holds falls to 1/e where it lies, 0.1 to 100 000, if it sets there by itself, as an
    /// oil does that takes up oxygen; without it, it can only leave.
    #[serde(default)]
    pub(crate) sets_h: Option<f64>,
    /// Whether it is sprayed at all.
    #[serde(default)]
    pub(crate) sprayed: bool,
    /// What retarder does to it, if it may be retarded.
    #[serde(default)]
    pub(crate) retarder: Option<RetarderSheet>,
    /// How it answers to exposure, if light cures it.
    #[serde(default)]
    pub(crate) exposure: Option<ExposureSheet>,
    /// What marks it for as long as it lives: names of touches, like `stand_foam`.
    #[serde(default)]
    pub(crate) marked_by: Vec<String>,
}

/// What retarder does.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct RetarderSheet {
    /// Times as long as without it, for a tenth of it by volume.
    pub(crate) slows: f64,
    /// Dampest air it still helps in, % RH.
    pub(crate) up_to_rh_pct: f64,
}

/// How a film answers to exposure.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct ExposureSheet {
    /// Exposure at which it just gels, mJ/cm².
    pub(crate) critical_mj_cm2: f64,
    /// Depth at which the light has fallen to 1/e, µm.
    pub(crate) penetration_um: f64,
}

/// How something is mixed.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct MixSheet {
    /// Whether parts are volumes or weights.
    pub(crate) by: By,
    /// Its components; the first is the one the others are added to.
    pub(crate) parts: Vec<PartSheet>,
    /// How far a component may be off, % of its part.
    pub(crate) tolerance_pct: f64,
    /// Most thinner, % by volume of the mix.
    #[serde(default)]
    pub(crate) thinner_up_to_pct: f64,
    /// Quickest and slowest working life, as shares of `working_life_min`.
    #[serde(default)]
    pub(crate) life_spread: (f64, f64),
    /// The mode of `rate(air, mode)` a pot goes by.
    #[serde(default)]
    pub(crate) mode: String,
}

/// Volumes or weights.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum By {
    /// Parts by volume.
    Volume,
    /// Parts by weight.
    Weight,
}

/// One component of a mix.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct PartSheet {
    /// What it is: "resin", "hardener", "catalyst".
    pub(crate) name: String,
    /// Its part.
    pub(crate) parts: f64,
    /// Its density, g/ml.
    pub(crate) density_g_ml: f64,
}

/// A generic class of material.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Class {
    /// PVA emulsion, yellow or white.
    AliphaticResin,
    /// Animal glue, used hot or liquid.
    HideGlue,
    /// Thin or gap-filling cyanoacrylate.
    Cyanoacrylate,
    /// Two parts, mixed.
    TwoPartEpoxy,
    /// One part, cures with moisture.
    Polyurethane,
    /// Spirit varnish.
    Shellac,
    /// Solvent lacquer.
    NitrocelluloseLacquer,
    /// Acrylic or polyurethane dispersion.
    WaterBorneLacquer,
    /// Drying oil with resin.
    OilVarnish,
}

/// What a data sheet states. Everything but the class and one time may be left out.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct DataSheet {
    /// Id of the material: the name of its file.
    pub(crate) material: MaterialId,
    /// What the shop calls it, 1 to 80 characters; the class's name if not given.
    #[serde(default)]
    pub(crate) name: Option<String>,
    /// Its class.
    pub(crate) class: Class,
    /// Temperature at which the sheet's times hold, °C, -20 to 60.
    #[serde(default)]
    pub(crate) temp_c: Option<f64>,
    /// Relative humidity at which they hold, %, 1 to 100.
    #[serde(default)]
    pub(crate) rh_pct: Option<f64>,
    /// Clamp time, h, up to 720.
    #[serde(default)]
    pub(crate) clamp_off_h: Option<f64>,
    /// Time to full strength, h, up to 8784.
    #[serde(default)]
    pub(crate) full_strength_h: Option<f64>,
    /// Minutes a mix can be used, up to 1440.
    #[serde(default)]
    pub(crate) working_life_min: Option<f64>,
    /// Minutes from spreading to pressure, up to 1440.
    #[serde(default)]
    pub(crate) open_time_min: Option<f64>,
    /// Dust-free, h, up to 8784; the times of a coat.
    #[serde(default)]
    pub(crate) dust_free_h: Option<f64>,
    /// The next coat may be laid from here, h.
    #[serde(default)]
    pub(crate) recoat_opens_h: Option<f64>,
    /// The next coat must be laid before here, h.
    #[serde(default)]
    pub(crate) recoat_closes_h: Option<f64>,
    /// It can be sanded, h.
    #[serde(default)]
    pub(crate) sandable_h: Option<f64>,
    /// Dry through, h.
    #[serde(default)]
    pub(crate) dry_through_h: Option<f64>,
    /// Wet film the times of a coat are stated for, µm, 10 to 1000.
    #[serde(default)]
    pub(crate) film_um: Option<f64>,
    /// Below this it does not cure, °C.
    #[serde(default)]
    pub(crate) min_temp_c: Option<f64>,
    /// Below this it dries chalky, °C (ISO 2115).
    #[serde(default)]
    pub(crate) film_forming_c: Option<f64>,
    /// Below this humidity it is starved of water, or does not start, %.
    #[serde(default)]
    pub(crate) min_rh_pct: Option<f64>,
    /// Above this humidity it is spoiled or hardly dries, %.
    #[serde(default)]
    pub(crate) max_rh_pct: Option<f64>,
    /// Days an opened container keeps, 1 to 3660.
    #[serde(default)]
    pub(crate) storage_days: Option<f64>,
    /// So much faster 10 K warmer, 1 to 6.
    #[serde(default)]
    pub(crate) q10: Option<f64>,
    /// The same time at another temperature, instead of a q10.
    #[serde(default)]
    pub(crate) second: Option<SecondTime>,
}

/// The clamp time, or the first stated time of a coat, at another temperature.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct SecondTime {
    /// That temperature, °C.
    pub(crate) temp_c: f64,
    /// The time there, h.
    pub(crate) hours: f64,
}

/// A script written from a sheet.
#[derive(Deserialize, ToSchema)]
pub(crate) struct Written {
    /// The script.
    pub(crate) text: String,
    /// What the sheet left out and the class stands in for.
    pub(crate) assumed: Vec<String>,
}

/// One row of `expected()` and what the rule gives for it.
#[derive(Deserialize, ToSchema)]
pub(crate) struct ExpectedRow {
    /// Its place in the table, from 1.
    pub(crate) row: usize,
    /// The stage it is about.
    pub(crate) stage: String,
    /// Temperature of its constant air, °C.
    pub(crate) temp_c: f64,
    /// Relative humidity of its constant air, %.
    pub(crate) rh_pct: f64,
    /// Hours it expects; none where the stage must never be reached.
    pub(crate) hours: Option<f64>,
    /// How far from that the rule may be, h.
    pub(crate) within: f64,
    /// Hours the rule gives; none where it never gets there.
    pub(crate) gives_h: Option<f64>,
    /// Whether the rule gives what is expected.
    pub(crate) met: bool,
    /// Where the figure comes from.
    pub(crate) source: String,
}

/// What a stretch of a script is.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Word {
    /// A comment.
    Comment,
    /// Text in quotes.
    Text,
    /// A number, `true` or `false`.
    Number,
    /// A word of the language.
    Keyword,
    /// A name.
    Name,
    /// An operator, a bracket, a comma.
    Mark,
    /// What the lexer cannot read.
    Fault,
}

/// A stretch of a script, counted in characters from its beginning.
#[derive(Deserialize, ToSchema)]
pub(crate) struct Span {
    /// First character.
    pub(crate) from: usize,
    /// The character behind the last.
    pub(crate) to: usize,
    /// What it is.
    pub(crate) word: Word,
}

/// What kind of material a rule is for.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum MaterialKind {
    /// Goes between two faces.
    Adhesive,
    /// Lies on a surface.
    Finish,
}

/// What `material()` says.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct MaterialSheet {
    /// The generic class, in the trade's words.
    pub(crate) name: String,
    /// Adhesive or finish.
    pub(crate) kind: MaterialKind,
    /// The air in which its rate is 1.
    pub(crate) reference: ReferenceAir,
    /// The usual cautions, deferring to the safety data sheet.
    pub(crate) cautions: Vec<String>,
    /// Where its numbers come from, or "common practice, no source".
    pub(crate) sources: Vec<String>,
    /// Days an opened container keeps, if its class has such a limit.
    #[serde(default)]
    pub(crate) storage_days: Option<f64>,
    /// Minutes it can be used after mixing, if it is mixed.
    #[serde(default)]
    pub(crate) working_life_min: Option<f64>,
    /// Hours on the wall that it is left before a lasting load, if it creeps under one.
    #[serde(default)]
    pub(crate) creep_hold_h: Option<f64>,
    /// Airs that spoil it while it is young.
    #[serde(default)]
    pub(crate) limits: Vec<LimitSheet>,
    /// What the film of a finish is like.
    #[serde(default)]
    pub(crate) film: Option<FilmSheet>,
    /// How it is mixed, if it is mixed.
    #[serde(default)]
    pub(crate) mix: Option<MixSheet>,
}

/// The air in which a rule's rate is 1.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct ReferenceAir {
    /// Temperature, °C.
    pub(crate) temp_c: f64,
    /// Relative humidity, %.
    pub(crate) rh_pct: f64,
}

/// One air that spoils a cure; exactly one of the five bounds is given.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct LimitSheet {
    /// What the trade calls it.
    pub(crate) name: String,
    /// Harm below this temperature, °C.
    #[serde(default)]
    pub(crate) below_temp_c: Option<f64>,
    /// Harm above this temperature, °C.
    #[serde(default)]
    pub(crate) above_temp_c: Option<f64>,
    /// Harm below this relative humidity, %.
    #[serde(default)]
    pub(crate) below_rh_pct: Option<f64>,
    /// Harm above this relative humidity, %.
    #[serde(default)]
    pub(crate) above_rh_pct: Option<f64>,
    /// Harm where the air is less than this above its dew point, K.
    #[serde(default)]
    pub(crate) below_spread_k: Option<f64>,
    /// Reference hours up to which it matters.
    pub(crate) until_h: f64,
    /// What happens and what to do.
    pub(crate) says: String,
}

/// A fitted number beside the sheet's, with the ends of its interval.
#[derive(Deserialize, ToSchema)]
pub(crate) struct Fitted {
    /// Lower end of the interval.
    pub(crate) low: f64,
    /// The likeliest value.
    pub(crate) likely: f64,
    /// Upper end.
    pub(crate) high: f64,
}

/// What was fitted of one stage.
#[derive(Deserialize, ToSchema)]
pub(crate) struct StageFit {
    /// The stage.
    pub(crate) stage: String,
    /// Glue-ups or coats it rests on.
    pub(crate) pieces: usize,
    /// Observations it rests on.
    pub(crate) observations: usize,
    /// The sheet's time in reference air, for a joint that fits well or a film of 100 µm; hours.
    pub(crate) sheet_h: f64,
    /// The time in force, which an earlier fit may have changed; hours.
    pub(crate) in_force_h: f64,
    /// The fitted time; hours.
    pub(crate) fitted_h: Fitted,
    /// How many times the sheet's time that is.
    pub(crate) times: Fitted,
    /// Earliest and safe age as shares of the likely one, for the scatter of the material and the doubt of the fit.
    pub(crate) spread: (f64, f64),
    /// Whether the observations say at least as much as the sheet.
    pub(crate) told: bool,
}

/// What a fit says.
#[derive(Deserialize, ToSchema)]
pub(crate) struct FitReport {
    /// The rule version that was fitted.
    pub(crate) rule_version: VersionId,
    /// Level of every interval here.
    pub(crate) level: f64,
    /// Observations it rests on.
    pub(crate) observations: usize,
    /// Glue-ups or coats it rests on, counted once for each stage looked for.
    pub(crate) pieces: usize,
    /// Those part of whose air was assumed, not measured.
    pub(crate) air_assumed: usize,
    /// Each stage that was looked for.
    pub(crate) stages: Vec<StageFit>,
    /// How many times as wide as the sheet's the spread is.
    pub(crate) spread_times: Fitted,
    /// How many times faster per 10 K than the sheet says; none where the data cannot tell.
    pub(crate) per_10_k: Option<Fitted>,
    /// What the data cannot tell.
    pub(crate) cannot_tell: Vec<String>,
    /// What was seen and could not be used.
    pub(crate) left_out: Vec<LeftOut>,
    /// The rule's text with what was fitted; none where there is nothing to change.
    pub(crate) draft: Option<String>,
    /// What it is and what it is not.
    pub(crate) estimate: String,
}

/// What was seen and could not be used, and why.
#[derive(Deserialize, ToSchema)]
pub(crate) struct LeftOut {
    /// The glue-up or coat.
    pub(crate) cure: String,
    /// The stage.
    pub(crate) stage: String,
    /// Why, and how to mend it.
    pub(crate) why: String,
}
