//! The API as an OpenAPI 3.1 document, made from the code: each file of `routes/` says beside its addresses what they
//! take and give, the types describe themselves, and what may go wrong follows from the kind of request. `links.rs` says which
//! leads to which.

mod links;

use std::collections::BTreeMap;

use serde_json::Value;
use utoipa::{
    ToSchema,
    openapi::{
        Components, Content, HttpMethod, InfoBuilder, OpenApi, OpenApiBuilder, PathItem, PathsBuilder, Ref, RefOr,
        Required, ResponseBuilder, Schema,
        header::HeaderBuilder,
        path::{Operation, OperationBuilder, ParameterBuilder, ParameterIn},
        request_body::RequestBodyBuilder,
        schema::{ArrayBuilder, ObjectBuilder, Type},
        security::{HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme},
    },
};

use crate::problem::{Document, Kind};

/// The document while the files of `routes/` add to it.
#[derive(Default)]
pub(crate) struct Api {
    operations: Vec<(String, HttpMethod, Operation)>,
    schemas: BTreeMap<String, RefOr<Schema>>,
}

/// One method of one address, while it is being described.
pub(crate) struct Described<'a> {
    operation: &'a mut Operation,
    schemas: &'a mut BTreeMap<String, RefOr<Schema>>,
}

/// What the examples of the document call the thing an address names by `param`.
fn example(path: &str, param: &str) -> &'static str {
    match (param, path.split('/').nth(3).unwrap_or_default()) {
        ("step", _) => "glue",
        ("plan", _) => "evening",
        ("held", _) if path.ends_with("discard") => "2",
        ("held", _) => "1",
        ("table", _) => "facts",
        ("version", _) => "0",
        ("material", _) => "shellac",
        (_, "zones") => "bench",
        (_, "instruments") => "guitar",
        (_, "jobs") => "bridge-reset",
        (_, "joints") => "bridge",
        (_, "clamps") => "cam-1",
        (_, "materials" | "rules") => "aliphatic-resin",
        (_, "lots") => "bottle",
        (_, "coats") if path.ends_with("exposures") => "fill-1",
        (_, "coats") => "coat-1",
        (_, "sensors") => "s-1",
        (_, "mixes") => "pot",
        (_, "schedules") => "french-polish",
        (_, "observations") => "seen-1",
        (_, "channels") => "mia:page",
        (_, "tokens") => "mia-phone",
        (_, "days") => "2026-12-24",
        // The first 64 bits of the SHA-256 of the endpoint of the example.
        (_, "push-subscriptions") => "572ed3dbb3c937f4",
        (_, "alerts") => "coat-1:dust_free",
        _ => "glue-1",
    }
}

