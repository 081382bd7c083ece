//! Shapes of what goes in and out, as JSON Schema 2020-12, which is what OpenAPI 3.1 takes.
//!
//! What is on record has the shapes that are published beside the exports; a list of columns that of
//! its columns; the rest is written here and held to what is really sent by the tests.

use serde_json::{Map, Value, json};

use super::deeds::TEXT_CHARS_MAX;
use super::{Answers, Field, FieldKind, LIMIT_MAX, View};
use crate::core::access::{Right, Role};
use crate::core::alert::LETTERS_MIN;
use crate::core::logbook::NAME_BYTES_MAX;
use crate::core::record::{CheckKind, Supply};

/// The published shapes of what is on record.
const RECORD: &str = include_str!("../../../deploy/export/record.schema.json");

/// What is no writing at all, as [`str::trim`] counts it (Unicode, property `White_Space`), for a class of a pattern.
const BLANK: &str = "\\u0009-\\u000d \\u0085\\u00a0\\u1680\\u2000-\\u200a\\u2028\\u2029\\u202f\\u205f\\u3000";
/// What is neither letter nor digit, for a class of a pattern: blanks, and the signs of ASCII, of Latin-1 and of general
/// punctuation (Unicode, general categories other than `L`, `M` and `N`). Of other signs no pattern can say it that every
/// program reads the same.
const NO_LETTER: &str = "\\u0000-/:-@\\[-`{-\\u00a9\\u00ab-\\u00b1\\u00b4\\u00b6-\\u00b8\\u00bb\\u00bf\\u00d7\\u00f7\\u1680\\u2000-\\u206f\\u20a0-\\u20cf\\u3000-\\u3003\\ufeff";
/// What no name holds (Unicode, general category `Cc`).
const CONTROL: &str = "\\u0000-\\u001f\\u007f-\\u009f";

/// All of them, by name.
pub(super) fn all<A: Answers>() -> Value {
    let mut shapes = recorded();
    for (name, view) in [
        ("Day", View::Days),
        ("Summary", View::Summary),
        ("Gap", View::Gaps),
        ("Check", View::Checks),
        ("RecordLine", View::Records),
    ] {
        shapes.insert(name.to_owned(), columns(&A::fields(view)));
    }
    for own in [seen(), alerts(), proofs(), sent(), told()] {
        if let Value::Object(own) = own {
            shapes.extend(own);
        }
    }
    for name in ["Machine", "Cycle", "Day", "Summary", "Gap", "Alert", "Check", "Due", "RecordLine", "Probe"]
    {
        shapes.insert(format!("{name}Page"), page(name));
    }
    Value::Object(shapes)
}

/// What is on record: `$defs` of the published schema, and a cycle as `history --json` prints it.
fn recorded() -> Map<String, Value> {
    // It is ours, and a test reads it.
    let schema: Value =
        serde_json::from_str(&RECORD.replace("#/$defs/", "#/components/schemas/")).unwrap_or_default();
    let mut shapes = Map::new();
    if let Some(Value::Object(definitions)) = schema.get("$defs") {
        shapes.extend(definitions.clone());
    }
    let mut cycle = shapes.get("row").cloned().unwrap_or_default();
    if let Some(Value::Object(properties)) = cycle.get_mut("properties") {
        let about = "Indices of the records that amend it.";
        let amendments = json!({ "type": "array", "items": { "type": "integer" }, "description": about });
        properties.insert("amendments".to_owned(), amendments);
    }
    shapes.insert("Cycle".to_owned(), cycle);
    shapes
}

