//! What `facts` stores and the API passes on, as the API describes it.

#![expect(dead_code, reason = "they are described, never made")]

use chrono::{DateTime, Utc};
use serde::Deserialize;
use utoipa::ToSchema;

use facts::{InstrumentId, JointId, LotId, MaterialId, PlateId, StepId, ZoneId};

/// An instrument on the bench. Who owns it is not asked.
#[derive(Deserialize, ToSchema)]
pub(crate) struct InstrumentAdded {
    /// Its id.
    pub(crate) id: InstrumentId,
    /// What the shop calls it.
    pub(crate) name: String,
    /// Family in the trade's words, for example "steel-string guitar".
    #[serde(default)]
    pub(crate) family: String,
}

/// A joint of an instrument and what is particular to it.
#[derive(Deserialize, ToSchema)]
pub(crate) struct JointAdded {
    /// Its id.
    pub(crate) id: JointId,
    /// The instrument it belongs to.
    pub(crate) instrument: InstrumentId,
    /// What it is: "bridge", "top crack, bass side".
    pub(crate) name: String,
    /// Gap between the faces, µm.
    #[serde(default)]
    pub(crate) gap_um: f64,
    /// Uptake by the faces.
    #[serde(default)]
    pub(crate) porosity: Porosity,
}

/// A bottle, pot or tin.
#[derive(Deserialize, ToSchema)]
pub(crate) struct LotAdded {
    /// Its id.
    pub(crate) id: LotId,
    /// What is in it.
    pub(crate) material: MaterialId,
    /// What is written on it.
    #[serde(default)]
    pub(crate) label: String,
    /// When it was opened, if it was.
    #[serde(default)]
    pub(crate) opened_at: Option<DateTime<Utc>>,
    /// Last day its maker vouches for.
    #[serde(default)]
    pub(crate) best_before: Option<DateTime<Utc>>,
    /// How much is in it when it is full.
    #[serde(default)]
    pub(crate) content: Option<Amount>,
    /// What was paid for it, in the shop's money.
    #[serde(default)]
    pub(crate) cost: Option<f64>,
}

/// What kind of work a step is.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum StepKind {
    /// Work at the bench.
    HandsOn,
    /// A joint is closed.
    GlueUp,
    /// A film is laid.
    Coat,
    /// Nothing but time.
    Wait,
    /// Something is looked at or measured.
    Check,
}

/// The work of one step, as far as anybody said; what is left out is usual for its kind.
#[derive(Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Work {
    /// Minutes somebody works on it, 0 to 10,080.
    #[serde(default)]
    pub(crate) hands_on_min: Option<u32>,
    /// How many people it takes, 1 to 20; one if not said.
    #[serde(default)]
    pub(crate) people: Option<u32>,
    /// How many clamps hold it until they can come off, 0 to 500; none are counted if not said.
    #[serde(default)]
    pub(crate) clamps: Option<u32>,
    /// Of which kind, as the inventory has it; any kind if not said.
    #[serde(default)]
    pub(crate) clamp_kind: String,
    /// Where it is done and cures: booth, warm box. Where the instrument is, if not said.
    #[serde(default)]
    pub(crate) zone: Option<ZoneId>,
    /// Longest it may be begun after what it follows, minutes, 1 to 525,600: a face planed no more than a day before it is
    /// glued, a joint closed within the open time. No limit if not said.
    #[serde(default)]
    pub(crate) max_wait_before_min: Option<u32>,
    /// Whether it may be left at closing time and gone on with later.
    #[serde(default)]
    pub(crate) may_split: bool,
}

/// One step of a job.
#[derive(Deserialize, ToSchema)]
pub(crate) struct Step {
    /// Unique within the job.
    pub(crate) id: StepId,
    /// What kind of work.
    pub(crate) kind: StepKind,
    /// What to do.
    pub(crate) title: String,
    /// Steps that must be finished first.
    #[serde(default)]
    pub(crate) follows: Vec<StepId>,
    /// The joint it closes, if it is known already.
    #[serde(default)]
    pub(crate) joint: Option<JointId>,
    /// The material it will use, if it is known already.
    #[serde(default)]
    pub(crate) material: Option<MaterialId>,
    /// Whether it must be done before the instrument is strung up.
    #[serde(default)]
    pub(crate) before_strings: bool,
    /// What it asks of the shop.
    #[serde(default)]
    pub(crate) work: Work,
    /// How a coat is meant to be laid: proposed where it is registered.
    #[serde(default)]
    pub(crate) lay: Option<CoatPlan>,
}

