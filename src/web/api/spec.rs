//! The description of the interface: OpenAPI 3.1, made of the very list that the router is made of.

use serde_json::{Value, json};
use utoipa::openapi::path::{OperationBuilder, Parameter, ParameterBuilder, ParameterIn, PathItemBuilder};
use utoipa::openapi::request_body::RequestBodyBuilder;
use utoipa::openapi::schema::{ArrayBuilder, ObjectBuilder, Schema, SchemaFormat, SchemaType, Type};
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme};
use utoipa::openapi::tag::TagBuilder;
use utoipa::openapi::{
    ComponentsBuilder, ContentBuilder, HeaderBuilder, HttpMethod, InfoBuilder, OpenApiBuilder, PathsBuilder,
    Ref, RefOr, Required, Response, ResponseBuilder, ServerBuilder,
};

use super::params::{Param, TEXT_MAX, Takes};
use super::problem::PROBLEM;
use super::route::{Gives, Route, routes};
use super::{LIMIT, LIMIT_MAX, roles, shapes};
use crate::core::evidence::JSON_LINES;
use crate::web::kitchen::Kitchen;

/// Name of the way in.
const TOKEN: &str = "token";

/// The description as JSON.
pub(super) fn text<K: Kitchen>() -> String {
    document::<K>().to_string()
}

/// The description.
pub(super) fn document<K: Kitchen>() -> Value {
    let mut paths = PathsBuilder::new();
    let routes = routes::<K>();
    let mut places: Vec<&str> = routes.iter().map(|route| route.path).collect();
    places.sort_unstable();
    places.dedup();
    for place in places {
        let mut item = PathItemBuilder::new();
        for route in routes.iter().filter(|route| route.path == place) {
            let method = if route.body.is_some() { HttpMethod::Post } else { HttpMethod::Get };
            item = item.operation(method, operation(route));
        }
        paths = paths.path(place, item.build());
    }
    let about = "The record of a commercial dish machine's cycles, its alerts, its checks and its readings. \
                 Temperatures are in °C (`_c`), times are RFC 3339. The program is an aid: local code and the \
                 data plate come first.";
    let token = HttpBuilder::new()
        .scheme(HttpAuthScheme::Bearer)
        .description(Some("A token, or the session of a browser."))
        .build();
    let described = OpenApiBuilder::new()
        .info(
            InfoBuilder::new().title("rinseward").version(env!("CARGO_PKG_VERSION")).description(Some(about)),
        )
        .servers(Some([ServerBuilder::new().url("/api/v1").build()]))
        .tags(Some(AREAS.map(|(name, about)| TagBuilder::new().name(name).description(Some(about)).build())))
        .paths(paths)
        .components(Some(
            ComponentsBuilder::new().security_scheme(TOKEN, SecurityScheme::Http(token)).build(),
        ))
        .security(Some([SecurityRequirement::new(TOKEN, Vec::<String>::new())]))
        .build();
    // What it is made of are texts and numbers, which always fit into JSON.
    let mut described = serde_json::to_value(described).unwrap_or_default();
    described["components"]["schemas"] = shapes::all::<K>();
    described["components"]["schemas"]["Description"] = json!({ "type": "object" });
    described
}