/// Rows of a list of columns; a value that is not known is `null`.
fn columns(fields: &[Field]) -> Value {
    let kind = |field: &Field| match field.kind {
        FieldKind::Text => json!({ "type": ["string", "null"] }),
        FieldKind::Instant => json!({ "type": ["string", "null"], "format": "date-time" }),
        FieldKind::Day => json!({ "type": ["string", "null"], "format": "date" }),
        FieldKind::Number => json!({ "type": ["number", "null"] }),
        FieldKind::Flag => json!({ "type": ["boolean", "null"] }),
    };
    let properties: Map<String, Value> =
        fields.iter().map(|field| (field.key.clone(), kind(field))).collect();
    let required: Vec<&str> = fields.iter().map(|field| field.key.as_str()).collect();
    json!({ "type": "object", "properties": properties, "required": required })
}

fn page(name: &str) -> Value {
    let row = json!({ "$ref": format!("#/components/schemas/{name}") });
    json!({
        "type": "object",
        "properties": {
            "items": { "type": "array", "items": row, "maxItems": LIMIT_MAX },
            "next": { "type": ["string", "null"], "description": "Relative address of the page that follows." },
            "damaged": {
                "type": "array", "items": { "type": "integer" },
                "description": "Records among them that are damaged, so that they are no rows; absent where there are none.",
            },
        },
        "required": ["items", "next"],
    })
}

/// Machines and probes as they are just now.
fn seen() -> Value {
    let celsius = json!({ "type": ["number", "null"], "description": "°C" });
    let instant = json!({ "type": ["string", "null"], "format": "date-time" });
    json!({
        "Machine": machine(),
        "Probe": {
            "type": "object",
            "properties": {
                "channel": { "type": "string" },
                "machine": { "type": "string" },
                "quantity": { "enum": ["temperature", "sanitizer", "ph"] },
                "place": {
                    "anyOf": [{ "$ref": "#/components/schemas/place" }, { "type": "null" }],
                    "description": "null of a sanitizing solution.",
                },
                "at": instant,
                "arrived": instant,
                "measured_c": celsius,
                "corrected_c": celsius,
                "fault": { "anyOf": [{ "$ref": "#/components/schemas/fault" }, { "type": "null" }] },
                "gain": { "type": "number", "description": "Correction in force: gain · measured + offset." },
                "offset_c": { "type": "number", "description": "°C" },
                "uncertainty": { "type": "number", "description": "Expanded (k = 2), °C" },
                "tau_s": { "type": ["number", "null"], "description": "Time constant, s" },
                "value": { "type": ["number", "null"], "description": "Of a sanitizing solution: its newest test." },
                "unit": { "enum": ["mg/L", "pH"] },
                "from": { "enum": ["line", "person", null], "description": "Who made that test." },
                "by": { "type": ["string", "null"], "description": "Who entered it, where a person did." },
                "record": { "type": ["integer", "null"], "description": "Its record; null where its line told it since." },
                "silent": { "type": "boolean", "description": "Of a sanitizing solution: no rack is judged by it now." },
                "silent_after_s": {
                    "type": "number",
                    "description": "s; of a sanitizing solution for how long racks are judged by a test.",
                },
            },
            "required": ["channel", "machine", "quantity", "place", "at", "corrected_c", "fault"],
        },
        "Due": {
            "type": "object",
            "properties": {
                "machine": { "type": "string" },
                "check": { "enum": CheckKind::ALL.map(CheckKind::as_str) },
                "since": { "type": "string", "format": "date-time" },
                "overdue": { "type": "boolean" },
                "again": {
                    "type": "object",
                    "description": "The check that failed and is to be made again; absent where the plan alone asks",
                    "properties": {
                        "record": { "type": "integer", "minimum": 0 },
                        "at": { "type": "string", "format": "date-time" },
                        "what": { "type": "string", "description": "Which thermometer was off" },
                    },
                    "required": ["record", "at"],
                },
            },
            "required": ["machine", "check", "since", "overdue"],
        },
        "Event": {
            "type": "object",
            "properties": { "event": { "enum": ["begun", "reading", "source", "unit", "refused", "lost", "ended"] } },
            "required": ["event"],
        },
    })
}