/// How a planned coat is meant to be laid; what is not said is left to whoever lays it.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct CoatPlan {
    /// Wet film, µm, 5 to 2000.
    #[serde(default)]
    pub(crate) film_um: Option<u16>,
    /// Thinner, % of the finish by volume, 0 to 500: half a part to one is 50.
    #[serde(default)]
    pub(crate) thinner_pct: Option<u16>,
    /// How it gets onto the wood.
    #[serde(default)]
    pub(crate) method: Option<Method>,
}

/// What an alert is about.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum AlertKind {
    /// A milestone was reached or is about to close.
    Milestone,
    /// The day ahead.
    Digest,
    /// The air of a zone is out of the shop's band.
    Climate,
    /// A sensor gives no usable reading any more.
    SensorSilent,
    /// A hygrometer was last held against salts more than a year ago.
    CalibrationDue,
    /// A mix is about to gel.
    Mix,
    /// A shop script failed too often in a row and is not asked any more.
    HookSetAside,
    /// An instrument may be brought to the next stage of stringing up.
    StringUp,
    /// The machine's clock may be wrong: it leapt over weeks in which nothing was written down.
    ClockLeapt,
}

/// Woods that move alike, by the trade's word for them. Never a maker's name.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum SpeciesGroup {
    /// Sitka, Engelmann, red and other spruces.
    Spruce,
    /// Western redcedar.
    Cedar,
    /// Hard maple.
    Maple,
    /// True mahogany, and others sold as it.
    Mahogany,
    /// Rosewoods.
    Rosewood,
    /// Black walnut.
    Walnut,
    /// Black cherry.
    Cherry,
    /// Yellow birch.
    Birch,
    /// White ash.
    Ash,
}

/// How the width of a plate lies to the growth rings.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Cut {
    /// Rings stand upright in the thickness: the width moves radially.
    Quarter,
    /// Rings lie flat: the width moves tangentially, about twice as far.
    Flat,
}

/// Which faces the air reaches. A finished face counts as shut, as does one that lies on a bench.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum FacesOpen {
    /// One: a finished top, whose inside is bare.
    One,
    /// Both: a brace, a plate in the white.
    Both,
}

/// A plate: a top, a back, a brace, a bridge.
#[derive(Deserialize, ToSchema)]
pub(crate) struct PlateAdded {
    /// Its id.
    pub(crate) id: PlateId,
    /// The instrument it belongs to.
    pub(crate) instrument: InstrumentId,
    /// What it is: "top", "back".
    pub(crate) name: String,
    /// What it is made of.
    pub(crate) species: SpeciesGroup,
    /// How its width lies to the rings.
    pub(crate) cut: Cut,
    /// Thickness, mm.
    pub(crate) thickness_mm: f64,
    /// Width across the grain, mm.
    pub(crate) width_mm: f64,
    /// Which faces the air reaches.
    pub(crate) faces_open: FacesOpen,
    /// Moisture content when it was said, % of the oven-dry mass, if anybody knows it. Without it the plate is taken to
    /// have been in balance with the air it was first put in.
    #[serde(default)]
    pub(crate) moisture_pct: Option<f64>,
}

/// A salt whose saturated solution holds the air above it at a known humidity.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Salt {
    /// NaCl, table salt: about 75 %.
    SodiumChloride,
    /// MgCl2·6H2O, sold as bath salt or against dust: about 33 %.
    MagnesiumChloride,
}

/// What a hygrometer read over one salt.
#[derive(Deserialize, ToSchema)]
pub(crate) struct SaltPoint {
    /// The salt.
    pub(crate) salt: Salt,
    /// Temperature of the box it stood in, °C; the published humidity depends on it.
    pub(crate) temp_c: f64,
    /// What it read there, %.
    pub(crate) read_rh_pct: f64,
    /// The published humidity over that salt at that temperature, %; kept, so that a revised table changes no past.
    pub(crate) true_rh_pct: f64,
}

/// How finish gets onto the wood.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Method {
    /// By brush.
    Brush,
    /// By a pad, as in French polishing.
    Pad,
    /// By a spray gun.
    Spray,
    /// By a cloth, the rest wiped off.
    Wipe,
    /// Flooded or poured on.
    Flood,
}