fn operation<K>(route: &Route<K>) -> OperationBuilder {
    let about = format!("{} Takes one of the roles {}.", route.about, roles(route.right));
    let mut operation = OperationBuilder::new()
        .operation_id(Some(name(route)))
        .tag(area(route.path).0)
        .summary(Some(route.about))
        .description(Some(about));
    for part in route.path.split('/').filter(|part| part.starts_with('{')) {
        operation = operation.parameter(path_parameter(part.trim_matches(['{', '}'])));
    }
    for param in route.params {
        operation = operation.parameter(query_parameter(param));
    }
    if route.has_tag() {
        operation = operation.parameter(known());
    }
    if let Some(shape) = route.body {
        let content = ContentBuilder::new().schema(Some(Ref::from_schema_name(shape))).build();
        let body =
            RequestBodyBuilder::new().required(Some(Required::True)).content("application/json", content);
        operation = operation.request_body(Some(body.build()));
    }
    let status = if matches!(route.gives, Gives::Made(_)) { "201" } else { "200" };
    operation = operation.response(status, given(route));
    if route.has_tag() {
        operation = operation.response("304", ResponseBuilder::new().description("As the tag says.").build());
    }
    for (status, about) in refusals(route) {
        let mut answer = problem(about);
        if matches!(status, "429" | "503") {
            answer.headers.insert("Retry-After".to_owned(), RefOr::T(header("When to come again, s.")));
        }
        operation = operation.response(status, answer);
    }
    operation
}

/// What an operation is called in programs that are made from the description; it stays as it is.
fn name<K>(route: &Route<K>) -> String {
    match route.body {
        Some("Acknowledging") => return "acknowledgeAlert".to_owned(),
        Some("Acting") => return "actOnAlert".to_owned(),
        Some("Entering") => return "enterCheck".to_owned(),
        Some(_) | None => {}
    }
    let mut name = if matches!(route.gives, Gives::Page(..)) { "list" } else { "get" }.to_owned();
    let parts: Vec<&str> = route.path.split('/').filter(|part| !part.is_empty()).collect();
    for (place, part) in parts.iter().enumerate().filter(|(_, part)| !part.starts_with('{')) {
        // Of one out of many the name of one: `/cycles/{record}` is a cycle.
        let one_of = parts.get(place + 1).is_some_and(|next| next.starts_with('{'));
        let part = if one_of { part.trim_end_matches('s') } else { part };
        for word in part.split('.') {
            let mut letters = word.chars();
            name.extend(letters.next().map(|first| first.to_ascii_uppercase()));
            name.extend(letters);
        }
    }
    name
}

/// The areas of the interface, each with what it is about.
const AREAS: [(&str, &str); 6] = [
    ("machines", "The machines and their probes as they are just now."),
    ("cycles", "Cycles and how they were judged, one by one, by day and summed up; and what is missing."),
    ("alerts", "Alerts, who answers for them, and what was done."),
    ("checks", "The logbook: checks that are due, and those that were entered."),
    ("record", "What is on record, its seals, and taking it away."),
    ("interface", "Who asks, and this description."),
];

/// The area of a path.
fn area(path: &str) -> (&'static str, &'static str) {
    let [machines, cycles, alerts, checks, record, interface] = AREAS;
    match path.split('/').nth(1).unwrap_or_default() {
        "machines" | "probes" | "readings" => machines,
        "cycles" | "days" | "summary" | "gaps" => cycles,
        "alerts" => alerts,
        "checks" | "due" => checks,
        "records" | "checkpoints" | "export" => record,
        _ => interface,
    }
}

/// How a route may refuse.
fn refusals<K>(route: &Route<K>) -> Vec<(&'static str, &'static str)> {
    let mut refusals = vec![("401", "Nobody is known to ask."), ("403", "The role does not reach that far.")];
    if route.path.contains('{') || !route.params.is_empty() || route.body.is_some() {
        refusals.push(("404", "There is no such thing."));
    }
    refusals.push(("405", "There is no such method."));
    if route.body.is_some() {
        refusals.extend([
            ("400", "The body is no JSON."),
            ("409", "It cannot be done as things stand."),
            ("413", "The body is too long."),
            ("415", "The body is not said to be JSON."),
        ]);
    }
    refusals.extend([
        ("422", "A parameter or a field cannot be."),
        ("429", "As many do it already as can at a time."),
        ("503", "The record cannot be read or written just now."),
    ]);
    refusals
}

fn problem(about: &str) -> Response {
    let content = ContentBuilder::new().schema(Some(Ref::from_schema_name("Problem"))).build();
    ResponseBuilder::new().description(about).content(PROBLEM, content).build()
}