impl Api {
    pub(crate) fn get(&mut self, path: &str, says: &str) -> Described<'_> {
        self.operation(HttpMethod::Get, path, says)
    }

    pub(crate) fn post(&mut self, path: &str, says: &str) -> Described<'_> {
        self.operation(HttpMethod::Post, path, says).keyed()
    }

    pub(crate) fn put(&mut self, path: &str, says: &str) -> Described<'_> {
        self.operation(HttpMethod::Put, path, says).keyed()
    }

    /// Addresses below `/api/v1` are told by what follows it.
    fn operation(&mut self, method: HttpMethod, path: &str, says: &str) -> Described<'_> {
        let outside = ["/health", "/metrics"].iter().any(|lead| path.starts_with(lead));
        let path = if outside { path.to_string() } else { format!("/api/v1{path}") };
        let name = links::name(&path, &method);
        let mut operation = OperationBuilder::new().operation_id(Some(name)).summary(Some(says)).build();
        let params = path.split('{').skip(1).filter_map(|rest| rest.split_once('}'));
        let params: Vec<String> = params.map(|(name, _)| name.to_string()).collect();
        for param in &params {
            let kind = if param == "held" { Type::Integer } else { Type::String };
            let parameter = ParameterBuilder::new()
                .name(param)
                .parameter_in(ParameterIn::Path)
                .required(Required::True)
                .schema(Some(ObjectBuilder::new().schema_type(kind)))
                .example(Some(example(&path, param).into()));
            operation.parameters.get_or_insert_default().push(parameter.build());
        }
        self.operations.push((path, method, operation));
        let operation = &mut self.operations.last_mut().expect("one was pushed just now").2;
        let described = Described { operation, schemas: &mut self.schemas };
        let described = described.or(&[Kind::Malformed, Kind::Busy, Kind::Internal]);
        let described = described.or(&[Kind::Login, Kind::Role, Kind::TooMany]);
        if params.is_empty() { described } else { described.or(&[Kind::NotFound]) }
    }

    /// What is flattened into another type stands beside the fields of that type, though its own reader refuses others.
    fn open_flattened(&mut self) {
        let mut flattened = vec![];
        for schema in self.schemas.values() {
            let RefOr::T(Schema::AllOf(all)) = schema else { continue };
            let names = all.items.iter().filter_map(|part| match part {
                RefOr::Ref(part) => part.ref_location.rsplit('/').next(),
                RefOr::T(_) => None,
            });
            flattened.extend(names.map(str::to_string));
        }
        for name in flattened {
            if let Some(RefOr::T(Schema::Object(object))) = self.schemas.get_mut(&name) {
                object.additional_properties = None;
            }
        }
    }

    /// The whole document.
    pub(crate) fn document(mut self) -> OpenApi {
        self.open_flattened();
        links::add(&mut self.operations);
        let mut paths = PathsBuilder::new();
        for (path, method, operation) in self.operations {
            paths = paths.path(path, PathItem::new(method, operation));
        }
        let mut components = Components::new();
        components.schemas = self.schemas;
        let bearer = HttpBuilder::new()
            .scheme(HttpAuthScheme::Bearer)
            .description(Some("A token of `benchclock token add`; requests from the service's own machine need none"));
        components.add_security_scheme("token", SecurityScheme::Http(bearer.build()));
        let info = InfoBuilder::new().title("benchclock").version(env!("CARGO_PKG_VERSION")).description(Some(
            "Says when a clamp can come off, when a coat can be sanded or recoated and when that window closes. \
             Every time is an estimate, never a guarantee.",
        ));
        // Either of the two: none, or a token.
        let security = [SecurityRequirement::default(), SecurityRequirement::new("token", Vec::<String>::new())];
        OpenApiBuilder::new().security(Some(security)).info(info).paths(paths).components(Some(components)).build()
    }
}

