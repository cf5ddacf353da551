//! The classes a data sheet can be of, and what each stands in for where the sheet says nothing. Every value is that of
//! the class's shipped rule, and common practice without a source unless that rule names one.

use serde::{Deserialize, Serialize};

/// A generic class of material.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Class {
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

/// Every class, in the order a form lists them.
impl Class {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::AliphaticResin,
        Self::HideGlue,
        Self::Cyanoacrylate,
        Self::TwoPartEpoxy,
        Self::Polyurethane,
        Self::Shellac,
        Self::NitrocelluloseLacquer,
        Self::WaterBorneLacquer,
        Self::OilVarnish,
    ];

    /// The class in the trade's words.
    pub fn name(self) -> &'static str {
        self.row().name
    }

    /// Whether it lies on a surface rather than between two faces.
    pub fn is_finish(self) -> bool {
        matches!(self, Self::Shellac | Self::NitrocelluloseLacquer | Self::WaterBorneLacquer | Self::OilVarnish)
    }
}

/// What a class stands in for.
pub(crate) struct Row {
    pub(crate) name: &'static str,
    pub(crate) temp_c: f64,
    pub(crate) rh_pct: f64,
    pub(crate) q10: f64,
    /// % RH and how fast it cures there, as the script writes it; straight lines between.
    pub(crate) humidity: &'static str,
    /// Stages and their hours.
    pub(crate) times: &'static [(&'static str, f64)],
    /// Times from here on in wet film, µm; 0 for an adhesive.
    pub(crate) film_um: f64,
    /// Gap in µm and how much longer it takes, for an adhesive.
    pub(crate) gap: &'static str,
    /// Hours for sealed, dense and open faces, as shares.
    pub(crate) faces: (f64, f64, f64),
    pub(crate) storage_days: f64,
    pub(crate) cautions: &'static [&'static str],
}

impl Row {
    pub(crate) fn time(&self, stage: &str) -> Option<f64> {
        self.times.iter().find(|(of, _)| *of == stage).map(|(_, hours)| *hours)
    }
}

/// Does not answer to the humidity of the air.
const DRY_OR_DAMP: &str = "[[0, 1.0], [100, 1.0]]";
/// Water has to leave: slower in damp air.
const WATER_LEAVES: &str = "[[20, 1.25], [50, 1.0], [75, 0.65], [90, 0.3], [100, 0.1]]";
const SOLVENT: &str = "Flammable liquid and vapour (H226): no flame or spark near it; ventilate, and wear what the safety \
                       data sheet says.";

impl Class {
    #[rustfmt::skip] // One class is read as one block of values.
    pub(crate) fn row(self) -> Row {
        let glue = Row {
            name: "", temp_c: 20.0, rh_pct: 50.0, q10: 2.0, humidity: DRY_OR_DAMP, times: &[], film_um: 0.0,
            gap: "[[50, 0.9], [100, 1.0], [200, 1.5], [500, 4.0]]", faces: (1.0, 1.0, 1.0), storage_days: 365.0,
            cautions: &[],
        };
        let coat = Row { film_um: 75.0, gap: "", ..glue };
        match self {
            Self::AliphaticResin => Row {
                name: "aliphatic resin (PVA emulsion)", q10: 1.8, humidity: WATER_LEAVES, faces: (6.0, 1.5, 0.85),
                times: &[("clamp_off", 0.75), ("full_strength", 24.0)],
                cautions: &["Creeps under constant load and softens in heat: think twice where string tension pulls on the joint."],
                ..glue
            },
            Self::HideGlue => Row {
                name: "hide glue", q10: 1.8, humidity: WATER_LEAVES, faces: (4.0, 1.25, 0.9), storage_days: 180.0,
                times: &[("clamp_off", 16.0), ("full_strength", 48.0)],
                cautions: &["Hot water and hot glue scald.", "The joint lets go again in heat and damp."],
                ..glue
            },
            Self::Cyanoacrylate => Row {
                name: "cyanoacrylate", storage_days: 180.0, faces: (1.0, 3.0, 1.5),
                humidity: "[[15, 0.05], [30, 0.3], [35, 0.5], [40, 0.75], [50, 1.0], [60, 1.2], [80, 1.6]]",
                times: &[("clamp_off", 0.017), ("full_strength", 24.0)],
                cautions: &[
                    "Bonds skin and eyelids in seconds: wear eye protection, never pull bonded skin apart, see a doctor for an eye.",
                    "On cotton, wool or tissue it sets so fast that it can burn you or smoke.",
                    "The fumes sting eyes and airways: ventilate.",
                ],
                ..glue
            },
            Self::TwoPartEpoxy => Row {
                name: "two-part epoxy", gap: "[[0, 1.0], [5000, 1.0]]",
                times: &[("clamp_off", 8.0), ("full_strength", 72.0)],
                cautions: &[
                    "Resin and hardener sensitise the skin for life: gloves, no skin contact, no sanding dust before it is cured.",
                    "A large mix heats itself and can smoke: mix little, spread it out.",
                ],
                ..glue
            },
            Self::Polyurethane => Row {
                name: "moisture-curing polyurethane", faces: (3.0, 1.5, 0.9),
                humidity: "[[20, 0.4], [35, 0.75], [50, 1.0], [70, 1.3], [90, 1.5]]",
                times: &[("clamp_off", 3.0), ("full_strength", 24.0)],
                cautions: &["Contains isocyanates, which sensitise airways and skin: gloves, ventilation, and no use by anyone already sensitised."],
                ..glue
            },
            Self::Shellac => Row {
                name: "shellac", humidity: "[[30, 1.05], [50, 1.0], [70, 0.8], [90, 0.4]]", storage_days: 180.0,
                times: &[("dust_free", 0.17), ("recoat_opens", 1.0), ("sandable", 3.0), ("dry_through", 168.0)],
                cautions: &[SOLVENT], ..coat
            },
            Self::NitrocelluloseLacquer => Row {
                name: "nitrocellulose lacquer", humidity: "[[30, 1.05], [50, 1.0], [70, 0.85], [90, 0.5]]",
                times: &[("dust_free", 0.25), ("recoat_opens", 2.0), ("sandable", 24.0), ("dry_through", 504.0)],
                cautions: &[SOLVENT, "Dried residue, dust and rags of it burn fiercely: keep them wet and closed away."], ..coat
            },
            Self::WaterBorneLacquer => Row {
                name: "water-borne lacquer", humidity: WATER_LEAVES,
                times: &[("dust_free", 0.5), ("recoat_opens", 2.0), ("sandable", 12.0), ("dry_through", 168.0)],
                cautions: &["Ventilate; spray mist belongs outside or in a filter, not in lungs."], ..coat
            },
            Self::OilVarnish => Row {
                name: "oil varnish", humidity: "[[30, 1.05], [50, 1.0], [70, 0.85], [90, 0.6]]",
                times: &[("dust_free", 3.0), ("recoat_opens", 16.0), ("sandable", 24.0), ("recoat_closes", 72.0), ("dry_through", 96.0)],
                cautions: &[
                    "RAGS CATCH FIRE BY THEMSELVES: spread rags wet with drying oil flat outdoors, or keep them in a covered metal can; never in a heap.",
                    SOLVENT,
                ],
                ..coat
            },
        }
    }
}
