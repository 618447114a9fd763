//! The formats of scenario and vehicle files as a JSON Schema (draft 7), for editors that complete and check TOML by one.
//!
//! It says what a schema can say: tables, keys, types, names, limits, and how a time is written. Phrases are for
//! `twotrip check`.

use serde_json::{Map, Value as Json, json};
use twotrip_ecu::memory::Profile;

use twotrip_scenario::{
    file::{
        VERSION,
        format::{Key, TABLES, Table, Value},
    },
    limits, vehicle,
};

/// The schema of scenario files.
pub(crate) fn scenario() -> Json {
    of("Twotrip scenario", TABLES)
}

/// The schema of vehicle files.
pub(crate) fn vehicle() -> Json {
    of("Twotrip vehicle", vehicle::format::TABLES)
}

fn of(title: &str, format: &[Table]) -> Json {
    let mut root = Json::Null;
    let mut required = Vec::new();
    let mut tables = Map::new();
    for table in format {
        let described = describe(table);
        // A vehicle without an engine is none; a scenario without a story is a car just parked.
        if table.needed {
            required.push(json!(table.name));
        }
        if table.name.is_empty() {
            root = described;
        } else if table.repeats {
            let list = json!({
                "type": "array",
                "maxItems": table.most,
                "items": described,
            });
            tables.insert(table.name.to_owned(), list);
        } else {
            tables.insert(table.name.to_owned(), described);
        }
    }
    if let Some(keys) = root.get_mut("required").and_then(Json::as_array_mut) {
        keys.append(&mut required);
    }
    if let Some(properties) = root.get_mut("properties").and_then(Json::as_object_mut) {
        properties.append(&mut tables);
    }
    let mut whole = Map::new();
    whole.insert(
        "$schema".to_owned(),
        json!("http://json-schema.org/draft-07/schema#"),
    );
    whole.insert("title".to_owned(), json!(title));
    if let Json::Object(root) = root {
        whole.extend(root);
    }
    Json::Object(whole)
}

fn describe(table: &Table) -> Json {
    let properties: Map<String, Json> = table
        .keys
        .iter()
        .map(|key| (key.name.to_owned(), value(key)))
        .collect();
    let required: Vec<&str> = table
        .keys
        .iter()
        .filter(|key| key.required)
        .map(|key| key.name)
        .collect();
    let mut described = json!({
        "type": "object",
        "description": table.about,
        "additionalProperties": false,
        "required": required,
        "properties": properties,
    });
    let both = ["cause", "correction"];
    if table.keys.iter().filter(|key| both.contains(&key.name)).count() == both.len()
        && let Some(described) = described.as_object_mut()
    {
        described.insert(
            "dependencies".to_owned(),
            json!({ "cause": ["correction"], "correction": ["cause"] }),
        );
    }
    described
}

fn value(key: &Key) -> Json {
    let mut described = match key.value {
        Value::Version => json!({ "const": VERSION }),
        Value::Line => json!({
            "type": "string",
            "maxLength": limits::TEXT_BYTES,
            "pattern": r"^[^\u0000-\u001f\u007f]*[^\u0000-\u0020\u007f][^\u0000-\u001f\u007f]*$",
        }),
        Value::Text => json!({ "type": "string", "maxLength": limits::TEXT_BYTES, "pattern": r"\S" }),
        Value::Vehicle => json!({ "enum": vehicle::SHIPPED.map(|shipped| shipped.name) }),
        Value::Regulation => json!({ "enum": Profile::ALL.map(|profile| profile.key) }),
        Value::Flag => json!({ "type": "boolean" }),
        Value::Whole(least, most) => json!({ "type": "integer", "minimum": least, "maximum": most }),
        Value::Time => json!({
            "type": "string",
            "pattern": r"^\s*\+?([0-9]+\.?[0-9]*|\.[0-9]+)\s*([sS]|[mM][iI][nN]|[hH]|[dD])\s*$",
        }),
        Value::Event => json!({ "type": "string", "pattern": r"\S" }),
        Value::Script => json!({ "type": "string" }),
        Value::Codes => {
            json!({ "type": "string", "pattern": r"^\s*[PCBUpcbu][0-9A-Fa-f]{4}(\s+[PCBUpcbu][0-9A-Fa-f]{4})*\s*$" })
        }
        Value::MakerCode => json!({ "type": "string", "pattern": "^P(1[0-9A-F]|3[0-3])[0-9A-F]{2}$" }),
        Value::WatchedCode => json!({ "type": "string", "pattern": "^[PCBU][0-3][0-9A-F]{3}$" }),
        Value::Amount(amount) => {
            let units: Vec<&str> = amount.units.iter().map(|(unit, _)| *unit).collect();
            json!({
                "type": "string",
                "pattern": format!(r"^\s*([0-9]+\.?[0-9]*|\.[0-9]+)\s*({})\s*$", units.join("|")),
            })
        }
        Value::Number(least, most) => json!({ "type": "number", "minimum": least, "maximum": most }),
        Value::Numbers([least, most], [fewest, greatest]) => json!({
            "type": "array",
            "items": { "type": "number", "minimum": least, "maximum": most },
            "minItems": fewest,
            "maxItems": greatest,
        }),
        Value::Cylinders([fewest, greatest]) => json!({
            "type": "array",
            "items": { "type": "integer", "minimum": 1, "maximum": 6 },
            "minItems": fewest,
            "maxItems": greatest,
            "uniqueItems": true,
        }),
        Value::Word(words) => json!({ "enum": words }),
        Value::Vin => json!({ "type": "string", "pattern": "^[0-9A-HJ-NPR-Z]{8}[0-9X][0-9A-HJ-NPR-Z]{8}$" }),
        Value::Pattern(pattern) => json!({ "type": "string", "pattern": pattern }),
        Value::OneOf(numbers) => json!({ "enum": numbers }),
        Value::Label(most) => json!({ "type": "string", "pattern": format!("^[A-Z0-9-]{{1,{most}}}$") }),
    };
    if let Some(described) = described.as_object_mut() {
        described.insert("description".to_owned(), json!(key.about));
    }
    described
}
