//! What the strings load: the path of their pull through each joint, with measures of its own or those of its family.

use actix_web::web;
use clock::{PATHS, usual_load};
use facts::{Fact, Family, JointAdded};
use serde_json::{Map, Value};

use super::back;
use crate::{
    alerts::words::spoken,
    pages::{
        choice::{Choice, WOODS},
        form::Fields,
    },
    problem::Problem,
    routes::{
        Answer, Shop,
        loads::{Load, loaded},
    },
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/joints/{id}/load").route(web::post().to(load)));
}

/// The measures of each path, in words; what each is, is drawn in `physics::statics`.
const MEASURES: &[(&str, &str, &str)] = &[
    ("bridge_foot", "across_mm", "Foot across the strings, mm"),
    ("bridge_foot", "along_mm", "Foot along the strings, mm"),
    ("bridge_foot", "height_mm", "Strings above the top at the saddle, mm"),
    ("neck_joint", "width_mm", "Width of the glued face, mm"),
    ("neck_joint", "depth_mm", "Its depth, fingerboard to cap, mm"),
    ("neck_joint", "arm_mm", "Strings above the middle of that depth, mm"),
    ("headstock", "width_mm", "Width at the break, mm"),
    ("headstock", "thickness_mm", "Thickness there, mm"),
    ("headstock", "arm_mm", "Strings above the middle of the thickness, mm"),
    ("headstock", "slope_deg", "Angle of the joint to the grain, °"),
    ("fingerboard", "width_mm", "Width of board and neck, mm"),
    ("fingerboard", "neck_depth_mm", "Depth of neck and board together, mm"),
    ("fingerboard", "board_mm", "Thickness of the board, mm"),
    ("fingerboard", "anchor_mm", "Length of glue that takes the thrust, mm"),
    ("fingerboard", "arm_mm", "Strings above the middle of the depth, mm"),
    ("brace_end", "width_mm", "Width of the brace, mm"),
    ("brace_end", "length_mm", "Length of the end glued anew, mm"),
    ("brace_end", "reach_mm", "From the bridge to that end, mm"),
    ("brace_end", "height_mm", "Strings above the top at the saddle, mm"),
    ("brace_end", "share", "Part of the tipping it takes, 0 to 1"),
    ("top_crack", "length_mm", "Length of the crack, mm"),
    ("top_crack", "thickness_mm", "Thickness of the top, mm"),
    ("top_crack", "angle_deg", "Its angle to the strings, ° (0 along them)"),
    ("top_crack", "share", "Part of the pull through it, 0 to 1"),
    ("back_seam", "length_mm", "Length of seam glued anew, mm"),
    ("back_seam", "thickness_mm", "Thickness of the back, mm"),
    ("back_seam", "body_depth_mm", "Depth of the body, mm"),
    ("back_seam", "height_mm", "Strings above the top, mm"),
    ("nut_slot", "depth_mm", "Depth of the fill, mm"),
    ("nut_slot", "length_mm", "Length of the slot along the string, mm"),
    ("nut_slot", "break_deg", "How far the string bends over the nut, °"),
    ("saddle_slot", "length_mm", "Length of the slot across the strings, mm"),
    ("saddle_slot", "depth_mm", "Depth of the slot, mm"),
    ("saddle_slot", "exposed_mm", "How far the saddle stands out, mm"),
    ("saddle_slot", "break_deg", "How far the strings bend over it, °"),
];
/// The one measure that is no number: whether a crack lies behind the bridge, where nothing presses it shut.
const BEHIND: &str = "behind";

/// A joint with the form that says how it is loaded.
pub(super) struct JointForm {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) paths: Vec<Choice>,
    pub(super) woods: Vec<Choice>,
    /// Name, what it says, whether it is so.
    pub(super) ticks: Vec<(&'static str, &'static str, bool)>,
    pub(super) said: bool,
    /// The path whose measures the form shows; empty for none.
    pub(super) measured: String,
    /// Name, what it asks, what stands in it.
    pub(super) measures: Vec<(String, &'static str, String)>,
}