/// How a coat was laid, and what it was laid on.
#[derive(Deserialize, ToSchema)]
pub(crate) struct CoatLaid {
    /// How it got there.
    #[serde(default)]
    pub(crate) method: Option<Method>,
    /// Whether the coat beneath was abraded first; none where nobody said.
    #[serde(default)]
    pub(crate) abraded: Option<bool>,
    /// Parts of thinner to one of finish, by volume, 0 to 5.
    #[serde(default)]
    pub(crate) thinner_parts: f64,
    /// Parts of retarder to one of finish, by volume, 0 to 1.
    #[serde(default)]
    pub(crate) retarder_parts: f64,
    /// Exposure of a film cured by light, mJ/cm²; none where nobody said.
    #[serde(default)]
    pub(crate) exposure_mj_cm2: Option<f64>,
    /// Exposure that hardens all of its film, mJ/cm²: it is wet and nothing of it counts until it has had so much. None where
    /// light does not cure it.
    #[serde(default)]
    pub(crate) wants_mj_cm2: Option<f64>,
    /// The film itself; none where its rule says nothing of it.
    #[serde(default)]
    pub(crate) film: Option<CoatBeneath>,
    /// The coats beneath it when it was laid, from the wood up, each with the solvent it still held.
    #[serde(default)]
    pub(crate) beneath: Vec<CoatBeneath>,
}

/// One coat of a stack, dry, with the solvent in it.
#[derive(Deserialize, ToSchema)]
pub(crate) struct CoatBeneath {
    /// Dry thickness, µm.
    pub(crate) dry_um: f64,
    /// Solvent it holds, as a thickness, µm.
    pub(crate) solvent_um: f64,
    /// Diffusion coefficient of the solvent in it, µm² per reference hour.
    pub(crate) diffusion_um2_h: f64,
    /// Reference hours in which what it holds falls to 1/e where it lies, because it sets there; none where it can only leave.
    #[serde(default)]
    pub(crate) sets_h: Option<f64>,
}

/// How somebody found out how far a cure is.
#[derive(Default, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Observing {
    /// A test piece glued beside it was broken.
    TestPieceBroken,
    /// A thumbnail was pressed into the film.
    Thumbnail,
    /// A finger touched the film.
    Touch,
    /// The squeeze-out was felt or cut.
    SqueezeOut,
    /// Tape was pressed on and pulled off.
    TapePull,
    /// Paper was tried on the film: it clogs or it does not.
    SandingTrial,
    /// Another way, which the note says.
    #[default]
    Other,
}

/// How much of something, in the unit it is sold in; volume and weight are not turned into each other.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Amount {
    /// Volume, mL.
    Ml(f64),
    /// Mass, g.
    G(f64),
}

/// Whether a joint was closed or a surface coated.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum CureKind {
    /// Adhesive between two faces.
    GlueUp,
    /// A film of finish.
    Coat,
}

/// How readily the faces take up water or solvent.
#[derive(Default, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Porosity {
    /// Plastic, metal, bone, finished wood: nothing is absorbed.
    Sealed,
    /// Ebony, rosewood and other close, oily woods.
    Dense,
    /// Most woods.
    #[default]
    Normal,
    /// Spruce end grain, punky or very open wood.
    Open,
}

/// Whether a milestone begins or ends something; it decides which end of the spread an alert uses.
#[derive(Default, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Meets {
    /// Something may be done from here: told at `safe`.
    #[default]
    Opens,
    /// Something must be done before here: told at `earliest`.
    Closes,
}

/// How much a finding weighs.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Level {
    /// Good to know.
    Note,
    /// Will cost quality or time.
    Caution,
    /// Do not rely on this joint or film.
    Defect,
}

/// Something a rule or a limit has to say about one glue-up or coat.
#[derive(Deserialize, ToSchema)]
pub(crate) struct Finding {
    /// How much it weighs.
    pub(crate) level: Level,
    /// What was found.
    pub(crate) what: String,
    /// How to mend it.
    pub(crate) mend: String,
}

/// One component of a mix.
#[derive(Deserialize, ToSchema)]
pub(crate) struct MixPart {
    /// What it is: "resin", "hardener", "catalyst", "thinner".
    pub(crate) name: String,
    /// Volume, ml.
    pub(crate) ml: f64,
    /// Mass, g.
    pub(crate) g: f64,
}