/// A machine at a glance.
fn machine() -> Value {
    let celsius = json!({ "type": ["number", "null"], "description": "°C" });
    let instant = json!({ "type": ["string", "null"], "format": "date-time" });
    json!({
        "type": "object",
        "properties": {
            "machine": { "type": "string" },
            "chemical": { "type": "boolean" },
            "data": { "enum": ["live", "old", "none"] },
            "last_reading": instant,
            "tank_c": celsius,
            "tank_limit_c": celsius,
            "last": {
                "type": ["object", "null"],
                "properties": {
                    "record": { "type": "integer" },
                    "rinse_ended": { "type": "string", "format": "date-time" },
                    "verdict": { "$ref": "#/components/schemas/verdict" },
                    "finding_codes": { "type": "array", "items": { "type": "string" } },
                    "rinse_min_c": celsius,
                    "limit_c": { "type": "number", "description": "°C" },
                    "uncertainty": { "type": "number", "description": "Expanded (k = 2), °C" },
                    "concentration_mg_per_l": { "type": ["number", "null"], "description": "mg/L" },
                },
                "required": ["record", "rinse_ended", "verdict", "rinse_min_c", "limit_c"],
            },
            "today": {
                "type": "object", "additionalProperties": { "type": "integer", "minimum": 0 },
                "description": "Racks of today, by verdict.",
            },
            "alerts": { "type": "array", "items": {
                "type": "object",
                "properties": {
                    "number": { "type": "integer" },
                    "headline": { "type": "string" },
                    "acknowledged_by": { "type": ["string", "null"] },
                },
                "required": ["number", "headline", "acknowledged_by"],
            } },
            "maintenance_until": instant,
        },
        "required": ["machine", "chemical", "data", "last", "today", "alerts"],
    })
}

fn alerts() -> Value {
    let person = json!({
        "type": ["object", "null"],
        "properties": { "by": { "type": "string" }, "at": { "type": "string", "format": "date-time" } },
        "required": ["by", "at"],
    });
    let instant = json!({ "type": "string", "format": "date-time" });
    let maybe = json!({ "type": ["string", "null"], "format": "date-time" });
    let quantity = json!({ "anyOf": [{ "$ref": "#/components/schemas/quantity" }, { "type": "null" }] });
    json!({
        "Alert": {
            "type": "object",
            "properties": {
                "number": { "type": "integer" },
                "condition": { "$ref": "#/components/schemas/condition" },
                "machine": { "type": ["string", "null"] },
                "raised": instant,
                "since": instant,
                "measured": quantity,
                "worst": quantity,
                "limit": quantity,
                "other_side": { "type": "array", "description": "The worst on the other side, and its limit there." },
                "racks": {
                    "type": "object",
                    "properties": { "count": { "type": "integer" }, "named": { "type": "array" } },
                    "required": ["count", "named"],
                },
                "about": { "type": "array", "items": { "type": "string" } },
                "acknowledged": person,
                "cleared": maybe,
                "needs_action": { "type": "boolean" },
                "action": person,
                "closed": maybe,
            },
            "required": ["number", "condition", "raised", "since", "racks", "needs_action"],
        },
        "AlertTrail": {
            "type": "object",
            "properties": {
                "alert": { "$ref": "#/components/schemas/Alert" },
                "trail": { "type": "array", "items": {
                    "type": "object",
                    "properties": { "index": { "type": "integer" }, "recorded": instant, "body": { "type": "object" } },
                    "required": ["index", "recorded", "body"],
                }, "description": "Every record of it, in order." },
                "damaged": { "type": "array", "items": { "type": "integer" } },
            },
            "required": ["alert", "trail", "damaged"],
        },
    })
}

