//! Holding a hygrometer against saturated salts, on the page of the climate.

use actix_web::web;
use facts::{Fact, Salt, SensorId};

use super::{back, zone};
use crate::{
    pages::form::Fields,
    problem::{Kind, Problem},
    routes::{
        Answer, Shop,
        sensors::{Point, calibrated},
    },
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/climate/{zone}/calibrations").route(web::post().to(calibrate)));
}

/// The salts, as the fields of the form are named and as it says them; what stands over each is the table's to say.
pub(super) const SALTS: [(&str, Salt, &str); 2] = [
    ("nacl", Salt::SodiumChloride, "table salt (sodium chloride)"),
    ("mgcl", Salt::MagnesiumChloride, "magnesium chloride"),
];

async fn calibrate(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async {
        let zone = zone(&shop, &id)?;
        let sensor: SensorId = fields.id("sensor")?.ok_or_else(|| {
            Problem::new(Kind::Invalid, "sensor is missing", "choose one of the list").about("sensor")
        })?;
        let known = shop.bench().sensors(zone.as_str()).iter().any(|(of, _)| *of == Some(&sensor));
        if !known {
            return Err(Problem::not_found("sensor", sensor.as_str()));
        }
        let mut points = Vec::new();
        for (name, salt, _) in SALTS {
            let Some(read_rh_pct) = fields.number(&format!("{name}_read"))? else { continue };
            let temp = fields.needed(&format!("{name}_temp"))?;
            points.push(Point { salt, temp_c: shop.settings.shop.temp_unit.celsius(temp), read_rh_pct });
        }
        let fact = Fact::HygrometerCalibrated(calibrated(sensor.clone(), &points)?);
        let kept = fields.answer(&format!("/climate/{id}/calibrations"), sensor.as_str());
        shop.say_fact(fact, fields.pressed_ms(shop.now().ms())?, "bench", kept).await.map(drop)
    };
    let done = done.await;
    back(&shop, &id, fields, done).await
}
