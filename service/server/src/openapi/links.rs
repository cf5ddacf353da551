//! Links: from what makes a thing, or lists things, to whatever can be asked or done about one. So a client goes on from an
//! answer without being told how addresses are put together.

use utoipa::openapi::{
    HttpMethod, RefOr, Response, Schema,
    link::{Link, LinkBuilder},
    path::Operation,
};

/// What an operation is called: `get_zones_id_readings`.
pub(super) fn name(path: &str, method: &HttpMethod) -> String {
    let words = path.trim_start_matches("/api/v1").replace(['{', '}'], "").replace(['/', '-', '.'], "_");
    let method = match method {
        HttpMethod::Put => "put",
        HttpMethod::Post => "post",
        _ => "get",
    };
    format!("{method}{words}")
}

/// Links every answer that shows a thing.
pub(super) fn add(operations: &mut [(String, HttpMethod, Operation)]) {
    let targets: Vec<(String, String)> =
        operations.iter().map(|(path, method, _)| (path.clone(), name(path, method))).collect();
    for (path, _, operation) in operations {
        for (status, response) in &mut operation.responses.responses {
            let RefOr::T(response) = response else { continue };
            let Some(thing) = thing(status, response) else { continue };
            let links =
                targets.iter().filter_map(|(target, id)| Some((id.clone(), link(path, thing, target, id)?.into())));
            response.links.extend(links);
        }
    }
}

/// Where the thing stands in an answer: what was made is the answer, of a list the first is taken.
fn thing(status: &str, response: &Response) -> Option<&'static str> {
    let schema = response.content.get("application/json")?.schema.as_ref()?;
    match (status, schema) {
        ("201", _) => Some(""),
        ("200", RefOr::T(Schema::Object(list))) if list.properties.contains_key("items") => Some("/items/0"),
        _ => None,
    }
}

/// The link from an address to one below it that names the thing and nothing further. What the address names itself is
/// carried on.
fn link(path: &str, thing: &str, target: &str, id: &str) -> Option<Link> {
    let (first, rest) = target.strip_prefix(path)?.strip_prefix("/{")?.split_once('}')?;
    if rest.contains('{') {
        return None;
    }
    let own = path.split('{').skip(1).filter_map(|rest| rest.split('}').next());
    let link = own.fold(LinkBuilder::new(), |link, own| link.parameter(own, format!("$request.path.{own}")));
    let link = link.parameter(first, format!("$response.body#{thing}/id"));
    // The crate writes a field of its own for this as `operation_id`, which the standard does not know.
    Some(link.extensions(Some([("operationId", id)].into_iter().collect())).build())
}