fn given<K>(route: &Route<K>) -> Response {
    let of = |shape: &str| ContentBuilder::new().schema(Some(Ref::from_schema_name(shape))).build();
    let response = ResponseBuilder::new().description(route.about);
    let response = match route.gives {
        Gives::Page(_, shape) => response
            .header("Link", header("The page that follows, where there is more (RFC 8288)."))
            .content("application/json", of(&format!("{shape}Page"))),
        Gives::Shape(shape) | Gives::Made(shape) => response.content("application/json", of(shape)),
        Gives::Lines(shape) => response.content(JSON_LINES, of(shape)),
        Gives::File => {
            let file = || {
                ContentBuilder::new()
                    .schema(Some(Schema::from(ObjectBuilder::new().schema_type(SchemaType::AnyValue))))
                    .build()
            };
            response
                .content("text/csv", file())
                .content("application/json", file())
                .content(JSON_LINES, file())
        }
    };
    if route.has_tag() {
        return response.header("ETag", header("Strong: while it holds, so does the answer.")).build();
    }
    response.build()
}

fn header(about: &str) -> utoipa::openapi::Header {
    HeaderBuilder::new()
        .schema(Some(ObjectBuilder::new().schema_type(Type::String)))
        .description(Some(about))
        .build()
}

/// The tag of an answer that whoever asks has already.
fn known() -> Parameter {
    ParameterBuilder::new()
        .name("If-None-Match")
        .parameter_in(ParameterIn::Header)
        .required(Required::False)
        .description(Some(
            "ETag of an answer that you have: where it still holds, 304 says so without a body.",
        ))
        .schema(Some(ObjectBuilder::new().schema_type(Type::String)))
        .build()
}

fn path_parameter(name: &str) -> Parameter {
    let schema = if name == "name" {
        ObjectBuilder::new().schema_type(Type::String).min_length(Some(1)).build()
    } else {
        ObjectBuilder::new()
            .schema_type(Type::Integer)
            .minimum(Some(0))
            .maximum(Some(i64::MAX as f64))
            .build()
    };
    let about = match name {
        "record" => "Index of the record.",
        "number" => "Number of the alert.",
        _ => "Name of the machine.",
    };
    ParameterBuilder::new()
        .name(name)
        .parameter_in(ParameterIn::Path)
        .required(Required::True)
        .description(Some(about))
        .schema(Some(schema))
        .build()
}

fn query_parameter(param: &Param) -> Parameter {
    let string = || ObjectBuilder::new().schema_type(Type::String);
    let word = |known: fn() -> Vec<&'static str>| string().enum_values(Some(known()));
    let list = |items: ObjectBuilder| Schema::from(ArrayBuilder::new().items(items).min_items(Some(1)));
    let name = || string().min_length(Some(1)).max_length(Some(TEXT_MAX));
    let schema: Schema = match param.takes {
        Takes::Text => name().into(),
        Takes::When => string().format(Some(SchemaFormat::Custom("date-time".to_owned()))).into(),
        Takes::Limit => ObjectBuilder::new()
            .schema_type(Type::Integer)
            .minimum(Some(1))
            .maximum(Some(LIMIT_MAX as f64))
            .default(Some(LIMIT.into()))
            .into(),
        Takes::Flag => ObjectBuilder::new().schema_type(Type::Boolean).into(),
        Takes::Word(known) => word(known).into(),
        Takes::Words(known) => list(word(known)),
        Takes::Names => list(name().pattern(Some("^[^,]+$"))),
    };
    let many = matches!(param.takes, Takes::Words(_) | Takes::Names);
    let parameter = ParameterBuilder::new()
        .name(param.name)
        .parameter_in(ParameterIn::Query)
        .required(if param.must { Required::True } else { Required::False })
        .description(Some(param.about))
        .schema(Some(RefOr::T(schema)));
    // With commas between, not one by one.
    if many { parameter.explode(Some(false)).build() } else { parameter.build() }
}
