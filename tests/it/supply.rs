//! The tree of libraries: where they come from, on what terms, and that there is one `SQLite`.

use serde_json::Value;
use std::path::Path;
use std::process::Command;

/// Every package of the tree as it is built here.
fn packages() -> Vec<Value> {
    let platform = format!("{}-unknown-linux-gnu", std::env::consts::ARCH);
    let output = Command::new(env!("CARGO"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["metadata", "--format-version", "1", "--offline", "--locked"])
        .args(["--filter-platform", &platform])
        .output()
        .expect("cargo runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let mut tree: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    match tree["packages"].take() {
        Value::Array(all) => all,
        other => panic!("no list of packages: {other}"),
    }
}

/// The part of `deny.toml` on licences.
fn licences() -> toml::Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("deny.toml");
    let text = std::fs::read_to_string(path).expect("deny.toml");
    let table: toml::Table = text.parse().expect("TOML");
    table["licenses"].as_table().expect("a table").clone()
}

fn words(list: &toml::Value) -> Vec<String> {
    let word = |own: &toml::Value| own.as_str().expect("a word").to_owned();
    list.as_array().expect("a list").iter().map(word).collect()
}

/// Terms that are allowed for all, and for a few by name.
fn allowed() -> (Vec<String>, Vec<(String, Vec<String>)>) {
    let licences = licences();
    let exceptions = licences["exceptions"].as_array().expect("a list");
    let exception = |own: &toml::Value| {
        let name = own["crate"].as_str().expect("a name").to_owned();
        (name, words(&own["allow"]))
    };
    (
        words(&licences["allow"]),
        exceptions.iter().map(exception).collect(),
    )
}

/// True where the terms can be met with those allowed: every part of an `AND` by one side of its `OR`.
fn met(terms: &str, allowed: &[String]) -> bool {
    let plain = terms.replace(" / ", " OR ").replace('/', " OR ");
    plain.split(" AND ").all(|part| {
        let part = part.trim_matches(['(', ')']);
        part.split(" OR ")
            .any(|own| allowed.iter().any(|good| good == own.trim()))
    })
}

#[test]
fn f21_every_library_comes_from_the_registry_on_terms_that_are_allowed() {
    let (allowed, exceptions) = allowed();
    let packages = packages();
    assert!(packages.len() > 50, "the tree was read");
    for own in &packages {
        let name = own["name"].as_str().expect("a name");
        if name == env!("CARGO_PKG_NAME") {
            continue;
        }
        let source = own["source"].as_str().unwrap_or("a folder");
        assert!(
            source.starts_with("registry+"),
            "{name} comes from {source}"
        );
        let terms = own["license"].as_str().unwrap_or("no terms");
        let excepted = exceptions
            .iter()
            .any(|(own, allowed)| own == name && met(terms, allowed));
        assert!(met(terms, &allowed) || excepted, "{name}: {terms}");
    }
    let sqlites = packages
        .iter()
        .filter(|own| own["name"] == "libsqlite3-sys");
    assert_eq!(sqlites.count(), 1, "two copies break each other's locks");
    for (terms, good) in [
        ("MIT", true),
        ("GPL-3.0-only", false),
        ("GPL-3.0-only OR MIT", true),
        ("(MIT OR Apache-2.0) AND GPL-3.0-only", false),
        ("MIT/Apache-2.0", true),
    ] {
        assert_eq!(met(terms, &allowed), good, "{terms}");
    }
}
