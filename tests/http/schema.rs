//! Holds an answer against the schema the OpenAPI document promises for it. Knows the few words of JSON Schema the document uses, and
//! stops at any other, so that none is passed over.

use serde_json::Value;

/// Words that promise nothing about a value, or only to a reader.
const SILENT: [&str; 5] = ["description", "example", "default", "format", "title"];

/// Everything about `value` that breaks `schema`, each with its place. Fields the schema does not name break it too.
pub fn faults(document: &Value, schema: &Value, value: &Value) -> Vec<String> {
    let mut found = Vec::new();
    check(document, schema, value, "", &mut found);
    found
}

fn check(document: &Value, schema: &Value, value: &Value, at: &str, found: &mut Vec<String>) {
    for (word, rule) in schema.as_object().unwrap_or_else(|| panic!("{at}: {schema} is no schema")) {
        let holds = match word.as_str() {
            "$ref" => {
                let pointer = rule.as_str().and_then(|r| r.strip_prefix('#')).expect("a reference into the document");
                let target = document.pointer(pointer).unwrap_or_else(|| panic!("{pointer} is not in the document"));
                check(document, target, value, at, found);
                true
            }
            "oneOf" => {
                let fits = |one: &&Value| faults(document, one, value).is_empty();
                rule.as_array().is_some_and(|all| all.iter().filter(fits).count() == 1)
            }
            "type" => match rule {
                Value::String(one) => is(value, one),
                Value::Array(many) => many.iter().any(|one| is(value, one.as_str().unwrap_or(""))),
                _ => panic!("{at}: type {rule}"),
            },
            "enum" => rule.as_array().is_some_and(|all| all.contains(value)),
            "minLength" => value.as_str().is_none_or(|v| Some(v.chars().count() as u64) >= rule.as_u64()),
            "maxLength" => value.as_str().is_none_or(|v| Some(v.chars().count() as u64) <= rule.as_u64()),
            "minItems" => value.as_array().is_none_or(|v| Some(v.len() as u64) >= rule.as_u64()),
            "maxItems" => value.as_array().is_none_or(|v| Some(v.len() as u64) <= rule.as_u64()),
            "minimum" => value.as_i64().is_none_or(|v| Some(v) >= rule.as_i64()),
            "maximum" => value.as_i64().is_none_or(|v| Some(v) <= rule.as_i64()),
            "required" => {
                let names = rule.as_array().expect("a list of names").iter().filter_map(Value::as_str);
                for name in names.filter(|name| value.is_object() && value.get(name).is_none()) {
                    found.push(format!("{at}/{name} is missing"));
                }
                true
            }
            "properties" => {
                for (name, inner) in value.as_object().into_iter().flatten() {
                    match rule.get(name) {
                        Some(schema) => check(document, schema, inner, &format!("{at}/{name}"), found),
                        None => found.push(format!("{at}/{name} is not in the document")),
                    }
                }
                true
            }
            "items" => {
                for (index, inner) in value.as_array().into_iter().flatten().enumerate() {
                    check(document, rule, inner, &format!("{at}/{index}"), found);
                }
                true
            }
            "additionalProperties" => rule == &Value::Bool(false),
            silent if SILENT.contains(&silent) => true,
            other => panic!("{at}: this reader does not know {other:?}"),
        };
        if !holds {
            found.push(format!("{at}: {value} breaks {word} {rule}"));
        }
    }
}

fn is(value: &Value, kind: &str) -> bool {
    match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        other => panic!("no type {other}"),
    }
}

#[test]
fn a_broken_answer_is_seen() {
    let document = serde_json::json!({"components": {"schemas": {"Line": {
        "type": "object", "required": ["grams"], "properties": {"grams": {"type": "integer", "minimum": 0}}
    }}}});
    let schema = serde_json::json!({"type": "array", "items": {"$ref": "#/components/schemas/Line"}});
    let rows = [
        (r#"[{"grams":1},{"grams":0}]"#, 0),
        (r#"[{"grams":"1"}]"#, 1),
        (r#"[{"grams":-1}]"#, 1),
        (r#"[{"grams":1.5}]"#, 1),
        (r#"[{}]"#, 1),
        (r#"[{"grams":1,"more":2}]"#, 1),
        (r#"{"grams":1}"#, 1),
    ];
    for (text, count) in rows {
        let value = serde_json::from_str(text).unwrap();
        assert_eq!(faults(&document, &schema, &value).len(), count, "{text}");
    }
}