impl Described<'_> {
    /// A request that writes: it may carry a key, and what it says may contradict the bench.
    fn keyed(self) -> Self {
        let key = ParameterBuilder::new()
            .name("Idempotency-Key")
            .parameter_in(ParameterIn::Header)
            .description(Some("The same request with the same key is done once"))
            .schema(Some(ObjectBuilder::new().schema_type(Type::String).pattern(Some("^[!#-~]{1,128}$"))));
        self.operation.parameters.get_or_insert_default().push(key.build());
        let wrong = [Kind::Conflict, Kind::TooLarge, Kind::Media, Kind::Invalid, Kind::DiskFull];
        self.or(&wrong)
    }

    /// The fields of `T` as queries, and what they are in the example.
    pub(crate) fn query<T: ToSchema>(mut self, example: Value) -> Self {
        let mut nested = vec![];
        T::schemas(&mut nested);
        self.keep(nested);
        let RefOr::T(Schema::Object(object)) = T::schema() else { return self };
        for (name, schema) in object.properties {
            let required = if object.required.contains(&name) { Required::True } else { Required::False };
            let parameter = ParameterBuilder::new().name(&name).parameter_in(ParameterIn::Query).required(required);
            let parameter = parameter.example(example.get(&name).cloned()).schema(Some(schema));
            self.operation.parameters.get_or_insert_default().push(parameter.build());
        }
        self.or(&[Kind::Invalid])
    }

    /// A JSON body of shape `T`, and one that is taken in the shop of the examples.
    pub(crate) fn takes<T: ToSchema>(mut self, example: Value) -> Self {
        let schema = self.named::<T>();
        let content = Content::builder().schema(Some(schema)).example(Some(example)).build();
        self.body("application/json", content)
    }

    /// A body of another media type.
    pub(crate) fn takes_media(self, media: &str, example: impl Into<Value>) -> Self {
        let content =
            Content::builder().schema(Some(ObjectBuilder::new().build())).example(Some(example.into())).build();
        self.body(media, content)
    }

    fn body(self, media: &str, content: Content) -> Self {
        self.operation.request_body = Some(RequestBodyBuilder::new().content(media, content).build());
        self
    }

    /// Answers with `T`.
    pub(crate) fn gives<T: ToSchema>(self) -> Self {
        self.answers::<T>(actix_web::http::StatusCode::OK)
    }

    /// Answers with a `T` that was made.
    pub(crate) fn makes<T: ToSchema>(self) -> Self {
        self.answers::<T>(actix_web::http::StatusCode::CREATED)
    }

    /// Answers with nothing.
    pub(crate) fn empties(self) -> Self {
        let answer = ResponseBuilder::new().description("It is gone");
        self.operation.responses.responses.insert("204".into(), answer.build().into());
        self
    }

    /// Answers with another media type.
    pub(crate) fn gives_media(self, media: &str) -> Self {
        let content = Content::new(Some(ObjectBuilder::new().schema_type(Type::String)));
        let answer = ResponseBuilder::new().description("As asked").content(media, content);
        self.operation.responses.responses.insert("200".into(), answer.build().into());
        self
    }

    /// Answers with a list of `T`, or one part of it.
    pub(crate) fn lists<T: ToSchema>(mut self) -> Self {
        let next = ObjectBuilder::new().schema_type(Type::String).description(Some("The id after which to go on"));
        let list = ObjectBuilder::new()
            .property("items", ArrayBuilder::new().items(self.named::<T>()))
            .property("next", next)
            .required("items");
        self.answer(actix_web::http::StatusCode::OK, list)
    }

    fn answers<T: ToSchema>(mut self, status: actix_web::http::StatusCode) -> Self {
        let schema = self.named::<T>();
        self.answer(status, schema)
    }

    fn answer(self, status: actix_web::http::StatusCode, schema: impl Into<RefOr<Schema>>) -> Self {
        let says = if status.as_u16() == 201 { "What was made" } else { "As asked" };
        let answer =
            ResponseBuilder::new().description(says).content("application/json", Content::new(Some(schema.into())));
        self.operation.responses.responses.insert(status.as_str().into(), answer.build().into());
        self
    }

    /// What else it may answer, each a problem document.
    pub(crate) fn or(mut self, kinds: &[Kind]) -> Self {
        for kind in kinds {
            let schema = self.named::<Document<'static>>();
            let (_, title, status) = kind.row();
            let mut answer = ResponseBuilder::new()
                .description(title)
                .content("application/problem+json", Content::new(Some(schema)));
            if matches!(kind, Kind::TooMany) || status == actix_web::http::StatusCode::SERVICE_UNAVAILABLE {
                let seconds = ObjectBuilder::new().schema_type(Type::String);
                answer = answer.header("Retry-After", HeaderBuilder::new().schema(seconds).build());
            }
            let responses = &mut self.operation.responses.responses;
            responses.entry(status.as_str().into()).or_insert_with(|| answer.build().into());
        }
        self
    }

    /// Answers some kind of problem with a `T` instead.
    pub(crate) fn or_answers<T: ToSchema>(self, kind: Kind) -> Self {
        self.answers::<T>(kind.row().2)
    }

    /// A request that says in If-Match what it replaces.
    pub(crate) fn replaces(self) -> Self {
        let version = ParameterBuilder::new()
            .name("If-Match")
            .parameter_in(ParameterIn::Header)
            .description(Some("The ETag of what is to be replaced"))
            .schema(Some(ObjectBuilder::new().schema_type(Type::String)));
        self.operation.parameters.get_or_insert_default().push(version.build());
        self.or(&[Kind::Changed, Kind::Unseen])
    }

    /// Where `T` stands among the schemas.
    fn named<T: ToSchema>(&mut self) -> Ref {
        let mut all = vec![(T::name().into_owned(), T::schema())];
        T::schemas(&mut all);
        self.keep(all);
        Ref::from_schema_name(T::name())
    }

    fn keep(&mut self, schemas: Vec<(String, RefOr<Schema>)>) {
        for (name, schema) in schemas {
            let known = self.schemas.entry(name.clone()).or_insert_with(|| schema.clone());
            debug_assert!(*known == schema, "two types are described as {name}: give one another #[schema(as = ...)]");
        }
    }
}
