//! Ids: short, readable, typed, so that a clamp can never be passed where a zone is meant.

use std::{cmp::Ordering, fmt, hash, marker::PhantomData, sync::Arc};

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use crate::Invalid;

/// The things an [`Id`] can name; each is only a marker.
pub mod kind {
    macro_rules! kinds { ($($name:ident $word:literal $longest:literal),*) => { $(
        #[doc = concat!("Marks the id of a ", $word, ".")]
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum $name {}
        impl super::Kind for $name {
            const WORD: &'static str = $word;
            const LONGEST: usize = $longest;
        }
    )* } }
    // An alert's id is that of its cure with the stage behind it, hence longer.
    kinds!(
        Instrument "instrument" 48, Job "job" 48, Step "step" 48, Joint "joint" 48, Clamp "clamp" 48,
        Material "material" 48, Lot "lot" 48, Zone "zone" 48, Plan "plan" 48, Cure "glue-up or coat" 48, Alert "alert" 128,
        Version "rule version" 64, Sensor "sensor" 48, Plate "plate" 48, Mix "mix" 48,
        Observation "observation" 48, Photo "photo" 64
    );
}

/// What kind of thing an id names, for messages.
pub trait Kind {
    /// The trade's word for the thing, as it stands in an error message.
    const WORD: &'static str;
    /// Most characters such an id may have.
    const LONGEST: usize;
}

/// The id of one thing of kind `K`. Shared text, because the board holds an id in many places.
pub struct Id<K>(Arc<str>, PhantomData<fn() -> K>);

impl<K: Kind> Id<K> {
    /// Takes 1 to [`Kind::LONGEST`] of `a-z 0-9 - _ . :`, beginning with a letter or a digit.
    ///
    /// # Errors
    /// [`Invalid`] names the kind of id and the characters allowed.
    pub fn new(text: impl Into<Arc<str>>) -> Result<Self, Invalid> {
        let text = text.into();
        let fits = (1..=K::LONGEST).contains(&text.len())
            && text.starts_with(|c: char| c.is_ascii_lowercase() || c.is_ascii_digit())
            && text.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '-' | '_' | '.' | ':'));
        if fits {
            return Ok(Self(text, PhantomData));
        }
        Err(Invalid {
            what: format!("{} id", K::WORD),
            given: format!("\"{text}\""),
            expected: format!("1 to {} of a-z 0-9 - _ . :, beginning with a letter or digit", K::LONGEST),
            mend: "use lower case and hyphens, for example \"top-brace-2\"".into(),
        })
    }
}

impl<K> Id<K> {
    /// The id as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl<K> Clone for Id<K> {
    fn clone(&self) -> Self {
        Self(self.0.clone(), PhantomData)
    }
}
impl<K> PartialEq for Id<K> {
    fn eq(&self, other: &Self) -> bool {
        self.0 == other.0
    }
}
impl<K> Eq for Id<K> {}
impl<K> PartialOrd for Id<K> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl<K> Ord for Id<K> {
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.cmp(&other.0)
    }
}
impl<K> hash::Hash for Id<K> {
    fn hash<H: hash::Hasher>(&self, state: &mut H) {
        self.0.hash(state);
    }
}
/// Lets a map keyed by ids be asked with plain text; sound because hash, equality and order are the text's own.
impl<K> std::borrow::Borrow<str> for Id<K> {
    fn borrow(&self) -> &str {
        &self.0
    }
}
impl<K> AsRef<str> for Id<K> {
    fn as_ref(&self) -> &str {
        &self.0
    }
}
impl<K> fmt::Display for Id<K> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
impl<K> fmt::Debug for Id<K> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
impl<K> Serialize for Id<K> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0)
    }
}
impl<'de, K: Kind> Deserialize<'de> for Id<K> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::new(String::deserialize(deserializer)?).map_err(de::Error::custom)
    }
}

/// An instrument on the bench.
pub type InstrumentId = Id<kind::Instrument>;
/// A job: what one customer's instrument is in for.
pub type JobId = Id<kind::Job>;
/// A step, unique within its job.
pub type StepId = Id<kind::Step>;
/// A joint of an instrument.
pub type JointId = Id<kind::Joint>;
/// A clamp of the shop's inventory.
pub type ClampId = Id<kind::Clamp>;
/// A material class, the file name of its rule.
pub type MaterialId = Id<kind::Material>;
/// A bottle, pot or tin.
pub type LotId = Id<kind::Lot>;
/// A place with one climate.
pub type ZoneId = Id<kind::Zone>;
/// A planned change of a zone's air.
pub type PlanId = Id<kind::Plan>;
/// A glue-up or a coat.
pub type CureId = Id<kind::Cure>;
/// An alert; the same id on every delivery of it.
pub type AlertId = Id<kind::Alert>;
/// A plate of an instrument.
pub type PlateId = Id<kind::Plate>;
/// A photo, by the hash of its picture.
pub type PhotoId = Id<kind::Photo>;
/// A thermometer and hygrometer that speaks for itself.
pub type SensorId = Id<kind::Sensor>;
/// A pot of something mixed.
pub type MixId = Id<kind::Mix>;
/// What somebody saw of a cure at the bench.
pub type ObservationId = Id<kind::Observation>;
/// One text of a rule, named by its hash.
pub type VersionId = Id<kind::Version>;
