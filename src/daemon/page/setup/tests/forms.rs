//! The forms and buttons of a drawn page, and what the script would send of them: the same rules as in `page.js`.

use serde_json::{Map, Value, json};

/// A form, or a button that sends by itself.
#[derive(Clone, Debug)]
pub struct Form {
    attributes: Vec<(String, String)>,
    fields: Vec<Field>,
}

/// A field of it.
#[derive(Clone, Debug)]
pub struct Field {
    attributes: Vec<(String, String)>,
    /// What it holds as it is drawn.
    text: String,
}

impl Form {
    pub fn attribute(&self, name: &str) -> Option<&str> {
        attribute(&self.attributes, name)
    }

    pub fn send(&self) -> &str {
        self.attribute("data-send").unwrap()
    }

    pub fn set_send(&mut self, send: &str) {
        self.attributes.iter_mut().filter(|(name, _)| name == "data-send").for_each(|(_, value)| *value = send.into());
    }

    /// What is sent before any field.
    pub fn body(&self) -> Value {
        self.attribute("data-body").map_or_else(|| json!({}), |body| serde_json::from_str(body).unwrap())
    }

    pub fn field(&self, name: &str) -> Option<&Field> {
        self.fields.iter().find(|field| attribute(&field.attributes, "name") == Some(name))
    }
}

fn attribute<'a>(attributes: &'a [(String, String)], name: &str) -> Option<&'a str> {
    attributes.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
}

/// What the script sends of a form into which this was entered.
///
/// # Panics
/// If it has no such field.
pub fn body_of(form: &Form, entries: &[(&str, &str)]) -> Value {
    for (name, _) in entries {
        assert!(form.field(name).is_some(), "the form has no field {name}: {form:#?}");
    }
    let Value::Object(mut body) = form.body() else { panic!("{form:?}") };
    for field in &form.fields {
        let Some(name) = attribute(&field.attributes, "name") else { continue };
        let entered = entries.iter().find(|(entered, _)| *entered == name).map(|(_, value)| *value);
        put(&mut body, field, name, entered);
    }
    Value::Object(body)
}

fn put(body: &mut Map<String, Value>, field: &Field, name: &str, entered: Option<&str>) {
    let is = |name: &str| attribute(&field.attributes, name);
    if is("data-as") == Some("list") {
        let list = body.entry(name).or_insert_with(|| json!([]));
        if is("checked").is_some() {
            list.as_array_mut().unwrap().push(json!(is("value").unwrap()));
        }
        return;
    }
    let text = entered.unwrap_or(&field.text).trim();
    let value = match is("data-as") {
        _ if text.is_empty() => Value::Null,
        Some("number") if entered.is_none() && is("data-exact").is_some() => {
            number(is("data-exact").unwrap().parse().unwrap())
        }
        Some("number") => {
            let factor: f64 = is("data-factor").map_or(1.0, |factor| factor.parse().unwrap());
            number(text.replace(',', ".").parse::<f64>().unwrap() * factor)
        }
        Some("instant") => json!(format!("{text}T00:00:00.000Z")),
        Some(other) => panic!("{other}"),
        None => json!(text),
    };
    if value.is_null() && is("data-leave").is_some() {
        return;
    }
    body.insert(name.to_owned(), value);
}

/// As JavaScript writes it: 2012, not 2012.0.
fn number(value: f64) -> Value {
    if value.fract() == 0.0 { json!(value as i64) } else { json!(value) }
}

/// All of a page, in its order.
pub fn forms(html: &str) -> Vec<Form> {
    let (mut forms, mut is_within) = (Vec::<Form>::new(), false);
    let mut rest = html;
    while let Some(from) = rest.find('<') {
        let end = from + rest[from..].find('>').unwrap();
        let (tag, after) = (&rest[from + 1..end], &rest[end + 1..]);
        let (name, attributes) = tag_of(tag);
        let sends = attribute(&attributes, "data-send").is_some();
        match name {
            "form" | "button" if sends => {
                is_within |= name == "form";
                forms.push(Form { attributes, fields: Vec::new() });
            }
            "/form" => is_within = false,
            "input" | "textarea" | "select" if is_within => {
                let text = match name {
                    "input" => attribute(&attributes, "value").unwrap_or_default().to_owned(),
                    "textarea" => unescaped(after.split("</textarea>").next().unwrap()),
                    _ => chosen(after.split("</select>").next().unwrap()),
                };
                forms.last_mut().unwrap().fields.push(Field { attributes, text });
            }
            _ => {}
        }
        rest = after;
    }
    forms
}

fn chosen(options: &str) -> String {
    let mut values = options.split("<option ").skip(1).map(|option| tag_of(option.split('>').next().unwrap()).1);
    let first = values.clone().next();
    let selected = values.find(|attributes| attribute(attributes, "selected").is_some()).or(first);
    attribute(&selected.unwrap(), "value").unwrap().to_owned()
}

/// A tag's name and attributes; maud quotes all of them.
fn tag_of(tag: &str) -> (&str, Vec<(String, String)>) {
    let (name, mut rest) = match tag.split_once(' ') {
        Some((name, rest)) if !name.contains('=') => (name, rest),
        _ if tag.contains('=') => ("", tag),
        _ => return (tag, Vec::new()),
    };
    let mut attributes = Vec::new();
    while !rest.trim().is_empty() {
        rest = rest.trim_start();
        let end = rest.find(['=', ' ']).unwrap_or(rest.len());
        let (key, after) = rest.split_at(end);
        let (value, after) = match after.strip_prefix("=\"") {
            Some(quoted) => quoted.split_once('"').unwrap(),
            None => ("", after),
        };
        attributes.push((key.to_owned(), unescaped(value)));
        rest = after;
    }
    (name, attributes)
}

fn unescaped(text: &str) -> String {
    text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&")
}
