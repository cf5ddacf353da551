//! Style, scripts, icon and the drawing of the load paths, built into the binary.

use actix_web::{HttpResponse, http::header, web};
use serde_json::json;

use crate::routes::{Answer, Shop};

/// Address, media type, content.
const ASSETS: [(&str, &str, &[u8]); 10] = [
    ("/look.css", "text/css; charset=utf-8", include_bytes!("../../static/look.css")),
    ("/bench.js", "text/javascript; charset=utf-8", include_bytes!("../../static/bench.js")),
    ("/follow.js", "text/javascript; charset=utf-8", include_bytes!("../../static/follow.js")),
    ("/keep.js", "text/javascript; charset=utf-8", include_bytes!("../../static/keep.js")),
    ("/forms.js", "text/javascript; charset=utf-8", include_bytes!("../../static/forms.js")),
    ("/chart.js", "text/javascript; charset=utf-8", include_bytes!("../../static/chart.js")),
    ("/rules.js", "text/javascript; charset=utf-8", include_bytes!("../../static/rules.js")),
    ("/icon.svg", "image/svg+xml", include_bytes!("../../static/icon.svg")),
    // The same without its round corners: phones that take no SVG for their home screen round it themselves.
    ("/icon-180.png", "image/png", include_bytes!("../../static/icon-180.png")),
    ("/load-paths.svg", "image/svg+xml", include_bytes!("../../static/load-paths.svg")),
];

pub(super) fn configure(config: &mut web::ServiceConfig) {
    for (path, media, content) in ASSETS {
        let asset = move || async move {
            HttpResponse::Ok()
                .content_type(media)
                // Asked for again each time: it changes with the binary, and is small.
                .insert_header((header::CACHE_CONTROL, "no-cache"))
                .body(content)
        };
        config.service(web::resource(path).route(web::get().to(asset)));
    }
    config.service(web::resource("/app.webmanifest").route(web::get().to(manifest)));
}

/// What a phone needs to put the board on its home screen (W3C Web Application Manifest).
async fn manifest(shop: Shop) -> Answer {
    let document = json!({
        "name": shop.settings.shop.name, "short_name": "Bench", "start_url": "/", "display": "standalone",
        "background_color": "#f6f2e9", "theme_color": "#3a2a1d",
        "icons": [
            {"src": "/icon.svg", "sizes": "any", "type": "image/svg+xml", "purpose": "any"},
            {"src": "/icon-180.png", "sizes": "180x180", "type": "image/png", "purpose": "any"},
        ],
        "shortcuts": [{"name": "Register a glue-up", "url": "/glue-up"}],
    });
    Ok(HttpResponse::Ok().content_type("application/manifest+json").body(document.to_string()))
}