/// What is on record, and what proves it.
fn proofs() -> Value {
    let hash = json!({ "type": "string", "pattern": "^[0-9a-f]{64}$" });
    let readings = json!({
        "type": "array",
        "items": { "type": "array", "items": { "type": "number" }, "minItems": 2, "maxItems": 2 },
        "description": "Microseconds since 1970-01-01T00:00:00Z, °C.",
    });
    json!({
        "Trace": {
            "type": "object",
            "properties": { "rinse": readings, "wash": readings },
            "required": ["rinse", "wash"],
        },
        "Proof": {
            "type": "object",
            "properties": {
                "format": { "const": "rinseward-inclusion-1" },
                "record": { "type": "integer", "description": "Its ledger index." },
                "bytes": { "type": "string", "description": "Its bytes, whose leaf hash (RFC 9162 §2.1.1) this is." },
                "leaf_sha256": hash,
                "tree_size": { "type": "integer", "description": "Records that the checkpoint seals." },
                "root_sha256": hash,
                "inclusion_path": { "type": "array", "items": hash, "description": "RFC 9162 §2.1.3, lowest first." },
                "checkpoint": { "type": "string", "description": "Signed note, C2SP tlog-checkpoint." },
                "key": { "type": "string", "description": "Public key that signed it." },
            },
            "required": [
                "format", "record", "bytes", "leaf_sha256", "tree_size", "root_sha256", "inclusion_path",
                "checkpoint", "key",
            ],
        },
        "StoredRecord": {
            "type": "object",
            "properties": {
                "index": { "type": "integer" },
                "kind": { "type": "string" },
                "machine": { "type": ["string", "null"] },
                "at": { "type": "string", "format": "date-time" },
                "recorded": { "type": "string", "format": "date-time" },
                "said": { "type": "string" },
                "bytes": { "type": "string", "description": "The record as it is stored and hashed." },
                "leaf_sha256": hash,
                "records_in_ledger": { "type": "integer" },
            },
            "required": ["index", "kind", "at", "recorded", "bytes", "leaf_sha256"],
        },
        "Checkpoint": {
            "type": "object",
            "properties": {
                "at": { "type": "string", "format": "date-time" },
                "size": { "type": "integer" },
                "note": { "type": "string", "description": "Signed note, C2SP tlog-checkpoint." },
            },
            "required": ["at", "size", "note"],
        },
    })
}

/// Bodies of what people do.
fn sent() -> Value {
    let text = json!({
        "type": "string", "pattern": format!("([^{NO_LETTER}][{NO_LETTER}]*){{{LETTERS_MIN}}}"),
        "maxLength": TEXT_CHARS_MAX, "description": format!("At least {LETTERS_MIN} letters or digits."),
    });
    let name = json!({
        "type": "string", "pattern": format!("^[^{CONTROL}]*[^{BLANK}{CONTROL}][^{CONTROL}]*$"),
        "maxLength": NAME_BYTES_MAX, "description": format!("One line of at most {NAME_BYTES_MAX} bytes (UTF-8)."),
    });
    json!({
        "Acknowledging": {
            "type": "object",
            "properties": { "note": { "type": ["string", "null"], "maxLength": TEXT_CHARS_MAX } },
            "additionalProperties": false,
            "examples": [{ "note": "on my way" }],
        },
        "Acting": {
            "type": "object",
            "properties": {
                "racks": text, "done": text,
                "covers": {
                    "type": ["integer", "null"], "minimum": 0,
                    "description": "How many of its racks were looked at, counted from the first; all that it counts where it is left out. The alert stays open while there are more.",
                },
            },
            "required": ["racks", "done"],
            "additionalProperties": false,
            "examples": [{ "racks": "both rewashed", "done": "booster reset", "covers": 2 }],
        },
        "Entering": {
            "type": "object",
            "properties": {
                "machine": { "type": ["string", "null"], "description": "null is the whole site." },
                "late": { "type": "boolean", "description": "Whether one from long ago is meant." },
                "check": { "oneOf": entered(&name) },
            },
            "required": ["check"],
            "additionalProperties": false,
            "examples": [
                { "machine": "dm2", "check": { "check": "sanitizer", "mg_per_l": 100, "ph": 7.8 } },
                { "machine": "dm1", "check": { "check": "supply", "enough": false, "short": ["rinse-additive"], "note": "one can is ordered" } },
            ],
        },
    })
}