impl State {
    /// The form: what was sent if it was this one and wrong, else what was said before.
    pub(super) fn joint_form(&self, joint: &JointAdded, family: Option<Family>, fields: &Fields) -> JointForm {
        let bench = self.bench();
        let said = bench.loads().get(joint.id.as_str());
        let again = fields.get("joint") == Some(joint.id.as_str());
        let known = said.and_then(|said| serde_json::to_value(said.load).ok()).unwrap_or_default();
        let stored = known["path"].as_str().unwrap_or_default();
        let path = if again { fields.get("path").unwrap_or_default() } else { stored };
        let usual = family.and_then(|family| usual_load(family, path));
        let usual = usual.and_then(|(load, _)| serde_json::to_value(load).ok()).unwrap_or_default();
        let of_path = MEASURES.iter().filter(|(of, ..)| *of == path);
        let measure = |(of, field, says): &(&str, &'static str, &'static str)| {
            let name = format!("{of}.{field}");
            let known = if stored == path { &known[*field] } else { &usual[*field] };
            let value = match again.then(|| fields.get(&name)).flatten() {
                Some(sent) => sent.to_string(),
                None => known.as_f64().map_or_else(String::new, |value| value.to_string()),
            };
            (name, *says, value)
        };
        let wood = said.map(|said| said.wood).filter(|_| !again);
        let is_wood = |word: &str, of| if again { fields.get("wood") == Some(word) } else { wood == Some(of) };
        let tick =
            |name: &'static str, says, so: bool| (name, says, if again { fields.get(name).is_some() } else { so });
        let mut ticks = vec![
            tick("starved", "too little glue", said.is_some_and(|said| said.starved)),
            tick("reopened", "opened before, on old glue", said.is_some_and(|said| said.reopened)),
            tick("sound", "tested and vouched for", said.is_some_and(|said| said.sound)),
        ];
        let behind = if stored == path { &known[BEHIND] } else { &usual[BEHIND] };
        ticks.extend(behind.as_bool().map(|so| tick(BEHIND, "behind the bridge, towards the tail", so)));
        JointForm {
            id: joint.id.to_string(),
            name: joint.name.clone(),
            paths: PATHS.iter().map(|of| Choice::new(*of, spoken(of), *of == path)).collect(),
            woods: WOODS.map(|(word, wood)| Choice::new(word, word, is_wood(word, wood))).into(),
            ticks,
            said: !path.is_empty(),
            measures: of_path.map(measure).collect(),
            measured: path.into(),
        }
    }
}

/// The measures the form has for the path it chose; those of another path are not meant any more.
fn measures(fields: &Fields, path: &str) -> Result<Map<String, Value>, Problem> {
    let mut measures = Map::new();
    for (_, field, _) in MEASURES.iter().filter(|(of, ..)| *of == path) {
        if let Some(value) = fields.number(&format!("{path}.{field}"))? {
            measures.insert((*field).into(), value.into());
        }
    }
    // An empty tick says something only where it was shown.
    if path == "top_crack" && fields.get("measured") == Some(path) {
        measures.insert(BEHIND.into(), fields.get(BEHIND).is_some().into());
    }
    Ok(measures)
}

async fn load(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let of = shop.bench().joints().get(id.as_str()).map(|joint| joint.instrument.to_string());
    let of = of.ok_or_else(|| Problem::not_found("joint", &id))?;
    let done = async {
        let ticked = |name: &str| fields.get(name).is_some();
        let path = fields.get("path").unwrap_or_default();
        let said = Load {
            path: path.into(),
            wood: fields.word("wood")?,
            starved: ticked("starved"),
            reopened: ticked("reopened"),
            sound: ticked("sound"),
            measures: measures(&fields, path)?,
        };
        let fact = Fact::JointLoaded(loaded(&shop, &id, &said)?);
        let kept = fields.answer(&format!("/joints/{id}/load"), &id);
        shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
        Ok(())
    };
    let done = done.await;
    back(&shop, &of, &fields, done).await
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every measure a path has can be said on the page, and none that it has not.
    #[test]
    fn each_measure_of_each_path_has_its_words() {
        for path in PATHS {
            let (load, _) = usual_load(Family::SteelStringGuitar, path).expect("a steel-string guitar has every path");
            let Ok(Value::Object(fields)) = serde_json::to_value(load) else { panic!("{path} is no object") };
            let mut has: Vec<&str> =
                fields.keys().map(String::as_str).filter(|f| !["path", BEHIND].contains(f)).collect();
            let mut asked: Vec<&str> =
                MEASURES.iter().filter(|(of, ..)| *of == path).map(|(_, field, _)| *field).collect();
            has.sort_unstable();
            asked.sort_unstable();
            assert_eq!(has, asked, "{path}");
        }
    }
}