/// What is entered of each kind of check.
fn entered(name: &Value) -> Vec<Value> {
    let at = json!({ "type": "string", "format": "date-time", "description": "When it was made; now where it is left out." });
    let check = |kind: &str, properties: Value, required: Value| {
        let mut shape = json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false });
        shape["properties"]["check"] = json!({ "const": kind });
        shape["properties"]["at"] = at.clone();
        shape
    };
    let celsius = |about: &str| json!({ "type": "number", "description": format!("{about}, °C") });
    vec![
        check(
            "sanitizer",
            json!({
                "mg_per_l": { "type": "number", "description": "mg/L" },
                "ph": { "type": ["number", "null"] },
                "solution_c": { "type": ["number", "null"], "description": "Solution, °C" },
                "method": { "type": ["string", "null"] },
            }),
            json!(["check", "mg_per_l"]),
        ),
        check(
            "supply",
            json!({
                "enough": { "type": "boolean", "description": "Whether everything was there, or was filled up." },
                "short": { "type": "array", "items": { "enum": Supply::ALL.map(Supply::as_str) } },
                "note": { "type": ["string", "null"] },
            }),
            json!(["check", "enough"]),
        ),
        check("drain-and-clean", json!({ "note": { "type": ["string", "null"] } }), json!(["check"])),
        check(
            "thermometer",
            json!({
                "what": name, "shown_c": celsius("Shown"), "reference_c": celsius("Reference"),
                "tolerance_c": celsius("Largest good difference"), "reference": name,
            }),
            json!(["check", "what", "shown_c", "reference_c", "tolerance_c", "reference"]),
        ),
    ]
}

/// Answers that are no list.
fn told() -> Value {
    json!({
        "Done": {
            "type": "object",
            "properties": {
                "alert": { "$ref": "#/components/schemas/Alert" },
                "record": { "type": "integer", "description": "Index of the first record that it made." },
                "covers": { "type": "integer", "description": "How many racks a corrective action covers." },
                "late_s": {
                    "type": "number",
                    "description": "How long after it was made a check or a note was entered, where that is late.",
                },
                "judged": {
                    "type": "object",
                    "properties": {
                        "check": { "enum": CheckKind::ALL.map(CheckKind::as_str) },
                        "good": { "type": ["boolean", "null"] },
                        "findings": { "type": "array" },
                    },
                    "required": ["check", "good", "findings"],
                },
            },
        },
        "Whoami": {
            "type": "object",
            "properties": {
                "account": { "type": "string" },
                "name": { "type": "string", "description": "Goes on record beside what they do." },
                "role": { "enum": Role::ALL.map(Role::as_str) },
                "rights": { "type": "array", "items": { "enum": Right::ALL } },
                "language": { "enum": ["en", "es"] },
                "scale": { "enum": ["celsius", "fahrenheit"] },
                "time_zone": { "type": ["string", "null"] },
            },
            "required": ["account", "name", "role", "rights", "language", "scale", "time_zone"],
        },
        "Problem": {
            "type": "object",
            "properties": {
                "type": { "type": "string", "format": "uri" },
                "title": { "type": "string" },
                "status": { "type": "integer" },
                "detail": { "type": "string" },
                "do": { "type": "string", "description": "What to do." },
                "errors": { "type": "array", "items": {
                    "type": "object",
                    "properties": {
                        "parameter": { "type": "string" },
                        "pointer": { "type": "string", "description": "JSON pointer into the body." },
                        "detail": { "type": "string" },
                    },
                    "required": ["detail"],
                } },
            },
            "required": ["type", "title", "status", "detail", "do"],
        },
    })
}
